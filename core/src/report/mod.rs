//! # What a calculation answers with
//!
//! A [`Report`] carries the result, the working that leads to it, the findings an engineer must know, and a [`View`]:
//! the same numbers as figures, tables and charts, as data. The API sends the first three; the pages draw the view.
//! Nothing here knows how a page looks.

pub mod kit;

use serde::Serialize;
use utoipa::ToSchema;

use crate::quantity::{Quantity, Unit};

pub use crate::judge::{Check, THIN_FROM_PERCENT, Verdict};

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

    /// Names the input that causes it; no single one when the pointer is empty.
    #[must_use]
    pub fn at(mut self, pointer: &str) -> Self {
        self.field = Some(pointer.into()).filter(|pointer: &String| !pointer.is_empty());
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
    /// One key figure of a quantity.
    pub fn of(label: impl Into<String>, value: Quantity, note: impl Into<String>) -> Self {
        Self { label: label.into(), value, note: note.into() }
    }

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

impl From<f64> for Cell {
    fn from(value: f64) -> Self {
        Self::Number(value)
    }
}

impl From<String> for Cell {
    fn from(words: String) -> Self {
        Self::Words(words)
    }
}

impl From<&str> for Cell {
    fn from(words: &str) -> Self {
        Self::Words(words.into())
    }
}

impl From<Verdict> for Cell {
    fn from(verdict: Verdict) -> Self {
        Self::Verdict(verdict)
    }
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
