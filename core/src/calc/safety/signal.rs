//! # What a check makes of a fault itself
//!
//! Most checks look at the deviation of the reading. Some ask the circuit another question, or the body of the shunt, or both
//! channels at once: what they then see is followed for the same magnitudes of the fault.
//!
//! ```text
//! Open wire     v = It Rd (r + 2 Rf)/(Rd + r + 2 Rf), open It Rd; of a thermistor It R, R what is seen at the input
//! Heat          ΔT = Rth (R' x² − R r²): what the shunt dissipates less what the reading says
//! Steps         R (ρ − 1), ρ = 1/g of a current channel that reads g of a step, g of a voltage channel; the lowest R upwards,
//!               the highest downwards; noise that grows with ρ is taken off
//! Frames, codes there, whatever they read; frames late by the time-out and an interval; the drift of a clock itself
//! Symbols       x true current, r reading, R shunt as firmware knows it, R' as it is [Ω]
//! Valid         the circuit of the channel; a step of current that is read as less than the least step starts no check
//! Source        Ohm's law, definitions of the terms
//! ```

use super::circuit::{Channel, Circuit, channel};
use super::detection::step_noises;
use super::input::{CheckKind, Fault, Goal, Insert, Reads, SafetyCheck, SafetyInput};
use super::insertion::{InState, reading};
use crate::physics::beta::beta_ohm;
use crate::physics::network::parallel;

/// What a check looks at, at the magnitudes of a state; nothing where it is the deviation of the reading.
///
/// # Errors
/// What is not given.
pub fn signal(
    input: &SafetyInput,
    goal: &Goal,
    fault: &Fault,
    check: &SafetyCheck,
    state: &InState,
) -> Result<Option<Vec<f64>>, String> {
    let at = || goal.at().ok_or_else(|| format!("the value at which {} is decided is not given", goal.name));
    let lacks = |what: &str| format!("{what} of {} is not given", check.name);
    match check.kind {
        CheckKind::ClockTest => Ok(Some(state.sizes.iter().map(|size| 100.0 * size).collect())),
        CheckKind::Communication if fault.insert == Insert::LinkLate => {
            let oldest_s = check.time_out_s.ok_or_else(|| lacks("the time-out"))? + check.interval_s;
            Ok(Some(state.sizes.iter().map(|late_s| 0.5 * late_s / oldest_s).collect()))
        }
        CheckKind::StuckCode | CheckKind::Communication => Ok(Some(vec![1.0; state.deviations.len()])),
        CheckKind::OpenWire => {
            let test_a = check.test_current_a.ok_or_else(|| lacks("the test current"))?;
            let (parts, at) = (channel(input, goal.reads, 1.0)?, at()?);
            Ok(Some(state.sizes.iter().map(|size| test_a * seen_ohm(&parts, fault.insert, at, *size)).collect()))
        }
        CheckKind::CurrentHeat => {
            let warms = check.heat_k_per_w.ok_or_else(|| lacks("the thermal resistance"))?;
            let shunt = input.current.shunt_ohm.ok_or("the shunt is not given")?;
            let at = at()?;
            let one = |(place, deviation): (usize, &f64)| {
                let drifted = if fault.insert == Insert::ShuntDrift { 1.0 + state.sizes[place] } else { 1.0 };
                let read = at + deviation;
                warms * shunt * (drifted * at * at - read * read)
            };
            Ok(Some(state.deviations.iter().enumerate().map(one).collect()))
        }
        CheckKind::StepResistance => steps(input, goal, fault, check, state).map(Some),
        _ => Ok(None),
    }
}

/// The resistance that a test current sees, Ω.
fn seen_ohm(parts: &Channel, insert: Insert, at: f64, size: f64) -> f64 {
    match &parts.circuit {
        Circuit::Sense(chain) => {
            let wires = if insert == Insert::SenseOpen { f64::INFINITY } else { size + 2.0 * chain.leg_ohm };
            parallel(chain.input_ohm, wires)
        }
        Circuit::Sensor(_) if insert == Insert::ThermistorOpen => size,
        Circuit::Sensor(chain) => beta_ohm(chain.r25_ohm, chain.beta_k, at) + size,
        Circuit::Divider(_) => 0.0,
    }
}

fn steps(
    input: &SafetyInput,
    goal: &Goal,
    fault: &Fault,
    check: &SafetyCheck,
    state: &InState,
) -> Result<Vec<f64>, String> {
    let lacks = |what: &str| format!("{what} of {} is not given", check.name);
    let step_a = check.step_a.ok_or_else(|| lacks("the step of current"))?;
    let least = check.resistance_low_ohm.ok_or_else(|| lacks("the lowest resistance"))?;
    let most = check.resistance_high_ohm.ok_or_else(|| lacks("the highest resistance"))?;
    let [of_v, of_a] = step_noises(input, check).ok_or_else(|| lacks("the noise of voltage and current"))?;
    let noise = |ohm: f64, ratio: f64| ratio * std::f64::consts::SQRT_2 * of_v.hypot(ohm * of_a) / step_a;
    let parts = channel(input, goal.reads, 1.0)?;
    let at = goal.at().ok_or_else(|| format!("the value at which {} is decided is not given", goal.name))?;
    // A pack falls by what the step takes of it.
    let step = if goal.reads == Reads::Current { step_a } else { step_a * least };
    let mut looked_at = Vec::with_capacity(state.sizes.len());
    for size in &state.sizes {
        let [low, high] = parts.reads;
        let read = |at: f64| Ok::<_, String>(reading(&parts, at, (fault, *size), None)?.clamp(low, high));
        let read = read(at)? - read(at - step)?;
        let gain = read / step;
        looked_at.push(match goal.reads {
            // A smaller step than the least starts nothing.
            Reads::Current if read.abs() < check.step_from_a || gain == 0.0 => 0.0,
            reads => {
                let ratio = if reads == Reads::Current { 1.0 / gain } else { gain };
                let ohm = if ratio > 1.0 { least } else { most };
                let more = check.noise_sigma * (noise(ohm * ratio, ratio.abs()) - noise(most, 1.0)).max(0.0);
                let away = ohm * (ratio - 1.0);
                if away > 0.0 { (away - more).max(0.0) } else { (away + more).min(0.0) }
            }
        });
    }
    Ok(looked_at)
}
