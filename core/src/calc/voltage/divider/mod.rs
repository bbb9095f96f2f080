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
//!            choice a room of its own that chooses them
//! Sharing    the voltage on an element is V R_i/ΣR with the lower part in the sum, a little less than V/n
//! Corner     of the source resistance with the load across it, which is what the capacitor sees
//! Valid      equal elements in a string; linear load; errors far below one; one dominant pole
//! Source     Ohm's law; Johnson and Nyquist 1928; ISO 6469-3 names the 100 and 500 Ω/V (from memory: check the document
//!            that applies); dividers of ±0.5 % with 10 ppm/K tracking: common practice, no source
//! ```

pub mod chain;
pub mod choice;
pub mod fault;
mod findings;
mod input;
pub mod ladder_chart;
pub mod network;
mod output;

mod solve;
pub mod stress;
mod view;
mod working;

use crate::calculation::Meta;
use crate::field::FieldError;
use crate::legacy::Whole;
use crate::quantity::{Unit, say};
use crate::report::Report;

pub use findings::{single_element, single_element_care, voltage_care, whole_percent};
pub use input::{DividerInput, DriftBy, Layout, LeakagePath, Lower, Upper};
pub use output::{
    DividerBend, DividerBendPoint, DividerDrain, DividerDrift, DividerDynamics, DividerError, DividerErrorTerm,
    DividerInsulation, DividerLeakage, DividerLoad, DividerOutput, DividerRatio, DividerStress, DividerTolerance,
};
pub use solve::{bend, temperature_error};

/// The calculation.
#[derive(Debug)]
pub struct DividerRoom;

impl Whole for DividerRoom {
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
    type Output = DividerOutput;

    fn calculate(input: &DividerInput) -> Result<Report<DividerOutput>, Vec<FieldError>> {
        let faults = contradictions(input);
        if !faults.is_empty() {
            return Err(faults);
        }
        let result = solve::solve(input);
        let findings = findings::findings(input, &result);
        Ok(Report {
            working: working::working(input, &result),
            view: view::view(input, &result, &findings),
            result,
            findings,
        })
    }
}

fn contradictions(input: &DividerInput) -> Vec<FieldError> {
    let mut faults = part_contradictions(&input.upper, &input.lower);
    let at_least = |pointer: &str, message: &str, value: f64, least: f64| {
        FieldError::contradiction(
            pointer,
            message,
            format!("at or above {}", say(least, Unit::Volt)),
            say(value, Unit::Volt),
        )
    };
    if input.input_min_v > input.input_max_v {
        faults.push(at_least(
            "/input_max_v",
            "The highest input lies below the lowest.",
            input.input_max_v,
            input.input_min_v,
        ));
    }
    if let Some(transient) = input.transient_v.filter(|transient| *transient < input.input_max_v) {
        faults.push(at_least(
            "/transient_v",
            "The transient lies below the highest input.",
            transient,
            input.input_max_v,
        ));
    }
    let (low, high) = input.calibration_v();
    if low > high {
        faults.push(at_least(
            "/calibration_high_v",
            "The upper calibration voltage lies below the lower one.",
            high,
            low,
        ));
    }
    faults
}

/// Contradictions inside the two strings, which stand at `/upper` and `/lower` in every room.
pub fn part_contradictions(upper: &Upper, lower: &Lower) -> Vec<FieldError> {
    let mut faults = Vec::new();
    for (at, from, zero) in [
        ("/upper", upper.derate_from_degc, upper.zero_power_degc),
        ("/lower", lower.derate_from_degc, lower.zero_power_degc),
    ] {
        if zero <= from {
            faults.push(FieldError::contradiction(
                &format!("{at}/zero_power_degc"),
                format!(
                    "The derating line must fall: zero power at {} lies at or below its beginning at {}.",
                    say(zero, Unit::Celsius),
                    say(from, Unit::Celsius)
                ),
                format!("above {}", say(from, Unit::Celsius)),
                say(zero, Unit::Celsius),
            ));
        }
    }
    if let Some(overload) = upper.overload_v.filter(|overload| *overload < upper.max_working_v) {
        faults.push(FieldError::contradiction(
            "/upper/overload_v",
            "The overload voltage lies below the working voltage.",
            format!("at or above {}", say(upper.max_working_v, Unit::Volt)),
            say(overload, Unit::Volt),
        ));
    }
    faults
}
