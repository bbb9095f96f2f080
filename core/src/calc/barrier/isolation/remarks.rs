//! What an engineer must know beside the requirements.

use super::bus::{nothing_required, rests_on_disconnection};
use super::distances::groove;
use super::input::{IsolationInput, PathKind};
use super::isolator::IMMUNITY_THIN_PERCENT;
use super::output::IsolationOutput;
use super::spacing::CreepageBy;
use crate::judge::{Ledger, passes};
use crate::quantity::{Quantity, ampere, joule, metre, millimetre, ohm, ohm_per_volt, percent, volt};
use crate::report::caution::TOUCH_SAFE_V;

/// Altitudes above this are perhaps feet, m.
const FEET_M: f64 = 5000.0;
/// A meter below this loads the bus that it measures, Ω. UN R100.
const METER_OHM: f64 = 10e6;

/// Direct current through a body and energy of a discharge that are usually allowed at most. ISO 6469-3, UN R100 (from the
/// start values of the fields).
const TOUCH_A: f64 = 2e-3;
const ENERGY_J: f64 = 0.2;

pub(super) fn remarks(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    distances(input, result, to);
    signal(input, result, to);
    bus(input, result, to);
    measured(input, result, to);
}

fn distances(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let barrier = &input.barrier;
    for (row, (crossing, given)) in result.crossings.iter().zip(&input.crossings).enumerate() {
        let at = format!("/crossings/{row}");
        let name = &crossing.name;
        to.note("isolation.creepage-set-by-clearance", &at, crossing.creepage_by == CreepageBy::Clearance, || {
            let required = millimetre(crossing.creepage_required_mm.unwrap_or(0.0));
            format!("{name}: the clearance of {required} is longer than what the working voltage asks of the surface.")
        });
        let memory = crossing.clearance_from_memory || crossing.creepage_from_memory;
        to.warn("isolation.row-from-memory", &at, memory, || {
            format!("{name}: a row or a rule from memory decides. Compare it with the edition that applies.")
        });
        to.warn("isolation.groove-bridged", &at, crossing.groove_bridged, || {
            let least = millimetre(groove(crossing.pollution_degree, given.clearance_mm));
            format!("{name}: the contour of a groove narrower than {least} does not count; is the typed creepage without it?")
        });
        let rib = given.rib_width_mm.is_some() || given.rib_height_mm.is_some();
        to.note("isolation.rib-does-not-count", &at, rib && crossing.creepage_by == CreepageBy::Voltage, || {
            format!("{name}: the rib does not shorten the creepage: it does at pollution degree 3 from 630 to 1000 V, where it is a fifth wide and a quarter high.")
        });
        let untested = given.printed_wiring && barrier.pollution_degree == 1 && !barrier.coating_tested;
        to.warn("isolation.coating-untested", "/barrier/coating_tested", untested, || {
            format!("{name}: a coating makes pollution degree 1 only when it has been tested.")
        });
    }
    let high = barrier.altitude_m.filter(|altitude| *altitude > FEET_M);
    to.warn("isolation.altitude-feet", "/barrier/altitude_m", high.is_some(), || {
        format!("{} is high for a vehicle or a plant: is the altitude typed in feet?", metre(high.unwrap_or(0.0)))
    });
    let unknown = barrier.altitude_m.is_none();
    to.warn("isolation.altitude-unknown", "/barrier/altitude_m", unknown, || {
        "The altitude is not given: the clearances stand for 2000 m and below, and none of them holds for that.".into()
    });
}

fn signal(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let transformer = input.common_mode.couplings.iter().any(|one| {
        let name = one.name.to_lowercase();
        ["supply", "transformer", "converter"].iter().any(|word| name.contains(word))
    });
    let forgotten = result.injection.is_some() && result.supply.is_some() && !transformer;
    to.warn("isolation.supply-capacitance-missing", "/common_mode/couplings", forgotten, || {
        "No capacitance of the supply's transformer is listed; it is usually the largest.".into()
    });
    let immunity = result.isolator.and_then(|isolator| isolator.immunity_percent);
    let thin = immunity.filter(|percent| (100.0..IMMUNITY_THIN_PERCENT).contains(percent));
    to.warn("isolation.immunity-thin", "/isolator/immunity_v_per_s", thin.is_some(), || {
        format!("The immunity is {} of the slew: common practice keeps 125 % or more.", percent(thin.unwrap_or(0.0)))
    });
    let Some(supply) = &result.supply else { return };
    let one_point = input.supply.efficiency_points.len() == 1;
    to.warn("isolation.one-point-efficiency", "/supply/efficiency_points", one_point, || {
        "The efficiency is given at one point: at light load it is lower, and below the point its loss is taken as it stands.".into()
    });
    to.warn("isolation.never-starts", "/supply/current_limit_a", supply.never_starts, || {
        "The current limit leaves nothing to charge the output with while the loads draw their starting current.".into()
    });
}

fn bus(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    if let Some(bus) = &result.bus {
        let alone = bus.required_ohm.zip(bus.one_unit_ohm).zip(bus.parallel_ohm);
        let flatters =
            alone.filter(|((required, one), all)| bus.units > 1 && passes(*required, *all) && !passes(*required, *one));
        to.warn("isolation.counts-one-unit", "/bus/units_in_parallel", flatters.is_some(), || {
            let one = ohm(bus.one_unit_ohm.unwrap_or(0.0));
            format!("One unit alone leaves {one} and would hold; all units of the bus count.")
        });
        let strings = bus.strings_percent.filter(|share| *share > 50.0);
        to.note("isolation.strings-dominate", "/bus/unit_paths", strings.is_some(), || {
            format!("The measuring strings make {} of all leakage.", percent(strings.unwrap_or(0.0)))
        });
        let handed = input.bus.strings_positive_ohm.or(input.bus.strings_negative_ohm).is_some();
        let twice = handed && input.bus.unit_paths.iter().any(|path| path.kind == PathKind::String);
        to.warn("isolation.string-twice", "/bus/unit_paths", twice, || {
            "Strings of the voltage channels count by themselves, and measuring strings are listed besides: is one of them the same?".into()
        });
        let pair = bus.required_ohm.zip(bus.method_ohm).zip(bus.parallel_ohm);
        let method = pair.is_some_and(|((required, method), all)| passes(required, all) && !passes(required, method));
        to.warn("isolation.method-flatters", "/bus/bus_case", method, || {
            "By the regulation's method the insulation holds, all paths in parallel it does not: the method gives up to twice that resistance, and a monitoring device sees the parallel one.".into()
        });
        to.warn("isolation.two-monitors", "/bus/unit_paths", bus.monitors > 1, || {
            format!("{} monitoring devices hang on the bus: they see and disturb each other.", bus.monitors)
        });
        let switched = bus.monitors > 0;
        to.note("isolation.monitor-counts", "/monitor/internal_ohm", switched, || {
            "The monitoring device counts as a path; the test of a regulation may switch it off.".into()
        });
        let none = nothing_required(&input.bus, input.barrier.pack_v) || rests_on_disconnection(&input.bus);
        to.note("isolation.nothing-required", "/bus/earthing", none, || {
            if input.bus.is_earthed() {
                "A pole stands at the chassis by design: no insulation resistance protects, and the figures are for the record.".into()
            } else {
                format!("{} are at most {}: no insulation resistance is required.", volt(input.barrier.pack_v), volt(TOUCH_SAFE_V))
            }
        });
    }
    let lax = |to: &mut Ledger, id: &'static str, at: &'static str, there: bool, given: Quantity, usual: Quantity| {
        to.warn(id, at, there && given.value > usual.value, || {
            format!(
                "{given} are allowed: {usual} is the usual limit for a person, and the document that applies decides."
            )
        });
    };
    let touched = result.bus.is_some_and(|bus| bus.touch_positive_a.is_some());
    let y = result.y.is_some();
    lax(to, "isolation.touch-limit-high", "/touch/limit_a", touched, ampere(input.touch.limit_a), ampere(TOUCH_A));
    lax(to, "isolation.energy-limit-high", "/y/energy_limit_j", y, joule(input.y.energy_limit_j), joule(ENERGY_J));
    lax(to, "isolation.touch-voltage-high", "/y/touch_v", y, volt(input.y.touch_v), volt(TOUCH_SAFE_V));
    let left =
        result.y.and_then(|y| y.left_v).filter(|left| *left > input.y.touch_v && input.y.pole_bleeder_ohm.is_none());
    to.warn("isolation.no-pole-bleeder", "/y/pole_bleeder_ohm", left.is_some(), || {
        format!(
            "After a one-sided fault a discharge from pole to pole leaves both poles at {} to the chassis: only a bleeder from each pole takes it away, leakage is none.",
            volt(left.unwrap_or(0.0))
        )
    });
}

fn measured(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let Some(measured) = result.measured else { return };
    let given = &input.two_measurement;
    let meter = given.meter_ohm.filter(|ohm| *ohm < METER_OHM);
    to.warn("isolation.meter-loads", "/two_measurement/meter_ohm", meter.is_some(), || {
        format!("The meter has {}, less than 10 MΩ.", ohm(meter.unwrap_or(0.0)))
    });
    let usual = result.bus.and_then(|bus| bus.required_ohm_per_v).zip(given.r0_ohm).filter(|(per_volt, r0)| {
        let usual = per_volt * input.barrier.pack_v;
        (r0 / usual - 1.0).abs() > 0.2
    });
    to.note("isolation.r0-unusual", "/two_measurement/r0_ohm", usual.is_some(), || {
        let (per_volt, r0) = usual.unwrap_or((0.0, 0.0));
        format!(
            "The known resistor of {} lies more than 20 % from {} times the voltage.",
            ohm(r0),
            ohm_per_volt(per_volt)
        )
    });
    let listed = result.bus.and_then(|bus| bus.method_ohm);
    let below = listed.filter(|_| result.lacks_a_path());
    to.warn("isolation.path-missing", "/two_measurement/v_with_r0_v", below.is_some(), || {
        format!(
            "The readings give {}, the listed paths at their lowest {}: a path is missing.",
            ohm(measured.method_ohm),
            ohm(below.unwrap_or(0.0))
        )
    });
}
