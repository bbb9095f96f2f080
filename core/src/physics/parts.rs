//! # The parts between sensor and word
//!
//! Amplifier, low-pass and converter as a data sheet states them: the same groups in every calculation that ends in a
//! converter.
//!
//! ```text
//! Formula    LSB = span/2ᴺ; f_c = 1/(2π R C); clips at the least of V_fs/G, V_o/G, V_i
//! Source     data-sheet definitions of the terms, common practice
//! ```

use crate::field::{FieldError, defaulted, number, optional, whole, yes_no};
use crate::input;
use crate::judge::{Ledger, used_percent};
use crate::quantity::{Unit, say};

/// Most that a converter whose non-linearity is not given is taken to bend, of full scale. Common practice, no source.
const BENDS: f64 = 0.01;

input! {
    /// The amplifier in front of the converter. Errors are referred to its input.
    pub struct Amplifier {
        gain: f64 = defaulted(Unit::One, 1e-3, 1e5, 1.0), "G", "Gain", "1 when the sensor drives the converter directly.";
        gain_error_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.0).like(0.5), "eG", "Gain error", "Half-width at the calibration temperature.";
        gain_drift_ppm_per_k: f64 = defaulted(Unit::PpmPerKelvin, 0.0, 10_000.0, 0.0).like(20.0), "aG", "Gain drift", "Half-width of the slope.";
        offset_v: f64 = defaulted(Unit::Volt, 0.0, 1.0, 0.0).like(50e-6), "Vos", "Offset", "Half-width, referred to the input.";
        offset_drift_v_per_k: f64 = defaulted(Unit::VoltPerKelvin, 0.0, 1e-2, 0.0).like(0.5e-6), "dVos", "Offset drift", "Half-width of the slope.";
        bias_current_a: f64 = defaulted(Unit::Ampere, 0.0, 1e-3, 0.0).like(1e-9), "Ib", "Bias current", "At the hottest junction.";
        source_ohm: f64 = defaulted(Unit::Ohm, 0.0, 1e7, 10.0), "Rs", "Source resistance", "In series with one input, filter included.";
        source_mismatch_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 2.0), "m", "Mismatch of the two legs", "100 % when only one input carries the resistance.";
        common_mode_v: f64 = defaulted(Unit::Volt, 0.0, 1e4, 0.0).like(1.0), "Vcm", "Common-mode change", "Largest change of the common voltage of both inputs.";
        common_mode_rejection_db: f64 = defaulted(Unit::Decibel, 0.0, 200.0, 90.0), "CMRR", "Common-mode rejection", "At the frequency of that change.";
        supply_ripple_v: f64 = defaulted(Unit::Volt, 0.0, 10.0, 0.0).like(0.01), "Vs", "Supply ripple", "Amplitude.";
        supply_rejection_db: f64 = defaulted(Unit::Decibel, 0.0, 200.0, 80.0), "PSRR", "Supply rejection", "At the ripple frequency.";
        supply_change_v: f64 = defaulted(Unit::Volt, 0.0, 10.0, 0.0).like(0.05), "dVs", "Change of the supply", "Largest, either way, since the calibration: regulation over load and temperature.";
        supply_rejection_slow_db: f64 = defaulted(Unit::Decibel, 0.0, 200.0, 80.0), "PSRR0", "Supply rejection, slow", "Of slow changes.";
        injected_v: f64 = defaulted(Unit::Volt, 0.0, 1.0, 0.0).like(10e-6), "Vi", "Mean injected by edges", "At the input, either way: what crosses the barrier in the mean of all edges.";
        noise_v_per_rthz: f64 = defaulted(Unit::VoltPerRootHertz, 0.0, 1e-3, 0.0).like(20e-9), "e", "Noise density", "White part, referred to the input.";
        noise_corner_hz: f64 = defaulted(Unit::Hertz, 0.0, 1e6, 0.0).like(10.0), "fk", "Corner of the 1/f noise", "0 for a chopped amplifier.";
        bandwidth_hz: f64 = defaulted(Unit::Hertz, 1e-2, 1e10, 1e6), "B", "Bandwidth", "−3 dB.";
        input_min_v: f64 = defaulted(Unit::Volt, -1e4, 1e4, -10.0), "Vi−", "Lowest input", "That is amplified linearly.";
        input_max_v: f64 = defaulted(Unit::Volt, -1e4, 1e4, 10.0), "Vi+", "Highest input", "That is amplified linearly.";
        output_min_v: f64 = defaulted(Unit::Volt, -1e4, 1e4, -10.0), "Vo−", "Lowest output", "Before it clips.";
        output_max_v: f64 = defaulted(Unit::Volt, -1e4, 1e4, 10.0), "Vo+", "Highest output", "Before it clips.";
    }
}

input! {
    /// The first-order low-pass in front of the converter.
    pub struct Filter {
        resistance_ohm: f64 = defaulted(Unit::Ohm, 0.0, 1e7, 20.0), "Rf", "Resistance", "Both legs together.";
        capacitance_farad: Option<f64> = optional(Unit::Farad, 1e-13, 1e-2), "Cf", "Capacitance", "Leave empty when the corner is given or there is no filter.";
        corner_hz: Option<f64> = optional(Unit::Hertz, 1e-3, 1e9), "fc", "Corner frequency", "Instead of the capacitance.";
        resistance_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 1.0), "tR", "Tolerance of the resistance", "Half-width.";
        capacitance_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 80.0, 10.0), "tC", "Tolerance of the capacitance", "Half-width, bias and temperature included.";
    }
}

input! {
    /// The isolated converter and its reference. Errors are referred to its own input.
    pub struct Converter {
        bits: u32 = whole(Unit::Bit, 6, 32, 16), "N", "Resolution", "Of the output code.";
        full_scale_v: f64 = number(Unit::Volt, 1e-3, 1e3, 0.05), "Vfs", "Full scale", "One side of a bipolar range, not the span.";
        bipolar: bool = yes_no(true), "", "Bipolar", "Whether negative voltages are converted.";
        offset_v: f64 = number(Unit::Volt, 0.0, 1.0, 50e-6), "Vo", "Offset", "Half-width.";
        offset_drift_v_per_k: f64 = number(Unit::VoltPerKelvin, 0.0, 1e-2, 0.3e-6), "dVo", "Offset drift", "Half-width of the slope.";
        gain_error_percent: f64 = number(Unit::Percent, 0.0, 50.0, 0.3), "eg", "Gain error", "Half-width, without the reference.";
        gain_drift_ppm_per_k: f64 = number(Unit::PpmPerKelvin, 0.0, 10_000.0, 30.0), "ag", "Gain drift", "Half-width of the slope, without the reference.";
        inl_ppm: Option<f64> = optional(Unit::Ppm, 0.0, 1e5).like(20.0), "INL", "Integral non-linearity", "Of full scale, half-width.";
        peak_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 10.0), "ep", "Peak error", "Instead of the non-linearity: of full scale.";
        noise_v: Option<f64> = optional(Unit::Volt, 0.0, 0.1).like(5e-6), "un", "Noise", "Root mean square of single results at the data rate.";
        sinad_db: Option<f64> = optional(Unit::Decibel, 1.0, 200.0), "SINAD", "Signal to noise and distortion", "Instead of the noise: with a full-scale sine.";
        data_rate_hz: f64 = number(Unit::Hertz, 1e-2, 1e9, 40e3), "fd", "Data rate", "After the decimating filter.";
        oversampling: u32 = whole(Unit::One, 1, 65_536, 250), "D", "Oversampling", "Modulator clock over data rate; 1 without a decimating filter.";
        filter_order: u32 = whole(Unit::One, 1, 8, 3), "K", "Order of the sinc filter", "Of the decimating filter.";
        reference_v: f64 = defaulted(Unit::Volt, 1e-3, 1e3, 2.5), "Vref", "Reference voltage", "For the record; its error acts as a gain error.";
        reference_error_percent: f64 = number(Unit::Percent, 0.0, 20.0, 0.1), "er", "Reference error", "Half-width.";
        reference_drift_ppm_per_k: f64 = number(Unit::PpmPerKelvin, 0.0, 10_000.0, 15.0), "ar", "Reference drift", "Half-width of the slope.";
        reference_life_drift_ppm: f64 = defaulted(Unit::Ppm, 0.0, 1e5, 0.0).like(50.0), "Lr", "Reference ageing", "Half-width over life.";
    }
}

impl Converter {
    /// From the lowest to the highest code, V.
    pub fn span_v(&self) -> f64 {
        if self.bipolar { 2.0 * self.full_scale_v } else { self.full_scale_v }
    }

    /// One step, V at the converter's input.
    pub fn lsb_v(&self) -> f64 {
        libm::ldexp(self.span_v(), -i32::try_from(self.bits).unwrap_or(32))
    }

    /// Amplitude of a full-scale sine, V.
    pub fn amplitude_v(&self) -> f64 {
        self.span_v() / 2.0
    }

    /// What an error rests on and is not given: the non-linearity, and the noise where it counts.
    pub fn missing(&self, noise_counts: bool) -> impl Iterator<Item = &'static str> {
        let quiet = noise_counts && self.is_quiet();
        [(self.is_straight(), "/converter/inl_ppm"), (quiet, "/converter/noise_v")]
            .into_iter()
            .filter_map(|(is, pointer)| is.then_some(pointer))
    }

    /// Notes, by their codes, what an error leaves out because it is not given: non-linearity, and noise where it counts.
    pub fn left_out(&self, [straight, quiet]: [&'static str; 2], noise_counts: bool, to: &mut Ledger) {
        to.note(straight, "/converter/inl_ppm", self.is_straight(), || {
            "Neither non-linearity nor peak error of the converter is given: it is left out of the error.".into()
        });
        to.note(quiet, "/converter/noise_v", noise_counts && self.is_quiet(), || {
            "Neither noise nor signal to noise and distortion of the converter is given: it is left out of the error and of stored readings.".into()
        });
    }

    const fn is_straight(&self) -> bool {
        self.inl_ppm.is_none() && self.peak_error_percent.is_none()
    }

    const fn is_quiet(&self) -> bool {
        self.noise_v.is_none() && self.sinad_db.is_none()
    }

    /// What the end of its range rests on and is not given, where a value comes as near to it as the non-linearity of a real
    /// converter may take.
    pub fn range_missing(&self, value: f64, full: Option<f64>) -> Option<&'static str> {
        let near = full.is_some_and(|full| value.abs() > (1.0 - BENDS) * full.abs());
        (near && self.is_straight()).then_some("/converter/inl_ppm")
    }

    /// Non-linearity as a share of full scale.
    pub fn linearity(&self) -> f64 {
        match (self.inl_ppm, self.peak_error_percent) {
            (Some(ppm), _) => ppm * 1e-6,
            (None, Some(percent)) => percent / 100.0,
            (None, None) => 0.0,
        }
    }
}

impl Filter {
    /// The corner, Hz; none without a filter.
    pub fn corner(&self) -> Option<f64> {
        let by_parts = |farad: f64| 1.0 / (2.0 * std::f64::consts::PI * self.resistance_ohm * farad);
        self.corner_hz.or_else(|| self.capacitance_farad.filter(|_| self.resistance_ohm > 0.0).map(by_parts))
    }

    /// Lowest and highest corner within the tolerances, as factors.
    pub fn corner_factors(&self) -> (f64, f64) {
        let (r, c) = (self.resistance_tolerance_percent / 100.0, self.capacitance_tolerance_percent / 100.0);
        (1.0 / ((1.0 + r) * (1.0 + c)), 1.0 / ((1.0 - r) * (1.0 - c)))
    }
}

/// Contradictions of the parts, wherever their groups stand.
pub fn contradictions(amplifier: &Amplifier, filter: &Filter, converter: &Converter, at: &str) -> Vec<FieldError> {
    let mut faults = Vec::new();
    let mut two = |first: Option<f64>, second: Option<f64>, pointer: &str, message: &str| {
        if let (Some(_), Some(second)) = (first, second) {
            faults.push(FieldError::contradiction(
                &format!("{at}{pointer}"),
                message,
                "one of the two, the other left out",
                second,
            ));
        }
    };
    two(
        converter.inl_ppm,
        converter.peak_error_percent,
        "/converter/peak_error_percent",
        "Give the non-linearity or the peak error, not both.",
    );
    two(converter.noise_v, converter.sinad_db, "/converter/sinad_db", "Give the noise or the SINAD, not both.");
    two(
        filter.capacitance_farad,
        filter.corner_hz,
        "/filter/corner_hz",
        "Give the capacitance or the corner frequency, not both.",
    );
    for (low, high, pointer, what) in [
        (amplifier.input_min_v, amplifier.input_max_v, "/amplifier/input_max_v", "input"),
        (amplifier.output_min_v, amplifier.output_max_v, "/amplifier/output_max_v", "output"),
    ] {
        if !(low < high && high > 0.0) {
            faults.push(FieldError::contradiction(
                &format!("{at}{pointer}"),
                format!("The highest {what} must be positive and lie above the lowest."),
                format!("above {} and above 0", say(low, Unit::Volt)),
                say(high, Unit::Volt),
            ));
        }
    }
    faults
}

/// The largest signal at the sensor before anything clips, V, and what clips first. Of a bipolar range the nearer side
/// counts: a chain that clips on one side only misreads half of the currents.
pub fn clips_at_v(amplifier: &Amplifier, full_scale_v: f64, bipolar: bool) -> (f64, &'static str) {
    let gain = amplifier.gain;
    let side = |low: f64, high: f64| if bipolar { high.min(-low).max(0.0) } else { high };
    [
        (full_scale_v / gain, "the converter's full scale"),
        (side(amplifier.output_min_v, amplifier.output_max_v) / gain, "the amplifier's output"),
        (side(amplifier.input_min_v, amplifier.input_max_v), "the amplifier's input"),
    ]
    .into_iter()
    .fold((f64::INFINITY, ""), |best, next| if next.0 < best.0 { next } else { best })
}

/// A number; nothing where it is none, as a share of nothing.
pub fn finite(value: f64) -> Option<f64> {
    Some(value).filter(|value| value.is_finite())
}

/// Share of a range, percent; a range of nothing is used without bound, which is left out of an answer as 1e6 percent.
pub fn share_percent(signal: f64, limit: f64) -> f64 {
    if limit > 0.0 { used_percent(signal, limit) } else { 1e6 }
}
