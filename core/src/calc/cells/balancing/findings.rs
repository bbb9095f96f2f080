//! What an engineer must know about this balancing.

use super::input::BalancingInput;
use super::output::BalancingOutput;
use crate::quantity::{Unit, say};
use crate::report::{Finding, Severity};

pub(super) fn findings(input: &BalancingInput, result: &BalancingOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let percent = |value: f64| say(value, Unit::Percent);
    match &result.floor {
        Some(floor) => match floor.percent {
            Some(lowest) if lowest > input.imbalance_percent => findings.push(
                Finding::new(
                    Severity::Fail,
                    "balancing.floor-above-imbalance",
                    format!(
                        "{} on {} hides {}; the imbalance to remove is {}. Balance where the curve is steeper, or read better than {}.",
                        say(input.accuracy.error_v.unwrap_or(0.0), Unit::Volt),
                        say(floor.slope_v_per_percent, Unit::VoltPerPercent),
                        percent(lowest),
                        percent(input.imbalance_percent),
                        say(floor.allowed_error_v, Unit::Volt)
                    ),
                )
                .at("/accuracy/error_v")
                .against(lowest, input.imbalance_percent),
            ),
            Some(_) => {}
            None => findings.push(
                Finding::new(
                    Severity::Fail,
                    "balancing.level-curve",
                    "The open-circuit voltage is level where the cells are compared: no voltage tells them apart.",
                )
                .at("/accuracy/error_v"),
            ),
        },
        None if input.accuracy.error_v.is_some() => findings.push(
            Finding::new(
                Severity::Note,
                "balancing.no-slope",
                "The slope of the open-circuit voltage is not known: the floor is left out. Enter it, or points of the curve.",
            )
            .at("/accuracy/slope_v_per_percent"),
        ),
        None => findings.push(
            Finding::new(
                Severity::Note,
                "balancing.no-error",
                "The error of the cell voltage is not given: the smallest imbalance that can be seen is left out.",
            )
            .at("/accuracy/error_v"),
        ),
    }
    if let Some(limit) = input.limits.limit_degc.filter(|_| input.limits.resistor_k_per_w.is_none()) {
        findings.push(
            Finding::new(
                if result.passive.board_degc.is_none() { Severity::Warn } else { Severity::Note },
                "balancing.no-thermal-resistance",
                match result.passive.board_degc {
                    None => format!(
                        "The allowed {} are not judged: the thermal resistance of a resistor is not given.",
                        say(limit, Unit::Celsius)
                    ),
                    Some(board) => format!(
                        "The allowed {} are judged at the board's {}: the rise of a resistor above it is not given.",
                        say(limit, Unit::Celsius),
                        say(board, Unit::Celsius)
                    ),
                },
            )
            .at("/limits/resistor_k_per_w"),
        );
    }
    if !result.daily.keeps_up {
        findings.push(
            Finding::new(
                Severity::Fail,
                "balancing.leak-outruns",
                format!(
                    "The cells part by {}, bleeding takes {} on average: it never gains on them.",
                    say(input.accuracy.leak_mismatch_a, Unit::Ampere),
                    say(result.passive.end_current_a.min(result.passive.current_a) * input.duty(), Unit::Ampere)
                ),
            )
            .at("/accuracy/leak_mismatch_a"),
        );
    }
    if let Some(error) = input.accuracy.error_v.filter(|error| result.wire.difference_v > *error) {
        findings.push(
            Finding::new(
                Severity::Warn,
                "balancing.wire-drop",
                format!(
                    "While on, the bled cell reads {} and each neighbour {} off; the channel's own error is {}. Measure in the pauses.",
                    say(result.wire.own_v, Unit::Volt),
                    say(result.wire.neighbour_v, Unit::Volt),
                    say(error, Unit::Volt)
                ),
            )
            .at("/wire_ohm"),
        );
    }
    if input.duty_percent == 100.0 && input.wire_ohm > 0.0 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "balancing.no-pause",
                "With a duty of 100 % there is no pause in which the cells are read without the drop in the wires.",
            )
            .at("/duty_percent"),
        );
    }
    if let Some(active) = &result.active {
        let worth = input.active.standby_w < active.break_even_w;
        findings.push(
            Finding::new(
                Severity::Note,
                "balancing.break-even",
                format!(
                    "Active balancing saves {} for the daily need and stands by with {}: in energy it {}.",
                    say(active.break_even_w, Unit::Watt),
                    say(input.active.standby_w, Unit::Watt),
                    if worth { "gains" } else { "loses" }
                ),
            )
            .at("/active/standby_w"),
        );
    }
    findings
}
