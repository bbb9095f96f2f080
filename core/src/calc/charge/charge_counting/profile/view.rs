//! The numbers of a profile for a reader.

use super::requirements::untouched;
use crate::profile::{CurvePoint, ProfileInput, ProfileOutput, Reading};
use crate::quantity::{Unit, ampere, ampere_hour, celsius, joule, percent, second};
use crate::report::kit::{Columns, Series, capital};
use crate::report::{Axis, Block, Chart, Column, Figure, Row, Stroke, Table, View};

/// Points of a drawing: more are not seen.
const DRAWN: usize = 240;

pub fn view(input: &ProfileInput, result: &ProfileOutput) -> View {
    let points = fewer(&result.curves);
    let mut blocks = vec![Block::Figures(figures(input, result)), Block::Chart(current(result, &points))];
    if let Some(reading) = &result.reading {
        blocks.push(Block::Chart(error(reading, &points, on_start(input))));
        blocks.push(Block::Table(sources(reading)));
    }
    if result.element.is_some_and(|element| !element.ran_away) {
        blocks.push(Block::Chart(temperature(result, &points)));
    }
    blocks.push(Block::Chart(spread(result)));
    if !result.beyond.is_empty() {
        blocks.push(Block::Table(beyond(result)));
    }
    blocks.push(Block::Table(recognised(result)));
    if !result.lines.first_left_out.is_empty() {
        blocks.push(Block::Table(left_out(result)));
    }
    if !result.gaps.first.is_empty() {
        blocks.push(Block::Table(gaps(result)));
    }
    let lines = &result.lines;
    View {
        lead: format!(
            "{} flow out and {} in within {}",
            ampere_hour(result.discharge_ah),
            ampere_hour(result.charge_ah),
            second(result.duration_s)
        ),
        more: format!(
            "{} rows, {}. Lines of names: {}; comments and empty lines: {}; rows at the time of the row before: {}; left out: {}.",
            lines.rows,
            input.handling.integration.label().to_lowercase(),
            lines.header,
            lines.beside,
            lines.same_time,
            lines.left_out
        ),
        blocks,
    }
}

/// What is said of a reading by a chain of which nobody typed all values.
fn on_start(input: &ProfileInput) -> &'static str {
    if untouched(input).is_empty() { "" } else { "; on start values" }
}

fn figures(input: &ProfileInput, result: &ProfileOutput) -> Vec<Figure> {
    let mut figures = vec![Figure::of("Net discharge", ampere_hour(result.net_ah), "out less in")];
    if let Some(rms) = result.rms_a {
        figures.push(Figure::of("Effective current", ampere(rms), "over the whole time"));
    }
    let at = |line: u64| format!("line {line}");
    figures.push(Figure::of("Largest", ampere(result.highest.current_a), at(result.highest.line)));
    figures.push(Figure::of("Smallest", ampere(result.lowest.current_a), at(result.lowest.line)));
    if let Some(energy) = result.energy_net_j {
        figures.push(Figure::of("Energy", joule(energy), "out less in"));
    }
    if let Some(element) = result.element
        && let Some(degc) = element.highest_degc
    {
        figures.push(Figure::of("Element, hottest", celsius(degc), at(element.line)));
    }
    if let Some(reading) = &result.reading {
        let on_start = on_start(input);
        let note = format!("one part: known errors and one draw of the noise{on_start}");
        figures.push(Figure::of("Net discharge, as read", ampere_hour(reading.read_ah), note));
        let note = format!("every limit, and three times the noise{on_start}");
        figures.push(Figure::of("Highest error", ampere_hour(reading.highest_ah), note.clone()));
        figures.push(Figure::of("Lowest error", ampere_hour(reading.lowest_ah), note));
    }
    figures
}

/// Points merged until few enough are left: extremes stay, a mean is that of the rows.
fn fewer(curves: &[CurvePoint]) -> Vec<CurvePoint> {
    let every = curves.len().div_ceil(DRAWN).max(1);
    let merged = curves.chunks(every).filter_map(|points| {
        points.iter().copied().reduce(|all, next| {
            let rows = (all.rows + next.rows) as f64;
            CurvePoint {
                from_s: all.from_s,
                rows: all.rows + next.rows,
                lowest_a: all.lowest_a.min(next.lowest_a),
                highest_a: all.highest_a.max(next.highest_a),
                mean_a: (all.mean_a * all.rows as f64 + next.mean_a * next.rows as f64) / rows,
                element_degc: all.element_degc.into_iter().chain(next.element_degc).reduce(f64::max),
                ..next
            }
        })
    });
    merged.collect()
}

fn time() -> Axis {
    Axis::linear("time", Unit::Second)
}

fn current(result: &ProfileOutput, points: &[CurvePoint]) -> Chart {
    let axis = Axis::linear("current", Unit::Ampere);
    let mut chart = Series::new("current", "Current over time", points, time(), |point| point.from_s, axis);
    chart.curve("largest", Stroke::Thin, |point| Some(point.highest_a));
    chart.curve("mean", Stroke::Main, |point| Some(point.mean_a));
    chart.curve("smallest", Stroke::Thin, |point| Some(point.lowest_a));
    for limit in &result.beyond {
        chart.level("watched", limit.limit_a);
    }
    let finding =
        format!("The current runs from {} to {}", ampere(result.lowest.current_a), ampere(result.highest.current_a));
    chart.chart(finding, "Discharge is positive; each point has the extremes and the mean of its rows.")
}

fn error(reading: &Reading, points: &[CurvePoint], on_start: &str) -> Chart {
    let axis = Axis::linear("error of the count", Unit::AmpereHour);
    let mut chart = Series::new("error", "Error of the count over time", points, time(), |point| point.from_s, axis);
    chart.curve("highest", Stroke::Second, |point| point.error_high_ah);
    chart.curve("of known sign", Stroke::Main, |point| point.error_ah);
    chart.curve("lowest", Stroke::Second, |point| point.error_low_ah);
    let finding = format!(
        "At the end the count is between {} too low and {} too high",
        ampere_hour(-reading.lowest_ah),
        ampere_hour(reading.highest_ah)
    );
    let limits = "Every limit in one direction, and three standard deviations of the noise";
    chart.chart(finding, format!("Counted less true net discharge. {limits}{on_start}."))
}

fn temperature(result: &ProfileOutput, points: &[CurvePoint]) -> Chart {
    let axis = Axis::linear("element temperature", Unit::Celsius);
    let mut chart = Series::new("element", "Element temperature over time", points, time(), |point| point.from_s, axis);
    chart.curve("element", Stroke::Main, |point| point.element_degc);
    let hottest = result
        .element
        .and_then(|element| element.highest_degc)
        .map_or_else(String::new, |degc| celsius(degc).to_string());
    chart.chart(format!("The element reaches {hottest}"), "One thermal node that begins at ambient temperature.")
}

/// A bin: where it begins, and its share of the time.
struct Bin {
    from_a: f64,
    seconds: f64,
}

fn spread(result: &ProfileOutput) -> Chart {
    let spread = &result.spread;
    let begin = |index: usize| spread.from_a + index as f64 * spread.width_a;
    let bins: Vec<Bin> = spread
        .seconds_s
        .iter()
        .enumerate()
        .map(|(index, seconds)| Bin { from_a: begin(index), seconds: *seconds })
        .collect();
    let (x, y) = (Axis::linear("current", Unit::Ampere), Axis::linear("time", Unit::Second));
    let mut chart = Series::new("spread", "Time over current", &bins, x, |bin| bin.from_a, y).every(1);
    chart.column("Time", Unit::Second, |bin| Some(bin.seconds));
    let outline = bins.iter().flat_map(|bin| [[bin.from_a, bin.seconds], [bin.from_a + spread.width_a, bin.seconds]]);
    chart.shape("time", Stroke::Main, outline.collect());
    let most = bins.iter().max_by(|a, b| a.seconds.total_cmp(&b.seconds));
    let finding = most.map_or_else(String::new, |bin| {
        format!(
            "Most of the time, {}, the current is between {} and {}",
            percent(share(bin.seconds, result.duration_s)),
            ampere(bin.from_a),
            ampere(bin.from_a + spread.width_a)
        )
    });
    chart.chart(finding, format!("Bins of {}.", ampere(spread.width_a)))
}

fn share(seconds: f64, all: f64) -> f64 {
    if all > 0.0 { seconds / all * 100.0 } else { 0.0 }
}

fn sources(reading: &Reading) -> Table {
    let table = Columns::new("sources", "Error of the count by source", "Source", &reading.sources, |_, source| {
        capital(source.source)
    });
    table
        .note("A limit as with a positive value; what is known with its sign. Signs are summed over time first.")
        .column("Error", Unit::AmpereHour, |source| source.error_ah)
        .words("Kind", |source| if source.known { "of known sign" } else { "limit" })
        .table()
}

fn beyond(result: &ProfileOutput) -> Table {
    Columns::new("beyond", "Time beyond the watched currents", "Current", &result.beyond, |_, limit| {
        format!("{} {}", if limit.limit_a < 0.0 { "below" } else { "above" }, ampere(limit.limit_a))
    })
    .column("Time", Unit::Second, |limit| limit.time_s)
    .column("Longest without a break", Unit::Second, |limit| limit.longest_s)
    .words("How often", |limit| limit.times.to_string())
    .table()
}

fn recognised(result: &ProfileOutput) -> Table {
    let rows = result.recognised.iter().map(|one| Row {
        head: one.option.rsplit('/').next().unwrap_or_default().replace('_', " "),
        note: String::new(),
        cells: vec![one.value.as_str().into(), one.because.as_str().into()],
    });
    Table {
        id: "recognised".into(),
        caption: "How the text was read".into(),
        note: "Each can be typed.".into(),
        columns: vec![Column::words("Taken as"), Column::words("Because")],
        head: "What".into(),
        heads: None,
        rows: rows.collect(),
    }
}

fn left_out(result: &ProfileOutput) -> Table {
    Columns::new(
        "left-out",
        "Rows that were left out, the first twenty",
        "Line",
        &result.lines.first_left_out,
        |_, row| row.line.to_string(),
    )
    .words("Column", |row| row.column.to_string())
    .words("What is wrong", |row| row.code)
    .words("Given", |row| row.got.clone())
    .table()
}

fn gaps(result: &ProfileOutput) -> Table {
    Columns::new("gaps", "Gaps, the first twenty", "Line", &result.gaps.first, |_, gap| gap.line.to_string())
        .column("Begins", Unit::Second, |gap| gap.from_s)
        .column("Length", Unit::Second, |gap| gap.gap_s)
        .table()
}
