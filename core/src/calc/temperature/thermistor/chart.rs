//! The charts of a temperature channel.

use crate::quantity::{Unit, say};
use crate::report::{Axis, Cell, Chart, Column, Curve, Mark, Row, Stroke, Table};

use super::input::ThermistorInput;
use super::output::{FixedResistor, RowError, ThermistorOutput, ThermistorRow};

/// A logarithmic axis takes no zero.
fn positive(rows: &[ThermistorRow], value: impl Fn(&ThermistorRow) -> Option<f64>) -> Vec<[f64; 2]> {
    rows.iter().filter_map(|row| value(row).filter(|value| *value > 0.0).map(|value| [row.degc, value])).collect()
}

pub(super) fn error_chart(input: &ThermistorInput, result: &ThermistorOutput) -> Chart {
    let rows = &result.rows;
    let error = |part: fn(&RowError) -> f64| positive(rows, |row| row.error.as_ref().map(part));
    let curve = |label: &str, stroke: Stroke, points: Vec<[f64; 2]>| Curve { label: label.into(), stroke, points };
    let mut curves = vec![
        curve("worst case", Stroke::Main, error(|error| error.worst_case_k)),
        curve("tolerance of the parts", Stroke::Second, error(|error| error.tolerance_k)),
        curve("one code", Stroke::Thin, positive(rows, |row| Some(row.step_k))),
        curve("self-heating", Stroke::Thin, positive(rows, |row| row.self_heating_k)),
    ];
    if let Some(allowed) = input.requirement.allowed_k {
        let ends = vec![[input.min_degc, allowed], [input.max_degc, allowed]];
        curves.push(curve("allowed", Stroke::Allowed, ends));
    }
    curves.retain(|curve| curve.points.len() > 1);
    let smallest = rows
        .iter()
        .filter_map(|row| row.error.as_ref().map(|error| (row.degc, error.tolerance_k)))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    Chart {
        id: "error-over-temperature".into(),
        finding: smallest.map_or_else(
            || "Error over temperature".into(),
            |(degc, kelvin)| {
                format!(
                    "The tolerance band is narrowest near {}: ±{}",
                    say(degc.round(), Unit::Celsius),
                    say(kelvin, Unit::Kelvin)
                )
            },
        ),
        conditions: format!(
            "Lag {} and cell to sensor {} come on top",
            say(result.lag_k, Unit::Kelvin),
            say(result.gradient_k, Unit::Kelvin)
        ),
        title: "Kelvin per code and error against temperature".into(),
        x: Axis::linear("temperature", Unit::Celsius),
        y: Axis::log("error", Unit::Kelvin),
        marks: result
            .points
            .iter()
            .filter_map(|point| {
                point.at.error.as_ref().filter(|error| error.worst_case_k > 0.0).map(|error| Mark {
                    x: point.at.degc,
                    y: error.worst_case_k,
                    label: format!("±{}", say(error.worst_case_k, Unit::Kelvin)),
                })
            })
            .collect(),
        curves,
        table: Table {
            id: "error-over-temperature-values".into(),
            caption: "Error over temperature".into(),
            note: "Parts are limits, first order; leads, leakage and self-heating carry their sign.".into(),
            head: "Temperature".into(),
            columns: [
                "One code",
                "Resistance",
                "Beta, curve or class",
                "Fixed part",
                "Its drift",
                "Reference",
                "Converter",
                "Self-heating",
                "Leads",
                "Leakage",
                "Worst case",
                "Root-sum-square",
            ]
            .map(|label| Column::of(label, Unit::Kelvin))
            .to_vec(),
            rows: rows
                .iter()
                .step_by(5)
                .map(|row| {
                    let error = |part: fn(&RowError) -> f64| {
                        row.error.as_ref().map_or(Cell::Empty, |error| Cell::Number(part(error)))
                    };
                    Row {
                        head: say(row.degc, Unit::Celsius),
                        note: String::new(),
                        cells: vec![
                            Cell::Number(row.step_k),
                            error(|error| error.resistance_k),
                            error(|error| error.curve_k),
                            error(|error| error.part_k),
                            error(|error| error.part_drift_k),
                            error(|error| error.reference_k),
                            error(|error| error.converter_k),
                            row.self_heating_k.into(),
                            error(|error| error.lead_k),
                            error(|error| error.leakage_k),
                            error(|error| error.worst_case_k),
                            error(|error| error.root_sum_square_k),
                        ],
                    }
                })
                .collect(),
        },
    }
}

pub(super) fn resistance_chart(result: &ThermistorOutput) -> Chart {
    let rows = &result.rows;
    let falls = result.wire.open_looks == "cold";
    let ends = rows.first().zip(rows.last());
    Chart {
        id: "resistance".into(),
        finding: ends.map_or_else(
            || "Resistance over temperature".into(),
            |(cold, hot)| {
                format!(
                    "The resistance {} from {} to {}",
                    if falls { "falls" } else { "rises" },
                    say(cold.resistance_ohm, Unit::Ohm),
                    say(hot.resistance_ohm, Unit::Ohm)
                )
            },
        ),
        conditions: "With the limits of the sensor alone".into(),
        title: "Resistance against temperature".into(),
        x: Axis::linear("temperature", Unit::Celsius),
        y: Axis::log("resistance", Unit::Ohm),
        curves: vec![
            Curve {
                label: "sensor".into(),
                stroke: Stroke::Main,
                points: positive(rows, |row| Some(row.resistance_ohm)),
            },
            Curve {
                label: "lowest".into(),
                stroke: Stroke::Thin,
                points: positive(rows, |row| row.resistance_low_ohm),
            },
            Curve {
                label: "highest".into(),
                stroke: Stroke::Thin,
                points: positive(rows, |row| row.resistance_high_ohm),
            },
        ],
        marks: result
            .points
            .iter()
            .map(|point| Mark {
                x: point.at.degc,
                y: point.at.resistance_ohm,
                label: say(point.at.resistance_ohm, Unit::Ohm),
            })
            .collect(),
        table: Table {
            id: "resistance-values".into(),
            caption: "Resistance over temperature".into(),
            note: String::new(),
            head: "Temperature".into(),
            columns: vec![
                Column::of("Resistance", Unit::Ohm),
                Column::of("Lowest", Unit::Ohm),
                Column::of("Highest", Unit::Ohm),
                Column::of("Per kelvin", Unit::Percent),
                Column::of("Code", Unit::One),
                Column::of("Straight scale off by", Unit::Kelvin),
            ],
            rows: rows
                .iter()
                .step_by(5)
                .map(|row| Row {
                    head: say(row.degc, Unit::Celsius),
                    note: String::new(),
                    cells: vec![
                        Cell::Number(row.resistance_ohm),
                        row.resistance_low_ohm.into(),
                        row.resistance_high_ohm.into(),
                        Cell::Number(row.alpha_percent_per_k),
                        Cell::Number(row.code.round()),
                        Cell::Number(row.nonlinearity_k),
                    ],
                })
                .collect(),
        },
    }
}

pub(super) fn resistor_chart(choice: &FixedResistor) -> Chart {
    let strokes = [Stroke::Main, Stroke::Thin, Stroke::Second, Stroke::Thin];
    let best = choice.choices.iter().min_by(|a, b| a.step_worst_k.total_cmp(&b.step_worst_k));
    let degrees = choice.choices.first().map_or(&[][..], |first| &first.curve);
    Chart {
        id: "fixed-resistor-resolution".into(),
        finding: best.map_or_else(
            || "Resolution over temperature".into(),
            |best| {
                format!("{} keeps one code below {}", say(best.ohm, Unit::Ohm), say(best.step_worst_k, Unit::Kelvin))
            },
        ),
        conditions: "Resolution is not accuracy".into(),
        title: "Kelvin per code with each fixed resistor".into(),
        x: Axis::linear("temperature", Unit::Celsius),
        y: Axis::log("one code", Unit::Kelvin),
        curves: choice
            .choices
            .iter()
            .zip(strokes)
            .map(|(found, stroke)| Curve {
                label: say(found.ohm, Unit::Ohm),
                stroke,
                points: found.curve.iter().map(|point| [point.degc, point.step_k]).collect(),
            })
            .collect(),
        marks: Vec::new(),
        table: Table {
            id: "fixed-resistor-resolution-values".into(),
            caption: "One code with each fixed resistor".into(),
            note: String::new(),
            head: "Temperature".into(),
            columns: choice.choices.iter().map(|found| Column::of(&say(found.ohm, Unit::Ohm), Unit::Kelvin)).collect(),
            rows: degrees
                .iter()
                .enumerate()
                .step_by(5)
                .map(|(index, point)| Row {
                    head: say(point.degc, Unit::Celsius),
                    note: String::new(),
                    cells: choice
                        .choices
                        .iter()
                        .map(|found| found.curve.get(index).map(|point| point.step_k).into())
                        .collect(),
                })
                .collect(),
        },
    }
}
