//! What the evidence of functional safety takes: goals, faults, checks, and the figures of life.

mod check;
mod demand;
mod fault;
mod goal;
mod insert;
mod looking;
mod parts;
mod share;
mod trip;

use crate::field::{defaulted, group, list, optional};
use crate::input;
use crate::quantity::Unit;

pub use check::{Acts, CheckKind, HeldAgainst, SafetyCheck, Used};
pub use demand::{CountParts, DecidedBy, PrechargeParts, RaceParts, Side};
pub use fault::{Comes, Fault, Law};
pub use goal::{Asil, Dangerous, Goal, Reads};
pub use insert::{Insert, Magnitude};
pub use parts::{CurrentParts, TemperatureParts, VoltageParts};
pub use share::{LINK, Share, Shared, channels};
pub use trip::{CurrentTrip, TemperatureTrip, Trip, VoltageTrip};

/// One goal a line, below the names of the columns.
const GOALS: &str = "name; asil; reads; dangerous; ftti_s; reaction_s; harm_v; at_v; share_of_item_percent\n\
    Over-voltage is ended; c; voltage; low; 0.5; 0.05; 8.3; 846; 10";

/// One mode a line, below the names of the columns.
const FAULTS: &str = "component; mode; rate_fit; mode_percent; safe_percent; direct_percent; coverage_percent; signalled_percent; seen_by; insert\n\
    Divider string; an element drifts; 6; 50; ; ; ; ; Pack against cells; upper-drift\n\
    Divider string; element shorted; 6; 25; ; ; ; ; Pack against cells; upper-short\n\
    Divider string; cracked element; 6; 25; ; ; ; ; Pack against cells; upper-open\n\
    Voltage converter; all modes; 25; 100; 40; 60; 97; 90; Pack against cells\n\
    Reference; drift; 8; 100; 30; 70; 90; 80; Reference test";

/// One check a line, below the names of the columns.
const CHECKS: &str = "name; kind; reads; interval_s; processing_s; test_interval_h; test_coverage_percent; loss_fit; limit_v; error_v; other_error_v; noise_v; other_noise_v\n\
    Pack against cells; sum-of-cells; voltage; 0.02; 0.015; 10; 99; 30; 12; 8.98; 0.79; 0.1; 0.1\n\
    Reference test; reference-test; voltage; 0.1; 0.015; 10; 90; 5; 5; 2; 0.5; 0.1";

crate::choice! {
    /// How a check is taken to see a fault.
    pub enum SafetyJudgedBy {
        WorstCase = "worst-case", "Surely: every unit sees it";
        Probability = "probability", "By probability: some units see it, some times";
    }
}

input! {
    /// Figures of the life of the item.
    pub struct SafetyLife {
        life_h: f64 = defaulted(Unit::Hour, 1.0, 1e6, 12_000.0), "", "Operating life", "Rates count per operating hour.";
        multi_point_interval_h: f64 = defaulted(Unit::Hour, 1e-3, 1e6, 12.0), "", "Multi-point fault interval", "Within it a hidden fault must be found.";
        beta_percent: Option<f64> = optional(Unit::Percent, 0.0, 50.0).shown(3.0), "β", "Common cause", "Of a check and what it checks, where two channels are compared; leave empty if unknown.";
    }
}

input! {
    /// Everything the evidence of functional safety takes.
    pub struct SafetyInput {
        goals: Vec<Goal> = list::<Goal>(0, 8, GOALS), "", "Safety goals", "One a line; leave empty for one goal without a level.";
        faults: Vec<Fault> = list::<Fault>(0, 100, FAULTS), "", "Fault modes", "One a line; the shares of a component's modes sum to 100 %. Empty: all that can be inserted into the channels, with rates that only illustrate.";
        checks: Vec<SafetyCheck> = list::<SafetyCheck>(0, 20, CHECKS), "", "Checks", "One a line: what is to notice faults.";
        voltage: VoltageParts = group::<VoltageParts>(), "", "Voltage channel", "Into which faults are inserted; leave all empty if there is none.";
        current: CurrentParts = group::<CurrentParts>(), "", "Current channel", "Into which faults are inserted; leave all empty if there is none.";
        temperature: TemperatureParts = group::<TemperatureParts>(), "", "Temperature channel", "Into which faults are inserted; leave all empty if there is none.";
        voltage_trip: VoltageTrip = group::<VoltageTrip>(), "", "Voltage threshold", "That goals of voltage hang on, beside what decides it; leave all empty where goals say it.";
        current_trip: CurrentTrip = group::<CurrentTrip>(), "", "Current threshold", "That goals of current hang on, beside what decides it; leave all empty where goals say it.";
        temperature_trip: TemperatureTrip = group::<TemperatureTrip>(), "", "Temperature threshold", "That goals of temperature hang on, beside what decides it; leave all empty where goals say it.";
        race: RaceParts = group::<RaceParts>(), "", "Race", "On which goals rest; leave all empty if there is none.";
        precharge: PrechargeParts = group::<PrechargeParts>(), "", "Pre-charge", "On which goals rest; leave all empty if there is none.";
        count: CountParts = group::<CountParts>(), "", "Count of charge", "On which goals rest; leave all empty if there is none.";
        shares: Vec<Share> = list::<Share>(0, 20, ""), "", "Shared", "One a line: what, and who uses it.";
        life: SafetyLife = group::<SafetyLife>(), "", "Life and common cause", "How long a lost check stays hidden.";
        judged_by: SafetyJudgedBy = SafetyJudgedBy::WorstCase.chosen(), "", "A fault is seen", "By probability a part of the units counts.";
        detection_percent: f64 = defaulted(Unit::Percent, 50.0, 99.9999, 99.0), "", "Seen with", "The probability from which on a deviation counts as seen, where it is judged by probability.";
    }
}

impl SafetyInput {
    /// The numbers of the threshold of a quantity, each where it is given.
    pub fn trip_of(&self, reads: Reads) -> [Option<f64>; 5] {
        reads.pick([self.current_trip.told(), self.voltage_trip.told(), self.temperature_trip.told()])
    }

    /// Whether the threshold of a quantity fails, or is not judged, without a fault; nothing where nobody says it.
    pub fn trip_fails(&self, reads: Reads) -> bool {
        let fails = reads.pick([self.current_trip.fails, self.voltage_trip.fails, self.temperature_trip.fails]);
        fails.is_some_and(|fails| fails > 0.0)
    }

    /// Whether its quantity has a threshold.
    pub fn has_threshold(&self, reads: Reads) -> bool {
        reads.pick([self.current.decided_a, self.voltage.decided_v, self.temperature.decided_degc]).is_some()
    }

    /// The readings that make the threshold of a quantity late, where they are known.
    pub fn makes_late(&self, reads: Reads) -> Option<Dangerous> {
        let sign = reads.pick([self.current.late_sign, self.voltage.late_sign, self.temperature.late_sign])?;
        (sign != 0.0).then_some(if sign > 0.0 { Dangerous::High } else { Dangerous::Low })
    }

    /// Whether a goal hangs on the threshold of its quantity: one that minds the other side alone does not.
    pub fn hangs_on_threshold(&self, goal: &Goal) -> bool {
        let side = self.makes_late(goal.reads);
        goal.decided_by == DecidedBy::Threshold
            && self.has_threshold(goal.reads)
            && (goal.dangerous == Dangerous::Both || side.is_none_or(|side| side == goal.dangerous))
    }

    /// The values between which a quantity lies, where its channel says it.
    pub fn between(&self, reads: Reads) -> Option<[f64; 2]> {
        let (voltage, current, temperature) = (&self.voltage, &self.current, &self.temperature);
        let of = |low: Option<f64>, high: Option<f64>| Some([low?, high?]);
        reads.pick([
            of(current.charge_peak_a.map(|peak| -peak), current.peak_a),
            of(voltage.lowest_v, voltage.highest_v),
            of(
                temperature.coldest_degc.or(temperature.lowest_degc),
                temperature.hottest_degc.or(temperature.highest_degc),
            ),
        ])
    }

    /// How the reading of a quantity follows its supply, and by how many percent that may be off; where they are given.
    pub fn supplied(&self, reads: Reads) -> [Option<f64>; 2] {
        let (voltage, current, temperature) = (&self.voltage, &self.current, &self.temperature);
        reads.pick([
            [current.supply_gain, current.supply_works_percent],
            [voltage.supply_gain, voltage.supply_works_percent],
            [temperature.supply_gain, temperature.supply_works_percent],
        ])
    }

    /// The error of the channel of a quantity, where it says it.
    pub fn channel_error(&self, reads: Reads) -> Option<f64> {
        reads.pick([self.current.error_a, self.voltage.error_v, self.temperature.error_k])
    }

    /// The noise of the channel of a quantity, where it says it.
    pub fn channel_noise(&self, reads: Reads) -> Option<f64> {
        reads.pick([self.current.noise_a, self.voltage.noise_v, self.temperature.noise_k])
    }

    /// Whether a check errs as it is typed although its channel is described: nothing says what that one errs.
    pub fn errs_as_typed(&self, check: &SafetyCheck) -> bool {
        let described = match check.reads {
            Reads::Current => self.current.shunt_ohm.is_some(),
            Reads::Voltage => self.voltage.upper_ohm.is_some(),
            Reads::Temperature => self.temperature.r25_ohm.is_some(),
        };
        described && check.kind.reads_the_channel() && self.channel_error(check.reads).is_none()
    }

    /// What makes a comparison blind for such a fault: both of its channels use it.
    pub fn blinded(&self, check: &SafetyCheck, insert: Insert) -> Option<&Share> {
        let shares = self.shares.iter().filter(|share| check.compares() && share.is_used_by(&check.name));
        shares.into_iter().find(|share| share.what.has(insert))
    }

    /// Whether a check can see such a fault at all.
    pub fn can_see(&self, check: &SafetyCheck, fault: &Fault) -> bool {
        check.looks_at(fault) && self.blinded(check, fault.insert).is_none()
    }

    /// Whether such a fault sits in both channels of a pre-charge.
    pub fn in_both(&self, insert: Insert) -> bool {
        let both = |share: &Share| share.is_used_by(Reads::Voltage.word()) && share.is_used_by(LINK);
        self.shares.iter().any(|share| share.what.has(insert) && both(share))
    }

    /// The check of a name, with its place.
    pub fn check(&self, name: &str) -> Option<(usize, &SafetyCheck)> {
        self.checks.iter().enumerate().find(|(_, check)| check.name == name)
    }
}

/// The names of a cell that holds several, parted by commas.
pub(super) fn names(cell: &str) -> impl Iterator<Item = &str> {
    cell.split(',').map(str::trim).filter(|name| !name.is_empty())
}
