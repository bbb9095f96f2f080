//! The faults: every voltage, resistance, inductance and current before that may meet.
//!
//! ```text
//! Formula    I = V/(R_p + R_x), τ = L/R = L I/V; V, R_p, R_x, L each from lowest to highest, independent
//!            N units in parallel see the path outside u times, R = R_p + u R_x, with its part of the inductance, L to u L:
//!            u from 1, alone, to 1 + (N − 1) R_p,hi/R_p,lo, the weakest of all; so that L_hi u(R)/R is longest where u is
//!            just the largest
//!            inside: of what a feeding one sees, L_f (`strings`), all from the least to the most
//!            at a prospective current I: V from max(V_lo, I R_lo) to min(V_hi, I R_hi), τ from L_lo I/V to L_hi I/V
//! Monotony   at one I and τ the course is one, whatever V; against the clamp the current falls slowest at the highest V, and a
//!            fuse clears least there: V is the highest that L_hi leaves. Of a pack's strings the last one carries most at the
//!            smallest R_p. Thresholds and filters at their ends: earliest and latest.
//!            Before: a lower current reaches the threshold later and passes more until then, a higher one melts the fuse
//!            earlier: the ends, none, and thirds of what flows backwards, where the fuse may melt latest in between
//! Valid      what drives a fault inside is a voltage of the source: how much passes where it lies among the cells, and less
//!            drives it, is not judged, as outside it is not beyond the weakest; what a switch may have to break then is
//! Search     I and τ
//! Source     Kirchhoff's laws
//! ```

use super::fault::Fault;
use super::input::RaceInput;
use super::strings::{Seen, shares};
use crate::numeric::log_grid;
use crate::physics::fault_loop::Loop;

/// Places of the time constant where it is a range.
const PLACES: u32 = 33;

/// At a place from 0 to 1 between two ends: by ratio, where the lower one is above nothing.
fn between([low, high]: [f64; 2], place: f64) -> f64 {
    if low > 0.0 { low * libm::pow(high / low, place) } else { high * place * place }
}

/// The region of faults.
#[derive(Clone, Debug)]
pub(super) struct Region {
    voltage_v: [f64; 2],
    pack_ohm: [f64; 2],
    /// As a unit sees it.
    external_ohm: [f64; 2],
    /// The least of the path itself, Ω.
    path_ohm: f64,
    /// How often a unit sees the path outside at most.
    seen_most: f64,
    henry: [f64; 2],
    /// Of one of several strings or units alone.
    own_henry: [f64; 2],
    /// What a fault inside one of them has, as one that feeds it sees it.
    inside_henry: [f64; 2],
    /// The currents before, A.
    pub before_a: Vec<f64>,
}

/// A fault of the region.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    /// Prospective current of the pack, A.
    pub prospective_a: f64,
    /// Where its time constant lies, from 0, the shortest, to 1; of one inside its inductance.
    pub slow: f64,
    /// Before, A.
    pub before_a: f64,
    /// Whether it lies inside one of several strings: of a pack with the resistance that it has in such a fault outside.
    pub inside: bool,
}

impl Region {
    pub fn of(input: &RaceInput) -> Self {
        let source = &input.source;
        let range = |low: f64, high: Option<f64>| [low, high.unwrap_or(low)];
        // Of a short on the bus each unit sees the path as often as units feed it, those with less resistance for more than
        // themselves: from one alone to the weakest of all.
        let pack_ohm = range(source.pack_resistance_ohm, source.pack_resistance_max_ohm);
        let [external_least, external_most] = range(source.external_resistance_ohm, source.external_resistance_max_ohm);
        let spread = if pack_ohm[0] > 0.0 { pack_ohm[1] / pack_ohm[0] } else { 1.0 };
        let seen_most = 1.0 + f64::from(input.units_in_parallel - 1) * spread;
        let lowest = input.before_min_a.unwrap_or(input.before_a).min(0.0);
        let mut before_a = vec![input.before_a.max(0.0), 0.0];
        if lowest < 0.0 {
            before_a.extend([1.0, 2.0, 3.0].map(|third| lowest * third / 3.0));
        }
        before_a.dedup();
        let henry = range(source.inductance_henry, source.inductance_max_henry);
        let [least, most] = input.own_henry(henry[1]);
        // What the strings of another unit have in common with each other counts as theirs.
        let beside = input.strings.count > 1 && input.units_in_parallel > 1;
        let feeds = if beside { f64::from(input.strings.count) * henry[1] } else { most };
        Self {
            voltage_v: [input.lowest_v(), source.voltage_v],
            pack_ohm,
            external_ohm: [external_least, external_most * seen_most],
            path_ohm: external_least,
            seen_most,
            henry,
            own_henry: [least, most],
            inside_henry: [if beside { 0.0 } else { least }, feeds + f64::from(input.feeding()) * most],
            before_a,
        }
    }

    /// The least and the most of the loop, Ω.
    pub fn ohm(&self) -> [f64; 2] {
        [self.pack_ohm[0] + self.external_ohm[0], self.pack_ohm[1] + self.external_ohm[1]]
    }

    /// The prospective currents of the weakest and the strongest fault, A.
    pub fn range_a(&self) -> (f64, f64) {
        let [least, most] = self.ohm();
        (self.voltage_v[0] / most, self.voltage_v[1] / least)
    }

    /// How often a unit sees the path outside, at most, in a loop of this resistance.
    fn seen_times(&self, resistance_ohm: f64) -> f64 {
        let outside = resistance_ohm - self.pack_ohm[0];
        if self.path_ohm > 0.0 { (outside / self.path_ohm).clamp(1.0, self.seen_most) } else { self.seen_most }
    }

    /// The resistance of the loop with the largest time constant, between two, Ω.
    fn slow_ohm(&self, [least, most]: [f64; 2]) -> f64 {
        (self.pack_ohm[0] + self.path_ohm * self.seen_most).min(most).max(least)
    }

    /// The largest time constant of the loop, s; that of a fault inside one of several strings has no path outside.
    pub fn slowest_s(&self, input: &RaceInput) -> f64 {
        let resistance_ohm = self.slow_ohm(self.ohm());
        let inductance_henry = self.henry[1] * self.seen_times(resistance_ohm);
        let whole = Loop { voltage_v: self.voltage_v[1], resistance_ohm, inductance_henry };
        let inside = self.seen_inside(input, self.strongest(), 1.0).and_then(|seen| seen.reverse);
        inside.map_or(0.0, |reverse| reverse.time_constant_s()).max(whole.time_constant_s())
    }

    /// The weakest fault.
    pub fn weakest(&self) -> Loop {
        Loop { voltage_v: self.voltage_v[0], resistance_ohm: self.ohm()[1], inductance_henry: self.henry[0] }
    }

    /// The strongest fault.
    pub fn strongest(&self) -> Loop {
        Loop { voltage_v: self.voltage_v[1], resistance_ohm: self.ohm()[0], inductance_henry: self.henry[0] }
    }

    /// What the devices see of a loop of this region.
    pub fn seen(&self, input: &RaceInput, whole: Loop) -> Seen {
        let seen = Seen::of(input, whole, self.of_pack(&whole));
        if input.units_in_parallel < 2 {
            return seen;
        }
        // Of the inductance in common one unit alone keeps its part once, of its own all: what it sees may be either.
        let (times, all) = (self.seen_times(whole.resistance_ohm), whole.inductance_henry);
        let least = (all / times).max(self.henry[0]).min(all);
        seen.beside_units(input, times, [least, all.min(self.henry[1]).max(least)], self.pack_ohm[1])
    }

    /// The same of a fault inside one of several strings, with the inductance at this place of its range.
    pub fn seen_inside(&self, input: &RaceInput, whole: Loop, slow: f64) -> Option<Seen> {
        let inductance_henry = between(self.inside_henry, slow);
        Seen::inside(input, Loop { inductance_henry, ..whole }, self.own_henry, self.of_pack(&whole))
    }

    /// What all that feed a fault inside one of several strings have together of their own, H.
    pub fn others_henry(&self, input: &RaceInput) -> [f64; 2] {
        let feeding = f64::from(input.feeding());
        // The most is theirs without that of the faulted one.
        [self.own_henry[0] / feeding, (self.inside_henry[1] - feeding * self.own_henry[1]) / feeding]
    }

    /// The least that the pack itself has of the resistance of a loop, Ω.
    fn of_pack(&self, whole: &Loop) -> f64 {
        let pack_ohm = (whole.resistance_ohm - self.external_ohm[1]).clamp(self.pack_ohm[0], self.pack_ohm[1]);
        pack_ohm.min(whole.resistance_ohm)
    }

    /// The loop of a prospective current and time constant.
    fn at(&self, prospective_a: f64, slow: f64) -> Loop {
        let (low, high) = self.range_a();
        let current = prospective_a.clamp(low, high.max(low));
        let ohm = self.ohm();
        let most = self.voltage_v[1].min(current * ohm[1]);
        let least = self.voltage_v[0].max(current * ohm[0]).min(most);
        let slow_v = (current * self.slow_ohm(ohm)).clamp(least, most);
        let slow_henry = self.henry[1] * self.seen_times(slow_v / current);
        let (shortest, longest) = (self.henry[0] * current / most, slow_henry * current / slow_v);
        let tau = between([shortest, longest], slow);
        let voltage_v = if tau > shortest { most.min(slow_henry * current / tau).max(slow_v) } else { most };
        Loop { voltage_v, resistance_ohm: voltage_v / current, inductance_henry: tau * voltage_v / current }
    }

    /// A loop of any prospective current, with the least inductance, for pictures.
    pub fn drawn(&self, prospective_a: f64) -> Loop {
        let (low, high) = self.range_a();
        if (low..=high).contains(&prospective_a) {
            return self.at(prospective_a, 0.0);
        }
        let voltage_v = self.voltage_v[usize::from(prospective_a > high)];
        Loop { voltage_v, resistance_ohm: voltage_v / prospective_a, inductance_henry: self.henry[0] }
    }

    /// Runs the race at a place.
    pub fn run(&self, input: &RaceInput, place: Place) -> Fault {
        let inside = || self.seen_inside(input, self.at(place.prospective_a, 0.0), place.slow);
        let seen = || self.seen(input, self.at(place.prospective_a, place.slow));
        let seen = if place.inside { inside() } else { None }.unwrap_or_else(seen);
        Fault::run(input, seen, place.before_a)
    }

    /// Runs the races of a fault inside a string that a part of the highest voltage drives, with the least or the most of the
    /// pack's own resistance: with the most inductance, where all comes latest, over the currents before.
    pub fn inside<'a>(&'a self, input: &'a RaceInput, most_ohm: bool, part: f64) -> impl Iterator<Item = Fault> + 'a {
        let whole = Loop {
            voltage_v: part * self.voltage_v[1],
            resistance_ohm: self.pack_ohm[usize::from(most_ohm)] + self.external_ohm[1],
            ..self.strongest()
        };
        let seen = self.seen_inside(input, whole, 1.0);
        seen.into_iter()
            .flat_map(move |seen| self.before_a.iter().map(move |before_a| Fault::run(input, seen, *before_a)))
    }

    /// The part of the highest voltage that the lowest is.
    pub fn lowest_part(&self) -> f64 {
        self.voltage_v[0] / self.voltage_v[1]
    }

    /// The places of a prospective current that are searched, over these places of the time constant.
    pub fn places<'a>(
        &'a self,
        input: &RaceInput,
        slow: &'a [f64],
        prospective_a: f64,
    ) -> impl Iterator<Item = Place> + 'a {
        let insides: &[bool] = if input.feeding() > 0 { &[false, true] } else { &[false] };
        let places = slow.iter().flat_map(|slow| self.before_a.iter().map(move |before_a| (*slow, *before_a)));
        places.flat_map(move |(slow, before_a)| {
            insides.iter().map(move |inside| Place { prospective_a, slow, before_a, inside: *inside })
        })
    }

    /// Whether faults of one prospective current differ in their time constant.
    fn wide(&self, input: &RaceInput) -> bool {
        let ohm = self.ohm();
        self.henry[1] * self.seen_most > self.henry[0]
            || (input.feeding() > 0 && self.inside_henry[1] > self.inside_henry[0])
            || (self.henry[1] > 0.0 && self.voltage_v[1] > self.voltage_v[0] && ohm[1] > ohm[0])
    }

    /// The places of the time constant that are searched.
    pub fn slow(&self, input: &RaceInput) -> Vec<f64> {
        if !self.wide(input) {
            return vec![0.0];
        }
        (0..PLACES).map(|index| f64::from(index) / f64::from(PLACES - 1)).collect()
    }

    /// The prospective currents that are searched: evenly on a logarithmic scale, and every edge at which a device begins or
    /// ceases to act.
    pub fn currents(&self, input: &RaceInput) -> Vec<f64> {
        let (low, high) = self.range_a();
        // A range of voltage alone is narrow.
        let narrow = self.ohm()[0] >= self.ohm()[1];
        let count = if self.wide(input) || narrow { 33 } else { 160 };
        let mut currents: Vec<f64> = log_grid(low, high, count).collect();
        let (threshold_low, threshold_high) = input.thresholds();
        let (fuse, switch) = (&input.fuse, &input.switch);
        let given = [fuse.never_clears_below_a, fuse.adiabatic_from_a, switch.breaking_a];
        let mut edges: Vec<f64> = given.into_iter().flatten().collect();
        edges.extend([threshold_low, threshold_high]);
        let error = fuse.current_tolerance_percent / 100.0;
        edges.extend(fuse.points.iter().map(|point| point.current_a * (1.0 + error)));
        for (edge, share) in edges.into_iter().flat_map(|edge| shares(input).map(|share| (edge, share))) {
            currents.extend([1.0 - 1e-6, 1.0, 1.0 + 1e-6].map(|near| edge / share * near));
        }
        currents.retain(|current| (low..=high).contains(current));
        currents.sort_by(f64::total_cmp);
        currents.dedup();
        currents
    }
}
