//! What is wrong with a field.

use serde::Serialize;

use super::{Field, tree};
use crate::quantity::{Unit, say};

/// Faults that are told in full.
pub const MOST_FAULTS: usize = 100;

/// The faults that are told; the others only count.
pub fn told(faults: &[FieldError]) -> &[FieldError] {
    &faults[..faults.len().min(MOST_FAULTS)]
}

/// A refused field.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, utoipa::ToSchema)]
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
    /// The next fault: in full while it is told, and beyond that without a word, so that a hundred thousand take no room.
    pub fn next(told: usize, full: impl FnOnce() -> Self) -> Self {
        if told < MOST_FAULTS { full() } else { Self::default() }
    }

    /// A fault that only several fields together make, such as a derating that ends before it begins.
    #[allow(clippy::needless_pass_by_value, reason = "numbers and texts alike are given as they are")]
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

    /// The same with the row of the list that it stands in, counted from 1: a person finds it by that.
    #[must_use]
    pub fn in_its_row(mut self, fields: &[Field]) -> Self {
        if let Some(index) = tree::row(fields, &self.field) {
            self.message = format!("Row {}: {}", index + 1, self.message);
        }
        self
    }

    /// Refuses a value, where it is given, that lies above another field's.
    pub fn above(field: &str, message: &str, given: Option<f64>, most: f64, unit: Unit) -> Option<Self> {
        let given = given.filter(|given| *given > most)?;
        Some(Self::contradiction(field, message, format!("at or below {}", say(most, unit)), say(given, unit)))
    }

    /// Refuses a value, where it is given, that lies below another field's.
    pub fn below(field: &str, message: &str, given: Option<f64>, least: f64, unit: Unit) -> Option<Self> {
        let given = given.filter(|given| *given < least)?;
        Some(Self::contradiction(field, message, format!("at or above {}", say(least, unit)), say(given, unit)))
    }
}
