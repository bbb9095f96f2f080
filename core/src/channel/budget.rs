//! A budget table from an assessment: the same for every channel.

use super::limit_said;
use crate::judge::Verdict;
use crate::propagation::{self, Assessment, Kind};
use crate::quantity::{Unit, say};
use crate::report::{Budget, Contribution, Total};

/// The larger of two signed ends: how far a reading may be off.
pub const fn largest(low: f64, high: f64) -> f64 {
    low.abs().max(high.abs())
}

/// What a budget is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Output {
    /// The output is an error; a source's known deviation is part of it.
    Error,
    /// The output is a value; the totals are deviations from what it is held against.
    Value,
}

/// What one source adds to the sum of limits: its limit and, when the output is an error, its known deviation.
pub fn size(term: &propagation::Contribution, output: Output) -> f64 {
    term.contribution + if output == Output::Error { term.known.abs() } else { 0.0 }
}

/// Id, caption and note of a budget.
#[derive(Clone, Debug)]
pub struct Heading {
    /// Unique in the page.
    pub id: String,
    /// What it is the budget of.
    pub caption: String,
    /// At which point.
    pub note: String,
}

/// The contributions in the unit of the output, largest first, and the totals by every method.
pub fn budget(heading: Heading, unit: Unit, done: &Assessment, output: Output, allowed: Option<f64>) -> Budget {
    // Without an allowance, or with one of nothing, a share is of the sum.
    let sum = done.worst_case.sum_of_limits;
    let whole = allowed.filter(|allowed| *allowed > 0.0).unwrap_or(if sum > 0.0 { sum } else { 1.0 });
    let mut rows: Vec<Contribution> = done
        .contributions
        .iter()
        .map(|term| Contribution {
            label: term.label.clone(),
            note: note_of(term, output, unit),
            size: size(term, output),
            share_percent: size(term, output) / whole * 100.0,
            grows: term.unit.is_empty() || term.unit.starts_with('1'),
        })
        .filter(|row| row.size > 0.0)
        .collect();
    rows.sort_by(|a, b| b.size.total_cmp(&a.size));
    let about = if output == Output::Value { done.value - done.known } else { 0.0 };
    let ends = |low: f64, high: f64| format!("{} to {}", say(low, unit), say(high, unit));
    let off = |low: f64, high: f64| largest(low - about, high - about);
    let judged = |value: f64| allowed.map(|allowed| Verdict::of(Some(value / allowed * 100.0)));
    let total = |label: &str, note: String, size: f64, judge: bool| Total {
        label: label.into(),
        note,
        size,
        verdict: judged(size).filter(|_| judge),
    };
    let (worst, gum) = (&done.worst_case, &done.gum);
    let mut totals = vec![
        total(
            "Worst case",
            format!("extremes of the model: {}", ends(worst.low, worst.high)),
            off(worst.low, worst.high),
            true,
        ),
        total("Sum of limits", "first order, the trade's worst case".into(), worst.sum_of_limits, false),
        total("Root-sum-square", "of the limits; no coverage interval".into(), done.root_sum_square, true),
        total(
            "Expanded uncertainty",
            format!(
                "{}, k = {}, combined standard uncertainty {}",
                ends(gum.low, gum.high),
                say(gum.k, Unit::One),
                say(gum.standard, unit)
            ),
            off(gum.low, gum.high),
            false,
        ),
    ];
    if let Some(run) = &done.monte_carlo {
        let interval = &run.p95.symmetric;
        totals.push(total(
            "95 % coverage interval",
            format!(
                "{}, Monte Carlo, {} trials, seed {}, standard error of the ends {}; first-order interval {}",
                ends(interval.low, interval.high),
                run.trials,
                run.seed,
                say(run.p95.low_error.max(run.p95.high_error), unit),
                match &run.comparison {
                    with if with.validated => "validated (JCGM 101 clause 8)",
                    with if with.resolved => "not validated: use this one",
                    _ => "neither validated nor refused by so few trials",
                }
            ),
            off(interval.low, interval.high),
            true,
        ));
    }
    if let Some(allowed) = allowed {
        totals.push(total("Allowed", String::new(), allowed, false));
    }
    Budget { id: heading.id, caption: heading.caption, note: heading.note, unit, rows, totals }
}

fn note_of(term: &propagation::Contribution, output: Output, unit: Unit) -> String {
    if output == Output::Value {
        return format!("{} ± {}", say(term.estimate, Unit::One), say(term.limit, Unit::One));
    }
    let size = |value: f64| match term.unit.as_str() {
        "1" if value.abs() < 1e-3 => say(value * 1e6, Unit::Ppm),
        unit => limit_said(unit, value),
    };
    let kind = match term.kind {
        Kind::Initial => "initial",
        Kind::Temperature => "temperature",
        Kind::Life => "life",
        Kind::Noise => "always there",
    };
    if term.limit == 0.0 && term.estimate != 0.0 {
        format!("known {}, {kind}", say(term.known, unit))
    } else {
        format!("±{}, {kind}", size(term.limit))
    }
}

/// What each stage adds to the sum of limits, in the order in which the stages first appear.
pub fn stages(done: &Assessment, order: &[&str]) -> Vec<(String, f64)> {
    order
        .iter()
        .map(|stage| {
            let sum = done
                .contributions
                .iter()
                .filter(|term| term.stage == *stage)
                .map(|term| size(term, Output::Error))
                .sum();
            ((*stage).to_owned(), sum)
        })
        .collect()
}
