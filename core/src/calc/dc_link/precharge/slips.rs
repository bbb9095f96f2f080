//! Values of a pre-charge that show a slipped power of ten.

use super::input::PrechargeInput;
use crate::calculation::Slip;
use crate::quantity::Unit;

/// What shows a slipped power of ten. The usual ranges are common practice, no source.
pub const SLIPS: &[Slip<PrechargeInput>] = &[Slip {
    words: "the time constant of the pre-charge",
    unit: Unit::Second,
    usual: [2e-3, 20.0],
    value: |input| input.resistance_ohm * input.capacitance_farad,
    from: &["/capacitance_farad", "/resistance_ohm"],
}];
