//! The table's numbers for a reader.

use super::{ThermistorTableInput, ThermistorTableOutput};
use crate::quantity::{Quantity, Unit, say};
use crate::report::worked::n;
use crate::report::{Axis, Block, Cell, Chart, Column, Curve, Figure, Listing, Mark, Row, Step, Stroke, Table, View};

/// Buckets of the chart: each shows its smallest and its largest error.
const BUCKETS: usize = 160;
/// Nodes that a page lists; the answer has all of them.
const LISTED: usize = 200;

pub(super) fn working(input: &ThermistorTableInput, result: &ThermistorTableOutput) -> Vec<Step> {
    let q = Quantity::new;
    let codes = result.code_max - result.code_min + 1;
    let allowed = q(input.max_error_k, Unit::Kelvin);
    let at = q(result.worst_error_degc, Unit::Celsius);
    let off = q(result.worst_error_degc + result.worst_error_k, Unit::Celsius);
    vec![
        Step::worked(
            "Codes of the table",
            "n",
            "floor(code(end)) − ceil(code(start)) + 1",
            q(f64::from(codes), Unit::One),
            "definition",
            |_| n(result.code_max) - n(result.code_min) + n(1),
        ),
        Step::worked(
            "Entry for the lines",
            "e_line",
            "e − 1/(2 s)",
            q(input.max_error_k - 0.5 / f64::from(input.steps_per_k), Unit::Kelvin),
            "rounding to the nearest output step, by hand",
            |p| p.of(allowed) - n(1) / (n(2) * n(input.steps_per_k)),
        ),
        Step::worked(
            "Nodes that the bend asks for, about",
            "N_est",
            "s + 1, s = ∫ √(|T''|/(8 e)) dc by second differences over the codes",
            q(result.estimate, Unit::One),
            "chord error h² |T''|/8 of a parabola",
            |p| p.of(q(result.estimate - 1.0, Unit::One)) + n(1),
        ),
        Step::worked(
            "Largest error",
            "E",
            "|T_int(c) − T(c)| at the code where it is largest",
            q(result.worst_error_k, Unit::Kelvin),
            "by exhaustion",
            |p| (p.of(off) - p.of(at)).abs(),
        ),
    ]
}

pub(super) fn view(input: &ThermistorTableInput, result: &ThermistorTableOutput, errors: &[[f64; 2]]) -> View {
    let count = f64::from(result.node_count);
    View {
        lead: format!("{} nodes keep every code within {}", result.node_count, say(input.max_error_k, Unit::Kelvin)),
        more: format!(
            "The largest error is {} at code {} ({}), rounding of values and of the integer division included. The error of the sensor comes on top.",
            say(result.worst_error_k, Unit::Kelvin),
            result.worst_error_code,
            say(result.worst_error_degc, Unit::Celsius)
        ),
        blocks: vec![
            Block::Figures(vec![
                Figure::new("Nodes", count, Unit::One, input.placement.label()),
                Figure::new(
                    "Largest error",
                    result.worst_error_k,
                    Unit::Kelvin,
                    format!("of {}", say(input.max_error_k, Unit::Kelvin)),
                ),
                Figure::new("One code at worst", result.largest_step_k, Unit::Kelvin, "what the converter resolves"),
            ]),
            Block::Chart(chart(input, result, errors)),
            Block::Table(placements(result)),
            Block::Table(nodes(result)),
            Block::Table(vectors(result)),
            Block::Listing(Listing {
                id: "header".into(),
                caption: "Header for the firmware".into(),
                note: "C99, integers only; verified over every code before it is printed.".into(),
                ending: "h",
                text: result.c_header.clone(),
            }),
        ],
    }
}

fn chart(input: &ThermistorTableInput, result: &ThermistorTableOutput, errors: &[[f64; 2]]) -> Chart {
    let (from, to) = (f64::from(result.code_min), f64::from(result.code_max));
    let size = errors.len().div_ceil(BUCKETS).max(1);
    let points: Vec<[f64; 2]> = errors
        .chunks(size)
        .flat_map(|bucket| {
            let by_error = |a: &&[f64; 2], b: &&[f64; 2]| a[1].total_cmp(&b[1]);
            let mut ends: Vec<[f64; 2]> =
                bucket.iter().min_by(by_error).into_iter().chain(bucket.iter().max_by(by_error)).copied().collect();
            ends.sort_by(|a, b| a[0].total_cmp(&b[0]));
            ends.dedup();
            ends
        })
        .collect();
    let limit = |label: &str, error: f64| Curve {
        label: label.into(),
        stroke: Stroke::Allowed,
        points: vec![[from, error], [to, error]],
    };
    let worst = errors.iter().find(|point| point[0] == f64::from(result.worst_error_code)).copied();
    Chart {
        id: "table-error".into(),
        finding: format!("The integer function is at most {} off", say(result.worst_error_k, Unit::Kelvin)),
        conditions: format!(
            "{} nodes, {} steps per kelvin, all {} codes tried",
            result.node_count,
            result.steps_per_k,
            errors.len()
        ),
        title: "Table less curve against code".into(),
        x: Axis::linear("code", Unit::One),
        y: Axis::linear("table less curve", Unit::Kelvin),
        marks: worst
            .map(|[x, y]| Mark { x, y, label: format!("{} at code {}", say(y, Unit::Kelvin), result.worst_error_code) })
            .into_iter()
            .collect(),
        table: Table {
            id: "table-error-values".into(),
            heads: None,
            caption: "Table less curve".into(),
            note: "Smallest and largest of each stretch of codes.".into(),
            head: "Code".into(),
            columns: vec![Column::of("Table less curve", Unit::Kelvin)],
            rows: points
                .iter()
                .step_by(8)
                .map(|point| Row {
                    head: format!("{:.0}", point[0]),
                    note: String::new(),
                    cells: vec![Cell::Number(point[1])],
                })
                .collect(),
        },
        curves: vec![
            Curve { label: "table less curve".into(), stroke: Stroke::Main, points },
            limit("allowed", input.max_error_k),
            limit("allowed", -input.max_error_k),
        ],
    }
}

fn placements(result: &ThermistorTableOutput) -> Table {
    Table {
        id: "placements".into(),
        heads: None,
        caption: "Nodes by the way they are placed".into(),
        note: "For the same largest error; the two even ones with nodes on the curve and without rounding.".into(),
        head: "Placement".into(),
        columns: vec![Column::words("Nodes")],
        rows: result
            .placements
            .iter()
            .map(|placement| Row {
                head: placement.placement.clone(),
                note: String::new(),
                cells: vec![Cell::Words(
                    placement.nodes.map_or_else(|| "more than 600".into(), |nodes| nodes.to_string()),
                )],
            })
            .collect(),
    }
}

fn nodes(result: &ThermistorTableOutput) -> Table {
    let listed = result.nodes.len().min(LISTED);
    let note = if listed < result.nodes.len() {
        format!("The first {listed} of {}.", result.nodes.len())
    } else {
        String::new()
    };
    Table {
        id: "nodes".into(),
        heads: None,
        caption: "Nodes".into(),
        note,
        head: "Code".into(),
        columns: vec![
            Column::words("Value"),
            Column::of("Temperature", Unit::Celsius),
            Column::of("Beside the curve", Unit::Kelvin),
        ],
        rows: result
            .nodes
            .iter()
            .take(listed)
            .map(|node| Row {
                head: node.code.to_string(),
                note: String::new(),
                cells: vec![Cell::Words(node.value.to_string()), Cell::Number(node.degc), Cell::Number(node.offset_k)],
            })
            .collect(),
    }
}

fn vectors(result: &ThermistorTableOutput) -> Table {
    Table {
        id: "vectors".into(),
        heads: None,
        caption: "Test vectors".into(),
        note: "What the integer function must give.".into(),
        head: "Code".into(),
        columns: vec![Column::words("Value")],
        rows: result
            .vectors
            .iter()
            .map(|vector| Row {
                head: vector.code.to_string(),
                note: String::new(),
                cells: vec![Cell::Words(vector.value.to_string())],
            })
            .collect(),
    }
}
