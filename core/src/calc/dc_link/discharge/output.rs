//! What a discharge answers.

use serde::Serialize;
use utoipa::ToSchema;

/// The answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DischargeOutput {
    /// Energy of the charged link at its largest capacitance, J.
    pub stored_j: f64,
    /// Energy that must leave it, J.
    pub removed_j: f64,
    /// Energy in the active discharge: the whole of the link's, or what it takes within its allowed time from sources that
    /// go on feeding, when that is more, J.
    pub active_j: f64,
    /// Highest link voltage: a back-EMF or a feed may lift it above its start, V.
    pub highest_v: f64,
    /// The active discharge, alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub active: Option<DischargeWay>,
    /// The bleeder, alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub passive: Option<DischargeWay>,
    /// Both together, slowest, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub together_s: Option<f64>,
    /// Energy in the active discharge within its allowed time when a welded contactor keeps the pack connected, at the
    /// tolerance that takes most, J.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub connected_j: Option<f64>,
    /// The test for a welded contactor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weld: Option<DischargeWeld>,
    /// The link voltage over time.
    pub curve: Vec<DischargePoint>,
}

/// One way to discharge.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DischargeWay {
    /// Longest time, every value at its slow limit, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_s: Option<f64>,
    /// Time at nominal values, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal_s: Option<f64>,
    /// Power at the start, nominal, W.
    pub start_w: f64,
    /// Power at the highest link voltage at the tolerance that takes most, W.
    pub highest_w: f64,
    /// Highest link voltage, V.
    pub highest_v: f64,
    /// Voltage left after the allowed time, slowest, V.
    pub left_v: f64,
    /// Energy left after the allowed time, J.
    pub left_j: f64,
    /// Largest nominal resistance that keeps the allowed time, with this tolerance, Ω.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub largest_ohm: Option<f64>,
    /// Loss at the start voltage with that resistance, W.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub largest_w: Option<f64>,
}

/// The test for a welded contactor.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DischargeWeld {
    /// Smallest drop of an opened link until the second reading, V.
    pub drop_v: f64,
    /// The start voltage that gives it, V.
    pub drop_at_v: f64,
    /// Drop that is needed for a level to exist, V.
    pub needed_v: f64,
    /// Largest drop that the readings of a welded link can show, V.
    pub welded_v: f64,
    /// Smallest drop that the readings of an opened link can show, V.
    pub opened_v: f64,
    /// Level between both; absent when there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_v: Option<f64>,
    /// Shortest time after which a level exists, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shortest_s: Option<f64>,
}

/// A point of the decay.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct DischargePoint {
    /// Time, s.
    pub time_s: f64,
    /// With the active discharge, slowest, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub active_v: Option<f64>,
    /// With the bleeder, slowest, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub passive_v: Option<f64>,
}
