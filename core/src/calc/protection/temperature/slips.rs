//! What shows a slipped power of ten in temperature threshold: where its values usually lie; common practice, no source.

use super::super::slips::{kelvin, time};
use super::TemperatureInput;
use crate::calculation::{Slip, positive};

/// Its slips.
pub const SLIPS: &[Slip<TemperatureInput>] = &[
    kelvin("the error limit", [0.01, 10.0], |i| positive(i.error_normal_k), &["/error_normal_k"]),
    kelvin("the noise", [1e-4, 2.0], |i| positive(i.noise_k), &["/noise_k"]),
    time(
        "the time from the normal extreme to the hazard",
        [0.5, 1e4],
        |i| (i.hazard_degc - i.normal_degc).abs() / positive(i.rate_k_per_s),
        &["/rate_k_per_s"],
    ),
    time(
        "the time of the samples in a row",
        [9e-4, 60.0],
        |i| f64::from(i.samples_in_a_row) / i.sample_rate_hz,
        &["/sample_rate_hz"],
    ),
    time("the time of processing", [1e-7, 10.0], |i| positive(i.processing_s), &["/processing_s"]),
    time("the time of opening", [1e-7, 10.0], |i| positive(i.opening_s), &["/opening_s"]),
    time("the lag of the sensor", [0.05, 600.0], |i| positive(i.lag_s), &["/lag_s"]),
    kelvin(
        "by how much the sensor is colder than the cell",
        [5e-3, 30.0],
        |i| positive(i.cell_power_w * i.cell_to_sensor_k_per_w),
        &["/cell_power_w", "/cell_to_sensor_k_per_w"],
    ),
];
