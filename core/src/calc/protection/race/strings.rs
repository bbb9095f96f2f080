//! Parallel strings: what the devices of one string see of a fault of the pack.
//!
//! ```text
//! Formula    conductances g of resistances that differ by 1 ± s: share a = g/Σg, highest with one low and n − 1 high
//!            resistances, lowest the other way round; all together make R_p, so that one string has R_p/a
//!            the others opened: V/(R_p/a_hi + R_x)
//!            a fault inside one string, fed by the others, with no path outside: V/(R_p/(1 − a_lo)) backwards through its
//!            devices, V/(R_p/a) forwards through those of each that feeds it
//!            the last to open, its inductance in common: the others, k of them, hold V_c against it while R_B i_B > V_c, so
//!            that it takes i_B = (I + k V_c/R)/(1 + k R_B/R) of the sum I, all of it where they are out; the largest over k,
//!            with I ≤ (k + 1) V_c/R_B where others are out already
//!            a fault inside: each of the k that feed it has L_s of its own, and of that of the faulted one x from 0 to 1 is
//!            shared: L_f = L_s (1 + k x) as a feeding one sees it, L_f/k of the sum, L_f/k + L_s (1 − 1/k) of one alone
//!            the inductance of one string alone: L, all in common, to L + L_s (1 − 1/n)
//!            units in parallel are as many times n strings, which make R_p over their number; of a short on the bus a unit sees
//!            the path outside u times, R_p + u R_x, and once it is alone: V/(R_p + R_x); the sum of all is I u
//! Symbols    n strings, L_s [H] of one alone, from 0 to n L where it is not told, R_p [Ω] pack, R_x [Ω] short, s [1] spread,
//!            V_c [V] clamp, R_B, R [Ω] of the last string, the others
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

/// The loops that the devices of a string may see at one fault: one outside, where of a single string all are the loop itself,
/// or one inside a string, where these are the loops of those that feed it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    /// Of the string that carries least.
    pub low: Loop,
    /// Of the string that carries most.
    pub high: Loop,
    /// Of the string that carries on alone.
    pub alone: Loop,
    /// The same with the most inductance that it may have then in common with the others, into which their current goes.
    pub falls: Loop,
    /// The same with the most of its own: no current of others goes into it, and its own falls slowest.
    pub own: Loop,
    /// Of the string with the fault inside, fed by the others; none of a fault outside.
    pub reverse: Option<Loop>,
    /// Whether strings share the path outside, so that what one leaves goes into the others.
    pub shared: bool,
    /// Of the pack.
    whole: Loop,
    /// How many strings of all units carry a part of the current.
    carrying: u32,
    /// Current of the path outside, of that of the pack.
    times: f64,
    /// Of the string that carries most, of the one that carries least, Ω.
    string_ohm: [f64; 2],
}

impl Seen {
    /// Of a loop of the pack, of which the pack itself has this resistance.
    pub fn of(input: &RaceInput, whole: Loop, pack_ohm: f64) -> Self {
        if input.strings.count < 2 {
            let (low, high, alone, string_ohm) = (whole, whole, whole, [pack_ohm; 2]);
            let (reverse, shared, carrying, times) = (None, false, 1, 1.0);
            let (falls, own) = (alone, alone);
            return Self { low, high, alone, falls, own, reverse, shared, whole, carrying, times, string_ohm };
        }
        let [least, most] = shares(input);
        let alone = Loop { resistance_ohm: whole.resistance_ohm - pack_ohm + pack_ohm / most, ..whole };
        let own_henry = input.own_henry(whole.inductance_henry)[1] * (1.0 - 1.0 / f64::from(input.strings.count));
        Self {
            low: whole.part(least),
            high: whole.part(most),
            alone,
            falls: alone,
            own: Loop { inductance_henry: whole.inductance_henry + own_henry, ..alone },
            reverse: None,
            shared: true,
            whole,
            carrying: input.strings.count,
            times: 1.0,
            string_ohm: [pack_ohm / most, pack_ohm / least],
        }
    }

    /// The same where units in parallel share the path outside: each sees it so many times, the last one once, with the least
    /// and the most inductance that may be left; the resistance of a unit is this at most.
    #[must_use]
    pub fn beside_units(self, input: &RaceInput, times: f64, [least, most]: [f64; 2], pack_most_ohm: f64) -> Self {
        let [own_ohm, other_ohm] = self.string_ohm;
        let outside = (self.alone.resistance_ohm - own_ohm).max(0.0);
        let alone = Loop { resistance_ohm: own_ohm + outside / times, inductance_henry: least, ..self.alone };
        let falls = Loop { inductance_henry: most, ..alone };
        let own_henry = self.own.inductance_henry - self.alone.inductance_henry;
        let own = Loop { inductance_henry: most + own_henry, ..alone };
        let pack_ohm = if input.strings.count > 1 { pack_most_ohm / shares(input)[0] } else { pack_most_ohm };
        Self {
            alone,
            falls,
            own,
            shared: true,
            carrying: input.strings.count * input.units_in_parallel,
            times,
            string_ohm: [own_ohm, other_ohm.max(pack_ohm)],
            ..self
        }
    }

    /// Of a fault inside a string, fed by the others through nothing but themselves; none where nothing else feeds it. The
    /// inductance is that which one of those sees, where one alone has of its own this, at least and at most.
    pub fn inside(input: &RaceInput, whole: Loop, own_henry: [f64; 2], pack_ohm: f64) -> Option<Self> {
        if input.feeding() == 0 {
            return None;
        }
        let feeding = f64::from(input.feeding());
        let seen = whole.inductance_henry;
        let [fewest, all] = [own_henry[0].max(seen / (feeding + 1.0)), own_henry[1].min(seen)]
            .map(|own| seen / feeding + own.min(seen) * (1.0 - 1.0 / feeding));
        let [least, most] = shares_of(input.strings.spread_percent, feeding);
        let pack_ohm = pack_ohm / f64::from(input.units_in_parallel);
        let through = |resistance_ohm: f64| Loop { resistance_ohm, ..whole };
        let string_ohm = [pack_ohm / most, pack_ohm / least];
        let [high, low] = string_ohm.map(through);
        let reverse = Loop { inductance_henry: seen / feeding, ..through(pack_ohm / (1.0 - least)) };
        let [alone, falls] = [fewest.min(all), all.max(fewest)].map(|henry| Loop { inductance_henry: henry, ..high });
        let (whole, carrying, shared) = (reverse, input.feeding(), input.feeding() > 1);
        let (own, reverse) = (falls, Some(reverse));
        Some(Self { low, high, alone, falls, own, reverse, shared, whole, carrying, times: 1.0, string_ohm })
    }

    /// The most that an inductance in common drives into the last string when the others open, A: of this current of the
    /// string that carries most. Without a known clamp it is all.
    pub fn driven_a(&self, input: &RaceInput, highest_a: f64) -> f64 {
        let sum = highest_a * self.high.resistance_ohm / self.whole.resistance_ohm * self.times;
        let Some(clamp_v) = input.switch.clamp_voltage_v else { return sum };
        let [own, other] = self.string_ohm;
        let take = |others: u32| {
            let others_left = others + 1 < self.carrying;
            let k = f64::from(others);
            let sum = if others_left { sum.min((k + 1.0) * clamp_v / own) } else { sum };
            if own * sum <= clamp_v { sum } else { (sum + k * clamp_v / other) / (1.0 + k * own / other) }
        };
        (1..self.carrying).map(take).fold(0.0, f64::max)
    }

    /// The prospective currents between which a string's lies: with all others, alone.
    pub fn range_a(&self) -> [f64; 2] {
        let low = self.low.prospective_a();
        [low, self.alone.prospective_a().max(low)]
    }

    /// The currents of the strings, with those of a fault inside one of them.
    pub fn told(&self, inside: Option<&Self>) -> Option<RaceStrings> {
        Some(RaceStrings {
            highest_a: self.high.prospective_a(),
            lowest_a: self.low.prospective_a(),
            alone_a: self.alone.prospective_a(),
            reverse_a: inside?.reverse?.prospective_a(),
        })
    }
}

/// The smallest and the largest share of the current that a string may have.
pub(super) fn shares(input: &RaceInput) -> [f64; 2] {
    shares_of(input.strings.spread_percent, f64::from(input.strings.count - 1))
}

/// The largest share of the current that one of so many strings may have.
pub fn largest_share(count: f64, spread_percent: f64) -> f64 {
    shares_of(spread_percent, count - 1.0)[1]
}

/// The same of a string beside so many others.
fn shares_of(spread_percent: f64, others: f64) -> [f64; 2] {
    let spread = spread_percent / 100.0;
    let share = |own: f64, other: f64| (1.0 / own) / (1.0 / own + others / other);
    [share(1.0 + spread, 1.0 - spread), share(1.0 - spread, 1.0 + spread)]
}
