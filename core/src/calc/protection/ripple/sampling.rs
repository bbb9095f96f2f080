//! What sampling and averaging make of the ripple.
//!
//! ```text
//! Formula    gain of the mean of n samples: |sin(π n f/f_s)| / (n |sin(π f/f_s)|)  (Dirichlet kernel)
//!            one word every n samples: f_o = f_s/n; beat |f − round(f/f_o) f_o|
//! Symbols    f [Hz] ripple or one of its harmonics, f_s [Hz] sample rate
//! Valid      short samples (no integration in the sampler), equal weights, nothing clips
//! Convention the beat's amplitude is half its peak to peak: that of the harmonic times chain and averaging
//! Source     geometric sum of equally spaced samples
//! ```

use std::f64::consts::PI;

/// The distance of a value to the nearest whole number.
fn off_whole(value: f64) -> f64 {
    (value - libm::round(value)).abs()
}

/// Gain of the mean of `count` samples at a frequency.
pub fn average_gain(frequency_hz: f64, rate_hz: f64, count: u32) -> f64 {
    let n = f64::from(count);
    let below = libm::sin(PI * off_whole(frequency_hz / rate_hz));
    if count <= 1 || below == 0.0 {
        return 1.0;
    }
    (libm::sin(PI * off_whole(frequency_hz * n / rate_hz)) / (n * below)).min(1.0)
}

/// The frequency at which a ripple appears after taking one word every `count` samples.
pub fn beat_hz(frequency_hz: f64, rate_hz: f64, count: u32) -> f64 {
    let n = f64::from(count);
    off_whole(frequency_hz * n / rate_hz) * rate_hz / n
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The mean of the samples themselves, over the worst phase.
    fn by_sum(frequency: f64, rate: f64, count: u32) -> f64 {
        let angle = 2.0 * PI * frequency / rate;
        let (re, im) = (0..count).fold((0.0, 0.0), |(re, im), k| {
            let at = angle * f64::from(k);
            (re + at.cos(), im + at.sin())
        });
        re.hypot(im) / f64::from(count)
    }

    #[test]
    fn the_kernel_is_the_sum_of_the_samples() {
        for (f, rate, n) in
            [(100.4, 250.0, 5), (37.0, 1000.0, 8), (10e3, 1000.0, 4), (999.0, 1000.0, 40), (3.0, 7.0, 1)]
        {
            assert!((average_gain(f, rate, n) - by_sum(f, rate, n)).abs() < 1e-12, "{f} {rate} {n}");
        }
        assert_eq!(average_gain(100.0, 250.0, 5), 0.0);
        assert_eq!((beat_hz(100.0, 250.0, 5), beat_hz(10e3, 1000.0, 1)), (0.0, 0.0));
    }
}
