//! # What each element must stand
//!
//! The pack voltage is shared by the elements in proportion to their resistance. Each has a working voltage and a power;
//! below the critical resistance the power governs, above it the voltage.
//!
//! ```text
//! Formula    V_i = V R_i/ΣR; limit = min(V_w, √(P_d R)); P_d = P_r clamp((T0 − Ta)/(T0 − T1), 0, 1)
//!            unequal sharing, one at +t and the rest at −t: share (1 + t)/((1 + t) + (n − 1)(1 − t)) of the string; its power
//!            V_i²/(R (1 + t)), or (V/n)²/(R (1 − t)) when all are low, whichever is more; the limit is then V_i √(P_d/P_i)
//!            count n ≥ max(⌈V/(L d)⌉, ⌈V/L⌉ + 1, ⌈V_surge/L_o⌉): L the element's limit, d the derating limit, L_o overload;
//!            the + 1 keeps the rest inside their limit after one short; critical resistance V_w²/P_d
//!            a leakage over one of the rest leaves g = R_lk/(R_lk + R (1 − t)) of it, in place of 1
//!            losses at R (1 − c − h), h = a ΔT + v V_i of its own heat and voltage, by which the strings part, too; what
//!            follows at its least where the upper string has most of the voltage, at its most for the lower part
//! Symbols    t tolerance and drift over life and temperature together, relative; c drift that all parts share; a, v
//!            coefficients
//! Valid      equal nominal values; steady voltage; surge shorter than the thermal time of the element
//! Source     Ohm's and Joule's law; linear derating in the style of IEC 60115-1 (shape from memory);
//!            80 % of the rated voltage: common practice, no source
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use crate::physics::network::{Network, parallel};

/// An element that may be nothing at all is no element.
pub(super) const MOST_APART: f64 = 0.99;

/// One string of equal elements and its ratings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Elements {
    /// Number in series.
    pub count: u32,
    /// Resistance of each, Ω.
    pub resistance_ohm: f64,
    /// Half-width of tolerance and drift together, relative.
    pub tolerance: f64,
    /// Half-width of the drift that all parts of the divider share, relative.
    pub common: f64,
    /// Temperature coefficient, 1/K.
    pub tcr_per_k: f64,
    /// Voltage coefficient as a magnitude, 1/V.
    pub bend_per_v: f64,
    /// Least leakage over one of them, Ω; infinite without one.
    pub leak_ohm: f64,
    /// Rated working voltage of each, V.
    pub max_working_v: f64,
    /// Overload voltage of each, V.
    pub overload_v: f64,
    /// Rated power of each, W.
    pub rated_power_w: f64,
    /// Derating begins, °C.
    pub derate_from_degc: f64,
    /// Zero power, °C.
    pub zero_power_degc: f64,
}

/// A case of stress.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct StressRung {
    /// A stable word: `normal`, `unequal`, `one-short`, `surge`, `lower`.
    pub id: &'static str,
    /// The case in words.
    pub label: &'static str,
    /// Voltage across the whole divider, V.
    pub input_v: f64,
    /// Voltage across the element with most of it, V.
    pub element_v: f64,
    /// What the element may carry, V.
    pub limit_v: f64,
    /// Share of that, percent.
    pub stress_percent: f64,
    /// Loss in that element, W.
    pub power_w: f64,
}

impl Elements {
    /// Number in series as a number.
    pub fn n(&self) -> f64 {
        f64::from(self.count)
    }

    /// The whole string, Ω.
    pub fn string_ohm(&self) -> f64 {
        self.n() * self.resistance_ohm
    }

    /// Power allowed at an ambient temperature, W.
    pub fn derated_power_w(&self, ambient_degc: f64) -> f64 {
        let line = (self.zero_power_degc - ambient_degc) / (self.zero_power_degc - self.derate_from_degc);
        self.rated_power_w * line.clamp(0.0, 1.0)
    }

    /// The voltage at which the allowed power is reached, V.
    pub fn power_limited_v(&self, ambient_degc: f64) -> f64 {
        (self.derated_power_w(ambient_degc) * self.resistance_ohm).sqrt()
    }

    /// What one element may carry, V.
    pub fn limit_v(&self, ambient_degc: f64) -> f64 {
        self.max_working_v.min(self.power_limited_v(ambient_degc))
    }

    /// Above this resistance the working voltage governs, below it the power allowed at an ambient temperature, Ω; none
    /// where nothing is allowed.
    pub fn critical_ohm(&self, ambient_degc: f64) -> Option<f64> {
        let power = self.derated_power_w(ambient_degc);
        (power > 0.0).then(|| self.max_working_v * self.max_working_v / power)
    }

    /// Element above ambient per loss in it, K/W: the rated power takes it from the beginning of the derating to the
    /// temperature at which nothing is allowed. Common practice, no source.
    pub fn thermal_resistance_k_per_w(&self) -> f64 {
        (self.zero_power_degc - self.derate_from_degc) / self.rated_power_w
    }

    /// Share of the voltage of `left` elements on one that is high while the rest is low.
    pub fn unequal_share(&self, left: f64) -> f64 {
        self.share_of(1.0, left)
    }

    /// Share of the voltage of `left` elements on so many of them that are high while the rest is low.
    pub fn share_of(&self, high: f64, left: f64) -> f64 {
        let t = self.tolerance;
        high * (1.0 + t) / (high * (1.0 + t) + (left - high - self.leaks(left - high)) * (1.0 - t))
    }

    /// What a leakage over one of so many takes of that one, of its resistance.
    pub fn leaks(&self, of: f64) -> f64 {
        let ohm = self.resistance_ohm * (1.0 - self.tolerance) * (1.0 + self.common);
        if of >= 1.0 { ohm / (ohm + self.leak_ohm) } else { 0.0 }
    }

    /// By how much its own heat and voltage move an element at most, relative.
    fn moves(&self, element_v: f64) -> f64 {
        let loss_w = element_v * element_v / self.resistance_ohm;
        (self.tcr_per_k * loss_w * self.thermal_resistance_k_per_w() + self.bend_per_v * element_v).min(MOST_APART)
    }

    /// The worst element of `left` that share a voltage unequally: its voltage, and the loss of the one that loses most.
    fn worst(&self, on_string_v: f64, left: f64) -> (f64, f64) {
        let element_v = on_string_v * self.unequal_share(left);
        let (high, low) = (1.0 + self.tolerance, 1.0 - self.tolerance);
        let loss_w = |volt: f64, part: f64| {
            let moved = (1.0 - self.common - self.moves(volt)).max(1.0 - MOST_APART);
            volt * volt / (self.resistance_ohm * part * moved)
        };
        let all_low = loss_w(on_string_v / (left - self.leaks(left - 1.0)), low);
        (element_v, loss_w(element_v, high).max(all_low))
    }

    /// A case of unequal shares against working voltage and allowed power.
    fn unequal(
        &self,
        id: &'static str,
        label: &'static str,
        input_v: f64,
        (on_string_v, left): (f64, f64),
        ambient_degc: f64,
    ) -> StressRung {
        let (element_v, power_w) = self.worst(on_string_v, left);
        let by_power = (self.derated_power_w(ambient_degc) / power_w).sqrt() * element_v;
        // Without a voltage nothing is lost, and the working voltage is the limit.
        let limit_v = if power_w > 0.0 { self.max_working_v.min(by_power) } else { self.max_working_v };
        StressRung { power_w, ..self.rung(id, label, input_v, element_v, limit_v) }
    }

    /// One case of stress.
    pub fn rung(
        &self,
        id: &'static str,
        label: &'static str,
        input_v: f64,
        element_v: f64,
        limit_v: f64,
    ) -> StressRung {
        // At or above the zero-power temperature nothing is allowed; any voltage is then far beyond the limit.
        let percent = if element_v > 0.0 { element_v / limit_v.max(element_v * 1e-9) * 100.0 } else { 0.0 };
        StressRung {
            id,
            label,
            input_v,
            element_v,
            limit_v,
            stress_percent: percent,
            power_w: element_v * element_v / self.resistance_ohm,
        }
    }
}

/// What the strings are built into.
#[derive(Clone, Copy, Debug)]
pub struct Around {
    /// Strings and load.
    pub net: Network,
    /// Half-width of the load, relative.
    pub load_tolerance: f64,
    /// Bias current of what follows, either way, A.
    pub bias_a: f64,
    /// Least leakage over the whole upper string, Ω; infinite without one.
    pub leak_ohm: f64,
}

impl Around {
    /// The same with one upper element short.
    #[must_use]
    pub fn one_short(self, upper: &Elements) -> Self {
        let upper_ohm = self.net.upper_ohm * (upper.n() - 1.0) / upper.n();
        Self { net: Network { upper_ohm, ..self.net }, ..self }
    }

    /// Upper string, lower string and load as they are, with the upper string off by this sign and the lower part by the
    /// other one. What all parts share counts against a load and a leakage that do not share it.
    fn moved(&self, upper: &Elements, lower: &Elements, voltage_v: f64, sign: f64) -> (Network, f64) {
        let on_lower = voltage_v * self.net.ratio();
        let moves = [(upper, voltage_v - on_lower), (lower, on_lower)]
            .map(|(part, on)| (part.tolerance + part.moves(on / part.n())).min(MOST_APART));
        let shared = upper.common.max(lower.common).min(MOST_APART);
        let load_off = self.load_tolerance.min(MOST_APART);
        let string = self.net.upper_ohm * (1.0 + sign * moves[0]);
        let (upper_ohm, load_ohm) = if sign > 0.0 {
            (string, self.net.load_ohm * (1.0 - load_off) / (1.0 + shared))
        } else {
            let left = 1.0 - upper.leaks(upper.n()) / upper.n();
            (
                parallel(string * left, self.leak_ohm / (1.0 + shared)),
                self.net.load_ohm * (1.0 + load_off) / (1.0 - shared),
            )
        };
        let net = Network { upper_ohm, lower_ohm: self.net.lower_ohm * (1.0 - sign * moves[1]), load_ohm };
        (net, self.bias_a * net.source_loaded_ohm() * (1.0 + shared))
    }

    /// The most that the upper string takes of a voltage: where the lower part takes least.
    pub fn most_on_upper(&self, upper: &Elements, lower: &Elements, voltage_v: f64) -> f64 {
        let (net, by_bias_v) = self.moved(upper, lower, voltage_v, 1.0);
        voltage_v * (1.0 - net.ratio()) + by_bias_v
    }

    /// The most that the lower part takes.
    fn most_on_lower(&self, upper: &Elements, lower: &Elements, voltage_v: f64) -> f64 {
        let (net, by_bias_v) = self.moved(upper, lower, voltage_v, -1.0);
        voltage_v * net.ratio() + by_bias_v
    }
}

/// Every case of stress: normal, unequal sharing, one short, transient, and the lower element.
pub fn ladder(
    upper: &Elements,
    lower: &Elements,
    around: &Around,
    voltage_v: f64,
    transient_v: Option<f64>,
    ambient_degc: f64,
) -> Vec<StressRung> {
    let (n, k) = (upper.n(), around.net.ratio());
    let on_upper = |around: &Around, voltage_v: f64| around.most_on_upper(upper, lower, voltage_v);
    let label = "One element high, the rest low within tolerance and drift";
    let mut ladder = vec![
        upper.rung("normal", "Normal, equal shares", voltage_v, voltage_v * (1.0 - k) / n, upper.limit_v(ambient_degc)),
        upper.unequal("unequal", label, voltage_v, (on_upper(around, voltage_v), n), ambient_degc),
    ];
    if upper.count > 1 {
        let left = n - 1.0;
        let on_string = on_upper(&around.one_short(upper), voltage_v);
        ladder.push(upper.unequal("one-short", "One element short", voltage_v, (on_string, left), ambient_degc));
    }
    if let Some(transient_v) = transient_v {
        let element_v = on_upper(around, transient_v) * upper.unequal_share(n);
        ladder.push(upper.rung("surge", "Transient, unequal shares", transient_v, element_v, upper.overload_v));
    }
    let on_lower = (around.most_on_lower(upper, lower, voltage_v), lower.n());
    ladder.push(lower.unequal("lower", "Lower element", voltage_v, on_lower, ambient_degc));
    ladder
}

/// Elements that a voltage takes when each carries `limit_v`; none when nothing is allowed or the count is absurd.
pub fn count_for(voltage_v: f64, limit_v: f64) -> Option<u32> {
    // A quotient that is whole but for rounding must not cost an element.
    let count = (voltage_v / limit_v - 1e-9).ceil().max(1.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and inside 1..=1e6")]
    (count <= 1e6).then_some(count as u32)
}

/// The count rule: for the derating limit in normal use, for one short, for the surge.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ElementCount {
    /// Elements that keep the derating limit in normal use.
    pub normal: Option<u32>,
    /// Elements that keep the rest inside their limit after one short.
    pub one_short: Option<u32>,
    /// Elements that carry the surge; absent without one.
    pub surge: Option<u32>,
    /// The largest of them.
    pub needed: Option<u32>,
}

impl ElementCount {
    /// Works out the rule for elements of a limit.
    pub fn new(voltage_v: f64, surge: Option<(f64, f64)>, limit_v: f64, rule_percent: f64) -> Self {
        let normal = count_for(voltage_v, limit_v * rule_percent / 100.0);
        let one_short = count_for(voltage_v, limit_v).map(|count| count + 1);
        let for_surge = surge.and_then(|(surge_v, overload_v)| count_for(surge_v, overload_v));
        let needed = normal.zip(one_short).map(|(a, b)| a.max(b).max(for_surge.unwrap_or(0)));
        Self { normal, one_short, surge: for_surge, needed }
    }
}
