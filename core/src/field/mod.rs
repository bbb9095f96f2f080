//! # Input declarations
//!
//! Every input of every calculation is declared once, in a table of [`Field`] rows inside [`input!`](crate::input).
//! The struct, the reading of JSON and of form text, the limits, the published schema, the form row and the words of
//! every refusal come from that one row. Reading goes through the whole input in one pass and reports every fault,
//! each under its own JSON Pointer (RFC 6901).

mod address;
mod declare;
mod fault;
mod reading;
mod rows;
mod schema;
mod slot;
pub mod tree;

use serde_json::Value;

use crate::quantity::{Quantity, Unit};

pub use address::{address_pairs, few_enough, form_tree};
pub use declare::{Declared, defaulted, group, list, number, numbers, optional, text, whole, yes_no};
pub use fault::{FieldError, MOST_FAULTS, told};
pub use reading::{Group, Notation, Reading, Slot, Typed, pointer_escape, read, start, step};
pub use schema::schema;
pub use slot::choice_word;
pub use tree::declared;

/// One declared input.
#[derive(Clone, Copy, Debug)]
pub struct Field {
    /// The JSON name; ends with the unit's suffix.
    pub key: &'static str,
    /// The symbol in formulas.
    pub symbol: &'static str,
    /// The label in words of the trade.
    pub label: &'static str,
    /// One sentence that says what to enter.
    pub help: &'static str,
    /// What is accepted.
    pub kind: Kind,
}

/// What a field accepts, and what it starts from.
#[derive(Clone, Copy, Debug)]
pub enum Kind {
    /// A number with a unit.
    Number {
        /// The base unit.
        unit: Unit,
        /// Smallest accepted value.
        min: f64,
        /// Largest accepted value.
        max: f64,
        /// What happens when it is left out.
        start: Start,
        /// A usual value of one that starts at nothing.
        like: Option<f64>,
    },
    /// A whole number.
    Whole {
        /// The unit, often [`Unit::One`].
        unit: Unit,
        /// Smallest accepted value.
        min: u32,
        /// Largest accepted value.
        max: u32,
        /// The default.
        start: u32,
    },
    /// Yes or no.
    YesNo {
        /// The default.
        start: bool,
    },
    /// One of a few words.
    Choice {
        /// JSON word and label of each.
        options: &'static [(&'static str, &'static str)],
        /// The default's JSON word.
        start: &'static str,
    },
    /// Free text on one line.
    Text {
        /// Longest accepted, in characters.
        most: usize,
        /// The default.
        start: &'static str,
    },
    /// Several numbers of one unit.
    Numbers {
        /// The base unit.
        unit: Unit,
        /// Smallest accepted value.
        min: f64,
        /// Largest accepted value.
        max: f64,
        /// Most accepted entries.
        most: usize,
        /// The default.
        start: &'static [f64],
    },
    /// Fields that belong together.
    Group {
        /// The fields of the group.
        fields: &'static [Field],
    },
    /// Several rows of the same fields. In a form: one row a line, its columns parted by `;`, a tab or spaces.
    List {
        /// The fields of one row.
        fields: &'static [Field],
        /// Fewest accepted rows.
        least: usize,
        /// Most accepted rows.
        most: usize,
        /// What a form starts with.
        start: &'static str,
    },
}

/// What happens when a number is left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// JSON must give it; a form starts with this value.
    Required(f64),
    /// This value is used, and shown as used.
    Default(f64),
    /// The quantity is unknown; what depends on it is left out of the answer.
    Absent,
    /// The same; a form of its own page starts with this value, so that the page has something to show.
    Shown(f64),
}

impl Field {
    /// What is accepted, in words: the hint of the form and the `accepted` of every refusal.
    pub fn accepted(&self) -> String {
        match self.kind {
            Kind::Number { unit, min, max, .. } | Kind::Numbers { unit, min, max, .. } => range_words(unit, min, max),
            Kind::Whole { min, max, .. } => format!("a whole number between {min} and {max}"),
            Kind::YesNo { .. } => "yes or no (JSON: true or false)".into(),
            Kind::Choice { options, .. } => {
                let words: Vec<_> = options.iter().map(|(key, _)| *key).collect();
                format!("one of: {}", words.join(", "))
            }
            Kind::Text { most, .. } => format!("text of at most {most} characters"),
            Kind::Group { .. } => "a group of fields".into(),
            Kind::List { fields, least, most, .. } => {
                let columns: Vec<_> = fields.iter().map(|field| field.key).collect();
                format!("{least} to {most} rows of {}", columns.join("; "))
            }
        }
    }

    /// Whether a number is inside its range.
    pub fn takes(&self, value: f64) -> bool {
        match self.kind {
            Kind::Number { min, max, .. } | Kind::Numbers { min, max, .. } => min <= value && value <= max,
            Kind::Whole { min, max, .. } => f64::from(min) <= value && value <= f64::from(max),
            _ => false,
        }
    }

    /// Whether it may be left out, for a quantity that is unknown.
    pub const fn may_be_unknown(&self) -> bool {
        matches!(self.kind, Kind::Number { start: Start::Absent | Start::Shown(_), .. })
    }

    /// The unit of a number field.
    pub const fn unit(&self) -> Option<Unit> {
        match self.kind {
            Kind::Number { unit, .. } | Kind::Numbers { unit, .. } | Kind::Whole { unit, .. } => Some(unit),
            _ => None,
        }
    }

    /// Whether a value stands where the field starts: nothing, or the same value.
    pub fn stands_at_start(&self, value: Option<&Value>) -> bool {
        rows::starts_as(self, value)
    }

    /// Whether it is a list of so many columns that it is written with a first line that names those in use.
    pub const fn names_columns(&self) -> bool {
        matches!(self.kind, Kind::List { fields, .. } if fields.len() > rows::MANY)
    }

    /// The text of a value in a form or, with `ascii`, in an address.
    pub fn echo(&self, value: Option<&Value>, ascii: bool) -> String {
        let Some(value) = value else { return String::new() };
        match (self.kind, value) {
            (_, Value::String(text)) => text.clone(),
            (_, Value::Bool(yes)) => if *yes { "yes" } else { "no" }.into(),
            (Kind::Number { unit, .. }, Value::Number(number)) => {
                Quantity::new(number.as_f64().unwrap_or(0.0), unit).echo(ascii)
            }
            (Kind::Numbers { unit, .. }, Value::Array(items)) => {
                let texts: Vec<_> =
                    items.iter().filter_map(Value::as_f64).map(|value| Quantity::new(value, unit).echo(true)).collect();
                texts.join(" ")
            }
            (Kind::List { fields, .. }, Value::Array(rows)) => rows::rows_to_lines(rows, fields),
            (_, other) => other.to_string(),
        }
    }
}

fn range_words(unit: Unit, min: f64, max: f64) -> String {
    let at = |value| Quantity::new(value, unit).brief(6);
    format!("between {} and {}", at(min), at(max))
}

#[cfg(test)]
mod tests;
