//! # Limits
//!
//! The longest query, how long a client may take, and how the log says what was refused for load.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Longest accepted query. A design with every value changed stays far below.
pub const MOST_QUERY_BYTES: usize = 16 * 1_024;

/// For the head of a request, and so for an idle connection, too.
pub const HEAD: Duration = Duration::from_secs(30);
/// After an error of a listener, which is most often a lack of file descriptors.
pub const PAUSE: Duration = Duration::from_millis(50);
/// What a client sends or reads at least in a second.
const BYTES_A_SECOND: u64 = 64 * 1_024;

/// How long so many bytes may take.
pub fn time_for(first: Duration, bytes: u64) -> Duration {
    first + Duration::from_millis(bytes.saturating_mul(1_000) / BYTES_A_SECOND)
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
