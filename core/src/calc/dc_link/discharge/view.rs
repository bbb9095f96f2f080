//! The discharge for a reader.

use super::input::DischargeInput;
use super::output::{DischargeOutput, DischargePoint};
use crate::constant::TOUCH_SAFE_V;
use crate::quantity::{Quantity, Unit, say};
use crate::report::{
    Axis, Block, Cell, Chart, Column, Curve, Figure, Finding, Mark, Row, Step, Stroke, Table, Verdict, View,
};

pub(super) fn view(input: &DischargeInput, result: &DischargeOutput, findings: &[Finding]) -> View {
    let mut view = View { checks: result.checks.clone(), care: care(input, result), ..View::default() };
    let verdict = view.verdict(findings);
    let time = |seconds: Option<f64>| seconds.map(|seconds| say(seconds, Unit::Second));
    let active = time(result.active.as_ref().and_then(|way| way.time_s));
    let passive = time(result.passive.as_ref().and_then(|way| way.time_s));
    let safe = say(input.safe_v, Unit::Volt);
    let what = match (active, passive) {
        (Some(active), Some(passive)) => format!("{safe} after {active} active, {passive} passive"),
        (Some(active), None) => format!("{safe} after {active} active, and no bleeder"),
        (None, Some(passive)) => format!("{safe} after {passive} passive"),
        (None, None) => "Nothing discharges the link".into(),
    };
    view.lead = match verdict {
        Verdict::Fails => format!("{what}: a requirement fails"),
        Verdict::Thin => format!("{what}, with little left"),
        _ => what,
    };
    view.more = format!(
        "The link holds {} at {}. Times are the longest: every value at its slow limit.",
        say(result.stored_j, Unit::Joule),
        say(input.start_v, Unit::Volt)
    );
    view.blocks.push(Block::Figures(figures(input, result)));
    if !result.curve.is_empty() {
        view.blocks.push(Block::Chart(chart(input, result)));
    }
    view.blocks.push(Block::Table(table(result)));
    view
}

fn figures(input: &DischargeInput, result: &DischargeOutput) -> Vec<Figure> {
    let mut figures = Vec::new();
    for (name, way, limit) in
        [("Active", &result.active, input.active.limit_s), ("Passive", &result.passive, input.passive.limit_s)]
    {
        if let Some((way, time)) = way.as_ref().and_then(|way| way.time_s.map(|time| (way, time))) {
            let note = format!("of {} allowed", say(limit, Unit::Second));
            figures.push(Figure::new(&format!("{name} discharge"), time, Unit::Second, note));
            figures.push(Figure::new(&format!("{name}, power at the start"), way.start_w, Unit::Watt, "nominal"));
            if way.highest_w > way.start_w {
                let note = "at the tolerance that takes most";
                figures.push(Figure::new(&format!("{name}, highest power"), way.highest_w, Unit::Watt, note));
            }
        }
    }
    figures.push(Figure::new("Energy of the link", result.stored_j, Unit::Joule, "½ C V²"));
    if let Some(weld) = &result.weld {
        figures.push(Figure::new(
            "Drop for the weld test",
            weld.drop_v,
            Unit::Volt,
            format!("two readings are good to {}", say(weld.error_v, Unit::Volt)),
        ));
    }
    figures
}

fn chart(input: &DischargeInput, result: &DischargeOutput) -> Chart {
    let line = |pick: fn(&DischargePoint) -> Option<f64>| -> Vec<[f64; 2]> {
        result.curve.iter().filter_map(|point| pick(point).map(|v| [point.time_s, v])).collect()
    };
    let (first, last) = (result.curve.first().map_or(0.0, |p| p.time_s), result.curve.last().map_or(0.0, |p| p.time_s));
    let mut curves = vec![Curve {
        label: "to be reached".into(),
        stroke: Stroke::Allowed,
        points: vec![[first, input.safe_v], [last, input.safe_v]],
    }];
    let mut marks = Vec::new();
    let mut readings = Vec::new();
    for (name, way, limit, stroke, pick) in [
        (
            "active",
            &result.active,
            input.active.limit_s,
            Stroke::Main,
            (|point| point.active_v) as fn(&DischargePoint) -> Option<f64>,
        ),
        ("passive", &result.passive, input.passive.limit_s, Stroke::Second, |point| point.passive_v),
    ] {
        let Some(way) = way else { continue };
        curves.push(Curve { label: name.into(), stroke, points: line(pick) });
        let left = way.left_v;
        marks.push(Mark { x: limit, y: left, label: format!("{name}, {}", say(limit, Unit::Second)) });
        readings.push(format!("{name} {} left after {}", say(left, Unit::Volt), say(limit, Unit::Second)));
    }
    Chart {
        id: "decay".into(),
        finding: capital(&readings.join("; ")),
        conditions: format!("From {}, slowest, each way alone", say(input.start_v, Unit::Volt)),
        title: "Link voltage after the source is disconnected".into(),
        x: Axis::log("time", Unit::Second),
        y: Axis::linear("link voltage", Unit::Volt),
        curves,
        marks,
        table: Table {
            id: "decay-values".into(),
            caption: "Link voltage after the source is disconnected".into(),
            note: String::new(),
            head: "Time".into(),
            columns: vec![Column::of("Active", Unit::Volt), Column::of("Passive", Unit::Volt)],
            rows: result
                .curve
                .iter()
                .step_by(5)
                .map(|point| Row {
                    head: say(point.time_s, Unit::Second),
                    note: String::new(),
                    cells: vec![point.active_v.into(), point.passive_v.into()],
                })
                .collect(),
        },
    }
}

/// The sentence with its first letter as a capital.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn table(result: &DischargeOutput) -> Table {
    let mut rows = Vec::new();
    let mut add = |head: String, value: Option<f64>, unit: Unit, note: &str| {
        if let Some(value) = value {
            rows.push(Row { head, note: note.into(), cells: vec![Cell::Words(say(value, unit))] });
        }
    };
    for (name, way) in [("Active", &result.active), ("Passive", &result.passive)] {
        let Some(way) = way else { continue };
        add(format!("{name}: longest time"), way.time_s, Unit::Second, "every value at its slow limit");
        add(format!("{name}: nominal time"), way.nominal_s, Unit::Second, "");
        add(format!("{name}: left after the allowed time"), Some(way.left_v), Unit::Volt, "");
        add(format!("{name}: energy left then"), Some(way.left_j), Unit::Joule, "");
        add(
            format!("{name}: largest resistance for the time"),
            way.largest_ohm,
            Unit::Ohm,
            "nominal, with its tolerance",
        );
        add(format!("{name}: its power at the start"), way.largest_w, Unit::Watt, "");
    }
    add("Both together".into(), result.together_s, Unit::Second, "slowest");
    add("Energy to be removed".into(), Some(result.removed_j), Unit::Joule, "");
    add("Active with the pack connected".into(), result.connected_j, Unit::Joule, "within its allowed time, at most");
    if let Some(weld) = &result.weld {
        add("Weld test: shortest time".into(), weld.shortest_s, Unit::Second, "until the drop exceeds two readings");
    }
    Table {
        id: "ways".into(),
        caption: "Ways to discharge".into(),
        note: "Each way alone, the source disconnected.".into(),
        head: "Quantity".into(),
        columns: vec![Column::words("Value")],
        rows,
    }
}

fn care(input: &DischargeInput, result: &DischargeOutput) -> Vec<String> {
    let mut care = Vec::new();
    for (way, limit) in [(&result.active, input.active.limit_s), (&result.passive, input.passive.limit_s)] {
        if let Some(left) = way.as_ref().map(|way| way.left_v)
            && left > input.safe_v
        {
            care.push(format!(
                "After {} the link still holds {}. Do not rely on time alone: measure with a suitable instrument proven before and after.",
                say(limit, Unit::Second),
                say(left, Unit::Volt)
            ));
        }
    }
    if care.is_empty() && input.start_v > TOUCH_SAFE_V {
        care.push(format!(
            "The link holds {} at {}. Treat it as charged until measured as discharged.",
            say(result.stored_j, Unit::Joule),
            say(input.start_v, Unit::Volt)
        ));
    }
    care
}

pub(super) fn working(input: &DischargeInput, result: &DischargeOutput) -> Vec<Step> {
    let q = Quantity::new;
    let source = "C dv/dt = −v/R − I − P/v, integrated";
    let (v0, v1) = (say(input.start_v, Unit::Volt), say(input.safe_v, Unit::Volt));
    let c = say(input.largest_farad(), Unit::Farad);
    let mut steps = vec![Step::new(
        "Energy of the link",
        "E",
        "½ C V0²",
        format!("½ · {c} · ({v0})²"),
        q(result.stored_j, Unit::Joule),
        "energy of a capacitor",
    )];
    for (name, path, way) in [
        ("Active discharge", input.active_slowest(), &result.active),
        ("Passive discharge", input.passive_slowest(), &result.passive),
    ] {
        let (Some(path), Some(time)) = (path, way.as_ref().and_then(|way| way.time_s)) else { continue };
        let (formula, numbers) = match path.ohm {
            Some(ohm) => ("R C ln(V0/Vs)", format!("{} · {c} · ln({v0}/{v1})", say(ohm, Unit::Ohm))),
            None if path.watt > 0.0 => {
                ("C (V0² − Vs²)/(2 P)", format!("{c} · (({v0})² − ({v1})²)/(2 · {})", say(path.watt, Unit::Watt)))
            }
            None => ("C (V0 − Vs)/I", format!("{c} · ({v0} − {v1})/{}", say(path.ampere, Unit::Ampere))),
        };
        steps.push(Step::new(name, "t", formula, numbers, q(time, Unit::Second), source));
    }
    if let Some(weld) = &result.weld {
        steps.push(Step::new(
            "Error of two readings",
            "2 e",
            "2 e",
            format!("2 · {}", say(0.5 * weld.error_v, Unit::Volt)),
            q(weld.error_v, Unit::Volt),
            "limits added: worst case",
        ));
    }
    steps
}
