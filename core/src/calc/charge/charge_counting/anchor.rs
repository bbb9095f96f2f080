//! # The state of charge from a rest voltage
//!
//! A rested cell shows its state of charge, and a reading that is off is another state of charge: the curve itself is
//! inverted, because a slope says nothing beyond the next bend. A cell that has not rested reads low after discharging and
//! high after charging, from nothing up to a known size.
//!
//! ```text
//! Formula    reading V(S) + δ, δ in [−lo, hi]: S from V⁻¹(V − lo) to V⁻¹(V + hi)
//!            either way: reading + curve + |dV/dT| ΔT + R I (+ g V); low after discharge, high after charge: half the
//!            hysteresis + relaxation · exp(−rest/τ)
//!            many anchors of weight K, drift D between them: top a + D/K; variance (K² ua² + uD²)/(1 − (1 − K)²)
//! Places     best: where an anchor is worth most, which says whether it can serve; worst: what it leaves wherever one rests,
//!            which is what a count begins with
//! Symbols    V(S) open-circuit voltage of a cell, a error of an anchor, ua its scatter
//! Valid      straight between the points; an end beyond the curve is not bounded
//! Source     inverse of a monotone function; geometric series of e⁺ = (1 − K) e⁻ + K a
//! ```

use super::cone::WORST;
use super::input::{Anchor, AnchorPoint, ChargeInput};

/// A curve through points of which both values rise.
#[derive(Clone, Copy, Debug)]
pub struct Curve<'a> {
    points: &'a [AnchorPoint],
}

impl<'a> Curve<'a> {
    /// A curve, where there are two points and both values rise.
    pub fn new(points: &'a [AnchorPoint]) -> Option<Self> {
        let rises = |pair: &[AnchorPoint]| pair[0].soc_percent < pair[1].soc_percent && pair[0].ocv_v < pair[1].ocv_v;
        (points.len() >= 2 && points.windows(2).all(rises)).then_some(Self { points })
    }

    /// First and last state of charge.
    pub fn ends(&self) -> [f64; 2] {
        [self.points[0].soc_percent, self.points[self.points.len() - 1].soc_percent]
    }

    fn stretch(&self, beyond: impl Fn(&AnchorPoint) -> bool) -> [&AnchorPoint; 2] {
        let last = self.points.len() - 1;
        let above = self.points.iter().position(beyond).unwrap_or(last).clamp(1, last);
        [&self.points[above - 1], &self.points[above]]
    }

    /// The voltage at a state of charge, V.
    pub fn volt(&self, soc: f64) -> f64 {
        let [low, high] = self.stretch(|point| point.soc_percent >= soc);
        low.ocv_v + (high.ocv_v - low.ocv_v) * (soc - low.soc_percent) / (high.soc_percent - low.soc_percent)
    }

    /// The state of charge at a voltage; nothing beyond the curve.
    pub fn soc(&self, volt: f64) -> Option<f64> {
        let [first, last] = [&self.points[0], &self.points[self.points.len() - 1]];
        // What a sum of doubles passes the end by is the end.
        let rounding = 1e-12 * last.ocv_v;
        if volt < first.ocv_v - rounding || volt > last.ocv_v + rounding {
            return None;
        }
        let volt = volt.clamp(first.ocv_v, last.ocv_v);
        let [low, high] = self.stretch(|point| point.ocv_v >= volt);
        Some(low.soc_percent + (high.soc_percent - low.soc_percent) * (volt - low.ocv_v) / (high.ocv_v - low.ocv_v))
    }

    /// The smallest and the largest slope between two states of charge, V per percent.
    pub fn slopes(&self, from: f64, to: f64) -> [f64; 2] {
        let met = self.points.windows(2).filter(|pair| pair[0].soc_percent < to && from < pair[1].soc_percent);
        let slope =
            |pair: &[AnchorPoint]| (pair[1].ocv_v - pair[0].ocv_v) / (pair[1].soc_percent - pair[0].soc_percent);
        let (least, most) = met
            .map(slope)
            .fold((f64::INFINITY, 0.0), |(least, most): (f64, f64), slope| (least.min(slope), most.max(slope)));
        // A reading without an error reaches no stretch: the one it stands on counts.
        if least.is_finite() { [least, most] } else { [self.slope(from); 2] }
    }

    /// The smaller slope beside a state of charge, V per percent.
    pub fn slope(&self, soc: f64) -> f64 {
        let slopes = self.points.windows(2).filter(|pair| pair[0].soc_percent <= soc && soc <= pair[1].soc_percent);
        slopes
            .map(|pair| (pair[1].ocv_v - pair[0].ocv_v) / (pair[1].soc_percent - pair[0].soc_percent))
            .fold(f64::INFINITY, f64::min)
    }
}

/// How far a reading may be from the voltage at rest, V.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Off {
    /// Either way, whatever the voltage.
    pub either_v: f64,
    /// Either way, as a part of the voltage.
    pub gain: f64,
    /// Low, after discharging.
    pub low_v: f64,
    /// High, after charging.
    pub high_v: f64,
    /// Three times the scatter, either way.
    pub random_v: f64,
}

impl Off {
    /// What a reading may be off by; the pointer of what is missing.
    ///
    /// # Errors
    /// The pointer of what has no value.
    pub fn new(anchor: &Anchor, cells: u32) -> Result<Self, &'static str> {
        let reading = anchor.reading_v(cells)?;
        let lag = anchor.lag_v().ok_or("/anchor/relax_v")?;
        let [discharge, charge] = anchor.may_follow();
        Ok(Self {
            either_v: reading
                + anchor.curve_error_v
                + anchor.entropy_v_per_k * anchor.temperature_error_k
                + anchor.rest_current_a * anchor.cell_resistance_ohm,
            gain: anchor.gain_percent / 100.0,
            low_v: if discharge { lag } else { 0.0 },
            high_v: if charge { lag } else { 0.0 },
            random_v: WORST * anchor.random_v,
        })
    }

    /// Without the scatter, and without the lags as well.
    fn without_scatter_and_lag(&self) -> (Self, Self) {
        let quiet = Self { random_v: 0.0, ..*self };
        (quiet, Self { low_v: 0.0, high_v: 0.0, ..quiet })
    }

    /// All of it, low and high, at a voltage.
    fn ends(&self, volt: f64) -> [f64; 2] {
        let either = self.either_v + self.gain * volt + self.random_v;
        [either + self.low_v, either + self.high_v]
    }
}

/// The ends of an anchor at a place, in points, and what is off either way without lag and scatter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Left {
    /// How far the state of charge may be read too low.
    pub low: f64,
    /// Too high.
    pub high: f64,
    /// Either way, without lag and scatter.
    pub either: f64,
}

/// The two ends at a place; nothing where one is not bounded.
pub fn ends(curve: &Curve<'_>, off: &Off, soc: f64) -> [Option<f64>; 2] {
    let volt = curve.volt(soc);
    let [low, high] = off.ends(volt);
    [curve.soc(volt - low).map(|read| soc - read), curve.soc(volt + high).map(|read| read - soc)]
}

/// The larger end; nothing where one is not bounded.
pub fn larger(curve: &Curve<'_>, off: &Off, soc: f64) -> Option<f64> {
    let [low, high] = ends(curve, off, soc);
    Some(low?.max(high?))
}

/// An anchor at one of its places.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The place, percent.
    pub place: f64,
    /// Its ends.
    pub left: Left,
    /// Its scatter, points, standard.
    pub standard: f64,
}

impl Found {
    /// The larger end, three times the scatter included, points.
    pub fn size(&self) -> f64 {
        self.left.low.max(self.left.high) + WORST * self.standard
    }
}

/// Whether the curve can be read at all: the pointer of what is missing.
///
/// # Errors
/// The pointer of what has no value.
pub fn readable(input: &ChargeInput) -> Result<(Curve<'_>, Off), &'static str> {
    let curve = Curve::new(&input.anchor.curve).ok_or("/anchor/curve")?;
    Ok((curve, Off::new(&input.anchor, input.battery.cells_in_series)?))
}

/// Places between which both ends are straight: the allowed ends, the knots, and where a reading meets a knot.
fn corners(curve: &Curve<'_>, off: &Off, from: f64, to: f64) -> Vec<f64> {
    let mut places = vec![from, to];
    for point in curve.points {
        places.push(point.soc_percent);
        // V − lo(V) and V + hi(V) are straight in V: solved for the V that meets the knot.
        let (base, gain) = (off.either_v + off.random_v, off.gain);
        let meets = [(point.ocv_v + base + off.low_v) / (1.0 - gain), (point.ocv_v - base - off.high_v) / (1.0 + gain)];
        places.extend(meets.iter().filter_map(|volt| curve.soc(*volt)));
    }
    places.retain(|place| from <= *place && *place <= to);
    places.sort_by(f64::total_cmp);
    places.dedup();
    places
}

/// The allowed places that the curve has; nothing where there is none.
fn allowed(curve: &Curve<'_>, anchor: &Anchor) -> Option<[f64; 2]> {
    let [first, last] = curve.ends();
    let (from, to) = (anchor.place_min_percent.max(first), anchor.place_max_percent.min(last));
    (from <= to).then_some([from, to])
}

/// The best allowed place; nothing where no place is bounded.
///
/// Between two corners both ends are straight lines, so that the larger is least at a corner or where they cross.
pub fn best(curve: &Curve<'_>, off: &Off, anchor: &Anchor) -> Option<Found> {
    let [from, to] = allowed(curve, anchor)?;
    let mut places = corners(curve, off, from, to);
    let crossing = |pair: &[f64]| {
        let difference = |place: f64| match ends(curve, off, place) {
            [Some(low), Some(high)] => Some(low - high),
            _ => None,
        };
        let (a, b) = (difference(pair[0])?, difference(pair[1])?);
        (a * b < 0.0).then(|| pair[0] + (pair[1] - pair[0]) * a / (a - b))
    };
    let crossings: Vec<f64> = places.windows(2).filter_map(crossing).collect();
    places.extend(crossings);
    let bounded = places.iter().filter_map(|place| larger(curve, off, *place).map(|size| (*place, size)));
    let (place, _) = bounded.min_by(|one, other| one.1.total_cmp(&other.1).then(one.0.total_cmp(&other.0)))?;
    let standard = anchor.random_v / curve.slope(place);
    Some(Found { place, left: left(curve, off, place)?, standard })
}

/// What an anchor may leave wherever one rests, at the place where its larger end is largest; nothing where no allowed place
/// is bounded. A reading beyond the curve is taken as its end, which is never farther off than the curve reaches.
///
/// Between two corners every end is a straight line and largest at a corner. Either end, what is off either way and the
/// scatter count at their own largest: a rest may be at any of these places. The scatter takes the least slope that a
/// reading may meet.
pub fn worst(curve: &Curve<'_>, off: &Off, anchor: &Anchor) -> Option<Found> {
    best(curve, off, anchor)?;
    let [from, to] = allowed(curve, anchor)?;
    let [first, last] = curve.ends();
    let cut = |off: &Off, place: f64| {
        let [low, high] = ends(curve, off, place);
        [low.unwrap_or(place - first), high.unwrap_or(last - place)]
    };
    let (quiet, plain) = off.without_scatter_and_lag();
    let mut places = corners(curve, &quiet, from, to);
    places.extend(corners(curve, &plain, from, to));
    let mut most = Found { place: from, left: Left { low: 0.0, high: 0.0, either: 0.0 }, standard: 0.0 };
    for place in places {
        let [low, high] = cut(&quiet, place);
        let [one, other] = cut(&plain, place);
        if low.max(high) > most.left.low.max(most.left.high) {
            most.place = place;
        }
        most.left.low = most.left.low.max(low);
        most.left.high = most.left.high.max(high);
        most.left.either = most.left.either.max(one).max(other);
        most.standard = most.standard.max(off.random_v / WORST / curve.slopes(place - low, place + high)[0]);
    }
    Some(most)
}

/// The ends at a place, and what is off either way.
fn left(curve: &Curve<'_>, off: &Off, place: f64) -> Option<Left> {
    let (quiet, plain) = off.without_scatter_and_lag();
    let [low, high] = ends(curve, &quiet, place);
    let [one, other] = ends(curve, &plain, place);
    Some(Left { low: low?, high: high?, either: one?.max(other?) })
}

/// The ranges of the allowed places in which the larger end is at most a limit.
pub fn ranges(curve: &Curve<'_>, off: &Off, anchor: &Anchor, limit: f64) -> Vec<[f64; 2]> {
    let Some([from, to]) = allowed(curve, anchor) else { return Vec::new() };
    let meets = |place: f64| larger(curve, off, place).is_some_and(|size| size <= limit * (1.0 + 1e-12));
    let mut list: Vec<[f64; 2]> = Vec::new();
    let mut add = |low: f64, high: f64| match list.last_mut() {
        Some(last) if last[1] >= low => last[1] = last[1].max(high),
        _ => list.push([low, high]),
    };
    let corners = corners(curve, off, from, to);
    if let [only] = corners.as_slice()
        && meets(*only)
    {
        add(*only, *only);
    }
    for pair in corners.windows(2) {
        // Where both ends are straight, what meets the limit is one interval: the cut of two half-lines. At a corner an end
        // may leap from a bounded to an unbounded one, so the inside is looked at, a hair from the corners.
        let (a, b) = (pair[0], pair[1]);
        let inside = |share: f64| a + (b - a) * share;
        let (mut low, mut high) = (0.0, 1.0);
        let mut empty = false;
        for side in 0..2 {
            let at = |share: f64| ends(curve, off, inside(share))[side];
            let (Some(one), Some(other)) = (at(1.0 / 3.0), at(2.0 / 3.0)) else {
                empty = true;
                continue;
            };
            let rise = (other - one) * 3.0;
            let start = one - rise / 3.0;
            if rise.abs() < 1e-12 {
                empty |= start > limit * (1.0 + 1e-12);
            } else {
                let cut = (limit - start) / rise;
                if rise > 0.0 { high = f64::min(high, cut) } else { low = f64::max(low, cut) }
            }
        }
        if !empty && low <= high {
            add(inside(low), inside(high));
        }
    }
    list
}
