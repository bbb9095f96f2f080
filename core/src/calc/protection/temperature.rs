//! # Temperature threshold
//!
//! Over- and under-temperature of a cell, seen by a sensor that lags behind and sits at the end of a thermal path. Both
//! often take more of the room than all electronics.
//!
//! ```text
//! Formula    over:  T_th ≤ T_h − e_h − r (t_r + τ) − P R_th,  T_th ≥ T_n + e_n + z u
//!            under: T_th ≥ T_h + e_h + r (t_r + τ),  T_th ≤ T_n − e_n − z u − P R_th
//! Symbols    τ [s] time constant of the sensor on its cell, P [W] loss of the cell, R_th [K/W] from cell to sensor
//! Gradient   the sensor reads colder than a heated cell: late above, too early below; see the core
//! Valid      ramp longer than three time constants; the loss has settled
//! Source     first-order lag on a ramp: rate times time constant (closed form); the rest in the core
//! ```

mod slips;

use super::sag::Sag;
use super::window::{Delay, Gradient, Terms};
use super::{Autocorrelation, ErrorMethod, Threshold, ThresholdInput};
use crate::calculation::{Meta, Slip};
use crate::field::{defaulted, number, optional, whole};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// The function.
    pub enum TemperatureKind {
        Over = "over-temperature", "Over-temperature";
        Under = "under-temperature", "Under-temperature";
    }
}

input! {
    /// Everything it takes.
    pub struct TemperatureInput {
        kind: TemperatureKind = TemperatureKind::Over.chosen(), "", "Function", "For an under-temperature everything is mirrored.";
        normal_degc: f64 = number(Unit::Celsius, -100.0, 300.0, 52.0), "T_n", "Normal extreme", "Hottest allowed operation, coldest for an under-temperature: must never trip.";
        hazard_degc: f64 = number(Unit::Celsius, -100.0, 500.0, 60.0), "T_h", "Hazard", "Of the cell, must never be passed.";
        error_normal_k: f64 = number(Unit::Kelvin, 0.0, 100.0, 0.84), "e_n", "Error limit at the normal value", "Half-width: sensor and electronics; without the noise.";
        error_hazard_k: Option<f64> = optional(Unit::Kelvin, 0.0, 100.0), "e_h", "Error limit at the hazard", "Empty: the same.";
        error_method: ErrorMethod = ErrorMethod::WorstCase.chosen(), "", "Error is a", "How the limits were made.";
        noise_k: f64 = defaulted(Unit::Kelvin, 0.0, 100.0, 0.0).like(0.1), "u", "Noise of a sample", "Root mean square.";
        noise_sigma: f64 = defaulted(Unit::One, 0.0, 10.0, 4.5), "z", "Sigma kept", "4.5 leaves 3.4 in a million samples.";
        noise_is: Autocorrelation = Autocorrelation::White.chosen(), "", "Noise is", "How the noise of neighbouring samples hangs together.";
        noise_bandwidth_hz: Option<f64> = optional(Unit::Hertz, 1e-6, 1e9), "f_0", "Frequency of the noise", "Corner f_c of its pole, or rms bandwidth f_0; empty if it is white.";
        samples_in_a_row: u32 = whole(Unit::One, 1, 1_000_000, 1), "n", "Samples in a row", "That must pass before it trips.";
        sample_rate_hz: f64 = number(Unit::Hertz, 1e-3, 1e9, 10.0), "f_s", "Rate of the samples", "Of this sensor.";
        rate_k_per_s: f64 = number(Unit::KelvinPerSecond, 0.0, 1e5, 0.3), "r", "Largest slope at the hazard", "How fast the cell can move towards it.";
        lag_s: f64 = number(Unit::Second, 0.0, 1e5, 12.0), "τ", "Time constant of the sensor", "Mounted on its cell: that is its lag on a ramp.";
        processing_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.0).like(0.1), "t_p", "Processing", "Conversion, filter, link, task, driver.";
        link_s: Option<f64> = optional(Unit::Second, 0.0, 1e4), "t_l", "Latency of the link", "Across an isolation barrier, where the processing does not hold it; leave empty if it does.";
        opening_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.0).like(0.02), "t_o", "Opening", "From the command until the heating stops.";
        cell_power_w: f64 = number(Unit::Watt, 0.0, 1e4, 4.0), "P", "Loss of the cell", "At the current that heats it.";
        cell_to_sensor_k_per_w: f64 = number(Unit::KelvinPerWatt, 0.0, 1e3, 0.8), "R_th", "From cell to sensor", "Thermal resistance.";
        threshold_degc: Option<f64> = optional(Unit::Celsius, -100.0, 500.0), "T_th", "Threshold", "Empty: the middle of the room is judged.";
        reads_from_degc: Option<f64> = optional(Unit::Celsius, -273.15, 500.0), "T_a", "Smallest reading of its channel", "An under-temperature threshold less its error must lie above it.";
        reads_to_degc: Option<f64> = optional(Unit::Celsius, -273.15, 1000.0), "T_c", "Largest reading of its channel", "An over-temperature threshold with its error must lie below it.";
        hysteresis_k: Option<f64> = optional(Unit::Kelvin, 0.0, 500.0), "h", "Hysteresis", "Between trip and release; leave empty if none.";
        allowed_nuisance_per_hour: f64 = defaulted(Unit::One, 0.0, 1e6, 1e-3), "N", "Allowed nuisance trips an hour", "By noise alone, at the normal extreme.";
        missed_share_percent: f64 = defaulted(Unit::Percent, 1e-4, 50.0, 0.1), "p", "Allowed late trips", "Share of cases in which the hazard is passed at opening, error at its limit.";
    }
}

/// The calculation.
pub type ProtectionTemperature = Threshold<TemperatureInput>;

impl ThresholdInput for TemperatureInput {
    const META: Meta = Meta {
        slug: "protection/temperature",
        title: "Temperature threshold",
        job: "Room for an over- or under-temperature threshold behind a sensor that lags and sits off the cell.",
        short: "room for a temperature threshold",
        sources: &[
            "Sum of limits on both sides: common practice, no source",
            "First-order lag on a ramp: rate times time constant (closed form)",
            "JCGM 106:2012 clause 7.3: one-sided conformance probability",
        ],
    };
    const SLIPS: &'static [Slip<Self>] = slips::SLIPS;
    const LAST: [&'static str; 8] = [
        "the temperature at which the threshold is decided",
        "the deviation of temperature that makes it late",
        "the sign of the deviation of temperature that makes it late",
        "the threshold of temperature",
        "the error of the threshold of temperature",
        "the hazard of temperature",
        "the largest slope of temperature",
        "the normal extreme of temperature",
    ];

    fn terms(&self) -> Terms {
        Terms {
            name: self.kind.label(),
            unit: Unit::Celsius,
            difference: Unit::Kelvin,
            slope: Unit::KelvinPerSecond,
            over: self.kind == TemperatureKind::Over,
            normal: self.normal_degc,
            hazard: self.hazard_degc,
            error_normal: self.error_normal_k,
            error_hazard: self.error_hazard_k,
            method: self.error_method,
            noise: self.noise_k,
            sigma: self.noise_sigma,
            noise_is: self.noise_is,
            noise_hz: self.noise_bandwidth_hz,
            in_a_row: self.samples_in_a_row,
            sample_hz: self.sample_rate_hz,
            rate: self.rate_k_per_s,
            delays: Delay::four(
                "lag_s",
                "Time constant of the sensor",
                [self.lag_s, self.processing_s, self.opening_s],
                self.link_s,
            ),
            gradient: Some(Gradient { power_w: self.cell_power_w, k_per_w: self.cell_to_sensor_k_per_w }),
            threshold: self.threshold_degc,
            reads_from: self.reads_from_degc,
            reads_to: self.reads_to_degc,
            range: ["/reads_from_degc", "/reads_to_degc"],
            pack_peak: None,
            hysteresis: self.hysteresis_k,
            allowed_nuisance_per_hour: self.allowed_nuisance_per_hour,
            missed_share: self.missed_share_percent / 100.0,
            raced: false,
            sag: Sag::default(),
            faults: None,
        }
    }
}
