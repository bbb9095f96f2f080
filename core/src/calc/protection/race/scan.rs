//! All faults from the weakest to the strongest: at which nobody comes, and at which most passes.
//!
//! ```text
//! Formula    let-through bounded by the latest interruption of a switch that can break it, or by the total clearing value
//!            of a fuse, whichever is less; carried: max(peak, √(let-through/rated time)); the largest over all faults
//! Valid      one fault for each prospective current, on the line of `Faults::at`
//! Method     160 currents on a logarithmic scale and every edge at which a device begins or ceases to act; the largest
//!            is refined between its neighbours by golden section
//! ```

use super::circuit::Loop;
use super::input::RaceInput;
use super::output::{NobodyInterval, NobodyReason};
use super::solve::Heat;

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

/// The loops between the weakest and the strongest fault.
pub(super) struct Faults {
    pub weakest: Loop,
    pub strongest: Loop,
}

impl Faults {
    pub fn of(input: &RaceInput) -> Self {
        let inductance_henry = input.source.inductance_henry;
        let (voltage_v, resistance_ohm) = input.weakest();
        Self {
            weakest: Loop { voltage_v, resistance_ohm, inductance_henry },
            strongest: Loop {
                voltage_v: input.source.voltage_v,
                resistance_ohm: input.source.pack_resistance_ohm + input.source.external_resistance_ohm,
                inductance_henry,
            },
        }
    }

    /// The loop with a prospective current; the ends are the two faults themselves.
    pub fn at(&self, prospective_a: f64) -> Loop {
        let (low, high) = (self.weakest.prospective_a(), self.strongest.prospective_a());
        let share = if high > low { ((prospective_a - low) / (high - low)).clamp(0.0, 1.0) } else { 1.0 };
        let voltage_v = self.weakest.voltage_v + (self.strongest.voltage_v - self.weakest.voltage_v) * share;
        Loop { voltage_v, resistance_ohm: voltage_v / prospective_a, ..self.strongest }
    }
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
pub(super) fn scan(input: &RaceInput, faults: &Faults) -> Scan {
    let (low, high) = (faults.weakest.prospective_a(), faults.strongest.prospective_a());
    let breaking = input.switch.breaking_a;
    let heat = |current: f64| Heat::run(input, faults.at(current));
    let (threshold_low, threshold_high) = input.thresholds();
    let mut currents: Vec<f64> = log_grid(low, high, 160).collect();
    // A narrow interval begins or ends at one of these.
    for edge in [Some(threshold_low), Some(threshold_high), input.fuse.never_clears_below_a, breaking] {
        currents.extend(edge.into_iter().flat_map(|edge| [edge * (1.0 - 1e-6), edge, edge * (1.0 + 1e-6)]));
    }
    currents.retain(|current| (low..=high).contains(current));
    currents.sort_by(f64::total_cmp);
    currents.dedup();
    let run = |current: f64| (current, heat(current));
    let mut heats: Vec<(f64, Heat)> = currents.into_iter().map(run).collect();
    // So does one whose breaking current peaks where the fuse takes over.
    let takeovers: Vec<f64> = heats
        .windows(2)
        .filter(|pair| pair[0].1.opener != pair[1].1.opener)
        .map(|pair| border(pair[0].0, pair[1].0, |current| heat(current).opener == pair[0].1.opener))
        .collect();
    heats.extend(
        takeovers.iter().flat_map(|edge| [edge * (1.0 - 1e-9), *edge]).filter(|at| (low..=high).contains(at)).map(run),
    );
    heats.sort_by(|a, b| a.0.total_cmp(&b.0));
    let most = heats.iter().filter_map(|(_, heat)| heat.must_break_a).reduce(f64::max);
    let mut intervals: Vec<NobodyInterval> = Vec::new();
    let mut before: Option<(f64, Option<NobodyReason>)> = None;
    for (current, heat_here) in &heats {
        let reason = heat_here.reason(breaking);
        let edge = before
            .filter(|(_, last)| *last != reason)
            .map_or(*current, |(from, last)| border(from, *current, |current| heat(current).reason(breaking) == last));
        if let Some(open) = intervals.last_mut().filter(|_| before.is_some_and(|(_, last)| last.is_some())) {
            open.to_a = edge;
        }
        if let Some(reason) = reason.filter(|_| before.is_none_or(|(_, last)| last != reason)) {
            intervals.push(NobodyInterval { reason, from_a: edge, to_a: *current });
        }
        before = Some((*current, reason));
    }
    Scan {
        nobody: intervals,
        must_break_a: most,
        let_through: worst(&heats, heat, |heat| let_through(input, heat)),
        carried: input.switch.carry_s.map(|time| {
            worst(&heats, heat, |heat| let_through(input, heat).map(|a2s| peak(input, heat).max((a2s / time).sqrt())))
        }),
    }
}

/// The largest of a value over the faults; where some are alike, at the strongest of them.
fn worst(heats: &[(f64, Heat)], run: impl Fn(f64) -> Heat, value: impl Fn(&Heat) -> Option<f64>) -> Worst {
    let mut best = Worst { value: None, at_a: heats.last().map_or(0.0, |(current, _)| *current) };
    let mut index_of_best = 0;
    for (index, (current, heat)) in heats.iter().enumerate().rev() {
        let Some(found) = value(heat) else { return Worst { value: None, at_a: *current } };
        if best.value.is_none_or(|best| found > best) {
            best = Worst { value: Some(found), at_a: *current };
            index_of_best = index;
        }
    }
    let neighbour = |index: Option<usize>| index.and_then(|index| heats.get(index)).map_or(best.at_a, |(at, _)| *at);
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

/// The highest current before a fault is over.
fn peak(input: &RaceInput, heat: &Heat) -> f64 {
    let ends = [heat.switch_max_s, heat.fuse.map(|fuse| fuse.prearc_max_s)];
    let end = ends.into_iter().flatten().reduce(f64::min);
    let last = heat.circuit.prospective_a();
    end.map_or(last, |time| heat.circuit.current_a(input.before_a, time)).max(input.before_a)
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

/// What passes before a fault is surely over; none when nothing bounds it: until the latest interruption by a switch that can break it, or the
/// total clearing value of the fuse, whichever is less.
fn let_through(input: &RaceInput, heat: &Heat) -> Option<f64> {
    let can = input.switch.breaking_a.is_none_or(|can| heat.must_break_a.is_none_or(|must| must <= can));
    let by_switch = heat
        .switch_max_s
        .filter(|_| can)
        .map(|time| [input.before_a, 0.0].map(|from| heat.circuit.let_through_a2s(from, time)))
        .map(|[before, zero]| before.max(zero));
    let by_fuse = heat.fuse.and(input.fuse.clearing_a2s);
    [by_switch, by_fuse].into_iter().flatten().reduce(f64::min)
}
