//! What the evidence of functional safety takes: goals, faults, checks, and the figures of life.

mod check;
mod fault;
mod goal;

use crate::field::{defaulted, group, list, optional};
use crate::input;
use crate::quantity::Unit;

pub use check::{Acts, CheckKind, SafetyCheck};
pub use fault::{Fault, Law};
pub use goal::{Asil, Dangerous, Goal, Reads};

/// One goal a line: name, level, quantity, dangerous side, tolerated time, reaction, harmful deviation, share of the item.
const GOALS: &str = "Over-voltage is ended; c; voltage; low; 0.5; 0.05; ; 8.3; ; 10";

/// One mode a line: component, mode, goal, rate, share, safe, direct, coverage, signalled, tested, seen by, law, deviation.
const FAULTS: &str = "Divider string; drift; ; 6; 50; ; ; ; ; ; Pack against cells; uniform; ; ; -60; 0\n\
    Divider string; element shorted; ; 6; 25; 100; 0\n\
    Divider string; open; ; 6; 25; ; ; ; ; ; Pack against cells; uniform; ; ; -831.6; -800\n\
    Voltage converter; all modes; ; 25; 100; 40; 60; 97; 90; ; Pack against cells\n\
    Reference; drift; ; 8; 100; 30; 70; 90; 80; ; Reference test";

/// One check a line: name, kind, quantity, acts, told, interval, in a row, sigma, processing, averaging, test, coverage, loss,
/// needs, ceiling, allowed false alarms, limit and errors.
const CHECKS: &str = "Pack against cells; sum-of-cells; voltage; safe-state; yes; 0.02; 3; 4.5; 0.015; ; 10; 99; 30; ; ; ; ; ; ; ; ; ; 12; 8.98; 0.79; ; ; 0.1; 0.1\n\
    Reference test; reference-test; voltage; safe-state; yes; 0.1; 3; 4.5; 0.015; ; 10; 90; 5; ; ; ; ; ; ; ; ; ; 0.02; 0.004; 0.004; ; ; 0.001";

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
        faults: Vec<Fault> = list::<Fault>(0, 100, FAULTS), "", "Fault modes", "One a line. The shares of a component's modes sum to 100 %.";
        checks: Vec<SafetyCheck> = list::<SafetyCheck>(0, 20, CHECKS), "", "Checks", "One a line: what is to notice faults.";
        life: SafetyLife = group::<SafetyLife>(), "", "Life and common cause", "How long a lost check stays hidden.";
        judged_by: SafetyJudgedBy = SafetyJudgedBy::WorstCase.chosen(), "", "A fault is seen", "By probability a part of the units counts.";
        detection_percent: f64 = defaulted(Unit::Percent, 50.0, 99.9999, 99.0), "", "Seen with", "The probability from which on a deviation counts as seen, where it is judged by probability.";
    }
}

impl SafetyInput {
    /// The goals that are judged: without any, one that asks nothing.
    pub fn judged_goals(&self) -> Vec<Goal> {
        if self.goals.is_empty() { vec![Goal::unstated()] } else { self.goals.clone() }
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
