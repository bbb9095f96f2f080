//! What is required of a discharge, and what an engineer must know about it.

use super::input::{DischargeInput, FeedKind, WeldReadings, WeldSequence};
use super::output::{DischargeOutput, DischargeWay, DischargeWeld};
use crate::judge::{Judged, Ledger, Limit, Words};
use crate::quantity::{Unit, joule, ohm, on_side, percent, second, volt, watt};
use crate::report::{Finding, Severity};

pub(super) fn requirements(input: &DischargeInput, result: &DischargeOutput, to: &mut Ledger) {
    let (start, stored) = (volt(input.start_v), joule(result.stored_j));
    let ways = [
        ("discharge.active", "/active/limit_s", &result.active, input.active.limit_s, ["Active", "active"]),
        ("discharge.passive", "/passive/limit_s", &result.passive, input.passive.limit_s, ["Passive", "passive"]),
    ];
    for (id, at, way, limit, [one, name]) in ways {
        let Some(way) = way else { continue };
        let held = input.unknown().map_or(Limit::Given(limit), Limit::Missing);
        let time = Judged::at_most(id, at, Unit::Second, way.time_s, held);
        to.require(lifted(input, way.highest_v, time), |_| late(input, way, one, name, limit));
    }
    ratings(input, result, to);
    match &result.weld {
        Some(weld) => self::weld(input, result, weld, to),
        None if input.tests_weld() => {
            let limit = Limit::Missing("/weld/reading_error_v");
            let one = Judged::at_most("discharge.weld-check", "/weld/time_s", Unit::Volt, None, limit);
            let label = "Drop that the weld test needs against the drop of the link";
            to.require(one, |_| Words::new(label, "the error of a reading is not given", ""));
        }
        None => {}
    }
    sequence(input, to);
    let none = result.active.is_none() && result.passive.is_none();
    to.require(Judged::never("discharge.no-path", "/active/kind", none), |_| {
        let failure = format!("Nothing discharges the link: {stored} stay in it.");
        Words::new("Something discharges the link", "active, passive or both", failure)
    });
    let words = || "There is no bleeder: when the active discharge or its supply fails, the link stays charged.".into();
    to.warn("discharge.no-bleeder", "/passive/fitted", !none && result.passive.is_none(), words);
    let below = input.start_v <= input.safe_v && input.emf_v() <= input.safe_v;
    to.note("discharge.already-below", "/start_v", below, || {
        format!("The link starts at {start}, not above the {} that must be reached.", volt(input.safe_v))
    });
    let rated = input.active.pulse_j.unwrap_or(result.stored_j);
    if let Some(connected) = result.connected_j.filter(|connected| *connected > rated) {
        to.remark(|| {
            let severity = if input.active.pulse_j.is_some() { Severity::Warn } else { Severity::Note };
            let others = if input.units_in_parallel > 1 { ", another unit that is not off" } else { "" };
            let message = format!(
                "With the pack still connected (a welded contactor{others}) the active discharge takes {} in {} instead of {stored}: let it stop when the voltage does not fall.",
                joule(connected),
                second(input.active.limit_s)
            );
            Finding::new(severity, "discharge.pack-connected", message).at("/active/limit_s")
        });
    }
    plausible(input, result, to);
}

/// Ratings of what discharges, and of a link that is lifted. One that is not given is not judged.
fn ratings(input: &DischargeInput, result: &DischargeOutput, to: &mut Ledger) {
    let rated = |limit: Option<f64>, pointer: &'static str| limit.map_or(Limit::Missing(pointer), Limit::Given);
    if let Some(active) = &result.active {
        let (id, pointer) = ("discharge.resistor-pulse", "/active/pulse_j");
        let limit = rated(input.active.pulse_j, pointer);
        let takes = Judged::at_most(id, pointer, Unit::Joule, result.active_j, limit);
        let takes = lifted(input, active.highest_v, takes.without(input.fed_until_s().err()));
        to.require(takes, |_| {
            let (takes, rated) = (joule(result.active_j), joule(input.active.pulse_j.unwrap_or(0.0)));
            let failure = format!("The active discharge takes {takes}; it is rated {rated}.");
            let note = if input.is_fed() { "the link's, and of what feeds it" } else { "the whole energy of the link" };
            Words::new("Energy in the active discharge", format!("{note}{}", off(input)), failure)
        });
    }
    if let Some(passive) = &result.passive {
        let (id, pointer) = ("discharge.bleeder-power", "/passive/power_w");
        let limit = rated(input.passive.power_w, pointer);
        let loses = Judged::at_most(id, pointer, Unit::Watt, passive.highest_w, limit);
        to.require(lifted(input, passive.highest_v, loses), |_| {
            let (loses, at) = (watt(passive.highest_w), volt(passive.highest_v));
            let rated = watt(input.passive.power_w.unwrap_or(0.0));
            let failure = format!("The bleeder loses {loses} at {at}; it is rated {rated}.");
            let low = if input.feed.kind == FeedKind::None { "low limit" } else { "worst within its tolerance" };
            Words::new("Loss of the bleeder", format!("continuous at {at}, at its {low}"), failure)
        });
    }
    if result.highest_v > input.start_v {
        let (id, pointer) = ("discharge.link-voltage", "/feed/link_rated_v");
        let limit = rated(input.feed.link_rated_v, pointer);
        let comes_to = Judged::at_most(id, pointer, Unit::Volt, result.highest_v, limit);
        to.require(lifted(input, result.highest_v, comes_to), |_| {
            let (highest, rated) = (volt(result.highest_v), volt(input.feed.link_rated_v.unwrap_or(0.0)));
            let failure = format!("What feeds the link lifts it to {highest}, above the pack; it is rated {rated}.");
            Words::new("Voltage of the link", "lifted above the pack", failure)
        });
    }
}

/// What a feed lifts a link to, and what comes of it: of a capacitance of which the upper limit alone is known it may be more.
fn lifted(input: &DischargeInput, highest_v: f64, judged: Judged) -> Judged {
    let by_feed = highest_v > input.start_v.max(input.emf_v());
    let unknown = by_feed && input.capacitance_tolerance_percent <= 0.0 && !judged.fails();
    judged.without(unknown.then_some("/capacitance_tolerance_percent"))
}

fn weld(input: &DischargeInput, result: &DischargeOutput, weld: &DischargeWeld, to: &mut Ledger) {
    let decays = result.passive.as_ref().or(result.active.as_ref());
    let lifted = |judged: Judged| lifted(input, decays.map_or(0.0, |way| way.highest_v), judged);
    let one_channel = input.weld.readings == WeldReadings::Same;
    let falls = weld.drop_v > 0.0;
    let needed = Some(weld.needed_v).filter(|_| falls);
    let limit = if one_channel && input.weld.gain_percent.is_none() {
        Limit::Missing("/weld/gain_percent")
    } else {
        Limit::Given(weld.drop_v)
    };
    let limit = if input.held().is_none() { Limit::Missing("/weld/others") } else { limit };
    let exists = weld.level_v.is_some() || matches!(limit, Limit::Missing(_));
    let one = Judged::at_most("discharge.weld-check", "/weld/time_s", Unit::Volt, needed, limit).fails_where(!exists);
    to.require(lifted(one), |_| {
        let (time, drop, needed) = (second(input.weld.time_s), volt(weld.drop_v), volt(weld.needed_v));
        let at = volt(weld.drop_at_v);
        let note = if falls { format!("after {time}, from {at}") } else { "the link does not decay".into() };
        let held = if input.held() == Some(true) { ": the other units hold it" } else { "" };
        let wait = weld.shortest_s.map_or_else(String::new, |at| format!("; wait {} at least", second(at)));
        let failure = format!(
            "In {time} the link drops by {drop} at least, {needed} are needed for a level between welded and opened{wait}{held}."
        );
        Words::new("Drop that the weld test needs against the drop of the link", note, failure)
    });
    if let Some(level) = input.weld.level_v.filter(|_| weld.level_v.is_some() && input.held().is_some()) {
        let (id, at) = ("discharge.weld-level", "/weld/level_v");
        let misses = Judged::at_least(id, at, Unit::Volt, level, weld.welded_v);
        to.require(lifted(misses.worse(Judged::at_most(id, at, Unit::Volt, level, weld.opened_v))), |_| {
            let [level, welded, opened] = [level, weld.welded_v, weld.opened_v].map(volt);
            let failure = format!(
                "The level of {level} must lie between {welded}, which a welded contactor can show, and {opened}, which an opened one shows at least."
            );
            Words::new("Level of the weld test", format!("between {welded} and {opened}"), failure)
        });
    }
}

/// Whether a weld of either of two contactors shows; it does not hang on the readings.
fn sequence(input: &DischargeInput, to: &mut Ledger) {
    let (blind, why) = match input.weld.sequence {
        WeldSequence::One | WeldSequence::Turns => (false, ""),
        WeldSequence::Together => {
            (true, "When both open together, the other one opens the circuit, and the link decays all the same.")
        }
        WeldSequence::Fixed => {
            (true, "The one that always opens second is never tested: the first has opened the circuit before.")
        }
    };
    if input.weld.sequence != WeldSequence::One {
        to.require(Judged::never("discharge.weld-sequence", "/weld/sequence", blind), |_| {
            let failure = format!("A weld of one of two contactors does not show. {why}");
            Words::new("A weld of either contactor shows", "one after the other, each first in turn", failure)
        });
    }
}

/// Numbers that no built discharge has: mostly a prefix that slipped. Ranges are common practice, no source.
fn plausible(input: &DischargeInput, result: &DischargeOutput, to: &mut Ledger) {
    if let Some(passive) = &result.passive {
        to.warn("discharge.implausible-bleeder", "/passive/resistance_ohm", passive.highest_w > 500.0, || {
            format!(
                "The bleeder loses {} for as long as the link is charged. Is a prefix wrong?",
                watt(passive.highest_w)
            )
        });
    }
    if let Some(active) = &result.active {
        to.warn("discharge.implausible-active", "/active/resistance_ohm", active.highest_w > 100e3, || {
            format!("The active discharge takes {} at the start. Is a prefix wrong?", watt(active.highest_w))
        });
    }
    for (way, limit, at) in [
        (&result.active, input.active.limit_s, "/active/limit_s"),
        (&result.passive, input.passive.limit_s, "/passive/limit_s"),
    ] {
        let Some(time) = way.as_ref().and_then(|way| way.time_s).filter(|time| *time > 0.0) else { continue };
        to.warn("discharge.implausible-time", at, time < 2e-3 * limit, || {
            format!("The discharge takes {}, {} are allowed. Is a prefix wrong?", second(time), second(limit))
        });
    }
    for (at, tolerance) in [
        ("/active/tolerance_percent", input.active.tolerance_percent),
        ("/passive/tolerance_percent", input.passive.tolerance_percent),
    ] {
        to.warn("discharge.implausible-tolerance", at, tolerance > 0.0 && tolerance < 0.05, || {
            format!("A tolerance of {} is very small here. Is a prefix wrong?", percent(tolerance))
        });
    }
    let stored = result.stored_j;
    to.warn("discharge.implausible-energy", "/capacitance_farad", !(0.05..=50e3).contains(&stored), || {
        format!("The charged link holds {}. Is a prefix wrong?", joule(stored))
    });
    to.warn("discharge.implausible-target", "/safe_v", input.safe_v < 1e-3 * input.start_v, || {
        format!("{} is a tiny part of {}. Is a prefix wrong?", volt(input.safe_v), volt(input.start_v))
    });
    if let Some(pulse) = input.active.pulse_j.filter(|_| result.active.is_some()) {
        to.warn("discharge.implausible-pulse", "/active/pulse_j", pulse > 100.0 * result.active_j, || {
            format!(
                "The active discharge is rated {} and takes {}. Is a prefix wrong?",
                joule(pulse),
                joule(result.active_j)
            )
        });
    }
    if let Some((power, passive)) = input.passive.power_w.zip(result.passive.as_ref()) {
        to.warn("discharge.implausible-rating", "/passive/power_w", power > 200.0 * passive.highest_w, || {
            format!("The bleeder is rated {} and loses {}. Is a prefix wrong?", watt(power), watt(passive.highest_w))
        });
    }
    if let Some(error) = input.weld.reading_error_v {
        to.warn(
            "discharge.implausible-error",
            "/weld/reading_error_v",
            error > 0.0 && error < 1e-4 * input.start_v,
            || format!("An error of {} on {} is very small. Is a prefix wrong?", volt(error), volt(input.start_v)),
        );
        to.warn("discharge.implausible-test", "/weld/time_s", input.weld.time_s > 100.0, || {
            format!("The weld test takes {}. Is a prefix wrong?", second(input.weld.time_s))
        });
    }
}

/// Of several units on one bus the link discharges when the last one is off: that is when its time begins.
fn off(input: &DischargeInput) -> &'static str {
    if input.units_in_parallel > 1 { ", all units off" } else { "" }
}

fn late(input: &DischargeInput, way: &DischargeWay, one: &str, name: &str, limit_s: f64) -> Words {
    let (safe, limit, left) = (volt(input.safe_v), second(limit_s), volt(way.left_v));
    let note = way
        .time_s
        .map_or_else(|| "never".into(), |_| format!("to {safe}, every value at its slow limit{}", off(input)));
    let takes =
        way.time_s.map_or_else(|| format!("never reaches {safe}"), |time| format!("takes {} to {safe}", second(time)));
    let enough = way.largest_ohm.zip(way.largest_w).map_or_else(String::new, |(r, power)| {
        format!(". {} would do, with {} at the start", ohm(on_side(r, 4, false)), watt(power))
    });
    let failure =
        format!("The {name} discharge {takes}; after the {limit} allowed the link still holds {left}{enough}.");
    Words::new(format!("{one} discharge"), note, failure)
}
