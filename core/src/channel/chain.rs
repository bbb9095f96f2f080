//! # A chain and its calibration, carried out
//!
//! A chain says what one part reads at a true value in a state. Calibrating it is not assumed to remove anything: the
//! firmware's two stored readings are readings of the same part, with the same deviations, and what they leave follows.
//! The error, reading less true value, is formed here and nowhere else.
//!
//! ```text
//! Formula    two points: y = x1 + (r(x, s) + n − r1)(x2 − x1)/(r2 − r1), r_i = r(x_i + c_i, s_i) + n_i;
//!            offset: y = r(x, s) + n − (r1 − x1);  e = y − x;  c_i = g x_i + o + k_i
//! Symbols    r raw reading, deviations of the part the same in each; n, n_i what is new in each reading; s, s_i states;
//!            c_i error of the calibrator, g and o common to both points, k_i each point's own
//! Valid      the exact form judges; the calibrator errs only at its points. In the very state and value of a point its
//!            own n_i is the reading's
//! States     each one counts; one without a solution leaves no error at all
//! Source     the straight line through two readings; JCGM 100:2008 clause 4.1 (measurement model)
//! ```

use super::Channel;
use super::budget::largest;
use crate::judge::Judged;
use crate::propagation::{self, Kind, Model, Number, Source, defined};
use crate::quantity::Unit;
use crate::work::{Halt, Work};

/// What is new in every reading, half-widths in the unit of the reading.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Each {
    /// Non-linearity.
    pub nonlinear: f64,
    /// Rounding.
    pub rounding: f64,
}

/// A point at which the chain is calibrated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known<S> {
    /// The value that is applied.
    pub x: f64,
    /// The state in which it is read.
    pub state: S,
    /// The calibrator's error at this point alone, half-width.
    pub independent: f64,
}

/// What is calibrated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Calibration<S> {
    /// Nothing.
    None,
    /// The offset, at one point.
    Offset(Known<S>),
    /// Offset and gain, at two.
    Two([Known<S>; 2]),
}

/// What the calibrator does to all points alike, half-widths.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Calibrator {
    /// Relative.
    pub gain: f64,
    /// In the unit of the reading.
    pub offset: f64,
}

/// A state in which the chain has no steady value, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoSolution(pub &'static str);

/// The physics of a channel, written once for every number type.
pub trait Chain: Sync {
    /// The unit of the reading.
    const UNIT: Unit;
    /// Temperatures, life, direction: everything a reading depends on beside the value and the part.
    type State: Copy + PartialEq + Sync;

    /// The deviations of one part. They do not depend on value or state.
    fn sources(&self) -> Vec<Source>;

    /// What one part reads at the true value in a state, by the firmware's constants, without a calibration and without
    /// what is new in every reading.
    fn reading<N: Number>(&self, x: N, state: &Self::State, deviations: &[N]) -> N;

    /// What is new in every reading.
    fn each(&self) -> Each;

    /// Every state the design allows.
    fn states(&self) -> Vec<Result<Self::State, NoSolution>>;

    /// The values at which the error can be largest against the allowance.
    fn places(&self) -> Vec<f64>;

    /// The allowed error at a value.
    fn allowed(&self, x: f64) -> Option<f64>;

    /// The values between which some part reads for certain in a state.
    fn full(&self, state: &Self::State) -> [f64; 2];

    /// What is calibrated, where, in which states.
    fn calibration(&self) -> Calibration<Self::State>;

    /// What the calibrator does to all points alike.
    fn calibrator(&self) -> Calibrator {
        Calibrator::default()
    }
}

/// Sources that calibrating adds to those of the part: new in the reading and at both points, the calibrator at each point
/// alone, its common gain and offset.
const ADDED: [(&str, &str); 7] = [
    ("reading.new", "New in every reading"),
    ("point-1.new", "New in the first calibrating reading"),
    ("point-2.new", "New in the second calibrating reading"),
    ("point-1.calibrator", "Calibrator at the first point"),
    ("point-2.calibrator", "Calibrator at the second point"),
    ("calibrator.gain", "Gain of the calibrator"),
    ("calibrator.offset", "Offset of the calibrator"),
];

/// Stage of what calibrating adds.
const CALIBRATING: &str = "Calibration";

/// All sources of a calibrated chain: those of the part, and what calibrating adds.
pub fn sources<C: Chain>(chain: &C) -> Vec<Source> {
    let (each, common) = (chain.each(), chain.calibrator());
    let new = each.nonlinear + each.rounding;
    // What there is no point for has no limit.
    let [first, second] = match chain.calibration() {
        Calibration::None => [None; 2],
        Calibration::Offset(point) => [Some(point.independent), None],
        Calibration::Two(points) => points.map(|point| Some(point.independent)),
    };
    let at = |point: Option<f64>, limit: f64| point.map_or(0.0, |_| limit);
    let limits = [
        new,
        at(first, new),
        at(second, new),
        first.unwrap_or(0.0),
        second.unwrap_or(0.0),
        at(first, common.gain),
        at(first, common.offset),
    ];
    let mut all = chain.sources();
    all.extend(ADDED.into_iter().zip(limits).map(|((id, label), limit)| {
        let kind = if id.ends_with("new") { Kind::Noise } else { Kind::Initial };
        Source::limit(id, label, CALIBRATING, kind, if id == "calibrator.gain" { "1" } else { "" }, limit)
    }));
    all
}

/// The error of a calibrated chain at a value in a state: the same deviations in all readings.
#[derive(Clone, Copy, Debug)]
pub struct Calibrated<'a, C: Chain> {
    chain: &'a C,
    calibration: Calibration<C::State>,
    x: f64,
    state: C::State,
    /// Number of the part's own deviations.
    own: usize,
    /// Which of the three new things the reading takes: that of a point where it repeats the point.
    takes: usize,
}

impl<'a, C: Chain> Calibrated<'a, C> {
    /// The error at a value in a state, over so many [`sources`].
    pub fn new(chain: &'a C, x: f64, state: C::State, sources: usize) -> Self {
        let calibration = chain.calibration();
        let repeats = |point: &Known<C::State>| point.x.total_cmp(&x).is_eq() && point.state == state;
        let takes = match &calibration {
            Calibration::Offset(point) if repeats(point) => 1,
            Calibration::Two([first, _]) if repeats(first) => 1,
            Calibration::Two([_, second]) if repeats(second) => 2,
            _ => 0,
        };
        Self { chain, calibration, x, state, own: sources.saturating_sub(ADDED.len()), takes }
    }
}

impl<C: Chain> Model for Calibrated<'_, C> {
    #[inline]
    fn evaluate<N: Number>(&self, z: &[N]) -> N {
        let (part, added) = z.split_at(self.own);
        let raw = self.chain.reading(N::from(self.x), &self.state, part) + added[self.takes];
        let seen = |point: &Known<C::State>, place: usize| {
            let error = added[5] * point.x + added[6] + added[2 + place];
            self.chain.reading(error + point.x, &point.state, part) + added[place]
        };
        let said = match &self.calibration {
            Calibration::None => raw,
            Calibration::Offset(point) => raw - seen(point, 1) + point.x,
            Calibration::Two([first, second]) => {
                let (low, high) = (seen(first, 1), seen(second, 2));
                (raw - low) * (second.x - first.x) / (high - low) + first.x
            }
        };
        said - self.x
    }
}

/// The error at a value in its worst state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ErrorAt {
    /// The value.
    pub x: f64,
    /// Smallest error.
    pub low: f64,
    /// Largest error.
    pub high: f64,
    /// Place of the state among all.
    pub state: u32,
}

impl ErrorAt {
    /// How far the reading may be off.
    pub const fn size(&self) -> f64 {
        largest(self.low, self.high)
    }
}

/// The worst case at each value over all states; nothing where the chain is full in one of them, or has no solution.
///
/// # Errors
/// The work was stopped.
pub fn errors<C: Chain>(chain: &C, at: &[f64], work: Work) -> Result<Vec<Option<ErrorAt>>, Halt> {
    let Ok(states) = chain.states().into_iter().collect::<Result<Vec<_>, _>>() else {
        return Ok(vec![None; at.len()]);
    };
    let sources = sources(chain);
    let [low, high] = full(chain, &states);
    let mut all = Vec::with_capacity(at.len());
    for &x in at {
        let mut worst: Option<ErrorAt> = None;
        if (low..=high).contains(&x) {
            for (state, place) in states.iter().zip(0..) {
                work.go_on()?;
                let model = Calibrated::new(chain, x, *state, sources.len());
                let Some((low, high)) = defined(propagation::worst_case(&model, &sources, work))? else {
                    worst = None;
                    break;
                };
                let one = ErrorAt { x, low, high, state: place };
                if worst.is_none_or(|worst| one.size() > worst.size()) {
                    worst = Some(one);
                }
            }
        }
        all.push(worst);
    }
    Ok(all)
}

/// Between which values the chain reads for certain in every state.
fn full<C: Chain>(chain: &C, states: &[C::State]) -> [f64; 2] {
    let narrower = |[low, high]: [f64; 2], [from, to]: [f64; 2]| [low.max(from), high.min(to)];
    states.iter().map(|state| chain.full(state)).fold([f64::NEG_INFINITY, f64::INFINITY], narrower)
}

/// The requirement on the error where most of the allowance is used; nothing where nothing is required.
///
/// # Errors
/// The work was stopped.
pub fn judged<C: Chain>(
    chain: &C,
    id: &'static str,
    pointer: &'static str,
    work: Work,
) -> Result<Option<Judged>, Halt> {
    let places = chain.places();
    let errors = errors(chain, &places, work)?;
    let rows = places.iter().zip(errors).filter_map(|(&x, error)| {
        let allowed = chain.allowed(x)?;
        let one = Judged::at_most(id, pointer, C::UNIT, error.map(|error| error.size()), allowed).at(x);
        Some(one.in_state(error.map_or(0, |error| error.state)))
    });
    Ok(rows.reduce(Judged::worse))
}

/// A chain as other parts of a design ask it.
#[derive(Clone, Copy, Debug)]
pub struct OfChain<C>(pub C);

impl<C: Chain> Channel for OfChain<C> {
    fn errors(&self, at: &[f64], work: Work) -> Result<Vec<Option<f64>>, Halt> {
        Ok(errors(&self.0, at, work)?.into_iter().map(|error| error.map(|error| error.size())).collect())
    }

    fn full_at(&self) -> Option<f64> {
        let states: Vec<C::State> = self.0.states().into_iter().flatten().collect();
        Some(full(&self.0, &states)[1]).filter(|end| end.is_finite())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A straight chain in one state.
    struct Toy {
        points: [f64; 2],
        new: f64,
        independent: [f64; 2],
        common: Calibrator,
    }

    impl Chain for Toy {
        const UNIT: Unit = Unit::Volt;
        type State = ();

        fn sources(&self) -> Vec<Source> {
            vec![
                Source::limit("gain", "Gain", "", Kind::Initial, "1", 0.0),
                Source::limit("offset", "Offset", "", Kind::Initial, "V", 0.5),
            ]
        }

        fn reading<N: Number>(&self, x: N, (): &(), part: &[N]) -> N {
            x * (part[0] + 1.0) + part[1]
        }

        fn each(&self) -> Each {
            Each { nonlinear: self.new, rounding: 0.0 }
        }

        fn states(&self) -> Vec<Result<(), NoSolution>> {
            vec![Ok(())]
        }

        fn places(&self) -> Vec<f64> {
            vec![554.4, self.points[0], self.points[1]]
        }

        fn allowed(&self, _: f64) -> Option<f64> {
            Some(3.0)
        }

        fn full(&self, (): &()) -> [f64; 2] {
            [0.0, 1000.0]
        }

        fn calibration(&self) -> Calibration<()> {
            let point = |place: usize| Known { x: self.points[place], state: (), independent: self.independent[place] };
            Calibration::Two([point(0), point(1)])
        }

        fn calibrator(&self) -> Calibrator {
            self.common
        }
    }

    const PLAIN: Toy =
        Toy { points: [750.0, 800.0], new: 0.0, independent: [0.0; 2], common: Calibrator { gain: 0.0, offset: 0.0 } };

    /// Half-width of what is new in a reading: first order 3.294 V at a factor of 9.824.
    const NEW: f64 = 3.294 / 9.824;

    #[track_caller]
    fn holds(chain: impl Chain, x: f64, expected: f64, within: f64) {
        let errors = OfChain(chain).errors(&[x], Work::FREE).expect("nobody stops it");
        let error = errors[0].expect("it can be read");
        assert!((error - expected).abs() <= within, "{error} is not {expected}");
    }

    /// Independent: an exact program gives 3.339 V; closed form (195.6 + 2 n) · 50/(50 − 2 n) − 195.6.
    #[test]
    fn three_readings_are_new_and_the_points_lie_close() {
        let closed = (195.6 + 2.0 * NEW) * 50.0 / (50.0 - 2.0 * NEW) - 195.6;
        assert!((closed - 3.339).abs() < 5e-4);
        holds(Toy { new: NEW, ..PLAIN }, 554.4, closed, 1e-9);
    }

    /// Independent: 0.671 V between points that lie far apart; closed form 2 n.
    #[test]
    fn between_the_points_the_factor_is_two() {
        holds(Toy { new: NEW, points: [400.0, 800.0], ..PLAIN }, 554.4, 2.0 * NEW, 1e-9);
        holds(Toy { new: NEW, points: [400.0, 800.0], ..PLAIN }, 554.4, 0.671, 5e-4);
    }

    /// Independent: ±0.05 % of reading, each point on its own, gives 3.46 V; common to both, 0.05 % of 554.4 V.
    #[test]
    fn the_calibrator_errs_at_its_points_only() {
        holds(Toy { independent: [0.375, 0.4], ..PLAIN }, 554.4, 3.46, 5e-3);
        let common = Calibrator { gain: 5e-4, offset: 0.0 };
        // Closed form x g/(1 − g): the firmware divides by a gain that is low by g.
        holds(Toy { common, ..PLAIN }, 554.4, 554.4 * 5e-4 / (1.0 - 5e-4), 1e-9);
        holds(Toy { common, ..PLAIN }, 554.4, 0.277, 5e-4);
    }

    /// Closed form: at a point, in its state, the stored reading is the reading, and nothing is left.
    #[test]
    fn nothing_is_left_where_it_was_calibrated() {
        holds(Toy { new: NEW, ..PLAIN }, 750.0, 0.0, 1e-9);
        holds(Toy { new: NEW, ..PLAIN }, 800.0, 0.0, 1e-9);
    }

    /// The place that uses most is named; what cannot be read has no error.
    #[test]
    fn the_worst_place_is_judged() {
        let toy = Toy { new: NEW, ..PLAIN };
        let worst = judged(&toy, "toy.error", "/allowed", Work::FREE).expect("nobody stops it").expect("required");
        assert_eq!(worst.key, crate::judge::Key::At(554.4));
        assert!(worst.fails());
        let toy = OfChain(toy);
        assert_eq!(toy.full_at(), Some(1000.0));
        assert_eq!(toy.errors(&[1000.1], Work::FREE), Ok(vec![None]));
        assert_eq!(toy.errors(&[1.0], Work::until(&|| true)), Err(Halt));
    }

    /// Two temperatures and a direction.
    #[derive(Clone, Copy, Debug, PartialEq)]
    struct Two {
        element_degc: f64,
        ambient_degc: f64,
        direction: f64,
    }

    /// x (1 + g + t (element − 20)) + o (ambient − 25) + h · direction.
    struct Warm {
        hysteresis: f64,
        calibrated: bool,
        runaway: bool,
    }

    const COLD: Two = Two { element_degc: 20.0, ambient_degc: -15.0, direction: -1.0 };
    const BENCH: Two = Two { element_degc: 60.0, ambient_degc: 25.0, direction: 1.0 };

    impl Chain for Warm {
        const UNIT: Unit = Unit::Ampere;
        type State = Two;

        fn sources(&self) -> Vec<Source> {
            vec![
                Source::limit("gain", "Gain", "", Kind::Initial, "1", 0.01),
                Source::limit("slope", "Slope", "", Kind::Temperature, "1/K", 1e-4),
                Source::limit("drift", "Drift", "", Kind::Temperature, "A/K", 0.02),
            ]
        }

        fn reading<N: Number>(&self, x: N, state: &Two, part: &[N]) -> N {
            x * (part[0] + part[1] * (state.element_degc - 20.0) + 1.0)
                + part[2] * (state.ambient_degc - 25.0)
                + self.hysteresis * state.direction
        }

        fn each(&self) -> Each {
            Each::default()
        }

        fn states(&self) -> Vec<Result<Two, NoSolution>> {
            let runaway = self.runaway.then_some(Err(NoSolution("thermal runaway")));
            [BENCH, Two { direction: 1.0, ..COLD }, COLD, Two { element_degc: 60.0, ..COLD }]
                .map(Ok)
                .into_iter()
                .chain(runaway)
                .collect()
        }

        fn places(&self) -> Vec<f64> {
            vec![-100.0, 100.0]
        }

        fn allowed(&self, _: f64) -> Option<f64> {
            None
        }

        fn full(&self, state: &Two) -> [f64; 2] {
            [-200.0, 200.0 - state.element_degc]
        }

        fn calibration(&self) -> Calibration<Two> {
            let point = |x| Known { x, state: BENCH, independent: 0.0 };
            if self.calibrated { Calibration::Two([point(0.0), point(100.0)]) } else { Calibration::None }
        }
    }

    const WARM: Warm = Warm { hysteresis: 0.5, calibrated: true, runaway: false };

    /// Closed form: e = −(40 t x + 40 o + 2 h)/(1 + g + 40 t), largest at t and o at their limits and g at its lower one:
    /// 2.2/0.994 A.
    #[test]
    fn the_worst_state_is_cold_and_falling() {
        let errors = errors(&WARM, &[100.0], Work::FREE).expect("nobody stops it");
        let worst = errors[0].expect("it can be read");
        assert!((worst.size() - 2.2 / 0.994).abs() < 1e-9, "{worst:?}");
        assert_eq!(worst.state, 2);
    }

    /// Closed form: g x + t · 40 x + o · 40 + h, with the element warm and the ambient cold: 1 + 0.4 + 0.8 + 0.5 A.
    #[test]
    fn without_a_calibration_everything_counts() {
        holds(Warm { calibrated: false, ..WARM }, 100.0, 2.7, 1e-9);
    }

    /// The narrowest state bounds the range, and one without a solution leaves no error.
    #[test]
    fn every_state_counts() {
        assert_eq!(OfChain(WARM).full_at(), Some(140.0));
        let runaway = OfChain(Warm { runaway: true, ..WARM });
        assert_eq!(runaway.errors(&[100.0], Work::FREE), Ok(vec![None]));
    }
}
