//! # A value that is held while the true one moves on
//!
//! A code that hangs reads what was true when the fault came. Nothing deviates then: the difference grows as fast as the quantity moves, and only what has grown is seen.
//!
//! ```text
//! Formula    δ = s t towards the hazard: seen for certain D/s after the fault, whatever comes of it
//! Symbols    s largest slope towards the hazard, D surely seen
//! Worst      as fast as it can from the normal extreme: what moves slower, or from further off, is seen further from the hazard
//! Source     definitions
//! ```

use super::input::{DecidedBy, Goal};

/// How fast a deviation from a value that is held grows, a second: at once where no threshold decides, nothing where the slope
/// is not given.
pub(super) fn grows(goal: &Goal) -> Option<f64> {
    let [.., slope, _] = goal.told();
    if goal.decided_by == DecidedBy::Threshold { slope } else { Some(f64::INFINITY) }
}
