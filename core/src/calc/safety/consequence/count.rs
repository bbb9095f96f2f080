//! # A count of charge whose current reads wrong
//!
//! ```text
//! Formula    24 |δ| Ah a day; days to the budget = budget/(24 |δ|); late where the next anchor comes after that; decided by
//!            δ = budget/t
//! Symbols    δ [A] deviation at the current that is counted, t [h] until the next anchor
//! Valid      the current flows, or nothing does, until the next anchor
//! Source     definition of a count
//! ```

use super::super::input::CountParts;
use super::{Consequence, SafetyBehaviour};

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
