//! How long the current was where: a histogram, and limits that are watched.

use serde::Serialize;
use utoipa::ToSchema;

/// Bins of the histogram.
pub const BINS: usize = 64;
const HALF: usize = BINS / 2;

/// Time over current in 64 bins about zero. Their width is a power of two that doubles when a value lies beyond.
#[derive(Clone, Debug)]
pub(super) struct Histogram {
    /// Bins in one ampere.
    per_amp: f64,
    seconds: [f64; BINS],
}

impl Histogram {
    pub const fn new() -> Self {
        // Bins of 2^-20 A are finer than any reading.
        Self { per_amp: 1_048_576.0, seconds: [0.0; BINS] }
    }

    #[inline]
    pub fn add(&mut self, current: f64, seconds: f64) {
        // A power of two: the product is exact, and what the sum rounds is 2^-47 of a bin.
        let mut place = current * self.per_amp + HALF as f64;
        if !(0.0 <= place && place < BINS as f64) {
            self.widen(current);
            place = current * self.per_amp + HALF as f64;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "within the bins by the lines above"
        )]
        let bin = place as usize;
        self.seconds[bin] += seconds;
    }

    #[cold]
    fn widen(&mut self, current: f64) {
        while !(0.0 <= current * self.per_amp + HALF as f64 && current * self.per_amp + (HALF as f64) < BINS as f64) {
            let mut wider = [0.0; BINS];
            for (index, seconds) in self.seconds.iter().enumerate() {
                // Pairs from the middle outward: bins −2, −1 become −1, bins 0, 1 become 0.
                wider[HALF / 2 + index / 2] += seconds;
            }
            self.seconds = wider;
            self.per_amp /= 2.0;
        }
    }

    /// The bins from the first to the last with time in it.
    pub fn told(&self) -> Spread {
        let first = self.seconds.iter().position(|seconds| *seconds > 0.0).unwrap_or(HALF);
        let last = self.seconds.iter().rposition(|seconds| *seconds > 0.0).unwrap_or(HALF);
        Spread {
            from_a: (first as f64 - HALF as f64) / self.per_amp,
            width_a: 1.0 / self.per_amp,
            seconds_s: self.seconds[first..=last].to_vec(),
        }
    }
}

/// Time over current.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Spread {
    /// Where the first bin begins, A.
    pub from_a: f64,
    /// Width of a bin, A.
    pub width_a: f64,
    /// Time in each bin, s: 64 at most.
    pub seconds_s: Vec<f64>,
}

/// A limit and how long the current was beyond it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct Beyond {
    /// Above it when positive, below it when negative, A.
    pub limit_a: f64,
    /// In all, s.
    pub time_s: f64,
    /// Longest without a break, s.
    pub longest_s: f64,
    /// How often it was passed.
    pub times: u64,
    #[serde(skip)]
    open_s: f64,
    #[serde(skip)]
    inside: bool,
}

impl Beyond {
    pub(super) const fn new(limit_a: f64) -> Self {
        Self { limit_a, time_s: 0.0, longest_s: 0.0, times: 0, open_s: 0.0, inside: false }
    }

    /// An interval from one current to another; with both alike it is held.
    pub(super) fn interval(&mut self, from: f64, to: f64, seconds: f64) {
        let over = |current: f64| if self.limit_a < 0.0 { self.limit_a - current } else { current - self.limit_a };
        let (a, b) = (over(from), over(to));
        if a > 0.0 && b > 0.0 {
            self.enter();
            self.stay(seconds);
        } else if a > 0.0 {
            self.enter();
            self.stay(seconds * a / (a - b));
            self.inside = false;
        } else if b > 0.0 {
            self.inside = false;
            self.enter();
            self.stay(seconds * b / (b - a));
        } else {
            self.inside = false;
        }
    }

    fn enter(&mut self) {
        if !self.inside {
            self.inside = true;
            self.times += 1;
            self.open_s = 0.0;
        }
    }

    fn stay(&mut self, seconds: f64) {
        self.time_s += seconds;
        self.open_s += seconds;
        self.longest_s = self.longest_s.max(self.open_s);
    }
}
