//! The circuits of the channels that are described, as firmware takes them to be.

use super::input::{Reads, SafetyInput};
use crate::physics::faulty::{DividerChain, SenseChain, SensorChain};

/// Where a thermistor's read-out is taken to end, where nothing says it, °C. Common practice, no source.
const READ_DEGC: [f64; 2] = [-200.0, 500.0];

/// A circuit with a state.
pub(super) enum Circuit {
    Divider(DividerChain),
    Sense(SenseChain),
    Sensor(SensorChain),
}

/// The circuit of a quantity with the ends of its readings and of its true values.
pub(super) struct Channel {
    /// What divides, senses or turns a resistance into a temperature.
    pub circuit: Circuit,
    /// The ends of its readings.
    pub reads: [f64; 2],
    /// The part of a drift of the reference that is read, where it is known.
    pub reads_reference: Option<f64>,
    /// The ends of its true values, where they are given.
    pub range: Option<[f64; 2]>,
}

/// The channel of a quantity with a bias current of this sign.
///
/// # Errors
/// It is not given.
pub(super) fn channel(input: &SafetyInput, reads: Reads, sign: f64) -> Result<Channel, String> {
    match reads {
        Reads::Voltage => divider(input, sign),
        Reads::Current => sense(input, sign),
        Reads::Temperature => sensor(input),
    }
    .ok_or_else(|| format!("the {} channel is not given", reads.label().to_lowercase()))
}

fn divider(input: &SafetyInput, sign: f64) -> Option<Channel> {
    let with = &input.voltage;
    let chain = DividerChain {
        elements: with.upper_count?,
        element_ohm: with.upper_ohm?,
        lower_ohm: with.lower_ohm?,
        load_ohm: with.load_ohm.unwrap_or(f64::INFINITY),
        bias_a: sign * with.bias_current_a?,
        factor: with.factor?,
    };
    Some(Channel {
        circuit: Circuit::Divider(chain),
        reads_reference: Some(1.0),
        reads: [0.0, with.full_at_v?],
        range: with.lowest_v.zip(with.highest_v).map(<[f64; 2]>::from),
    })
}

fn sense(input: &SafetyInput, sign: f64) -> Option<Channel> {
    let with = &input.current;
    let chain = SenseChain {
        shunt_ohm: with.shunt_ohm?,
        leg_ohm: with.leg_ohm?,
        input_ohm: with.input_ohm.unwrap_or(f64::INFINITY),
        bias_a: sign * with.bias_current_a?,
    };
    Some(Channel {
        circuit: Circuit::Sense(chain),
        reads_reference: Some(1.0),
        reads: [-with.full_charge_a?, with.full_at_a?],
        range: with.charge_peak_a.zip(with.peak_a).map(|(charge, peak)| [-charge, peak]),
    })
}

fn sensor(input: &SafetyInput) -> Option<Channel> {
    let with = &input.temperature;
    let chain = SensorChain {
        r25_ohm: with.r25_ohm?,
        beta_k: with.beta_k?,
        fixed_ohm: with.fixed_ohm,
        above: with.sensor_above > 0.5,
    };
    let [low, high] = READ_DEGC;
    Some(Channel {
        circuit: Circuit::Sensor(chain),
        reads: [with.lowest_degc.unwrap_or(low), with.highest_degc.unwrap_or(high)],
        reads_reference: with.reference_gain,
        range: input.between(Reads::Temperature),
    })
}
