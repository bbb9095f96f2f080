//! # Ripple into trips and into the mean value
//!
//! An inverter's ripple has steep edges, and the inductance of the shunt turns them into false current. A comparator
//! trips on it at full power, a converter that clips turns it into a wrong mean, and sampling folds it down to a slow
//! beat that looks like charge.
//!
//! ```text
//! Formula    spike L (di/dt)/R: triangle I_pp f/D rising, I_pp f/(1 − D) falling; I_rms = √(I² + I_pp²/12), sine I_pp²/8
//!            wave: exact steady state behind a first-order filter, exact mean after clipping; sampling: beat
//! Symbols    I_pp [A] peak to peak, f [Hz], D rising share of the period, L/R [s] of the shunt
//! Parts      wave, sampling, solve, findings, view
//! Valid      periodic ripple, linear chain up to the clipping, one pole for each filter
//! Source     closed forms of first-order systems; checked by numerical integration in the tests
//! ```

mod findings;
pub mod sampling;
mod solve;
mod view;
pub mod wave;

use crate::calculation::Meta;
use crate::field::{FieldError, defaulted, group, list, number, optional, text, whole, yes_no};
use crate::input;
use crate::legacy::Whole;
use crate::quantity::Unit;
use crate::report::Report;
use wave::Ripple;

pub use solve::{
    RippleBeat, RippleComparator, RippleConverter, RippleOutput, RipplePoint, RippleSampling, RippleSense,
};

crate::choice! {
    /// The shape of the ripple.
    pub enum RippleShape {
        Triangle = "triangle", "Triangle: inverter, chopper";
        Sine = "sine", "Sine: rectifier, resonant";
    }
}

input! {
    /// The shunt as the ripple sees it.
    pub struct RippleShunt {
        resistance_ohm: f64 = number(Unit::Ohm, 1e-7, 1.0, 35e-6), "R", "Shunt", "Between its taps.";
        inductance_henry: f64 = number(Unit::Henry, 0.0, 1e-3, 9e-9), "L", "Inductance", "Element and loop of the sense wires.";
    }
}

input! {
    /// The converter.
    pub struct RippleRange {
        full_scale_v: f64 = number(Unit::Volt, 1e-4, 100.0, 50e-3), "Vfs", "Full scale", "Referred to the shunt: divided by any gain before it.";
        bipolar: bool = yes_no(true), "", "Both signs", "Whether it also reads below zero.";
        filter_s: f64 = defaulted(Unit::Second, 0.0, 10.0, 0.0), "τ", "Filter time constant", "Before the converter; 0 without one.";
        allowed_error_a: Option<f64> = optional(Unit::Ampere, 1e-9, 1e6), "e", "Allowed error of the mean", "Of shift and of beat; leave empty if none.";
    }
}

input! {
    /// Sampling and averaging.
    pub struct RippleSamples {
        rate_hz: Option<f64> = optional(Unit::Hertz, 1e-3, 1e9), "fs", "Sample rate", "Of short samples; leave empty to leave it out.";
        averages: u32 = whole(Unit::One, 1, 65_536, 1), "n", "Averaged samples", "One word is the mean of so many.";
    }
}

input! {
    /// A comparator.
    pub struct RippleTrip {
        name: String = text(60, "trip"), "", "Name", "Of the trip.";
        threshold_a: f64 = number(Unit::Ampere, -1e6, 1e6, 800.0), "Ith", "Threshold", "Negative on the charging side.";
        filter_s: f64 = defaulted(Unit::Second, 0.0, 10.0, 0.0), "τ", "Filter time constant", "Before this comparator; 0 without one.";
    }
}

input! {
    /// Everything the room takes.
    pub struct RippleInput {
        shape: RippleShape = RippleShape::Triangle.chosen(), "", "Shape", "Of the ripple current.";
        mean_a: f64 = number(Unit::Ampere, -1e6, 1e6, 600.0), "I", "Mean current", "At full power for a nuisance trip.";
        peak_to_peak_a: f64 = number(Unit::Ampere, 0.0, 1e5, 60.0), "Ipp", "Ripple", "Peak to peak, not root-mean-square.";
        frequency_hz: f64 = number(Unit::Hertz, 0.1, 1e7, 10e3), "f", "Ripple frequency", "Its fundamental.";
        duty_percent: f64 = defaulted(Unit::Percent, 1.0, 99.0, 50.0), "D", "Rising part of the period", "Of a triangle; the shorter edge is the steeper one.";
        shunt: RippleShunt = group::<RippleShunt>(), "", "Shunt", "Resistance and inductance.";
        trips: Vec<RippleTrip> = list::<RippleTrip>(0, 8, "over-current; 800"), "", "Comparators", "One a line: name; threshold; filter time constant.";
        converter: RippleRange = group::<RippleRange>(), "", "Converter", "Its range and filter.";
        samples: RippleSamples = group::<RippleSamples>(), "", "Sampling", "After the converter's filter.";
    }
}

impl RippleInput {
    /// The ripple of the input.
    pub fn ripple(&self) -> Ripple {
        Ripple {
            mean_a: self.mean_a,
            peak_to_peak_a: self.peak_to_peak_a,
            frequency_hz: self.frequency_hz,
            rise: (self.shape == RippleShape::Triangle).then_some(self.duty_percent / 100.0),
            shunt_s: self.shunt.inductance_henry / self.shunt.resistance_ohm,
        }
    }

    /// What the converter reads at most and at least, A.
    pub fn range_a(&self) -> (f64, f64) {
        let full = self.converter.full_scale_v / self.shunt.resistance_ohm;
        (if self.converter.bipolar { -full } else { 0.0 }, full)
    }
}

/// The calculation.
#[derive(Debug)]
pub struct RippleRoom;

impl Whole for RippleRoom {
    const META: Meta = Meta {
        slug: "ripple",
        title: "Ripple into trips and into the mean value",
        job: "What ripple current does through the shunt's inductance: nuisance trips, a mean that clipping shifts, a slow beat of the sampling.",
        short: "ripple, clipping, beat",
        sources: &["First-order linear systems in closed form", "Dirichlet kernel: the mean of equally spaced samples"],
    };
    type Input = RippleInput;
    type Output = RippleOutput;

    fn calculate(input: &RippleInput) -> Result<Report<RippleOutput>, Vec<FieldError>> {
        let result = solve::solve(input);
        let findings = findings::findings(input, &result);
        Ok(Report {
            working: findings::working(input, &result),
            view: view::view(input, &result, &findings),
            result,
            findings,
        })
    }
}
