//! # What a check sees, how often it errs, how soon it alarms
//!
//! A check alarms when a difference of readings is beyond its limit several looks in a row. Without a fault the difference
//! holds what is known (a drop on the way), static errors of both readings, and noise. A fault is seen for certain when it
//! passes the limit although all of these work against it; a static error is the same at every look and does not average.
//!
//! ```text
//! Formula    surely seen: δ ≥ D⁺ = L + e − k_low + zσ or −δ ≥ D⁻ = L + e + k_high + zσ; surely unseen below L − e − zσ − k
//!            false alarms an hour: 3600 (1 − p) pⁿ/((1 − pⁿ) T), p = Q((L − m)/σ) + Q((L + m)/σ), m = e + largest |k|
//!            by probability: P = E_ε[1 − a_N], p = Q((L − δ − ε)/σ) + Q((L + δ + ε)/σ),
//!            a_k = a_(k−1) − pⁿ (1 − p) a_(k−n−1), a_n = 1 − pⁿ, a_(<n) = 1 (no run of n in k looks)
//!            time: W D/|δ| + τ ln(|δ|/(|δ| − D)) + n T + processing at most, T less at best; communication: time-out + T;
//!            stuck code: m T; what grows by s a second: δ/s more, δ the size that then passes soonest, D without a filter
//! Symbols    L limit, e = e_A + e_B half-widths, k known difference, σ² = σ_A² + σ_B², T interval, n in a row, W average,
//!            τ low-pass, ε one static error a unit, rectangular for each reading, δ deviation, N looks that are left in time
//! Valid      independent noise from look to look; a step of the deviation, or one that grows evenly. Without noise p is 0 or 1, and 0 at the limit itself
//! Source     recurrence of success runs (textbook of probability, derived here); the rest follows from the definitions
//! ```

mod of_kinds;
mod runs;

pub use of_kinds::{Where, step_noises};
pub use runs::{run, runs_per_hour};

use super::input::{CheckKind, SafetyCheck};
use crate::propagation::normal_distribution;
use runs::{held_per_hour, over_two_rectangles, tail};

/// Looks that count in a probability at most: more only make it larger.
const MOST_LOOKS: usize = 256;
/// A difference that is this part of the limit beyond it is rounding.
const ROUNDED: f64 = 1e-12;
/// Noise below this part of the static errors leaves each unit certain one way or the other.
const QUIET: f64 = 5e-3;

/// Looks that count of a run of so many in a row.
fn most_of(in_a_row: u32) -> usize {
    MOST_LOOKS.max(10 * in_a_row as usize)
}

/// Looks that a probability of a check follows at most.
pub fn most_looks(check: &SafetyCheck) -> usize {
    most_of(check.in_a_row)
}

/// A check with a limit, as numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sight {
    /// Limit of the difference, downwards and upwards.
    pub limits: [f64; 2],
    /// Static errors of both readings, half-widths.
    pub errors: [f64; 2],
    /// Known difference at its lowest and highest.
    pub known: [f64; 2],
    /// Noise of the difference; nothing where it was not given.
    pub noise: Option<f64>,
    /// Standard deviations that count.
    pub z: f64,
    /// What is beyond the limit at once and at no later look: a step.
    pub once: bool,
    /// How many times the limit a step must be that falls between two looks.
    pub spread: f64,
    /// Average in front of the check, s.
    pub averaging_s: f64,
    /// Time constant in front of the check, s.
    pub low_pass_s: f64,
    /// Time constant that the fault itself leaves in front of it, s.
    pub slow_s: f64,
    /// How fast the deviation grows, a second; without end where it is there at once.
    pub grows: f64,
    /// Interval, s.
    pub interval_s: f64,
    /// In a row.
    pub in_a_row: u32,
    /// After the last look, s.
    pub processing_s: f64,
}

impl Sight {
    /// The same with a reading that errs no less than this.
    #[must_use]
    pub fn no_better_than(self, error: f64) -> Self {
        Self { errors: [self.errors[0].max(error), self.errors[1]], ..self }
    }

    /// Static error of the difference.
    pub fn error(&self) -> f64 {
        self.errors[0] + self.errors[1]
    }

    fn noisy(&self) -> f64 {
        self.z * self.noise.unwrap_or(0.0)
    }

    /// Largest difference without a fault, noise aside.
    pub fn fault_free(&self) -> f64 {
        self.error() + self.known[1].max(-self.known[0])
    }

    /// The smallest limit that noise and errors leave alone.
    pub fn least_limit(&self) -> f64 {
        self.fault_free() + self.noisy()
    }

    /// From which size on a deviation upwards (or downwards) is surely seen.
    pub fn certain(&self, high: bool) -> f64 {
        let against = if high { -self.known[0] } else { self.known[1] };
        self.spread * (self.limits[usize::from(high)] + self.error() + against + self.noisy())
    }

    /// Below this size a deviation is surely unseen; 0 where some unit may see anything.
    pub fn unseen(&self) -> f64 {
        (self.limits[0].min(self.limits[1]) - self.least_limit()).max(0.0)
    }

    /// Time from the fault to the alarm at the latest, s, for a deviation of this size that is surely seen.
    pub fn latest_s(&self, size: f64, high: bool) -> f64 {
        self.crossed_s(size, high) + f64::from(self.in_a_row) * self.interval_s + self.processing_s
    }

    /// The same at best: the first look comes at once.
    pub fn earliest_s(&self, size: f64, high: bool) -> f64 {
        self.latest_s(size, high) - self.interval_s
    }

    /// Until what stands in front of the check has passed the limit, s. Where it is more than one, each passes so much that the
    /// last passes the limit: a bound, in any order. What grows has passed it at the latest when it has grown to some size, and
    /// that has passed: of one pole the size for which this is soonest.
    fn crossed_s(&self, size: f64, high: bool) -> f64 {
        let certain = self.certain(high);
        let poles = [self.low_pass_s, self.slow_s].into_iter().filter(|time| *time > 0.0);
        let stages = poles.clone().count() + usize::from(self.averaging_s > 0.0);
        if stages == 0 || certain <= 0.0 {
            return size.min(certain) / self.grows;
        }
        let slow: f64 = poles.sum();
        let soonest = 0.5 * (certain + (certain * (certain + 4.0 * self.grows * (self.averaging_s + slow))).sqrt());
        let size = size.min(soonest);
        let share = libm::pow(certain / size, 1.0 / stages as f64).min(1.0);
        size / self.grows + self.averaging_s * share + if slow > 0.0 { slow * -libm::log1p(-share) } else { 0.0 }
    }

    /// The same check of a fault that comes to it through a time constant.
    #[must_use]
    pub fn behind(self, slow_s: f64) -> Self {
        if self.once && slow_s > 0.0 {
            // Of a step one interval shows a part, at the first or at the second look.
            let left = libm::exp(-self.interval_s / slow_s);
            let (spread, processing_s) =
                (self.spread * (2.0 - left) / (1.0 - left), self.processing_s + self.interval_s);
            return Self { spread, processing_s, ..self };
        }
        Self { slow_s: self.slow_s + slow_s, ..self }
    }

    /// From which size on a deviation is surely seen within a time; nothing where no size is soon enough.
    pub fn in_time(&self, high: bool, within_s: f64) -> Option<f64> {
        let certain = self.certain(high);
        let left = within_s - f64::from(self.in_a_row) * self.interval_s - self.processing_s;
        // What is typed as 0.1 and what three intervals and a reaction come to differ by rounding.
        let least = -1e-9 * within_s;
        if !certain.is_finite() {
            return None;
        }
        let slow = self.low_pass_s + self.slow_s;
        if self.averaging_s <= 0.0 && slow <= 0.0 {
            return (left - certain / self.grows >= least).then_some(certain);
        }
        if left <= 0.0 {
            return None;
        }
        let at_once = self.grows == f64::INFINITY;
        if at_once && slow <= 0.0 {
            return Some(certain.max(self.averaging_s * certain / left));
        }
        if at_once && self.averaging_s <= 0.0 && (self.low_pass_s <= 0.0 || self.slow_s <= 0.0) {
            return Some(certain / -libm::expm1(-left / slow));
        }
        // The time falls with the size.
        let enough = |size: f64| self.crossed_s(size, high) <= left * (1.0 + 1e-12);
        let top = 1e9 * certain;
        enough(top).then(|| crate::numeric::first_where(certain, top, enough))
    }

    /// Probability that one look is beyond the limit at a static difference.
    fn beyond(&self, difference: f64) -> f64 {
        let tail = |limit: f64, distance: f64| match self.noise {
            Some(noise) if noise > 0.0 => normal_distribution(-distance / noise),
            // What stands at the limit but for rounding is not beyond it.
            _ if distance < -ROUNDED * limit.abs() => 1.0,
            _ => 0.0,
        };
        let [down, up] = self.limits;
        (tail(up, up - difference) + tail(down, down + difference)).min(1.0)
    }

    /// False alarms an hour with the static error at its limit; nothing where the noise is not given.
    pub fn false_per_hour(&self) -> Option<f64> {
        self.noise?;
        // A range may be nearer on one side: the worse one counts.
        if self.once {
            return Some(held_per_hour(self));
        }
        let static_error = self.fault_free();
        let p = self.beyond(static_error).max(self.beyond(-static_error));
        Some(runs_per_hour(p, self.in_a_row, self.interval_s))
    }

    /// Looks that are left for a deviation within a time.
    fn looks(&self, size: f64, high: bool, within_s: f64) -> usize {
        let left = within_s - self.processing_s - self.crossed_s(size, high);
        let most = if self.once { self.in_a_row as usize } else { most_of(self.in_a_row) };
        if !(left > 0.0) {
            return 0;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and the most")]
        let looks = (left / self.interval_s * (1.0 + 1e-9)).floor().min(most as f64) as usize;
        looks
    }

    /// Probability that a deviation is seen within a time, over all units: the known difference works against it.
    pub fn probability(&self, deviation: f64, within_s: f64) -> f64 {
        let high = deviation > 0.0;
        let looks = self.looks(deviation.abs(), high, within_s);
        let shifted = deviation / self.spread + if high { self.known[0] } else { self.known[1] };
        let noise = self.noise.unwrap_or(0.0);
        if noise <= QUIET * self.error() && self.error() > 0.0 {
            let beyond = tail(self.errors, self.limits[1] - shifted) + tail(self.errors, self.limits[0] + shifted);
            return if looks < self.in_a_row as usize { 0.0 } else { beyond.min(1.0) };
        }
        let seen = |error: f64| run(self.beyond(shifted + error), self.in_a_row as usize, looks);
        over_two_rectangles(self.errors, noise, seen)
    }
}

/// False alarms an hour of equal codes one after the other: `sigma` is the noise in steps.
///
/// ```text
/// Formula    p = erf(0.5/(σ √2)): a code in the middle of its step comes again; runs of m − 1 such pairs
/// Valid      a mean in the middle of a step, the worst there is; independent noise
/// ```
pub fn stuck_per_hour(check: &SafetyCheck) -> Option<f64> {
    let sigma = check.noise_steps?;
    let again = if sigma > 0.0 { libm::erf(0.5 / (sigma * std::f64::consts::SQRT_2)) } else { 1.0 };
    Some(runs_per_hour(again, check.equal_codes - 1, check.interval_s))
}

/// From the fault to the alarm at the latest for what has no limit, s; nothing where something is not given.
pub fn without_limit_s(check: &SafetyCheck) -> Option<f64> {
    match check.kind {
        CheckKind::Communication => Some(check.time_out_s? + check.interval_s + check.processing_s),
        CheckKind::StuckCode => Some(f64::from(check.equal_codes) * check.interval_s + check.processing_s),
        _ => None,
    }
}
