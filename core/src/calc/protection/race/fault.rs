//! The race at one fault.
//!
//! ```text
//! Formula    chain: t(I_th) + filter + Σ stages, shortest and longest; fuse: ∫i² dt = W of the prospective current
//!            switch first when its latest lies before the fuse's earliest, and the other way round
//!            must break: the largest current at an opening between the earliest and the latest, until the fuse has surely
//!            cleared; while it melts or arcs the current is at most the unopposed one
//!            over: the latest opening by a switch that can break it, with the fall of the current against the clamp; or C
//!            closed contacts carry until the latest opening or C
//!            of parallel strings: the clamp takes the most of all opening together, and of the last one, its inductance all in
//!            common or its own; the fuse of a string with a fault inside breaks what all others feed
//! Monotony   a later opening passes more: until then the currents are alike, after it the opened one is the smaller
//! Convention the current rises unopposed until the switch opens and the fuse has cleared
//! Source     closed form of the loop; the bounds of the fuse as said there
//! ```

use super::clamp::{Clamp, clamp, decay_a2s};
use super::fuse::{Melting, Told, melting};
use super::input::RaceInput;
use super::output::{NobodyReason, Opener};
use super::strings::Seen;
use crate::judge::passes;
use crate::physics::fault_loop::Loop;

/// When the fuse melts and clears.
#[derive(Clone, Copy, Debug)]
pub(super) struct Melt {
    /// At the earliest, s.
    pub low_s: f64,
    /// It has melted at the latest, s.
    pub high: Told,
    /// It has cleared after this, A²s.
    pub clearing: Told,
}

/// Another string is off: what this one carries on alone from then on.
#[derive(Clone, Copy, Debug)]
struct Step {
    /// At the earliest, s.
    at_s: f64,
    /// Of the sum at most, A.
    from_a: f64,
    /// Until then, A²s.
    passed_a2s: f64,
}

/// What the switch may have to break.
#[derive(Clone, Copy, Debug)]
pub(super) struct Demand {
    /// Surely at most this, A.
    pub most_a: f64,
    /// Of it, what no fuse can have cleared before, A.
    pub least_a: f64,
    /// What is missing to tell them apart.
    pub unless: Option<&'static str>,
}

/// The race at one fault, as the devices of one string see it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fault {
    pub seen: Seen,
    pub before_a: f64,
    /// Where another string may be first: its fuse or its switch, and after its fuse the switch of a third one.
    steps: [Option<Step>; 2],
    /// When the fuse has cleared at the latest, s.
    pub cleared: Told,
    pub switch_min_s: Option<f64>,
    pub switch_max_s: Option<f64>,
    pub fuse: Option<Melt>,
    pub opener: Opener,
    /// What the switch may have to break; none where it never opens while a current flows.
    pub demand: Option<Demand>,
    /// When the switch has surely opened a current that it can break, s.
    by_switch: Told,
}

impl Fault {
    /// Runs the race.
    pub fn run(input: &RaceInput, seen: Seen, before_a: f64) -> Self {
        let [(low, filter_low), (high, filter_high)] = input.detections();
        let (reaction_min, reaction_max) = input.reaction();
        let after = |circuit: &Loop, threshold, filter, reaction: f64| {
            circuit.filtered_time_to_s(before_a, threshold, filter).map(|time| time + reaction)
        };
        let switch_min_s = after(&seen.high, low, filter_low, reaction_min);
        let switch_max_s = after(&seen.low, high, filter_high, reaction_max);
        let mut fault = Self {
            seen,
            before_a,
            steps: [None; 2],
            cleared: Told::Never,
            switch_min_s,
            switch_max_s,
            fuse: None,
            opener: Opener::Nothing,
            demand: None,
            by_switch: Told::Never,
        };
        let tau = seen.alone.time_constant_s().max(seen.low.time_constant_s());
        let needs = melting(input, seen.range_a(), seen.low.voltage_v, tau);
        fault.cleared = needs.map_or(Told::Never, |needs| needs.timed.then(|a2s| fault.surely_for_s(a2s)));
        if seen.shared {
            let melts = needs.and_then(|needs| seen.high.time_for_s(before_a, needs.low_a2s));
            let driven = fault.apart() && input.switch.clamp_voltage_v.is_some();
            let driven_a = if driven { seen.driven_a(input, fault.together_a()) } else { 0.0 };
            let first = [switch_min_s, melts].into_iter().flatten().reduce(f64::min);
            let by_switch = |at: &f64| switch_min_s == Some(*at);
            fault.steps[0] = first.map(|at| fault.step(at, if by_switch(&at) { driven_a } else { 0.0 }));
            // Where a fuse may be first the switch of another string may still open while a current flows.
            let second = switch_min_s.filter(|at| driven && first.is_some_and(|first| first < *at));
            fault.steps[1] = second.map(|at| fault.step(at, driven_a));
        }
        fault.fuse = needs.and_then(|needs| fault.melt(needs));
        fault.opener = fault.opener();
        fault.demand = fault.demand(input);
        fault.by_switch = fault.by_switch(input);
        fault
    }

    /// A step at a time, from what flows then or from this.
    fn step(&self, at_s: f64, from_a: f64) -> Step {
        Step { at_s, from_a: self.current_a(at_s).max(from_a), passed_a2s: self.passed_a2s(at_s) }
    }

    /// The last step before a time.
    fn stepped(&self, time_s: f64) -> Option<&Step> {
        self.steps.iter().rev().flatten().find(|step| time_s > step.at_s)
    }

    /// When this much has surely passed, s.
    fn surely_for_s(&self, a2s: f64) -> Told {
        self.seen.low.time_for_s(self.before_a, a2s).map_or(Told::Never, Told::Value)
    }

    fn melt(&self, needs: Melting) -> Option<Melt> {
        Some(Melt {
            low_s: self.time_for_s(needs.low_a2s)?,
            high: needs.high.then(|a2s| self.surely_for_s(a2s)),
            clearing: needs.clearing,
        })
    }

    fn opener(&self) -> Opener {
        let (latest, Some(fuse)) = (self.switch_max_s, self.fuse) else {
            return if self.switch_max_s.is_some() { Opener::Switch } else { Opener::Nothing };
        };
        let melts = match (fuse.clearing, fuse.high) {
            (Told::Never, _) => Told::Never,
            (_, high) => high,
        };
        let earliest = self.switch_min_s.unwrap_or(f64::INFINITY);
        match melts {
            _ if latest.is_some_and(|latest| latest < fuse.low_s) => Opener::Switch,
            Told::Value(melted) if melted < earliest => Opener::Fuse,
            Told::Value(_) => Opener::Either,
            _ if latest.is_some() => Opener::Either,
            Told::Missing(_) => Opener::Unknown,
            Told::Never => Opener::Nothing,
        }
    }

    /// The largest current that may flow in a string at a time, A.
    pub fn current_a(&self, time_s: f64) -> f64 {
        match self.stepped(time_s) {
            Some(step) => self.seen.alone.current_a(step.from_a, time_s - step.at_s),
            None => self.seen.high.current_a(self.before_a, time_s),
        }
    }

    /// The most that may have passed until a time, A²s.
    pub fn passed_a2s(&self, time_s: f64) -> f64 {
        match self.stepped(time_s) {
            Some(step) => step.passed_a2s + self.seen.alone.let_through_a2s(step.from_a, time_s - step.at_s),
            None => self.seen.high.let_through_a2s(self.before_a, time_s),
        }
    }

    /// When this much has passed at the earliest, s.
    fn time_for_s(&self, a2s: f64) -> Option<f64> {
        match self.steps.iter().rev().flatten().find(|step| a2s > step.passed_a2s) {
            Some(step) => {
                let after = self.seen.alone.time_for_s(step.from_a, a2s - step.passed_a2s);
                after.map(|time| step.at_s + time)
            }
            None => self.seen.high.time_for_s(self.before_a, a2s),
        }
    }

    /// Whether the switch of one string may open while a current flows, and drive its current into another one, before that
    /// one opens.
    fn apart(&self) -> bool {
        let shared = self.seen.shared && self.seen.alone.time_constant_s() > 0.0;
        self.switch_min_s.filter(|_| shared).is_some_and(|earliest| {
            self.switch_max_s.is_none_or(|latest| latest > earliest)
                && self.cleared.value().is_none_or(|cleared| cleared > earliest)
        })
    }

    /// The largest current of a string at an opening while all carry, A.
    fn together_a(&self) -> f64 {
        let latest = self.switch_max_s.map_or(Told::Never, Told::Value).first(self.cleared).value();
        let at = |time: Option<f64>| {
            time.map_or_else(|| self.seen.high.prospective_a(), |time| self.seen.high.current_a(self.before_a, time))
        };
        at(self.switch_min_s).abs().max(at(latest))
    }

    /// The same of the last one, into which nobody else's current goes, A.
    fn undriven_a(&self) -> f64 {
        self.seen.alone.prospective_a().max(self.together_a())
    }

    /// The largest current between two times, A; without a second one for as long as it lasts.
    fn largest_a(&self, from_s: f64, to_s: Option<f64>) -> f64 {
        let end = to_s.map_or_else(|| self.seen.alone.prospective_a(), |to| self.current_a(to.max(from_s)));
        let between = |step: &&Step| step.at_s >= from_s && to_s.is_none_or(|to| to > step.at_s);
        let stepped = self.steps.iter().flatten().filter(between).map(|step| step.from_a);
        stepped.fold(self.current_a(from_s).abs().max(end), f64::max)
    }

    /// What the last string may take over where against which voltage the others open is not known, A.
    fn taken_over_a(&self, input: &RaceInput) -> Option<f64> {
        let unknown = self.apart() && input.switch.clamp_voltage_v.is_none();
        unknown.then(|| self.seen.driven_a(input, self.together_a()))
    }

    fn demand(&self, input: &RaceInput) -> Option<Demand> {
        let mut demand = self.opposed()?;
        if let Some(most) = self.taken_over_a(input).filter(|most| *most > demand.most_a) {
            (demand.most_a, demand.unless) = (most, demand.unless.or(Some("/switch/clamp_voltage_v")));
        }
        Some(demand)
    }

    /// The same but for what an inductance in common drives against a clamp that is not known.
    fn opposed(&self) -> Option<Demand> {
        let (earliest, latest) = (self.switch_min_s?, self.switch_max_s);
        let until = |end: f64| Some(latest.map_or(end, |latest| latest.min(end)));
        match self.cleared {
            Told::Value(end) if end <= earliest => None,
            Told::Value(end) => {
                let most = self.largest_a(earliest, until(end));
                Some(Demand { most_a: most, least_a: most, unless: None })
            }
            Told::Never => {
                let most = self.largest_a(earliest, latest);
                Some(Demand { most_a: most, least_a: most, unless: None })
            }
            Told::Missing(what) => {
                let melts = self.fuse.map_or(0.0, |fuse| fuse.low_s);
                let least = if melts > earliest { self.largest_a(earliest, until(melts)) } else { 0.0 };
                Some(Demand { most_a: self.largest_a(earliest, latest), least_a: least, unless: Some(what) })
            }
        }
    }

    fn by_switch(&self, input: &RaceInput) -> Told {
        let Some((latest, demand)) = self.switch_max_s.zip(self.demand) else { return Told::Never };
        if input.clamp_ends(self.seen.low.voltage_v) == Some(false) {
            return Told::Never;
        }
        match (input.switch.breaking_a, demand.unless) {
            (None, _) => Told::Missing("/switch/breaking_a"),
            (Some(can), _) if passes(demand.least_a, can) => Told::Never,
            (Some(can), Some(what)) if passes(demand.most_a, can) => Told::Missing(what),
            // Against which voltage the current falls, or whether it falls at all, is not known.
            _ if input.switch.clamp_voltage_v.is_none() && self.seen.low.time_constant_s() > 0.0 => {
                Told::Missing("/switch/clamp_voltage_v")
            }
            _ => Told::Value(latest),
        }
    }

    fn clearing(&self) -> Told {
        self.fuse.map_or(Told::Never, |fuse| fuse.clearing)
    }

    /// Whether the fault is surely ended, by a switch that can break it or by the fuse.
    pub fn ended(&self) -> Told {
        self.by_switch.first(self.clearing())
    }

    /// When it has surely ended, s.
    pub fn over(&self) -> Told {
        self.by_switch.first(self.cleared)
    }

    /// Why nothing interrupts as rated; none when somebody does.
    pub fn nobody(&self, input: &RaceInput) -> Option<NobodyReason> {
        let demand = self.demand;
        let beyond = |pick: fn(&Demand) -> f64| {
            demand.as_ref().zip(input.switch.breaking_a).is_some_and(|(demand, can)| passes(pick(demand), can))
        };
        match self.ended() {
            _ if beyond(|demand| demand.least_a) => Some(NobodyReason::BeyondBreaking),
            Told::Never => Some(NobodyReason::NothingOpens),
            Told::Missing(_) => Some(NobodyReason::NotJudged),
            Told::Value(_) => beyond(|demand| demand.most_a).then_some(NobodyReason::NotJudged),
        }
    }

    /// The loop that a string's current falls in after an opening at a time.
    fn falls_in(&self, time_s: f64) -> &Loop {
        if self.stepped(time_s).is_some() { &self.seen.falls } else { &self.seen.high }
    }

    /// The loop while all strings are closed, where another one that may be off at a time need not be: its fuse has not surely
    /// melted.
    fn all_closed(&self, time_s: f64) -> Option<&Loop> {
        let melted = self.fuse.and_then(|fuse| fuse.high.value()).is_some_and(|melted| melted <= time_s);
        Some(&self.seen.high).filter(|_| !melted)
    }

    /// What passes before the current is surely zero, A²s.
    pub fn let_through(&self, input: &RaceInput) -> Told {
        let falls = |circuit: &Loop, current: f64, passed: f64| {
            let decay = match input.switch.clamp_voltage_v {
                _ if !(circuit.time_constant_s() > 0.0) => Told::Value(0.0),
                Some(clamp_v) => decay_a2s(circuit, current, clamp_v).map_or(Told::Never, Told::Value),
                None => Told::Missing("/switch/clamp_voltage_v"),
            };
            decay.then(|decay| Told::Value(passed + decay))
        };
        let together = |high: &Loop, time: f64| {
            falls(high, high.current_a(self.before_a, time), high.let_through_a2s(self.before_a, time))
        };
        let by_switch = self.by_switch.then(|time| {
            let (current, passed) = (self.current_a(time), self.passed_a2s(time));
            let mut most = falls(self.falls_in(time), current, passed);
            if self.stepped(time).is_some() {
                most = most.most(falls(&self.seen.own, current.min(self.undriven_a()), passed));
            }
            self.all_closed(time).map_or(most, |high| most.most(together(high, time)))
        });
        let fed = self.by_switch.then(|time| together(&self.seen.high, time));
        self.inside(input, by_switch.first(self.clearing()), fed.first(self.clearing()))
    }

    /// What closed contacts take until they open or the fuse has cleared, A²s.
    fn carried_a2s(&self, input: &RaceInput) -> Told {
        let opened = |passed: fn(&Self, f64) -> f64| {
            let opened = self.switch_max_s.map_or(Told::Never, |time| Told::Value(passed(self, time)));
            opened.first(self.clearing())
        };
        let fed = opened(|fault, time| fault.seen.high.let_through_a2s(fault.before_a, time));
        self.inside(input, opened(Self::passed_a2s), fed)
    }

    /// The current that a closed switch carries: the peak, or the one of equal heat in its rated time, A.
    pub fn carried(&self, input: &RaceInput, time_s: f64) -> Told {
        let until = self.switch_max_s.map_or(Told::Never, Told::Value).first(self.cleared);
        let (own, reverse) = (self.largest_a(0.0, until.value()), self.reverse_a(input).unwrap_or(0.0));
        let peak = own.max(reverse);
        let inside = input.switch.carry_a.is_some_and(|limit| passes(reverse, limit) && !passes(own, limit));
        let unless = self.seen.reverse.filter(|_| inside).and_then(|sum| self.unless_inside(input, &sum));
        if let Some(what) = unless {
            return Told::Missing(what);
        }
        let beyond =
            |most: &f64| input.switch.carry_a.is_some_and(|limit| passes(*most, limit) && !passes(peak, limit));
        if self.taken_over_a(input).as_ref().is_some_and(beyond) {
            return Told::Missing("/switch/clamp_voltage_v");
        }
        let carried = self.carried_a2s(input).then(|a2s| Told::Value((a2s / time_s).sqrt().max(peak)));
        // A fuse of which that is not known may have cleared before the switch opens.
        let unknown = self.fuse.filter(|fuse| self.switch_max_s.is_none_or(|latest| fuse.low_s < latest));
        let unknown = unknown.and_then(|fuse| fuse.clearing.missing()).map_or(carried, Told::Missing);
        let open = carried.value().is_some_and(|most| beyond(&most));
        if open { unknown } else { carried }
    }

    /// The clamp at the latest opening.
    pub fn clamp(&self, input: &RaceInput) -> Option<Clamp> {
        let (time, clamp_v) = self.switch_max_s.zip(input.switch.clamp_voltage_v)?;
        clamp(self.falls_in(time), self.current_a(time), clamp_v)
    }

    /// The most that the clamp takes at an opening, J; none where the switch never opens while a current flows.
    pub fn clamped_j(&self, input: &RaceInput) -> Option<Told> {
        let (demand, clamp_v) = (self.demand, input.switch.clamp_voltage_v?);
        let energy = |circuit: &Loop, current: f64| clamp(circuit, current, clamp_v).map(|clamp| clamp.energy_j);
        let Seen { high, own, falls, .. } = &self.seen;
        let ahead = demand.and_then(|demand| {
            if !self.apart() {
                let latest = self.switch_max_s.unwrap_or(f64::INFINITY);
                let all = self.all_closed(latest).map(|high| (high, self.together_a().min(demand.most_a)));
                let both = [Some((self.falls_in(latest), demand.most_a)), all].into_iter().flatten();
                return both.filter_map(|(circuit, current)| energy(circuit, current)).reduce(f64::max);
            }
            // Together, the last one with an inductance of its own, the last one with the common one.
            let last = self.undriven_a();
            let stepped = self.steps.iter().flatten().map(|step| step.from_a).fold(0.0, f64::max);
            [(high, self.together_a()), (own, last), (falls, stepped.max(last))]
                .into_iter()
                .filter_map(|(circuit, current)| energy(circuit, current))
                .reduce(f64::max)
        });
        let most = ahead?;
        // What a fuse may have cleared before neither fails nor holds.
        let unless = demand.and_then(|demand| demand.unless);
        let beyond = input.switch.clamp_energy_j.is_some_and(|limit| passes(most, limit));
        Some(unless.filter(|_| beyond).map_or(Told::Value(most), Told::Missing))
    }

    /// The current that the fuse must be able to break; none where the switch is surely first.
    pub fn fuse_breaks_a(&self) -> Option<f64> {
        let fuse = self.fuse?;
        let by_switch = self.by_switch.value();
        let may_melt = !by_switch.is_some_and(|latest| latest < fuse.low_s);
        // The fuse of a string with a fault inside sees what all others feed, and nothing is sure to open before.
        let inside = self.seen.reverse.map(|sum| sum.prospective_a());
        let alone = may_melt.then(|| self.seen.alone.prospective_a());
        [alone, inside].into_iter().flatten().reduce(f64::max)
    }
}
