//! # Discharge of the link
//!
//! After the contactors open, the link must fall below a voltage within a time: actively within seconds, by the bleeder
//! alone within minutes. The same decay tells an opened contactor from a welded one.
//!
//! ```text
//! Parts      decay closed forms; link sources that go on feeding, and a back-EMF; weld the test for a welded contactor
//! Formula    longest time: C (1 + tC), R (1 + tR), I (1 − tI), P (1 − tP); largest R = t/(C ln(V0/Vs))/(1 + tR)
//! Symbols    V0 [V] start, Vs [V] to be reached, tX relative half-widths
//! Valid      the pack disconnected, each way alone; power at the start is the nominal one; the bleeder's
//!            rating and the energy with the pack connected are judged at R (1 − tR), I (1 + tI), P (1 + tP)
//! Source     integrated here; 60 V and the limits in seconds and minutes: ISO 6469-3, UN Regulation No. 100 (from memory:
//!            check the document that applies)
//! ```

pub mod decay;
mod input;
mod link;
mod output;
mod requirements;
mod solve;
mod view;
mod weld;

use crate::calculation::{Calculation, Depth, Gives, Meta};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::quantity::volt;
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use input::{
    ActiveDischarge, ActiveKind, DischargeInput, FeedKind, LinkFeed, PassiveDischarge, WeldCheck, WeldReadings,
    WeldSequence,
};
pub use output::{DischargeOutput, DischargePoint, DischargeWay, DischargeWeld};

/// What is always across the link, Ω.
pub const BLEEDER: &str = "the lowest resistance of the bleeder";

/// What a pre-charge of the same link takes of it.
const GIVES: &[Gives<DischargeInput>] = &[Gives { words: BLEEDER, value: DischargeInput::bleeder_ohm }];

/// The calculation.
#[derive(Debug)]
pub struct Discharge;

impl Calculation for Discharge {
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
    /// The answer without its curve.
    type Solved = DischargeOutput;
    type Output = DischargeOutput;
    const GIVES: &'static [Gives<Self::Input>] = GIVES;

    fn contradictions(input: &DischargeInput) -> Vec<FieldError> {
        let lowest = input.start_min_v.filter(|lowest| *lowest > input.start_v);
        let fault = |lowest| {
            FieldError::contradiction(
                "/start_min_v",
                "The lowest start voltage lies above the highest.",
                format!("at most {}", volt(input.start_v)),
                volt(lowest),
            )
        };
        lowest.map(fault).into_iter().collect()
    }

    fn cost(input: &DischargeInput, _: Depth, _: Work) -> Cost {
        // A current and a power in one link have no closed form over time; the weld test asks it for many times and starts.
        let searched = matches!(
            (input.active.kind, input.feed.kind),
            (ActiveKind::Power, FeedKind::Current) | (ActiveKind::Current, FeedKind::Power)
        );
        let units = match (searched, input.weld.reading_error_v.is_some() && !input.passive.fitted) {
            (false, _) => 0,
            (true, false) => 10_000_000,
            (true, true) => 60_000_000,
        };
        Cost::SMALL.and(Cost { units, bytes: 0 })
    }

    fn solve(input: &DischargeInput, _: Work) -> Result<DischargeOutput, Refused> {
        Ok(solve::solve(input))
    }

    fn requirements(input: &DischargeInput, solved: &DischargeOutput, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &DischargeInput, mut solved: DischargeOutput, _: Work) -> Result<DischargeOutput, Refused> {
        solved.curve = solve::curve(input, &solved);
        Ok(solved)
    }

    fn working(input: &DischargeInput, result: &DischargeOutput) -> Vec<Step> {
        view::working(input, result)
    }

    fn cautions(input: &DischargeInput, result: &DischargeOutput) -> Vec<String> {
        view::cautions(input, result)
    }

    fn view(input: &DischargeInput, result: &DischargeOutput, judged: &Ledger) -> View {
        view::view(input, result, judged)
    }
}
