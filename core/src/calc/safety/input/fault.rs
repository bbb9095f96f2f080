//! A fault mode of a component: its rate, what is claimed of it, and what it does to the reading.

use super::demand::Side;
use super::goal::{Goal, Reads};
use super::insert::{Insert, Magnitude};
use crate::field::{defaulted, number, optional, text, whole, yes_no};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// How magnitudes of a fault are distributed.
    pub enum Law {
        Uniform = "uniform", "Uniform";
        LogUniform = "log-uniform", "Uniform in the logarithm";
    }
}

crate::choice! {
    /// How a fault comes.
    pub enum Comes {
        AsUsual = "as-usual", "As such faults do; what is typed slowly";
        AtOnce = "at-once", "At once";
        Slowly = "slowly", "Slowly";
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
        seen_by: String = text(160, ""), "", "Seen by", "Names of checks, parted by commas. Empty: of what is inserted each check of the quantity, of what is typed none.";
        law: Law = Law::Uniform.chosen(), "", "Distribution", "Between the ends of what is inserted, or of the deviation.";
        from_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "", "Deviation from, current", "Read less true, signed.";
        to_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "", "Deviation to, current", "Empty: one value.";
        from_v: Option<f64> = optional(Unit::Volt, -1e6, 1e6), "", "Deviation from, voltage", "Read less true, signed.";
        to_v: Option<f64> = optional(Unit::Volt, -1e6, 1e6), "", "Deviation to, voltage", "Empty: one value.";
        from_k: Option<f64> = optional(Unit::Kelvin, -1e3, 1e3), "", "Deviation from, temperature", "Read less true, signed.";
        to_k: Option<f64> = optional(Unit::Kelvin, -1e3, 1e3), "", "Deviation to, temperature", "Empty: one value.";
        insert: Insert = Insert::None.chosen(), "", "Inserted", "Into the channel of the goal's quantity, instead of a typed deviation.";
        from_percent: Option<f64> = optional(Unit::Percent, -99.9, 1e4), "", "Drift from", "Of the part, signed; empty: as usual for it.";
        to_percent: Option<f64> = optional(Unit::Percent, -99.9, 1e4), "", "Drift to", "Empty: one value.";
        from_ohm: Option<f64> = optional(Unit::Ohm, 1e-9, 1e15), "", "Resistance from", "Of a joint, leakage or bridge; empty: as usual for it.";
        to_ohm: Option<f64> = optional(Unit::Ohm, 1e-9, 1e15), "", "Resistance to", "Empty: one value.";
        from_s: Option<f64> = optional(Unit::Second, 0.0, 1e6), "", "Late from", "What is slow or late, behind the true value.";
        to_s: Option<f64> = optional(Unit::Second, 0.0, 1e6), "", "Late to", "Empty: one value.";
        bit: Option<f64> = optional(Unit::One, 0.0, 31.0), "b", "Bit", "That is forced, from 0; empty: the worst of all.";
        elements: u32 = whole(Unit::One, 1, 100, 1), "k", "Elements", "Shorted, or leaked across.";
        comes: Comes = Comes::AsUsual.chosen(), "", "Comes", "What comes slowly shows in no step from one reading to the next.";
        source: String = text(120, ""), "", "Source", "Of rate and share.";
        illustrative: bool = yes_no(true), "", "Illustrative", "The rate has no source that counts.";
        side: Side = Side::Pack.chosen(), "", "Of a pre-charge", "Which of its two channels; checks see one of the link's only where it names them.";
    }
}

impl Fault {
    /// The ends of what is inserted, and how it is distributed between them.
    pub fn magnitude(&self) -> (Magnitude, Law) {
        let ends = |from: Option<f64>, to: Option<f64>| Some((from.or(to)?, to.or(from)?));
        match self.insert.usual() {
            Magnitude::None => (Magnitude::None, self.law),
            Magnitude::Percent(from, to) => {
                let (from, to) = ends(self.from_percent, self.to_percent).unwrap_or((from, to));
                (Magnitude::Percent(from.min(to), from.max(to)), self.law)
            }
            Magnitude::Second(_) => {
                let ends = ends(self.from_s, self.to_s).map(|(from, to)| [from.min(to), from.max(to)]);
                (Magnitude::Second(ends), self.law)
            }
            Magnitude::Ohm(from, to) => match ends(self.from_ohm, self.to_ohm) {
                Some((from, to)) => (Magnitude::Ohm(from.min(to), from.max(to)), self.law),
                None => (Magnitude::Ohm(from, to), Law::LogUniform),
            },
        }
    }

    /// How it comes: a resistance or a share that may grow is not taken to come at once.
    pub fn comes(&self) -> Comes {
        match self.comes {
            Comes::AsUsual if self.insert.comes_at_once() => Comes::AtOnce,
            Comes::AsUsual => Comes::Slowly,
            said => said,
        }
    }

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

    /// Whether it counts for a goal and can touch it: what is inserted into another channel cannot.
    pub fn touches(&self, goal: &Goal) -> bool {
        self.counts_for(&goal.name) && self.insert.reads().is_none_or(|reads| reads == goal.reads)
    }
}
