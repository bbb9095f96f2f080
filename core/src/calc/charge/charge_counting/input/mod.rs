//! What charge counting takes, group by group. A group in which nothing is given is not in the design.

mod counter;
mod health;
mod rest;

use crate::constant::{DAY_H, HOUR_S};
use crate::field::{defaulted, group, list, number, optional, whole, yes_no};
use crate::input;
use crate::quantity::Unit;

pub use counter::{Counter, Counting, MissedReading, Rounding};
pub use health::{CapacityEstimate, CapacityMethod, Inaccuracy, ResistanceEstimate, Trend};
pub use rest::{After, Anchor, AnchorPoint, AnchorReads};

crate::choice! {
    /// How the battery is used between two anchors.
    pub enum UsageKind {
        Rest = "rest", "At rest";
        OneWay = "one-way", "One way, then at rest";
        Cycles = "cycles", "Cycles";
        Profile = "profile", "A course of currents";
    }
}

crate::choice! {
    /// Where the state of charge comes from at the beginning.
    pub enum StartKind {
        Limit = "limit", "A limit";
        Standard = "standard", "A standard uncertainty";
        Anchor = "from-anchor", "The anchor below";
    }
}

crate::choice! {
    /// How the requirements are judged.
    pub enum ChargeJudgedBy {
        WorstCase = "worst-case", "Worst case";
        Probability95 = "probability-95", "95 % coverage probability";
    }
}

input! {
    /// The battery.
    pub struct Battery {
        capacity_ah: f64 = number(Unit::AmpereHour, 1e-2, 1e5, 120.0), "Ĉ", "Capacity", "What the estimator divides by, when new.";
        capacity_error_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.0).like(2.0), "γ", "Capacity known within", "Half-width, of the true capacity against it.";
        soh_end_percent: f64 = defaulted(Unit::Percent, 30.0, 100.0, 80.0), "", "Capacity at the end of life", "Of that when new.";
        capacity_learned: bool = yes_no(false), "", "The estimator follows the ageing", "No: it divides by the new capacity to the end.";
        voltage_v: f64 = number(Unit::Volt, 1.0, 5e3, 722.7), "Un", "Nominal voltage", "For energy and range.";
        cells_in_series: u32 = whole(Unit::One, 1, 600, 198), "Ns", "Cells in series", "An anchor from the pack's voltage reads the mean cell.";
    }
}

input! {
    /// A row of the course.
    pub struct UsageRow {
        duration_s: f64 = number(Unit::Second, 1e-3, 1e8, 1800.0), "t", "Duration", "Of the row.";
        current_a: f64 = number(Unit::Ampere, -1e5, 1e5, 40.0), "I", "Current", "Meanwhile; discharge is positive.";
    }
}

/// Most rows of a course.
pub const MOST_ROWS: usize = 64;

input! {
    /// What is done with it.
    pub struct Usage {
        kind: UsageKind = UsageKind::Cycles.chosen(), "", "Use", "Until the next anchor.";
        discharge_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5).shown(40.0), "Id", "Discharge current", "Of a cycle, or one way.";
        charge_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5).shown(60.0), "Ic", "Charge current", "Of a cycle, or one way; a magnitude.";
        swing_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0).shown(60.0), "ΔS", "Swing", "Of the state of charge.";
        profile: Vec<UsageRow> = list::<UsageRow>(0, MOST_ROWS, ""), "", "Course", "One row a line: duration, current; begins at the anchor and comes again as often as the cycles, at standby between.";
        cycles_per_day: f64 = defaulted(Unit::One, 0.0, 100.0, 1.0), "n", "Cycles a day", "Of a course as well; evenly spread.";
        awake_h: f64 = defaulted(Unit::Hour, 0.0, 24.0, 24.0), "ta", "Awake a day", "Hours in which the counter counts, use included.";
        standby_a: f64 = defaulted(Unit::Ampere, -1e5, 1e5, 0.0).like(0.05), "Is", "Standby current", "Through the shunt while awake and not used; discharge is positive.";
    }
}

/// What each of self-discharge and current that is not seen may take of the capacity in a month where nobody has told it,
/// percent. Common practice, no source.
const UNTOLD_PERCENT_PER_MONTH: f64 = 5.0;
/// A month, h: a twelfth of a year of 365.25 days.
pub const MONTH_H: f64 = 30.4375 * DAY_H;

input! {
    /// What does not pass the shunt.
    pub struct Apart {
        self_discharge_percent_per_month: Option<f64> = optional(Unit::PercentPerMonth, 0.0, 100.0).shown(2.0), "", "Self-discharge", "Of the capacity; leave empty if unknown.";
        self_discharge_spread_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 50.0), "", "Its spread", "Half-width, of it.";
        unseen_a: Option<f64> = optional(Unit::Ampere, -1e5, 1e5), "Iu", "Current that is not seen", "Balancing, divider strings, electronics ahead of the shunt; discharge is positive; 0 if there is none, empty if unknown.";
        unseen_spread_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0).like(5e-3), "", "Its spread", "Half-width.";
        efficiency_percent: f64 = defaulted(Unit::Percent, 50.0, 100.0, 100.0), "η", "Coulombic efficiency", "Charge that can be had again.";
        assumed_efficiency_percent: f64 = defaulted(Unit::Percent, 50.0, 100.0, 100.0), "η̂", "Efficiency that is assumed", "By the estimator, of what it counts in charge.";
        efficiency_spread_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.0).like(0.1), "", "Spread of the efficiency", "Half-width, in points.";
    }
}

input! {
    /// How wrong the state of charge is at the beginning.
    pub struct Begin {
        error_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 0.0).like(1.0), "e0", "Error at the beginning", "In points; does not count where the anchor says it.";
        kind: StartKind = StartKind::Limit.chosen(), "", "Kind of that error", "A half-width, a standard uncertainty, or what the anchor leaves.";
    }
}

input! {
    /// What the error means to who relies on it.
    pub struct Reliance {
        consumption_wh_per_km: Option<f64> = optional(Unit::WattHourPerKilometre, 0.1, 1e5), "", "Consumption", "Of a vehicle; leave empty if it is none.";
        load_w: Option<f64> = optional(Unit::Watt, 1e-3, 1e9), "", "Load", "What is fed; leave empty if nothing is.";
    }
}

input! {
    /// What is required.
    pub struct ChargeRequirement {
        soc_error_percent: Option<f64> = optional(Unit::Percent, 0.01, 100.0).shown(3.0), "", "Allowed error of the state of charge", "In points, until the next anchor.";
        judged_by: ChargeJudgedBy = ChargeJudgedBy::WorstCase.chosen(), "", "Judged by", "Counts for all that follows but the anchor, which is judged by its worst case.";
        percent_per_day: Option<f64> = optional(Unit::PercentPerDay, 1e-4, 1e4), "", "Allowed drift", "In points of a day of this use.";
        anchor_interval_days: Option<f64> = optional(Unit::Day, 1e-3, 1e5), "", "Must last without an anchor", "Until the allowed error is reached.";
        anchor_percent: Option<f64> = optional(Unit::Percent, 1e-3, 100.0), "", "Allowed error of an anchor", "In points, at the best place.";
        capacity_percent: Option<f64> = optional(Unit::Percent, 1e-3, 100.0), "", "Allowed error of the capacity", "Of the estimate.";
        resistance_percent: Option<f64> = optional(Unit::Percent, 1e-3, 100.0), "", "Allowed error of the resistance", "Of the estimate.";
        proven_within_years: Option<f64> = optional(Unit::Year, 1e-2, 100.0), "", "Loss proven within", "From estimates at every anchor.";
    }
}

input! {
    /// Everything charge counting takes.
    pub struct ChargeInput {
        battery: Battery = group::<Battery>(), "", "Battery", "What is counted.";
        usage: Usage = group::<Usage>(), "", "Use", "Between two anchors.";
        counter: Counter = group::<Counter>(), "", "Current channel", "What is left of its errors after calibration, half-widths.";
        counting: Counting = group::<Counting>(), "", "Counting", "How readings become charge.";
        apart: Apart = group::<Apart>(), "", "What does not pass the shunt", "Leave all empty if it is not described.";
        start: Begin = group::<Begin>(), "", "Beginning", "How wrong the state of charge is at first; where an anchor that comes again leaves more, that counts.";
        anchor: Anchor = group::<Anchor>(), "", "Anchor", "The state of charge from a rest voltage.";
        capacity: CapacityEstimate = group::<CapacityEstimate>(), "", "Capacity estimate", "From charge between two anchors; leave all empty if none is made.";
        resistance: ResistanceEstimate = group::<ResistanceEstimate>(), "", "Resistance estimate", "From a step of the current; leave all empty if none is made.";
        trend: Trend = group::<Trend>(), "", "Proof of a loss", "By a line through capacity estimates; leave all empty if none is claimed.";
        user: Reliance = group::<Reliance>(), "", "Who relies on it", "For range and time; leave all empty if nobody does.";
        requirement: ChargeRequirement = group::<ChargeRequirement>(), "", "Requirement", "Leave empty what is not asked.";
    }
}

impl ChargeInput {
    /// Time until the next anchor, h: stated, or as long as it must last.
    pub fn horizon_h(&self) -> Option<f64> {
        self.anchor.interval_h.or_else(|| self.requirement.anchor_interval_days.map(|days| days * 24.0))
    }

    /// The first of what nobody has told and what does not pass the shunt, and how much all of it may move the state of charge
    /// by a time, points: with that much left a requirement holds whatever they are, with less it needs them.
    pub fn untold(&self, hours: f64) -> Option<(&'static str, f64)> {
        let apart = &self.apart;
        let own = apart.self_discharge_percent_per_month.is_none().then_some("/apart/self_discharge_percent_per_month");
        let unseen = apart.unseen_a.is_none().then_some("/apart/unseen_a");
        let each = UNTOLD_PERCENT_PER_MONTH * hours / MONTH_H;
        let all = own.iter().chain(&unseen).map(|_| each).sum();
        own.or(unseen).map(|pointer| (pointer, all))
    }

    /// Whether somebody said what zeroing leaves, where it is zeroed.
    ///
    /// # Errors
    /// The pointer of what is missing.
    pub fn zero_told(&self) -> Result<(), &'static str> {
        let untold = self.counting.zeroed_at_rest && self.counting.zero_left_a.is_none();
        if untold { Err("/counting/zero_left_a") } else { Ok(()) }
    }

    /// Self-discharge as a current, A; nothing where nobody told it.
    pub fn self_discharge_a(&self) -> f64 {
        let month = self.apart.self_discharge_percent_per_month.unwrap_or(0.0);
        month / 100.0 * self.battery.capacity_ah / MONTH_H
    }

    /// The largest currents of the use, in discharge and in charge, as magnitudes, A; none where a direction is not given.
    pub fn largest_a(&self) -> [f64; 2] {
        let [discharge, charge] = self.usage.used_a();
        [discharge.max(self.usage.standby_a), charge.max(-self.usage.standby_a)]
    }

    /// When a course that comes again and again has emptied or filled the battery at the end of its life, h: nothing where it
    /// brings back what it takes. Later the use is another one, which nobody described.
    pub fn spent_h(&self) -> Option<f64> {
        let net_ah = self.usage.course_ah()[0].abs() * self.usage.cycles_per_day;
        let holds_ah = self.battery.capacity_ah * self.battery.soh_end_percent / 100.0;
        (self.usage.kind == UsageKind::Profile && net_ah > 1e-9 * holds_ah).then(|| holds_ah / net_ah * DAY_H)
    }

    /// Time until the next anchor, h, where the use is known that long.
    pub fn foreseen_h(&self) -> Option<f64> {
        self.horizon_h().filter(|hours| self.spent_h().is_none_or(|spent| *hours <= spent))
    }

    /// The word of what the use needs and does not say.
    pub fn usage_missing(&self) -> Option<&'static str> {
        let with = &self.usage;
        match with.kind {
            UsageKind::OneWay if with.discharge_a.is_none() && with.charge_a.is_none() => Some("/usage/discharge_a"),
            UsageKind::Cycles if with.discharge_a.is_none() => Some("/usage/discharge_a"),
            UsageKind::Cycles if with.charge_a.is_none() => Some("/usage/charge_a"),
            UsageKind::Profile if with.profile.is_empty() => Some("/usage/profile"),
            UsageKind::Rest | UsageKind::Profile => None,
            _ if with.swing_percent.is_none() => Some("/usage/swing_percent"),
            _ => None,
        }
    }
}

impl Usage {
    /// The largest currents besides standby, in discharge and in charge, as magnitudes, A.
    pub fn used_a(&self) -> [f64; 2] {
        match self.kind {
            UsageKind::Rest => [0.0; 2],
            UsageKind::OneWay | UsageKind::Cycles => [self.discharge_a, self.charge_a].map(|one| one.unwrap_or(0.0)),
            UsageKind::Profile => self.profile.iter().fold([0.0; 2], |[discharge, charge], row| {
                [f64::max(discharge, row.current_a), f64::max(charge, -row.current_a)]
            }),
        }
    }

    /// The largest current, a magnitude in A, that a battery of so many Ah carries for longer than so many seconds: in a cycle or
    /// one way, through neighbouring rows of the course that have as much, or at standby.
    pub fn lasting_a(&self, capacity_ah: f64, beyond_s: f64) -> f64 {
        let swing_as = self.swing_percent.unwrap_or(0.0) / 100.0 * capacity_ah * HOUR_S;
        let rows = &self.profile;
        let in_course = |at: usize| {
            let ampere = rows[at].current_a.abs();
            let as_much = |row: &&UsageRow| row.current_a.abs() >= ampere;
            let lasts = rows[at..].iter().take_while(as_much).chain(rows[..at].iter().rev().take_while(as_much));
            (ampere, lasts.map(|row| row.duration_s).sum())
        };
        let mut flows: Vec<(f64, f64)> = match self.kind {
            UsageKind::Rest => Vec::new(),
            UsageKind::OneWay | UsageKind::Cycles => self.used_a().map(|ampere| (ampere, swing_as / ampere)).into(),
            UsageKind::Profile => (0..rows.len()).map(in_course).collect(),
        };
        flows.push((self.standby_a.abs(), self.awake_h * HOUR_S));
        flows.into_iter().filter(|(_, second)| *second > beyond_s).map(|(ampere, _)| ampere).fold(0.0, f64::max)
    }

    /// The steady current, A, that heats as much beside peaks of `peak_s` as any stretch of neighbouring rows of the course:
    /// I² = (Σ t I² − n I_p² t_p)/(Σ t − n t_p) with one peak, or with as many as come again in that time. By the heat of a
    /// resistance; no stretch shorter than its peaks counts.
    pub fn steady_a(&self, peak_a: f64, peak_s: f64, repeat_s: Option<f64>) -> f64 {
        let rows: &[UsageRow] = if self.kind == UsageKind::Profile { &self.profile } else { &[] };
        let mut steady_a2 = 0.0_f64;
        for from in 0..rows.len() {
            let (mut second, mut a2s) = (0.0, 0.0);
            for row in &rows[from..] {
                second += row.duration_s;
                a2s += row.duration_s * row.current_a.powi(2);
                let in_peaks_s = peak_s * repeat_s.map_or(1.0, |repeat| (second / repeat).ceil().max(1.0));
                if second > in_peaks_s {
                    steady_a2 = steady_a2.max((a2s - in_peaks_s * peak_a.powi(2)) / (second - in_peaks_s));
                }
            }
        }
        steady_a2.sqrt()
    }

    /// Time of one course, h.
    pub fn course_h(&self) -> f64 {
        self.profile.iter().map(|row| row.duration_s).sum::<f64>() / HOUR_S
    }

    /// What one course takes out of the battery in all, and the span between its fullest and its emptiest, Ah.
    pub fn course_ah(&self) -> [f64; 2] {
        let (mut net, mut least, mut most) = (0.0, 0.0_f64, 0.0_f64);
        for row in &self.profile {
            net += row.duration_s * row.current_a / HOUR_S;
            (least, most) = (least.min(net), most.max(net));
        }
        [net, most - least]
    }
}
