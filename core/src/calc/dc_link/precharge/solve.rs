//! The numbers of a pre-charge.

use super::input::PrechargeInput;
use super::output::{
    PrechargeCandidate, PrechargeChoice, PrechargeCourse, PrechargeDifference, PrechargeEarly, PrechargeInrush,
    PrechargeJoining, PrechargeMapPoint, PrechargeOutput, PrechargePlace, PrechargePoint,
};
use super::places::{charge, latest_s, limits, place, place_of, turns_v};
use super::stress::{attempt, repeated, short, stall};
use crate::numeric::where_largest;
use crate::physics::precharge::course::{Circuit, Course, Draw};
use crate::physics::precharge::inrush::inrush;
use crate::physics::preferred::Series;
use crate::work::{Halt, Work};

/// Points of a curve.
const POINTS: u32 = 120;

/// What verdicts rest on; choice, curves and the shorts that are seen follow in [`detail`].
pub(super) fn solve(input: &PrechargeInput) -> PrechargeOutput {
    let circuit = input.circuit();
    let course = circuit.course();
    let target_v = input.closing().nominal_v(circuit.pack_v);
    let charge = charge(input, &circuit, &course, (target_v, false));
    let slowest = slowest(input);
    let attempt = attempt(input, &slowest);
    let short = short(input);
    let difference = difference(input);
    let rc = input.resistance_ohm * input.capacitance_farad;
    PrechargeOutput {
        time_constant_s: rc,
        loaded_time_constant_s: match circuit.draw {
            Draw::Resistance(ohm) => Some(rc * ohm / (input.resistance_ohm + ohm)),
            _ => None,
        },
        limits: limits(input, &circuit, target_v),
        stall: stall(input, &slowest),
        heaviest: heaviest(input),
        early: input.check_s.map(|at| early(input, &course, at)),
        choice: PrechargeChoice::default(),
        stored_j: 0.5 * input.capacitance_farad * input.pack_v * input.pack_v,
        curve: Vec::new(),
        map: Vec::new(),
        repeated: repeated(input, &slowest, &attempt, &short),
        slowest,
        inrush: left(input, difference.largest_v),
        joining: (input.units_in_parallel > 1).then(|| joining(input)),
        attempt,
        charge,
        short,
        difference,
    }
}

pub(super) fn detail(input: &PrechargeInput, mut solved: PrechargeOutput, work: Work) -> Result<PrechargeOutput, Halt> {
    let circuit = input.circuit();
    if let Some(early) = &mut solved.early {
        let error_v = early.expected_v - early.low_limit_v;
        early.seen_short_ohm = seen_short(&circuit, early.time_s, early.low_limit_v - error_v);
    }
    work.go_on()?;
    solved.choice = choice(input, &circuit);
    work.go_on()?;
    solved.curve = curve(input, &circuit, &circuit.course(), &solved.charge);
    solved.map = map(input, &circuit);
    Ok(solved)
}

/// More resistance never makes it faster; over the pack voltage it is searched.
fn slowest_at(input: &PrechargeInput, resistance_ohm: f64) -> f64 {
    where_largest(input.lowest_v(), input.pack_v, &turns_v(input), |pack_v| latest_s(input, pack_v, resistance_ohm))
}

fn slowest(input: &PrechargeInput) -> PrechargePlace {
    let [_, most] = input.resistances();
    place(input, slowest_at(input, most), most)
}

/// What the load takes at the certain closing falls or rises steadily with the pack voltage, and so does what the resistor
/// and a bleeder leave: the worst is an end, or where the load just wakes, or where the link starts just below its target.
fn heaviest(input: &PrechargeInput) -> PrechargePlace {
    let [_, resistance_ohm] = input.resistances();
    let (low, high) = (input.lowest_v(), input.pack_v);
    let share = |place: &PrechargePlace| {
        let circuit = input.circuit_at(place.pack_v, resistance_ohm);
        let target_v = place.charge.target_v;
        let asked = place.charge.time_s != Some(0.0) && circuit.wake_v() <= target_v;
        let takes = if asked { circuit.load_a(target_v) } else { 0.0 };
        let delivers = circuit.offers_a(target_v);
        // A link that comes down to its target asks nothing of the resistor.
        let beyond = if place.charge.reaches { 0.0 } else { f64::INFINITY };
        (!place.charge.reaches, if delivers > 0.0 { takes / delivers } else { beyond })
    };
    let place = |pack_v: f64| place_of(input, &input.circuit_at(pack_v, resistance_ohm));
    let mut best = place(high);
    let [woken_v, rises_v] = turns_v(input);
    for pack_v in [low, woken_v, rises_v].into_iter().filter(|v| low <= *v && *v < high) {
        let other = place(pack_v);
        if share(&other) > share(&best) {
            best = other;
        }
    }
    best
}

fn difference(input: &PrechargeInput) -> PrechargeDifference {
    let (closing, pack_v) = (input.closing(), input.pack_v);
    let nominal_v = pack_v - closing.nominal_v(pack_v);
    let (low_v, high_v) = (pack_v - closing.certain_v(pack_v), pack_v - closing.perhaps_v(pack_v));
    let percent = |v: f64| v / pack_v * 100.0;
    // What draws takes a link that does not close at once down, and it closes on the way.
    let circuit = input.circuit();
    let draws = circuit.draw != Draw::Nothing || circuit.bleeder_ohm.is_finite();
    let left = |pack_v: f64| {
        let (forward, back) = closing.left_v(pack_v, input.start_v);
        if draws && !closing.certain_at(pack_v, input.start_v) {
            (closing.left_v(pack_v, 0.0).0, back)
        } else {
            (forward, back)
        }
    };
    let at = where_largest(input.lowest_v(), pack_v, &[input.start_v], |pack_v| {
        let (forward, back) = left(pack_v);
        forward.max(back)
    });
    let (forward, back) = left(at);
    PrechargeDifference {
        nominal_percent: percent(nominal_v),
        error_percent: percent(nominal_v - low_v),
        low_percent: percent(low_v),
        high_percent: percent(high_v),
        low_v,
        high_v,
        largest_v: forward.max(back),
        largest_at_v: at,
        backwards: back > forward,
    }
}

/// The largest difference at which a unit joins others that hold the bus: they do not follow the resistor as a link does,
/// so that what stands between the units at the closing flows through both batteries until they are level.
///
/// ```text
/// Formula    I = dV / Rp, dV the largest difference that the closing rule lets pass, dVu apart at most
/// Symbols    dVu [V] units apart, Rp [Ω] path of the main contactor; the others are taken as stiff: an upper bound
/// Source     Ohm's law; limits added: worst case
/// ```
fn joining(input: &PrechargeInput) -> PrechargeJoining {
    let (closing, (apart, _)) = (input.closing(), input.apart_v());
    let forward = |pack_v: f64| closing.left_v(pack_v, pack_v - apart).0;
    let back = |pack_v: f64| closing.left_v(pack_v, pack_v + apart).1;
    let largest = |left: &dyn Fn(f64) -> f64| left(where_largest(input.lowest_v(), input.pack_v, &[], left));
    let (forward, back) = (largest(&forward), largest(&back));
    let difference_v = forward.max(back);
    PrechargeJoining { difference_v, backwards: back > forward, current_a: difference_v / input.path.resistance_ohm }
}

fn left(input: &PrechargeInput, difference_v: f64) -> PrechargeInrush {
    let path = &input.path;
    let found = inrush(difference_v, path.resistance_ohm, path.inductance_henry, input.capacitance_farad);
    PrechargeInrush {
        peak_a: found.peak_a,
        peak_s: found.peak_s,
        damping: found.damping,
        a2s: found.a2s,
        bound_a: difference_v / path.resistance_ohm,
        allowed_v: path
            .contactor_inrush_a2s
            .map(|limit| (2.0 * path.resistance_ohm * limit / input.capacitance_farad).sqrt()),
    }
}

fn early(input: &PrechargeInput, course: &Course, at: f64) -> PrechargeEarly {
    let error_v = input.closing().link_v;
    let expected_v = course.voltage_at(at);
    let open_reads_v = input.start_v + error_v;
    let low_limit_v = expected_v - error_v;
    PrechargeEarly {
        time_s: at,
        expected_v,
        low_limit_v,
        high_limit_v: expected_v + error_v,
        open_reads_v,
        separates: open_reads_v < low_limit_v,
        seen_short_ohm: None,
        earliest_s: course.time_to(input.start_v + 2.0 * error_v).filter(|_| error_v > 0.0),
    }
}

/// The largest resistance across the link that keeps it below `below_v` at the time of the check. The load itself is left
/// out: it could only pull the link further down.
fn seen_short(circuit: &Circuit, at: f64, below_v: f64) -> Option<f64> {
    let shorted = |ohm: f64| Circuit { draw: Draw::Resistance(ohm), ..circuit.unloaded() };
    let stays_below = |ohm: f64| shorted(ohm).course().voltage_at(at) < below_v;
    let (mut low, mut high) = (1e-6 * circuit.resistance_ohm, 1e6 * circuit.resistance_ohm);
    if !stays_below(low) || stays_below(high) {
        return None;
    }
    for _ in 0..100 {
        let middle = (low * high).sqrt();
        if stays_below(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(low)
}

fn choice(input: &PrechargeInput, circuit: &Circuit) -> PrechargeChoice {
    let wanted_s = input.wanted_time_s.unwrap_or(input.max_time_s);
    let with = |ohm: f64| Circuit { resistance_ohm: ohm, ..*circuit };
    let upper = 1.0 + input.resistor.tolerance_percent / 100.0;
    // The longest time over the pack voltage, as it is judged; none when the target is not reached somewhere.
    let time_with = |ohm: f64| {
        let slow = ohm * upper;
        Some(latest_s(input, slowest_at(input, slow), slow)).filter(|time| time.is_finite())
    };
    let target_v = input.closing().nominal_v(input.pack_v);
    let per_ohm = circuit.capacitance_farad * libm::log((input.pack_v - input.start_v) / (input.pack_v - target_v));
    let exact_ohm = (per_ohm > 0.0).then(|| wanted_s / per_ohm).filter(|ohm| ohm.is_finite());
    let keeps = |ohm: f64| time_with(ohm).is_some_and(|time| time <= wanted_s);
    // The time grows with the resistance, and no load makes it shorter.
    let exact_loaded_ohm = exact_ohm.and_then(|highest| {
        if circuit.draw == Draw::Nothing && keeps(highest) {
            return Some(highest);
        }
        let (mut low, mut high) = (1e-9 * highest, highest);
        if !keeps(low) {
            return None;
        }
        for _ in 0..50 {
            let middle = (low * high).sqrt();
            if keeps(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(low)
    });
    let mut candidates: Vec<PrechargeCandidate> = Vec::new();
    for series in [Series::E12, Series::E24] {
        let (below, above) = exact_loaded_ohm.or(exact_ohm).map_or((None, None), |exact| series.neighbours(exact));
        for resistance_ohm in [below, above].into_iter().flatten() {
            let course = with(resistance_ohm).course();
            let time_s = time_with(resistance_ohm);
            candidates.push(PrechargeCandidate {
                series: series.label().into(),
                resistance_ohm,
                time_s,
                keeps: time_s.is_some_and(|time| time <= wanted_s),
                peak_a: (input.pack_v - input.start_v) / resistance_ohm,
                energy_j: course.energy_at(time_s.unwrap_or(input.max_time_s).min(input.max_time_s)),
                short_j: input.pack_v * input.pack_v / resistance_ohm * input.max_time_s,
            });
        }
    }
    PrechargeChoice { wanted_s, exact_ohm, exact_loaded_ohm, candidates }
}

fn curve(input: &PrechargeInput, circuit: &Circuit, course: &Course, charge: &PrechargeCourse) -> Vec<PrechargePoint> {
    let unloaded = circuit.unloaded().course();
    let five = 5.0 * input.resistance_ohm * input.capacitance_farad;
    // Long enough to see it settle, and the time-out if that is not far away.
    let natural = 1.3 * charge.time_s.unwrap_or(five).max(charge.unloaded_s).max(0.2 * five);
    let end = if input.max_time_s <= 4.0 * natural { natural.max(1.05 * input.max_time_s) } else { natural };
    (0..=POINTS)
        .map(|i| {
            let time_s = end * f64::from(i) / f64::from(POINTS);
            PrechargePoint {
                time_s,
                link_v: course.voltage_at(time_s),
                unloaded_v: unloaded.voltage_at(time_s),
                current_a: course.current_at(time_s),
                unloaded_a: unloaded.current_at(time_s),
                energy_j: course.energy_at(time_s),
                unloaded_j: unloaded.energy_at(time_s),
            }
        })
        .collect()
}

/// The load with another size; without a load the map is that of a constant power.
fn sized(draw: Draw, size: f64) -> Draw {
    match draw {
        Draw::Resistance(_) => Draw::Resistance(size),
        Draw::Current(_) if size > 0.0 => Draw::Current(size),
        Draw::Power(_) | Draw::Nothing if size > 0.0 => Draw::Power(size),
        _ => Draw::Nothing,
    }
}

fn map(input: &PrechargeInput, circuit: &Circuit) -> Vec<PrechargeMapPoint> {
    let count = 80;
    let share = |i: u32| f64::from(i) / f64::from(count);
    let sizes: Vec<f64> = match circuit.draw {
        Draw::Resistance(ohm) => {
            let low = (0.1 * circuit.resistance_ohm).min(0.5 * ohm);
            let high = (1e3 * circuit.resistance_ohm).max((2.0 * ohm).min(1e6 * circuit.resistance_ohm));
            (0..=count).map(|i| low * libm::pow(high / low, share(i))).collect()
        }
        Draw::Current(a) => {
            let end = 1.2 * a.max(input.pack_v / circuit.resistance_ohm);
            (0..=count).map(|i| end * share(i)).collect()
        }
        Draw::Power(_) | Draw::Nothing => {
            let collapse = circuit.collapse_w();
            let given = if let Draw::Power(w) = circuit.draw { w } else { 0.0 };
            let end = 1.2 * given.max(collapse);
            (0..=count).map(|i| end * share(i)).collect()
        }
    };
    sizes
        .into_iter()
        .map(|load| {
            let course = Circuit { draw: sized(circuit.draw, load), ..*circuit }.course();
            PrechargeMapPoint {
                load,
                settle_percent: course.settle_v() / input.pack_v * 100.0,
                time_out_percent: course.voltage_at(input.max_time_s) / input.pack_v * 100.0,
            }
        })
        .collect()
}
