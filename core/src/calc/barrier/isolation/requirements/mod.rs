//! What is required of the barrier and of the bus.

mod barrier;
mod bus;
mod signal;

use super::input::IsolationInput;
use super::output::IsolationOutput;
use crate::judge::{Judged, Ledger, Limit, Outcome};
use crate::quantity::Unit;

pub(super) fn requirements(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    barrier::requirements(input, result, to);
    signal::requirements(input, result, to);
    bus::requirements(input, result, to);
}

/// A row whose value needs something that is not given: it may fail with what is known, but it does not hold.
fn waits(mut one: Judged, needs: Option<&'static str>) -> Judged {
    if let Some(what) = needs.filter(|_| one.achieved.is_none() || !one.fails()) {
        one.outcome = Outcome::NotJudged(what);
    }
    one
}

/// A row that something which is no single field keeps from holding; its words say what.
fn blocked_where(one: Judged, wrong: bool) -> Judged {
    if wrong && (one.achieved.is_none() || !one.fails()) { one.blocked() } else { one }
}

/// A value that must not pass a limit; needed and not given are its inputs or its limit.
fn most(
    id: &'static str,
    pointer: &'static str,
    unit: Unit,
    value: Option<f64>,
    limit: Option<f64>,
    needs: Option<&'static str>,
) -> Judged {
    let limit = limit.map_or(Limit::Missing(pointer), Limit::Given);
    waits(Judged::at_most(id, pointer, unit, value, limit), needs)
}

/// A rating that must reach what is asked of it.
fn least(
    id: &'static str,
    pointer: &'static str,
    unit: Unit,
    rating: Option<f64>,
    asked: impl Into<Option<f64>>,
    needs: Option<&'static str>,
) -> Judged {
    let missing = rating.is_none().then_some(pointer).or(needs);
    waits(Judged::at_least(id, pointer, unit, rating, asked.into().map_or(Limit::NotAsked, Limit::Given)), missing)
}

/// The end of a note on a value from memory.
fn memory(from_memory: bool) -> &'static str {
    if from_memory { "; on a value from memory" } else { "" }
}
