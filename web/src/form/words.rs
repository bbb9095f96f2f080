//! The words and controls of a row of the form.

use sensewright_core::field::{Field, Kind, Start};
use sensewright_core::quantity::Unit;

use super::{Choice, Control};

/// Whether a text says something else than the start: another notation of the same number does not.
pub fn differs(field: &Field, text: &str, start: &str) -> bool {
    if text.trim() == start.trim() {
        return false;
    }
    match field.kind {
        Kind::Number { unit, .. } | Kind::Whole { unit, .. } => match (unit.read(text), unit.read(start)) {
            (Ok(now), Ok(before)) => now.to_bits() != before.to_bits(),
            _ => true,
        },
        _ => !text.split_whitespace().eq(start.split_whitespace()),
    }
}

/// Whether the text ends with a prefix that the unit beside the box continues: `50 µ` and `Ω`.
pub fn ends_in_prefix(unit: Unit, text: &str) -> bool {
    unit.prefixed()
        && text.trim_end().ends_with(['f', 'p', 'n', 'u', 'µ', 'μ', 'm', 'k', 'K', 'M', 'G', 'T'])
        && unit.read(text).is_ok()
}

/// The control of a field with its text.
pub fn control_of(field: &Field, text: &str) -> Control {
    let choice = |word: &str, label: &str| Choice {
        word: word.to_owned(),
        label: label.to_owned(),
        chosen: word == text.trim(),
    };
    match field.kind {
        Kind::Choice { options, .. } => {
            Control::Select(with_typed(options.iter().map(|(word, label)| choice(word, label)).collect(), text))
        }
        Kind::YesNo { .. } => Control::Select(with_typed(vec![choice("yes", "yes"), choice("no", "no")], text)),
        Kind::List { .. } => Control::Lines { height: (text.lines().count() + 1).clamp(3, 14) },
        _ => Control::Line,
    }
}

/// The control of a field of a design that nobody touched: what it starts with comes first.
pub fn untouched(field: &Field, start: &str) -> Control {
    match control_of(field, start) {
        Control::Select(mut choices) => {
            let label = choices.iter().find(|choice| choice.chosen).map_or("", |choice| choice.label.as_str());
            let label = format!("as it starts: {label}");
            for choice in &mut choices {
                choice.chosen = false;
            }
            choices.insert(0, Choice { word: String::new(), label, chosen: true });
            Control::Select(choices)
        }
        Control::Lines { .. } => Control::Lines { height: 3 },
        Control::Line => Control::Line,
    }
}

/// A word that is not offered stays visible as it was sent.
fn with_typed(mut choices: Vec<Choice>, text: &str) -> Vec<Choice> {
    if choices.iter().all(|choice| !choice.chosen) {
        choices.insert(0, Choice { word: text.into(), label: text.into(), chosen: true });
    }
    choices
}

/// The start value in words.
pub fn start_words(field: &Field, start: &str) -> String {
    match field.kind {
        Kind::Number { start: Start::Absent, .. } => "not given".into(),
        Kind::Number { unit, .. } | Kind::Whole { unit, .. } => with_unit(&rounded(start), unit),
        Kind::Numbers { unit, .. } => with_unit(&short(&rounded(start)), unit),
        Kind::Choice { options, .. } => {
            options.iter().find(|(word, _)| *word == start).map_or(start, |(_, label)| label).to_owned()
        }
        Kind::List { .. } => match start.lines().count() {
            1 => "1 line".into(),
            count => format!("{count} lines"),
        },
        _ if start.is_empty() => "empty".into(),
        _ => short(start),
    }
}

/// Numbers that were worked out, in six digits: `722.7` and not `722.6999999999999`.
pub fn rounded(list: &str) -> String {
    let six = |number: f64| format!("{number:.5e}").parse::<f64>().unwrap_or(number).to_string();
    let one = |word: &str| {
        let number = word.trim_end_matches(|letter: char| !letter.is_ascii_digit());
        match number.parse() {
            Ok(value) if number.len() > 8 => six(value) + &word[number.len()..],
            _ => word.to_owned(),
        }
    };
    list.split_whitespace().map(one).collect::<Vec<_>>().join(" ")
}

fn short(text: &str) -> String {
    if text.chars().count() > 40 { text.chars().take(39).chain(['…']).collect() } else { text.into() }
}

/// Number and unit as they are read together: `100 µΩ`, `0.5 %`.
pub fn with_unit(text: &str, unit: Unit) -> String {
    match unit.symbol() {
        "" => text.into(),
        symbol if ends_in_prefix(unit, text) => format!("{text}{symbol}"),
        // Number and unit stay on one line.
        symbol => format!("{text}\u{202f}{symbol}"),
    }
}

/// The line that a group of untouched values is: how many there are, or which one.
pub fn as_they_start(legend: &str, count: usize, only: &str) -> String {
    if count == 1 { format!("{legend}: {only}") } else { format!("{legend}: {count} values, as they start") }
}

/// The columns that a first line may name, each with its label and what it takes; nothing of lists of few columns.
pub fn columns_of(field: &Field) -> Vec<(&'static str, String)> {
    let Kind::List { fields, .. } = field.kind else { return Vec::new() };
    let said = |column: &'static Field| {
        let takes = match column.kind {
            Kind::Text { .. } | Kind::YesNo { .. } => String::new(),
            _ => format!(" {}.", capital(&column.accepted())),
        };
        (column.key, format!("{}. {}{takes}", column.label, column.help).replace(". .", "."))
    };
    if field.names_columns() { fields.iter().map(said).collect() } else { Vec::new() }
}

/// The same on a page of a design, which has no room for the columns of a long list but their names.
pub fn accepted_in_names(field: &Field) -> String {
    let Kind::List { fields, .. } = field.kind else { return accepted(field) };
    let names: Vec<&str> = fields.iter().map(|column| column.key).collect();
    let told = accepted(field);
    if field.names_columns() { format!("{told} There are: {}.", names.join(", ")) } else { told }
}

/// What is accepted, as a sentence of the hint.
pub fn accepted(field: &Field) -> String {
    match field.kind {
        Kind::Choice { .. } | Kind::YesNo { .. } => String::new(),
        Kind::List { least, most, .. } if field.names_columns() => format!(
            "One row a line, {least} to {most} lines, columns parted by ; or a tab. The first line names the columns in use, in any order; what it leaves out stands at its start."
        ),
        Kind::List { fields, least, most, .. } => {
            let columns: Vec<String> = fields
                .iter()
                .map(|column| match (column.kind, column.unit().map(Unit::symbol)) {
                    (Kind::Choice { .. }, _) => format!("{}, {}", column.label.to_lowercase(), column.accepted()),
                    (Kind::YesNo { .. }, _) => format!("{}, yes or no", column.label.to_lowercase()),
                    (_, Some(symbol)) if !symbol.is_empty() => format!("{} in {symbol}", column.label.to_lowercase()),
                    _ => column.label.to_lowercase(),
                })
                .collect();
            format!(
                "One row a line, {least} to {most} lines: {}. Columns parted by ; or a tab, numbers also by commas or spaces.",
                columns.join("; ")
            )
        }
        Kind::Numbers { most, .. } => {
            format!("Up to {most} values, each {}, parted by spaces.", field.accepted())
        }
        _ => format!("{}.", capital(&field.accepted())),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
