//! # How wide a sum of independent errors is
//!
//! Limits are rectangular, everything else that is random is one normal deviate. The distribution of their sum is written as
//! a Fourier series, whose coefficients are products of sin(x)/x: exact up to where the series is cut, without trials.
//!
//! ```text
//! Formula    F(x) = ½ + x/2B + Σ φ(kπ/B) sin(kπx/B)/(kπ), φ(w) = Π sin(w aᵢ)/(w aᵢ) · exp(−w²u²/2);  B beyond all values
//!            E: P(|k + X| ≤ E) = F(E − k) + F(E + k) − 1 = 0.95
//! Symbols    aᵢ half-widths, u standard deviation, k what is known
//! Valid      independent; the series is cut at 768 terms: below 10⁻⁴ of the probability for two limits or more
//! Source     characteristic functions of the rectangular and the normal distribution; Poisson summation
//! ```

use std::f64::consts::PI;

use crate::numeric::crossing;

/// Terms of the series.
const TERMS: usize = 768;
/// Limits that a series takes; what is more is added to the answer as it is.
const MOST: usize = 32;
/// Standard deviations beyond which the normal part counts as nothing.
const FAR: f64 = 8.0;
/// Half-widths below this part of the largest are added to the answer as they are.
const SMALL: f64 = 1e-4;
/// Times a standard uncertainty that a worst case takes.
pub const WORST: f64 = 3.0;
/// Probability of the interval.
pub const PROBABILITY: f64 = 0.95;

/// A sum of independent limits and one normal deviate.
#[derive(Clone, Debug)]
pub struct Sum {
    /// Its only limit, where it has no other part: the series would converge slowly.
    alone: Option<f64>,
    half: f64,
    /// In place: a search asks for hundreds of sums.
    coefficients: [f64; TERMS],
    terms: usize,
    /// Limits that are too small for the series.
    beside: f64,
}

impl Sum {
    /// A sum of limits (their signs do not count) and a standard deviation.
    pub fn new(limits: &[f64], standard: f64) -> Self {
        let largest = limits.iter().fold(standard, |most, limit| most.max(limit.abs()));
        let (mut large, mut count, mut beside) = ([0.0; MOST], 0, 0.0);
        for size in limits.iter().map(|limit| limit.abs()) {
            if size > SMALL * largest && count < MOST {
                large[count] = size;
                count += 1;
            } else {
                beside += size;
            }
        }
        let normal = if standard > SMALL * largest { standard } else { 0.0 };
        if normal == 0.0 {
            beside += WORST * standard;
        }
        let large = &large[..count];
        let alone = match large {
            [] if normal == 0.0 => Some(0.0),
            [one] if normal == 0.0 => Some(*one),
            _ => None,
        };
        // A little beyond everything, so that the series, which repeats itself, does not overlap.
        let half = 1.02 * (large.iter().sum::<f64>() + FAR * normal);
        let mut coefficients = [0.0; TERMS];
        let terms = if alone.is_some() { 0 } else { fill(&mut coefficients, large, normal, half) };
        Self { alone, half, coefficients, terms, beside }
    }

    /// Probability of a value below this one.
    fn below(&self, x: f64) -> f64 {
        if let Some(limit) = self.alone {
            return match limit {
                0.0 if x >= 0.0 => 1.0,
                0.0 => 0.0,
                limit => (0.5 + x / (2.0 * limit)).clamp(0.0, 1.0),
            };
        }
        if x.abs() >= self.half {
            return if x > 0.0 { 1.0 } else { 0.0 };
        }
        let step = PI * x / self.half;
        // sin(kθ) by its recurrence: two operations a term.
        let (twice, mut last, mut now) = (2.0 * libm::cos(step), 0.0, libm::sin(step));
        let mut sum = 0.5 + x / (2.0 * self.half);
        for coefficient in &self.coefficients[..self.terms] {
            sum += coefficient * now;
            (last, now) = (now, twice * now - last);
        }
        sum.clamp(0.0, 1.0)
    }

    /// Probability that the sum and what is known stay within a limit.
    pub fn within(&self, known: f64, limit: f64) -> f64 {
        let limit = limit - self.beside;
        if limit < 0.0 {
            return 0.0;
        }
        (self.below(limit - known) + self.below(limit + known) - 1.0).max(0.0)
    }

    /// The smallest limit that the sum and what is known stay within, with the probability of the interval.
    pub fn coverage(&self, known: f64) -> f64 {
        let most = self.beside + known.abs() + self.alone.unwrap_or(self.half);
        crossing(self.beside, most, |limit| self.within(known, limit) - PROBABILITY)
    }
}

/// φ(kπ/B)/(kπ) for k from 1 on; how many count.
fn fill(list: &mut [f64; TERMS], limits: &[f64], standard: f64, half: f64) -> usize {
    // Of each limit its angle, twice the cosine of it, and the last two sines of the recurrence.
    let mut turning = [[0.0; 4]; MOST];
    for (turn, limit) in turning.iter_mut().zip(limits) {
        let angle = PI * limit / half;
        *turn = [angle, 2.0 * libm::cos(angle), 0.0, libm::sin(angle)];
    }
    // exp(−c k²) from one k to the next: its factor falls by exp(−2c) each time.
    let w = PI * standard / half;
    let (mut normal, mut factor) = (libm::exp(-0.5 * w * w), libm::exp(-1.5 * w * w));
    let fall = libm::exp(-w * w);
    for (place, coefficient) in list.iter_mut().enumerate() {
        #[expect(clippy::cast_precision_loss, reason = "below a thousand")]
        let k = (place + 1) as f64;
        // One division for all limits: a product of sines over one of angles, of which those above one bound the term.
        let (mut sines, mut angles, mut wide) = (1.0, 1.0, 1.0);
        for [angle, twice, last, now] in turning.iter_mut().take(limits.len()) {
            sines *= *now;
            angles *= k * *angle;
            wide *= (k * *angle).max(1.0);
            (*last, *now) = (*now, *twice * *now - *last);
        }
        *coefficient = normal * sines / (angles * k * PI);
        if normal < 1e-9 * wide {
            return place + 1;
        }
        (normal, factor) = (normal * factor, factor * fall);
    }
    TERMS
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed forms: a rectangle; two equal ones, whose sum is a triangle with quantile 2a(1 − √0.05); a normal deviate.
    #[test]
    fn sums_with_closed_forms() {
        let near = |found: f64, wanted: f64, off: f64| assert!((found - wanted).abs() < off, "{found} {wanted}");
        near(Sum::new(&[2.0], 0.0).coverage(0.0), 1.9, 1e-9);
        near(Sum::new(&[2.0], 0.0).coverage(3.0), 4.8, 1e-9);
        near(Sum::new(&[1.0, -1.0], 0.0).coverage(0.0), 2.0 * (1.0 - 0.05_f64.sqrt()), 2e-5);
        near(Sum::new(&[], 1.0).coverage(0.0), 1.959_964, 1e-5);
        near(Sum::new(&[], 1.0).coverage(10.0), 11.644_854, 1e-5);
        near(Sum::new(&[0.0], 0.0).coverage(-1.5), 1.5, 1e-9);
    }
}
