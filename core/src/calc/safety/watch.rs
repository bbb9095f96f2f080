//! What is asked of checks, and from which size on each sees a deviation in time.

use super::beside::Onset;
use super::detection::Sight;

/// What is asked of checks.
#[derive(Clone, Copy, Debug)]
pub struct Asked {
    /// Smallest size that violates the goal.
    pub harm: f64,
    /// Whether deviations downwards and upwards violate it.
    pub minds: [bool; 2],
    /// Onset the fault to the alarm, s; without end where no time is stated.
    pub within_s: f64,
    /// By probability; surely otherwise.
    pub by_probability: bool,
}

impl Asked {
    /// Whether a deviation violates the goal; one of nothing is no fault, whatever it is held against.
    pub fn violated(&self, deviation: f64) -> bool {
        let high = deviation > 0.0;
        self.minds[usize::from(high)] && deviation.abs() >= self.harm.max(f64::MIN_POSITIVE)
    }
}

/// A check, and from which size on it sees deviations downwards and upwards in time; nothing where it never does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seeing {
    /// The check.
    pub sight: Sight,
    /// Onset which size on.
    pub from: [Option<f64>; 2],
}

impl Seeing {
    /// Surely, or with a probability.
    pub fn of(sight: Sight, within_s: f64, probability: Option<f64>) -> Self {
        Self { sight, from: [false, true].map(|high| seen_from(&sight, high, within_s, probability)) }
    }

    /// Whether it sees a deviation in time.
    pub fn sees(&self, deviation: f64) -> bool {
        self.from[usize::from(deviation > 0.0)].is_some_and(|from| deviation.abs() >= from)
    }

    /// Onset which size on, in units of what harms.
    pub fn beyond(&self, side: usize, harm: f64) -> Option<Onset> {
        let from = self.from[side]?;
        let passed = (self.sight.certain(side == 1) / from).min(1.0);
        Some(Onset { size: from / harm, passed: if passed > 0.0 { passed } else { 1.0 } })
    }

    /// Whether it sees it at last, be it too late.
    pub fn sees_late(&self, deviation: f64) -> bool {
        self.sees(deviation) || deviation.abs() >= self.sight.certain(deviation > 0.0)
    }
}

/// A check with what it looks at, at the same magnitudes as the deviations.
#[derive(Clone, Copy, Debug)]
pub struct Watch<'a> {
    /// The check.
    pub seeing: Seeing,
    /// What it makes of the fault itself; nothing where it looks at the deviation.
    pub of: Option<&'a [f64]>,
    /// Whether its alarm covers; one that only tells somebody does not.
    pub acts: bool,
    /// Whether somebody is told.
    pub signals: bool,
    /// The first check that is lost with it.
    pub lost_with: usize,
}

impl<'a> Watch<'a> {
    /// Whether its alarm covers what a second fault and a first one come to: a limit on a slope sees the second alone.
    pub fn sees_all(&self) -> bool {
        self.acts && self.of.is_none() && !self.seeing.sight.once
    }

    /// What it looks at.
    pub fn values(&self, deviations: &'a [f64]) -> &'a [f64] {
        self.of.unwrap_or(deviations)
    }
}

/// The smallest size that a check sees in one direction within a time; nothing where it sees none.
fn seen_from(sight: &Sight, high: bool, within: f64, probability: Option<f64>) -> Option<f64> {
    let Some(least) = probability else { return sight.in_time(high, within) };
    let sign = if high { 1.0 } else { -1.0 };
    let enough = |size: f64| sight.probability(sign * size, within) >= least;
    let top = 2.0 * sight.certain(high) + 10.0 * sight.noise.unwrap_or(0.0);
    // The probability rises with the size: a search by halves.
    enough(top).then(|| crate::numeric::first_where(0.0, top, enough))
}
