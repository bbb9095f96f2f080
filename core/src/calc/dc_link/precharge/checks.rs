//! The requirements of the pre-charge room.

use super::course::{Circuit, Draw};
use super::input::PrechargeInput;
use super::output::{PrechargeCourse, PrechargeOutput};
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Check, Verdict};

pub(super) fn checks(input: &PrechargeInput, circuit: &Circuit, result: &PrechargeOutput) -> Vec<Check> {
    let q = Quantity::new;
    let charge = &result.charge;
    // Without a lowest pack voltage there is one place, and no need to name it.
    let named = |pack_v: f64| result.lowest.as_ref().map_or_else(String::new, |_| format!(", {}", at_pack(pack_v)));
    let lowest = input.lowest_circuit().zip(result.lowest.as_ref());
    let judged = |judge: &dyn Fn(&Circuit, &PrechargeCourse, &str) -> Check| {
        let highest = judge(circuit, charge, &named(circuit.pack_v));
        match &lowest {
            Some((circuit, lowest)) => worse(highest, judge(circuit, &lowest.charge, &named(circuit.pack_v))),
            None => highest,
        }
    };
    let mut checks = vec![judged(&|_, charge, place| time(input, charge, place))];
    if circuit.draw != Draw::Nothing {
        checks.push(judged(&|circuit, charge, place| reaches(input, circuit, charge, place)));
    }
    let resistor = &input.resistor;
    if let Some(pulse) = resistor.pulse_j {
        let until = match charge.time_s {
            Some(time) if time <= input.max_time_s => "one attempt, to the target",
            _ => "one attempt, to the time-out",
        };
        checks.push(
            Check::at_most(
                "precharge.resistor-pulse",
                "Energy in the resistor",
                until,
                q(charge.energy_j, Unit::Joule),
                Some(pulse),
            )
            .at("/resistor/pulse_j"),
        );
        checks.push(
            Check::at_most(
                "precharge.short-energy",
                "Energy in the resistor, link shorted",
                "until the time-out",
                q(result.short.energy_j, Unit::Joule),
                Some(pulse),
            )
            .at("/resistor/pulse_j"),
        );
    }
    if let Some(power) = resistor.power_w {
        checks.push(
            Check::at_most(
                "precharge.resistor-power",
                "Mean power of the resistor",
                format!("during a series of {} attempts", result.repeated.attempts),
                q(result.repeated.series_w, Unit::Watt),
                Some(power),
            )
            .at("/resistor/power_w"),
        );
    }
    if let (Some(limit), Some(body)) = (resistor.limit_degc, result.repeated.body_degc) {
        checks.push(
            Check::rise(
                "precharge.temperature",
                "Temperature of the resistor",
                "steady, at the mean power of a series",
                body,
                resistor.ambient_degc,
                limit,
            )
            .at("/resistor/limit_degc"),
        );
    }
    checks.extend(lasting(input, result));
    if let Some(limit) = input.path.contactor_inrush_a2s {
        checks.push(
            Check::at_most(
                "precharge.inrush",
                "I²t when the main contactor closes",
                "at the largest true difference",
                q(result.inrush.a2s, Unit::AmpereSquaredSecond),
                Some(limit),
            )
            .at("/path/contactor_inrush_a2s"),
        );
    }
    checks
}

/// Where a number belongs to, in words.
pub(super) fn at_pack(pack_v: f64) -> String {
    format!("at a pack voltage of {}", say(pack_v, Unit::Volt))
}

/// The one of which more is used; the first when they are level.
fn worse(first: Check, other: Check) -> Check {
    let used = |check: &Check| match (check.used_percent, check.verdict) {
        (None, Verdict::Fails) => f64::INFINITY,
        (used, _) => used.unwrap_or(0.0),
    };
    if used(&other) > used(&first) * (1.0 + 1e-9) { other } else { first }
}

fn time(input: &PrechargeInput, charge: &PrechargeCourse, place: &str) -> Check {
    let (id, label) = ("precharge.time", "Time to the target");
    let target = format!("to {}", say(input.target_percent, Unit::Percent));
    let limit = Quantity::new(input.max_time_s, Unit::Second);
    match charge.time_s {
        Some(time) => {
            let time = Quantity::new(time, Unit::Second);
            Check::at_most(id, label, format!("{target}{place}"), time, Some(limit.value))
        }
        None => Check::undefined(id, label, format!("{target}: never{place}"), limit),
    }
    .at("/max_time_s")
}

/// The resistor against a link that is shorted in every attempt, and where the link stalls.
fn lasting(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Check> {
    let q = Quantity::new;
    let resistor = &input.resistor;
    let mut checks = Vec::new();
    if let Some(power) = resistor.power_w {
        checks.push(
            Check::at_most(
                "precharge.short-power",
                "Mean power of the resistor, link shorted",
                format!("during a series of {} attempts to the time-out", result.repeated.attempts),
                q(result.repeated.short_w, Unit::Watt),
                Some(power),
            )
            .at("/resistor/power_w"),
        );
        let stalled = std::iter::once((input.pack_v, &result.charge))
            .chain(result.lowest.iter().map(|lowest| (lowest.pack_v, &lowest.charge)))
            .filter(|(_, charge)| !charge.reaches)
            .max_by(|(_, a), (_, b)| a.settle_power_w.total_cmp(&b.settle_power_w));
        if let Some((pack_v, charge)) = stalled {
            let place = result.lowest.as_ref().map_or_else(String::new, |_| format!(", {}", at_pack(pack_v)));
            checks.push(
                Check::at_most(
                    "precharge.stall-power",
                    "Power of the resistor where the link stalls",
                    format!("at {}{place}", say(charge.settle_v, Unit::Volt)),
                    q(charge.settle_power_w, Unit::Watt),
                    Some(power),
                )
                .at("/resistor/power_w"),
            );
        }
    }
    if let (Some(limit), Some(body)) = (resistor.limit_degc, result.repeated.short_degc) {
        checks.push(
            Check::rise(
                "precharge.short-temperature",
                "Temperature of the resistor, link shorted",
                "steady, at the mean power of a series",
                body,
                resistor.ambient_degc,
                limit,
            )
            .at("/resistor/limit_degc"),
        );
    }
    checks
}

/// What the load takes at the target against what the resistor still delivers there.
fn reaches(input: &PrechargeInput, circuit: &Circuit, charge: &PrechargeCourse, place: &str) -> Check {
    let id = "precharge.reaches";
    let label = "Load at the target against what the resistor delivers there";
    let delivers = circuit.charge_a(charge.target_v);
    let takes = if circuit.wake_v() > charge.target_v { 0.0 } else { circuit.load_a(charge.target_v) };
    let note = format!("settles at {}{place}", say(charge.settle_percent, Unit::Percent));
    let check = if charge.reaches || takes > delivers {
        Check::at_most(id, label, note, Quantity::new(takes, Unit::Ampere), Some(delivers))
    } else {
        Check::undefined(id, label, note, Quantity::new(delivers, Unit::Ampere))
    };
    check.at(load_pointer(input))
}

/// The field that sets the size of the load.
pub(super) fn load_pointer(input: &PrechargeInput) -> &'static str {
    match input.circuit().draw {
        Draw::Nothing => "/load/kind",
        Draw::Resistance(_) => "/load/resistance_ohm",
        Draw::Current(_) => "/load/current_a",
        Draw::Power(_) => "/load/power_w",
    }
}
