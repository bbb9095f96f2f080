//! The page of a threshold.

use super::{Terms, ThresholdLever, ThresholdOutput, ThresholdRisk};
use crate::judge::{Judged, Ledger, Verdict};
use crate::quantity::{
    Quantity, Unit, ampere, ampere_squared_second, digits_among, hertz, in_sentence, on_side, one, percent, second,
    volt,
};
use crate::report::kit::Columns;
use crate::report::{Axis, Block, Cell, Chart, Curve, Figure, LineRow, NumberLine, Stroke, Table, View};

pub(super) fn view(terms: &Terms, result: &ThresholdOutput, judged: &Ledger) -> View {
    let error = result.consumed.error_normal.max(result.consumed.error_hazard);
    let lead = lead(terms, result, judged);
    let samples =
        if terms.in_a_row == 1 { "one sample".into() } else { format!("{} samples in a row", terms.in_a_row) };
    let verdict = match judged.verdict() {
        Verdict::Fails => Verdict::Fails,
        _ => judged.find("protection.room").map_or(Verdict::NoLimitSet, |room| judged.verdict_of(room)),
    };
    let row = LineRow {
        label: terms.name.into(),
        reading: lead.clone(),
        unit: terms.unit,
        difference: terms.difference,
        normal: terms.normal,
        nuisance_edge: result.nuisance_edge,
        harm_edge: result.harm_edge,
        hazard: terms.hazard,
        threshold: result.judged.threshold,
        chosen: result.judged.given,
        error,
        verdict,
    };
    let line = NumberLine {
        id: "threshold".into(),
        finding: lead.clone(),
        conditions: format!(
            "{}; error ±{}, {samples} at {}",
            terms.name,
            terms.say_difference(error),
            hertz(terms.sample_hz)
        ),
        title: format!("{}: threshold between operation and hazard", terms.name),
        rows: vec![row],
        table: values(terms, result),
    };
    let blocks = vec![
        Block::NumberLine(line),
        Block::Figures(figures(terms, result)),
        Block::Table(levers(terms, result)),
        Block::Chart(risks(terms, result)),
    ];
    View { lead, more: more(terms, result), blocks }
}

fn lead(terms: &Terms, result: &ThresholdOutput, ledger: &Ledger) -> String {
    let judged = &result.judged;
    if !result.has_room {
        return format!("No value works: short by {}", terms.say_difference(-result.width));
    }
    let threshold = terms.say(judged.threshold);
    // Of what is open, or fails beside both sides, nothing holds yet.
    let all = ledger.open_in_words().is_none() && ledger.count(Verdict::Fails) == 0;
    let holds = if all { "holds" } else { "leaves room on" };
    if !judged.given {
        // Each in words that lie inside.
        let end = |value: f64, low| terms.say(on_side(value, digits_among(value, terms.span()), low));
        let (low, high) = (end(result.low_edge, true), end(result.high_edge, false));
        return format!("Any threshold from {low} to {high} {holds} both sides; the middle is {threshold}");
    }
    let fails = |id: &str| ledger.find(id).is_some_and(Judged::fails);
    if fails("protection.nuisance-side") {
        format!("{threshold} may trip in allowed operation: short by {}", terms.say_difference(-judged.nuisance_margin))
    } else if fails("protection.harm-side") {
        format!("{threshold} may trip too late: short by {}", terms.say_difference(-judged.harm_margin))
    } else if fails("protection.beyond-range") {
        format!("{threshold} may never trip: it lies beyond what its channel reads")
    } else {
        format!(
            "{threshold} {holds} both sides: {} left towards operation, {} towards the hazard",
            terms.say_difference(judged.nuisance_margin),
            terms.say_difference(judged.harm_margin)
        )
    }
}

fn more(terms: &Terms, result: &ThresholdOutput) -> String {
    let taking = result.levers.iter().filter_map(|lever| Some((lever, lever.takes.filter(|takes| *takes > 0.0)?)));
    let takes = taking.max_by(|a, b| a.1.total_cmp(&b.1)).map_or_else(
        || "Nothing is taken of it.".into(),
        |(lever, takes)| {
            format!(
                "{} takes the most of the {} between operation and hazard: {}.",
                lever.label,
                terms.say_difference(result.available),
                terms.say_difference(takes)
            )
        },
    );
    match way_out(&result.levers) {
        Some(way) => format!("{takes} Enough for this threshold alone: {way}."),
        None if result.has_room => takes,
        None => format!("{takes} No single change is enough."),
    }
}

/// The two smallest changes that are each enough, in a sentence; nothing when none is. Keeping fewer sigma only moves the
/// fault to the nuisance trips.
fn way_out(levers: &[ThresholdLever]) -> Option<String> {
    let way = |lever: &ThresholdLever| {
        let enough_at = lever.enough_at?;
        let say = |value: f64| Quantity::new(value, lever.unit).brief(5);
        Some(format!("{} {} instead of {}", in_sentence(&lever.label), say(enough_at), say(lever.value)))
    };
    let ways: Vec<String> = levers.iter().filter(|lever| lever.id != "noise_sigma").filter_map(way).take(2).collect();
    (!ways.is_empty()).then(|| ways.join(", or "))
}

fn values(terms: &Terms, result: &ThresholdOutput) -> Table {
    let threshold = if result.judged.given { "Threshold, given" } else { "Middle between the edges" };
    let normal = if terms.over { "Highest normal value" } else { "Lowest normal value" };
    let points = [
        (normal, terms.normal),
        ("Edge towards operation", result.nuisance_edge),
        (threshold, result.judged.threshold),
        ("Edge towards the hazard", result.harm_edge),
        ("Hazard", terms.hazard),
    ];
    let caption = format!("{}: from operation to hazard", terms.name);
    Columns::new("threshold-values", &caption, "Point", &points, |_, point| point.0.into())
        .column("Value", terms.unit, |point| point.1)
        .column("From the normal value", terms.difference, |point| terms.sign() * (point.1 - terms.normal))
        .table()
}

fn figures(terms: &Terms, result: &ThresholdOutput) -> Vec<Figure> {
    let judged = &result.judged;
    let (nuisance, missed) = ("no nuisance trip", "no missed trip");
    let (low, high) = if terms.over { (nuisance, missed) } else { (missed, nuisance) };
    let room = if result.has_room { "between them" } else { "none" };
    let at = format!("at {}", terms.say(judged.threshold));
    let all = [
        Some(Figure::of("Not below", terms.value(result.low_edge), low)),
        Some(Figure::of("Not above", terms.value(result.high_edge), high)),
        Some(Figure::of("Room", terms.distance(result.width), room)),
        result.suggested.map(|middle| Figure::of("Middle", terms.value(middle), "equal distance to both edges")),
        result.balanced.map(|balanced| {
            let note = format!("{} standard uncertainties on each side", one(balanced.sigmas));
            Figure::of("Equal risk", terms.value(balanced.threshold), note)
        }),
        Some(Figure::of("Nuisance trips an hour", one(judged.nuisance_per_hour), at.clone())),
        Some(Figure::of("Late trips", percent(judged.late_percent), "hazard passed at opening, error at its limit")),
        Some(Figure::of("Chance of a missed trip", one(judged.missed_probability), at)),
        result.release.value.zip(result.release.margin).map(|(release, margin)| {
            let note = format!("{} left to the normal value with its error", terms.say_difference(margin));
            Figure::of("Released at", terms.value(release), note)
        }),
        result.let_through.map(|worst| {
            let note = format!("worst fault {}, off after {}", ampere(worst.step_a), second(worst.off_after_s));
            Figure::of("I²t until a fault is off", ampere_squared_second(worst.let_through_a2s), note)
        }),
        result.let_through.map(|worst| {
            let note = format!("{} above the threshold", ampere(worst.overshoot_a));
            Figure::of("Largest current at opening", ampere(worst.opening_a), note)
        }),
        result
            .sag
            .map(|sag| Figure::of("Limit under load", volt(sag.under_load_v), format!("sag of {}", volt(sag.sag_v)))),
    ];
    all.into_iter().flatten().collect()
}

fn levers(terms: &Terms, result: &ThresholdOutput) -> Table {
    let missing = result.levers.iter().any(|lever| lever.enough_at.is_some());
    let caption = if missing { "What alone would be enough, smallest change first" } else { "What takes the room" };
    let words = |value: f64, lever: &ThresholdLever| Cell::Words(Quantity::new(value, lever.unit).brief(5).to_string());
    Columns::new("levers", caption, "Term", &result.levers, |_, lever| lever.label.clone())
        .note("Halving a value gives half of what it takes; for the rate of samples, doubling it. What is enough was put back and judged.")
        .small(|lever| lever.takes.map_or("change relative to the distance to the hazard", |_| "").into())
        .words("Now", |lever| words(lever.value, lever))
        .column("Takes", terms.difference, |lever| lever.takes)
        .column("Halved gives", terms.difference, |lever| lever.halved_gives)
        .words("Enough at", |lever| lever.enough_at.map_or(Cell::Empty, |value| words(value, lever)))
        .column("Change", Unit::Percent, |lever| lever.change_percent)
        .table()
}

/// Less than this is not drawn: no distribution is known so far out.
const LEAST_PROBABILITY: f64 = 1e-12;

/// A row of the table for so many points of the chart.
const TABLE_EVERY: usize = 5;

fn risks(terms: &Terms, result: &ThresholdOutput) -> Chart {
    let judged = &result.judged;
    let title = "Risks against the threshold";
    let along = |label: &str, stroke, with: fn(&ThresholdRisk) -> f64| {
        let points = result.curve.iter().map(|point| [point.threshold, with(point)]);
        let mut points: Vec<[f64; 2]> = points.filter(|point| point[1] >= LEAST_PROBABILITY).collect();
        points.sort_by(|a, b| a[0].total_cmp(&b[0]));
        Curve { label: label.into(), stroke, points }
    };
    let row = if terms.in_a_row == 1 { "sample".into() } else { format!("row of {} samples", terms.in_a_row) };
    let shown: Vec<ThresholdRisk> = result.curve.iter().step_by(TABLE_EVERY).copied().collect();
    let table = Columns::new("risks-values", title, "Threshold", &shown, |_, point| terms.say(point.threshold))
        .note(format!("Nuisance: each {row}."))
        .column("Missed trip", Unit::One, |point| point.missed)
        .column("Nuisance trip", Unit::One, |point| point.nuisance);
    Chart {
        id: "risks".into(),
        finding: format!(
            "At {} a trip is missed with a probability {}, noise trips {} times an hour",
            terms.say(judged.threshold),
            chance(judged.missed_probability, "of "),
            chance(judged.nuisance_per_hour, "")
        ),
        conditions: format!(
            "Nuisance: each {row} at the normal extreme, error at its limit; missed: error {}, noise normal",
            if terms.method.is_statistical() { "normal" } else { "rectangular" }
        ),
        title: title.into(),
        x: Axis::linear("threshold", terms.unit),
        y: Axis::log("probability", Unit::One),
        curves: vec![
            along("missed trip", Stroke::Main, |point| point.missed),
            along("nuisance trip", Stroke::Second, |point| point.nuisance),
        ],
        marks: Vec::new(),
        table: table.table(),
    }
}

/// A chance in a sentence: what a double can no longer tell from nothing is below what is drawn.
fn chance(value: f64, word: &str) -> String {
    if value < LEAST_PROBABILITY {
        return format!("below {LEAST_PROBABILITY:e}").replace('-', "−");
    }
    format!("{word}{}", one(value))
}
