//! What sampling and averaging make of the ripple.
//!
//! ```text
//! Formula    gain of the mean of n samples: |sin(π n f/f_s)| / (n |sin(π f/f_s)|)  (Dirichlet kernel)
//!            one word every n samples: f_o = f_s/n; beat |f − round(f/f_o) f_o|
//! Symbols    f [Hz] ripple or one of its harmonics, f_s [Hz] sample rate
//! Triangle   straight pieces behind a pole: y = u0 + s t − s τ + K e^(−t/τ), so that the sum of the samples is
//!            a + b φ + c e^(−φ/τ) between two phases at which a sample passes a corner: its extremes are exact, at every
//!            phase φ. No sum over harmonics is needed, which would not converge where the signal jumps
//! Valid      short samples (no integration in the sampler), equal weights, nothing clips
//! Convention the beat's amplitude is half its peak to peak: that of the harmonic times chain and averaging
//! Source     geometric sum of equally spaced samples
//! ```

use std::f64::consts::PI;

use super::wave::{Piece, Seen};

/// Phases that lie nearer, as a share of the period, are one.
const SAME: f64 = 1e-9;

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

/// The phases of `count` samples in the ripple's period, sorted.
pub fn phases(frequency_hz: f64, rate_hz: f64, count: u32) -> Vec<f64> {
    let ratio = frequency_hz / rate_hz;
    let phase = |k: u32| {
        let turns = f64::from(k) * ratio;
        let share = turns - libm::floor(turns);
        // One is zero, whatever the last bits say.
        if share > 1.0 - SAME { 0.0 } else { share }
    };
    let mut phases: Vec<f64> = (0..count).map(phase).collect();
    phases.sort_by(f64::total_cmp);
    phases
}

/// The lowest and the highest mean of samples of straight pieces over every phase, as deviations from the true mean, A.
pub fn mean_range(seen: &Seen, pieces: &[Piece; 2], phases: &[f64]) -> (f64, f64) {
    let (period, count) = (seen.period_s(), phases.len() as f64);
    let [rise, _] = pieces;
    let tau = rise.tau;
    let decay = |time: f64| if tau > 0.0 { libm::exp(-time / tau) } else { 0.0 };
    // What does not decay at the beginning of a piece, and what does.
    let level = |piece: &Piece| piece.input - piece.slope * tau;
    let part = |piece: &Piece| if tau > 0.0 { piece.start - piece.input + piece.slope * tau } else { 0.0 };
    let (mut a, mut b, mut c) = (0.0, 0.0, 0.0);
    for share in phases {
        let at = share * period;
        let (piece, time) = if at < rise.length_s { (&pieces[0], at) } else { (&pieces[1], at - rise.length_s) };
        a += level(piece) + piece.slope * time;
        b += piece.slope;
        c += part(piece) * decay(time);
    }
    // When a sample passes the upper corner, and when the lower one: each in order.
    let before = phases.iter().rev().map(|share| rise.length_s - share * period);
    let upper = before.clone().filter(|at| *at > 0.0).chain(before.filter(|at| *at <= 0.0).map(|at| at + period));
    let lower = phases.iter().rev().map(|share| period - share * period);
    let (mut upper, mut lower) = (upper.peekable(), lower.peekable());
    let (mut low, mut high, mut now) = (f64::INFINITY, f64::NEG_INFINITY, 0.0);
    let mut take = |sum: f64| {
        low = low.min(sum);
        high = high.max(sum);
    };
    loop {
        let next = match (upper.peek(), lower.peek()) {
            (Some(one), Some(other)) => one.min(*other),
            (Some(one), None) | (None, Some(one)) => *one,
            (None, None) => break,
        };
        let length = (next - now).max(0.0);
        if length > SAME * period {
            take(a + c);
            take(a + b * length + c * decay(length));
            let turn = tau * libm::log(c / (b * tau));
            if turn > 0.0 && turn < length {
                take(a + b * turn + c * decay(turn));
            }
        }
        a += b * length;
        c *= decay(length);
        now = next;
        // All that pass a corner at this phase do so together.
        for (events, [left, entered]) in
            [(&mut upper as &mut dyn Corners, [&pieces[0], &pieces[1]]), (&mut lower, [&pieces[1], &pieces[0]])]
        {
            while events.next_until(now + SAME * period) {
                a += level(entered) - level(left) - left.slope * left.length_s;
                b += entered.slope - left.slope;
                c += part(entered) - part(left) * decay(left.length_s);
            }
        }
    }
    (low / count, high / count)
}

/// Phases in order.
trait Corners {
    /// Takes the next one when it comes until then.
    fn next_until(&mut self, until: f64) -> bool;
}

impl<I: Iterator<Item = f64>> Corners for std::iter::Peekable<I> {
    fn next_until(&mut self, until: f64) -> bool {
        self.next_if(|at| *at <= until).is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::super::wave::Ripple;
    use super::*;

    /// Against samples taken one by one at 4000 phases: the exact extremes are never passed, and nearly met.
    #[test]
    fn the_extremes_over_every_phase_hold_samples_taken_one_by_one() {
        for (rise, tau, rate, n) in [
            (0.3, 2e-6, 160e3, 16),
            (0.1, 0.0, 160e3, 16),
            (0.5, 1e-4, 37e3, 7),
            (0.9, 3e-7, 10e3, 5),
            (0.42, 5e-6, 1e6, 33),
            (0.3, 1e-2, 160e3, 16),
        ] {
            let ripple = Ripple {
                mean_a: 0.0,
                peak_to_peak_a: 60.0,
                frequency_hz: 10e3,
                rise: Some(rise),
                shunt_s: 9e-9 / 35e-6,
            };
            let seen = ripple.behind(tau);
            let pieces = seen.pieces().expect("a triangle");
            let (low, high) = mean_range(&seen, pieces, &phases(10e3, rate, n));
            let mean = |phase: f64| {
                let sample = |k: u32| {
                    let turns = phase + f64::from(k) * 10e3 / rate;
                    seen.at((turns - turns.floor()) / 10e3)
                };
                (0..n).map(sample).sum::<f64>() / f64::from(n)
            };
            let all: Vec<f64> = (0..4000).map(|i| mean((f64::from(i) + 0.37) / 4000.0)).collect();
            let (least, most) = all.iter().fold((0.0_f64, 0.0_f64), |(l, h), y| (l.min(*y), h.max(*y)));
            let slack = 1e-6 + 0.01 * (high - low);
            assert!(low <= least + 1e-7 && least - low < slack, "{rise} {tau} {rate} {n}: {low} {least}");
            assert!(high >= most - 1e-7 && high - most < slack, "{rise} {tau} {rate} {n}: {high} {most}");
        }
    }

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
