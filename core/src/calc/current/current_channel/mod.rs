//! # Current channel
//!
//! Shunt, amplifier and converter together turn a pack current into a reading, and every part adds its error.
//! The error is judged over current, ambient temperature and life, before and after calibration, by four methods.
//! At the low end offsets and their drift decide, at the high end gain terms and the heat of the shunt.
//!
//! ```text
//! Formula    V = I R0 (1 + t)(1 + c(T) + s)(1 + p)(1 + a) + V_emf;  reading = front end(V) / R0;  error = reading − I
//! Symbols    t tolerance or what calibration leaves of all gains, c(T) = a ΔT + b ΔT² known change at the solved element
//!            temperature, s its spread, p tap position, a ageing; the front end is front_end
//! Known      the curve's change c(T) has a known sign at each corner: the worst case carries it with its sign, the two
//!            trade sums with its full size; the coverage intervals are shifted by it
//! Grid       currents × ambient (ends, calibration temperature, vertex of the curve, 33 steps) × new / calibrated /
//!            end of life; a peak current is judged at the steady temperature it would reach, which is conservative
//! Calibration the curve's change at the calibration current is not subtracted; random noise is not part of these totals:
//!            it belongs to thresholds and single readings
//! Sums       "sum of limits" is Σ|c_i|·limit_i to first order; "worst case" are the extremes of the model itself, which
//!            also hold the products of offset and gain errors and are therefore a little larger
//! Source     JCGM 100:2008, JCGM 101:2008; Ah per day: charge = current × time, closed form
//! ```

pub mod input;
mod model;
mod output;
mod requirements;
mod solve;
mod view;

use crate::calculation::{AsChannel, Calculation, Meta};
use crate::channel::corners::{self, Asked, Corners, Point};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::physics::parts;
use crate::quantity::{Unit, say};
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use input::{ChannelInput, Conditions, Load, Requirement};
pub use output::{ChannelOutput, ChannelPoint, CurvePoint, Grid, Noise, Range, Recipe, Ripple, Stress, Zero};

/// The calculation.
#[derive(Debug)]
pub struct CurrentChannel;

/// The numbers that the requirements rest on.
#[derive(Debug)]
pub struct Solved {
    points: Vec<Point>,
    stress: Stress,
    ripple: Ripple,
    range: Range,
    zero: Zero,
}

impl Calculation for CurrentChannel {
    const META: Meta = Meta {
        slug: "current-channel",
        title: "Current channel",
        job: "Shunt, amplifier and converter together: the complete error of the current reading over current, temperature and life.",
        short: "the whole error budget",
        sources: &[
            "JCGM 100:2008 (measurement model, combined standard uncertainty)",
            "JCGM 101:2008 (Monte Carlo, clause 8 comparison)",
            "Root-sum-square of limits and sum of limits: common practice, no source",
            "The shunt's and the converter's own pages for their parts",
        ],
    };
    type Input = ChannelInput;
    type Solved = Solved;
    type Output = ChannelOutput;
    const CHANNEL: Option<AsChannel<ChannelInput>> =
        Some(|input| Box::new(Asked { channel: input, full_at: Some(Corners::full(&input).0) }));

    fn contradictions(input: &ChannelInput) -> Vec<FieldError> {
        contradictions(input)
    }

    fn cost(input: &ChannelInput) -> Cost {
        corners::cost(&input, input.currents_a.len(), model::COUNT, 1)
    }

    fn solve(input: &ChannelInput, work: Work) -> Result<Solved, Refused> {
        Ok(Solved {
            points: corners::judge(&input, &input.currents_a, work)?,
            stress: solve::stress(input),
            ripple: solve::ripple(input),
            range: solve::range(input),
            zero: solve::zero(input),
        })
    }

    fn requirements(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &ChannelInput, solved: Solved, work: Work) -> Result<ChannelOutput, Refused> {
        Ok(ChannelOutput {
            points: solve::points(input, solved.points, work)?,
            stress: solved.stress,
            ripple: solved.ripple,
            noise: solve::noise(input),
            range: solved.range,
            zero: solved.zero,
            curve: solve::curve(input, work)?,
        })
    }

    fn working(input: &ChannelInput, output: &ChannelOutput) -> Vec<Step> {
        view::working(input, output)
    }

    fn cautions(_: &ChannelInput, output: &ChannelOutput) -> Vec<String> {
        view::cautions(output)
    }

    fn view(input: &ChannelInput, output: &ChannelOutput, judged: &Ledger) -> View {
        view::view(input, output, judged)
    }
}

fn contradictions(input: &ChannelInput) -> Vec<FieldError> {
    let with = &input.conditions;
    let ends = [with.ambient_min_degc, with.ambient_max_degc + with.shunt_extra_k];
    let mut faults = input.shunt.contradictions("/shunt", &ends);
    faults.extend(parts::contradictions(&input.amplifier, &input.filter, &input.converter, ""));
    if with.ambient_max_degc < with.ambient_min_degc {
        faults.push(FieldError::contradiction(
            "/conditions/ambient_max_degc",
            "The highest ambient lies below the lowest.",
            format!("at or above {}", say(with.ambient_min_degc, Unit::Celsius)),
            say(with.ambient_max_degc, Unit::Celsius),
        ));
    }
    faults
}
