//! # Conformity with a tolerance
//!
//! Whether a measured unit lies within its tolerance can only be said with a probability, because the measurement is
//! uncertain. A guard band decides who carries the risk: the one who gets a bad unit, or the one whose good unit is refused.
//!
//! ```text
//! Formula    p_c = Φ((T_U − y)/u) − Φ((T_L − y)/u); A_L = T_L + w, A_U = T_U − w; w = r U, or u z_(1−risk), or as typed;
//!            global risks: integrals over the process (`risk`); C_m = (T_U − T_L)/(4 u)
//! Symbols    T tolerance, A acceptance limits, y measured value, u its standard uncertainty, U = k u, w guard band,
//!            p_c probability of conformity [1], C_m measurement capability index [1]
//! Valid      normal distributions; with a known process the probability of a unit counts it, without one the measurement
//!            alone speaks
//! Refused    an upper limit at or below the lower one; a process of which only one of mean and spread is given
//! Source     JCGM 106:2012, 7 (conformance probability), 7.6 (capability index), 8 (guard bands), 9 (risks)
//! ```

mod input;
mod output;
mod requirements;
pub mod risk;
mod solve;
mod view;
mod working;

use crate::calculation::{Calculation, Meta};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::report::{Step, View};
use crate::work::{Refused, Work};

pub use input::{Allowed, ConformityInput, Decision, Guard, Process, Rule, Sides};
pub use output::{ConformityOutput, GuardPoint, Lot, Measured, Place};

/// The calculation.
#[derive(Debug)]
pub struct Conformity;

impl Calculation for Conformity {
    const META: Meta = Meta {
        slug: "conformity",
        title: "Conformity with a tolerance",
        job: "How sure it is that a measured unit conforms, where to set the limits of acceptance, and whom the risk meets.",
        short: "guard bands and risks",
        sources: &["JCGM 106:2012 (conformity assessment)"],
    };
    type Input = ConformityInput;
    /// The answer without its curves.
    type Solved = ConformityOutput;
    type Output = ConformityOutput;

    fn contradictions(input: &ConformityInput) -> Vec<FieldError> {
        input.contradictions()
    }

    fn solve(input: &ConformityInput, _: Work) -> Result<ConformityOutput, Refused> {
        Ok(solve::solve(input))
    }

    fn requirements(input: &ConformityInput, solved: &ConformityOutput, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &ConformityInput, mut solved: ConformityOutput, work: Work) -> Result<ConformityOutput, Refused> {
        solved.curve = solve::curve(input);
        solved.guards = solve::guards(input, work)?;
        Ok(solved)
    }

    fn working(input: &ConformityInput, result: &ConformityOutput) -> Vec<Step> {
        working::working(input, result)
    }

    fn view(input: &ConformityInput, result: &ConformityOutput, judged: &Ledger) -> View {
        view::view(input, result, judged)
    }
}
