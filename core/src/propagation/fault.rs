//! # What the engine refuses
//!
//! Every way a budget can fail is a value with its reason in words. Nothing here panics and nothing returns a number
//! that is not finite; the layers above turn a fault into the message under the field concerned.

use std::fmt;
use std::ops::RangeInclusive;

/// Accepted numbers of trials. Fewer leave the 99.73 % interval on a handful of values; ten million take 80 MB.
pub const TRIALS: RangeInclusive<u32> = 1_000..=10_000_000;

use crate::work::Halt;

/// Why a budget could not be made.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// One source is not usable.
    Source {
        /// Place in the list, from 0.
        index: usize,
        /// What is wrong with it.
        reason: SourceFault,
    },
    /// The correlation matrix is not usable.
    Correlation(String),
    /// The coverage factor or probability is not usable.
    Coverage(String),
    /// The number of trials is out of range.
    Trials {
        /// The number asked for.
        got: u32,
    },
    /// The model has no finite value somewhere it was asked for one.
    NotFinite {
        /// Where: words that complete "the model has no finite value …".
        place: &'static str,
    },
    /// Nobody waits for the answer any more: says nothing about the budget.
    Stopped,
}

impl From<Halt> for Fault {
    fn from(_: Halt) -> Self {
        Self::Stopped
    }
}

/// What the engine found, or nothing where it refuses. A stopped work stays one: it must never be taken for "no value".
///
/// # Errors
///
/// The work was stopped.
pub fn defined<T>(found: Result<T, Fault>) -> Result<Option<T>, Halt> {
    match found {
        Ok(found) => Ok(Some(found)),
        Err(Fault::Stopped) => Err(Halt),
        Err(_) => Ok(None),
    }
}

/// What is wrong with one source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SourceFault {
    /// The estimate is not a finite number.
    Estimate,
    /// The limit is negative or not a finite number.
    Limit,
    /// The common part is not between 0 and the limit.
    Common,
    /// The coverage factor of a normal distribution is not a positive number.
    CoverageFactor,
    /// The degrees of freedom are below 1 or not a finite number.
    DegreesOfFreedom,
}

impl fmt::Display for SourceFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Estimate => "its estimate is not a finite number",
            Self::Limit => "its limit must be zero or a positive number",
            Self::Common => "the part common to the group must be between zero and the limit",
            Self::CoverageFactor => "the coverage factor of its normal distribution must be a positive number",
            Self::DegreesOfFreedom => {
                "its degrees of freedom must be 1 or more; leave them out when they are unlimited"
            }
        })
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Source { index, reason } => write!(f, "source {}: {reason}", index + 1),
            Self::Correlation(reason) => write!(f, "correlation matrix: {reason}"),
            Self::Coverage(reason) => write!(f, "coverage: {reason}"),
            Self::Trials { got } => write!(f, "{got} trials are outside {} to {}", TRIALS.start(), TRIALS.end()),
            Self::NotFinite { place } => write!(f, "the model has no finite value {place}"),
            Self::Stopped => f.write_str("the work was stopped"),
        }
    }
}

impl std::error::Error for Fault {}

/// Lets a finite value through.
pub(super) fn finite(value: f64, place: &'static str) -> Result<f64, Fault> {
    if value.is_finite() { Ok(value) } else { Err(Fault::NotFinite { place }) }
}
