//! # What there is only so much of
//!
//! Places for requests, bytes of bodies and of answers. A client takes half at most of what the others leave, so that neither
//! one nor several keep another out.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::client::Client;

/// So much of something.
#[derive(Debug)]
pub struct Stock {
    state: Mutex<State>,
}

#[derive(Debug)]
struct State {
    free: usize,
    /// Those that have something; never more than there is.
    held: HashMap<Client, usize>,
}

impl Stock {
    /// A stock of so much; the last one is for whoever comes.
    pub fn of(all: usize) -> Arc<Self> {
        Arc::new(Self { state: Mutex::new(State { free: all, held: HashMap::new() }) })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // Nothing in here panics between two changes that belong together.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes some of it; nothing when there is too little left, or the client has its share.
    pub fn take(self: &Arc<Self>, client: Client, amount: usize) -> Option<Held> {
        let mut held = Held { stock: Arc::clone(self), client, amount: 0 };
        held.more(amount).then_some(held)
    }

    /// What nobody has.
    pub fn free(&self) -> usize {
        self.state().free
    }
}

/// What a client has of a stock; it goes back when it is dropped.
#[derive(Debug)]
pub struct Held {
    stock: Arc<Stock>,
    client: Client,
    amount: usize,
}

impl Held {
    /// Takes more; whether there was enough.
    pub fn more(&mut self, amount: usize) -> bool {
        let mut state = self.stock.state();
        let has = state.held.get(&self.client).copied().unwrap_or(0);
        let share = (state.free + has).div_ceil(2);
        if amount > state.free || amount > share.saturating_sub(has) {
            return false;
        }
        if amount > 0 {
            state.free -= amount;
            state.held.insert(self.client, has + amount);
            self.amount += amount;
        }
        true
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        let mut state = self.stock.state();
        state.free += self.amount;
        let left = state.held.get(&self.client).copied().unwrap_or(0).saturating_sub(self.amount);
        if left == 0 {
            state.held.remove(&self.client);
        } else {
            state.held.insert(self.client, left);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::net::IpAddr;

    use axum::http::HeaderMap;

    use super::*;
    use crate::client::Peer;

    fn client(last: u8) -> Client {
        Client::of(Some(Peer(IpAddr::from([192, 0, 2, last]))), &HeaderMap::new(), &[])
    }

    #[test]
    fn one_client_has_half_and_all_goes_back() {
        let stock = Stock::of(10);
        let mut first = stock.take(client(1), 3).expect("it is there");
        assert!(first.more(2) && !first.more(1), "more than half");
        assert!(stock.take(client(1), 1).is_none());
        let second = stock.take(client(2), 3).expect("half of the other half");
        let third = [stock.take(client(3), 1), stock.take(client(4), 1)];
        assert!(third.iter().all(Option::is_some) && stock.take(client(5), 1).is_none(), "nothing is left");
        assert!(stock.take(client(5), 0).is_some());
        drop((first, third));
        assert_eq!(stock.free(), 7);
        assert!(stock.take(client(1), 4).is_some());
        drop(second);
        assert_eq!((stock.free(), stock.state().held.len()), (10, 0));
        assert!(Stock::of(1).take(client(1), 1).is_some());
    }

    #[test]
    fn several_that_take_all_they_can_leave_something() {
        let stock = Stock::of(64);
        let all_that_is_given = |last: u8| std::iter::from_fn(|| stock.take(client(last), 1)).collect::<Vec<_>>();
        let taken: Vec<_> = (1..=4).map(all_that_is_given).collect();
        assert_eq!(taken.iter().map(Vec::len).collect::<Vec<_>>(), [32, 16, 8, 4]);
        assert!(stock.take(client(5), 1).is_some());
    }
}
