//! What the isolation answers with.

use serde::Serialize;
use utoipa::ToSchema;

use super::bus::{IsolationBus, IsolationMonitor};
use super::energy::IsolationY;
use super::injection::{IsolationData, IsolationInjection};
use super::isolator::IsolationRatings;
use super::measured::IsolationMeasured;
use super::spacing::{IsolationClearance, IsolationCrossing, IsolationOpenElement, IsolationStress};
use super::supply::IsolationSupply;
use crate::judge::passes;

/// The result: what is not in the design is absent.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct IsolationOutput {
    /// What the barrier must stand.
    pub stress: IsolationStress,
    /// The clearance that it needs; absent without an impulse voltage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clearance: Option<IsolationClearance>,
    /// Every crossing.
    pub crossings: Vec<IsolationCrossing>,
    /// One element of the divider chain, when it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub open_element: Option<IsolationOpenElement>,
    /// What the isolator must stand.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub isolator: Option<IsolationRatings>,
    /// What an edge drives through the barrier.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub injection: Option<IsolationInjection>,
    /// What is sent across.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub data: Option<IsolationData>,
    /// The isolated supply.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supply: Option<IsolationSupply>,
    /// The insulation of the whole bus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bus: Option<IsolationBus>,
    /// The supervision.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub monitor: Option<IsolationMonitor>,
    /// The Y capacitors.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub y: Option<IsolationY>,
    /// What was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measured: Option<IsolationMeasured>,
}

impl IsolationOutput {
    /// Whether the measurement says that paths are missing in the list: nothing holds on such a list.
    pub(super) fn lacks_a_path(&self) -> bool {
        let listed = self.bus.and_then(|bus| bus.method_ohm);
        let read = self.measured.filter(|read| !read.too_near && !read.at_odds);
        listed.zip(read).is_some_and(|(listed, read)| passes(listed, read.method_ohm + read.limit_ohm))
    }
}
