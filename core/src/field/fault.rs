//! What is wrong with a field.

use serde::Serialize;

use crate::quantity::{Unit, say};

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
