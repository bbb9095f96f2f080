//! Balancing for a reader.

use super::input::BalancingInput;
use super::output::{BalancingOutput, BalancingPoint};
use crate::quantity::{Quantity, Unit, say};
use crate::report::{
    Axis, Block, Cell, Chart, Column, Curve, Figure, Finding, Mark, Row, Step, Stroke, Table, Verdict, View,
};

/// From this temperature on a surface burns at a touch, °C. Common practice, no source.
const HOT_DEGC: f64 = 70.0;

pub(super) fn view(input: &BalancingInput, result: &BalancingOutput, findings: &[Finding]) -> View {
    let passive = &result.passive;
    let mut view = View { checks: result.checks.clone(), ..View::default() };
    if let Some(hot) = passive.resistor_degc.or(passive.board_degc).filter(|hot| *hot > HOT_DEGC) {
        view.care.push(format!(
            "Surface near {} in the worst case: burn and fire risk; check neighbouring plastics and solder.",
            say(hot, Unit::Celsius)
        ));
    }
    view.lead = format!(
        "{} takes {} with {} a cell{}",
        say(input.imbalance_percent, Unit::Percent),
        say(passive.time_h, Unit::Hour),
        say(passive.current_a, Unit::Ampere),
        match view.verdict(findings) {
            Verdict::Fails => ": a requirement fails",
            Verdict::Thin => ", with little left",
            _ => "",
        }
    );
    view.more = format!(
        "The board gets {}; the daily need is {} or {} min of bleeding.",
        say(passive.board_w, Unit::Watt),
        say(result.daily.need_ah_per_day, Unit::AmpereHourPerDay),
        say(result.daily.bleed_min, Unit::One)
    );
    view.blocks.push(Block::Figures(figures(input, result)));
    view.blocks.push(Block::Chart(chart(input, result)));
    if !result.floor_curve.is_empty() {
        view.blocks.push(Block::Chart(floor_chart(input, result)));
    }
    view.blocks.push(Block::Table(table(result)));
    if result.active.is_some() {
        view.blocks.push(Block::Table(side_by_side(result)));
    }
    view
}

fn figures(input: &BalancingInput, result: &BalancingOutput) -> Vec<Figure> {
    let passive = &result.passive;
    let mut figures = vec![
        Figure::new(
            "Current",
            passive.current_a,
            Unit::Ampere,
            format!("while on, at {}", say(passive.start_v, Unit::Volt)),
        ),
        Figure::new("Time", passive.time_h, Unit::Hour, format!("for {}", say(passive.charge_ah, Unit::AmpereHour))),
        Figure::new("Power of a channel", passive.channel_w, Unit::Watt, "while on"),
        Figure::new("Board", passive.board_w, Unit::Watt, format!("{} channels, mean", input.channels_on)),
        Figure::new("Daily need", result.daily.need_ah_per_day, Unit::AmpereHourPerDay, "mismatch of the leakage"),
        Figure::new("Bleeding for it", result.daily.bleed_s, Unit::Second, "a day, pauses included"),
    ];
    if let Some(floor) = result.floor.as_ref().and_then(|floor| floor.percent) {
        figures.push(Figure::new("Floor", floor, Unit::Percent, "cannot be told from zero"));
    }
    if let Some(hot) = passive.resistor_degc.or(passive.board_degc) {
        figures.push(Figure::new(
            "Hottest",
            hot,
            Unit::Celsius,
            "resistor, or the board when that is all that is known",
        ));
    }
    figures
}

fn chart(input: &BalancingInput, result: &BalancingOutput) -> Chart {
    let line = |pick: fn(&BalancingPoint) -> Option<f64>| -> Vec<[f64; 2]> {
        result.course.iter().filter_map(|point| pick(point).map(|y| [point.time_h, y])).collect()
    };
    let passive = &result.passive;
    let mut curves = vec![Curve {
        label: "bleeding".into(),
        stroke: Stroke::Main,
        points: line(|point| Some(point.passive_percent)),
    }];
    if result.active.is_some() {
        curves.push(Curve {
            label: "transfer".into(),
            stroke: Stroke::Second,
            points: line(|point| point.active_percent),
        });
    }
    if let Some(floor) = result.floor.as_ref().and_then(|floor| floor.percent).filter(|f| *f <= input.imbalance_percent)
    {
        curves.push(Curve {
            label: "floor".into(),
            stroke: Stroke::Allowed,
            points: vec![[0.0, floor], [passive.time_h, floor]],
        });
    }
    Chart {
        id: "imbalance".into(),
        finding: if input.curve.points.is_empty() {
            format!("The imbalance is gone after {}", say(passive.time_h, Unit::Hour))
        } else {
            format!(
                "The imbalance is gone after {}; at constant voltage it would be {}",
                say(passive.time_h, Unit::Hour),
                say(passive.constant_h, Unit::Hour)
            )
        },
        conditions: format!(
            "{} duty, {} at the start, {} at the end",
            say(input.duty_percent, Unit::Percent),
            say(passive.current_a, Unit::Ampere),
            say(passive.end_current_a, Unit::Ampere)
        ),
        title: "Imbalance that is left over time".into(),
        x: Axis::linear("time", Unit::Hour),
        y: Axis::linear("imbalance", Unit::Percent),
        curves,
        marks: Vec::new(),
        table: Table {
            id: "imbalance-values".into(),
            caption: "Imbalance that is left".into(),
            note: String::new(),
            head: "Time".into(),
            columns: vec![Column::of("Bleeding", Unit::Percent), Column::of("Transfer", Unit::Percent)],
            rows: result
                .course
                .iter()
                .step_by(5)
                .map(|point| Row {
                    head: say(point.time_h, Unit::Hour),
                    note: String::new(),
                    cells: vec![Cell::Number(point.passive_percent), point.active_percent.into()],
                })
                .collect(),
        },
    }
}

fn floor_chart(input: &BalancingInput, result: &BalancingOutput) -> Chart {
    let points: Vec<[f64; 2]> =
        result.floor_curve.iter().map(|point| [point.soc_percent, point.floor_percent]).collect();
    let best = result.floor_curve.iter().min_by(|a, b| a.floor_percent.total_cmp(&b.floor_percent));
    Chart {
        id: "floor".into(),
        finding: best.map_or_else(String::new, |best| {
            format!(
                "The cells are told apart best near {}: to {}",
                say(best.soc_percent, Unit::Percent),
                say(best.floor_percent, Unit::Percent)
            )
        }),
        conditions: format!("Error {}", say(input.accuracy.error_v.unwrap_or(0.0), Unit::Volt)),
        title: "Smallest imbalance that can be seen".into(),
        x: Axis::linear("state of charge", Unit::Percent),
        y: Axis::log("imbalance", Unit::Percent),
        curves: vec![
            Curve { label: "floor".into(), stroke: Stroke::Main, points: points.clone() },
            Curve {
                label: "to remove".into(),
                stroke: Stroke::Allowed,
                points: vec![[0.0, input.imbalance_percent], [100.0, input.imbalance_percent]],
            },
        ],
        marks: vec![Mark {
            x: input.curve.start_soc_percent,
            y: input.imbalance_percent,
            label: "bleeding starts".into(),
        }],
        table: Table {
            id: "floor-values".into(),
            caption: "Smallest imbalance that can be seen".into(),
            note: "Level stretches tell nothing and are left out.".into(),
            head: "State of charge".into(),
            columns: vec![Column::of("Floor", Unit::Percent)],
            rows: points
                .iter()
                .map(|point| Row {
                    head: say(point[0], Unit::Percent),
                    note: String::new(),
                    cells: vec![Cell::Number(point[1])],
                })
                .collect(),
        },
    }
}

fn table(result: &BalancingOutput) -> Table {
    let (passive, wire, daily) = (&result.passive, &result.wire, &result.daily);
    let rows = [
        ("Current at the end", Some(passive.end_current_a), Unit::Ampere),
        ("Power of the resistor, while on", Some(passive.resistor_w), Unit::Watt),
        ("Energy lost by one cell", Some(passive.energy_j), Unit::Joule),
        ("Time at constant voltage", Some(passive.constant_h), Unit::Hour),
        ("Board temperature", passive.board_degc, Unit::Celsius),
        ("Resistor temperature", passive.resistor_degc, Unit::Celsius),
        ("Error of the bled cell, while on", Some(wire.own_v), Unit::Volt),
        ("Error of its neighbours, while on", Some(wire.neighbour_v), Unit::Volt),
        ("Imbalance after 30 days without balancing", Some(daily.month_percent), Unit::Percent),
        (
            "Slope of the open-circuit voltage",
            result.floor.as_ref().map(|f| f.slope_v_per_percent),
            Unit::VoltPerPercent,
        ),
        ("Largest error that shows the imbalance", result.floor.as_ref().map(|f| f.allowed_error_v), Unit::Volt),
    ];
    Table {
        id: "details".into(),
        caption: "Bleeding in detail".into(),
        note: "Heat at the voltage of the start.".into(),
        head: "Quantity".into(),
        columns: vec![Column::words("Value")],
        rows: rows
            .into_iter()
            .filter_map(|(head, value, unit)| {
                value.map(|value| Row {
                    head: head.into(),
                    note: String::new(),
                    cells: vec![Cell::Words(say(value, unit))],
                })
            })
            .collect(),
    }
}

fn side_by_side(result: &BalancingOutput) -> Table {
    let passive = &result.passive;
    let mut rows = vec![Row {
        head: "Bleeding".into(),
        note: "everything is lost".into(),
        cells: vec![Cell::Number(passive.time_h), Cell::Number(passive.energy_j), Cell::Number(0.0)],
    }];
    if let Some(active) = &result.active {
        rows.push(Row {
            head: "Transfer".into(),
            note: active.break_even_days.map_or_else(
                || "no standby".into(),
                |days| format!("one balancing of all channels pays {} of standby", say(days, Unit::Day)),
            ),
            cells: vec![Cell::Number(active.time_h), Cell::Number(active.loss_j), Cell::Number(active.standby_j)],
        });
    }
    Table {
        id: "side-by-side".into(),
        caption: "Bleeding and transfer side by side".into(),
        note: "For the imbalance of one cell.".into(),
        head: "Way".into(),
        columns: vec![
            Column::of("Time", Unit::Hour),
            Column::of("Loss", Unit::Joule),
            Column::of("Of it standby", Unit::Joule),
        ],
        rows,
    }
}

pub(super) fn working(input: &BalancingInput, result: &BalancingOutput) -> Vec<Step> {
    let q = Quantity::new;
    let passive = &result.passive;
    let (v, r) = (say(passive.start_v, Unit::Volt), say(input.path_ohm(), Unit::Ohm));
    let d = say(input.duty_percent, Unit::Percent);
    let i = say(passive.current_a, Unit::Ampere);
    let charge = say(passive.charge_ah, Unit::AmpereHour);
    let mut steps = vec![
        Step::new(
            "Current while on",
            "I",
            "V/(R + Rs + 2 Rw)",
            format!("{v}/{r}"),
            q(passive.current_a, Unit::Ampere),
            "Ohm's law",
        ),
        Step::new(
            "Charge to remove",
            "dQ",
            "ds Q",
            format!("{} · {}", say(input.imbalance_percent, Unit::Percent), say(input.capacity_ah, Unit::AmpereHour)),
            q(passive.charge_ah, Unit::AmpereHour),
            "definition",
        ),
        if input.curve.points.is_empty() {
            Step::new(
                "Time",
                "t",
                "dQ/(I d)",
                format!("{charge}/({i} · {d})"),
                q(passive.time_h, Unit::Hour),
                "definition",
            )
        } else {
            Step::new(
                "Time",
                "t",
                "(Q R/d) Σ Δs ln(V1/V2)/(V1 − V2)",
                format!("{charge} · {r}/{d} over {v} to {}", say(passive.end_v, Unit::Volt)),
                q(passive.time_h, Unit::Hour),
                "integrated along the points, exact for each stretch",
            )
        },
        Step::new(
            "Power of the board",
            "P_b",
            "n I² (R + Rs) d",
            format!("{} · ({i})² · {} · {d}", input.channels_on, say(input.bleed_ohm + input.switch_ohm, Unit::Ohm)),
            q(passive.board_w, Unit::Watt),
            "Joule heat",
        ),
        Step::new(
            "Daily need",
            "q_d",
            "24 h dI",
            format!("24 h · {}", say(input.accuracy.leak_mismatch_a, Unit::Ampere)),
            q(result.daily.need_ah_per_day, Unit::AmpereHourPerDay),
            "definition",
        ),
    ];
    if let Some((floor, percent)) = result.floor.as_ref().and_then(|floor| floor.percent.map(|p| (floor, p))) {
        steps.push(Step::new(
            "Floor",
            "s_min",
            "e/(dU/ds)",
            format!(
                "{}/{}",
                say(input.accuracy.error_v.unwrap_or(0.0), Unit::Volt),
                say(floor.slope_v_per_percent, Unit::VoltPerPercent)
            ),
            q(percent, Unit::Percent),
            "error propagation",
        ));
    }
    steps
}
