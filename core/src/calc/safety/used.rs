//! # Which reading a goal uses
//!
//! Where two channels are compared a goal may use the other one, their mean, or the larger or smaller of both. A fault of one
//! channel then moves less of what is used; what moves both moves all of it. What is dangerous in the channel and no longer in
//! what is used takes a second fault.
//!
//! ```text
//! Formula    Δ_used = Δ, Δ/2 of a mean, max(Δ, 0) of the larger, min(Δ, 0) of the smaller, 0 of the other;
//!            h_used = h − (e_used − e_A)⁺, e_used = e_B, (e_A + e_B)/2, or the larger of both
//! Symbols    Δ deviation of the channel, h harmful deviation with its error e_A taken off, e_B error of the other channel
//! Valid      one channel fails; a drift that both share moves both alike
//! Source     definitions of the terms
//! ```

use super::input::{Fault, Goal, Insert, SafetyCheck, SafetyInput, Used};

/// The comparison whose word says which reading a goal uses, with its place; nothing where it uses the channel's own.
pub fn used<'a>(input: &'a SafetyInput, goal: &Goal) -> Option<(usize, &'a SafetyCheck)> {
    input.checks.iter().enumerate().find(|(_, check)| check.used != Used::Own && check.reads == goal.reads)
}

impl SafetyCheck {
    /// Whether a fault moves both channels, or may: what is typed may be what they share, or a fault of the other.
    pub fn moves_both(&self, input: &SafetyInput, fault: &Fault) -> bool {
        match fault.insert {
            Insert::None => self.one_reference || self.one_converter || self.used == Used::Other,
            insert => self.shares(insert) || input.blinded(self, insert).is_some(),
        }
    }

    /// What a deviation of the channel makes of the reading that is used.
    pub fn of_used(&self, input: &SafetyInput, fault: &Fault, deviation: f64) -> f64 {
        match self.used {
            _ if self.moves_both(input, fault) => deviation,
            Used::Own => deviation,
            Used::Other => 0.0,
            Used::Mean => deviation / 2.0,
            Used::Larger => deviation.max(0.0),
            Used::Smaller => deviation.min(0.0),
        }
    }

    /// What the reading that is used errs more than the channel of these errors.
    pub fn errs_more(&self, [own, other]: [f64; 2]) -> f64 {
        let used = match self.used {
            Used::Own => own,
            Used::Other => other,
            Used::Mean => f64::midpoint(own, other),
            Used::Larger | Used::Smaller => own.max(other),
        };
        (used - own).max(0.0)
    }
}
