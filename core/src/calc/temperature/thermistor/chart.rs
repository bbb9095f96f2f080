//! The charts of a temperature channel.

use crate::quantity::{Unit, celsius, kelvin, ohm};
use crate::report::kit::Series;
use crate::report::{Axis, Chart, Stroke};

use super::input::ThermistorInput;
use super::output::{FixedResistor, RowError, ThermistorOutput, ThermistorRow};

/// A row of the table for every so many of the range.
const EVERY: usize = 5;

pub(super) fn error_chart(input: &ThermistorInput, result: &ThermistorOutput) -> Chart {
    let rows = &result.rows;
    let part = |pick: fn(&RowError) -> f64| move |row: &ThermistorRow| row.error.as_ref().map(pick);
    let title = "Kelvin per code and error against temperature";
    let (x, y) = (Axis::linear("temperature", Unit::Celsius), Axis::log("error", Unit::Kelvin));
    let mut series = Series::new("error-over-temperature", title, rows, x, |row| row.degc, y).every(EVERY);
    series.table_words(
        "Error over temperature",
        "Parts are limits, first order; leads, leakage and self-heating carry their sign. Worst case: over every state.",
    );
    series.line("worst case", Stroke::Main, part(|error| error.worst_case_k));
    series.line("tolerance of the parts", Stroke::Second, part(|error| error.tolerance_k));
    series.curve("one code", Stroke::Thin, |row| Some(row.step_k));
    series.line("self-heating", Stroke::Thin, |row| row.self_heating_k);
    series.line("allowed", Stroke::Allowed, |row| input.allowed_k(row.degc));
    series.column("Resistance", Unit::Kelvin, part(|error| error.resistance_k));
    series.column("Beta, curve or class", Unit::Kelvin, part(|error| error.curve_k));
    series.column("Fixed part", Unit::Kelvin, part(|error| error.part_k));
    series.column("Its drift", Unit::Kelvin, part(|error| error.part_drift_k));
    series.column("Reference", Unit::Kelvin, part(|error| error.reference_k));
    series.column("Converter", Unit::Kelvin, part(|error| error.converter_k));
    series.column("Ageing", Unit::Kelvin, part(|error| error.ageing_k));
    series.column("Self-heating", Unit::Kelvin, |row| row.self_heating_k);
    series.column("Leads", Unit::Kelvin, part(|error| error.lead_k));
    series.column("Leakage", Unit::Kelvin, part(|error| error.leakage_k));
    series.column("Worst case", Unit::Kelvin, part(|error| error.worst_case_k));
    series.column("Root-sum-square", Unit::Kelvin, part(|error| error.root_sum_square_k));
    for point in result.points.iter().chain(&result.worst) {
        if let Some(error) = point.at.error.as_ref().filter(|error| error.worst_case_k > 0.0) {
            series.mark(point.at.degc, error.worst_case_k, format!("±{}", kelvin(error.worst_case_k)));
        }
    }
    let tolerances = rows.iter().filter_map(|row| row.error.as_ref().map(|error| (row.degc, error.tolerance_k)));
    let finding = tolerances.min_by(|a, b| a.1.total_cmp(&b.1)).map_or_else(
        || "Error over temperature".into(),
        |(degc, error)| format!("The tolerance band is narrowest near {}: ±{}", celsius(degc.round()), kelvin(error)),
    );
    let (lag, gradient) = (kelvin(result.lag_k), kelvin(result.gradient_k));
    let counts = if input.requirement.with_lag_and_gradient { "are part of it" } else { "come on top" };
    on_log_axis(series.chart(finding, format!("Lag {lag} and cell to sensor {gradient} {counts}")))
}

/// A logarithmic axis takes no zero, and one point is no curve.
fn on_log_axis(mut chart: Chart) -> Chart {
    for curve in &mut chart.curves {
        curve.points.retain(|point| point[1] > 0.0);
    }
    chart.curves.retain(|curve| curve.points.len() > 1);
    chart
}

pub(super) fn resistance_chart(result: &ThermistorOutput) -> Chart {
    let rows = &result.rows;
    let (x, y) = (Axis::linear("temperature", Unit::Celsius), Axis::log("resistance", Unit::Ohm));
    let title = "Resistance against temperature";
    let mut series = Series::new("resistance", title, rows, x, |row| row.degc, y).every(EVERY);
    series.table_words("Resistance over temperature", "");
    series.curve_as("sensor", "Resistance", Stroke::Main, |row| Some(row.resistance_ohm));
    series.curve("lowest", Stroke::Thin, |row| row.resistance_low_ohm);
    series.curve("highest", Stroke::Thin, |row| row.resistance_high_ohm);
    series.column("Per kelvin", Unit::Percent, |row| Some(row.alpha_percent_per_k));
    series.column("Output per kelvin", Unit::VoltPerKelvin, |row| row.sensitivity_v_per_k);
    series.column("Code", Unit::One, |row| Some(row.code.round()));
    series.column("Straight scale off by", Unit::Kelvin, |row| Some(row.nonlinearity_k));
    for point in &result.points {
        series.mark(point.at.degc, point.at.resistance_ohm, ohm(point.at.resistance_ohm).to_string());
    }
    let moves = if result.wire.open_looks == "cold" { "falls" } else { "rises" };
    let finding = rows.first().zip(rows.last()).map_or_else(
        || "Resistance over temperature".into(),
        |(cold, hot)| {
            format!("The resistance {moves} from {} to {}", ohm(cold.resistance_ohm), ohm(hot.resistance_ohm))
        },
    );
    on_log_axis(series.chart(finding, "With the limits of the sensor alone"))
}

pub(super) fn resistor_chart(choice: &FixedResistor) -> Chart {
    let choices = &choice.choices;
    let degrees = choices.first().map_or(&[][..], |first| &first.curve);
    let places: Vec<(f64, usize)> = degrees.iter().enumerate().map(|(index, point)| (point.degc, index)).collect();
    let (x, y) = (Axis::linear("temperature", Unit::Celsius), Axis::log("one code", Unit::Kelvin));
    let title = "Kelvin per code with each fixed resistor";
    let mut series = Series::new("fixed-resistor-resolution", title, &places, x, |place| place.0, y).every(EVERY);
    series.table_words("One code with each fixed resistor", "");
    for (found, stroke) in choices.iter().zip([Stroke::Main, Stroke::Thin, Stroke::Second, Stroke::Thin]) {
        let step = |place: &(f64, usize)| found.curve.get(place.1).map(|point| point.step_k);
        series.curve(&ohm(found.ohm).to_string(), stroke, step);
    }
    let best = choices.iter().min_by(|a, b| a.step_worst_k.total_cmp(&b.step_worst_k));
    let finding = best.map_or_else(
        || "Resolution over temperature".into(),
        |best| format!("{} keeps one code below {}", ohm(best.ohm), kelvin(best.step_worst_k)),
    );
    series.chart(finding, "Resolution is not accuracy")
}
