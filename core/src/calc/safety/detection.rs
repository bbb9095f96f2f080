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
//!            time: W D/|δ| + n T + processing at most, (n − 1) T less at best; communication: time-out + T; stuck code: m T
//! Symbols    L limit, e = e_A + e_B half-widths, k known difference, σ² = σ_A² + σ_B², T interval, n in a row, W average,
//!            ε one static error a unit, rectangular for each reading, δ deviation, N looks that are left in time
//! Valid      independent noise from look to look; a step of the deviation. Without noise p is 0 or 1, and 0 at the limit itself
//! Source     recurrence of success runs (textbook of probability, derived here); the rest follows from the definitions
//! ```

use super::input::{CheckKind, SafetyCheck};
use crate::propagation::normal_distribution;

/// Looks that count in a probability at most: more only make it larger.
const MOST_LOOKS: usize = 256;
/// Places of a static error on each of three pieces of its distribution: at least, and at most.
const PLACES: [f64; 2] = [16.0, 256.0];
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
    /// Average in front of the check, s.
    pub averaging_s: f64,
    /// Interval, s.
    pub interval_s: f64,
    /// In a row.
    pub in_a_row: u32,
    /// After the last look, s.
    pub processing_s: f64,
}

impl Sight {
    /// Of a check that holds a difference against a limit; nothing where limit or errors are not given. A range is a limit of
    /// the deviation from a true value that lies between two.
    pub fn of(check: &SafetyCheck, between: Option<[f64; 2]>) -> Option<Self> {
        let limits = match check.kind {
            CheckKind::Communication | CheckKind::StuckCode => return None,
            CheckKind::Range => {
                let ([low, high], [from, to]) = (check.range(), between?);
                if low.is_none() && high.is_none() {
                    return None;
                }
                [low.map_or(f64::INFINITY, |low| from - low), high.map_or(f64::INFINITY, |high| high - to)]
            }
            _ => [check.limit()?; 2],
        };
        let [own, other] = check.errors();
        let [noise, beside] = check.noises();
        Some(Self {
            limits,
            // Only where two channels are compared there must be another error.
            errors: [own?, if check.kind.has_partner() { other? } else { other.unwrap_or(0.0) }],
            known: check.known(),
            noise: noise.and_then(|own| match beside {
                None if check.kind.has_partner() => None,
                beside => Some(own.hypot(beside.unwrap_or(0.0))),
            }),
            z: check.noise_sigma,
            averaging_s: check.averaging_s,
            interval_s: check.interval_s,
            in_a_row: check.in_a_row,
            processing_s: check.processing_s,
        })
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
        self.limits[usize::from(high)] + self.error() + against + self.noisy()
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

    /// Until the average has passed the limit, s.
    fn crossed_s(&self, size: f64, high: bool) -> f64 {
        if self.averaging_s > 0.0 { self.averaging_s * self.certain(high) / size } else { 0.0 }
    }

    /// From which size on a deviation is surely seen within a time; nothing where no size is soon enough.
    pub fn in_time(&self, high: bool, within_s: f64) -> Option<f64> {
        let certain = self.certain(high);
        let left = within_s - f64::from(self.in_a_row) * self.interval_s - self.processing_s;
        // What is typed as 0.1 and what three intervals and a reaction come to differ by rounding.
        let least = -1e-9 * within_s;
        if self.averaging_s > 0.0 {
            return (left > 0.0).then(|| certain.max(self.averaging_s * certain / left));
        }
        (left >= least).then_some(certain)
    }

    /// Probability that one look is beyond the limit at a static difference.
    fn beyond(&self, difference: f64) -> f64 {
        let tail = |distance: f64| match self.noise {
            Some(noise) if noise > 0.0 => normal_distribution(-distance / noise),
            _ if distance < 0.0 => 1.0,
            _ => 0.0,
        };
        (tail(self.limits[1] - difference) + tail(self.limits[0] + difference)).min(1.0)
    }

    /// False alarms an hour with the static error at its limit; nothing where the noise is not given.
    pub fn false_per_hour(&self) -> Option<f64> {
        self.noise?;
        // A range may be nearer on one side: the worse one counts.
        let static_error = self.fault_free();
        let p = self.beyond(static_error).max(self.beyond(-static_error));
        Some(runs_per_hour(p, self.in_a_row, self.interval_s))
    }

    /// Looks that are left for a deviation within a time.
    fn looks(&self, size: f64, high: bool, within_s: f64) -> usize {
        let left = within_s - self.processing_s - self.crossed_s(size, high);
        let most = most_of(self.in_a_row);
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
        let shifted = deviation + if high { self.known[0] } else { self.known[1] };
        let noise = self.noise.unwrap_or(0.0);
        if noise <= QUIET * self.error() && self.error() > 0.0 {
            let beyond = tail(self.errors, self.limits[1] - shifted) + tail(self.errors, self.limits[0] + shifted);
            return if looks < self.in_a_row as usize { 0.0 } else { beyond.min(1.0) };
        }
        let seen = |error: f64| run(self.beyond(shifted + error), self.in_a_row as usize, looks);
        over_two_rectangles(self.errors, noise, seen)
    }
}

/// Probability of a run of `n` in `looks` independent looks, each with probability `p`.
pub fn run(p: f64, n: usize, looks: usize) -> f64 {
    if looks < n || !(p > 0.0) {
        return 0.0;
    }
    if p >= 1.0 {
        return 1.0;
    }
    let whole = libm::pow(p, n as f64);
    let mut without = vec![1.0_f64; looks + 1];
    without[n] = 1.0 - whole;
    for k in n + 1..=looks {
        without[k] = (without[k - 1] - whole * (1.0 - p) * without[k - n - 1]).max(0.0);
    }
    1.0 - without[looks]
}

/// Runs of `n` an hour of independent looks: (1 − p) pⁿ/(1 − pⁿ) of them begin one, and (1 − pⁿ)/(1 − p) is the sum of
/// the powers below n, which stays a number where p is 1.
pub fn runs_per_hour(p: f64, n: u32, interval_s: f64) -> f64 {
    let (mut sum, mut power) = (0.0, 1.0);
    for _ in 0..n {
        sum += power;
        power *= p;
    }
    3600.0 * power / (interval_s * sum)
}

/// Probability that the sum of two rectangular errors passes a value: a trapezium, in closed form.
fn tail([one, other]: [f64; 2], value: f64) -> f64 {
    let (sum, flat) = (one + other, (one - other).abs());
    let above = |value: f64| {
        if value >= sum {
            0.0
        } else if value >= flat {
            (sum - value) * (sum - value) / (8.0 * one * other)
        } else {
            0.5 - value / (2.0 * one.max(other))
        }
    };
    if value >= 0.0 { above(value) } else { 1.0 - above(-value) }
}

/// The mean of a function of the sum of two rectangular errors: their density is a trapezium, each of whose three straight
/// pieces is taken at the middles of equal parts.
fn over_two_rectangles([one, other]: [f64; 2], noise: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (sum, flat) = (one + other, (one - other).abs());
    if !(sum > 0.0) {
        return f(0.0);
    }
    let density = |error: f64| ((sum - error.abs()) / (sum - flat)).min(1.0);
    let (mut total, mut weight) = (0.0, 0.0);
    for [from, to] in [[-sum, -flat], [-flat, flat], [flat, sum]] {
        if !(to > from) {
            continue;
        }
        // Half the noise is fine enough for what the noise makes smooth.
        let places = (2.0 * (to - from) / noise).ceil().clamp(PLACES[0], PLACES[1]);
        let width = (to - from) / places;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 16 and 256")]
        for place in 0..places as u32 {
            let error = from + width * (f64::from(place) + 0.5);
            let share = width * if sum > flat { density(error) } else { 1.0 };
            total += share * f(error);
            weight += share;
        }
    }
    total / weight
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
