//! # What a count takes of the readings
//!
//! A count goes on for days: what matters of the noise is how it adds up, not how it looks in one reading.
//!
//! ```text
//! Formula    correlation of the samples: F² = n u²(mean of n)/u²(one) = (1 + φ)/(1 − φ), φ = exp(−Ts/τ), for many n
//!            slow noise e √(fk ln(t/T))/R0 over three years from one reading on
//! Symbols    e [V/√Hz] white density, fk its corner, T interval of the readings, R0 shunt
//! Source     long-run variance of an AR(1) series; 1/f noise: common practice, no source
//! ```

use std::f64::consts::PI;

use super::ChannelInput;
use crate::calculation::Gives;
use crate::channel::chain::Chain;
use crate::physics::noise::ReadingNoise;

/// Noise of one sample, A.
pub const NOISE: &str = "a noise of its samples";
/// Noise of an averaged reading, A.
pub const READING: &str = "the noise of its reading";
/// Interval of the samples, s.
pub const SAMPLE: &str = "an interval of its samples";
/// Correlation time of the noise, s.
pub const CORRELATION: &str = "a correlation of its noise";
/// 1/f noise that no count averages, A.
pub const SLOW: &str = "a slow noise";
/// Time constant of the low-pass in front of the converter, longest, s.
pub const FILTER: &str = "the filter in front of its converter";
/// One code, A.
pub const STEP: &str = "a step";

/// So many samples that their mean shows the noise at no frequency.
const MANY: u32 = 65_536;
/// The longest time that is counted without an anchor, s: three years.
const LONG_S: f64 = 1e8;

pub(super) const GIVES: &[Gives<ChannelInput>] = &[
    Gives { words: NOISE, value: |input| Some(input.sample_noise().0) },
    Gives { words: READING, value: |input| Some(input.noise_a()[1]) },
    Gives { words: SAMPLE, value: |input| Some(1.0 / input.converter.data_rate_hz) },
    Gives { words: CORRELATION, value: |input| Some(input.sample_noise().1) },
    Gives { words: SLOW, value: |input| Some(input.slow_noise_a()) },
    Gives {
        words: FILTER,
        value: |input| Some(1.0 / (2.0 * PI * input.filter.corner()? * input.filter.corner_factors().0)),
    },
    Gives { words: STEP, value: |input| Some(2.0 * (&input).each().rounding) },
];

impl ChannelInput {
    /// Noise of a sample without its slow part, A, and how long it resembles itself, s.
    fn sample_noise(&self) -> (f64, f64) {
        let degc = self.conditions.ambient_max_degc;
        let noise = ReadingNoise::new(&self.amplifier, &self.filter, &self.converter, MANY, degc);
        let quick = |volt: f64| (volt * volt - noise.flicker_v * noise.flicker_v).max(0.0).sqrt();
        let (one, mean) = (quick(noise.single_v), quick(noise.averaged_v));
        let sums = if one > 0.0 { f64::from(MANY) * (mean / one) * (mean / one) } else { 1.0 };
        // Within the rounding of the squares the samples are independent.
        let correlation = if sums > 1.0 + 1e-6 {
            let phi = (sums - 1.0) / (sums + 1.0);
            -1.0 / (self.converter.data_rate_hz * libm::log(phi))
        } else {
            0.0
        };
        (one / self.shunt.resistance_ohm, correlation)
    }

    fn slow_noise_a(&self) -> f64 {
        let interval = f64::from(self.averaging) / self.converter.data_rate_hz;
        let decades = libm::log((LONG_S / interval).max(1.0));
        let amplifier = &self.amplifier;
        amplifier.noise_v_per_rthz * (amplifier.noise_corner_hz * decades).sqrt() / self.shunt.resistance_ohm
    }
}
