//! # What a fault that is inserted makes of the reading
//!
//! The circuit of the channel is changed and read at the true value at which the goal is decided, for every magnitude of the
//! fault, and for either sign of the bias current: each of these is a state, and the goal must hold in every one.
//!
//! ```text
//! Formula    deviation = reading of the changed circuit − true value; a reading beyond the range stands at its end
//! Reference  reading/(1 + ρ), gain (1 + g): the front end of the healthy channels, with these deviations
//! Stuck      a code that was read before: any value of the range
//! Source     Kirchhoff's laws (`physics::faulty`); definitions of the terms
//! ```

use super::circuit::{Channel, Circuit, channel};
use super::input::{Fault, Goal, Insert, Law, Magnitude, Reads, SafetyInput};
use crate::physics::faulty::{DividerChange, SenseChange, SensorChange};
use crate::physics::front_end::FrontEnd;

/// Magnitudes that are followed: between them a deviation is taken as straight.
const PLACES: u32 = 1024;

/// A state of the channel with what a mode does in it: the deviation at even steps of the distribution of its magnitude.
#[derive(Clone, Debug, PartialEq)]
pub struct InState {
    /// The state in words.
    pub words: &'static str,
    /// Magnitudes at even steps from the lowest to the highest; nothing of what is typed as a deviation.
    pub sizes: Vec<f64>,
    /// Deviations at these magnitudes.
    pub deviations: Vec<f64>,
    /// Whether some reading stands at an end of the range.
    pub beyond: bool,
}

/// What a mode does in every state.
///
/// # Errors
/// What is not given.
pub fn inserted(input: &SafetyInput, goal: &Goal, fault: &Fault) -> Result<Vec<InState>, String> {
    let at = goal.at().ok_or_else(|| format!("the value at which {} is decided is not given", goal.name))?;
    let states: &[(f64, &'static str)] =
        &[(1.0, "bias current into the input"), (-1.0, "bias current out of the input")];
    let states = if goal.reads == Reads::Temperature { &states[..1] } else { states };
    states.iter().map(|(sign, words)| in_state(input, goal, fault, at, *sign, words)).collect()
}

fn in_state(
    input: &SafetyInput,
    goal: &Goal,
    fault: &Fault,
    at: f64,
    sign: f64,
    words: &'static str,
) -> Result<InState, String> {
    let channel = channel(input, goal.reads, sign)?;
    let words = if goal.reads == Reads::Temperature { "settled" } else { words };
    let (magnitude, law) = fault.magnitude();
    let ends = match magnitude {
        Magnitude::None => None,
        Magnitude::Percent(from, to) => Some([from / 100.0, to / 100.0]),
        Magnitude::Ohm(from, to) => Some([from, to]),
    };
    let places = if ends.is_some_and(|[from, to]| from < to) { PLACES } else { 0 };
    let many = places as usize + 1;
    let mut state =
        InState { words, sizes: Vec::with_capacity(many), deviations: Vec::with_capacity(many), beyond: false };
    for place in 0..=places {
        let share = f64::from(place) / f64::from(places.max(1));
        let size = ends.map_or(0.0, |[from, to]| match law {
            Law::Uniform => from + share * (to - from),
            Law::LogUniform => from * libm::pow(to / from, share),
        });
        let reading = reading(&channel, fault, at, size)?;
        let [low, high] = channel.reads;
        state.beyond |= reading < low || reading > high;
        state.sizes.push(size);
        state.deviations.push(reading.clamp(low, high) - at);
    }
    Ok(state)
}

/// What is read at a true value with a fault of this size.
pub(super) fn reading(channel: &Channel, fault: &Fault, at: f64, size: f64) -> Result<f64, String> {
    let count = f64::from(fault.elements);
    if fault.insert == Insert::ConverterStuck {
        let [low, high] = channel.range.ok_or("the range in which a code may be stuck is not given")?;
        return Ok(low + size * (high - low));
    }
    let healthy = match &channel.circuit {
        Circuit::Divider(chain) => {
            let change = match fault.insert {
                Insert::UpperShort => DividerChange::UpperShort(count),
                Insert::UpperOpen => DividerChange::UpperOpen(size),
                Insert::UpperDrift => DividerChange::UpperDrift(size),
                Insert::UpperJoint => DividerChange::UpperJoint(size),
                Insert::UpperLeak => DividerChange::UpperLeak(size, count),
                Insert::LowerOpen => DividerChange::LowerOpen,
                Insert::LowerShort => DividerChange::LowerShort,
                Insert::LowerDrift => DividerChange::LowerDrift(size),
                Insert::FilterLeak => DividerChange::FilterLeak(size),
                Insert::TapOpen => DividerChange::TapOpen,
                _ => DividerChange::Nothing,
            };
            chain.reading(at, change)
        }
        Circuit::Sense(chain) => {
            if fault.insert == Insert::SenseOpen && chain.input_ohm.is_infinite() {
                return Err(
                    "without a resistance across the input an open wire drifts from what was held: it is not given"
                        .into(),
                );
            }
            let change = match fault.insert {
                Insert::ShuntDrift => SenseChange::ShuntDrift(size),
                Insert::ShuntJoint => SenseChange::ShuntJoint(size),
                Insert::ShuntBridge => SenseChange::ShuntBridge(size),
                Insert::SenseOpen => SenseChange::Open,
                Insert::SenseResistive => SenseChange::Resistive(size),
                Insert::SenseSwap => SenseChange::Swapped,
                Insert::SenseShort => SenseChange::Shorted,
                _ => SenseChange::Nothing,
            };
            chain.reading(at, change)
        }
        Circuit::Sensor(chain) => {
            let change = match fault.insert {
                Insert::ThermistorOpen => SensorChange::Open(size),
                Insert::ThermistorShort => SensorChange::Short,
                Insert::ThermistorDrift => SensorChange::Drift(size),
                Insert::LeadResistive => SensorChange::Lead(size),
                Insert::LeadLeak => SensorChange::Leak(size),
                Insert::FixedDrift => SensorChange::FixedDrift(size),
                Insert::ReferenceDrift | Insert::ConverterGain => {
                    return Err("reference and gain of a temperature read-out are not followed".into());
                }
                _ => SensorChange::Nothing,
            };
            return Ok(chain.reading(at, change));
        }
    };
    Ok(match fault.insert {
        Insert::ReferenceDrift => FrontEnd::deviating(healthy, 0.0, size),
        Insert::ConverterGain => FrontEnd::deviating(healthy, size, 0.0),
        _ => healthy,
    })
}
