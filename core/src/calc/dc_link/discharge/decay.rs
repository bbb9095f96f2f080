//! # The decay of a capacitor
//!
//! A capacitor without its source is discharged by a resistance, a constant current or a constant power, alone or beside
//! a resistance.
//!
//! ```text
//! Formula    R: t = R C ln(V0/V1); I: C (V0 − V1)/I; P: C (V0² − V1²)/(2 P)
//!            R and I: R C ln((V0 + I R)/(V1 + I R)); R and P: (R C/2) ln((V0² + P R)/(V1² + P R))
//! Valid      constant R, C, I, P; the source disconnected
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

    /// The time from one voltage down to another, s.
    pub fn time_s(self, farad: f64, from_v: f64, to_v: f64) -> Option<f64> {
        if from_v <= to_v {
            return Some(0.0);
        }
        let (from, to) = (from_v * from_v, to_v * to_v);
        let time = match self.ohm {
            Some(ohm) if self.watt > 0.0 => {
                let power = self.watt * ohm;
                0.5 * ohm * farad * libm::log1p((from - to) / (to + power))
            }
            Some(ohm) => ohm * farad * libm::log1p((from_v - to_v) / (to_v + self.ampere * ohm)),
            None if self.watt > 0.0 => farad * (from - to) / (2.0 * self.watt),
            None => farad * (from_v - to_v) / self.ampere,
        };
        Some(time).filter(|time| time.is_finite())
    }

    /// The voltage that is left after a time, V.
    pub fn left_v(self, farad: f64, from_v: f64, seconds: f64) -> f64 {
        let square = from_v * from_v;
        let left = match self.ohm {
            Some(ohm) if self.watt > 0.0 => {
                let power = self.watt * ohm;
                let rest = square + (square + power) * libm::expm1(-2.0 * seconds / (ohm * farad));
                rest.max(0.0).sqrt()
            }
            Some(ohm) => {
                let shift = self.ampere * ohm;
                from_v + (from_v + shift) * libm::expm1(-seconds / (ohm * farad))
            }
            None if self.watt > 0.0 => (square - 2.0 * self.watt * seconds / farad).max(0.0).sqrt(),
            None => from_v - self.ampere * seconds / farad,
        };
        left.max(0.0)
    }
}
