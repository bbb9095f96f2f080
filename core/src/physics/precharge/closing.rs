//! # When the main contactor closes
//!
//! It closes by two readings, each wrong by up to its error. For certain it closes only when the link reads low and the
//! pack high, perhaps already when the link reads high and the pack low: the first decides time and reach, the second
//! what is left to flow.
//!
//! ```text
//! Formula    ratio x:       for certain at x (V + e2) + e1, perhaps from x (V − e2) − e1 on
//!            difference d:  for certain at V + e2 − d + e1, perhaps from V − e2 − d − e1 on
//!            from above, where it waits there: the same with 2 − x or −d, the two ends changed
//! Symbols    V [V] pack, e1, e2 [V] errors of link and pack reading, the same at every voltage
//! Valid      unrelated errors at their limits
//! Source     limits added: worst case
//! ```

/// What is compared.
#[derive(Clone, Copy, Debug)]
pub enum Rule {
    /// The link's reading as a share of the pack's.
    Share(f64),
    /// The pack's reading less the link's, V.
    Difference(f64),
}

/// The rule and the errors of both readings.
#[derive(Clone, Copy, Debug)]
pub struct Closing {
    /// What is compared.
    pub rule: Rule,
    /// Whether it also waits while the link is above the pack.
    pub waits_above: bool,
    /// Error of the link's reading, V.
    pub link_v: f64,
    /// Error of the pack's reading, V.
    pub pack_v: f64,
}

impl Closing {
    /// The link voltage at which it closes with right readings.
    pub fn nominal_v(&self, pack_v: f64) -> f64 {
        match self.rule {
            Rule::Share(share) => share * pack_v,
            Rule::Difference(difference) => pack_v - difference,
        }
    }

    /// The link voltage at which it closes for certain.
    pub fn certain_v(&self, pack_v: f64) -> f64 {
        self.nominal_v(pack_v + self.pack_v) + self.link_v
    }

    /// The link voltage from which on it may close.
    pub fn perhaps_v(&self, pack_v: f64) -> f64 {
        self.nominal_v(pack_v - self.pack_v) - self.link_v
    }

    /// The pack voltage whose certain closing lies at a link voltage.
    pub fn pack_of(&self, certain_v: f64) -> f64 {
        let nominal = certain_v - self.link_v;
        let pack = match self.rule {
            Rule::Share(share) => nominal / share,
            Rule::Difference(difference) => nominal + difference,
        };
        pack - self.pack_v
    }

    /// The band above the pack inside which it closes: the end at which it does for certain, and the one at which it may.
    fn above_v(&self, pack_v: f64) -> (f64, f64) {
        let mirrored = |pack: f64| 2.0 * pack - self.nominal_v(pack);
        (mirrored(pack_v - self.pack_v) - self.link_v, mirrored(pack_v + self.pack_v) + self.link_v)
    }

    /// The link voltage that a course from `start_v` has to come to, and whether from above.
    pub fn goal(&self, pack_v: f64, start_v: f64) -> (f64, bool) {
        let (above, _) = self.above_v(pack_v);
        if self.waits_above && start_v > above { (above, true) } else { (self.certain_v(pack_v), false) }
    }

    /// Whether there is a link voltage at which it closes for certain: of a band above and below the pack errors may leave none.
    pub fn possible(&self, pack_v: f64) -> bool {
        !self.waits_above || self.certain_v(pack_v) <= self.above_v(pack_v).0
    }

    /// Whether it closes for certain at this link voltage.
    pub fn certain_at(&self, pack_v: f64, link_v: f64) -> bool {
        link_v >= self.certain_v(pack_v) && (!self.waits_above || link_v <= self.above_v(pack_v).0)
    }

    /// The largest true difference at closing with the pack above, and with the link above, for a link that starts there.
    pub fn left_v(&self, pack_v: f64, start_v: f64) -> (f64, f64) {
        let over = (start_v - pack_v).max(0.0);
        let (_, above) = self.above_v(pack_v);
        let back = if self.waits_above { over.min((above - pack_v).max(0.0)) } else { over };
        let from = self.perhaps_v(pack_v).max(start_v.min(pack_v));
        ((pack_v - from).max(0.0), back)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 400 V, 2 V and 2 V: a difference of 10 V is certain at 6 V and may be 14 V; a ratio of 97.5 % is certain at
    /// 0.975 · 402 + 2 = 393.95 V and may be 0.975 · 398 − 2 = 386.05 V. From above by 10 V: certain at 406 V, perhaps 414 V.
    #[test]
    fn both_rules_with_both_readings_on_their_bad_sides() {
        let of = |rule| Closing { rule, waits_above: true, link_v: 2.0, pack_v: 2.0 };
        let difference = of(Rule::Difference(10.0));
        assert_eq!((difference.certain_v(400.0), difference.perhaps_v(400.0)), (394.0, 386.0));
        let share = of(Rule::Share(0.975));
        assert!((share.certain_v(400.0) - 393.95).abs() < 1e-9 && (share.perhaps_v(400.0) - 386.05).abs() < 1e-9);
        assert!((share.pack_of(393.95) - 400.0).abs() < 1e-9 && (difference.pack_of(394.0) - 400.0).abs() < 1e-9);
        assert_eq!((difference.goal(400.0, 450.0), difference.goal(400.0, 0.0)), ((406.0, true), (394.0, false)));
        assert_eq!((difference.left_v(400.0, 0.0), difference.left_v(400.0, 450.0)), ((14.0, 0.0), (0.0, 14.0)));
        let once = Closing { waits_above: false, ..difference };
        assert_eq!(once.left_v(400.0, 450.0), (0.0, 50.0));
        // Errors of 8 V each leave nothing of 10 V above and below.
        let none = Closing { rule: Rule::Difference(10.0), waits_above: true, link_v: 8.0, pack_v: 8.0 };
        assert!(!none.possible(800.0) && !none.certain_at(800.0, 800.0) && difference.possible(400.0));
    }
}
