//! Ratings of the isolator against what the barrier asks for.

use serde::Serialize;
use utoipa::ToSchema;

use super::input::{Insulation, IsolationInput};
use super::spacing::IsolationStress;

/// The routine test of partial discharge, as a multiple of the recurring peak: reinforced and basic. IEC 60747-17, as read.
const DISCHARGE: [f64; 2] = [1.875, 1.5];
/// The largest charge at that voltage, C. IEC 60747-17, as read.
pub const DISCHARGE_COULOMB: f64 = 5e-12;
/// An immunity below so many per cent of the slew is thin.
pub const IMMUNITY_THIN_PERCENT: f64 = 125.0;

/// What the isolator must stand.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationRatings {
    /// Direct working voltage.
    pub working_v: f64,
    /// Recurring peak voltage.
    pub recurring_peak_v: f64,
    /// Impulse voltage of the class.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub impulse_v: Option<f64>,
    /// Temporary overvoltage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temporary_v: Option<f64>,
    /// Test voltage of partial discharge; absent for functional insulation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub discharge_v: Option<f64>,
    /// Immunity as a multiple of the slew, in percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub immunity_percent: Option<f64>,
}

/// What is asked of the isolator.
pub fn ratings(input: &IsolationInput, stress: &IsolationStress) -> IsolationRatings {
    let peak = input.barrier.peak();
    let times = match input.barrier.insulation {
        Insulation::Functional => None,
        Insulation::Reinforced => Some(DISCHARGE[0]),
        Insulation::Basic | Insulation::Supplementary => Some(DISCHARGE[1]),
    };
    let slew = input.common_mode.node_slew_v_per_s;
    IsolationRatings {
        working_v: stress.working_v,
        recurring_peak_v: peak,
        impulse_v: stress.impulse_v,
        temporary_v: input.barrier.temporary_overvoltage_v,
        discharge_v: times.map(|times| times * peak),
        immunity_percent: input.isolator.immunity_v_per_s.zip(slew).map(|(immunity, slew)| 100.0 * immunity / slew),
    }
}
