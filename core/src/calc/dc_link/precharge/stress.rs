//! What the resistor takes at its worst: over pack voltage and tolerance, attempt after attempt, and of a shorted link.
//!
//! More resistance never makes an attempt faster, but a load that it just cannot feed holds the link where it wakes, and the
//! resistor then loses `(V − v)²/R` for as long as that lasts: most where it just begins, inside the tolerance.

use super::heat::{Body, COMPARED, NEAR, Rhythm, TOLD};
use super::input::PrechargeInput;
use super::output::{PrechargeAttempt, PrechargePlace, PrechargeRepeated, PrechargeShort};
use super::places::{circuits, closes_s, latest_s, place_of, turns_v};
use crate::numeric::where_largest;
use crate::physics::precharge::course::{Circuit, Course, Draw};

/// Halvings of the tolerance between two resistances: of 10 % a millionth is left.
const HALVINGS: u32 = 17;

/// Searches over the resistance, and over the pack voltage after it: each begins where the one before ended.
const ROUNDS: u32 = 2;

/// A search that finds no more than that share more has come to its end.
const GAIN: f64 = 1e-9;

/// One attempt: a circuit, and until when it lasts.
struct Run {
    circuit: Circuit,
    course: Course,
    closes: bool,
    length_s: f64,
}

impl Run {
    /// It lasts until the readings close for certain, or to the time-out. Of readings whose errors nobody gave nothing is
    /// certain.
    fn of(input: &PrechargeInput, circuit: Circuit) -> Self {
        let course = circuit.course();
        let closes_s = closes_s(input, &circuit, &course).filter(|_| input.unknown_error().is_none());
        let length_s = closes_s.unwrap_or(input.max_time_s).min(input.max_time_s);
        Self { closes: closes_s.is_some(), length_s, circuit, course }
    }

    /// What the resistor loses where the link ends up, W.
    fn settles_w(&self) -> f64 {
        let settle_v = self.course.settle_v();
        (self.circuit.pack_v - settle_v) * self.circuit.charge_a(settle_v)
    }

    /// The energy that the resistor has taken by a time, J. The capacitance is an upper limit: with less of it a link that
    /// falls is down sooner, and the resistor loses almost from the start what it loses in the end.
    fn energy_at(&self, t: f64) -> f64 {
        let energy = self.course.energy_at(t);
        if self.closes || self.course.settle_v() >= self.circuit.start_v {
            return energy;
        }
        let held = self.settles_w() * t;
        if self.circuit.start_v > self.circuit.pack_v { energy + held } else { energy.max(held) }
    }

    fn energy_j(&self) -> f64 {
        self.energy_at(self.length_s)
    }
}

/// The attempts that a pack voltage and a resistance allow: the first one, and a later one.
fn runs(input: &PrechargeInput, pack_v: f64, ohm: f64) -> impl Iterator<Item = Run> {
    let start_v = input.later_v();
    let later = (start_v < input.start_v).then(|| Circuit { start_v, ..input.circuit_at(pack_v, ohm) });
    circuits(input, pack_v, ohm).chain(later).map(|circuit| Run::of(input, circuit))
}

/// The resistances at which an attempt at this pack voltage may put most into the resistor: the ends, that of what draws in
/// proportion (a divider loses most in equal halves), and where more resistance, which never makes it faster, just makes it
/// too late, makes the load hold the link, or keep it for ever.
fn worst_ohms(input: &PrechargeInput, pack_v: f64) -> impl Iterator<Item = f64> {
    let [least, most] = input.resistances();
    let circuit = |ohm: f64| input.circuit_at(pack_v, ohm);
    let late = |ohm: f64| latest_s(input, pack_v, ohm) > input.max_time_s;
    let never = |ohm: f64| latest_s(input, pack_v, ohm).is_infinite();
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
    // Of readings whose errors nobody gave nothing closes for certain.
    let ends_late = input.unknown_error().is_some() || late(most);
    let edges = if least < most && ends_late { [edge(&late), edge(&never), edge(&hangs)] } else { [[None; 2]; 3] };
    let ends = [Some(least), Some(most).filter(|most| *most > least)];
    let one = circuit(most);
    let across = if let Draw::Resistance(ohm) = one.draw { ohm } else { one.bleeder_ohm };
    let equal = Some(across).filter(|ohm| (least..most).contains(ohm));
    ends.into_iter().chain([equal]).chain(edges.into_iter().flatten()).flatten()
}

/// Where an attempt is worst over pack voltage and resistance. One that lasts to the time-out may be worst at any resistance:
/// then both are searched, in turn.
fn worst(input: &PrechargeInput, slowest: &PrechargePlace, of: impl Fn(&Run) -> Option<f64>) -> Option<Run> {
    let more = |most: (f64, Run), other: (f64, Run)| if other.0 > most.0 { other } else { most };
    let at = |pack_v: f64, ohm: f64| runs(input, pack_v, ohm).filter_map(|run| Some((of(&run)?, run))).reduce(more);
    let most = |pack_v: f64| worst_ohms(input, pack_v).filter_map(|ohm| at(pack_v, ohm)).reduce(more);
    let [woken_v, rises_v] = turns_v(input);
    let over_pack = |also: f64, f: &dyn Fn(f64) -> Option<(f64, Run)>| {
        let places = [woken_v, rises_v, slowest.pack_v, also];
        f(where_largest(input.lowest_v(), input.pack_v, &places, |pack_v| f(pack_v).map_or(-1.0, |(of, _)| of)))
    };
    let [low, high] = input.resistances();
    let over_ohm = |also: f64, f: &dyn Fn(f64) -> Option<(f64, Run)>| {
        f(where_largest(low, high, &[also], |ohm| f(ohm).map_or(-1.0, |(of, _)| of)))
    };
    let mut best = over_pack(slowest.pack_v, &most)?;
    for _ in 0..ROUNDS {
        let (before, Circuit { pack_v, resistance_ohm, .. }) = (best.0, best.1.circuit);
        best = over_ohm(resistance_ohm, &|ohm| at(pack_v, ohm)).into_iter().fold(best, more);
        let ohm = best.1.circuit.resistance_ohm;
        if best.0 <= before * (1.0 + GAIN) {
            break;
        }
        best = over_pack(pack_v, &|pack_v| at(pack_v, ohm)).into_iter().fold(best, more);
    }
    Some(best.1)
}

/// Where the resistor loses most while the link never comes to its target; none where it surely does even where it takes
/// longest, and no later attempt begins lower.
pub(super) fn stall(input: &PrechargeInput, slowest: &PrechargePlace) -> Option<PrechargePlace> {
    let alike = input.later_v() >= input.start_v;
    if slowest.charge.reaches && input.unknown_error().is_none() && alike {
        return None;
    }
    let loses = |run: &Run| (!run.closes).then(|| run.settles_w());
    let run = worst(input, slowest, loses)?;
    // Without anything that draws the resistor loses nothing in the end.
    (!slowest.charge.reaches || run.settles_w() > 0.0).then(|| place_of(input, &run.circuit))
}

/// How soon the readings may close, s: no load, the least resistance, readings on their good sides. With less capacitance it
/// may be sooner, but puts as much less into the resistor. The time falls or rises steadily with the pack voltage.
fn earliest_s(input: &PrechargeInput) -> f64 {
    let (closing, [least, _]) = (input.closing(), input.resistances());
    let at = |pack_v: f64| {
        let course = input.circuit_at(pack_v, least).unloaded().course();
        if input.start_v > pack_v { 0.0 } else { course.time_to(closing.perhaps_v(pack_v)).unwrap_or(input.max_time_s) }
    };
    if input.unknown_error().is_some() { 0.0 } else { at(input.lowest_v()).min(at(input.pack_v)) }
}

/// The highest rise of the resistor over tolerance and pack voltage, K. Less energy in a shorter time may warm it more, so
/// that the attempt with most energy need not be the hottest.
fn hottest_k(input: &PrechargeInput, slowest: &PrechargePlace, body: Body, rhythm: Rhythm) -> f64 {
    let rise_k = |run: &Run, steps: u32| body.peak_k(rhythm, run.length_s, steps, |t| run.energy_at(t));
    let Some(run) = worst(input, slowest, |run| Some(rise_k(run, COMPARED))) else { return 0.0 };
    let Circuit { pack_v, resistance_ohm, .. } = run.circuit;
    // Two resistances may be nearer to each other than coarse steps tell.
    let most_k = |ohm: f64, steps: u32| runs(input, pack_v, ohm).map(|run| rise_k(&run, steps)).fold(0.0, f64::max);
    let [low, high] = input.resistances();
    most_k(where_largest(low, high, &[resistance_ohm], |ohm| most_k(ohm, NEAR)), TOLD)
}

/// The attempt with most energy, over pack voltage and resistance.
pub(super) fn attempt(input: &PrechargeInput, slowest: &PrechargePlace) -> PrechargeAttempt {
    let most = worst(input, slowest, |run| Some(run.energy_j()));
    let run = most.unwrap_or_else(|| Run::of(input, input.circuit()));
    let (forward, back) = (input.pack_v - input.later_v(), input.start_v - input.lowest_v());
    PrechargeAttempt {
        pack_v: run.circuit.pack_v,
        resistance_ohm: run.circuit.resistance_ohm,
        start_v: run.circuit.start_v,
        length_s: run.length_s,
        energy_j: run.energy_j(),
        peak_a: forward.max(back) / input.resistances()[0],
        backwards: back > forward,
    }
}

/// No attempt has a moment with more power in the resistor, W: what draws may take the link down to nothing.
fn most_w(input: &PrechargeInput) -> f64 {
    let circuit = input.circuit();
    let draws = circuit.draw != Draw::Nothing || circuit.bleeder_ohm.is_finite();
    let forward = if draws { input.pack_v } else { input.pack_v - input.start_v };
    let gap = forward.max(input.start_v - input.lowest_v());
    gap * gap / input.resistances()[0]
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
    slowest: &PrechargePlace,
    attempt: &PrechargeAttempt,
    short: &PrechargeShort,
) -> PrechargeRepeated {
    let resistor = &input.resistor;
    let attempts = resistor.retries + 1;
    // An attempt may close early, with nearly the same energy. One against a shorted link lasts to the time-out.
    let (repeat_s, pause_s) = (resistor.repeat_s, resistor.cool_down_s);
    let rhythm = Rhythm { attempts, repeat_s, pause_s, earliest_s: earliest_s(input) };
    let shorted = Rhythm { earliest_s: f64::INFINITY, ..rhythm };
    let series_j = f64::from(attempts) * attempt.energy_j;
    let cycle_w = series_j / rhythm.cycle_s(attempt.length_s);
    let most_w = most_w(input);
    let body =
        resistor.heat_j_per_k.zip(resistor.k_per_w).map(|(heat_j_per_k, k_per_w)| Body { heat_j_per_k, k_per_w });
    // Whatever the rhythm: no more than the largest power for ever.
    let rise_k = body.map(|body| hottest_k(input, slowest, body, rhythm).min(body.k_per_w * most_w));
    let short_k = body.map(|body| {
        body.peak_k(shorted, input.max_time_s, TOLD, |t| short.power_w * t).min(body.k_per_w * short.power_w)
    });
    let warm = |rise: Option<f64>| rise.map(|rise| resistor.ambient_degc + rise);
    // The heat that is in the body against the rated pulse; without it the bound of both ratings.
    let share = |rhythm: Rhythm, rise: Option<f64>, length_s: f64, energy_j: f64| {
        let pulse = resistor.pulse_j?;
        let known = rise.zip(resistor.heat_j_per_k).map(|(rise, heat)| rise * heat / pulse);
        known.or_else(|| Some(rhythm.share(length_s, energy_j, pulse, resistor.power_w?))).map(|share| share * 100.0)
    };
    PrechargeRepeated {
        attempts,
        series_j,
        series_w: rhythm.mean_w(attempt.length_s, attempt.energy_j).min(most_w),
        cycle_w,
        short_w: shorted.mean_w(input.max_time_s, short.energy_j).min(short.power_w),
        mean_degc: resistor.k_per_w.map(|rise| resistor.ambient_degc + rise * cycle_w),
        body_degc: warm(rise_k),
        short_degc: warm(short_k),
        warm_percent: share(rhythm, rise_k, attempt.length_s, attempt.energy_j),
        short_warm_percent: share(shorted, short_k, input.max_time_s, short.energy_j),
        shortest_repeat_s: resistor.power_w.map(|power| attempt.energy_j / power),
    }
}

#[cfg(test)]
mod tests {
    use super::super::input::LoadKind;
    use super::super::solve::solve;
    use super::*;

    /// Of 3,000 designs those in which it matters that every resistance is searched.
    const LATE: [u64; 3] = [1401, 1491, 2511];

    /// splitmix64, a number from 0 to 1.
    fn share(state: &mut u64) -> f64 {
        *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = *state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A load that the resistor just feeds, or just does not, at some pack voltage and resistance of many; a time-out that is
    /// long for most, or for none.
    fn some(seed: u64) -> PrechargeInput {
        let mut state = seed;
        let mut within = |low: f64, high: f64| low + (high - low) * share(&mut state);
        let mut input: PrechargeInput = crate::field::start();
        input.pack_v = within(200.0, 900.0);
        input.pack_min_v = Some(input.pack_v * within(0.5, 1.0));
        input.start_v = if within(0.0, 1.0) < 0.3 { input.pack_v * within(0.0, 1.1) } else { 0.0 };
        input.resistance_ohm = within(20.0, 200.0);
        input.resistor.tolerance_percent = within(1.0, 20.0);
        (input.link_error_percent, input.pack_error_percent) = (Some(1.0), Some(1.0));
        let constants = if seed.is_multiple_of(2) { within(2.0, 20.0) } else { within(0.3, 3.0) };
        input.max_time_s = input.resistance_ohm * input.capacitance_farad * constants;
        input.load.kind = match seed % 3 {
            0 => LoadKind::Resistive,
            1 => LoadKind::Current,
            _ => LoadKind::Power,
        };
        input.load.resistance_ohm = input.resistance_ohm * within(0.5, 30.0);
        input.load.enable_v = if within(0.0, 1.0) < 0.7 { input.pack_v * within(0.05, 0.95) } else { 0.0 };
        input.load.bleeder_ohm = (within(0.0, 1.0) < 0.4).then(|| input.resistance_ohm * within(1.0, 50.0));
        let pack_v = within(input.lowest_v(), input.pack_v);
        let ohm = within(input.resistances()[0], input.resistances()[1]);
        let wakes = input.load.enable_v > 0.0 && input.load.enable_v < pack_v;
        let fed_v = if wakes { input.load.enable_v } else { 0.5 * pack_v };
        input.load.current_a = (pack_v - fed_v) / ohm * within(0.98, 1.02);
        input.load.power_w = input.load.current_a * fed_v;
        // Much quicker than an attempt, or much slower.
        let k_per_w = within(0.01, 1.0);
        let tau_s = input.max_time_s * 10.0_f64.powf(within(-2.0, 1.0));
        (input.resistor.heat_j_per_k, input.resistor.k_per_w) = (Some(tau_s / k_per_w), Some(k_per_w));
        input
    }

    /// Brute force: no pack voltage and no resistance of a grid puts more into the resistor, warms it more or makes it lose
    /// more than what is told. Of the three last designs no attempt ends before the time-out, and resistances between those
    /// where something turns take up to 1 part in 13,000 more than these.
    #[test]
    fn no_state_puts_more_into_the_resistor() {
        const PLACES: u32 = 40;
        let mut late = 0;
        for seed in (0..120).chain(LATE) {
            let input = some(seed);
            let found = solve(&input);
            let resistor = &input.resistor;
            let body = resistor
                .heat_j_per_k
                .zip(resistor.k_per_w)
                .map(|(heat_j_per_k, k_per_w)| Body { heat_j_per_k, k_per_w });
            let rhythm = Rhythm {
                attempts: resistor.retries + 1,
                repeat_s: resistor.repeat_s,
                pause_s: resistor.cool_down_s,
                earliest_s: earliest_s(&input),
            };
            let warmest_k = found.repeated.body_degc.map_or(0.0, |degc| degc - resistor.ambient_degc);
            let most_w = found.stall.as_ref().map_or(0.0, |stall| stall.charge.settle_power_w);
            let [least, most] = input.resistances();
            let at = |low: f64, high: f64, k: u32| low + (high - low) * f64::from(k) / f64::from(PLACES);
            for (i, j) in (0..=PLACES).flat_map(|i| (0..=PLACES).map(move |j| (i, j))) {
                let pack_v = at(input.lowest_v(), input.pack_v, i);
                for run in runs(&input, pack_v, at(least, most, j)) {
                    let energy_j = run.energy_j();
                    let told = &found.attempt;
                    assert!(
                        energy_j <= told.energy_j * (1.0 + 1e-9) + 1e-9,
                        "{seed}: {energy_j} {:?}, {told:?}",
                        run.circuit
                    );
                    if i % 8 == 0 && j % 8 == 0 {
                        let rise_k =
                            body.map_or(0.0, |body| body.peak_k(rhythm, run.length_s, TOLD, |t| run.energy_at(t)));
                        assert!(rise_k <= warmest_k * (1.0 + 1e-5), "{seed}: {rise_k} K, {warmest_k}");
                    }
                    let settles_w = if run.closes { 0.0 } else { run.settles_w() };
                    assert!(settles_w <= most_w * (1.0 + 1e-9) + 1e-9, "{seed}: {settles_w} W, {most_w}");
                    late += usize::from(run.length_s >= input.max_time_s);
                }
            }
        }
        assert!(late > 10_000, "{late}");
    }
}
