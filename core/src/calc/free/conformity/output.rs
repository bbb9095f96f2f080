//! What a decision on conformity gives.

use serde::Serialize;
use utoipa::ToSchema;

/// What it answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ConformityOutput {
    /// Guard band, in the unit of the limits; negative where the acceptance interval is wider than the tolerance.
    pub guard_band: f64,
    /// Lower acceptance limit; left out without a lower limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub acceptance_lower: Option<f64>,
    /// Upper acceptance limit; left out without an upper limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub acceptance_upper: Option<f64>,
    /// Expanded uncertainty of one measurement.
    pub expanded: f64,
    /// Measurement capability index: the tolerance over four standard uncertainties; left out with one limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capability: Option<f64>,
    /// Risk that a unit measured at the acceptance limit does not conform, percent; left out when nothing is accepted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_risk_percent: Option<f64>,
    /// The unit that was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measured: Option<Measured>,
    /// All units; left out when the process is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<Lot>,
    /// Probability of conformity over the measured value.
    pub curve: Vec<Place>,
    /// Both global risks over the guard band; empty when the process is not known.
    pub guards: Vec<GuardPoint>,
}

/// A unit that was measured.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Measured {
    /// Whether it is accepted.
    pub accepted: bool,
    /// Probability that it conforms, percent.
    pub conformity_percent: f64,
    /// Probability that it does not, percent: the consumer's risk if it is accepted.
    pub risk_percent: f64,
}

/// All units of a process.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Lot {
    /// Share that conforms, percent.
    pub conforming_percent: f64,
    /// Share that is accepted, percent.
    pub accepted_percent: f64,
    /// Share that does not conform and is accepted, percent.
    pub consumer_risk_percent: f64,
    /// Share that conforms and is refused, percent.
    pub producer_risk_percent: f64,
}

/// A measured value of the curve.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct Place {
    /// The measured value.
    pub measured: f64,
    /// Probability that the unit conforms, percent.
    pub conformity_percent: f64,
}

/// A guard band of the curve.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct GuardPoint {
    /// The guard band.
    pub guard_band: f64,
    /// Share that does not conform and is accepted, percent.
    pub consumer_risk_percent: f64,
    /// Share that conforms and is refused, percent.
    pub producer_risk_percent: f64,
}
