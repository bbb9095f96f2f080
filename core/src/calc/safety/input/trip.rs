//! The threshold that a goal rests on, as numbers: typed in the goal, or handed on by the threshold of its quantity.

use super::goal::{Goal, Reads};
use crate::field::optional;
use crate::input;
use crate::quantity::Unit;

input! {
    /// The threshold of a current channel.
    pub struct CurrentTrip {
        threshold_a: Option<f64> = optional(Unit::Ampere, -1e7, 1e7), "T", "Threshold", "That goals of current hang on; a charging current is below zero.";
        error_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "e", "Its error", "Half-width, at the hazard.";
        hazard_a: Option<f64> = optional(Unit::Ampere, -1e7, 1e7), "x_h", "Hazard", "Must never be passed.";
        slope_a_per_s: Option<f64> = optional(Unit::AmperePerSecond, 0.0, 1e9), "s", "Largest slope", "Towards the hazard.";
        normal_a: Option<f64> = optional(Unit::Ampere, -1e7, 1e7), "x_n", "Normal extreme", "Of allowed operation.";
        fails: Option<f64> = optional(Unit::One, 0.0, 1.0), "", "Fails without a fault", "1: one of its own requirements fails or is not judged; 0: all hold; leave empty: told from these numbers.";
    }
}

input! {
    /// The threshold of a voltage channel.
    pub struct VoltageTrip {
        threshold_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "T", "Threshold", "That goals of voltage hang on.";
        error_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "e", "Its error", "Half-width, at the hazard.";
        hazard_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "x_h", "Hazard", "Must never be passed.";
        slope_v_per_s: Option<f64> = optional(Unit::VoltPerSecond, 0.0, 1e9), "s", "Largest slope", "Towards the hazard.";
        normal_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "x_n", "Normal extreme", "Of allowed operation.";
        fails: Option<f64> = optional(Unit::One, 0.0, 1.0), "", "Fails without a fault", "1: one of its own requirements fails or is not judged; 0: all hold; leave empty: told from these numbers.";
    }
}

input! {
    /// The threshold of a temperature channel.
    pub struct TemperatureTrip {
        threshold_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "T", "Threshold", "That goals of temperature hang on.";
        error_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "e", "Its error", "Half-width, at the hazard.";
        hazard_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "x_h", "Hazard", "Must never be passed.";
        slope_k_per_s: Option<f64> = optional(Unit::KelvinPerSecond, 0.0, 1e5), "s", "Largest slope", "Towards the hazard.";
        normal_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "x_n", "Normal extreme", "Of allowed operation.";
        fails: Option<f64> = optional(Unit::One, 0.0, 1.0), "", "Fails without a fault", "1: one of its own requirements fails or is not judged; 0: all hold; leave empty: told from these numbers.";
    }
}

/// A threshold as it is judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trip {
    /// What a reading must pass.
    pub threshold: f64,
    /// What the healthy reading errs, half-width.
    pub error: f64,
    /// Must never be passed.
    pub hazard: f64,
    /// Largest slope towards the hazard.
    pub slope: f64,
    /// The extreme of allowed operation.
    pub normal: f64,
}

/// The numbers of a threshold, each where it is given: threshold, error, hazard, slope, normal extreme.
pub type Told = [Option<f64>; 5];

impl Trip {
    /// Of the numbers, where all are given.
    pub fn of([threshold, error, hazard, slope, normal]: Told) -> Option<Self> {
        Some(Self { threshold: threshold?, error: error?, hazard: hazard?, slope: slope?, normal: normal? })
    }

    /// +1 where the hazard lies above operation, −1 where it lies below.
    pub fn sign(&self) -> f64 {
        if self.hazard >= self.normal { 1.0 } else { -1.0 }
    }
}

impl CurrentTrip {
    /// Its numbers.
    pub const fn told(&self) -> Told {
        [self.threshold_a, self.error_a, self.hazard_a, self.slope_a_per_s, self.normal_a]
    }
}

impl VoltageTrip {
    /// Its numbers.
    pub const fn told(&self) -> Told {
        [self.threshold_v, self.error_v, self.hazard_v, self.slope_v_per_s, self.normal_v]
    }
}

impl TemperatureTrip {
    /// Its numbers.
    pub const fn told(&self) -> Told {
        [self.threshold_degc, self.error_k, self.hazard_degc, self.slope_k_per_s, self.normal_degc]
    }
}

impl Goal {
    /// The fields of its threshold: threshold, error, hazard, slope, normal extreme.
    pub fn trip_fields(&self) -> [&'static str; 5] {
        self.reads.pick([
            ["threshold_a", "error_a", "hazard_a", "slope_a_per_s", "normal_a"],
            ["threshold_v", "error_v", "hazard_v", "slope_v_per_s", "normal_v"],
            ["threshold_degc", "error_k", "hazard_degc", "slope_k_per_s", "normal_degc"],
        ])
    }

    /// The numbers of the threshold that are typed in it.
    pub fn told(&self) -> Told {
        self.reads.pick([
            [self.threshold_a, self.error_a, self.hazard_a, self.slope_a_per_s, self.normal_a],
            [self.threshold_v, self.error_v, self.hazard_v, self.slope_v_per_s, self.normal_v],
            [self.threshold_degc, self.error_k, self.hazard_degc, self.slope_k_per_s, self.normal_degc],
        ])
    }

    /// The threshold that it rests on, where all of it is given.
    pub fn trip(&self) -> Option<Trip> {
        Trip::of(self.told())
    }

    /// Whether anything of a threshold is typed in it.
    pub fn has_trip(&self) -> bool {
        self.delay_s.is_some() || self.told().iter().any(Option::is_some)
    }

    /// How far the true value can go.
    pub fn largest_possible(&self) -> Option<f64> {
        self.reads.pick([self.largest_possible_a, self.largest_possible_v, self.largest_possible_degc])
    }

    /// The same goal with the threshold of its quantity.
    #[must_use]
    pub fn on(self, [threshold, error, hazard, slope, normal]: Told) -> Self {
        match self.reads {
            Reads::Current => Self {
                threshold_a: threshold,
                error_a: error,
                hazard_a: hazard,
                slope_a_per_s: slope,
                normal_a: normal,
                ..self
            },
            Reads::Voltage => Self {
                threshold_v: threshold,
                error_v: error,
                hazard_v: hazard,
                slope_v_per_s: slope,
                normal_v: normal,
                ..self
            },
            Reads::Temperature => Self {
                threshold_degc: threshold,
                error_k: error,
                hazard_degc: hazard,
                slope_k_per_s: slope,
                normal_degc: normal,
                ..self
            },
        }
    }

    /// The same goal with where it is decided and the deviation that violates it.
    #[must_use]
    pub fn decided(self, at: Option<f64>, harm: Option<f64>) -> Self {
        match self.reads {
            Reads::Current => Self { at_a: at, harm_a: harm, ..self },
            Reads::Voltage => Self { at_v: at, harm_v: harm, ..self },
            Reads::Temperature => Self { at_degc: at, harm_k: harm, ..self },
        }
    }

    /// A goal whose own threshold is given is decided at the last value at which that is in time, and violated by what a
    /// reading there may lack.
    ///
    /// ```text
    /// Formula    x = x_h − s t (an upper threshold; a lower one mirrored), h = x − T − e, nothing less than 0
    /// Source     definitions: what passes the threshold at x is off at the hazard
    /// ```
    #[must_use]
    pub fn on_its_own(self) -> Self {
        let Some((trip, delay_s)) = self.trip().zip(self.delay_s) else { return self };
        let sign = trip.sign();
        let at = trip.hazard - sign * trip.slope * delay_s;
        self.decided(Some(at), Some((sign * (at - trip.threshold) - trip.error).max(0.0)))
    }
}
