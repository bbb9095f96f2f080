//! # Voltage divider
//!
//! A string of high-ohm elements over one lower resistor brings the pack voltage down to what a converter takes.
//! The ratio is set by two parts that must agree for life; the elements carry the pack voltage, the surface of the board
//! beside them carries it too, and the string loads pack and insulation for ever.
//!
//! ```text
//! Formula    k = Rp/(Ru + Rp), Rp = Rl ∥ Rload; dk/k = (1 − k)(b − u);  see network for exact forms
//!            voltage coefficient R(V) = R (1 + a V_i): error q V², q = (1 − k)(a_l k/n_l − a_u (1 − k)/n_u); two-point
//!            calibration at V1, V2 leaves q (V − V1)(V − V2), at most |q| (V2 − V1)²/4 between the points
//!            bias current at the pack I_b Ru (exact: I_b Rs/k); f_c = 1/(2π Rs C); settling Rs C ln(1/e); lag rate · Rs C
//!            noise √(4 k_B T Rs (π/2) f_c) / k; drain V/(Ru + Rp)
//! Parts      stress each element, fault one open or short, chain creepage, series preferred values,
//!            choice a calculation of its own that chooses them
//! Sharing    the voltage on an element is V R_i/ΣR with the lower part in the sum, a little less than V/n
//! Corner     of the source resistance with the load across it, which is what the capacitor sees
//! Valid      equal elements in a string; linear load; errors far below one; one dominant pole
//! Source     Ohm's law; Johnson and Nyquist 1928; ISO 6469-3 names the 100 and 500 Ω/V (from memory: check the document
//!            that applies); dividers of ±0.5 % with 10 ppm/K tracking: common practice, no source
//! ```

pub mod chain;
pub mod choice;
pub mod fault;
mod input;
pub mod ladder_chart;
mod output;
mod requirements;
mod solve;
pub mod stress;
mod view;
mod working;

use crate::calculation::{Calculation, Meta};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::quantity::{celsius, volt};
use crate::report::{Step, View};
use crate::work::{Refused, Work};

pub use input::{DividerInput, DriftBy, Layout, LeakagePath, Lower, Upper};
pub use output::{
    DividerBend, DividerBendPoint, DividerDrain, DividerDrift, DividerDynamics, DividerError, DividerErrorTerm,
    DividerInsulation, DividerLeakage, DividerLoad, DividerOutput, DividerRatio, DividerStress, DividerTolerance,
};
pub use requirements::{second_element, single_element, whole_percent};
pub use solve::{Leak, at_distance, bend, temperature_error};
pub use view::voltage_care;

/// The calculation.
#[derive(Debug)]
pub struct Divider;

impl Calculation for Divider {
    const META: Meta = Meta {
        slug: "divider",
        title: "Voltage divider",
        job: "One string on its own: ratio, stress of every element, error, faults, leakage, creepage and load.",
        short: "ratio, stress, faults",
        sources: &[
            "Ohm's and Kirchhoff's laws; exact ratio error in closed form, derived here",
            "IEC 60115-1: linear derating (shape from memory)",
            "Johnson and Nyquist 1928: thermal noise",
            "100 and 500 Ω/V of insulation: ISO 6469-3, from memory",
            "80 % of the rated voltage, ±0.5 % with 10 ppm/K tracking: common practice, no source",
        ],
    };
    type Input = DividerInput;
    /// The answer without its error and its curve.
    type Solved = DividerOutput;
    type Output = DividerOutput;

    fn contradictions(input: &DividerInput) -> Vec<FieldError> {
        let mut faults = part_contradictions(&input.upper, &input.lower);
        let mut rises = |pointer: &str, message: &str, value: f64, least: f64| {
            if value < least {
                faults.push(below(pointer, message, value, least));
            }
        };
        let max = input.input_max_v;
        rises("/input_max_v", "The highest input lies below the lowest.", max, input.input_min_v);
        if let Some(transient) = input.transient_v {
            rises("/transient_v", "The transient lies below the highest input.", transient, max);
        }
        let (low, high) = input.calibration_v();
        rises("/calibration_high_v", "The upper calibration voltage lies below the lower one.", high, low);
        faults
    }

    fn solve(input: &DividerInput, _: Work) -> Result<DividerOutput, Refused> {
        Ok(solve::solve(input))
    }

    fn requirements(input: &DividerInput, solved: &DividerOutput, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
        requirements::remarks(input, solved, to);
    }

    fn detail(input: &DividerInput, mut solved: DividerOutput, _: Work) -> Result<DividerOutput, Refused> {
        solved.error = solve::own_error(&solved);
        solved.curve = solve::curve(input);
        Ok(solved)
    }

    fn working(input: &DividerInput, result: &DividerOutput) -> Vec<Step> {
        working::working(input, result)
    }

    fn cautions(input: &DividerInput, result: &DividerOutput) -> Vec<String> {
        view::cautions(input, result)
    }

    fn view(input: &DividerInput, result: &DividerOutput, judged: &Ledger) -> View {
        view::view(input, result, judged)
    }
}

fn below(pointer: &str, message: &str, value: f64, least: f64) -> FieldError {
    FieldError::contradiction(pointer, message, format!("at or above {}", volt(least)), volt(value).to_string())
}

/// Contradictions inside the two strings, which stand at `/upper` and `/lower` in every calculation with them.
pub fn part_contradictions(upper: &Upper, lower: &Lower) -> Vec<FieldError> {
    let mut faults = Vec::new();
    for (at, from, zero) in [
        ("/upper", upper.derate_from_degc, upper.zero_power_degc),
        ("/lower", lower.derate_from_degc, lower.zero_power_degc),
    ] {
        if zero <= from {
            let (zero, from) = (celsius(zero), celsius(from));
            let message =
                format!("The derating line must fall: zero power at {zero} lies at or below its beginning at {from}.");
            let pointer = format!("{at}/zero_power_degc");
            faults.push(FieldError::contradiction(&pointer, message, format!("above {from}"), zero.to_string()));
        }
    }
    if let Some(overload) = upper.overload_v.filter(|overload| *overload < upper.max_working_v) {
        let message = "The overload voltage lies below the working voltage.";
        faults.push(below("/upper/overload_v", message, overload, upper.max_working_v));
    }
    faults
}
