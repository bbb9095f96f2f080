//! What is required of a free model, and what an engineer must know about it.

use super::input::{Basis, FreeInput, Shape};
use super::output::FreeOutput;
use crate::channel::budget;
use crate::judge::{Judged, Ledger, Words};
use crate::propagation::Contribution;
use crate::quantity::{Unit, in_sentence, one, percent};
use crate::report::{Finding, Severity};

/// Units beyond what is allowed from which on it is told: three standard uncertainties leave as many.
const MANY_BEYOND: f64 = 0.0027;

pub(super) fn requirements(input: &FreeInput, solved: &FreeOutput, to: &mut Ledger) {
    let done = &solved.assessment;
    // Unequal limits have a middle that is not the estimate: what lies between is known.
    let (worst, value) = (&done.worst_case, done.value - done.known);
    let judged = |end: f64| Judged::at_most("uncertainty.deviation", "/allowed", Unit::One, end, input.allowed);
    let by_trials = || {
        let run = done.monte_carlo.as_ref()?;
        let end = run.compared().farther(value);
        Some(end.settle(run.trials, judged(end.value)))
    };
    let row = match input.judged_by {
        Basis::WorstCase => judged(budget::largest(worst.low - value, worst.high - value)),
        Basis::RootSumSquare => judged(done.root_sum_square),
        Basis::Interval => by_trials().unwrap_or_else(|| judged(f64::INFINITY)),
    };
    let by = input.judged_by.label();
    to.require(row, |row| {
        let (end, allowed) = (one(row.achieved.unwrap_or_default()), one(input.allowed.unwrap_or_default()));
        let failure = format!("By {} the output is {end} off; {allowed} is allowed.", in_sentence(by));
        let note = match done.known {
            0.0 => in_sentence(by),
            known => format!("{}, the middle of unequal limits {} off it", in_sentence(by), one(known)),
        };
        Words::new("Deviation from the estimate", note, failure)
    });
    remarks(input, solved, to);
}

fn remarks(input: &FreeInput, solved: &FreeOutput, to: &mut Ledger) {
    let done = &solved.assessment;
    if let Some(run) = done.monte_carlo.as_ref().filter(|run| !run.comparison.validated && run.comparison.resolved) {
        to.remark(|| {
            let [low, high, delta] = [run.comparison.d_low, run.comparison.d_high, run.comparison.delta].map(one);
            let message = format!(
                "The first-order interval differs from the Monte Carlo one by {low} and {high}, more than the tolerance of {delta}: not validated, use Monte Carlo."
            );
            Finding::new(Severity::Warn, "uncertainty.not-validated", message)
        });
    }
    let rectangular = |id: &str| {
        let index = id.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
        index
            .and_then(|index| input.inputs.get(index))
            .is_some_and(|quantity| quantity.shape == Shape::Rectangular && quantity.standard.is_none())
    };
    let share = |term: &&Contribution| term.share_percent.is_some_and(|share| share > 80.0) && rectangular(&term.id);
    let dominating = done.contributions.iter().find(share).and_then(|term| term.share_percent);
    let told = dominating.is_some() && input.coverage_probability_percent.is_none();
    to.note("uncertainty.one-source-dominates", "/coverage_factor", told, || {
        let share = percent(dominating.unwrap_or_default());
        format!("One rectangular input makes {share} of the variance: k = 1.65 gives 95 % then, not 2.")
    });
    bends(solved, to);
    let beyond = done.monte_carlo.as_ref().and_then(|run| run.beyond).filter(|beyond| beyond.share > MANY_BEYOND);
    to.warn("uncertainty.beyond", "/allowed", beyond.is_some(), || {
        let [share, error] = [beyond.map(|one| one.share), beyond.map(|one| one.error)];
        let [share, error] = [share, error].map(|part| percent(100.0 * part.unwrap_or_default()));
        format!("{share} of the trials are beyond what is allowed, with a standard error of {error}.")
    });
}

/// Told where the bend of the model adds a tenth to the standard uncertainty.
fn bends(solved: &FreeOutput, to: &mut Ledger) {
    let done = &solved.assessment;
    let second = solved.second_order.map(|second| second.standard).filter(|second| *second > 1.1 * done.gum.standard);
    to.note("uncertainty.second-order", "/inputs", second.is_some(), || {
        let (first, second) = (one(done.gum.standard), one(second.unwrap_or_default()));
        format!(
            "The model bends within its uncertainties: {second} to second order, {first} to first. Use Monte Carlo."
        )
    });
}
