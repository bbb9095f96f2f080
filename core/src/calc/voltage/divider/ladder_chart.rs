//! The stress of every element of a string as a chart: a plateau for each element, normal, unequal and after one short.

use super::requirements::whole_percent;
use super::stress::StressRung;
use crate::quantity::Unit;
use crate::report::kit::Columns;
use crate::report::{Axis, Chart, Curve, Stroke};

/// One element: its shares of the limit, percent.
struct Place {
    normal: f64,
    unequal: f64,
    short: Option<f64>,
}

/// The stress of each of `count` upper elements from the rungs of a ladder; `rule_percent` is the derating limit.
pub fn chart(ladder: &[StressRung], count: u32, rule_percent: f64, conditions: String) -> Chart {
    let n = count as usize;
    let stress = |id: &str| ladder.iter().find(|rung| rung.id == id).map(|rung| rung.stress_percent);
    let (normal, short) = (stress("normal").unwrap_or(0.0), stress("one-short"));
    let unequal = stress("unequal").unwrap_or(normal);
    // The rest shares what the high one leaves.
    let rest = if n > 1 { (normal * n as f64 - unequal) / (n as f64 - 1.0) } else { normal };
    let places: Vec<Place> = (0..n)
        .map(|index| match index {
            0 => Place { normal, unequal, short: short.map(|_| 0.0) },
            _ => Place { normal, unequal: rest, short },
        })
        .collect();
    let title = "Stress of each upper element";
    let mut table = Columns::new("stress-ladder-values", title, "Element", &places, |index, _| (index + 1).to_string())
        .note("Element 1 is the high one of unequal shares, and the shorted one.")
        .column("Normal", Unit::Percent, |place| place.normal)
        .column("Unequal shares", Unit::Percent, |place| place.unequal);
    let curve = |label: &str, stroke: Stroke, pick: fn(&Place) -> f64| Curve {
        label: label.into(),
        stroke,
        points: plateaus(places.iter().map(pick)),
    };
    let mut curves = vec![
        curve("normal", Stroke::Main, |place| place.normal),
        curve("unequal shares", Stroke::Thin, |place| place.unequal),
    ];
    if short.is_some() {
        table = table.column("Element 1 short", Unit::Percent, |place| place.short);
        curves.push(curve("element 1 short", Stroke::Second, |place| place.short.unwrap_or(0.0)));
    }
    let ends = [0.51, n as f64 + 0.49];
    for (label, percent) in [("derating limit, normal use", rule_percent), ("limit", 100.0)] {
        let points = ends.map(|x| [x, percent]).to_vec();
        curves.push(Curve { label: label.into(), stroke: Stroke::Allowed, points });
    }
    let carries = whole_percent(normal);
    Chart {
        id: "stress-ladder".into(),
        finding: match short.map(whole_percent) {
            Some(short) => format!("Each element carries {carries} of its limit, {short} after one short"),
            None => format!("The only element carries {carries} of its limit"),
        },
        conditions,
        title: title.into(),
        x: Axis::linear("element", Unit::One),
        y: Axis::linear("share of the limit", Unit::Percent),
        curves,
        marks: Vec::new(),
        table: table.table(),
    }
}

/// Steps over the place of each element: a plateau from half a place before to half a place after it.
fn plateaus(values: impl Iterator<Item = f64>) -> Vec<[f64; 2]> {
    let step = |(index, value)| {
        let place = index as f64 + 1.0;
        [[place - 0.49, value], [place + 0.49, value]]
    };
    values.enumerate().flat_map(step).collect()
}
