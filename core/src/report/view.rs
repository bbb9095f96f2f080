//! The numbers of a result for a reader: figures, tables, budgets, charts, lanes, as data.

use crate::judge::Verdict;
use crate::quantity::{Quantity, Unit, digits_among};

/// The answer for a reader, in reading order.
#[derive(Clone, Debug, Default)]
pub struct View {
    /// The verdict in one sentence.
    pub lead: String,
    /// One or two sentences below it: what dominates, what to change.
    pub more: String,
    /// Figures, tables, budgets, charts.
    pub blocks: Vec<Block>,
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
    /// What lies how far off, and for how long.
    Spots(Spots),
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
    /// How many digits it is printed with.
    pub digits: usize,
}

/// Digits of a key figure.
const DIGITS: usize = 4;

impl Figure {
    /// One key figure of a quantity.
    pub fn of(label: impl Into<String>, value: Quantity, note: impl Into<String>) -> Self {
        Self { label: label.into(), value, note: note.into(), digits: DIGITS }
    }

    /// Printed with the digits that tell it from its neighbours: a thousandth of `span` is seen.
    #[must_use]
    pub fn among(mut self, span: f64) -> Self {
        self.digits = digits_among(self.value.value, span);
        self
    }

    /// One key figure.
    pub fn new(label: &str, value: f64, unit: Unit, note: impl Into<String>) -> Self {
        Self::of(label, Quantity::new(value, unit), note)
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
    /// The numbers that the row heads say, one a row, and their unit: a file has them as numbers.
    pub heads: Option<(Unit, Vec<f64>)>,
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
    /// A number in a unit of its own.
    Of(Quantity),
    /// A symmetric limit in a unit of its own.
    Within(Quantity),
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

impl Budget {
    /// Where its requirement is not judged no total holds; one that fails without what is missing fails with it.
    #[must_use]
    pub fn judged_as(mut self, verdict: Verdict) -> Self {
        if verdict == Verdict::NotJudged {
            for total in &mut self.totals {
                total.verdict = total.verdict.filter(|own| *own == Verdict::Fails);
            }
        }
        self
    }
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
    /// The stage that stands behind the barrier, in the controller.
    pub behind_barrier: Option<usize>,
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

/// Marks over a plane. The horizontal axis grows in decades to both sides of zero, the vertical one in decades; what never
/// comes to an end stands above it.
#[derive(Clone, Debug)]
pub struct Spots {
    /// Unique in the page; also the name of its SVG file.
    pub id: String,
    /// The finding as a sentence.
    pub finding: String,
    /// Under which conditions.
    pub conditions: String,
    /// What it is.
    pub title: String,
    /// The horizontal axis.
    pub x: Axis,
    /// The vertical axis.
    pub y: Axis,
    /// What the row above the vertical axis is called.
    pub never: String,
    /// The size from which on it matters, and on which sides, downwards and upwards.
    pub matters: (f64, [bool; 2]),
    /// Above this on the vertical axis it is too late.
    pub latest: Option<f64>,
    /// What the shapes of marks are called.
    pub shapes: Vec<String>,
    /// The marks, the one that matters most first.
    pub spots: Vec<Spot>,
    /// The same values to read.
    pub table: Table,
}

/// One of them.
#[derive(Clone, Debug)]
pub struct Spot {
    /// Where.
    pub x: f64,
    /// What it spans along the horizontal axis.
    pub span: [f64; 2],
    /// Where; nothing for the row above the axis.
    pub y: Option<f64>,
    /// Its area, as a part of that of the largest.
    pub share: f64,
    /// The place of its shape; nothing for a hollow mark.
    pub shape: Option<usize>,
    /// What is printed beside it where there is room.
    pub label: String,
}
