//! The decision for a reader.

use super::input::ConformityInput;
use super::output::{ConformityOutput, GuardPoint, Place};
use super::requirements::between;
use super::risk::Limits;
use crate::judge::Ledger;
use crate::quantity::{Quantity, Unit, one, percent, say_among};
use crate::report::kit::Series;
use crate::report::{Axis, Block, Chart, Figure, Stroke, View};

pub(super) fn view(input: &ConformityInput, result: &ConformityOutput, _: &Ledger) -> View {
    let said = |value: f64| say_among(value, Unit::One, input.standard);
    let acceptance = Limits { lower: result.acceptance_lower, upper: result.acceptance_upper };
    let interval = if acceptance.possible() { between(acceptance, said) } else { "nothing".into() };
    let lead = match (input.measured, &result.measured) {
        (Some(value), Some(measured)) => format!(
            "{} is {}: it conforms with {}",
            said(value),
            if measured.accepted { "accepted" } else { "refused" },
            percent(measured.conformity_percent)
        ),
        _ => format!("Accepted is {interval}"),
    };
    let shares = result.lot.map_or_else(
        || "Without the spread of the process there are no shares of all units.".into(),
        |lot| {
            format!(
                "Of all units {} do not conform and are accepted, {} conform and are refused.",
                percent(lot.consumer_risk_percent),
                percent(lot.producer_risk_percent)
            )
        },
    );
    let more = if input.measured.is_some() { format!("Accepted is {interval}. {shares}") } else { shares };
    let mut blocks = vec![Block::Figures(figures(input, result))];
    blocks.push(Block::Chart(conformity(input, result)));
    if !result.guards.is_empty() {
        blocks.push(Block::Chart(risks(result)));
    }
    View { lead, more, blocks }
}

fn figures(input: &ConformityInput, result: &ConformityOutput) -> Vec<Figure> {
    let mut figures = vec![Figure::of("Guard band", one(result.guard_band), "between tolerance and acceptance limit")];
    for (label, limit) in
        [("Lower acceptance limit", result.acceptance_lower), ("Upper acceptance limit", result.acceptance_upper)]
    {
        figures.extend(limit.map(|limit| Figure::of(label, one(limit), "").among(input.standard)));
    }
    let mut add = |label: &str, value: Option<Quantity>, note: &str| {
        figures.extend(value.map(|value| Figure::of(label, value, note)));
    };
    add("Risk at the acceptance limit", result.limit_risk_percent.map(percent), "of a unit measured there");
    add("Capability of the measurement", result.capability.map(one), "tolerance over 4 u");
    if let Some(measured) = &result.measured {
        add("Probability of conformity", Some(percent(measured.conformity_percent)), "of the measured unit");
    }
    if let Some(lot) = &result.lot {
        add("Consumer's risk", Some(percent(lot.consumer_risk_percent)), "of all units: bad and accepted");
        add("Producer's risk", Some(percent(lot.producer_risk_percent)), "of all units: good and refused");
        add("Conforming", Some(percent(lot.conforming_percent)), "of all units");
        add("Accepted", Some(percent(lot.accepted_percent)), "of all units");
    }
    figures
}

fn conformity(input: &ConformityInput, result: &ConformityOutput) -> Chart {
    let (x, y) = (Axis::linear("measured value", Unit::One), Axis::linear("probability of conformity", Unit::Percent));
    let title = "Probability of conformity over the measured value";
    let mut series = Series::new("conformity", title, &result.curve, x, |place: &Place| place.measured, y).every(4);
    series.curve("conforms", Stroke::Main, |place| Some(place.conformity_percent));
    let tolerance = input.tolerance();
    for (label, limit) in [("lower tolerance limit", tolerance.lower), ("upper tolerance limit", tolerance.upper)] {
        if let Some(limit) = limit {
            series.shape(label, Stroke::Allowed, vec![[limit, 0.0], [limit, 100.0]]);
        }
    }
    let conforms = |value: f64| 100.0 * tolerance.inside(input.known(value));
    for accepted in [result.acceptance_lower, result.acceptance_upper].into_iter().flatten() {
        series.mark(accepted, conforms(accepted), "acceptance limit");
    }
    if let Some(value) = input.measured {
        series.mark(value, conforms(value), "measured");
    }
    let finding = result.limit_risk_percent.map_or_else(
        || "Nothing is accepted".into(),
        |risk| format!("At the acceptance limit the risk is {}", percent(risk)),
    );
    let known = if input.process().is_some() { "with the process counted" } else { "by the measurement alone" };
    series.chart(finding, format!("Standard uncertainty {}, {known}", one(input.standard)))
}

fn risks(result: &ConformityOutput) -> Chart {
    let (x, y) = (Axis::linear("guard band", Unit::One), Axis::linear("share of all units", Unit::Percent));
    let title = "Risks of all units over the guard band";
    let mut series = Series::new("risks", title, &result.guards, x, |point: &GuardPoint| point.guard_band, y).every(4);
    series.curve("consumer's risk", Stroke::Main, |point| Some(point.consumer_risk_percent));
    series.curve("producer's risk", Stroke::Second, |point| Some(point.producer_risk_percent));
    if let Some(lot) = &result.lot {
        series.mark(result.guard_band, lot.consumer_risk_percent, "this rule");
    }
    series.chart("What one of them gains the other pays", "From one expanded uncertainty outwards to two inwards")
}
