//! # Two ranges on one shunt
//!
//! A fine amplifier reads small currents well and clips early; a coarse one reads everything with a larger offset.
//! Where the reading changes over, the two may disagree by both their errors: the seam step.
//!
//! ```text
//! Formula    e(I) = g I + o; seam step at I_h ≤ e_fine(I_h) + e_coarse(I_h); weights w = (1/u_i²)/Σ(1/u_j²),
//!            u = 1/√Σ(1/u_j²), u = e/√3; lowest change-over I_h (1 − h); bits for one range log2(2 I_fs/I_res)
//! Symbols    g relative error, o [A] fixed error, h hysteresis
//! Valid      errors that the two ranges do not share: a common reference or shunt cancels out of the seam
//! Source     common practice, no source; weighted mean: JCGM 100:2008 and the Gauss-Markov theorem
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use crate::calculation::Meta;
use crate::field::{FieldError, defaulted, group, number, optional};
use crate::input;
use crate::legacy::Whole;
use crate::quantity::{Quantity, Unit, say};
use crate::report::{
    Axis, Block, Cell, Chart, Check, Column, Curve, Figure, Finding, Mark, Report, Row, Severity, Step, Stroke, Table,
    View,
};

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

/// The error of a range at a current.
#[derive(Clone, Copy, Debug)]
struct RangeError {
    gain_percent: f64,
    offset_a: f64,
}

impl RangeError {
    fn at(self, current_a: f64) -> f64 {
        self.gain_percent / 100.0 * current_a + self.offset_a
    }
}

impl TwoRangeInput {
    fn fine(&self) -> RangeError {
        RangeError { gain_percent: self.fine.gain_percent, offset_a: self.fine.offset_a }
    }

    fn coarse(&self) -> RangeError {
        RangeError { gain_percent: self.coarse.gain_percent, offset_a: self.coarse.offset_a }
    }
}

input! {
    /// Everything the room takes.
    pub struct TwoRangeInput {
        fine: FineRange = group::<FineRange>(), "", "Fine range", "For small currents.";
        coarse: CoarseRange = group::<CoarseRange>(), "", "Coarse range", "For all currents.";
        change_over_a: f64 = number(Unit::Ampere, 1e-6, 1e6, 80.0), "Ih", "Change-over current", "Upwards, from fine to coarse.";
        hysteresis_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 10.0), "h", "Hysteresis", "Downwards the change is that much lower.";
        resolution_a: f64 = defaulted(Unit::Ampere, 1e-9, 1e5, 0.01), "Ires", "Wanted resolution", "At the low end.";
        allowed_step_a: Option<f64> = optional(Unit::Ampere, 1e-9, 1e5), "", "Allowed seam step", "Leave empty if none is required.";
    }
}

/// What the room answers.
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
    /// Requirements.
    pub checks: Vec<Check>,
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

impl Whole for ShuntTwoRange {
    const META: Meta = Meta {
        slug: "shunt/two-range",
        title: "Two ranges on one shunt",
        job: "Where a fine and a coarse amplifier hand over, and how far their readings may step apart.",
        short: "change-over, seam step",
        sources: &[
            "Sum of limits at the seam: common practice, no source",
            "JCGM 100:2008 (standard uncertainty of a rectangular limit)",
        ],
    };
    type Input = TwoRangeInput;
    type Output = TwoRangeOutput;

    fn calculate(input: &TwoRangeInput) -> Result<Report<TwoRangeOutput>, Vec<FieldError>> {
        let mut faults = Vec::new();
        if input.coarse.full_scale_a <= input.fine.full_scale_a {
            faults.push(FieldError::contradiction(
                "/coarse/full_scale_a",
                "The coarse range must reach further than the fine one.",
                format!("above {}", say(input.fine.full_scale_a, Unit::Ampere)),
                say(input.coarse.full_scale_a, Unit::Ampere),
            ));
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let result = solve(input);
        Ok(Report {
            working: working(input, &result),
            view: view(input, &result),
            findings: findings(input, &result),
            result,
        })
    }
}

fn solve(input: &TwoRangeInput) -> TwoRangeOutput {
    let at = input.change_over_a;
    let back = at * (1.0 - input.hysteresis_percent / 100.0);
    let (fine, coarse) = (input.fine().at(at), input.coarse().at(at));
    let step = |current: f64| input.fine().at(current) + input.coarse().at(current);
    // Squares of the errors weigh crosswise, so that an error of zero gives a weight of one and not a division by zero.
    let squares = fine * fine + coarse * coarse;
    let slope = (input.fine.gain_percent - input.coarse.gain_percent) / 100.0;
    let equal = (slope != 0.0).then(|| (input.coarse.offset_a - input.fine.offset_a) / slope);
    let top = input.coarse.full_scale_a;
    let seam = step(at);
    TwoRangeOutput {
        seam_step_a: seam,
        seam_step_down_a: step(back),
        change_back_a: back,
        fine_error_a: fine,
        coarse_error_a: coarse,
        fine_weight: if squares > 0.0 { coarse * coarse / squares } else { 0.5 },
        fused_standard_a: if squares > 0.0 { fine * coarse / squares.sqrt() / 3f64.sqrt() } else { 0.0 },
        bits_for_one_range: libm::log2(2.0 * top / input.resolution_a).max(1.0),
        equal_error_a: equal.filter(|current| current.is_finite() && *current > 0.0 && *current < top),
        curve: (0..=40)
            .map(|step| {
                let current_a = top * libm::pow(10.0, -4.0 * f64::from(40 - step) / 40.0);
                TwoRangePoint {
                    current_a,
                    fine_a: (current_a <= input.fine.full_scale_a).then(|| input.fine().at(current_a)),
                    coarse_a: input.coarse().at(current_a),
                }
            })
            .collect(),
        checks: vec![
            Check::at_most(
                "shunt.seam-step",
                "Seam step at the change-over",
                "both errors against each other",
                Quantity::new(seam, Unit::Ampere),
                input.allowed_step_a,
            )
            .at("/allowed_step_a"),
            Check::at_most(
                "shunt.change-over",
                "Change-over inside the fine range",
                "",
                Quantity::new(at, Unit::Ampere),
                Some(input.fine.full_scale_a),
            )
            .at("/change_over_a"),
        ],
    }
}

fn findings(input: &TwoRangeInput, result: &TwoRangeOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if input.change_over_a > input.fine.full_scale_a {
        findings.push(
            Finding::new(
                Severity::Fail,
                "shunt.change-over-beyond-fine",
                format!(
                    "The change-over at {} lies beyond the fine range of {}: what lies between clips.",
                    say(input.change_over_a, Unit::Ampere),
                    say(input.fine.full_scale_a, Unit::Ampere)
                ),
            )
            .at("/change_over_a")
            .against(input.change_over_a, input.fine.full_scale_a),
        );
    }
    if result.fine_error_a > result.coarse_error_a {
        findings.push(
            Finding::new(
                Severity::Warn,
                "shunt.fine-range-worse",
                format!(
                    "At the change-over the fine range errs by {}, the coarse one by {}: change over earlier.",
                    say(result.fine_error_a, Unit::Ampere),
                    say(result.coarse_error_a, Unit::Ampere)
                ),
            )
            .at("/change_over_a"),
        );
    }
    findings
}

fn working(input: &TwoRangeInput, result: &TwoRangeOutput) -> Vec<Step> {
    let range = |range: RangeError| {
        format!(
            "{} · {} + {}",
            say(range.gain_percent, Unit::Percent),
            say(input.change_over_a, Unit::Ampere),
            say(range.offset_a, Unit::Ampere)
        )
    };
    let q = Quantity::new;
    vec![
        Step::new(
            "Fine range at the change-over",
            "e_f",
            "g I_h + o",
            range(input.fine()),
            q(result.fine_error_a, Unit::Ampere),
            "definition",
        ),
        Step::new(
            "Coarse range at the change-over",
            "e_c",
            "g I_h + o",
            range(input.coarse()),
            q(result.coarse_error_a, Unit::Ampere),
            "definition",
        ),
        Step::new(
            "Seam step",
            "Δ",
            "e_f + e_c",
            format!("{} + {}", say(result.fine_error_a, Unit::Ampere), say(result.coarse_error_a, Unit::Ampere)),
            q(result.seam_step_a, Unit::Ampere),
            "common practice, no source",
        ),
        Step::new(
            "Bits for one range",
            "N",
            "log2(2 I_fs / I_res)",
            format!(
                "log2(2 · {} / {})",
                say(input.coarse.full_scale_a, Unit::Ampere),
                say(input.resolution_a, Unit::Ampere)
            ),
            q(result.bits_for_one_range, Unit::Bit),
            "definition",
        ),
    ]
}

fn view(input: &TwoRangeInput, result: &TwoRangeOutput) -> View {
    let fine = result.curve.iter().filter_map(|point| point.fine_a.map(|error| [point.current_a, error])).collect();
    View {
        lead: format!(
            "The reading may step by {} at {}",
            say(result.seam_step_a, Unit::Ampere),
            say(input.change_over_a, Unit::Ampere)
        ),
        more: format!("One range alone would need {} bits.", say(result.bits_for_one_range.ceil(), Unit::One)),
        checks: result.checks.clone(),
        blocks: vec![
            Block::Figures(vec![
                Figure::new("Seam step", result.seam_step_a, Unit::Ampere, "upwards"),
                Figure::new(
                    "Seam step back",
                    result.seam_step_down_a,
                    Unit::Ampere,
                    format!("at {}", say(result.change_back_a, Unit::Ampere)),
                ),
                Figure::new(
                    "Weight of the fine range",
                    result.fine_weight,
                    Unit::One,
                    "in a fused reading at the change-over",
                ),
                Figure::new(
                    "Fused standard uncertainty",
                    result.fused_standard_a,
                    Unit::Ampere,
                    "independent parts only",
                ),
            ]),
            Block::Chart(Chart {
                id: "ranges".into(),
                finding: result.equal_error_a.map_or_else(
                    || "One range is better at every current both can read".into(),
                    |current| format!("Both ranges err alike at {}", say(current, Unit::Ampere)),
                ),
                conditions: format!(
                    "Change-over at {}, back at {}",
                    say(input.change_over_a, Unit::Ampere),
                    say(result.change_back_a, Unit::Ampere)
                ),
                title: "Error of both ranges against current".into(),
                x: Axis::log("current", Unit::Ampere),
                y: Axis::log("error", Unit::Ampere),
                curves: vec![
                    Curve { label: "fine".into(), stroke: Stroke::Main, points: fine },
                    Curve {
                        label: "coarse".into(),
                        stroke: Stroke::Second,
                        points: result.curve.iter().map(|point| [point.current_a, point.coarse_a]).collect(),
                    },
                ],
                marks: vec![Mark { x: input.change_over_a, y: result.coarse_error_a, label: "change-over".into() }],
                table: Table {
                    id: "ranges-values".into(),
                    caption: "Error of both ranges".into(),
                    note: String::new(),
                    head: "Current".into(),
                    columns: vec![Column::of("Fine", Unit::Ampere), Column::of("Coarse", Unit::Ampere)],
                    rows: result
                        .curve
                        .iter()
                        .step_by(4)
                        .map(|point| Row {
                            head: say(point.current_a, Unit::Ampere),
                            note: String::new(),
                            cells: vec![point.fine_a.into(), Cell::Number(point.coarse_a)],
                        })
                        .collect(),
                },
            }),
        ],
        care: Vec::new(),
    }
}
