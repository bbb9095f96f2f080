//! # What a mean of readings is wrong by
//!
//! A code stands for all currents of a step, a dead band swallows what is small, and a wave that is sampled comes back as a
//! slow one. Noise at the rounded word makes the mean of the codes follow the current; without it the mean stands still.
//!
//! ```text
//! Formula    rounding: mean error (q/π) Σ (−1)ᵏ/k exp(−2π²k²s²/q²) sin(2πkμ/q); largest (q/π) exp(−2π²s²/q²), q/2 without
//!            noise;  dead band: lost μ(Φ(v) − Φ(u)) + s(φ(u) − φ(v)), u, v = (∓b − μ)/s
//!            ripple: |E| ≤ Â |H| min(t, T/sin(π fa T)), fa the alias of f at the readings
//! Symbols    q step, s noise at the word, μ mean current, b dead band, T interval of the readings
//! Valid      noise normal; one current for longer than a reading
//! Source     Fourier series of the rounding error over a normal density, moments of the cut normal density, sum of a
//!            sampled sine: derived here, checked against simulation (tests/python)
//! ```

use std::f64::consts::PI;

use super::input::{Counter, Counting, Rounding};
use crate::physics::timing::{alias_hz, average_gain};
use crate::propagation::normal_distribution;

/// Noise below this part of a step leaves the mean code where it is.
pub const DITHER: f64 = 0.3;

/// Mean error of a code rounded to the nearest, A: what is counted less what flows.
pub fn rounded_mean_error_a(current_a: f64, step_a: f64, noise_a: f64) -> f64 {
    if step_a <= 0.0 {
        return 0.0;
    }
    let ratio = noise_a / step_a;
    if ratio < 1e-3 {
        return (current_a / step_a).round() * step_a - current_a;
    }
    let phase = 2.0 * PI * current_a / step_a;
    let mut sum = 0.0;
    for k in 1..=4000 {
        let k = f64::from(k);
        let size = libm::exp(-2.0 * PI * PI * k * k * ratio * ratio) / k;
        sum += if k % 2.0 == 0.0 { size } else { -size } * libm::sin(k * phase);
        if size < 1e-12 {
            break;
        }
    }
    step_a / PI * sum
}

/// The largest mean error of rounding to the nearest, A.
pub fn rounding_limit_a(step_a: f64, noise_a: f64) -> f64 {
    if noise_a >= DITHER * step_a && step_a > 0.0 {
        let ratio = noise_a / step_a;
        step_a / PI * libm::exp(-2.0 * PI * PI * ratio * ratio)
    } else {
        step_a / 2.0
    }
}

/// What a dead band takes from the mean of readings, A.
pub fn lost_in_band_a(mean_a: f64, band_a: f64, noise_a: f64) -> f64 {
    if noise_a <= 1e-9 * band_a || band_a <= 0.0 {
        return if mean_a.abs() < band_a { mean_a } else { 0.0 };
    }
    let [u, v] = [-band_a, band_a].map(|end| (end - mean_a) / noise_a);
    let density = |z: f64| libm::exp(-0.5 * z * z) / (2.0 * PI).sqrt();
    mean_a * (normal_distribution(v) - normal_distribution(u)) + noise_a * (density(u) - density(v))
}

/// The most that a dead band takes, A, of readings whose mean lies anywhere in an interval of one sign.
pub fn most_lost_a(from_a: f64, to_a: f64, band_a: f64, noise_a: f64) -> f64 {
    /// Places of the search: what is lost rises to one crest and falls.
    const PLACES: u32 = 64;
    // Beyond six standard deviations nothing is lost.
    let (from, to) = (from_a.max(0.0), to_a.min(band_a + 6.0 * noise_a));
    if band_a <= 0.0 || !(from < to) {
        return lost_in_band_a(from, band_a, noise_a).max(0.0);
    }
    // Without noise all below the band is lost: its supremum is the band itself, which no sample of an open interval reaches.
    let sharp = if noise_a <= 1e-9 * band_a { to.min(band_a) } else { 0.0 };
    let at = |place: u32| from + (to - from) * f64::from(place) / f64::from(PLACES);
    let lost = |mean: f64| lost_in_band_a(mean, band_a, noise_a);
    let best = (0..=PLACES).max_by(|one, other| lost(at(*one)).total_cmp(&lost(at(*other)))).unwrap_or(0);
    let (mut low, mut high) = (at(best.saturating_sub(1)), at((best + 1).min(PLACES)));
    for _ in 0..24 {
        let third = (high - low) / 3.0;
        if lost(low + third) < lost(high - third) {
            low += third;
        } else {
            high -= third;
        }
    }
    lost(f64::midpoint(low, high)).max(lost(at(best))).max(sharp)
}

/// What a level is wrong by because readings are codes and small ones count for nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Level {
    /// Of known sign, A.
    pub known_a: f64,
    /// Half-width of what is left, A.
    pub limit_a: f64,
    /// What may be lost: from nothing to this, toward zero, A.
    pub lost_a: f64,
}

/// A level of the current. `offset_a` is how far its reading may be from it.
pub fn level(counter: &Counter, counting: &Counting, current_a: f64, offset_a: f64) -> Level {
    let (q, s, size) = (counting.step_a, counter.noise_a, current_a.abs());
    let near = (size - offset_a).max(0.0);
    let mut level = Level::default();
    match counting.rounding {
        _ if q <= 0.0 => {}
        Rounding::Nearest => level.limit_a = rounding_limit_a(q, s),
        Rounding::Floor => (level.known_a, level.limit_a) = (-q / 2.0, rounding_limit_a(q, s)),
        Rounding::TowardZero if near > q + 4.0 * s => {
            (level.known_a, level.limit_a) = (-q / 2.0 * current_a.signum(), rounding_limit_a(q, s));
        }
        // Near zero the mean of cut codes lies between nothing and the current: at most a step less than it.
        Rounding::TowardZero => level.lost_a = if size > 0.0 { q.min(size + offset_a) } else { 0.0 },
    }
    // At no current the band only hides the offset, whose size it never raises: the offset counts in full.
    if size > 0.0 {
        level.lost_a += most_lost_a(near, size + offset_a, counting.dead_band_a, counter.reading_a());
    }
    level
}

/// What a ripple leaves in the count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alias {
    /// Amplitude that is left in the readings, A.
    pub left_a: f64,
    /// Where it comes back, lowest, Hz; nothing where it may stand still.
    pub at_hz: Option<f64>,
    /// Interval of the readings, s.
    pub interval_s: f64,
    /// What the wave itself holds, A·s, where the readings see all of the time: nothing of it beats then.
    pub whole_c: Option<f64>,
}

impl Alias {
    /// The most that is counted of it in a time, A·s.
    pub fn counted_c(&self, time_s: f64) -> f64 {
        if let Some(whole) = self.whole_c {
            return whole;
        }
        let beat = self.at_hz.map_or(f64::INFINITY, |at| self.interval_s / libm::sin(PI * at * self.interval_s));
        self.left_a * time_s.min(beat)
    }
}

/// The ripple as the readings have it; nothing without one.
pub fn alias(counter: &Counter, counting: &Counting) -> Option<Alias> {
    let (amplitude, f) = (counting.ripple_a, counting.ripple_hz);
    if amplitude <= 0.0 {
        return None;
    }
    let interval = counting.interval_s(counter);
    let within = counting.ripple_within_percent / 100.0 * f;
    let seen = counting.aperture_s.unwrap_or(interval);
    let gain = if seen > 0.0 {
        let x = PI * f * seen;
        // Where the frequency has a tolerance it may lie on a crest of the aperture's response, whose envelope is 1/x.
        let envelope = (1.0 / (PI * (f - within) * seen)).min(1.0);
        if within > 0.0 { envelope } else { (libm::sin(x) / x).abs() }
    } else if within > 0.0 {
        1.0
    } else {
        average_gain(f, 1.0 / counter.sample_s, counter.samples(), 1)
    };
    let away = alias_hz(f, 1.0 / interval) - within;
    // Readings that follow each other without a gap add up to the integral of the wave: half of it at most either way, Â/πf.
    let whole_c = (seen >= interval).then(|| amplitude / (PI * (f - within)));
    let at_hz = (away > 1e-9 * f || whole_c.is_some()).then_some(away.max(0.0));
    Some(Alias { left_a: amplitude * gain, at_hz, interval_s: interval, whole_c })
}
