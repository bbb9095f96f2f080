//! The race's requirements.

use super::findings::place;
use super::input::{MeantFirst, RaceInput};
use super::output::{NobodyReason, RaceOutput};
use super::scan::Worst;
use super::solve::Heat;
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Check, Verdict};

pub(super) fn checks(input: &RaceInput, result: &RaceOutput, heat: &Heat, carried: Option<Worst>) -> Vec<Check> {
    let ampere = |value| Quantity::new(value, Unit::Ampere);
    let mut checks = Vec::new();
    if let Some(limit) = input.switch.breaking_a {
        let note = if result.must_break_a.is_some() {
            "largest current at which it may open, over all faults"
        } else {
            "it never opens first at any of these faults"
        };
        let must = ampere(result.must_break_a.unwrap_or(0.0));
        let check = Check::at_most("race.breaking", "Breaking capacity of the switch", note, must, Some(limit));
        checks.push(check.at("/switch/breaking_a"));
    }
    if let Some(limit) = input.fuse.breaking_a.filter(|_| heat.fuse.is_some()) {
        let label = "Breaking capacity of the fuse";
        let strongest = ampere(result.strongest.prospective_a);
        checks.push(
            Check::at_most("race.fuse-breaking", label, "strongest fault", strongest, Some(limit))
                .at("/fuse/breaking_a"),
        );
    }
    if let (Some(limit), Some(time), Some(carried)) = (input.switch.carry_a, input.switch.carry_s, carried) {
        // The forces follow the peak, the heat the mean square over the rated time.
        let (id, label, at) = ("race.carry", "Carried by the closed switch", say(carried.at_a, Unit::Ampere));
        let check = match carried.value {
            Some(current) => {
                let time = say(time, Unit::Second);
                let note = format!("peak, or equal heat in {time}; closed contacts, worst at {at} prospective");
                Check::at_most(id, label, note, ampere(current), Some(limit))
            }
            None => Check::undefined(id, label, format!("nothing bounds the heat at {at} prospective"), ampere(limit)),
        };
        checks.push(check.at("/switch/carry_a"));
    }
    let at = say(result.worst_fault_a, Unit::Ampere);
    for (id, label, limit, field) in [
        ("race.shunt-pulse", "Pulse limit of the shunt", input.shunt_pulse_a2s, "/shunt_pulse_a2s"),
        ("race.wiring", "Adiabatic limit of the wiring", result.wiring.map(|w| w.limit_a2s), "/wiring/area_mm2"),
    ] {
        let Some(limit) = limit else { continue };
        let unit = Unit::AmpereSquaredSecond;
        let check = match result.worst_let_through_a2s {
            Some(a2s) => {
                let note = format!("let-through until the fault is surely over, worst at {at} prospective");
                Check::at_most(id, label, note, Quantity::new(a2s, unit), Some(limit))
            }
            None => {
                let note = format!("nothing bounds the let-through at {at} prospective");
                Check::undefined(id, label, note, Quantity::new(limit, unit))
            }
        };
        checks.push(check.at(field));
    }
    checks.extend(clamp(input, result));
    checks.extend(order(input, heat));
    checks.extend([opens(result), threshold(input)]);
    checks
}

/// Every fault must find somebody who opens it.
fn opens(result: &RaceOutput) -> Check {
    let (id, label, field) = ("race.opens", "Some device opens every fault", "/threshold_a");
    let point = result.weakest.prospective_a >= result.strongest.prospective_a;
    let left = result.nobody.iter().filter(|interval| interval.reason == NobodyReason::NothingOpens);
    let left: Vec<String> = left.map(|interval| place(interval.from_a, interval.to_a, point)).collect();
    if left.is_empty() {
        let (from, to) = (result.weakest.prospective_a, result.strongest.prospective_a);
        let note = format!("share of the faults left to nobody, {} prospective", place(from, to, point));
        return Check::none_left(id, label, note, Unit::Percent).at(field);
    }
    let note = format!("nothing opens for certain {} prospective", left.join(" and "));
    Check::undefined(id, label, note, Quantity::new(0.0, Unit::Percent)).at(field)
}

/// The threshold must lie above what flows before the fault.
fn threshold(input: &RaceInput) -> Check {
    let before = Quantity::new(input.before_a.max(0.0), Unit::Ampere);
    let note = "current before the fault, threshold at its lowest";
    let limit = Some(input.thresholds().0);
    Check::at_most("race.threshold", "Threshold above the current before", note, before, limit).at("/threshold_a")
}

/// The clamp must stand above the source, and take what the opening leaves it.
fn clamp(input: &RaceInput, result: &RaceOutput) -> Vec<Check> {
    let Some(clamp_v) = input.switch.clamp_voltage_v else { return Vec::new() };
    let ends = input.clamp_ends(clamp_v);
    let (id, label) = ("race.clamp", "Clamp above the source");
    let source = Quantity::new(input.source.voltage_v, Unit::Volt);
    let check = Check::at_most(id, label, "voltage of the source against the clamp", source, Some(clamp_v));
    // At the very voltage of the source the current never ends either.
    let alike = !ends && check.verdict != Verdict::Fails;
    let note = "as high as the source: the current never ends";
    let check = if alike { Check::undefined(id, label, note, Quantity::new(clamp_v, Unit::Volt)) } else { check };
    let mut checks = vec![check.at("/switch/clamp_voltage_v")];
    if let Some(limit) = input.switch.clamp_energy_j {
        let (id, label, limit) = ("race.clamp-energy", "Energy into the clamp", Quantity::new(limit, Unit::Joule));
        let check = match result.clamp {
            Some(clamp) => {
                let energy = Quantity::new(clamp.energy_j, Unit::Joule);
                Some(Check::at_most(id, label, "with what the source adds", energy, Some(limit.value)))
            }
            None if !ends => Some(Check::undefined(id, label, "the current never ends", limit)),
            None => None,
        };
        checks.extend(check.map(|check| check.at("/switch/clamp_energy_j")));
    }
    checks
}

/// Whoever is meant to open first must have done so, at its latest, when the other one does at its earliest.
fn order(input: &RaceInput, heat: &Heat) -> Option<Check> {
    let fuse = heat.fuse;
    let (id, label, first, second) = match input.meant_first {
        MeantFirst::Any => return None,
        MeantFirst::Fuse => {
            let label = "Fuse before the switch";
            ("race.fuse-first", label, fuse.map(|fuse| fuse.prearc_max_s), heat.switch_min_s)
        }
        MeantFirst::Switch => {
            let label = "Switch before the fuse";
            ("race.switch-first", label, heat.switch_max_s, fuse.map(|fuse| fuse.prearc_min_s))
        }
    };
    let note = "its latest against the other's earliest, strongest fault";
    let second_word = "the other never opens";
    Some(
        match (first, second) {
            (Some(first), second) => {
                let note = if second.is_some() { note } else { second_word };
                let first = Quantity::new(first, Unit::Second);
                Check::at_most(id, label, note, first, second)
            }
            (None, second) => {
                let limit = Quantity::new(second.unwrap_or(0.0), Unit::Second);
                Check::undefined(id, label, "it never opens at the strongest fault", limit)
            }
        }
        .at("/meant_first"),
    )
}
