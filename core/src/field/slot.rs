//! The values a field can hold: how each is read and written.

use serde_json::{Value, json};

use super::reading::{shown, step};
use super::rows::{Row, lines_to_rows};
use super::{Field, Group, Kind, Notation, Reading, Slot, Start};

impl Slot for f64 {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::Number { unit, min, max, start, .. } = field.kind else { return 0.0 };
        let fallback = match start {
            Start::Required(value) | Start::Default(value) => value,
            Start::Absent | Start::Shown(_) => 0.0,
        };
        match node {
            Some(node) => reading.number(field, node, path, unit, min, max).unwrap_or(fallback),
            None => {
                if matches!(start, Start::Required(_)) && reading.notation == Notation::Json {
                    reading.missing(field, path);
                }
                fallback
            }
        }
    }

    fn write(&self) -> Option<Value> {
        serde_json::Number::from_f64(*self).map(Value::Number)
    }

    fn set(&mut self, field: &Field, below: &str, value: f64) -> bool {
        let taken = below.is_empty() && field.takes(value);
        if taken {
            *self = value + 0.0;
        }
        taken
    }

    fn get(&self, below: &str) -> Option<f64> {
        below.is_empty().then_some(*self)
    }
}

impl Slot for Option<f64> {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::Number { unit, min, max, start, .. } = field.kind else { return None };
        let shown = match (start, reading.notation) {
            (Start::Shown(value), Notation::Form) => Some(value),
            _ => None,
        };
        let Some(node) = node else { return shown };
        // An emptied box of a form means: unknown.
        if reading.notation == Notation::Form && node.as_str().is_some_and(|typed| typed.trim().is_empty()) {
            return None;
        }
        reading.number(field, node, path, unit, min, max)
    }

    fn write(&self) -> Option<Value> {
        self.as_ref().and_then(Slot::write)
    }

    fn set(&mut self, field: &Field, below: &str, value: f64) -> bool {
        let taken = below.is_empty() && field.takes(value);
        if taken {
            *self = Some(value + 0.0);
        }
        taken
    }

    fn get(&self, below: &str) -> Option<f64> {
        self.filter(|_| below.is_empty())
    }
}

impl Slot for u32 {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::Whole { unit, min, max, start } = field.kind else { return 0 };
        let Some(node) = node else { return start };
        let Some(value) = reading.number(field, node, path, unit, f64::from(min), f64::from(max)) else { return start };
        if value.fract() != 0.0 {
            let message = format!("{} must be {}; {value} was given.", field.label, field.accepted());
            reading.refuse(field, path, "not-whole", message, shown(node));
            return start;
        }
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "whole and inside min..=max, both u32"
        )]
        {
            value as Self
        }
    }

    fn write(&self) -> Option<Value> {
        Some(json!(self))
    }

    fn set(&mut self, field: &Field, below: &str, value: f64) -> bool {
        let taken = below.is_empty() && value.fract() == 0.0 && field.takes(value);
        if taken {
            #[allow(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "whole and inside min..=max, both u32"
            )]
            {
                *self = value as Self;
            }
        }
        taken
    }

    fn get(&self, below: &str) -> Option<f64> {
        below.is_empty().then(|| f64::from(*self))
    }
}

impl Slot for bool {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::YesNo { start } = field.kind else { return false };
        match (node, reading.notation) {
            (None, _) => start,
            (Some(Value::Bool(yes)), Notation::Json) => *yes,
            (Some(Value::String(word)), Notation::Form) if word.trim() == "yes" => true,
            (Some(Value::String(word)), Notation::Form) if word.trim() == "no" => false,
            (Some(other), _) => {
                let message = format!("{} must be {}.", field.label, field.accepted());
                reading.refuse(field, path, "wrong-type", message, shown(other));
                start
            }
        }
    }

    fn write(&self) -> Option<Value> {
        Some(json!(self))
    }
}

impl Slot for String {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::Text { most, start } = field.kind else { return Self::new() };
        match node {
            None => start.into(),
            Some(Value::String(typed)) if typed.chars().count() > most => {
                let message = format!("{} must be {}.", field.label, field.accepted());
                reading.refuse(field, path, "too-long", message, shown(&json!(typed)));
                start.into()
            }
            Some(Value::String(typed)) => typed.chars().filter(|c| !c.is_control()).collect::<Self>().trim().into(),
            Some(other) => {
                let message = format!("{} must be {}.", field.label, field.accepted());
                reading.refuse(field, path, "wrong-type", message, shown(other));
                start.into()
            }
        }
    }

    fn write(&self) -> Option<Value> {
        Some(json!(self))
    }
}

impl Slot for Vec<f64> {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::Numbers { unit, min, max, most, start } = field.kind else { return Self::new() };
        let items: Vec<Value> = match (node, reading.notation) {
            (None, _) => return start.into(),
            (Some(Value::Array(items)), Notation::Json) => items.clone(),
            (Some(Value::String(typed)), Notation::Form) => {
                values_of(typed).into_iter().map(|value| json!(value)).collect()
            }
            (Some(other), _) => {
                let message = format!("{} must be a list of numbers, each {}.", field.label, field.accepted());
                reading.refuse(field, path, "wrong-type", message, shown(other));
                return start.into();
            }
        };
        if items.is_empty() || items.len() > most {
            let code = if items.is_empty() { "too-few" } else { "too-many" };
            let message = format!("{} takes 1 to {most} values; {} were given.", field.label, items.len());
            reading.refuse(field, path, code, message, items.len().to_string());
            return start.into();
        }
        items
            .iter()
            .enumerate()
            .filter_map(|(index, item)| reading.number(field, item, &format!("{path}/{index}"), unit, min, max))
            .collect()
    }

    fn write(&self) -> Option<Value> {
        Some(json!(self))
    }

    fn set(&mut self, field: &Field, below: &str, value: f64) -> bool {
        let (index, rest) = step(below);
        let place = index.parse().ok().filter(|_| rest.is_empty() && field.takes(value));
        let item = place.and_then(|index: usize| self.get_mut(index));
        item.map(|item| *item = value + 0.0).is_some()
    }

    fn get(&self, below: &str) -> Option<f64> {
        let (index, rest) = step(below);
        self.as_slice().get(index.parse::<usize>().ok()?).copied().filter(|_| rest.is_empty())
    }
}

impl<G: Group> Slot for G {
    fn read(_: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        <G as Group>::read(node, path, reading)
    }

    fn write(&self) -> Option<Value> {
        Some(Value::Object(Group::write(self)))
    }

    fn set(&mut self, _: &Field, below: &str, value: f64) -> bool {
        Group::set(self, below, value)
    }

    fn get(&self, below: &str) -> Option<f64> {
        Group::get(self, below)
    }
}

impl<G: Group> Slot for Vec<G> {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::List { fields, least, most, start } = field.kind else { return Self::new() };
        let rows: Vec<Row> = match (node, reading.notation) {
            (None, Notation::Form) => lines_to_rows(start, fields),
            (None, Notation::Json) if least > 0 => {
                reading.missing(field, path);
                return Self::new();
            }
            (None, Notation::Json) => return Self::new(),
            (Some(Value::Array(rows)), Notation::Json) => {
                rows.iter().enumerate().map(|(index, cells)| Row { line: index + 1, cells: cells.clone() }).collect()
            }
            (Some(Value::String(typed)), Notation::Form) => lines_to_rows(typed, fields),
            (Some(other), _) => {
                let message = format!("{} must be a list: {}.", field.label, field.accepted());
                reading.refuse(field, path, "wrong-type", message, shown(other));
                return Self::new();
            }
        };
        if rows.len() < least || rows.len() > most {
            let code = if rows.len() < least { "too-few" } else { "too-many" };
            let message = format!("{} takes {least} to {most} rows; {} were given.", field.label, rows.len());
            reading.refuse(field, path, code, message, rows.len().to_string());
            return Self::new();
        }
        let before = reading.faults.len();
        let groups = rows
            .iter()
            .enumerate()
            .map(|(index, row)| <G as Group>::read(Some(&row.cells), &format!("{path}/{index}"), reading))
            .collect();
        // A person finds the fault by its line, a program by its pointer.
        for fault in &mut reading.faults[before..] {
            let below = fault.field.as_str().get(path.len()..).unwrap_or_default();
            let index = below.split('/').nth(1).and_then(|index| index.parse::<usize>().ok());
            if let Some(row) = index.and_then(|index| rows.get(index)) {
                fault.message = format!("Line {}: {}", row.line, fault.message);
            }
        }
        groups
    }

    fn write(&self) -> Option<Value> {
        Some(Value::Array(self.iter().map(|group| Value::Object(Group::write(group))).collect()))
    }

    fn set(&mut self, _: &Field, below: &str, value: f64) -> bool {
        let (index, rest) = step(below);
        let row = index.parse().ok().and_then(|index: usize| self.get_mut(index));
        row.is_some_and(|row| Group::set(row, rest, value))
    }

    fn get(&self, below: &str) -> Option<f64> {
        let (index, rest) = step(below);
        Group::get(self.as_slice().get(index.parse::<usize>().ok()?)?, rest)
    }
}

/// The values of a list of numbers: parted by `;`, a line, a tab, a comma with a space after it, or spaces. A comma inside
/// a number parts nothing, so `25,5` is refused by name; the space of `5 A` parts a number and its unit.
fn values_of(text: &str) -> Vec<String> {
    let mut values: Vec<String> = Vec::new();
    for cell in text.split([';', '\t', '\n', '\r']) {
        let mut after_number = false;
        for word in cell.split_whitespace() {
            let (value, comma) = word.strip_suffix(',').map_or((word, false), |value| (value, true));
            let is_unit = !value.contains(|c: char| c.is_ascii_digit());
            match values.last_mut() {
                Some(last) if is_unit && after_number => {
                    last.push(' ');
                    last.push_str(value);
                }
                _ if !value.is_empty() => values.push(value.into()),
                _ => {}
            }
            after_number = !is_unit && !comma;
        }
    }
    values
}

/// The word chosen for `field`, or its starting word. A label stands for its word, so that what a page or a standard
/// writes (`IIIa`) is read everywhere; what is not offered is refused.
pub fn choice_word(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Option<String> {
    let Kind::Choice { options, start } = field.kind else { return None };
    match node {
        None => Some(start.into()),
        Some(Value::String(given)) if let Some(word) = offered(options, given) => Some(word.into()),
        Some(other) => {
            let message = format!("{} must be {}.", field.label, field.accepted());
            reading.refuse(field, path, "not-a-choice", message, shown(other));
            Some(start.into())
        }
    }
}

/// The word of the option that is meant: its word or its label, in letters of any case.
fn offered(options: &[(&'static str, &'static str)], given: &str) -> Option<&'static str> {
    let given = given.trim();
    let by_word = options.iter().find(|(word, _)| word.eq_ignore_ascii_case(given));
    by_word.or_else(|| options.iter().find(|(_, label)| label.eq_ignore_ascii_case(given))).map(|(word, _)| *word)
}
