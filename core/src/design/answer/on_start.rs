//! What stands on values that nobody typed, as the interface tells it.

use serde::Serialize;
use utoipa::ToSchema;

use crate::design::assess::Assessed;
use crate::design::on_start::{Untouched, label, on_start, what_it_moves};
use crate::design::turning::unit_of;
use crate::judge::Verdict;
use crate::quantity::Unit;
use crate::work::{Refused, Work};

/// What stands on values that nobody typed.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct OnStartResult {
    /// Requirements whose word or share rests on one untouched value: places in `requirements`, from 0.
    pub rows: Vec<usize>,
    /// What to type or to look up next: the untouched values that move most.
    pub next: Vec<UntouchedValue>,
    /// How many values were not looked at.
    pub left_out: usize,
}

/// A value that nobody typed, and what it moves.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct UntouchedValue {
    /// JSON Pointer to the value.
    pub field: String,
    /// Its part and label.
    pub label: String,
    /// What it stands at; absent where it is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub now: Option<f64>,
    /// The value it was moved to.
    pub then: f64,
    /// The unit of both.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// How many requirements rest on it.
    pub count: usize,
    /// The requirement that it moves most: its place in `requirements`, from 0.
    pub row: usize,
    /// The word of this one then.
    pub verdict: Verdict,
    /// The share of its allowance then, in percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used_percent: Option<f64>,
    /// All this in words.
    pub what: String,
}

/// What stands on values that nobody typed.
pub(super) fn found(assessed: &Assessed, work: Work) -> Result<OnStartResult, Refused> {
    let found = on_start(assessed, work)?;
    let value = |one: Untouched| UntouchedValue {
        label: label(assessed, &one),
        now: one.now,
        then: one.then,
        unit: unit_of(one.field),
        count: one.rows,
        row: one.row,
        verdict: one.verdict,
        used_percent: one.used_percent,
        what: what_it_moves(assessed, &one),
        field: one.pointer,
    };
    Ok(OnStartResult {
        rows: found.places().collect(),
        next: found.next.into_iter().map(value).collect(),
        left_out: found.left_out,
    })
}
