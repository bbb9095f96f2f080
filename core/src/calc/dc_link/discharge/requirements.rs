//! What is required of a discharge, and what an engineer must know about it.

use super::input::DischargeInput;
use super::output::{DischargeOutput, DischargeWay};
use crate::judge::{Judged, Ledger, Words};
use crate::quantity::{Unit, joule, ohm, second, volt, watt};
use crate::report::{Finding, Severity};

pub(super) fn requirements(input: &DischargeInput, result: &DischargeOutput, to: &mut Ledger) {
    let (start, stored) = (volt(input.start_v), joule(result.stored_j));
    if let Some(way) = &result.active {
        let time =
            Judged::at_most("discharge.active", "/active/limit_s", Unit::Second, way.time_s, input.active.limit_s);
        to.require(time, |_| late(input, way, "Active", "active", input.active.limit_s));
    }
    if let Some(way) = &result.passive {
        let limit = input.passive.limit_s;
        let time = Judged::at_most("discharge.passive", "/passive/limit_s", Unit::Second, way.time_s, limit);
        to.require(time, |_| late(input, way, "Passive", "passive", limit));
    }
    if let Some(pulse) = input.active.pulse_j.filter(|_| result.active.is_some()) {
        let (id, pointer) = ("discharge.resistor-pulse", "/active/pulse_j");
        to.require(Judged::at_most(id, pointer, Unit::Joule, result.stored_j, pulse), |_| {
            let failure = format!("The active discharge takes {stored}; it is rated {}.", joule(pulse));
            Words::new("Energy in the active discharge", "the whole energy of the link", failure)
        });
    }
    if let (Some(power), Some(passive)) = (input.passive.power_w, &result.passive) {
        let (id, pointer) = ("discharge.bleeder-power", "/passive/power_w");
        to.require(Judged::at_most(id, pointer, Unit::Watt, passive.highest_w, power), |_| {
            let note = format!("continuous at {start}, at its low limit");
            let failure =
                format!("The bleeder loses {} at {start}; it is rated {}.", watt(passive.highest_w), watt(power));
            Words::new("Loss of the bleeder", note, failure)
        });
    }
    if let Some(weld) = &result.weld {
        let error = Some(weld.error_v).filter(|_| weld.drop_v > 0.0);
        to.require(Judged::at_most("discharge.weld-check", "/weld/time_s", Unit::Volt, error, weld.drop_v), |_| {
            let (time, drop, error) = (second(input.weld.time_s), volt(weld.drop_v), volt(weld.error_v));
            let note = if weld.drop_v > 0.0 { format!("after {time}") } else { "the link does not decay".into() };
            let wait = weld.shortest_s.map_or_else(String::new, |at| format!("; wait {} at least", second(at)));
            let failure = format!(
                "In {time} the link drops by {drop}, two readings can be wrong by {error}: an opened contactor looks welded{wait}."
            );
            Words::new("Error of two readings against the drop of the link", note, failure)
        });
    }
    let none = result.active.is_none() && result.passive.is_none();
    to.require(Judged::never("discharge.no-path", "/active/kind", none), |_| {
        let failure = format!("Nothing discharges the link: {stored} stay in it.");
        Words::new("Something discharges the link", "active, passive or both", failure)
    });
    let words = || "There is no bleeder: when the active discharge or its supply fails, the link stays charged.".into();
    to.warn("discharge.no-bleeder", "/passive/fitted", !none && result.passive.is_none(), words);
    to.note("discharge.already-below", "/start_v", input.start_v <= input.safe_v, || {
        format!("The link starts at {start}, not above the {} that must be reached.", volt(input.safe_v))
    });
    let rated = input.active.pulse_j.unwrap_or(result.stored_j);
    if let Some(connected) = result.connected_j.filter(|connected| *connected > rated) {
        to.remark(|| {
            let severity = if input.active.pulse_j.is_some() { Severity::Warn } else { Severity::Note };
            let message = format!(
                "With the pack still connected (a welded contactor) the active discharge takes {} in {} instead of {stored}: let it stop when the voltage does not fall.",
                joule(connected),
                second(input.active.limit_s)
            );
            Finding::new(severity, "discharge.pack-connected", message).at("/active/limit_s")
        });
    }
}

fn late(input: &DischargeInput, way: &DischargeWay, one: &str, name: &str, limit_s: f64) -> Words {
    let (safe, limit, left) = (volt(input.safe_v), second(limit_s), volt(way.left_v));
    let note = way.time_s.map_or_else(|| "never".into(), |_| format!("to {safe}, every value at its slow limit"));
    let takes =
        way.time_s.map_or_else(|| format!("never reaches {safe}"), |time| format!("takes {} to {safe}", second(time)));
    let enough = way
        .largest_ohm
        .zip(way.largest_w)
        .map_or_else(String::new, |(r, power)| format!(". {} would do, with {} at the start", ohm(r), watt(power)));
    let failure =
        format!("The {name} discharge {takes}; after the {limit} allowed the link still holds {left}{enough}.");
    Words::new(format!("{one} discharge"), note, failure)
}
