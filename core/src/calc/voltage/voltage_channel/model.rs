//! # The measurement model of a voltage channel
//!
//! ```text
//! Formula    reading = front end(k V (1 + q V) + I_b Rs) / k0, calibrated;  error = reading − V;  k = b/(t + b)
//!            t = Ru (1 + t1 + Σ t_i)(1 + s ΔT + h ΔT_u)(1 + a)[(1 − w) + w/(1 + x f)];  1/b = 1/(Rl (1 + b1 + Σ b_i)(1 + ...)) + 1/R_load
//! Symbols    t1, b1 common and t_i, b_i own tolerance of the elements; s drift by tracking or absolute coefficient, h
//!            absolute coefficient with the upper elements' own rise ΔT_u; a ageing; f the change of the string itself; q
//!            voltage coefficient; x leakage conductance · Ru w; w = 1 over the whole string, 1/n over one element
//! Known      q, the load that the constant leaves out, and leakage, which can only read high: each with its sign
//! States     ambient (every deviation is straight in its distance from calibration: the ends hold the middle) × elements
//!            cold or warm × leakage none or all × electronics × what supply and edges add × aged
//! Warm       rise of an element = P (T0 − T1)/P_r, the slope of its own derating line
//! Correlation of n elements of a string, r: a common part f of the limit and (1 − f)/n for each, with
//!            f² + (1 − f)²/n = (1 + (n − 1) r)/n, so that worst case and root-sum-square are both right; r = 1: one block
//! Valid      first order in the voltage coefficient
//! Source     Ohm's law; JCGM 100:2008 clauses 4.1 and 5.2.2; IEC 60115-1 (derating line)
//! ```

use std::f64::consts::PI;

use super::input::{Parts, VoltageInput};
use super::output::VoltageNoise;
use crate::calc::voltage::divider::{DriftBy, LeakagePath, bend, temperature_error};
use crate::channel::chain::{Around, Calibration, Calibrator, Chain, ENDS, Each, End, Known, NoSolution};
use crate::channel::corners::Corners;
use crate::channel::{Experiment, Heated, JudgedBy, NoiseCounted};
use crate::physics::front_end::{CalibrationKind, FrontEnd, FrontState, PER_KELVIN};
use crate::physics::network::{Network, common_share, divided};
use crate::physics::noise::{self, ReadingNoise};
use crate::physics::parts::Filter;
use crate::propagation::{Assessment, Kind, Number, Source};
use crate::quantity::{Unit, celsius};

/// Stage of the divider's sources in budgets.
pub const DIVIDER: &str = "Divider";

/// Sources of the divider, before those of the front end; the own parts of the elements come last of all, the upper ones first.
const DIVIDER_SOURCES: usize = 14;

/// Everything a voltage reading depends on beside the voltage and the part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// Ambient of the divider above the calibration temperature, K.
    pub away_k: f64,
    /// Amplifier and converter.
    pub front: FrontState,
    /// Whether the elements are warm from their own loss: 0 or 1.
    pub warm: f64,
    /// Whether the surface leaks: 0 or 1.
    pub leaks: f64,
    /// How far the calibrating bench was from its stated temperature, K.
    pub bench_k: f64,
}

/// The channel with its nominal network.
#[derive(Clone, Debug)]
pub struct Channel<'a> {
    /// What it is made of.
    pub input: &'a VoltageInput,
    /// Amplifier, converter and calibration.
    parts: Parts<'a>,
    /// Strings and load.
    pub net: Network,
    /// 1/k0: the firmware's constant.
    factor: f64,
    /// Where the sources of the front end end.
    behind: usize,
    /// Share of the upper string that the leakage lies across.
    leaking: f64,
    /// Leakage conductance times the resistance it lies across.
    leakage: f64,
    /// q, 1/V.
    bend: f64,
    /// Rise of an upper element, K per square volt of the pack.
    rise_k: f64,
    /// Whether drift counts by tracking.
    tracking: bool,
    /// Upper and lower elements with an own part of their tolerance.
    own: [usize; 2],
    /// Standard deviation of a stored reading, V at the pack. What was stored wrong by chance stays wrong in every reading:
    /// it is no noise of the reading, and always counts.
    stored_v: f64,
    /// Whether a stored reading is rounded.
    stored_rounded: bool,
}

impl<'a> Channel<'a> {
    /// The channel of an input.
    pub fn new(input: &'a VoltageInput) -> Self {
        let net = input.network();
        let nominal = if input.following.factor_includes_load { net } else { net.unloaded() };
        let (upper, lower) = (&input.upper, &input.lower);
        let count = f64::from(upper.count);
        let leaking = match input.surface.leakage_path {
            LeakagePath::Whole => 1.0,
            LeakagePath::Element => 1.0 / count,
        };
        let shares = [(upper.count, upper.correlation), (lower.count, lower.correlation)];
        let own = shares.map(|(count, r)| if common_share(f64::from(count), r) < 1.0 { count as usize } else { 0 });
        let (element_v, kelvin_per_w) =
            ((1.0 - net.ratio()) / count, (upper.zero_power_degc - upper.derate_from_degc) / upper.rated_power_w);
        let mut channel = Self {
            input,
            parts: input.parts(),
            net,
            factor: 1.0 / nominal.ratio(),
            behind: DIVIDER_SOURCES + input.parts().front_end().count(),
            leaking,
            leakage: input.surface.leakage_ohm.map_or(0.0, |ohm| net.upper_ohm * leaking / ohm),
            bend: bend(nominal, upper, lower),
            rise_k: element_v * element_v / upper.resistance_ohm * kelvin_per_w.max(0.0),
            tracking: upper.drift_by == DriftBy::Tracking,
            own,
            stored_v: 0.0,
            stored_rounded: true,
        };
        let (noise, readings) = (channel.noise(), input.bench.readings);
        channel.stored_v = noise::mean(noise.averaged_v, noise.flicker_v, readings);
        channel.stored_rounded = input.bench.rounds(noise.single_v, channel.lsb_v());
        channel
    }

    /// One step of the converter, V at the pack.
    pub fn lsb_v(&self) -> f64 {
        self.parts.front_end().lsb_v() * self.factor
    }

    /// The constant of the firmware before any calibration: input over output.
    pub const fn factor(&self) -> f64 {
        self.factor
    }

    /// The constant that a reading comes out with: two stored readings take what the firmware's own leaves out.
    pub fn read_with(&self) -> f64 {
        if self.input.calibration.kind == CalibrationKind::TwoPoint { 1.0 / self.net.ratio() } else { self.factor }
    }

    /// q of the voltage coefficient's error q V², 1/V.
    pub const fn bend(&self) -> f64 {
        self.bend
    }

    /// Error of the voltage coefficient at a voltage, V.
    pub fn bend_at(&self, voltage_v: f64, calibrated: bool) -> f64 {
        let with = &self.input.calibration;
        if calibrated {
            self.bend * (voltage_v - with.low_v) * (voltage_v - with.high_v)
        } else {
            self.bend * voltage_v * voltage_v
        }
    }

    /// Time constant of the capacitor across the lower part, s; none without one.
    pub fn filter_s(&self) -> Option<f64> {
        self.input.following.filter_farad.map(|farad| self.net.source_loaded_ohm() * farad)
    }

    /// Random noise of a reading, at the hot end.
    pub fn noise(&self) -> VoltageNoise {
        let input = self.input;
        let ratio = 1.0 / self.factor;
        let source = self.net.source_loaded_ohm();
        let degc = input.conditions.ambient_max_degc;
        // The capacitor stands in front of the amplifier: it filters the divider's noise, whose thermal noise in that band is the
        // capacitor's kT/C, and nothing of what the amplifier adds.
        let filter = Filter {
            resistance_ohm: 0.0,
            capacitance_farad: None,
            corner_hz: None,
            resistance_tolerance_percent: 0.0,
            capacitance_tolerance_percent: 0.0,
        };
        let parts = input.parts();
        let rest = ReadingNoise::new(&input.amplifier, &filter, &parts.converter, input.averaging, degc);
        let pole = input.following.filter_farad.map(|farad| 1.0 / (2.0 * PI * source * farad));
        let band = noise::decimated_hz(noise::bandwidth_hz(input.amplifier.bandwidth_hz, pole), &parts.converter);
        let divider = noise::johnson_v(source, degc, band);
        let averaged = divider * noise::averaged_factor(input.averaging, parts.converter.data_rate_hz, band);
        VoltageNoise {
            divider_v: divider / ratio,
            amplifier_v: rest.white_v / ratio,
            flicker_v: rest.flicker_v / ratio,
            converter_v: rest.converter_v / ratio,
            single_v: libm::hypot(divider, rest.single_v) / ratio,
            averaged_v: libm::hypot(averaged, rest.averaged_v) / ratio,
        }
    }

    /// Whether anything is calibrated at all.
    pub fn calibrates(&self) -> bool {
        self.input.calibration.kind != CalibrationKind::None
    }

    /// The output of the divider, V.
    #[inline]
    fn output<N: Number>(&self, x: N, state: &State, d: &[N]) -> N {
        let with = self.input;
        let (upper_own, lower_own) = d[self.behind..].split_at(self.own[0]);
        let sum = |common: N, own: &[N]| own.iter().fold(common + 1.0, |sum, own| sum + *own);
        let rise = x * x * (self.rise_k * state.warm);
        // By its absolute coefficient one deviation follows both warmths; tracking says nothing about the own one.
        let drift = if self.tracking { d[2] * state.away_k + d[3] * rise } else { d[2] * (rise + state.away_k) };
        let upper = sum(d[0], upper_own) * (drift + 1.0) * (d[5] * state.front.aged + 1.0);
        let leak = N::from(self.leaking) / (d[8] * (self.leakage * state.leaks) * upper + 1.0);
        let upper_ohm = upper * (leak + (1.0 - self.leaking)) * self.net.upper_ohm;
        let lower = sum(d[1], lower_own) * (d[4] * state.away_k + 1.0) * (d[6] * state.front.aged + 1.0);
        let load = N::from(1.0 / self.net.load_ohm) / ((d[10] + 1.0) * (d[11] * state.away_k + 1.0));
        let load = if with.following.factor_includes_load { load } else { load * d[9] };
        let lower_s = N::from(1.0) / (lower * self.net.lower_ohm) + load;
        let ratio = divided(upper_ohm, lower_s);
        ratio * (d[7] * x * self.bend + 1.0) * x + (d[12] + d[13] * state.front.in_use)
    }
}

impl Chain for Channel<'_> {
    const UNIT: Unit = Unit::Volt;
    type State = State;

    fn sources(&self) -> Vec<Source> {
        let (upper, lower, following) = (&self.input.upper, &self.input.lower, &self.input.following);
        let of = |id: &'static str, label: &'static str, kind: Kind, unit: &'static str, limit: f64| {
            Source::limit(id, label, DIVIDER, kind, unit, limit)
        };
        let (drift_upper, drift_lower) = temperature_error(upper, lower);
        let drift = if self.tracking { "Tracking of upper and lower string" } else { "Upper temperature coefficient" };
        let shares = [(upper.count, upper.correlation), (lower.count, lower.correlation)];
        let [share, lower_share] = shares.map(|(count, r)| common_share(f64::from(count), r));
        let steady = 1.0 - following.bias_varying_percent / 100.0;
        let biased = following.bias_current_a * self.net.source_loaded_ohm();
        let (percent, ppm) = (1e-2, 1e-6);
        let (tolerance, lower_tolerance) = (upper.tolerance_percent * percent, lower.tolerance_percent * percent);
        let load = if following.load_ohm.is_some() { following.load_tolerance_percent * percent } else { 0.0 };
        let load_drift = if following.load_ohm.is_some() { following.load_drift_ppm_per_k * ppm } else { 0.0 };
        let mut sources = Vec::with_capacity(self.behind + self.own[0] + self.own[1]);
        sources.extend([
            of(UPPER, "Upper string tolerance", Kind::Initial, "1", tolerance * share),
            of(LOWER, "Lower tolerance", Kind::Initial, "1", lower_tolerance * lower_share),
            of("upper.drift", drift, Kind::Temperature, PER_KELVIN, drift_upper),
            of(
                "upper.self-heating",
                "Upper elements warmer than the lower ones",
                Kind::Temperature,
                PER_KELVIN,
                if self.tracking { upper.tcr_ppm_per_k * ppm } else { 0.0 },
            ),
            of("lower.drift", "Lower temperature coefficient", Kind::Temperature, PER_KELVIN, drift_lower),
            of("upper.ageing", "Upper string ageing", Kind::Life, "1", upper.life_drift_percent * percent),
            of("lower.ageing", "Lower ageing", Kind::Life, "1", lower.life_drift_percent * percent),
            of("upper.voltage-coefficient", "Voltage coefficient", Kind::Noise, "", 0.0).known(1.0),
            of("surface.leakage", "Surface leakage", Kind::Noise, "", 0.0).known(1.0),
            of("load.nominal", "Loading that the constant leaves out", Kind::Initial, "", 0.0).known(1.0),
            of("load.spread", "Spread of the load", Kind::Initial, "1", load),
            of("load.drift", "Drift of the load", Kind::Temperature, PER_KELVIN, load_drift),
            of("bias.steady", "Bias current, steady part", Kind::Initial, "V", biased * steady),
            of("bias.varying", "Bias current, varying part", Kind::Temperature, "V", biased * (1.0 - steady)),
        ]);
        sources.extend(self.parts.front_end().sources());
        for (id, own, share, tolerance) in
            [(UPPER_OWN, self.own[0], share, tolerance), (LOWER_OWN, self.own[1], lower_share, lower_tolerance)]
        {
            let each =
                |_| of(id, "Own tolerance of an element", Kind::Initial, "1", tolerance * (1.0 - share) / own as f64);
            sources.extend((0..own).map(each));
        }
        sources
    }

    #[inline]
    fn reading<N: Number>(&self, x: N, state: &State, d: &[N]) -> N {
        let front = &d[DIVIDER_SOURCES..self.behind];
        self.parts.front_end().read(self.output(x, state, d), &state.front, front) * self.factor
    }

    #[inline]
    fn driven<N: Number>(&self, x: N, state: &State, d: &[N]) -> [N; ENDS] {
        let front = &d[DIVIDER_SOURCES..self.behind];
        self.parts.front_end().driven(self.output(x, state, d), &state.front, front)
    }

    fn ends(&self) -> [End; ENDS] {
        FrontEnd::ENDS.map(End)
    }

    /// The pack voltage has one sign.
    fn reads_below_zero(&self) -> bool {
        false
    }

    fn each(&self) -> Each {
        let front_end = self.parts.front_end();
        Each {
            nonlinear: front_end.nonlinear_v() * self.factor,
            slope: self.input.bench.nonlinearity_slope_ppm.map(|ppm| ppm * 1e-6),
            rounding: self.lsb_v() / 2.0,
            noise: match self.input.requirement.noise {
                NoiseCounted::None => 0.0,
                NoiseCounted::Mean => self.noise().averaged_v,
                NoiseCounted::Single => self.noise().single_v,
            },
        }
    }

    /// Every deviation is straight in the distance from the calibration temperature: the ends hold what lies between.
    fn ambients(&self) -> Vec<f64> {
        let with = &self.input.conditions;
        vec![with.ambient_min_degc, with.ambient_max_degc]
    }

    fn states(&self, around: &Around, to: &mut Vec<Result<Option<State>, NoSolution>>) {
        let with = &self.input.conditions;
        let aged = self.input.bench.aged(around, self.input.calibration.kind, with.life_years);
        let away_k = around.ambient_degc - with.calibration_degc;
        let rises: &[f64] = if with.electronics_rise_k > 0.0 { &[0.0, 1.0] } else { &[0.0] };
        let leaks: &[f64] = if self.leakage > 0.0 { &[0.0, 1.0] } else { &[0.0] };
        let front_end = self.parts.front_end();
        let fed_v = front_end.fed_v();
        let fronts: Vec<FrontState> = rises
            .iter()
            .map(|rise| away_k + rise * with.electronics_rise_k)
            .flat_map(|away_k| front_end.fed_ends().iter().map(move |share| (away_k, share * fed_v)))
            .map(|(away_k, fed_v)| FrontState { away_k, aged, in_use: 1.0, fed_v })
            .collect();
        for warm in [0.0, 1.0] {
            for &leaks in leaks {
                for &front in &fronts {
                    to.extend(around.bench.iter().map(|off| {
                        let bench_k = off * self.input.bench.tolerance_k;
                        Ok(Some(State { away_k, front, warm, leaks, bench_k }))
                    }));
                }
            }
        }
    }

    fn bench_varies(&self) -> bool {
        self.input.bench.varies()
    }

    /// The ends of the range, the listed voltages and the calibrating ones.
    fn places(&self) -> Vec<f64> {
        let (input, with) = (self.input, &self.input.requirement);
        let [from, to] = self.range_v();
        let kink = with.gain_percent.zip(with.offset_v).filter(|(gain, _)| *gain > 0.0);
        let kink = kink.map(|(gain, offset)| offset / gain * 100.0);
        let mut places: Vec<f64> = [from, to, input.calibration.low_v, input.calibration.high_v]
            .into_iter()
            .chain(kink)
            .chain(input.voltages_v.iter().copied())
            .filter(|at| {
                from <= *at && *at <= to && (*at > 0.0 || self.allowed(*at).is_some_and(|allowed| allowed > 0.0))
            })
            .collect();
        places.sort_by(f64::total_cmp);
        places.dedup();
        places
    }

    /// An even sweep of the range.
    fn between(&self) -> Vec<f64> {
        let [from, to] = self.range_v();
        (1..32).map(|step| from + (to - from) * f64::from(step) / 32.0).filter(|at| *at > 0.0).collect()
    }

    fn allowed(&self, voltage_v: f64) -> Option<f64> {
        self.input.allowed_v(voltage_v)
    }

    fn calibration(&self, state: &State) -> Calibration<State> {
        let (with, bench) = (&self.input.calibration, &self.input.bench);
        let warm = if bench.heated == Heated::Settled { 1.0 } else { 0.0 };
        let point = |x: f64| Known {
            x,
            state: State {
                away_k: state.bench_k,
                front: FrontState { away_k: state.bench_k, aged: 0.0, in_use: 0.0, fed_v: 0.0 },
                warm,
                leaks: 0.0,
                bench_k: state.bench_k,
            },
            independent: bench.independent_percent / 100.0 * x,
            noise: self.stored_v,
            rounded: self.stored_rounded,
        };
        match with.kind {
            CalibrationKind::None => Calibration::None,
            CalibrationKind::Offset => Calibration::Offset(point(with.low_v)),
            CalibrationKind::TwoPoint => Calibration::Two([with.low_v, with.high_v].map(point)),
        }
    }

    fn calibrator(&self) -> Calibrator {
        let with = &self.input.calibration;
        let gain = if with.kind == CalibrationKind::TwoPoint { with.gain_residual_percent / 100.0 } else { 0.0 };
        Calibrator { gain, offset: with.offset_residual_v * self.factor }
    }
}

impl Channel<'_> {
    /// The voltages that the requirement counts between.
    fn range_v(&self) -> [f64; 2] {
        let input = self.input;
        [input.input_min_v.max(input.requirement.from_percent / 100.0 * input.input_max_v), input.input_max_v]
    }
}

/// Ids of what the elements of a string share and of what each has of its own.
const UPPER: &str = "upper.tolerance";
const LOWER: &str = "lower.tolerance";
const UPPER_OWN: &str = "upper.own-tolerance";
const LOWER_OWN: &str = "lower.own-tolerance";

impl Corners for Channel<'_> {
    const ERROR: &'static str = "voltage-channel.error";
    const STATISTICAL: &'static str = "voltage-channel.statistical";
    const POINT: &'static str = "voltage-channel.calibrating-point";
    const POINTS: [&'static str; 2] = ["/calibration/low_v", "/calibration/high_v"];
    const POINTS_FAR: &'static str = "voltage-channel.calibrated-far";
    const NOISE: &'static str = "voltage-channel.noise-not-counted";

    fn judged_by(&self) -> JudgedBy {
        self.input.requirement.judged_by
    }

    fn kind(&self) -> CalibrationKind {
        self.input.calibration.kind
    }

    fn experiment(&self) -> &Experiment {
        &self.input.experiment
    }

    fn noise_left_out(&self) -> f64 {
        if self.input.requirement.noise == NoiseCounted::None { self.noise().averaged_v } else { 0.0 }
    }

    fn all_missing(&self) -> Vec<&'static str> {
        self.parts.converter.missing(self.input.noise_counts()).chain(self.range_missing()).collect()
    }

    fn range_missing(&self) -> Option<&'static str> {
        self.input.wet_missing()
    }

    fn told(&self, ambient_degc: f64, state: &State) -> String {
        let warm = if state.warm > 0.0 { "elements warm" } else { "elements cold" };
        let leaks = if state.leaks > 0.0 { ", surface leaking" } else { "" };
        format!("ambient {}, {warm}{leaks}{}", celsius(ambient_degc), state.front.fed_words())
    }

    /// A string is one source to the reader, whatever its correlation.
    fn gathered(&self, done: &mut Assessment) {
        for (whole, own) in [(UPPER, UPPER_OWN), (LOWER, LOWER_OWN)] {
            done.gather(whole, own);
        }
    }
}
