//! The race at one fault, and the faults from the weakest to the strongest.
//!
//! ```text
//! Formula    chain: t(I_th) + filter + Σ stages, shortest and longest; fuse: ∫i² dt = W (1 ∓ t_W)
//!            switch first when its latest lies before the fuse's earliest, and the other way round
//!            must break: current at the opening, at most until the fuse's latest pre-arc
//!            over: until the latest interruption by a switch that can break it, or the total clearing value of the fuse
//!            between the faults the voltage goes with the current: V = V_w + (V_s − V_w)(I − I_w)/(I_s − I_w), R = V/I
//! Convention pre-arc time and let-through count from zero current; the earliest pre-arc from the current before the fault
//! Valid      adiabatic pre-arc I²t: a fuse that takes longer than about 10 ms takes longer than said here
//! Source     closed form of the loop; common practice for the pre-arc value, no source
//! ```

use super::circuit::Loop;
use super::input::RaceInput;
use super::output::{NobodyReason, Opener, RaceFuse};
use crate::judge::passes;

/// The loops between the weakest and the strongest fault.
#[derive(Clone, Copy, Debug)]
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

    /// The prospective currents of the weakest and the strongest, A.
    pub fn range_a(&self) -> (f64, f64) {
        (self.weakest.prospective_a(), self.strongest.prospective_a())
    }

    /// The loop with a prospective current; the ends are the two faults themselves.
    pub fn at(&self, prospective_a: f64) -> Loop {
        let (low, high) = self.range_a();
        let share = if high > low { ((prospective_a - low) / (high - low)).clamp(0.0, 1.0) } else { 1.0 };
        let voltage_v = self.weakest.voltage_v + (self.strongest.voltage_v - self.weakest.voltage_v) * share;
        Loop { voltage_v, resistance_ohm: voltage_v / prospective_a, ..self.strongest }
    }
}

/// The race at one fault.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fault {
    pub circuit: Loop,
    pub switch_min_s: Option<f64>,
    pub switch_max_s: Option<f64>,
    pub fuse: Option<RaceFuse>,
    pub opener: Opener,
    /// The largest current at which the switch may open; none when it surely does not open first.
    pub must_break_a: Option<f64>,
}

impl Fault {
    /// Runs the race.
    pub fn run(input: &RaceInput, circuit: Loop) -> Self {
        let before = input.before_a;
        let [(low, filter_low), (high, filter_high)] = input.detections();
        let (reaction_min, reaction_max) = input.reaction();
        let after = |threshold, filter, reaction: f64| {
            circuit.filtered_time_to_s(before, threshold, filter).map(|time| time + reaction)
        };
        let switch_min_s = after(low, filter_low, reaction_min);
        let switch_max_s = after(high, filter_high, reaction_max);
        let fuse = fuse(input, &circuit);
        let opener = match (switch_min_s, switch_max_s, fuse) {
            (None, _, None) | (_, None, None) => Opener::Nothing,
            (None, _, Some(_)) => Opener::Fuse,
            (_, Some(_), None) => Opener::Switch,
            (Some(_), Some(latest), Some(fuse)) if latest < fuse.prearc_min_s => Opener::Switch,
            (Some(earliest), _, Some(fuse)) if fuse.prearc_max_s < earliest => Opener::Fuse,
            _ => Opener::Either,
        };
        let mut fault = Self { circuit, switch_min_s, switch_max_s, fuse, opener, must_break_a: None };
        fault.must_break_a = switch_min_s.filter(|_| opener != Opener::Fuse).map(|earliest| {
            let last = circuit.prospective_a();
            let late = fault.latest_s().map_or(last, |end| circuit.current_a(before, end.max(earliest)));
            circuit.current_a(before, earliest).max(late)
        });
        fault
    }

    /// When somebody has acted at the latest, s: the switch opened, or the fuse melted.
    pub fn latest_s(&self) -> Option<f64> {
        [self.switch_max_s, self.fuse.map(|fuse| fuse.prearc_max_s)].into_iter().flatten().reduce(f64::min)
    }

    /// Whether the switch may open with more than it can break.
    fn beyond_breaking(&self, input: &RaceInput) -> bool {
        self.must_break_a.zip(input.switch.breaking_a).is_some_and(|(must, can)| passes(must, can))
    }

    /// Why nobody interrupts as rated; none when somebody does.
    pub fn nobody(&self, input: &RaceInput) -> Option<NobodyReason> {
        match self.opener {
            Opener::Nothing => Some(NobodyReason::NothingOpens),
            _ => self.beyond_breaking(input).then_some(NobodyReason::BeyondBreaking),
        }
    }

    /// What passes before the fault is surely over, A²s; none when nothing bounds it.
    pub fn let_through_a2s(&self, input: &RaceInput) -> Option<f64> {
        let by_switch = self.switch_max_s.filter(|_| !self.beyond_breaking(input)).map(|time| {
            let [before, zero] = [input.before_a, 0.0].map(|from| self.circuit.let_through_a2s(from, time));
            before.max(zero)
        });
        let by_fuse = self.fuse.and(input.fuse.clearing_a2s);
        [by_switch, by_fuse].into_iter().flatten().reduce(f64::min)
    }

    /// The highest current before the fault is over, A.
    pub fn peak_a(&self, input: &RaceInput) -> f64 {
        let last = self.circuit.prospective_a();
        let highest = self.latest_s().map_or(last, |time| self.circuit.current_a(input.before_a, time));
        highest.max(input.before_a)
    }
}

/// The fuse at one fault; none when there is none or the fault is too weak for it.
fn fuse(input: &RaceInput, circuit: &Loop) -> Option<RaceFuse> {
    let fuse = &input.fuse;
    let too_weak = fuse.never_clears_below_a.is_some_and(|least| circuit.prospective_a() < least);
    if fuse.prearc_a2s <= 0.0 || too_weak {
        return None;
    }
    let error = fuse.tolerance_percent / 100.0;
    Some(RaceFuse {
        prearc_s: circuit.time_for_s(0.0, fuse.prearc_a2s)?,
        prearc_min_s: circuit.time_for_s(input.before_a, fuse.prearc_a2s * (1.0 - error))?,
        prearc_max_s: circuit.time_for_s(0.0, fuse.prearc_a2s * (1.0 + error))?,
    })
}
