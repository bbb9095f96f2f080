//! # The measurement model of a voltage channel
//!
//! ```text
//! Formula    reading = front_end(k V (1 + q) + o_b)(1 + g) / k0;  error = reading − V
//!            k = (1 + l)(1 + L) b/(t + b);  t = Ru (1 + t1 + Σ t_i)(1 + s)(1 + a)[(1 − w) + w/(1 + x f)];  b = Rp (1 + b1 + Σ b_i)(1 + ...)
//! Symbols    g what calibration leaves of all gains; t1, b1 common and t_i, b_i own tolerance of the elements; s drift by
//!            tracking (or absolute coefficient); a ageing; f the change of the string itself; q voltage coefficient;
//!            x leakage conductance · Ru w; w = 1 over the whole string, 1/n over one element; l, L load and its drift; o_b = I_b Rs
//! Known      q and, when the constant leaves the load out, l: they keep their signs in the worst case
//! One-sided  leakage can only read high: its conductance lies between nothing and the limit, so its estimate is the
//!            middle, its limit half of it
//! Correlation of n elements of a string, r: a common part f of the limit and (1 − f)/n for each, with
//!            f² + (1 − f)²/n = (1 + (n − 1) r)/n, so that worst case and root-sum-square are both right; r = 1: one block
//! Calibration two-point removes tolerances, gains, reference, offset and the steady part of load and bias current, and
//!            turns q V² into q (V − V1)(V − V2); tracking, ageing, leakage, drift, INL and quantisation stay
//! Valid      first order in the voltage coefficient; parts of the divider at the ambient temperature
//! Source     Ohm's law; JCGM 100:2008 clauses 4.1 and 5.2.2
//! ```

use super::input::{Parts, VoltageInput};
use crate::calc::voltage::divider::network::{Network, common_share, loading};
use crate::calc::voltage::divider::{DriftBy, LeakagePath, bend, temperature_error};
use crate::channel::corners::Corners;
use crate::channel::{Experiment, JudgedBy};
use crate::physics::front_end::{CalibrationKind, FrontEnd, Life, SOURCES};
use crate::physics::parts::clips_at_v;
use crate::propagation::{Kind, Model, Number, Source};
use crate::quantity::Unit;

/// Stage of the divider's sources in budgets.
pub const DIVIDER: &str = "Divider";

/// Sources of the divider, before those of the front end; the own parts of the elements come last of all, the upper ones first.
const DIVIDER_SOURCES: usize = 14;

/// The reading error at one voltage, V.
#[derive(Clone, Copy, Debug)]
pub struct VoltageModel<'a> {
    front_end: FrontEnd<'a>,
    upper_ohm: f64,
    /// Lower string with the load that the constant knows.
    lower_ohm: f64,
    /// Share of the upper string that the leakage lies across.
    leaking: f64,
    ratio: f64,
    voltage_v: f64,
    /// Number of upper elements with an own part of their tolerance; those of the lower string follow.
    upper_own: usize,
}

impl Model for VoltageModel<'_> {
    #[inline]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let mut common = x[1] + 1.0;
        let (upper_own, lower_own) = x[DIVIDER_SOURCES + SOURCES..].split_at(self.upper_own);
        for own in upper_own {
            common = common + *own;
        }
        let mut lower = x[2] + 1.0;
        for own in lower_own {
            lower = lower + *own;
        }
        let upper = common * (x[3] + 1.0) * (x[5] + 1.0);
        let leak = N::from(self.leaking) / (x[8] * upper + 1.0);
        let upper_ohm = upper * (leak + (1.0 - self.leaking)) * self.upper_ohm;
        let lower_ohm = lower * (x[4] + 1.0) * (x[6] + 1.0) * self.lower_ohm;
        let ratio = lower_ohm / (upper_ohm + lower_ohm);
        let loaded = ratio * (x[9] + 1.0) * (x[10] + 1.0) * (x[11] + 1.0);
        let volt = loaded * (x[7] + 1.0) * self.voltage_v + (x[12] + x[13]);
        let reading = self.front_end.read(volt, &x[DIVIDER_SOURCES..DIVIDER_SOURCES + SOURCES]);
        reading * (x[0] + 1.0) / self.ratio - self.voltage_v
    }
}

/// Place of the voltage coefficient among the sources.
const BEND: usize = 7;

/// The channel with its nominal network.
#[derive(Clone, Debug)]
pub struct Channel<'a> {
    /// What it is made of.
    pub input: &'a VoltageInput,
    /// Amplifier, converter and calibration.
    parts: Parts<'a>,
    /// Strings and load.
    pub net: Network,
}

impl<'a> Channel<'a> {
    /// The channel of an input.
    pub fn new(input: &'a VoltageInput) -> Self {
        Self { input, parts: input.parts(), net: input.network() }
    }

    /// Number of sources.
    pub fn count(&self) -> u64 {
        let own = |share: f64, count: u32| if share < 1.0 { u64::from(count) } else { 0 };
        let lower = &self.input.lower;
        (DIVIDER_SOURCES + SOURCES) as u64
            + own(self.upper_share(), self.input.upper.count)
            + own(common_share(f64::from(lower.count), lower.correlation), lower.count)
    }

    /// One step of the converter, V at the pack.
    pub fn lsb_v(&self) -> f64 {
        self.parts.front_end().lsb_v() / self.nominal_ratio()
    }

    /// The ratio whose inverse is the constant of the firmware before any calibration.
    pub fn nominal_ratio(&self) -> f64 {
        self.nominal().ratio()
    }

    fn nominal(&self) -> Network {
        if self.input.following.factor_includes_load { self.net } else { self.net.unloaded() }
    }

    /// Part of the tolerance that all upper elements share.
    fn upper_share(&self) -> f64 {
        common_share(f64::from(self.input.upper.count), self.input.upper.correlation)
    }

    fn leaking(&self) -> f64 {
        match self.input.surface.leakage_path {
            LeakagePath::Whole => 1.0,
            LeakagePath::Element => 1.0 / f64::from(self.input.upper.count),
        }
    }

    /// q of the voltage coefficient's error q V², 1/V.
    pub fn bend(&self) -> f64 {
        bend(self.nominal(), &self.input.upper, &self.input.lower)
    }

    /// Error of the voltage coefficient at a voltage, V.
    pub fn bend_at(&self, voltage_v: f64, calibrated: bool) -> f64 {
        let with = &self.input.calibration;
        if calibrated {
            self.bend() * (voltage_v - with.low_v) * (voltage_v - with.high_v)
        } else {
            self.bend() * voltage_v * voltage_v
        }
    }

    /// Loading that the constant leaves out, what the tolerance of the load makes of it, and its drift; relative.
    fn load(&self, distance_k: f64) -> (f64, f64, f64) {
        let following = &self.input.following;
        let source = self.net.source_ohm();
        let nominal = loading(source, self.net.load_ohm);
        let moved = |by: f64| {
            let off = |part: f64| (1.0 + loading(source, self.net.load_ohm * part)) / (1.0 + nominal) - 1.0;
            off(1.0 - by).abs().max(off(1.0 + by).abs())
        };
        (
            if following.factor_includes_load { 0.0 } else { nominal },
            moved(following.load_tolerance_percent / 100.0),
            moved(following.load_drift_ppm_per_k * 1e-6 * distance_k),
        )
    }
}

impl Corners for Channel<'_> {
    const UNIT: Unit = Unit::Volt;
    const ERROR: &'static str = "voltage-channel.error";
    const STATISTICAL: &'static str = "voltage-channel.statistical";
    const UNDEFINED: [&'static str; 2] = [
        "the model is not finite here",
        "the limits are so wide that the reading is not defined; no error is given there.",
    ];

    fn model(&self, voltage_v: f64) -> impl Model {
        let nominal = self.nominal();
        VoltageModel {
            front_end: self.parts.front_end(),
            upper_ohm: nominal.upper_ohm,
            lower_ohm: nominal.lower_loaded_ohm(),
            leaking: self.leaking(),
            ratio: nominal.ratio(),
            voltage_v,
            upper_own: if self.upper_share() < 1.0 { self.input.upper.count as usize } else { 0 },
        }
    }

    /// Every drift grows with the distance from the calibration temperature: the farther end is the worst.
    fn ambients(&self) -> Vec<f64> {
        let with = &self.input.conditions;
        vec![with.ambient_min_degc, with.ambient_max_degc]
    }

    fn sources(&self, ambient_degc: f64, life: Life) -> Vec<Source> {
        let (upper, lower, following) = (&self.input.upper, &self.input.lower, &self.input.following);
        let kind = if life.calibrated { self.input.calibration.kind } else { CalibrationKind::None };
        let gains_go = kind == CalibrationKind::TwoPoint;
        let offsets_go = kind != CalibrationKind::None;
        let distance = (ambient_degc - self.input.conditions.calibration_degc).abs();
        let share = self.upper_share();
        let lower_share = common_share(f64::from(lower.count), lower.correlation);
        let initial = |percent: f64| if gains_go { 0.0 } else { percent / 100.0 };
        let aged = |percent: f64| if life.end_of_life { percent / 100.0 } else { 0.0 };
        let ratio = |id: &'static str, label: &'static str, kind: Kind, limit: f64| {
            Source::limit(id, label, DIVIDER, kind, "1", limit)
        };
        let (drift_upper, drift_lower) = temperature_error(upper, lower);
        let tracking = upper.drift_by == DriftBy::Tracking;
        let (known_load, load_spread, load_drift) = self.load(distance);
        let leakage = self.input.surface.leakage_ohm.map_or(0.0, |ohm| self.net.upper_ohm * self.leaking() / ohm);
        let steady = 1.0 - following.bias_varying_percent / 100.0;
        let biased = following.bias_current_a * self.net.source_loaded_ohm();
        let bias = |id: &'static str, label: &'static str, kind: Kind, limit: f64| {
            Source::limit(id, label, DIVIDER, kind, "V", limit)
        };
        let mut sources = vec![
            ratio(
                "gain.left",
                "Gain left after calibration",
                Kind::Initial,
                if gains_go { self.input.calibration.gain_residual_percent / 100.0 } else { 0.0 },
            ),
            ratio("upper.tolerance", "Upper string tolerance", Kind::Initial, initial(upper.tolerance_percent) * share),
            ratio("lower.tolerance", "Lower tolerance", Kind::Initial, initial(lower.tolerance_percent) * lower_share),
            ratio(
                "upper.drift",
                if tracking { "Tracking of upper and lower string" } else { "Upper temperature coefficient" },
                Kind::Temperature,
                drift_upper * distance,
            ),
            ratio("lower.drift", "Lower temperature coefficient", Kind::Temperature, drift_lower * distance),
            ratio("upper.ageing", "Upper string ageing", Kind::Life, aged(upper.life_drift_percent)),
            ratio("lower.ageing", "Lower ageing", Kind::Life, aged(lower.life_drift_percent)),
            ratio("upper.voltage-coefficient", "Voltage coefficient", Kind::Noise, 0.0),
            // Conductance between nothing and the limit: it can only read high.
            ratio("surface.leakage", "Surface leakage", Kind::Noise, leakage / 2.0).known(leakage / 2.0),
            ratio("load.nominal", "Loading that the constant leaves out", Kind::Initial, 0.0).known(if gains_go {
                0.0
            } else {
                known_load
            }),
            ratio("load.spread", "Spread of the loading", Kind::Initial, if gains_go { 0.0 } else { load_spread }),
            ratio("load.drift", "Drift of the loading", Kind::Temperature, load_drift),
            bias(
                "bias.steady",
                "Bias current, steady part",
                Kind::Initial,
                if offsets_go { 0.0 } else { biased * steady },
            ),
            bias("bias.varying", "Bias current, varying part", Kind::Temperature, biased * (1.0 - steady)),
        ];
        sources.extend(self.parts.front_end().sources(distance, life));
        for (share, count, tolerance) in
            [(share, upper.count, upper.tolerance_percent), (lower_share, lower.count, lower.tolerance_percent)]
        {
            if share < 1.0 {
                let own = initial(tolerance) * (1.0 - share) / f64::from(count);
                sources.extend((0..count).map(|_| ratio("", "", Kind::Initial, own)));
            }
        }
        sources
    }

    fn put(&self, voltage_v: f64, _: f64, life: Life, sources: &mut [Source]) -> Option<()> {
        let straight = life.calibrated && self.input.calibration.kind == CalibrationKind::TwoPoint;
        sources.get_mut(BEND)?.estimate = self.bend_at(voltage_v, straight) / voltage_v;
        Some(())
    }

    fn name(&self, sources: &mut [Source]) {
        let upper = if self.upper_share() < 1.0 { self.input.upper.count as usize } else { 0 };
        for (index, source) in sources.iter_mut().skip(DIVIDER_SOURCES + SOURCES).enumerate() {
            let (string, name, element) =
                if index < upper { ("upper", "Upper", index) } else { ("lower", "Lower", index - upper) };
            source.id = format!("{string}.tolerance-{}", element + 1).into();
            source.label = format!("{name} element {}, own tolerance", element + 1).into();
        }
    }

    fn allowed(&self, voltage_v: f64) -> Option<f64> {
        self.input.allowed_v(voltage_v)
    }

    /// The pack voltage has one sign: of a bipolar range its positive side counts.
    fn full(&self) -> (f64, &'static str) {
        let (volt, first) = clips_at_v(&self.input.amplifier, self.input.converter.full_scale_v, false);
        (volt.max(0.0) / self.net.ratio(), first)
    }

    fn judged_by(&self) -> JudgedBy {
        self.input.requirement.judged_by
    }

    fn calibration(&self) -> CalibrationKind {
        self.input.calibration.kind
    }

    fn experiment(&self) -> &Experiment {
        &self.input.experiment
    }
}
