//! # The first complete row on a ramp
//!
//! A quantity that moves towards the hazard puts sample after sample beyond the threshold, and noise takes some back. How
//! far beyond the threshold the quantity is when the first row is complete has a distribution; the hazard must lie further
//! away in all but a small share of the cases.
//!
//! ```text
//! Formula    sample j before the last one in time lies at d − (j − 1 + φ) r/f_s from the threshold, φ even in 0 … 1,
//!            and is beyond with Φ of that over u; late: no n in a row among them
//!            white: G_k = G_(k−1) − f_k,  f_k = G_(k−n−1) (1 − p_(k−n)) p_(k−n+1) … p_k  (first complete row at k)
//!            else, for each drawn noise x: d* = min over rows of the largest (j − 1 + φ) r/f_s − u x_j in the row;
//!            late at d are those with d* > d
//! Kept       at least the n samples that take their time without noise: that noise trips early is not counted on
//! Drawn      8,000 courses of the noise, counted through (same numbers for every design), from the last sample back: noise
//!            is the same in both directions of time
//! Long ramps the last 2,000 samples count, what would have tripped before is left out: the share is an upper limit
//! Long rows  of more than 2,000 samples only the last one that there is time for counts: an upper limit, too
//! Symbols    d distance from threshold to hazard less error and what later times take; r slope, f_s rate, u noise
//! Source     renewal equation of the first row (closed form for white noise); events drawn for others; independent chain
//!            and events in tests/python
//! ```

use std::collections::VecDeque;
use std::f64::consts::PI;

use super::rows::{Autocorrelation, Noise};
use crate::numeric::first_place;
use crate::propagation::{normal_distribution, normal_quantile, philox4x32};
use crate::work::{Halt, Work};

/// Samples that are asked at most.
pub(super) const SAMPLES: usize = 2000;
/// Further than this many sigma no noise reaches.
const REACH: f64 = 8.3;
/// Places of a distance within that reach.
const PLACES: u32 = 1 << 20;
/// The logarithm of a chance to be beyond that is as good as sure: 2,000 of them are 2·10⁻¹³.
const SURE: f64 = 1e-16;
/// A share that is none.
const NO_SHARE: f64 = 1e-17;
/// Courses that are drawn.
pub const COURSES: u32 = 8000;
/// Waves of a course.
const WAVES: usize = 48;
/// The golden ratio less one: its multiples spread evenly.
const GOLDEN: f64 = 0.618_033_988_749_894_9;
/// Steps of all courses together.
const STEPS: usize = 1_000_000;

/// The distribution of the distance that the first complete row takes.
#[derive(Clone, Debug)]
pub struct Ramp {
    noise: Noise,
    /// What the ramp moves between two samples.
    step: f64,
    /// The distances of drawn courses, ascending; none for white noise.
    drawn: Vec<f64>,
}

/// A share, and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// The share.
    pub share: f64,
    /// Half of its interval at three sigma; nothing for a closed form.
    pub within: f64,
}

impl Ramp {
    /// The ramp of a slope in a noise.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn of(noise: Noise, slope: f64, work: Work) -> Result<Self, Halt> {
        let step = slope / noise.sample_hz;
        let closed = noise.kind == Autocorrelation::White || noise.in_a_row as usize > SAMPLES;
        let quiet = noise.rms == 0.0 || step == 0.0 || closed;
        let drawn = if quiet { Vec::new() } else { courses(&noise, step, work)? };
        Ok(Self { noise, step, drawn })
    }

    /// Whether courses of noise were drawn.
    pub const fn is_drawn(&self) -> bool {
        !self.drawn.is_empty()
    }

    /// What the row takes without noise.
    pub fn quiet(&self) -> f64 {
        self.step * f64::from(self.noise.in_a_row)
    }

    /// The share of cases in which the row is not complete when the quantity is so far beyond the threshold.
    pub fn late(&self, distance: f64) -> Share {
        let sharp = |share: f64| Share { share, within: 0.0 };
        let row = f64::from(self.noise.in_a_row);
        if self.step == 0.0 {
            // It never gets further: noise or not, there is all the time of the world.
            return sharp(if distance > 0.0 || (distance == 0.0 && self.noise.rms == 0.0) { 0.0 } else { 1.0 });
        }
        if self.noise.rms == 0.0 {
            return sharp((row - distance / self.step).clamp(0.0, 1.0));
        }
        if self.drawn.is_empty() {
            return sharp(self.white(distance, &mut Samples::default()));
        }
        let all = self.drawn.len() as f64;
        let later = (self.drawn.len() - self.drawn.partition_point(|one| *one <= distance)) as f64;
        // Nothing seen in M is below 3/M; else the spread of a count.
        let within = (3.0 * (later * (1.0 - later / all)).sqrt()).max(3.0) / all;
        Share { share: later / all, within }
    }

    /// The distance at which no more than this share is late, never less than without noise: what is certain to be enough,
    /// and what may be; they differ where courses are drawn.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn distance_for(&self, share: f64, work: Work) -> Result<(f64, f64), Halt> {
        let quiet = self.quiet();
        if self.noise.rms == 0.0 || self.step == 0.0 {
            return Ok((quiet, quiet));
        }
        if let Some(last) = self.drawn.last() {
            let of = |side: f64| {
                let enough = |distance: f64| {
                    let late = self.late(distance);
                    side.mul_add(late.within, late.share) <= share
                };
                if enough(quiet) {
                    return quiet;
                }
                // A share that so few courses cannot show needs more than all of them.
                let first = self.drawn.partition_point(|distance| !enough(*distance));
                self.drawn.get(first).map_or(last + REACH * self.noise.rms, |distance| distance.max(quiet))
            };
            return Ok((of(1.0), of(-1.0)));
        }
        // In sigma the share falls all but straight.
        let sigma = |late: f64| normal_quantile(late.clamp(NO_SHARE, 1.0 - f64::EPSILON));
        let at = |place: u32| REACH * self.noise.rms * f64::from(place) / f64::from(PLACES) + quiet;
        let mut samples = Samples::default();
        let mut excess = |place: u32| {
            work.go_on()?;
            let late = self.white(at(place), &mut samples);
            let height = (sigma(late) - sigma(share)).abs();
            Ok(if late > share { height } else { -height })
        };
        let first = excess(0)?;
        let place = if first > 0.0 { first_place(PLACES, [first, sigma(NO_SHARE) - sigma(share)], excess)? } else { 0 };
        Ok((at(place), at(place)))
    }

    /// The closed form for white noise, over the phase of the samples.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, positive and bounded")]
    fn white(&self, distance: f64, samples: &mut Samples) -> f64 {
        let phases = phases(self.step, self.noise.rms);
        let late = |at: u32| self.without_row(distance, (f64::from(at) + 0.5) / phases, samples);
        (0..phases as u32).map(late).sum::<f64>() / phases
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, positive and bounded")]
    fn without_row(&self, distance: f64, phase: f64, samples: &mut Samples) -> f64 {
        let n = self.noise.in_a_row as usize;
        if n > SAMPLES {
            return self.without_last_row(distance, phase);
        }
        let reach = ((distance + REACH * self.noise.rms) / self.step).ceil().max(0.0);
        let count = (reach.min(1e9) as usize + 1).min(SAMPLES);
        if count < n {
            return 1.0;
        }
        // In the order of time; the logarithms of the chances summed up, so that a row is a difference.
        let Samples { sums, still, chances } = samples;
        for list in [&mut *sums, &mut *still, &mut *chances] {
            list.clear();
            list.reserve(count + 1);
        }
        sums.push(0.0);
        still.push(1.0);
        for k in 0..count {
            let back = (count - 1 - k) as f64 + phase;
            let z = (distance - back * self.step) / self.noise.rms;
            // One tail is enough: the other side is what is left; where no noise reaches, there is none.
            let tail = if z > REACH { 0.0 } else { normal_distribution(-z.abs()) };
            let (log, chance) = if z < 0.0 {
                (libm::log(tail.max(f64::MIN_POSITIVE)), 1.0 - tail)
            } else if tail > 0.0 {
                (libm::log1p(-tail), tail)
            } else {
                (0.0, 0.0)
            };
            chances.push(chance);
            sums.push(sums[k] + log);
            let first = if k + 1 < n {
                0.0
            } else {
                let before = if k + 1 == n { 1.0 } else { still[k - n] * chances[k - n] };
                if before > 0.0 { before * libm::exp(sums[k + 1] - sums[k + 1 - n]) } else { 0.0 }
            };
            still.push(still[k] - first);
            // Rounding has the rest.
            if still[k + 1] < f64::EPSILON {
                return 0.0;
            }
        }
        still[count].clamp(0.0, 1.0)
    }

    /// Of a long row only the last one that there is time for counts, block by block with the sample of each that is least
    /// far: an upper limit for white noise, and for all that is correlated with a positive sign (Slepian's inequality).
    fn without_last_row(&self, distance: f64, phase: f64) -> f64 {
        let row = f64::from(self.noise.in_a_row);
        let block = (row / SAMPLES as f64).ceil();
        let log = |at: usize| {
            let (first, end) = ((at as f64 * block).min(row), ((at as f64 + 1.0) * block).min(row));
            let z = (distance - (end - 1.0 + phase) * self.step) / self.noise.rms;
            (end - first) * libm::log(normal_distribution(z).max(f64::MIN_POSITIVE))
        };
        // From the nearest on; further away than noise reaches every one is beyond.
        let logs = (0..SAMPLES).rev().map(log).take_while(|log| *log < -SURE);
        -libm::expm1(logs.sum::<f64>())
    }
}

/// What the distance for a share costs in white noise, in units: some eight questions, each over all phases, of which a
/// sample that noise reaches takes 80 ns and any other 5.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, positive and bounded")]
pub(super) fn white_units(noise: &Noise, slope: f64) -> u64 {
    let (step, most) = (slope / noise.sample_hz, SAMPLES as f64);
    if step == 0.0 {
        return 0;
    }
    let reached = (2.0 * REACH * noise.rms / step).min(most);
    let row = f64::from(noise.in_a_row).min(most);
    (8.0 * phases(step, noise.rms) * (24.0 * reached + 1.5 * row)) as u64
}

/// Over how many phases of the samples white noise is averaged.
pub(super) fn phases(step: f64, rms: f64) -> f64 {
    (16.0 * step / rms).ceil().clamp(2.0, 256.0)
}

/// What is known of the samples of a ramp, in the order of time: kept between phases, so that each costs no list of its own.
#[derive(Debug, Default)]
struct Samples {
    /// The logarithms of the chances to be beyond, summed up.
    sums: Vec<f64>,
    /// The chance that no row is complete yet.
    still: Vec<f64>,
    /// The chance that a sample is not beyond.
    chances: Vec<f64>,
}

/// The distances of drawn courses, ascending.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, positive and bounded")]
fn courses(noise: &Noise, step: f64, work: Work) -> Result<Vec<f64>, Halt> {
    let n = noise.in_a_row as usize;
    // A row further away than what noise can shift is no candidate.
    let far = ((2.0 * REACH * noise.rms / step).ceil().min(1e9) as usize).saturating_add(n).min(SAMPLES);
    let count = u32::try_from(STEPS / far).unwrap_or(COURSES).clamp(200, COURSES);
    let mut drawn = Vec::with_capacity(count as usize);
    for trial in 0..count {
        if trial % 8 == 0 {
            work.go_on()?;
        }
        let mut draws = Draws { trial, at: 0 };
        // Every phase once, in an order that has nothing to do with the course.
        let phase = (f64::from(trial) * GOLDEN).fract();
        drawn.push(match noise.kind {
            Autocorrelation::Gaussian => distance(noise, step, far, phase, Waves::of(noise, &mut draws)),
            _ => distance(noise, step, far, phase, Pole::of(noise, draws)),
        });
    }
    drawn.sort_by(f64::total_cmp);
    Ok(drawn)
}

/// The smallest distance at which a row is complete in a course of noise, from the last sample back.
fn distance(noise: &Noise, step: f64, far: usize, phase: f64, course: impl Iterator<Item = f64>) -> f64 {
    let (n, u) = (noise.in_a_row as usize, noise.rms);
    // What the samples of the row need, falling: the front is the largest.
    let mut largest: VecDeque<(usize, f64)> = VecDeque::new();
    let mut best = f64::INFINITY;
    for (j, x) in course.take(far).enumerate() {
        let needs = (j as f64 + phase) * step - u * x;
        while largest.back().is_some_and(|(_, value)| *value <= needs) {
            largest.pop_back();
        }
        largest.push_back((j, needs));
        if largest.front().is_some_and(|(at, _)| *at + n <= j) {
            largest.pop_front();
        }
        if j + 1 >= n {
            best = best.min(largest.front().map_or(f64::INFINITY, |(_, value)| *value));
        }
        // Further back every row needs more than the best one.
        if j as f64 * step - REACH * u > best {
            break;
        }
    }
    best
}

/// Uniform numbers of one course: counted through, the same for every design.
struct Draws {
    trial: u32,
    at: u32,
}

impl Draws {
    fn uniform(&mut self) -> f64 {
        let words = philox4x32([self.trial, self.at, 0, 0], [0x7468_7265, 0x7368_6f6c]);
        self.at += 1;
        (f64::from(words[0]) + 0.5) / 4_294_967_296.0
    }

    fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }
}

/// Noise behind one pole: each sample keeps a part of the last one.
struct Pole {
    draws: Draws,
    keeps: f64,
    last: f64,
}

impl Pole {
    fn of(noise: &Noise, mut draws: Draws) -> Self {
        let last = draws.normal();
        Self { keeps: noise.kind.at(noise.hz, 1.0 / noise.sample_hz), last, draws }
    }
}

impl Iterator for Pole {
    type Item = f64;

    fn next(&mut self) -> Option<f64> {
        let now = self.last;
        self.last = self.keeps * now + (1.0 - self.keeps * self.keeps).sqrt() * self.draws.normal();
        Some(now)
    }
}

/// Noise of a Gaussian spectrum: waves of normal amplitude whose frequencies are drawn from it, one from each of its equal
/// parts. Every sample is normal, and the correlation over all courses is that of the spectrum.
struct Waves([Wave; WAVES]);

#[derive(Clone, Copy, Default)]
struct Wave {
    now: [f64; 2],
    turn: [f64; 2],
}

impl Waves {
    fn of(noise: &Noise, draws: &mut Draws) -> Self {
        let mut waves = [Wave::default(); WAVES];
        let (parts, size) = (WAVES as f64, 1.0 / (WAVES as f64).sqrt());
        for (part, wave) in waves.iter_mut().enumerate() {
            let at = normal_quantile((part as f64 + draws.uniform()) / parts);
            let turn = 2.0 * PI * noise.hz / noise.sample_hz * at;
            wave.turn = [libm::cos(turn), libm::sin(turn)];
            wave.now = [size * draws.normal(), size * draws.normal()];
        }
        Self(waves)
    }
}

impl Iterator for Waves {
    type Item = f64;

    fn next(&mut self) -> Option<f64> {
        let mut sum = 0.0;
        for Wave { now: [a, b], turn: [c, s] } in &mut self.0 {
            sum += *a;
            (*a, *b) = (*a * *c - *b * *s, *a * *s + *b * *c);
        }
        Some(sum)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(noise: Noise, slope: f64) -> Ramp {
        Ramp::of(noise, slope, Work::FREE).expect("nobody stops it")
    }

    fn noise(kind: Autocorrelation, hz: f64) -> Noise {
        Noise { rms: 10e-3, kind, hz, in_a_row: 10, sample_hz: 10.0 }
    }

    /// 15 mV to go at 5 mV/s, ten at 10 Hz, 10 mV white: late in 48.5 %, with 4 mV of error in 81.5 %; never without
    /// noise. An independent chain and events: `tests/python/event_thresholds.py`.
    #[test]
    fn late_as_an_independent_chain_gives_it() {
        let white = ramp(noise(Autocorrelation::White, 0.0), 5e-3);
        assert!((white.late(15e-3).share - 0.485).abs() < 1e-3, "{:?}", white.late(15e-3));
        assert!((white.late(11e-3).share - 0.815).abs() < 1e-3, "{:?}", white.late(11e-3));
        let quiet = ramp(Noise { rms: 0.0, ..noise(Autocorrelation::White, 0.0) }, 5e-3);
        assert_eq!(
            (quiet.late(15e-3).share, quiet.distance_for(1e-3, Work::FREE).map(|both| both.0)),
            (0.0, Ok(quiet.quiet()))
        );
    }

    /// Drawn courses of noise that is all but white are late as often as the closed form says.
    #[test]
    fn events_agree_with_the_chain() {
        let white = ramp(noise(Autocorrelation::White, 0.0), 5e-3);
        for kind in [Autocorrelation::OnePole, Autocorrelation::Gaussian] {
            let drawn = ramp(noise(kind, 1e3), 5e-3);
            for distance in [5e-3, 11e-3, 15e-3, 25e-3] {
                let (closed, events) = (white.late(distance).share, drawn.late(distance));
                // So many waves are not quite as independent as white samples.
                assert!(
                    (events.share - closed).abs() <= events.within + 2e-3,
                    "{kind:?} {distance}: {closed} {events:?}"
                );
            }
        }
    }

    /// At the distance for a share no more is late, and a little nearer more is.
    #[test]
    fn the_distance_for_a_share_is_where_it_is_reached() {
        for (kind, hz) in
            [(Autocorrelation::White, 0.0), (Autocorrelation::OnePole, 0.5), (Autocorrelation::Gaussian, 0.5)]
        {
            let ramp = ramp(noise(kind, hz), 5e-3);
            let (distance, perhaps) = ramp.distance_for(0.01, Work::FREE).expect("nobody stops it");
            assert!(perhaps <= distance);
            let late = ramp.late(distance);
            assert!(late.share + late.within <= 0.01 && late.share > 1e-3, "{kind:?} {late:?}");
            assert!(ramp.late(distance - 2e-3).share > late.share);
        }
    }
}
