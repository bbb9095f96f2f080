//! Distances and the isolator.

use super::super::distances::groove;
use super::super::input::{Crossing, Insulation, IsolationInput, IsolatorImmunity};
use super::super::isolator::DISCHARGE_COULOMB;
use super::super::output::IsolationOutput;
use super::super::spacing::{CreepageBy, IsolationCrossing};
use super::{blocked_where, least, memory, waits};
use crate::judge::{Judged, Ledger, Limit, Outcome, Words};
use crate::quantity::{Unit, coulomb, in_sentence, metre, millimetre, volt, volt_per_second, year};
use crate::report::caution::TOUCH_SAFE_V;

const ALTITUDE: &str = "/barrier/altitude_m";
const PEAK: &str = "/barrier/recurring_peak_v";
const TEMPORARY: &str = "/barrier/temporary_overvoltage_v";

pub(super) fn requirements(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    class(input, to);
    for (row, (crossing, given)) in result.crossings.iter().zip(&input.crossings).enumerate() {
        clearance(input, row, crossing, to);
        creepage(input, row, crossing, given, to);
    }
    open_element(input, result, to);
    if result.isolator.is_some() {
        isolator(input, result, to);
    }
}

/// What a clearance needs that is not given: without it the clearance is the mildest.
fn unknown(input: &IsolationInput) -> Option<&'static str> {
    let barrier = &input.barrier;
    if barrier.altitude_m.is_none() {
        Some(ALTITUDE)
    } else if barrier.recurring_peak_v.is_none() {
        Some(PEAK)
    } else {
        barrier.temporary_overvoltage_v.is_none().then_some(TEMPORARY)
    }
}

fn class(input: &IsolationInput, to: &mut Ledger) {
    let barrier = &input.barrier;
    let (working, pack) = (barrier.working(), barrier.pack_v);
    to.require(Judged::never("isolation.barrier.voltage", "/barrier/working_v", working < pack), |_| {
        let (working, pack) = (volt(working), volt(pack));
        let failure = format!(
            "The working voltage is taken as {working}: with one pole at the chassis all of the {pack} stand across the barrier."
        );
        Words::new("Working voltage of the barrier is that of the whole pack", "one pole at the chassis", failure)
    });
    // At a voltage that is safe to touch nothing has to protect against touch.
    if pack <= TOUCH_SAFE_V {
        return;
    }
    // A layer that protects, and a bond that protects when it fails. Insulation for the function alone is no layer (IEC
    // 60664-1 clause 3, terms), whatever is bonded.
    let functional = barrier.insulation == Insulation::Functional;
    let single = matches!(barrier.insulation, Insulation::Basic | Insulation::Supplementary);
    let alone = functional || (single && !barrier.lv_side_bonded);
    to.require(Judged::never("isolation.barrier.class", "/barrier/insulation", alone), |_| {
        let class = in_sentence(barrier.insulation.label());
        let failure = if functional {
            format!("The insulation is {class}: it lets the circuit work, and protects nobody from {}.", volt(pack))
        } else {
            format!(
                "The insulation is {class} and the low-voltage side is not bonded to the chassis: a single fault puts {} on what can be touched.",
                volt(pack)
            )
        };
        Words::new("A single fault leaves protection", format!("{class} insulation"), failure)
    });
}

fn altitude_words(input: &IsolationInput) -> String {
    input.barrier.altitude_m.map_or_else(|| "altitude not given".into(), |altitude| metre(altitude).to_string())
}

fn clearance(input: &IsolationInput, row: usize, crossing: &IsolationCrossing, to: &mut Ledger) {
    let limit = crossing.clearance_required_mm.map_or(Limit::Missing("/barrier/rated_impulse_v"), Limit::Given);
    let (at, there) = ("/crossings/{}", crossing.clearance_mm);
    let one = Judged::at_least("isolation.clearance", at, Unit::Millimetre, there, limit).row(row);
    let needs = if crossing.clearance_required_mm.is_none() { None } else { unknown(input) };
    to.require(blocked_where(waits(one, needs), there.is_none()), |one| {
        let name = &crossing.name;
        let failure = match (one.outcome, there, crossing.clearance_required_mm) {
            (Outcome::Blocked, ..) | (_, None, _) | (.., None) => {
                format!("the clearance of \u{201c}{name}\u{201d} is not given")
            }
            (_, Some(there), Some(required)) => format!(
                "{name}: {} through air, {} are required at {}.",
                millimetre(there),
                millimetre(required),
                altitude_words(input)
            ),
        };
        let class = in_sentence(input.barrier.insulation.label());
        let note = format!(
            "{class}, pollution degree {}, {}{}",
            crossing.pollution_degree,
            altitude_words(input),
            memory(crossing.clearance_from_memory)
        );
        Words::new(format!("Clearance of {name}"), note, failure)
    });
}

fn creepage(input: &IsolationInput, row: usize, crossing: &IsolationCrossing, given: &Crossing, to: &mut Ledger) {
    let (at, there, required) = ("/crossings/{}", crossing.creepage_mm, crossing.creepage_required_mm);
    let limit = required.map_or(Limit::NotAsked, Limit::Given);
    let one = Judged::at_least("isolation.creepage", at, Unit::Millimetre, there, limit).row(row);
    let needs =
        if crossing.clearance_required_mm.is_none() { Some("/barrier/rated_impulse_v") } else { unknown(input) };
    let judged = if required.is_none() || there.is_none() {
        one.blocked()
    } else {
        blocked_where(waits(one, needs), crossing.groove_bridged)
    };
    to.require(judged, |one| {
        let name = &crossing.name;
        let failure = match (one.outcome, there, required) {
            (Outcome::Blocked, None, _) => format!("the creepage of \u{201c}{name}\u{201d} is not given"),
            (Outcome::Blocked, _, None) => format!("the material group of \u{201c}{name}\u{201d} is not given"),
            (Outcome::Blocked, ..) => format!(
                "the groove of \u{201c}{name}\u{201d} is narrower than {} and bridged, so that the creepage leads straight across it",
                millimetre(groove(crossing.pollution_degree, given.clearance_mm))
            ),
            (_, Some(there), Some(required)) => {
                let by = if crossing.creepage_by == CreepageBy::Clearance { "the clearance" } else { "the working voltage" };
                format!(
                    "{name}: {} along the surface, {} are required by {by}.",
                    millimetre(there),
                    millimetre(required)
                )
            }
            _ => String::new(),
        };
        let class = in_sentence(input.barrier.insulation.label());
        let group = crossing.group.map_or_else(String::new, |group| format!(", group {group}"));
        let rib = if crossing.creepage_by == CreepageBy::Rib { ", with its rib" } else { "" };
        let note = format!(
            "{class}, pollution degree {}{group}{rib}{}",
            crossing.pollution_degree,
            memory(crossing.creepage_from_memory)
        );
        Words::new(format!("Creepage of {name}"), note, failure)
    });
}

fn open_element(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let Some(open) = result.open_element else { return };
    let (id, mm) = ("isolation.chain.open", Unit::Millimetre);
    let air =
        waits(Judged::at_least(id, "/open_element/gap_mm", mm, open.gap_mm, open.gap_required_mm), unknown(input));
    let detected = input.open_element.detected;
    let surface = open.creepage_required_mm.map_or(Limit::Missing("/open_element/material_group"), Limit::Given);
    let surface = waits(
        Judged::at_least(id, "/open_element/creepage_mm", mm, open.creepage_mm, surface),
        open.creepage_required_mm.and(unknown(input)),
    );
    let judged = if detected { air } else { air.worse(surface) };
    to.require(judged, |one| {
        let (there, needed) = (one.achieved.map(millimetre), one.required.map(millimetre));
        let failure = there.zip(needed).map_or_else(String::new, |(there, needed)| {
            format!(
                "An element of the chain that is open has {} across its pads: {there}, {needed} are required.",
                volt(result.stress.working_v)
            )
        });
        let seen =
            if detected { "the open element is detected: air alone counts" } else { "nobody notices the open element" };
        Words::new("One element of the chain open", format!("{seen}{}", memory(open.from_memory)), failure)
    });
}

fn isolator(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let (given, stress) = (&input.isolator, &result.stress);
    let Some(asked) = result.isolator else { return };
    let words = |label: &'static str, note: &'static str, what: &'static str| {
        move |one: &Judged| {
            let (has, needs) = (volt(one.achieved.unwrap_or(0.0)), volt(one.required.unwrap_or(0.0)));
            Words::new(label, note, format!("The isolator {what} {has}, {needs} are required."))
        }
    };
    let (id, at) = ("isolation.isolator.working", "/isolator/working_dc_v");
    to.require(
        least(id, at, Unit::Volt, given.working_dc_v, asked.working_v, None),
        words(
            "Working voltage of the isolator",
            "direct, for its whole life",
            "is rated for a direct working voltage of",
        ),
    );
    let peak_needs = input.barrier.recurring_peak_v.is_none().then_some(PEAK);
    let (id, at) = ("isolation.isolator.peak", "/isolator/recurring_peak_v");
    to.require(
        least(id, at, Unit::Volt, given.recurring_peak_v, asked.recurring_peak_v, peak_needs),
        words("Recurring peak of the isolator", "with ripple and ringing", "is rated for a recurring peak of"),
    );
    let (id, at) = ("isolation.isolator.impulse", "/isolator/impulse_v");
    let needs = stress.impulse_v.is_none().then_some("/barrier/rated_impulse_v");
    to.require(least(id, at, Unit::Volt, given.impulse_v, stress.impulse_v, needs), |one| {
        let note = format!("in air, for the class of the insulation{}", memory(stress.impulse_from_memory));
        let (has, needs) = (volt(one.achieved.unwrap_or(0.0)), volt(one.required.unwrap_or(0.0)));
        let failure = format!("The isolator is rated for an impulse of {has}, {needs} are required.");
        Words::new("Impulse voltage of the isolator", note, failure)
    });
    let (id, at) = ("isolation.isolator.temporary", "/isolator/temporary_v");
    let needs = asked.temporary_v.is_none().then_some(TEMPORARY);
    to.require(
        least(id, at, Unit::Volt, given.temporary_v, asked.temporary_v, needs),
        words("Temporary overvoltage of the isolator", "peak", "is rated for a temporary overvoltage of"),
    );
    if let Some(test) = asked.discharge_v {
        discharge(input, test, peak_needs, to);
    }
    life(input, asked.working_v, to);
    immunity(input, to);
}

fn discharge(input: &IsolationInput, test_v: f64, needs: Option<&'static str>, to: &mut Ledger) {
    let (given, id) = (&input.isolator, "isolation.isolator.discharge");
    let tested = least(id, "/isolator/pd_test_v", Unit::Volt, given.pd_test_v, test_v, needs);
    let charge = super::most(
        id,
        "/isolator/pd_charge_coulomb",
        Unit::Coulomb,
        given.pd_charge_coulomb,
        Some(DISCHARGE_COULOMB),
        given.pd_charge_coulomb.is_none().then_some("/isolator/pd_charge_coulomb"),
    );
    to.require(tested.worse(charge), |one| {
        let failure = if one.unit == Unit::Coulomb {
            let charge = coulomb(one.achieved.unwrap_or(0.0));
            format!("Partial discharge reaches {charge}, {} are allowed.", coulomb(DISCHARGE_COULOMB))
        } else {
            let test = volt(one.achieved.unwrap_or(0.0));
            format!("Partial discharge is tested at {test}, {} are required.", volt(test_v))
        };
        Words::new("Partial discharge of the isolator", format!("routine test at {}", volt(test_v)), failure)
    });
}

fn life(input: &IsolationInput, working_v: f64, to: &mut Ledger) {
    let (given, id) = (&input.isolator, "isolation.isolator.life");
    let voltage = least(id, "/isolator/life_v", Unit::Volt, given.life_v, working_v, None);
    let needs = given.required_life_years.is_none().then_some("/isolator/required_life_years");
    let asked = given.required_life_years.unwrap_or(0.0);
    let years = least(id, "/isolator/life_years", Unit::Year, given.life_years, asked, needs);
    to.require(voltage.worse(years), |one| {
        let failure = if one.unit == Unit::Volt {
            let at = volt(one.achieved.unwrap_or(0.0));
            format!(
                "The life of the isolator holds at {at}; the barrier has {}, and no law leads from one to the other.",
                volt(working_v)
            )
        } else {
            let life = year(one.achieved.unwrap_or(0.0));
            format!("The isolator lives {life} at its voltage, {} are required.", year(asked))
        };
        Words::new("Life of the isolator", "calendar years under voltage", failure)
    });
}

fn immunity(input: &IsolationInput, to: &mut Ledger) {
    let (given, at) = (&input.isolator, "/isolator/immunity_v_per_s");
    let slew = input.common_mode.node_slew_v_per_s;
    let needs = slew.is_none().then_some("/common_mode/node_slew_v_per_s");
    let (id, unit) = ("isolation.isolator.immunity", Unit::VoltPerSecond);
    let one = least(id, at, unit, given.immunity_v_per_s, slew, needs);
    // A typical value says nothing of the worst part: it can fail, but not hold.
    let typical = given.immunity_is == IsolatorImmunity::Typical;
    to.require(blocked_where(one, typical && given.immunity_v_per_s.is_some()), |one| {
        let failure = if one.outcome == Outcome::Blocked {
            "the immunity is a typical value; a guaranteed minimum is needed".into()
        } else {
            let (has, slew) = (given.immunity_v_per_s.unwrap_or(0.0), slew.unwrap_or(0.0));
            format!("The isolator stands {}, the other side moves by {}.", volt_per_second(has), volt_per_second(slew))
        };
        Words::new("Common-mode transient immunity", "against the steepest edge", failure)
    });
}
