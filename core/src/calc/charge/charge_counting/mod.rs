//! # Charge counting
//!
//! A counter adds up current, and with it every error of the current channel: an offset grows with time whether the battery
//! is used or not, a gain error comes and goes with the charge. A rest voltage anchors the count again, as well as the curve
//! of the cell lets it. Between the two lies the error of the state of charge, and with it what is known of the health.
//!
//! ```text
//! Parts      error every source of the count, reading what codes, bands and ripple do, course the use, until largest and
//!            first passed, cone the probability, anchor the rest voltage, health capacity, resistance, proof of a loss
//! Formula    e = e0 − 100 E/Ĉ − 100 γ ΔS + 100 (Isd + Iu) t/C + 100 (η̂ − η) Qc/C
//!            worst case: known + Σ |Ei| + 3 · random, both ends apart;  95 %: P(|known + sum| ≤ E) = 0.95
//! Symbols    e [points] estimated less true: above zero the gauge promises too much; E [A·s] counted less what flowed out;
//!            discharge is positive, so that a positive offset makes e negative
//! Judged     new and at the end of life, either order of discharge and charge, the rest of a cycle after both or between them,
//!            inside the cycles, until the next anchor
//! Valid      every source is what is typed or handed on, at its largest over temperature: none is smaller in another state
//! Source     charge balance; JCGM 100:2008, JCGM 106:2012; closed forms derived here and checked against simulation
//! ```

mod anchor;
mod cases;
mod charts;
mod cone;
mod contradictions;
mod course;
mod error;
pub mod given;
mod health;
mod input;
mod output;
mod over_time;
pub mod profile;
mod reading;
mod remarks;
mod requirements;
mod slips;
mod solve;
mod until;
mod view;
mod working;

use crate::calculation::{Calculation, Depth, Gives, Meta, Slip};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use anchor::{Curve, Found, Left, Off, best, ends, larger, ranges, worst};
pub use cone::Sum;
pub use course::{Case, Course, Leg, Moment, Stretch, Tally};
pub use error::{Rates, Terms};
pub use health::of_line;
pub use input::*;
pub use output::{
    ChargeAnchor, ChargeCapacity, ChargeConePoint, ChargeDay, ChargeLasts, ChargeMoment, ChargeOutput, ChargePlace,
    ChargeRange, ChargeReading, ChargeResistance, ChargeSource, ChargeTooth, ChargeTrend, ChargeUser,
};
pub use reading::{Alias, Level, alias, lost_in_band_a, rounded_mean_error_a, rounding_limit_a};
pub use solve::{Solved, after_anchor, top};

/// The calculation.
#[derive(Debug)]
pub struct ChargeCounting;

impl Calculation for ChargeCounting {
    const META: Meta = Meta {
        slug: "charge-counting",
        title: "Charge counting",
        job: "How wrong the state of charge gets by counting, how long it lasts without an anchor, and what it tells of the health.",
        short: "drift, anchors, capacity, health",
        sources: &[
            "Charge balance; random walk of correlated noise; Fourier series of the rounding error: derived, checked by simulation",
            "JCGM 100:2008 clause 5.2: correlated estimates of the capacity",
            "JCGM 106:2012: one-sided decision on a loss",
        ],
    };
    type Input = ChargeInput;
    type Solved = Solved;
    type Output = ChargeOutput;
    const SLIPS: &'static [Slip<Self::Input>] = slips::SLIPS;
    const GIVES: &'static [Gives<Self::Input>] = given::GIVES;

    fn contradictions(input: &ChargeInput) -> Vec<FieldError> {
        contradictions::contradictions(input)
    }

    fn cost(input: &ChargeInput, depth: Depth, _: Work) -> Cost {
        // A search of the cycles takes milliseconds, of a course by its rows; the whole answer draws both cones as well.
        let rows = input.usage.profile.len() as u64;
        let one = Cost::SMALL.again(if depth == Depth::Requirements { 14 } else { 30 });
        Cost { units: one.units.saturating_mul(1 + rows / 4), bytes: one.bytes }
    }

    fn solve(input: &ChargeInput, work: Work) -> Result<Solved, Refused> {
        Ok(solve::solve(input, work)?)
    }

    fn requirements(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
        remarks::remarks(input, solved, to);
    }

    fn detail(input: &ChargeInput, solved: Solved, work: Work) -> Result<ChargeOutput, Refused> {
        Ok(solve::detail(input, &solved, work)?)
    }

    fn working(input: &ChargeInput, output: &ChargeOutput) -> Vec<Step> {
        working::working(input, output)
    }

    fn cautions(input: &ChargeInput, output: &ChargeOutput) -> Vec<String> {
        view::cautions(input, output)
    }

    fn view(input: &ChargeInput, output: &ChargeOutput, judged: &Ledger) -> View {
        view::view(input, output, judged)
    }
}
