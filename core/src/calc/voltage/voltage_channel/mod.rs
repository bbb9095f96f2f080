//! # Voltage channel
//!
//! Divider, amplifier and converter together turn the pack voltage into a reading, and every part adds its error.
//! The error is judged over voltage, ambient temperature and life, before and after calibration, by four methods.
//! What calibration leaves is the difference of the two strings: tracking, ageing, and leakage that comes with humidity.
//!
//! ```text
//! Formula    reading = front end(k V) / k0; error = reading − V: see model
//! Grid       voltages × both ends of the ambient range × new / calibrated / end of life; every drift grows with the
//!            distance from the calibration temperature, so the farther end is the worst one
//! Required   part of reading + fixed part, from a share of the highest input up
//! Range      ends where converter, amplifier output or amplifier input clips first; beyond it nothing is read and no error
//!            is given
//! Noise      thermal of the divider, white and 1/f of the amplifier, converter; samples taken as independent;
//!            random noise is not part of the totals: it belongs to thresholds and single readings
//! Sums       "sum of limits" is Σ|c_i|·limit_i to first order, known deviations at their full size; "worst case" are the
//!            extremes of the model itself
//! Source     JCGM 100:2008, JCGM 101:2008; the divider's and the converter's own pages for their parts
//! ```

mod input;
mod model;
mod output;
mod requirements;
mod solve;
mod view;

use crate::calc::voltage::divider::stress::StressRung;
use crate::calc::voltage::divider::{part_contradictions, voltage_care};
use crate::calculation::{AsChannel, Calculation, Meta};
use crate::channel::corners::{self, Asked, Point};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::physics::front_end::CalibrationKind;
use crate::quantity::{Unit, say};
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use input::{
    Ambient, Following, Parts, Surface, VoltageCalibration, VoltageConverter, VoltageInput, VoltageRequirement,
};
pub use model::{Channel, DIVIDER, VoltageModel};
pub use output::{
    VoltageBend, VoltageCurvePoint, VoltageGrid, VoltageNoise, VoltageOutput, VoltagePoint, VoltageRange, VoltageRecipe,
};

/// The calculation.
#[derive(Debug)]
pub struct VoltageChannel;

/// The numbers that the requirements rest on.
#[derive(Debug)]
pub struct Solved {
    points: Vec<Point>,
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
    const CHANNEL: Option<AsChannel<VoltageInput>> =
        Some(|input| Box::new(Asked { channel: Channel::new(input), full_at: None }));

    fn contradictions(input: &VoltageInput) -> Vec<FieldError> {
        contradictions(input)
    }

    fn cost(input: &VoltageInput) -> Cost {
        let channel = Channel::new(input);
        corners::cost(&channel, input.voltages_v.len(), channel.count(), 2)
    }

    fn solve(input: &VoltageInput, work: Work) -> Result<Solved, Refused> {
        let channel = Channel::new(input);
        Ok(Solved {
            points: corners::judge(&channel, &input.voltages_v, work)?,
            range: solve::range(&channel),
            bend: solve::bend(&channel),
            stress: solve::stress(&channel),
        })
    }

    fn requirements(input: &VoltageInput, solved: &Solved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &VoltageInput, solved: Solved, work: Work) -> Result<VoltageOutput, Refused> {
        let channel = Channel::new(input);
        Ok(VoltageOutput {
            points: solve::points(&channel, solved.points, work)?,
            range: solved.range,
            bend: solved.bend,
            noise: solve::noise(&channel),
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
    let mut above = |pointer: &str, message: &str, value: f64, least: f64, unit: Unit| {
        faults.push(FieldError::contradiction(
            pointer,
            message,
            format!("above {}", say(least, unit)),
            say(value, unit),
        ));
    };
    if input.input_min_v > input.input_max_v {
        above(
            "/input_max_v",
            "The highest input lies below the lowest.",
            input.input_max_v,
            input.input_min_v,
            Unit::Volt,
        );
    }
    let with = &input.conditions;
    if with.ambient_max_degc < with.ambient_min_degc {
        above(
            "/conditions/ambient_max_degc",
            "The highest ambient lies below the lowest.",
            with.ambient_max_degc,
            with.ambient_min_degc,
            Unit::Celsius,
        );
    }
    let calibration = &input.calibration;
    if calibration.kind == CalibrationKind::TwoPoint && calibration.high_v <= calibration.low_v {
        above(
            "/calibration/high_v",
            "Two-point calibration takes two different voltages.",
            calibration.high_v,
            calibration.low_v,
            Unit::Volt,
        );
    }
    if let (Some(_), Some(peak)) = (input.converter.inl_ppm, input.converter.peak_error_percent) {
        faults.push(FieldError::contradiction(
            "/converter/peak_error_percent",
            "Give the non-linearity or the peak error, not both.",
            "one of the two, the other left out",
            peak,
        ));
    }
    if let (Some(_), Some(sinad)) = (input.converter.noise_v, input.converter.sinad_db) {
        faults.push(FieldError::contradiction(
            "/converter/sinad_db",
            "Give the noise or the SINAD, not both.",
            "one of the two, the other left out",
            sinad,
        ));
    }
    faults
}
