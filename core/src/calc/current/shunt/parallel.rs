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
use crate::field::{defaulted, list, number, optional};
use crate::input;
use crate::judge::{Judged, Ledger, Words};
use crate::quantity::{Unit, ampere, ohm, percent, volt, watt};
use crate::report::kit::Columns;
use crate::report::worked::{Put, Term, n};
use crate::report::{Block, Figure, Step, View};
use crate::work::{Refused, Work};

input! {
    /// One element with its mounting.
    pub struct Element {
        resistance_ohm: f64 = number(Unit::Ohm, 1e-7, 1.0, 50e-6), "R", "Element", "Between its own taps.";
        mounting_ohm: f64 = defaulted(Unit::Ohm, 0.0, 1.0, 0.0), "r", "Mounting", "Joints and busbar in series with it.";
    }
}

input! {
    /// Everything it takes.
    pub struct ParallelInput {
        current_a: f64 = number(Unit::Ampere, 1e-3, 1e6, 1000.0), "I", "Total current", "Through all elements.";
        elements: Vec<Element> = list::<Element>(2, 24, "100u; 5u\n100u; 8u"), "", "Elements", "One element a line: element, mounting.";
        allowed_share_error_percent: Option<f64> = optional(Unit::Percent, 1e-3, 100.0), "", "Allowed share error", "Of a tap on one element; leave empty if none.";
    }
}

/// What it answers.
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
    type Solved = ParallelOutput;
    type Output = ParallelOutput;

    fn solve(input: &ParallelInput, _: Work) -> Result<ParallelOutput, Refused> {
        Ok(solve(input))
    }

    fn requirements(input: &ParallelInput, solved: &ParallelOutput, to: &mut Ledger) {
        let largest = solved.largest_share_error_percent;
        let allowed = (input.allowed_share_error_percent, "/allowed_share_error_percent");
        to.require(Judged::at_most("shunt.share-error", allowed.1, Unit::Percent, largest, allowed.0), |one| {
            let limit = percent(one.required.unwrap_or_default());
            let failure =
                format!("A tap on one element misreads its share by {}; {limit} are allowed.", percent(largest));
            Words::new("Share error of a tap on one element", "largest of all elements", failure)
        });
        to.note("shunt.share-depends-on-joints", "/elements", largest > 0.1, || {
            format!(
                "The joints move the shares by up to {}: average the taps of all elements, or calibrate the mounted assembly.",
                percent(largest)
            )
        });
    }

    fn detail(_: &ParallelInput, solved: ParallelOutput, _: Work) -> Result<ParallelOutput, Refused> {
        Ok(solved)
    }

    fn working(input: &ParallelInput, result: &ParallelOutput) -> Vec<Step> {
        let source = "Kirchhoff's laws";
        let branch = |p: &Put, element: &Element| p.of(ohm(element.resistance_ohm)) + p.of(ohm(element.mounting_ohm));
        let all = ohm(result.resistance_ohm);
        let sum = |p: &Put| Term::sum(input.elements.iter().map(|element| n(1) / branch(p, element)));
        let mut steps =
            vec![Step::worked("Resistance of all", "R", "1 / Σ 1/(R_i + r_i)", all, source, |p| n(1) / sum(p))];
        for (index, (element, share)) in input.elements.iter().zip(&result.elements).enumerate() {
            let (label, current) = (format!("Current of element {}", index + 1), ampere(share.current_a));
            steps.push(Step::worked(&label, "I_i", "I R / (R_i + r_i)", current, source, |p| {
                p.of(ampere(input.current_a)) * p.of(all) / branch(p, element)
            }));
        }
        steps
    }

    fn cautions(_: &ParallelInput, _: &ParallelOutput) -> Vec<String> {
        vec!["A shunt in the main current path sits at pack potential. Treat its sense wires as live.".into()]
    }

    fn view(_: &ParallelInput, result: &ParallelOutput, _: &Ledger) -> View {
        let shares = Columns::new("shares", "Shares of the current", "Element", &result.elements, |index, _| {
            (index + 1).to_string()
        });
        let shares = shares
            .note("Share error: a tap on this element, scaled by the share without joints.")
            .column("Current", Unit::Ampere, |share| share.current_a)
            .column("Share", Unit::Percent, |share| share.share_percent)
            .column("Without joints", Unit::Percent, |share| share.ideal_percent)
            .column("Share error", Unit::Percent, |share| share.share_error_percent)
            .column("Signal", Unit::Volt, |share| share.signal_v)
            .column("Loss", Unit::Watt, |share| share.power_w);
        View {
            lead: format!(
                "{} elements make {}; the joints move a share by up to {}",
                result.elements.len(),
                ohm(result.resistance_ohm),
                percent(result.largest_share_error_percent)
            ),
            more: "A tap at one element reads its share, not the total.".into(),
            blocks: vec![
                Block::Figures(vec![
                    Figure::of("Together", ohm(result.resistance_ohm), "mounting included"),
                    Figure::of("Voltage", volt(result.voltage_v), "over all elements"),
                    Figure::of("Loss", watt(result.power_w), "mounting included"),
                ]),
                Block::Table(shares.table()),
            ],
        }
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
    ParallelOutput {
        resistance_ohm,
        voltage_v,
        power_w: input.current_a * voltage_v,
        elements,
        largest_share_error_percent: largest,
    }
}
