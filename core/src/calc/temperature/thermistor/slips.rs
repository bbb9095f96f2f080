//! Values of a temperature channel that show a slipped power of ten.

use super::input::ThermistorInput;
use crate::calculation::Slip;
use crate::quantity::Unit;

/// What shows a slipped power of ten. The usual ranges are common practice, no source.
pub const SLIPS: &[Slip<ThermistorInput>] = &[
    Slip {
        words: "the ratio of thermistor to fixed resistor at 25 °C",
        unit: Unit::One,
        usual: [0.05, 20.0],
        value: |input| input.beta.r25_ohm / input.divider.fixed_ohm,
        from: &["/divider/fixed_ohm", "/beta/r25_ohm"],
    },
    Slip {
        words: "the self-heating at full supply",
        unit: Unit::Kelvin,
        usual: [0.0, 5.0],
        value: |input| {
            let most_w = input.divider.supply_v.powi(2) / (4.0 * input.divider.fixed_ohm);
            most_w / input.body.dissipation_w_per_k
        },
        from: &["/body/dissipation_w_per_k", "/divider/fixed_ohm"],
    },
];
