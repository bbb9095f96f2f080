//! Values of a voltage channel that show a slipped power of ten.

use super::input::VoltageInput;
use crate::calculation::Slip;
use crate::quantity::Unit;

/// What shows a slipped power of ten. The usual ranges are common practice, no source.
pub const SLIPS: &[Slip<VoltageInput>] = &[
    Slip {
        words: "the share of the converter's range that the highest input uses",
        unit: Unit::One,
        usual: [0.1, 3.0],
        value: |input| {
            let (upper, lower) = (upper_ohm(input), input.lower.resistance_ohm * f64::from(input.lower.count));
            let signal_v = input.input_max_v * lower / (upper + lower) * input.amplifier.gain;
            signal_v / input.converter.full_scale_v
        },
        from: &["/lower/resistance_ohm", "/upper/resistance_ohm", "/converter/full_scale_v"],
    },
    Slip {
        words: "the current through the divider",
        unit: Unit::Ampere,
        usual: [1e-6, 5e-3],
        value: |input| input.input_max_v / upper_ohm(input),
        from: &["/upper/resistance_ohm"],
    },
    Slip {
        words: "the error of the bias current in the upper string as a share of the input",
        unit: Unit::One,
        usual: [0.0, 0.05],
        value: |input| input.following.bias_current_a * upper_ohm(input) / input.input_max_v,
        from: &["/following/bias_current_a", "/upper/resistance_ohm"],
    },
];

fn upper_ohm(input: &VoltageInput) -> f64 {
    input.upper.resistance_ohm * f64::from(input.upper.count)
}
