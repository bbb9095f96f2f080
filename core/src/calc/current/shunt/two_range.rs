//! # Two ranges on one shunt
//!
//! A fine amplifier reads small currents well and clips early; a coarse one reads everything with a larger offset.
//! Where the reading changes over, the two may disagree by both their errors: the step at the change of range.
//!
//! ```text
//! Formula    e(I) = g I + o; step at the change of range at I_h ≤ e_fine(I_h) + e_coarse(I_h); weights w = (1/u_i²)/Σ(1/u_j²),
//!            u = 1/√Σ(1/u_j²), u = e/√3; changes over for certain below I_h + e_fine(I_h) ≤ full scale; lowest change-over I_h (1 − h); bits for one range log2(2 I_fs/I_res)
//! Symbols    g relative error, o [A] fixed error, h hysteresis
//! Valid      errors that the two ranges do not share: a common reference or shunt cancels out of the seam
//! Source     common practice, no source; weighted mean: JCGM 100:2008 and the Gauss-Markov theorem
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use crate::calculation::{Calculation, Meta};
use crate::field::{FieldError, defaulted, group, number, optional};
use crate::input;
use crate::judge::{Judged, Ledger, Words};
use crate::quantity::{Quantity, Unit, ampere, one, percent};
use crate::report::kit::Series;
use crate::report::worked::{Term, n};
use crate::report::{Axis, Block, Figure, Step, Stroke, View};
use crate::work::{Refused, Work};

input! {
    /// The range for small currents: its error is the part of reading plus the fixed part.
    pub struct FineRange {
        full_scale_a: f64 = number(Unit::Ampere, 1e-6, 1e6, 100.0), "Ifs", "Full scale", "Largest current it reads.";
        gain_percent: f64 = number(Unit::Percent, 0.0, 50.0, 0.3), "g", "Error of reading", "Half-width, without what both ranges share.";
        offset_a: f64 = number(Unit::Ampere, 0.0, 1e5, 0.02), "o", "Fixed error", "Half-width.";
    }
}

input! {
    /// The range for all currents.
    pub struct CoarseRange {
        full_scale_a: f64 = number(Unit::Ampere, 1e-6, 1e6, 1400.0), "Ifs", "Full scale", "Largest current it reads.";
        gain_percent: f64 = number(Unit::Percent, 0.0, 50.0, 0.3), "g", "Error of reading", "Half-width, without what both ranges share.";
        offset_a: f64 = number(Unit::Ampere, 0.0, 1e5, 0.5), "o", "Fixed error", "Half-width.";
    }
}

input! {
    /// Everything it takes.
    pub struct TwoRangeInput {
        fine: FineRange = group::<FineRange>(), "", "Fine range", "For small currents.";
        coarse: CoarseRange = group::<CoarseRange>(), "", "Coarse range", "For all currents.";
        change_over_a: f64 = number(Unit::Ampere, 1e-6, 1e6, 80.0), "Ih", "Change-over current", "Upwards, from fine to coarse.";
        hysteresis_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 10.0), "h", "Hysteresis", "Downwards the change is that much lower.";
        resolution_a: f64 = defaulted(Unit::Ampere, 1e-9, 1e5, 0.01), "Ires", "Wanted resolution", "At the low end.";
        allowed_step_a: Option<f64> = optional(Unit::Ampere, 1e-9, 1e5), "", "Allowed step at the change of range", "Leave empty if none is required.";
    }
}

/// What it answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TwoRangeOutput {
    /// Largest disagreement at the change-over upwards, A.
    pub seam_step_a: f64,
    /// The same downwards, A.
    pub seam_step_down_a: f64,
    /// Current of the change-over downwards, A.
    pub change_back_a: f64,
    /// Error of the fine range at the change-over, A.
    pub fine_error_a: f64,
    /// Error of the coarse range there, A.
    pub coarse_error_a: f64,
    /// Weight of the fine range in a fused reading at the change-over.
    pub fine_weight: f64,
    /// Standard uncertainty of the fused reading there, A.
    pub fused_standard_a: f64,
    /// Bits one range would need for full scale and resolution.
    pub bits_for_one_range: f64,
    /// Current at which both errors are equal, A; absent when one range is better everywhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub equal_error_a: Option<f64>,
    /// Error over current.
    pub curve: Vec<TwoRangePoint>,
}

/// The errors at one current.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct TwoRangePoint {
    /// Current, A.
    pub current_a: f64,
    /// Fine range, A; absent where it clips.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fine_a: Option<f64>,
    /// Coarse range, A.
    pub coarse_a: f64,
}

/// The calculation.
#[derive(Debug)]
pub struct ShuntTwoRange;

impl Calculation for ShuntTwoRange {
    const META: Meta = Meta {
        slug: "shunt/two-range",
        title: "Two ranges on one shunt",
        job: "Where a fine and a coarse amplifier hand over, and how far their readings may step apart.",
        short: "change-over, step at the change of range",
        sources: &[
            "Sum of limits at the change of range: common practice, no source",
            "JCGM 100:2008 (standard uncertainty of a rectangular limit)",
        ],
    };
    type Input = TwoRangeInput;
    /// The errors at the change-over, A: fine, coarse.
    type Solved = [f64; 2];
    type Output = TwoRangeOutput;

    fn contradictions(input: &TwoRangeInput) -> Vec<FieldError> {
        let (fine, coarse) = (input.fine.full_scale_a, input.coarse.full_scale_a);
        let fault = || {
            FieldError::contradiction(
                "/coarse/full_scale_a",
                "The coarse range must reach further than the fine one.",
                format!("above {}", ampere(fine)),
                ampere(coarse),
            )
        };
        (coarse <= fine).then(fault).into_iter().collect()
    }

    fn solve(input: &TwoRangeInput, _: Work) -> Result<[f64; 2], Refused> {
        Ok(input.errors_a(input.change_over_a))
    }

    fn requirements(input: &TwoRangeInput, [fine, coarse]: &[f64; 2], to: &mut Ledger) {
        let (at, step) = (ampere(input.change_over_a), fine + coarse);
        let allowed = (input.allowed_step_a, "/allowed_step_a");
        to.require(Judged::at_most("shunt.seam-step", allowed.1, Unit::Ampere, step, allowed.0), |one| {
            let allowed = ampere(one.required.unwrap_or_default());
            let failure = format!("The reading may step by {} at {at}; {allowed} are allowed.", ampere(step));
            Words::new("Step at the change of range", "both errors against each other", failure)
        });
        // A fine range that reads low is full before it shows the change-over.
        let (reach, needed) = (input.fine.full_scale_a, at.value + fine);
        to.require(Judged::at_most("shunt.change-over", "/change_over_a", Unit::Ampere, needed, reach), |_| {
            let (reach, fine) = (ampere(reach), ampere(*fine));
            let failure = format!(
                "The change-over at {at} with the error of the fine range, {fine}, lies beyond its full scale of {reach}: a part that reads low clips before it changes over."
            );
            Words::new("Change-over inside the fine range", "with the error of the fine range", failure)
        });
        to.warn("shunt.fine-range-worse", "/change_over_a", fine > coarse, || {
            format!(
                "At the change-over the fine range errs by {}, the coarse one by {}: change over earlier.",
                ampere(*fine),
                ampere(*coarse)
            )
        });
    }

    fn detail(input: &TwoRangeInput, [fine, coarse]: [f64; 2], _: Work) -> Result<TwoRangeOutput, Refused> {
        let back = input.change_over_a * (1.0 - input.hysteresis_percent / 100.0);
        // Squares of the errors weigh crosswise, so that an error of zero gives a weight of one and not a division by zero.
        let squares = fine * fine + coarse * coarse;
        let slope = (input.fine.gain_percent - input.coarse.gain_percent) / 100.0;
        let equal = (slope != 0.0).then(|| (input.coarse.offset_a - input.fine.offset_a) / slope);
        let top = input.coarse.full_scale_a;
        let point = |step: i32| {
            let current_a = top * libm::pow(10.0, -4.0 * f64::from(40 - step) / 40.0);
            let [fine, coarse_a] = input.errors_a(current_a);
            TwoRangePoint { current_a, fine_a: (current_a <= input.fine.full_scale_a).then_some(fine), coarse_a }
        };
        Ok(TwoRangeOutput {
            seam_step_a: fine + coarse,
            seam_step_down_a: input.errors_a(back).iter().sum(),
            change_back_a: back,
            fine_error_a: fine,
            coarse_error_a: coarse,
            fine_weight: if squares > 0.0 { coarse * coarse / squares } else { 0.5 },
            fused_standard_a: if squares > 0.0 { fine * coarse / squares.sqrt() / 3f64.sqrt() } else { 0.0 },
            bits_for_one_range: libm::log2(2.0 * top / input.resolution_a).max(1.0),
            equal_error_a: equal.filter(|current| current.is_finite() && *current > 0.0 && *current < top),
            curve: (0..=40).map(point).collect(),
        })
    }

    fn working(input: &TwoRangeInput, result: &TwoRangeOutput) -> Vec<Step> {
        let at = ampere(input.change_over_a);
        let range = |label: &str, symbol: &str, gain: f64, offset: f64, error: f64| {
            Step::worked(label, symbol, "g I_h + o", ampere(error), "definition", |p| {
                p.of(percent(gain)) * p.of(at) + p.of(ampere(offset))
            })
        };
        let (fine, coarse) = (&input.fine, &input.coarse);
        let (fine_error, coarse_error) = (ampere(result.fine_error_a), ampere(result.coarse_error_a));
        let (seam, needed) = (ampere(result.seam_step_a), Quantity::new(result.bits_for_one_range, Unit::Bit));
        vec![
            range("Fine range at the change-over", "e_f", fine.gain_percent, fine.offset_a, fine_error.value),
            range("Coarse range at the change-over", "e_c", coarse.gain_percent, coarse.offset_a, coarse_error.value),
            Step::worked(
                "Fine range must read",
                "I_u",
                "I_h + e_f",
                ampere(at.value + result.fine_error_a),
                "definition",
                |p| p.of(at) + p.of(fine_error),
            ),
            Step::worked("Step at the change of range", "Δ", "e_f + e_c", seam, "common practice, no source", |p| {
                p.of(fine_error) + p.of(coarse_error)
            }),
            Step::worked("Bits for one range", "N", "max(1, log2(2 I_fs / I_res))", needed, "definition", |p| {
                let steps = n(2) * p.of(ampere(coarse.full_scale_a)) / p.of(ampere(input.resolution_a));
                Term::largest(&[n(1), steps.log2()])
            }),
        ]
    }

    fn view(input: &TwoRangeInput, result: &TwoRangeOutput, _: &Ledger) -> View {
        let (at, back) = (ampere(input.change_over_a), ampere(result.change_back_a));
        let step = ampere(result.seam_step_a);
        let (x, y) = (Axis::log("current", Unit::Ampere), Axis::log("error", Unit::Ampere));
        let title = "Error of both ranges against current";
        let mut errors = Series::new("ranges", title, &result.curve, x, |point| point.current_a, y).every(4);
        errors.curve("fine", Stroke::Main, |point| point.fine_a);
        errors.curve("coarse", Stroke::Second, |point| Some(point.coarse_a));
        errors.mark(at.value, result.coarse_error_a, "change-over");
        let equal = result.equal_error_a.map_or_else(
            || "One range is better at every current both can read".into(),
            |current| format!("Both ranges err alike at {}", ampere(current)),
        );
        let (weight, fused) = (one(result.fine_weight), ampere(result.fused_standard_a));
        View {
            lead: format!("The reading may step by {step} at {at}"),
            more: format!("One range alone would need {} bits.", one(result.bits_for_one_range.ceil())),
            blocks: vec![
                Block::Figures(vec![
                    Figure::of("Step at the change of range", step, "upwards"),
                    Figure::of("Step back", ampere(result.seam_step_down_a), format!("at {back}")),
                    Figure::of("Weight of the fine range", weight, "in a fused reading at the change-over"),
                    Figure::of("Fused standard uncertainty", fused, "independent parts only"),
                ]),
                Block::Chart(errors.chart(equal, format!("Change-over at {at}, back at {back}"))),
            ],
        }
    }
}

impl TwoRangeInput {
    /// The errors of both ranges at a current, A: fine, coarse.
    fn errors_a(&self, current_a: f64) -> [f64; 2] {
        let error = |gain_percent: f64, offset_a: f64| gain_percent / 100.0 * current_a + offset_a;
        [error(self.fine.gain_percent, self.fine.offset_a), error(self.coarse.gain_percent, self.coarse.offset_a)]
    }
}
