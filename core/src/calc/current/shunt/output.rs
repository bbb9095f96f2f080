//! What the shunt answers.

use serde::Serialize;
use utoipa::ToSchema;

use super::LimitedBy;

/// What the shunt answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ShuntOutput {
    /// Voltage at the steady current, V. Absent in thermal runaway, like everything that needs a steady temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub signal_v: Option<f64>,
    /// Root mean square of steady current and triangular ripple, A.
    pub rms_current_a: f64,
    /// Loss at the steady state, ripple included, W. Absent in thermal runaway.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power_w: Option<f64>,
    /// Element temperature above ambient, K.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rise_k: Option<f64>,
    /// Element temperature, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub element_degc: Option<f64>,
    /// Resistance at that temperature, Ω.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance_ohm: Option<f64>,
    /// Its change against the reference temperature, ppm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub change_ppm: Option<f64>,
    /// Rth I² dR/dT at the solution: 1 is thermal runaway.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loop_gain: Option<f64>,
    /// Temperature coefficient with the copper share, ppm/K.
    pub effective_tcr_ppm_per_k: f64,
    /// Smallest resistance for which the offset stays inside what is allowed at the smallest current, Ω.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub smallest_resistance_ohm: Option<f64>,
    /// Power allowed at this ambient temperature, W.
    pub derated_power_w: f64,
    /// Smallest current at which no steady temperature exists, A; absent where the resistance does not run away from the heat.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runaway_current_a: Option<f64>,
    /// The part that is heated most within tolerance, spread and drift: heat is judged with it.
    pub hottest: HottestPart,
    /// Largest continuous current that power and temperature of that part allow, A.
    pub largest_current_a: f64,
    /// What sets it.
    pub largest_current_limited_by: LimitedBy,
    /// The pulse.
    pub pulse: Pulse,
    /// The thermal EMF.
    pub emf: Emf,
    /// The inductance.
    pub inductance: Inductance,
    /// The error of the shunt alone at the steady current.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error: Option<ShuntError>,
    /// Signal, heat and error over current.
    pub signals: Vec<Signal>,
    /// Resistance and its change over temperature, with copper for comparison.
    pub curve: Vec<CurvePoint>,
    /// What a correction by temperature leaves.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub compensation: Option<CompensationOutput>,
}

/// The part that is heated most: tolerance, drift over life and coefficient at the ends that heat it. Absent where it has no
/// steady temperature.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct HottestPart {
    /// Its resistance at the reference temperature, Ω.
    pub resistance_ohm: f64,
    /// Loss at the steady state, W.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power_w: Option<f64>,
    /// Steady element temperature, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub element_degc: Option<f64>,
    /// Element temperature after the pulse, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pulse_degc: Option<f64>,
}

/// A pulse from the steady state.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Pulse {
    /// Power at its beginning, W.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power_w: Option<f64>,
    /// Element temperature at its end, °C; absent when it has run away or melted by then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub element_degc: Option<f64>,
    /// Rise if no heat left the element, its resistance following its temperature, K: an upper bound. Absent when the
    /// element has melted by then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub adiabatic_rise_k: Option<f64>,
    /// Let-through of the pulse, A²s.
    pub let_through_a2s: f64,
    /// I²t that heats the element from the steady state to its limit if no heat leaves it, A²s.
    pub adiabatic_limit_a2s: f64,
    /// Longest duration of this pulse, s; absent when it may last for ever.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub longest_s: Option<f64>,
    /// Thermal time constant Rth Cth, s.
    pub time_constant_s: f64,
}

/// The thermal EMF as a false current.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Emf {
    /// EMF, V.
    pub voltage_v: f64,
    /// The same as a current, A: an offset.
    pub current_a: f64,
    /// Below this current the EMF is larger than the tolerance, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dominates_below_a: Option<f64>,
}

/// The inductance: the classic surprise at tens of micro-ohms.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Inductance {
    /// Corner frequency R/(2π L), Hz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corner_hz: Option<f64>,
    /// Time constant L/R, which a low-pass R_f C_f must match, s.
    pub time_constant_s: f64,
    /// Impedance at the ripple frequency against the resistance, as a factor.
    pub ripple_gain: f64,
    /// The same as a rise, percent.
    pub ripple_rise_percent: f64,
    /// Spike of the ripple's edges, V.
    pub ripple_spike_v: f64,
    /// The same as a false current, A.
    pub ripple_spike_a: f64,
    /// Error voltage at the fastest change of current, V.
    pub slew_error_v: f64,
    /// The same as a false current, A.
    pub slew_error_a: f64,
    /// Capacitance that matches with the series resistance, F.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub matching_farad: Option<f64>,
    /// Error left at the ripple frequency when the low-pass is too slow by the given mismatch, percent.
    pub residual_slow_percent: f64,
    /// The same when it is too fast, percent.
    pub residual_fast_percent: f64,
}

/// The error of the shunt alone, in percent of the steady current.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ShuntError {
    /// The terms.
    pub terms: Vec<ErrorTerm>,
    /// Their sum: worst case.
    pub worst_case_percent: f64,
    /// Root-sum-square of the terms: no coverage interval.
    pub root_sum_square_percent: f64,
}

/// One term of the shunt's own error.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ErrorTerm {
    /// What it is.
    pub label: String,
    /// Its size, percent of the current.
    pub percent: f64,
}

/// Signal, heat and error at one current.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Signal {
    /// Current, A.
    pub current_a: f64,
    /// Signal, V.
    pub signal_v: f64,
    /// Power, W.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power_w: Option<f64>,
    /// Element temperature, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub element_degc: Option<f64>,
    /// Worst-case error of the shunt alone, percent of the current.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error_percent: Option<f64>,
}

/// A point of the resistance-temperature curve.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct CurvePoint {
    /// Temperature, °C.
    pub degc: f64,
    /// Resistance, Ω.
    pub resistance_ohm: f64,
    /// Change against the reference temperature, ppm.
    pub change_ppm: f64,
    /// Change of a copper shunt of the same value, ppm (IEC 60028: 3930 ppm/K at 20 °C).
    pub copper_change_ppm: f64,
}

/// What a correction by a temperature sensor leaves.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct CompensationOutput {
    /// Largest change without correction between ambient and the hottest element, ppm.
    pub uncorrected_ppm: f64,
    /// Largest error left with correction, ppm.
    pub corrected_ppm: f64,
    /// Whether the correction makes it better.
    pub worthwhile: bool,
}
