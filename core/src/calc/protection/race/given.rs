//! What goals of functional safety take of a race. Parallel strings share a fault: nothing follows for one loop.
//!
//! A fault of the detection lets the switch open later. Whatever that makes worse is a limit of the current at the opening, or
//! of what has passed until then; the least of each is handed on.
//!
//! ```text
//! Formula    current: breaking capacity; peak that closed contacts carry; I at which the clamp takes its rated energy
//!            passed: W_shunt − D, k² S² − D, I_c² t_c; the fuse's least pre-arc I²t apart
//! Symbols    D [A²s] what passes while the largest current that may be opened falls against the clamp
//! Valid      one loop; D and the clamp's energy at the highest voltage, least resistance and largest inductance, where both
//!            are largest at a current
//! Source     as the race's own (`clamp`, `wiring`, `fuse`); checked against the race's rows in the tests
//! ```

use super::clamp::{clamp, decay_a2s};
use super::fuse::melting;
use super::input::RaceInput;
use super::region::Region;
use super::wiring::wiring;
use crate::calculation::Gives;
use crate::numeric::first_where;
use crate::physics::fault_loop::Loop;

/// Of the strongest fault, Ω.
pub const LEAST: &str = "the smallest resistance of one fault loop";
/// Of the weakest fault, Ω.
pub const MOST: &str = "the largest resistance of one fault loop";
/// Of the weakest fault, V.
pub const LOWEST: &str = "the lowest voltage of the fault loop";
/// As one loop or one string carries it, where somebody says how weak a fault may be, A.
pub const WEAKEST: &str = "the weakest fault that is judged";
/// Before the detection, s.
pub const FILTER: &str = "the largest time constant of the filter";
/// From the detection to the opening, s.
pub const REACTION: &str = "the longest reaction";
/// At most, A.
pub const OPENS: &str = "the current at which the switch may open";
/// At most, A²s.
pub const PASSES: &str = "what may have passed when the switch opens";
/// At least, A²s; nothing without a fuse.
pub const MELTS: &str = "what melts the fuse at the earliest";
/// Of one loop, A²s.
pub const WIRING: &str = "what the wiring takes";
/// Of one loop, A²s.
pub const SHUNT: &str = "what the shunt takes";

/// Between these a let-through is accepted, A²s: what lies outside counts as its end.
const ACCEPTED_A2S: [f64; 2] = [1e-6, 1e12];

pub(super) const GIVES: &[Gives<RaceInput>] = &[
    Gives {
        words: LEAST,
        value: |input| one_loop(input, |input| input.source.pack_resistance_ohm + input.source.external_resistance_ohm),
    },
    Gives { words: MOST, value: |input| one_loop(input, |input| Region::of(input).ohm()[1]) },
    Gives { words: WEAKEST, value: weakest_a },
    Gives { words: LOWEST, value: |input| Some(input.lowest_v()) },
    Gives { words: FILTER, value: |input| Some(input.detections()[1].1) },
    Gives { words: REACTION, value: |input| Some(input.reaction().1) },
    Gives { words: OPENS, value: opens_a },
    Gives { words: PASSES, value: passes_a2s },
    Gives { words: MELTS, value: melts_a2s },
    Gives {
        words: WIRING,
        value: |input| wiring(input, None).filter(|_| is_one(input)).map(|wiring| wiring.limit_a2s),
    },
    Gives { words: SHUNT, value: |input| input.shunt_pulse_a2s.filter(|_| is_one(input)) },
];

fn is_one(input: &RaceInput) -> bool {
    input.strings.count == 1
}

fn one_loop(input: &RaceInput, of: fn(&RaceInput) -> f64) -> Option<f64> {
    is_one(input).then(|| of(input))
}

fn weakest_a(input: &RaceInput) -> Option<f64> {
    input.source.external_resistance_max_ohm?;
    let region = Region::of(input);
    Some(region.seen(input, region.weakest()).low.prospective_a())
}

/// The loop in which a current of a given size falls slowest.
fn slowest(input: &RaceInput) -> Loop {
    let source = &input.source;
    Loop {
        voltage_v: source.voltage_v,
        resistance_ohm: source.pack_resistance_ohm + source.external_resistance_ohm,
        inductance_henry: source.inductance_max_henry.unwrap_or(source.inductance_henry),
    }
}

/// The largest current of any fault, A.
fn largest_a(input: &RaceInput) -> f64 {
    slowest(input).prospective_a().max(input.before_a.abs())
}

/// The current whose opening brings the clamp to its rated energy, A; nothing where no fault comes to it.
fn clamped_a(input: &RaceInput) -> Option<f64> {
    let (volt, rated) = input.switch.clamp_voltage_v.zip(input.switch.clamp_energy_j)?;
    let (circuit, most) = (slowest(input), largest_a(input));
    let beyond = |current: f64| clamp(&circuit, current, volt).is_none_or(|clamp| clamp.energy_j > rated);
    beyond(most).then(|| first_where(0.0, most, beyond))
}

fn opens_a(input: &RaceInput) -> Option<f64> {
    let breaks = input.switch.breaking_a?;
    let least = [input.switch.carry_a, clamped_a(input)].into_iter().flatten().fold(breaks, f64::min);
    // Below what is accepted the race itself fails.
    Some(least).filter(|least| *least >= 1e-3)
}

fn passes_a2s(input: &RaceInput) -> Option<f64> {
    let switch = &input.switch;
    let falls = switch.clamp_voltage_v.and_then(|volt| {
        let most = opens_a(input).map_or_else(|| largest_a(input), |most| most.min(largest_a(input)));
        decay_a2s(&slowest(input), most, volt)
    });
    let until_zero = [input.shunt_pulse_a2s, wiring(input, None).map(|wiring| wiring.limit_a2s)];
    let until_zero = until_zero.into_iter().flatten().map(|limit| limit - falls.unwrap_or(0.0));
    let carried = switch.carry_a.zip(switch.carry_s).map(|(current, time)| current * current * time);
    until_zero.chain(carried).reduce(f64::min).map(accepted)
}

fn melts_a2s(input: &RaceInput) -> Option<f64> {
    let region = Region::of(input);
    let (low, high) = region.range_a();
    let needs = melting(input, [low, high], input.source.voltage_v, region.slowest_s(input))?;
    Some(accepted(needs.low_a2s))
}

fn accepted(a2s: f64) -> f64 {
    a2s.clamp(ACCEPTED_A2S[0], ACCEPTED_A2S[1])
}
