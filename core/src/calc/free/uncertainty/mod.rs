//! # A free measurement model
//!
//! A list of input quantities and a sum, a product or a sum of products of them, asked the four questions of every budget:
//! worst case, root-sum-square, combined standard uncertainty, Monte Carlo. It lets a reviewer check the engine against
//! published examples, and an engineer work out a budget that has no page of its own.
//!
//! ```text
//! Formula    sum: y = Σ c_i x_i; product: y = Π x_i^p_i; sum of products: y_o = Σ_t Π s x_i^p
//! Symbols    x_i estimate ± limit with a distribution, c_i coefficient, p_i exponent, r_ij correlation, s scale
//! Unequal    limits x − a₋ to x + a₊ are a middle ± half the width; what the output at the middles is off the output at the
//!            estimates is known, and counts beside every sum (K ± a)
//! Valid      correlation of inputs through a Gaussian copula in the Monte Carlo run, exact for normal inputs
//! Refused    a correlation matrix that is not positive semi-definite, a negative or broken power of what may be zero
//! Source     JCGM 100:2008 clause 5, G.4; JCGM 101:2008 clauses 6, 7, 8; JCGM 102:2011 clause 6.2 (several outputs)
//! ```

mod input;
mod output;
mod requirements;
mod second_order;
mod solve;
mod view;
mod working;

use crate::calculation::{Calculation, Depth, Meta};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use input::{Basis, Correlated, Factor, Form, FreeInput, Kind, Quantities, Shape};
pub use output::{FreeOutput, OtherOutput, OutputCorrelation};
pub use second_order::SecondOrder;

/// What it takes to put the outcomes of the trials into order, in inputs.
const SORTED: u64 = 10;

/// The calculation.
#[derive(Debug)]
pub struct FreeModel;

impl Calculation for FreeModel {
    const META: Meta = Meta {
        slug: "uncertainty",
        title: "Uncertainty of a free model",
        job: "A model of your own: worst case, root-sum-square, combined standard uncertainty and Monte Carlo of the same inputs.",
        short: "your own budget",
        sources: &[
            "JCGM 100:2008 (GUM)",
            "JCGM 101:2008 (Monte Carlo)",
            "JCGM 102:2011 (several outputs)",
            "Sum of limits, root-sum-square of limits: common practice, no source",
        ],
    };
    type Input = FreeInput;
    /// With its trials: whether first order is validated is told beside the verdict.
    type Solved = FreeOutput;
    type Output = FreeOutput;

    fn contradictions(input: &FreeInput) -> Vec<FieldError> {
        input.contradictions()
    }

    fn cost(input: &FreeInput, _: Depth, work: Work) -> Cost {
        let trials = u64::from(work.trials(input.trials));
        let size = u64::try_from(input.inputs.len().max(input.factors.len())).unwrap_or(u64::MAX);
        // To sort the outcomes of a trial takes as long as some inputs.
        let units = trials.saturating_mul(size + SORTED).saturating_mul(u64::from(input.outputs()));
        Cost::SMALL.and(Cost { units, bytes: trials.saturating_mul(8) })
    }

    fn solve(input: &FreeInput, work: Work) -> Result<FreeOutput, Refused> {
        solve::solve(input, work)
    }

    fn requirements(input: &FreeInput, solved: &FreeOutput, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(_: &FreeInput, solved: FreeOutput, _: Work) -> Result<FreeOutput, Refused> {
        Ok(solved)
    }

    fn working(input: &FreeInput, output: &FreeOutput) -> Vec<Step> {
        working::working(input, output)
    }

    fn view(input: &FreeInput, output: &FreeOutput, _: &Ledger) -> View {
        view::view(input, output)
    }
}
