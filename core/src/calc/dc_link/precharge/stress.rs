//! What the resistor takes at its worst: over pack voltage and tolerance, attempt after attempt, and of a shorted link.
//!
//! More resistance never makes an attempt faster, but a load that it just cannot feed holds the link where it wakes, and the
//! resistor then loses `(V − v)²/R` for as long as that lasts: most where it just begins, inside the tolerance.

use super::heat::{Body, Rhythm};
use super::input::PrechargeInput;
use super::output::{PrechargeAttempt, PrechargePlace, PrechargeRepeated, PrechargeShort};
use super::places::{certain_s, closes_s, place, woken_v};
use crate::numeric::where_largest;
use crate::physics::precharge::course::{Circuit, Course, Draw};

/// Halvings of the tolerance between two resistances: of 10 % a millionth is left.
const HALVINGS: u32 = 17;

/// The resistances at which an attempt at this pack voltage may put most into the resistor: the ends, that of what draws in
/// proportion (a divider loses most in equal halves), and where more resistance, which never makes it faster, just makes it
/// too late, makes the load hold the link, or keep it for ever.
fn worst_ohms(input: &PrechargeInput, pack_v: f64) -> impl Iterator<Item = f64> {
    let [least, most] = input.resistances();
    let circuit = |ohm: f64| input.circuit_at(pack_v, ohm);
    let closes = |ohm: f64| certain_s(input, &circuit(ohm));
    let late = |ohm: f64| closes(ohm).is_none_or(|time| time > input.max_time_s);
    let never = |ohm: f64| closes(ohm).is_none();
    let hangs = |ohm: f64| circuit(ohm).course().hangs();
    // The last two resistances around the one from which on this is so; none where it is so at both ends, or at none.
    let edge = |beyond: &dyn Fn(f64) -> bool| {
        let (mut below, mut above) = (least, most);
        if beyond(below) || !beyond(above) {
            return [None; 2];
        }
        for _ in 0..HALVINGS {
            let middle = 0.5 * (below + above);
            if beyond(middle) {
                above = middle;
            } else {
                below = middle;
            }
        }
        [below, above].map(Some)
    };
    let edges = if least < most && late(most) { [edge(&late), edge(&never), edge(&hangs)] } else { [[None; 2]; 3] };
    let ends = [Some(least), Some(most).filter(|most| *most > least)];
    let one = circuit(most);
    let across = if let Draw::Resistance(ohm) = one.draw { ohm } else { one.bleeder_ohm };
    let equal = Some(across).filter(|ohm| (least..most).contains(ohm));
    ends.into_iter().chain([equal]).chain(edges.into_iter().flatten()).flatten()
}

/// Where the resistor loses most while the link never comes to its target; none where it does even where it takes longest.
pub(super) fn stall(input: &PrechargeInput, slowest: &PrechargePlace) -> Option<PrechargePlace> {
    if slowest.charge.reaches {
        return None;
    }
    let loses = |pack_v: f64, ohm: f64| {
        let circuit = input.circuit_at(pack_v, ohm);
        let course = circuit.course();
        let settle_v = course.settle_v();
        closes_s(input, &circuit, &course).is_none().then(|| (pack_v - settle_v) * circuit.charge_a(settle_v))
    };
    let worst = |pack_v: f64| {
        let all = worst_ohms(input, pack_v).filter_map(|ohm| Some((ohm, loses(pack_v, ohm)?)));
        all.max_by(|one, two| one.1.total_cmp(&two.1))
    };
    let (low, high) = (input.lowest_v(), input.pack_v);
    let at = where_largest(low, high, &[woken_v(input)], |pack_v| worst(pack_v).map_or(-1.0, |(_, watt)| watt));
    Some(place(input, at, worst(at)?.0))
}

/// How long an attempt lasts, s.
fn length_s(input: &PrechargeInput, circuit: &Circuit, course: &Course) -> f64 {
    closes_s(input, circuit, course).unwrap_or(input.max_time_s).min(input.max_time_s)
}

/// The highest rise of the resistor over tolerance and pack voltage, K. Less energy in a shorter time may warm it more, so
/// that the attempt with most energy need not be the hottest.
fn hottest_k(input: &PrechargeInput, attempt: &PrechargeAttempt, body: Body, rhythm: Rhythm) -> f64 {
    let (low, high) = (input.lowest_v(), input.pack_v);
    let packs = [high, low, woken_v(input), attempt.pack_v];
    let mut hottest = 0.0_f64;
    for (i, pack_v) in packs.into_iter().enumerate() {
        if packs[..i].contains(&pack_v) || !(low..=high).contains(&pack_v) {
            continue;
        }
        for ohm in worst_ohms(input, pack_v).chain([input.resistance_ohm, attempt.resistance_ohm]) {
            let circuit = input.circuit_at(pack_v, ohm);
            let course = circuit.course();
            hottest = hottest.max(body.peak_k(rhythm, length_s(input, &circuit, &course), |t| course.energy_at(t)));
        }
    }
    hottest
}

/// The attempt with most energy, over pack voltage and resistance; it lasts until the readings close for certain, or to the
/// time-out.
pub(super) fn attempt(input: &PrechargeInput) -> PrechargeAttempt {
    let energy = |circuit: &Circuit| {
        let course = circuit.course();
        course.energy_at(length_s(input, circuit, &course))
    };
    let worst = |pack_v: f64| {
        let all = worst_ohms(input, pack_v).map(|ohm| input.circuit_at(pack_v, ohm));
        let all = all.map(|circuit| (energy(&circuit), circuit));
        all.reduce(|most, other| if other.0 > most.0 { other } else { most })
    };
    let at = where_largest(input.lowest_v(), input.pack_v, &[woken_v(input)], |pack_v| {
        worst(pack_v).map_or(0.0, |(energy_j, _)| energy_j)
    });
    let (energy_j, circuit) = worst(at).unwrap_or_else(|| (0.0, input.circuit()));
    let (forward, back) = (input.pack_v - input.start_v, input.start_v - input.lowest_v());
    PrechargeAttempt {
        pack_v: circuit.pack_v,
        resistance_ohm: circuit.resistance_ohm,
        length_s: length_s(input, &circuit, &circuit.course()),
        energy_j,
        peak_a: forward.max(back) / input.resistances()[0],
        backwards: back > forward,
    }
}

pub(super) fn short(input: &PrechargeInput) -> PrechargeShort {
    let power_w = input.pack_v * input.pack_v / input.resistances()[0];
    let energy_j = power_w * input.max_time_s;
    PrechargeShort {
        power_w,
        energy_j,
        until_check_j: input.check_s.map(|at| power_w * at.min(input.max_time_s)),
        allowed_s: input.resistor.pulse_j.map(|pulse| pulse / power_w),
        elements: input.resistor.pulse_j.map(|pulse| (energy_j / pulse).ceil()),
    }
}

pub(super) fn repeated(
    input: &PrechargeInput,
    attempt: &PrechargeAttempt,
    short: &PrechargeShort,
) -> PrechargeRepeated {
    let resistor = &input.resistor;
    let attempts = resistor.retries + 1;
    let rhythm = Rhythm { attempts, repeat_s: resistor.repeat_s, pause_s: resistor.cool_down_s };
    let series_j = f64::from(attempts) * attempt.energy_j;
    let cycle_w = series_j / rhythm.cycle_s(attempt.length_s);
    let body =
        resistor.heat_j_per_k.zip(resistor.k_per_w).map(|(heat_j_per_k, k_per_w)| Body { heat_j_per_k, k_per_w });
    let rise_k = body.map(|body| hottest_k(input, attempt, body, rhythm));
    let short_k = body.map(|body| body.peak_k(rhythm, input.max_time_s, |t| short.power_w * t));
    let warm = |rise: Option<f64>| rise.map(|rise| resistor.ambient_degc + rise);
    // The heat that is in the body against the rated pulse; without it the bound of both ratings.
    let share = |rise: Option<f64>, length_s: f64, energy_j: f64| {
        let pulse = resistor.pulse_j?;
        let known = rise.zip(resistor.heat_j_per_k).map(|(rise, heat)| rise * heat / pulse);
        known.or_else(|| Some(rhythm.share(length_s, energy_j, pulse, resistor.power_w?))).map(|share| share * 100.0)
    };
    PrechargeRepeated {
        attempts,
        series_j,
        series_w: rhythm.mean_w(attempt.length_s, attempt.energy_j),
        cycle_w,
        short_w: rhythm.mean_w(input.max_time_s, short.energy_j),
        mean_degc: resistor.k_per_w.map(|rise| resistor.ambient_degc + rise * cycle_w),
        body_degc: warm(rise_k),
        short_degc: warm(short_k),
        warm_percent: share(rise_k, attempt.length_s, attempt.energy_j),
        short_warm_percent: share(short_k, input.max_time_s, short.energy_j),
        shortest_repeat_s: resistor.power_w.map(|power| attempt.energy_j / power),
    }
}
