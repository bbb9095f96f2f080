//! The page of a trip curve, and the working.

use super::{TripCurveInput, TripCurveOutput, TripLimit, TripPoint, limits, seen};
use crate::judge::Ledger;
use crate::quantity::{Unit, ampere, ampere_squared_second, in_sentence, percent, second};
use crate::report::kit::{Columns, Series};
use crate::report::worked::{Term, n};
use crate::report::{Axis, Block, Cell, Chart, Curve, Figure, Step, Stroke, Table, View};

/// Marks of the load in the chart: the longest of the largest ones say enough.
const MARKS: usize = 6;

pub(super) fn view(input: &TripCurveInput, result: &TripCurveOutput, judged: &Ledger) -> View {
    let (error, square) = (percent(input.error_percent), percent(result.square_error_percent));
    View {
        lead: lead(result),
        more: format!("{error} of the current are {square} of its square: the band between earliest and latest trip."),
        blocks: vec![
            Block::Chart(chart(input, result)),
            Block::Figures(figures(input, result)),
            Block::Table(limit_table(result, judged)),
        ],
    }
}

fn lead(result: &TripCurveOutput) -> String {
    if let Some(time) = result.load.trips_after_s {
        return format!("The load profile trips after {}", second(time));
    }
    if let Some(point) = result.limits.iter().find(|point| point.judged().fails()) {
        return format!("The curve crosses the limit of the {} at {}", point.id, ampere(point.current_a));
    }
    if result.limits.is_empty() {
        return "The load profile passes; no limit is given".into();
    }
    "The load profile passes and every limit is met".into()
}

fn chart(input: &TripCurveInput, result: &TripCurveOutput) -> Chart {
    let (title, current, time) = ("Time to trip against current", Unit::Ampere, Unit::Second);
    let (x, y) = (Axis::log("current", current), Axis::log("time", time));
    let mut chart = Series::new("trip-curve", title, &result.curve, x, |point| point.current_a, y).every(4);
    let latest = |point: &TripPoint| point.latest_s;
    let earliest = |point: &TripPoint| point.earliest_s;
    chart.line("latest", Stroke::Main, latest);
    chart.line("earliest", Stroke::Second, earliest);
    chart.column("Earliest", time, earliest);
    chart.column("Nominal", time, |point| point.nominal_s);
    chart.column("Latest", time, latest);
    chart.table_words("Time to trip", "Earliest and nominal without, latest with the reaction.");
    let mut steps: Vec<_> = input.load.iter().filter(|step| step.current_a > 0.0).collect();
    steps.sort_by(|a, b| b.current_a.total_cmp(&a.current_a).then(b.duration_s.total_cmp(&a.duration_s)));
    for step in steps.into_iter().take(MARKS) {
        chart.mark(step.current_a, step.duration_s, format!("load {}", ampere(step.current_a)));
    }
    let (error, reaction) = (percent(input.error_percent), second(input.reaction_s));
    let conditions = format!("Constant current from an empty sum; error ±{error}; latest with {reaction} of reaction");
    let mut chart = chart.chart(lead(result), conditions);
    for (id, label, _) in limits(input) {
        let own = result.limits.iter().filter(|point| point.id == id);
        let points: Vec<[f64; 2]> = own.map(|point| [point.current_a, point.limit_s]).collect();
        if !points.is_empty() {
            chart.curves.push(Curve { label: in_sentence(label), stroke: Stroke::Allowed, points });
        }
    }
    chart
}

fn figures(input: &TripCurveInput, result: &TripCurveOutput) -> Vec<Figure> {
    let load = &result.load;
    let (trip, net) = (ampere_squared_second(input.trip_a2s), ampere_squared_second(load.net_a2s));
    let all = [
        Some(Figure::of("Never trips below", ampere(result.pickup_low_a), "reading high")),
        Some(Figure::of("Always trips above", ampere(result.pickup_high_a), "reading low")),
        Some(Figure::of("Error of the square", percent(result.square_error_percent), "of the gain error")),
        Some(Figure::of("Largest sum of the load", ampere_squared_second(load.peak_a2s), format!("trips at {trip}"))),
        input.repeats.then(|| Figure::of("A round adds", net, "negative: it empties")),
        load.trips_after_s.map(|time| Figure::of("Load trips after", second(time), "reading high")),
    ];
    all.into_iter().flatten().collect()
}

fn limit_table(result: &TripCurveOutput, judged: &Ledger) -> Table {
    let latest = |point: &TripLimit| point.latest_s.map_or_else(|| "may never trip".into(), Cell::Number);
    let limits = &result.limits;
    Columns::new("limits", "Latest trip against the limits", "Limit", limits, |_, point| point.id.into())
        .note("Reading low, sum empty at the start; where two points hold, the line between them does.")
        .column("Current", Unit::Ampere, |point| point.current_a)
        .column("Off before", Unit::Second, |point| point.limit_s)
        .column("Latest", Unit::Second, latest)
        .column("Used", Unit::Percent, |point| point.used_percent)
        .words("Verdict", |point| judged.verdict_of(&point.judged()))
        .table()
}

/// The steps that lead to the headline numbers.
pub(super) fn working(input: &TripCurveInput, result: &TripCurveOutput) -> Vec<Step> {
    const CLOSED: &str = "integral of a constant";
    let (error, pickup, offset) = (percent(input.error_percent), ampere(input.pickup_a), ampere(input.error_a));
    let mut steps = vec![
        Step::worked(
            "Never trips below",
            "I_lo",
            "max(0, (I_n − o)/(1 + e))",
            ampere(result.pickup_low_a),
            CLOSED,
            |p| Term::largest(&[n(0), (p.of(pickup) - p.of(offset)) / (n(1) + p.of(error))]),
        ),
        Step::worked("Always trips above", "I_hi", "(I_n + o)/(1 − e)", ampere(result.pickup_high_a), CLOSED, |p| {
            (p.of(pickup) + p.of(offset)) / (n(1) - p.of(error))
        }),
        Step::worked(
            "Error of the square",
            "e_2",
            "(1 + e)² − 1",
            percent(result.square_error_percent),
            "algebra",
            |p| (n(1) + p.of(error)).squared() - n(1),
        ),
    ];
    let (label, peak) = ("Largest sum of the load profile, reading high", ampere_squared_second(result.load.peak_a2s));
    let last = input.load.get(result.load.step.saturating_sub(1) as usize).filter(|_| peak.value > 0.0);
    steps.push(match last {
        Some(load) => {
            let read = ampere(seen(input, load.current_a, 1.0));
            let gained = (read.value * read.value - pickup.value * pickup.value) * load.duration_s;
            let before = ampere_squared_second(peak.value - gained);
            let formula = "S' + (I_m² − I_n²) Δt of the step in which it is largest, S' the sum before it";
            Step::worked(label, "S", formula, peak, CLOSED, |p| {
                p.of(before) + (p.of(read).squared() - p.of(pickup).squared()) * p.of(second(load.duration_s))
            })
        }
        None => Step::worked(label, "S", "0: no step is read above the pick-up", peak, CLOSED, |_| n(0)),
    });
    let (trip, reaction) = (ampere_squared_second(input.trip_a2s), second(input.reaction_s));
    for point in &result.limits {
        let Some(latest) = point.latest_s.map(second) else { continue };
        let label = format!("Latest trip at {}, {}", ampere(point.current_a), point.id);
        let read = ampere(seen(input, point.current_a, -1.0));
        let formula = "K/(I_m² − I_n²) + t_r with I_m = I (1 − e) − o";
        steps.push(Step::worked(&label, "t", formula, latest, CLOSED, |p| {
            p.of(trip) / (p.of(read).squared() - p.of(pickup).squared()) + p.of(reaction)
        }));
    }
    steps
}
