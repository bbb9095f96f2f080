//! What the voltage channel answers.

use serde::Serialize;
use utoipa::ToSchema;

use crate::calc::voltage::divider::stress::StressRung;
use crate::judge::Verdict;
use crate::propagation::Assessment;

/// The answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct VoltageOutput {
    /// The error at every listed voltage.
    pub points: Vec<VoltagePoint>,
    /// The voltage of the whole range at which most of the allowance is used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst: Option<VoltagePoint>,
    /// Ratio and use of the range.
    pub range: VoltageRange,
    /// The voltage coefficient before and after calibration.
    pub bend: VoltageBend,
    /// Random noise of a reading: not part of the error totals.
    pub noise: VoltageNoise,
    /// Stress of the elements at the hot end.
    pub stress: Vec<StressRung>,
    /// The error over voltage, end of life.
    pub curve: Vec<VoltageCurvePoint>,
}

/// The error at one voltage.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct VoltagePoint {
    /// The voltage, V.
    pub voltage_v: f64,
    /// Whether the chain clips below this voltage: it cannot be read, and no error is given.
    pub beyond_range: bool,
    /// The allowed error, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub allowed_v: Option<f64>,
    /// The error by the chosen method, end of life, calibrated, in the worst state, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged_v: Option<f64>,
    /// The same in percent of the voltage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged_percent: Option<f64>,
    /// Share of the allowance, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used_percent: Option<f64>,
    /// How it stands.
    pub verdict: Verdict,
    /// The four states of life, each in its worst state.
    pub grid: Vec<VoltageGrid>,
    /// The worst corner as something a bench can set.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_corner: Option<VoltageRecipe>,
    /// Without calibration: all four methods and every contribution at the worst corner, end of life.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<Assessment>,
    /// After calibration: the same.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assessment: Option<Assessment>,
}

/// One state of life in its worst state.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct VoltageGrid {
    /// After the calibration.
    pub calibrated: bool,
    /// With the drift over life.
    pub end_of_life: bool,
    /// The ambient at which the error is largest, °C.
    pub ambient_degc: f64,
    /// Lower extreme of the model, V.
    pub worst_case_low_v: f64,
    /// Upper extreme of the model, V.
    pub worst_case_high_v: f64,
    /// The larger of both, V.
    pub worst_case_v: f64,
    /// The same in percent of the voltage: of reading; absent where nothing is read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_case_percent_of_reading: Option<f64>,
    /// The same in percent of the voltage at which the chain is full.
    pub worst_case_percent_of_full_scale: f64,
    /// What is known and the first-order sum of all limits, V.
    pub sum_of_limits_v: f64,
    /// The same in percent of the voltage.
    pub sum_of_limits_percent: f64,
    /// What is known and the root-sum-square of all limits, V: no coverage interval.
    pub root_sum_square_v: f64,
    /// The same in percent of the voltage.
    pub root_sum_square_percent: f64,
}

/// A corner as conditions that a test bench can set.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct VoltageRecipe {
    /// Which way the reading errs there.
    pub direction: String,
    /// Ambient, °C.
    pub ambient_degc: f64,
    /// The settings in words, the largest sources with their signs.
    pub settings: Vec<String>,
}

/// Ratio and use of the range.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct VoltageRange {
    /// The constant of the firmware: input over output.
    pub factor: f64,
    /// Output of the divider at the highest input, V.
    pub output_v: f64,
    /// Input from which on some part is full, whatever its calibration, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub full_at_v: Option<f64>,
    /// Input at which a part without deviations is full, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub over_range_v: Option<f64>,
    /// What is full first.
    #[schema(value_type = String)]
    pub clips_first: &'static str,
    /// Share of the range at the highest input, percent; absent where the range is nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used_percent: Option<f64>,
    /// One step of the converter, V at the pack.
    pub lsb_v: f64,
}

/// The voltage coefficient.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct VoltageBend {
    /// q of the error q V², ppm/V of the input.
    pub coefficient_ppm_per_v: f64,
    /// Error at the highest input without calibration, V.
    pub before_v: f64,
    /// Error left at the highest input by a two-point calibration, V.
    pub after_v: f64,
    /// Largest error left between the calibration voltages, V.
    pub between_v: f64,
}

/// Random noise of a reading, root mean square at the pack.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct VoltageNoise {
    /// Thermal noise of the divider in the band of filter and amplifier, V. Behind the filter it is its kT/C.
    pub divider_v: f64,
    /// White noise of the amplifier, V.
    pub amplifier_v: f64,
    /// 1/f noise of the amplifier, V: averaging does not reduce it.
    pub flicker_v: f64,
    /// Noise of the converter, V.
    pub converter_v: f64,
    /// Of one result, V.
    pub single_v: f64,
    /// Of the average, V.
    pub averaged_v: f64,
}

/// A point of the error over voltage.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct VoltageCurvePoint {
    /// Voltage, V.
    pub voltage_v: f64,
    /// Worst case after calibration, V.
    pub worst_case_v: f64,
    /// Root-sum-square after calibration, V.
    pub root_sum_square_v: f64,
    /// Worst case before calibration, V.
    pub before_calibration_v: f64,
    /// Allowed, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub allowed_v: Option<f64>,
}
