//! # Filter, decimation, latency and bit rate
//!
//! The low-pass and the decimating filter decide what ripple and aliases become, and how late a sample is.
//! A protection chain needs the largest latency, not the average.
//!
//! ```text
//! Formula    f_c = 1/(2π R C); |H_RC| = 1/√(1 + (f/f_c)²); |H_sinc| = |sin(πfD/f_m)/(D sin(πf/f_m))|ᴷ;
//!            settling K D/f_m; group delay K (D − 1)/(2 f_m); average of n: |sin(πnf/f_d)/(n sin(πf/f_d))|
//!            alias |f − round(f/f_s) f_s|; latency = RC + K/f_d + (2 n − 1)/f_d + word/bit rate + isolator
//! Symbols    f_m [Hz] modulator clock = D · f_d, D oversampling, K order, n averaged samples
//! Valid      linear settling, decimator as modelled
//! Source     sinc decimation: Hogenauer 1981 (IEEE Trans. ASSP 29, 155); sampling theorem
//! ```

use std::f64::consts::PI;

/// Gain of a first-order low-pass.
pub fn low_pass_gain(frequency_hz: f64, corner_hz: f64) -> f64 {
    1.0 / (frequency_hz / corner_hz).hypot(1.0)
}

/// Gain of the mean of `count` samples taken at `rate_hz`, raised to `order`: the sinc filter and the plain average.
pub fn average_gain(frequency_hz: f64, rate_hz: f64, count: f64, order: u32) -> f64 {
    let x = PI * frequency_hz / rate_hz;
    let below = count * x.sin();
    // At multiples of the rate both sines vanish and the gain is 1; the smallest quotient keeps it defined there.
    let gain = if below.abs() < 1e-12 * count { 1.0 } else { ((count * x).sin() / below).abs().min(1.0) };
    // What rounding leaves of a zero of the filter is a zero.
    if gain < 1e-12 { 0.0 } else { gain.powi(i32::try_from(order).unwrap_or(i32::MAX)) }
}

/// Noise bandwidth of a sinc filter of an order, as a share of the output rate: ∫₀^∞ sinc²ᴷ, in closed form
/// 1/(2ⁿ (n − 1)!) Σ (−1)ᵏ C(n, k) (n − 2k)ⁿ⁻¹ with n = 2K.
pub fn sinc_noise_bandwidth(order: u32) -> f64 {
    let n = 2 * order;
    let power = i32::try_from(n).unwrap_or(i32::MAX) - 1;
    let (mut sum, mut binomial, mut factorial) = (0.0, 1.0, 1.0);
    for k in 0..=order {
        let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
        sum += sign * binomial * f64::from(n - 2 * k).powi(power);
        binomial = binomial * f64::from(n - k) / f64::from(k + 1);
    }
    for factor in 1..n {
        factorial *= f64::from(factor);
    }
    sum / (2f64.powi(power + 1) * factorial)
}

/// Where a frequency appears after sampling, Hz.
pub fn alias_hz(frequency_hz: f64, rate_hz: f64) -> f64 {
    (frequency_hz - (frequency_hz / rate_hz).round() * rate_hz).abs()
}

/// Gain in decibels; a zero gain has none.
pub fn decibel(gain: f64) -> Option<f64> {
    (gain > 0.0).then(|| 20.0 * libm::log10(gain))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Modulator 10 MHz, third order, decimation 256, ripple 20 kHz: −12.4035 dB, alias 19062.5 Hz (sine quotient by hand);
    /// −3 dB points of sincᵏ from the root of |sinc|ᵏ = 1/√2 (scipy 1.17.1).
    #[test]
    fn a_sinc_filter_has_its_gain_its_corner_and_its_zeros() {
        let gain = average_gain(20e3, 10e6, 256.0, 3);
        assert!((decibel(gain).expect("not zero") - -12.4035).abs() < 5e-5);
        assert!((alias_hz(20e3, 39062.5) - 19062.5).abs() < 1e-9);
        for (order, corner) in [(1, 0.442_946), (2, 0.318_917), (3, 0.261_938), (4, 0.227_512)] {
            let gain = average_gain(corner, 1e4, 1e4, order);
            assert!((gain - 0.5f64.sqrt()).abs() < 3e-6, "{order}: {gain}");
        }
        assert!(average_gain(1.0, 5.0, 5.0, 1) < 1e-12, "the output rate is a zero");
        assert!((average_gain(5.0, 5.0, 5.0, 1) - 1.0).abs() < 1e-12, "the input rate is not");
    }

    /// ∫₀^∞ sinc²ᴷ: 1/2, 1/3, 11/40, 151/630 (integrals of powers of sinc, Abramowitz and Stegun 4.3.142 for the first; the
    /// others are values of the central B-spline at zero).
    #[test]
    fn a_sinc_filter_has_its_noise_bandwidth() {
        for (order, share) in [(1, 0.5), (2, 1.0 / 3.0), (3, 11.0 / 40.0), (4, 151.0 / 630.0)] {
            assert!((sinc_noise_bandwidth(order) - share).abs() < 1e-12, "{order}");
        }
        assert!(sinc_noise_bandwidth(8) > 0.15 && sinc_noise_bandwidth(8) < sinc_noise_bandwidth(7));
    }

    /// 1 − 1/√(1 + x²): numpy 2.4.6.
    #[test]
    fn a_low_pass_errs_by_one_percent_at_a_seventh_of_its_corner() {
        for (x, error) in [(0.01, 4.9996e-5), (0.1, 0.004_962_81), (0.142_494, 0.010_000_2), (1.0, 0.292_893)] {
            assert!(((1.0 - low_pass_gain(x, 1.0)) / error - 1.0).abs() < 1e-4);
        }
    }
}
