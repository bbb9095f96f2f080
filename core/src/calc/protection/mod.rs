//! # Protection thresholds
//!
//! A threshold must never trip in allowed operation and must always trip before the hazard. Error, noise, reaction time
//! and lag each take a piece of the distance between the two; what is left is the room for the threshold. Those for
//! voltage, current and temperature are one calculation ([`Threshold`]) and differ in units and in what delays the reading.
//!
//! ```text
//! Parts      window the two edges and the room between them, rows how often noise alone trips, ramp how late noise makes
//!            the trip, wait how long a steady reading keeps a row, risk missed trips, let_through what faults heat, lever what would open the room, raced what a race takes over, sag a limit under load; voltage, current, temperature the inputs; trip_curve inverse-time over-current
//! Source     JCGM 106:2012 (conformance probability, guard bands); sums of limits on both sides: common practice, no source
//! ```

use std::marker::PhantomData;

use crate::calculation::{Calculation, Depth, Gives, Meta, Slip};
use crate::field::{FieldError, Group};
use crate::judge::Ledger;
use crate::quantity::Unit;
use crate::report::{Step, View, caution};
use crate::work::{Cost, Refused, Work};

pub mod current;
mod detail;
mod let_through;
mod lever;
mod noise_cost;
mod output;
pub mod race;
mod ramp;
mod requirements;
pub mod ripple;
mod risk;
mod rows;
mod sag;
mod slips;
pub mod temperature;
pub mod trip_curve;
mod view;
pub mod voltage;
mod wait;
mod window;
mod working;

pub use output::LetThrough;
pub use output::{
    ThresholdBalance, ThresholdConsumed, ThresholdJudged, ThresholdLever, ThresholdOutput, ThresholdRelease,
    ThresholdRisk, VoltageSag,
};
pub use rows::Autocorrelation;
pub use window::{OF_OPERATION, Terms, Window};

crate::choice! {
    /// How the error limit was made.
    pub enum ErrorMethod {
        WorstCase = "worst-case", "Worst case";
        RootSumSquare = "root-sum-square", "Root-sum-square of limits";
        Interval95 = "interval-95", "95 % interval";
    }
}

impl ErrorMethod {
    /// Whether the limit may be passed with a probability that matters.
    pub const fn is_statistical(self) -> bool {
        !matches!(self, Self::WorstCase)
    }

    /// The standard uncertainty that a limit made by this method stands for: rectangular limits have e/√3, and so has
    /// their root-sum-square; a 95 % interval of a normal quantity has e/1.96.
    pub fn standard(self, limit: f64) -> f64 {
        match self {
            Self::WorstCase | Self::RootSumSquare => limit / 3f64.sqrt(),
            Self::Interval95 => limit / crate::propagation::normal_quantile(0.975),
        }
    }
}

/// The input of a threshold.
pub trait ThresholdInput: Group + Clone + Send + Sync + 'static {
    /// What the calculation is.
    const META: Meta;
    /// What shows a slipped power of ten.
    const SLIPS: &'static [Slip<Self>];
    /// What is given on, in words: the last true value at which the threshold is in time, by how much it may be misread, the
    /// sign of what misreads it; the threshold, its error, the hazard, the largest slope and the normal extreme.
    const LAST: [&'static str; 8];

    /// What the threshold is judged by.
    fn terms(&self) -> Terms;

    /// The sign of its values on the channel of the pack that reads them; nothing where what it reads is no value of the pack.
    fn read_with(&self) -> Option<f64> {
        Some(1.0)
    }
}

/// A threshold that somebody chose and the last value at which it is in time, error aside; nothing where one is not given.
fn last_moment<I: ThresholdInput>(input: &I) -> Option<(Window, f64)> {
    let terms = input.terms();
    let threshold = terms.threshold?;
    if terms.missing().is_some() || !terms.contradictions().is_empty() {
        return None;
    }
    Some((Window::of(terms, Work::FREE).ok()?, threshold))
}

fn decided<I: ThresholdInput>(input: &I) -> Option<f64> {
    let (window, _) = last_moment(input)?;
    Some(input.read_with()? * (window.harm_edge + window.terms.sign() * window.consumed.error_hazard))
}

/// Of a threshold that is late without a fault, nothing: any deviation harms.
fn harm<I: ThresholdInput>(input: &I) -> Option<f64> {
    let (window, threshold) = last_moment(input)?;
    Some((window.terms.sign() * (window.harm_edge - threshold)).max(0.0))
}

/// Of an upper threshold readings that are too low harm: −1; of a lower one 1. As magnitudes below zero: the other way.
fn misread<I: ThresholdInput>(input: &I) -> Option<f64> {
    Some(-input.read_with()? * input.terms().sign())
}

/// What a threshold is made of, with the signs of its channel: threshold, error, hazard, slope, normal extreme.
fn made_of<I: ThresholdInput>(input: &I) -> Option<[f64; 5]> {
    let (window, threshold) = last_moment(input)?;
    let (terms, sign) = (window.terms, input.read_with()?);
    Some([sign * threshold, window.consumed.error_hazard, sign * terms.hazard, terms.rate, sign * terms.normal])
}

/// The calculation of a threshold.
#[derive(Debug)]
pub struct Threshold<I>(PhantomData<I>);

impl<I: ThresholdInput> Calculation for Threshold<I> {
    const META: Meta = I::META;
    const SLIPS: &'static [Slip<I>] = I::SLIPS;
    const GIVES: &'static [Gives<I>] = &[
        Gives { words: I::LAST[0], value: decided::<I> },
        Gives { words: I::LAST[1], value: harm::<I> },
        Gives { words: I::LAST[2], value: misread::<I> },
        Gives { words: I::LAST[3], value: |input| Some(made_of(input)?[0]) },
        Gives { words: I::LAST[4], value: |input| Some(made_of(input)?[1]) },
        Gives { words: I::LAST[5], value: |input| Some(made_of(input)?[2]) },
        Gives { words: I::LAST[6], value: |input| Some(made_of(input)?[3]) },
        Gives { words: I::LAST[7], value: |input| Some(made_of(input)?[4]) },
    ];
    type Input = I;
    type Solved = Window;
    type Output = ThresholdOutput;

    fn contradictions(input: &I) -> Vec<FieldError> {
        input.terms().contradictions()
    }

    fn cost(input: &I, depth: Depth, _: Work) -> Cost {
        let (terms, alone) = (input.terms(), depth == Depth::Requirements);
        let noise = terms.sampled();
        match noise.kind {
            _ if noise.rms == 0.0 => Cost::SMALL,
            // What would open the room asks for other noises, curves and levers for the window some hundred times.
            Autocorrelation::White => {
                let asked = ramp::white_units(&noise, terms.rate);
                let units = if alone {
                    asked.saturating_add(Cost::SMALL.units)
                } else {
                    3_200_000_u64.saturating_add(asked.saturating_mul(16))
                };
                Cost::SMALL.and(Cost { units, bytes: 0 })
            }
            // Levers that touch the noise ask for its courses and rows anew.
            _ => Cost { units: 30_000_000, bytes: 1 << 20 }.times(if alone { 1 } else { 6 }),
        }
    }

    fn solve(input: &I, work: Work) -> Result<Window, Refused> {
        Ok(Window::of(input.terms(), work)?)
    }

    fn requirements(_: &I, window: &Window, to: &mut Ledger) {
        requirements::requirements(window, to);
    }

    fn detail(input: &I, window: Window, work: Work) -> Result<ThresholdOutput, Refused> {
        Ok(detail::detail(&window, lever::levers(input, &window, work)?))
    }

    fn working(input: &I, output: &ThresholdOutput) -> Vec<Step> {
        working::working(&input.terms(), output)
    }

    fn cautions(input: &I, output: &ThresholdOutput) -> Vec<String> {
        let terms = input.terms();
        let mut cautions = Vec::new();
        if !output.has_room {
            let owner = if terms.unit == Unit::Ampere {
                "Changing the limit is not a way out: it belongs to the maker of the part that it protects."
            } else {
                "Changing the limit of the cell is not a way out: it belongs to the cell manufacturer."
            };
            cautions.push(format!("No threshold satisfies both conditions with these errors. {owner}"));
        }
        if terms.method.is_statistical() {
            cautions.push("A statistical total is used for a protective limit. Many projects require worst case here; confirm with the person responsible for safety.".into());
        }
        if terms.unit == Unit::Celsius && !terms.over && output.judged.harm_margin < 0.0 {
            cautions.push(caution::CHARGING.into());
        }
        cautions
    }

    fn view(input: &I, output: &ThresholdOutput, judged: &Ledger) -> View {
        view::view(&input.terms(), output, judged)
    }
}
