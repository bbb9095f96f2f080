//! # Limits
//!
//! What keeps the service answering when more is asked than it can do: requests in work, calculations at once, and how
//! long each may take. Who cannot be served is told so at once, with a time to come back.

use std::panic::resume_unwind;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use tokio::sync::Semaphore;
use tokio::task::spawn_blocking;
use tokio::time::timeout;

use sensewright_core::work::Work;

use crate::error::Fault;

/// Longest accepted query. A design with every value changed stays far below.
pub const MOST_QUERY_BYTES: usize = 16 * 1_024;

/// How many calculations may wait for each that runs. Most take well under a millisecond, so the queue is short in time;
/// for those that take longer, patience ends it.
const WAITING_FOR_EACH: usize = 32;

/// Calculations run on threads of their own: one that takes a second would otherwise hold up every other request of
/// its thread, and no timeout could fire.
#[derive(Debug)]
pub struct Heavy {
    places: Arc<Semaphore>,
    turns: Arc<Semaphore>,
    patience: Duration,
}

impl Heavy {
    /// Entry for `at_once` calculations, in requests that may take `longest`.
    pub fn new(at_once: usize, longest: Duration) -> Self {
        Self {
            places: Arc::new(Semaphore::new(at_once.saturating_mul(1 + WAITING_FOR_EACH))),
            turns: Arc::new(Semaphore::new(at_once)),
            // The calculation must fit into the rest; "busy" after this is more use than "too slow" at the end.
            patience: longest / 4,
        }
    }

    /// Runs `work` when its turn comes.
    ///
    /// # Errors
    /// [`Fault::Busy`] when too many wait already or the turn does not come in time.
    ///
    /// # Panics
    /// When `work` does: the panic goes on in the request it belongs to, where it is turned into an answer.
    pub async fn run<T, W>(&self, work: W) -> Result<T, Fault>
    where
        T: Send + 'static,
        W: FnOnce(Work) -> T + Send + 'static,
    {
        let stop = Arc::new(AtomicBool::new(false));
        // Dropped with the request: when the client leaves, or its time is up.
        let _raised = Raise(Arc::clone(&stop));
        let place = Arc::clone(&self.places).try_acquire_owned().map_err(|_| Fault::Busy)?;
        let turn = timeout(self.patience, Arc::clone(&self.turns).acquire_owned()).await;
        let turn = turn.map_err(|_| Fault::Busy)?.map_err(|_| Fault::Busy)?;
        let done = spawn_blocking(move || {
            // Both go with the work, not with the request: a calculation runs on until it asks whether to go on.
            let held = (place, turn);
            let result = work(Work::until(&|| stop.load(Ordering::Relaxed)));
            drop(held);
            result
        });
        match done.await {
            Ok(result) => Ok(result),
            Err(ended) if ended.is_panic() => resume_unwind(ended.into_panic()),
            Err(_) => Err(Fault::Leaving),
        }
    }
}

/// Raises a flag when it is dropped.
struct Raise(Arc<AtomicBool>);

impl Drop for Raise {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// Counts what was refused for load, so that the log says it once a second: a line each would add to the load, and
/// fill a disk.
#[derive(Debug)]
pub struct Refusals {
    began: Instant,
    said: AtomicU64,
    count: AtomicU64,
}

impl Refusals {
    /// Nothing refused yet.
    pub fn new() -> Self {
        Self { began: Instant::now(), said: AtomicU64::new(0), count: AtomicU64::new(0) }
    }

    /// Counts one; how many there were since it was last said, when it is time to say it.
    pub fn add(&self) -> Option<u64> {
        self.count.fetch_add(1, Ordering::Relaxed);
        // From 1, so that the first refusal is said at once.
        let now = self.began.elapsed().as_secs() + 1;
        let said = self.said.swap(now, Ordering::Relaxed);
        (said != now).then(|| self.count.swap(0, Ordering::Relaxed))
    }
}

impl Default for Refusals {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refusals_are_said_once_a_second_and_none_is_lost() {
        let refusals = Refusals::new();
        let mut said: u64 = (0..100).filter_map(|_| refusals.add()).sum();
        assert!((1..=2).contains(&said), "{said} of 100 in the first moment");
        std::thread::sleep(Duration::from_millis(1_050));
        said += refusals.add().expect("a second later it is time again");
        assert_eq!(said, 101);
    }
}
