//! Acceptance limits, probabilities and risks of one rule of decision.

use super::input::ConformityInput;
use super::output::{ConformityOutput, GuardPoint, Lot, Measured, Place};
use super::risk::{Limits, Normal, global};
use crate::work::{Halt, Work};

/// Places of the curve on each side of a limit, and how far they reach in standard uncertainties.
const STEPS: i32 = 20;
const WIDTH: f64 = 4.0;
/// Guard bands of the curve, from one expanded uncertainty outwards to two inwards.
const GUARDS: u32 = 60;

pub(super) fn solve(input: &ConformityInput) -> ConformityOutput {
    let (tolerance, guard_band) = (input.tolerance(), input.guard_band());
    let acceptance = tolerance.guarded(guard_band);
    let risk = |value: f64| 100.0 * tolerance.outside(input.known(value));
    let limits = [acceptance.lower, acceptance.upper].into_iter().flatten();
    ConformityOutput {
        guard_band,
        acceptance_lower: acceptance.lower,
        acceptance_upper: acceptance.upper,
        expanded: input.expanded(),
        capability: tolerance.lower.zip(tolerance.upper).map(|(lower, upper)| (upper - lower) / (4.0 * input.standard)),
        limit_risk_percent: limits.map(risk).reduce(f64::max).filter(|_| acceptance.possible()),
        measured: input.measured.map(|value| Measured {
            accepted: acceptance.possible() && acceptance.hold(value),
            conformity_percent: 100.0 * tolerance.inside(input.known(value)),
            risk_percent: risk(value),
        }),
        lot: input.process().map(|process| lot(tolerance, acceptance, input.standard, process)),
        curve: Vec::new(),
        guards: Vec::new(),
    }
}

fn lot(tolerance: Limits, acceptance: Limits, standard: f64, process: Normal) -> Lot {
    let all = global(tolerance, acceptance, standard, process);
    Lot {
        conforming_percent: 100.0 * all.conforming,
        accepted_percent: 100.0 * all.accepted,
        consumer_risk_percent: 100.0 * all.consumer,
        producer_risk_percent: 100.0 * all.producer,
    }
}

/// The probability of conformity around every limit.
pub(super) fn curve(input: &ConformityInput) -> Vec<Place> {
    let tolerance = input.tolerance();
    let around = |limit: f64| {
        (-STEPS..=STEPS).map(move |step| limit + WIDTH * input.standard * f64::from(step) / f64::from(STEPS))
    };
    let mut values: Vec<f64> = [tolerance.lower, tolerance.upper].into_iter().flatten().flat_map(around).collect();
    values.extend(input.measured);
    values.sort_by(f64::total_cmp);
    values.dedup();
    let place = |measured| Place { measured, conformity_percent: 100.0 * tolerance.inside(input.known(measured)) };
    values.into_iter().map(place).collect()
}

/// Both global risks over the guard band, as far as anything can be accepted.
pub(super) fn guards(input: &ConformityInput, work: Work) -> Result<Vec<GuardPoint>, Halt> {
    let Some(process) = input.process() else { return Ok(Vec::new()) };
    let tolerance = input.tolerance();
    let bands = (0..=GUARDS).map(|step| input.expanded() * (3.0 * f64::from(step) / f64::from(GUARDS) - 1.0));
    let possible = bands.filter(|band| tolerance.guarded(*band).possible());
    let point = |guard_band: f64| {
        work.go_on()?;
        let lot = lot(tolerance, tolerance.guarded(guard_band), input.standard, process);
        Ok(GuardPoint {
            guard_band,
            consumer_risk_percent: lot.consumer_risk_percent,
            producer_risk_percent: lot.producer_risk_percent,
        })
    };
    possible.map(point).collect()
}
