//! # Nuisance trips and missed trips
//!
//! Noise makes a reading pass the threshold although the quantity stands at its normal extreme; error and noise keep a
//! reading below it although the hazard is near.
//!
//! ```text
//! Formula    per sample p = Q(z), z = (distance less error)/u;  rows of samples: `rows`
//!            missed: P(E + N < a), E rectangular ±e, N normal u:  (u/2e)(G((a + e)/u) − G((a − e)/u)),
//!            G(y) = y Φ(y) + φ(y);  with a normal E of the same standard uncertainty: Φ(a/√(e²/3 + u²))
//! Symbols    a [unit] threshold less the reading at the last moment that leaves the time to react
//! Valid      stationary noise without interference
//! Source     JCGM 106:2012 clause 7.3 (one-sided conformance probability); Q is 1 − Φ of the normal distribution
//! ```

use crate::propagation::normal_distribution;

/// Standard deviations beyond which a normal distribution has less than the smallest double.
const FAR: f64 = 39.0;

/// Probability that normal noise `u` exceeds `distance`. Without noise only a distance of nothing is passed.
pub fn beyond(distance: f64, u: f64) -> f64 {
    let z = distance / u;
    if u == 0.0 || z.is_nan() {
        return if distance > 0.0 { 0.0 } else { 1.0 };
    }
    normal_distribution(-z)
}

/// Probability that a normal quantity of standard uncertainty `u` lies below `a` (JCGM 106:2012 clause 7.3).
pub fn below(a: f64, u: f64) -> f64 {
    let z = a / u;
    if u == 0.0 || z.is_nan() {
        return if a > 0.0 { 1.0 } else { 0.0 };
    }
    normal_distribution(z)
}

/// The same for the sum of a rectangular quantity within ±`e` and normal noise `u`.
pub fn below_rectangular(a: f64, e: f64, u: f64) -> f64 {
    // Below this ratio the rectangle is a point, and the difference would lose its digits.
    if e <= 1e-6 * u {
        return below(a, u);
    }
    let sharp = ((a + e) / (2.0 * e)).clamp(0.0, 1.0);
    let (high, low) = ((a + e) / u, (a - e) / u);
    // So far from either end no noise is left, and the difference would lose its digits.
    if u == 0.0 || a.abs() > e + FAR * u || !high.is_finite() || !low.is_finite() {
        return sharp;
    }
    let integral = |y: f64| {
        let density = (-0.5 * y * y).exp() / (2.0 * std::f64::consts::PI).sqrt();
        y * normal_distribution(y) + density
    };
    (u / (2.0 * e) * (integral(high) - integral(low))).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without noise the convolution is the rectangle, without error the normal distribution; one limit of the other.
    #[test]
    fn the_convolution_has_its_limits() {
        assert_eq!(below_rectangular(0.5, 1.0, 0.0), 0.75);
        assert_eq!(below_rectangular(-1.0, 1.0, 0.0), 0.0);
        assert_eq!(below_rectangular(2.0, 1.0, 1e-300), 1.0);
        // At 10¹⁵ steps of the difference it is still a probability.
        assert_eq!(below_rectangular(1.823e12, 4e-3, 1.0), 1.0);
        assert_eq!(below_rectangular(-1.823e12, 4e-3, 1.0), 0.0);
        assert!((below_rectangular(-3.0, 0.0, 1.0) - 1.349_898_031_630_094_6e-3).abs() < 1e-15);
        for a in [-8.0, -3.0, 0.0, 1.0] {
            let near = below_rectangular(a, 2e-6, 1.0);
            assert!((near / below(a, 1.0) - 1.0).abs() < 1e-6, "{a}");
        }
    }

    #[test]
    fn no_noise_and_no_error_is_a_step() {
        assert_eq!((beyond(1.0, 0.0), beyond(-1.0, 0.0), beyond(0.0, 0.0)), (0.0, 1.0, 1.0));
        assert_eq!((below(0.0, 0.0), below(1e-9, 0.0), below_rectangular(0.0, 0.0, 0.0)), (0.0, 1.0, 0.0));
    }
}
