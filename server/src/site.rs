//! # What all requests share
//!
//! Counters and switches only: nothing that anybody entered is kept between two requests.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use crate::budget::Budget;
use crate::client::Network;
use crate::config::Config;
use crate::connections::Connections;
use crate::gate::Gate;
use crate::kept::Kept;
use crate::limits::Refusals;
use crate::metrics::Metrics;
use crate::stock::Stock;
use crate::uploads::Uploads;

/// Bytes of bodies that are read or worked on.
const BODIES: usize = 32 << 20;
/// Bytes of answers.
const ANSWERS: usize = 64 << 20;

/// What all requests share.
#[derive(Debug)]
pub struct Site {
    /// Scheme and host of links, when they are set.
    pub public_url: Option<String>,
    /// Where calculations wait and run.
    pub gate: Gate,
    /// What a request may cost.
    pub budget: Budget,
    /// Proxies whose word counts on who asks.
    pub trusted: Vec<Network>,
    /// The most requests in work.
    pub max_concurrent: usize,
    /// A place for each request in work.
    pub in_flight: Arc<Stock>,
    /// Bytes of bodies.
    pub bodies: Arc<Stock>,
    /// Bytes of answers that are not read yet.
    pub answers: Arc<Stock>,
    /// Files of any length.
    pub uploads: Uploads,
    /// What was refused for load.
    pub refusals: Refusals,
    /// Largest accepted body, in bytes.
    pub max_body_bytes: usize,
    /// All connections.
    pub connections: Arc<Connections>,
    /// Pages that were drawn already.
    pub kept: Kept,
    /// What is counted for who watches the service.
    pub metrics: Metrics,
    /// The longest that a request may take.
    pub timeout: Duration,
    leaving: AtomicBool,
    ids: Ids,
}

impl Site {
    /// A site with the limits of `config`.
    pub fn new(config: &Config) -> Self {
        Self {
            public_url: config.public_url.clone(),
            // Of the time of a core: beside busy programs all of it takes a few times as long.
            gate: Gate::new(config.max_heavy, config.timeout_seconds.saturating_mul(1_000) / 6),
            budget: Budget::new(config.budget_ms),
            trusted: config.trusted_proxies.clone(),
            max_concurrent: config.max_concurrent,
            in_flight: Stock::of(config.max_concurrent),
            // Two of the largest for one client.
            bodies: Stock::of(BODIES.max(4 * config.max_body_bytes)),
            answers: Stock::of(ANSWERS),
            uploads: Uploads::new(),
            refusals: Refusals::new(),
            max_body_bytes: config.max_body_bytes,
            connections: Connections::new(config.max_connections),
            kept: Kept::default(),
            metrics: Metrics::new(),
            timeout: config.timeout(),
            leaving: AtomicBool::new(false),
            ids: Ids::new(),
        }
    }

    /// Whether the server is about to end.
    pub fn is_leaving(&self) -> bool {
        self.leaving.load(Ordering::Relaxed)
    }

    /// From now on the server says that it is not ready.
    pub fn leave(&self) {
        self.leaving.store(true, Ordering::Relaxed);
    }

    /// The name of the next request.
    pub fn next_id(&self) -> String {
        self.ids.next()
    }
}

/// Names of requests: the start of the server and a counter. A random number would need a source of randomness, which
/// an empty container may lack.
#[derive(Debug)]
struct Ids {
    start: u64,
    next: AtomicU64,
}

impl Ids {
    fn new() -> Self {
        let start = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
        Self { start, next: AtomicU64::new(1) }
    }

    fn next(&self) -> String {
        format!("{:x}-{:06x}", self.start, self.next.fetch_add(1, Ordering::Relaxed))
    }
}
