//! # Voltage threshold
//!
//! Over- and under-voltage of a cell or of the pack. An under-voltage limit under load must follow the current: the
//! resistance of the cell makes its terminals sag although the cell is not empty.
//!
//! ```text
//! Formula    window: see the core;  V_th(I) = V_th − I R_f;  a limit that does not follow trips at V_th + I R at rest
//! Symbols    R, R_min [Ω] largest and smallest resistance of the cell, R_f [Ω] the one that the limit follows with,
//!            I [A] largest discharge current; the largest counts for nuisance trips, the smallest for harm
//! Valid      normal value and hazard at rest when a sag is entered; R settled for as long as the current lasts
//! Source     Ohm's law; the rest in the core
//! ```

mod slips;

use super::sag::Sag;
use super::window::{Delay, Terms};
use super::{Autocorrelation, ErrorMethod, Threshold, ThresholdInput};
use crate::calculation::{Meta, Slip};
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
        noise_is: Autocorrelation = Autocorrelation::White.chosen(), "", "Noise is", "How the noise of neighbouring samples hangs together.";
        noise_bandwidth_hz: Option<f64> = optional(Unit::Hertz, 1e-6, 1e9), "f_0", "Frequency of the noise", "Corner f_c of its pole, or rms bandwidth f_0; empty if it is white.";
        samples_in_a_row: u32 = whole(Unit::One, 1, 1_000_000, 10), "n", "Samples in a row", "That must pass before it trips.";
        sample_rate_hz: f64 = number(Unit::Hertz, 1e-3, 1e9, 10.0), "f_s", "Rate of the samples", "Of this channel, not of the converter.";
        rate_v_per_s: f64 = number(Unit::VoltPerSecond, 0.0, 1e9, 5e-3), "r", "Largest slope at the hazard", "How fast the voltage can move towards it.";
        filter_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.0).like(1e-3), "t_f", "Lag of the filter", "Its time constant: that is its lag on a ramp.";
        channel_filter_s: Option<f64> = optional(Unit::Second, 0.0, 1e4), "t_fc", "Filter of its channel", "Time constant in front of the converter of its channel: counts where it is longer than the lag of the filter above.";
        processing_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.0).like(1e-3), "t_p", "Processing", "Conversion, link, task, driver.";
        link_s: Option<f64> = optional(Unit::Second, 0.0, 1e4), "t_l", "Latency of the link", "Across an isolation barrier, where the processing does not hold it; leave empty if it does.";
        opening_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.0).like(20e-3), "t_o", "Opening", "From the command until the current is off.";
        threshold_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "x_th", "Threshold", "Empty: the middle of the room is judged.";
        reads_from_v: Option<f64> = optional(Unit::Volt, -5000.0, 5000.0), "x_a", "Smallest reading of its channel", "An under-voltage threshold less its error must lie above it.";
        reads_to_v: Option<f64> = optional(Unit::Volt, 0.0, 10_000.0), "x_c", "Largest reading of its channel", "An over-voltage threshold with its error must lie below it.";
        pack_cell_max_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "V_cx", "Highest cell voltage of the pack", "Must never trip an over-voltage either.";
        pack_cell_min_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "V_cn", "Lowest cell voltage of the pack", "Must never trip an under-voltage either.";
        pack_max_v: Option<f64> = optional(Unit::Volt, 0.0, 1e4), "V_px", "Highest voltage of the pack", "Must never trip an over-voltage either.";
        pack_min_v: Option<f64> = optional(Unit::Volt, 0.0, 1e4), "V_pn", "Lowest voltage of the pack", "Must never trip an under-voltage either.";
        hysteresis_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "h", "Hysteresis", "Between trip and release; leave empty if none.";
        sag_resistance_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e3), "R", "Largest resistance under load", "Of the cell or pack at its coldest and oldest; for an under-voltage.";
        sag_resistance_min_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e3), "R_min", "Smallest resistance under load", "New and warm; for a limit that follows the current.";
        sag_follows_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e3), "R_f", "The limit follows with", "Resistance that the function counts with; empty: the limit stays.";
        sag_current_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5), "I", "Current under load", "Largest discharge; for an under-voltage.";
        sag_current_error_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5), "e_I", "Error of that current", "Half-width; for a limit that follows it.";
        allowed_nuisance_per_hour: f64 = defaulted(Unit::One, 0.0, 1e6, 1e-3), "N", "Allowed nuisance trips an hour", "By noise alone, at the normal extreme.";
        missed_share_percent: f64 = defaulted(Unit::Percent, 1e-4, 50.0, 0.1), "p", "Allowed late trips", "Share of cases in which the hazard is passed at opening, error at its limit.";
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
            "Rows of samples in normal noise: renewal argument; A. Genz 1992 for correlated samples",
        ],
    };
    const SLIPS: &'static [Slip<Self>] = slips::SLIPS;
    const LAST: [&'static str; 8] = [
        "the voltage of the pack at which the threshold is decided",
        "the deviation of voltage that makes it late",
        "the sign of the deviation of voltage that makes it late",
        "the threshold of voltage",
        "the error of the threshold of voltage",
        "the hazard of voltage",
        "the largest slope of voltage",
        "the normal extreme of voltage",
    ];

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
            noise_is: self.noise_is,
            noise_hz: self.noise_bandwidth_hz,
            in_a_row: self.samples_in_a_row,
            sample_hz: self.sample_rate_hz,
            rate: self.rate_v_per_s,
            delays: Delay::filtered(
                [self.filter_s, self.processing_s, self.opening_s],
                self.channel_filter_s,
                self.link_s,
            ),
            gradient: None,
            threshold: self.threshold_v,
            reads_from: self.reads_from_v,
            reads_to: self.reads_to_v,
            range: ["/reads_from_v", "/reads_to_v"],
            pack_peak: match self.kind {
                VoltageKind::CellOver => self.pack_cell_max_v,
                VoltageKind::CellUnder => self.pack_cell_min_v,
                VoltageKind::PackOver => self.pack_max_v,
                VoltageKind::PackUnder => self.pack_min_v,
            },
            hysteresis: self.hysteresis_v,
            allowed_nuisance_per_hour: self.allowed_nuisance_per_hour,
            missed_share: self.missed_share_percent / 100.0,
            raced: false,
            sag: Sag {
                largest_ohm: self.sag_resistance_ohm,
                smallest_ohm: self.sag_resistance_min_ohm,
                current_a: self.sag_current_a,
                error_a: self.sag_current_error_a,
                follows_ohm: self.sag_follows_ohm,
            },
            faults: None,
        }
    }

    /// The channel of the pack never stands at the voltage of a cell.
    fn read_with(&self) -> Option<f64> {
        matches!(self.kind, VoltageKind::PackOver | VoltageKind::PackUnder).then_some(1.0)
    }
}
