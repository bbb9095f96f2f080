//! A fault mode of a component: its rate, what is claimed of it, and what it does to the reading.

use super::goal::Reads;
use crate::field::{defaulted, number, optional, text, yes_no};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// How magnitudes of a fault are distributed.
    pub enum Law {
        Uniform = "uniform", "Uniform";
        LogUniform = "log-uniform", "Uniform in the logarithm";
    }
}

input! {
    /// A fault mode.
    pub struct Fault {
        component: String = text(60, "Component"), "", "Component", "What fails.";
        mode: String = text(60, "all modes"), "", "Mode", "How it fails.";
        goal: String = text(60, ""), "", "Goal", "By its name; empty: it counts for every goal.";
        rate_fit: f64 = number(Unit::Fit, 0.0, 1e5, 10.0), "λ", "Rate of the component", "All its modes together.";
        mode_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 100.0), "", "Share of the mode", "Of the rate.";
        safe_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "s", "Safe", "Share that violates the goal with nothing else.";
        direct_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "d", "Direct", "Share that violates the goal alone where no check acts; empty: from the deviation.";
        coverage_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "DC", "Claimed coverage", "Of the direct share. Beside a deviation it is a ceiling.";
        signalled_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "q", "Signalled", "Of what is covered: somebody is told. Empty: as the check says.";
        tested_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 0.0).like(90.0), "", "Tested", "Coverage of the share that takes a second fault, within the multi-point interval.";
        seen_by: String = text(160, ""), "", "Seen by", "Names of checks, parted by commas.";
        law: Law = Law::Uniform.chosen(), "", "Distribution", "Of the deviation between its ends.";
        from_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "", "Deviation from, current", "Read less true, signed.";
        to_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "", "Deviation to, current", "Empty: one value.";
        from_v: Option<f64> = optional(Unit::Volt, -1e6, 1e6), "", "Deviation from, voltage", "Read less true, signed.";
        to_v: Option<f64> = optional(Unit::Volt, -1e6, 1e6), "", "Deviation to, voltage", "Empty: one value.";
        from_k: Option<f64> = optional(Unit::Kelvin, -1e3, 1e3), "", "Deviation from, temperature", "Read less true, signed.";
        to_k: Option<f64> = optional(Unit::Kelvin, -1e3, 1e3), "", "Deviation to, temperature", "Empty: one value.";
        source: String = text(120, ""), "", "Source", "Of rate and share.";
        illustrative: bool = yes_no(true), "", "Illustrative", "The rate has no source that counts.";
    }
}

impl Fault {
    /// Component and mode in words.
    pub fn words(&self) -> String {
        format!("{}, {}", self.component, self.mode)
    }

    /// The ends of the deviation of a quantity, the lower first.
    pub fn deviation(&self, reads: Reads) -> Option<[f64; 2]> {
        let (from, to) = reads.pick([(self.from_a, self.to_a), (self.from_v, self.to_v), (self.from_k, self.to_k)]);
        let (one, other) = (from.or(to)?, to.or(from)?);
        Some([one.min(other), one.max(other)])
    }

    /// Rate of the mode, FIT.
    pub fn mode_fit(&self) -> f64 {
        self.rate_fit * self.mode_percent / 100.0
    }

    /// Whether it counts for a goal.
    pub fn counts_for(&self, goal: &str) -> bool {
        self.goal.is_empty() || self.goal == goal
    }
}
