//! Distances of the barrier: what is there, what is needed, and by what.

use serde::Serialize;
use utoipa::ToSchema;

use super::tables::Found;

/// What asks for a clearance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ClearanceBy {
    /// The impulse voltage.
    Impulse,
    /// The recurring peak or the temporary overvoltage.
    Peak,
    /// The least that a pollution degree asks for.
    Floor,
}

/// What asks for a creepage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CreepageBy {
    /// The working voltage.
    Voltage,
    /// The working voltage, with a rib that counts.
    Rib,
    /// The clearance, which it is never shorter than.
    Clearance,
}

/// A clearance that is needed, and what it is made of.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationClearance {
    /// Pollution degree that it holds for.
    pub pollution_degree: u32,
    /// Clearance by the impulse voltage, up to 2000 m.
    pub by_impulse_mm: f64,
    /// Clearance by the peak voltage, up to 2000 m.
    pub by_peak_mm: f64,
    /// Which of them asks for more.
    pub by: ClearanceBy,
    /// The clearance that is needed, with the altitude.
    pub required_mm: f64,
    /// Whether it rests on a number or a rule from memory.
    pub from_memory: bool,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) impulse: Found,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) peak: Found,
}

/// What the barrier must stand.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationStress {
    /// The voltage across the barrier.
    pub working_v: f64,
    /// The recurring peak, or the temporary overvoltage where that is larger.
    pub peak_v: f64,
    /// Rated impulse voltage; absent where it is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rated_impulse_v: Option<f64>,
    /// Whether it is one of the preferred values.
    pub preferred: bool,
    /// The impulse voltage for this class of insulation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub impulse_v: Option<f64>,
    /// The peak voltage for this class of insulation.
    pub class_peak_v: f64,
    /// Factor of the altitude on clearances.
    pub altitude_factor: f64,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) altitude: Option<Found>,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) impulse_from_memory: bool,
}

/// A crossing of the barrier: what it has, what it needs.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct IsolationCrossing {
    /// Its name.
    pub name: String,
    /// Pollution degree that counts there.
    pub pollution_degree: u32,
    /// Material group of its surface, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub group: Option<&'static str>,
    /// Clearance that it has.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clearance_mm: Option<f64>,
    /// Clearance that it needs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clearance_required_mm: Option<f64>,
    /// Creepage that it has.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub creepage_mm: Option<f64>,
    /// Creepage of basic insulation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub creepage_basic_mm: Option<f64>,
    /// Creepage that it needs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub creepage_required_mm: Option<f64>,
    /// What sets the creepage that it needs.
    pub creepage_by: CreepageBy,
    /// Whether a groove is too narrow for its contour to count.
    pub groove_bridged: bool,
    /// Whether the clearance rests on a number or a rule from memory.
    pub clearance_from_memory: bool,
    /// Whether the creepage does.
    pub creepage_from_memory: bool,
    #[serde(skip)]
    #[schema(ignore)]
    pub(super) creepage: Option<Found>,
}

/// One element of a divider chain that is open.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationOpenElement {
    /// The gap between its pads.
    pub gap_mm: f64,
    /// The gap that the whole voltage needs.
    pub gap_required_mm: f64,
    /// The way along its surface.
    pub creepage_mm: f64,
    /// The creepage that the whole voltage needs while nobody notices.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub creepage_required_mm: Option<f64>,
    /// Whether a number from memory decides.
    pub from_memory: bool,
}
