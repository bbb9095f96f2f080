//! # Current threshold
//!
//! Over-current in discharge or charge, and short circuit. Currents are entered as magnitudes. The hazard is the smallest
//! of what wire, shunt, fuse and contactor take for as long as the reaction lasts.
//!
//! ```text
//! Formula    window: see the core; at a short circuit the slope is V/L, where both are given; faults: `let_through`
//! Direction  a threshold of charge is held against what the channel reads in charge, which may be nothing
//! Valid      slope constant during the reaction: a fault current that bends towards V/R stays below that line
//! Source     see the core
//! ```

mod slips;

use super::sag::Sag;
use super::window::Faults;
use super::window::{Delay, Terms};
use super::{Autocorrelation, ErrorMethod, Threshold, ThresholdInput};
use crate::calculation::{Meta, Slip};
use crate::field::{defaulted, number, optional, whole};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// The function.
    pub enum CurrentKind {
        Discharge = "over-current-discharge", "Over-current in discharge";
        Charge = "over-current-charge", "Over-current in charge";
        Short = "short-circuit", "Short circuit";
    }
}

crate::choice! {
    /// Who judges the side of the hazard of a short circuit.
    pub enum HarmSide {
        Here = "here", "Judged here";
        Race = "race", "Judged by a reaction race";
    }
}

input! {
    /// Everything it takes.
    pub struct CurrentInput {
        kind: CurrentKind = CurrentKind::Discharge.chosen(), "", "Function", "All as magnitudes, also in charge.";
        normal_a: f64 = number(Unit::Ampere, 0.0, 1e6, 600.0), "x_n", "Highest normal current", "Peak with its ripple: must never trip.";
        hazard_a: f64 = number(Unit::Ampere, 0.0, 1e7, 1000.0), "x_h", "Hazard", "Must never be passed: wire, shunt, fuse, contactor.";
        error_normal_a: f64 = number(Unit::Ampere, 0.0, 1e5, 14.0), "e_n", "Error limit at the normal current", "Half-width, all life; without the noise.";
        error_hazard_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5), "e_h", "Error limit at the hazard", "Empty: the same. Gain errors grow with the current.";
        error_charge_normal_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5), "e_nc", "Error limit at the normal current in charge", "Of a charge threshold; empty: as in discharge.";
        error_charge_hazard_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5), "e_hc", "Error limit at the hazard in charge", "Of a charge threshold; empty: as at the normal current.";
        error_method: ErrorMethod = ErrorMethod::WorstCase.chosen(), "", "Error is a", "How the limits were made.";
        noise_a: f64 = number(Unit::Ampere, 0.0, 1e5, 0.3), "u", "Noise of a sample", "Root mean square.";
        noise_sigma: f64 = defaulted(Unit::One, 0.0, 10.0, 4.5), "z", "Sigma kept", "4.5 leaves 3.4 in a million samples.";
        noise_is: Autocorrelation = Autocorrelation::White.chosen(), "", "Noise is", "How the noise of neighbouring samples hangs together.";
        noise_bandwidth_hz: Option<f64> = optional(Unit::Hertz, 1e-6, 1e9), "f_0", "Frequency of the noise", "Corner f_c of its pole, or rms bandwidth f_0; empty if it is white.";
        samples_in_a_row: u32 = whole(Unit::One, 1, 1_000_000, 10), "n", "Samples in a row", "That must pass before it trips.";
        sample_rate_hz: f64 = number(Unit::Hertz, 1e-3, 1e9, 1000.0), "f_s", "Rate of the samples", "For a comparator: twice its bandwidth.";
        rate_a_per_s: f64 = number(Unit::AmperePerSecond, 0.0, 1e12, 5000.0), "r", "Largest slope at the hazard", "V/L at a short circuit.";
        filter_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.0).like(1e-3), "t_f", "Lag of the filter", "Its time constant: that is its lag on a ramp.";
        channel_filter_s: Option<f64> = optional(Unit::Second, 0.0, 1e4), "t_fc", "Filter of its channel", "Time constant in front of the converter of its channel: counts where it is longer than the lag of the filter above.";
        processing_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.01), "t_p", "Processing", "Conversion, link, task, driver.";
        link_s: Option<f64> = optional(Unit::Second, 0.0, 1e4), "t_l", "Latency of the link", "Across an isolation barrier, where the processing does not hold it; leave empty if it does.";
        opening_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 3e-3), "t_o", "Opening", "From the command until the current is off.";
        threshold_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "x_th", "Threshold", "Empty: the middle of the room is judged.";
        reads_to_a: Option<f64> = optional(Unit::Ampere, 1e-6, 1e9), "x_c", "Largest reading of its channel", "In discharge: a threshold beyond it never trips.";
        reads_charge_to_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e9), "x_cc", "Largest reading in charge", "As a magnitude; 0 where the channel reads one direction.";
        pack_peak_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "I_p", "Peak of the pack with ripple", "In discharge: must never trip either.";
        pack_charge_peak_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "I_pc", "Peak of the pack in charge", "As a magnitude, with its ripple.";
        strongest_fault_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e12), "I_k", "Strongest fault", "The pack's highest voltage over its resistance.";
        fault_v: Option<f64> = optional(Unit::Volt, 1e-3, 1e5), "V", "Voltage behind a fault", "Highest of the pack.";
        fault_inductance_henry: Option<f64> = optional(Unit::Henry, 0.0, 1e-2), "L", "Inductance of the fault loop", "Smallest: V/L is the slope of a fault.";
        faster_from_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "I_f", "A faster function opens from", "Its threshold with its error: stronger faults are its own.";
        shunt_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 0.0, 1e15), "W_s", "I²t of the shunt", "That it takes up to the strongest fault.";
        wire_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 0.0, 1e15), "W_w", "I²t of the wire", "k² S² up to the strongest fault.";
        cells_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 0.0, 1e15), "W_c", "I²t of the cells", "Of all in parallel, up to the strongest fault.";
        harm_judged: HarmSide = HarmSide::Here.chosen(), "", "Side of the hazard", "A reaction race may judge a short circuit instead.";
        race_threshold_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "I_r", "Threshold of the reaction race", "That judges the side of the hazard, or all stronger faults.";
        race_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 90.0), "e_r", "Its error", "Half-width; empty: none.";
        race_weakest_a: Option<f64> = optional(Unit::Ampere, 1e-9, 1e12), "I_w", "Weakest fault of the reaction race", "From there on it judges all faults; from a race that is told how large the resistance of its weakest fault is.";
        hysteresis_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "h", "Hysteresis", "Between trip and release; leave empty if none.";
        allowed_nuisance_per_hour: f64 = defaulted(Unit::One, 0.0, 1e6, 1e-3), "N", "Allowed nuisance trips an hour", "By noise alone, at the highest normal current.";
        missed_share_percent: f64 = defaulted(Unit::Percent, 1e-4, 50.0, 0.1), "p", "Allowed late trips", "Share of cases in which the hazard is passed at opening, error at its limit.";
    }
}

/// No loop of a fault has less inductance.
const LEAST_HENRY: f64 = 1e-9;

/// The calculation.
pub type ProtectionCurrent = Threshold<CurrentInput>;

impl ThresholdInput for CurrentInput {
    const META: Meta = Meta {
        slug: "protection/current",
        title: "Current threshold",
        job: "Room for an over-current or short-circuit threshold: no trip in operation, no miss before the hazard.",
        short: "room for a current threshold",
        sources: &[
            "Sum of limits on both sides: common practice, no source",
            "JCGM 106:2012 clause 7.3: one-sided conformance probability",
            "Rows of samples in normal noise: renewal argument; A. Genz 1992 for correlated samples",
        ],
    };
    const SLIPS: &'static [Slip<Self>] = slips::SLIPS;
    const LAST: [&'static str; 8] = [
        "the current at which the threshold is decided",
        "the deviation of current that makes it late",
        "the sign of the deviation of current that makes it late",
        "the threshold of current",
        "the error of the threshold of current",
        "the hazard of current",
        "the largest slope of current",
        "the normal extreme of current",
    ];

    fn terms(&self) -> Terms {
        let charge = self.kind == CurrentKind::Charge;
        let short = self.kind == CurrentKind::Short;
        let (error_normal, error_hazard) = match (charge, self.error_charge_normal_a, self.error_charge_hazard_a) {
            (true, Some(normal), hazard) => (normal, hazard),
            (true, None, Some(hazard)) => (self.error_normal_a, Some(hazard)),
            _ => (self.error_normal_a, self.error_hazard_a),
        };
        // A short circuit rises with V/L, whatever slope is typed.
        let fault = self.fault_v.zip(self.fault_inductance_henry).filter(|_| short);
        let rises = fault.map_or(0.0, |(volt, henry)| volt / henry.max(LEAST_HENRY));
        Terms {
            name: self.kind.label(),
            unit: Unit::Ampere,
            difference: Unit::Ampere,
            slope: Unit::AmperePerSecond,
            over: true,
            normal: self.normal_a,
            hazard: self.hazard_a,
            error_normal,
            error_hazard,
            method: self.error_method,
            noise: self.noise_a,
            sigma: self.noise_sigma,
            noise_is: self.noise_is,
            noise_hz: self.noise_bandwidth_hz,
            in_a_row: self.samples_in_a_row,
            sample_hz: self.sample_rate_hz,
            rate: self.rate_a_per_s.max(rises),
            delays: Delay::filtered(
                [self.filter_s, self.processing_s, self.opening_s],
                self.channel_filter_s,
                self.link_s,
            ),
            gradient: None,
            threshold: self.threshold_a,
            reads_from: None,
            reads_to: if charge { self.reads_charge_to_a } else { self.reads_to_a },
            range: ["", if charge { "/reads_charge_to_a" } else { "/reads_to_a" }],
            pack_peak: if charge { self.pack_charge_peak_a } else { self.pack_peak_a },
            hysteresis: self.hysteresis_a,
            allowed_nuisance_per_hour: self.allowed_nuisance_per_hour,
            missed_share: self.missed_share_percent / 100.0,
            raced: short && self.harm_judged == HarmSide::Race,
            sag: Sag::default(),
            faults: Some(Faults {
                strongest_a: self.strongest_fault_a,
                faster_from_a: self.faster_from_a,
                race_a: self
                    .race_threshold_a
                    .map(|at| [at, at * (1.0 + self.race_error_percent.unwrap_or(0.0) / 100.0)]),
                race_weakest_a: self.race_weakest_a,
                fed_by_pack: !charge,
                backwards: if charge {
                    (self.pack_peak_a, "/pack_peak_a")
                } else {
                    (self.pack_charge_peak_a, "/pack_charge_peak_a")
                },
                volt: self.fault_v,
                henry: self.fault_inductance_henry,
                takes: [self.shunt_a2s, self.wire_a2s, self.cells_a2s],
            }),
        }
    }

    /// A charging current is read below zero.
    fn read_with(&self) -> Option<f64> {
        Some(if self.kind == CurrentKind::Charge { -1.0 } else { 1.0 })
    }
}
