//! The goals as they are judged: each with where it is decided and what harms there, from the threshold or the part that it
//! rests on.

use super::consequence::{Count, Precharge, Race};
use super::input::{Dangerous, DecidedBy, Fault, Goal, SafetyInput, Side, Trip};

/// Of the values, what is rounding.
const ROUNDED: f64 = 1e-9;

impl SafetyInput {
    /// The goals that are judged: without any, one that asks nothing.
    pub fn judged_goals(&self) -> Vec<Goal> {
        if self.goals.is_empty() { vec![Goal::unstated()] } else { self.stated_goals() }
    }

    /// The goals that are stated; what hangs on the threshold of its quantity has place and harm from there.
    pub fn stated_goals(&self) -> Vec<Goal> {
        let (voltage, current, temperature) = (&self.voltage, &self.current, &self.temperature);
        let with = |goal: &Goal| {
            if goal.decided_by != DecidedBy::Threshold {
                return self.by_its_part(goal, Side::Pack);
            }
            let [at, harm] = goal.reads.pick([
                [current.decided_a, current.harm_a],
                [voltage.decided_v, voltage.harm_v],
                [temperature.decided_degc, temperature.harm_k],
            ]);
            let stated = if self.hangs_on_threshold(goal) {
                goal.clone().on(self.trip_of(goal.reads)).decided(at, harm)
            } else {
                self.no_better_than_its_channel(goal).on_its_own()
            };
            // What comes too late without a fault has no deviation that is harmless.
            let harm = stated.harm().filter(|_| self.part_lacks(&stated).is_none());
            // From allowed operation to the hazard at the largest slope: no fault is tolerated for longer.
            let ramp = stated.trip().map(|trip| (trip.hazard - trip.normal).abs() / trip.slope);
            let ftti_s = stated.ftti_s.map(|ftti| ramp.filter(|ramp| *ramp > 0.0).map_or(ftti, |ramp| ftti.min(ramp)));
            Goal { ftti_s, ..stated.clone().decided(stated.at(), harm) }
        };
        self.goals.iter().map(with).collect()
    }

    /// The goal with the error of its threshold, which is no less than that of the channel.
    fn no_better_than_its_channel(&self, goal: &Goal) -> Goal {
        let [threshold, error, hazard, slope, normal] = goal.told();
        let errs = error.map(|error| self.channel_error(goal.reads).map_or(error, |channel| error.max(channel)));
        goal.clone().on([threshold, errs, hazard, slope, normal])
    }

    /// The side of a pre-charge on which a fault is looked at: what both channels share is looked at on the link's.
    pub fn side_of(&self, fault: &Fault) -> Side {
        if self.in_both(fault.insert) { Side::Link } else { fault.side }
    }

    /// A goal that rests on a race, a pre-charge or a count, for a fault on one side: where it is decided, and what harms there.
    /// A part that fails without a fault says no harmful deviation: none is harmless.
    pub fn by_its_part(&self, goal: &Goal, side: Side) -> Goal {
        let ([at, harm], dangerous) = match goal.decided_by {
            DecidedBy::Threshold => return goal.clone(),
            DecidedBy::Race => {
                let race = Race::of(&self.race);
                ([race.as_ref().map(Race::decided_a), race.as_ref().and_then(Race::harm_a)], Dangerous::Low)
            }
            DecidedBy::Precharge => {
                let dangerous = if side == Side::Link { Dangerous::High } else { Dangerous::Low };
                let told = Precharge::of(&self.precharge).map(|precharge| precharge.decided_v(side).map(Some));
                (told.unwrap_or_default(), dangerous)
            }
            // It is decided at no one current: over all that are counted.
            DecidedBy::Count => {
                let count = Count::of(&self.count).filter(|_| self.counted_a(goal).is_some());
                ([None, count.map(Count::harm_a)], Dangerous::Both)
            }
        };
        let harm = harm.filter(|_| self.part_lacks(goal).is_none());
        // What does not show before the fault of the race has no more time than that.
        let lasts = Race::of(&self.race).filter(|_| goal.decided_by == DecidedBy::Race).map(|race| race.lasts_s());
        let ftti_s = goal.ftti_s.map(|ftti| lasts.map_or(ftti, |lasts| ftti.min(lasts)));
        Goal { dangerous, ftti_s, ..goal.clone().decided(at, harm) }
    }

    /// Why goals that rest on a threshold, a race, a pre-charge or a count are not judged, whatever is claimed of their modes: it
    /// lacks something, or does not hold without a fault.
    pub fn part_lacks(&self, goal: &Goal) -> Option<String> {
        let (race, precharge, count) = (&self.race, &self.precharge, &self.count);
        let late = |(trip, at): (Trip, f64)| {
            let room = trip.sign() * (at - trip.threshold) - trip.error;
            room < -ROUNDED * (at.abs() + trip.threshold.abs())
        };
        let (part, fails, holds) = match goal.decided_by {
            DecidedBy::Threshold => {
                if self.hangs_on_threshold(goal) && self.trip_fails(goal.reads) {
                    let name = &goal.name;
                    return Some(format!("the threshold of {name} fails, or is not judged, without a fault"));
                }
                let late = goal.trip().zip(goal.at()).is_some_and(late);
                return late.then(|| format!("the threshold of {} comes too late without a fault", goal.name));
            }
            DecidedBy::Race => ("race", race.fails, Race::of(race).map(|race| race.harm_a().is_some())),
            DecidedBy::Precharge => ("pre-charge", precharge.fails, Precharge::of(precharge).map(|one| one.stands())),
            DecidedBy::Count => {
                let counted = Count::of(count).and(self.counted_a(goal));
                ("count", count.fails, counted.map(|_| true))
            }
        };
        let name = &goal.name;
        match (fails, holds) {
            (Some(fails), _) if fails > 0.0 => {
                Some(format!("the {part} of {name} fails, or is not judged, without a fault"))
            }
            (_, None) => Some(format!("what the {part} of {name} needs is not given")),
            (_, Some(true)) => None,
            (None, Some(false)) => Some(format!("the {part} of {name} fails without a fault")),
            // Its own requirements hold although its switch alone does not do.
            (Some(_), Some(false)) if goal.decided_by == DecidedBy::Race && race.fuse_a2s.is_some() => {
                Some(format!("the fuse decides the race of {name}"))
            }
            (Some(_), Some(false)) => Some(format!("the {part} of {name} holds by more than is handed down")),
        }
    }
}
