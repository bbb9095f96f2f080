//! # Voltage threshold
//!
//! Over- and under-voltage of a cell or of the pack. An under-voltage limit under load must follow the current: the
//! resistance of the cell makes its terminals sag although the cell is not empty.
//!
//! ```text
//! Formula    window: see the core;  V_th(I) = V_th − I R;  a limit that does not follow trips at V_th + I R at rest
//! Symbols    R [Ω] resistance of the cell at the coldest allowed temperature, I [A] largest discharge current
//! Valid      normal value and hazard at rest when a sag is entered; R settled for as long as the current lasts
//! Source     Ohm's law; the rest in the core
//! ```

use super::window::{Delay, Terms};
use super::{ErrorMethod, Threshold, ThresholdInput};
use crate::calculation::Meta;
use crate::field::{defaulted, number, optional, whole};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// The function.
    pub enum VoltageKind {
        CellOver = "cell-over-voltage", "Cell over-voltage";
        CellUnder = "cell-under-voltage", "Cell under-voltage";
        PackOver = "pack-over-voltage", "Pack over-voltage";
        PackUnder = "pack-under-voltage", "Pack under-voltage";
    }
}

input! {
    /// Everything it takes.
    pub struct VoltageInput {
        kind: VoltageKind = VoltageKind::CellOver.chosen(), "", "Function", "For an under-voltage everything is mirrored.";
        normal_v: f64 = number(Unit::Volt, 0.0, 5000.0, 4.2), "x_n", "Normal extreme", "Highest value of allowed operation, lowest for an under-voltage: must never trip.";
        hazard_v: f64 = number(Unit::Volt, 0.0, 5000.0, 4.3), "x_h", "Hazard", "Must never be passed.";
        error_normal_v: f64 = number(Unit::Volt, 0.0, 1000.0, 4e-3), "e_n", "Error limit at the normal value", "Half-width, all life; without the noise.";
        error_hazard_v: Option<f64> = optional(Unit::Volt, 0.0, 1000.0), "e_h", "Error limit at the hazard", "Empty: the same.";
        error_method: ErrorMethod = ErrorMethod::WorstCase.chosen(), "", "Error is a", "How the limits were made.";
        noise_v: f64 = number(Unit::Volt, 0.0, 100.0, 0.5e-3), "u", "Noise of a sample", "Root mean square.";
        noise_sigma: f64 = defaulted(Unit::One, 0.0, 10.0, 4.5), "z", "Sigma kept", "4.5 leaves 3.4 in a million samples.";
        noise_bandwidth_hz: Option<f64> = optional(Unit::Hertz, 1e-6, 1e9), "f_0", "Rms bandwidth of the noise", "Empty: every sample is independent.";
        samples_in_a_row: u32 = whole(Unit::One, 1, 1_000_000, 10), "n", "Samples in a row", "That must pass before it trips.";
        sample_rate_hz: f64 = number(Unit::Hertz, 1e-3, 1e9, 10.0), "f_s", "Rate of the samples", "Of this channel, not of the converter.";
        rate_v_per_s: f64 = number(Unit::VoltPerSecond, 0.0, 1e9, 5e-3), "r", "Largest slope at the hazard", "How fast the voltage can move towards it.";
        filter_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.0), "t_f", "Lag of the filter", "Its time constant: that is its lag on a ramp.";
        processing_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.0), "t_p", "Processing", "Conversion, link, task, driver.";
        opening_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.0), "t_o", "Opening", "From the command until the current is off.";
        threshold_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "x_th", "Threshold", "Empty: the middle of the room is judged.";
        hysteresis_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "h", "Hysteresis", "Between trip and release; leave empty if none.";
        sag_resistance_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e3), "R", "Resistance under load", "Of the cell or pack at its coldest; for an under-voltage.";
        sag_current_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5), "I", "Current under load", "Largest discharge; for an under-voltage.";
        allowed_nuisance_per_hour: f64 = defaulted(Unit::One, 0.0, 1e6, 1e-3), "N", "Allowed nuisance trips an hour", "By noise alone, at the normal extreme.";
    }
}

/// The calculation.
pub type ProtectionVoltage = Threshold<VoltageInput>;

impl ThresholdInput for VoltageInput {
    const META: Meta = Meta {
        slug: "protection/voltage",
        title: "Voltage threshold",
        job: "Room for an over- or under-voltage threshold: no trip in operation, no miss before the hazard.",
        short: "room for a voltage threshold",
        sources: &[
            "Sum of limits on both sides: common practice, no source",
            "JCGM 106:2012 clause 7.3: one-sided conformance probability",
            "Normal distribution of independent samples: nuisance trips",
        ],
    };

    fn terms(&self) -> Terms {
        Terms {
            name: self.kind.label(),
            unit: Unit::Volt,
            difference: Unit::Volt,
            slope: Unit::VoltPerSecond,
            over: matches!(self.kind, VoltageKind::CellOver | VoltageKind::PackOver),
            normal: self.normal_v,
            hazard: self.hazard_v,
            error_normal: self.error_normal_v,
            error_hazard: self.error_hazard_v,
            method: self.error_method,
            noise: self.noise_v,
            sigma: self.noise_sigma,
            noise_hz: self.noise_bandwidth_hz,
            in_a_row: self.samples_in_a_row,
            sample_hz: self.sample_rate_hz,
            rate: self.rate_v_per_s,
            delays: Delay::three("filter_s", "Lag of the filter", [self.filter_s, self.processing_s, self.opening_s]),
            gradient: None,
            threshold: self.threshold_v,
            reads_to: None,
            hysteresis: self.hysteresis_v,
            allowed_nuisance_per_hour: self.allowed_nuisance_per_hour,
            sag_ohm: self.sag_resistance_ohm,
            sag_a: self.sag_current_a,
        }
    }
}
