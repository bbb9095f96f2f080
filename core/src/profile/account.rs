//! What is kept of the rows as they pass.

use serde::Serialize;
use utoipa::ToSchema;

use super::block::Block;
use super::chain::{Chain, PARTS, Passing};
use super::element::Element;
use super::fault::MOST_TOLD;
use super::options::{Gap, Integration, ProfileInput};
use super::plot::{Beside, Buckets};
use super::spread::{Beyond, Histogram};
use super::sums::{Sums, Total, ends};

/// A gap is so many times the usual interval.
const GAP: f64 = 10.0;
/// Intervals of which the usual one is the median.
const LEARNT_FROM: usize = 1_000;
/// Standard deviations of noise in a cone.
const SIGMAS: f64 = 3.0;

/// A gap between two rows.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct GapTold {
    /// Line of the row before it.
    pub line: u64,
    /// When it begins, s.
    pub from_s: f64,
    /// How long it is, s.
    pub gap_s: f64,
}

/// Gaps of a profile.
#[derive(Clone, Debug, Default, PartialEq, Serialize, ToSchema)]
pub struct Gaps {
    /// From here on an interval is a gap, s; absent where nothing could be learnt.
    pub gap_s: Option<f64>,
    /// How many there are.
    pub count: u64,
    /// How long they are together, s.
    pub total_s: f64,
    /// What is counted over them as written, with the current before each, net, Ah.
    pub held_ah: f64,
    /// The first twenty.
    pub first: Vec<GapTold>,
}

/// Smallest and largest, each with the line where it first was.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Extremes {
    pub low: Option<(f64, u64)>,
    pub high: Option<(f64, u64)>,
}

impl Extremes {
    fn take(&mut self, values: &[f64], lines: &[u64]) {
        let Some((low, high)) = ends(values) else { return };
        let line =
            |wanted: f64| values.iter().zip(lines).find(|(value, _)| **value == wanted).map_or(0, |(_, line)| *line);
        if self.low.is_none_or(|(lowest, _)| low < lowest) {
            self.low = Some((low, line(low)));
        }
        if self.high.is_none_or(|(highest, _)| high > highest) {
            self.high = Some((high, line(high)));
        }
    }
}

/// Everything that is summed, counted and drawn.
#[derive(Debug)]
pub(super) struct Account {
    integration: Integration,
    gap: Gap,
    learnt: bool,
    pub gaps: Gaps,
    pub sums: Sums,
    pub current: Extremes,
    pub voltage: Extremes,
    pub histogram: Histogram,
    pub beyond: Vec<Beyond>,
    pub element: Option<Element>,
    pub chain: Option<Chain>,
    pub buckets: Buckets,
    /// Net charge up to here as the chain sees it, A s.
    net: Total,
}

impl Account {
    pub fn new(input: &ProfileInput) -> Self {
        let element = Element::new(&input.element);
        // Without errors, steps and an element that warms, a reading is the current.
        let ideal = input.chain.is_ideal() && element.is_none();
        Self {
            integration: input.handling.integration,
            gap: input.handling.gap,
            learnt: input.handling.gap_s.is_some(),
            gaps: Gaps { gap_s: input.handling.gap_s, ..Gaps::default() },
            sums: Sums::default(),
            current: Extremes::default(),
            voltage: Extremes::default(),
            histogram: Histogram::new(),
            beyond: input.limits.iter().map(|limit| Beyond::new(limit.limit_a)).collect(),
            element,
            chain: (!ideal).then(|| Chain::new(&input.chain)),
            buckets: Buckets::new(),
            net: Total::default(),
        }
    }

    pub fn take(&mut self, block: &mut Block) {
        self.mind_gaps(block);
        self.sums.take(block, self.integration);
        let count = block.interval.len();
        self.current.take(&block.current[..count], &block.line);
        self.voltage.take(&block.voltage[..count.min(block.voltage.len())], &block.line);
        let straight: Vec<f64>;
        let mean = match self.integration {
            Integration::Held => &block.current[..count],
            Integration::Trapezoid => {
                let ends = block.current.iter().zip((0..count).map(|index| block.next_current(index)));
                straight = ends.map(|(from, to)| f64::midpoint(*from, to)).collect();
                &straight
            }
        };
        for (mean, seconds) in mean.iter().zip(&block.interval) {
            self.histogram.add(*mean, *seconds);
        }
        for limit in &mut self.beyond {
            for (index, seconds) in block.interval.iter().enumerate() {
                let from = block.current[index];
                let to = if self.integration == Integration::Held { from } else { block.next_current(index) };
                limit.interval(from, to, *seconds);
            }
        }
        let beside: Vec<Beside> = match self.chain.take() {
            None => Vec::new(),
            Some(mut chain) => {
                let through =
                    mean.iter().enumerate().map(|(index, mean)| self.through(&mut chain, block, index, *mean));
                let beside = through.collect();
                self.chain = Some(chain);
                beside
            }
        };
        self.buckets.take(block, mean, &beside);
    }

    /// One interval through element and chain.
    fn through(&mut self, chain: &mut Chain, block: &Block, index: usize, current: f64) -> Beside {
        let (seconds, line) = (block.interval[index], block.line[index]);
        let (from, to) = match self.integration {
            Integration::Held => (current, current),
            Integration::Trapezoid => (block.current[index], block.next_current(index)),
        };
        let square = (from * from + from * to + to * to) / 3.0;
        let ambient = block.ambient.get(index).copied();
        let warmed = match &mut self.element {
            None => Some((None, 0.0)),
            Some(element) => element.row(square, seconds, ambient, line).map(|(degc, change)| (Some(degc), change)),
        };
        self.net.add(current * seconds);
        // Nothing is known of the reading of an element that has run away.
        let Some((degc, change)) = warmed else { return Beside::default() };
        let net = self.net.value();
        chain.row(Passing { current, square, seconds, change, line });
        Beside { degc, errors: Some(cone(chain.read_so_far().map(|read| read - net), chain.variance)) }
    }

    fn mind_gaps(&mut self, block: &mut Block) {
        if !self.learnt {
            self.learnt = true;
            let first = &block.interval[..block.interval.len().min(LEARNT_FROM)];
            let mut usual: Vec<f64> = first.iter().copied().filter(|seconds| *seconds > 0.0).collect();
            usual.sort_by(f64::total_cmp);
            self.gaps.gap_s = usual.get(usual.len() / 2).map(|median| GAP * median);
        }
        let Some(least) = self.gaps.gap_s else { return };
        for index in 0..block.interval.len() {
            let gap_s = block.interval[index];
            if gap_s > least {
                self.gaps.count += 1;
                self.gaps.total_s += gap_s;
                self.gaps.held_ah += block.current[index] * gap_s / 3_600.0;
                if self.gaps.first.len() < MOST_TOLD {
                    self.gaps.first.push(GapTold { line: block.line[index], from_s: block.time[index], gap_s });
                }
                if self.gap == Gap::LeaveOut {
                    block.interval[index] = 0.0;
                }
            }
        }
    }
}

/// Known, highest and lowest error, with noise.
pub(super) fn cone(errors: [f64; PARTS], variance: f64) -> [f64; 3] {
    let noise = SIGMAS * variance.sqrt();
    let high = errors.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let low = errors.iter().copied().fold(f64::INFINITY, f64::min);
    [errors[0], high + noise, low - noise]
}
