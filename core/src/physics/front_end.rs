//! # The front end: amplifier, converter, reference and what calibration leaves
//!
//! The sensor's voltage is amplified, digitised against a reference and scaled by the nominal factors.
//! Every deviation of a part from its nominal value moves the reading; the measurement model is written once here,
//! generic over the number type, and serves the converter on its own and every channel that ends in one.
//!
//! ```text
//! Formula    x' = [(x + Σ o_amp)(1 + G)(1 + G_T) + Σ o_adc / gain] (1 + g)(1 + g_T) / [(1 + r)(1 + r_T)(1 + r_L)]
//! Symbols    x [V] at the sensor, o offsets [V], G, g, r relative errors of amplifier, converter, reference;
//!            T: drift × |T − T_cal|, L: drift over life
//! Calibration offset: the initial offsets go, the residual stays; two-point: the initial gain errors go too.
//!            Drift, ageing, non-linearity, quantisation and the influence of supply and common mode stay.
//! Valid      first-order influences; amplifier and reference at the ambient temperature
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
        gain_residual_percent: f64 = defaulted(Unit::Percent, 0.0, 10.0, 0.1), "gr", "Gain left", "The calibrator's own uncertainty and what repeats badly, half-width.";
        offset_residual_v: f64 = defaulted(Unit::Volt, 0.0, 1.0, 2e-6), "or", "Offset left", "Half-width, referred to the sensor.";
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

/// Number of sources of the front end, in the order of [`FrontEnd::sources`].
pub const SOURCES: usize = 16;

/// The parts between sensor and reading.
#[derive(Clone, Copy, Debug)]
pub struct FrontEnd<'a> {
    /// The amplifier.
    pub amplifier: &'a Amplifier,
    /// The converter with its reference.
    pub converter: &'a Converter,
    /// The calibration.
    pub calibration: &'a Calibration,
}

impl FrontEnd<'_> {
    /// The reading, referred to the sensor, V. `x` is the sensor's voltage, `d` the deviations.
    #[inline]
    pub fn read<N: Number>(&self, x: N, d: &[N]) -> N {
        let amplified = (x + (d[7] + d[8] + d[9] + d[10] + d[11])) * ((d[0] + 1.0) * (d[1] + 1.0));
        let digitised = amplified + (d[12] + d[13] + d[14] + d[15]);
        digitised * ((d[2] + 1.0) * (d[3] + 1.0)) / ((d[4] + 1.0) * (d[5] + 1.0) * (d[6] + 1.0))
    }

    /// One step of the converter, referred to the sensor, V.
    pub fn lsb_v(&self) -> f64 {
        self.converter.lsb_v() / self.amplifier.gain
    }

    /// Every source of the front end at a distance from the calibration temperature. Offsets are referred to the sensor.
    pub fn sources(&self, distance_k: f64, life: Life) -> Vec<Source> {
        let (amp, adc, gain) = (self.amplifier, self.converter, self.amplifier.gain);
        let kind = if life.calibrated { self.calibration.kind } else { CalibrationKind::None };
        let gains_go = kind == CalibrationKind::TwoPoint;
        let offsets_go = kind != CalibrationKind::None;
        let initial_gain = |percent: f64| if gains_go { 0.0 } else { percent / 100.0 };
        let initial_offset = |volt: f64| if offsets_go { 0.0 } else { volt };
        let drift = |ppm_per_k: f64| ppm_per_k * 1e-6 * distance_k;
        let ratio = |id: &'static str, label: &'static str, stage: &'static str, kind: Kind, limit: f64| {
            Source::limit(id, label, stage, kind, "1", limit)
        };
        let volt = |id: &'static str, label: &'static str, stage: &'static str, kind: Kind, limit: f64| {
            Source::limit(id, label, stage, kind, "V", limit)
        };
        let offset = if offsets_go {
            volt(
                "offset.left",
                "Offset left after calibration",
                AMPLIFIER,
                Kind::Initial,
                self.calibration.offset_residual_v,
            )
        } else {
            volt("amplifier.offset", "Amplifier offset", AMPLIFIER, Kind::Initial, amp.offset_v)
        };
        vec![
            ratio("amplifier.gain", "Amplifier gain", AMPLIFIER, Kind::Initial, initial_gain(amp.gain_error_percent)),
            ratio(
                "amplifier.gain-drift",
                "Amplifier gain drift",
                AMPLIFIER,
                Kind::Temperature,
                drift(amp.gain_drift_ppm_per_k),
            ),
            ratio("converter.gain", "Converter gain", CONVERTER, Kind::Initial, initial_gain(adc.gain_error_percent)),
            ratio(
                "converter.gain-drift",
                "Converter gain drift",
                CONVERTER,
                Kind::Temperature,
                drift(adc.gain_drift_ppm_per_k),
            ),
            ratio("reference.error", "Reference", CONVERTER, Kind::Initial, initial_gain(adc.reference_error_percent)),
            ratio(
                "reference.drift",
                "Reference drift",
                CONVERTER,
                Kind::Temperature,
                drift(adc.reference_drift_ppm_per_k),
            ),
            ratio(
                "reference.life",
                "Reference ageing",
                CONVERTER,
                Kind::Life,
                if life.end_of_life { adc.reference_life_drift_ppm * 1e-6 } else { 0.0 },
            ),
            offset,
            volt(
                "amplifier.offset-drift",
                "Amplifier offset drift",
                AMPLIFIER,
                Kind::Temperature,
                amp.offset_drift_v_per_k * distance_k,
            ),
            volt(
                "amplifier.common-mode",
                "Common mode",
                AMPLIFIER,
                Kind::Noise,
                rejected(amp.common_mode_v, amp.common_mode_rejection_db),
            ),
            volt(
                "amplifier.supply",
                "Supply ripple",
                AMPLIFIER,
                Kind::Noise,
                rejected(amp.supply_ripple_v, amp.supply_rejection_db),
            )
            .distributed(Distribution::Arcsine),
            volt(
                "amplifier.bias",
                "Bias current in the unequal source resistance",
                AMPLIFIER,
                Kind::Temperature,
                amp.bias_current_a * amp.source_ohm * amp.source_mismatch_percent / 100.0,
            ),
            volt("converter.offset", "Converter offset", CONVERTER, Kind::Initial, initial_offset(adc.offset_v) / gain),
            volt(
                "converter.offset-drift",
                "Converter offset drift",
                CONVERTER,
                Kind::Temperature,
                adc.offset_drift_v_per_k * distance_k / gain,
            ),
            volt(
                "converter.inl",
                "Integral non-linearity",
                CONVERTER,
                Kind::Initial,
                adc.linearity() * adc.full_scale_v / gain,
            ),
            volt("converter.quantisation", "Quantisation", CONVERTER, Kind::Noise, adc.lsb_v() / 2.0 / gain),
        ]
    }
}

/// Stage names, as they appear in budgets.
pub const AMPLIFIER: &str = "Amplifier";
/// See [`AMPLIFIER`].
pub const CONVERTER: &str = "Converter";

/// What a rejection in decibels leaves of a disturbance: u · 10^(−dB/20).
fn rejected(volt: f64, decibel: f64) -> f64 {
    volt.abs() * libm::pow(10.0, -decibel / 20.0)
}
