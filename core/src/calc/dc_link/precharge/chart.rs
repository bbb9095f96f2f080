//! The charts of the pre-charge: the course as small multiples on one time axis, and the state map.

use super::checks::at_pack;
use super::course::Draw;
use super::input::PrechargeInput;
use super::output::{PrechargeMapPoint, PrechargeOutput, PrechargePoint};
use crate::quantity::{Unit, say};
use crate::report::{Axis, Cell, Chart, Column, Curve, Mark, Row, Stroke, Table};

type Pick = fn(&PrechargePoint) -> f64;

/// Voltage, current and energy over the same time.
pub(super) fn course(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Chart> {
    let charge = &result.charge;
    let end = result.curve.last().map_or(0.0, |point| point.time_s);
    let volt = |value: f64| say(value, Unit::Volt);
    let flat = |y: f64| vec![[0.0, y], [end, y]];
    let reached = charge.time_s.filter(|time| *time <= end);
    let out = Some(input.max_time_s).filter(|time| *time <= end);
    let error = result.difference.error_percent * input.pack_v / 100.0;

    let mut voltage = multiple(
        "link-voltage",
        match charge.time_s {
            Some(time) => format!("{} is reached after {}", volt(charge.target_v), say(time, Unit::Second)),
            None => format!(
                "The link never reaches {}: it {} at {}",
                volt(charge.target_v),
                if charge.hangs { "hangs" } else { "settles" },
                volt(charge.settle_v)
            ),
        },
        "Link voltage over time",
        ("link voltage", Unit::Volt),
        result,
        (|point| point.link_v, |point| point.unloaded_v),
    );
    voltage.curves.push(Curve { label: "target".into(), stroke: Stroke::Allowed, points: flat(charge.target_v) });
    if error > 0.0 {
        for (label, y) in [("channels +", charge.target_v + error), ("channels −", charge.target_v - error)] {
            voltage.curves.push(Curve { label: label.into(), stroke: Stroke::Thin, points: flat(y) });
        }
    }
    if let Some(time) = reached {
        voltage.marks.push(Mark { x: time, y: charge.target_v, label: say(time, Unit::Second) });
    }
    if let Some(time) = out {
        voltage.marks.push(Mark {
            x: time,
            y: charge.time_out_v,
            label: format!("time-out {}", volt(charge.time_out_v)),
        });
    }

    let current = multiple(
        "resistor-current",
        format!("The current begins at {}", say(charge.peak_a, Unit::Ampere)),
        "Current through the resistor over time",
        ("current", Unit::Ampere),
        result,
        (|point| point.current_a, |point| point.unloaded_a),
    );
    let mut energy = multiple(
        "resistor-energy",
        format!("One attempt puts {} in the resistor", say(charge.energy_j, Unit::Joule)),
        "Energy in the resistor over time",
        ("energy", Unit::Joule),
        result,
        (|point| point.energy_j, |point| point.unloaded_j),
    );
    if let Some(pulse) = input.resistor.pulse_j {
        let highest = result.curve.iter().map(|point| point.energy_j).fold(0.0, f64::max);
        if pulse <= 4.0 * highest {
            energy.curves.push(Curve { label: "rated pulse".into(), stroke: Stroke::Allowed, points: flat(pulse) });
        }
    }
    vec![voltage, current, energy]
}

fn multiple(
    id: &str,
    finding: String,
    title: &str,
    (label, unit): (&str, Unit),
    result: &PrechargeOutput,
    (loaded, unloaded): (Pick, Pick),
) -> Chart {
    let line = |pick: Pick| result.curve.iter().map(|point| [point.time_s, pick(point)]).collect();
    Chart {
        id: id.into(),
        finding,
        conditions: format!(
            "With the load and without it, nominal R and C{}",
            result.lowest.as_ref().map_or_else(String::new, |_| ", at the highest pack voltage".into())
        ),
        title: title.into(),
        x: Axis::linear("time", Unit::Second),
        y: Axis::linear(label, unit),
        curves: vec![
            Curve { label: "no load".into(), stroke: Stroke::Second, points: line(unloaded) },
            Curve { label: "with the load".into(), stroke: Stroke::Main, points: line(loaded) },
        ],
        marks: Vec::new(),
        table: Table {
            id: format!("{id}-values"),
            caption: title.into(),
            note: String::new(),
            head: "Time".into(),
            columns: vec![Column::of("With the load", unit), Column::of("No load", unit)],
            rows: result
                .curve
                .iter()
                .step_by(6)
                .map(|point| Row {
                    head: say(point.time_s, Unit::Second),
                    note: String::new(),
                    cells: vec![Cell::Number(loaded(point)), Cell::Number(unloaded(point))],
                })
                .collect(),
        },
    }
}

/// Size of the load against target: below the line the target is reached.
pub(super) fn map(input: &PrechargeInput, result: &PrechargeOutput) -> Chart {
    let circuit = input.circuit();
    let limits = &result.limits;
    let (x, unit, size, allowed, word) = match circuit.draw {
        Draw::Resistance(ohm) => {
            (Axis::log("load resistance", Unit::Ohm), Unit::Ohm, ohm, limits.smallest_load_ohm, "at least")
        }
        Draw::Current(a) => {
            (Axis::linear("load current", Unit::Ampere), Unit::Ampere, a, limits.largest_current_a, "at most")
        }
        Draw::Power(w) => (Axis::linear("load power", Unit::Watt), Unit::Watt, w, limits.largest_power_w, "at most"),
        Draw::Nothing => (Axis::linear("load power", Unit::Watt), Unit::Watt, 0.0, limits.largest_power_w, "at most"),
    };
    let line = |pick: fn(&PrechargeMapPoint) -> f64| result.map.iter().map(|point| [point.load, pick(point)]).collect();
    let (first, last) = (result.map.first().map_or(0.0, |p| p.load), result.map.last().map_or(0.0, |p| p.load));
    let mut curves = vec![
        Curve { label: "reached in the end".into(), stroke: Stroke::Main, points: line(|point| point.settle_percent) },
        Curve {
            label: "reached by the time-out".into(),
            stroke: Stroke::Second,
            points: line(|point| point.time_out_percent),
        },
    ];
    let mut marks = vec![Mark {
        x: size.clamp(first, last),
        y: input.target_percent,
        label: format!(
            "{}, {}",
            if circuit.draw == Draw::Nothing { "no load".into() } else { say(size, unit) },
            say(input.target_percent, Unit::Percent)
        ),
    }];
    if unit == Unit::Watt {
        let collapse = limits.collapse_power_w;
        curves.push(Curve {
            label: "no equilibrium".into(),
            stroke: Stroke::Allowed,
            points: vec![[collapse, 50.0], [collapse, 100.0]],
        });
        marks.push(Mark { x: collapse, y: 50.0, label: format!("collapse above {}", say(collapse, Unit::Watt)) });
    }
    Chart {
        id: "state-map".into(),
        finding: format!(
            "The target is reached with {word} {}; the design {}",
            say(allowed, unit),
            if result.charge.reaches { "lies inside" } else { "lies outside" }
        ),
        conditions: format!(
            "Below the line the target is reached; resistor {}, wake-up voltage as entered{}",
            say(input.resistance_ohm, Unit::Ohm),
            result.lowest.as_ref().map_or_else(String::new, |_| format!(", {}", at_pack(input.pack_v)))
        ),
        title: "Highest target that is reached, by the size of the load".into(),
        x,
        y: Axis::linear("target", Unit::Percent),
        curves,
        marks,
        table: Table {
            id: "state-map-values".into(),
            caption: "Highest target that is reached".into(),
            note: "In percent of the pack voltage.".into(),
            head: "Load".into(),
            columns: vec![Column::of("In the end", Unit::Percent), Column::of("By the time-out", Unit::Percent)],
            rows: result
                .map
                .iter()
                .step_by(4)
                .map(|point| Row {
                    head: say(point.load, unit),
                    note: String::new(),
                    cells: vec![Cell::Number(point.settle_percent), Cell::Number(point.time_out_percent)],
                })
                .collect(),
        },
    }
}
