//! # Tables and budgets as text
//!
//! Every column has its prefix and its decimals; a long table names the unit once, in the heading.

use sensewright_core::report::{Budget, Cell, Table};

use super::{Badge, file};
use crate::number::{Style, share};
use crate::plot::{self, bars};

/// From this number of rows on the unit stands in the heading, not in every cell.
const LONG_TABLE: usize = 9;

/// The total that says what is allowed; shares are then shares of it.
const ALLOWED: &str = "Allowed";

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
    /// What the shares are shares of.
    pub base: &'static str,
    /// The contributions.
    pub rows: Vec<BudgetRow>,
    /// Those of a long budget beyond the largest.
    pub smaller: Vec<BudgetRow>,
    /// The totals.
    pub totals: Vec<BudgetRow>,
    /// Whether both kinds of bars occur.
    pub key: bool,
    /// Address of the file with its values.
    pub file: String,
}

/// A table as text; `link` is the address of the answer.
pub fn table_text(table: &Table, link: &str) -> TableText {
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
                    Some(Cell::Of(value)) => words(&value.to_string()),
                    Some(Cell::Within(value)) => words(&format!("±{value}")),
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

/// A budget of more contributions than this shows the largest alone at once.
const LONG: usize = 9;
/// So many of them.
const LARGEST: usize = 6;

/// A budget as text; `link` is the address of the answer.
pub fn budget_text(budget: &Budget, link: &str) -> BudgetText {
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
    let mut rows: Vec<BudgetRow> = budget
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
        .collect();
    let smaller = if rows.len() > LONG { rows.split_off(LARGEST) } else { Vec::new() };
    BudgetText {
        id: format!("out-{}", plot::id(&budget.id)),
        caption: budget.caption.clone(),
        note: budget.note.clone(),
        rows,
        smaller,
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
        base: if budget.totals.iter().any(|total| total.label == ALLOWED && total.size > 0.0) {
            "Of allowance"
        } else {
            "Of sum"
        },
        key: budget.rows.iter().any(|row| row.grows) && budget.rows.iter().any(|row| !row.grows),
        unit: unit.unwrap_or_default(),
        file: file(link, "csv", &budget.id),
    }
}
