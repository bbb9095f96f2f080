//! # Calculations that still answer in one piece

use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

use crate::calculation::Meta;
use crate::field::{FieldError, Group};
use crate::judge::{Check, Judged, Key, Outcome, Place, Sense, Verdict};
use crate::quantity::{Quantity, Unit};
use crate::report::Report;

/// A share of the allowance without the rounding of doubles: exactly 100 where it differs by less.
/// Old.
pub fn exact_limit(used_percent: f64) -> f64 {
    if (used_percent - 100.0).abs() < 1e-9 { 100.0 } else { used_percent }
}

impl Check {
    /// A value that must not pass a limit, both counted from zero.
    pub fn at_most(id: &str, label: &str, note: impl Into<String>, achieved: Quantity, limit: Option<f64>) -> Self {
        let used = limit.map(|limit| achieved.value / limit * 100.0);
        Self::with_used(id, label, note, Some(achieved.value), limit, achieved.unit, used)
    }

    /// A temperature below a limit: the allowance is what lies between `from` and the limit.
    pub fn rise(id: &str, label: &str, note: impl Into<String>, achieved: f64, from: f64, limit: f64) -> Self {
        let used = (achieved - from) / (limit - from) * 100.0;
        let used = if limit > from { used } else { f64::INFINITY };
        Self::with_used(id, label, note, Some(achieved), Some(limit), Unit::Celsius, Some(used))
    }

    /// A requirement that no value can meet, such as a temperature that never settles.
    pub fn undefined(id: &str, label: &str, note: impl Into<String>, limit: Quantity) -> Self {
        let mut check = Self::with_used(id, label, note, None, Some(limit.value), limit.unit, None);
        check.verdict = Verdict::Fails;
        check
    }

    /// A requirement that nothing of a kind is left, where nothing is: a share of none has no percentage of its own.
    pub fn none_left(id: &str, label: &str, note: impl Into<String>, unit: Unit) -> Self {
        Self::with_used(id, label, note, Some(0.0), Some(0.0), unit, Some(0.0))
    }

    /// What is consumed of a distance; nothing is allowed when there is none.
    pub fn consumed(id: &str, label: &str, note: impl Into<String>, consumed: Quantity, available: f64) -> Self {
        let used = if available > 0.0 { consumed.value / available * 100.0 } else { f64::INFINITY };
        Self::with_used(id, label, note, Some(consumed.value), Some(available), consumed.unit, Some(used))
    }

    fn with_used(
        id: &str,
        label: &str,
        note: impl Into<String>,
        achieved: Option<f64>,
        required: Option<f64>,
        unit: Unit,
        used: Option<f64>,
    ) -> Self {
        // The verdict is decided on the unrounded share, save for the last bits of a double: 900 A through 50 µΩ is 45 mV.
        // A share that is not a number fails.
        let used = used.map(exact_limit);
        let verdict = match used {
            Some(used) if used.is_nan() => Verdict::Fails,
            used => Verdict::of(used),
        };
        Self {
            id: id.into(),
            label: label.into(),
            note: note.into(),
            required,
            achieved,
            unit,
            used_percent: used.filter(|used| used.is_finite()),
            verdict,
            key: Key::One,
            place: 0,
            reason: None,
            field: None,
            largest: None,
            lever: None,
        }
    }

    /// Names the input that sets the limit.
    #[must_use]
    pub fn at(mut self, pointer: &str) -> Self {
        self.field = Some(pointer.into());
        self
    }

    /// Names what takes most and, when it fails, the cheapest change that would make it hold.
    #[must_use]
    pub fn because(mut self, largest: Option<String>, lever: Option<String>) -> Self {
        self.largest = largest;
        self.lever = lever.filter(|_| self.verdict == Verdict::Fails);
        self
    }
}

/// One calculation.
pub trait Whole: 'static {
    /// What it is.
    const META: Meta;
    /// What it takes.
    type Input: Group + Clone + Send + Sync;
    /// What it gives.
    type Output: Serialize + ToSchema;

    /// Works it out.
    ///
    /// # Errors
    /// Contradictions between fields that are each in range.
    fn calculate(input: &Self::Input) -> Result<Report<Self::Output>, Vec<FieldError>>;

    /// The requirements alone.
    ///
    /// # Errors
    /// As [`calculate`](Self::calculate).
    fn checks(input: &Self::Input) -> Result<Vec<Check>, Vec<FieldError>> {
        Self::calculate(input).map(|report| report.view.checks)
    }
}

/// A told requirement as numbers, until its calculation judges in numbers itself.
pub fn judged(check: &Check) -> Judged {
    let outcome = match (check.verdict, check.used_percent) {
        (Verdict::NoLimitSet, _) => Outcome::NoLimit,
        (_, Some(used)) => Outcome::Used(used / 100.0),
        (_, None) => Outcome::Never,
    };
    Judged {
        id: Box::leak(check.id.clone().into_boxed_str()),
        key: check.key,
        field: Place { pointer: Box::leak(check.field.clone().unwrap_or_default().into_boxed_str()), row: None },
        unit: check.unit,
        sense: Sense::AtMost,
        required: check.required,
        achieved: check.achieved,
        outcome,
        state: 0,
    }
}

/// The result without the copy of the requirements.
pub fn without_checks(result: Value) -> Value {
    match result {
        Value::Object(mut map) => {
            map.shift_remove("checks");
            Value::Object(map)
        }
        other => other,
    }
}
