//! What shows a slipped power of ten in current threshold: where its values usually lie; common practice, no source.

use super::super::slips::{given, part, time};
use super::CurrentInput;
use crate::calculation::{Slip, positive};

/// Its slips.
pub const SLIPS: &[Slip<CurrentInput>] = &[
    part(
        "the hazard as a multiple of the normal extreme",
        [0.2, 50.0],
        |i| positive(i.hazard_a) / positive(i.normal_a),
        &["/hazard_a", "/normal_a"],
    ),
    part(
        "the threshold as a multiple of the normal extreme",
        [0.2, 50.0],
        |i| given(i.threshold_a) / positive(i.normal_a),
        &["/threshold_a"],
    ),
    part(
        "the error as a share of the normal extreme",
        [1e-5, 0.2],
        |i| positive(i.error_normal_a) / positive(i.normal_a),
        &["/error_normal_a"],
    ),
    part(
        "the error at the hazard as a share of it",
        [1e-5, 0.2],
        |i| given(i.error_hazard_a) / positive(i.hazard_a),
        &["/error_hazard_a"],
    ),
    part(
        "the noise as a share of the normal extreme",
        [1e-6, 0.05],
        |i| positive(i.noise_a) / positive(i.normal_a),
        &["/noise_a"],
    ),
    time(
        "the time from the normal extreme to the hazard",
        [1e-7, 1e3],
        |i| (i.hazard_a - i.normal_a).abs() / positive(i.rate_a_per_s),
        &["/rate_a_per_s"],
    ),
    time(
        "the time of the samples in a row",
        [1e-6, 10.0],
        |i| f64::from(i.samples_in_a_row) / i.sample_rate_hz,
        &["/sample_rate_hz"],
    ),
    time("the time of processing", [1e-7, 5.0], |i| positive(i.processing_s), &["/processing_s"]),
    time("the time of opening", [1e-7, 5.0], |i| positive(i.opening_s), &["/opening_s"]),
    time(
        "how long the wire takes the strongest fault",
        [1e-4, 1e4],
        |i| given(i.wire_a2s) / given(i.strongest_fault_a).powi(2),
        &["/wire_a2s"],
    ),
    time(
        "how long the shunt takes the strongest fault",
        [1e-4, 1e4],
        |i| given(i.shunt_a2s) / given(i.strongest_fault_a).powi(2),
        &["/shunt_a2s"],
    ),
];
