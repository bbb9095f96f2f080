//! # Pre-charge
//!
//! A resistor charges the link before the main contactor closes. A load that draws meanwhile may keep the link from ever
//! reaching the target; a shorted link puts the whole pack voltage on the resistor until the time-out; and what two
//! voltage channels call equal leaves a difference that drives the inrush.
//!
//! ```text
//! Parts      course the exact course with every kind of load, closing the readings, heat the resistor attempt after
//!            attempt, inrush what is left for the main contactor
//! Formula    free: t = R C ln((V − V0)/(V − x V)), peak (V − V0)/R, energy in R ½ C (V − V0)²
//!            reached with a load: P < x (1 − x) V²/R, I < (1 − x) V/R, RL > R x/(1 − x), and at its wake-up voltage too
//!            short for the time-out V² t/R; mean over attempts E/Trep, or of series after series where these follow sooner
//! Judged     time and reach with the link reading low and the pack high, R (1 + tR), the pack voltage searched between
//!            lowest and highest; inrush with the opposite; energy and heat at the worse of R (1 ± tR),
//!            and where inside it a load just begins to hold the link
//! Symbols    V [V] pack, V0 [V] start, x target share, R [Ω], C [F], tR tolerance
//! Valid      constant R and C; a link above the pack sends its current backwards through the same resistor
//! Source     Kirchhoff's laws; IEC 60063:2015 for preferred values; two channels' limits added: worst case
//! ```

mod chart;
pub mod given;
pub mod heat;
mod input;
pub mod output;
mod places;
mod ratings;
mod requirements;
mod slips;
mod solve;
mod stress;
mod view;
mod working;

use crate::calculation::{Calculation, Depth, Gives, Meta, Slip};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::quantity::{second, volt};
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use input::{ClosingPath, LinkLoad, LoadKind, PrechargeInput, PrechargeResistor};
pub use output::{
    PrechargeAttempt, PrechargeCandidate, PrechargeChoice, PrechargeCourse, PrechargeDifference, PrechargeEarly,
    PrechargeInrush, PrechargeLimits, PrechargeMapPoint, PrechargeOutput, PrechargePlace, PrechargePoint,
    PrechargeRepeated, PrechargeShort,
};

/// The calculation.
#[derive(Debug)]
pub struct Precharge;

impl Calculation for Precharge {
    const META: Meta = Meta {
        slug: "precharge",
        title: "Pre-charge",
        job: "Whether the link ever reaches the target with its load, when, what the resistor takes and what inrush is left.",
        short: "time, stall, resistor, inrush",
        sources: &[
            "Kirchhoff's laws; closed forms derived here",
            "IEC 60063:2015: preferred values",
            "Two channels' errors added as limits: worst case",
        ],
    };
    type Input = PrechargeInput;
    /// The answer without choice and curves.
    type Solved = PrechargeOutput;
    type Output = PrechargeOutput;
    const SLIPS: &'static [Slip<Self::Input>] = slips::SLIPS;
    const GIVES: &'static [Gives<Self::Input>] = given::GIVES;

    fn contradictions(input: &PrechargeInput) -> Vec<FieldError> {
        contradictions(input)
    }

    fn cost(input: &PrechargeInput, _: Depth, _: Work) -> Cost {
        // Every corner of the tolerances is charged in steps, and its heat followed; a constant power has no closed form over
        // time: a fit to the times of 150 random designs.
        let resistor = &input.resistor;
        let heats = resistor.heat_j_per_k.is_some() && resistor.k_per_w.is_some();
        let units = match (heats, input.load.kind) {
            (false, _) => 0,
            (true, LoadKind::Power) => 3_000_000,
            (true, _) => 1_000_000,
        };
        Cost::SMALL.again(3).and(Cost { units, bytes: 0 })
    }

    fn solve(input: &PrechargeInput, _: Work) -> Result<PrechargeOutput, Refused> {
        Ok(solve::solve(input))
    }

    fn requirements(input: &PrechargeInput, solved: &PrechargeOutput, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &PrechargeInput, solved: PrechargeOutput, work: Work) -> Result<PrechargeOutput, Refused> {
        Ok(solve::detail(input, solved, work)?)
    }

    fn working(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Step> {
        working::working(input, result)
    }

    fn cautions(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<String> {
        view::cautions(input, result)
    }

    fn view(input: &PrechargeInput, result: &PrechargeOutput, judged: &Ledger) -> View {
        view::view(input, result, judged)
    }
}

fn contradictions(input: &PrechargeInput) -> Vec<FieldError> {
    let mut faults = Vec::new();
    if let Some(lowest) = input.pack_min_v.filter(|lowest| *lowest > input.pack_v) {
        faults.push(FieldError::contradiction(
            "/pack_min_v",
            "The lowest pack voltage lies above the highest.",
            format!("at most {}", volt(input.pack_v)),
            volt(lowest),
        ));
    }
    if input.resistor.repeat_s < input.max_time_s {
        faults.push(FieldError::contradiction(
            "/resistor/repeat_s",
            format!("The next attempt begins before the time-out of {} ends.", second(input.max_time_s)),
            format!("at least {}", second(input.max_time_s)),
            second(input.resistor.repeat_s),
        ));
    }
    faults
}
