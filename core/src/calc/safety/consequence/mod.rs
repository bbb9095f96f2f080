//! # What the design then does
//!
//! The fault is there before the demand comes: a quantity leaves allowed operation and runs towards its hazard. The threshold
//! sees the faulty reading and trips for certain where that has passed it with all of its error. What it opens is off a delay
//! later, before the hazard or after it.
//!
//! ```text
//! Formula    trips at the lowest x from the normal extreme on with r(x) − e ≥ T (a lower threshold mirrored);
//!            in time: x ≤ x_d, the last value in time; late by (x − x_d)/s; never: no x up to the largest possible;
//!            early: r(x_n) + e ≥ T in allowed operation
//! Symbols    r reading with the fault, T threshold, e error of the healthy reading, x_n normal extreme, x_d value at which
//!            the goal is decided (hazard less slope times delay), s largest slope towards the hazard
//! Search     even places from the normal extreme over x_d to the end, the first that trips refined by halves; at the worst
//!            magnitude there and at even places of its distribution, in every state
//! Valid      a quantity that moves one way at no more than its slope; what reads alike for a while between two places is
//!            seen at the later one
//! Source     definitions; stepped and drawn ramps in tests/python
//! ```

mod count;
mod precharge;
mod race;

use super::input::{DecidedBy, Fault, Goal, Insert, SafetyInput, Side, Trip};
use super::insertion::{Faulty, InState, faulty};
use crate::numeric::first_where;

pub(super) use count::{CURRENTS, Count};
pub(super) use precharge::Precharge;
pub(super) use race::Race;

/// Places of the true value on each side of where the goal is decided.
const PLACES: u32 = 16;
/// Places of the magnitude that are followed beside the worst one.
const MAGNITUDES: usize = 16;

crate::choice! {
    /// What the design does with a mode in it.
    pub enum SafetyBehaviour {
        InTime = "in-time", "In time";
        Early = "early", "In time, and may trip in allowed operation";
        Late = "late", "Late";
        Never = "never", "Never";
        TooSoon = "too-soon", "Closes too soon";
    }
}

/// What the design does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Consequence {
    /// In a word.
    pub behaviour: SafetyBehaviour,
    /// Where it trips for certain; of a pre-charge, from which link voltage on it may close.
    pub trips_at: Option<f64>,
    /// How long after the demand came, s; without end of a ramp.
    pub after_s: Option<f64>,
    /// How late, s.
    pub late_by_s: Option<f64>,
    /// Largest current when the contactor closes, A.
    pub inrush_a: Option<f64>,
    /// What a count is off a day, Ah.
    pub ah_per_day: Option<f64>,
    /// When its budget is used up, days.
    pub budget_days: Option<f64>,
    /// How far towards the hazard a threshold trips.
    towards: f64,
}

impl Consequence {
    const fn of(behaviour: SafetyBehaviour) -> Self {
        Self {
            behaviour,
            trips_at: None,
            after_s: None,
            late_by_s: None,
            inrush_a: None,
            ah_per_day: None,
            budget_days: None,
            towards: f64::NEG_INFINITY,
        }
    }

    /// What is worse comes later: the word, then how late, how soon or how strong.
    fn rank(&self) -> (u8, f64) {
        match self.behaviour {
            SafetyBehaviour::InTime => (0, self.inrush_a.or(self.after_s).unwrap_or(self.towards)),
            SafetyBehaviour::Early => (1, 0.0),
            // Not before the end of what was looked at is later than anything before it.
            SafetyBehaviour::Late => (2, self.late_by_s.unwrap_or(f64::INFINITY)),
            SafetyBehaviour::Never => (3, 0.0),
            SafetyBehaviour::TooSoon => (4, self.inrush_a.unwrap_or(0.0)),
        }
    }

    /// The worse of two.
    fn worse(self, other: Self) -> Self {
        if other.rank() > self.rank() { other } else { self }
    }
}

/// A threshold with where its goal is decided and how far the true value can go.
struct Demand {
    trip: Trip,
    decided: f64,
    reaches: Option<f64>,
}

impl Demand {
    fn of(goal: &Goal) -> Option<Self> {
        Some(Self { trip: goal.trip()?, decided: goal.at()?, reaches: goal.largest_possible() })
    }

    /// What happens with a reading. Values are counted towards the hazard.
    fn met(&self, read: impl Fn(f64) -> f64) -> Consequence {
        let Trip { threshold, error, normal, .. } = self.trip;
        let sign = self.trip.sign();
        let trips = |way: f64| sign * read(sign * way) - error >= sign * threshold;
        let [from, decided, hazard] = [normal, self.decided, self.trip.hazard].map(|value| sign * value);
        let end = self.reaches.map_or(hazard, |most| (sign * most).max(decided));
        let at = first(from.min(decided), decided, trips).or_else(|| first(decided, end, trips));
        let (behaviour, late_by_s) = match at {
            Some(at) if at > decided => {
                (SafetyBehaviour::Late, Some((at - decided) / self.trip.slope).filter(|late| late.is_finite()))
            }
            Some(_) if sign * read(normal) + error >= sign * threshold => (SafetyBehaviour::Early, None),
            Some(_) => (SafetyBehaviour::InTime, None),
            None if self.reaches.is_some() => (SafetyBehaviour::Never, None),
            None => (SafetyBehaviour::Late, None),
        };
        let towards = at.unwrap_or(f64::NEG_INFINITY);
        Consequence { trips_at: at.map(|way| sign * way), late_by_s, towards, ..Consequence::of(behaviour) }
    }
}

/// The first value between two at which something holds; even places, and halves before the first that does.
fn first(from: f64, to: f64, holds: impl Fn(f64) -> bool) -> Option<f64> {
    let place = |step: u32| if step == PLACES { to } else { from + (to - from) * f64::from(step) / f64::from(PLACES) };
    let step = (0..=PLACES).find(|step| holds(place(*step)))?;
    Some(if step == 0 { from } else { first_where(place(step - 1), place(step), holds) })
}

/// What happens with a reading of a true value.
type Met<'a> = &'a dyn Fn(&dyn Fn(f64) -> f64) -> Consequence;

/// What a design does with a mode whose deviations are known, in its worst state and magnitude; nothing where what the goal
/// rests on is not given.
pub fn consequence(input: &SafetyInput, goal: &Goal, fault: &Fault, states: &[InState]) -> Option<Consequence> {
    // What is typed deviates alike everywhere.
    let channels = if fault.insert == Insert::None { Vec::new() } else { faulty(input, goal, fault).ok()? };
    let worst = |sign: f64, met: Met| {
        let mut worst: Option<Consequence> = None;
        for (state, in_state) in states.iter().enumerate() {
            for place in followed(&in_state.deviations, sign) {
                let share = place as f64 / (in_state.deviations.len() - 1).max(1) as f64;
                let one = met(&|at| match channels.get(state) {
                    Some(channel) => reads(channel, at, share, goal.is_bounded()),
                    None => at + in_state.deviations[place],
                });
                worst = Some(worst.map_or(one, |before| before.worse(one)));
            }
        }
        worst
    };
    let met = match goal.decided_by {
        DecidedBy::Threshold => {
            let demand = Demand::of(goal)?;
            worst(demand.trip.sign(), &|read| demand.met(read))
        }
        DecidedBy::Race => {
            let race = Race::of(&input.race)?;
            worst(1.0, &|read| race.met(read))
        }
        DecidedBy::Precharge => {
            let precharge = Precharge::of(&input.precharge)?;
            match fault.side {
                _ if input.in_both(fault.insert) => worst(-1.0, &|read| precharge.met(read, read)),
                Side::Link => worst(-1.0, &|read| precharge.met(read, |v| v)),
                Side::Pack => worst(1.0, &|read| precharge.met(|v| v, read)),
            }
        }
        DecidedBy::Count => {
            let count = Count::of(&input.count)?;
            let largest = states.iter().flat_map(|state| &state.deviations).map(|one| one.abs()).reduce(f64::max);
            largest.map(|deviation| count.met(deviation))
        }
    };
    // What does not hold without a fault is in time by chance.
    let promised = input.part_lacks(goal).is_none();
    met.filter(|one| promised || !matches!(one.behaviour, SafetyBehaviour::InTime | SafetyBehaviour::Early))
}

/// What cannot be read trips nothing.
fn reads(channel: &Faulty, at: f64, share: f64, bounded: bool) -> f64 {
    let read = if bounded { channel.reading(at, share) } else { channel.unbounded(at, share) };
    read.unwrap_or(f64::NAN)
}

/// The places of a magnitude that are followed: the one that misreads most against the threshold, and some on the way.
fn followed(deviations: &[f64], sign: f64) -> Vec<usize> {
    let last = deviations.len() - 1;
    let worst = (0..=last).min_by(|one, other| (sign * deviations[*one]).total_cmp(&(sign * deviations[*other])));
    let mut places: Vec<usize> = (0..=MAGNITUDES).map(|step| last * step / MAGNITUDES).chain(worst).collect();
    places.sort_unstable();
    places.dedup();
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    fn demand(reaches: Option<f64>) -> Demand {
        let trip = Trip { threshold: 836.0, error: 5.0, hazard: 851.4, slope: 10.0, normal: 830.0 };
        Demand { trip, decided: 849.4, reaches }
    }

    /// By hand, 836 + 5 V are passed at 841 V; 1 % less is passed at 849.49 V, 9 ms late; 20 % less at 1051.25 V.
    #[test]
    fn a_gain_trips_where_it_should() {
        let gain = |part: f64, reaches| demand(reaches).met(|x| part * x);
        assert_eq!(gain(1.0, None).behaviour, SafetyBehaviour::InTime);
        assert!((gain(1.0, None).trips_at.expect("trips") - 841.0).abs() < 1e-9);
        let late = gain(0.99, None);
        assert_eq!(late.behaviour, SafetyBehaviour::Late);
        assert!((late.late_by_s.expect("late") - (841.0 / 0.99 - 849.4) / 10.0).abs() < 1e-9);
        assert_eq!(gain(0.8, Some(920.0)).behaviour, SafetyBehaviour::Never);
        assert_eq!(gain(0.8, Some(1100.0)).trips_at.map(f64::round), Some(1051.0));
        assert_eq!((gain(0.8, None).behaviour, gain(0.8, None).late_by_s), (SafetyBehaviour::Late, None));
        assert_eq!(gain(1.2, None).behaviour, SafetyBehaviour::Early);
    }

    /// A lower threshold is mirrored: 500 V with 4 V are passed downwards at 496 V; 3 % more at 481.55 V, 0.155 s late.
    #[test]
    fn a_lower_threshold_is_mirrored() {
        let trip = Trip { threshold: 500.0, error: 4.0, hazard: 480.0, slope: 10.0, normal: 520.0 };
        let met = |part: f64| Demand { trip, decided: 483.1, reaches: Some(400.0) }.met(|x| part * x);
        assert!((met(1.0).trips_at.expect("trips") - 496.0).abs() < 1e-9);
        assert!((met(1.03).late_by_s.expect("late") - (483.1 - 496.0 / 1.03) / 10.0).abs() < 1e-9);
        assert_eq!((met(1.5).behaviour, met(0.9).behaviour), (SafetyBehaviour::Never, SafetyBehaviour::Early));
    }

    /// A code that hangs trips at once or never; what reads back again has tripped where it first did.
    #[test]
    fn readings_that_do_not_rise() {
        let one = demand(Some(920.0));
        assert_eq!(one.met(|_| 700.0).behaviour, SafetyBehaviour::Never);
        assert_eq!(one.met(|_| 900.0), Consequence { trips_at: Some(830.0), ..one.met(|_| 900.0) });
        let folds = one.met(|x| if x < 848.0 { x } else { 0.0 });
        assert_eq!(folds.behaviour, SafetyBehaviour::InTime);
    }
}
