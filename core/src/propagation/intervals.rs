//! # Statistics of a Monte Carlo run
//!
//! The sorted outputs are the distribution itself: coverage intervals are pairs of them. Only the tails are needed
//! in order, so a histogram finds where the tails end and just those values are sorted.
//! Every figure is a pure function of the values in trial order, whatever the number of threads. Whether to go on is
//! asked before each run of values: ten million would take a tenth of a second else.
//!
//! ```text
//! Formula    q = ⌊p·M + ½⌋;  symmetric [y_(r), y_(r+q)], r = ⌈(M − q)/2⌉;  shortest: least y_(r+q) − y_(r), r = 1 … M−q;
//!            standard error of y_(r): (y_(r+s) − y_(r−s))/2, s = √(M·a·(1−a)), a = r/M;
//!            the end at probability a lies between y_(aM − 3s) and y_(aM + 3s)
//! Symbols    M trials, p coverage probability, y_(r) r-th smallest output [output unit], a (1 ∓ p)/2
//! Valid      p of the least probability asked for or more; the standard error is that of √(a(1−a)/M)/density, the
//!            density taken from the order statistics themselves; where a rank lies beyond the trials they tell nothing
//! Source     JCGM 101:2008, 7.5 to 7.7 and 5.3.4 (shortest); binomial distribution of ranks: textbook
//! ```

use rayon::prelude::*;
use serde::Serialize;
use utoipa::ToSchema;

use super::fault::{Fault, finite};
use super::number::LANES;
use crate::work::{Halt, Work};

/// Values per task; fixed, so that sums are formed in the same order on any number of threads.
const CHUNK: usize = 1 << 14;
/// Values per task that counts or joins.
const PIECE: usize = 4 * CHUNK;
/// Values per turn of an inner loop.
const STRIDE: usize = 256;
/// Bins that find the ends of the tails.
const BINS: i32 = 8192;
/// Bins of the histogram for a drawing.
const DRAWN_BINS: i32 = 64;
/// Standard deviations of a rank within which an end is taken to lie.
const SURE: f64 = 3.0;

/// An interval of the output.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct Interval {
    /// Lower end, output unit.
    pub low: f64,
    /// Upper end, output unit.
    pub high: f64,
}

/// Where an end of an interval lies, as far as the trials can tell; a side that they do not reach is left out.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct Between {
    /// It lies above this, output unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low: Option<f64>,
    /// It lies below this, output unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub high: Option<f64>,
}

/// A histogram of the outputs for a drawing.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Histogram {
    /// Lower edge of the first bin, output unit.
    pub low: f64,
    /// Upper edge of the last bin, output unit.
    pub high: f64,
    /// Trials in each bin of equal width.
    pub counts: Vec<u32>,
    /// Trials below the first bin.
    pub below: u32,
    /// Trials above the last bin.
    pub above: u32,
}

/// What each piece of the values gives, in their order.
fn pieces<T: Send>(values: &[f64], size: usize, work: Work, each: impl Fn(&[f64]) -> T + Sync) -> Result<Vec<T>, Halt> {
    let one = |values| {
        work.go_on()?;
        Ok(each(values))
    };
    values.par_chunks(size).map(one).collect()
}

/// Mean, spread and range.
#[derive(Clone, Copy)]
pub(super) struct Moments {
    count: f64,
    pub mean: f64,
    squares: f64,
    min: f64,
    max: f64,
}

/// Folds every eighth value together: eight sums side by side do not wait for each other.
#[inline]
fn lanewise(values: &[f64], start: f64, fold: impl Fn(f64, f64) -> f64) -> [f64; LANES] {
    let mut lanes = [start; LANES];
    let (rows, rest) = values.as_chunks::<LANES>();
    for row in rows {
        for (lane, value) in lanes.iter_mut().zip(row) {
            *lane = fold(*lane, *value);
        }
    }
    for (lane, value) in lanes.iter_mut().zip(rest) {
        *lane = fold(*lane, *value);
    }
    lanes
}

impl Moments {
    /// Two passes over a short run of values, so that a mean far from zero costs no digits.
    fn of(values: &[f64]) -> Self {
        let count = values.len() as f64;
        let mean = lanewise(values, 0.0, |sum, value| sum + value).iter().sum::<f64>() / count;
        let squares = lanewise(values, 0.0, |sum, value| sum + (value - mean) * (value - mean)).iter().sum();
        let min = lanewise(values, f64::INFINITY, f64::min).into_iter().fold(f64::INFINITY, f64::min);
        let max = lanewise(values, f64::NEG_INFINITY, f64::max).into_iter().fold(f64::NEG_INFINITY, f64::max);
        Self { count, mean, squares, min, max }
    }

    /// Joins two neighbouring runs (pairwise update of mean and squares).
    pub fn join(self, next: Self) -> Self {
        let count = self.count + next.count;
        let apart = next.mean - self.mean;
        Self {
            count,
            mean: self.mean + apart * (next.count / count),
            squares: self.squares + next.squares + apart * apart * (self.count * (next.count / count)),
            min: self.min.min(next.min),
            max: self.max.max(next.max),
        }
    }

    /// Moments of all values, joined in trial order.
    pub fn new(values: &[f64], work: Work) -> Result<Self, Fault> {
        const PLACE: &str = "in some of the trials";
        let runs: Vec<Self> = pieces(values, CHUNK, work, Self::of)?;
        let all = runs.into_iter().reduce(Self::join).ok_or(Fault::NotFinite { place: PLACE })?;
        // A value that is not finite makes the mean so, and no sum of squares of finite size survives an overflow.
        finite(all.mean, PLACE)?;
        finite(all.squares, PLACE)?;
        finite(all.max - all.min, PLACE)?;
        Ok(all)
    }

    /// Standard deviation of the values.
    pub fn standard(&self) -> f64 {
        (self.squares / (self.count - 1.0).max(1.0)).sqrt()
    }
}

/// Equal bins over a range; everything outside falls into the outer ones.
#[derive(Clone, Copy)]
struct Bins {
    low: f64,
    scale: f64,
    /// The last bin.
    last: i32,
}

impl Bins {
    fn new(low: f64, high: f64, count: i32) -> Self {
        Self { low, scale: f64::from(count) / (high - low), last: count - 1 }
    }

    /// The bin of a value; never decreases as the value grows.
    #[inline]
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "saturates: below the range and undefined become 0, above becomes the last bin"
    )]
    fn place(self, value: f64) -> usize {
        (((value - self.low) * self.scale) as i32).clamp(0, self.last) as usize
    }

    fn count(self, values: &[f64], work: Work) -> Result<Vec<u32>, Halt> {
        let empty = || vec![0_u32; self.place(f64::INFINITY) + 1];
        let tally = |values: &[f64]| {
            work.go_on()?;
            let mut counts = empty();
            for values in values.chunks(STRIDE) {
                // Places first, in a loop of their own: that one vectorises, the counting cannot.
                let mut places = [0; STRIDE];
                for (place, value) in places.iter_mut().zip(values) {
                    *place = self.place(*value);
                }
                for &place in &places[..values.len()] {
                    counts[place] += 1;
                }
            }
            Ok(counts)
        };
        let add = |mut sum: Vec<u32>, counts: Vec<u32>| {
            for (sum, count) in sum.iter_mut().zip(counts) {
                *sum += count;
            }
            Ok(sum)
        };
        values.par_chunks(PIECE).map(tally).try_reduce(empty, add)
    }
}

/// Place of the first bin at which `needed` values have been counted.
fn reach<'a>(counts: impl Iterator<Item = &'a u32>, needed: usize) -> f64 {
    let mut sum = 0;
    counts
        .take_while(|&&count| {
            sum += count as usize;
            sum < needed
        })
        .count() as f64
}

/// The two tails of the sorted values.
pub(super) struct Tails {
    count: usize,
    /// The smallest values in ascending order.
    lower: Vec<f64>,
    /// The largest values in ascending order.
    upper: Vec<f64>,
}

impl Tails {
    /// The tails outside the least coverage probability that is asked for are sorted.
    pub fn new(values: &[f64], moments: &Moments, least: f64, work: Work) -> Result<Self, Halt> {
        let bins = Bins::new(moments.min, moments.max, BINS);
        let counts = bins.count(values, work)?;
        let needed = values.len() - inside(least, values.len()) + 1;
        // Half a bin beyond the last one needed: rounding of the bins cannot lose a value, and a few more do no harm.
        let lower_edge = moments.min + (reach(counts.iter(), needed) + 1.5) / bins.scale;
        let upper_edge = moments.max - (reach(counts.iter().rev(), needed) + 1.5) / bins.scale;
        let tails = pieces(values, CHUNK, work, |values| {
            (sorted(values, |value| value <= lower_edge), sorted(values, |value| value >= upper_edge))
        })?;
        let (lower, upper): (Vec<_>, Vec<_>) = tails.into_iter().unzip();
        let (lower, upper) = rayon::join(|| joined(lower, work), || joined(upper, work));
        Ok(Self { count: values.len(), lower: lower?, upper: upper? })
    }

    /// The value of a rank from 1; ranks between the tails give the nearest end of a tail.
    fn at(&self, rank: usize) -> f64 {
        let rank = rank.clamp(1, self.count);
        let from_top = self.count - rank;
        let value = if rank <= self.lower.len() {
            self.lower.get(rank - 1)
        } else if from_top < self.upper.len() {
            self.upper.get(self.upper.len() - 1 - from_top)
        } else {
            self.lower.last()
        };
        value.copied().unwrap_or_default()
    }

    /// The probabilistically symmetric interval and its two ranks.
    fn symmetric_ranks(&self, probability: f64) -> (usize, usize) {
        let q = inside(probability, self.count);
        let r = (self.count - q).div_ceil(2).max(1);
        (r, (r + q).min(self.count))
    }

    /// The probabilistically symmetric coverage interval.
    pub fn symmetric(&self, probability: f64) -> Interval {
        let (low, high) = self.symmetric_ranks(probability);
        Interval { low: self.at(low), high: self.at(high) }
    }

    /// Standard errors of the two ends of the symmetric interval.
    pub fn errors(&self, probability: f64) -> (f64, f64) {
        let (low, high) = self.symmetric_ranks(probability);
        (self.error(low), self.error(high))
    }

    /// Where the two ends of the symmetric interval lie.
    pub fn between(&self, probability: f64) -> (Between, Between) {
        let end = |share: f64| {
            let m = self.count as f64;
            let (rank, apart) = (m * share, SURE * (m * share * (1.0 - share)).sqrt());
            let at = |rank: f64| {
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 1 to the trials")]
                (1.0 <= rank && rank <= m).then(|| self.at(rank as usize))
            };
            Between { low: at((rank - apart).floor()), high: at((rank + apart).ceil()) }
        };
        (end(0.5 - 0.5 * probability), end(0.5 + 0.5 * probability))
    }

    fn error(&self, rank: usize) -> f64 {
        let m = self.count as f64;
        let share = rank as f64 / m;
        let spread = (m * share * (1.0 - share)).sqrt();
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and √M/2")]
        let step = (spread.ceil() as usize).max(1);
        let below = rank.saturating_sub(step).max(1);
        let above = (rank + step).min(self.count);
        // At the very end of the values one side is missing; the other then speaks for both.
        (self.at(above) - self.at(below)) * spread / (above - below).max(1) as f64
    }

    /// The shortest coverage interval; of several equally short ones the lowest.
    pub fn shortest(&self, probability: f64, work: Work) -> Result<Interval, Halt> {
        let q = inside(probability, self.count);
        let mut best = Interval { low: self.at(1), high: self.at(1 + q) };
        for r in 2..=self.count - q {
            if r % CHUNK == 0 {
                work.go_on()?;
            }
            let next = Interval { low: self.at(r), high: self.at(r + q) };
            if next.high - next.low < best.high - best.low {
                best = next;
            }
        }
        Ok(best)
    }
}

/// How many values lie farther from `about` than `limit`.
pub(super) fn beyond(values: &[f64], about: f64, limit: f64, work: Work) -> Result<u32, Halt> {
    let count = |values: &[f64]| values.iter().map(|value| u32::from((value - about).abs() > limit)).sum::<u32>();
    Ok(pieces(values, PIECE, work, count)?.into_iter().sum())
}

/// Number of values inside an interval of coverage probability `p`.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and the number of values")]
pub(super) fn inside(p: f64, count: usize) -> usize {
    ((p * count as f64 + 0.5).floor() as usize).min(count - 1)
}

/// The chosen values, in their order. Without a branch on the choice: one value in ten is chosen, at random, which
/// the processor would guess wrong just as often.
#[inline]
fn pick(values: &[f64], chosen: impl Fn(f64) -> bool) -> Vec<f64> {
    let mut picked = Vec::with_capacity(values.len() / 8);
    for values in values.chunks(STRIDE) {
        let mut stack = [0.0; STRIDE];
        let mut count = 0;
        for &value in values {
            stack[count % STRIDE] = value;
            count += usize::from(chosen(value));
        }
        picked.extend_from_slice(&stack[..count]);
    }
    picked
}

/// The chosen values in ascending order.
fn sorted(values: &[f64], chosen: impl Fn(f64) -> bool) -> Vec<f64> {
    let mut run = pick(values, chosen);
    run.sort_unstable_by(f64::total_cmp);
    run
}

/// Ascending runs as one, joined two by two: whoever stops the work waits for a piece, not for a sort of millions. Equal
/// values are equal bits, so it does not matter in which order they are joined.
fn joined(mut runs: Vec<Vec<f64>>, work: Work) -> Result<Vec<f64>, Halt> {
    while runs.len() > 1 {
        let pairs = runs.par_chunks(2).map(|pair| match pair {
            [one, other] => merged(one, other, work),
            alone => Ok(alone.concat()),
        });
        runs = pairs.collect::<Result<_, _>>()?;
    }
    Ok(runs.pop().unwrap_or_default())
}

/// Two ascending runs as one.
fn merged(one: &[f64], other: &[f64], work: Work) -> Result<Vec<f64>, Halt> {
    let (mut i, mut j) = (0, 0);
    let mut all = Vec::with_capacity(one.len() + other.len());
    while let (Some(a), Some(b)) = (one.get(i), other.get(j)) {
        if all.len() % PIECE == 0 {
            work.go_on()?;
        }
        // Without a branch on the order, which the processor would guess wrong half of the time.
        let first = a.total_cmp(b).is_le();
        all.push(if first { *a } else { *b });
        i += usize::from(first);
        j += usize::from(!first);
    }
    all.extend_from_slice(&one[i..]);
    all.extend_from_slice(&other[j..]);
    Ok(all)
}

impl Histogram {
    /// Counts the values over `core` widened by half its width on each side, which leaves far stragglers outside
    /// rather than the picture empty.
    pub(super) fn new(values: &[f64], core: Interval, moments: &Moments, work: Work) -> Result<Self, Halt> {
        let margin = 0.5 * (core.high - core.low);
        let low = (core.low - margin).max(moments.min);
        let high = (core.high + margin).min(moments.max);
        // One bin more on each side collects what lies outside.
        let width = (high - low) / f64::from(DRAWN_BINS);
        let bins = Bins { low: low - width, scale: 1.0 / width, last: DRAWN_BINS + 1 };
        let mut counts = bins.count(values, work)?;
        if low >= high {
            // All values are equal: their place is undefined, the first drawn bin holds them.
            counts.fill(0);
            counts[1] = u32::try_from(values.len()).unwrap_or(u32::MAX);
        }
        let above = counts.pop().unwrap_or_default();
        let below = counts.remove(0);
        Ok(Self { low, high, counts, below, above })
    }
}
