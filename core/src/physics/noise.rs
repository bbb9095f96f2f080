//! # Noise and what averaging makes of it
//!
//! Random fluctuation sets how small a change a single reading can show, not where its mean lies.
//! White noise falls with the square root of the number of averaged samples where they are independent; the 1/f part
//! does not fall.
//!
//! ```text
//! Formula    LSB = span/2ᴺ; u_q = LSB/√12; SNR = 20 lg(2ᴺ √1.5) (6.02 N + 1.76 dB); ENOB = (SINAD − 1.76)/6.02
//!            u_amp² = e² B + e² f_k ln(B/f_1);  u_kTC = √(k_B T/C);  noise-free bits = log2(span/6.6 u)
//! Band       one pole B = (π/2) f_c; two separate poles B = (π/2) f_1 f_2/(f_1 + f_2), the integral of the product of both
//!            power gains over all frequencies. A pole acts on what stands in front of it: the amplifier's own noise passes
//!            its bandwidth and the low-pass behind it, never a capacitor at its input
//! Symbols    e [V/√Hz] white density, f_k [Hz] corner of the 1/f part, f_1 lower end of the band, C [F] filter
//! Average    of n samples: variance × max(1/n, min(1, f_d/(2 n B))): white noise in the band B seen through f_d/2n; the
//!            converter's own noise is taken as independent from sample to sample
//! Valid      single-pole stages; busy input (noise above half a step); a decimating filter's band bounds the analogue one
//! Source     IEEE 1241-2010 (quantisation noise, SINAD, ENOB); Johnson and Nyquist 1928 (kT/C); 6.6 σ peak to peak:
//!            common practice, no source
//! ```

use super::parts::{Amplifier, Converter, Filter};
use super::timing;
use crate::constant::{BOLTZMANN, ZERO_CELSIUS_K};

/// Lower end of the band in which 1/f noise is counted, Hz: readings shorter than ten seconds. Common practice, no source.
pub const LOWEST_HZ: f64 = 0.1;

/// Peak to peak of Gaussian noise in standard deviations: exceeded in 0.1 % of the time. Common practice, no source.
pub const PEAK_TO_PEAK: f64 = 6.6;

/// Signal-to-noise ratio of an ideal quantiser with a full-scale sine, dB.
pub fn ideal_snr_db(bits: f64) -> f64 {
    20.0 * libm::log10(libm::exp2(bits) * 1.5f64.sqrt())
}

/// Effective number of bits of a signal-to-noise-and-distortion ratio.
pub fn effective_bits(sinad_db: f64) -> f64 {
    // The exact constants behind 6.02 and 1.76.
    (sinad_db - 20.0 * libm::log10(1.5f64.sqrt())) / (20.0 * libm::log10(2.0))
}

/// Thermal noise of a resistor or of a filter capacitor, V: √(4 k T R B) with B = 1/(4 R C) is √(k T / C).
pub fn johnson_v(resistance_ohm: f64, degc: f64, bandwidth_hz: f64) -> f64 {
    (4.0 * BOLTZMANN * (degc + ZERO_CELSIUS_K) * resistance_ohm * bandwidth_hz).sqrt()
}

/// √(k T / C), V.
pub fn sampled_v(capacitance_farad: f64, degc: f64) -> f64 {
    (BOLTZMANN * (degc + ZERO_CELSIUS_K) / capacitance_farad).sqrt()
}

/// Noise bandwidth of one pole, or of two that do not load each other, Hz.
pub fn bandwidth_hz(pole_hz: f64, other_hz: Option<f64>) -> f64 {
    std::f64::consts::FRAC_PI_2 * other_hz.map_or(pole_hz, |other| pole_hz / (1.0 + pole_hz / other))
}

/// What a decimating filter leaves of an analogue noise band, Hz. Without one (oversampling 1) all of it folds into the
/// samples.
pub fn decimated_hz(analogue_hz: f64, converter: &Converter) -> f64 {
    if converter.oversampling > 1 {
        analogue_hz.min(converter.data_rate_hz * timing::sinc_noise_bandwidth(converter.filter_order))
    } else {
        analogue_hz
    }
}

/// The factor on white noise of a band that the average of `n` samples leaves. Samples of a band narrower than half the data
/// rate resemble each other: the average of n of them is a band of f_d/2n, not a fall with √n.
pub fn averaged_factor(n: u32, data_rate_hz: f64, bandwidth_hz: f64) -> f64 {
    let n = f64::from(n);
    (1.0 / n).max((data_rate_hz / (2.0 * n * bandwidth_hz)).min(1.0)).sqrt()
}

/// The noise of the mean of so many readings of a noise, of which the 1/f part does not fall.
pub fn mean(noise: f64, flicker: f64, readings: u32) -> f64 {
    let white = (noise * noise - flicker * flicker).max(0.0);
    (white / f64::from(readings) + flicker * flicker).sqrt()
}

/// Amplifier noise over a noise bandwidth: the white part and the 1/f part, V each.
pub fn amplifier_v(amplifier: &Amplifier, bandwidth_hz: f64) -> (f64, f64) {
    let density = amplifier.noise_v_per_rthz;
    let octaves = (bandwidth_hz / LOWEST_HZ).max(1.0);
    (density * bandwidth_hz.sqrt(), density * (amplifier.noise_corner_hz * libm::log(octaves)).sqrt())
}

/// The converter's own noise, V at its input: given directly or implied by the SINAD of a full-scale sine.
pub fn converter_v(converter: &Converter) -> f64 {
    match (converter.noise_v, converter.sinad_db) {
        (Some(noise), _) => noise,
        (None, Some(sinad)) => converter.amplitude_v() / 2f64.sqrt() / libm::pow(10.0, sinad / 20.0),
        (None, None) => 0.0,
    }
}

/// The noise of one reading, referred to the sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadingNoise {
    /// Noise bandwidth of amplifier, low-pass and decimating filter, Hz.
    pub bandwidth_hz: f64,
    /// White amplifier noise, V.
    pub white_v: f64,
    /// 1/f noise of the amplifier, V.
    pub flicker_v: f64,
    /// kT/C of the filter capacitor, V.
    pub sampled_v: Option<f64>,
    /// Noise of the converter, V.
    pub converter_v: f64,
    /// All of it in one result, V.
    pub single_v: f64,
    /// What the average of the samples leaves: the 1/f part does not fall, V.
    pub averaged_v: f64,
}

impl ReadingNoise {
    /// The noise of a chain at a temperature: the low-pass stands between amplifier and converter.
    pub fn new(amplifier: &Amplifier, filter: &Filter, converter: &Converter, averaging: u32, degc: f64) -> Self {
        let (gain, rate) = (amplifier.gain, converter.data_rate_hz);
        let corner = filter.corner();
        let bandwidth_hz = decimated_hz(bandwidth_hz(amplifier.bandwidth_hz, corner), converter);
        let (white_v, flicker_v) = amplifier_v(amplifier, bandwidth_hz);
        // kT/C stands behind the amplifier: it has the band of the low-pass alone.
        let alone = corner.map_or(bandwidth_hz, |corner| self::bandwidth_hz(corner, None));
        let passed = decimated_hz(alone, converter);
        let sampled = filter.capacitance_farad.map(|farad| sampled_v(farad, degc) / gain * (passed / alone).sqrt());
        let converter_v = converter_v(converter) / gain;
        let white = white_v * averaged_factor(averaging, rate, bandwidth_hz);
        let stored = sampled.unwrap_or(0.0) * averaged_factor(averaging, rate, passed);
        let independent = converter_v / f64::from(averaging).sqrt();
        Self {
            bandwidth_hz,
            white_v,
            flicker_v,
            sampled_v: sampled,
            converter_v,
            single_v: white_v.hypot(sampled.unwrap_or(0.0)).hypot(converter_v).hypot(flicker_v),
            averaged_v: white.hypot(stored).hypot(independent).hypot(flicker_v),
        }
    }

    /// The noise of the mean of so many averaged readings, V.
    pub fn mean_v(&self, readings: u32) -> f64 {
        mean(self.averaged_v, self.flicker_v, readings)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(value: f64, expected: f64, digits: f64) {
        assert!((value - expected).abs() <= digits, "{value} is not {expected}");
    }

    /// IEEE 1241: 20 lg(2ᴺ √1.5), computed with numpy 2.4.6.
    #[test]
    fn an_ideal_quantiser_has_its_signal_to_noise_ratio() {
        for (bits, db) in [(8.0, 49.9257), (12.0, 74.0081), (16.0, 98.0905), (20.0, 122.1729), (24.0, 146.2553)] {
            close(ideal_snr_db(bits), db, 5e-5);
        }
        for (sinad, bits) in [(74.0, 11.998_65), (86.0, 13.991_81), (98.09, 15.999_92)] {
            close(effective_bits(sinad), bits, 1e-5);
        }
        close(effective_bits(ideal_snr_db(14.0)), 14.0, 1e-12);
    }

    /// ∫ df / ((1 + (f/f1)²)(1 + (f/f2)²)) = (π/2) f1 f2/(f1 + f2); the table is scipy 1.17.1, `integrate.quad`.
    #[test]
    fn two_poles_have_the_noise_bandwidth_of_their_integral() {
        close(bandwidth_hz(1e3, Some(1e3)), 785.398_163, 5e-7);
        close(bandwidth_hz(1e3, Some(10e3)), 1_427.996_661, 5e-7);
        close(bandwidth_hz(1e6, Some(160e3)), 216_661.562_317, 5e-6);
        close(bandwidth_hz(1e3, None), 1_570.796_327, 5e-7);
    }

    /// Johnson and Nyquist: 1 kΩ at 290 K gives 4.001941 nV/√Hz, 1 MΩ over 10 kHz at 300 K gives 12.8716 µV; kT/C of
    /// 10 pF at 300 K is 20.3518 µV (scipy.constants 1.17.1).
    #[test]
    fn thermal_noise_matches_the_published_values() {
        close(johnson_v(1e3, 290.0 - ZERO_CELSIUS_K, 1.0) * 1e9, 4.001_941, 5e-7);
        close(johnson_v(1e6, 300.0 - ZERO_CELSIUS_K, 1e4) * 1e6, 12.8716, 5e-5);
        close(sampled_v(1e-11, 300.0 - ZERO_CELSIUS_K) * 1e6, 20.3518, 5e-5);
    }
}
