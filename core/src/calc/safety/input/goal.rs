//! A safety goal: what must not happen, and how soon a fault must be handled.

use super::demand::DecidedBy;
use crate::field::{optional, text};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// The level of a goal (ISO 26262-1 words).
    pub enum Asil {
        NotGiven = "not-given", "Not given";
        Qm = "qm", "QM";
        A = "a", "ASIL A";
        B = "b", "ASIL B";
        C = "c", "ASIL C";
        D = "d", "ASIL D";
    }
}

crate::choice! {
    /// The quantity that a goal or a check reads.
    pub enum Reads {
        Current = "current", "Current";
        Voltage = "voltage", "Voltage";
        Temperature = "temperature", "Temperature";
    }
}

crate::choice! {
    /// Which readings violate a goal.
    pub enum Dangerous {
        Low = "low", "Readings that are too low";
        High = "high", "Readings that are too high";
        Both = "both", "Either";
    }
}

input! {
    /// A safety goal.
    pub struct Goal {
        name: String = text(60, "Goal"), "", "Name", "Fault modes name it.";
        asil: Asil = Asil::NotGiven.chosen(), "", "Level", "QM and A have no targets, B a recommendation.";
        reads: Reads = Reads::Voltage.chosen(), "", "Quantity", "That the goal rests on.";
        dangerous: Dangerous = Dangerous::Both.chosen(), "", "Dangerous are", "Reading high is harmless for over-voltage and dangerous for under-voltage.";
        ftti_s: Option<f64> = optional(Unit::Second, 1e-4, 1e6), "", "Fault tolerant time interval", "From the fault to the hazard without any mechanism.";
        reaction_s: Option<f64> = optional(Unit::Second, 0.0, 60.0).like(0.1), "", "Reaction", "From the alarm to the safe state.";
        harm_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "h", "Harmful deviation, current", "The smallest that violates the goal, as a magnitude, with the error of the healthy channel already taken off.";
        harm_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "h", "Harmful deviation, voltage", "The smallest that violates the goal, as a magnitude, with the error of the healthy channel already taken off.";
        harm_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "h", "Harmful deviation, temperature", "The smallest that violates the goal, as a magnitude, with the error of the healthy channel already taken off.";
        at_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "x", "Decided at, current", "The true value at which the goal hangs on the reading: what is inserted is read there.";
        at_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "x", "Decided at, voltage", "The true value at which the goal hangs on the reading: what is inserted is read there.";
        at_degc: Option<f64> = optional(Unit::Celsius, -80.0, 300.0), "x", "Decided at, temperature", "The true value at which the goal hangs on the reading: what is inserted is read there.";
        share_of_item_percent: Option<f64> = optional(Unit::Percent, 0.1, 100.0), "", "Share of the item", "Of the target for random failures that this part may use.";
        threshold_a: Option<f64> = optional(Unit::Ampere, -1e7, 1e7), "T", "Threshold, current", "On which the goal rests: the goal is then decided by it.";
        threshold_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "T", "Threshold, voltage", "On which the goal rests: the goal is then decided by it.";
        threshold_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "T", "Threshold, temperature", "On which the goal rests: the goal is then decided by it.";
        error_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "e", "Its error, current", "Half-width, of the healthy reading.";
        error_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "e", "Its error, voltage", "Half-width, of the healthy reading.";
        error_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "e", "Its error, temperature", "Half-width, of the healthy reading.";
        hazard_a: Option<f64> = optional(Unit::Ampere, -1e7, 1e7), "x_h", "Hazard, current", "Must never be passed; on the side of the threshold that faces away from operation.";
        hazard_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "x_h", "Hazard, voltage", "Must never be passed; on the side of the threshold that faces away from operation.";
        hazard_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "x_h", "Hazard, temperature", "Must never be passed; on the side of the threshold that faces away from operation.";
        slope_a_per_s: Option<f64> = optional(Unit::AmperePerSecond, 0.0, 1e9), "s", "Largest slope, current", "Towards the hazard.";
        slope_v_per_s: Option<f64> = optional(Unit::VoltPerSecond, 0.0, 1e9), "s", "Largest slope, voltage", "Towards the hazard.";
        slope_k_per_s: Option<f64> = optional(Unit::KelvinPerSecond, 0.0, 1e5), "s", "Largest slope, temperature", "Towards the hazard.";
        delay_s: Option<f64> = optional(Unit::Second, 0.0, 1e5), "t", "Delay of the threshold", "From the crossing until the safe state.";
        normal_a: Option<f64> = optional(Unit::Ampere, -1e7, 1e7), "x_n", "Normal extreme, current", "Of allowed operation, next to the threshold.";
        normal_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "x_n", "Normal extreme, voltage", "Of allowed operation, next to the threshold.";
        normal_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "x_n", "Normal extreme, temperature", "Of allowed operation, next to the threshold.";
        decided_by: DecidedBy = DecidedBy::Threshold.chosen(), "", "Rests on", "What decides it; of a race, a pre-charge or a count its own function says where and by how much.";
        largest_possible_a: Option<f64> = optional(Unit::Ampere, -1e7, 1e7), "", "Reaches at most, current", "How far the true value can go beyond the hazard; empty: a threshold that never trips is told as late.";
        largest_possible_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "", "Reaches at most, voltage", "How far the true value can go beyond the hazard; empty: a threshold that never trips is told as late.";
        largest_possible_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "", "Reaches at most, temperature", "How far the true value can go beyond the hazard; empty: a threshold that never trips is told as late.";
    }
}

/// The targets of a level (ISO 26262-5:2018 tables 4 to 6, read in public transcriptions).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Targets {
    /// Single-point fault metric, percent.
    pub spfm_percent: f64,
    /// Latent fault metric, percent.
    pub lfm_percent: f64,
    /// Probabilistic metric of the whole item, FIT.
    pub pmhf_fit: f64,
}

impl Asil {
    /// Whether something is asked of it.
    pub const fn asks(self) -> bool {
        !matches!(self, Self::NotGiven | Self::Qm)
    }

    /// What is asked of it; nothing of QM and A.
    pub const fn targets(self) -> Option<Targets> {
        let (spfm_percent, lfm_percent, pmhf_fit) = match self {
            Self::NotGiven | Self::Qm | Self::A => return None,
            Self::B => (90.0, 60.0, 100.0),
            Self::C => (97.0, 80.0, 100.0),
            Self::D => (99.0, 90.0, 10.0),
        };
        Some(Targets { spfm_percent, lfm_percent, pmhf_fit })
    }
}

impl Reads {
    /// The unit of its values.
    pub const fn unit_of_values(self) -> Unit {
        if matches!(self, Self::Temperature) { Unit::Celsius } else { self.unit() }
    }

    /// The unit of a deviation of it.
    pub const fn unit(self) -> Unit {
        match self {
            Self::Current => Unit::Ampere,
            Self::Voltage => Unit::Volt,
            Self::Temperature => Unit::Kelvin,
        }
    }

    /// Of three values, for current, voltage and temperature, its own.
    pub fn pick<T>(self, [a, v, k]: [T; 3]) -> T {
        match self {
            Self::Current => a,
            Self::Voltage => v,
            Self::Temperature => k,
        }
    }
}

impl Goal {
    /// A goal without a level.
    pub fn unstated() -> Self {
        Self {
            name: "No goal stated".into(),
            asil: Asil::Qm,
            reads: Reads::Voltage,
            dangerous: Dangerous::Both,
            ftti_s: None,
            ..crate::field::start()
        }
    }

    /// Time that is left from the fault to the alarm, s.
    pub fn within_s(&self) -> f64 {
        self.ftti_s.map_or(f64::INFINITY, |ftti| ftti - self.reaction_s.unwrap_or(0.0))
    }

    /// Why nobody knows what is in time; nothing where no time is asked.
    pub fn time_lacks(&self) -> Option<String> {
        let what = match (self.ftti_s, self.reaction_s) {
            (None, _) if self.asil.asks() => "fault tolerant time interval",
            (Some(_), None) => "reaction",
            _ => return None,
        };
        Some(format!("the {what} of {} is not given", self.name))
    }

    /// The smallest deviation that violates it.
    pub fn harm(&self) -> Option<f64> {
        self.reads.pick([self.harm_a, self.harm_v, self.harm_k])
    }

    /// The true value at which it is decided.
    pub fn at(&self) -> Option<f64> {
        self.reads.pick([self.at_a, self.at_v, self.at_degc])
    }

    /// Whether its reading ends where the converter does: a fast detection stands before it.
    pub fn is_bounded(&self) -> bool {
        self.decided_by != DecidedBy::Race
    }

    /// Whether deviations of this sign violate it.
    pub fn minds(&self, high: bool) -> bool {
        self.dangerous == Dangerous::Both || high == (self.dangerous == Dangerous::High)
    }
}
