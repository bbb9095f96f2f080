//! # Input declarations
//!
//! Every input of every calculation is declared once, in a table of [`Field`] rows inside [`input!`](crate::input).
//! The struct, the reading of JSON and of form text, the limits, the published schema, the form row and the words of
//! every refusal come from that one row. Reading goes through the whole input in one pass and reports every fault,
//! each under its own JSON Pointer (RFC 6901).

use serde::Serialize;
use serde_json::{Map, Value, json};

use crate::quantity::{Misread, Quantity, Unit};

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
}

/// A number that JSON must give, with the value a form starts from: see [`Kind::or`] and [`Kind::or_absent`].
pub const fn number(unit: Unit, min: f64, max: f64, start: f64) -> Kind {
    Kind::Number { unit, min, max, start: Start::Required(start) }
}

/// A number that is unknown unless given.
pub const fn optional(unit: Unit, min: f64, max: f64) -> Kind {
    Kind::Number { unit, min, max, start: Start::Absent }
}

/// A number with a default.
pub const fn defaulted(unit: Unit, min: f64, max: f64, default: f64) -> Kind {
    Kind::Number { unit, min, max, start: Start::Default(default) }
}

/// A whole number with a default.
pub const fn whole(unit: Unit, min: u32, max: u32, start: u32) -> Kind {
    Kind::Whole { unit, min, max, start }
}

/// Yes or no with a default.
pub const fn yes_no(start: bool) -> Kind {
    Kind::YesNo { start }
}

/// One of a [`choice!`](crate::choice)'s words.
pub const fn one_of(options: &'static [(&'static str, &'static str)], start: &'static str) -> Kind {
    Kind::Choice { options, start }
}

/// Free text.
pub const fn text(most: usize, start: &'static str) -> Kind {
    Kind::Text { most, start }
}

/// Several numbers.
pub const fn numbers(unit: Unit, min: f64, max: f64, most: usize, start: &'static [f64]) -> Kind {
    Kind::Numbers { unit, min, max, most, start }
}

/// A nested group.
pub const fn group<G: Group>() -> Kind {
    Kind::Group { fields: G::FIELDS }
}

/// Rows of a nested group.
pub const fn list<G: Group>(least: usize, most: usize, start: &'static str) -> Kind {
    Kind::List { fields: G::FIELDS, least, most, start }
}

/// A refused field.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct FieldError {
    /// JSON Pointer (RFC 6901) to the field.
    pub field: String,
    /// A stable word for programs, such as `above`.
    pub code: String,
    /// One sentence for people: what is wrong and what to enter.
    pub message: String,
    /// What is accepted.
    pub accepted: String,
    /// What was given.
    pub got: String,
}

impl FieldError {
    /// A fault that only several fields together make, such as a derating that ends before it begins.
    pub fn contradiction(
        field: &str,
        message: impl Into<String>,
        accepted: impl Into<String>,
        got: impl ToString,
    ) -> Self {
        Self {
            field: field.into(),
            code: "contradiction".into(),
            message: message.into(),
            accepted: accepted.into(),
            got: got.to_string(),
        }
    }
}

/// Where the values come from, which decides how a leaf is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Notation {
    /// Typed JSON in base units.
    Json,
    /// Text as typed into a form; what is left out takes its starting value.
    Form,
}

/// Collects the faults of one reading.
#[derive(Debug)]
pub struct Reading {
    notation: Notation,
    faults: Vec<FieldError>,
}

/// An input made of declared fields.
pub trait Group: Sized {
    /// The declarations, in the order of the form.
    const FIELDS: &'static [Field];
    /// Reads the group found at `path`; faults go to `reading`, and the starting value stands in for what is refused.
    fn read(node: Option<&Value>, path: &str, reading: &mut Reading) -> Self;
    /// The complete group as JSON, defaults filled in, unknown quantities left out.
    fn write(&self) -> Map<String, Value>;
}

/// A value that a field can hold.
pub trait Slot: Sized {
    /// Reads the value of `field`.
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self;
    /// Writes it as JSON; nothing when the quantity is unknown.
    fn write(&self) -> Option<Value>;
}

/// Reads a whole input, or says everything that is wrong with it.
///
/// # Errors
/// Every fault of the input, in the order of the declarations.
pub fn read<G: Group>(node: Option<&Value>, notation: Notation) -> Result<G, Vec<FieldError>> {
    let mut reading = Reading { notation, faults: Vec::new() };
    let group = G::read(node, "", &mut reading);
    if reading.faults.is_empty() { Ok(group) } else { Err(reading.faults) }
}

/// The input a form starts with.
pub fn start<G: Group>() -> G {
    let mut reading = Reading { notation: Notation::Form, faults: Vec::new() };
    G::read(None, "", &mut reading)
}

impl Reading {
    /// Checks that a group is an object with known names only.
    pub fn open<'v>(
        &mut self,
        node: Option<&'v Value>,
        path: &str,
        fields: &[Field],
    ) -> Option<&'v Map<String, Value>> {
        match node {
            None => None,
            Some(Value::Object(map)) => {
                for key in map.keys().filter(|key| fields.iter().all(|field| field.key != key.as_str())) {
                    let names: Vec<_> = fields.iter().map(|field| field.key).collect();
                    let shown: String = key.chars().take(60).collect();
                    self.faults.push(FieldError {
                        field: format!("{path}/{}", pointer_escape(&shown)),
                        code: "unknown-field".into(),
                        message: format!("There is no field \u{201c}{shown}\u{201d} here."),
                        accepted: names.join(", "),
                        got: shown,
                    });
                }
                Some(map)
            }
            Some(other) => {
                self.faults.push(FieldError {
                    field: path.into(),
                    code: "wrong-type".into(),
                    message: "This must be a group of fields (a JSON object).".into(),
                    accepted: "a JSON object".into(),
                    got: shown(other),
                });
                None
            }
        }
    }

    fn refuse(&mut self, field: &Field, path: &str, code: &str, message: String, got: String) {
        self.faults.push(FieldError {
            field: path.into(),
            code: code.into(),
            message,
            accepted: field.accepted(),
            got,
        });
    }

    fn missing(&mut self, field: &Field, path: &str) {
        let message = format!("{} is missing: enter {}.", field.label, field.accepted());
        self.refuse(field, path, "missing", message, "nothing".into());
    }

    /// Reads one number; `None` when it is refused or not there.
    fn number(&mut self, field: &Field, node: &Value, path: &str, unit: Unit, min: f64, max: f64) -> Option<f64> {
        let accepted = field.accepted();
        let value = match (node, self.notation) {
            (Value::Number(number), Notation::Json) => number.as_f64().filter(|value| value.is_finite()),
            (Value::String(typed), notation) => match (unit.read(typed), notation) {
                (Ok(value), Notation::Form) => Some(value),
                (Ok(value), Notation::Json) => {
                    let message = format!("{} is text here; give the number {value} in {}.", field.label, unit.words());
                    self.refuse(field, path, "wrong-type", message, shown(node));
                    return None;
                }
                (Err(misread), _) => {
                    let (code, message) = misread_words(field, unit, &misread, &accepted);
                    self.refuse(field, path, code, message, shown(node));
                    return None;
                }
            },
            _ => None,
        };
        let Some(value) = value else {
            let message = if node.is_null() {
                format!("{} is null: leave the field out or enter {accepted}.", field.label)
            } else {
                format!("{} must be a number: {accepted}.", field.label)
            };
            self.refuse(field, path, "wrong-type", message, shown(node));
            return None;
        };
        // Written so that a value that compares with nothing is refused too.
        if !(min <= value && value <= max) {
            let code = if value < min { "below" } else { "above" };
            let given = Quantity::new(value, unit).brief(6);
            let message = format!("{} must lie {accepted}; {given} was given.", field.label);
            self.refuse(field, path, code, message, given.to_string());
            return None;
        }
        Some(value + 0.0)
    }
}

fn misread_words(field: &Field, unit: Unit, misread: &Misread, accepted: &str) -> (&'static str, String) {
    let label = field.label;
    match misread {
        Misread::Empty => ("missing", format!("{label} is empty: enter a value {accepted}.")),
        Misread::Comma { typed, point } => {
            ("decimal-comma", format!("{label} \u{201c}{typed}\u{201d} has a comma: write the decimal point, {point}."))
        }
        Misread::WrongUnit { typed, unit: other } => (
            "wrong-unit",
            format!("{label} is wanted in {}; \u{201c}{typed}\u{201d} is in {}.", unit.words(), other.words()),
        ),
        Misread::NotANumber { typed, hint } => (
            "not-a-number",
            format!("Enter {} as a number {accepted}; \u{201c}{typed}\u{201d} is none.{hint}", lower_first(label)),
        ),
    }
}

/// The label inside a sentence; an abbreviation such as INL stays as it is.
fn lower_first(label: &str) -> String {
    let mut chars = label.chars();
    match (chars.next(), chars.next()) {
        (Some(first), Some(second)) if !second.is_uppercase() && second != '–' => {
            first.to_lowercase().chain(label.chars().skip(1)).collect()
        }
        _ => label.into(),
    }
}

impl Field {
    /// What is accepted, in words: the hint of the form and the `accepted` of every refusal.
    pub fn accepted(&self) -> String {
        match self.kind {
            Kind::Number { unit, min, max, .. } | Kind::Numbers { unit, min, max, .. } => range_words(unit, min, max),
            Kind::Whole { unit, min, max, .. } => {
                format!("a whole number {}", range_words(unit, f64::from(min), f64::from(max)))
            }
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

    /// The unit of a number field.
    pub const fn unit(&self) -> Option<Unit> {
        match self.kind {
            Kind::Number { unit, .. } | Kind::Numbers { unit, .. } | Kind::Whole { unit, .. } => Some(unit),
            _ => None,
        }
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
            (Kind::List { fields, .. }, Value::Array(rows)) => {
                let lines: Vec<_> = rows
                    .iter()
                    .map(|row| {
                        let cells: Vec<_> = fields.iter().map(|field| field.echo(row.get(field.key), true)).collect();
                        cells.join("; ").trim_end_matches([';', ' ']).to_owned()
                    })
                    .collect();
                lines.join("\n")
            }
            (_, other) => other.to_string(),
        }
    }
}

fn range_words(unit: Unit, min: f64, max: f64) -> String {
    let at = |value| Quantity::new(value, unit).brief(6);
    format!("between {} and {}", at(min), at(max))
}

/// A value as given, short enough for a message.
fn shown(value: &Value) -> String {
    let text = match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    let mut cut: String = text.chars().take(60).collect();
    if cut.len() < text.len() {
        cut.push('…');
    }
    cut
}

/// Escapes a reference token of a JSON Pointer (RFC 6901 section 3).
pub fn pointer_escape(token: &str) -> String {
    token.replace('~', "~0").replace('/', "~1")
}

impl Slot for f64 {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::Number { unit, min, max, start } = field.kind else { return 0.0 };
        let fallback = match start {
            Start::Required(value) | Start::Default(value) => value,
            Start::Absent => 0.0,
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
}

impl Slot for Option<f64> {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::Number { unit, min, max, .. } = field.kind else { return None };
        let node = node?;
        // An emptied box of a form means: unknown.
        if reading.notation == Notation::Form && node.as_str().is_some_and(|typed| typed.trim().is_empty()) {
            return None;
        }
        reading.number(field, node, path, unit, min, max)
    }

    fn write(&self) -> Option<Value> {
        self.as_ref().and_then(Slot::write)
    }
}

impl Slot for u32 {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::Whole { unit, min, max, start } = field.kind else { return 0 };
        let Some(node) = node else { return start };
        let Some(value) = reading.number(field, node, path, unit, f64::from(min), f64::from(max)) else { return start };
        if value.fract() != 0.0 {
            let message = format!("{} must be a whole number; {value} was given.", field.label);
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
            (Some(Value::String(typed)), Notation::Form) => typed
                .split([' ', ';', '\t', '\n', '\r'])
                .filter(|part| !part.is_empty())
                .map(|part| json!(part))
                .collect(),
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
}

impl<G: Group> Slot for G {
    fn read(_: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        <G as Group>::read(node, path, reading)
    }

    fn write(&self) -> Option<Value> {
        Some(Value::Object(Group::write(self)))
    }
}

impl<G: Group> Slot for Vec<G> {
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self {
        let Kind::List { fields, least, most, start } = field.kind else { return Self::new() };
        let rows: Vec<Value> = match (node, reading.notation) {
            (None, Notation::Form) => lines_to_rows(start, fields),
            (None, Notation::Json) if least > 0 => {
                reading.missing(field, path);
                return Self::new();
            }
            (None, Notation::Json) => return Self::new(),
            (Some(Value::Array(rows)), Notation::Json) => rows.clone(),
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
            .map(|(index, row)| <G as Group>::read(Some(row), &format!("{path}/{index}"), reading))
            .collect();
        // A person finds the fault by its line, a program by its pointer.
        for fault in &mut reading.faults[before..] {
            if let Some(line) =
                fault.field[path.len()..].split('/').nth(1).and_then(|index| index.parse::<usize>().ok())
            {
                fault.message = format!("Line {}: {}", line + 1, fault.message);
            }
        }
        groups
    }

    fn write(&self) -> Option<Value> {
        Some(Value::Array(self.iter().map(|group| Value::Object(Group::write(group))).collect()))
    }
}

/// One row a line; empty lines are passed over. A cell that is left empty takes its default.
fn lines_to_rows(text: &str, fields: &[Field]) -> Vec<Value> {
    text.lines()
        .map(str::trim)
        .filter(|line| !line.is_empty())
        .map(|line| {
            let cells: Vec<&str> = if line.contains(';') {
                line.split(';').collect()
            } else if line.contains('\t') {
                line.split('\t').collect()
            } else {
                line.split_whitespace().collect()
            };
            let mut row = Map::new();
            for (index, cell) in cells.iter().map(|cell| cell.trim()).enumerate() {
                match fields.get(index) {
                    Some(_) if cell.is_empty() => {}
                    Some(field) => {
                        row.insert(field.key.into(), json!(cell));
                    }
                    None => {
                        row.insert(format!("column {}", index + 1), json!(cell));
                    }
                }
            }
            // A first column that is missing must not silently take a form's starting value.
            for field in
                fields.iter().filter(|field| matches!(field.kind, Kind::Number { start: Start::Required(_), .. }))
            {
                row.entry(field.key).or_insert_with(|| json!(""));
            }
            Value::Object(row)
        })
        .collect()
}

/// Declares an input: the struct, its reading, its writing and its [`Field`] rows.
///
/// Each row is `name: type = kind, "symbol", "label", "what to enter";`.
#[macro_export]
macro_rules! input {
    ($(#[$meta:meta])* pub struct $name:ident {
        $($key:ident : $type:ty = $kind:expr, $symbol:literal, $label:literal, $help:literal;)+
    }) => {
        $(#[$meta])*
        #[derive(Clone, Debug, PartialEq)]
        pub struct $name {
            $(#[doc = $help] pub $key: $type,)+
        }

        impl $crate::field::Group for $name {
            const FIELDS: &'static [$crate::field::Field] = &[$($crate::field::Field {
                key: stringify!($key), symbol: $symbol, label: $label, help: $help, kind: $kind,
            },)+];

            fn read(
                node: Option<&serde_json::Value>,
                path: &str,
                reading: &mut $crate::field::Reading,
            ) -> Self {
                let object = reading.open(node, path, Self::FIELDS);
                let mut rows = Self::FIELDS.iter();
                $(let $key = {
                    let key = stringify!($key);
                    // One row a field: the iterator and the struct come from the same list.
                    let row = rows.next().unwrap_or(&Self::FIELDS[0]);
                    <$type as $crate::field::Slot>::read(
                        row, object.and_then(|object| object.get(key)), &format!("{path}/{key}"), reading,
                    )
                };)+
                Self { $($key,)+ }
            }

            fn write(&self) -> serde_json::Map<String, serde_json::Value> {
                let mut map = serde_json::Map::new();
                $(if let Some(value) = $crate::field::Slot::write(&self.$key) {
                    map.insert(stringify!($key).into(), value);
                })+
                map
            }
        }
    };
}

/// Declares a choice between a few words: the enum, its reading and its list of options.
#[macro_export]
macro_rules! choice {
    ($(#[$meta:meta])* pub enum $name:ident { $($(#[$doc:meta])* $variant:ident = $word:literal, $label:literal;)+ }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, utoipa::ToSchema)]
        pub enum $name { $($(#[$doc])* #[doc = $label] #[serde(rename = $word)] $variant,)+ }

        impl $name {
            /// JSON word and label of every option.
            pub const OPTIONS: &'static [(&'static str, &'static str)] = &[$(($word, $label),)+];

            /// The label for people.
            pub const fn label(self) -> &'static str {
                match self { $(Self::$variant => $label,)+ }
            }

            /// The JSON word.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)+ }
            }

            fn of(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)+ _ => None }
            }
        }

        impl $crate::field::Slot for $name {
            fn read(
                field: &$crate::field::Field,
                node: Option<&serde_json::Value>,
                path: &str,
                reading: &mut $crate::field::Reading,
            ) -> Self {
                let word = $crate::field::choice_word(field, node, path, reading);
                word.and_then(|word| Self::of(&word)).unwrap_or([$(Self::$variant),+][0])
            }

            fn write(&self) -> Option<serde_json::Value> {
                Some(serde_json::Value::String(self.word().into()))
            }
        }
    };
}

/// The word chosen for `field`, or its starting word; a word that is not offered is refused.
pub fn choice_word(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Option<String> {
    let Kind::Choice { options, start } = field.kind else { return None };
    match node {
        None => Some(start.into()),
        Some(Value::String(word)) if options.iter().any(|(key, _)| key == word) => Some(word.clone()),
        Some(other) => {
            let message = format!("{} must be {}.", field.label, field.accepted());
            reading.refuse(field, path, "not-a-choice", message, shown(other));
            Some(start.into())
        }
    }
}

/// The JSON Schema (2020-12, as OpenAPI 3.1 uses it) of a group.
pub fn schema(fields: &[Field]) -> Value {
    let mut properties = Map::new();
    let mut required = Vec::new();
    for field in fields {
        let mut row = match field.kind {
            Kind::Number { min, max, start, .. } => {
                let mut row = json!({"type": "number", "minimum": min, "maximum": max});
                match start {
                    Start::Required(value) => {
                        required.push(json!(field.key));
                        row["examples"] = json!([value]);
                    }
                    Start::Default(value) => row["default"] = json!(value),
                    Start::Absent => {}
                }
                row
            }
            Kind::Whole { min, max, start, .. } => {
                json!({"type": "integer", "minimum": min, "maximum": max, "default": start})
            }
            Kind::YesNo { start } => json!({"type": "boolean", "default": start}),
            Kind::Choice { options, start } => {
                let words: Vec<_> = options.iter().map(|(key, _)| *key).collect();
                json!({"type": "string", "enum": words, "default": start})
            }
            Kind::Text { most, start } => json!({"type": "string", "maxLength": most, "default": start}),
            Kind::Numbers { min, max, most, start, .. } => json!({
                "type": "array", "minItems": 1, "maxItems": most, "default": start,
                "items": {"type": "number", "minimum": min, "maximum": max},
            }),
            Kind::Group { fields } => schema(fields),
            Kind::List { fields, least, most, .. } => {
                json!({"type": "array", "minItems": least, "maxItems": most, "items": schema(fields)})
            }
        };
        if matches!(field.kind, Kind::Group { .. } | Kind::List { .. }) && needs_value(std::slice::from_ref(field)) {
            required.push(json!(field.key));
        }
        row["title"] = json!(field.label);
        row["description"] = json!(field.help);
        if let Some(unit) = field.unit().filter(|unit| !unit.symbol().is_empty()) {
            row["x-unit"] = json!(unit.symbol());
        }
        properties.insert(field.key.into(), row);
    }
    json!({"type": "object", "additionalProperties": false, "properties": properties, "required": required})
}

fn needs_value(fields: &[Field]) -> bool {
    fields.iter().any(|field| match field.kind {
        Kind::Number { start: Start::Required(_), .. } => true,
        Kind::Group { fields } => needs_value(fields),
        Kind::List { least, .. } => least > 0,
        _ => false,
    })
}

/// Deepest nesting of a form key, such as `current.shunt.resistance_ohm`.
const KEY_DEPTH: usize = 6;
/// Most fields a form may send.
const MOST_PAIRS: usize = 500;

/// Turns the pairs of an address or a form (`shunt.resistance_ohm=50u`) into a tree of text.
///
/// # Errors
/// A key that is given twice, nested too deeply, or both a value and a group.
pub fn form_tree(pairs: &[(String, String)]) -> Result<Value, Vec<FieldError>> {
    let mut faults = Vec::new();
    let mut root = Map::new();
    let fault = |key: &str, code: &str, message: String| FieldError {
        field: format!("/{}", key.chars().take(80).collect::<String>().replace('.', "/")),
        code: code.into(),
        message,
        accepted: format!("each field once, at most {KEY_DEPTH} names deep and {MOST_PAIRS} fields in all"),
        got: key.chars().take(80).collect(),
    };
    if pairs.len() > MOST_PAIRS {
        return Err(vec![fault("", "too-many", format!("{} fields were sent.", pairs.len()))]);
    }
    'pairs: for (key, value) in pairs {
        let names: Vec<&str> = key.split('.').collect();
        let Some((last, groups)) = names.split_last().filter(|_| names.len() <= KEY_DEPTH) else {
            faults.push(fault(
                key,
                "too-deep",
                format!("The key \u{201c}{}\u{201d} is nested too deeply.", key.chars().take(80).collect::<String>()),
            ));
            continue;
        };
        let mut node = &mut root;
        for name in groups {
            match node.entry(*name).or_insert_with(|| Value::Object(Map::new())) {
                Value::Object(next) => node = next,
                _ => {
                    faults.push(fault(key, "repeated", format!("{name} is given as a value and as a group.")));
                    continue 'pairs;
                }
            }
        }
        if node.contains_key(*last) {
            faults.push(fault(key, "repeated", format!("{last} is given more than once.")));
        } else {
            node.insert((*last).into(), Value::String(value.clone()));
        }
    }
    if faults.is_empty() { Ok(Value::Object(root)) } else { Err(faults) }
}

/// The pairs of the shortest address: only what differs from the starting values.
pub fn address_pairs(
    fields: &[Field],
    value: &Map<String, Value>,
    start: &Map<String, Value>,
) -> Vec<(String, String)> {
    let mut pairs = Vec::new();
    collect_pairs(fields, Some(value), Some(start), "", &mut pairs);
    pairs
}

fn collect_pairs(
    fields: &[Field],
    value: Option<&Map<String, Value>>,
    start: Option<&Map<String, Value>>,
    path: &str,
    pairs: &mut Vec<(String, String)>,
) {
    for field in fields {
        let key = if path.is_empty() { field.key.to_owned() } else { format!("{path}.{}", field.key) };
        let now = value.and_then(|map| map.get(field.key));
        let before = start.and_then(|map| map.get(field.key));
        if let Kind::Group { fields } = field.kind {
            collect_pairs(fields, now.and_then(Value::as_object), before.and_then(Value::as_object), &key, pairs);
        } else if now != before {
            pairs.push((key, field.echo(now, true)));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    choice! {
        /// Test choice.
        pub enum Colour { Red = "red", "Red"; Blue = "blue", "Blue"; }
    }

    input! {
        /// Test part.
        pub struct Part {
            resistance_ohm: f64 = number(Unit::Ohm, 1e-6, 1.0, 35e-6), "R", "Resistance", "At the reference temperature.";
            tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 1.0), "t", "Tolerance", "Half-width.";
            power_w: Option<f64> = optional(Unit::Watt, 0.0, 1e3), "P", "Rated power", "If known.";
        }
    }

    input! {
        /// Test point.
        pub struct Point {
            at_degc: f64 = number(Unit::Celsius, -273.15, 1000.0, 25.0), "T", "Temperature", "Measured.";
            resistance_ohm: f64 = number(Unit::Ohm, 0.0, 1e9, 1.0), "R", "Resistance", "Measured.";
        }
    }

    input! {
        /// Test input.
        pub struct Everything {
            part: Part = group::<Part>(), "", "Part", "The part.";
            bits_bits: u32 = whole(Unit::Bit, 6, 32, 16), "N", "Resolution", "Bits.";
            bipolar: bool = yes_no(true), "", "Bipolar", "Both signs.";
            colour: Colour = one_of(Colour::OPTIONS, "blue"), "", "Colour", "A word.";
            currents_a: Vec<f64> = numbers(Unit::Ampere, 0.0, 1e4, 3, &[5.0, 400.0]), "I", "Currents", "Some.";
            points: Vec<Point> = list::<Point>(2, 4, "0 1\n50 2"), "", "Points", "Rows.";
            title: String = text(10, "none"), "", "Title", "Words.";
        }
    }

    fn codes(faults: &[FieldError]) -> Vec<(String, String)> {
        faults.iter().map(|fault| (fault.field.clone(), fault.code.clone())).collect()
    }

    #[test]
    fn every_fault_is_reported_at_its_pointer_in_one_answer() {
        let bad = json!({
            "part": {"resistance_ohm": 2.0, "tolerance_percent": null, "power_w": "50 mV", "extra": 1},
            "bits_bits": 16.5, "bipolar": "yes", "colour": "green", "currents_a": [1, 2, "x"],
            "points": [{"at_degc": 1}, 7], "title": "far too long a title",
        });
        let faults = read::<Everything>(Some(&bad), Notation::Json).expect_err("all of it is bad");
        let expected = [
            ("/part/extra", "unknown-field"),
            ("/part/resistance_ohm", "above"),
            ("/part/tolerance_percent", "wrong-type"),
            ("/part/power_w", "wrong-unit"),
            ("/bits_bits", "not-whole"),
            ("/bipolar", "wrong-type"),
            ("/colour", "not-a-choice"),
            ("/currents_a/2", "not-a-number"),
            ("/points/0/resistance_ohm", "missing"),
            ("/points/1", "wrong-type"),
            ("/points/1/at_degc", "missing"),
            ("/points/1/resistance_ohm", "missing"),
            ("/title", "too-long"),
        ];
        assert_eq!(codes(&faults), expected.map(|(field, code)| (field.to_owned(), code.to_owned())));
        assert!(faults[8].message.starts_with("Line 1: Resistance is missing"), "{}", faults[8].message);
    }

    #[test]
    fn json_must_give_what_a_form_starts_with() {
        let faults = read::<Everything>(Some(&json!({})), Notation::Json).expect_err("required values are missing");
        assert_eq!(
            codes(&faults),
            [("/part/resistance_ohm".into(), "missing".into()), ("/points".into(), "missing".into())]
        );
        let form = read::<Everything>(None, Notation::Form).expect("a form starts complete");
        assert_eq!(form.part.resistance_ohm, 35e-6);
        assert_eq!(form.points.len(), 2);
        assert_eq!(form.colour, Colour::Blue);
    }

    #[test]
    fn what_is_written_reads_back_from_json_and_from_the_address() {
        let start: Everything = start();
        let mut changed = start.clone();
        changed.part.resistance_ohm = 1.0 / 3.0;
        changed.part.power_w = Some(36.0);
        changed.currents_a = vec![0.5e-3, 7.0];
        changed.points.truncate(2);
        changed.points[1].resistance_ohm = 2.5;
        changed.bipolar = false;
        let json = Value::Object(Group::write(&changed));
        assert_eq!(read::<Everything>(Some(&json), Notation::Json).as_ref(), Ok(&changed));
        let pairs = address_pairs(Everything::FIELDS, &Group::write(&changed), &Group::write(&start));
        assert_eq!(pairs.len(), 5, "{pairs:?}");
        let tree = form_tree(&pairs).expect("own pairs are in order");
        assert_eq!(read::<Everything>(Some(&tree), Notation::Form).as_ref(), Ok(&changed));
        assert!(address_pairs(Everything::FIELDS, &Group::write(&start), &Group::write(&start)).is_empty());
    }

    #[test]
    fn a_form_keeps_lines_and_keys_in_order() {
        let pair = |key: &str, value: &str| (key.to_owned(), value.to_owned());
        let tree =
            form_tree(&[pair("points", "0; 1\n\n50\t2 mΩ\n7"), pair("part.power_w", " ")]).expect("keys are fine");
        let faults = read::<Everything>(Some(&tree), Notation::Form).expect_err("the third line lacks a column");
        assert_eq!(codes(&faults), [("/points/2/resistance_ohm".into(), "missing".into())]);
        for bad in [
            vec![pair("a", "1"), pair("a", "2")],
            vec![pair("a", "1"), pair("a.b", "2")],
            vec![pair("a.b.c.d.e.f.g", "1")],
        ] {
            assert!(form_tree(&bad).is_err(), "{bad:?}");
        }
    }
}
