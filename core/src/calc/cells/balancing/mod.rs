//! # Cell balancing
//!
//! A resistor bleeds the fullest cells until they agree with the others; or a converter moves the charge. Heat limits how
//! many channels are on, the daily mismatch of the leakage is what must be made up for, and the error of the cell voltage
//! on the slope of the open-circuit voltage is the imbalance that nothing can remove.
//!
//! ```text
//! Formula    I = V/(R + Rs + 2 Rw); t = ds Q/(I d), or along the open-circuit voltage (curve); board n I² (R + Rs) d
//!            temperature Ta + Rb P_board + Rr I² R d; daily need 24 dI; floor e/(dU/ds)
//!            wires: the bled cell reads −2 I Rw, each neighbour + I Rw, while on and when both cells share the wire
//!            transfer: t = ds Q/It, loss dQ V (1 − η) + Ps t; it saves n dI V η for the daily need
//! Symbols    V [V] cell, R, Rs, Rw [Ω] resistor, switch, wire, d duty, n channels on, Q [Ah], dI [A] mismatch
//! Valid      rested cells; steady heat; one imbalance for every channel that is on
//! Source     Ohm's law, Joule heat, charge balance; integrals derived here and checked against an ODE solver
//! ```

pub mod curve;
mod findings;
mod input;
mod output;
mod solve;
mod view;

use crate::calculation::Meta;
use crate::field::FieldError;
use crate::legacy::Whole;
use crate::quantity::{Unit, say};
use crate::report::Report;

pub use input::{ActiveBalancing, BalancingAccuracy, BalancingInput, BalancingLimits, CellCurve, OcvPoint};
pub use output::{
    BalancingActive, BalancingDaily, BalancingFloor, BalancingFloorPoint, BalancingOutput, BalancingPassive,
    BalancingPoint, BalancingWire,
};

/// The calculation.
#[derive(Debug)]
pub struct BalancingRoom;

impl Whole for BalancingRoom {
    const META: Meta = Meta {
        slug: "balancing",
        title: "Cell balancing",
        job: "Current, heat and time of bleeding, what it must make up for daily, and the imbalance nothing can remove.",
        short: "current, heat, time, floor",
        sources: &["Ohm's law, Joule heat, charge balance", "Time along the open-circuit voltage: derived here"],
    };
    type Input = BalancingInput;
    type Output = BalancingOutput;

    fn calculate(input: &BalancingInput) -> Result<Report<BalancingOutput>, Vec<FieldError>> {
        let faults = contradictions(input);
        if !faults.is_empty() {
            return Err(faults);
        }
        let result = solve::solve(input);
        let findings = findings::findings(input, &result);
        Ok(Report {
            working: view::working(input, &result),
            view: view::view(input, &result, &findings),
            result,
            findings,
        })
    }
}

fn contradictions(input: &BalancingInput) -> Vec<FieldError> {
    let mut faults = Vec::new();
    let points = &input.curve.points;
    if points.is_empty() {
        return faults;
    }
    if points.len() == 1 {
        faults.push(FieldError::contradiction(
            "/curve/points",
            "One point makes no curve.",
            "no point, or two and more",
            points.len(),
        ));
        return faults;
    }
    for (row, pair) in points.windows(2).enumerate() {
        if pair[1].soc_percent <= pair[0].soc_percent {
            faults.push(FieldError::contradiction(
                &format!("/curve/points/{}/soc_percent", row + 1),
                "The states of charge must rise from row to row.",
                format!("above {}", say(pair[0].soc_percent, Unit::Percent)),
                say(pair[1].soc_percent, Unit::Percent),
            ));
        }
        if pair[1].ocv_v < pair[0].ocv_v {
            faults.push(FieldError::contradiction(
                &format!("/curve/points/{}/ocv_v", row + 1),
                "The open-circuit voltage must not fall with the state of charge.",
                format!("at least {}", say(pair[0].ocv_v, Unit::Volt)),
                say(pair[1].ocv_v, Unit::Volt),
            ));
        }
    }
    let start = input.curve.start_soc_percent;
    let end = start - input.imbalance_percent;
    let (low, high) = (points[0].soc_percent, points[points.len() - 1].soc_percent);
    if faults.is_empty() && (start > high || end < low) {
        faults.push(FieldError::contradiction(
            "/curve/start_soc_percent",
            format!(
                "Bleeding runs from {} to {}; the points cover {} to {}.",
                say(start, Unit::Percent),
                say(end, Unit::Percent),
                say(low, Unit::Percent),
                say(high, Unit::Percent)
            ),
            format!("between {} and {}", say(low + input.imbalance_percent, Unit::Percent), say(high, Unit::Percent)),
            say(start, Unit::Percent),
        ));
    }
    faults
}
