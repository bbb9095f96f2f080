//! # Steinhart-Hart equation
//!
//! Three coefficients join temperature and the logarithm of the resistance, far better over a wide range than one beta.
//! Three points fix them exactly. The equation gives the temperature directly; the resistance needs its root.
//!
//! ```text
//! Formula    1/T = A + B L + C L³, L = ln(R/Ω);  g2 = (Y2 − Y1)/(L2 − L1), g3 = (Y3 − Y1)/(L3 − L1),
//!            C = (g3 − g2)/((L3 − L2)(L1 + L2 + L3)), B = g2 − C (L1² + L1 L2 + L2²), A = Y1 − (B + C L1²) L1
//! Inverse    L by Newton's method held inside a bracket: for C > 0 the same value as the closed form of the cubic,
//!            y = (A − 1/T)/(2C), x = √((B/(3C))³ + y²), L = ∛(x − y) − ∛(x + y)
//! Symbols    T [K], R [Ω], Y = 1/T [1/K]
//! Valid      where 1/T rises with L: B + 3 C L² > 0
//! Source     Steinhart and Hart, Deep-Sea Research 15 (1968) 497
//! ```

use crate::propagation::Number;

/// The coefficients, for ln of the resistance in ohm and kelvin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SteinhartHart {
    /// A, 1/K.
    pub a: f64,
    /// B, 1/K.
    pub b: f64,
    /// C, 1/K.
    pub c: f64,
}

/// The range of ln(R/Ω) that is looked through: 1 mΩ to 70 GΩ.
const LOG_RANGE: [f64; 2] = [-7.0, 25.0];

impl SteinhartHart {
    /// Through three points of (ln R, 1/T); none when two of them share their resistance or the logarithms sum to zero.
    pub fn through(points: [[f64; 2]; 3]) -> Option<Self> {
        let [[l1, y1], [l2, y2], [l3, y3]] = points;
        let g2 = (y2 - y1) / (l2 - l1);
        let g3 = (y3 - y1) / (l3 - l1);
        let c = (g3 - g2) / ((l3 - l2) * (l1 + l2 + l3));
        let b = g2 - c * (l1 * l1 + l1 * l2 + l2 * l2);
        let a = y1 - (b + c * l1 * l1) * l1;
        [a, b, c].iter().all(|value| value.is_finite()).then_some(Self { a, b, c })
    }

    /// 1/T at a logarithm.
    #[inline]
    pub fn inverse_kelvin<N: Number>(&self, log: N) -> N {
        ((log * log) * self.c + self.b) * log + self.a
    }

    /// Slope of 1/T against ln R.
    #[inline]
    pub fn slope<N: Number>(&self, log: N) -> N {
        (log * log) * (3.0 * self.c) + self.b
    }

    /// The temperature of a resistance, K; none when the equation gives none.
    pub fn kelvin(&self, ohm: f64) -> Option<f64> {
        let inverse = self.inverse_kelvin(libm::log(ohm));
        (inverse > 0.0 && inverse.is_finite()).then(|| 1.0 / inverse)
    }

    /// ln R at a temperature, on the branch where 1/T rises with it.
    pub fn log_at(&self, kelvin: f64) -> Option<f64> {
        let [mut low, mut high] = LOG_RANGE;
        let turn = (-self.b / (3.0 * self.c)).sqrt();
        if turn.is_finite() {
            if self.c > 0.0 {
                low = low.max(turn);
            } else {
                (low, high) = (low.max(-turn), high.min(turn));
            }
        } else if self.b <= 0.0 {
            return None;
        }
        increasing_root(|log| (self.inverse_kelvin(log) - 1.0 / kelvin, self.slope(log)), low, high)
    }
}

/// The root of a function that rises between two ends: Newton's method held inside a shrinking bracket, so that it
/// always comes to an end. `function` gives value and slope. None when there is no root between the ends.
pub fn increasing_root(function: impl Fn(f64) -> (f64, f64), low: f64, high: f64) -> Option<f64> {
    let (mut low, mut high) = (low, high);
    if !(low <= high && function(low).0 <= 0.0 && function(high).0 >= 0.0) {
        return None;
    }
    let mut x = 0.5 * (low + high);
    for _ in 0..200 {
        let (value, slope) = function(x);
        if value == 0.0 {
            return Some(x);
        }
        if value < 0.0 {
            low = x;
        } else {
            high = x;
        }
        let step = x - value / slope;
        let next = if step > low && step < high { step } else { 0.5 * (low + high) };
        if (next - x).abs() <= 4.0 * f64::EPSILON * x.abs() {
            return Some(next);
        }
        x = next;
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The closed form of the cubic is another way to the same root.
    #[test]
    fn the_root_is_that_of_the_closed_form() {
        let with = SteinhartHart { a: 0.001_009_249_522, b: 0.000_237_840_544_4, c: 2.019_202_697e-7 };
        for kelvin in [223.15, 273.15, 298.15, 333.15, 398.15] {
            let y = (with.a - 1.0 / kelvin) / (2.0 * with.c);
            let x = ((with.b / (3.0 * with.c)).powi(3) + y * y).sqrt();
            let closed = (x - y).cbrt() - (x + y).cbrt();
            let log = with.log_at(kelvin).expect("a root");
            assert!((log - closed).abs() < 1e-12, "{log} {closed}");
            assert!((with.kelvin(libm::exp(log)).expect("positive") - kelvin).abs() < 1e-10);
        }
    }

    #[test]
    fn no_coefficients_make_it_run_for_ever_or_panic() {
        for a in [-1.0, 0.0, 1e-3, 1e3] {
            for b in [-1.0, -2.4e-4, 0.0, 2.4e-4, 1.0] {
                for c in [-1.0, -2e-7, 0.0, 2e-7, 1.0] {
                    for kelvin in [1e-3, 200.0, 300.0, 1e4] {
                        let log = SteinhartHart { a, b, c }.log_at(kelvin);
                        assert!(log.is_none_or(f64::is_finite));
                    }
                }
            }
        }
        assert_eq!(SteinhartHart::through([[1.0, 1.0], [1.0, 2.0], [2.0, 3.0]]), None);
        assert_eq!(increasing_root(|x| (x - 5.0, 1.0), 0.0, 1.0), None);
    }
}
