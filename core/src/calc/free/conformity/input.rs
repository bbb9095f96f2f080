//! What a decision on conformity takes.

use super::risk::{self, Limits, Normal};
use crate::field::{FieldError, defaulted, group, number, optional};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// Which limits of the tolerance count.
    pub enum Sides {
        Both = "both", "Lower and upper limit";
        Lower = "lower", "Lower limit alone";
        Upper = "upper", "Upper limit alone";
    }
}

crate::choice! {
    /// Where the guard band comes from.
    pub enum Guard {
        None = "none", "None: accepted up to the limit itself";
        Multiple = "multiple", "A multiple of the expanded uncertainty";
        Risk = "risk", "The risk at the acceptance limit";
        Width = "width", "Its width as typed";
    }
}

crate::choice! {
    /// Which way the guard band moves the limits.
    pub enum Rule {
        Acceptance = "acceptance", "Inwards: accepted only if it surely conforms";
        Rejection = "rejection", "Outwards: refused only if it surely does not conform";
    }
}

input! {
    /// The rule of decision.
    pub struct Decision {
        guard: Guard = Guard::Multiple.chosen(), "", "Guard band", "Where its width comes from.";
        rule: Rule = Rule::Acceptance.chosen(), "", "Direction", "Which way it moves the limits.";
        multiple: f64 = defaulted(Unit::One, 0.0, 10.0, 1.0), "r", "Multiple", "Of the expanded uncertainty; 1 is strict acceptance.";
        coverage_factor: f64 = defaulted(Unit::One, 1.0, 10.0, 2.0), "k", "Coverage factor", "Of the expanded uncertainty.";
        risk_percent: f64 = defaulted(Unit::Percent, 1e-7, 50.0, 2.5), "α", "Risk at the limit", "That a unit measured at the acceptance limit does not conform.";
        width: f64 = defaulted(Unit::One, 0.0, 1e15, 0.0), "w", "Width", "Of the guard band.";
    }
}

input! {
    /// What is known of all units before they are measured.
    pub struct Process {
        mean: Option<f64> = optional(Unit::One, -1e15, 1e15), "μ", "Mean", "Of all units; leave empty if unknown.";
        standard_deviation: Option<f64> = optional(Unit::One, 1e-15, 1e15), "s", "Standard deviation", "Of all units, without the measurement; leave empty if unknown.";
    }
}

input! {
    /// What is allowed.
    pub struct Allowed {
        unit_risk_percent: Option<f64> = optional(Unit::Percent, 1e-7, 50.0), "", "Risk of the unit", "That the measured unit does not conform although it is accepted; leave empty if none.";
        consumer_risk_percent: Option<f64> = optional(Unit::Percent, 1e-7, 50.0), "RC", "Consumer's risk", "Share of all units that do not conform and are accepted; leave empty if none.";
        producer_risk_percent: Option<f64> = optional(Unit::Percent, 1e-7, 100.0), "RP", "Producer's risk", "Share of all units that conform and are refused; leave empty if none.";
    }
}

input! {
    /// Everything it takes.
    pub struct ConformityInput {
        sides: Sides = Sides::Both.chosen(), "", "Tolerance", "Which limits count.";
        lower: f64 = number(Unit::One, -1e15, 1e15, 1499.8), "TL", "Lower limit", "Of the tolerance; not used when the upper one counts alone.";
        upper: f64 = number(Unit::One, -1e15, 1e15, 1500.2), "TU", "Upper limit", "Of the tolerance; not used when the lower one counts alone.";
        standard: f64 = number(Unit::One, 1e-15, 1e15, 0.04), "u", "Standard uncertainty", "Of one measurement, in the unit of the limits.";
        measured: Option<f64> = optional(Unit::One, -1e15, 1e15), "y", "Measured value", "Of one unit; leave empty to plan a test.";
        decision: Decision = group::<Decision>(), "", "Rule of decision", "The guard band between tolerance and acceptance.";
        process: Process = group::<Process>(), "", "The process", "What is known of the units before they are measured; without it there are no global risks.";
        allowed: Allowed = group::<Allowed>(), "", "Allowed", "Risks that must not be passed.";
    }
}

impl ConformityInput {
    /// The tolerance.
    pub fn tolerance(&self) -> Limits {
        Limits {
            lower: (self.sides != Sides::Upper).then_some(self.lower),
            upper: (self.sides != Sides::Lower).then_some(self.upper),
        }
    }

    /// The expanded uncertainty.
    pub fn expanded(&self) -> f64 {
        self.decision.coverage_factor * self.standard
    }

    /// The guard band, negative where it moves the limits outwards.
    pub fn guard_band(&self) -> f64 {
        let one = &self.decision;
        let width = match one.guard {
            Guard::None => 0.0,
            Guard::Multiple => one.multiple * self.expanded(),
            Guard::Risk => risk::guard_band(self.standard, one.risk_percent / 100.0),
            Guard::Width => one.width,
        };
        if one.rule == Rule::Acceptance { width } else { -width }
    }

    /// The spread of the process, where it is known.
    pub fn process(&self) -> Option<Normal> {
        let (mean, standard) = self.process.mean.zip(self.process.standard_deviation)?;
        Some(Normal { mean, standard })
    }

    /// What is known of a unit that was measured.
    pub fn known(&self, measured: f64) -> Normal {
        let alone = Normal { mean: measured, standard: self.standard };
        self.process().map_or(alone, |process| process.learnt(measured, self.standard))
    }

    /// Fields that contradict each other.
    pub(super) fn contradictions(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        if self.sides == Sides::Both && self.lower >= self.upper {
            faults.push(FieldError::contradiction(
                "/upper",
                "The upper limit must lie above the lower one.",
                format!("above {}", self.lower),
                self.upper,
            ));
        }
        let process = [
            ("/process/mean", self.process.mean, self.process.standard_deviation),
            ("/process/standard_deviation", self.process.standard_deviation, self.process.mean),
        ];
        for (pointer, own, other) in process {
            if own.is_none() && other.is_some() {
                let message = "A process is known by its mean and its standard deviation together.";
                faults.push(FieldError::contradiction(pointer, message, "both or neither", "nothing"));
            }
        }
        faults
    }
}
