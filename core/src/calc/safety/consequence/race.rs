//! # A short circuit whose detection reads wrong
//!
//! The current of the fault rises in its loop; the detection trips where its faulty reading passes the threshold. The switch
//! must open before the current is more than it can break, and before too much has been let through.
//!
//! ```text
//! Formula    trips at the lowest current x with r(x) ≥ Ith (1 + eth), after t(x) of the loop behind its filter; opens t_r
//!            later; allowed until i = Ib and ∫i² dt = W, whichever comes first; with a gain g: x = Ith (1 + eth)/g,
//!            t = (L/R) ln((If − I0)/(If − x)), never where x ≥ If: the fuse is left alone then
//! Faults     the strongest, and the weakest that must still be seen: the worse counts
//! Fuse       the switch must have opened before it melts: what then happens is not followed
//! Valid      the detection sits before the converter: its ends stop nothing
//! Source     the race's own loop (`physics::fault_loop`)
//! ```

use super::super::input::RaceParts;
use super::{Consequence, SafetyBehaviour, first};
use crate::numeric::first_where;
use crate::physics::fault_loop::Loop;

/// A race with everything that its goals need.
pub(in super::super) struct Race {
    loops: [Loop; 2],
    before_a: f64,
    filter_s: f64,
    reaction_s: f64,
    breaking_a: Option<f64>,
    pulse_a2s: Option<f64>,
    /// The reading at which it trips for certain, and from which on it may.
    trips_a: [f64; 2],
}

impl Race {
    /// Where all of it is given: one limit of the opening is enough.
    pub fn of(parts: &RaceParts) -> Option<Self> {
        parts.breaking_a.or(parts.pulse_a2s)?;
        let pulse_a2s = [parts.pulse_a2s, parts.fuse_a2s].into_iter().flatten().reduce(f64::min);
        let (voltage_v, resistance_ohm, inductance_henry) =
            (parts.voltage_v?, parts.resistance_ohm?, parts.inductance_henry?);
        let weakest = Loop {
            voltage_v: parts.weakest_v.unwrap_or(voltage_v),
            resistance_ohm: parts.weakest_ohm.unwrap_or(resistance_ohm),
            inductance_henry: parts.largest_henry.unwrap_or(inductance_henry),
        };
        let (threshold, error) = (parts.threshold_a?, parts.threshold_error_percent? / 100.0);
        Some(Self {
            loops: [Loop { voltage_v, resistance_ohm, inductance_henry }, weakest],
            before_a: parts.before_a?,
            filter_s: parts.filter_s.unwrap_or(0.0),
            reaction_s: parts.reaction_s?,
            breaking_a: parts.breaking_a,
            pulse_a2s,
            trips_a: [threshold * (1.0 + error), threshold * (1.0 - error)],
        })
    }

    fn opens_s(&self, one: &Loop, at_a: f64) -> Option<f64> {
        one.filtered_time_to_s(self.before_a, at_a, self.filter_s).map(|time| time + self.reaction_s)
    }

    /// Until when the switch must have opened; without end where the fault never does harm.
    fn allowed_s(&self, one: &Loop) -> f64 {
        let breaking = self.breaking_a.and_then(|can| one.time_to_s(self.before_a, can));
        let pulse = self.pulse_a2s.and_then(|takes| one.time_for_s(self.before_a, takes));
        [breaking, pulse].into_iter().flatten().fold(f64::INFINITY, f64::min)
    }

    /// How long the worse of its faults may last at the most, s.
    pub fn lasts_s(&self) -> f64 {
        self.loops.iter().map(|one| self.allowed_s(one)).fold(f64::INFINITY, f64::min)
    }

    /// The largest current at which the detection may trip.
    pub fn decided_a(&self) -> f64 {
        let of = |one: &Loop| {
            let late = |at: f64| self.opens_s(one, at).is_none_or(|time| time > self.allowed_s(one));
            if late(self.before_a) { self.before_a } else { first_where(self.before_a, one.prospective_a(), late) }
        };
        self.loops.iter().map(of).fold(f64::INFINITY, f64::min)
    }

    /// By how much it may be misread there; nothing where the race fails without a fault, so that no reading is harmless.
    pub fn harm_a(&self) -> Option<f64> {
        Some(self.decided_a() - self.trips_a[0]).filter(|harm| *harm >= 0.0)
    }

    /// What happens with a reading.
    pub fn met(&self, read: impl Fn(f64) -> f64) -> Consequence {
        let trips = |at: f64| read(at) >= self.trips_a[0];
        let (decided, weakest) = (self.decided_a(), self.loops.map(|one| one.prospective_a()));
        let end = weakest[0].min(weakest[1]);
        let at = first(self.before_a, decided, trips).or_else(|| first(decided, end, trips));
        let Some((at, times)) = at.and_then(|at| {
            let [one, other] = &self.loops;
            Some((at, [self.opens_s(one, at)?, self.opens_s(other, at)?]))
        }) else {
            return Consequence::of(SafetyBehaviour::Never);
        };
        let late = |(one, time): (&Loop, &f64)| time - self.allowed_s(one);
        let late = self.loops.iter().zip(&times).map(late).fold(f64::NEG_INFINITY, f64::max);
        let behaviour = match () {
            () if late > 0.0 => SafetyBehaviour::Late,
            () if read(self.before_a) >= self.trips_a[1] => SafetyBehaviour::Early,
            () => SafetyBehaviour::InTime,
        };
        Consequence {
            trips_at: Some(at),
            after_s: Some(times[0].max(times[1]) - self.reaction_s),
            late_by_s: (late > 0.0).then_some(late),
            ..Consequence::of(behaviour)
        }
    }
}
