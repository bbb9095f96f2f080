//! Estimates of capacity and resistance, and the proof of a loss.

use crate::field::{defaulted, optional, whole};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// Between which anchors the charge is counted.
    pub enum CapacityMethod {
        TwoRests = "two-rests", "Two rests";
        FullAndRest = "full-and-rest", "Full, and a rest";
        FullAndEmpty = "full-and-empty", "Full, and empty";
        Typed = "typed", "Stated errors";
    }
}

crate::choice! {
    /// What a stated error is.
    pub enum Inaccuracy {
        Standard = "standard", "A standard uncertainty";
        Limit = "limit", "A limit";
    }
}

input! {
    /// Capacity from counted charge and two anchors.
    pub struct CapacityEstimate {
        method: CapacityMethod = CapacityMethod::TwoRests.chosen(), "", "Between", "The two anchors.";
        first_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0).shown(20.0), "S1", "First state of charge", "Of a rest.";
        second_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0).shown(85.0), "S2", "Second state of charge", "Of the other rest.";
        current_a: f64 = defaulted(Unit::Ampere, 1e-3, 1e5, 60.0), "", "Mean current", "Between them; the offset counts against it.";
        full_error_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 1.0), "", "Error of full", "In points, half-width.";
        empty_error_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 2.0), "", "Error of empty", "In points, half-width.";
        counted_ah: Option<f64> = optional(Unit::AmpereHour, 1e-3, 1e5), "ΔQ", "Charge that was counted", "Needed with stated errors.";
        count_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "", "Its error", "Of it; needed with stated errors.";
        rest_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "", "Error of each anchor", "In points; needed with stated errors.";
        kind: Inaccuracy = Inaccuracy::Standard.chosen(), "", "Stated errors are", "Of what kind.";
        correlation: f64 = defaulted(Unit::One, -1.0, 1.0, 0.0).like(0.5), "r", "Correlation of the anchors", "Of the part of their errors that is not known to be common.";
    }
}

input! {
    /// Resistance from a step of the current.
    pub struct ResistanceEstimate {
        step_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e6).shown(200.0), "ΔI", "Step of the current", "That the estimate takes.";
        resistance_ohm: Option<f64> = optional(Unit::Ohm, 1e-6, 100.0).shown(0.2), "R", "Resistance of the pack", "That is estimated.";
        voltage_noise_v: Option<f64> = optional(Unit::Volt, 0.0, 1e3).shown(0.05), "uv", "Noise of a voltage reading", "Of the pack, root mean square.";
        voltage_gain_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0).shown(0.4), "gv", "Gain error of the voltage", "Half-width; what voltage and current share does not count.";
        current_slope_a_per_s: f64 = defaulted(Unit::AmperePerSecond, 0.0, 1e9, 0.0).like(400.0), "", "Slope of the current", "While it is read.";
        skew_s: f64 = defaulted(Unit::Second, 0.0, 1e3, 0.0).like(2e-3), "", "Skew", "Between the readings of voltage and current.";
        polarisation_ohm_per_s: f64 = defaulted(Unit::OhmPerSecond, 0.0, 1e3, 0.0).like(1e-3), "", "Polarisation", "Growth of the resistance when it is read.";
        time_error_s: f64 = defaulted(Unit::Second, 0.0, 1e5, 0.0).like(0.1), "", "Error of that time", "Half-width.";
        averaged: u32 = whole(Unit::One, 1, 65_536, 1), "", "Averaged readings", "On each side of the step.";
    }
}

input! {
    /// A loss of capacity that is to be proven.
    pub struct Trend {
        loss_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0).shown(8.0), "L", "Loss", "That is expected after these years.";
        claim_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 0.0).like(5.0), "", "Loss that is claimed", "It must be shown to be larger.";
        years: f64 = defaulted(Unit::Year, 1e-2, 100.0, 4.0), "", "After", "Years of use.";
        life_years: Option<f64> = optional(Unit::Year, 0.1, 100.0).shown(15.0), "", "Life", "Over which the drift of the channel is meant.";
        estimate_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 1.5), "ur", "Scatter of an estimate", "Standard, new each time.";
        channel_drift_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 0.5), "", "Gain drift of the channel", "Half-width, over life.";
        power_percent: f64 = defaulted(Unit::Percent, 50.0, 99.99, 90.0), "", "Power", "Probability to prove the loss when it is there.";
    }
}

impl CapacityEstimate {
    /// Whether the state of charge falls between the anchors.
    pub fn falls(&self) -> bool {
        self.method != CapacityMethod::TwoRests || self.first_percent > self.second_percent
    }

    /// Whether an estimate is described.
    pub fn is_there(&self) -> bool {
        self.first_percent.is_some() || self.second_percent.is_some() || self.counted_ah.is_some()
    }
}

impl ResistanceEstimate {
    /// Whether an estimate is described.
    pub const fn is_there(&self) -> bool {
        self.step_a.is_some()
    }
}

impl Trend {
    /// Whether a loss is claimed.
    pub const fn is_there(&self) -> bool {
        self.loss_percent.is_some()
    }
}
