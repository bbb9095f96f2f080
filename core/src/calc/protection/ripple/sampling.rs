//! What sampling and averaging make of the ripple.
//!
//! ```text
//! Formula    gain of the mean of n samples: |sin(π n f/f_s)| / (n |sin(π f/f_s)|)  (Dirichlet kernel)
//!            one word every n samples: f_o = f_s/n; beat |f − round(f/f_o) f_o|
//! Symbols    f [Hz] ripple or one of its harmonics, f_s [Hz] sample rate
//! Triangle   straight pieces behind a pole: y = u0 + s t − s τ + K e^(−t/τ), so that the sum of the samples is
//!            a + b φ + c e^(−φ/τ) between two phases at which a sample passes a corner: its extremes are exact, at every
//!            phase φ. No sum over harmonics is needed, which would not converge where the signal jumps
//! Clipped    each sample is clipped before the mean: a clipped part of the wave is a level piece among the others; of a
//!            sine the samples that are not clipped add up to one sine between two crossings
//! Range      of rising parts: the mean jumps where two samples meet the two corners at once; of many samples
//!            |mean of samples − mean| ≤ (y_max − y_min) max over arcs |share of samples − length|
//! Valid      short samples (no integration in the sampler), equal weights
//! Convention the beat's amplitude is half its peak to peak: that of the harmonic times chain and averaging
//! Source     geometric sum of equally spaced samples; Koksma's inequality on the circle for a signal that rises and falls once
//! ```

use std::f64::consts::PI;

use super::wave::Piece;

/// Phases that lie nearer, as a share of the period, are one.
const SAME: f64 = 1e-9;

/// Time constants after which a filter has settled to a quarter of a percent.
const SETTLED: f64 = 6.0;

/// The distance of a value to the nearest whole number.
fn off_whole(value: f64) -> f64 {
    (value - libm::round(value)).abs()
}

/// Gain of the mean of `count` samples at a frequency.
pub fn average_gain(frequency_hz: f64, rate_hz: f64, count: u32) -> f64 {
    let n = f64::from(count);
    // Both sines of one distance: near a whole number of periods a sample nothing of their quotient is lost to rounding.
    let off = off_whole(frequency_hz / rate_hz);
    let below = libm::sin(PI * off);
    if count <= 1 || below == 0.0 {
        return 1.0;
    }
    (libm::sin(PI * off_whole(off * n)) / (n * below)).min(1.0)
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

/// The rising parts at which two of the samples meet the two corners of a triangle at once, from both sides: so near that
/// nothing lies between, and so far that a filter has settled by then.
pub fn meetings(frequency_hz: f64, rate_hz: f64, count: u32, filter_s: f64) -> Vec<f64> {
    let apart = phases(frequency_hz, rate_hz, count);
    let mut parts: Vec<f64> = apart.into_iter().flat_map(|share| [share, 1.0 - share]).collect();
    parts.sort_by(f64::total_cmp);
    parts.dedup_by(|next, kept| *next - *kept < SAME);
    let beside = (10.0 * SAME).max(SETTLED * filter_s * frequency_hz);
    parts.into_iter().flat_map(|part| [part - beside, part, part + beside]).collect()
}

/// How much more or less of the samples than its share an arc of the period may hold. The mean of samples of a signal that
/// rises and falls once a period is off its own mean by no more than so much of its range: the signal is made of arcs.
pub fn uneven(phases: &[f64]) -> f64 {
    let count = phases.len() as f64;
    let ahead = phases.iter().enumerate().map(|(i, share)| i as f64 / count - share);
    let (low, high) = ahead.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), u| (low.min(u), high.max(u)));
    (high - low + 1.0 / count).min(1.0)
}

/// The corner at the end of a piece, which the samples pass in the order of falling phase: that of the next to come.
struct Corner {
    at_s: f64,
    /// Samples that have passed it.
    passed: usize,
    /// Samples that lie before it at the phase zero.
    before: usize,
    /// When the next sample passes it, s; never once all have.
    next_s: f64,
    /// What a sample that passes it adds to the sums: what stays, what grows, what decays.
    adds: [f64; 3],
}

impl Corner {
    fn find_next(&mut self, phases: &[f64], period: f64) {
        let passes = |i: usize, turns: f64| self.at_s - (phases[i] - turns) * period;
        let count = phases.len();
        self.next_s = if self.passed < self.before {
            passes(self.before - 1 - self.passed, 0.0)
        } else if self.passed < count {
            passes(count - 1 - (self.passed - self.before), 1.0)
        } else {
            f64::INFINITY
        };
    }
}

/// The lowest and the highest mean of samples of pieces over every phase, as deviations from the true mean, A.
pub fn mean_range(period: f64, pieces: &[Piece], phases: &[f64]) -> (f64, f64) {
    let (count, tau) = (phases.len() as f64, pieces.first().map_or(0.0, |piece| piece.tau));
    let decay = |time: f64| if tau > 0.0 { libm::exp(-time / tau) } else { 0.0 };
    // What does not decay at the beginning of a piece, and what does.
    let level = |piece: &Piece| piece.input - piece.slope * tau;
    let part = |piece: &Piece| if tau > 0.0 { piece.start - piece.input + piece.slope * tau } else { 0.0 };
    let (mut a, mut b, mut c) = (0.0, 0.0, 0.0);
    let (mut begin_s, mut first) = (0.0, 0);
    let mut corners: Vec<Corner> = Vec::with_capacity(pieces.len());
    for (i, piece) in pieces.iter().enumerate() {
        let at_s = if i + 1 == pieces.len() { period } else { begin_s + piece.length_s };
        let before = phases.partition_point(|share| share * period < at_s);
        for share in &phases[first..before] {
            let time = share * period - begin_s;
            a += level(piece) + piece.slope * time;
            b += piece.slope;
            c += part(piece) * decay(time);
        }
        let (left, entered) = (piece, &pieces[(i + 1) % pieces.len()]);
        let adds = [
            level(entered) - level(left) - left.slope * left.length_s,
            entered.slope - left.slope,
            part(entered) - part(left) * decay(left.length_s),
        ];
        let mut corner = Corner { at_s, passed: 0, before, next_s: 0.0, adds };
        corner.find_next(phases, period);
        corners.push(corner);
        (begin_s, first) = (at_s, before);
    }
    let (mut low, mut high, mut now) = (f64::INFINITY, f64::NEG_INFINITY, 0.0);
    let mut take = |sum: f64| {
        low = low.min(sum);
        high = high.max(sum);
    };
    loop {
        let next = corners.iter().fold(f64::INFINITY, |next, corner| next.min(corner.next_s));
        if next == f64::INFINITY {
            break;
        }
        let length = (next - now).max(0.0);
        let left = decay(length);
        if length > SAME * period {
            take(a + c);
            take(a + b * length + c * left);
            // Where what grows and what decays are in balance, if inside.
            let ratio = c / (b * tau);
            if ratio > 1.0 && ratio * left < 1.0 {
                let turn = tau * libm::log(ratio);
                take(a + b * turn + c * decay(turn));
            }
        }
        a += b * length;
        c *= left;
        now = next;
        // All that pass a corner at this phase do so together.
        for corner in &mut corners {
            while corner.next_s <= now + SAME * period {
                a += corner.adds[0];
                b += corner.adds[1];
                c += corner.adds[2];
                corner.passed += 1;
                corner.find_next(phases, period);
            }
        }
    }
    (low / count, high / count)
}

/// The same of a sine of which each sample is held between two levels.
pub fn sine_range(amplitude: f64, [low, high]: [f64; 2], phases: &[f64]) -> (f64, f64) {
    let turn = 2.0 * PI;
    // Where the sine crosses the levels, as angles.
    let crossings = [low, high].into_iter().filter(|level| level.abs() < amplitude).flat_map(|level| {
        let angle = libm::asin(level / amplitude);
        [if angle < 0.0 { angle + turn } else { angle }, PI - angle]
    });
    let mut crossings: Vec<f64> = crossings.collect();
    crossings.sort_by(f64::total_cmp);
    let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
    // Held at a level, and free: a sine of the common phase by its two parts.
    let held =
        |angle: f64| Some(amplitude * libm::sin(angle)).filter(|y| *y <= low || *y >= high).map(|y| y.clamp(low, high));
    let parts = |angle: f64, inside: f64| match held(inside) {
        Some(level) => [level, 0.0, 0.0],
        None => [0.0, amplitude * libm::sin(angle), amplitude * libm::cos(angle)],
    };
    // What changes when a sample passes a crossing.
    let mut events: Vec<(f64, [f64; 3])> = Vec::with_capacity(phases.len() * crossings.len() + 1);
    let mut sums = [0.0; 3];
    for share in phases {
        let angle = share * turn;
        let at = crossings.partition_point(|crossing| *crossing <= angle);
        let inside = |segment: usize| {
            let from =
                if segment == 0 { crossings.last().map_or(0.0, |last| last - turn) } else { crossings[segment - 1] };
            let to =
                crossings.get(segment).copied().unwrap_or_else(|| crossings.first().map_or(turn, |first| first + turn));
            0.5 * (from + to)
        };
        let mut now = parts(angle, inside(at));
        sums = add(sums, now, 1.0);
        for step in 0..crossings.len() {
            let index = (at + step) % crossings.len();
            let passes = crossings[index] - angle + if at + step >= crossings.len() { turn } else { 0.0 };
            let then = parts(angle, inside(index + 1));
            events.push((passes, add(then, now, -1.0)));
            now = then;
        }
    }
    events.push((turn, [0.0; 3]));
    events.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut from = 0.0;
    for (at, change) in events {
        let [level, sine, cosine] = sums;
        let value = |angle: f64| level + sine * libm::cos(angle) + cosine * libm::sin(angle);
        if at > from {
            // Its crest and its trough, each when it lies between.
            let crest = libm::atan2(cosine, sine);
            let turns =
                [crest, crest + PI, crest + turn, crest - PI].into_iter().filter(|angle| (from..at).contains(angle));
            for angle in turns.chain([from, at]) {
                (least, most) = (least.min(value(angle)), most.max(value(angle)));
            }
            from = at;
        }
        sums = add(sums, change, 1.0);
    }
    (least / phases.len() as f64, most / phases.len() as f64)
}

fn add(one: [f64; 3], other: [f64; 3], factor: f64) -> [f64; 3] {
    std::array::from_fn(|i| one[i] + factor * other[i])
}

#[cfg(test)]
mod tests {
    use super::super::wave::{Clipped, Ripple};
    use super::*;

    /// Against samples taken one by one at 4000 phases: the exact extremes are never passed, and nearly met.
    #[test]
    fn the_extremes_over_every_phase_hold_samples_taken_one_by_one() {
        let whole = [-1e4, 1e4];
        for (rise, tau, rate, n, [least_a, most_a]) in [
            (0.3, 2e-6, 160e3, 16, whole),
            (0.1, 0.0, 160e3, 16, whole),
            (0.5, 1e-4, 37e3, 7, whole),
            (0.9, 3e-7, 10e3, 5, whole),
            (0.42, 5e-6, 1e6, 33, whole),
            (0.3, 1e-2, 160e3, 16, whole),
            (0.3, 2e-6, 163e3, 16, [-12.0, 20.0]),
            (0.3, 0.0, 163e3, 16, [-1e4, 9.0]),
            (0.42, 5e-6, 37e3, 7, [0.0, 1e4]),
            (0.3, 0.0, 160e3, 16, [25.0, 60.0]),
        ] {
            let ripple = Ripple {
                mean_a: 0.0,
                peak_to_peak_a: 60.0,
                frequency_hz: 10e3,
                rise: Some(rise),
                shunt_s: 9e-9 / 35e-6,
            };
            let seen = ripple.behind(tau);
            let Clipped::Pieces(pieces) = seen.clipped(least_a, most_a) else { panic!("a triangle") };
            let (low, high) = mean_range(seen.period_s(), &pieces, &phases(10e3, rate, n));
            let mean = |phase: f64| {
                let sample = |k: u32| {
                    let turns = phase + f64::from(k) * 10e3 / rate;
                    seen.at((turns - turns.floor()) / 10e3).clamp(least_a, most_a)
                };
                (0..n).map(sample).sum::<f64>() / f64::from(n)
            };
            let all: Vec<f64> = (0..4000).map(|i| mean((f64::from(i) + 0.37) / 4000.0)).collect();
            let (least, most) = all.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), y| (l.min(*y), h.max(*y)));
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
        // Whole periods from sample to sample, whatever rounding leaves of them: every sample is the same.
        for (f, rate, n) in [(4733.7, 1577.9, 10), (20e3, 20e3 / 7.0, 9), (57.3, 19.1, 8)] {
            assert!((average_gain(f, rate, n) - 1.0).abs() < 1e-9, "{f} {rate} {n}");
        }
        assert_eq!((beat_hz(100.0, 250.0, 5), beat_hz(10e3, 1000.0, 1)), (0.0, 0.0));
    }
}
