//! What the current channel answers.

use serde::Serialize;
use utoipa::ToSchema;

use crate::judge::Verdict;
use crate::propagation::Assessment;

/// The answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ChannelOutput {
    /// The error at every listed current, in the direction in which it is larger.
    pub points: Vec<ChannelPoint>,
    /// The current of the whole range at which most of the allowance is used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst: Option<ChannelPoint>,
    /// The shunt's stress at the hot end.
    pub stress: Stress,
    /// Ripple through the inductance of the shunt.
    pub ripple: Ripple,
    /// Random noise of a reading: not part of the error totals.
    pub noise: Noise,
    /// Use of the range.
    pub range: Range,
    /// What is read at zero current.
    pub zero: Zero,
    /// The error over current, end of life.
    pub curve: Vec<CurvePoint>,
}

/// The error at one current.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ChannelPoint {
    /// The current, A: negative where it errs more while the pack charges.
    pub current_a: f64,
    /// The allowed error, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub allowed_a: Option<f64>,
    /// The error by the chosen method, end of life, calibrated, in the worst state, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged_a: Option<f64>,
    /// Share of the allowance, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used_percent: Option<f64>,
    /// Whether the chain cannot read this current: no error is given then.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub beyond_range: bool,
    /// How it stands.
    pub verdict: Verdict,
    /// The four states of life, each at its worst ambient.
    pub grid: Vec<Grid>,
    /// The worst corner as something a bench can set.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_corner: Option<Recipe>,
    /// All four methods and every contribution in the worst state, end of life, calibrated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assessment: Option<Assessment>,
}

/// One state of life in its worst state.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Grid {
    /// After the calibration.
    pub calibrated: bool,
    /// With the drift over life.
    pub end_of_life: bool,
    /// The ambient at which the error is largest, °C.
    pub ambient_degc: f64,
    /// The element there, °C.
    pub element_degc: f64,
    /// Change of the resistance there, ppm.
    pub change_ppm: f64,
    /// Lower extreme of the model, A.
    pub worst_case_low_a: f64,
    /// Upper extreme of the model, A.
    pub worst_case_high_a: f64,
    /// The larger of both, A.
    pub worst_case_a: f64,
    /// The same in percent of the current: of reading; absent where nothing is read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_case_percent_of_reading: Option<f64>,
    /// The same in percent of the full-scale current.
    pub worst_case_percent_of_full_scale: f64,
    /// What is known and the first-order sum of all limits, A.
    pub sum_of_limits_a: f64,
    /// What is known and the root-sum-square of all limits, A: no coverage interval.
    pub root_sum_square_a: f64,
}

/// A corner as conditions that a test bench can set.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Recipe {
    /// Which way the reading errs there.
    pub direction: String,
    /// Ambient, °C.
    pub ambient_degc: f64,
    /// Element, °C.
    pub element_degc: f64,
    /// The settings in words, the largest sources with their signs.
    pub settings: Vec<String>,
}

/// The shunt's stress at the hottest ambient.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Stress {
    /// Ambient of the shunt, °C.
    pub ambient_degc: f64,
    /// Steady loss of a part without deviations at the continuous current, W.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power_w: Option<f64>,
    /// Rise above ambient, K.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rise_k: Option<f64>,
    /// Its element temperature, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub element_degc: Option<f64>,
    /// Steady loss of the part that is heated most, W: tolerance, drift over life and coefficient at the ends that
    /// heat it, the ripple and peaks that come again counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hottest_power_w: Option<f64>,
    /// Its element temperature, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hottest_element_degc: Option<f64>,
    /// Change of the resistance of the part without deviations, ppm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub change_ppm: Option<f64>,
    /// Where most of the allowed power is used, °C.
    pub power_ambient_degc: f64,
    /// Allowed power there, W.
    pub derated_power_w: f64,
    /// Element temperature of the part that is heated most after the peak, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after_peak_degc: Option<f64>,
    /// Largest continuous current of every part inside the limits, A.
    pub largest_current_a: f64,
}

/// Ripple through the inductance.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Ripple {
    /// Corner R/(2π L), Hz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corner_hz: Option<f64>,
    /// Time constant a low-pass must match, s.
    pub time_constant_s: f64,
    /// Spike of the edges as a false current, A.
    pub spike_a: f64,
    /// Time constant of the low-pass in front of the converter, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low_pass_s: Option<f64>,
    /// What is left of the spike behind that low-pass, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub behind_low_pass_a: Option<f64>,
    /// By how much ripple and edges together swing the signal either way in front of that low-pass, A.
    pub swing_a: f64,
    /// The same behind it, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub swing_behind_low_pass_a: Option<f64>,
}

/// Random noise of a reading, root mean square.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Noise {
    /// Of one result at the data rate, A.
    pub single_a: f64,
    /// Of the average, A.
    pub averaged_a: f64,
    /// Rate of the averaged readings, Hz.
    pub rate_hz: f64,
}

/// Use of the range.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Range {
    /// Signal of the full-scale current, V at the shunt.
    pub full_scale_v: f64,
    /// The current from which on some part is full, whatever its calibration, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub full_at_a: Option<f64>,
    /// The same while the pack charges, A, negative.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub full_below_a: Option<f64>,
    /// Where a part without deviations is full, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal_full_a: Option<f64>,
    /// What is full first.
    #[schema(value_type = String)]
    pub full_first: &'static str,
    /// What is full first while the pack charges.
    #[schema(value_type = String)]
    pub full_below_first: &'static str,
    /// Share of that range that the full-scale current takes, percent; absent where the range is nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used_percent: Option<f64>,
    /// One step of the converter, A.
    pub lsb_a: f64,
}

/// What is read at zero current after calibration, end of life.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Zero {
    /// The ambient at which it is largest, °C.
    pub ambient_degc: f64,
    /// The reading at no current by worst case, A.
    pub offset_a: f64,
    /// The same by root-sum-square, A.
    pub root_sum_square_a: f64,
    /// Charge counted in a day that never flowed, Ah: worst case.
    pub charge_ah_per_day: f64,
    /// The same by root-sum-square, Ah.
    pub root_sum_square_ah_per_day: f64,
    /// The same in percent of the capacity.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub percent_per_day: Option<f64>,
    /// Below this current offsets are larger than gain errors, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crossover_a: Option<f64>,
}

/// A point of the error over current.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct CurvePoint {
    /// Current, A.
    pub current_a: f64,
    /// Worst case after calibration, A.
    pub worst_case_a: f64,
    /// Root-sum-square after calibration, A.
    pub root_sum_square_a: f64,
    /// Worst case before calibration, A.
    pub before_calibration_a: f64,
    /// Allowed, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub allowed_a: Option<f64>,
}
