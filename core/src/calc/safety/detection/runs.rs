//! Runs of looks beyond a limit, and what static errors make of them.

use super::Sight;
use crate::propagation::normal_distribution;

/// Places of a static error on each of three pieces of its distribution: at least, and at most.
const PLACES: [f64; 2] = [16.0, 256.0];
/// Standard deviations of the sample that is held, either way, and places between them.
const HELD: f64 = 10.0;
/// See [`HELD`].
const HELD_PLACES: u32 = 400;

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

/// False alarms an hour of a rate that is taken against the last accepted sample: its noise is in every look of a run.
///
/// ```text
/// Formula    3600/T E[Π Q((L − s) k T/σ + e) + Π Q((L + s) k T/σ − e)], k = 1 to n, e the noise of the held sample over σ
/// Valid      independent noise from sample to sample, the largest slope all the time; one sample: Q((L − s) T/(√2 σ))
/// Source     derived here, checked by simulation
/// ```
pub(super) fn held_per_hour(sight: &Sight) -> f64 {
    let n = f64::from(sight.in_a_row);
    let away = [sight.limits[1] - sight.known[1], sight.limits[1] + sight.known[1]].map(|all| all / n);
    let noise = sight.noise.unwrap_or(0.0) / std::f64::consts::SQRT_2;
    let p = if noise > 0.0 {
        let beyond = |away: f64, held: f64| {
            let mut all = 1.0;
            for look in 1..=sight.in_a_row {
                all *= normal_distribution(-(away * f64::from(look) / noise + held));
                if all < f64::MIN_POSITIVE {
                    return 0.0;
                }
            }
            all
        };
        let weigh = |place: u32| {
            let held = -HELD + 2.0 * HELD * (f64::from(place) + 0.5) / f64::from(HELD_PLACES);
            let weight = libm::exp(-held * held / 2.0) * 2.0 * HELD / f64::from(HELD_PLACES);
            weight * (beyond(away[0], held) + beyond(away[1], -held))
        };
        (0..HELD_PLACES).map(weigh).sum::<f64>() / std::f64::consts::TAU.sqrt()
    } else if away[0] < 0.0 {
        1.0
    } else {
        0.0
    };
    3600.0 * p.min(1.0) / sight.interval_s
}

/// Probability that the sum of two rectangular errors passes a value: a trapezium, in closed form.
pub(super) fn tail([one, other]: [f64; 2], value: f64) -> f64 {
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
pub(super) fn over_two_rectangles([one, other]: [f64; 2], noise: f64, f: impl Fn(f64) -> f64) -> f64 {
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
