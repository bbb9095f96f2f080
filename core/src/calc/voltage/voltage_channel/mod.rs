//! # Voltage channel
//!
//! Divider, amplifier and converter together turn the pack voltage into a reading, and every part adds its error.
//! The error is judged over voltage, ambient temperature and life, before and after calibration, by four methods.
//! What calibration leaves is the difference of the two strings: tracking, ageing, and leakage that comes with humidity.
//!
//! ```text
//! Formula    reading = front end(k V) / k0; error = reading − V: see model
//! States     ambient × elements cold or warm × leakage × electronics × aged: see model
//! Judged     part of reading + fixed part, from a share of the highest input up to it; voltages are listed to be printed
//! Range      full where the first part in some state is full; from there on nothing is judged
//! Noise      thermal of the divider, white and 1/f of the amplifier, converter; samples taken as independent
//! Sums       what is known and the sum or root-sum-square of the limits; "worst case" are the extremes of the model itself
//! Source     JCGM 100:2008, JCGM 101:2008; the divider's and the converter's own pages for their parts
//! ```

mod input;
mod model;
mod output;
mod requirements;
mod slips;
mod solve;
mod view;

use crate::calc::voltage::divider::stress::StressRung;
use crate::calc::voltage::divider::{part_contradictions, voltage_care};
use crate::calculation::{AsChannel, Calculation, Depth, Gives, Meta, Slip};
use crate::channel::corners::{self, Asked, Judging, Point, Points};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::physics::front_end::CalibrationKind;
use crate::quantity::{celsius, volt};
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use input::{
    Against, Ambient, Following, Parts, Surface, VoltageCalibration, VoltageConverter, VoltageInput, VoltageRequirement,
};
pub use model::{Channel, DIVIDER, State};
pub use output::{
    VoltageBend, VoltageCurvePoint, VoltageGrid, VoltageNoise, VoltageOutput, VoltagePoint, VoltageRange, VoltageRecipe,
};

/// What is given on, in words: the constant of the firmware.
pub const FACTOR: &str = "the constant of the firmware";
/// The same: the time constant of the filter behind the divider, s.
pub const FILTER: &str = "the filter in front of its converter";
/// The same: the lower string.
pub const LOWER: &str = "the lower string";
/// The same: noise of an averaged reading, V.
pub const READING: &str = "the noise of its reading";

/// The calculation.
#[derive(Debug)]
pub struct VoltageChannel;

/// Lowest resistance of a string from the positive pole to the chassis, Ω.
pub const FROM_POSITIVE: &str = "a string from the positive pole to the chassis";
/// Lowest resistance of a string from the negative pole to the chassis, Ω.
pub const FROM_NEGATIVE: &str = "a string from the negative pole to the chassis";

const GIVES: &[Gives<VoltageInput>] = &[
    Gives { words: FROM_POSITIVE, value: |input| input.lowest_to_chassis_ohm(Against::FromPositive) },
    Gives { words: FROM_NEGATIVE, value: |input| input.lowest_to_chassis_ohm(Against::FromNegative) },
    Gives { words: FACTOR, value: |input| Some(Channel::new(input).read_with()) },
    Gives { words: READING, value: |input| Some(Channel::new(input).noise().averaged_v) },
    Gives { words: FILTER, value: |input| Channel::new(input).filter_s() },
    Gives { words: LOWER, value: |input| Some(input.network().lower_ohm) },
];

/// The numbers that the requirements rest on.
#[derive(Debug)]
pub struct Solved {
    /// The voltage at which most of the allowance is used.
    worst: Option<Point<State>>,
    /// The first voltage of the range that cannot be read, and from where on.
    not_read: Option<(f64, f64)>,
    /// The calibrating points.
    points: Points,
    range: VoltageRange,
    bend: VoltageBend,
    stress: Vec<StressRung>,
}

impl Calculation for VoltageChannel {
    const META: Meta = Meta {
        slug: "voltage-channel",
        title: "Voltage channel",
        job: "Divider, amplifier and converter together: the complete error of the voltage reading over voltage, temperature and life.",
        short: "the whole error budget",
        sources: &[
            "JCGM 100:2008 (measurement model, combined standard uncertainty)",
            "JCGM 101:2008 (Monte Carlo, clause 8 comparison)",
            "Root-sum-square of limits and sum of limits: common practice, no source",
            "The divider's and the converter's own pages for their parts",
        ],
    };
    type Input = VoltageInput;
    type Solved = Solved;
    type Output = VoltageOutput;
    const GIVES: &'static [Gives<Self::Input>] = GIVES;
    const SLIPS: &'static [Slip<Self::Input>] = slips::SLIPS;
    const CHANNEL: Option<AsChannel<VoltageInput>> = Some(|input| Box::new(Asked::new(Channel::new(input), false)));

    fn contradictions(input: &VoltageInput) -> Vec<FieldError> {
        contradictions(input)
    }

    fn cost(input: &VoltageInput, depth: Depth, work: Work) -> Cost {
        let channel = Channel::new(input);
        corners::cost(&channel, input.voltages_v.len() + 1, 2, depth == Depth::Requirements, work)
    }

    fn solve(input: &VoltageInput, work: Work) -> Result<Solved, Refused> {
        let channel = Channel::new(input);
        let judging = Judging::new(&channel, work)?;
        Ok(Solved {
            worst: judging.worst(work)?,
            not_read: judging.not_read(),
            points: judging.points(),
            range: solve::range(&channel, &judging.range),
            bend: solve::bend(&channel),
            stress: solve::stress(&channel),
        })
    }

    fn requirements(input: &VoltageInput, solved: &Solved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &VoltageInput, solved: Solved, work: Work) -> Result<VoltageOutput, Refused> {
        let channel = Channel::new(input);
        let (points, worst) = solve::points(&channel, solved.worst, work)?;
        Ok(VoltageOutput {
            points,
            worst,
            range: solved.range,
            bend: solved.bend,
            noise: channel.noise(),
            stress: solved.stress,
            curve: solve::curve(&channel, work)?,
        })
    }

    fn working(input: &VoltageInput, output: &VoltageOutput) -> Vec<Step> {
        view::working(input, output)
    }

    fn cautions(input: &VoltageInput, _: &VoltageOutput) -> Vec<String> {
        voltage_care(input.input_max_v, input.upper.count)
    }

    fn view(input: &VoltageInput, output: &VoltageOutput, judged: &Ledger) -> View {
        view::view(input, output, judged)
    }
}

fn contradictions(input: &VoltageInput) -> Vec<FieldError> {
    let mut faults = part_contradictions(&input.upper, &input.lower);
    let (with, calibration) = (&input.conditions, &input.calibration);
    let (low, high) = (calibration.low_v, calibration.high_v);
    for (wrong, pointer, message, [least, value]) in [
        (
            input.input_min_v > input.input_max_v,
            "/input_max_v",
            "The highest input lies below the lowest.",
            [input.input_min_v, input.input_max_v].map(volt),
        ),
        (
            with.ambient_min_degc > with.ambient_max_degc,
            "/conditions/ambient_max_degc",
            "The highest ambient lies below the lowest.",
            [with.ambient_min_degc, with.ambient_max_degc].map(celsius),
        ),
        (
            calibration.kind == CalibrationKind::TwoPoint && high <= low,
            "/calibration/high_v",
            "Two-point calibration takes two different voltages.",
            [low, high].map(volt),
        ),
    ] {
        if wrong {
            faults.push(FieldError::contradiction(pointer, message, format!("above {least}"), value));
        }
    }
    let adc = &input.converter;
    for (one, other, pointer, message) in [
        (
            adc.inl_ppm,
            adc.peak_error_percent,
            "/converter/peak_error_percent",
            "Give the non-linearity or the peak error, not both.",
        ),
        (adc.noise_v, adc.sinad_db, "/converter/sinad_db", "Give the noise or the SINAD, not both."),
    ] {
        if let (Some(_), Some(other)) = (one, other) {
            faults.push(FieldError::contradiction(pointer, message, "one of the two, the other left out", other));
        }
    }
    faults
}
