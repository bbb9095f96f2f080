//! How the link charges at one pack voltage and one resistance.

use super::input::PrechargeInput;
use super::output::{PrechargeCourse, PrechargeLimits, PrechargePlace};
use crate::physics::precharge::course::{Circuit, Course, Draw};

/// The time to a link voltage, from below or from above.
fn time(course: &Course, (target_v, falls): (f64, bool)) -> Option<f64> {
    if falls { course.time_down_to(target_v) } else { course.time_to(target_v) }
}

/// The time until the readings close for certain.
pub(super) fn certain_s(input: &PrechargeInput, circuit: &Circuit) -> Option<f64> {
    closes_s(input, circuit, &circuit.course())
}

/// The same on a course of it that is known.
pub(super) fn closes_s(input: &PrechargeInput, circuit: &Circuit, course: &Course) -> Option<f64> {
    let closing = input.closing();
    time(course, closing.goal(circuit.pack_v, circuit.start_v)).filter(|_| closing.possible(circuit.pack_v))
}

/// What may hang on the link: all that draws. A link that starts above the pack comes down sooner with it, and how much
/// draws at least nobody has said, so that there it may be nothing, too.
pub(super) fn circuits(input: &PrechargeInput, pack_v: f64, resistance_ohm: f64) -> impl Iterator<Item = Circuit> {
    let loaded = input.circuit_at(pack_v, resistance_ohm);
    let draws = loaded.draw != Draw::Nothing || loaded.bleeder_ohm.is_finite();
    let alone = (draws && input.start_v > pack_v).then(|| loaded.unloaded());
    std::iter::once(loaded).chain(alone)
}

/// The latest time until the readings close for certain; infinite where they may never.
pub(super) fn latest_s(input: &PrechargeInput, pack_v: f64, resistance_ohm: f64) -> f64 {
    circuits(input, pack_v, resistance_ohm)
        .map(|one| certain_s(input, &one).unwrap_or(f64::INFINITY))
        .fold(0.0, f64::max)
}

/// The one of them that takes longest.
pub(super) fn latest(input: &PrechargeInput, pack_v: f64, resistance_ohm: f64) -> Circuit {
    let late = |one: &Circuit| certain_s(input, one).unwrap_or(f64::INFINITY);
    let all = circuits(input, pack_v, resistance_ohm);
    let latest = all.reduce(|most, other| if late(&other) > late(&most) { other } else { most });
    latest.unwrap_or_else(|| input.circuit_at(pack_v, resistance_ohm))
}

/// How it charges where it takes longest.
pub(super) fn place(input: &PrechargeInput, pack_v: f64, resistance_ohm: f64) -> PrechargePlace {
    place_of(input, &latest(input, pack_v, resistance_ohm))
}

/// How a circuit of it charges.
pub(super) fn place_of(input: &PrechargeInput, circuit: &Circuit) -> PrechargePlace {
    let Circuit { pack_v, resistance_ohm, .. } = *circuit;
    let goal = input.closing().goal(pack_v, circuit.start_v);
    let mut charge = charge(input, circuit, &circuit.course(), goal);
    if !input.closing().possible(pack_v) {
        charge = charge.never(circuit.course().energy_at(input.max_time_s));
    }
    PrechargePlace { pack_v, resistance_ohm, charge, limits: limits(input, circuit, goal.0) }
}

/// Pack voltages around which little moves much: where the load just wakes at the certain closing, and where the link
/// starts just below its target.
pub(super) fn turns_v(input: &PrechargeInput) -> [f64; 2] {
    [woken_v(input), input.closing().pack_of(input.start_v) * (1.0 + 1e-12)]
}

/// Where a load may hold the link at the voltage at which it wakes: the ends of the pack's voltage; where it just wakes at the
/// certain closing; the slowest; and where pack and resistor, beside the bleeder or a weaker one, just bring the link to that voltage, so that nothing is left for the load.
pub(super) fn waking(input: &PrechargeInput, slowest: PrechargePlace) -> impl Iterator<Item = PrechargePlace> + '_ {
    let ([_, most], enable_v) = (input.resistances(), input.load.enable_v);
    let given = input.circuit_at(input.pack_v, most).bleeder_ohm;
    let highest_v = (enable_v * (1.0 + most / given)).min(input.pack_v).max(enable_v * (1.0 + 1e-12));
    let wakes = enable_v > 0.0 && (input.lowest_v()..=input.pack_v).contains(&highest_v);
    let just = wakes.then(|| {
        let weaker = most * enable_v / (highest_v - enable_v) * (1.0 + 1e-9);
        let bleeder_ohm = if given.is_finite() { weaker.max(given) } else { given };
        place_of(input, &Circuit { bleeder_ohm, ..input.circuit_at(highest_v, most) })
    });
    let ends = [input.lowest_v(), input.pack_v, woken_v(input)].into_iter();
    let inside = ends.filter(|pack_v| (input.lowest_v()..=input.pack_v).contains(pack_v));
    let others = inside.map(move |pack_v| place_of(input, &input.circuit_at(pack_v, most)));
    [slowest].into_iter().chain(others).chain(just)
}

/// The pack voltage just above the one at which the load wakes only at the certain closing: a load that sleeps up to there
/// weighs most where it wakes just before it.
pub(super) fn woken_v(input: &PrechargeInput) -> f64 {
    input.closing().pack_of(input.load.enable_v) * (1.0 + 1e-12)
}

pub(super) fn charge(input: &PrechargeInput, circuit: &Circuit, course: &Course, goal: (f64, bool)) -> PrechargeCourse {
    let (target_v, _) = goal;
    let unloaded = circuit.unloaded().course();
    let unloaded_s = time(&unloaded, goal).unwrap_or(0.0);
    let time_s = time(course, goal);
    let asleep_s = course.wake_s().filter(|_| circuit.wake_v() < target_v);
    let settle_v = course.settle_v();
    let gap = circuit.pack_v - circuit.start_v;
    PrechargeCourse {
        target_v,
        reaches: time_s.is_some(),
        time_s,
        asleep_s,
        awake_s: time_s.zip(asleep_s).map(|(time, asleep)| time - asleep),
        unloaded_s,
        settle_v,
        settle_percent: settle_v / circuit.pack_v * 100.0,
        hangs: course.hangs(),
        settle_power_w: (circuit.pack_v - settle_v) * circuit.charge_a(settle_v),
        time_out_v: course.voltage_at(input.max_time_s),
        peak_a: gap.abs() / circuit.resistance_ohm,
        peak_w: gap * gap / circuit.resistance_ohm,
        energy_j: course.energy_at(time_s.unwrap_or(input.max_time_s).min(input.max_time_s)),
        unloaded_energy_j: 0.5 * input.capacitance_farad * gap * gap,
        unloaded_to_target_j: unloaded.energy_at(unloaded_s),
    }
}

pub(super) fn limits(input: &PrechargeInput, circuit: &Circuit, target_v: f64) -> PrechargeLimits {
    let delivers = circuit.offers_a(target_v).max(0.0);
    // The load draws from here on; what the resistor has left over is least at one of the two ends.
    let from_v = input.load.enable_v.max(circuit.start_v);
    let power = |v: f64| v * circuit.offers_a(v).max(0.0);
    let equilibria = match circuit.draw {
        Draw::Power(w) => circuit.equilibria_v(w),
        _ => None,
    };
    PrechargeLimits {
        largest_power_w: if from_v < target_v { power(target_v).min(power(from_v)) } else { power(target_v) },
        largest_current_a: delivers,
        smallest_load_ohm: Some(target_v / delivers).filter(|ohm| ohm.is_finite()),
        collapse_power_w: circuit.collapse_w(),
        lower_v: equilibria.map(|(lower, _)| lower),
        upper_v: equilibria.map(|(_, upper)| upper),
        upper_percent: equilibria.map(|(_, upper)| upper / circuit.pack_v * 100.0),
    }
}
