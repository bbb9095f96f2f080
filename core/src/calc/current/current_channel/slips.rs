//! Values of a current channel that show a slipped power of ten.

use super::input::ChannelInput;
use crate::calculation::{Slip, positive};
use crate::quantity::Unit;

/// What shows a slipped power of ten. The usual ranges are common practice, no source.
pub const SLIPS: &[Slip<ChannelInput>] = &[
    Slip {
        words: "the signal at full scale",
        unit: Unit::Volt,
        usual: [2e-3, 1.0],
        value: |input| input.load.full_scale_a * input.shunt.resistance_ohm,
        from: &["/shunt/resistance_ohm", "/load/full_scale_a"],
    },
    Slip {
        words: "the loss in the shunt",
        unit: Unit::Watt,
        usual: [1e-3, 150.0],
        value: |input| input.load.continuous_a.powi(2) * input.shunt.resistance_ohm,
        from: &["/shunt/resistance_ohm"],
    },
    Slip {
        words: "the share of the converter's range that full scale uses",
        unit: Unit::One,
        usual: [0.03, 3.0],
        value: |input| {
            let signal_v = input.load.full_scale_a * input.shunt.resistance_ohm * input.amplifier.gain;
            signal_v / input.converter.full_scale_v
        },
        from: &["/converter/full_scale_v", "/shunt/resistance_ohm"],
    },
    Slip {
        words: "the time constant L/R of the shunt",
        unit: Unit::Second,
        usual: [1e-7, 2e-2],
        value: |input| positive(input.shunt.inductance_henry) / input.shunt.resistance_ohm,
        from: &["/shunt/inductance_henry", "/shunt/resistance_ohm"],
    },
    Slip {
        words: "the converter's offset as a share of full scale",
        unit: Unit::One,
        usual: [0.0, 0.03],
        value: |input| input.converter.offset_v / input.converter.full_scale_v,
        from: &["/converter/offset_v", "/converter/full_scale_v"],
    },
];
