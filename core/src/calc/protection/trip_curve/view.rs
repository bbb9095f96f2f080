//! The page of a trip curve.

use super::{TripCurveInput, TripCurveOutput, TripPoint, limits};
use crate::quantity::{Unit, in_sentence, say};
use crate::report::{Axis, Block, Cell, Chart, Column, Curve, Figure, Mark, Row, Stroke, Table, Verdict, View};

/// Marks of the load in the chart: the longest of the largest ones say enough.
const MARKS: usize = 6;

pub(super) fn view(input: &TripCurveInput, result: &TripCurveOutput) -> View {
    View {
        lead: lead(result),
        more: format!(
            "{} of the current are {} of its square: the band between earliest and latest trip.",
            say(input.error_percent, Unit::Percent),
            say(result.square_error_percent, Unit::Percent)
        ),
        checks: result.checks.clone(),
        blocks: vec![
            Block::Chart(chart(input, result)),
            Block::Figures(figures(input, result)),
            Block::Table(limit_table(result)),
        ],
        care: Vec::new(),
    }
}

fn lead(result: &TripCurveOutput) -> String {
    if let Some(time) = result.load.trips_after_s {
        return format!("The load profile trips after {}", say(time, Unit::Second));
    }
    let crossed = |point: &&super::TripLimit| point.used_percent.is_none_or(|used| used > 100.0);
    if let Some(point) = result.limits.iter().find(crossed) {
        return format!("The curve crosses the limit of the {} at {}", point.id, say(point.current_a, Unit::Ampere));
    }
    if result.limits.is_empty() {
        return "The load profile passes; no limit is given".into();
    }
    "The load profile passes and every limit is met".into()
}

fn chart(input: &TripCurveInput, result: &TripCurveOutput) -> Chart {
    let along = |with: fn(&TripPoint) -> Option<f64>| {
        result.curve.iter().filter_map(|point| with(point).map(|time| [point.current_a, time])).collect()
    };
    let mut curves = vec![
        Curve { label: "latest".into(), stroke: Stroke::Main, points: along(|point| point.latest_s) },
        Curve { label: "earliest".into(), stroke: Stroke::Second, points: along(|point| point.earliest_s) },
    ];
    for (_, label, points) in limits(input) {
        let mut points: Vec<[f64; 2]> = points.iter().map(|point| [point.current_a, point.time_s]).collect();
        points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(b[1].total_cmp(&a[1])));
        if !points.is_empty() {
            curves.push(Curve { label: in_sentence(label), stroke: Stroke::Allowed, points });
        }
    }
    let mut steps: Vec<_> = input.load.iter().filter(|step| step.current_a > 0.0).collect();
    steps.sort_by(|a, b| b.current_a.total_cmp(&a.current_a).then(b.duration_s.total_cmp(&a.duration_s)));
    let marks = steps
        .into_iter()
        .take(MARKS)
        .map(|step| Mark {
            x: step.current_a,
            y: step.duration_s,
            label: format!("load {}", say(step.current_a, Unit::Ampere)),
        })
        .collect();
    Chart {
        id: "trip-curve".into(),
        finding: lead(result),
        conditions: format!(
            "Constant current from an empty sum; error ±{}; latest with {} of reaction",
            say(input.error_percent, Unit::Percent),
            say(input.reaction_s, Unit::Second)
        ),
        title: "Time to trip against current".into(),
        x: Axis::log("current", Unit::Ampere),
        y: Axis::log("time", Unit::Second),
        curves,
        marks,
        table: Table {
            id: "trip-curve-values".into(),
            caption: "Time to trip".into(),
            note: "Earliest and nominal without, latest with the reaction.".into(),
            head: "Current".into(),
            columns: ["Earliest", "Nominal", "Latest"].map(|label| Column::of(label, Unit::Second)).to_vec(),
            rows: result
                .curve
                .iter()
                .step_by(4)
                .map(|point| Row {
                    head: say(point.current_a, Unit::Ampere),
                    note: String::new(),
                    cells: vec![point.earliest_s.into(), point.nominal_s.into(), point.latest_s.into()],
                })
                .collect(),
        },
    }
}

fn figures(input: &TripCurveInput, result: &TripCurveOutput) -> Vec<Figure> {
    let mut figures = vec![
        Figure::new("Never trips below", result.pickup_low_a, Unit::Ampere, "reading high"),
        Figure::new("Always trips above", result.pickup_high_a, Unit::Ampere, "reading low"),
        Figure::new("Error of the square", result.square_error_percent, Unit::Percent, "of the gain error"),
        Figure::new(
            "Largest sum of the load",
            result.load.peak_a2s,
            Unit::AmpereSquaredSecond,
            format!("trips at {}", say(input.trip_a2s, Unit::AmpereSquaredSecond)),
        ),
    ];
    if input.repeats {
        figures.push(Figure::new(
            "A round adds",
            result.load.net_a2s,
            Unit::AmpereSquaredSecond,
            "negative: it empties",
        ));
    }
    if let Some(time) = result.load.trips_after_s {
        figures.push(Figure::new("Load trips after", time, Unit::Second, "reading high"));
    }
    figures
}

fn limit_table(result: &TripCurveOutput) -> Table {
    Table {
        id: "limits".into(),
        caption: "Latest trip against the limits".into(),
        note: "Reading low, sum empty at the start; where two points hold, the line between them does.".into(),
        head: "Limit".into(),
        columns: vec![
            Column::of("Current", Unit::Ampere),
            Column::of("Off before", Unit::Second),
            Column::of("Latest", Unit::Second),
            Column::of("Used", Unit::Percent),
            Column::words("Verdict"),
        ],
        rows: result
            .limits
            .iter()
            .map(|point| Row {
                head: point.id.clone(),
                note: String::new(),
                cells: vec![
                    Cell::Number(point.current_a),
                    Cell::Number(point.limit_s),
                    point.latest_s.map_or_else(|| Cell::Words("may never trip".into()), Cell::Number),
                    point.used_percent.into(),
                    Cell::Verdict(Verdict::of(Some(point.used_percent.unwrap_or(f64::INFINITY)))),
                ],
            })
            .collect(),
    }
}
