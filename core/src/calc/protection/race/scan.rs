//! The worst of all faults: what passes, what the switch carries and breaks, and at which faults nobody comes.
//!
//! ```text
//! Method     every current, time constant and current before of the region's grid; the three largest of each value are then
//!            climbed from: steps in current and time constant that are halved where none of them leads up
//! Accuracy   steps down to a part in 10⁷ of the current; tests compare with ten times as many places
//! ```

use super::fault::Fault;
use super::fuse::Told;
use super::input::RaceInput;
use super::output::{NobodyInterval, NobodyReason};
use super::region::{Place, Region};
use crate::judge::{Judged, Limit, passes};
use crate::quantity::Unit;
use crate::work::{Halt, Work};

/// The largest of a value over all faults.
#[derive(Clone, Debug, Default)]
pub(super) struct Worst {
    /// The largest of those that are known, and the prospective current of that fault, A.
    known: Option<(f64, f64)>,
    /// The largest prospective current at which nothing bounds it, A.
    never_at_a: Option<f64>,
    /// What is missing where it is not known, and the largest such current, A.
    missing: Option<(&'static str, f64)>,
    /// The places of the largest.
    top: Vec<(f64, Place)>,
}

impl Worst {
    fn take(&mut self, told: Told, place: Place) {
        let at = place.prospective_a;
        match told {
            Told::Never => self.never_at_a = Some(self.never_at_a.map_or(at, |other| other.max(at))),
            Told::Missing(what) => {
                if self.missing.is_none_or(|(_, other)| at >= other) {
                    self.missing = Some((what, at));
                }
            }
            Told::Value(value) => {
                // Of faults that are alike the strongest is named.
                if self.known.is_none_or(|(known, other)| value > known || (value >= known && at > other)) {
                    self.known = Some((value, at));
                }
                let place_in = self.top.partition_point(|(other, _)| *other > value);
                if place_in < 3 {
                    self.top.insert(place_in, (value, place));
                    self.top.truncate(3);
                }
            }
        }
    }

    /// The value, where it is known at every fault.
    pub fn value(&self) -> Option<f64> {
        let whole = self.never_at_a.is_none() && self.missing.is_none();
        self.known.filter(|_| whole).map(|(value, _)| value)
    }

    /// The largest of those that are known.
    pub fn largest(&self) -> Option<f64> {
        self.known.map(|(value, _)| value)
    }

    /// What is missing.
    pub fn missing(&self) -> Option<&'static str> {
        self.missing.map(|(what, _)| what)
    }

    /// The prospective current of the worst fault, A.
    pub fn at_a(&self) -> f64 {
        let missing = self.missing.map(|(_, at)| at);
        self.never_at_a.or(missing).or(self.known.map(|(_, at)| at)).unwrap_or(0.0)
    }

    /// The value that is judged, with the prospective current of its fault: what is unbounded fails; what is known and passes
    /// the limit fails whatever is missing; what is missing leaves the rest open.
    pub fn judged(&self, limit: f64) -> (Option<f64>, Limit, f64) {
        let known = self.known.filter(|(value, _)| self.missing.is_none() || passes(*value, limit));
        match (self.never_at_a, known, self.missing) {
            (Some(at), ..) => (None, Limit::Given(limit), at),
            (None, Some((value, at)), _) => (Some(value), Limit::Given(limit), at),
            (None, None, Some((what, at))) => (None, Limit::Missing(what), at),
            (None, None, None) => (None, Limit::Given(limit), 0.0),
        }
    }

    /// The requirement that it passes no limit.
    pub fn at_most(&self, id: &'static str, pointer: &'static str, unit: Unit, limit: f64) -> (Judged, f64) {
        let (achieved, limit, at) = self.judged(limit);
        (Judged::at_most(id, pointer, unit, achieved, limit), at)
    }
}

/// What the faults are at their worst.
#[derive(Debug, Default)]
pub(super) struct Scan {
    /// What passes before the fault is surely over, A²s.
    pub let_through: Worst,
    /// What the closed switch carries, A: the peak, or the current of equal heat in its rated time; nothing without one.
    pub carried: Worst,
    /// The most that the switch may have to break, A.
    pub must_break: Worst,
    /// Of it, what no fuse can have cleared before, A.
    pub must_break_surely: Worst,
    /// What is missing to tell the two apart.
    pub must_break_unless: Option<&'static str>,
    /// Backwards in a string with a fault inside, A.
    pub reverse: Worst,
    /// Energy into the clamp, J.
    pub clamp: Worst,
    /// The most that the fuse may have to break, A.
    pub fuse_breaks: Worst,
    /// Until when a fault may last, s.
    pub over: Worst,
    /// Why faults find nobody.
    pub nobody: Vec<NobodyReason>,
    /// What is missing to know whether they find somebody.
    pub unknown: Option<&'static str>,
}

/// A value of a fault, and where its worst is kept.
type Part = (fn(&mut Scan) -> &mut Worst, fn(&Fault, &RaceInput) -> Option<Told>);

const PARTS: [Part; 8] = [
    (|scan| &mut scan.let_through, |fault, input| Some(fault.let_through(input))),
    (|scan| &mut scan.carried, |fault, input| Some(fault.carried(input, input.switch.carry_s?))),
    (|scan| &mut scan.must_break, |fault, _| Some(Told::Value(fault.demand()?.most_a))),
    (|scan| &mut scan.must_break_surely, |fault, _| Some(Told::Value(fault.demand()?.least_a))),
    (|scan| &mut scan.reverse, |fault, input| Some(Told::Value(fault.reverse_a(input)?))),
    (|scan| &mut scan.clamp, |fault, input| Some(Told::Value(fault.clamp(input)?.energy_j))),
    (|scan| &mut scan.fuse_breaks, |fault, input| Some(Told::Value(fault.fuse_breaks_a(input)?))),
    (|scan| &mut scan.over, |fault, input| Some(fault.over(input))),
];

/// All faults.
pub(super) fn scan(input: &RaceInput, region: &Region, work: Work) -> Result<Scan, Halt> {
    let (currents, slow) = (region.currents(input), region.slow());
    let mut scan = Scan::default();
    for prospective_a in &currents {
        work.go_on()?;
        for (slow, before_a) in slow.iter().flat_map(|slow| region.before_a.iter().map(move |before| (slow, before))) {
            let place = Place { prospective_a: *prospective_a, slow: *slow, before_a: *before_a };
            let fault = region.run(input, place);
            for (worst, value) in PARTS {
                if let Some(told) = value(&fault, input) {
                    worst(&mut scan).take(told, place);
                }
            }
            if let Some(reason) = fault.nobody(input).filter(|reason| !scan.nobody.contains(reason)) {
                scan.nobody.push(reason);
            }
            if let Told::Missing(what) = fault.ended(input) {
                scan.unknown.get_or_insert(what);
            }
            if let Some(what) = fault.demand().and_then(|demand| demand.unless) {
                scan.must_break_unless.get_or_insert(what);
            }
        }
    }
    let (low, high) = region.range_a();
    if high <= low && slow.len() == 1 {
        return Ok(scan);
    }
    for (worst, value) in PARTS {
        for (_, start) in worst(&mut scan).top.clone() {
            work.go_on()?;
            climb(input, region, start, value, worst(&mut scan));
        }
    }
    Ok(scan)
}

/// From a place upwards, as far as it goes.
fn climb(
    input: &RaceInput,
    region: &Region,
    start: Place,
    value: fn(&Fault, &RaceInput) -> Option<Told>,
    worst: &mut Worst,
) {
    let (low, high) = region.range_a();
    let wide = region.slow().len() > 1;
    let at = |place: Place| value(&region.run(input, place), input);
    let Some(Told::Value(mut best)) = at(start) else { return };
    let mut place = start;
    let (mut step, mut aside) = (0.03, if wide { 0.03 } else { 0.0 });
    while step > 1e-7 {
        let mut better = false;
        for (along, across) in [(step, 0.0), (-step, 0.0), (0.0, aside), (0.0, -aside)] {
            let next = Place {
                prospective_a: (place.prospective_a * (1.0 + along)).clamp(low, high),
                slow: (place.slow + across).clamp(0.0, 1.0),
                ..place
            };
            if next.prospective_a == place.prospective_a && next.slow == place.slow {
                continue;
            }
            if let Some(told) = at(next) {
                worst.take(told, next);
                if let Told::Value(found) = told
                    && found > best
                {
                    (best, place, better) = (found, next, true);
                }
            }
        }
        if !better {
            (step, aside) = (0.3 * step, 0.3 * aside);
        }
    }
}

/// Where nobody interrupts as rated, or nothing tells: each change is searched between its neighbours.
pub(super) fn nobody(input: &RaceInput, region: &Region, scan: &Scan) -> Vec<NobodyInterval> {
    if scan.nobody.is_empty() {
        return Vec::new();
    }
    let slow = region.slow();
    let reason = |prospective_a: f64| {
        let places = slow.iter().flat_map(|slow| region.before_a.iter().map(|before| (*slow, *before)));
        places
            .filter_map(|(slow, before_a)| region.run(input, Place { prospective_a, slow, before_a }).nobody(input))
            .min()
    };
    let mut currents = region.currents(input);
    // A sliver may lie between two of them.
    currents.extend([scan.must_break.at_a(), scan.must_break_surely.at_a()].into_iter().filter(|at| *at > 0.0));
    currents.sort_by(f64::total_cmp);
    let mut intervals: Vec<NobodyInterval> = Vec::new();
    let mut before: Option<(f64, Option<NobodyReason>)> = None;
    for current in currents {
        let now = reason(current);
        let edge = before
            .filter(|(_, last)| *last != now)
            .map_or(current, |(from, last)| border(from, current, |current| reason(current) == last));
        if let Some(open) = intervals.last_mut().filter(|_| before.is_some_and(|(_, last)| last.is_some())) {
            open.to_a = edge;
        }
        if let Some(reason) = now.filter(|_| before.is_none_or(|(_, last)| last != now)) {
            intervals.push(NobodyInterval { reason, from_a: edge, to_a: current });
        }
        before = Some((current, now));
    }
    intervals
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
