//! # What a calculation answers with
//!
//! A [`Report`] carries the result, the working that leads to it, the findings an engineer must know, and a [`View`]:
//! the same numbers as figures, tables and charts, as data. The API sends the first three; the pages draw the view.
//! Nothing here knows how a page looks.

use serde::Serialize;
use utoipa::ToSchema;

use crate::quantity::{Quantity, Unit};

/// The answer of a calculation before it is turned into JSON or a page.
#[derive(Clone, Debug)]
pub struct Report<O> {
    /// The result with its JSON names.
    pub result: O,
    /// The steps that lead to the headline numbers.
    pub working: Vec<Step>,
    /// What the engineer must know.
    pub findings: Vec<Finding>,
    /// The same numbers for a reader.
    pub view: View,
}

/// One step of the working: a reviewer can redo it with a pocket calculator.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Step {
    /// What is worked out.
    pub label: String,
    /// Its symbol.
    pub symbol: String,
    /// The formula in symbols.
    pub formula: String,
    /// The same formula with the numbers put in.
    pub numbers: String,
    /// The value in the base unit.
    pub value: f64,
    /// The unit.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// Standard and clause, or "common practice, no source".
    pub source: String,
}

impl Step {
    /// One step.
    pub fn new(label: &str, symbol: &str, formula: &str, numbers: String, value: Quantity, source: &str) -> Self {
        Self {
            label: label.into(),
            symbol: symbol.into(),
            formula: formula.into(),
            numbers,
            value: value.value,
            unit: value.unit,
            source: source.into(),
        }
    }
}

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// A limit is passed; the result rests on something that does not hold.
    Fail,
    /// It holds, and needs attention.
    Warn,
    /// Good to know.
    Note,
}

/// Something the engineer must know.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// A stable word for programs, such as `shunt.over-rated-power`.
    pub code: String,
    /// One or two sentences with the numbers.
    pub message: String,
    /// JSON Pointer to the input that causes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// The limit, in the base unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
    /// The value that is compared with it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// What is left of the limit, in percent of it; negative when it is passed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin_percent: Option<f64>,
}

impl Finding {
    /// A finding without numbers to compare.
    pub fn new(severity: Severity, code: &str, message: impl Into<String>) -> Self {
        Self {
            severity,
            code: code.into(),
            message: message.into(),
            field: None,
            limit: None,
            value: None,
            margin_percent: None,
        }
    }

    /// Names the input that causes it.
    #[must_use]
    pub fn at(mut self, pointer: &str) -> Self {
        self.field = Some(pointer.into());
        self
    }

    /// Adds the compared numbers of an "at most" limit; an infinite or undefined one stays out.
    #[must_use]
    pub fn against(mut self, value: f64, limit: f64) -> Self {
        self.value = Some(value).filter(|value| value.is_finite());
        self.limit = Some(limit).filter(|limit| limit.is_finite());
        self.margin_percent = Some((1.0 - value / limit) * 100.0).filter(|margin| margin.is_finite());
        self
    }
}

/// How a requirement stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// More is used than allowed.
    Fails,
    /// It holds with less than 15 % left.
    Thin,
    /// It holds with 15 % or more left.
    Holds,
    /// No limit was given.
    NoLimitSet,
}

impl Verdict {
    /// The word on the page.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Fails => "Fails",
            Self::Thin => "Thin",
            Self::Holds => "Holds",
            Self::NoLimitSet => "No limit set",
        }
    }

    /// The verdict of a share of the allowance, in percent.
    pub fn of(used_percent: Option<f64>) -> Self {
        Self::thin_from(THIN_FROM_PERCENT, used_percent)
    }

    /// The same where a design says from which share on a requirement is thin.
    pub fn thin_from(thin_percent: f64, used_percent: Option<f64>) -> Self {
        match used_percent {
            Some(used) if used <= thin_percent => Self::Holds,
            Some(used) if used <= 100.0 => Self::Thin,
            Some(_) => Self::Fails,
            None => Self::NoLimitSet,
        }
    }
}

/// A share of the allowance without the rounding of doubles: exactly 100 where it differs by less.
pub fn exact_limit(used_percent: f64) -> f64 {
    if (used_percent - 100.0).abs() < 1e-9 { 100.0 } else { used_percent }
}

/// From this share of the allowance on a requirement is called thin. Common practice, no source.
pub const THIN_FROM_PERCENT: f64 = 85.0;

/// One requirement and how it stands: required, achieved, used.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Check {
    /// A stable word for programs.
    pub id: String,
    /// What is required.
    pub label: String,
    /// At which point and how it is judged.
    pub note: String,
    /// The limit, in the base unit; absent when none was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub required: Option<f64>,
    /// What is reached, in the base unit; absent when it is not defined.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub achieved: Option<f64>,
    /// The unit of both.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// Share of the allowance, in percent; 100 is the limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used_percent: Option<f64>,
    /// How it stands.
    pub verdict: Verdict,
    /// JSON Pointer to the input that sets the limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// What takes most of the allowance, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub largest: Option<String>,
    /// The cheapest change that would make it hold, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lever: Option<String>,
}

impl Check {
    /// A value that must not pass a limit, both counted from zero.
    pub fn at_most(id: &str, label: &str, note: impl Into<String>, achieved: Quantity, limit: Option<f64>) -> Self {
        let used = limit.map(|limit| achieved.value / limit * 100.0);
        Self::with_used(id, label, note, Some(achieved.value), limit, achieved.unit, used)
    }

    /// A temperature below a limit: the allowance is what lies between `from` and the limit.
    pub fn rise(id: &str, label: &str, note: impl Into<String>, achieved: f64, from: f64, limit: f64) -> Self {
        let used = (achieved - from) / (limit - from) * 100.0;
        let used = if limit > from { used } else { f64::INFINITY };
        Self::with_used(id, label, note, Some(achieved), Some(limit), Unit::Celsius, Some(used))
    }

    /// A requirement that no value can meet, such as a temperature that never settles.
    pub fn undefined(id: &str, label: &str, note: impl Into<String>, limit: Quantity) -> Self {
        let mut check = Self::with_used(id, label, note, None, Some(limit.value), limit.unit, None);
        check.verdict = Verdict::Fails;
        check
    }

    /// A requirement that nothing of a kind is left, where nothing is: a share of none has no percentage of its own.
    pub fn none_left(id: &str, label: &str, note: impl Into<String>, unit: Unit) -> Self {
        Self::with_used(id, label, note, Some(0.0), Some(0.0), unit, Some(0.0))
    }

    /// What is consumed of a distance; nothing is allowed when there is none.
    pub fn consumed(id: &str, label: &str, note: impl Into<String>, consumed: Quantity, available: f64) -> Self {
        let used = if available > 0.0 { consumed.value / available * 100.0 } else { f64::INFINITY };
        Self::with_used(id, label, note, Some(consumed.value), Some(available), consumed.unit, Some(used))
    }

    fn with_used(
        id: &str,
        label: &str,
        note: impl Into<String>,
        achieved: Option<f64>,
        required: Option<f64>,
        unit: Unit,
        used: Option<f64>,
    ) -> Self {
        // The verdict is decided on the unrounded share, save for the last bits of a double: 900 A through 50 µΩ is 45 mV.
        // A share that is not a number fails.
        let used = used.map(exact_limit);
        let verdict = match used {
            Some(used) if used.is_nan() => Verdict::Fails,
            used => Verdict::of(used),
        };
        Self {
            id: id.into(),
            label: label.into(),
            note: note.into(),
            required,
            achieved,
            unit,
            used_percent: used.filter(|used| used.is_finite()),
            verdict,
            field: None,
            largest: None,
            lever: None,
        }
    }

    /// What is left of the allowance, in the unit of the requirement; negative when it is passed.
    pub fn margin(&self) -> Option<f64> {
        let (required, achieved, used) = (self.required?, self.achieved?, self.used_percent?);
        let left = (required - achieved).abs();
        Some(match used {
            100.0 => 0.0,
            used if used > 100.0 => -left,
            _ => left,
        })
    }

    /// Names the input that sets the limit.
    #[must_use]
    pub fn at(mut self, pointer: &str) -> Self {
        self.field = Some(pointer.into());
        self
    }

    /// Names what takes most and, when it fails, the cheapest change that would make it hold.
    #[must_use]
    pub fn because(mut self, largest: Option<String>, lever: Option<String>) -> Self {
        self.largest = largest;
        self.lever = lever.filter(|_| self.verdict == Verdict::Fails);
        self
    }
}

/// The answer for a reader, in reading order.
#[derive(Clone, Debug, Default)]
pub struct View {
    /// The verdict in one sentence.
    pub lead: String,
    /// One or two sentences below it: what dominates, what to change.
    pub more: String,
    /// The requirements, worst first.
    pub checks: Vec<Check>,
    /// Figures, tables, budgets, charts.
    pub blocks: Vec<Block>,
    /// Cautions that the numbers make real.
    pub care: Vec<String>,
}

impl View {
    /// Sorts the requirements worst first, keeping the given order among equals.
    #[must_use]
    pub fn sorted(mut self) -> Self {
        self.checks.sort_by(|a, b| {
            let used = |check: &Check| check.used_percent.unwrap_or(f64::MAX);
            a.verdict.cmp(&b.verdict).then(used(b).total_cmp(&used(a)))
        });
        self
    }

    /// The worst verdict of all requirements and findings.
    pub fn verdict(&self, findings: &[Finding]) -> Verdict {
        let worst = self.checks.iter().map(|check| check.verdict).min().unwrap_or(Verdict::NoLimitSet);
        if findings.iter().any(|finding| finding.severity == Severity::Fail) { Verdict::Fails } else { worst }
    }
}

/// One piece of the view.
#[derive(Clone, Debug)]
#[allow(clippy::large_enum_variant, reason = "a page has some ten of them")]
pub enum Block {
    /// Key figures.
    Figures(Vec<Figure>),
    /// A table of values.
    Table(Table),
    /// A budget: contributions with bars, and its totals.
    Budget(Budget),
    /// A chart with its table.
    Chart(Chart),
    /// The band that opens at every stage and must pass the bracket.
    Lane(Lane),
    /// Thresholds between operation and hazard, one line each.
    NumberLine(NumberLine),
    /// A text to hand on as it is, such as a header for a compiler.
    Listing(Listing),
}

/// A text to hand on as it is.
#[derive(Clone, Debug)]
pub struct Listing {
    /// Unique in the page; also the name of its file.
    pub id: String,
    /// What it is.
    pub caption: String,
    /// What to know of it.
    pub note: String,
    /// The ending of its file, such as `h`.
    pub ending: &'static str,
    /// The text.
    pub text: String,
}

/// A key figure.
#[derive(Clone, Debug)]
pub struct Figure {
    /// What it is.
    pub label: String,
    /// The value.
    pub value: Quantity,
    /// Where it comes from, or what it is to be compared with.
    pub note: String,
}

impl Figure {
    /// One key figure.
    pub fn new(label: &str, value: f64, unit: Unit, note: impl Into<String>) -> Self {
        Self { label: label.into(), value: Quantity::new(value, unit), note: note.into() }
    }
}

/// A table of values. Columns of one unit are printed with one prefix and one number of decimals.
#[derive(Clone, Debug)]
pub struct Table {
    /// Unique in the page; also the name of its CSV file.
    pub id: String,
    /// What the table says.
    pub caption: String,
    /// Under which conditions.
    pub note: String,
    /// The columns after the row head.
    pub columns: Vec<Column>,
    /// Heading of the row heads.
    pub head: String,
    /// The rows.
    pub rows: Vec<Row>,
}

/// A column of a table.
#[derive(Clone, Debug)]
pub struct Column {
    /// Heading.
    pub label: String,
    /// Unit of its numbers; words when absent.
    pub unit: Option<Unit>,
}

impl Column {
    /// A column of numbers.
    pub fn of(label: &str, unit: Unit) -> Self {
        Self { label: label.into(), unit: Some(unit) }
    }

    /// A column of words.
    pub fn words(label: &str) -> Self {
        Self { label: label.into(), unit: None }
    }
}

/// A row of a table.
#[derive(Clone, Debug)]
pub struct Row {
    /// What the row is about.
    pub head: String,
    /// Small print below the head.
    pub note: String,
    /// One cell a column.
    pub cells: Vec<Cell>,
}

/// A cell.
#[derive(Clone, Debug)]
pub enum Cell {
    /// A number in the column's unit.
    Number(f64),
    /// A symmetric limit, printed with ±.
    Limit(f64),
    /// Words.
    Words(String),
    /// A verdict.
    Verdict(Verdict),
    /// Not defined here.
    Empty,
}

impl From<Option<f64>> for Cell {
    fn from(value: Option<f64>) -> Self {
        value.map_or(Self::Empty, Self::Number)
    }
}

/// A budget: every contribution in the unit of the output, largest first.
#[derive(Clone, Debug)]
pub struct Budget {
    /// Unique in the page.
    pub id: String,
    /// What it is the budget of.
    pub caption: String,
    /// At which point.
    pub note: String,
    /// The unit of every contribution.
    pub unit: Unit,
    /// The contributions.
    pub rows: Vec<Contribution>,
    /// The totals below the line.
    pub totals: Vec<Total>,
}

/// A line of a budget.
#[derive(Clone, Debug)]
pub struct Contribution {
    /// The source.
    pub label: String,
    /// Its limit and where it acts.
    pub note: String,
    /// Size in the budget's unit.
    pub size: f64,
    /// Share of the allowance, or of the sum when there is none, in percent.
    pub share_percent: f64,
    /// Whether it grows with the reading (a full bar) or is a fixed amount (a hatched bar).
    pub grows: bool,
}

/// A total of a budget.
#[derive(Clone, Debug)]
pub struct Total {
    /// The method, or "Allowed".
    pub label: String,
    /// What the method means.
    pub note: String,
    /// The value.
    pub size: f64,
    /// How it stands, where it is judged.
    pub verdict: Option<Verdict>,
}

/// A chart as data. The page draws it; its table has the same values.
#[derive(Clone, Debug)]
pub struct Chart {
    /// Unique in the page; also the name of its SVG file.
    pub id: String,
    /// The finding as a sentence.
    pub finding: String,
    /// Under which conditions.
    pub conditions: String,
    /// What it is: "Shunt temperature against current".
    pub title: String,
    /// The horizontal axis.
    pub x: Axis,
    /// The vertical axis.
    pub y: Axis,
    /// The curves.
    pub curves: Vec<Curve>,
    /// Marked points.
    pub marks: Vec<Mark>,
    /// The same values to read.
    pub table: Table,
}

/// An axis.
#[derive(Clone, Debug)]
pub struct Axis {
    /// What it shows, in lower case.
    pub label: String,
    /// Its unit.
    pub unit: Unit,
    /// Logarithmic in decades.
    pub log: bool,
}

impl Axis {
    /// A linear axis.
    pub fn linear(label: &str, unit: Unit) -> Self {
        Self { label: label.into(), unit, log: false }
    }

    /// A logarithmic axis.
    pub fn log(label: &str, unit: Unit) -> Self {
        Self { label: label.into(), unit, log: true }
    }
}

/// How a curve looks; the same meaning everywhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stroke {
    /// Worst case, or the one curve of the chart: ink.
    Main,
    /// Root-sum-square, or a second curve: data hue, dashed.
    Second,
    /// Monte Carlo 95 %: filled down to the axis.
    Filled,
    /// The allowance: dash-dot.
    Allowed,
    /// For comparison: thin.
    Thin,
}

/// A curve.
#[derive(Clone, Debug)]
pub struct Curve {
    /// The label at its end.
    pub label: String,
    /// Its look.
    pub stroke: Stroke,
    /// Points in base units, ascending in x.
    pub points: Vec<[f64; 2]>,
}

/// A marked point.
#[derive(Clone, Debug)]
pub struct Mark {
    /// Where.
    pub x: f64,
    /// Where.
    pub y: f64,
    /// What is printed beside it.
    pub label: String,
}

/// One lane of the chain: the band of error opens at every stage and must pass the bracket of the allowance.
#[derive(Clone, Debug)]
pub struct Lane {
    /// Unique in the page.
    pub id: String,
    /// What it shows and how it is judged.
    pub caption: String,
    /// The stages in the order of the signal.
    pub stages: Vec<Stage>,
    /// The allowance in words.
    pub allowed: String,
    /// The result in words.
    pub reached: String,
    /// Whether it passes.
    pub verdict: Verdict,
}

/// A stage of a lane.
#[derive(Clone, Debug)]
pub struct Stage {
    /// The part.
    pub label: String,
    /// Its value.
    pub part: String,
    /// The signal at its output.
    pub signal: String,
    /// What it takes of the allowance, in percent.
    pub takes_percent: f64,
}

/// Thresholds between allowed operation and hazard. Every row has its own scale, so that rows of different units may
/// stand below each other.
#[derive(Clone, Debug)]
pub struct NumberLine {
    /// Unique in the page; also the name of its SVG file.
    pub id: String,
    /// The finding as a sentence.
    pub finding: String,
    /// Under which conditions.
    pub conditions: String,
    /// What it is.
    pub title: String,
    /// The thresholds.
    pub rows: Vec<LineRow>,
    /// The same values to read.
    pub table: Table,
}

/// One threshold. The hazard may lie above or below the normal value; the edges may have crossed.
#[derive(Clone, Debug)]
pub struct LineRow {
    /// The function.
    pub label: String,
    /// What it says, in words.
    pub reading: String,
    /// The unit of all values.
    pub unit: Unit,
    /// The unit of the error.
    pub difference: Unit,
    /// The extreme of allowed operation.
    pub normal: f64,
    /// The threshold must lie beyond this.
    pub nuisance_edge: f64,
    /// And before this.
    pub harm_edge: f64,
    /// What must never be passed.
    pub hazard: f64,
    /// The threshold.
    pub threshold: f64,
    /// Whether it was chosen; otherwise it is the middle between the edges.
    pub chosen: bool,
    /// Its error limit.
    pub error: f64,
    /// How it stands.
    pub verdict: Verdict,
}
