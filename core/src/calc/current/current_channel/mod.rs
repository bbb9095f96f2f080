//! # Current channel
//!
//! Shunt, amplifier and converter together turn a pack current into a reading, and every part adds its error.
//! The error is judged over current, ambient temperature and life, before and after calibration, by four methods.
//! At the low end offsets and their drift decide, at the high end gain terms and the heat of the shunt.
//!
//! ```text
//! Formula    V = I R0 (1 + t)(1 + c(T) + s ΔT)(1 + p)(1 + a) + V_emf;  reading = front end(V) / R0, calibrated;  error = reading − I
//! Symbols    t tolerance, c(T) = a ΔT + b ΔT² known change at the element temperature, s its spread per kelvin, p tap
//!            position, a ageing; the front end is front_end, the calibration is channel::calibrated
//! Known      the curve's change c(T) and the EMF have a known sign in each state: they are added before any root
//! States     ambient × element from cold to the end of the longest peak × electronics × direction × aged; searched
//! Judged     from the smallest listed current to the peak, both ways when the pack charges; currents are listed to be printed
//! Range      full where the first part in some state is full; from there on nothing is judged
//! Source     JCGM 100:2008, JCGM 101:2008; Ah per day: charge = current × time, closed form
//! ```

pub mod input;
mod model;
mod output;
mod readings;
mod requirements;
mod slips;
mod solve;
mod view;

use crate::calculation::{AsChannel, Calculation, Depth, Gives, Meta, Slip};
use crate::channel::JudgedBy;
use crate::channel::corners::{self, Asked, Judging, Point, Points};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::physics::front_end::CalibrationKind;
use crate::physics::parts;
use crate::quantity::{Unit, ampere, say, second};
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use input::{ChannelInput, Conditions, CurrentPoints, Load, Requirement};
pub use model::State;
pub use output::{ChannelOutput, ChannelPoint, CurvePoint, Grid, Noise, Range, Recipe, Ripple, Stress, Zero};
pub use readings::{CORRELATION, FILTER, NOISE, READING, SAMPLE, SLOW, STEP};

/// The calculation.
#[derive(Debug)]
pub struct CurrentChannel;

/// The numbers that the requirements rest on.
#[derive(Debug)]
pub struct Solved {
    /// The current at which most of the allowance is used.
    worst: Option<Point<State>>,
    /// The first current of the range that cannot be read, and from where on.
    not_read: Option<(f64, f64)>,
    /// The calibrating points.
    points: Points,
    /// Whether some state has no steady temperature.
    no_state: bool,
    stress: Stress,
    ripple: Ripple,
    /// The pack's peak with its ripple, where there is any.
    reach: Option<solve::Reach>,
    range: Range,
    /// What it reads at no current.
    zero: Point<State>,
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
    const GIVES: &'static [Gives<Self::Input>] = readings::GIVES;
    const SLIPS: &'static [Slip<Self::Input>] = slips::SLIPS;
    const CHANNEL: Option<AsChannel<ChannelInput>> = Some(|input| Box::new(Asked::new(input, true)));

    fn contradictions(input: &ChannelInput) -> Vec<FieldError> {
        contradictions(input)
    }

    fn cost(input: &ChannelInput, depth: Depth, work: Work) -> Cost {
        corners::cost(&input, input.currents_a.len() + 1, 1, depth == Depth::Requirements, work)
    }

    fn solve(input: &ChannelInput, work: Work) -> Result<Solved, Refused> {
        let judging = Judging::new(&input, work)?;
        let worst = judging.worst(work)?;
        Ok(Solved {
            not_read: judging.not_read(),
            points: judging.points(),
            no_state: judging.range.none.is_some(),
            stress: solve::stress(input),
            ripple: solve::ripple(input),
            reach: solve::ripple_reaches(input, &judging.range),
            range: solve::range(input, &judging.range),
            zero: judging.at(0.0, JudgedBy::WorstCase, work)?,
            worst,
        })
    }

    fn requirements(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &ChannelInput, solved: Solved, work: Work) -> Result<ChannelOutput, Refused> {
        let (points, worst) = solve::points(input, solved.worst, work)?;
        Ok(ChannelOutput {
            points,
            worst,
            stress: solved.stress,
            ripple: solved.ripple,
            noise: solve::noise(input),
            range: solved.range,
            zero: solve::zero(input, &solved.zero, work)?,
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
    let (load, required) = (&input.load, &input.requirement);
    if let Some(repeat) = load.peak_repeat_s.filter(|repeat| *repeat < load.peak_duration_s) {
        faults.push(FieldError::contradiction(
            "/load/peak_repeat_s",
            "A peak begins before the one before it has ended.",
            format!("at or above {}", second(load.peak_duration_s)),
            second(repeat),
        ));
    }
    if let Some((from, to)) = required.from_a.zip(required.to_a).filter(|(from, to)| from > to) {
        faults.push(FieldError::contradiction(
            "/requirement/to_a",
            "The requirement ends below where it begins.",
            format!("at or above {}", ampere(from)),
            ampere(to),
        ));
    }
    let [first, other] = input.points_a();
    if input.calibration.kind == CalibrationKind::TwoPoint && first.total_cmp(&other).is_eq() {
        faults.push(FieldError::contradiction(
            "/calibrated_at/high_a",
            "Two-point calibration takes two different currents.",
            format!("another one than {}", ampere(first)),
            ampere(other),
        ));
    }
    faults
}
