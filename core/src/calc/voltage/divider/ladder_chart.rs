//! The stress of every element of a string as a chart: a plateau for each element, normal, unequal and after one short.

use super::findings::whole_percent;
use super::stress::StressRung;
use crate::quantity::Unit;
use crate::report::{Axis, Cell, Chart, Column, Curve, Row, Stroke, Table};

/// Steps over the place of each element: a plateau from half a place before to half a place after it.
fn plateaus(values: impl Iterator<Item = f64>) -> Vec<[f64; 2]> {
    values
        .enumerate()
        .flat_map(|(index, value)| {
            let place = index as f64 + 1.0;
            [[place - 0.49, value], [place + 0.49, value]]
        })
        .collect()
}

/// The stress of each of `count` upper elements from the rungs of a ladder; `rule_percent` is the house rule.
pub fn chart(ladder: &[StressRung], count: u32, rule_percent: f64, conditions: String) -> Chart {
    let n = count as usize;
    let stress = |id: &str| ladder.iter().find(|rung| rung.id == id).map(|rung| rung.stress_percent);
    let normal = stress("normal").unwrap_or(0.0);
    let unequal = stress("unequal").unwrap_or(normal);
    // The rest shares what the high one leaves.
    let rest = if n > 1 { (normal * n as f64 - unequal) / (n as f64 - 1.0) } else { normal };
    let place = |index: usize, first: f64, others: f64| if index == 0 { first } else { others };
    let mut curves =
        vec![Curve { label: "normal".into(), stroke: Stroke::Main, points: plateaus((0..n).map(|_| normal)) }];
    let mut columns = vec![Column::of("Normal", Unit::Percent), Column::of("Unequal shares", Unit::Percent)];
    curves.push(Curve {
        label: "unequal shares".into(),
        stroke: Stroke::Thin,
        points: plateaus((0..n).map(|index| place(index, unequal, rest))),
    });
    let short = stress("one-short");
    if let Some(short) = short {
        columns.push(Column::of("Element 1 short", Unit::Percent));
        curves.push(Curve {
            label: "element 1 short".into(),
            stroke: Stroke::Second,
            points: plateaus((0..n).map(|index| place(index, 0.0, short))),
        });
    }
    let ends = [0.51, n as f64 + 0.49];
    for (label, percent) in [("house rule, normal use", rule_percent), ("limit", 100.0)] {
        curves.push(Curve {
            label: label.into(),
            stroke: Stroke::Allowed,
            points: ends.map(|x| [x, percent]).to_vec(),
        });
    }
    Chart {
        id: "stress-ladder".into(),
        finding: match short {
            Some(short) => format!(
                "Each element carries {} of its limit, {} after one short",
                whole_percent(normal),
                whole_percent(short)
            ),
            None => format!("The only element carries {} of its limit", whole_percent(normal)),
        },
        conditions,
        title: "Stress of each upper element".into(),
        x: Axis::linear("element", Unit::One),
        y: Axis::linear("share of the limit", Unit::Percent),
        curves,
        marks: Vec::new(),
        table: Table {
            id: "stress-ladder-values".into(),
            caption: "Stress of each upper element".into(),
            note: "Element 1 is the high one of unequal shares, and the shorted one.".into(),
            head: "Element".into(),
            columns,
            rows: (0..n)
                .map(|index| Row {
                    head: (index + 1).to_string(),
                    note: String::new(),
                    cells: [
                        Some(normal),
                        Some(place(index, unequal, rest)),
                        short.map(|short| place(index, 0.0, short)),
                    ]
                    .into_iter()
                    .flatten()
                    .map(Cell::Number)
                    .collect(),
                })
                .collect(),
        },
    }
}
