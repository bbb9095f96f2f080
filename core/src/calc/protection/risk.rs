//! # Nuisance trips and missed trips
//!
//! Noise makes a reading pass the threshold although the quantity stands at its normal extreme; error and noise keep a
//! reading below it although the hazard is near.
//!
//! ```text
//! Formula    per sample p = Q(z), z = (distance less error)/u;  trips a second = f_s pⁿ (n samples in a row)
//!            missed: P(E + N < a), E rectangular ±e, N normal u:  (u/2e)(G((a + e)/u) − G((a − e)/u)),
//!            G(y) = y Φ(y) + φ(y);  with a normal E of the same standard uncertainty: Φ(a/√(e²/3 + u²))
//!            slow noise: up-crossings a second f_0 exp(−z²/2); correlation of neighbours about 1 − (2π f_0/f_s)²/2
//! Symbols    f_0 [Hz] rms bandwidth of the noise; a [unit] threshold less the reading at the last moment that leaves the time to react
//! Valid      independent samples (a filter slower than the sample rate makes them alike: fewer crossings, but n in a row
//!            help less); stationary noise without interference; f_s pⁿ counts every row anew and is a little high
//! Source     JCGM 106:2012 clause 7.3 (one-sided conformance probability); Q is 1 − Φ of the normal distribution;
//!            Rice 1944 (rate of level crossings of a normal process)
//! ```

use crate::propagation::normal_distribution;

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
    if u == 0.0 || !high.is_finite() || !low.is_finite() {
        return sharp;
    }
    let integral = |y: f64| {
        let density = (-0.5 * y * y).exp() / (2.0 * std::f64::consts::PI).sqrt();
        y * normal_distribution(y) + density
    };
    (u / (2.0 * e) * (integral(high) - integral(low))).clamp(0.0, 1.0)
}

/// Nuisance trips an hour.
pub fn nuisance_per_hour(per_sample: f64, in_a_row: u32, sample_hz: f64) -> f64 {
    3600.0 * sample_hz * libm::pow(per_sample, f64::from(in_a_row))
}

/// Up-crossings an hour of a level `z` sigma high by normal noise of an rms bandwidth. A level below the mean is passed all
/// the time: the rate of the mean counts there.
pub fn crossings_per_hour(z: f64, bandwidth_hz: f64) -> f64 {
    let z = z.max(0.0);
    3600.0 * bandwidth_hz * (-0.5 * z * z).exp()
}

/// Whether neighbouring samples correlate by more than one half.
pub fn correlated(bandwidth_hz: f64, sample_hz: f64) -> bool {
    bandwidth_hz * 2.0 * std::f64::consts::PI < sample_hz
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
