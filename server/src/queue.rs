//! # Waiting in fair shares
//!
//! A lane has turns. Who waits for one is ordered by what his address has had already, in units of cost: each request
//! begins where the last one of the same address ends, and an address that had nothing begins now. What a request is told to
//! cost counts until it is done; then what it took.
//!
//! ```text
//! Formula   start = max(now, end of the last request of the address); end = start + cost; the least start comes next
//! Symbols   now: the start of the request that has last got a turn, units of cost
//! Valid     the delay by other addresses is the job that runs, and one request of each that waits
//! Source    Goyal, Vin and Cheng 1996, start-time fair queueing
//! ```

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use rayon::ThreadPool;
use tokio::sync::oneshot;

use crate::client::Client;
use crate::error::Fault;

/// Addresses whose share is remembered. Beyond them those that come count as new.
const MOST_CLIENTS: usize = 4_096;
/// So many units are told to take a second of a core, 3.4 ns each.
const UNITS_A_SECOND: u64 = 294_000_000;

/// So many times as long as it takes work is told to cost, in the mean (`benches/cost.rs`).
const TOLD: u64 = 3;

/// The seconds that some units are told to take.
pub const fn seconds_of(units: u64) -> f64 {
    units as f64 / UNITS_A_SECOND as f64
}

/// The units that are told to take so many milliseconds.
pub const fn units_in(millis: u64) -> u64 {
    (UNITS_A_SECOND / 1_000).saturating_mul(millis)
}

/// The units that one core works off in so many milliseconds.
pub const fn done_in(millis: u64) -> u64 {
    units_in(millis).saturating_mul(TOLD)
}

/// The units that one core works off in a time.
fn done_within(time: Duration) -> u64 {
    let micros = u64::try_from(time.as_micros()).unwrap_or(u64::MAX);
    micros.saturating_mul(done_in(1) / 1_000)
}

/// Turns, and who waits for them.
#[derive(Debug)]
pub struct Lane {
    turns: u64,
    /// The most units that may wait.
    bound: u64,
    state: Mutex<State>,
}

#[derive(Debug)]
struct State {
    free: Vec<Option<ThreadPool>>,
    now: u64,
    next: u64,
    ends: HashMap<Client, u64>,
    waiting: BTreeMap<Place, Waiting>,
    units: u64,
}

/// Where a request stands: its start, and among equals when it came.
type Place = (u64, u64);

#[derive(Debug)]
struct Waiting {
    client: Client,
    units: u64,
    tell: oneshot::Sender<Result<Turn, Fault>>,
}

/// Leave to work, on threads of its own where the lane has them. It is free again when it is dropped.
#[derive(Debug)]
pub struct Turn {
    lane: Arc<Lane>,
    pool: Option<ThreadPool>,
    client: Client,
    told: u64,
    began: Instant,
}

impl Turn {
    /// Runs work on the threads of the turn.
    pub fn run<T: Send>(&self, work: impl FnOnce() -> T + Send) -> T {
        match &self.pool {
            Some(pool) => pool.install(work),
            None => work(),
        }
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let mut state = self.lane.state();
        state.took(self.client, self.told, self.began.elapsed());
        state.free.push(self.pool.take());
        let passed = state.pass(&self.lane);
        // What nobody takes any more is dropped here again, and asks for the state.
        drop(state);
        give(passed);
    }
}

/// Gives turns to those that wait; one that nobody takes any more is free again.
fn give(passed: Vec<(Waiting, Turn)>) {
    for (waiting, turn) in passed {
        drop(waiting.tell.send(Ok(turn)));
    }
}

/// Leaves the queue when nobody waits any longer.
struct Leaving<'a> {
    lane: &'a Lane,
    place: Place,
}

impl Drop for Leaving<'_> {
    fn drop(&mut self) {
        let mut state = self.lane.state();
        if let Some(gone) = state.waiting.remove(&self.place) {
            state.units -= gone.units;
        }
    }
}

impl Lane {
    /// A lane with a turn for each of `free`, in which so many units may wait for each of them.
    pub fn new(free: Vec<Option<ThreadPool>>, units: u64) -> Self {
        let turns = free.len() as u64;
        let state = State { free, now: 0, next: 0, ends: HashMap::new(), waiting: BTreeMap::new(), units: 0 };
        Self { turns, bound: units.saturating_mul(turns), state: Mutex::new(state) }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // Nothing in here panics between two changes that belong together.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How many requests wait, and what they cost in units.
    pub fn waiting(&self) -> (usize, u64) {
        let state = self.state();
        (state.waiting.len(), state.units)
    }

    /// Waits for a turn.
    ///
    /// # Errors
    /// [`Fault::Busy`] when more waits already than may, and the address has had its share.
    pub async fn turn(self: &Arc<Self>, client: Client, units: u64) -> Result<Turn, Fault> {
        let (place, came, passed) = {
            let mut state = self.state();
            let (place, came) = state.join(client, units);
            let passed = state.pass(self);
            self.shed(&mut state);
            (place, came, passed)
        };
        give(passed);
        let _leaving = Leaving { lane: self, place };
        came.await.map_err(|_| Fault::Leaving)?
    }

    /// Tells the last ones that they cannot be served in time; one may always wait.
    fn shed(&self, state: &mut State) {
        while state.units > self.bound && state.waiting.len() > 1 {
            let Some((_, last)) = state.waiting.pop_last() else { return };
            state.units -= last.units;
            let seconds = (state.units / self.turns.max(1)).div_ceil(done_in(1_000)).max(1);
            drop(last.tell.send(Err(Fault::Busy { seconds })));
        }
    }
}

impl State {
    fn join(&mut self, client: Client, units: u64) -> (Place, oneshot::Receiver<Result<Turn, Fault>>) {
        let now = self.now;
        if self.ends.len() >= MOST_CLIENTS {
            // Who has had no more than his share is as good as new.
            self.ends.retain(|_, end| *end > now);
        }
        let start = self.ends.get(&client).map_or(now, |end| now.max(*end));
        if self.ends.len() < MOST_CLIENTS || self.ends.contains_key(&client) {
            self.ends.insert(client, start.saturating_add(units));
        }
        let place = (start, self.next);
        self.next += 1;
        let (tell, came) = oneshot::channel();
        self.units = self.units.saturating_add(units);
        self.waiting.insert(place, Waiting { client, units, tell });
        (place, came)
    }

    /// What a request took counts in place of what it was told to cost: many that are told alike, such as those whose cost
    /// itself is asked for, take between a tenth of it and several times as much.
    fn took(&mut self, client: Client, told: u64, time: Duration) {
        if let Some(end) = self.ends.get_mut(&client) {
            *end = end.saturating_sub(told).saturating_add(done_within(time));
        }
    }

    /// Gives free turns to those that come next.
    fn pass(&mut self, lane: &Arc<Lane>) -> Vec<(Waiting, Turn)> {
        let mut passed = Vec::new();
        while !self.free.is_empty()
            && let Some((place, waiting)) = self.waiting.pop_first()
            && let Some(pool) = self.free.pop()
        {
            self.now = self.now.max(place.0);
            self.units -= waiting.units;
            let (client, told, began) = (waiting.client, waiting.units, Instant::now());
            passed.push((waiting, Turn { lane: Arc::clone(lane), pool, client, told, began }));
        }
        passed
    }
}

#[cfg(test)]
mod tests {
    use std::future::poll_fn;
    use std::net::IpAddr;
    use std::pin::{Pin, pin};
    use std::task::Poll;

    use axum::http::HeaderMap;

    use super::*;
    use crate::client::Peer;

    fn client(last: u8) -> Client {
        Client::of(Some(Peer(IpAddr::from([192, 0, 2, last]))), &HeaderMap::new(), &[])
    }

    fn lane(bound: u64) -> Arc<Lane> {
        Arc::new(Lane::new(vec![None], bound))
    }

    /// What a future has come to by now.
    async fn now<T>(mut future: Pin<&mut impl Future<Output = T>>) -> Option<T> {
        poll_fn(|context| {
            Poll::Ready(match future.as_mut().poll(context) {
                Poll::Ready(value) => Some(value),
                Poll::Pending => None,
            })
        })
        .await
    }

    #[tokio::test]
    async fn one_request_of_another_comes_before_a_backlog() {
        let lane = lane(1_000);
        let running = lane.turn(client(1), 10).await.expect("it is free");
        let mut second = pin!(lane.turn(client(1), 10));
        let mut third = pin!(lane.turn(client(1), 10));
        let mut other = pin!(lane.turn(client(2), 10));
        assert!(now(second.as_mut()).await.is_none() && now(third.as_mut()).await.is_none());
        assert!(now(other.as_mut()).await.is_none());
        drop(running);
        let turn = now(other.as_mut()).await.expect("it is next").expect("it fits");
        assert!(now(second.as_mut()).await.is_none());
        drop(turn);
        let turn = now(second.as_mut()).await.expect("then the backlog").expect("it fits");
        assert!(now(third.as_mut()).await.is_none());
        drop(turn);
        assert!(now(third.as_mut()).await.is_some_and(|turn| turn.is_ok()));
    }

    #[tokio::test]
    async fn who_took_little_comes_before_who_took_much_of_what_was_told_alike() {
        let lane = lane(1_000);
        let much = lane.turn(client(1), 10).await.expect("it is free");
        std::thread::sleep(Duration::from_millis(20));
        drop(much);
        drop(lane.turn(client(2), 10).await.expect("it is free"));
        let running = lane.turn(client(3), 10).await.expect("it is free");
        let mut one = pin!(lane.turn(client(1), 10));
        let mut other = pin!(lane.turn(client(2), 10));
        assert!(now(one.as_mut()).await.is_none() && now(other.as_mut()).await.is_none());
        drop(running);
        assert!(now(one.as_mut()).await.is_none(), "it came first, and had much");
        assert!(now(other.as_mut()).await.is_some_and(|turn| turn.is_ok()));
    }

    #[tokio::test]
    async fn a_full_queue_sheds_the_backlog_and_not_who_comes() {
        let lane = lane(25);
        let _running = lane.turn(client(1), 10).await.expect("it is free");
        let mut second = pin!(lane.turn(client(1), 10));
        let mut third = pin!(lane.turn(client(1), 10));
        assert!(now(second.as_mut()).await.is_none() && now(third.as_mut()).await.is_none());
        let fourth = lane.turn(client(1), 10).await.map(drop);
        assert_eq!(fourth, Err(Fault::Busy { seconds: 1 }));
        let mut other = pin!(lane.turn(client(2), 10));
        assert!(now(other.as_mut()).await.is_none(), "it waits");
        assert!(now(third.as_mut()).await.is_some_and(|turn| turn.is_err()), "the last of the backlog has gone");
        assert!(now(second.as_mut()).await.is_none());
    }

    #[tokio::test]
    async fn who_leaves_the_queue_leaves_no_cost_and_takes_no_turn() {
        let lane = lane(10);
        let running = lane.turn(client(1), 10).await.expect("it is free");
        for _ in 0..100 {
            assert!(now(pin!(lane.turn(client(1), 10))).await.is_none());
        }
        let left = {
            let state = lane.state();
            (state.units, state.waiting.len())
        };
        assert_eq!(left, (0, 0));
        drop(running);
        assert!(lane.turn(client(1), 10).await.is_ok());
    }

    #[tokio::test]
    async fn a_bounded_number_of_addresses_is_remembered() {
        let lane = lane(10);
        for number in 0..3 * u32::try_from(MOST_CLIENTS).expect("a small number") {
            let peer = Peer(IpAddr::from(number.to_be_bytes()));
            drop(lane.turn(Client::of(Some(peer), &HeaderMap::new(), &[]), 10).await);
        }
        assert!(lane.state().ends.len() <= MOST_CLIENTS);
    }
}
