//! # The physics of a channel
//!
//! A chain says what one part reads at a true value in a state, in which states it can be, where it is full and at which
//! points it is calibrated. Everything else about a channel (its error, its worst state, its budget) follows from that.
//!
//! ```text
//! Deviation  of one part: the same in every reading of it; only its limit is known
//! Known      an effect of known sign is a factor of 1 in front of it: its sensitivity is what it does to the reading
//! State      what comes and goes: temperatures, life, direction, leakage; it is never played off against a deviation
//! Source     JCGM 100:2008 clause 4.1 (measurement model)
//! ```

use std::fmt::Debug;

use crate::propagation::{Number, Source};
use crate::quantity::Unit;

/// What is new in every reading, in the unit of the reading.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Each {
    /// Non-linearity, half-width.
    pub nonlinear: f64,
    /// The largest slope of the non-linearity, reading per reading; nothing when it is unknown.
    pub slope: Option<f64>,
    /// Rounding, half-width.
    pub rounding: f64,
    /// Standard deviation of the readings that are judged.
    pub noise: f64,
}

/// A point at which the chain is calibrated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known<S> {
    /// The value that is applied.
    pub x: f64,
    /// The state in which it is read.
    pub state: S,
    /// The calibrator's error at this point alone, half-width.
    pub independent: f64,
    /// Standard deviation of the stored reading: the mean of the bench's readings, each one of the channel.
    pub noise: f64,
    /// Whether the stored reading is rounded: not where enough noisy readings are averaged.
    pub rounded: bool,
}

/// What is calibrated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Calibration<S> {
    /// Nothing.
    None,
    /// The offset, at one point.
    Offset(Known<S>),
    /// Offset and gain, at two.
    Two([Known<S>; 2]),
}

impl<S> Calibration<S> {
    /// The first and the second point.
    pub const fn points(&self) -> [Option<&Known<S>>; 2] {
        match self {
            Self::None => [None, None],
            Self::Offset(point) => [Some(point), None],
            Self::Two([first, second]) => [Some(first), Some(second)],
        }
    }

    /// How much of each stored reading the reading at `x` takes.
    pub fn weights(&self, x: f64) -> [f64; 2] {
        match self {
            Self::None => [0.0; 2],
            Self::Offset(_) => [1.0, 0.0],
            Self::Two([first, second]) => {
                let second = (x - first.x) / (second.x - first.x);
                [1.0 - second, second]
            }
        }
    }
}

/// What the calibrator does to all points alike, half-widths.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Calibrator {
    /// Relative.
    pub gain: f64,
    /// In the unit of the reading.
    pub offset: f64,
}

/// A state in which the chain has no steady value, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoSolution(pub &'static str);

/// An end of the range of a part of the chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct End(pub &'static str);

/// Ends a chain may have.
pub const ENDS: usize = 3;

/// What states are listed for.
#[derive(Clone, Copy, Debug)]
pub struct Around<'a> {
    /// The ambient temperature, °C.
    pub ambient_degc: f64,
    /// At the end of life, or new.
    pub aged: bool,
    /// As it is read by what a calibration stored, or as it is before any.
    pub calibrated: bool,
    /// Where the calibrating bench was within its tolerance, as shares of it.
    pub bench: &'a [f64],
}

/// The physics of a channel, written once for every number type.
pub trait Chain: Sync {
    /// The unit of the reading.
    const UNIT: Unit;
    /// Temperatures, life, direction: everything a reading depends on beside the value and the part.
    type State: Copy + Debug + PartialEq + Sync;

    /// The deviations of one part, and a factor of 1 for every known effect. They do not depend on value or state.
    fn sources(&self) -> Vec<Source>;

    /// What one part reads at the true value in a state, by the firmware's constants, without a calibration and without
    /// what is new in every reading.
    fn reading<N: Number>(&self, x: N, state: &Self::State, deviations: &[N]) -> N;

    /// How far each end of the chain is driven, 1 and −1 are its ends; 0 where there is no such end.
    fn driven<N: Number>(&self, x: N, state: &Self::State, deviations: &[N]) -> [N; ENDS];

    /// What ends there.
    fn ends(&self) -> [End; ENDS];

    /// Whether a reading below zero exists.
    fn reads_below_zero(&self) -> bool;

    /// What is new in every reading.
    fn each(&self) -> Each;

    /// The ambient temperatures of the design, rising; between them it is searched.
    fn ambients(&self) -> Vec<f64>;

    /// Every state around, the places of the bench innermost, in an order and a number that do not depend on the
    /// temperature: one that is another of them there is left out by nothing in its place.
    fn states(&self, around: &Around, to: &mut Vec<Result<Option<Self::State>, NoSolution>>);

    /// Whether the calibrating bench may be off its temperature.
    fn bench_varies(&self) -> bool {
        false
    }

    /// The values at which the error can be largest against the allowance, rising.
    fn places(&self) -> Vec<f64>;

    /// Values between the places, rising: where the error is a smooth curve against the allowance that may be largest there.
    fn between(&self) -> Vec<f64> {
        Vec::new()
    }

    /// The allowed error at a value.
    fn allowed(&self, x: f64) -> Option<f64>;

    /// What is calibrated, where, in which states, as a state remembers it: by the place of the bench alone.
    fn calibration(&self, state: &Self::State) -> Calibration<Self::State>;

    /// What the calibrator does to all points alike.
    fn calibrator(&self) -> Calibrator {
        Calibrator::default()
    }
}
