//! # Discharge of the link
//!
//! After the contactors open, the link must fall below a voltage within a time: actively within seconds, by the bleeder
//! alone within minutes. The same decay tells an opened contactor from a welded one.
//!
//! ```text
//! Formula    decay: closed forms for a resistor, a constant current, a constant power
//!            longest time: C (1 + tC), R (1 + tR), I (1 − tI), P (1 − tP); largest R = t/(C ln(V0/Vs))/(1 + tR)
//!            weld test: the drop V0 − V(t) must exceed 2 e; with the bleeder, without one by the active discharge
//! Symbols    V0 [V] start, Vs [V] to be reached, tX relative half-widths, e [V] error of one reading
//! Valid      the source disconnected, each way alone; power at the start is the nominal one; the bleeder's
//!            rating and the energy with the pack connected are judged at R (1 − tR), I (1 + tI), P (1 + tP)
//! Source     integrated here; 60 V and the limits in seconds and minutes: ISO 6469-3, UN Regulation No. 100 (from memory:
//!            check the document that applies)
//! ```

pub mod decay;
mod findings;
mod input;
mod output;
mod solve;
mod view;

use crate::calculation::Meta;
use crate::field::FieldError;
use crate::legacy::Whole;
use crate::report::Report;

pub use input::{ActiveDischarge, ActiveKind, DischargeInput, PassiveDischarge, WeldCheck};
pub use output::{DischargeOutput, DischargePoint, DischargeWay, DischargeWeld};

/// The calculation.
#[derive(Debug)]
pub struct DischargeRoom;

impl Whole for DischargeRoom {
    const META: Meta = Meta {
        slug: "discharge",
        title: "Discharge of the link",
        job: "How long active and passive discharge take in the worst case, what is left, and whether a weld shows.",
        short: "active, passive, weld test",
        sources: &[
            "Decay of a capacitor, integrated here",
            "60 V and the allowed times: ISO 6469-3, UN Regulation No. 100, from memory",
        ],
    };
    type Input = DischargeInput;
    type Output = DischargeOutput;

    fn calculate(input: &DischargeInput) -> Result<Report<DischargeOutput>, Vec<FieldError>> {
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
