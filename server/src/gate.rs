//! # Where calculations wait and run
//!
//! What a request costs is told in a lane of its own, and what costs little is worked out there at once. The rest waits in
//! one of two more, so that nothing short waits behind anything long; each of their turns has threads of its own, of lower
//! priority. To read a whole design takes milliseconds already, so that its cost is told apart: neither does anything light
//! wait for it, nor does it wait for anything heavy.
//!
//! ```text
//! Light   reading, telling the cost, and work up to 5 ms of a core: a turn a core
//! Read    the same of whole designs: a turn a core, each with a thread of its own
//! Heavy   up to what a page may cost: a turn a core but one, one at least
//! Bulk    the rest, up to the budget: one turn
//! ```

use std::cell::Cell;
use std::num::NonZero;
use std::panic::resume_unwind;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use axum::response::Response;
use rayon::{ThreadPool, ThreadPoolBuilder};
use sensewright_core::work::{Cost, Work};
use tokio::sync::Semaphore;
use tokio::task::spawn_blocking;

use crate::budget::{MOST_BYTES, PAGE_MILLIS};
use crate::client::Client;
use crate::error::Fault;
use crate::queue::{Lane, Turn, done_in, seconds_of, units_in};

/// Up to this work is light, in milliseconds of a core.
const LIGHT_MILLIS: u64 = 5;
/// Threads of a turn: beyond them a calculation gains little.
const MOST_THREADS: usize = 8;

/// So long a thread of a turn works before it lets others run: what wakes waits for the end of what runs, up to three
/// milliseconds of it.
const RUNS_AT_ONCE: Duration = Duration::from_micros(500);
/// So many times as long as it worked a thread stays away at most, over [`SHARE_OVER`], for having let others run. Other
/// programs take their whole slice each time, and what lets them run twice a millisecond would get nothing done.
const MOST_AWAY: u32 = 2;
/// Over this time the share of a thread is counted.
const SHARE_OVER: Duration = Duration::from_millis(50);

thread_local! {
    static SHARE: Cell<Option<Share>> = const { Cell::new(None) };
}

/// What a thread had of the processor since it was last counted anew.
#[derive(Clone, Copy)]
struct Share {
    from: Instant,
    runs_since: Instant,
    away: Duration,
}

impl Share {
    const fn begun(now: Instant) -> Self {
        Self { from: now, runs_since: now, away: Duration::ZERO }
    }

    /// Lets others run when it is their turn.
    fn let_run(mut self) -> Self {
        let now = Instant::now();
        let worked = now.duration_since(self.from).saturating_sub(self.away);
        if now.duration_since(self.runs_since) < RUNS_AT_ONCE || self.away > worked.saturating_mul(MOST_AWAY) {
            return self;
        }
        std::thread::yield_now();
        let back = Instant::now();
        if back.duration_since(self.from) > SHARE_OVER {
            return Self::begun(back);
        }
        self.away += back.duration_since(now);
        self.runs_since = back;
        self
    }
}

/// What is done when its turn comes.
type Do = Box<dyn FnOnce(Work) -> Result<Response, Fault> + Send>;

/// Work whose cost is known.
pub struct Job {
    /// What it costs.
    pub cost: Cost,
    work: Do,
}

/// How much work is, and so where it waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Size {
    /// Worked out where its cost was told.
    Light,
    /// Up to what a page may cost.
    Heavy,
    /// The rest.
    Bulk,
}

impl Size {
    /// The size of work.
    pub const fn of(cost: Cost) -> Self {
        match cost.units {
            units if units <= units_in(LIGHT_MILLIS) => Self::Light,
            units if units <= units_in(PAGE_MILLIS) => Self::Heavy,
            _ => Self::Bulk,
        }
    }
}

/// What waits in a lane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Waiting {
    /// Which lane.
    pub size: Size,
    /// How many requests.
    pub requests: usize,
    /// What they cost, in seconds of a core.
    pub seconds: f64,
}

impl std::fmt::Debug for Job {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Job").field(&self.cost).finish()
    }
}

impl Job {
    /// Work that costs so much.
    pub fn new(cost: Cost, work: impl FnOnce(Work) -> Result<Response, Fault> + Send + 'static) -> Self {
        Self { cost, work: Box::new(work) }
    }

    /// Work that costs little.
    pub fn light(work: impl FnOnce(Work) -> Result<Response, Fault> + Send + 'static) -> Self {
        Self::new(Cost::SMALL, work)
    }
}

/// The lanes.
#[derive(Debug)]
pub struct Gate {
    light: Arc<Lane>,
    read: Arc<Lane>,
    heavy: Arc<Lane>,
    bulk: Arc<Lane>,
    /// Bytes that work may hold at once.
    memory: Arc<Semaphore>,
}

impl Gate {
    /// Lanes for so many calculations at once, in which as much may wait as is done in so many milliseconds.
    pub fn new(at_once: usize, wait_millis: u64) -> Self {
        let lane = |turns: usize, threads: usize| {
            let turns = (0..turns.max(1)).map(|_| (threads > 0).then(|| pool(threads)).flatten()).collect();
            Arc::new(Lane::new(turns, done_in(wait_millis)))
        };
        Self {
            light: lane(at_once, 0),
            read: lane(at_once, 1),
            heavy: lane(at_once - 1, MOST_THREADS),
            bulk: lane(1, MOST_THREADS),
            memory: Arc::new(Semaphore::new(MOST_BYTES as usize)),
        }
    }

    /// What waits in each lane.
    pub fn waiting(&self) -> [Waiting; 3] {
        let [light, read, heavy, bulk] = [&self.light, &self.read, &self.heavy, &self.bulk].map(|lane| lane.waiting());
        // What is read is light, or will wait once more.
        let light = (light.0 + read.0, light.1 + read.1);
        [(Size::Light, light), (Size::Heavy, heavy), (Size::Bulk, bulk)].map(|(size, (requests, units))| Waiting {
            size,
            requests,
            seconds: seconds_of(units),
        })
    }

    /// Threads that wait for work or for the threads of a turn.
    pub const fn threads(at_once: usize) -> usize {
        3 * at_once + 1
    }

    /// Tells what is to be done and does it, each when its turn comes.
    ///
    /// # Errors
    /// [`Fault::Busy`] when too much waits already, and those of the work.
    ///
    /// # Panics
    /// When the work does: the panic goes on in the request it belongs to, where it is turned into an answer.
    pub async fn run<P>(&self, client: Client, plan: P) -> Result<Response, Fault>
    where
        P: FnOnce() -> Result<Job, Fault> + Send + 'static,
    {
        self.told_in(&self.light, client, plan).await
    }

    /// The same of what a whole design is read for.
    ///
    /// # Errors
    /// Those of [`Gate::run`].
    pub async fn run_design<P>(&self, client: Client, plan: P) -> Result<Response, Fault>
    where
        P: FnOnce() -> Result<Job, Fault> + Send + 'static,
    {
        self.told_in(&self.read, client, plan).await
    }

    async fn told_in<P>(&self, lane: &Arc<Lane>, client: Client, plan: P) -> Result<Response, Fault>
    where
        P: FnOnce() -> Result<Job, Fault> + Send + 'static,
    {
        let stop = Arc::new(AtomicBool::new(false));
        // Dropped with the request: when the client leaves, or its time is up.
        let _raised = Raise(Arc::clone(&stop));
        let turn = lane.turn(client, units_in(LIGHT_MILLIS)).await?;
        let begun = on(turn, Arc::clone(&stop), |work| {
            let job = plan()?;
            if Size::of(job.cost) == Size::Light { (job.work)(work).map(Ok) } else { Ok(Err(job)) }
        });
        let job = match begun.await? {
            Ok(response) => return Ok(response),
            Err(job) => job,
        };
        let lane = if Size::of(job.cost) == Size::Heavy { &self.heavy } else { &self.bulk };
        let turn = lane.turn(client, job.cost.units).await?;
        // With the turn, so that nothing is held by what only waits; what has it does not wait for anything more.
        let bytes = u32::try_from(job.cost.bytes).map_or(MOST_BYTES, |bytes| bytes.min(MOST_BYTES));
        let held = Arc::clone(&self.memory).acquire_many_owned(bytes).await.map_err(|_| Fault::Leaving)?;
        on(turn, stop, move |work| {
            let _held = held;
            (job.work)(work)
        })
        .await
    }
}

/// Works on the threads of a turn.
async fn on<T, W>(turn: Turn, stop: Arc<AtomicBool>, work: W) -> Result<T, Fault>
where
    T: Send + 'static,
    W: FnOnce(Work) -> Result<T, Fault> + Send + 'static,
{
    // The turn goes with the work, not with the request: a calculation runs on until it asks whether to go on.
    let done = spawn_blocking(move || turn.run(|| work(Work::until(&|| is_over(&stop)))));
    match done.await {
        Ok(result) => result,
        Err(ended) if ended.is_panic() => resume_unwind(ended.into_panic()),
        Err(_) => Err(Fault::Leaving),
    }
}

/// Whether nobody waits for work any more: asked now and then, which is where the threads of a turn let others run.
fn is_over(stop: &AtomicBool) -> bool {
    if rayon::current_thread_index().is_some() {
        SHARE.set(Some(SHARE.get().unwrap_or_else(|| Share::begun(Instant::now())).let_run()));
    }
    stop.load(Ordering::Relaxed)
}

/// Threads of a turn of long work.
pub(crate) fn threads() -> Option<ThreadPool> {
    pool(MOST_THREADS)
}

/// So many threads for one turn at most. Where the system gives none the work runs on the shared ones: later, but with the same answer.
fn pool(most: usize) -> Option<ThreadPool> {
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
    let pool = ThreadPoolBuilder::new().num_threads(cores.min(most)).start_handler(|_| step_back());
    pool.thread_name(|index| format!("turn-{index}")).build().ok()
}

/// Lets the short work run before this thread. A little only: the system holds it, and each time that the thread lets others
/// run, against every other program on the machine as well, and at the lowest priority half a second of work beside two
/// busy programs was not done in ten. A system that refuses it shares evenly.
fn step_back() {
    #[cfg(target_os = "linux")]
    let _ = rustix::process::nice(2);
}

/// Raises a flag when it is dropped.
struct Raise(Arc<AtomicBool>);

impl Drop for Raise {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}
