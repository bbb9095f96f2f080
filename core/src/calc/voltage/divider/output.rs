//! What the divider answers.

use serde::Serialize;
use utoipa::ToSchema;

use super::chain::DividerPath;
use super::fault::DividerFault;
use super::stress::{ElementCount, StressRung};

/// The answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerOutput {
    /// Ratio and use of the range.
    pub ratio: DividerRatio,
    /// Stress of the elements.
    pub stress: DividerStress,
    /// What the tolerances make of the ratio.
    pub tolerance: DividerTolerance,
    /// What temperature and life make of it.
    pub drift: DividerDrift,
    /// What the loss in the elements makes of it.
    pub heating: DividerHeating,
    /// The voltage coefficient.
    pub bend: DividerBend,
    /// Load and bias current.
    pub load: DividerLoad,
    /// Surface leakage.
    pub leakage: DividerLeakage,
    /// Source resistance, filter and noise.
    pub dynamics: DividerDynamics,
    /// What the string takes from the pack.
    pub drain: DividerDrain,
    /// What it does to the insulation.
    pub insulation: DividerInsulation,
    /// One element open or short.
    pub faults: Vec<DividerFault>,
    /// Smallest change of one upper element that the comparison with the cells sees, percent.
    pub smallest_seen_drift_percent: f64,
    /// Creepage along the chain.
    pub creepage: Vec<DividerPath>,
    /// The divider's own error at the highest input, end of life, without calibration.
    pub error: DividerError,
    /// Error of the voltage coefficient over voltage.
    pub curve: Vec<DividerBendPoint>,
}

/// Ratio and use of the range.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerRatio {
    /// Output over input, with the load.
    pub ratio: f64,
    /// The same without the load.
    pub unloaded_ratio: f64,
    /// Input over output, with the load: the constant of the firmware.
    pub factor: f64,
    /// The same without the load.
    pub unloaded_factor: f64,
    /// Output at the highest input, V.
    pub output_v: f64,
    /// Output at the lowest input, V.
    pub output_min_v: f64,
    /// Output at the transient, V.
    pub transient_output_v: Option<f64>,
    /// Input at which the converter is full, V, of a divider without errors.
    pub over_range_v: f64,
    /// Input at which the first divider inside every limit is full, V: highest ratio over temperature and life.
    pub full_from_v: f64,
    /// Share of the converter's range at the highest input, percent.
    pub range_used_percent: f64,
}

/// Stress of the elements.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerStress {
    /// The cases: normal, unequal sharing, one short, surge, lower part.
    pub ladder: Vec<StressRung>,
    /// What an upper element may carry at this ambient, V.
    pub limit_v: f64,
    /// Voltage at which its derated power is reached, V.
    pub power_limited_v: f64,
    /// Its derated power, W.
    pub derated_power_w: f64,
    /// Above this resistance the working voltage governs, below it the derated power, Ω; absent where nothing is allowed.
    pub critical_ohm: Option<f64>,
    /// Elements that the count rule asks for.
    pub count: ElementCount,
}

/// Tolerance of the ratio, relative parts in percent.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerTolerance {
    /// Relative sensitivity of the ratio to the upper string: −(1 − k).
    pub sensitivity_upper: f64,
    /// Relative sensitivity to the lower string.
    pub sensitivity_lower: f64,
    /// Upper string, worst case: the limit of one element.
    pub upper_worst_percent: f64,
    /// Upper string, root-sum-square of independent elements: t/√n.
    pub upper_independent_percent: f64,
    /// Upper string, root-sum-square with the given correlation: t √((1 + (n − 1) r)/n).
    pub upper_correlated_percent: f64,
    /// Upper string, standard uncertainty of independent rectangular limits: t/√(3 n).
    pub upper_standard_independent_percent: f64,
    /// Upper string, standard uncertainty when all move together: t/√3.
    pub upper_standard_common_percent: f64,
    /// Highest ratio, exact.
    pub ratio_high_percent: f64,
    /// Lowest ratio, exact.
    pub ratio_low_percent: f64,
    /// Worst case to first order.
    pub worst_case_percent: f64,
    /// Root-sum-square with independent elements: no coverage interval.
    pub independent_percent: f64,
    /// Root-sum-square with the given correlation: no coverage interval.
    pub correlated_percent: f64,
    /// Standard uncertainty, rectangular limits of independent elements.
    pub standard_percent: f64,
}

/// Temperature and life.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerDrift {
    /// Distance from the calibration temperature, K.
    pub distance_k: f64,
    /// Ratio error by the tracking limit, percent.
    pub tracking_percent: f64,
    /// Ratio error by both absolute coefficients, percent.
    pub absolute_percent: f64,
    /// The one that counts, percent.
    pub counted_percent: f64,
    /// Ratio error of the upper string's ageing, percent.
    pub upper_life_percent: f64,
    /// Ratio error of the lower string's ageing, percent.
    pub lower_life_percent: f64,
}

/// Self-heating at the highest input: it comes and goes with the square of the voltage.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct DividerHeating {
    /// Upper element above ambient, K.
    pub upper_k: f64,
    /// Lower element above ambient, K.
    pub lower_k: f64,
    /// Largest ratio error of it, percent.
    pub error_percent: f64,
}

/// The voltage coefficient: a bend, not a gain.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerBend {
    /// q of the error q V², ppm/V of the input.
    pub coefficient_ppm_per_v: f64,
    /// Error at the highest input without calibration, V.
    pub at_max_v: f64,
    /// The same, percent.
    pub at_max_percent: f64,
    /// Lower calibration voltage, V.
    pub calibration_low_v: f64,
    /// Upper calibration voltage, V.
    pub calibration_high_v: f64,
    /// Largest error left between the calibration voltages, V: |q| (V2 − V1)²/4.
    pub left_between_v: f64,
    /// Error left at the highest input, V.
    pub left_at_max_v: f64,
    /// Error left at the lowest input, V.
    pub left_at_min_v: f64,
}

/// Load and bias current.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerLoad {
    /// Change of the ratio by the load, percent.
    pub loading_percent: f64,
    /// What the tolerance of the load makes of it, percent.
    pub spread_percent: f64,
    /// Error of the bias current at the output, V.
    pub bias_output_v: f64,
    /// The same at the pack, V.
    pub bias_v: f64,
    /// The same of the highest input, percent.
    pub bias_percent: f64,
}

/// Surface leakage.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerLeakage {
    /// Ratio error with the leakage across the whole upper string, percent.
    pub whole_percent: Option<f64>,
    /// The same across one element, percent: about n² times smaller.
    pub element_percent: Option<f64>,
    /// The same across the lower part, percent.
    pub lower_percent: Option<f64>,
    /// The one that counts, percent.
    pub counted_percent: Option<f64>,
    /// Smallest leakage resistance across the whole string inside the budget, Ω.
    pub smallest_ohm: Option<f64>,
    /// The same across one element, Ω.
    pub smallest_element_ohm: Option<f64>,
}

/// Source resistance, filter and noise.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerDynamics {
    /// Rl ∥ Ru, Ω.
    pub source_ohm: f64,
    /// The same with the load across it, Ω.
    pub source_loaded_ohm: f64,
    /// Corner, Hz.
    pub corner_hz: Option<f64>,
    /// Time constant, s.
    pub time_constant_s: Option<f64>,
    /// Settling to 0.1 %, s.
    pub settling_1000_s: Option<f64>,
    /// Settling to 0.01 %, s.
    pub settling_10000_s: Option<f64>,
    /// Lag on the fastest ramp, V at the pack.
    pub ramp_lag_v: Option<f64>,
    /// Thermal noise at the output, V.
    pub noise_output_v: Option<f64>,
    /// The same at the pack, V.
    pub noise_v: Option<f64>,
}

/// What the strings take from the pack.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerDrain {
    /// Current of one string at the highest input, A.
    pub current_a: f64,
    /// Power of all strings, W.
    pub power_w: f64,
    /// Charge a year of all strings, Ah.
    pub charge_ah_per_year: f64,
    /// Energy a day of all strings, J.
    pub energy_j_per_day: f64,
}

/// The strings as insulation resistance.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DividerInsulation {
    /// Whether the strings lie between pack and chassis.
    pub counts: bool,
    /// All strings, Ω.
    pub strings_ohm: f64,
    /// With the insulation of the pack in parallel, Ω.
    pub together_ohm: f64,
    /// The same with the strings at the lower end of tolerance and drift, Ω: what is judged.
    pub least_ohm: f64,
    /// The same per volt of the highest input, Ω/V.
    pub ohm_per_v: f64,
    /// The strings alone, Ω/V.
    pub strings_ohm_per_v: f64,
    /// Whether 100 Ω/V are kept with the strings at their lowest; absent while the insulation of the pack is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub keeps_100: Option<bool>,
    /// Whether 500 Ω/V are kept so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub keeps_500: Option<bool>,
}

/// The divider's own error, percent of the highest input.
#[derive(Clone, Debug, Default, Serialize, ToSchema)]
pub struct DividerError {
    /// The terms.
    pub terms: Vec<DividerErrorTerm>,
    /// Their sum: worst case.
    pub worst_case_percent: f64,
    /// Root-sum-square of the terms: no coverage interval.
    pub root_sum_square_percent: f64,
}

/// One term of the divider's own error.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct DividerErrorTerm {
    /// What it is.
    pub label: &'static str,
    /// Its size, percent of the input.
    pub percent: f64,
    /// Whether it is a fixed voltage instead of a part of the reading.
    pub fixed: bool,
}

/// The error of the voltage coefficient at one input.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct DividerBendPoint {
    /// Input, V.
    pub input_v: f64,
    /// Without calibration, V.
    pub before_v: f64,
    /// After two-point calibration, V.
    pub after_v: f64,
}
