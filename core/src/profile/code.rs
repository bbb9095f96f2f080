//! # What a rounded reading is on average
//!
//! A converter gives whole steps, and noise decides from reading to reading which of two. The mean of many readings is
//! therefore a smooth function of the value, and so close to it that a third of a step of noise hides the steps. A dead
//! band that follows takes what lies inside of it to nothing.
//!
//! ```text
//! Formula    nearest, s ≥ 0.3 q: mean = μ + (q/π) Σ (−1)^k/k exp(−2π²k²s²/q²) sin(2πkμ/q), k = 1 … 3
//!            else mean = Σ c P(c), P(c) = Φ((t_high − μ)/s) − Φ((t_low − μ)/s) over the codes c within 8 s
//!            band alone: lost = μ (Φ(v) − Φ(u)) + s (φ(u) − φ(v)), u, v = (∓b − μ)/s
//!            down: as to the nearest of μ − q/2; toward zero: down in magnitude
//! Symbols    μ value [A], q step [A], s noise at the rounded word, standard deviation [A], b dead band [A]
//!            variance = s² (1 + 2 n') + q²/12 + (q²/π²) Σ (−1)^k/k² exp(…) cos(2πkμ/q) − n², n = mean − μ, n' its slope
//! Valid      normal noise, each reading by itself; behind a band finer than noise the variance of rounding is q²/12
//! Source     Fourier series of the saw-tooth and the characteristic function of the normal distribution; the identity of
//!            Stein for the product of noise and rounding; truncated moments of the normal distribution
//!            (Johnson, Kotz and Balakrishnan); checked against trials in the tests
//! ```

use std::f64::consts::{PI, TAU};

use super::options::{Chain, Rounding};
use crate::propagation::normal_distribution;

/// Noise of so many steps is described by its first harmonics.
const SMOOTH: f64 = 0.3;
/// Beyond so many standard deviations nothing is looked for.
const TAILS: f64 = 8.0;
/// Codes that are gone through one by one.
const MOST_CODES: f64 = 256.0;

/// Rounding and dead band.
#[derive(Clone, Copy, Debug)]
pub(super) struct Coder {
    step: f64,
    noise: f64,
    band: f64,
    rounding: Rounding,
    harmonics: [f64; 3],
}

impl Coder {
    pub fn new(chain: &Chain) -> Self {
        // What is averaged before it is rounded has the noise of the mean.
        let noise = chain.noise_a.unwrap_or_default() / f64::from(chain.averaging).sqrt();
        let step = chain.step_a.unwrap_or_default();
        let ratio = noise / step;
        let harmonic = |k: f64| {
            let sign = if k == 2.0 { 1.0 } else { -1.0 };
            sign * step / (PI * k) * libm::exp(-2.0 * PI * PI * k * k * ratio * ratio)
        };
        Self {
            step,
            noise,
            band: chain.dead_band_a,
            rounding: chain.rounding,
            harmonics: [1.0, 2.0, 3.0].map(harmonic),
        }
    }

    /// Mean and variance of the reading of a value.
    pub fn moments(&self, value: f64) -> (f64, f64) {
        let (step, noise) = (self.step, self.noise);
        if noise == 0.0 {
            return (self.kept(self.code(value) * step, value), 0.0);
        }
        let banded = self.band > 0.0 && value.abs() < self.band + TAILS * noise + step;
        if step == 0.0 {
            return if banded { self.truncated(value) } else { (value, noise * noise) };
        }
        let near_zero = self.rounding == Rounding::TowardZero && value.abs() < TAILS * noise + step;
        if noise < SMOOTH * step || ((banded || near_zero) && TAILS * noise < MOST_CODES / 2.0 * step) {
            return self.listed(value);
        }
        let shifted = value
            + match self.rounding {
                Rounding::Nearest => 0.0,
                Rounding::Floor => -step / 2.0,
                Rounding::TowardZero => -step / 2.0 * value.signum(),
            };
        if banded {
            let (mean, variance) = self.truncated(shifted);
            return (mean, variance + step * step / 12.0);
        }
        let (sine, cosine) = libm::sincos(TAU * shifted / step);
        // Sine and cosine of the first harmonics, by those of the first.
        let sines = [sine, 2.0 * sine * cosine, sine * (4.0 * cosine * cosine - 1.0)];
        let cosines = [cosine, 2.0 * cosine * cosine - 1.0, cosine * (4.0 * cosine * cosine - 3.0)];
        let (mut wave, mut slope, mut square) = (0.0, 0.0, step * step / 12.0);
        for (index, harmonic) in self.harmonics.iter().enumerate() {
            let k = (index + 1) as f64;
            wave += harmonic * sines[index];
            slope += harmonic * TAU * k / step * cosines[index];
            square += harmonic * step / (PI * k) * cosines[index];
        }
        let variance = noise * noise * (1.0 + 2.0 * slope) + square - wave * wave;
        (shifted + wave, variance.max(0.0))
    }

    /// The step that a value without noise comes to.
    fn code(&self, value: f64) -> f64 {
        if self.step == 0.0 {
            return 0.0;
        }
        let steps = value / self.step;
        match self.rounding {
            Rounding::Nearest => steps.round(),
            Rounding::Floor => steps.floor(),
            Rounding::TowardZero => steps.trunc(),
        }
    }

    /// What the band leaves of a reading.
    fn kept(&self, reading: f64, value: f64) -> f64 {
        let reading = if self.step == 0.0 { value } else { reading };
        if reading.abs() < self.band { 0.0 } else { reading }
    }

    /// Moments of what the band leaves, without steps.
    fn truncated(&self, value: f64) -> (f64, f64) {
        let (s, b) = (self.noise, self.band);
        let (u, v) = ((-b - value) / s, (b - value) / s);
        let density = |z: f64| libm::exp(-z * z / 2.0) / TAU.sqrt();
        let inside = normal_distribution(v) - normal_distribution(u);
        let (at_u, at_v) = (density(u), density(v));
        let mean = value - (value * inside + s * (at_u - at_v));
        let square = value * value + s * s
            - (value * value * inside + 2.0 * value * s * (at_u - at_v) + s * s * (inside + u * at_u - v * at_v));
        (mean, (square - mean * mean).max(0.0))
    }

    /// Code by code.
    fn listed(&self, value: f64) -> (f64, f64) {
        let (q, s) = (self.step, self.noise);
        let (first, last) = (self.code(value - TAILS * s), self.code(value + TAILS * s));
        // The value from which a code is read.
        let from = |code: f64| match self.rounding {
            Rounding::Nearest => (code - 0.5) * q,
            Rounding::Floor => code * q,
            Rounding::TowardZero if code > 0.0 => code * q,
            Rounding::TowardZero => (code - 1.0) * q,
        };
        let (mut mean, mut square, mut below) = (0.0, 0.0, 0.0);
        let mut code = first;
        while code <= last {
            let up_to = if code == last { 1.0 } else { normal_distribution((from(code + 1.0) - value) / s) };
            let reading = self.kept(code * q, value);
            mean += (up_to - below) * reading;
            square += (up_to - below) * reading * reading;
            below = up_to;
            code += 1.0;
        }
        (mean, (square - mean * mean).max(0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::super::options::Chain;
    use super::*;
    use crate::field::start;

    fn coder(step_a: f64, noise_a: f64, dead_band_a: f64, rounding: Rounding) -> Coder {
        let (step_a, noise_a) = (Some(step_a), Some(noise_a));
        Coder::new(&Chain { step_a, rounding, dead_band_a, noise_a, ..start() })
    }

    /// 13 mA in steps of 10 mA, noise 0, 3, 5 mA; 15 ± 4.5 mA behind a band of 20 mA. Independent simulation: numpy 2.4.6,
    /// 4·10^8 draws of `round((0.013 + s n)/q) q` and of `where(abs(x) < b, 0, x)` in blocks.
    #[test]
    fn a_little_noise_hides_the_steps() {
        for (noise, mean) in [(0.0, 10.000e-3), (3e-3, 12.487e-3), (5e-3, 12.978e-3)] {
            assert!((coder(0.01, noise, 0.0, Rounding::Nearest).moments(0.013).0 - mean).abs() < 1e-6, "{noise}");
        }
        assert!((coder(0.0, 4.5e-3, 0.02, Rounding::Nearest).moments(0.015).0 - 2.967e-3).abs() < 1e-6);
    }

    /// Both descriptions at noise where both hold, and rounding down is to the nearest half a step lower.
    #[test]
    fn series_and_codes_agree() {
        for rounding in [Rounding::Nearest, Rounding::Floor, Rounding::TowardZero] {
            for value in [0.0, 0.0031, 0.0149, 0.15, -0.0222, -0.3, 3.333] {
                for noise in [0.0031, 0.005, 0.02] {
                    let coder = coder(0.01, noise, 0.0, rounding);
                    let (series, codes) = (coder.moments(value), coder.listed(value));
                    assert!((series.0 - codes.0).abs() < 2e-8, "{rounding:?} {value} {noise}: {series:?} {codes:?}");
                    assert!(
                        (series.1 / codes.1 - 1.0).abs() < 2e-5,
                        "{rounding:?} {value} {noise}: {series:?} {codes:?}"
                    );
                }
            }
            let (down, nearest) =
                (coder(0.01, 0.002, 0.0, Rounding::Floor), coder(0.01, 0.002, 0.0, Rounding::Nearest));
            assert!((down.moments(0.123).0 - nearest.moments(0.118).0).abs() < 1e-15);
        }
    }
}
