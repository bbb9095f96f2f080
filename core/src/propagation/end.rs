//! # The end of an interval against a limit
//!
//! Trials give the end of a coverage interval only within some order statistics. A limit that lies among them is neither
//! held nor passed as far as the trials can tell: that is said, with the number of trials that would tell.
//!
//! ```text
//! Formula    M′ = M·(h/d)²;  where the trials do not reach the rank: M′ = 11/a, the least with a M′ − 3 √(a M′) > 1
//! Symbols    M trials, M′ trials that would do, h half the width of the interval between the order statistics, d distance
//!            of the limit from the end [output unit], a = (1 − p)/2 probability beyond the end [1]
//! Valid      both signs apart: the farther end counts, and no end lies nearer than its own order statistics say
//! Source     binomial distribution of ranks: textbook; its width shrinks with √M
//! ```

use super::intervals::Between;
use super::monte_carlo::CoverageIntervals;
use crate::judge::{Judged, Outcome};

/// How far from zero the farther end of an interval lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct End {
    /// As the trials give it.
    pub value: f64,
    /// It lies above this.
    pub low: f64,
    /// It lies below this; infinite where the trials do not reach so far.
    pub high: f64,
    /// Probability beyond the end.
    tail: f64,
}

impl CoverageIntervals {
    /// The farther end of the symmetric interval of an error, about a centre.
    pub fn farther(&self, about: f64) -> End {
        let size = |place: f64| (place - about).abs();
        // The nearest and the farthest place between two; nothing is nearer than the centre between them.
        let nearest = |between: &Between| match (between.low, between.high) {
            (Some(low), _) if low > about => low - about,
            (_, Some(high)) if high < about => about - high,
            _ => 0.0,
        };
        let farthest = |between: &Between| {
            let reach = |place: Option<f64>| place.map_or(f64::INFINITY, size);
            reach(between.low).max(reach(between.high))
        };
        let ends = [&self.low_between, &self.high_between];
        End {
            value: size(self.symmetric.low).max(size(self.symmetric.high)),
            low: ends.map(nearest).into_iter().fold(0.0, f64::max),
            high: ends.map(farthest).into_iter().fold(0.0, f64::max),
            tail: 0.5 - 0.5 * self.probability,
        }
    }
}

impl End {
    /// The trials that would tell on which side of the limit it lies, when so many could not.
    pub fn needed(&self, limit: f64, trials: u32) -> Option<u64> {
        if !(self.low < limit && limit < self.high) {
            return None;
        }
        let times = if self.high.is_finite() {
            let half = 0.5 * (self.high - self.low);
            f64::from(trials) * (half / (limit - self.value)) * (half / (limit - self.value))
        } else {
            11.0 / self.tail
        };
        // Never fewer than there were, which could not tell.
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "saturates; never negative")]
        Some((times.ceil() as u64).max(u64::from(trials) + 1))
    }

    /// A requirement on it that these trials may leave open.
    #[must_use]
    pub fn settle(&self, trials: u32, mut one: Judged) -> Judged {
        if let Some(limit) = one.required
            && let Some(trials) = self.needed(limit, trials)
        {
            one.outcome = Outcome::NotResolved { low: self.low / limit, high: self.high / limit, trials };
        }
        one
    }
}
