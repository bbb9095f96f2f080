//! The fuse: what its points, or its two I²t, say at a prospective current.
//!
//! ```text
//! Formula    W = I² t_a, C = I² t_c of each point, between neighbours 1 < 2: W2 ≤ W ≤ W1, C ≤ max(C1, C2)
//!            W must not rise with the current by more than 5 %; such a rise counts as rounding: smallest and largest of both
//!            tolerance t_I: the points at I (1 − t_I) for the earliest, at I (1 + t_I) for the latest; warm: earliest W · p
//!            below the lowest point nothing is known of the latest; above the highest W and C stay where those of the last
//!            two agree within 5 %; below the lowest breaking current and above the breaking capacity nothing is cleared
//!            two I²t alone: W (1 ∓ t_W) and C from the stated current on; below it W (1 − t_W) still bounds the earliest
//! Symbols    I [A] prospective, t_a [s] pre-arcing, t_c [s] total clearing, W, C [A²s], p [1] share left after pre-load
//! Valid      voltage and time constant of the circuit up to those for which the clearing values hold
//! Source     a body that loses heat needs the more I²t the longer it takes, and never less than without loss (first law);
//!            checked by a thermal model of two bodies in tests/python; 5 %: common practice, no source
//! ```

use super::input::{FusePoint, RaceInput};
use crate::judge::passes;

/// By how much I²t may rise with the current before it is no rounding.
pub(super) const ROUNDING: f64 = 1.05;

/// From this ratio of the I²t of two neighbours on more points would say more.
const APART: f64 = 2.0;

/// A value, or why there is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Told {
    /// It is this at most.
    Value(f64),
    /// It never happens.
    Never,
    /// It is not known: the pointer of what is missing.
    Missing(&'static str),
}

impl Told {
    /// The value, where it is known.
    pub fn value(self) -> Option<f64> {
        if let Self::Value(value) = self { Some(value) } else { None }
    }

    /// What is missing to know it.
    pub fn missing(self) -> Option<&'static str> {
        if let Self::Missing(what) = self { Some(what) } else { None }
    }

    /// Of two that may end something: whichever surely does, and first.
    #[must_use]
    pub fn first(self, other: Self) -> Self {
        match (self, other) {
            (Self::Value(one), Self::Value(two)) => Self::Value(one.min(two)),
            (Self::Value(_), _) | (_, Self::Never) | (Self::Missing(_), Self::Missing(_)) => self,
            (_, Self::Value(_)) | (Self::Never, _) => other,
        }
    }

    /// The larger of two that may both be.
    #[must_use]
    pub fn most(self, other: Self) -> Self {
        self.then(|one| other.then(|two| Self::Value(one.max(two))))
    }

    /// Another value in the place of this one.
    #[must_use]
    pub fn then(self, next: impl FnOnce(f64) -> Self) -> Self {
        if let Self::Value(value) = self { next(value) } else { self }
    }
}

/// What the fuse needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Melting {
    /// It does not melt before this, A²s.
    pub low_a2s: f64,
    /// It has melted after this, A²s.
    pub high: Told,
    /// It has cleared after this, A²s.
    pub clearing: Told,
    /// The same as a time: two I²t alone do not tell how long the arc lasts.
    pub timed: Told,
}

/// What the fuse needs where the prospective current lies between two values; none without a fuse.
pub(super) fn melting(input: &RaceInput, range: [f64; 2], volt: f64, time_constant_s: f64) -> Option<Melting> {
    if !input.has_fuse() {
        return None;
    }
    let fuse = &input.fuse;
    let warm = fuse.preload_percent.unwrap_or(100.0) / 100.0;
    let mut found = if fuse.points.is_empty() { by_values(input, range[0]) } else { by_points(input, range) };
    found.low_a2s *= warm;
    let silent = fuse.never_clears_below_a.is_some_and(|least| range[0] < least);
    let too_high = fuse.voltage_v.is_some_and(|rated| passes(volt, rated));
    let too_slow = fuse.time_constant_s.is_some_and(|rated| passes(time_constant_s, rated));
    let unrated = match (fuse.voltage_v, fuse.time_constant_s) {
        (None, _) => Some("/fuse/voltage_v"),
        (_, None) => Some("/fuse/time_constant_s"),
        _ => None,
    };
    // What it must break is the largest prospective current: alone, where strings share it.
    let beyond = fuse.breaking_a.is_some_and(|can| passes(range[1], can));
    let over = if silent || too_high || beyond {
        Some(Told::Never)
    } else if too_slow {
        Some(Told::Missing("/fuse/points"))
    } else {
        // The two I²t are stated for the voltage and time constant at hand; points come from a curve.
        unrated.filter(|_| !fuse.points.is_empty()).map(Told::Missing)
    };
    if let Some(over) = over {
        (found.clearing, found.timed) = (over, over);
    }
    if fuse.breaking_a.is_none() {
        let unknown = |_| Told::Missing("/fuse/breaking_a");
        (found.clearing, found.timed) = (found.clearing.then(unknown), found.timed.then(unknown));
    }
    Some(found)
}

fn by_values(input: &RaceInput, low_a: f64) -> Melting {
    let (fuse, error) = (&input.fuse, input.fuse.tolerance_percent / 100.0);
    let held = |value: Option<f64>, pointer| match fuse.adiabatic_from_a {
        None => Told::Missing("/fuse/adiabatic_from_a"),
        Some(from) if low_a < from => Told::Missing("/fuse/points"),
        Some(_) => value.map_or(Told::Missing(pointer), Told::Value),
    };
    let high = held(Some(fuse.prearc_a2s * (1.0 + error)), "");
    let clearing = held(fuse.clearing_a2s, "/fuse/clearing_a2s");
    let timed = clearing.then(|_| Told::Missing("/fuse/points"));
    Melting { low_a2s: fuse.prearc_a2s * (1.0 - error), high, clearing, timed }
}

/// The points that bound an interval of currents, shifted by their tolerance.
struct Span<'a> {
    rows: &'a [FusePoint],
    shift: f64,
    /// The interval begins below the lowest point.
    below: bool,
    /// The interval ends above the highest point.
    beyond: bool,
}

impl<'a> Span<'a> {
    fn new(points: &'a [FusePoint], shift: f64, [low_a, high_a]: [f64; 2]) -> Self {
        let not_above = points.partition_point(|point| point.current_a * shift <= low_a);
        let below_end = points.partition_point(|point| point.current_a * shift < high_a);
        let beyond = below_end == points.len();
        // Above the highest the last two count.
        let last = points.len().saturating_sub(1);
        let from = not_above.saturating_sub(1).min(if beyond { last.saturating_sub(1) } else { last });
        Self { rows: &points[from..=below_end.min(last)], shift, below: not_above == 0, beyond }
    }

    /// The I²t of a time, at its smallest or largest; none where a point does not tell the time.
    fn a2s(&self, time: fn(&FusePoint) -> Option<f64>, pick: fn(f64, f64) -> f64) -> Option<f64> {
        let square = |point: &FusePoint| time(point).map(|time| square(point.current_a * self.shift, time));
        self.rows.iter().map(square).reduce(|one, two| Some(pick(one?, two?))).flatten()
    }
}

const fn square(current_a: f64, time_s: f64) -> f64 {
    current_a * current_a * time_s
}

fn by_points(input: &RaceInput, range: [f64; 2]) -> Melting {
    let (points, error) = (&input.fuse.points, input.fuse.current_tolerance_percent / 100.0);
    let melts: fn(&FusePoint) -> Option<f64> = |point| Some(point.pre_arcing_s);
    let clears: fn(&FusePoint) -> Option<f64> = |point| point.clearing_s;
    let [early, late] = [1.0 - error, 1.0 + error].map(|shift| Span::new(points, shift, range));
    // From the last but one to the last: where I²t falls no more, it stays above.
    let step = |time: fn(&FusePoint) -> Option<f64>| {
        let mut ends = points.iter().rev().map(|point| time(point).map(|time| square(point.current_a, time)));
        ends.next().flatten().zip(ends.next().flatten()).map(|(last, one)| last / one)
    };
    let adiabatic = step(melts).is_some_and(|ratio| (1.0 / ROUNDING..=ROUNDING).contains(&ratio));
    let latest = |time, stays: bool| {
        let told = !(late.below || late.beyond && !stays);
        told.then(|| late.a2s(time, f64::max)).flatten().map_or(Told::Missing("/fuse/points"), Told::Value)
    };
    let clearing = latest(clears, adiabatic && step(clears).is_some_and(|ratio| ratio <= ROUNDING));
    let low_a2s = if early.beyond && !adiabatic { 0.0 } else { early.a2s(melts, f64::min).unwrap_or(0.0) };
    Melting { low_a2s, high: latest(melts, adiabatic), clearing, timed: clearing }
}

/// The neighbours whose pre-arcing I²t lie farther apart than they should, as their rows; the farthest ones.
pub(super) fn sparse(points: &[FusePoint]) -> Option<(usize, f64)> {
    let ratio = |pair: &[FusePoint]| {
        square(pair[0].current_a, pair[0].pre_arcing_s) / square(pair[1].current_a, pair[1].pre_arcing_s)
    };
    let ratios = points.windows(2).map(ratio).enumerate().filter(|(_, ratio)| passes(*ratio, APART));
    ratios.reduce(|one, two| if two.1 > one.1 { two } else { one })
}

/// The first point whose pre-arcing I²t lies above those of weaker currents by more than rounding, and the least of these.
pub(super) fn rising(points: &[FusePoint]) -> Option<(usize, f64)> {
    let mut least = f64::INFINITY;
    points.iter().enumerate().find_map(|(row, point)| {
        let own = square(point.current_a, point.pre_arcing_s);
        if own > least * ROUNDING {
            return Some((row, least));
        }
        least = least.min(own);
        None
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::start;

    fn with(points: &[(f64, f64)]) -> RaceInput {
        let mut input: RaceInput = start();
        let point = |(current_a, pre_arcing_s): &(f64, f64)| FusePoint {
            current_a: *current_a,
            pre_arcing_s: *pre_arcing_s,
            clearing_s: Some(2.0 * pre_arcing_s),
        };
        input.fuse.points = points.iter().map(point).collect();
        (input.fuse.voltage_v, input.fuse.time_constant_s) = (Some(1000.0), Some(0.01));
        input.fuse.breaking_a = Some(50e3);
        input
    }

    /// By hand: I²t of 4, 2, 1 and 1 at 1, 2, 4 and 8 kA, in MA²s.
    #[test]
    fn neighbours_bound_what_lies_between_them() {
        let input = with(&[(1e3, 4.0), (2e3, 0.5), (4e3, 0.0625), (8e3, 0.015_625)]);
        let at = |from: f64, to: f64| melting(&input, [from, to], 800.0, 1e-4).expect("a fuse");
        let values = |from, to| {
            let found = at(from, to);
            (found.low_a2s / 1e6, found.high.value().map(|high| high / 1e6), found.clearing.value().map(|c| c / 1e6))
        };
        assert_eq!(values(1.5e3, 1.5e3), (2.0, Some(4.0), Some(8.0)));
        assert_eq!(values(2e3, 2e3), (2.0, Some(2.0), Some(4.0)));
        assert_eq!(values(1.5e3, 3e3), (1.0, Some(4.0), Some(8.0)));
        assert_eq!(values(6e3, 20e3), (1.0, Some(1.0), Some(2.0)));
        assert_eq!(values(900.0, 900.0), (4.0, None, None));
        assert_eq!(at(900.0, 900.0).high, Told::Missing("/fuse/points"));
        assert_eq!(sparse(&input.fuse.points), None, "a factor of two is none too much");
    }

    /// Whoever surely ends it, and first; what is not known stays so unless somebody surely ends it.
    #[test]
    fn whoever_ends_it_first() {
        let (one, two, missing, never) = (Told::Value(1.0), Told::Value(2.0), Told::Missing("/a"), Told::Never);
        assert_eq!((one.first(two), two.first(one)), (one, one));
        assert_eq!((missing.first(two), two.first(missing)), (two, two));
        assert_eq!((never.first(missing), missing.first(never)), (missing, missing));
        assert_eq!((never.first(never), never.first(one)), (never, one));
    }
}
