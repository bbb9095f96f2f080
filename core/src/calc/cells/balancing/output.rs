//! What the balancing room answers.

use serde::Serialize;
use utoipa::ToSchema;

use crate::report::Check;

/// The answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BalancingOutput {
    /// Burning the charge.
    pub passive: BalancingPassive,
    /// What the bleed current does to the measurement.
    pub wire: BalancingWire,
    /// What balancing has to make up for every day.
    pub daily: BalancingDaily,
    /// The imbalance that cannot be told from zero.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub floor: Option<BalancingFloor>,
    /// Moving the charge, for comparison.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub active: Option<BalancingActive>,
    /// The imbalance over time.
    pub course: Vec<BalancingPoint>,
    /// The floor over the state of charge, from the points.
    pub floor_curve: Vec<BalancingFloorPoint>,
    /// Requirements.
    pub checks: Vec<Check>,
}

/// Burning the charge.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BalancingPassive {
    /// Cell voltage at the start, V.
    pub start_v: f64,
    /// Cell voltage at the end, V.
    pub end_v: f64,
    /// Current while on, at the start, A.
    pub current_a: f64,
    /// Current while on, at the end, A.
    pub end_current_a: f64,
    /// Power of one channel while on, W.
    pub channel_w: f64,
    /// Power of its resistor while on, W.
    pub resistor_w: f64,
    /// Mean power of the board, W.
    pub board_w: f64,
    /// Charge to remove, Ah.
    pub charge_ah: f64,
    /// Time to remove it, s.
    pub time_s: f64,
    /// The same, h.
    pub time_h: f64,
    /// The same at constant voltage, h.
    pub constant_h: f64,
    /// Energy lost by one cell, J.
    pub energy_j: f64,
    /// Board temperature, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub board_degc: Option<f64>,
    /// Resistor temperature, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistor_degc: Option<f64>,
}

/// What the bleed current does to the measurement, when it flows in the sense wires.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BalancingWire {
    /// Error of the bled cell's reading while on, V.
    pub own_v: f64,
    /// Error of each neighbour's reading while on, V.
    pub neighbour_v: f64,
    /// Apparent difference between the bled cell and a neighbour, V.
    pub difference_v: f64,
}

/// What balancing has to make up for every day.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BalancingDaily {
    /// Charge by which two cells part, Ah per day.
    pub need_ah_per_day: f64,
    /// Bleeding time for it, s per day, pauses included.
    pub bleed_s: f64,
    /// The same, min per day.
    pub bleed_min: f64,
    /// Whether bleeding gains on it.
    pub keeps_up: bool,
    /// Imbalance that grows in 30 days without balancing, percent.
    pub month_percent: f64,
}

/// The imbalance that cannot be told from zero.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BalancingFloor {
    /// Slope where the cells are compared, V per percent.
    pub slope_v_per_percent: f64,
    /// The floor, percent; absent where the curve is level.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub percent: Option<f64>,
    /// Largest voltage error that lets the given imbalance be seen, V.
    pub allowed_error_v: f64,
}

/// Moving the charge.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BalancingActive {
    /// Time for the imbalance of one cell, h.
    pub time_h: f64,
    /// Energy lost by the transfer of one cell's imbalance, J.
    pub transfer_loss_j: f64,
    /// Energy of the standby during that time, J.
    pub standby_j: f64,
    /// Both, J.
    pub loss_j: f64,
    /// Energy saved against burning, for all channels once, J.
    pub saved_j: f64,
    /// Days of standby that use up what one balancing of all channels saves.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub break_even_days: Option<f64>,
    /// Standby power that uses up what the daily need saves, W.
    pub break_even_w: f64,
}

/// A point of the imbalance over time.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct BalancingPoint {
    /// Time, h.
    pub time_h: f64,
    /// Imbalance left by bleeding, percent.
    pub passive_percent: f64,
    /// Imbalance left by the transfer, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub active_percent: Option<f64>,
}

/// The floor at a state of charge.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct BalancingFloorPoint {
    /// State of charge, percent.
    pub soc_percent: f64,
    /// The floor, percent.
    pub floor_percent: f64,
}
