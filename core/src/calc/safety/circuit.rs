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

impl Channel {
    /// What is read at a true value without a fault.
    pub fn healthy(&self, at: f64) -> f64 {
        match &self.circuit {
            Circuit::Divider(chain) => chain.reading(at, &[]),
            Circuit::Sense(chain) => chain.reading(at, &[]),
            Circuit::Sensor(chain) => chain.reading(at, &[]),
        }
    }
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
}

/// What is given of a channel; the first box of it that is not, by its name.
fn given(reads: Reads, value: Option<f64>, what: &str) -> Result<f64, String> {
    value.ok_or_else(|| format!("the {what} of the {} channel is not given", reads.label().to_lowercase()))
}

/// Its first part, without which there is no channel.
fn first(reads: Reads, value: Option<f64>) -> Result<f64, String> {
    value.ok_or_else(|| format!("the {} channel is not given", reads.label().to_lowercase()))
}

fn divider(input: &SafetyInput, sign: f64) -> Result<Channel, String> {
    let (with, of) = (&input.voltage, Reads::Voltage);
    let chain = DividerChain {
        element_ohm: first(of, with.upper_ohm)?,
        elements: given(of, with.upper_count, "count of upper elements")?,
        lower_ohm: given(of, with.lower_ohm, "lower string")?,
        load_ohm: with.load_ohm.unwrap_or(f64::INFINITY),
        bias_a: sign * given(of, with.bias_current_a, "bias current")?,
        factor: given(of, with.factor, "constant of the firmware")?,
    };
    Ok(Channel {
        circuit: Circuit::Divider(chain),
        reads_reference: Some(1.0),
        reads: [0.0, given(of, with.full_at_v, "full point")?],
        range: with.lowest_v.zip(with.highest_v).map(<[f64; 2]>::from),
    })
}

fn sense(input: &SafetyInput, sign: f64) -> Result<Channel, String> {
    let (with, of) = (&input.current, Reads::Current);
    let chain = SenseChain {
        shunt_ohm: first(of, with.shunt_ohm)?,
        leg_ohm: given(of, with.leg_ohm, "leg of the filter")?,
        input_ohm: with.input_ohm.unwrap_or(f64::INFINITY),
        bias_a: sign * given(of, with.bias_current_a, "bias current")?,
    };
    let full_at = given(of, with.full_at_a, "full point in discharge")?;
    Ok(Channel {
        circuit: Circuit::Sense(chain),
        reads_reference: Some(1.0),
        reads: [-given(of, with.full_charge_a, "full point in charge")?, full_at],
        range: with.charge_peak_a.zip(with.peak_a).map(|(charge, peak)| [-charge, peak]),
    })
}

fn sensor(input: &SafetyInput) -> Result<Channel, String> {
    let (with, of) = (&input.temperature, Reads::Temperature);
    let chain = SensorChain {
        r25_ohm: first(of, with.r25_ohm)?,
        beta_k: given(of, with.beta_k, "beta")?,
        fixed_ohm: with.fixed_ohm,
        above: with.sensor_above > 0.5,
    };
    let [low, high] = READ_DEGC;
    Ok(Channel {
        circuit: Circuit::Sensor(chain),
        reads: [with.lowest_degc.unwrap_or(low), with.highest_degc.unwrap_or(high)],
        reads_reference: with.reference_gain,
        range: input.between(Reads::Temperature),
    })
}
