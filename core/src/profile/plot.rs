//! Curves of bounded size, whatever the length of the profile: buckets of equally many rows, merged in pairs when full.

use serde::Serialize;
use utoipa::ToSchema;

use super::block::Block;
use super::sums::{Total, ends, sum2};

/// Beyond so many buckets pairs are merged, so that there are half as many at least.
const MOST: usize = 2_048;

/// What is known after an interval besides its current.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Beside {
    pub degc: Option<f64>,
    /// Error of the count: known, highest, lowest, A s.
    pub errors: Option<[f64; 3]>,
}

#[derive(Clone, Copy, Debug)]
struct Bucket {
    from_s: f64,
    low: f64,
    high: f64,
    charge: f64,
    seconds: f64,
    /// The sum of the currents themselves, for a bucket that lasts no time.
    sum: f64,
    rows: u64,
    degc: Option<f64>,
    net: f64,
    errors: Option<[f64; 3]>,
}

impl Bucket {
    /// Both as one.
    fn with(self, after: Self) -> Self {
        Self {
            from_s: self.from_s,
            low: self.low.min(after.low),
            high: self.high.max(after.high),
            charge: self.charge + after.charge,
            seconds: self.seconds + after.seconds,
            sum: self.sum + after.sum,
            rows: self.rows + after.rows,
            degc: match (self.degc, after.degc) {
                (Some(a), Some(b)) => Some(a.max(b)),
                (a, b) => a.or(b),
            },
            net: after.net,
            errors: after.errors.or(self.errors),
        }
    }
}

/// Buckets of a profile.
#[derive(Clone, Debug)]
pub(super) struct Buckets {
    full: Vec<Bucket>,
    open: Option<Bucket>,
    rows: u64,
    net: Total,
}

impl Buckets {
    pub fn new() -> Self {
        Self { full: Vec::with_capacity(MOST), open: None, rows: 1, net: Total::default() }
    }

    /// The intervals of a block: what is counted of each, and what is known besides, where anything is.
    pub fn take(&mut self, block: &Block, mean: &[f64], beside: &[Beside]) {
        let mut from = 0;
        while from < mean.len() {
            let room = self.rows - self.open.map_or(0, |open| open.rows);
            let to = mean.len().min(from.saturating_add(usize::try_from(room).unwrap_or(usize::MAX)));
            let (current, seconds) = (&block.current[from..to], &block.interval[from..to]);
            let charge = sum2(&mean[from..to], seconds, |i, t| i * t);
            self.net.add(charge);
            let (low, high) = ends(current).unwrap_or_default();
            let beside = beside.get(from..to).unwrap_or_default();
            let piece = Bucket {
                from_s: block.time[from],
                low,
                high,
                charge,
                seconds: sum2(seconds, seconds, |t, _| t),
                sum: sum2(current, current, |i, _| i),
                rows: (to - from) as u64,
                degc: beside.iter().filter_map(|one| one.degc).reduce(f64::max),
                net: self.net.value(),
                errors: beside.last().and_then(|one| one.errors),
            };
            self.add(piece);
            from = to;
        }
    }

    fn add(&mut self, piece: Bucket) {
        let open = self.open.take().map_or(piece, |open| open.with(piece));
        if open.rows < self.rows {
            self.open = Some(open);
            return;
        }
        self.full.push(open);
        if self.full.len() == MOST {
            self.full = self.full.chunks(2).map(|pair| pair[0].with(pair[pair.len() - 1])).collect();
            self.full.reserve_exact(MOST - self.full.len());
            self.rows *= 2;
        }
    }

    /// The points of the curves.
    pub fn told(&self) -> Vec<CurvePoint> {
        self.full.iter().copied().chain(self.open).map(Bucket::told).collect()
    }
}

impl Bucket {
    fn told(self) -> CurvePoint {
        let hours = |value: f64| value / 3_600.0 + 0.0;
        let mean = if self.seconds > 0.0 { self.charge / self.seconds } else { self.sum / self.rows as f64 };
        CurvePoint {
            from_s: self.from_s,
            rows: self.rows,
            lowest_a: self.low,
            highest_a: self.high,
            // A mean is within its values; its rounding need not be.
            mean_a: mean.clamp(self.low, self.high) + 0.0,
            net_ah: hours(self.net),
            element_degc: self.degc,
            error_ah: self.errors.map(|errors| hours(errors[0])),
            error_high_ah: self.errors.map(|errors| hours(errors[1])),
            error_low_ah: self.errors.map(|errors| hours(errors[2])),
        }
    }
}

/// A point of the curves over time: 2,047 at most, each of equally many rows but the last.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct CurvePoint {
    /// Where it begins, s.
    pub from_s: f64,
    /// Rows in it.
    pub rows: u64,
    /// Smallest current, A.
    pub lowest_a: f64,
    /// Largest current, A.
    pub highest_a: f64,
    /// Mean current over time, A.
    pub mean_a: f64,
    /// Net discharge up to its end, Ah.
    pub net_ah: f64,
    /// Highest element temperature, °C; absent without an element, or where it ran away.
    pub element_degc: Option<f64>,
    /// Error of the count at its end that is known, Ah; absent without a chain.
    pub error_ah: Option<f64>,
    /// Highest error at its end: limits and three standard deviations of noise, Ah.
    pub error_high_ah: Option<f64>,
    /// Lowest error at its end, Ah.
    pub error_low_ah: Option<f64>,
}
