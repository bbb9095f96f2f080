//! A chain whose figures follow in closed form.

use super::chain::{Around, Calibration, Calibrator, Chain, ENDS, Each, End, Known, NoSolution};
use super::corners::{Asked, Corners, Judging};
use super::{Channel, Experiment, JudgedBy};
use crate::physics::front_end::CalibrationKind;
use crate::propagation::{Kind, Number, Source};
use crate::quantity::Unit;
use crate::work::{Halt, Work};

const EXPERIMENT: Experiment = Experiment { trials: 1000, seed: 1 };
const NO_ENDS: [End; ENDS] = [End("the first"), End("the second"), End("the third")];

/// A straight chain in one state.
struct Toy {
    points: [f64; 2],
    new: f64,
    slope: Option<f64>,
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

    fn driven<N: Number>(&self, x: N, (): &(), _: &[N]) -> [N; ENDS] {
        [N::from(0.0), N::from(0.0), x / 1000.0]
    }

    fn ends(&self) -> [End; ENDS] {
        NO_ENDS
    }

    fn reads_below_zero(&self) -> bool {
        false
    }

    fn each(&self) -> Each {
        Each { nonlinear: self.new, slope: self.slope, ..Each::default() }
    }

    fn ambients(&self) -> Vec<f64> {
        vec![25.0]
    }

    fn states(&self, _: &Around, to: &mut Vec<Result<Option<()>, NoSolution>>) {
        to.push(Ok(Some(())));
    }

    fn places(&self) -> Vec<f64> {
        vec![554.4, self.points[0], self.points[1]]
    }

    fn allowed(&self, _: f64) -> Option<f64> {
        Some(3.0)
    }

    fn calibration(&self, (): &()) -> Calibration<()> {
        let point = |place: usize| Known {
            x: self.points[place],
            state: (),
            independent: self.independent[place],
            noise: 0.0,
            rounded: true,
        };
        Calibration::Two([point(0), point(1)])
    }

    fn calibrator(&self) -> Calibrator {
        self.common
    }
}

impl Corners for Toy {
    const ERROR: &'static str = "toy.error";
    const STATISTICAL: &'static str = "toy.statistical";
    const POINT: &'static str = "toy.calibrating-point";
    const POINTS: [&'static str; 2] = ["/low", "/high"];
    const POINTS_FAR: &'static str = "toy.far";
    const NOISE: &'static str = "toy.noise";

    fn judged_by(&self) -> JudgedBy {
        JudgedBy::WorstCase
    }

    fn kind(&self) -> CalibrationKind {
        CalibrationKind::TwoPoint
    }

    fn experiment(&self) -> &Experiment {
        &EXPERIMENT
    }

    fn noise_left_out(&self) -> f64 {
        0.0
    }

    fn all_missing(&self) -> Vec<&'static str> {
        Vec::new()
    }

    fn told(&self, _: f64, (): &()) -> String {
        "on the bench".into()
    }
}

const PLAIN: Toy = Toy {
    points: [750.0, 800.0],
    new: 0.0,
    slope: None,
    independent: [0.0; 2],
    common: Calibrator { gain: 0.0, offset: 0.0 },
};

/// Half-width of what is new in a reading: first order 3.294 V at a factor of 9.824.
const NEW: f64 = 3.294 / 9.824;

#[track_caller]
fn holds(chain: impl Corners, x: f64, expected: f64, within: f64) {
    let errors = Asked::new(chain, true).errors(&[x], Work::FREE).expect("nobody stops it");
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

/// Closed form: a slope m of the non-linearity leaves |w1| m |x − x1| + |w2| m |x − x2| of it between 400 and 800 V; a
/// steep one says nothing that the limit does not say.
#[test]
fn a_largest_slope_bounds_what_the_points_do_not_share() {
    let toy = |slope| Toy { new: NEW, slope: Some(slope), points: [400.0, 800.0], ..PLAIN };
    let (w1, w2) = (245.6 / 400.0, 154.4 / 400.0);
    let slope = 1e-4;
    holds(toy(slope), 554.4, slope * (w1 * 154.4 + w2 * 245.6), 1e-4);
    holds(toy(1.0), 554.4, 2.0 * NEW, 1e-9);
}

/// The place that uses most is named; what cannot be read has no error.
#[test]
fn the_worst_place_is_judged() {
    let toy = Toy { new: NEW, ..PLAIN };
    let worst = Judging::new(&toy, Work::FREE).and_then(|judging| judging.worst(Work::FREE));
    let worst = worst.expect("nobody stops it").expect("required");
    assert!(worst.at.total_cmp(&554.4).is_eq() && worst.requirement::<Toy>(worst.allowed).fails());
    let toy = Asked::new(toy, true);
    assert_eq!(toy.full_at(), Some(1000.0 - NEW));
    assert_eq!(toy.errors(&[1000.1, -1.0], Work::FREE), Ok(vec![None, None]));
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

    fn driven<N: Number>(&self, x: N, state: &Two, _: &[N]) -> [N; ENDS] {
        let end = if x.value() < 0.0 { 200.0 } else { 200.0 - state.element_degc };
        [N::from(0.0), x / end, N::from(0.0)]
    }

    fn ends(&self) -> [End; ENDS] {
        NO_ENDS
    }

    fn reads_below_zero(&self) -> bool {
        true
    }

    fn each(&self) -> Each {
        Each::default()
    }

    fn ambients(&self) -> Vec<f64> {
        vec![-15.0]
    }

    fn states(&self, _: &Around, to: &mut Vec<Result<Option<Two>, NoSolution>>) {
        to.extend(
            [BENCH, Two { direction: 1.0, ..COLD }, COLD, Two { element_degc: 60.0, ..COLD }].map(|one| Ok(Some(one))),
        );
        to.extend(self.runaway.then_some(Err(NoSolution("thermal runaway"))));
    }

    fn places(&self) -> Vec<f64> {
        vec![-100.0, 100.0]
    }

    fn allowed(&self, _: f64) -> Option<f64> {
        None
    }

    fn calibration(&self, _: &Two) -> Calibration<Two> {
        let point = |x| Known { x, state: BENCH, independent: 0.0, noise: 0.0, rounded: true };
        if self.calibrated { Calibration::Two([point(0.0), point(100.0)]) } else { Calibration::None }
    }
}

impl Corners for Warm {
    const ERROR: &'static str = "warm.error";
    const STATISTICAL: &'static str = "warm.statistical";
    const POINT: &'static str = "warm.calibrating-point";
    const POINTS: [&'static str; 2] = ["/low", "/high"];
    const POINTS_FAR: &'static str = "toy.far";
    const NOISE: &'static str = "toy.noise";

    fn judged_by(&self) -> JudgedBy {
        JudgedBy::WorstCase
    }

    fn kind(&self) -> CalibrationKind {
        CalibrationKind::TwoPoint
    }

    fn experiment(&self) -> &Experiment {
        &EXPERIMENT
    }

    fn noise_left_out(&self) -> f64 {
        0.0
    }

    fn all_missing(&self) -> Vec<&'static str> {
        Vec::new()
    }

    fn told(&self, _: f64, state: &Two) -> String {
        format!("{state:?}")
    }
}

const WARM: Warm = Warm { hysteresis: 0.5, calibrated: true, runaway: false };

/// Closed form: e = −(40 t x + 40 o + 2 h)/(1 + g + 40 t), largest at t and o at their limits and g at its lower one:
/// 2.2/0.994 A.
#[test]
fn the_worst_state_is_cold_and_falling() {
    let judging = Judging::new(&WARM, Work::FREE).expect("nobody stops it");
    let worst = judging.at(100.0, JudgedBy::WorstCase, Work::FREE).expect("nobody stops it");
    let error = worst.error().expect("it can be read");
    assert!((error - 2.2 / 0.994).abs() < 1e-9, "{worst:?}");
    assert_eq!(worst.found.map(|found| found.state), Some(COLD));
}

/// Closed form: g x + t · 40 x + o · 40 + h, with the element warm and the ambient cold: 1 + 0.4 + 0.8 + 0.5 A.
#[test]
fn without_a_calibration_everything_counts() {
    holds(Warm { calibrated: false, ..WARM }, 100.0, 2.7, 1e-9);
}

/// The narrowest state bounds the range, and one without a solution leaves no error.
#[test]
fn every_state_counts() {
    assert_eq!(Asked::new(WARM, true).full_at(), Some(140.0));
    let runaway = Asked::new(Warm { runaway: true, ..WARM }, true);
    assert_eq!(runaway.errors(&[100.0], Work::FREE), Ok(vec![None]));
}
