//! What is required of a decision, and what an engineer must know about it.

use super::input::{ConformityInput, Guard, Rule};
use super::output::ConformityOutput;
use super::risk::Limits;
use crate::judge::{Judged, Ledger, Limit, Words};
use crate::quantity::{Unit, one, percent, say_among};

pub(super) fn requirements(input: &ConformityInput, solved: &ConformityOutput, to: &mut Ledger) {
    let acceptance = Limits { lower: solved.acceptance_lower, upper: solved.acceptance_upper };
    let impossible = !acceptance.possible();
    let guard = match input.decision.guard {
        Guard::None => "/decision/guard",
        Guard::Multiple => "/decision/multiple",
        Guard::Risk => "/decision/risk_percent",
        Guard::Width => "/decision/width",
    };
    to.require(Judged::never("conformity.nothing-accepted", guard, impossible), |_| {
        let failure = format!(
            "A guard band of {} on both sides leaves nothing of the tolerance: every unit is refused.",
            one(solved.guard_band)
        );
        Words::new("Something can be accepted", "acceptance limits in their order", failure)
    });
    if let (Some(value), Some(measured)) = (input.measured, &solved.measured) {
        let said = |value: f64| say_among(value, Unit::One, input.standard);
        to.require(Judged::never("conformity.measured", "/measured", !measured.accepted), |_| {
            let failure = format!("{} is refused: accepted is {}.", said(value), between(acceptance, said));
            Words::new("The measured unit is accepted", between(acceptance, said), failure)
        });
        let allowed = (input.allowed.unit_risk_percent, "/allowed/unit_risk_percent");
        let risk = measured.risk_percent;
        to.require(Judged::at_most("conformity.unit-risk", allowed.1, Unit::Percent, risk, allowed.0), |one| {
            let limit = percent(one.required.unwrap_or_default());
            let failure = format!("The unit does not conform with {}; {limit} are allowed.", percent(risk));
            Words::new("Risk that the unit does not conform", format!("measured {}", said(value)), failure)
        });
    } else if let Some(allowed) = input.allowed.unit_risk_percent {
        // Planned, not measured: every unit that is accepted must meet it, the worst at the limit.
        let risk = solved.limit_risk_percent;
        let judged =
            Judged::at_most("conformity.unit-risk", "/allowed/unit_risk_percent", Unit::Percent, risk, allowed);
        to.require(judged, |_| {
            let said = risk.map_or_else(|| "an unknown risk".into(), |risk| percent(risk).to_string());
            let failure = format!(
                "A unit measured at the acceptance limit does not conform with {said}; {} are allowed.",
                percent(allowed)
            );
            Words::new("Risk of an accepted unit", "measured at the acceptance limit", failure)
        });
    }
    let shares = [
        (
            "conformity.consumer-risk",
            "/allowed/consumer_risk_percent",
            input.allowed.consumer_risk_percent,
            solved.lot.map(|lot| lot.consumer_risk_percent),
            "Consumer's risk",
            "do not conform and are accepted",
        ),
        (
            "conformity.producer-risk",
            "/allowed/producer_risk_percent",
            input.allowed.producer_risk_percent,
            solved.lot.map(|lot| lot.producer_risk_percent),
            "Producer's risk",
            "conform and are refused",
        ),
    ];
    for (id, pointer, allowed, share, label, what) in shares {
        // A share of all units needs what is known of them.
        let limit = match (share, allowed) {
            (None, Some(_)) => Limit::Missing("/process/standard_deviation"),
            (_, allowed) => allowed.into(),
        };
        if share.is_none() && allowed.is_none() {
            continue;
        }
        to.require(Judged::at_most(id, pointer, Unit::Percent, share, limit), |one| {
            let [share, limit] = [share, one.required].map(|value| percent(value.unwrap_or_default()));
            let failure = format!("{share} of all units {what}; {limit} are allowed.");
            Words::new(label, format!("of all units: {what}"), failure)
        });
    }
    remarks(input, solved, to);
}

/// The acceptance interval in words.
pub(super) fn between(limits: Limits, said: impl Fn(f64) -> String) -> String {
    match (limits.lower.map(&said), limits.upper.map(&said)) {
        (Some(lower), Some(upper)) => format!("{lower} to {upper}"),
        (Some(lower), None) => format!("{lower} and above"),
        (None, Some(upper)) => format!("{upper} and below"),
        (None, None) => "everything".into(),
    }
}

fn remarks(input: &ConformityInput, solved: &ConformityOutput, to: &mut Ledger) {
    let coarse = solved.capability.filter(|index| *index < 1.0);
    to.warn("conformity.coarse-measurement", "/standard", coarse.is_some(), || {
        format!(
            "The tolerance is {} of the width of the measurement (four standard uncertainties): no value can be accepted or refused for sure.",
            percent(100.0 * coarse.unwrap_or_default())
        )
    });
    let outwards = input.decision.rule == Rule::Rejection && solved.guard_band < 0.0;
    to.note("conformity.outwards", "/decision/rule", outwards, || {
        let risk = percent(solved.limit_risk_percent.unwrap_or_default());
        format!(
            "The limits of acceptance lie outside the tolerance: a unit measured there does not conform with {risk}."
        )
    });
}
