//! The goals as they are judged: each with where it is decided and what harms there, from the threshold or the part that it
//! rests on.

use super::consequence::{Count, Precharge, Race};
use super::input::{Dangerous, DecidedBy, Fault, Goal, SafetyInput, Side};

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
            if !self.hangs_on_threshold(goal) {
                return goal.clone().on_its_own();
            }
            let [at, harm] = goal.reads.pick([
                [current.decided_a, current.harm_a],
                [voltage.decided_v, voltage.harm_v],
                [temperature.decided_degc, temperature.harm_k],
            ]);
            goal.clone().on(self.trip_of(goal.reads)).decided(at, harm)
        };
        self.goals.iter().map(with).collect()
    }

    /// The side of a pre-charge on which a fault is looked at: what both channels share is looked at on the link's.
    pub fn side_of(&self, fault: &Fault) -> Side {
        if self.in_both(fault.insert) { Side::Link } else { fault.side }
    }

    /// A goal that rests on a race, a pre-charge or a count, for a fault on one side: where it is decided, and what harms there.
    pub fn by_its_part(&self, goal: &Goal, side: Side) -> Goal {
        let both = |[at, harm]: [f64; 2]| (Some(at), Some(harm));
        let ((at, harm), dangerous) = match goal.decided_by {
            DecidedBy::Threshold => return goal.clone(),
            DecidedBy::Race => {
                let race = Race::of(&self.race);
                let told = race.map_or((None, None), |race| (Some(race.decided_a()), race.harm_a()));
                (told, Dangerous::Low)
            }
            DecidedBy::Precharge => {
                let dangerous = if side == Side::Link { Dangerous::High } else { Dangerous::Low };
                let told = Precharge::of(&self.precharge).map(|precharge| precharge.decided_v(side));
                (told.map_or((None, None), both), dangerous)
            }
            DecidedBy::Count => {
                let count = Count::of(&self.count);
                let told = goal.at_a.zip(count).map(|(at, count)| [at, count.harm_a()]);
                (told.map_or((None, None), both), Dangerous::Both)
            }
        };
        Goal { dangerous, ..goal.clone().decided(at, harm) }
    }
}
