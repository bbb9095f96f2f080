//! # The error of a temperature reading
//!
//! One model from the temperature of the sensor to the temperature that firmware shows, with every deviation of sensor,
//! wires, read-out and converter on the way. Four questions are asked of it, as of every channel.
//!
//! ```text
//! Formula    R = R25 (1 + tR)(1 + aR) exp(B (1 + tB)(1/T − 1/298.15 K)); a class or curve tolerance k: R(T + k), the sensor's
//!            own temperature moved before the curve; R' = R/(1 + g R) + Rw; there and back through the chain;
//!            error = T(R'') + self-heating − lag − gradient − T
//! Symbols    aR ageing, g conductance of the leakage, Rw leads; T the sensor's own temperature, its own heat included
//! First order dT = (T²/B)(tR + tf + tB B |1/T − 1/298.15 K|) + INL · K per code
//! Known      leads, leakage, self-heating, a delay that is not subtracted, lag and gradient have a known sign in each state:
//!            each is a difference of the model itself, K, so that together they are exactly what a perfect part reads
//! Source     JCGM 100:2008, JCGM 101:2008; first-order form: common practice, no source
//! ```

use crate::constant::ZERO_CELSIUS_K;
use crate::propagation::{Kind, Model, Number, Source};

use super::curve::{Curve, Moved, T25_K};
use super::input::{CurveKind, ReadOutKind, ThermistorInput};
use super::read_out::{Deviations, ReadOut};

/// Stages of the chain, in the order of the signal.
pub const STAGES: [&str; 4] = ["Sensor", "Wiring", "Read-out", "Converter"];

/// Where the tolerances of the read-out's parts are stated, °C.
const STATED_DEGC: f64 = 25.0;

/// The reading of one sensor in one state.
#[derive(Clone, Copy, Debug)]
pub struct ReadingModel<'a> {
    /// The curve that firmware knows.
    pub curve: &'a Curve,
    /// The chain.
    pub read_out: ReadOut<'a>,
    /// The sensor's own temperature, °C.
    pub degc: f64,
    /// What a perfect part reads, °C: the curve is followed from there.
    pub near_degc: f64,
    /// What the chain sees.
    pub wired: Wired,
    /// A delay that firmware does not subtract, s.
    pub delay_s: f64,
    /// What leads, leakage and that delay add to the reading of a perfect part, K: listed among the sources, and for that
    /// taken off here.
    pub known_k: f64,
}

/// Number of input quantities.
pub const SOURCES: usize = 21;

impl Model for ReadingModel<'_> {
    #[inline]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let by = deviations(x, self.delay_s);
        let read = self.curve.degc_near(self.read_out.there_and_back(self.wired.ohm(x), &by), self.near_degc);
        read + x[3] + x[4] + x[14] + x[15] + x[16] + x[17] - self.known_k - self.degc
    }
}

/// A sensor behind its wires.
#[derive(Clone, Copy, Debug)]
pub struct Wired {
    /// The resistance of a perfect sensor, Ω.
    pub sensor_ohm: f64,
    /// B (1/T − 1/298.15 K) for a thermistor given by beta, 0 for others.
    pub exponent: f64,
    /// What a tolerance in kelvin does: the sensor has the resistance of another temperature.
    pub moved: Moved,
    /// Conductance of the leakage across it, S.
    pub leak_s: f64,
    /// Resistance of the leads, Ω.
    pub lead_ohm: f64,
}

impl Wired {
    #[inline]
    fn ohm<N: Number>(&self, x: &[N]) -> N {
        let moved = self.moved.factor(x[2]);
        self.behind((x[0] + 1.0) * (x[18] + 1.0) * (x[1] * self.exponent).exp() * moved * self.sensor_ohm)
    }

    #[inline]
    fn behind<N: Number>(&self, sensor: N) -> N {
        sensor / (sensor * self.leak_s + 1.0) + self.lead_ohm
    }
}

/// The code of a sensor, and how far it is off: the same sources as of a reading.
#[derive(Clone, Copy, Debug)]
pub struct CodeModel<'a> {
    /// The chain.
    pub read_out: ReadOut<'a>,
    /// What it sees.
    pub wired: Wired,
    /// What is taken off the code.
    pub undisturbed: f64,
    /// A delay that firmware does not subtract, s.
    pub delay_s: f64,
}

impl Model for CodeModel<'_> {
    #[inline]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        self.read_out.seen(self.wired.ohm(x), &deviations(x, self.delay_s)) - self.undisturbed
    }
}

/// The deviations of the chain among the sources.
#[inline]
fn deviations<N: Number>(x: &[N], delay_s: f64) -> Deviations<N> {
    Deviations {
        part: [(x[5] + 1.0) * (x[19] + 1.0) - 1.0, x[6]],
        reference: (x[7] + 1.0) * (x[20] + 1.0) - 1.0,
        gain: x[9],
        steps: [x[10], x[11], x[12]],
        delay_s: x[8] + delay_s,
        reference_step: x[13],
    }
}

/// What of known sign a state adds to a reading, K.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Known {
    /// By the leads.
    pub lead_k: f64,
    /// By the leakage.
    pub leakage_k: f64,
    /// By a delay of the oscillator that is not subtracted.
    pub delay_k: f64,
    /// The sensor is warmer than what it touches.
    pub self_heating_k: f64,
    /// The sensor lags behind a temperature that changes.
    pub lag_k: f64,
    /// The cell is warmer than the sensor's place.
    pub gradient_k: f64,
}

/// Unit of a source that is counted in steps of converter or counter.
pub const STEP: &str = "LSB";

impl ThermistorInput {
    /// Half-width of the curve's tolerance that is given in kelvin.
    pub fn curve_tolerance_k(&self, degc: f64) -> f64 {
        match self.curve {
            CurveKind::Beta => self.beta.curve_k.unwrap_or(0.0),
            CurveKind::SteinhartHart => self.steinhart_hart.tolerance_k,
            CurveKind::Points => self.points.tolerance_k,
            CurveKind::Platinum => self.platinum.class.limit_k(degc),
        }
    }

    /// What the error rests on and was not given: no real part follows one beta.
    pub fn missing(&self) -> Option<&'static str> {
        (self.curve == CurveKind::Beta && self.beta.curve_k.is_none()).then_some("/beta/curve_k")
    }

    /// The same over the whole range of the sensor: beyond its table, or its class, nobody says how far a part may be off.
    pub fn missing_of_range(&self, curve: &Curve) -> Option<&'static str> {
        let [from, to] = self.known_degc(curve);
        let told = from <= self.min_degc && self.max_degc <= to;
        let pointer = if self.curve == CurveKind::Platinum { "/platinum/class" } else { "/points/rows" };
        self.missing().or((!told).then_some(pointer))
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

    /// How far the read-out may be from the temperature at which its parts are stated, K: its ambient is its own and not the
    /// sensor's. Coefficients have no known sign, so that the error grows with the distance and the farther end holds all.
    pub fn away_k(&self) -> f64 {
        let [low, high] = self.electronics_degc();
        (low - STATED_DEGC).abs().max((high - STATED_DEGC).abs())
    }

    /// The coldest and the hottest ambient of the read-out, °C.
    pub fn electronics_degc(&self) -> [f64; 2] {
        let span = self.electronics_span_k;
        [
            self.electronics_min_degc.unwrap_or(STATED_DEGC - span),
            self.electronics_max_degc.unwrap_or(STATED_DEGC + span),
        ]
    }

    /// The sources of a reading at the end of life, in the order of the model; the sensor's own temperature.
    pub fn sources(&self, degc: f64, known: Known) -> Vec<Source> {
        let read_out = self.read_out();
        let span = self.away_k();
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
        let steady = |[id, label, stage]: [&'static str; 3], kelvin: f64| {
            Source::limit(id, label, stage, Kind::Temperature, "K", 0.0).known(kelvin)
        };
        let aged = |[id, label, stage]: [&'static str; 3], percent: f64| {
            Source::limit(id, label, stage, Kind::Life, "1", share(percent))
        };
        let (part_aged, reference_aged) = self.read_out_ageing();
        vec![
            Source::limit("sensor.resistance", resistance, sensor, Kind::Initial, "1", self.resistance_tolerance()),
            Source::limit("sensor.beta", "Beta", sensor, Kind::Temperature, "1", beta),
            Source::limit("sensor.curve", curve, sensor, Kind::Temperature, "K", self.curve_tolerance_k(degc)),
            steady(["wiring.lead", "Lead resistance", wiring], known.lead_k),
            steady(["wiring.leakage", "Leakage", wiring], known.leakage_k),
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
            steady(["heat.self", "Self-heating", sensor], known.self_heating_k),
            steady(["heat.lag", "Lag", sensor], known.lag_k),
            steady(["heat.gradient", "Cell to sensor", sensor], known.gradient_k),
            steady(["delay.known", "Comparator delay, not subtracted", chain], known.delay_k),
            aged(["sensor.ageing", "Ageing of the sensor", sensor], self.ageing.sensor_percent),
            aged(["part.ageing", "Ageing of the fixed part", chain], part_aged),
            aged(["reference.ageing", "Ageing of the reference", chain], reference_aged),
        ]
    }

    /// Ageing of the fixed part and of the reference as they count for the read-out, percent: what is measured against itself
    /// does not see its reference age.
    fn read_out_ageing(&self) -> (f64, f64) {
        let with = &self.ageing;
        let cancels = match self.read_out {
            ReadOutKind::Divider => self.divider.ratiometric,
            ReadOutKind::Oscillator => self.oscillator.reference_ohm.is_some(),
            ReadOutKind::Current => false,
        };
        (with.part_percent, if cancels { 0.0 } else { with.reference_percent })
    }

    /// The delay that firmware does not subtract, s.
    pub fn uncorrected_s(&self) -> f64 {
        let wanting = self.read_out == ReadOutKind::Oscillator && !self.oscillator.delay_corrected;
        if wanting { self.oscillator.comparator_delay_s } else { 0.0 }
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
