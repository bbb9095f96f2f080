//! # What shows a slipped power of ten in a threshold
//!
//! Values that follow from typed ones, and where they usually lie: common practice, no source.

use super::current::CurrentInput;
use super::temperature::TemperatureInput;
use super::trip_curve::TripCurveInput;
use super::voltage::VoltageInput;
use crate::calculation::{Slip, positive};
use crate::quantity::Unit;

/// A length of time.
const fn time<I>(words: &'static str, usual: [f64; 2], value: fn(&I) -> f64, from: &'static [&'static str]) -> Slip<I> {
    Slip { words, unit: Unit::Second, usual, value, from }
}

/// A share or a multiple.
const fn part<I>(words: &'static str, usual: [f64; 2], value: fn(&I) -> f64, from: &'static [&'static str]) -> Slip<I> {
    Slip { words, unit: Unit::One, usual, value, from }
}

/// A difference of temperatures.
const fn kelvin<I>(
    words: &'static str,
    usual: [f64; 2],
    value: fn(&I) -> f64,
    from: &'static [&'static str],
) -> Slip<I> {
    Slip { words, unit: Unit::Kelvin, usual, value, from }
}

fn given(value: Option<f64>) -> f64 {
    value.map_or(f64::NAN, positive)
}

/// Of a voltage threshold.
pub const VOLTAGE: &[Slip<VoltageInput>] = &[
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
    time(
        "the time from the normal extreme to the hazard",
        [0.02, 1e4],
        |i| (i.hazard_v - i.normal_v).abs() / positive(i.rate_v_per_s),
        &["/rate_v_per_s"],
    ),
    time(
        "the time of the samples in a row",
        [0.01, 60.0],
        |i| f64::from(i.samples_in_a_row) / i.sample_rate_hz,
        &["/sample_rate_hz"],
    ),
    time("the time of processing", [1e-7, 10.0], |i| positive(i.processing_s), &["/processing_s"]),
    time("the time of opening", [1e-7, 10.0], |i| positive(i.opening_s), &["/opening_s"]),
];

/// Of a current threshold.
pub const CURRENT: &[Slip<CurrentInput>] = &[
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

/// Of a temperature threshold.
pub const TEMPERATURE: &[Slip<TemperatureInput>] = &[
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

/// Of a trip curve.
pub const TRIP_CURVE: &[Slip<TripCurveInput>] = &[
    time(
        "the time at one and a half times the pick-up",
        [0.05, 1e4],
        |i| i.trip_a2s / (1.25 * i.pickup_a * i.pickup_a),
        &["/trip_a2s", "/pickup_a"],
    ),
    time("the reaction", [1e-6, 5.0], |i| positive(i.reaction_s), &["/reaction_s"]),
];
