//! What an engineer must know about this discharge.

use super::input::DischargeInput;
use super::output::{DischargeOutput, DischargeWay};
use crate::quantity::{Unit, say};
use crate::report::{Finding, Severity};

pub(super) fn findings(input: &DischargeInput, result: &DischargeOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if input.start_v <= input.safe_v {
        findings.push(
            Finding::new(
                Severity::Note,
                "discharge.already-below",
                format!(
                    "The link starts at {}, not above the {} that must be reached.",
                    say(input.start_v, Unit::Volt),
                    say(input.safe_v, Unit::Volt)
                ),
            )
            .at("/start_v"),
        );
    }
    if result.active.is_none() && result.passive.is_none() {
        findings.push(
            Finding::new(
                Severity::Fail,
                "discharge.no-path",
                format!("Nothing discharges the link: {} stay in it.", say(result.stored_j, Unit::Joule)),
            )
            .at("/active/kind"),
        );
    } else if result.passive.is_none() {
        findings.push(
            Finding::new(
                Severity::Warn,
                "discharge.no-bleeder",
                "There is no bleeder: when the active discharge or its supply fails, the link stays charged.",
            )
            .at("/passive/fitted"),
        );
    }
    late(&mut findings, input, result.active.as_ref(), input.active.limit_s, ("active", "/active/limit_s"));
    late(&mut findings, input, result.passive.as_ref(), input.passive.limit_s, ("passive", "/passive/limit_s"));
    if let Some(connected) = result.connected_j
        && connected > input.active.pulse_j.unwrap_or(result.stored_j)
    {
        findings.push(
            Finding::new(
                if input.active.pulse_j.is_some() { Severity::Warn } else { Severity::Note },
                "discharge.pack-connected",
                format!(
                    "With the pack still connected (a welded contactor) the active discharge takes {} in {} instead of {}: let it stop when the voltage does not fall.",
                    say(connected, Unit::Joule),
                    say(input.active.limit_s, Unit::Second),
                    say(result.stored_j, Unit::Joule)
                ),
            )
            .at("/active/limit_s"),
        );
    }
    if let Some(weld) = result.weld.as_ref().filter(|weld| weld.drop_v <= weld.error_v) {
        findings.push(
            Finding::new(
                Severity::Fail,
                "discharge.weld-not-seen",
                format!(
                    "In {} the link drops by {}, two readings can be wrong by {}: an opened contactor looks welded{}.",
                    say(input.weld.time_s, Unit::Second),
                    say(weld.drop_v, Unit::Volt),
                    say(weld.error_v, Unit::Volt),
                    weld.shortest_s.map_or_else(String::new, |at| format!("; wait {} at least", say(at, Unit::Second)))
                ),
            )
            .at("/weld/time_s"),
        );
    }
    findings
}

fn late(
    findings: &mut Vec<Finding>,
    input: &DischargeInput,
    way: Option<&DischargeWay>,
    limit: f64,
    (name, pointer): (&str, &str),
) {
    let Some(way) = way else { return };
    let (Some(time), left) = (way.time_s, way.left_v) else { return };
    if time <= limit {
        return;
    }
    findings.push(
        Finding::new(
            Severity::Fail,
            &format!("discharge.{name}-late"),
            format!(
                "The {name} discharge takes {} to {}; after the {} allowed the link still holds {}{}.",
                say(time, Unit::Second),
                say(input.safe_v, Unit::Volt),
                say(limit, Unit::Second),
                say(left, Unit::Volt),
                way.largest_ohm.zip(way.largest_w).map_or_else(String::new, |(ohm, watt)| format!(
                    ". {} would do, with {} at the start",
                    say(ohm, Unit::Ohm),
                    say(watt, Unit::Watt)
                ))
            ),
        )
        .at(pointer)
        .against(time, limit),
    );
}
