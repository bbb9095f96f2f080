//! # The decay of a capacitor
//!
//! A capacitor without its source is discharged by a resistance, a constant current and a constant power, in any company.
//! What feeds it meanwhile is a current or a power with a minus sign.
//!
//! ```text
//! Formula    R: t = R C ln(V0/V1); I: C (V0 − V1)/I; P: C (V0² − V1²)/(2 P)
//!            R and I: R C ln((V0 + I R)/(V1 + I R)); R and P: (R C/2) ln((V0² + P R)/(V1² + P R))
//! I and P    C/I ((V0 − V1) − (P/I) ln((I V0 + P)/(I V1 + P))) = C/I h(−P/I)
//! all three  R C ∫ v dv/q, q = v² + I R v + P R: with roots r and s (h(r) − h(s))/(r − s), else ½ ln q − ½ I R ∫ dv/q with an
//!            arc tangent
//! h(r)       (V0 − V1) + r ln((V0 − r)/(V1 − r)), taken as V1 ln(1 + x) + (V0 − V1)(1 − ln(1 + x)/x), x = (V0 − V1)/(V1 − r):
//!            no digits are lost where the root is far away
//! Rests      where v²/R + I v + P = 0: it never passes such a voltage
//! Valid      constant R, C, I, P; the pack disconnected
//! Source     C dv/dt = −v/R − I − P/v, integrated
//! ```

/// What takes the charge away: a resistance and a current or a power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Path {
    /// Resistance, Ω.
    pub ohm: Option<f64>,
    /// Constant current, A.
    pub ampere: f64,
    /// Constant power, W.
    pub watt: f64,
}

impl Path {
    /// Nothing at all.
    pub const NONE: Self = Self { ohm: None, ampere: 0.0, watt: 0.0 };

    /// Both side by side.
    #[must_use]
    pub fn beside(self, other: Self) -> Self {
        let ohm = match (self.ohm, other.ohm) {
            (Some(a), Some(b)) => Some(a * b / (a + b)),
            (one, None) | (None, one) => one,
        };
        Self { ohm, ampere: self.ampere + other.ampere, watt: self.watt + other.watt }
    }

    /// Power at a voltage, W.
    pub fn power_w(self, v: f64) -> f64 {
        self.ohm.map_or(0.0, |ohm| v * v / ohm) + self.ampere * v + self.watt
    }

    /// The current out of the capacitor at a voltage, A.
    fn net_a(self, v: f64) -> f64 {
        self.ohm.map_or(0.0, |ohm| v / ohm) + self.ampere + if self.watt == 0.0 { 0.0 } else { self.watt / v }
    }

    /// The highest voltage at which nothing flows.
    fn rest_v(self) -> Option<f64> {
        let rest = match self.ohm {
            Some(ohm) => {
                let (p, q) = (self.ampere * ohm, self.watt * ohm);
                let square = p * p - 4.0 * q;
                // The product of the two is q: the small one does not come from a difference.
                let far = 0.5 * (p.abs() + square.sqrt());
                if p <= 0.0 { far } else { -q / far }
            }
            None => -self.watt / self.ampere,
        };
        Some(rest).filter(|rest| rest.is_finite() && *rest >= 0.0)
    }

    /// The voltages at which it takes a current, V: v²/R + (I − i) v + P = 0.
    pub fn takes_at_v(self, ampere: f64) -> [Option<f64>; 2] {
        let rest = self.ampere - ampere;
        let roots = match self.ohm {
            Some(ohm) => {
                let (p, q) = (rest * ohm, self.watt * ohm);
                let far = -0.5 * (p + (p * p - 4.0 * q).sqrt().copysign(p));
                // The product of the two is q: the small one does not come from a difference.
                [far, q / far]
            }
            None => [-self.watt / rest, f64::NAN],
        };
        roots.map(|v| Some(v).filter(|v| v.is_finite() && *v > 0.0))
    }

    /// Whether it falls at a voltage.
    pub fn falls_at(self, v: f64) -> bool {
        self.net_a(v) > 0.0
    }

    /// Whether it falls all the way from one voltage to another. The net current times v is a parabola that opens upwards.
    fn falls(self, from_v: f64, to_v: f64) -> bool {
        let lowest = self.ohm.map_or(to_v, |ohm| (-0.5 * self.ampere * ohm).clamp(to_v, from_v));
        [from_v, to_v, lowest].into_iter().all(|v| v == 0.0 && self.watt > 0.0 || self.net_a(v) > 0.0)
    }

    /// The time from one voltage down to another, s.
    pub fn time_s(self, farad: f64, from_v: f64, to_v: f64) -> Option<f64> {
        if from_v <= to_v {
            return Some(0.0);
        }
        if !self.falls(from_v, to_v) {
            return None;
        }
        Some(self.passes_s(farad, from_v, to_v)).filter(|time| time.is_finite())
    }

    /// The time between two voltages with no rest between them, s.
    fn passes_s(self, farad: f64, from_v: f64, to_v: f64) -> f64 {
        let (from, to) = (from_v * from_v, to_v * to_v);
        let (i, w) = (self.ampere, self.watt);
        match self.ohm {
            Some(ohm) if i == 0.0 => 0.5 * ohm * farad * libm::log1p((from - to) / (to + w * ohm)),
            Some(ohm) if w == 0.0 => ohm * farad * libm::log1p((from_v - to_v) / (to_v + i * ohm)),
            Some(ohm) => {
                let (p, q) = (i * ohm, w * ohm);
                let square = p * p - 4.0 * q;
                let integral = if square > 0.0 {
                    // The product of the two is q: the small one does not come from a difference.
                    let far = -0.5 * (p + square.sqrt().copysign(p));
                    let near = q / far;
                    (past_root(far, from_v, to_v) - past_root(near, from_v, to_v)) / (far - near)
                } else {
                    let log = libm::log1p((from_v - to_v) * (from_v + to_v + p) / (to + p * to_v + q));
                    let (one, other, width) = (2.0 * from_v + p, 2.0 * to_v + p, (-square).sqrt());
                    // The difference of two arc tangents; of one root twice it is what it tends to.
                    let turn = libm::atan2(width * (one - other), width * width + one * other);
                    let inverse = if width > 0.0 { 2.0 * turn / width } else { 2.0 * (one - other) / (one * other) };
                    0.5 * (log - p * inverse)
                };
                ohm * farad * integral
            }
            None if i == 0.0 => farad * (from - to) / (2.0 * w),
            None if w == 0.0 => farad * (from_v - to_v) / i,
            None => farad / i * past_root(-w / i, from_v, to_v),
        }
    }

    /// The voltage that is left after a time, V.
    pub fn left_v(self, farad: f64, from_v: f64, seconds: f64) -> f64 {
        let square = from_v * from_v;
        let left = match self.ohm {
            _ if self.ampere != 0.0 && self.watt != 0.0 => self.searched_v(farad, from_v, seconds),
            Some(ohm) if self.watt != 0.0 => {
                let power = self.watt * ohm;
                let rest = square + (square + power) * libm::expm1(-2.0 * seconds / (ohm * farad));
                rest.max(0.0).sqrt()
            }
            Some(ohm) => {
                let shift = self.ampere * ohm;
                from_v + (from_v + shift) * libm::expm1(-seconds / (ohm * farad))
            }
            None if self.watt != 0.0 => (square - 2.0 * self.watt * seconds / farad).max(0.0).sqrt(),
            None => from_v - self.ampere * seconds / farad,
        };
        left.max(0.0)
    }

    /// The same by Newton's steps, halving where one leaves the bracket: the time to a voltage is monotone up to where it
    /// rests, and its slope there is −C over the current.
    fn searched_v(self, farad: f64, from_v: f64, seconds: f64) -> f64 {
        let net = self.net_a(from_v);
        let rest = self.rest_v();
        if net > 0.0 && self.time_s(farad, from_v, 0.0).is_some_and(|empty| empty <= seconds) {
            return 0.0;
        }
        let mut far = if net > 0.0 {
            rest.filter(|rest| *rest < from_v).unwrap_or(0.0)
        } else if net < 0.0 {
            let beyond = |v: &f64| self.passes_s(farad, from_v, *v) > seconds;
            let doubled = || std::iter::successors(Some(2.0 * from_v), |v| Some(2.0 * v)).take(200).find(beyond);
            rest.filter(|rest| *rest > from_v).or_else(doubled).unwrap_or(from_v)
        } else {
            from_v
        };
        let mut near = from_v;
        let mut next = from_v - net * seconds / farad;
        for step in 0..200 {
            let middle = 0.5 * (near + far);
            if middle == near || middle == far {
                break;
            }
            let inside = (next - near) * (next - far) < 0.0;
            // Every fourth step halves: the bracket closes however the current bends.
            let at = if inside && step % 4 != 3 { next } else { middle };
            let time = self.passes_s(farad, from_v, at);
            if time <= seconds {
                near = at;
            } else {
                far = at;
            }
            next = at + (time - seconds) * self.net_a(at) / farad;
            if (next - at).abs() <= 1e-14 * at {
                return next;
            }
        }
        near
    }
}

/// h(r) of the formulas above.
fn past_root(root: f64, from_v: f64, to_v: f64) -> f64 {
    let fall = from_v - to_v;
    let x = fall / (to_v - root);
    to_v * libm::log1p(x) + fall * bend(x)
}

/// 1 − ln(1 + x)/x, which loses its digits for small x when taken as it stands.
fn bend(x: f64) -> f64 {
    if x.abs() > 0.05 {
        return 1.0 - libm::log1p(x) / x;
    }
    let (mut power, mut sum) = (x, 0.0);
    for k in 2..20 {
        sum += power / f64::from(k);
        power *= -x;
    }
    sum
}
