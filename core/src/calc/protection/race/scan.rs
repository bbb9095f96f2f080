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
use crate::numeric::where_largest;
use crate::quantity::Unit;
use crate::work::{Halt, Work};

/// Most rounds of a climb: ten for each step that is worth taking.
const TRIES: u32 = 150;

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
        // What no number holds is without bound.
        let told = if told.value().is_some_and(|value| !value.is_finite()) { Told::Never } else { told };
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

    /// Whether no fault has it.
    pub fn untold(&self) -> bool {
        self.known.is_none() && self.never_at_a.is_none() && self.missing.is_none()
    }

    /// The largest of those that are known.
    pub fn largest(&self) -> Option<f64> {
        self.known.map(|(value, _)| value)
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
    /// Of it, what the switch of that string may have to break, A.
    pub backwards: Worst,
    /// What is missing to know whether a fuse has cleared it before.
    pub backwards_unless: Option<&'static str>,
    /// Energy into the clamp, J.
    pub clamp: Worst,
    /// The most that the fuse may have to break, A.
    pub fuse_breaks: Worst,
    /// Until when a fault may last, s.
    pub over: Worst,
    /// Why faults find nobody.
    pub nobody: Vec<NobodyReason>,
    /// Whether nobody ends one of them for certain.
    pub never: bool,
    /// What is missing to know whether they find somebody.
    pub unknown: Option<&'static str>,
}

impl Scan {
    /// Takes what is no number.
    fn note(&mut self, input: &RaceInput, fault: &Fault) {
        if let Some(reason) = fault.nobody(input).filter(|reason| !self.nobody.contains(reason)) {
            self.nobody.push(reason);
        }
        match fault.ended() {
            Told::Missing(what) => self.unknown = self.unknown.or(Some(what)),
            Told::Never => self.never = true,
            Told::Value(_) => {}
        }
        if let Some(what) = fault.demand.and_then(|demand| demand.unless) {
            self.must_break_unless.get_or_insert(what);
        }
    }
}

/// A value of a fault, and where its worst is kept.
type Part = (fn(&mut Scan) -> &mut Worst, fn(&Fault, &RaceInput) -> Option<Told>);

/// How many of the parts are climbed to their top; the others are largest at an edge of the grid.
const CLIMBED: usize = 5;

const PARTS: [Part; 8] = [
    (|scan| &mut scan.let_through, |fault, input| Some(fault.let_through(input))),
    (|scan| &mut scan.carried, |fault, input| Some(fault.carried(input, input.switch.carry_s?))),
    (|scan| &mut scan.must_break, |fault, _| Some(Told::Value(fault.demand?.most_a))),
    (|scan| &mut scan.must_break_surely, |fault, _| Some(Told::Value(fault.demand?.least_a))),
    (|scan| &mut scan.clamp, |fault, input| fault.clamped_j(input)),
    (|scan| &mut scan.reverse, |fault, input| Some(Told::Value(fault.reverse_a(input)?))),
    (|scan| &mut scan.fuse_breaks, |fault, _| Some(Told::Value(fault.fuse_breaks_a()?))),
    (|scan| &mut scan.over, |fault, _| Some(fault.over())),
];

/// All faults.
pub(super) fn scan(input: &RaceInput, region: &Region, work: Work) -> Result<Scan, Halt> {
    let (mut scan, slow) = (Scan::default(), region.slow(input));
    for prospective_a in region.currents(input) {
        work.go_on()?;
        for place in region.places(input, &slow, prospective_a) {
            let fault = region.run(input, place);
            for (worst, value) in PARTS {
                if let Some(told) = value(&fault, input) {
                    worst(&mut scan).take(told, place);
                }
            }
            scan.note(input, &fault);
        }
    }
    backwards(input, region, &mut scan, work)?;
    let (low, high) = region.range_a();
    if high <= low && slow.len() == 1 {
        return Ok(scan);
    }
    for part in &PARTS[..CLIMBED] {
        for (best, start) in part.0(&mut scan).top.clone() {
            work.go_on()?;
            climb(input, region, (best, start), *part, &mut scan);
        }
    }
    Ok(scan)
}

/// What flows backwards through a switch that opens: any part of the voltage may drive it, so that the ends of the resistance
/// are enough; less inductance lets more flow, and what the clamp takes may be most in between.
fn backwards(input: &RaceInput, region: &Region, scan: &mut Scan, work: Work) -> Result<(), Halt> {
    if input.feeding() == 0 {
        return Ok(());
    }
    let (low, high) = region.range_a();
    for prospective_a in [low, high] {
        for before_a in &region.before_a {
            work.go_on()?;
            let at = |slow: f64| Place { prospective_a, slow, before_a: *before_a, inside: true };
            let opened = |slow: f64| {
                let fault = region.run(input, at(slow));
                fault.backwards_a(input).map(|most| (most, fault.clamped_backwards_j(input, most)))
            };
            let energy = |slow: f64| opened(slow).and_then(|(_, energy)| energy).unwrap_or(0.0);
            let worst = where_largest(0.0, 1.0, &[], energy);
            for slow in [0.0, 1.0, worst] {
                let Some((most, energy)) = opened(slow) else { continue };
                scan.backwards.take(Told::Value(most), at(slow));
                let unless = region.run(input, at(slow)).backwards_unless(input);
                scan.backwards_unless = scan.backwards_unless.or(unless);
                if let Some(energy) = energy {
                    let beyond = input.switch.clamp_energy_j.is_some_and(|limit| passes(energy, limit));
                    let unless = unless.filter(|_| beyond);
                    scan.clamp.take(unless.map_or(Told::Value(energy), Told::Missing), at(slow));
                }
            }
        }
    }
    Ok(())
}

/// From a place upwards, as far as it goes.
fn climb(input: &RaceInput, region: &Region, start: (f64, Place), (worst, value): Part, scan: &mut Scan) {
    let (low, high) = region.range_a();
    let (mut best, mut place) = start;
    let (mut step, mut aside) = (0.03, if region.slow(input).len() > 1 { 0.03 } else { 0.0 });
    let mut tries = 0;
    while step > 1e-7 && tries < TRIES {
        tries += 1;
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
            let fault = region.run(input, next);
            scan.note(input, &fault);
            let Some(told) = value(&fault, input) else { continue };
            worst(scan).take(told, next);
            if let Some(found) = told.value().filter(|found| *found > best) {
                (best, place, better) = (found, next, true);
            }
        }
        if !better {
            (step, aside) = (0.3 * step, 0.3 * aside);
        }
    }
}

/// Where nothing interrupts as rated, or nothing tells: each change is searched between its neighbours.
pub(super) fn nobody(input: &RaceInput, region: &Region, scan: &Scan, work: Work) -> Result<Vec<NobodyInterval>, Halt> {
    if scan.nobody.is_empty() {
        return Ok(Vec::new());
    }
    // A picture: no verdict rests on it.
    let slow: Vec<f64> = region.slow(input).into_iter().step_by(8).collect();
    let reason = |prospective_a: f64| {
        let places = region.places(input, &slow, prospective_a);
        places.filter_map(|place| region.run(input, place).nobody(input)).min()
    };
    let mut currents = region.currents(input);
    // A sliver may lie between two of them.
    currents.extend([scan.must_break.at_a(), scan.must_break_surely.at_a()].into_iter().filter(|at| *at > 0.0));
    currents.sort_by(f64::total_cmp);
    let mut intervals: Vec<NobodyInterval> = Vec::new();
    let mut before: Option<(f64, Option<NobodyReason>)> = None;
    for current in currents {
        work.go_on()?;
        let now = reason(current);
        let edge = match before.filter(|(_, last)| *last != now) {
            Some((from, last)) => border(from, current, work, |current| reason(current) == last)?,
            None => current,
        };
        if let Some(open) = intervals.last_mut().filter(|_| before.is_some_and(|(_, last)| last.is_some())) {
            open.to_a = edge;
        }
        if let Some(reason) = now.filter(|_| before.is_none_or(|(_, last)| last != now)) {
            intervals.push(NobodyInterval { reason, from_a: edge, to_a: current });
        }
        before = Some((current, now));
    }
    Ok(intervals)
}

/// Where `holds`, true at `low` and false at `high`, changes.
fn border(low: f64, high: f64, work: Work, holds: impl Fn(f64) -> bool) -> Result<f64, Halt> {
    let (mut low, mut high) = (low, high);
    for _ in 0..60 {
        work.go_on()?;
        let middle = 0.5 * (low + high);
        if high - low <= 1e-10 * high || middle <= low || middle >= high {
            break;
        }
        if holds(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calc::protection::race::input::FusePoint;
    use crate::field::start;
    use crate::numeric::log_grid;

    /// A loop with every range, a fuse by its points and a switch that is late for some faults.
    fn wide() -> RaceInput {
        let mut input: RaceInput = start();
        let source = &mut input.source;
        (source.voltage_min_v, source.pack_resistance_max_ohm) = (Some(560.0), Some(0.35));
        (source.external_resistance_max_ohm, source.inductance_max_henry) = (Some(0.4), Some(4e-4));
        (input.before_min_a, input.filter_s, input.threshold_a) = (Some(-150.0), 2e-4, 1100.0);
        let point = |current_a: f64, pre_arcing_s: f64| FusePoint {
            current_a,
            pre_arcing_s,
            clearing_s: Some(1.05 * pre_arcing_s + 2e-4),
        };
        input.fuse.points = vec![point(600.0, 2.0), point(1000.0, 0.06), point(1800.0, 8e-3), point(3000.0, 2.8e-3)];
        (input.fuse.voltage_v, input.fuse.time_constant_s) = (Some(1000.0), Some(0.01));
        input.fuse.breaking_a = Some(50e3);
        (input.switch.breaking_a, input.switch.carry_s) = (Some(2600.0), Some(0.01));
        input.switch.clamp_voltage_v = Some(1200.0);
        input
    }

    /// Ten times as many currents, and ten times as many time constants, find no more than a thousandth above.
    #[test]
    fn a_finer_search_finds_no_worse_fault() {
        let input = wide();
        let region = Region::of(&input);
        let mut found = scan(&input, &region, Work::FREE).expect("not stopped");
        let (low, high) = region.range_a();
        let places = |count: u32| (0..count).map(move |index| f64::from(index) / f64::from(count - 1));
        for (currents, slow) in [(650, 9), (65, 90)] {
            for (prospective_a, slow) in
                log_grid(low, high, currents).flat_map(|at| places(slow).map(move |slow| (at, slow)))
            {
                for before_a in &region.before_a {
                    let fault = region.run(&input, Place { prospective_a, slow, before_a: *before_a, inside: false });
                    for (worst, value) in PARTS {
                        if let Some(Told::Value(value)) = value(&fault, &input) {
                            let most = worst(&mut found).largest().expect("some are known");
                            assert!(value <= most * 1.001, "{value} above {most} at {prospective_a} {slow} {before_a}");
                        }
                    }
                }
            }
        }
    }
}
