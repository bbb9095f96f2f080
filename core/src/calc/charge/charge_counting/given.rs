//! What goals of functional safety take of a count.

use super::input::ChargeInput;
use crate::calculation::Gives;

/// What the count may be off, Ah.
pub const BUDGET: &str = "the charge by which the count may be off";
/// At most, h.
pub const ANCHOR: &str = "the longest time between two anchors";

pub(super) const GIVES: &[Gives<ChargeInput>] = &[
    Gives {
        words: BUDGET,
        value: |input| Some(input.requirement.soc_error_percent? / 100.0 * input.battery.capacity_ah),
    },
    Gives { words: ANCHOR, value: ChargeInput::horizon_h },
];
