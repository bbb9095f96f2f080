//! The divider's numbers for a reader: figures, tables and charts.

use super::fault::DividerFault;
use super::findings::{open_lower_care, voltage_care, whole_percent};
use super::input::DividerInput;
use super::ladder_chart;
use super::output::DividerOutput;
use crate::quantity::{Unit, in_sentence, say};
use crate::report::{
    Axis, Block, Budget, Cell, Chart, Check, Column, Contribution, Curve, Figure, Finding, Mark, Row, Stroke, Table,
    Total, Verdict, View,
};

pub(super) fn view(input: &DividerInput, result: &DividerOutput, findings: &[Finding]) -> View {
    let mut care = voltage_care(input.input_max_v, input.upper.count);
    if let Some(open) = result.faults.iter().find(|row| row.id == "lower-open" && over_range(row, result)) {
        care.push(open_lower_care(input.input_max_v.min(open.output_v)));
    }
    let mut view = View { checks: result.checks.clone(), care, ..View::default() };
    let verdict = view.verdict(findings);
    let worst = view.checks.iter().max_by(|a, b| {
        let used = |check: &Check| check.used_percent.unwrap_or(f64::MAX);
        used(a).total_cmp(&used(b))
    });
    view.lead = format!(
        "The divider {}: {} gives {}{}",
        match verdict {
            Verdict::Fails => "fails",
            Verdict::Thin => "holds with little left",
            _ => "holds",
        },
        say(input.input_max_v, Unit::Volt),
        say(result.ratio.output_v, Unit::Volt),
        worst.map_or_else(String::new, |check| match check.used_percent {
            Some(used) => format!("; worst is {}, {} used", in_sentence(&check.label), whole_percent(used)),
            None => format!("; worst is {}", in_sentence(&check.label)),
        })
    );
    let largest = result.error.terms.iter().max_by(|a, b| a.percent.total_cmp(&b.percent));
    view.more = format!(
        "Its own error is ±{} by worst case without calibration{}.",
        say(result.error.worst_case_percent, Unit::Percent),
        largest.map_or_else(String::new, |term| format!(
            "; the largest part is {} with {}",
            in_sentence(&term.label),
            say(term.percent, Unit::Percent)
        ))
    );
    view.blocks = vec![
        Block::Figures(figures(input, result)),
        Block::Chart(ladder_chart::chart(
            &result.stress.ladder,
            input.upper.count,
            input.stress_limit_percent,
            format!(
                "{}, ambient {}, limit {}",
                say(input.input_max_v, Unit::Volt),
                say(input.ambient_degc, Unit::Celsius),
                say(result.stress.limit_v, Unit::Volt)
            ),
        )),
        Block::Budget(budget(input, result)),
        Block::Table(faults(result)),
        Block::Table(creepage(result)),
        Block::Chart(bend_chart(input, result)),
        Block::Table(tolerance(result)),
        Block::Table(surroundings(input, result)),
    ];
    view
}

fn figures(input: &DividerInput, result: &DividerOutput) -> Vec<Figure> {
    let mut figures = vec![
        Figure::new("Input over output", result.ratio.factor, Unit::One, "the constant of the firmware, with the load"),
        Figure::new(
            "Output",
            result.ratio.output_v,
            Unit::Volt,
            format!(
                "at {}, {} of the range",
                say(input.input_max_v, Unit::Volt),
                say(result.ratio.range_used_percent, Unit::Percent)
            ),
        ),
        Figure::new("Converter full at", result.ratio.over_range_v, Unit::Volt, "at the input"),
        Figure::new("Source resistance", result.dynamics.source_ohm, Unit::Ohm, "without the load"),
    ];
    if let Some(corner) = result.dynamics.corner_hz {
        figures.push(Figure::new("Filter corner", corner, Unit::Hertz, "with the load"));
    }
    figures.push(Figure::new("Drain", result.drain.current_a, Unit::Ampere, "of one string"));
    if let Some(short) = result.faults.iter().find(|row| row.id == "upper-short") {
        let instead = format!("instead of {}", say(input.input_max_v, Unit::Volt));
        figures.push(if over_range(short, result) {
            let full = result.ratio.over_range_v;
            Figure::new("One element short: over range, above", full, Unit::Volt, instead)
        } else {
            Figure::new("One element short reads", short.reading_v, Unit::Volt, instead)
        });
    }
    if let Some(needed) = result.stress.count.needed {
        figures.push(Figure::new(
            "Elements needed",
            f64::from(needed),
            Unit::One,
            format!("there are {}", input.upper.count),
        ));
    }
    figures
}

fn budget(input: &DividerInput, result: &DividerOutput) -> Budget {
    let error = &result.error;
    let whole = error.worst_case_percent.max(f64::MIN_POSITIVE);
    let mut terms: Vec<_> = error.terms.iter().filter(|term| term.percent > 0.0).collect();
    terms.sort_by(|a, b| b.percent.total_cmp(&a.percent));
    let total =
        |label: &str, note: &str, size: f64| Total { label: label.into(), note: note.into(), size, verdict: None };
    Budget {
        id: "divider-error".into(),
        caption: format!("Error of the divider alone at {}", say(input.input_max_v, Unit::Volt)),
        note: "Percent of the input, end of life, without calibration.".into(),
        unit: Unit::Percent,
        rows: terms
            .into_iter()
            .map(|term| Contribution {
                label: term.label.clone(),
                note: String::new(),
                size: term.percent,
                share_percent: term.percent / whole * 100.0,
                grows: !term.fixed,
            })
            .collect(),
        totals: vec![
            total("Worst case", "sum of the terms", error.worst_case_percent),
            total("Root-sum-square", "of the terms; no coverage interval", error.root_sum_square_percent),
        ],
    }
}

/// Whether the converter is full before it can read the fault.
fn over_range(row: &DividerFault, result: &DividerOutput) -> bool {
    row.reading_v > result.ratio.over_range_v
}

fn faults(result: &DividerOutput) -> Table {
    let reads = |row: &DividerFault| {
        if over_range(row, result) {
            let words = format!("over range, above {}", say(result.ratio.over_range_v, Unit::Volt));
            [Cell::Words(words), Cell::Empty]
        } else {
            [Cell::Number(row.reading_v), Cell::Number(row.factor)]
        }
    };
    let seen = |yes: bool| Cell::Words(if yes { "seen" } else { "missed" }.into());
    Table {
        id: "faults".into(),
        caption: "One element open or short".into(),
        note: "At the highest input. The range check must see the fault at every voltage of the pack.".into(),
        head: "Fault".into(),
        columns: vec![
            Column::of("Reads", Unit::Volt),
            Column::of("Factor", Unit::One),
            Column::words("Range check"),
            Column::words("Sum of the cells"),
            Column::of("Other elements", Unit::Volt),
            Column::of("Of their limit", Unit::Percent),
        ],
        rows: result
            .faults
            .iter()
            .map(|row| Row {
                head: row.label.clone(),
                note: match (row.missed_from_v, row.missed_to_v) {
                    (Some(from), Some(to)) => {
                        format!("range check misses it from {} to {}", say(from, Unit::Volt), say(to, Unit::Volt))
                    }
                    _ => String::new(),
                },
                cells: reads(row)
                    .into_iter()
                    .chain([
                        seen(row.seen_by_range),
                        seen(row.seen_by_comparison),
                        row.survivor_v.into(),
                        row.survivor_stress_percent.into(),
                    ])
                    .collect(),
            })
            .collect(),
    }
}

fn creepage(result: &DividerOutput) -> Table {
    Table {
        id: "creepage".into(),
        caption: "Creepage along the chain".into(),
        note: "Between any two points of the layout; the millimetres per volt are as entered, not taken from a table."
            .into(),
        head: "Path".into(),
        columns: vec![
            Column::of("Voltage", Unit::Volt),
            Column::of("Required", Unit::Millimetre),
            Column::of("Available", Unit::Millimetre),
            Column::of("Used", Unit::Percent),
            Column::words("Verdict"),
        ],
        rows: result
            .creepage
            .iter()
            .map(|path| Row {
                head: path.label.clone(),
                note: String::new(),
                cells: vec![
                    Cell::Number(path.voltage_v),
                    Cell::Number(path.required_mm),
                    Cell::Number(path.available_mm),
                    Cell::Number(path.used_percent),
                    Cell::Verdict(Verdict::of(Some(path.used_percent))),
                ],
            })
            .collect(),
    }
}

fn bend_chart(input: &DividerInput, result: &DividerOutput) -> Chart {
    let line = |with: fn(&super::DividerBendPoint) -> f64| {
        result.curve.iter().map(|point| [point.input_v, with(point)]).collect()
    };
    let bend = &result.bend;
    let mark = |v: f64, label: &str| Mark { x: v, y: 0.0, label: format!("{label} {}", say(v, Unit::Volt)) };
    Chart {
        id: "voltage-coefficient".into(),
        finding: format!(
            "The voltage coefficient bends the reading by {} at {}; calibration leaves {} between its two points",
            say(bend.at_max_v, Unit::Volt),
            say(input.input_max_v, Unit::Volt),
            say(bend.left_between_v, Unit::Volt)
        ),
        conditions: format!(
            "{} on each of {} elements",
            say(input.upper.voltage_coefficient_ppm_per_v, Unit::PpmPerVolt),
            input.upper.count
        ),
        title: "Error of the voltage coefficient".into(),
        x: Axis::linear("input", Unit::Volt),
        y: Axis::linear("error", Unit::Volt),
        curves: vec![
            Curve { label: "not calibrated".into(), stroke: Stroke::Thin, points: line(|point| point.before_v) },
            Curve { label: "calibrated".into(), stroke: Stroke::Main, points: line(|point| point.after_v) },
        ],
        marks: vec![mark(bend.calibration_low_v, "calibrated at"), mark(bend.calibration_high_v, "calibrated at")],
        table: Table {
            id: "voltage-coefficient-values".into(),
            caption: "Error of the voltage coefficient".into(),
            note: String::new(),
            head: "Input".into(),
            columns: vec![Column::of("Not calibrated", Unit::Volt), Column::of("Calibrated", Unit::Volt)],
            rows: result
                .curve
                .iter()
                .step_by(4)
                .map(|point| Row {
                    head: say(point.input_v, Unit::Volt),
                    note: String::new(),
                    cells: vec![Cell::Number(point.before_v), Cell::Number(point.after_v)],
                })
                .collect(),
        },
    }
}

/// Rows of one number each.
fn list(id: &str, caption: &str, note: &str, rows: Vec<(&str, Option<f64>, Unit, &str)>) -> Table {
    Table {
        id: id.into(),
        caption: caption.into(),
        note: note.into(),
        head: "Quantity".into(),
        columns: vec![Column::words("Value")],
        rows: rows
            .into_iter()
            .filter_map(|(head, value, unit, note)| {
                value.map(|value| Row {
                    head: head.into(),
                    note: note.into(),
                    cells: vec![Cell::Words(say(value, unit))],
                })
            })
            .collect(),
    }
}

fn tolerance(result: &DividerOutput) -> Table {
    let (t, d) = (&result.tolerance, &result.drift);
    list(
        "tolerance",
        "Tolerance of the ratio",
        "One reel moves together: the credit of √n is for independent elements only.",
        vec![
            ("Highest deviation of the ratio", Some(t.ratio_high_percent), Unit::Percent, "exact"),
            ("Lowest deviation of the ratio", Some(t.ratio_low_percent), Unit::Percent, "exact"),
            ("Worst case", Some(t.worst_case_percent), Unit::Percent, "first order"),
            ("Root-sum-square, given correlation", Some(t.correlated_percent), Unit::Percent, ""),
            ("Root-sum-square, independent", Some(t.independent_percent), Unit::Percent, ""),
            ("Standard uncertainty, independent", Some(t.standard_percent), Unit::Percent, "rectangular limits"),
            ("Drift by tracking", Some(d.tracking_percent), Unit::Percent, ""),
            ("Drift by absolute coefficients", Some(d.absolute_percent), Unit::Percent, ""),
            (
                "Smallest change of one element that the cells reveal",
                Some(result.smallest_seen_drift_percent),
                Unit::Percent,
                "",
            ),
        ],
    )
}

fn surroundings(input: &DividerInput, result: &DividerOutput) -> Table {
    let (load, leak, dynamics, drain, insulation) =
        (&result.load, &result.leakage, &result.dynamics, &result.drain, &result.insulation);
    let counted = if insulation.counts { "between pack and chassis" } else { "not referred to the chassis" };
    list(
        "surroundings",
        "Load, leakage, filter and drain",
        "",
        vec![
            ("Loading", input.load_ohm.map(|_| load.loading_percent), Unit::Percent, "in the constant, not an error"),
            ("Spread of the loading", input.load_ohm.map(|_| load.spread_percent), Unit::Percent, ""),
            ("Bias current at the pack", Some(load.bias_v), Unit::Volt, ""),
            ("Leakage over the string", leak.whole_percent, Unit::Percent, ""),
            ("The same over one element", leak.element_percent, Unit::Percent, ""),
            ("The same over the lower part", leak.lower_percent, Unit::Percent, ""),
            ("Smallest leakage over the string", leak.smallest_ohm, Unit::Ohm, "for the budget"),
            ("Smallest leakage over one element", leak.smallest_element_ohm, Unit::Ohm, "for the budget"),
            ("Settling to 0.1 %", dynamics.settling_1000_s, Unit::Second, ""),
            ("Settling to 0.01 %", dynamics.settling_10000_s, Unit::Second, ""),
            ("Lag on the ramp", dynamics.ramp_lag_v, Unit::Volt, "at the pack"),
            ("Thermal noise", dynamics.noise_v, Unit::Volt, "root mean square, at the pack"),
            ("Standing power", Some(drain.power_w), Unit::Watt, ""),
            ("Charge a year", Some(drain.charge_ah_per_year), Unit::AmpereHour, ""),
            ("Energy a day", Some(drain.energy_j_per_day), Unit::Joule, ""),
            ("Resistance of the strings", Some(insulation.strings_ohm), Unit::Ohm, counted),
            ("With the insulation of the pack", Some(insulation.together_ohm), Unit::Ohm, ""),
            ("Insulation per volt", Some(insulation.ohm_per_v), Unit::OhmPerVolt, "against 100 and 500"),
        ],
    )
}
