//! The measurement of the insulation with a known resistor: two readings, and what they are worth.
//!
//! The regulation's resistance is the pack's voltage over the largest current with one pole put solidly to the chassis: up
//! to twice the resistance of all paths in parallel. The meter loads every reading alike and cancels in it, as long as the
//! voltage between the poles is read and not added up.

use serde::Serialize;
use utoipa::ToSchema;

use super::bus::Node;
use super::input::TwoMeasurement;
use crate::field::FieldError;
use crate::quantity::volt;

/// What the readings say.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationMeasured {
    /// The larger of the two readings.
    pub larger_v: f64,
    /// Whether that is the negative pole's.
    pub at_negative: bool,
    /// The isolation resistance of the regulation.
    pub method_ohm: f64,
    /// All paths and the meter in parallel.
    pub with_meter_ohm: f64,
    /// All paths in parallel, without the meter; absent where the meter alone gives less.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parallel_ohm: Option<f64>,
    /// What a drift of the pack between the readings does, its limit.
    pub drift_ohm: f64,
    /// What the known resistor's tolerance does.
    pub resistor_ohm: f64,
    /// What the limit of the reading with the resistor does.
    pub with_resistor_ohm: f64,
    /// What the limit of the larger reading does.
    pub larger_ohm: f64,
    /// What limit and gain of the reading between the poles do.
    pub between_ohm: f64,
    /// All of them together.
    pub limit_ohm: f64,
    /// Standard uncertainty, rectangular limits.
    pub standard_ohm: f64,
    /// The least that it can be.
    pub lower_ohm: f64,
    /// Whether the readings lie too near to each other.
    pub too_near: bool,
}

/// A difference of two readings counts from so many of their limits on.
const CLEAR: f64 = 10.0;

/// The readings of the method that a bus gives: negative pole, positive pole, and the larger with the resistor.
pub fn readings(paths: Node, voltage_v: f64, meter_ohm: Option<f64>, r0_ohm: f64) -> [f64; 3] {
    let meter = meter_ohm.map_or(0.0, |ohm| 1.0 / ohm);
    let negative = |more: f64| voltage_v * paths.weighted / (paths.siemens + more);
    let positive = |more: f64| voltage_v * (paths.siemens - paths.weighted) / (paths.siemens + more);
    let (v1, v2, with) = (negative(meter), positive(meter), meter + 1.0 / r0_ohm);
    [v1, v2, if v1 >= v2 { negative(with) } else { positive(with) }]
}

/// What the readings say; nothing before all are given.
pub fn measured(input: &TwoMeasurement) -> Option<IsolationMeasured> {
    let (vb, v1, v2) = (input.vb_v?, input.v1_v?, input.v2_v?);
    let (with, r0) = (input.v_with_r0_v?, input.r0_ohm?);
    let larger = v1.max(v2);
    let method = r0 * vb * (1.0 / with - 1.0 / larger);
    let with_meter = r0 * (larger / with - 1.0);
    let own = 1.0 / with_meter - input.meter_ohm.map_or(0.0, |ohm| 1.0 / ohm);
    let reading = input.reading_limit_v;
    let drift = r0 * vb / with * input.drift_percent / 100.0;
    let resistor = method * input.r0_tolerance_percent / 100.0;
    let with_resistor = r0 * vb / (with * with) * reading;
    let of_larger = r0 * vb / (larger * larger) * reading;
    let gain = method * input.gain_vb_percent / 100.0;
    let offset = method / vb * reading;
    let limits = [drift, resistor, with_resistor, of_larger, offset, gain];
    let limit: f64 = limits.iter().sum();
    Some(IsolationMeasured {
        larger_v: larger,
        at_negative: v1 >= v2,
        method_ohm: method,
        with_meter_ohm: with_meter,
        parallel_ohm: (own > 0.0).then(|| 1.0 / own),
        drift_ohm: drift,
        resistor_ohm: resistor,
        with_resistor_ohm: with_resistor,
        larger_ohm: of_larger,
        between_ohm: offset + gain,
        limit_ohm: limit,
        standard_ohm: (limits.iter().map(|limit| limit * limit).sum::<f64>() / 3.0).sqrt(),
        lower_ohm: method - limit,
        too_near: larger - with < CLEAR * reading,
    })
}

/// Readings that contradict each other.
pub fn contradictions(input: &TwoMeasurement) -> Vec<FieldError> {
    let mut faults = Vec::new();
    let larger = input.v1_v.zip(input.v2_v).map(|(one, other)| one.max(other));
    if let Some((with, larger)) = input.v_with_r0_v.zip(larger).filter(|(with, larger)| with >= larger) {
        faults.push(FieldError::contradiction(
            "/two_measurement/v_with_r0_v",
            "With the known resistor the reading does not fall: it stands between the larger one and the chassis.",
            format!("below {}", volt(larger)),
            volt(with),
        ));
    }
    if let Some((vb, larger)) = input.vb_v.zip(larger).filter(|(vb, larger)| larger > vb) {
        faults.push(FieldError::contradiction(
            "/two_measurement/vb_v",
            "One pole reads more against the chassis than the poles against each other.",
            format!("at least {}", volt(larger)),
            volt(vb),
        ));
    }
    faults
}
