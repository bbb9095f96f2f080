//! What goals of functional safety take of a count.
//!
//! A fault adds to what the count errs without one: only what that leaves of the allowed error is its budget, and in charge
//! it is least where the battery has least capacity.
//!
//! ```text
//! Formula    Q = (a − e) C/100
//! Symbols    a [points] allowed error, e [points] worst case of the healthy count until the next anchor, in its worst state of
//!            life and use, C [Ah] the smaller of the estimator's and the true capacity, at its lowest, at the end of life
//! Valid      a fault that adds to the worst case, whatever its sign
//! Source     definition of the state of charge; limits added: worst case
//! ```

use super::cases::{beginning_unknown, cases};
use super::error::Rates;
use super::input::{ChargeInput, ChargeJudgedBy};
use super::until::largest;
use crate::calculation::Gives;
use crate::constant::HOUR_S;
use crate::work::Work;

/// What the count may be off beside what it errs anyway, Ah.
pub const BUDGET: &str = "the charge by which a fault may put the count off";
/// At most, h.
pub const ANCHOR: &str = "the longest time between two anchors";
/// The largest current, A.
pub const DISCHARGE: &str = "the discharge that is counted";
/// The largest current, a magnitude, A.
pub const CHARGE: &str = "the charge that is counted";

pub(super) const GIVES: &[Gives<ChargeInput>] = &[
    Gives { words: BUDGET, value: budget_ah },
    Gives { words: ANCHOR, value: ChargeInput::horizon_h },
    Gives { words: DISCHARGE, value: |input| counted_a(input).map(|[discharge, _]| discharge) },
    Gives { words: CHARGE, value: |input| counted_a(input).map(|[_, charge]| charge) },
];

fn counted_a(input: &ChargeInput) -> Option<[f64; 2]> {
    input.usage_missing().is_none().then(|| input.largest_a())
}

fn budget_ah(input: &ChargeInput) -> Option<f64> {
    let (allowed, horizon_h) = (input.requirement.soc_error_percent?, input.foreseen_h()?);
    if beginning_unknown(input).is_some() {
        return None;
    }
    let cases = cases(input).ok()?;
    let worst = largest(&cases, horizon_h * HOUR_S, ChargeJudgedBy::WorstCase, Work::FREE).ok()??;
    let point_c = |rates: &Rates<'_>| rates.point_c().min(rates.of_true().point_c());
    let least_c = cases.iter().map(point_c).fold(f64::INFINITY, f64::min);
    let untold = input.untold(horizon_h / input.anchor.weight).map_or(0.0, |(_, more)| more);
    // Less than what is accepted is left to nobody.
    Some((allowed - worst.size - untold) * least_c / HOUR_S).filter(|left| *left >= 1e-6)
}
