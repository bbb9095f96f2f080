//! # What a chain would have read
//!
//! The current passes five parts at once: one without errors but those that are known, and the four whose limits all add in
//! the same direction, with the common gain of either sign, since only the end tells which is worse. Their readings are
//! taken as the chain takes them: seen during the aperture of each period, averaged, clipped, rounded, left out in the dead
//! band, and counted for the whole period.
//!
//! ```text
//! Formula    x = I (1 + r) (1 + g ± a/2) ± o ± e u ± n·[I ≠ 0], clipped; reading = coder(mean of x over the aperture)
//!            u' = (I²/I_e² − u)/τ_e, closed form; charge read = Σ reading · T; error = charge read − ∫I dt
//!            random: variance Σ Var(reading) T², drawn once a row with that variance
//! Symbols    r mean of R/R0 − 1 over the row, g common gain, a difference of the gains (+ for discharge, − for charge),
//!            o offset, e thermal EMF with its warming u and time constant τ_e, n bend, T period [s]
//! Valid      a row is one current: of a straight row the mean; a row longer than a reading has the mean code of all its
//!            readings. Noise does not reach the ends of the range. With a dead band a part between the limits may be
//!            worse than those at them, by the band times the time at most
//! Source     definition of each error; `code` for the mean of a code; Philox for the draws
//! ```

use super::code::Coder;
use super::options;
use super::sums::Total;
use crate::propagation::{normal_quantile, uniform};

/// The known part, and the four with all limits.
pub(super) const PARTS: usize = 5;
/// A period that is whole but for rounding.
const WHOLE: f64 = 1e-9;
/// The stream of the draws.
const STREAM: u32 = 0;

/// One part.
#[derive(Clone, Copy, Debug, Default)]
struct Part {
    discharge: f64,
    charge: f64,
    offset: f64,
    emf: f64,
    bend: f64,
    /// Of the reading that is being taken: ∫x over the aperture, and over all of it.
    seen: f64,
    open: f64,
    /// Charge that it has read, A s.
    read: Total,
}

/// A row as the chain sees it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Passing {
    pub current: f64,
    pub square: f64,
    pub seconds: f64,
    pub change: f64,
    pub line: u64,
}

/// A chain on its way through a profile.
#[derive(Clone, Debug)]
pub(super) struct Chain {
    parts: [Part; PARTS],
    coder: Coder,
    clip: [f64; 2],
    period: Option<f64>,
    aperture: f64,
    /// How much of the reading that is being taken is over, s.
    into: f64,
    emf_square: Option<f64>,
    emf_tau_s: f64,
    warm: f64,
    seed: u64,
    rows: u64,
    /// ∫ I (R/R0 − 1) dt, A s.
    pub by_resistance: f64,
    /// ∫ u dt, s.
    pub by_warmth: f64,
    /// s.
    pub clipped_s: f64,
    pub first_clipped: Option<u64>,
    /// Lowest and highest value that some part had to read, before it was clipped, A.
    pub reach: [f64; 2],
    /// A² s².
    pub variance: f64,
    /// What noise has drawn, A s.
    pub drawn: f64,
}

impl Chain {
    pub fn new(given: &options::Chain) -> Self {
        let gain = given.gain_percent.unwrap_or_default() / 100.0;
        let half = given.asymmetry_percent / 200.0;
        let part = |up: f64, common: f64| Part {
            discharge: 1.0 + common * gain + up * half,
            charge: 1.0 + common * gain - up * half,
            offset: up * given.offset_a.unwrap_or_default(),
            emf: up * given.emf_a,
            bend: up * given.bend_a,
            ..Part::default()
        };
        let period = given.period();
        Self {
            parts: [part(0.0, 0.0), part(1.0, 1.0), part(1.0, -1.0), part(-1.0, 1.0), part(-1.0, -1.0)],
            coder: Coder::new(given),
            clip: [given.clip_low_a.unwrap_or(f64::NEG_INFINITY), given.clip_high_a.unwrap_or(f64::INFINITY)],
            period,
            aperture: given.aperture_s.or(period).unwrap_or_default(),
            into: 0.0,
            emf_square: given.emf_at_a.map(|at| at * at),
            emf_tau_s: given.emf_tau_s,
            warm: 0.0,
            seed: u64::from(given.seed),
            rows: 0,
            by_resistance: 0.0,
            by_warmth: 0.0,
            clipped_s: 0.0,
            first_clipped: None,
            reach: [0.0; 2],
            variance: 0.0,
            drawn: 0.0,
        }
    }

    /// Goes through a row.
    pub fn row(&mut self, row: Passing) {
        self.rows += 1;
        if row.seconds == 0.0 {
            return;
        }
        let warmth = self.warmth(row);
        self.by_warmth += warmth * row.seconds;
        self.by_resistance += row.current * row.change * row.seconds;
        let (mut clips, mut reach) = (false, self.reach);
        let values = self.parts.each_ref().map(|part| {
            let gain = if row.current < 0.0 { part.charge } else { part.discharge };
            let bend = if row.current == 0.0 { 0.0 } else { part.bend };
            let value = row.current * (1.0 + row.change) * gain + part.offset + part.emf * warmth + bend;
            let clipped = value.clamp(self.clip[0], self.clip[1]);
            clips |= clipped != value;
            reach = [reach[0].min(value), reach[1].max(value)];
            clipped
        });
        self.reach = reach;
        if clips {
            self.clipped_s += row.seconds;
            self.first_clipped.get_or_insert(row.line);
        }
        let before = self.variance;
        self.read(values, row.seconds);
        if self.variance > before {
            let draw = normal_quantile(uniform(self.seed, self.rows, STREAM));
            self.drawn += draw * (self.variance - before).sqrt();
        }
    }

    /// The mean warming of the joints over a row.
    fn warmth(&mut self, row: Passing) -> f64 {
        let Some(square) = self.emf_square else { return 1.0 };
        let end = row.square / square;
        let share = -libm::expm1(-row.seconds / self.emf_tau_s);
        let mean = end + (self.warm - end) * share * self.emf_tau_s / row.seconds;
        self.warm += (end - self.warm) * share;
        mean
    }

    /// Takes readings of values that stand for a while.
    fn read(&mut self, values: [f64; PARTS], seconds: f64) {
        let Some(period) = self.period else {
            for (part, value) in self.parts.iter_mut().zip(values) {
                part.read.add(self.coder.moments(value).0 * seconds);
            }
            return;
        };
        let mut left = seconds;
        // What rounding leaves of a row is none: a spot sample would take it for its moment.
        let least = WHOLE * period.min(seconds);
        while left > least {
            let whole = if self.into == 0.0 { (left / period * (1.0 + WHOLE)).floor() } else { 0.0 };
            if whole >= 1.0 {
                for (index, (part, value)) in self.parts.iter_mut().zip(values).enumerate() {
                    let (mean, variance) = self.coder.moments(value);
                    part.read.add(mean * whole * period);
                    if index == 0 {
                        self.variance += variance * whole * period * period;
                    }
                }
                left -= whole * period;
                if left <= least {
                    break;
                }
            }
            let piece = left.min(period - self.into);
            let seen = (self.into + piece).min(self.aperture) - self.into.min(self.aperture);
            for (part, value) in self.parts.iter_mut().zip(values) {
                if self.aperture > 0.0 {
                    part.seen += value * seen;
                } else if self.into == 0.0 {
                    part.seen = value;
                }
                part.open += value * piece;
            }
            self.into += piece;
            left -= piece;
            if self.into >= period * (1.0 - WHOLE) {
                self.end_reading(self.aperture, period, period);
            }
        }
    }

    /// Ends the reading that is being taken: what was seen, for how long, counts for so long.
    fn end_reading(&mut self, seen_s: f64, counts_s: f64, period: f64) {
        for (index, part) in self.parts.iter_mut().enumerate() {
            let value = if self.aperture > 0.0 { part.seen / seen_s } else { part.seen };
            let (mean, variance) = self.coder.moments(value);
            part.read.add(mean * counts_s);
            if index == 0 {
                self.variance += variance * counts_s * period;
            }
            (part.seen, part.open) = (0.0, 0.0);
        }
        self.into = 0.0;
    }

    /// Counts the last reading for as long as it has lasted.
    pub fn close(&mut self) {
        let period = self.period.unwrap_or_default();
        if self.into > 0.0 {
            self.end_reading(self.into.min(self.aperture), self.into, period);
        }
    }

    /// What each part has read so far, the open reading with what it will have been, A s.
    pub fn read_so_far(&self) -> [f64; PARTS] {
        self.parts.each_ref().map(|part| part.read.value() + part.open)
    }
}
