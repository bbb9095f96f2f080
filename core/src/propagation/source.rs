//! # Sources of uncertainty
//!
//! A source is one input quantity of a model: an estimate, a limit around it and what is known about the way values
//! spread inside the limit. Sources of one group (resistors of one network, cells of one lot) share a part of their
//! limit and move together in it.
//!
//! ```text
//! Formula    x_i = e_i + m_i·z_g + (a_i − m_i)·z_i;  u(a) = a/√3 rectangular, a/√6 triangular, a/√2 arcsine, a/k normal
//! Symbols    e_i estimate, a_i limit (half-width), m_i the part of it common to group g [all in the own unit],
//!            z in −1 … 1 deviate [1], u standard uncertainty [own unit], k coverage factor of a certificate [1]
//! Valid      a_i ≥ 0, 0 ≤ m_i ≤ a_i; a normal source can exceed its limit, the other three cannot. Of limits that are
//!            not equally far from the nominal the middle is known and half the width is a_i
//! Source     JCGM 100:2008, 4.3.3 (normal), 4.3.7 (rectangular), 4.3.9 (triangular), 5.2.2 (correlation by a common
//!            part); JCGM 101:2008, 6.4.6 (arcsine)
//! ```

use std::borrow::Cow;
use std::f64::consts::SQRT_2;

use serde::Serialize;
use utoipa::ToSchema;

use super::fault::{Fault, SourceFault};

/// √3, the divisor of a rectangular limit.
const SQRT_3: f64 = 1.732_050_807_568_877_2;
/// √6, the divisor of a triangular limit.
const SQRT_6: f64 = 2.449_489_742_783_178;

/// How values spread inside the limit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, ToSchema)]
#[serde(tag = "shape", rename_all = "kebab-case")]
pub enum Distribution {
    /// Every value inside the limit is equally likely: a data-sheet limit without more knowledge.
    #[default]
    Rectangular,
    /// The middle is likelier: the sum of two equal rectangles.
    Triangular,
    /// The ends are likelier: a sine of unknown phase, such as a cycling temperature.
    Arcsine,
    /// Bell-shaped: a calibration certificate or many small effects.
    Normal {
        /// Coverage factor by which the limit was expanded: limit = k times the standard uncertainty.
        k: f64,
    },
}

impl Distribution {
    /// Standard uncertainty of a limit.
    pub fn standard(self, limit: f64) -> f64 {
        match self {
            Self::Rectangular => limit / SQRT_3,
            Self::Triangular => limit / SQRT_6,
            Self::Arcsine => limit / SQRT_2,
            Self::Normal { k } => limit / k,
        }
    }
}

/// What makes the source move, which decides what a calibration removes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// There from the first day; a calibration removes it at its own temperature.
    #[default]
    Initial,
    /// Follows the temperature; remains after a calibration.
    Temperature,
    /// Grows over life; remains after a calibration.
    Life,
    /// New in each reading; averaging reduces it, a calibration does not.
    Noise,
}

/// A name: most are known when the program is written, and then a source costs no allocation.
pub type Name = Cow<'static, str>;

/// Membership in a group of sources that move together.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Group {
    /// The group's name; equal names share one deviate.
    #[schema(value_type = String)]
    pub name: Name,
    /// The part of the limit that is common to the group, in the source's unit, from 0 to the limit.
    pub common: f64,
}

/// One input quantity of a model, or one deviation in it.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Source {
    /// Short name, unique in the budget.
    #[schema(value_type = String)]
    pub id: Name,
    /// Name in words.
    #[schema(value_type = String)]
    pub label: Name,
    /// Stage of the signal chain.
    #[schema(value_type = String)]
    pub stage: Name,
    /// Best estimate, own unit; of a deviation that is known, its value.
    pub estimate: f64,
    /// Half-width of the limits around the estimate, own unit.
    pub limit: f64,
    /// How values spread inside the limit.
    pub distribution: Distribution,
    /// What makes it move.
    pub kind: Kind,
    /// The group it moves with, if any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub group: Option<Group>,
    /// Degrees of freedom of the standard uncertainty; left out when unlimited.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom: Option<f64>,
    /// The own unit.
    #[schema(value_type = String)]
    pub unit: Name,
}

impl Source {
    /// A source known by its limit alone: estimate 0, rectangular, on its own.
    pub fn limit(
        id: impl Into<Name>,
        label: impl Into<Name>,
        stage: impl Into<Name>,
        kind: Kind,
        unit: impl Into<Name>,
        limit: f64,
    ) -> Self {
        Self {
            id: id.into(),
            label: label.into(),
            stage: stage.into(),
            estimate: 0.0,
            limit,
            distribution: Distribution::Rectangular,
            kind,
            group: None,
            degrees_of_freedom: None,
            unit: unit.into(),
        }
    }

    /// Sets the estimate: a known deviation, or the value of an input quantity.
    #[must_use]
    pub fn known(mut self, estimate: f64) -> Self {
        self.estimate = estimate;
        self
    }

    /// Limits that are not equally far from the nominal: the middle is a known deviation, half the width the limit.
    #[must_use]
    pub fn between(mut self, low: f64, high: f64) -> Self {
        self.estimate = f64::midpoint(low, high);
        self.limit = 0.5 * (high - low);
        self
    }

    /// A normal source typed as its standard uncertainty.
    #[must_use]
    pub fn with_standard(mut self, standard: f64) -> Self {
        self.limit = standard;
        self.distribution = Distribution::Normal { k: 1.0 };
        self
    }

    /// Sets the distribution.
    #[must_use]
    pub fn distributed(mut self, distribution: Distribution) -> Self {
        self.distribution = distribution;
        self
    }

    /// Puts the source in a group that has `common` of the limit in common.
    #[must_use]
    pub fn grouped(mut self, name: impl Into<Name>, common: f64) -> Self {
        self.group = Some(Group { name: name.into(), common });
        self
    }

    /// Sets the degrees of freedom.
    #[must_use]
    pub fn with_dof(mut self, degrees_of_freedom: f64) -> Self {
        self.degrees_of_freedom = Some(degrees_of_freedom);
        self
    }

    /// The part of the limit common to the group; 0 without one.
    pub fn common(&self) -> f64 {
        self.group.as_ref().map_or(0.0, |group| group.common)
    }

    /// The part of the limit that is the source's own.
    pub fn rest(&self) -> f64 {
        self.limit - self.common()
    }

    /// Whether it is joined with the other normal sources, because it has no limit of its own.
    pub(super) fn counts_as_normal(&self) -> bool {
        matches!(self.distribution, Distribution::Normal { .. }) && self.limit > 0.0
    }

    /// Common and own part as the sums count them: of a normal source `k` standard uncertainties.
    pub(super) fn parts(&self, k: f64) -> (f64, f64) {
        if self.counts_as_normal() {
            (k * self.standard_common(), k * self.standard_rest())
        } else {
            (self.common(), self.rest())
        }
    }

    /// Standard uncertainty of the common part.
    pub(super) fn standard_common(&self) -> f64 {
        self.distribution.standard(self.common())
    }

    /// Standard uncertainty of the own part.
    pub(super) fn standard_rest(&self) -> f64 {
        self.distribution.standard(self.rest())
    }

    /// Standard uncertainty; common and own part are independent of each other.
    pub fn standard(&self) -> f64 {
        if self.group.is_some() {
            libm::hypot(self.standard_common(), self.standard_rest())
        } else {
            self.distribution.standard(self.limit)
        }
    }

    /// What is wrong with the source, if anything.
    fn check(&self) -> Result<(), SourceFault> {
        if !self.estimate.is_finite() {
            return Err(SourceFault::Estimate);
        }
        if !(0.0 <= self.limit && self.limit.is_finite()) {
            return Err(SourceFault::Limit);
        }
        if !(0.0 <= self.common() && self.common() <= self.limit) {
            return Err(SourceFault::Common);
        }
        if let Distribution::Normal { k } = self.distribution
            && !(0.0 < k && k.is_finite())
        {
            return Err(SourceFault::CoverageFactor);
        }
        if let Some(degrees) = self.degrees_of_freedom
            && !(1.0 <= degrees && degrees.is_finite())
        {
            return Err(SourceFault::DegreesOfFreedom);
        }
        Ok(())
    }
}

/// Checks every source.
pub(super) fn check(sources: &[Source]) -> Result<(), Fault> {
    for (index, source) in sources.iter().enumerate() {
        source.check().map_err(|reason| Fault::Source { index, reason })?;
    }
    Ok(())
}

/// The groups in the order of their first member, each as the places of its members with a common part.
pub(super) fn groups(sources: &[Source]) -> Vec<Vec<usize>> {
    let mut names: Vec<&str> = Vec::new();
    let mut members: Vec<Vec<usize>> = Vec::new();
    for (index, source) in sources.iter().enumerate() {
        let Some(group) = source.group.as_ref().filter(|group| group.common > 0.0) else { continue };
        if let Some(place) = names.iter().position(|name| *name == group.name) {
            members[place].push(index);
        } else {
            names.push(&group.name);
            members.push(vec![index]);
        }
    }
    members
}
