//! # The answer as rows of text
//!
//! Turns a view into what a template prints: every number already has its digits, prefix and sign, every drawing is
//! finished. The order is the reading order: verdict, what an engineer must know, requirements, the rest.

use sensewright_core::calculation::{Answer, Room};
use sensewright_core::quantity::{Printed, Quantity};
use sensewright_core::report::{
    Block, Budget, Cell, Chart, Check, Figure, Finding, Lane, Severity, Step, Table, Verdict, View,
};

use crate::form::{control, label_of};
use crate::number::{Style, figure, pair, share};
use crate::plot::{self, bars, chart, lane};

/// From this number of rows on the unit stands in the heading, not in every cell.
const LONG_TABLE: usize = 9;

/// A verdict as shape, word and colour.
#[derive(Clone, Copy, Debug)]
pub struct Badge {
    /// Class of the colour.
    pub class: &'static str,
    /// Id of the symbol.
    pub symbol: &'static str,
    /// The word.
    pub word: &'static str,
}

impl From<Verdict> for Badge {
    fn from(verdict: Verdict) -> Self {
        let (class, symbol) = match verdict {
            Verdict::Fails => ("v-bad", "s-bad"),
            Verdict::Thin => ("v-thin", "s-thin"),
            Verdict::Holds => ("v-ok", "s-ok"),
            Verdict::NoLimitSet => ("v-none", "s-none"),
        };
        Self { class, symbol, word: verdict.word() }
    }
}

impl From<Severity> for Badge {
    fn from(severity: Severity) -> Self {
        let (class, symbol, word) = match severity {
            Severity::Fail => ("v-bad", "s-bad", "Fails"),
            Severity::Warn => ("v-thin", "s-thin", "Warning"),
            Severity::Note => ("v-none", "s-note", "Note"),
        };
        Self { class, symbol, word }
    }
}

/// A link to a control of the form.
#[derive(Clone, Debug)]
pub struct Target {
    /// Its id.
    pub key: String,
    /// Its label.
    pub label: String,
}

/// A finding.
#[derive(Debug)]
pub struct FindingRow {
    /// How much it matters.
    pub badge: Badge,
    /// What it says.
    pub message: String,
    /// The input that causes it.
    pub target: Option<Target>,
}

/// A requirement.
#[derive(Debug)]
pub struct CheckRow {
    /// What is required.
    pub label: String,
    /// How it is judged.
    pub note: String,
    /// The input that sets the limit.
    pub target: Option<Target>,
    /// The limit.
    pub required: Option<Printed>,
    /// What is reached.
    pub achieved: Option<Printed>,
    /// The share used, or nothing.
    pub used: Option<String>,
    /// Its gauge.
    pub gauge: String,
    /// How it stands.
    pub badge: Badge,
}

/// A key figure.
#[derive(Debug)]
pub struct FigureRow {
    /// What it is.
    pub label: String,
    /// The value.
    pub value: Printed,
    /// What to compare it with.
    pub note: String,
}

/// A step of the working.
#[derive(Debug)]
pub struct StepRow {
    /// What is worked out.
    pub label: String,
    /// Its symbol.
    pub symbol: String,
    /// The formula.
    pub formula: String,
    /// The numbers put in.
    pub numbers: String,
    /// The value.
    pub value: Printed,
    /// Where the formula comes from.
    pub source: String,
}

/// A heading of a column.
#[derive(Debug)]
pub struct Head {
    /// The words, with the unit in a long table.
    pub label: String,
    /// Class of the alignment.
    pub class: &'static str,
}

/// A cell.
#[derive(Debug)]
pub struct CellText {
    /// Class of the alignment.
    pub class: &'static str,
    /// The words or the number.
    pub text: String,
    /// The unit, or nothing.
    pub unit: String,
    /// A verdict instead.
    pub badge: Option<Badge>,
}

/// A row of a table.
#[derive(Debug)]
pub struct TableRow {
    /// What it is about.
    pub head: String,
    /// Small print.
    pub note: String,
    /// The cells.
    pub cells: Vec<CellText>,
}

/// A table.
#[derive(Debug)]
pub struct TableText {
    /// Its id in the page.
    pub id: String,
    /// What it says.
    pub caption: String,
    /// Under which conditions.
    pub note: String,
    /// Heading of the row heads.
    pub head: String,
    /// The other headings.
    pub columns: Vec<Head>,
    /// The rows.
    pub rows: Vec<TableRow>,
    /// Address of the file with its values.
    pub file: String,
}

/// A line of a budget.
#[derive(Debug)]
pub struct BudgetRow {
    /// The source, or the method of a total.
    pub label: String,
    /// Small print.
    pub note: String,
    /// The size.
    pub size: String,
    /// The share, or nothing for a total.
    pub share: String,
    /// The bar, or nothing for a total.
    pub bar: String,
    /// The verdict of a total.
    pub badge: Option<Badge>,
}

/// A budget.
#[derive(Debug)]
pub struct BudgetText {
    /// Its id in the page.
    pub id: String,
    /// What it is the budget of.
    pub caption: String,
    /// At which point.
    pub note: String,
    /// The unit of the sizes, or nothing.
    pub unit: String,
    /// The contributions.
    pub rows: Vec<BudgetRow>,
    /// The totals.
    pub totals: Vec<BudgetRow>,
    /// Whether both kinds of bars occur.
    pub key: bool,
    /// Address of the file with its values.
    pub file: String,
}

/// A chart.
#[derive(Debug)]
pub struct ChartText {
    /// Its id in the page.
    pub id: String,
    /// The finding.
    pub finding: String,
    /// Under which conditions.
    pub conditions: String,
    /// Both drawings.
    pub drawings: String,
    /// The same values.
    pub table: TableText,
    /// Address of the drawing as a file.
    pub file: String,
}

impl ChartText {
    /// The name of the region that its table scrolls in.
    pub fn table_label(&self) -> String {
        format!("Values: {}", self.finding)
    }
}

/// A lane.
#[derive(Debug)]
pub struct LaneText {
    /// Its id in the page.
    pub id: String,
    /// What it shows.
    pub caption: String,
    /// Both drawings.
    pub drawings: String,
}

/// A block of the view.
#[derive(Debug)]
#[allow(missing_docs, reason = "each is the text form of the block of the same name")]
pub enum BlockText {
    Figures(Vec<FigureRow>),
    Table(TableText),
    Budget(BudgetText),
    Chart(ChartText),
    Lane(LaneText),
}

/// The whole answer.
#[derive(Debug)]
pub struct Out {
    /// The worst verdict.
    pub badge: Badge,
    /// Its word, when the sentence does not say it.
    pub word: Option<&'static str>,
    /// The verdict in one sentence.
    pub lead: String,
    /// What dominates, what to change.
    pub more: String,
    /// What the engineer must know.
    pub findings: Vec<FindingRow>,
    /// The requirements.
    pub checks: Vec<CheckRow>,
    /// The rest.
    pub blocks: Vec<BlockText>,
    /// The working.
    pub steps: Vec<StepRow>,
    /// Cautions that the numbers make real.
    pub care: Vec<String>,
    /// Where the formulas come from.
    pub sources: &'static [&'static str],
}

impl Out {
    /// The answer of a room as text.
    pub fn new(room: &Room, answer: &Answer) -> Self {
        let View { lead, more, checks, blocks, care } = &answer.view;
        let verdict = answer.view.verdict(&answer.findings);
        let badge = Badge::from(verdict);
        let said = lead.to_lowercase().contains(&badge.word.to_lowercase());
        let target = |pointer: Option<&String>| {
            let pointer = pointer?;
            let label = label_of(room.fields, pointer)?.to_owned();
            Some(Target { key: control(room.fields, pointer)?, label })
        };
        Self {
            badge,
            word: (!said).then_some(badge.word),
            lead: lead.clone(),
            more: more.clone(),
            findings: answer.findings.iter().map(|found| finding(found, target(found.field.as_ref()))).collect(),
            checks: checks.iter().map(|check| check_row(check, target(check.field.as_ref()))).collect(),
            blocks: blocks.iter().map(|block| block_text(block, &answer.link)).collect(),
            steps: answer.working.iter().map(step).collect(),
            care: care.clone(),
            sources: room.meta.sources,
        }
    }
}

fn finding(finding: &Finding, target: Option<Target>) -> FindingRow {
    FindingRow { badge: finding.severity.into(), message: finding.message.clone(), target }
}

fn check_row(check: &Check, target: Option<Target>) -> CheckRow {
    let [required, achieved] = pair(check.required, check.achieved, check.unit);
    let gauge = match (check.used_percent, check.verdict) {
        (Some(used), verdict) => bars::gauge(used, verdict),
        (None, Verdict::Fails) => bars::gauge(f64::INFINITY, Verdict::Fails),
        (None, verdict) => bars::gauge(0.0, verdict),
    };
    CheckRow {
        label: check.label.clone(),
        note: check.note.clone(),
        target,
        required,
        achieved,
        used: check.used_percent.map(share),
        gauge,
        badge: check.verdict.into(),
    }
}

fn step(step: &Step) -> StepRow {
    StepRow {
        label: step.label.clone(),
        symbol: step.symbol.clone(),
        formula: step.formula.clone(),
        numbers: step.numbers.clone(),
        value: Quantity::new(step.value, step.unit).brief(5),
        source: step.source.clone(),
    }
}

fn block_text(block: &Block, link: &str) -> BlockText {
    match block {
        Block::Figures(figures) => BlockText::Figures(figures.iter().map(figure_row).collect()),
        Block::Table(table) => BlockText::Table(table_text(table, link)),
        Block::Budget(budget) => BlockText::Budget(budget_text(budget, link)),
        Block::Chart(chart) => BlockText::Chart(chart_text(chart, link)),
        Block::Lane(lane) => BlockText::Lane(lane_text(lane)),
    }
}

fn figure_row(row: &Figure) -> FigureRow {
    FigureRow { label: row.label.clone(), value: figure(row.value), note: row.note.clone() }
}

fn file(link: &str, format: &str, part: &str) -> String {
    format!("{link}&format={format}&part={}", plot::id(part))
}

fn table_text(table: &Table, link: &str) -> TableText {
    let long = table.rows.len() >= LONG_TABLE;
    let styles: Vec<Style> = table
        .columns
        .iter()
        .enumerate()
        .map(|(index, column)| {
            let values: Vec<f64> = table
                .rows
                .iter()
                .filter_map(|row| match row.cells.get(index) {
                    Some(Cell::Number(value) | Cell::Limit(value)) => Some(*value),
                    _ => None,
                })
                .collect();
            column.unit.map_or(Style::Each, |unit| Style::of(&values, unit, 3))
        })
        .collect();
    let heads = table.columns.iter().zip(&styles).map(|(column, style)| {
        let Some(unit) = column.unit else { return Head { label: column.label.clone(), class: "" } };
        let label = match style.unit(unit) {
            Some(symbol) if long && !symbol.is_empty() => format!("{}, {symbol}", column.label),
            _ => column.label.clone(),
        };
        Head { label, class: "n" }
    });
    let rows = table.rows.iter().map(|row| TableRow {
        head: row.head.clone(),
        note: row.note.clone(),
        cells: table
            .columns
            .iter()
            .enumerate()
            .map(|(index, column)| {
                let style = styles[index];
                let print = |value: f64, sign: &str| {
                    let Some(unit) = column.unit else {
                        return CellText {
                            class: "n",
                            text: format!("{sign}{value}"),
                            unit: String::new(),
                            badge: None,
                        };
                    };
                    let printed = style.print(value, unit);
                    let in_head = long && style.unit(unit).is_some();
                    let unit = if in_head { String::new() } else { printed.unit };
                    let class = if unit.is_empty() { "n" } else { "n q" };
                    CellText { class, text: format!("{sign}{}", printed.number), unit, badge: None }
                };
                let words = |text: &str| CellText {
                    class: if column.unit.is_some() { "n" } else { "" },
                    text: text.into(),
                    unit: String::new(),
                    badge: None,
                };
                match row.cells.get(index) {
                    Some(Cell::Number(value)) => print(*value, ""),
                    Some(Cell::Limit(value)) => print(value.abs(), "±"),
                    Some(Cell::Words(text)) => words(text),
                    Some(Cell::Verdict(verdict)) => CellText { badge: Some((*verdict).into()), ..words("") },
                    Some(Cell::Empty) | None => words("–"),
                }
            })
            .collect(),
    });
    TableText {
        id: format!("out-{}", plot::id(&table.id)),
        caption: table.caption.clone(),
        note: table.note.clone(),
        head: table.head.clone(),
        columns: heads.collect(),
        rows: rows.collect(),
        file: file(link, "csv", &table.id),
    }
}

fn budget_text(budget: &Budget, link: &str) -> BudgetText {
    let sizes: Vec<f64> =
        budget.rows.iter().map(|row| row.size).chain(budget.totals.iter().map(|total| total.size)).collect();
    // The smallest contribution of a long budget may round to zero: its share says so. The totals keep their digits.
    let totals: Vec<f64> = budget.totals.iter().map(|total| total.size).collect();
    let style = match Style::of(&sizes, budget.unit, 3) {
        Style::Each => {
            Style::of(if totals.is_empty() { &sizes[..sizes.len().min(1)] } else { &totals }, budget.unit, 4)
        }
        style @ Style::Common { .. } => style,
    };
    let unit = style.unit(budget.unit);
    let print = |size: f64| {
        let printed = style.print(size, budget.unit);
        if unit.is_some() { printed.number } else { printed.to_string() }
    };
    let largest = budget.rows.iter().map(|row| row.size.abs()).filter(|size| size.is_finite()).fold(0.0, f64::max);
    BudgetText {
        id: format!("out-{}", plot::id(&budget.id)),
        caption: budget.caption.clone(),
        note: budget.note.clone(),
        rows: budget
            .rows
            .iter()
            .map(|row| BudgetRow {
                label: row.label.clone(),
                note: row.note.clone(),
                size: print(row.size),
                share: share(row.share_percent),
                bar: bars::contribution(row.size, largest, row.grows),
                badge: None,
            })
            .collect(),
        totals: budget
            .totals
            .iter()
            .map(|total| BudgetRow {
                label: total.label.clone(),
                note: total.note.clone(),
                size: print(total.size),
                share: String::new(),
                bar: String::new(),
                badge: total.verdict.map(Badge::from),
            })
            .collect(),
        key: budget.rows.iter().any(|row| row.grows) && budget.rows.iter().any(|row| !row.grows),
        unit: unit.unwrap_or_default(),
        file: file(link, "csv", &budget.id),
    }
}

fn chart_text(chart: &Chart, link: &str) -> ChartText {
    ChartText {
        id: format!("out-{}", plot::id(&chart.id)),
        finding: chart.finding.clone(),
        conditions: chart.conditions.clone(),
        drawings: chart::both(chart),
        table: table_text(&chart.table, link),
        file: file(link, "svg", &chart.id),
    }
}

fn lane_text(lane: &Lane) -> LaneText {
    LaneText { id: format!("out-{}", plot::id(&lane.id)), caption: lane.caption.clone(), drawings: lane::both(lane) }
}
