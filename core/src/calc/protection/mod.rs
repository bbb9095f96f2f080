//! # Protection thresholds
//!
//! A threshold must never trip in allowed operation and must always trip before the hazard. Error, noise, reaction time
//! and lag each take a piece of the distance between the two; what is left is the room for the threshold. The rooms for
//! voltage, current and temperature share one core ([`window`]) and differ in units and in what delays the reading.
//!
//! ```text
//! Parts      window the two edges and the room between them, risk nuisance trips and missed trips, lever what would open
//!            it; voltage, current, temperature the rooms; trip_curve inverse-time over-current
//! Source     JCGM 106:2012 (conformance probability, guard bands); sums of limits on both sides: common practice, no source
//! ```

pub mod current;
mod findings;
mod lever;
mod output;
pub mod race;
pub mod ripple;
pub mod risk;
pub mod temperature;
pub mod trip_curve;
mod view;
pub mod voltage;
pub mod window;
mod working;

use crate::field::FieldError;
use crate::report::Report;

pub use lever::ThresholdLever;
pub use output::{
    ThresholdBalance, ThresholdConsumed, ThresholdJudged, ThresholdOutput, ThresholdRelease, ThresholdRisk, VoltageSag,
};
pub use window::Terms;

crate::choice! {
    /// How the error limit was made.
    pub enum ErrorMethod {
        WorstCase = "worst-case", "Worst case";
        RootSumSquare = "root-sum-square", "Root-sum-square of limits";
        Interval95 = "interval-95", "95 % interval";
    }
}

impl ErrorMethod {
    /// Whether the limit may be passed with a probability that matters.
    pub const fn is_statistical(self) -> bool {
        !matches!(self, Self::WorstCase)
    }

    /// The standard uncertainty that a limit made by this method stands for: rectangular limits have e/√3, and so has
    /// their root-sum-square; a 95 % interval of a normal quantity has e/1.96.
    pub fn standard(self, limit: f64) -> f64 {
        match self {
            Self::WorstCase | Self::RootSumSquare => limit / 3f64.sqrt(),
            Self::Interval95 => limit / crate::propagation::normal_quantile(0.975),
        }
    }
}

/// The report of one threshold; `sag` is worked out by the room for voltages.
fn report(terms: &Terms, sag: Option<VoltageSag>) -> Result<Report<ThresholdOutput>, Vec<FieldError>> {
    terms.contradiction()?;
    let mut result = window::solve(terms);
    result.sag = sag;
    let findings = findings::findings(terms, &result);
    Ok(Report { working: working::working(terms, &result), view: view::view(terms, &result), result, findings })
}
