//! # A calibration, carried out
//!
//! Calibrating is not assumed to remove anything: the firmware's two stored readings are readings of the same part, with
//! the same deviations, and what they leave follows. The error, reading less true value, is formed here and nowhere else.
//!
//! ```text
//! Formula    two points: y = x1 + (r(x, s) + n − r1)(x2 − x1)/(r2 − r1), r_i = r(x_i + c_i, s_i) + n_i;
//!            offset: y = r(x, s) + n − (r1 − x1);  e = y − x;  c_i = g x_i + o + k_i
//! Symbols    r raw reading, deviations of the part the same in each; n, n_i what is new in each reading; s, s_i states;
//!            c_i error of the calibrator, g and o common to both points, k_i each point's own
//! Valid      the exact form judges; the calibrator errs only at its points. In the very state and value of a point its
//!            own n_i is the reading's. A largest slope m of the non-linearity bounds |n − n_i| by m |x − x_i|
//! Source     the straight line through two readings; JCGM 100:2008 clause 4.1 (measurement model)
//! ```

use super::chain::{Calibration, Chain, Each, Known};
use crate::propagation::{Distribution, Kind, Model, Number, Source};

/// Sources that calibrating adds to those of the part.
const ADDED: [(&str, &str, Kind); 13] = [
    ("reading.nonlinearity", "Integral non-linearity", Kind::Initial),
    ("point-1.nonlinearity", "Non-linearity at the first calibrating point", Kind::Initial),
    ("point-2.nonlinearity", "Non-linearity at the second calibrating point", Kind::Initial),
    ("reading.rounding", "Rounding", Kind::Noise),
    ("point-1.rounding", "Rounding at the first calibrating point", Kind::Noise),
    ("point-2.rounding", "Rounding at the second calibrating point", Kind::Noise),
    ("reading.noise", "Noise of the reading", Kind::Noise),
    ("point-1.noise", "Noise at the first calibrating point", Kind::Noise),
    ("point-2.noise", "Noise at the second calibrating point", Kind::Noise),
    ("point-1.calibrator", "Calibrator at the first point", Kind::Initial),
    ("point-2.calibrator", "Calibrator at the second point", Kind::Initial),
    ("calibrator.gain", "Gain error after calibration", Kind::Initial),
    ("calibrator.offset", "Offset after calibration", Kind::Initial),
];

/// Number of sources that calibrating adds.
pub const COUNT: usize = ADDED.len();

/// The place of the reading's own non-linearity among the added sources.
pub const NONLINEAR: usize = 0;
/// That of its rounding.
pub const ROUNDING: usize = 3;
/// That of its noise.
pub const NOISE: usize = 6;
const OWN: usize = 9;
const GAIN: usize = 11;
const OFFSET: usize = 12;

/// Stage of what is new in every reading.
pub const READING: &str = "Converter";
/// Stage of what calibrating adds.
pub const CALIBRATION: &str = "Calibration";

/// Coverage factor by which a noise is written as a limit.
const NOISE_K: f64 = 3.0;

/// How far the non-linearity of a calibrating reading can be from that of the reading.
fn slope_limit<S>(slope: f64, nonlinear: f64, x: f64, point: &Known<S>) -> f64 {
    (slope * (x - point.x).abs()).min(2.0 * nonlinear)
}

/// The largest slope of the non-linearity, where it bounds more than the limits of the single values do.
fn bounded<S>(each: &Each, x: f64, calibration: &Calibration<S>) -> Option<f64> {
    let slope = each.slope?;
    let weights = calibration.weights(x).map(f64::abs);
    let (mut by_slope, mut by_limit) = (0.0, each.nonlinear);
    for (point, weight) in calibration.points().iter().zip(weights) {
        let Some(point) = point else { continue };
        by_slope += weight * slope_limit(slope, each.nonlinear, x, point);
        by_limit += weight * each.nonlinear;
    }
    (calibration.points()[0].is_some() && by_slope < by_limit).then_some(slope)
}

/// Whether what is new in the readings at both points can reach half of their distance: the line through them may then be
/// of any slope, and the error has no bound.
pub fn drowned<C: Chain>(chain: &C, calibration: &Calibration<C::State>) -> bool {
    let [Some(first), Some(second)] = calibration.points() else { return false };
    let each = chain.each();
    let new = |point: &Known<C::State>| {
        let rounding = if point.rounded { each.rounding } else { 0.0 };
        each.nonlinear + rounding + NOISE_K * point.noise + point.independent
    };
    new(first) + new(second) >= (second.x - first.x).abs() / 2.0
}

/// A value at which a chain is asked, with everything that no state changes.
#[derive(Debug)]
pub struct Value<'a, C: Chain> {
    chain: &'a C,
    /// The value.
    pub x: f64,
    /// Those of the part, and what reading and calibrating add.
    pub sources: Vec<Source>,
    /// Whether the non-linearity at the points is counted from that of the reading.
    from_reading: bool,
}

impl<'a, C: Chain> Value<'a, C> {
    /// A value with the points at which the chain is calibrated: of these only what all states share counts.
    pub fn new(chain: &'a C, x: f64, calibration: &Calibration<C::State>) -> Self {
        Self::with(chain, x, calibration, bounded(&chain.each(), x, calibration))
    }

    /// The same with the non-linearity as single values inside its limit, whatever its slope: straight in the value.
    pub fn straight(chain: &'a C, x: f64, calibration: &Calibration<C::State>) -> Self {
        Self::with(chain, x, calibration, None)
    }

    fn with(chain: &'a C, x: f64, calibration: &Calibration<C::State>, slope: Option<f64>) -> Self {
        let (each, common) = (chain.each(), chain.calibrator());
        let points = calibration.points();
        let mut limits = [0.0; COUNT];
        (limits[NONLINEAR], limits[ROUNDING], limits[NOISE]) = (each.nonlinear, each.rounding, NOISE_K * each.noise);
        for (place, point) in points.iter().enumerate() {
            let Some(point) = point else { continue };
            limits[NONLINEAR + 1 + place] =
                slope.map_or(each.nonlinear, |slope| slope_limit(slope, each.nonlinear, x, point));
            limits[ROUNDING + 1 + place] = if point.rounded { each.rounding } else { 0.0 };
            limits[NOISE + 1 + place] = NOISE_K * point.noise;
            limits[OWN + place] = point.independent;
        }
        if points[0].is_some() {
            (limits[GAIN], limits[OFFSET]) = (common.gain, common.offset);
        }
        let mut sources = chain.sources();
        sources.extend(ADDED.into_iter().zip(limits).enumerate().map(|(place, ((id, label, kind), limit))| {
            let stage = if id.starts_with("reading") { READING } else { CALIBRATION };
            let unit = if place == GAIN { "1" } else { C::UNIT.symbol() };
            let source = Source::limit(id, label, stage, kind, unit, limit);
            if (NOISE..OWN).contains(&place) { source.distributed(Distribution::Normal { k: NOISE_K }) } else { source }
        }));
        Self { chain, x, sources, from_reading: slope.is_some() }
    }

    /// The error in a state, as it is calibrated.
    pub fn error(&self, state: C::State, calibration: Calibration<C::State>) -> Calibrated<'a, C> {
        let repeats = |point: &&Known<C::State>| point.x.total_cmp(&self.x).is_eq() && point.state == state;
        let [first, second] = calibration.points();
        let takes = if first.is_some_and(|point| repeats(&point)) {
            1
        } else if second.is_some_and(|point| repeats(&point)) {
            2
        } else {
            0
        };
        let own = self.sources.len().saturating_sub(COUNT);
        Calibrated { chain: self.chain, calibration, x: self.x, state, own, takes, from_reading: self.from_reading }
    }
}

/// The error of a chain at a value in a state: the same deviations in all readings.
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
    /// Whether the non-linearity at the points is counted from that of the reading.
    from_reading: bool,
}

impl<C: Chain> Model for Calibrated<'_, C> {
    #[inline]
    fn evaluate<N: Number>(&self, z: &[N]) -> N {
        let (part, added) = z.split_at(self.own);
        let read = |x: N, state: &C::State| self.chain.reading(x, state, part);
        let common = if self.from_reading { added[NONLINEAR] } else { N::from(0.0) };
        let nonlinear = if self.from_reading { common } else { added[NONLINEAR + self.takes] };
        let raw = read(N::from(self.x), &self.state) + nonlinear + added[ROUNDING + self.takes] + added[NOISE];
        let seen = |point: &Known<C::State>, place: usize| {
            let error = added[GAIN] * point.x + added[OFFSET] + added[OWN - 1 + place];
            let new = added[NONLINEAR + place] + added[ROUNDING + place] + added[NOISE + place];
            read(error + point.x, &point.state) + new + common
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
