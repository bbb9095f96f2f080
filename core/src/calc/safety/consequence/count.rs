//! # A count of charge whose current reads wrong
//!
//! ```text
//! Formula    24 |δ| Ah a day; days to the budget = budget/(24 |δ|); late where the next anchor comes after that; decided by
//!            δ = budget/t
//! Symbols    δ [A] largest deviation at any current that is counted, t [h] until the next anchor
//! Budget     what the healthy count leaves of what is allowed
//! Search     even places from the largest charge to the largest discharge of the use, none, and what is typed beyond them
//! Valid      a bound: the current at which it misreads most flows until the next anchor
//! Source     definition of a count
//! ```

use super::super::input::{CountParts, DecidedBy, Goal, SafetyInput};
use super::{Consequence, SafetyBehaviour};

/// Parts of the range of currents at whose ends a count is looked at.
const PARTS: u32 = 8;
/// Currents at which a count is looked at.
pub(in super::super) const CURRENTS: usize = PARTS as usize + 2;

impl SafetyInput {
    /// The currents that are counted for a goal: both directions of the use, and what a goal types beyond them; nothing where
    /// the use is not given.
    pub fn counted_a(&self, goal: &Goal) -> Option<[f64; CURRENTS]> {
        let typed = self.goals.iter().filter(|one| one.decided_by == DecidedBy::Count && one.name == goal.name);
        let (out, back) = (self.count.discharge_a?, self.count.charge_a?);
        let [low, high] =
            typed.filter_map(|one| one.at_a).fold([-back, out], |[low, high], at| [low.min(at), high.max(at)]);
        let mut all = [0.0; CURRENTS];
        for (step, at) in (0..=PARTS).zip(&mut all) {
            *at = low + (high - low) * f64::from(step) / f64::from(PARTS);
        }
        Some(all)
    }
}

/// A count with everything that its goals need.
#[derive(Clone, Copy)]
pub(in super::super) struct Count {
    budget_ah: f64,
    anchor_h: f64,
}

impl Count {
    /// Where all of it is given.
    pub fn of(parts: &CountParts) -> Option<Self> {
        Some(Self { budget_ah: parts.budget_ah?, anchor_h: parts.anchor_h? })
    }

    /// The deviation that uses the budget up.
    pub fn harm_a(self) -> f64 {
        self.budget_ah / self.anchor_h
    }

    /// What becomes of a deviation.
    pub fn met(self, deviation_a: f64) -> Consequence {
        let hours = self.budget_ah / deviation_a.abs();
        let late = hours <= self.anchor_h;
        Consequence {
            budget_days: Some(hours / 24.0).filter(|days| days.is_finite()),
            ah_per_day: Some(24.0 * deviation_a.abs()),
            ..Consequence::of(if late { SafetyBehaviour::Late } else { SafetyBehaviour::InTime })
        }
    }
}
