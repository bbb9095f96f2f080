//! What the temperature channel answers.

use serde::Serialize;
use utoipa::ToSchema;

use super::ReadBack;
use crate::judge::Verdict;
use crate::propagation::Assessment;
use crate::quantity::celsius;

/// The answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ThermistorOutput {
    /// The points of interest: temperatures at which figures are printed.
    pub points: Vec<ThermistorPoint>,
    /// The temperature of the requirement's range at which the error is largest; absent where nothing is read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst: Option<ThermistorPoint>,
    /// The range that is judged and the range that is read.
    pub range: ThermistorRange,
    /// The sensor's range, evenly spaced.
    pub rows: Vec<ThermistorRow>,
    /// How far a sensor lags behind the fastest ramp: time constant times ramp, K.
    pub lag_k: f64,
    /// How much the cell is warmer than the sensor's place: thermal resistance times heat flow, K.
    pub gradient_k: f64,
    /// The hottest cell may be this much hotter than the reading, at the worst point of interest: error, lag and gradient, K.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hidden_k: Option<f64>,
    /// Choice of the fixed resistor; absent without a divider.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fixed_resistor: Option<FixedResistor>,
    /// Open and shorted sensor against the range.
    pub wire: WireFaults,
    /// The temperature of what was read.
    pub read_back: Vec<ReadBack>,
}

/// Temperatures that are judged and that are read.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ThermistorRange {
    /// The requirement counts from here, °C.
    pub from_degc: f64,
    /// Up to here, °C.
    pub to_degc: f64,
    /// Below it the code of some part in some state is at an end of the converter, °C; absent where none is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub full_below_degc: Option<f64>,
    /// From there on it is, °C; absent where none is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub full_from_degc: Option<f64>,
    /// Coldest ambient of the read-out, °C.
    pub electronics_min_degc: f64,
    /// Hottest ambient of the read-out, °C.
    pub electronics_max_degc: f64,
}

/// A point of interest.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ThermistorPoint {
    /// Everything at this temperature.
    pub at: ThermistorRow,
    /// The allowed error, K.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub allowed_k: Option<f64>,
    /// The error by the chosen method, K; absent where no error can be given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged_k: Option<f64>,
    /// Share of the allowance, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used_percent: Option<f64>,
    /// Whether the code of some part is at an end of the converter here.
    pub beyond_range: bool,
    /// The state in which the error is largest, in words; empty where there is but one.
    pub state: String,
    /// How it stands.
    pub verdict: Verdict,
    /// All four methods and every contribution, in that state.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assessment: Option<Assessment>,
}

/// One temperature.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ThermistorRow {
    /// Temperature, °C.
    pub degc: f64,
    /// Resistance, Ω.
    pub resistance_ohm: f64,
    /// Smallest resistance of a sensor within its tolerance, Ω.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance_low_ohm: Option<f64>,
    /// Largest resistance of a sensor within its tolerance, Ω.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance_high_ohm: Option<f64>,
    /// Temperature coefficient, percent per kelvin.
    pub alpha_percent_per_k: f64,
    /// Voltage at the converter, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub output_v: Option<f64>,
    /// Change of that voltage with temperature, V/K.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sensitivity_v_per_k: Option<f64>,
    /// Frequency, Hz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub output_hz: Option<f64>,
    /// Code or count, not rounded.
    pub code: f64,
    /// One code in kelvin: resolution, not accuracy.
    pub step_k: f64,
    /// What a straight scale between the ends of the range would be wrong by, K.
    pub nonlinearity_k: f64,
    /// Heat in the sensor while it is powered, W.
    pub power_w: f64,
    /// Self-heating at the equilibrium with that heat, K: reads warm, from nothing at switch-on; absent when there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub self_heating_k: Option<f64>,
    /// Standard deviation by the converter's noise, K.
    pub noise_k: f64,
    /// The parts of the error, first order; absent where the reading has no limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error: Option<RowError>,
}

/// Extremes and sums over the states of a temperature, K.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Over {
    /// Lower extreme of the model.
    pub low: f64,
    /// Upper extreme of the model.
    pub high: f64,
    /// Known deviations and the sum of all limits.
    pub sum: f64,
    /// Known deviations and the root-sum-square of all limits.
    pub root: f64,
}

impl Over {
    /// Over both.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
            sum: self.sum.max(other.sum),
            root: self.root.max(other.root),
        }
    }
}

/// The error at one temperature, K. The parts are limits, first order; known deviations carry their sign. Extremes and sums
/// are the largest of all states.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RowError {
    /// By the tolerance of the sensor's resistance.
    pub resistance_k: f64,
    /// By the tolerance of beta, of the curve, or by the class.
    pub curve_k: f64,
    /// By the fixed resistor, the capacitance, the reference resistor or the current.
    pub part_k: f64,
    /// By the drift of the same over the temperature of the electronics.
    pub part_drift_k: f64,
    /// By supply, thresholds or delay.
    pub reference_k: f64,
    /// By offset, gain, non-linearity and rounding, or by clock and counting.
    pub converter_k: f64,
    /// Tolerance of the parts alone: resistance, curve and fixed resistor.
    pub tolerance_k: f64,
    /// By what sensor, fixed part and reference age.
    pub ageing_k: f64,
    /// By the leads, signed, first order.
    pub lead_k: f64,
    /// By the leakage while it is there, signed, first order.
    pub leakage_k: f64,
    /// Lower extreme of the model.
    pub worst_case_low_k: f64,
    /// Upper extreme of the model.
    pub worst_case_high_k: f64,
    /// The larger of both.
    pub worst_case_k: f64,
    /// Known deviations and the first-order sum of all limits.
    pub sum_of_limits_k: f64,
    /// Known deviations and the root-sum-square of all limits: no coverage interval.
    pub root_sum_square_k: f64,
}

/// Choice of the fixed resistor.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FixedResistor {
    /// The temperature it is chosen for, °C.
    pub centre_degc: f64,
    /// Resistance of the sensor there, Ω.
    pub sensor_ohm: f64,
    /// The resistors, the one in use first.
    pub choices: Vec<ResistorChoice>,
}

/// One resistor.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ResistorChoice {
    /// What it is best at.
    pub purpose: &'static str,
    /// Its value, Ω.
    pub ohm: f64,
    /// Nearest value of series E24, Ω.
    pub e24_ohm: f64,
    /// Nearest value of series E96, Ω.
    pub e96_ohm: f64,
    /// One code at the centre, K.
    pub step_at_centre_k: f64,
    /// One code where it is worth most kelvins, K.
    pub step_worst_k: f64,
    /// Largest error of a straight scale, K.
    pub nonlinearity_k: f64,
    /// One code over the range.
    pub curve: Vec<ResolutionPoint>,
}

/// One code at one temperature.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ResolutionPoint {
    /// Temperature, °C.
    pub degc: f64,
    /// One code, K.
    pub step_k: f64,
}

/// Open and shorted sensor against the codes of the range.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct WireFaults {
    /// The end of the range that an open wire looks like: cold for a thermistor, hot for platinum.
    pub open_looks: &'static str,
    /// Code of an open wire, by the leakage or the end of the range; absent when the oscillator stops.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub open_code: Option<f64>,
    /// Code of the sensor at the end that an open wire looks like, with its leads and behind the leakage.
    pub near_open_code: f64,
    /// How far the reading at that end may be off, in codes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub near_open_error_codes: Option<f64>,
    /// Codes left between both, the sensor with and without the leakage; below one an open wire cannot be told from a
    /// working sensor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub open_margin_codes: Option<f64>,
    /// A threshold in the middle between both; absent when nothing parts them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub open_threshold_code: Option<f64>,
    /// What firmware would show for an open wire, °C; absent when its code leads to no temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub open_reads_degc: Option<f64>,
    /// Code of a shorted sensor, with its leads; absent for an oscillator without a delay.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub short_code: Option<f64>,
    /// Code of the sensor at the other end.
    pub near_short_code: f64,
    /// Codes left between both.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub short_margin_codes: Option<f64>,
    /// A threshold in the middle between both; absent when nothing parts them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub short_threshold_code: Option<f64>,
    /// Slow faults: what is read at both ends of the range and whether a range check sees it.
    pub drifts: Vec<SlowFault>,
}

impl WireFaults {
    /// The sensor at the end that an open wire looks like, in a word.
    pub fn extreme(&self) -> &'static str {
        if self.open_looks == "cold" { "coldest" } else { "hottest" }
    }

    /// What an open wire looks like, by what firmware would show.
    pub fn looks(&self) -> String {
        self.open_reads_degc
            .map_or_else(|| format!("like a {} cell", self.open_looks), |degc| format!("like {}", celsius(degc)))
    }

    /// Whether a check against the thresholds for open and short alone sees a code.
    pub fn sees(&self, code: f64) -> bool {
        [(self.open_threshold_code, self.near_open_code), (self.short_threshold_code, self.near_short_code)]
            .into_iter()
            .any(|(threshold, near)| threshold.is_some_and(|threshold| (code - threshold) * (threshold - near) >= 0.0))
    }
}

/// A fault that leaves a plausible resistance.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct SlowFault {
    /// What happened.
    pub fault: &'static str,
    /// The true temperature, °C.
    pub degc: f64,
    /// The code, at most the end of the converter's range.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub code: Option<f64>,
    /// What is read, °C; absent when nothing can be.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reads_degc: Option<f64>,
    /// Read less true, K.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error_k: Option<f64>,
    /// Whether a check against the thresholds for open and short sees it.
    pub seen: bool,
}
