//! What goals of functional safety, and the race of a short on the pack's side, take of a pre-charge.

use super::input::PrechargeInput;
use crate::calculation::Gives;
use crate::physics::precharge::course::Draw;

/// All of it, F.
pub const FARAD: &str = "the capacitance of the link";
/// Largest, Ω.
pub const RESISTOR: &str = "the largest resistance of the pre-charge";
/// Half-width, V.
pub const LINK: &str = "the error of the link's channel";
/// Half-width, V.
pub const PACK: &str = "the error of the pack's channel";
/// A resistance on the link, Ω.
pub const OHM: &str = "the resistance of the load";
/// A current out of it, A.
pub const CURRENT: &str = "the current of the load";
/// A power out of it, W.
pub const POWER: &str = "the power of the load";

/// What draws nothing, as a resistance: the most that a field takes, Ω.
const OPEN_OHM: f64 = 1e15;

pub(super) const GIVES: &[Gives<PrechargeInput>] = &[
    Gives { words: FARAD, value: |input| Some(input.capacitance_farad) },
    Gives { words: RESISTOR, value: |input| Some(input.resistances()[1]) },
    Gives { words: LINK, value: |input| input.errors_v()[0] },
    Gives { words: PACK, value: |input| input.errors_v()[1] },
    Gives {
        words: OHM,
        value: |input| {
            let circuit = input.circuit();
            let ohm = if let Draw::Resistance(ohm) = circuit.draw { ohm } else { circuit.bleeder_ohm };
            Some(ohm.min(OPEN_OHM))
        },
    },
    Gives {
        words: CURRENT,
        value: |input| Some(if let Draw::Current(ampere) = input.circuit().draw { ampere } else { 0.0 }),
    },
    Gives { words: POWER, value: |input| Some(if let Draw::Power(watt) = input.circuit().draw { watt } else { 0.0 }) },
];
