//! # What a fault that is inserted makes of the reading
//!
//! The circuit of the channel is changed, or what follows it, and read at the true value at which the goal is decided, for
//! every magnitude of the fault. What is not told by the fault is a state: the sign of the bias current, the value that was
//! held, the end at which an output stands, the bit and its level. The goal must hold in every one.
//!
//! ```text
//! Formula    deviation = reading of the changed circuit − true value; a reading beyond the range stands at its end
//! Reference  reading/(1 + ρ), gain (1 + g): the front end of the healthy channels, with these deviations; offsets in parts of
//!            the full reading; a wrong constant (1 + d)
//! Held       a value that was read before: any of the range, from which the true one moves away (`held`); a wrong frame or
//!            input: any reading
//! Behind     x − s t towards the hazard; a slow clock makes the delay of a threshold (x_h − x)/s longer by 1/(1 + c) − 1
//! Bit        x ± 2^b steps where the bit of x − e to x + e can differ from the level that it is forced to
//! Supply     (1 + k s) while the channel works at it, beyond that an end of the range
//! Loose      Ta + s (T − Ta)
//! Healthy    inside the range and off by no more than it errs, or nothing is read of a fault
//! Two        both change the circuit; what follows it in either order
//! Calibrated a bias drop that a calibration took away is taken away of a short as well: either sign
//! Valid      a current that is gone with its shunt is not read at all; ripple of a supply is not followed
//! Source     Kirchhoff's laws (`physics::faulty`); definitions of the terms
//! ```

use super::act::Act;
use super::circuit::{Channel, Circuit, channel};
use super::held::{grows, loose};
use super::input::{DecidedBy, Fault, Goal, Insert, Law, Magnitude, Reads, SafetyInput};
use crate::physics::faulty::{DividerChange, SenseChange, SensorChange};
use crate::physics::front_end::FrontEnd;
use crate::quantity::Quantity;

/// Magnitudes that are followed: between them a deviation is taken as straight.
const PLACES: u32 = 1024;
/// By so much of a value a healthy channel may be off whatever it errs: what loads it and a calibration takes away. Common
/// practice, no source.
const WRONG: f64 = 1e-3;
/// Bits of a converter at most.
const MOST_BITS: u32 = 32;

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
    /// How fast they grow, a second: without end where they are there at once, nothing where it is not given.
    pub grows: Option<f64>,
}

/// A channel with a mode in it, in one of its states.
pub struct Faulty<'a> {
    channel: Channel,
    fault: &'a Fault,
    act: Act,
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
        let size = self.size(share);
        Ok(match self.act {
            Act::Part => return reading(&self.channel, at, (self.fault, size), None),
            Act::Held([low, high]) | Act::Any([low, high]) => low + size * (high - low),
            Act::Follows([low, high], left) => at + left * (low + size * (high - low) - at),
            Act::Stands(reads) | Act::Settles(reads) => reads,
            Act::Behind(slope) => at - slope * size,
            Act::Later(way) => at - way * (1.0 / (1.0 + size) - 1.0),
            Act::Bit { step, weight, high, error } => {
                let sets = |value: f64| (value / (step * weight)).floor().rem_euclid(2.0) >= 1.0;
                // Whatever the healthy reading is, the bit may have been the other one.
                let differs =
                    2.0 * error >= step * weight || [at - error, at + error].iter().any(|at| sets(*at) != high);
                match (differs, high) {
                    (false, _) => at,
                    (true, true) => at + step * weight,
                    (true, false) => at - step * weight,
                }
            }
            Act::Supply { within, end, .. } if size.abs() > within => end,
            Act::Supply { gain, .. } => match &self.channel.circuit {
                Circuit::Sensor(chain) => {
                    let scale = 1.0 + gain * size;
                    chain.scaled(at, &[], scale, 0.0).ok_or("the fixed resistor of the read-out is not given")?
                }
                _ => reading(&self.channel, at, (self.fault, 0.0), None)? * (1.0 + gain * size),
            },
            Act::Loose(ambient) => ambient + size * (at - ambient),
        })
    }

    /// The magnitude at a share of its distribution.
    fn size(&self, share: f64) -> f64 {
        self.ends.map_or(0.0, |[from, to]| match self.law {
            Law::Uniform => from + share * (to - from),
            Law::LogUniform => from * libm::pow(to / from, share),
        })
    }

    /// What is read at a true value with another fault in the same channel, where both are other parts of it, whatever stands
    /// first; nothing otherwise.
    ///
    /// # Errors
    /// What is not given.
    pub fn beside(&self, other: &Faulty, at: f64, shares: [f64; 2], bounded: bool) -> Result<Option<[f64; 2]>, String> {
        if !(matches!(self.act, Act::Part) && matches!(other.act, Act::Part)) {
            return Ok(None);
        }
        let [one, two] = [(self.fault, self.size(shares[0])), (other.fault, other.size(shares[1]))];
        let [low, high] = if bounded { self.channel.reads } else { [f64::NEG_INFINITY, f64::INFINITY] };
        let either = [reading(&self.channel, at, one, Some(two))?, reading(&self.channel, at, two, Some(one))?];
        Ok(Some(either.map(|reading| reading.clamp(low, high))))
    }

    /// The ends of what is read.
    pub const fn ends(&self) -> [f64; 2] {
        self.channel.reads
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
    fn state(&self, goal: &Goal, at: f64) -> Result<InState, String> {
        let bounded = goal.is_bounded();
        let places = if self.ends.is_some_and(|[from, to]| from < to) { PLACES } else { 0 };
        let many = places as usize + 1;
        let mut state = InState {
            words: self.words,
            sizes: Vec::with_capacity(many),
            deviations: Vec::with_capacity(many),
            beyond: false,
            grows: match self.act {
                Act::Held(_) | Act::Settles(_) => grows(goal),
                Act::Follows(_, left) => grows(goal).map(|slope| left * slope),
                _ => Some(f64::INFINITY),
            },
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

/// The channel of a goal's quantity with a mode in it, in every state.
///
/// # Errors
/// What is not given.
pub fn faulty<'a>(input: &SafetyInput, goal: &Goal, fault: &'a Fault) -> Result<Vec<Faulty<'a>>, String> {
    let (magnitude, law) = fault.magnitude();
    let ends = match magnitude {
        Magnitude::None => None,
        Magnitude::Percent(from, to) => Some([from / 100.0, to / 100.0]),
        Magnitude::Ohm(from, to) => Some([from, to]),
        Magnitude::Second(ends) => Some(ends.ok_or("how late it comes is not given")?),
    };
    let mut all = Vec::new();
    for (act, words) in acts(input, goal, fault)? {
        // Only a circuit has a bias current.
        let signs: &[(f64, &'static str)] = match act {
            Act::Part if goal.reads != Reads::Temperature => {
                &[(1.0, "bias current into the input"), (-1.0, "bias current out of the input")]
            }
            _ => &[(1.0, words)],
        };
        // What is held may be anything, whatever the magnitude.
        let (ends, law) = match act {
            Act::Held(_) | Act::Follows(..) | Act::Any(_) if ends.is_none() => (Some([0.0, 1.0]), Law::Uniform),
            _ => (ends, law),
        };
        for (sign, words) in signs {
            all.push(Faulty { channel: channel(input, goal.reads, *sign)?, fault, act, ends, law, words });
        }
    }
    Ok(all)
}

/// What a mode does in each state of what it does not tell.
fn acts(input: &SafetyInput, goal: &Goal, fault: &Fault) -> Result<Vec<(Act, &'static str)>, String> {
    let channel = channel(input, goal.reads, 1.0)?;
    let [low, high] = channel.reads;
    let held =
        || Ok::<_, String>(Act::Held(channel.range.ok_or("the range in which a value may be held is not given")?));
    let either = [(Act::Stands(low), "at the lower end"), (Act::Stands(high), "at the upper end")];
    let quantity = goal.reads.label().to_lowercase();
    Ok(match fault.insert {
        Insert::ConverterStuck | Insert::LinkStuck | Insert::LinkLost | Insert::ControllerFrozen => {
            vec![(held()?, "any value is held")]
        }
        Insert::ConverterInput | Insert::LinkCorrupt => vec![(Act::Any(channel.reads), "any value is read")],
        Insert::AmplifierRail | Insert::SupplyLost => either.to_vec(),
        Insert::AmplifierSlow | Insert::LinkLate | Insert::ControllerLate => {
            let slope = goal.told()[3].ok_or("how fast the quantity moves towards the hazard is not given")?;
            vec![(Act::Behind(towards(goal) * slope), "as fast as it moves")]
        }
        Insert::ClockDrift if goal.decided_by == DecidedBy::Threshold => {
            let trip = goal.trip().ok_or("the threshold whose delay a wrong clock changes is not given")?;
            let at = goal.at().ok_or("the value at which it is decided is not given")?;
            vec![(Act::Later(trip.hazard - at), "at the end of the delay")]
        }
        Insert::ConverterBit => bits(&channel, fault, goal.reads, input)?,
        Insert::SupplyLow | Insert::SupplyHigh => {
            let missing = || format!("how the reading of the {quantity} channel follows its supply is not given");
            let [gain, within] = input.supplied(goal.reads);
            let (gain, within) = gain.zip(within).ok_or_else(missing)?;
            let at = |end: f64| Act::Supply { gain, within: within / 100.0, end };
            vec![(at(low), "at the lower end beyond"), (at(high), "at the upper end beyond")]
        }
        Insert::SupplyRipple => return Err("what the ripple of a supply makes of the reading is not followed".into()),
        Insert::ShuntOpen => return Err("it destroys the input, and nothing is read".into()),
        Insert::ClockDrift => return Err("what a wrong clock does to it is not followed".into()),
        Insert::SenseOpen if input.current.input_ohm.is_none() => {
            let with = &input.current;
            let holds = with.filter_farad.is_none_or(|farad| farad > 0.0);
            let per_farad = with.bias_current_a.zip(with.shunt_ohm).map(|(bias, ohm)| bias / ohm);
            let drift = per_farad.zip(with.filter_farad).map(|(drift, farad)| drift / farad);
            loose(goal, channel.reads, holds.then(held).transpose()?, drift, towards(goal) > 0.0)
        }
        Insert::TapOpen if input.voltage.load_ohm.is_none() => {
            let with = &input.voltage;
            let holds = with.filter_farad.is_some_and(|farad| farad > 0.0);
            let per_farad = with.bias_current_a.zip(with.factor).map(|(bias, factor)| bias * factor);
            let drift = per_farad.zip(with.filter_farad).map(|(drift, farad)| drift / farad);
            loose(goal, channel.reads, holds.then(held).transpose()?, drift, towards(goal) > 0.0)
        }
        Insert::TapOpen => {
            let mut all = vec![(Act::Part, "settled")];
            if input.voltage.filter_farad.is_some_and(|farad| farad > 0.0) {
                all.push((held()?, "any value is held"));
            }
            all
        }
        Insert::ThermistorLoose => {
            let with = &input.temperature;
            let around = with.ambient_low_degc.zip(with.ambient_high_degc);
            let (cold, hot) = around.ok_or("the ambient that a loose sensor sees is not given")?;
            vec![(Act::Loose(cold), "cold around it"), (Act::Loose(hot), "hot around it")]
        }
        _ => vec![(Act::Part, "settled")],
    })
}

/// +1 where the hazard lies above, −1 where it lies below.
fn towards(goal: &Goal) -> f64 {
    goal.trip().map_or(if goal.minds(false) { 1.0 } else { -1.0 }, |trip| trip.sign())
}

/// A bit that is forced to either level; where none is named, each of the converter.
fn bits(
    channel: &Channel,
    fault: &Fault,
    reads: Reads,
    input: &SafetyInput,
) -> Result<Vec<(Act, &'static str)>, String> {
    let step = reads.pick([input.current.step_a, input.voltage.step_v, None]);
    let step = step.ok_or("the step of the converter is not given")?;
    let error = input.channel_error(reads).unwrap_or(0.0);
    let full = channel.reads.iter().fold(0.0_f64, |most, end| most.max(end.abs()));
    let mut all = Vec::new();
    for bit in 0..MOST_BITS {
        let weight = libm::exp2(f64::from(bit));
        let named = fault.bit.is_none_or(|only| only == f64::from(bit));
        if named && (step * weight <= full || fault.bit.is_some()) {
            all.push((Act::Bit { step, weight, high: false, error }, "a bit is forced low"));
            all.push((Act::Bit { step, weight, high: true, error }, "a bit is forced high"));
        }
    }
    Ok(all)
}

impl SafetyInput {
    /// The time constant that a fault leaves in front of every check, s: the capacitance at an input that nothing but its
    /// resistance holds any more.
    pub fn slow_s(&self, fault: &Fault) -> f64 {
        let (across, farad) = match fault.insert {
            Insert::SenseOpen => (self.current.input_ohm, self.current.filter_farad),
            Insert::TapOpen => (self.voltage.load_ohm, self.voltage.filter_farad),
            _ => return 0.0,
        };
        across.zip(farad).map_or(0.0, |(ohm, farad)| ohm * farad)
    }
}

/// What a mode does in every state.
///
/// # Errors
/// What is not given.
pub fn inserted(input: &SafetyInput, goal: &Goal, fault: &Fault) -> Result<Vec<InState>, String> {
    let places = decided_at(input, goal)?;
    let all = faulty(input, goal, fault)?;
    for at in &places {
        healthy(input, goal, *at)?;
    }
    let states = places.iter().flat_map(|at| all.iter().map(|one| one.state(goal, *at)));
    states.collect()
}

/// Whether the channel without a fault reads a true value: inside its range, and no further off than it errs. A bias current
/// counts neither way, a calibration takes it away.
///
/// # Errors
/// What it reads instead.
fn healthy(input: &SafetyInput, goal: &Goal, at: f64) -> Result<(), String> {
    let channels = [channel(input, goal.reads, 1.0)?, channel(input, goal.reads, -1.0)?];
    let value = |value: f64| Quantity::new(value, goal.reads.unit_of_values());
    let [low, high] = channels[0].reads;
    if goal.is_bounded() && !(low..=high).contains(&at) {
        let name = &goal.name;
        return Err(format!("at {}, where {name} is decided, the channel reads nothing any more", value(at)));
    }
    let reads = channels.iter().map(|channel| channel.healthy(at)).sum::<f64>() / 2.0;
    let errs = input.channel_error(goal.reads).unwrap_or(0.0).max(WRONG * at.abs());
    if (reads - at).abs() > errs {
        return Err(format!(
            "without a fault the channel reads {} at {}, which is more than it errs",
            value(reads),
            value(at)
        ));
    }
    Ok(())
}

/// The true values at which a goal is decided.
///
/// # Errors
/// They are not given.
pub fn decided_at(input: &SafetyInput, goal: &Goal) -> Result<Vec<f64>, String> {
    let missing = || format!("the value at which {} is decided is not given", goal.name);
    let uncounted = || format!("the currents that the count of {} counts are not given", goal.name);
    Ok(match goal.decided_by {
        DecidedBy::Count => input.counted_a(goal).ok_or_else(uncounted)?.to_vec(),
        _ => vec![goal.at().ok_or_else(missing)?],
    })
}

/// A fault and its size.
pub(super) type Inserted<'a> = (&'a Fault, f64);

/// What a channel with other parts reads at a true value, with a fault of this size and another one beside it; what follows the
/// circuit in their order.
///
/// # Errors
/// What is not given.
pub(super) fn reading(channel: &Channel, at: f64, one: Inserted, other: Option<Inserted>) -> Result<f64, String> {
    let faults = || [Some(one), other].into_iter().flatten();
    let mut healthy = match &channel.circuit {
        Circuit::Divider(chain) => {
            let changes = [divider_change(one), other.map_or(DividerChange::Nothing, divider_change)];
            // What a calibration took away of the bias current it takes away where nothing drops as well.
            let taken = if changes.contains(&DividerChange::LowerShort) { chain.reading(0.0, &[]) } else { 0.0 };
            chain.reading(at, &changes) - taken
        }
        Circuit::Sense(chain) => {
            let changes = [sense_change(one), other.map_or(SenseChange::Nothing, sense_change)];
            chain.reading(at, &changes)
        }
        Circuit::Sensor(chain) => {
            let changes = [sensor_change(one), other.map_or(SensorChange::Nothing, sensor_change)];
            let Some((scale, offset)) = read_out(channel, faults())? else { return Ok(chain.reading(at, &changes)) };
            let missing = || "the fixed resistor of the read-out is not given".to_owned();
            return chain.scaled(at, &changes, scale, offset).ok_or_else(missing);
        }
    };
    for (fault, size) in faults() {
        healthy = match fault.insert {
            Insert::ReferenceDrift => FrontEnd::deviating(healthy, 0.0, size),
            Insert::ConverterGain | Insert::AmplifierGain | Insert::ControllerConstant => {
                FrontEnd::deviating(healthy, size, 0.0)
            }
            Insert::ConverterOffset | Insert::AmplifierOffset => healthy + size * channel.reads[1],
            _ => healthy,
        };
    }
    Ok(healthy)
}

/// Scale and offset at which the share of the supply is read; nothing where no fault touches them.
fn read_out<'a>(channel: &Channel, faults: impl Iterator<Item = Inserted<'a>>) -> Result<Option<(f64, f64)>, String> {
    let mut read = None;
    for (fault, size) in faults {
        let (scale, offset) = read.unwrap_or((1.0, 0.0));
        match fault.insert {
            // A ratiometric read-out divides by what it is fed with.
            Insert::ReferenceDrift => match channel.reads_reference {
                Some(0.0) => {}
                Some(part) => read = Some((scale / (1.0 + part * size), offset / (1.0 + part * size))),
                None => return Err("whether the read-out is ratiometric is not given".into()),
            },
            Insert::ConverterGain | Insert::AmplifierGain => read = Some((scale * (1.0 + size), offset * (1.0 + size))),
            Insert::ConverterOffset | Insert::AmplifierOffset => read = Some((scale, offset + size)),
            _ => {}
        }
    }
    Ok(read)
}

fn divider_change((fault, size): Inserted) -> DividerChange {
    let count = f64::from(fault.elements);
    match fault.insert {
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
    }
}

fn sense_change((fault, size): Inserted) -> SenseChange {
    match fault.insert {
        Insert::ShuntDrift => SenseChange::ShuntDrift(size),
        Insert::ShuntJoint => SenseChange::ShuntJoint(size),
        Insert::ShuntBridge => SenseChange::ShuntBridge(size),
        Insert::SenseOpen => SenseChange::Open,
        Insert::SenseResistive => SenseChange::Resistive(size),
        Insert::SenseSwap => SenseChange::Swapped,
        Insert::SenseShort => SenseChange::Shorted,
        _ => SenseChange::Nothing,
    }
}

fn sensor_change((fault, size): Inserted) -> SensorChange {
    match fault.insert {
        Insert::ThermistorOpen => SensorChange::Open(size),
        Insert::ThermistorShort | Insert::FixedOpen => SensorChange::Short,
        Insert::ThermistorDrift | Insert::ControllerConstant => SensorChange::Drift(size),
        Insert::LeadResistive => SensorChange::Lead(size),
        Insert::LeadLeak => SensorChange::Leak(size),
        Insert::FixedDrift => SensorChange::FixedDrift(size),
        Insert::FixedShort => SensorChange::Open(f64::INFINITY),
        _ => SensorChange::Nothing,
    }
}
