//! # What a calculation answers with
//!
//! Findings that an engineer must know, the steps of the working, and a [`View`]: the numbers of a result as figures,
//! tables and charts, as data. The pages draw it; nothing here knows how a page looks.

pub mod caution;
pub mod contour;
pub mod kit;
mod listing;
mod view;
pub mod worked;

use serde::Serialize;
use utoipa::ToSchema;

use crate::quantity::{Quantity, Unit};

pub use listing::c_comment;
pub use view::*;

/// One step of the working: a reviewer can redo it with a pocket calculator.
///
/// `numbers` is an expression that anybody, or a program, can evaluate:
///
/// ```text
/// numbers   sum, or sum = sum for a value that was solved for: it stands in the equation, and both sides come out alike
/// sum       product { + | − product }
/// product   signed { · | / | ∥ signed }, from left to right; a ∥ b is a b/(a + b)
/// signed    [−] power
/// power     part [ ² | ³ | ^ part ]
/// part      number [unit] | π | ½ | ( sum ) | | sum | | √ part | function ( sum {, sum} )
/// number    digits with a point, 1.5·10⁻⁹ or 1.5e−9; then a narrow space, prefix and unit: 1.5 mΩ, 20 ppm/K, 3 %
/// function  ln lg log2 exp sin round floor min max clamp(x, least, most); Φ and φ of the normal distribution, Φ⁻¹,
///           G(y) = y Φ(y) + φ(y); e^( ) is exp( )
/// units     % is 1/100, ppm 1/1,000,000, h 3600 s, a 365.25 days, FIT 1/(10⁹ h); °C and mm² count as they stand
/// exact     a number without unit and without point: 2, 12, 3600
/// ```
///
/// With half the last digit of every printed number, at most, the expression gives the value: zeros at the end are not
/// printed, so a number has four digits or more. Where a difference would lose too much by that, more digits are printed.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Step {
    /// What is worked out.
    pub label: String,
    /// Its symbol.
    pub symbol: String,
    /// The formula in symbols.
    pub formula: String,
    /// The same formula with the numbers put in.
    pub numbers: String,
    /// The value in the base unit.
    pub value: f64,
    /// The unit.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// Standard and clause, or "common practice, no source".
    pub source: String,
}

impl Step {
    /// One step.
    pub fn new(label: &str, symbol: &str, formula: &str, numbers: String, value: Quantity, source: &str) -> Self {
        Self {
            label: label.into(),
            symbol: symbol.into(),
            formula: formula.into(),
            numbers,
            value: value.value,
            unit: value.unit,
            source: source.into(),
        }
    }
}

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// A limit is passed; the result rests on something that does not hold.
    Fail,
    /// It holds, and needs attention.
    Warn,
    /// Good to know.
    Note,
}

/// Something the engineer must know.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// A stable word for programs, such as `shunt.over-rated-power`.
    pub code: String,
    /// One or two sentences with the numbers.
    pub message: String,
    /// JSON Pointer to the input that causes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// The limit, in the base unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
    /// The value that is compared with it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// What is left of the limit, in percent of it; negative when it is passed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin_percent: Option<f64>,
}

impl Finding {
    /// A finding without numbers to compare.
    pub fn new(severity: Severity, code: &str, message: impl Into<String>) -> Self {
        Self {
            severity,
            code: code.into(),
            message: message.into(),
            field: None,
            limit: None,
            value: None,
            margin_percent: None,
        }
    }

    /// Names the input that causes it; no single one when the pointer is empty.
    #[must_use]
    pub fn at(mut self, pointer: &str) -> Self {
        self.field = Some(pointer.into()).filter(|pointer: &String| !pointer.is_empty());
        self
    }

    /// Adds the compared numbers of an "at most" limit; an infinite or undefined one stays out.
    #[must_use]
    pub fn against(mut self, value: f64, limit: f64) -> Self {
        self.value = Some(value).filter(|value| value.is_finite());
        self.limit = Some(limit).filter(|limit| limit.is_finite());
        self.margin_percent = Some((1.0 - value / limit) * 100.0).filter(|margin| margin.is_finite());
        self
    }
}
