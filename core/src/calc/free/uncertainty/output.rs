//! What a free measurement model gives.

use serde::Serialize;
use utoipa::ToSchema;

use super::second_order::SecondOrder;
use crate::propagation::Assessment;

/// What the entry answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FreeOutput {
    /// The four assessments and every contribution of the first output.
    pub assessment: Assessment,
    /// The first output to second order; left out where inputs are correlated or share a group.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub second_order: Option<SecondOrder>,
    /// The other outputs, in their order.
    pub others: Vec<OtherOutput>,
    /// Correlation of every pair of outputs, first order.
    pub output_correlations: Vec<OutputCorrelation>,
}

/// An output after the first.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct OtherOutput {
    /// Its number.
    pub output: u32,
    /// The four assessments and every contribution.
    pub assessment: Assessment,
    /// To second order; left out where inputs are correlated or share a group.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub second_order: Option<SecondOrder>,
}

/// How two outputs move together.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct OutputCorrelation {
    /// Number of one.
    pub first: u32,
    /// Number of the other.
    pub second: u32,
    /// Correlation coefficient.
    pub coefficient: f64,
}
