//! The voltage channel's numbers for a reader: figures, tables, charts and the lane of the chain.

use super::input::VoltageInput;
use super::model::DIVIDER;
use super::output::{VoltageCurvePoint, VoltageGrid, VoltageOutput, VoltagePoint};
use super::solve::{BEFORE, JUDGED, calibrated, state};
use crate::calc::voltage::divider::{ladder_chart, voltage_care, whole_percent};
use crate::channel::budget::{self, Heading, Output, size};
use crate::channel::{self, limit_said};
use crate::physics::front_end::{AMPLIFIER, CONVERTER, CalibrationKind, Life};
use crate::quantity::{Quantity, Unit, in_sentence, say};
use crate::report::{
    Axis, Block, Budget, Cell, Chart, Column, Curve, Figure, Finding, Lane, Mark, Row, Stroke, Table, Verdict, View,
};

/// Of the points that can be read, the one that uses most of its allowance; the largest error in percent when there is
/// no allowance.
fn worst(result: &VoltageOutput) -> Option<&VoltagePoint> {
    let key = |point: &VoltagePoint| match (point.used_percent, point.judged_percent) {
        // A point with an allowance stands before every point without one.
        (Some(used), _) => (1, used),
        (None, judged) => (u8::from(point.allowed_v.is_some()), judged.unwrap_or(f64::MAX)),
    };
    result.points.iter().filter(|point| !point.beyond_range).max_by(|a, b| {
        let (a, b) = (key(a), key(b));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
    })
}

pub(super) fn view(input: &VoltageInput, result: &VoltageOutput, findings: &[Finding]) -> View {
    let care = voltage_care(input.input_max_v, input.upper.count);
    let mut view = View { checks: result.checks.clone(), care, ..View::default() };
    view.lead = lead(&view, input, result, findings);
    view.more = more(input, result);
    let mut blocks = vec![Block::Figures(figures(input, result))];
    if let Some(point) = worst(result) {
        blocks.extend(lane(input, point).map(Block::Lane));
    }
    blocks.push(Block::Table(grid(input, result)));
    blocks.push(Block::Chart(chart(input, result)));
    if let Some(point) = worst(result) {
        blocks.extend(budgets(input, point).into_iter().map(Block::Budget));
    }
    blocks.push(Block::Chart(ladder_chart::chart(
        &result.stress,
        input.upper.count,
        input.stress_limit_percent,
        format!(
            "{}, ambient {}",
            say(input.input_max_v, Unit::Volt),
            say(input.conditions.ambient_max_degc, Unit::Celsius)
        ),
    )));
    blocks.push(Block::Table(recipes(input, result)));
    if let Some(point) = worst(result) {
        blocks.extend(levers(point).map(Block::Table));
    }
    view.blocks = blocks;
    view
}

fn lead(view: &View, input: &VoltageInput, result: &VoltageOutput, findings: &[Finding]) -> String {
    let beyond = result.points.iter().filter(|point| point.beyond_range).map(|point| point.voltage_v);
    let highest = beyond.fold(input.input_max_v, f64::max);
    if highest > result.range.over_range_v {
        return format!(
            "Clips: full at {}, {} cannot be read",
            say(result.range.over_range_v, Unit::Volt),
            say(highest, Unit::Volt)
        );
    }
    let verdict = view.verdict(findings);
    let count = |wanted: Verdict| view.checks.iter().filter(|check| check.verdict == wanted).count();
    let (fails, thin) = (count(Verdict::Fails), count(Verdict::Thin));
    let judged = view.checks.len() - count(Verdict::NoLimitSet);
    let Some(point) = worst(result) else { return "No voltage could be judged".into() };
    let error = point.judged_v.map_or_else(|| "undefined".into(), |judged| format!("±{}", say(judged, Unit::Volt)));
    let at = say(point.voltage_v, Unit::Volt);
    match (verdict, point.allowed_v) {
        (Verdict::Fails, Some(allowed)) if fails > 0 => format!(
            "{fails} of {judged} requirements {}: {error} at {at}, ±{} allowed",
            if fails == 1 { "fails" } else { "fail" },
            say(allowed, Unit::Volt)
        ),
        (Verdict::Fails, _) => format!("A limit is exceeded; the reading error is {error} at {at}"),
        (_, Some(allowed)) => format!(
            "All {judged} requirements hold{}: {error} at {at}, ±{} allowed",
            if thin > 0 { format!(", {thin} with little left") } else { String::new() },
            say(allowed, Unit::Volt)
        ),
        (_, None) => format!("The reading error is {error} at {at}; no requirement is set"),
    }
}

fn more(input: &VoltageInput, result: &VoltageOutput) -> String {
    let Some(point) = worst(result) else { return String::new() };
    let Some(done) = &point.assessment else { return String::new() };
    let terms = done.contributions.iter().map(|term| (term.label.as_str(), size(term, Output::Error)));
    let Some((label, amount)) = terms.max_by(|a, b| a.1.total_cmp(&b.1)) else { return String::new() };
    let ambient = point.worst_corner.as_ref().map_or_else(String::new, |corner| {
        format!(", worst at an ambient of {}", say(corner.ambient_degc, Unit::Celsius))
    });
    format!(
        "At {} the largest part is {} ({}){ambient}. Judged by {}, {}.",
        say(point.voltage_v, Unit::Volt),
        in_sentence(label),
        say(amount, Unit::Volt),
        in_sentence(input.requirement.judged_by.label()),
        state(input, JUDGED)
    )
}

fn figures(input: &VoltageInput, result: &VoltageOutput) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let Some(point) = worst(result) {
        let at = say(point.voltage_v, Unit::Volt);
        for life in states(input, [BEFORE, JUDGED]) {
            let label = format!("Worst case, {}", calibrated(kind(input, life)));
            let row =
                point.grid.iter().find(|row| row.calibrated == life.calibrated && row.end_of_life == life.end_of_life);
            if let Some(row) = row {
                figures.push(Figure::new(
                    &label,
                    row.worst_case_percent_of_reading,
                    Unit::Percent,
                    format!("of {at}, end of life"),
                ));
            }
        }
    }
    figures.push(Figure::new("Input over output", result.range.factor, Unit::One, "the constant of the firmware"));
    figures.push(Figure::new(
        "Range full at",
        result.range.over_range_v,
        Unit::Volt,
        format!("by {}; used to {}", result.range.clips_first, whole_percent(result.range.used_percent)),
    ));
    if input.calibration.kind == CalibrationKind::TwoPoint {
        figures.push(Figure::new(
            "Bend left by calibration",
            result.bend.between_v,
            Unit::Volt,
            "largest between the two points, by the voltage coefficient",
        ));
    }
    figures.push(Figure::new("One code", result.range.lsb_v, Unit::Volt, "at the pack"));
    if result.noise.single_v > 0.0 {
        figures.push(Figure::new(
            "Noise of a reading",
            result.noise.averaged_v,
            Unit::Volt,
            format!("root mean square; one sample {}", say(result.noise.single_v, Unit::Volt)),
        ));
    }
    figures
}

fn lane(input: &VoltageInput, point: &VoltagePoint) -> Option<Lane> {
    let done = point.assessment.as_ref()?;
    let allowed = point.allowed_v?;
    let volt = point.voltage_v * input.network().ratio();
    let parts = input.parts();
    let amplified = volt * input.amplifier.gain;
    let described = vec![
        (format!("{} over {}", input.upper.count, input.lower.count), say(volt, Unit::Volt)),
        (format!("gain {}", say(input.amplifier.gain, Unit::One)), say(amplified, Unit::Volt)),
        (
            format!("{} bit", input.converter.bits),
            format!("{} codes", say((amplified / parts.converter.lsb_v()).round(), Unit::One)),
        ),
    ];
    let volts = |value| Quantity::new(value, Unit::Volt);
    let at = channel::At { reading: volts(point.voltage_v), judged: point.judged_v?, allowed: volts(allowed) };
    Some(channel::lane(done, &[DIVIDER, AMPLIFIER, CONVERTER], described, at))
}

/// What was calibrated in a state of life.
const fn kind(input: &VoltageInput, life: Life) -> CalibrationKind {
    if life.calibrated { input.calibration.kind } else { CalibrationKind::None }
}

/// The states that differ: without a calibration there is nothing after it.
fn states<const N: usize>(input: &VoltageInput, all: [Life; N]) -> impl Iterator<Item = Life> {
    let none = input.calibration.kind == CalibrationKind::None;
    all.into_iter().filter(move |life| !(none && life.calibrated))
}

fn grid(input: &VoltageInput, result: &VoltageOutput) -> Table {
    Table {
        id: "grid".into(),
        caption: "Error over voltage and life".into(),
        note: if input.calibration.kind == CalibrationKind::None {
            "Each state at its worst ambient, without a calibration."
        } else {
            "Each state at its worst ambient. Left after calibration: compare the calibrated rows with those before."
        }
        .into(),
        head: "Voltage and state".into(),
        columns: vec![
            Column::of("Worst at ambient", Unit::Celsius),
            Column::of("Worst case", Unit::Volt),
            Column::of("Of reading", Unit::Percent),
            Column::of("Of full scale", Unit::Percent),
            Column::of("Sum of limits", Unit::Volt),
            Column::of("Root-sum-square", Unit::Volt),
        ],
        rows: result
            .points
            .iter()
            .flat_map(|point| {
                let shown = |row: &VoltageGrid| Life { calibrated: row.calibrated, end_of_life: row.end_of_life };
                point.grid.iter().filter(|row| !row.calibrated || input.calibration.kind != CalibrationKind::None).map(
                    move |row| Row {
                        head: say(point.voltage_v, Unit::Volt),
                        note: state(input, shown(row)),
                        cells: vec![
                            Cell::Number(row.ambient_degc),
                            Cell::Limit(row.worst_case_v),
                            Cell::Limit(row.worst_case_percent_of_reading),
                            Cell::Limit(row.worst_case_percent_of_full_scale),
                            Cell::Limit(row.sum_of_limits_v),
                            Cell::Limit(row.root_sum_square_v),
                        ],
                    },
                )
            })
            .collect(),
    }
}

fn budgets(input: &VoltageInput, point: &VoltagePoint) -> Vec<Budget> {
    let at = say(point.voltage_v, Unit::Volt);
    let ambient = |life: Life| {
        let row =
            point.grid.iter().find(|row| row.calibrated == life.calibrated && row.end_of_life == life.end_of_life);
        row.map_or_else(String::new, |row| format!("Ambient {}, ", say(row.ambient_degc, Unit::Celsius)))
    };
    [("budget-after", JUDGED, &point.assessment), ("budget-before", BEFORE, &point.before)]
        .into_iter()
        // Without a calibration both are the same.
        .filter(|(_, life, _)| life.calibrated || input.calibration.kind != CalibrationKind::None)
        .filter_map(|(id, life, done)| {
            Some(budget::budget(
                Heading {
                    id: id.into(),
                    caption: format!("Error budget at {at}, {}", calibrated(kind(input, life))),
                    note: format!("{}{}.", ambient(life), state(input, life)),
                },
                Unit::Volt,
                done.as_ref()?,
                Output::Error,
                point.allowed_v,
            ))
        })
        .collect()
}

fn chart(input: &VoltageInput, result: &VoltageOutput) -> Chart {
    let curve = &result.curve;
    let line = |with: fn(&VoltageCurvePoint) -> f64| curve.iter().map(|point| [point.voltage_v, with(point)]).collect();
    let allowed: Vec<[f64; 2]> =
        curve.iter().filter_map(|point| point.allowed_v.map(|allowed| [point.voltage_v, allowed])).collect();
    let exceeds = |point: &&VoltageCurvePoint| point.allowed_v.is_some_and(|allowed| point.worst_case_v > allowed);
    let first = curve.iter().find(exceeds).map(|point| point.voltage_v);
    let last = curve.iter().rev().find(exceeds).map(|point| point.voltage_v);
    let finding = match (first, last) {
        _ if allowed.is_empty() => "The error over voltage; no requirement is set".into(),
        (Some(first), Some(last)) => format!(
            "The worst case exceeds the allowance between {} and {}",
            say(first, Unit::Volt),
            say(last, Unit::Volt)
        ),
        _ => "The worst case stays inside the allowance at every voltage that can be read".into(),
    };
    let two_states = input.calibration.kind != CalibrationKind::None;
    let before = two_states.then(|| Curve {
        label: "before calibration".into(),
        stroke: Stroke::Thin,
        points: line(|point| point.before_calibration_v),
    });
    let mut curves: Vec<Curve> = before.into_iter().collect();
    curves.extend([
        Curve { label: "worst case".into(), stroke: Stroke::Main, points: line(|point| point.worst_case_v) },
        Curve {
            label: "root-sum-square".into(),
            stroke: Stroke::Second,
            points: line(|point| point.root_sum_square_v),
        },
    ]);
    if !allowed.is_empty() {
        curves.push(Curve { label: "allowed".into(), stroke: Stroke::Allowed, points: allowed });
    }
    let calibrated_at = [input.calibration.low_v, input.calibration.high_v];
    // Marked where the curve has a value: at the nearest of its points.
    let marks = calibrated_at
        .into_iter()
        .filter(|_| input.calibration.kind == CalibrationKind::TwoPoint)
        .filter_map(|voltage| {
            let (low, high) = (curve.first()?.voltage_v, curve.last()?.voltage_v);
            let near = curve
                .iter()
                .min_by(|a, b| (a.voltage_v - voltage).abs().total_cmp(&(b.voltage_v - voltage).abs()))
                .filter(|_| low <= voltage && voltage <= high)?;
            Some(Mark {
                x: voltage,
                y: near.worst_case_v,
                label: format!("calibrated at {}", say(voltage, Unit::Volt)),
            })
        })
        .collect();
    Chart {
        id: "error-over-voltage".into(),
        finding,
        conditions: format!(
            "{}, ambient {} to {}",
            state(input, JUDGED),
            say(input.conditions.ambient_min_degc, Unit::Celsius),
            say(input.conditions.ambient_max_degc, Unit::Celsius)
        ),
        title: "Reading error against voltage".into(),
        x: Axis::linear("pack voltage", Unit::Volt),
        y: Axis::linear("error", Unit::Volt),
        curves,
        marks,
        table: Table {
            id: "error-over-voltage-values".into(),
            caption: "Reading error over voltage".into(),
            note: "End of life.".into(),
            head: "Voltage".into(),
            columns: vec![
                Column::of("Before calibration", Unit::Volt),
                Column::of("Worst case", Unit::Volt),
                Column::of("Root-sum-square", Unit::Volt),
                Column::of("Allowed", Unit::Volt),
            ],
            rows: curve
                .iter()
                .step_by(4)
                .map(|point| Row {
                    head: say(point.voltage_v, Unit::Volt),
                    note: String::new(),
                    cells: vec![
                        Cell::Number(point.before_calibration_v),
                        Cell::Number(point.worst_case_v),
                        Cell::Number(point.root_sum_square_v),
                        point.allowed_v.into(),
                    ],
                })
                .collect(),
        },
    }
}

fn recipes(input: &VoltageInput, result: &VoltageOutput) -> Table {
    Table {
        id: "corners".into(),
        caption: "Worst corner of each voltage, as a bench can set it".into(),
        note: format!("State: {}; the largest sources with the sign that adds up.", state(input, JUDGED)),
        head: "Voltage".into(),
        columns: vec![Column::words("Direction"), Column::words("Settings")],
        rows: result
            .points
            .iter()
            .filter_map(|point| {
                point.worst_corner.as_ref().map(|corner| Row {
                    head: say(point.voltage_v, Unit::Volt),
                    note: String::new(),
                    cells: vec![Cell::Words(corner.direction.clone()), Cell::Words(corner.settings.join("; "))],
                })
            })
            .collect(),
    }
}

fn levers(point: &VoltagePoint) -> Option<Table> {
    if point.what_it_takes.is_empty() || point.verdict != Verdict::Fails {
        return None;
    }
    Some(Table {
        id: "what-it-takes".into(),
        caption: format!("What it would take at {}", say(point.voltage_v, Unit::Volt)),
        note: "The limit one source alone would need, everything else as it is.".into(),
        head: "Source".into(),
        columns: vec![Column::words("Now"), Column::words("Needed")],
        rows: point
            .what_it_takes
            .iter()
            .map(|lever| Row {
                head: lever.label.clone(),
                note: String::new(),
                cells: vec![
                    Cell::Words(format!("±{}", limit_said(&lever.unit, lever.limit_now))),
                    Cell::Words(lever.limit_needed.map_or_else(
                        || "cannot by itself".into(),
                        |needed| format!("±{}", limit_said(&lever.unit, needed)),
                    )),
                ],
            })
            .collect(),
    })
}
