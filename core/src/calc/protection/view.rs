//! The page of a threshold.

use super::findings::way_out;
use super::window::Terms;
use super::{ThresholdLever, ThresholdOutput, ThresholdRisk};
use crate::quantity::{Quantity, Unit, say};
use crate::report::{
    Axis, Block, Cell, Chart, Column, Curve, Figure, LineRow, NumberLine, Row, Stroke, Table, Verdict, View,
};

pub(super) fn view(terms: &Terms, result: &ThresholdOutput) -> View {
    let judged = &result.judged;
    View {
        lead: lead(terms, result),
        more: more(terms, result),
        checks: result.checks.clone(),
        blocks: vec![
            Block::NumberLine(NumberLine {
                id: "threshold".into(),
                finding: lead(terms, result),
                conditions: format!(
                    "{}; error ±{}, {} at {}",
                    terms.name,
                    terms.say_difference(result.consumed.error_normal.max(result.consumed.error_hazard)),
                    if terms.in_a_row == 1 {
                        "one sample".into()
                    } else {
                        format!("{} samples in a row", terms.in_a_row)
                    },
                    say(terms.sample_hz, Unit::Hertz)
                ),
                title: format!("{}: threshold between operation and hazard", terms.name),
                rows: vec![line(terms, result)],
                table: values(terms, result),
            }),
            Block::Figures(figures(terms, result)),
            Block::Table(levers(terms, result)),
            Block::Chart(risks(terms, result)),
        ],
        care: care(terms, result, judged.harm_margin < 0.0),
    }
}

fn lead(terms: &Terms, result: &ThresholdOutput) -> String {
    let judged = &result.judged;
    if !result.has_room {
        return format!("No value works: short by {}", terms.say_difference(-result.width));
    }
    if !judged.given {
        return format!(
            "Any threshold from {} to {} holds both sides; the middle is {}",
            terms.say(result.low_edge),
            terms.say(result.high_edge),
            terms.say(judged.threshold)
        );
    }
    let threshold = terms.say(judged.threshold);
    if judged.nuisance_margin < 0.0 {
        format!("{threshold} may trip in allowed operation: short by {}", terms.say_difference(-judged.nuisance_margin))
    } else if judged.harm_margin < 0.0 {
        format!("{threshold} may trip too late: short by {}", terms.say_difference(-judged.harm_margin))
    } else {
        format!(
            "{threshold} holds both sides: {} left towards operation, {} towards the hazard",
            terms.say_difference(judged.nuisance_margin),
            terms.say_difference(judged.harm_margin)
        )
    }
}

fn more(terms: &Terms, result: &ThresholdOutput) -> String {
    let largest = result
        .levers
        .iter()
        .filter(|lever| lever.takes.is_some_and(|takes| takes > 0.0))
        .max_by(|a, b| a.takes.unwrap_or(0.0).total_cmp(&b.takes.unwrap_or(0.0)));
    let takes = largest.map_or_else(
        || "Nothing is taken of it.".into(),
        |lever| {
            format!(
                "{} takes the most of the {} between operation and hazard: {}.",
                lever.label,
                terms.say_difference(result.available),
                terms.say_difference(lever.takes.unwrap_or(0.0))
            )
        },
    );
    match way_out(result) {
        Some(way) => format!("{takes} Enough alone: {way}."),
        None => takes,
    }
}

/// The row of the number line, also for a page with several thresholds.
pub fn line(terms: &Terms, result: &ThresholdOutput) -> LineRow {
    let outside = result.judged.nuisance_margin < 0.0 || result.judged.harm_margin < 0.0;
    LineRow {
        label: terms.name.into(),
        reading: lead(terms, result),
        unit: terms.unit,
        difference: terms.difference,
        normal: terms.normal,
        nuisance_edge: result.nuisance_edge,
        harm_edge: result.harm_edge,
        hazard: terms.hazard,
        threshold: result.judged.threshold,
        chosen: result.judged.given,
        error: result.consumed.error_normal.max(result.consumed.error_hazard),
        verdict: if outside { Verdict::Fails } else { Verdict::of(Some(result.used_percent)) },
    }
}

fn values(terms: &Terms, result: &ThresholdOutput) -> Table {
    let s = terms.sign();
    let threshold = if result.judged.given { "Threshold, given" } else { "Middle between the edges" };
    let normal = if terms.over { "Highest normal value" } else { "Lowest normal value" };
    Table {
        id: "threshold-values".into(),
        caption: format!("{}: from operation to hazard", terms.name),
        note: String::new(),
        head: "Point".into(),
        columns: vec![Column::of("Value", terms.unit), Column::of("From the normal value", terms.difference)],
        rows: [
            (normal, terms.normal),
            ("Edge towards operation", result.nuisance_edge),
            (threshold, result.judged.threshold),
            ("Edge towards the hazard", result.harm_edge),
            ("Hazard", terms.hazard),
        ]
        .into_iter()
        .map(|(head, value)| Row {
            head: head.into(),
            note: String::new(),
            cells: vec![Cell::Number(value), Cell::Number(s * (value - terms.normal))],
        })
        .collect(),
    }
}

fn figures(terms: &Terms, result: &ThresholdOutput) -> Vec<Figure> {
    let judged = &result.judged;
    let mut figures = vec![
        Figure::new(
            "Not below",
            result.low_edge,
            terms.unit,
            if terms.over { "no nuisance trip" } else { "no missed trip" },
        ),
        Figure::new(
            "Not above",
            result.high_edge,
            terms.unit,
            if terms.over { "no missed trip" } else { "no nuisance trip" },
        ),
        Figure::new("Room", result.width, terms.difference, if result.has_room { "between them" } else { "none" }),
    ];
    if let Some(suggested) = result.suggested {
        figures.push(Figure::new("Middle", suggested, terms.unit, "equal distance to both edges"));
    }
    if let Some(balanced) = result.balanced {
        let note = format!("{} standard uncertainties on each side", say(balanced.sigmas, Unit::One));
        figures.push(Figure::new("Equal risk", balanced.threshold, terms.unit, note));
    }
    let at = format!("at {}", terms.say(judged.threshold));
    figures.push(Figure::new("Nuisance trips an hour", judged.nuisance_per_hour, Unit::One, at.clone()));
    if let Some(crossings) = judged.crossings_per_hour {
        figures.push(Figure::new("Crossings by noise an hour", crossings, Unit::One, "no more trips than these"));
    }
    figures.push(Figure::new("Chance of a missed trip", judged.missed_probability, Unit::One, at));
    if let (Some(release), Some(margin)) = (result.release.value, result.release.margin) {
        let note = format!("{} left to the normal value with its error", terms.say_difference(margin));
        figures.push(Figure::new("Released at", release, terms.unit, note));
    }
    if let Some(sag) = result.sag {
        let note = format!("sag of {}", say(sag.sag_v, Unit::Volt));
        figures.push(Figure::new("Limit under load", sag.under_load_v, Unit::Volt, note));
    }
    figures
}

fn levers(terms: &Terms, result: &ThresholdOutput) -> Table {
    let missing = result.levers.iter().any(|lever| lever.enough_at.is_some());
    Table {
        id: "levers".into(),
        caption: if missing { "What alone would be enough, smallest change first" } else { "What takes the room" }
            .into(),
        note: "Halving a value gives half of what it takes; for the rate of samples, doubling it.".into(),
        head: "Term".into(),
        columns: vec![
            Column::words("Now"),
            Column::of("Takes", terms.difference),
            Column::of("Halved gives", terms.difference),
            Column::words("Enough at"),
            Column::of("Change", Unit::Percent),
        ],
        rows: result.levers.iter().map(lever).collect(),
    }
}

/// Less than this is not drawn: no distribution is known so far out.
const LEAST_PROBABILITY: f64 = 1e-12;

fn risks(terms: &Terms, result: &ThresholdOutput) -> Chart {
    let judged = &result.judged;
    let along = |with: fn(&ThresholdRisk) -> f64| {
        let mut points: Vec<[f64; 2]> = result
            .curve
            .iter()
            .map(|point| [point.threshold, with(point)])
            .filter(|point| point[1] >= LEAST_PROBABILITY)
            .collect();
        points.sort_by(|a, b| a[0].total_cmp(&b[0]));
        points
    };
    let row = if terms.in_a_row == 1 { "sample".into() } else { format!("row of {} samples", terms.in_a_row) };
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
        title: "Risks against the threshold".into(),
        x: Axis::linear("threshold", terms.unit),
        y: Axis::log("probability", Unit::One),
        curves: vec![
            Curve { label: "missed trip".into(), stroke: Stroke::Main, points: along(|point| point.missed) },
            Curve { label: "nuisance trip".into(), stroke: Stroke::Second, points: along(|point| point.nuisance) },
        ],
        marks: Vec::new(),
        table: Table {
            id: "risks-values".into(),
            caption: "Risks against the threshold".into(),
            note: format!("Nuisance: each {row}."),
            head: "Threshold".into(),
            columns: vec![Column::of("Missed trip", Unit::One), Column::of("Nuisance trip", Unit::One)],
            rows: result
                .curve
                .iter()
                .step_by(5)
                .map(|point| Row {
                    head: terms.say(point.threshold),
                    note: String::new(),
                    cells: vec![Cell::Number(point.missed), Cell::Number(point.nuisance)],
                })
                .collect(),
        },
    }
}

fn lever(lever: &ThresholdLever) -> Row {
    let words = |value: f64| Cell::Words(Quantity::new(value, lever.unit).brief(4).to_string());
    Row {
        head: lever.label.clone(),
        note: if lever.takes.is_none() {
            "change relative to the distance to the hazard".into()
        } else {
            String::new()
        },
        cells: vec![
            words(lever.value),
            lever.takes.into(),
            lever.halved_gives.into(),
            lever.enough_at.map_or(Cell::Empty, words),
            lever.change_percent.into(),
        ],
    }
}

fn care(terms: &Terms, result: &ThresholdOutput, late: bool) -> Vec<String> {
    let mut care = Vec::new();
    if !result.has_room {
        let owner = match terms.unit {
            Unit::Ampere => {
                "Changing the limit is not a way out: it belongs to the maker of the part that it protects."
            }
            _ => "Changing the limit of the cell is not a way out: it belongs to the cell manufacturer.",
        };
        care.push(format!("No threshold satisfies both conditions with these errors. {owner}"));
    }
    if terms.method.is_statistical() {
        care.push("A statistical total is used for a protective limit. Many projects require worst case here; confirm with the person responsible for safety.".into());
    }
    if terms.unit == Unit::Celsius && !terms.over && late {
        care.push("Charging outside the cell maker's temperature and voltage range can lead to later internal short circuits and fire. The cell maker's limits prevail over anything on this page.".into());
    }
    care
}

/// A chance in a sentence: what a double can no longer tell from nothing is below what is drawn.
fn chance(value: f64, word: &str) -> String {
    if value < LEAST_PROBABILITY {
        return format!("below {LEAST_PROBABILITY:e}").replace('-', "−");
    }
    format!("{word}{}", say(value, Unit::One))
}
