//! The current channel as a chain: what one part reads, and every state that the pack allows.

use super::ChannelInput;
use crate::calc::current::shunt::Shunt;
use crate::channel::chain::{Around, Calibration, Calibrator, Chain, ENDS, Each, End, Known, NoSolution};
use crate::channel::corners::Corners;
use crate::channel::{Experiment, Heated, JudgedBy, NoiseCounted};
use crate::numeric::first_where;
use crate::physics::front_end::{CalibrationKind, FrontEnd, FrontState, PER_KELVIN};
use crate::physics::noise::ReadingNoise;
use crate::physics::thermal::Curve;
use crate::propagation::{Kind, Number, Source};
use crate::quantity::{Unit, celsius};

/// Stage of the shunt's sources in budgets.
pub(super) const SHUNT: &str = "Shunt";

/// Number of sources of the shunt, before those of the front end.
const SHUNT_SOURCES: usize = 6;

/// Everything a current reading depends on beside the current and the part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// The element, °C.
    pub element_degc: f64,
    /// Amplifier and converter.
    pub front: FrontState,
    /// The thermal EMF between the sense taps, as a share of its largest, with its sign.
    pub emf: f64,
    /// How far the calibrating bench was from its stated temperature, K.
    pub bench_k: f64,
}

impl ChannelInput {
    /// Whether noise counts in the error that is judged: by the requirement, or in stored readings.
    pub(super) fn noise_counts(&self) -> bool {
        self.requirement.noise != NoiseCounted::None || self.calibration.kind != CalibrationKind::None
    }

    pub(super) const fn front_end(&self) -> FrontEnd<'_> {
        FrontEnd { amplifier: &self.amplifier, converter: &self.converter }
    }

    /// The surroundings of the shunt: their extra heat counts fully at the hot end and not at all at the cold end.
    pub(super) fn shunt_ambient(&self, ambient_degc: f64) -> f64 {
        let with = &self.conditions;
        let span = with.ambient_max_degc - with.ambient_min_degc;
        let share = if span > 0.0 { (ambient_degc - with.ambient_min_degc) / span } else { 1.0 };
        ambient_degc + with.shunt_extra_k * share
    }

    /// The largest charging current, A; 0 when the pack does not charge.
    pub(super) fn charge_peak_a(&self) -> f64 {
        self.load.charge_peak_a.unwrap_or(self.load.peak_a.max(self.load.continuous_a))
    }

    /// The currents at which it is calibrated.
    pub(super) fn points_a(&self) -> [f64; 2] {
        let with = &self.calibrated_at;
        [with.low_a.unwrap_or(0.0), with.high_a.unwrap_or(self.load.continuous_a)]
    }

    /// Noise of a reading, referred to the sense taps, where it is largest.
    fn reading_noise(&self) -> ReadingNoise {
        let degc = self.conditions.ambient_max_degc;
        ReadingNoise::new(&self.amplifier, &self.filter, &self.converter, self.averaging, degc)
    }

    /// Noise of a single reading and of the average, A.
    pub(super) fn noise_a(&self) -> [f64; 2] {
        let noise = self.reading_noise();
        [noise.single_v, noise.averaged_v].map(|volt| volt / self.shunt.resistance_ohm)
    }

    /// The hottest the element gets at an ambient temperature: settled at the continuous current, and at the end of the
    /// longest peak begun from there, once or again and again; of every part inside the limits.
    pub(super) fn hottest_degc(&self, ambient_degc: f64) -> Option<f64> {
        let hottest = |part: &Shunt| self.hottest_of(part, ambient_degc);
        // A coefficient without a spread has one end.
        if self.shunt.tcr_tolerance_ppm_per_k == 0.0 {
            return hottest(&self.shunt.highest(1.0));
        }
        let [one, other] = [1.0, -1.0].map(|sign| hottest(&self.shunt.highest(sign)));
        one.zip(other).map(|(one, other)| one.max(other))
    }

    /// The root mean square of a current with its ripple, triangular at 50 % duty, A.
    fn with_ripple_a(&self, current_a: f64) -> f64 {
        (current_a * current_a + self.load.ripple_current_a * self.load.ripple_current_a / 3.0).sqrt()
    }

    /// That of the continuous current, A.
    pub(super) fn heating_a(&self) -> f64 {
        self.with_ripple_a(self.load.continuous_a)
    }

    /// That of peaks which come again and again, over one period, A; without such peaks that of the continuous current.
    pub(super) fn lasting_a(&self) -> f64 {
        let (load, heating) = (&self.load, self.heating_a());
        let Some(repeat) = load.peak_repeat_s else { return heating };
        let (peak, share) = (self.with_ripple_a(load.peak_a.max(self.charge_peak_a())), load.peak_duration_s / repeat);
        (peak * peak * share + heating * heating * (1.0 - share)).sqrt().max(heating)
    }

    fn hottest_of(&self, shunt: &Shunt, ambient_degc: f64) -> Option<f64> {
        let (load, around) = (&self.load, self.shunt_ambient(ambient_degc));
        let settled = shunt.at(self.heating_a(), around)?.rise_k;
        // A charging peak heats as well, and so does the ripple.
        let peak_a = self.with_ripple_a(load.peak_a.max(self.charge_peak_a()));
        let after = |from_k: f64| shunt.node(peak_a, around).rise_after_k(from_k, load.peak_duration_s);
        let once = after(settled)?;
        let highest = match load.peak_repeat_s {
            None => once,
            Some(repeat) => {
                let rest = repeat - load.peak_duration_s;
                let cooled = |hot: f64| shunt.node(self.heating_a(), around).rise_after_k(hot, rest);
                // The periodic end is the fixed point of one period; heat that never settles has none below the limit.
                let period = |hot: f64| cooled(hot).and_then(after).map_or(f64::INFINITY, |next| next - hot);
                let mut top = once.max(1.0);
                while period(top) > 0.0 {
                    top *= 2.0;
                    if top > 1e5 {
                        return None;
                    }
                }
                if period(once) <= 0.0 { once } else { first_where(once, top, |hot| period(hot) <= 0.0) }
            }
        };
        Some(around + highest.max(settled))
    }

    /// The element in a calibrating reading.
    fn calibrating_element(&self, current_a: f64, bench_k: f64) -> f64 {
        let degc = self.conditions.calibration_degc + bench_k;
        match self.bench.heated {
            Heated::Pulsed => degc,
            Heated::Settled => self.shunt.at(current_a, degc).map_or(f64::NAN, |state| state.element_degc),
        }
    }

    /// The currents that the requirement counts between: the smallest, the largest in discharge and in charge, all
    /// positive. What the requirement says itself counts, otherwise the pack's peaks as far as they must be read.
    pub(super) fn range_a(&self) -> [f64; 3] {
        let (with, load) = (&self.requirement, &self.load);
        let smallest = self.currents_a.iter().copied().fold(f64::INFINITY, f64::min);
        let from = with.from_a.unwrap_or(0.0);
        let to = |peak: f64| match with.to_a.filter(|_| peak > 0.0) {
            Some(to) => to,
            None => peak.min(load.full_scale_a),
        };
        let [discharge, charge] = [to(load.peak_a.max(load.continuous_a)).max(from), to(self.charge_peak_a())];
        [with.from_a.unwrap_or(smallest).min(discharge), discharge, charge]
    }
}

impl Chain for &ChannelInput {
    const UNIT: Unit = Unit::Ampere;
    type State = State;

    fn sources(&self) -> Vec<Source> {
        let shunt = &self.shunt;
        let source = |id: &'static str, label: &'static str, kind: Kind, unit: &'static str, limit: f64| {
            Source::limit(id, label, SHUNT, kind, unit, limit)
        };
        let tap = shunt.sense_position_error_ohm / shunt.resistance_ohm;
        let curve = "Resistance-temperature curve and self-heating";
        let spread = shunt.tcr_tolerance_ppm_per_k * 1e-6;
        let mut sources = Vec::with_capacity(SHUNT_SOURCES + self.front_end().count());
        sources.extend([
            source("shunt.tolerance", "Shunt tolerance", Kind::Initial, "1", shunt.tolerance_percent / 100.0),
            source("shunt.curve", curve, Kind::Temperature, "", 0.0).known(1.0),
            source(
                "shunt.curve-spread",
                "Spread of the temperature coefficient",
                Kind::Temperature,
                PER_KELVIN,
                spread,
            ),
            source("shunt.tap", "Tap position", Kind::Initial, "1", tap),
            source("shunt.ageing", "Shunt ageing", Kind::Life, "1", shunt.life_drift_percent / 100.0),
            source("shunt.emf", "Thermal EMF", Kind::Temperature, "", 0.0).known(1.0),
        ]);
        sources.extend(self.front_end().sources());
        sources
    }

    #[inline]
    fn reading<N: Number>(&self, x: N, state: &State, d: &[N]) -> N {
        self.front_end().read(self.volt(x, state, d), &state.front, &d[SHUNT_SOURCES..]) / self.shunt.resistance_ohm
    }

    #[inline]
    fn driven<N: Number>(&self, x: N, state: &State, d: &[N]) -> [N; ENDS] {
        self.front_end().driven(self.volt(x, state, d), &state.front, &d[SHUNT_SOURCES..])
    }

    fn ends(&self) -> [End; ENDS] {
        FrontEnd::ENDS.map(End)
    }

    fn reads_below_zero(&self) -> bool {
        self.front_end().reads_below_zero()
    }

    fn each(&self) -> Each {
        let (front_end, ohm) = (self.front_end(), self.shunt.resistance_ohm);
        Each {
            nonlinear: front_end.nonlinear_v() / ohm,
            slope: self.bench.nonlinearity_slope_ppm.map(|ppm| ppm * 1e-6),
            rounding: front_end.lsb_v() / 2.0 / ohm,
            noise: match self.requirement.noise {
                NoiseCounted::None => 0.0,
                NoiseCounted::Mean => self.noise_a()[1],
                NoiseCounted::Single => self.noise_a()[0],
            },
        }
    }

    /// The ends, the calibration temperature, and an even sweep between the ends.
    fn ambients(&self) -> Vec<f64> {
        let with = &self.conditions;
        let (low, high) = (with.ambient_min_degc, with.ambient_max_degc);
        let mut ambients: Vec<f64> = (0..32)
            .map(|step| low + (high - low) * f64::from(step) / 32.0)
            .chain([high, with.calibration_degc])
            .filter(|degc| low <= *degc && *degc <= high)
            .collect();
        ambients.sort_by(f64::total_cmp);
        ambients.dedup();
        ambients
    }

    /// One ambient serves element and electronics. The element is anywhere between cold, at switch-on, and the hottest it
    /// gets; its resistance is a parabola, so that the two ends and the vertex (its spread at its ends) hold every value between. The error is
    /// straight in the EMF, in what supply and edges add and in the distance of the electronics, so that their ends hold the
    /// middle; EMF and what is added enter at one place, so that they are worst with one sign.
    fn states(&self, around: &Around, to: &mut Vec<Result<Option<State>, NoSolution>>) {
        let ambient_degc = around.ambient_degc;
        let Some(hottest) = self.hottest_degc(ambient_degc) else {
            to.push(Err(NoSolution("no steady temperature of the shunt (thermal runaway)")));
            return;
        };
        let inside = |degc: &f64| ambient_degc < *degc && *degc < hottest;
        let spread = self.shunt.tcr_tolerance_ppm_per_k * 1e-6;
        let vertex = |by: f64| {
            let curve = self.shunt.curve();
            Curve { a: curve.a + by, ..curve }.vertex_degc().filter(inside)
        };
        let spreads = if spread > 0.0 { [Some(-spread), Some(0.0), Some(spread)] } else { [None, Some(0.0), None] };
        let [low, middle, high] = spreads.map(|by| by.and_then(vertex));
        let warmer = Some(hottest).filter(|hottest| *hottest > ambient_degc);
        let with = &self.conditions;
        let aged = self.bench.aged(around, self.calibration.kind, with.life_years);
        let (front_end, warms) = (self.front_end(), self.shunt.emf_current_a() > 0.0);
        let fed_v = front_end.fed_v();
        let signs: &[f64] = if warms { &[-1.0, 1.0] } else { front_end.fed_ends() };
        let rises: &[f64] = if with.electronics_rise_k > 0.0 { &[0.0, 1.0] } else { &[0.0] };
        for element_degc in [Some(ambient_degc), low, middle, high, warmer] {
            for sign in signs {
                for rise in rises {
                    let away_k = ambient_degc + rise * with.electronics_rise_k - with.calibration_degc;
                    let front = FrontState { away_k, aged, in_use: 1.0, fed_v: sign * fed_v };
                    let state = |off: f64, element_degc: f64| State {
                        element_degc,
                        front,
                        emf: if warms { *sign } else { 0.0 },
                        bench_k: off * self.bench.tolerance_k,
                    };
                    to.extend(around.bench.iter().map(|off| Ok(element_degc.map(|degc| state(*off, degc)))));
                }
            }
        }
    }

    fn bench_varies(&self) -> bool {
        self.bench.varies()
    }

    /// For a fixed state the error and the allowance are straight between these currents, so that their quotient is largest
    /// at one of them.
    fn places(&self) -> Vec<f64> {
        let with = &self.requirement;
        let [from, to, charge] = self.range_a();
        let kink = with.gain_percent.zip(with.offset_a).filter(|(gain, _)| *gain > 0.0);
        let kink = kink.map(|(gain, offset)| offset / gain * 100.0);
        let reads = self.reads_below_zero();
        let mut places: Vec<f64> = [from, to, -from, -charge]
            .into_iter()
            .chain(kink.into_iter().flat_map(|at| [at, -at]))
            .chain(self.points_a())
            .chain(self.currents_a.iter().flat_map(|&at| [at, -at]))
            .filter(|at| from <= at.abs() && if *at < 0.0 { reads && -charge <= *at } else { *at <= to })
            .collect();
        places.sort_by(f64::total_cmp);
        places.dedup();
        places
    }

    fn allowed(&self, current_a: f64) -> Option<f64> {
        let with = &self.requirement;
        with.form.allowed(with.gain_percent, with.offset_a, current_a, self.load.full_scale_a)
    }

    fn calibration(&self, state: &State) -> Calibration<State> {
        let noise = self.reading_noise();
        let rounded = self.bench.rounds(noise.single_v, self.front_end().lsb_v());
        // What was stored wrong by chance stays wrong in every reading: it is no noise of the reading, and always counts.
        let stored = noise.mean_v(self.bench.readings) / self.shunt.resistance_ohm;
        let point = |x: f64| Known {
            x,
            state: State {
                element_degc: self.calibrating_element(x, state.bench_k),
                front: FrontState { away_k: state.bench_k, aged: 0.0, in_use: 0.0, fed_v: 0.0 },
                emf: 0.0,
                bench_k: state.bench_k,
            },
            independent: self.bench.independent_percent / 100.0 * x.abs(),
            noise: stored,
            rounded,
        };
        let points = self.points_a();
        match self.calibration.kind {
            CalibrationKind::None => Calibration::None,
            CalibrationKind::Offset => Calibration::Offset(point(points[0])),
            CalibrationKind::TwoPoint => Calibration::Two(points.map(point)),
        }
    }

    fn calibrator(&self) -> Calibrator {
        let gain = if self.calibration.kind == CalibrationKind::TwoPoint {
            self.calibration.gain_residual_percent / 100.0
        } else {
            0.0
        };
        Calibrator { gain, offset: self.calibration.offset_residual_v / self.shunt.resistance_ohm }
    }
}

impl ChannelInput {
    /// The voltage between the sense taps.
    #[inline]
    fn volt<N: Number>(&self, x: N, state: &State, d: &[N]) -> N {
        let shunt = &self.shunt;
        let change = d[1] * shunt.curve().change(state.element_degc);
        let spread = d[2] * (state.element_degc - shunt.reference_degc);
        let gains = (d[0] + 1.0) * (change + spread + 1.0) * (d[3] + 1.0) * (d[4] * state.front.aged + 1.0);
        let emf = shunt.emf_v_per_k * shunt.end_temperature_difference_k * state.emf;
        gains * x * shunt.resistance_ohm + d[5] * emf
    }
}

impl Corners for &ChannelInput {
    const ERROR: &'static str = "current-channel.error";
    const STATISTICAL: &'static str = "current-channel.statistical";
    const POINT: &'static str = "current-channel.calibrating-point";
    const POINTS: [&'static str; 2] = ["/calibrated_at/low_a", "/calibrated_at/high_a"];
    const POINTS_FAR: &'static str = "current-channel.calibrated-far";
    const NOISE: &'static str = "current-channel.noise-not-counted";

    fn judged_by(&self) -> JudgedBy {
        self.requirement.judged_by
    }

    fn kind(&self) -> CalibrationKind {
        self.calibration.kind
    }

    fn experiment(&self) -> &Experiment {
        &self.experiment
    }

    fn noise_left_out(&self) -> f64 {
        if self.requirement.noise == NoiseCounted::None { self.noise_a()[1] } else { 0.0 }
    }

    fn all_missing(&self) -> Vec<&'static str> {
        self.converter.missing(self.noise_counts()).collect()
    }

    fn told(&self, ambient_degc: f64, state: &State) -> String {
        let cold = if state.element_degc <= ambient_degc { " (just switched on)" } else { "" };
        let fed = state.front.fed_words();
        format!("ambient {}, element {}{cold}{fed}", celsius(ambient_degc), celsius(state.element_degc))
    }
}
