//! What the voltage channel answers.

use serde::Serialize;
use utoipa::ToSchema;

use crate::calc::voltage::divider::stress::StressRung;
use crate::channel::Lever;
use crate::judge::Verdict;
use crate::propagation::Assessment;

/// The answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct VoltageOutput {
    /// The error at every judged voltage.
    pub points: Vec<VoltagePoint>,
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
    /// The error by the chosen method, end of life, calibrated, at the worst ambient, V.
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
    /// The four states of life, each at its worst ambient.
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
    /// The limit each source alone would need for the requirement to hold.
    pub what_it_takes: Vec<Lever>,
}

/// One state of life at its worst ambient.
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
    /// The same in percent of the voltage: of reading.
    pub worst_case_percent_of_reading: f64,
    /// The same in percent of the voltage at which the chain is full.
    pub worst_case_percent_of_full_scale: f64,
    /// First-order sum of all limits, V.
    pub sum_of_limits_v: f64,
    /// The same in percent of the voltage.
    pub sum_of_limits_percent: f64,
    /// Root-sum-square of all limits, V: no coverage interval.
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
    /// Input at which the chain is full, V.
    pub over_range_v: f64,
    /// What clips there.
    #[schema(value_type = String)]
    pub clips_first: &'static str,
    /// Share of the range at the highest input, percent.
    pub used_percent: f64,
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
