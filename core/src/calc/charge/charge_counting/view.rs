//! Charge counting for a reader.

use super::charts;
use super::input::{ChargeInput, ChargeJudgedBy, UsageKind};
use super::output::{ChargeMoment, ChargeOutput};
use super::requirements::by_words;
use crate::judge::{Ledger, Verdict};
use crate::quantity::{
    Quantity, Unit, ampere, ampere_hour, day, hertz, hour, kilometre, one, percent, percent_per_day, second, volt,
    watt_hour, year,
};
use crate::report::caution;
use crate::report::kit::{Columns, Values};
use crate::report::{Block, Figure, Table, View};

/// From this error on a full battery may be charged on, points. Common practice, no source.
const CHARGED_ON_PERCENT: f64 = 10.0;
/// Where the worst place of an anchor leaves no more than this times the best, all are alike.
const LEVEL: f64 = 1.01;

pub(super) fn view(input: &ChargeInput, result: &ChargeOutput, judged: &Ledger) -> View {
    let by = by_words(input.requirement.judged_by);
    let size = result.largest.as_ref().or(result.end_of_use.as_ref());
    let end = match judged.verdict() {
        Verdict::Fails => ": a requirement fails",
        Verdict::NotJudged => "; not everything can be judged",
        Verdict::Thin => ", with little left",
        _ => "",
    };
    let lasts = result.lasts.as_ref().and_then(|one| one.judged_h.zip(one.judged_days));
    let lasts = lasts.map(|(hours, days)| if days < 2.0 { hour(hours) } else { day(days) });
    let allowed = input.requirement.soc_error_percent.zip(lasts.as_ref());
    let lead = match (size, result.largest.is_some()) {
        (Some(size), true) => {
            format!("The state of charge may be {} wrong before the next anchor{end}", percent(size.judged_percent))
        }
        // Without an anchor to wait for, how long it lasts says more than any one moment.
        (Some(_), false) if let Some((limit, lasts)) = allowed => {
            format!("The allowed error of {} lasts {lasts}, {by}{end}", percent(limit))
        }
        (Some(size), false) => {
            format!(
                "After {} the state of charge may be {} wrong{end}",
                hour(size.time_h),
                percent(size.judged_percent)
            )
        }
        (None, _) => format!("The error of the count has no value{end}"),
    };
    let drift = result.day.map_or_else(String::new, |one| {
        format!("A day counts up to {} that never flowed. ", ampere_hour(one.worst_ah_per_day))
    });
    let lasts = match (lasts, size, result.largest.is_some()) {
        (Some(_), Some(size), false) => {
            format!("After {} it may be {} wrong.", hour(size.time_h), percent(size.judged_percent))
        }
        (Some(lasts), ..) => format!("The allowed error lasts {lasts}, {by}."),
        (None, ..) => String::new(),
    };
    let mut blocks = vec![Block::Figures(figures(input, result))];
    blocks.extend(charts::cone(input, result).map(Block::Chart));
    if let Some(moment) = size {
        blocks.push(Block::Table(sources(moment)));
    }
    blocks.extend(charts::sawtooth(input, result).map(Block::Chart));
    blocks.extend(charts::places(input, result).map(Block::Chart));
    if let Some(table) = ranges(result) {
        blocks.push(Block::Table(table));
    }
    blocks.push(Block::Table(counting(result)));
    let health = health(result);
    if !health.rows.is_empty() {
        blocks.push(Block::Table(health));
    }
    View { lead, more: format!("{drift}{lasts}").trim().into(), blocks }
}

pub(super) fn cautions(_: &ChargeInput, result: &ChargeOutput) -> Vec<String> {
    let low = result.largest.as_ref().or(result.end_of_use.as_ref()).map_or(0.0, |one| one.low_percent);
    // A gauge that promises too little lets a full battery be charged on.
    if low < -CHARGED_ON_PERCENT { vec![caution::CHARGING.into()] } else { Vec::new() }
}

fn figures(input: &ChargeInput, result: &ChargeOutput) -> Vec<Figure> {
    let by = by_words(input.requirement.judged_by);
    let mut figures = Vec::new();
    if let Some(one) = &result.largest {
        figures.push(Figure::of("Largest error", percent(one.judged_percent), format!("until the next anchor, {by}")));
    }
    if let Some(one) = &result.end_of_use {
        figures.push(Figure::of(end_of(input), percent(one.judged_percent), one.state.clone()));
    }
    if let Some(one) = &result.day {
        let note = format!("worst case; at the end of life {}", percent_per_day(one.end_of_life_percent_per_day));
        figures.push(Figure::of("Drift of a day", percent_per_day(one.worst_percent_per_day), note));
        figures.push(Figure::of(
            "As charge",
            Quantity::new(one.worst_ah_per_day, Unit::AmpereHourPerDay),
            "worst case, new",
        ));
    }
    if let Some(lasts) = &result.lasts {
        figures.extend(
            lasts.judged_h.map(|hours| Figure::of("The allowed error lasts", hour(hours), lasts.state.clone())),
        );
        figures.extend(
            lasts
                .drift_alone_h
                .map(|hours| Figure::of("Drift alone", hour(hours), "worst case, nothing wrong at the beginning")),
        );
        figures.extend(
            lasts.allowed_offset_a.map(|offset| {
                Figure::of("Offset that would do", ampere(offset), format!("until the next anchor, {by}"))
            }),
        );
    }
    if let Some((anchor, size)) = result.anchor.as_ref().and_then(|one| Some((one, one.error_percent?))) {
        let place = percent(anchor.place_percent.unwrap_or(0.0));
        figures.push(Figure::of("Anchor", percent(size), format!("at its best, {place} charged, worst case")));
        figures.extend(
            anchor.worst_percent.zip(anchor.worst_place_percent).filter(|(worst, _)| *worst > LEVEL * size).map(
                |(worst, place)| {
                    Figure::of(
                        "Anchor",
                        percent(worst),
                        format!("wherever one rests: worst at {} charged", percent(place)),
                    )
                },
            ),
        );
    }
    if let Some(one) = &result.capacity {
        let value = match input.requirement.judged_by {
            ChargeJudgedBy::WorstCase => one.worst_percent,
            ChargeJudgedBy::Probability95 => Some(one.probability_percent),
        };
        figures.extend(value.map(|value| Figure::of("Capacity known to", percent(value), by)));
    }
    if let Some(user) = &result.user {
        figures
            .extend(user.range_km.map(|range| Figure::of("In range", kilometre(range), "of the error that is told")));
        figures.extend(user.time_s.map(|time| Figure::of("In time", second(time), "of the error that is told")));
    }
    figures
}

/// What the error at the end of one use is called.
const fn end_of(input: &ChargeInput) -> &'static str {
    match input.usage.kind {
        UsageKind::Rest => "Error after a day at rest",
        UsageKind::OneWay => "Error at the end of the way",
        UsageKind::Cycles => "Error after one cycle",
        UsageKind::Profile => "Error after one course",
    }
}

fn sources(moment: &ChargeMoment) -> Table {
    let note = format!("{}, after {}.", crate::report::kit::capital(&moment.state), hour(moment.time_h));
    let head = |_: usize, one: &super::ChargeSource| one.label.clone();
    Columns::new("sources", "What makes the error", "Source", &moment.sources, head)
        .note(note)
        .small(|one| one.kind.clone())
        .column("State of charge", Unit::Percent, |one| one.error_percent)
        .column("Charge", Unit::AmpereHour, |one| one.charge_ah)
        .table()
}

fn ranges(result: &ChargeOutput) -> Option<Table> {
    let ranges = &result.anchor.as_ref()?.ranges;
    if ranges.is_empty() {
        return None;
    }
    let head = |index: usize, _: &super::ChargeRange| format!("{}", index + 1);
    Some(
        Columns::new("ranges", "Where an anchor meets its requirement", "Range", ranges, head)
            .column("From", Unit::Percent, |one| one.from_percent)
            .column("Up to", Unit::Percent, |one| one.to_percent)
            .table(),
    )
}

fn counting(result: &ChargeOutput) -> Table {
    let mut values = Values::new("counting", "Counting in detail", "");
    if let Some(one) = result.largest.as_ref().or(result.end_of_use.as_ref()) {
        values.row("Lower end", percent(one.low_percent), "worst case; the gauge promises too little");
        values.row("Upper end", percent(one.high_percent), "worst case; the gauge promises too much");
        values.row("Kept with 95 %", percent(one.probability_percent), "either way");
        values.row("Of it of known sign", percent(one.known_percent), "counted with its sign");
        values.row("Of it random", percent(one.random_percent), "standard uncertainty");
    }
    let reading = &result.reading;
    values.row("Interval of the readings", second(reading.interval_s), "");
    values.row("Noise of a reading", ampere(reading.noise_a), "root mean square");
    values.row("Walk of the noise in a day", ampere_hour(reading.walk_ah), "standard uncertainty");
    values.row("Mean error of rounding", ampere(reading.rounding_a), "largest");
    values.row("Ripple in the readings", reading.ripple_a.map(ampere), "amplitude");
    values.row("Its alias", reading.alias_hz.map(hertz), "lowest");
    if let Some(user) = &result.user {
        values.row("As energy", watt_hour(user.energy_wh), "at nominal voltage");
    }
    values.table()
}

fn health(result: &ChargeOutput) -> Table {
    let mut values = Values::new("health", "Anchor and health in detail", "");
    if let Some(anchor) = &result.anchor {
        values.row("Reads too low by up to", anchor.low_percent.map(percent), "at the best place, without scatter");
        values.row("Reads too high by up to", anchor.high_percent.map(percent), "at the best place, without scatter");
        values.row("Error over slope", anchor.first_order_percent.map(percent), "of the reading alone, never judged");
        values.row("Not relaxed, and half of the hysteresis", volt(anchor.lag_v), "");
        values.row("After many anchors", anchor.top_percent.map(percent), "before the next one; worst case, a + D/K");
        values.row("Inside a cycle then", anchor.peak_percent.map(percent), "where it is largest; worst case");
        values.row(
            "Offset told by two anchors",
            anchor.learned_offset_a.map(ampere),
            "at one place, standard uncertainty",
        );
    }
    if let Some(one) = &result.capacity {
        values.row("Capacity", percent(one.standard_percent), "standard uncertainty");
        values.row("Of it the charge", percent(one.charge_percent), "standard uncertainty");
        values.row("Swing", percent(one.swing_standard_percent), "standard uncertainty, points");
        values.row("Known error of the capacity", percent(one.bias_percent), "by rests after opposite directions");
        values.row("Smallest swing", one.smallest_swing_percent.map(percent), "that meets the requirement with 95 %");
    }
    if let Some(step) = &result.resistance {
        values.row("Step of the voltage", volt(step.step_v), "");
        values.row("Resistance", percent(step.standard_percent), "standard uncertainty");
    }
    if let Some(trend) = &result.trend {
        values.row("Estimates that prove the loss", trend.estimates.map(one), "");
        values.row("Loss", trend.standard_percent.map(percent), "standard uncertainty with so many");
        values.row("By the channel's drift", percent(trend.drift_percent), "standard uncertainty");
        values.row("Proven after", trend.after_years.map(year), "one estimate at every anchor");
    }
    values.table()
}
