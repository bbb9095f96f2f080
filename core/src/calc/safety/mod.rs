//! # Functional safety
//!
//! If any one part fails: who notices, how soon, and what is left. Fault modes carry rates and either what is claimed of them
//! or what they do to the reading; checks carry limits, errors, noise and times. What checks surely see, in time and of what
//! does harm, is the coverage; coverage and rates make the metrics of each goal.
//!
//! ```text
//! Parts      insertion what a fault makes of the reading, detection what a check sees and how often it errs, coverage of a spread of magnitudes, metrics of rates
//! Formula    stand with their parts
//! Judged     metrics against the targets of the level; time against the fault tolerant time interval; holes between harm and
//!            detection; false alarms and tests of each check
//! Valid      rates per operating hour; safe, direct and the rest belong to a mode and a goal, never to a component
//! Not known  is never good: a mode without shares and without a deviation blocks the metrics of its goals
//! Source     ISO 26262-5:2018 annex C, tables 4 to 6; ISO 26262-10:2018 clause 8.3; IEC 61508-6 annex D
//! ```

mod act;
mod beside;
mod catalogue;
mod circuit;
mod consequence;
mod contradictions;
mod counted;
pub mod coverage;
pub mod detection;
mod doubts;
mod glance;
mod held;
mod input;
mod insertion;
mod map;
pub mod metrics;
mod of_check;
mod of_mode;
mod output;
mod pairs;
mod remarks;
mod requirements;
mod signal;
mod solve;
mod stated;
mod used;
mod view;
pub mod watch;
mod working;

use crate::calculation::{Calculation, Depth, Meta};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use consequence::SafetyBehaviour;
pub use glance::{SafetyGlance, SafetySees, SafetyWorst};
pub use input::*;
pub use output::{SafetyGoal, SafetyMode, SafetyOrigin, SafetyOutput, SafetyPair, SafetySeen};

/// The calculation.
#[derive(Debug)]
pub struct Safety;

impl Calculation for Safety {
    const META: Meta = Meta {
        slug: "safety",
        title: "Functional safety",
        job: "If any one part fails: who notices, how soon, and what is left of the rate.",
        short: "coverage, metrics, checks",
        sources: &[
            "ISO 26262-5:2018 annex C and tables 4 to 6 (metrics and targets; tables in public transcriptions)",
            "ISO 26262-10:2018 clause 8.3 (a fault and a lost check; from memory), IEC 61508-6 annex D (common cause; from memory)",
            "Recurrence of success runs: derived, checked by simulation",
        ],
    };
    type Input = SafetyInput;
    /// The answer.
    type Solved = SafetyOutput;
    type Output = SafetyOutput;

    fn contradictions(input: &SafetyInput) -> Vec<FieldError> {
        contradictions::contradictions(input)
    }

    fn cost(input: &SafetyInput, _: Depth, _: Work) -> Cost {
        // A count is looked at over its currents.
        let weight = |goal: &Goal| if goal.decided_by == DecidedBy::Count { consequence::CURRENTS } else { 1 };
        let goals = input.goals.iter().map(weight).sum::<usize>().max(1);
        let (all, checks) = (solve::faults(input, &input.goals), input.checks.len());
        // A mode that is inserted is followed at a thousand magnitudes in two states, which each check looks at; one that is typed
        // is only counted: measured.
        let of_goal = |goal: &Goal| {
            let touch = all.iter().filter(|fault| fault.touches(goal));
            let one =
                |fault: &Fault| if fault.insert == Insert::None { 6_000 } else { 100_000 + 16_000 * checks as u64 };
            weight(goal) as u64 * touch.map(one).sum::<u64>()
        };
        let followed = Cost {
            units: input.goals.iter().map(of_goal).sum(),
            bytes: (input.goals.len().max(1) * all.len() * (4_096 + 512 * checks)) as u64,
        };
        let rows = followed.and(Cost::rows(30 * goals * checks)).and(Cost::SMALL);
        if input.judged_by == SafetyJudgedBy::WorstCase {
            return rows;
        }
        // A probability is up to 768 recurrences over the looks; each mode asks for 48, each check for a hundred.
        let looks = input.checks.iter().map(detection::most_looks).max().unwrap_or(0);
        let asked = goals * input.checks.len() * (48 * solve::most_faults(input) + 100);
        rows.and(Cost { units: (asked * looks) as u64 * 320, bytes: 8 * looks as u64 })
    }

    fn solve(input: &SafetyInput, work: Work) -> Result<SafetyOutput, Refused> {
        Ok(solve::solve(input, work)?)
    }

    fn requirements(input: &SafetyInput, solved: &SafetyOutput, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
        remarks::remarks(input, solved, to);
    }

    fn detail(_: &SafetyInput, solved: SafetyOutput, _: Work) -> Result<SafetyOutput, Refused> {
        Ok(solved)
    }

    fn working(input: &SafetyInput, output: &SafetyOutput) -> Vec<Step> {
        working::working(input, output)
    }

    fn cautions(_: &SafetyInput, _: &SafetyOutput) -> Vec<String> {
        vec![view::CAUTION.into()]
    }

    fn view(input: &SafetyInput, output: &SafetyOutput, judged: &Ledger) -> View {
        view::view(input, output, judged)
    }
}
