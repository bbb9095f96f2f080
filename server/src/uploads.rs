//! # Places and threads of files
//!
//! Files of any length have places of their own, so that no other request waits for one of theirs, and threads of lower
//! priority, on which a piece at a time is worked on.

use std::sync::Arc;

use rayon::ThreadPool;
use tokio::sync::oneshot;

use crate::client::Client;
use crate::error::Fault;
use crate::gate;
use crate::stock::{Held, Stock};

/// Files at once; one client has half of what the others leave.
const PLACES: usize = 4;

/// Places and threads of files.
#[derive(Debug)]
pub struct Uploads {
    places: Arc<Stock>,
    pool: Option<ThreadPool>,
}

impl Uploads {
    /// None yet.
    pub fn new() -> Self {
        Self { places: Stock::of(PLACES), pool: gate::threads() }
    }

    /// A place for a file, while there is one.
    ///
    /// # Errors
    /// All are taken, or the client has its share.
    pub fn place(&self, client: Client) -> Result<Held, Fault> {
        self.places.take(client, 1).ok_or(Fault::Busy { seconds: 5 })
    }

    /// Does something there; nothing comes of it when its thread has ended.
    pub fn run<T: Send + 'static>(&self, work: impl FnOnce() -> T + Send + 'static) -> oneshot::Receiver<T> {
        let (done, wait) = oneshot::channel();
        let work = move || {
            // Whoever asked may have left.
            let _ = done.send(work());
        };
        match &self.pool {
            Some(pool) => pool.spawn(work),
            None => rayon::spawn(work),
        }
        wait
    }
}

impl Default for Uploads {
    fn default() -> Self {
        Self::new()
    }
}
