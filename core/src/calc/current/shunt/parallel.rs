//! # Shunts in parallel
//!
//! Elements side by side share the current by their conductance, and every mounting resistance takes part.
//! A tap on one element reads that element's share, not the total: what the joints do to the share becomes a gain error.
//!
//! ```text
//! Formula    R = 1/Σ(1/(R_i + r_i)); I_i = I R/(R_i + r_i); share error of a tap = (I_i/I)/(share with r_i = 0) − 1
//! Symbols    R_i [Ω] element, r_i [Ω] mounting resistance in series with it
//! Valid      direct current, elements at one temperature; above the corner the inductances share instead
//! Source     Kirchhoff's laws
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use crate::calculation::{Calculation, Meta};
use crate::field::{FieldError, defaulted, list, number};
use crate::input;
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Block, Cell, Check, Column, Figure, Finding, Report, Row, Severity, Step, Table, View};

input! {
    /// One element with its mounting.
    pub struct Element {
        resistance_ohm: f64 = number(Unit::Ohm, 1e-7, 1.0, 50e-6), "R", "Element", "Between its own taps.";
        mounting_ohm: f64 = defaulted(Unit::Ohm, 0.0, 1.0, 0.0), "r", "Mounting", "Joints and busbar in series with it.";
    }
}

input! {
    /// Everything the room takes.
    pub struct ParallelInput {
        current_a: f64 = number(Unit::Ampere, 1e-3, 1e6, 1000.0), "I", "Total current", "Through all elements.";
        elements: Vec<Element> = list::<Element>(2, 24, "100u; 5u\n100u; 8u"), "", "Elements", "One element a line: element, mounting.";
        allowed_share_error_percent: Option<f64> = crate::field::optional(Unit::Percent, 1e-3, 100.0), "", "Allowed share error", "Of a tap on one element; leave empty if none.";
    }
}

/// What the room answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ParallelOutput {
    /// Resistance of all together, mounting included, Ω.
    pub resistance_ohm: f64,
    /// Voltage over all, V.
    pub voltage_v: f64,
    /// Loss of all, W.
    pub power_w: f64,
    /// Each element.
    pub elements: Vec<Share>,
    /// Largest share error of a tap on one element, percent.
    pub largest_share_error_percent: f64,
    /// Requirements.
    pub checks: Vec<Check>,
}

/// One element's share.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Share {
    /// Current, A.
    pub current_a: f64,
    /// Share of the total, percent.
    pub share_percent: f64,
    /// Share without the mounting resistances, percent.
    pub ideal_percent: f64,
    /// Error of a tap on this element when it is scaled by the ideal share, percent.
    pub share_error_percent: f64,
    /// Signal at its own taps, V.
    pub signal_v: f64,
    /// Loss in the element, W.
    pub power_w: f64,
    /// Loss in its mounting, W.
    pub mounting_power_w: f64,
}

/// The calculation.
#[derive(Debug)]
pub struct ShuntParallel;

impl Calculation for ShuntParallel {
    const META: Meta = Meta {
        slug: "shunt/parallel",
        title: "Shunts in parallel",
        job: "How unequal elements and joints share the current, and what a tap on one of them reads.",
        short: "sharing of the current",
        sources: &["Kirchhoff's laws"],
    };
    type Input = ParallelInput;
    type Output = ParallelOutput;

    fn calculate(input: &ParallelInput) -> Result<Report<ParallelOutput>, Vec<FieldError>> {
        let result = solve(input);
        let mut findings = Vec::new();
        if result.largest_share_error_percent > 0.1 {
            findings.push(
                Finding::new(
                    Severity::Note,
                    "shunt.share-depends-on-joints",
                    format!(
                        "The joints move the shares by up to {}: average the taps of all elements, or calibrate the mounted assembly.",
                        say(result.largest_share_error_percent, Unit::Percent)
                    ),
                )
                .at("/elements"),
            );
        }
        Ok(Report { working: working(input, &result), view: view(input, &result), result, findings })
    }
}

fn solve(input: &ParallelInput) -> ParallelOutput {
    let conductance: f64 =
        input.elements.iter().map(|element| 1.0 / (element.resistance_ohm + element.mounting_ohm)).sum();
    let ideal: f64 = input.elements.iter().map(|element| 1.0 / element.resistance_ohm).sum();
    let resistance_ohm = 1.0 / conductance;
    let voltage_v = input.current_a * resistance_ohm;
    let elements: Vec<Share> = input
        .elements
        .iter()
        .map(|element| {
            let current_a = voltage_v / (element.resistance_ohm + element.mounting_ohm);
            let share = current_a / input.current_a;
            let ideal = 1.0 / (element.resistance_ohm * ideal);
            Share {
                current_a,
                share_percent: share * 100.0,
                ideal_percent: ideal * 100.0,
                share_error_percent: (share / ideal - 1.0) * 100.0,
                signal_v: current_a * element.resistance_ohm,
                power_w: current_a * current_a * element.resistance_ohm,
                mounting_power_w: current_a * current_a * element.mounting_ohm,
            }
        })
        .collect();
    let largest = elements.iter().map(|share| share.share_error_percent.abs()).fold(0.0, f64::max);
    let check = Check::at_most(
        "shunt.share-error",
        "Share error of a tap on one element",
        "largest of all elements",
        Quantity::new(largest, Unit::Percent),
        input.allowed_share_error_percent,
    )
    .at("/allowed_share_error_percent");
    ParallelOutput {
        resistance_ohm,
        voltage_v,
        power_w: input.current_a * voltage_v,
        elements,
        largest_share_error_percent: largest,
        checks: vec![check],
    }
}

fn working(input: &ParallelInput, result: &ParallelOutput) -> Vec<Step> {
    let terms: Vec<String> = input
        .elements
        .iter()
        .map(|element| {
            format!("1/({} + {})", say(element.resistance_ohm, Unit::Ohm), say(element.mounting_ohm, Unit::Ohm))
        })
        .collect();
    let mut steps = vec![Step::new(
        "Resistance of all",
        "R",
        "1 / Σ 1/(R_i + r_i)",
        format!("1 / ({})", terms.join(" + ")),
        Quantity::new(result.resistance_ohm, Unit::Ohm),
        "Kirchhoff's laws",
    )];
    for (index, (element, share)) in input.elements.iter().zip(&result.elements).enumerate() {
        steps.push(Step::new(
            &format!("Current of element {}", index + 1),
            "I_i",
            "I R / (R_i + r_i)",
            format!(
                "{} · {} / ({} + {})",
                say(input.current_a, Unit::Ampere),
                say(result.resistance_ohm, Unit::Ohm),
                say(element.resistance_ohm, Unit::Ohm),
                say(element.mounting_ohm, Unit::Ohm)
            ),
            Quantity::new(share.current_a, Unit::Ampere),
            "Kirchhoff's laws",
        ));
    }
    steps
}

fn view(input: &ParallelInput, result: &ParallelOutput) -> View {
    View {
        lead: format!(
            "{} elements make {}; the joints move a share by up to {}",
            input.elements.len(),
            say(result.resistance_ohm, Unit::Ohm),
            say(result.largest_share_error_percent, Unit::Percent)
        ),
        more: "A tap at one element reads its share, not the total.".into(),
        checks: result.checks.clone(),
        blocks: vec![
            Block::Figures(vec![
                Figure::new("Together", result.resistance_ohm, Unit::Ohm, "mounting included"),
                Figure::new("Voltage", result.voltage_v, Unit::Volt, "over all elements"),
                Figure::new("Loss", result.power_w, Unit::Watt, "mounting included"),
            ]),
            Block::Table(Table {
                id: "shares".into(),
                caption: "Shares of the current".into(),
                note: "Share error: a tap on this element, scaled by the share without joints.".into(),
                head: "Element".into(),
                columns: vec![
                    Column::of("Current", Unit::Ampere),
                    Column::of("Share", Unit::Percent),
                    Column::of("Without joints", Unit::Percent),
                    Column::of("Share error", Unit::Percent),
                    Column::of("Signal", Unit::Volt),
                    Column::of("Loss", Unit::Watt),
                ],
                rows: result
                    .elements
                    .iter()
                    .enumerate()
                    .map(|(index, share)| Row {
                        head: format!("{}", index + 1),
                        note: String::new(),
                        cells: [
                            share.current_a,
                            share.share_percent,
                            share.ideal_percent,
                            share.share_error_percent,
                            share.signal_v,
                            share.power_w,
                        ]
                        .map(Cell::Number)
                        .to_vec(),
                    })
                    .collect(),
            }),
        ],
        care: vec!["A shunt in the main current path sits at pack potential. Treat its sense wires as live.".into()],
    }
}
