//! One pass over an input: what is accepted, what is refused and in which words.

use std::any::Any;

use serde_json::{Map, Value};

use super::{Field, FieldError, Kind};
use crate::quantity::{Misread, Quantity, Unit, in_sentence};

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
    pub(super) notation: Notation,
    pub(super) faults: Vec<FieldError>,
}

/// An input made of declared fields.
pub trait Group: Sized {
    /// The declarations, in the order of the form.
    const FIELDS: &'static [Field];
    /// Reads the group found at `path`; faults go to `reading`, and the starting value stands in for what is refused.
    fn read(node: Option<&Value>, path: &str, reading: &mut Reading) -> Self;
    /// The complete group as JSON, defaults filled in, unknown quantities left out.
    fn write(&self) -> Map<String, Value>;
    /// Puts a number at a pointer; whether there is such a number and it accepts the value.
    fn set(&mut self, pointer: &str, value: f64) -> bool;
    /// The number at a pointer.
    fn get(&self, pointer: &str) -> Option<f64>;
}

/// An input whose type is known to its calculation alone: read once, changed number by number.
pub trait Typed: Any + Send + Sync {
    /// Puts a number at a pointer; whether there is such a number and it accepts the value.
    fn put(&mut self, pointer: &str, value: f64) -> bool;
    /// The number at a pointer.
    fn number(&self, pointer: &str) -> Option<f64>;
    /// The complete input as JSON.
    fn written(&self) -> Map<String, Value>;
    /// Another one like it.
    fn copy(&self) -> Box<dyn Typed>;
    /// For its calculation.
    fn any(&self) -> &dyn Any;
}

impl<G: Group + Clone + Send + Sync + 'static> Typed for G {
    fn put(&mut self, pointer: &str, value: f64) -> bool {
        Group::set(self, pointer, value)
    }

    fn number(&self, pointer: &str) -> Option<f64> {
        Group::get(self, pointer)
    }

    fn written(&self) -> Map<String, Value> {
        Group::write(self)
    }

    fn copy(&self) -> Box<dyn Typed> {
        Box::new(self.clone())
    }

    fn any(&self) -> &dyn Any {
        self
    }
}

/// The first token of a pointer and the pointer below it.
pub fn step(pointer: &str) -> (&str, &str) {
    let pointer = pointer.strip_prefix('/').unwrap_or(pointer);
    pointer.find('/').map_or((pointer, ""), |at| pointer.split_at(at))
}

/// A value that a field can hold.
pub trait Slot: Sized {
    /// Reads the value of `field`.
    fn read(field: &Field, node: Option<&Value>, path: &str, reading: &mut Reading) -> Self;
    /// Writes it as JSON; nothing when the quantity is unknown.
    fn write(&self) -> Option<Value>;
    /// Puts a number at the pointer below it; whether there is such a number and `field` accepts the value.
    fn set(&mut self, _field: &Field, _below: &str, _value: f64) -> bool {
        false
    }
    /// The number at the pointer below it.
    fn get(&self, _below: &str) -> Option<f64> {
        None
    }
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
                    self.faults.push(FieldError::next(self.faults.len(), || {
                        let names: Vec<_> = fields.iter().map(|field| field.key).collect();
                        let shown: String = key.chars().take(60).collect();
                        FieldError {
                            field: format!("{path}/{}", pointer_escape(&shown)),
                            code: "unknown-field".into(),
                            message: format!("There is no field \u{201c}{shown}\u{201d} here."),
                            accepted: names.join(", "),
                            got: shown,
                        }
                    }));
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

    pub(super) fn refuse(&mut self, field: &Field, path: &str, code: &str, message: String, got: String) {
        self.faults.push(FieldError {
            field: path.into(),
            code: code.into(),
            message,
            accepted: field.accepted(),
            got,
        });
    }

    pub(super) fn missing(&mut self, field: &Field, path: &str) {
        let message = format!("{} is missing: enter {}.", field.label, field.accepted());
        self.refuse(field, path, "missing", message, "nothing".into());
    }

    /// Reads one number; `None` when it is refused or not there.
    pub(super) fn number(
        &mut self,
        field: &Field,
        node: &Value,
        path: &str,
        unit: Unit,
        min: f64,
        max: f64,
    ) -> Option<f64> {
        let value = match (node, self.notation) {
            (Value::Number(number), Notation::Json) => number.as_f64().filter(|value| value.is_finite()),
            (Value::String(typed), notation) => match (unit.read(typed), notation) {
                (Ok(value), Notation::Form) => Some(value),
                (Ok(value), Notation::Json) => {
                    let number = if value.abs() < 1e15 { value.to_string() } else { format!("{value:e}") };
                    let message =
                        format!("{} is text here; give the number {number} in {}.", field.label, unit.words());
                    self.refuse(field, path, "wrong-type", message, shown(node));
                    return None;
                }
                (Err(misread), _) => {
                    let (code, message) = misread_words(field, unit, &misread, &field.accepted());
                    self.refuse(field, path, code, message, shown(node));
                    return None;
                }
            },
            _ => None,
        };
        let Some(value) = value else {
            let accepted = field.accepted();
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
            let lie = if matches!(field.kind, Kind::Whole { .. }) { "be" } else { "lie" };
            let message = format!("{} must {lie} {}; {given} was given.", field.label, field.accepted());
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
        Misread::Comma { typed, .. } if typed.matches(',').count() > 1 => (
            "decimal-comma",
            format!(
                "{label} \u{201c}{typed}\u{201d} has commas: part values by a space, and write the decimal point as a point."
            ),
        ),
        Misread::Comma { typed, point } => {
            ("decimal-comma", format!("{label} \u{201c}{typed}\u{201d} has a comma: write the decimal point, {point}."))
        }
        Misread::WrongUnit { typed, words, instead } => {
            // What the field would refuse as well is not offered.
            let instead = instead.filter(|value| field.takes(value.value));
            let enter = instead.map_or_else(String::new, |value| format!(": enter {}", value.brief(6)));
            let wanted = unit.words();
            ("wrong-unit", format!("{label} is wanted in {wanted}; \u{201c}{typed}\u{201d} is in {words}{enter}."))
        }
        Misread::NotANumber { typed, hint } => (
            "not-a-number",
            match field.kind {
                Kind::Whole { .. } => {
                    format!("Enter {} as {accepted}; \u{201c}{typed}\u{201d} is none.{hint}", in_sentence(label))
                }
                _ => format!(
                    "Enter {} as a number {accepted}; \u{201c}{typed}\u{201d} is not one.{hint}",
                    in_sentence(label)
                ),
            },
        ),
    }
}

/// A value as given, short enough for a message.
pub(super) fn shown(value: &Value) -> String {
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
