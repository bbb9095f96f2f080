//! Values of a race that show a slipped power of ten.

use super::input::RaceInput;
use crate::calculation::{Slip, positive};
use crate::quantity::Unit;

/// What shows a slipped power of ten. The usual ranges are common practice, no source.
pub const SLIPS: &[Slip<RaceInput>] = &[Slip {
    words: "the time constant L/R of the fault",
    unit: Unit::Second,
    usual: [1e-7, 2e-2],
    value: |input| {
        let loop_ohm = input.source.pack_resistance_ohm + input.source.external_resistance_ohm;
        positive(input.source.inductance_henry) / loop_ohm
    },
    from: &["/source/inductance_henry", "/source/pack_resistance_ohm", "/source/external_resistance_ohm"],
}];
