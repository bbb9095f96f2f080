//! # Rows of a list as text, and text as rows
//!
//! One row a line, its columns in the order of their declaration. A first line that names columns says which follow, in any
//! order: what it leaves out stands at its start. Lists of many columns are written that way.

use std::borrow::Cow;

use serde_json::{Map, Value, json};

use super::{Field, Kind, Start};

/// Columns beyond which a list is written with a first line that names those that are used.
pub(super) const MANY: usize = 8;

/// A row of a list and the line it was written on.
pub(super) struct Row {
    pub(super) line: usize,
    pub(super) cells: Value,
}

/// One row a line. Empty lines, comments (`#`) and a heading are passed over; a cell that is left empty takes its
/// default.
pub(super) fn lines_to_rows(text: &str, fields: &'static [Field]) -> Vec<Row> {
    let numbers_only = fields.iter().all(|field| matches!(field.kind, Kind::Number { .. }));
    let mut columns: Vec<&str> = fields.iter().map(|field| field.key).collect();
    let (mut rows, mut first) = (Vec::new(), true);
    for (index, line) in text.lines().map(str::trim).enumerate() {
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let cells = cells_of(line, fields.len(), numbers_only);
        let named = if first { named(&cells, fields) } else { None };
        let is_heading = numbers_only && rows.is_empty() && cells.iter().all(|cell| is_word(cell));
        first = false;
        if let Some(named) = named {
            columns = named;
        } else if !is_heading {
            rows.push(Row { line: index + 1, cells: row_of(&cells, &columns, fields) });
        }
    }
    rows
}

/// The columns that a first line names, by key or label; nothing where a name comes twice, or most cells are none. A misspelt
/// one stands for itself, and is refused by that name.
fn named<'a>(cells: &[&'a str], fields: &'static [Field]) -> Option<Vec<&'a str>> {
    let called = |field: &&Field, cell: &str| field.key == cell || field.label.eq_ignore_ascii_case(cell);
    let known = |cell: &str| fields.iter().find(|field| called(field, cell)).map(|field| field.key);
    let count = cells.iter().filter(|cell| known(cell).is_some()).count();
    if count < 2 || cells.len() > 2 * count - 1 {
        return None;
    }
    let columns: Vec<&str> = cells.iter().map(|cell| known(cell).unwrap_or(cell)).collect();
    let once = columns.iter().enumerate().all(|(place, one)| !columns[..place].contains(one));
    once.then_some(columns)
}

/// Rows as text.
pub(super) fn rows_to_lines(rows: &[Value], fields: &[Field]) -> String {
    let used = |field: &&Field| rows.iter().any(|row| !starts_as(field, row.get(field.key)));
    let (columns, heading): (Cow<[&Field]>, _) = if fields.len() > MANY && !rows.is_empty() {
        let columns: Vec<&Field> = fields
            .iter()
            .enumerate()
            .filter(|(place, field)| *place == 0 || used(field))
            .map(|(_, field)| field)
            .collect();
        // One name alone would be read as a row.
        let columns = if columns.len() < 2 { fields.iter().take(2).collect() } else { columns };
        let names: Vec<&str> = columns.iter().map(|field| field.key).collect();
        let heading = names.join("; ");
        (columns.into(), Some(heading))
    } else {
        (fields.iter().collect::<Vec<_>>().into(), None)
    };
    let line = |row: &Value| {
        let cells: Vec<_> = columns.iter().map(|field| field.echo(row.get(field.key), true)).collect();
        cells.join("; ").trim_end_matches([';', ' ']).to_owned()
    };
    heading.into_iter().chain(rows.iter().map(line)).collect::<Vec<_>>().join("\n")
}

/// Whether a cell stands at the start of its column: nothing, or the same value.
pub(super) fn starts_as(field: &Field, cell: Option<&Value>) -> bool {
    let Some(cell) = cell.filter(|cell| !cell.is_null()) else { return true };
    match field.kind {
        Kind::Number { start: Start::Default(start), .. } => cell.as_f64().is_some_and(|value| value == start),
        Kind::Whole { start, .. } => cell.as_u64() == Some(start.into()),
        Kind::YesNo { start } => cell.as_bool() == Some(start),
        Kind::Choice { start, .. } | Kind::Text { start, .. } => cell.as_str() == Some(start),
        _ => false,
    }
}

/// Whether a cell is a heading such as `degC` or `R in ohm`: it starts as no number does.
fn is_word(cell: &str) -> bool {
    cell.trim_start_matches('"').starts_with(|c: char| c.is_alphabetic() || c == '°')
        && !cell.contains(|c: char| c.is_ascii_digit())
}

/// The cells of a line: parted by `;`, a tab, commas as in a CSV file, or spaces. A comma inside a number is none of
/// these, so `25,5 100` stays two cells, whose comma is refused by name.
fn cells_of(line: &str, columns: usize, numbers_only: bool) -> Vec<&str> {
    let parted = |by: char| line.split(by).map(|cell| cell.trim().trim_matches('"')).collect::<Vec<_>>();
    if let Some(by) = [';', '\t'].into_iter().find(|by| line.contains(*by)) {
        return parted(by);
    }
    let commas = parted(',');
    if numbers_only && commas.len() > 1 && commas.len() <= columns && commas.iter().all(|cell| !is_two_numbers(cell)) {
        return commas;
    }
    line.split_whitespace().collect()
}

/// Whether a space parts two numbers, as in `5 100`; the space of `4.7 kΩ` parts a number and its unit.
fn is_two_numbers(cell: &str) -> bool {
    cell.split_whitespace().filter(|part| part.contains(|c: char| c.is_ascii_digit())).count() > 1
}

fn row_of(cells: &[&str], columns: &[&str], fields: &[Field]) -> Value {
    let mut row = Map::new();
    for (index, cell) in cells.iter().map(|cell| cell.trim()).enumerate() {
        match columns.get(index) {
            Some(_) if cell.is_empty() => {}
            Some(column) => {
                row.insert((*column).into(), json!(cell));
            }
            None => {
                row.insert(format!("column {}", index + 1), json!(cell));
            }
        }
    }
    // A first column that is missing must not silently take a form's starting value.
    for field in fields.iter().filter(|field| matches!(field.kind, Kind::Number { start: Start::Required(_), .. })) {
        row.entry(field.key).or_insert_with(|| json!(""));
    }
    Value::Object(row)
}
