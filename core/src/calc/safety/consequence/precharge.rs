//! # A pre-charge whose readings are wrong
//!
//! The main contactor closes by the readings of pack and link. A link that reads high, or a pack that reads low, closes it
//! before the link has risen, and the rest flows at once; the other way round it closes late or never, and the attempt is
//! given up, which is safe.
//!
//! ```text
//! Formula    may close from the lowest v with r_link(v) + e1 ≥ n(r_pack(V) − e2) on, for certain with −e1 and + e2; n(P) = x P, or
//!            P − d; with gains: true ratio x g_pack/g_link; what is left, V − v, drives the inrush of the path
//! Judged     inrush against what the contactor makes: peak and I²t; a difference of readings alone harms nothing
//! Decided    link: at v* = V − the largest difference that it makes, by n(V − e2) − e1 − v*; pack: at V, by V − P*, with
//!            n(P* − e2) = v* + e1; in both at once: Δ_link(v*) − x Δ_pack(V) in place of Δ_link
//! Valid      the highest pack voltage, where a share leaves most; a channel of the link that is built as the pack's
//! Source     the pre-charge's own course, closing and inrush (`physics::precharge`)
//! ```

use super::super::input::{PrechargeParts, Side};
use super::{Consequence, SafetyBehaviour, first};
use crate::physics::precharge::closing::{Closing, Rule};
use crate::physics::precharge::course::{Circuit, Draw};
use crate::physics::precharge::inrush::{Inrush, inrush};

/// A deviation that nothing comes to: the most that a field takes, V.
const NEVER_V: f64 = 1e6;

/// A pre-charge with everything that its goals need.
pub(in super::super) struct Precharge {
    circuit: Circuit,
    closing: Closing,
    max_time_s: f64,
    path_ohm: f64,
    path_henry: f64,
    /// The largest difference on which the contactor may close, V.
    makes_v: f64,
}

impl Precharge {
    /// Where all of it is given: one limit of the contactor is enough.
    pub fn of(parts: &PrechargeParts) -> Option<Self> {
        let (path_ohm, path_henry) = (parts.path_ohm?, parts.path_henry.unwrap_or(0.0));
        let farad = parts.capacitance_farad?;
        // The peak rises in proportion to the difference, the I²t with its square.
        let one = inrush(1.0, path_ohm, path_henry, farad);
        let peak = parts.making_a.map(|most| most / one.peak_a);
        let pulse = parts.making_a2s.map(|most| (most / one.a2s).sqrt());
        let makes_v = [peak, pulse].into_iter().flatten().reduce(f64::min)?;
        let above = |value: Option<f64>| value.filter(|value| *value > 0.0);
        let beside_ohm = parts.load_ohm.unwrap_or(f64::INFINITY);
        let (draw, bleeder_ohm) = match (above(parts.load_w), above(parts.load_a), parts.load_ohm) {
            (Some(power), ..) => (Draw::Power(power), beside_ohm),
            (None, Some(current), _) => (Draw::Current(current), beside_ohm),
            (None, None, Some(ohm)) => (Draw::Resistance(ohm), f64::INFINITY),
            (None, None, None) => (Draw::Nothing, f64::INFINITY),
        };
        let circuit = Circuit {
            pack_v: parts.pack_v?,
            start_v: parts.start_v.unwrap_or(0.0),
            resistance_ohm: parts.resistance_ohm?,
            capacitance_farad: farad,
            draw,
            bleeder_ohm,
            enable_v: parts.enable_v.unwrap_or(0.0),
        };
        let rule = match (parts.closing_difference_v, parts.target_percent) {
            (Some(difference), _) => Rule::Difference(difference),
            (None, target) => Rule::Share(target? / 100.0),
        };
        let (link_v, pack_v) = (parts.link_error_v?, parts.pack_error_v?);
        let closing = Closing { rule, waits_above: false, link_v, pack_v };
        Some(Self { circuit, closing, max_time_s: parts.max_time_s?, path_ohm, path_henry, makes_v })
    }

    /// The lowest link voltage on which the contactor may close.
    fn least_v(&self) -> f64 {
        (self.circuit.pack_v - self.makes_v).max(self.circuit.start_v)
    }

    /// Where a fault of a channel is decided, and the deviation there that harms.
    pub fn decided_v(&self, side: Side) -> [f64; 2] {
        let (pack, least) = (self.circuit.pack_v, self.least_v());
        let harmless = self.circuit.start_v >= pack - self.makes_v;
        let [at, harm] = match side {
            Side::Link => [least, self.closing.perhaps_v(pack) - least],
            Side::Pack => {
                // What the pack must read for the least voltage of the link to do.
                let reads = match self.closing.rule {
                    Rule::Share(share) => (least + self.closing.link_v) / share,
                    Rule::Difference(difference) => least + self.closing.link_v + difference,
                };
                [pack, pack - self.closing.pack_v - reads]
            }
        };
        [at, if harmless { NEVER_V } else { harm.max(0.0) }]
    }

    /// Whether it closes in time and not too soon where both channels read what is there: what fails without a fault has no
    /// deviation that is harmless.
    pub fn stands(&self) -> bool {
        self.met(|v| v, |v| v).behaviour == SafetyBehaviour::InTime
    }

    /// What a deviation of the pack's reading weighs against one of the link's.
    pub fn weight(&self) -> f64 {
        if let Rule::Share(share) = self.closing.rule { share } else { 1.0 }
    }

    fn inrush(&self, link_v: f64) -> Inrush {
        let left = (self.circuit.pack_v - link_v).max(0.0);
        inrush(left, self.path_ohm, self.path_henry, self.circuit.capacitance_farad)
    }

    /// What happens with readings of link and pack.
    pub fn met(&self, link: impl Fn(f64) -> f64, pack: impl Fn(f64) -> f64) -> Consequence {
        let Circuit { pack_v, start_v, .. } = self.circuit;
        let (reads, errors) = (pack(pack_v), [self.closing.link_v, self.closing.pack_v]);
        let closes = |sign: f64| {
            let needed = self.closing.nominal_v(reads + sign * errors[1]) + sign * errors[0];
            first(start_v, pack_v, |v| link(v) >= needed)
        };
        let (perhaps, certain) = (closes(-1.0), closes(1.0));
        let time = certain.and_then(|v| self.circuit.course().time_to(v));
        let late = time.map(|time| time - self.max_time_s).filter(|late| *late > 0.0);
        // Where it closes for nobody, nothing flows.
        let inrush = perhaps.map(|v| self.inrush(v));
        let too_soon = perhaps.is_some_and(|v| pack_v - v > self.makes_v * (1.0 + 1e-12));
        let behaviour = match () {
            () if too_soon => SafetyBehaviour::TooSoon,
            () if time.is_none() => SafetyBehaviour::Never,
            () if late.is_some() => SafetyBehaviour::Late,
            () => SafetyBehaviour::InTime,
        };
        Consequence {
            trips_at: perhaps,
            after_s: time,
            late_by_s: late,
            inrush_a: inrush.map(|one| one.peak_a),
            ..Consequence::of(behaviour)
        }
    }
}
