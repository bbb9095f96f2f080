//! # The front end: amplifier, converter, reference and what calibration leaves
//!
//! The sensor's voltage is amplified, digitised against a reference and scaled by the nominal factors.
//! Every deviation of a part from its nominal value moves the reading; the measurement model is written once here,
//! generic over the number type, and serves the converter on its own and every channel that ends in one.
//!
//! ```text
//! Formula    x' = [(x + Σ o_amp + f)(1 + G)(1 + G_T) + Σ o_adc / gain] (1 + g)(1 + g_T) / [(1 + r)(1 + r_T)(1 + r_L)]
//!            f = ±(dVs 10^(−a/20) + Vi)
//! Symbols    x [V] at the sensor, o offsets [V], G, g, r relative errors of amplifier, converter, reference;
//!            T: drift × (T − T_cal), L: drift over life; f what supply and edges add: dVs change of the supply [V],
//!            a its slow rejection [dB], Vi mean of the edges [V]
//! In use     bias current (largest when hot), common mode, supply ripple and f are not there on the calibrating bench; f
//!            comes and goes: a state, that no deviation makes good and that stands under no root
//! Valid      first-order influences; non-linearity and rounding are new in every reading and stand with the reading
//! Source     JCGM 100:2008 clause 4.1 (measurement model); data-sheet definitions of the terms, common practice
//! ```

use super::parts::{Amplifier, Converter};
use crate::field::defaulted;
use crate::input;
use crate::propagation::{Distribution, Kind, Number, Source};
use crate::quantity::Unit;

crate::choice! {
    /// What calibration was done.
    pub enum CalibrationKind {
        None = "none", "None";
        Offset = "offset", "Offset";
        TwoPoint = "two-point", "Two-point: offset and gain";
    }
}

input! {
    /// What calibration removes and leaves.
    pub struct Calibration {
        kind: CalibrationKind = CalibrationKind::TwoPoint.chosen(), "", "Calibration", "Done once, at the calibration temperature.";
        gain_residual_percent: f64 = defaulted(Unit::Percent, 0.0, 10.0, 0.1), "gr", "Gain error after calibration", "The calibrator's own uncertainty and what repeats badly, half-width.";
        offset_residual_v: f64 = defaulted(Unit::Volt, 0.0, 1.0, 2e-6), "or", "Offset after calibration", "Half-width, referred to the sensor.";
    }
}

/// One state in which the chain is judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Life {
    /// Whether the calibration was done.
    pub calibrated: bool,
    /// Whether the drift over life counts.
    pub end_of_life: bool,
}

impl Life {
    /// The four states, in the order of a part's life.
    pub const ALL: [Self; 4] = [
        Self { calibrated: false, end_of_life: false },
        Self { calibrated: true, end_of_life: false },
        Self { calibrated: false, end_of_life: true },
        Self { calibrated: true, end_of_life: true },
    ];

    /// The state in words.
    pub const fn words(self) -> &'static str {
        match (self.calibrated, self.end_of_life) {
            (false, false) => "new, not calibrated",
            (true, false) => "new, calibrated",
            (false, true) => "end of life, not calibrated",
            (true, true) => "end of life, calibrated",
        }
    }
}

/// Sources that every front end has, in the order of [`FrontEnd::sources`].
const SOURCES: usize = 14;

/// What a reading of the front end depends on beside the signal and the part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrontState {
    /// Temperature of amplifier and converter above the calibration temperature, K.
    pub away_k: f64,
    /// Share of the ageing that has happened.
    pub aged: f64,
    /// 1 in use, 0 on the calibrating bench: what the surroundings and the heat add is not there.
    pub in_use: f64,
    /// What a change of the supply and the edges across the barrier add at the input, with its sign, V.
    pub fed_v: f64,
}

impl FrontState {
    /// What is said of supply and edges in this state.
    pub fn fed_words(&self) -> &'static str {
        if self.fed_v > 0.0 {
            ", supply and edges adding"
        } else if self.fed_v < 0.0 {
            ", supply and edges taking"
        } else {
            ""
        }
    }
}

/// The parts between sensor and reading.
#[derive(Clone, Copy, Debug)]
pub struct FrontEnd<'a> {
    /// The amplifier.
    pub amplifier: &'a Amplifier,
    /// The converter with its reference.
    pub converter: &'a Converter,
}

impl FrontEnd<'_> {
    /// The amplified signal, referred to the sensor, V.
    #[inline]
    fn amplified<N: Number>(x: N, state: &FrontState, d: &[N]) -> N {
        let mut offset = d[7] + d[8] * state.away_k + (d[9] + d[10] + d[11]) * state.in_use;
        if state.fed_v != 0.0 {
            offset = offset + d[SOURCES] * state.fed_v;
        }
        (x + offset) * ((d[0] + 1.0) * (d[1] * state.away_k + 1.0))
    }

    /// The reading, referred to the sensor, V. `x` is the sensor's voltage, `d` the deviations.
    #[inline]
    pub fn read<N: Number>(&self, x: N, state: &FrontState, d: &[N]) -> N {
        Self::converted(x, state, d)
    }

    /// The same of any signal with a gain and a reference that are off by shares, everything else as it should be.
    pub fn deviating(signal: f64, gain: f64, reference: f64) -> f64 {
        let mut d = [0.0; SOURCES];
        (d[2], d[4]) = (gain, reference);
        Self::converted(signal, &FrontState { away_k: 0.0, aged: 0.0, in_use: 0.0, fed_v: 0.0 }, &d)
    }

    #[inline]
    fn converted<N: Number>(x: N, state: &FrontState, d: &[N]) -> N {
        let digitised = Self::amplified(x, state, d) + (d[12] + d[13] * state.away_k);
        let reference = (d[4] + 1.0) * (d[5] * state.away_k + 1.0) * (d[6] * state.aged + 1.0);
        digitised * ((d[2] + 1.0) * (d[3] * state.away_k + 1.0)) / reference
    }

    /// How far the input of the amplifier, its output and the converter are driven: 1 and −1 are their ends. All lanes of
    /// `x` are on one side of zero.
    #[inline]
    pub fn driven<N: Number>(&self, x: N, state: &FrontState, d: &[N]) -> [N; 3] {
        let (amp, below) = (self.amplifier, x.value() < 0.0);
        // A range that does not reach below zero has no end there.
        let end = |low: f64, high: f64| {
            let end = if below { -low } else { high };
            if end > 0.0 { 1.0 / end } else { 0.0 }
        };
        [
            x * end(amp.input_min_v, amp.input_max_v),
            Self::amplified(x, state, d) * (amp.gain * end(amp.output_min_v, amp.output_max_v)),
            self.read(x, state, d) * (amp.gain / self.converter.full_scale_v),
        ]
    }

    /// What ends at each of the ends of [`FrontEnd::driven`].
    pub const ENDS: [&'static str; 3] = ["the amplifier's input", "the amplifier's output", "the converter"];

    /// Whether a signal below zero is read.
    pub fn reads_below_zero(&self) -> bool {
        self.converter.bipolar && self.amplifier.input_min_v < 0.0 && self.amplifier.output_min_v < 0.0
    }

    /// What a change of the supply and the edges add at the input at most, V.
    pub fn fed_v(&self) -> f64 {
        rejected(self.amplifier.supply_change_v, self.amplifier.supply_rejection_slow_db) + self.amplifier.injected_v
    }

    /// The ends of what they add, as shares: between them the reading is straight.
    pub fn fed_ends(&self) -> &'static [f64] {
        if self.fed_v() > 0.0 { &[-1.0, 1.0] } else { &[0.0] }
    }

    /// One step of the converter, referred to the sensor, V.
    pub fn lsb_v(&self) -> f64 {
        self.converter.lsb_v() / self.amplifier.gain
    }

    /// Limit of the non-linearity, referred to the sensor, V.
    pub fn nonlinear_v(&self) -> f64 {
        self.converter.linearity() * self.converter.full_scale_v / self.amplifier.gain
    }

    /// How many sources it has.
    pub fn count(&self) -> usize {
        SOURCES + usize::from(self.fed_v() > 0.0)
    }

    /// Every source of the front end; the last stands only where supply or edges add something. Offsets are referred to the
    /// sensor, drifts are slopes.
    pub fn sources(&self) -> Vec<Source> {
        let (amp, adc, gain) = (self.amplifier, self.converter, self.amplifier.gain);
        let of =
            |id: &'static str, label: &'static str, stage: &'static str, kind: Kind, unit: &'static str, limit: f64| {
                Source::limit(id, label, stage, kind, unit, limit)
            };
        let amplifier = |id, label, kind, unit, limit| of(id, label, AMPLIFIER, kind, unit, limit);
        let converter = |id, label, kind, unit, limit| of(id, label, CONVERTER, kind, unit, limit);
        let bias = amp.bias_current_a * amp.source_ohm * amp.source_mismatch_percent / 100.0;
        let supply = rejected(amp.supply_ripple_v, amp.supply_rejection_db);
        let common_mode = rejected(amp.common_mode_v, amp.common_mode_rejection_db);
        let (ppm, percent) = (1e-6, 1e-2);
        let mut sources = vec![
            amplifier("amplifier.gain", "Amplifier gain", Kind::Initial, "1", amp.gain_error_percent * percent),
            amplifier(
                "amplifier.gain-drift",
                "Amplifier gain drift",
                Kind::Temperature,
                PER_KELVIN,
                amp.gain_drift_ppm_per_k * ppm,
            ),
            converter("converter.gain", "Converter gain", Kind::Initial, "1", adc.gain_error_percent * percent),
            converter(
                "converter.gain-drift",
                "Converter gain drift",
                Kind::Temperature,
                PER_KELVIN,
                adc.gain_drift_ppm_per_k * ppm,
            ),
            converter("reference.error", "Reference", Kind::Initial, "1", adc.reference_error_percent * percent),
            converter(
                "reference.drift",
                "Reference drift",
                Kind::Temperature,
                PER_KELVIN,
                adc.reference_drift_ppm_per_k * ppm,
            ),
            converter("reference.life", "Reference ageing", Kind::Life, "1", adc.reference_life_drift_ppm * ppm),
            amplifier("amplifier.offset", "Amplifier offset", Kind::Initial, "V", amp.offset_v),
            amplifier(
                "amplifier.offset-drift",
                "Amplifier offset drift",
                Kind::Temperature,
                VOLT_PER_KELVIN,
                amp.offset_drift_v_per_k,
            ),
            amplifier("amplifier.common-mode", "Common mode", Kind::Noise, "V", common_mode),
            amplifier("amplifier.supply", "Supply ripple", Kind::Noise, "V", supply).distributed(Distribution::Arcsine),
            amplifier("amplifier.bias", "Bias current in the unequal source resistance", Kind::Temperature, "V", bias),
            converter("converter.offset", "Converter offset", Kind::Initial, "V", adc.offset_v / gain),
            converter(
                "converter.offset-drift",
                "Converter offset drift",
                Kind::Temperature,
                VOLT_PER_KELVIN,
                adc.offset_drift_v_per_k / gain,
            ),
        ];
        if self.fed_v() > 0.0 {
            let label = "Change of the supply and injected edges";
            sources.push(amplifier("amplifier.fed", label, Kind::Noise, "", 0.0).known(1.0));
        }
        sources
    }
}

/// Unit of a relative drift.
pub const PER_KELVIN: &str = "1/K";
/// Unit of the drift of an offset.
pub const VOLT_PER_KELVIN: &str = "V/K";

/// Stage names, as they appear in budgets.
pub const AMPLIFIER: &str = "Amplifier";
/// See [`AMPLIFIER`].
pub const CONVERTER: &str = "Converter";

/// What a rejection in decibels leaves of a disturbance: u · 10^(−dB/20).
fn rejected(volt: f64, decibel: f64) -> f64 {
    volt.abs() * libm::pow(10.0, -decibel / 20.0)
}
