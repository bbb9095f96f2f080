//! # The error of a temperature reading
//!
//! One model from the temperature of the sensor to the temperature that firmware shows, with every deviation of sensor,
//! wires, read-out and converter on the way. Four questions are asked of it, as of every channel.
//!
//! ```text
//! Formula    R = R25 (1 + tR) exp(B (1 + tB)(1/T − 1/298.15 K)); R' = R/(1 + R/RL) + Rw; there and back through the chain;
//!            error = T(R'') + self-heating + class or curve tolerance − lag − gradient − T
//! First order dT = (T²/B)(tR + tf + tB B |1/T − 1/298.15 K|) + INL · K per code + leak
//! Known      leads, leakage, self-heating, a delay that is not subtracted, lag and gradient have a known sign
//! Source     JCGM 100:2008, JCGM 101:2008; first-order form: common practice, no source
//! ```

use crate::constant::ZERO_CELSIUS_K;
use crate::propagation::{Kind, Model, Number, Source};

use super::curve::{Curve, T25_K};
use super::input::{CurveKind, ReadOutKind, ThermistorInput};
use super::read_out::{Deviations, ReadOut};

/// Stages of the chain, in the order of the signal.
pub const STAGES: [&str; 4] = ["Sensor", "Wiring", "Read-out", "Converter"];

/// The reading at one temperature.
#[derive(Clone, Copy, Debug)]
pub struct ReadingModel<'a> {
    /// The curve that firmware knows.
    pub curve: &'a Curve,
    /// The chain.
    pub read_out: ReadOut<'a>,
    /// The temperature, °C.
    pub degc: f64,
    /// The resistance of a perfect sensor there, Ω.
    pub ohm: f64,
    /// B (1/T − 1/298.15 K) for a thermistor given by beta, 0 for others.
    pub exponent: f64,
    /// A delay that firmware does not subtract, s, and what it adds to the reading with everything else perfect, K: its
    /// size makes it no first-order matter, so that the difference itself is listed among the sources.
    pub delay_s: f64,
    /// That difference.
    pub delay_k: f64,
}

/// Number of input quantities.
pub const SOURCES: usize = 18;

impl Model for ReadingModel<'_> {
    #[inline]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let sensor = (x[0] + 1.0) * (x[1] * self.exponent).exp() * self.ohm;
        let wired = sensor / (sensor * x[4] + 1.0) + x[3];
        let mut by = deviations(x);
        by.delay_s = by.delay_s + self.delay_s;
        let read = self.curve.degc_near(self.read_out.there_and_back(wired, &by), self.degc);
        read + x[2] + x[14] + x[15] + x[16] + x[17] - self.delay_k - self.degc
    }
}

/// How far the code of a sensor is off, in codes: the same sources as of a reading. Its own heat moves it away from the end
/// of the range and is left out.
#[derive(Clone, Copy, Debug)]
pub struct CodeModel<'a> {
    /// The chain.
    pub read_out: ReadOut<'a>,
    /// The resistance of a perfect sensor, Ω.
    pub ohm: f64,
    /// Its temperature coefficient, 1/K.
    pub alpha: f64,
    /// As of [`ReadingModel`].
    pub exponent: f64,
    /// The code with leads and leakage and nothing else.
    pub undisturbed: f64,
    /// A delay that firmware does not subtract, s.
    pub delay_s: f64,
}

impl Model for CodeModel<'_> {
    #[inline]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let sensor = (x[0] + 1.0) * (x[1] * self.exponent + x[2] * self.alpha).exp() * self.ohm;
        let wired = sensor / (sensor * x[4] + 1.0) + x[3];
        let mut by = deviations(x);
        by.delay_s = by.delay_s + self.delay_s;
        let read = self.read_out.there_and_back(wired, &by);
        self.read_out.code_of(self.read_out.behind_delay(read)) - self.undisturbed
    }
}

/// The deviations of the chain among the sources.
#[inline]
const fn deviations<N: Number>(x: &[N]) -> Deviations<N> {
    Deviations {
        part: [x[5], x[6]],
        reference: x[7],
        gain: x[9],
        steps: [x[10], x[11], x[12]],
        delay_s: x[8],
        reference_step: x[13],
    }
}

/// What a sensor's own heat, its lag and the way to the cell add, K.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Heat {
    /// The sensor is warmer than what it touches.
    pub self_heating_k: f64,
    /// The sensor lags behind a rising temperature.
    pub lag_k: f64,
    /// The cell is warmer than the sensor's place.
    pub gradient_k: f64,
    /// What a delay of the oscillator that is not subtracted adds to the reading.
    pub delay_k: f64,
}

/// Unit of a source that is counted in steps of converter or counter.
pub const STEP: &str = "LSB";

impl ThermistorInput {
    /// Half-width of the curve's tolerance that is given in kelvin.
    pub fn curve_tolerance_k(&self, degc: f64) -> f64 {
        match self.curve {
            CurveKind::Beta => 0.0,
            CurveKind::SteinhartHart => self.steinhart_hart.tolerance_k,
            CurveKind::Points => self.points.tolerance_k,
            CurveKind::Platinum => self.platinum.class.limit_k(degc),
        }
    }

    /// Half-width of the resistance tolerance, as a share.
    pub fn resistance_tolerance(&self) -> f64 {
        match self.curve {
            CurveKind::Beta => self.beta.r25_tolerance_percent / 100.0,
            CurveKind::SteinhartHart => self.steinhart_hart.tolerance_percent / 100.0,
            CurveKind::Points => self.points.tolerance_percent / 100.0,
            CurveKind::Platinum => 0.0,
        }
    }

    /// B (1/T − 1/298.15 K) for beta, 0 for other curves.
    pub fn exponent(&self, degc: f64) -> f64 {
        match self.curve {
            CurveKind::Beta => self.beta.beta_k * (1.0 / (degc + ZERO_CELSIUS_K) - 1.0 / T25_K),
            _ => 0.0,
        }
    }

    /// The sources of a reading, in the order of the model.
    pub fn sources(&self, degc: f64, heat: Heat) -> Vec<Source> {
        let read_out = self.read_out();
        let span = self.electronics_span_k;
        let counts = self.requirement.with_lag_and_gradient;
        let [sensor, wiring, chain, converter] = STAGES;
        let share = |percent: f64| percent / 100.0;
        let ppm = |ppm_per_k: f64| ppm_per_k * 1e-6 * span;
        let (o, d, c, adc) = (&self.oscillator, &self.divider, &self.current, &self.converter);
        let with_reference = o.reference_ohm.is_some();
        let ([part, part_drift], tolerance, drift, reference_label, reference) = match self.read_out {
            ReadOutKind::Divider => (
                ["Fixed resistor", "Fixed resistor over temperature"],
                share(d.fixed_tolerance_percent),
                ppm(d.fixed_tcr_ppm_per_k),
                "Supply against reference",
                if d.ratiometric { 0.0 } else { share(d.reference_error_percent) },
            ),
            ReadOutKind::Oscillator if with_reference => (
                ["Reference resistor", "Reference resistor over temperature"],
                share(o.reference_tolerance_percent),
                ppm(o.reference_tcr_ppm_per_k),
                "Thresholds",
                0.0,
            ),
            ReadOutKind::Oscillator => (
                ["Capacitance", "Capacitance over temperature"],
                share(o.capacitance_tolerance_percent),
                ppm(o.capacitance_tcr_ppm_per_k),
                "Thresholds",
                share(o.threshold_error_percent),
            ),
            ReadOutKind::Current => {
                let labels = ["Measuring current", "Measuring current over temperature"];
                (labels, share(c.error_percent), ppm(c.drift_ppm_per_k), "Converter reference", 0.0)
            }
        };
        let oscillates = self.read_out == ReadOutKind::Oscillator;
        let delay_limit = o.comparator_delay_s * share(o.delay_spread_percent);
        let steps = |value: f64| if oscillates { 0.0 } else { value };
        let gain = if oscillates { o.clock_error_ppm * 1e-6 } else { share(adc.gain_error_percent) };
        let offset = read_out.step_v().map_or(0.0, |step| adc.offset_v / step);
        let beta = if self.curve == CurveKind::Beta { share(self.beta.beta_tolerance_percent) } else { 0.0 };
        let resistance =
            if self.curve == CurveKind::Beta { "Resistance at 25 °C" } else { "Resistance of the sensor" };
        let curve = if self.curve == CurveKind::Platinum { "Tolerance class" } else { "Curve of the sensor" };
        let count = if oscillates { "Counting, ±1" } else { "Rounding to a code" };
        let rounding = if oscillates { 1.0 } else { 0.5 };
        let reference_step = if oscillates && with_reference { 1.0 } else { 0.0 };
        let leak = self.wiring.leakage_ohm.map_or(0.0, |ohm| 1.0 / ohm);
        let known = |[id, label, stage, unit]: [&'static str; 4], value: f64| {
            Source::limit(id, label, stage, Kind::Temperature, unit, 0.0).known(value)
        };
        vec![
            Source::limit("sensor.resistance", resistance, sensor, Kind::Initial, "1", self.resistance_tolerance()),
            Source::limit("sensor.beta", "Beta", sensor, Kind::Temperature, "1", beta),
            Source::limit("sensor.curve", curve, sensor, Kind::Temperature, "K", self.curve_tolerance_k(degc)),
            known(["wiring.lead", "Lead resistance", wiring, "Ω"], self.wiring.lead_ohm),
            known(["wiring.leakage", "Leakage", wiring, "S"], leak),
            Source::limit("part.tolerance", part, chain, Kind::Initial, "1", tolerance),
            Source::limit("part.drift", part_drift, chain, Kind::Temperature, "1", drift),
            Source::limit("reference", reference_label, chain, Kind::Temperature, "1", reference),
            Source::limit(
                "delay",
                "Comparator delay",
                chain,
                Kind::Temperature,
                "s",
                if oscillates { delay_limit } else { 0.0 },
            ),
            Source::limit(
                "converter.gain",
                if oscillates { "Clock" } else { "Gain of the converter" },
                converter,
                Kind::Initial,
                "1",
                // A ratio of two counts of one clock does not see its error.
                if oscillates && with_reference { 0.0 } else { gain },
            ),
            Source::limit("converter.offset", "Offset of the converter", converter, Kind::Initial, STEP, steps(offset)),
            Source::limit("converter.inl", "Non-linearity", converter, Kind::Initial, STEP, steps(adc.inl_lsb)),
            Source::limit("converter.rounding", count, converter, Kind::Noise, STEP, rounding),
            Source::limit(
                "converter.reference-count",
                "Counting of the reference, ±1",
                converter,
                Kind::Noise,
                STEP,
                reference_step,
            ),
            known(["heat.self", "Self-heating", sensor, "K"], heat.self_heating_k),
            known(["heat.lag", "Lag", sensor, "K"], if counts { -heat.lag_k } else { 0.0 }),
            known(["heat.gradient", "Cell to sensor", sensor, "K"], if counts { -heat.gradient_k } else { 0.0 }),
            known(["delay.known", "Comparator delay, not subtracted", chain, "K"], heat.delay_k),
        ]
    }

    /// The delay that firmware does not subtract, s.
    pub fn uncorrected_s(&self) -> f64 {
        let wanting = self.read_out == ReadOutKind::Oscillator && !self.oscillator.delay_corrected;
        if wanting { self.oscillator.comparator_delay_s } else { 0.0 }
    }

    /// What that delay adds to the reading of a perfect sensor, K: the model itself and no derivative.
    pub fn delay_k(&self, curve: &Curve, degc: f64, ohm: f64) -> f64 {
        let delay_s = self.uncorrected_s();
        if delay_s == 0.0 {
            return 0.0;
        }
        let model = ReadingModel { curve, read_out: self.read_out(), degc, ohm, exponent: 0.0, delay_s, delay_k: 0.0 };
        model.evaluate(&[0.0; SOURCES])
    }

    /// A resistance behind the leakage across the sensor, Ω.
    pub fn leaking(&self, ohm: f64) -> f64 {
        self.wiring.leakage_ohm.map_or(ohm, |leak| ohm / (1.0 + ohm / leak))
    }

    /// The chain of this input.
    pub fn read_out(&self) -> ReadOut<'_> {
        ReadOut {
            kind: self.read_out,
            divider: &self.divider,
            oscillator: &self.oscillator,
            current: &self.current,
            converter: &self.converter,
        }
    }
}
