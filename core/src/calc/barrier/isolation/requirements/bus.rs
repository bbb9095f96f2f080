//! The insulation of the bus, its supervision, touch, and the Y capacitors.

use super::super::bus::{counted, nothing_required, required_ohm_per_v, rests_on_disconnection};
use super::super::injection::missing;
use super::super::input::{IsolationInput, YCapacitors};
use super::super::measured::settle;
use super::super::output::IsolationOutput;
use super::{blocked_where, memory, most, waits};
use crate::judge::{Judged, Ledger, Limit, Outcome, Words};
use crate::quantity::{Unit, ampere, farad, joule, ohm, ohm_per_volt, one, percent, second, volt};
use crate::report::caution::TOUCH_SAFE_V;

pub(super) fn requirements(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    resistance(input, result, to);
    measured(input, result, to);
    monitor(input, result, to);
    touch(input, result, to);
    y_capacitors(input, result, to);
}

/// Error of a monitoring device with which the field starts, percent.
const ERROR_FROM_MEMORY: f64 = 15.0;

fn resistance(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let Some(bus) = result.bus else { return };
    if nothing_required(&input.bus, input.barrier.pack_v) {
        return;
    }
    if rests_on_disconnection(&input.bus) {
        let (id, at) = ("isolation.bus.resistance", "/bus/earthing");
        to.require(Judged::at_least(id, at, Unit::Ohm, bus.parallel_ohm, Limit::NotAsked).blocked(), |_| {
            let why = "a pole stands at the chassis by design: the first fault is a short circuit, and what opens it is not described here";
            Words::new("Insulation resistance of the whole bus", "no resistance protects", why)
        });
        return;
    }
    let limit = bus.required_ohm.map_or(Limit::Missing("/bus/ohm_per_v"), Limit::Given);
    let (listed, lacking) = (bus.parallel_ohm.is_some(), result.lacks_a_path());
    let none = "no path to the chassis is listed; the resistance is not infinite for that";
    let required = bus.required_ohm_per_v.map(ohm_per_volt);
    let asked = || required.map_or_else(String::new, |required| format!("; {required} required"));
    let units = || counted(bus.units);
    let leave = if bus.units == 1 { "leaves" } else { "leave" };
    for (id, value, label, what) in [
        (
            "isolation.bus.resistance",
            bus.parallel_ohm,
            "Insulation resistance of the whole bus",
            "all paths in parallel",
        ),
        (
            "isolation.bus.method",
            bus.method_ohm,
            "Isolation resistance as the regulation measures it",
            "one pole put solidly to the chassis",
        ),
    ] {
        let judged = Judged::at_least(id, "/bus/bus_case", Unit::Ohm, value, limit);
        to.require(waits(blocked_where(judged, !listed || lacking), input.monitor_needs()), |row| {
            let failure = match row.outcome {
                Outcome::Blocked if listed => LACKING.into(),
                Outcome::Blocked => none.into(),
                _ => format!(
                    "{} {leave} {}, {}; {} are required.",
                    crate::report::kit::capital(&units()),
                    ohm(value.unwrap_or(0.0)),
                    ohm_per_volt(value.unwrap_or(0.0) / input.barrier.pack_v),
                    ohm(bus.required_ohm.unwrap_or(0.0))
                ),
            };
            Words::new(label, format!("{}, {what}{}", units(), asked()), failure)
        });
    }
    if let Some(allowed) = bus.units_allowed {
        let count = f64::from(bus.units);
        let judged = Judged::at_most("isolation.bus.units", "/bus/units_in_parallel", Unit::One, count, allowed);
        to.require(waits(blocked_where(judged, lacking), input.monitor_needs()), |row| {
            let failure = if row.outcome == Outcome::Blocked {
                LACKING.into()
            } else {
                format!("On the bus: {}; its insulation allows {}.", units(), one(allowed))
            };
            Words::new("Units on the bus", asked().trim_start_matches("; "), failure)
        });
    }
}

/// Why nothing holds on a list of paths that the readings prove too short.
const LACKING: &str = "the readings of the measurement lie below what the listed paths give: a path is missing";

fn measured(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let given = &input.two_measurement;
    if !given.is_there() || nothing_required(&input.bus, input.barrier.pack_v) || rests_on_disconnection(&input.bus) {
        return;
    }
    let required = required_ohm_per_v(&input.bus, input.barrier.pack_v).map(|r| r * input.barrier.pack_v);
    let needs = missing([
        (given.vb_v, "/two_measurement/vb_v"),
        (given.v1_v, "/two_measurement/v1_v"),
        (given.v2_v, "/two_measurement/v2_v"),
        (given.v_with_r0_v, "/two_measurement/v_with_r0_v"),
        (given.r0_ohm, "/two_measurement/r0_ohm"),
    ]);
    let value = result.measured.map(|measured| measured.lower_ohm);
    let limit = required.map_or(Limit::Missing("/bus/ohm_per_v"), Limit::Given);
    let judged = Judged::at_least("isolation.bus.measured", "/two_measurement/v_with_r0_v", Unit::Ohm, value, limit);
    let near = result.measured.is_some_and(|measured| measured.too_near);
    // Whatever two readings that are nearly alike give is no value.
    let drawn = result.measured.and_then(|measured| measured.drawn);
    let unstated = !input.describes_bus();
    let odd = result.measured.filter(|measured| measured.at_odds);
    let judged = if needs.is_some() || !(near || unstated || odd.is_some()) {
        settle(drawn, waits(judged, needs))
    } else {
        judged.blocked()
    };
    to.require(judged, |row| {
        let failure = match (row.outcome, odd) {
            (Outcome::Blocked, _) if near => {
                "the two readings differ by less than ten times their limit: take a smaller resistor".into()
            }
            (Outcome::Blocked, Some(odd)) => {
                let sum = odd.sum_v.map_or_else(String::new, |sum| format!(" instead of {}", volt(sum)));
                let both = volt(given.v1_v.unwrap_or(0.0) + given.v2_v.unwrap_or(0.0));
                format!(
                    "the readings do not fit each other: both poles add up to {both}{sum}, or the meter is not given"
                )
            }
            (Outcome::Blocked, None) => {
                "no path to the chassis is described here, so that it is not known what the bus must have".into()
            }
            _ => String::new(),
        };
        let failure = match (row.outcome, result.measured) {
            (Outcome::Blocked, _) => failure,
            (_, Some(measured)) => format!(
                "The readings give {} ± {}: {} at the lower end, {} are required.",
                ohm(measured.method_ohm),
                ohm(measured.limit_ohm),
                ohm(measured.lower_ohm),
                ohm(required.unwrap_or(0.0))
            ),
            _ => String::new(),
        };
        let trials = drawn.map(|drawn| format!("at the lower end of 95 %, {} trials", drawn.trials));
        let note = trials.unwrap_or_else(|| "at the lower end of its limits, worst case".into());
        Words::new("Isolation resistance as it was measured", note, failure)
    });
}

fn monitor(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let (given, Some(seen), Some(bus)) = (&input.monitor, &result.monitor, &result.bus) else { return };
    let required = !nothing_required(&input.bus, input.barrier.pack_v) && !rests_on_disconnection(&input.bus);
    if required {
        window(input, result, to);
    }
    let needs = missing([
        (input.y.unit_positive_farad, "/y/unit_positive_farad"),
        (input.y.unit_negative_farad, "/y/unit_negative_farad"),
    ]);
    let at = "/monitor/response_allowed_s";
    let mut settles = |id, value: Option<f64>, label: &str, state: &str| {
        let judged = most(id, at, Unit::Second, value, given.response_allowed_s, needs);
        let unlisted = needs.is_none() && value.is_none();
        to.require(blocked_where(judged, unlisted), |row| {
            let failure = match row.achieved {
                Some(time) => format!("The supervision has settled after {} {state}.", second(time)),
                None => "the resistance that it settles with is not known".into(),
            };
            Words::new(label, format!("{} time constants, {state}", one(given.settle_tau)), failure)
        });
    };
    if required {
        let label = "A fault is detected in time";
        settles("isolation.monitor.detects", seen.detects_s, label, "at the resistance that is required");
    }
    settles(
        "isolation.monitor.release",
        seen.release_s,
        "A fault that is gone is released in time",
        "on the healthy bus as its paths are given",
    );
    let judged = Judged::never("isolation.monitor.symmetric", "/monitor/kind", seen.blind_to_symmetric);
    to.require(judged, |_| {
        let failure =
            "The balance of the poles does not change when both lose their insulation alike, and nothing else sees it.";
        let healthy = bus.parallel_ohm.map_or_else(String::new, |healthy| format!("healthy bus {}", ohm(healthy)));
        Words::new("A fault of both poles alike is seen", healthy, failure)
    });
}

/// The alarm between what must alarm and what must not.
fn window(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let (given, Some(seen)) = (&input.monitor, &result.monitor) else { return };
    let (id, at) = ("isolation.monitor.window", "/monitor/alarm_ohm");
    let (from, to_ohm) = (seen.alarm_from_ohm, seen.alarm_to_ohm);
    let no_room = from.zip(to_ohm).is_some_and(|(from, to)| from > to);
    let judged = match (from, to_ohm, given.alarm_ohm) {
        (None, ..) => Judged::at_least(id, at, Unit::Ohm, given.alarm_ohm, Limit::Missing("/bus/ohm_per_v")),
        (_, None, _) => Judged::at_least(id, at, Unit::Ohm, given.alarm_ohm, Limit::NotAsked).blocked(),
        _ if result.lacks_a_path() => Judged::at_least(id, at, Unit::Ohm, given.alarm_ohm, Limit::NotAsked).blocked(),
        (Some(from), Some(to), None) if from > to => Judged::at_least(id, at, Unit::Ohm, to, from),
        (.., None) => Judged::at_least(id, at, Unit::Ohm, None, Limit::Missing(at)),
        (Some(from), Some(to), Some(alarm)) => {
            Judged::at_least(id, at, Unit::Ohm, alarm, from).worse(Judged::at_most(id, at, Unit::Ohm, alarm, to))
        }
    };
    to.require(waits(judged, input.monitor_needs()), |row| {
        let [from, to] = [from, to_ohm].map(|end| ohm(end.unwrap_or(0.0)));
        let failure = match row.outcome {
            Outcome::Blocked if to_ohm.is_some() => LACKING.into(),
            Outcome::Blocked => "no path to the chassis is listed, so that the healthy bus is not known".into(),
            _ if no_room => format!(
                "The alarm must lie above {from} to be certain and below {to} not to come from the healthy bus: there is no room."
            ),
            _ => format!("The alarm must lie between {from} and {to}."),
        };
        // The 15 % of IEC 61557-8 with which the field starts are from memory.
        let note = format!("error {}{}", percent(given.error_percent), memory(given.error_percent == ERROR_FROM_MEMORY));
        Words::new("Alarm between requirement and healthy bus", note, failure)
    });
}

fn touch(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let Some(bus) = result.bus else { return };
    if bus.parallel_ohm.is_none() || input.bus.is_earthed() || input.barrier.pack_v <= TOUCH_SAFE_V {
        return;
    }
    for (id, pole, current) in [
        ("isolation.touch.positive", "positive", bus.touch_positive_a),
        ("isolation.touch.negative", "negative", bus.touch_negative_a),
    ] {
        let judged = Judged::at_most(id, "/touch/limit_a", Unit::Ampere, current, input.touch.limit_a);
        to.require(waits(blocked_where(judged, result.lacks_a_path()), input.monitor_needs()), |row| {
            let failure = match row.outcome {
                Outcome::Blocked => LACKING.into(),
                _ => format!(
                    "A body between the {pole} pole and the chassis carries {}.",
                    ampere(row.achieved.unwrap_or(0.0))
                ),
            };
            let note = format!("through {}, paths that lower it left out", ohm(input.touch.body_ohm));
            Words::new(format!("Touch current of the {pole} pole"), note, failure)
        });
    }
}

/// What the capacitance needs that is not given.
fn pole_missing(y: &YCapacitors) -> Option<&'static str> {
    missing([(y.unit_positive_farad, "/y/unit_positive_farad"), (y.unit_negative_farad, "/y/unit_negative_farad")])
}

fn y_capacitors(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let (given, Some(y)) = (&input.y, &result.y) else { return };
    let needs = pole_missing(given);
    let (id, at) = ("isolation.y.energy", "/y/energy_limit_j");
    to.require(most(id, at, Unit::Joule, y.one_sided_j, Some(given.energy_limit_j), needs), |row| {
        let failure = format!(
            "{} give {} to a body after a fault of the other pole; at most {} would do.",
            farad(y.total_farad.unwrap_or(0.0)),
            joule(row.achieved.unwrap_or(0.0)),
            farad(y.largest_farad)
        );
        let note = format!("{}, the other pole at the chassis, upper tolerance", volt(input.barrier.pack_v));
        Words::new("Energy of the Y capacitors", note, failure)
    });
    let (id, at) = ("isolation.y.bleed", "/y/discharge_allowed_s");
    let low = y.left_v.is_some_and(|left| left <= given.touch_v);
    let bleeder = needs.or_else(|| given.pole_bleeder_ohm.is_none().then_some("/y/pole_bleeder_ohm"));
    let judged = if low {
        Judged::never(id, at, false)
    } else {
        most(id, at, Unit::Second, y.bleed_s, given.discharge_allowed_s, bleeder)
    };
    to.require(judged, |row| {
        let (left, safe) = (volt(y.left_v.unwrap_or(0.0)), volt(given.touch_v));
        let failure = format!(
            "Discharged from pole to pole, both poles keep {left} to the chassis and fall below {safe} after {}.",
            second(row.achieved.unwrap_or(0.0))
        );
        Words::new(
            "Both poles discharged to the chassis",
            format!("from {left} to {safe}, pole bleeders alone"),
            failure,
        )
    });
}
