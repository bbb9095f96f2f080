//! What shows a slipped power of ten in voltage threshold: where its values usually lie; common practice, no source.

use super::super::slips::{given, part, time};
use super::{VoltageInput, VoltageKind};
use crate::calculation::{Slip, positive};

/// What is usual of a cell is not of a whole: a cell moves in seconds, a link that loses its load in microseconds.
fn of_cell(i: &VoltageInput, seconds: f64) -> f64 {
    if matches!(i.kind, VoltageKind::CellOver | VoltageKind::CellUnder) { seconds } else { f64::NAN }
}

fn of_whole(i: &VoltageInput, seconds: f64) -> f64 {
    if of_cell(i, seconds).is_nan() { seconds } else { f64::NAN }
}

fn to_hazard(i: &VoltageInput) -> f64 {
    (i.hazard_v - i.normal_v).abs() / positive(i.rate_v_per_s)
}

fn in_a_row(i: &VoltageInput) -> f64 {
    f64::from(i.samples_in_a_row) / i.sample_rate_hz
}

const TO_HAZARD: &str = "the time from the normal extreme to the hazard";
const IN_A_ROW: &str = "the time of the samples in a row";

/// Its slips.
pub const SLIPS: &[Slip<VoltageInput>] = &[
    part(
        "the hazard as a multiple of the normal extreme",
        [0.2, 5.0],
        |i| positive(i.hazard_v) / positive(i.normal_v),
        &["/hazard_v", "/normal_v"],
    ),
    part(
        "the threshold as a multiple of the normal extreme",
        [0.2, 5.0],
        |i| given(i.threshold_v) / positive(i.normal_v),
        &["/threshold_v"],
    ),
    part(
        "the error as a share of the normal extreme",
        [1e-5, 0.1],
        |i| positive(i.error_normal_v) / positive(i.normal_v),
        &["/error_normal_v"],
    ),
    part(
        "the error at the hazard as a share of it",
        [1e-5, 0.1],
        |i| given(i.error_hazard_v) / positive(i.hazard_v),
        &["/error_hazard_v"],
    ),
    part(
        "the noise as a share of the normal extreme",
        [1e-6, 0.02],
        |i| positive(i.noise_v) / positive(i.normal_v),
        &["/noise_v"],
    ),
    time(TO_HAZARD, [0.02, 1e4], |i| of_cell(i, to_hazard(i)), &["/rate_v_per_s"]),
    time(TO_HAZARD, [1e-5, 1e4], |i| of_whole(i, to_hazard(i)), &["/rate_v_per_s"]),
    time(IN_A_ROW, [0.01, 60.0], |i| of_cell(i, in_a_row(i)), &["/sample_rate_hz"]),
    time(IN_A_ROW, [1e-7, 60.0], |i| of_whole(i, in_a_row(i)), &["/sample_rate_hz"]),
    time("the time of processing", [1e-7, 10.0], |i| positive(i.processing_s), &["/processing_s"]),
    time("the time of opening", [1e-7, 10.0], |i| positive(i.opening_s), &["/opening_s"]),
];
