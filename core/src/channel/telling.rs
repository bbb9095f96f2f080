//! The words, tables and charts that channels have in common.

use super::budget::{Output, size};
use super::corners::Corners;
use super::{JudgedBy, limit_said};
use crate::judge::{Ledger, Verdict};
use crate::propagation::Assessment;
use crate::quantity::{Quantity, Unit, in_sentence, say};
use crate::report::kit::{Columns, Series};
use crate::report::worked::Term;
use crate::report::{Axis, Chart, Step, Stroke, Table};

/// A point of an answer.
#[derive(Clone, Copy, Debug)]
pub struct Shown<'a> {
    /// The reading.
    pub at: Quantity,
    /// The allowed error.
    pub allowed: Option<f64>,
    /// The error as it is judged.
    pub judged: Option<f64>,
    /// Share of the allowance, percent.
    pub used_percent: Option<f64>,
    /// How it stands.
    pub verdict: Verdict,
    /// All four methods.
    pub assessment: Option<&'a Assessment>,
    /// The worst corner: ambient, direction, settings.
    pub corner: Option<(f64, &'a str, &'a [String])>,
}

impl Shown<'_> {
    fn said(&self, value: f64) -> String {
        say(value, self.at.unit)
    }
}

/// The point that uses most of its allowance; the largest error in percent when there is no allowance.
pub fn worst<'a, T>(points: &'a [T], shown: impl Fn(&'a T) -> Option<Shown<'a>>) -> Option<(&'a T, Shown<'a>)> {
    let key = |point: &Shown<'_>| match point.used_percent {
        // A point with an allowance stands before every point without one.
        Some(used) => (1, used),
        None => {
            let part = point.judged.map(|judged| judged / point.at.value * 100.0);
            (u8::from(point.allowed.is_some()), part.unwrap_or(f64::MAX))
        }
    };
    points.iter().filter_map(|point| Some((point, shown(point)?))).max_by(|(_, a), (_, b)| {
        let (a, b) = (key(a), key(b));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
    })
}

/// The verdict in one sentence.
pub fn lead(point: &Shown<'_>, undefined: &str, ledger: &Ledger) -> String {
    let said = |value: f64| format!("±{}", point.said(value));
    let error = point.judged.map_or_else(|| undefined.into(), said);
    let fails = point.verdict == Verdict::Fails;
    sentence(&error, &point.at.to_string(), point.allowed.map(said), fails, ledger)
}

/// The verdict in one sentence, with the error at a point, what is allowed there, and whether it is the error that fails.
pub fn sentence(error: &str, at: &str, allowed: Option<String>, error_fails: bool, ledger: &Ledger) -> String {
    let (fails, thin) = (ledger.count(Verdict::Fails), ledger.count(Verdict::Thin));
    let judged = ledger.rows().len() - ledger.count(Verdict::NoLimitSet);
    match (ledger.verdict(), allowed) {
        (Verdict::Fails, allowed) => {
            let verb = if fails == 1 { "fails" } else { "fail" };
            // Where the error holds, what fails is another requirement, and it leads.
            let other = ledger.told().into_iter().find(|row| row.verdict == Verdict::Fails);
            let words = match (other.filter(|_| !error_fails), allowed) {
                (Some(other), _) => in_sentence(&other.label),
                (None, Some(allowed)) => format!("{error} at {at}, {allowed} allowed"),
                (None, None) => format!("{error} at {at}"),
            };
            format!("{fails} of {judged} requirements {verb}: {words}")
        }
        (Verdict::NotJudged | Verdict::NotResolved, _) => format!("{error} at {at}"),
        (_, Some(allowed)) => {
            let little = if thin > 0 { format!(", {thin} with little left") } else { String::new() };
            format!("All {judged} requirements hold{little}: {error} at {at}, {allowed} allowed")
        }
        (_, None) => format!("The reading error is {error} at {at}; no requirement is set"),
    }
}

/// Whether the error of the whole range is judged: a band that stands for it is drawn only then.
pub fn judges<C: Corners>(ledger: &Ledger) -> bool {
    ledger.find(C::ERROR).is_none_or(|one| !matches!(ledger.verdict_of(one), Verdict::NotJudged | Verdict::NotResolved))
}

/// What is largest, and how it is judged.
pub fn more(point: &Shown<'_>, by: JudgedBy, state: &str) -> Option<String> {
    let terms = point.assessment?.contributions.iter().map(|term| (&term.label, size(term, Output::Error)));
    let (label, amount) = terms.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let ambient = point
        .corner
        .map_or_else(String::new, |(degc, ..)| format!(", worst at an ambient of {}", say(degc, Unit::Celsius)));
    Some(format!(
        "At {} the largest part is {} ({}){ambient}. Judged by {}, {state}.",
        point.at,
        in_sentence(label),
        point.said(amount),
        in_sentence(by.label())
    ))
}

/// The largest sources of a corner with the sign that adds up.
pub fn settings(done: Option<&Assessment>, up: bool) -> Vec<String> {
    let terms = done.into_iter().flat_map(|done| &done.contributions).filter(|term| term.limit > 0.0).take(6);
    let said = terms.map(|term| {
        let label = in_sentence(&term.label);
        let sign = if (term.sensitivity >= 0.0) == up { '+' } else { '−' };
        format!("{label} {sign}{}", limit_said(&term.unit, term.limit))
    });
    said.collect()
}

/// Which way a reading errs.
pub const fn direction(up: bool) -> &'static str {
    if up { "reads too high" } else { "reads too low" }
}

/// The step of the working that adds up what is known and the limits.
pub fn sum(label: &str, done: &Assessment, unit: Unit) -> Step {
    let quantity = |amount: f64| Quantity::new(amount, unit);
    let known: Vec<f64> = done.contributions.iter().map(|term| term.known).filter(|known| *known != 0.0).collect();
    let limits = done.contributions.iter().map(|term| term.contribution).filter(|amount| *amount != 0.0);
    let limits: Vec<f64> = limits.collect();
    let source = "first order; sensitivities by differentiation of the model (JCGM 100:2008 clause 5.1)";
    let sum = quantity(done.worst_case.sum_of_limits);
    Step::worked(label, "E", "|Σ k_j| + Σ |c_i| a_i", sum, source, |p| {
        let put = |amounts: &[f64]| amounts.iter().map(|amount| p.of(quantity(*amount))).collect::<Vec<_>>();
        let size = (!known.is_empty()).then(|| Term::sum(put(&known)).abs());
        Term::sum(size.into_iter().chain(put(&limits)))
    })
}

/// The worst corner of every point as a bench can set it.
pub fn recipes(quantity: &str, head: &str, note: String, points: &[Shown<'_>]) -> Table {
    let corners: Vec<_> = points.iter().filter_map(|point| Some((point.at, point.corner?))).collect();
    let caption = format!("Worst corner of each {quantity}, as a bench can set it");
    Columns::new("corners", &caption, head, &corners, |_, (at, _)| at.to_string())
        .note(note)
        .words("Direction", |(_, (_, direction, _))| *direction)
        .words("Settings", |(_, (_, _, settings))| settings.join("; "))
        .table()
}

/// A point of the error over the reading, at the end of life.
#[derive(Clone, Copy, Debug)]
pub struct Line {
    /// The reading.
    pub at: f64,
    /// Worst case before calibration.
    pub before: f64,
    /// Worst case after it.
    pub worst: f64,
    /// Root-sum-square after it.
    pub root: f64,
    /// Allowed.
    pub allowed: Option<f64>,
}

/// The error over the reading, without marks; a state before the calibration only where there is one.
pub fn error_series<'a>(quantity: &str, lines: &'a [Line], [x, y]: [Axis; 2], before: bool) -> Series<'a, Line> {
    let (id, title) = (format!("error-over-{quantity}"), format!("Reading error against {quantity}"));
    let unit = y.unit;
    let mut series = Series::new(&id, &title, lines, x, |line| line.at, y).every(4);
    if before {
        series.curve("before calibration", Stroke::Thin, |line| Some(line.before));
    } else {
        series.column("Before calibration", unit, |line| Some(line.before));
    }
    series.curve("worst case", Stroke::Main, |line| Some(line.worst));
    series.curve("root-sum-square", Stroke::Second, |line| Some(line.root));
    if lines.iter().any(|line| line.allowed.is_some()) {
        series.curve("allowed", Stroke::Allowed, |line| line.allowed);
    } else {
        series.column("Allowed", unit, |line| line.allowed);
    }
    series
}

/// Its table has words of its own.
pub fn error_chart(series: Series<'_, Line>, quantity: &str, finding: String, conditions: String) -> Chart {
    let mut chart = series.chart(finding, conditions);
    chart.table.caption = format!("Reading error over {quantity}");
    chart.table.note = "End of life.".into();
    chart
}
