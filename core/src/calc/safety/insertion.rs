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

/// A channel with a mode in it, in one of its states.
pub struct Faulty<'a> {
    channel: Channel,
    fault: &'a Fault,
    /// The ends of the magnitude; nothing where there is one alone.
    ends: Option<[f64; 2]>,
    law: Law,
    /// The state in words.
    words: &'static str,
}

impl Faulty<'_> {
    /// What is read at a true value, at a share of the distribution of the magnitude, before the converter ends.
    ///
    /// # Errors
    /// What is not given.
    pub fn unbounded(&self, at: f64, share: f64) -> Result<f64, String> {
        reading(&self.channel, self.fault, at, self.size(share))
    }

    /// The magnitude at a share of its distribution.
    fn size(&self, share: f64) -> f64 {
        self.ends.map_or(0.0, |[from, to]| match self.law {
            Law::Uniform => from + share * (to - from),
            Law::LogUniform => from * libm::pow(to / from, share),
        })
    }

    /// The same, beyond the range at its end.
    ///
    /// # Errors
    /// What is not given.
    pub fn reading(&self, at: f64, share: f64) -> Result<f64, String> {
        let [low, high] = self.channel.reads;
        Ok(self.unbounded(at, share)?.clamp(low, high))
    }

    /// The deviations at a true value; unbounded where what reads stands before the converter.
    fn state(&self, at: f64, bounded: bool) -> Result<InState, String> {
        let places = if self.ends.is_some_and(|[from, to]| from < to) { PLACES } else { 0 };
        let many = places as usize + 1;
        let mut state = InState {
            words: self.words,
            sizes: Vec::with_capacity(many),
            deviations: Vec::with_capacity(many),
            beyond: false,
        };
        for place in 0..=places {
            let share = f64::from(place) / f64::from(places.max(1));
            let reading = self.unbounded(at, share)?;
            let [low, high] = if bounded { self.channel.reads } else { [f64::NEG_INFINITY, f64::INFINITY] };
            state.beyond |= reading < low || reading > high;
            state.sizes.push(self.size(share));
            state.deviations.push(reading.clamp(low, high) - at);
        }
        Ok(state)
    }
}

/// The channel of a quantity with a mode in it, in every state.
///
/// # Errors
/// What is not given.
pub fn faulty<'a>(input: &SafetyInput, reads: Reads, fault: &'a Fault) -> Result<Vec<Faulty<'a>>, String> {
    let states: &[(f64, &'static str)] =
        &[(1.0, "bias current into the input"), (-1.0, "bias current out of the input")];
    let states = if reads == Reads::Temperature { &[(1.0, "settled")] } else { states };
    let (magnitude, law) = fault.magnitude();
    let ends = match magnitude {
        Magnitude::None => None,
        Magnitude::Percent(from, to) => Some([from / 100.0, to / 100.0]),
        Magnitude::Ohm(from, to) => Some([from, to]),
    };
    let of = |(sign, words): &(f64, &'static str)| {
        Ok(Faulty { channel: channel(input, reads, *sign)?, fault, ends, law, words })
    };
    states.iter().map(of).collect()
}

/// What a mode does in every state.
///
/// # Errors
/// What is not given.
pub fn inserted(input: &SafetyInput, goal: &Goal, fault: &Fault) -> Result<Vec<InState>, String> {
    let at = goal.at().ok_or_else(|| format!("the value at which {} is decided is not given", goal.name))?;
    faulty(input, goal.reads, fault)?.iter().map(|one| one.state(at, goal.is_bounded())).collect()
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
