//! What goals of functional safety take of a race. Parallel strings share a fault: nothing follows for one loop.

use super::input::RaceInput;
use crate::calculation::Gives;

/// Of the strongest fault, Ω.
pub const LEAST: &str = "the smallest resistance of one fault loop";
/// Of the weakest fault, Ω.
pub const MOST: &str = "the largest resistance of one fault loop";
/// Of the weakest fault, V.
pub const LOWEST: &str = "the lowest voltage of the fault loop";
/// Before the detection, s.
pub const FILTER: &str = "the largest time constant of the filter";
/// From the detection to the opening, s.
pub const REACTION: &str = "the longest reaction";

pub(super) const GIVES: &[Gives<RaceInput>] = &[
    Gives {
        words: LEAST,
        value: |input| one_loop(input, |input| input.source.pack_resistance_ohm + input.source.external_resistance_ohm),
    },
    Gives {
        words: MOST,
        value: |input| {
            one_loop(input, |input| {
                let source = &input.source;
                source.pack_resistance_max_ohm.unwrap_or(source.pack_resistance_ohm)
                    + source.external_resistance_max_ohm.unwrap_or(source.external_resistance_ohm)
            })
        },
    },
    Gives { words: LOWEST, value: |input| Some(input.lowest_v()) },
    Gives { words: FILTER, value: |input| Some(input.detections()[1].1) },
    Gives { words: REACTION, value: |input| Some(input.reaction().1) },
];

fn one_loop(input: &RaceInput, of: fn(&RaceInput) -> f64) -> Option<f64> {
    (input.strings.count == 1).then(|| of(input))
}
