//! Parallel strings: what the devices of one string see of a fault of the pack.
//!
//! ```text
//! Formula    conductances g of resistances that differ by 1 ± s: share a = g/Σg, highest with one low and n − 1 high
//!            resistances, lowest the other way round; all together make R_p, so that one string has R_p/a
//!            the others opened: V/(R_p/a_hi + R_x)
//!            a fault inside one string, fed by the others: V/(R_p/(1 − a_lo) + R_x), backwards through its devices
//!            the last to open, its inductance in common: the others, k of them, hold V_c against it while R_B i_B > V_c, so
//!            that it takes i_B = (I + k V_c/R)/(1 + k R_B/R) of the sum I, all of it where they are out; the largest over k,
//!            with I ≤ (k + 1) V_c/R_B where others are out already
//! Symbols    n strings, R_p [Ω] pack, R_x [Ω] short, s [1] spread, V_c [V] clamp, R_B, R [Ω] of the last string, the others
//! Valid      sharing by resistance from the beginning on, where it comes about with the strings' time constant; where the
//!            inductance lies is not asked: all in common and all in the strings, whichever is worse
//! Source     Kirchhoff's laws
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::input::RaceInput;
use crate::physics::fault_loop::Loop;

/// What one of several strings carries at the strongest fault.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RaceStrings {
    /// The string that carries most, A.
    pub highest_a: f64,
    /// The string that carries least, A.
    pub lowest_a: f64,
    /// The last string, when all others have opened, A.
    pub alone_a: f64,
    /// Backwards through the devices of a string with a fault inside, A.
    pub reverse_a: f64,
}

/// The loops that the devices of a string may see at one fault. Of a single string all are the loop itself.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    /// Of the string that carries least.
    pub low: Loop,
    /// Of the string that carries most.
    pub high: Loop,
    /// Of the string that carries on alone.
    pub alone: Loop,
    /// Of a string with a fault inside, fed by the others; none of a single string.
    pub reverse: Option<Loop>,
    /// Of the pack.
    whole: Loop,
    /// Of the string that carries most, of the one that carries least, Ω.
    string_ohm: [f64; 2],
}

impl Seen {
    /// Of a loop of the pack, of which the pack itself has this resistance.
    pub fn of(input: &RaceInput, whole: Loop, pack_ohm: f64) -> Self {
        if input.strings.count < 2 {
            return Self { low: whole, high: whole, alone: whole, reverse: None, whole, string_ohm: [pack_ohm; 2] };
        }
        let [least, most] = shares(input);
        let through = |ohm: f64| Loop { resistance_ohm: whole.resistance_ohm - pack_ohm + ohm, ..whole };
        Self {
            low: whole.part(least),
            high: whole.part(most),
            alone: through(pack_ohm / most),
            reverse: Some(through(pack_ohm / (1.0 - least))),
            whole,
            string_ohm: [pack_ohm / most, pack_ohm / least],
        }
    }

    /// The most that an inductance in common drives into the last string when the others open, A: of this current of the
    /// string that carries most. Without a known clamp it is all.
    pub fn driven_a(&self, input: &RaceInput, highest_a: f64) -> f64 {
        let sum = highest_a * self.high.resistance_ohm / self.whole.resistance_ohm;
        let Some(clamp_v) = input.switch.clamp_voltage_v else { return sum };
        let [own, other] = self.string_ohm;
        let take = |others: u32| {
            let others_left = others + 1 < input.strings.count;
            let k = f64::from(others);
            let sum = if others_left { sum.min((k + 1.0) * clamp_v / own) } else { sum };
            if own * sum <= clamp_v { sum } else { (sum + k * clamp_v / other) / (1.0 + k * own / other) }
        };
        (1..input.strings.count).map(take).fold(0.0, f64::max)
    }

    /// The prospective currents between which a string's lies: with all others, alone.
    pub fn range_a(&self) -> [f64; 2] {
        let low = self.low.prospective_a();
        [low, self.alone.prospective_a().max(low)]
    }

    /// The currents of the strings.
    pub fn told(&self) -> Option<RaceStrings> {
        Some(RaceStrings {
            highest_a: self.high.prospective_a(),
            lowest_a: self.low.prospective_a(),
            alone_a: self.alone.prospective_a(),
            reverse_a: self.reverse?.prospective_a(),
        })
    }
}

/// The smallest and the largest share of the current that a string may have.
pub(super) fn shares(input: &RaceInput) -> [f64; 2] {
    let (spread, others) = (input.strings.spread_percent / 100.0, f64::from(input.strings.count) - 1.0);
    let share = |own: f64, other: f64| (1.0 / own) / (1.0 / own + others / other);
    [share(1.0 + spread, 1.0 - spread), share(1.0 - spread, 1.0 + spread)]
}
