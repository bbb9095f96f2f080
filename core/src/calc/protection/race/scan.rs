//! All faults from the weakest to the strongest: at which nobody comes, and at which most passes.
//!
//! ```text
//! Formula    carried: max(peak, √(let-through/rated time)); the largest over all faults
//! Valid      one fault for each prospective current, on the line of `Faults::at`
//! Method     160 currents on a logarithmic scale and every edge at which a device begins or ceases to act; the largest
//!            is refined between its neighbours by golden section
//! ```

use super::fault::{Fault, Faults};
use super::input::RaceInput;
use super::output::{NobodyInterval, NobodyReason};
use crate::work::{Halt, Work};

/// The golden section, (√5 − 1)/2.
const GOLDEN: f64 = 0.618_033_988_749_894_9;

/// The largest of a value over all faults.
#[derive(Clone, Copy, Debug)]
pub(super) struct Worst {
    /// The value; none when at some fault nothing bounds it.
    pub value: Option<f64>,
    /// The prospective current of that fault, A; the largest one of those at which nothing bounds it.
    pub at_a: f64,
}

/// What the faults are at their worst.
#[derive(Debug)]
pub(super) struct Scan {
    /// Where nobody interrupts.
    pub nobody: Vec<NobodyInterval>,
    /// The most that the switch may have to break, A.
    pub must_break_a: Option<f64>,
    /// What passes before the fault is surely over, A²s.
    pub let_through: Worst,
    /// What the closed switch carries, A: the peak, or the current of equal heat in its rated time; none without one.
    pub carried: Option<Worst>,
}

/// `count` values from `low` to `high`, evenly on a logarithmic scale.
pub(super) fn log_grid(low: f64, high: f64, count: u32) -> impl Iterator<Item = f64> {
    let ratio = libm::log(high / low);
    (0..count).map(move |index| match index {
        0 => low,
        index if index + 1 == count => high,
        index => low * libm::exp(ratio * f64::from(index) / f64::from(count - 1)),
    })
}

/// All faults.
pub(super) fn scan(input: &RaceInput, faults: &Faults, work: Work) -> Result<Scan, Halt> {
    let (low, high) = faults.range_a();
    let run = |current: f64| Fault::run(input, faults.at(current));
    let (threshold_low, threshold_high) = input.thresholds();
    let mut currents: Vec<f64> = log_grid(low, high, 160).collect();
    // A narrow interval begins or ends at one of these.
    let edges = [Some(threshold_low), Some(threshold_high), input.fuse.never_clears_below_a, input.switch.breaking_a];
    for edge in edges.into_iter().flatten() {
        currents.extend([edge * (1.0 - 1e-6), edge, edge * (1.0 + 1e-6)]);
    }
    currents.retain(|current| (low..=high).contains(current));
    currents.sort_by(f64::total_cmp);
    currents.dedup();
    let mut runs = Vec::with_capacity(currents.len() + 8);
    for current in currents {
        work.go_on()?;
        runs.push((current, run(current)));
    }
    // So does one whose breaking current peaks where the fuse takes over.
    let mut takeovers = Vec::new();
    for pair in runs.windows(2).filter(|pair| pair[0].1.opener != pair[1].1.opener) {
        work.go_on()?;
        let edge = border(pair[0].0, pair[1].0, |current| run(current).opener == pair[0].1.opener);
        takeovers.extend([edge * (1.0 - 1e-9), edge].into_iter().filter(|at| (low..=high).contains(at)));
    }
    runs.extend(takeovers.into_iter().map(|current| (current, run(current))));
    runs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let nobody = intervals(input, &runs, run);
    work.go_on()?;
    let let_through = worst(&runs, run, |fault| fault.let_through_a2s(input));
    work.go_on()?;
    // The forces follow the peak, the heat the mean square over the rated time.
    let carried = input.switch.carry_s.map(|time| {
        worst(&runs, run, |fault| Some(fault.peak_a(input).max((fault.let_through_a2s(input)? / time).sqrt())))
    });
    let must_break_a = runs.iter().filter_map(|(_, fault)| fault.must_break_a).reduce(f64::max);
    Ok(Scan { nobody, must_break_a, let_through, carried })
}

/// Where nobody interrupts: each change of the reason is searched between its neighbours.
fn intervals(input: &RaceInput, runs: &[(f64, Fault)], run: impl Fn(f64) -> Fault) -> Vec<NobodyInterval> {
    let mut intervals: Vec<NobodyInterval> = Vec::new();
    let mut before: Option<(f64, Option<NobodyReason>)> = None;
    for (current, fault) in runs {
        let reason = fault.nobody(input);
        let edge = before
            .filter(|(_, last)| *last != reason)
            .map_or(*current, |(from, last)| border(from, *current, |current| run(current).nobody(input) == last));
        if let Some(open) = intervals.last_mut().filter(|_| before.is_some_and(|(_, last)| last.is_some())) {
            open.to_a = edge;
        }
        if let Some(reason) = reason.filter(|_| before.is_none_or(|(_, last)| last != reason)) {
            intervals.push(NobodyInterval { reason, from_a: edge, to_a: *current });
        }
        before = Some((*current, reason));
    }
    intervals
}

/// The largest of a value over the faults; where some are alike, at the strongest of them.
fn worst(runs: &[(f64, Fault)], run: impl Fn(f64) -> Fault, value: impl Fn(&Fault) -> Option<f64>) -> Worst {
    let mut best = Worst { value: None, at_a: runs.last().map_or(0.0, |(current, _)| *current) };
    let mut index_of_best = 0;
    for (index, (current, fault)) in runs.iter().enumerate().rev() {
        let Some(found) = value(fault) else { return Worst { value: None, at_a: *current } };
        if best.value.is_none_or(|best| found > best) {
            best = Worst { value: Some(found), at_a: *current };
            index_of_best = index;
        }
    }
    let neighbour = |index: Option<usize>| index.and_then(|index| runs.get(index)).map_or(best.at_a, |(at, _)| *at);
    let (mut low, mut high) = (neighbour(index_of_best.checked_sub(1)), neighbour(Some(index_of_best + 1)));
    let at = |current: f64| value(&run(current));
    let (mut left, mut right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut on_left, mut on_right) = (at(left), at(right));
    // Flat at its top: a millionth of the current is far less in the value.
    while high - low > 1e-6 * high {
        for (current, found) in [(left, on_left), (right, on_right)] {
            if found > best.value {
                best = Worst { value: found, at_a: current };
            }
        }
        if on_left > on_right {
            (high, right, on_right) = (right, left, on_left);
            left = high - GOLDEN * (high - low);
            on_left = at(left);
        } else {
            (low, left, on_left) = (left, right, on_right);
            right = low + GOLDEN * (high - low);
            on_right = at(right);
        }
    }
    best
}

/// Where `holds`, true at `low` and false at `high`, changes.
fn border(low: f64, high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (low, high);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if holds(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}
