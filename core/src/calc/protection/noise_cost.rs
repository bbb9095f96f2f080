//! # What noise costs a threshold
//!
//! The sigma that keep nuisance trips rare and the way that the first complete row takes rest on noise, samples, slope and
//! the allowed shares alone. What was asked last is kept, because one design asks the same noise again and again.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::sync::Arc;

use super::ramp::Ramp;
use super::rows::Noise;
use super::wait::Wait;
use crate::work::{Halt, Work};

/// So many are kept: a design has few thresholds.
const KEPT: usize = 8;

thread_local! {
    /// The last ones that this thread worked out: a pure function of what they rest on.
    static LAST: RefCell<VecDeque<Arc<NoiseCost>>> = const { RefCell::new(VecDeque::new()) };
}

/// What noise costs: worked out once for what it rests on.
#[derive(Debug)]
pub(super) struct NoiseCost {
    rests_on: (Noise, [f64; 3], bool),
    /// Sigma for the allowed nuisance rate.
    pub(super) sigma: f64,
    pub(super) ramp: Ramp,
    /// What the first complete row takes, for certain and perhaps.
    pub(super) distance: (f64, f64),
    /// How long a steady reading waits for its row.
    pub(super) wait: Wait,
}

impl NoiseCost {
    /// Of a noise: with the slope, the allowed nuisance trips an hour and the share of cases that may be late, and whether
    /// readings may stay near the threshold.
    pub(super) fn of(noise: Noise, others: [f64; 3], stays: bool, work: Work) -> Result<Arc<Self>, Halt> {
        work.go_on()?;
        let rests_on = (noise, others, stays);
        let known = LAST.with_borrow(|last| last.iter().find(|one| one.rests_on == rests_on).cloned());
        if let Some(known) = known {
            return Ok(known);
        }
        let [rate, nuisance_per_hour, missed_share] = others;
        let ramp = Ramp::of(noise, rate, work)?;
        let distance = ramp.distance_for(missed_share, work)?;
        let sigma = noise.sigma_for(nuisance_per_hour, work)?;
        let wait = Wait::of(noise, missed_share, stays, work)?;
        let cost = Arc::new(Self { rests_on, sigma, ramp, distance, wait });
        LAST.with_borrow_mut(|last| {
            last.truncate(KEPT - 1);
            last.push_front(Arc::clone(&cost));
        });
        Ok(cost)
    }

    /// The noise.
    pub(super) const fn noise(&self) -> &Noise {
        &self.rests_on.0
    }
}
