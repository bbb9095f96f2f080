//! # Platinum sensor
//!
//! A polynomial of the standard gives the resistance of every platinum sensor of one nominal value. Below 0 °C one more
//! term counts, and there the temperature of a resistance has no closed form.
//!
//! ```text
//! Formula    R(t) = R0 (1 + A t + B t² + C (t − 100 °C) t³), the last term below 0 °C only (Callendar-Van Dusen)
//!            A = 3.9083e-3 1/K, B = −5.775e-7 1/K², C = −4.183e-12 1/K⁴
//! Inverse    t ≥ 0: t = 2 (R/R0 − 1)/(A + √(A² + 4 B (R/R0 − 1))); t < 0: Newton's method inside a bracket
//! Classes    ±(0.1 + 0.0017 |t|) AA, ±(0.15 + 0.002 |t|) A, ±(0.3 + 0.005 |t|) B, ±(0.6 + 0.01 |t|) C, in kelvin
//! Valid      −200 °C to 850 °C; the ranges of the classes depend on how the sensor is built
//! Source     IEC 60751:2022 (coefficients, table 1; tolerance classes; ranges of the classes from memory)
//! ```

use crate::propagation::Number;

use super::steinhart::increasing_root;

/// First coefficient, 1/K. IEC 60751.
pub const A: f64 = 3.9083e-3;
/// Second coefficient, 1/K². IEC 60751.
pub const B: f64 = -5.775e-7;
/// Third coefficient, 1/K⁴, below 0 °C only. IEC 60751.
pub const C: f64 = -4.183e-12;
/// The range of the standard's polynomial, °C.
pub const RANGE_DEGC: [f64; 2] = [-200.0, 850.0];
/// The rounded resistances of a table lead a little outside its ends.
const MARGIN_K: f64 = 5.0;

crate::choice! {
    /// The nominal resistance.
    pub enum Nominal {
        Pt100 = "pt100", "Pt100";
        Pt500 = "pt500", "Pt500";
        Pt1000 = "pt1000", "Pt1000";
    }
}

crate::choice! {
    /// The tolerance class.
    pub enum ToleranceClass {
        Aa = "aa", "AA";
        A = "a", "A";
        B = "b", "B";
        C = "c", "C";
    }
}

crate::choice! {
    /// How the sensor is built, which sets the range of its class.
    pub enum Build {
        Film = "film", "Film on ceramic";
        Wire = "wire", "Wound wire";
    }
}

impl Nominal {
    /// Resistance at 0 °C, Ω.
    pub const fn ohm(self) -> f64 {
        match self {
            Self::Pt100 => 100.0,
            Self::Pt500 => 500.0,
            Self::Pt1000 => 1000.0,
        }
    }
}

impl ToleranceClass {
    /// Half-width at a temperature, K.
    pub fn limit_k(self, degc: f64) -> f64 {
        let (fixed, slope) = match self {
            Self::Aa => (0.1, 0.0017),
            Self::A => (0.15, 0.002),
            Self::B => (0.3, 0.005),
            Self::C => (0.6, 0.01),
        };
        fixed + slope * degc.abs()
    }

    /// The range in which the class holds, °C. IEC 60751, from memory.
    pub const fn range_degc(self, build: Build) -> [f64; 2] {
        match (build, self) {
            (Build::Film, Self::Aa) => [0.0, 150.0],
            (Build::Film, Self::A) => [-30.0, 300.0],
            (Build::Film, Self::B) => [-50.0, 500.0],
            (Build::Film, Self::C) => [-50.0, 600.0],
            (Build::Wire, Self::Aa) => [-50.0, 250.0],
            (Build::Wire, Self::A) => [-100.0, 450.0],
            (Build::Wire, Self::B | Self::C) => [-196.0, 600.0],
        }
    }
}

/// R(t)/R0.
pub fn ratio(degc: f64) -> f64 {
    let below = if degc < 0.0 { C * (degc - 100.0) * degc * degc * degc } else { 0.0 };
    1.0 + (A + B * degc) * degc + below
}

/// R(t)/R0 near a known temperature, for any number type, on the side of 0 °C of that temperature.
#[inline]
pub fn ratio_near<N: Number>(t: N, near: f64) -> N {
    let third = if near < 0.0 { C } else { 0.0 };
    (t - 100.0) * (t * t * t) * third + (t * B + A) * t + 1.0
}

/// Its slope, 1/K.
pub fn slope(degc: f64) -> f64 {
    let below = if degc < 0.0 { C * (4.0 * degc - 300.0) * degc * degc } else { 0.0 };
    A + 2.0 * B * degc + below
}

/// The temperature of R/R0, °C; none more than 5 K outside the range of the standard.
pub fn degc(ratio_now: f64) -> Option<f64> {
    let [low, high] = [RANGE_DEGC[0] - MARGIN_K, RANGE_DEGC[1] + MARGIN_K];
    if ratio_now < 1.0 {
        return increasing_root(|degc| (ratio(degc) - ratio_now, slope(degc)), low, 0.0);
    }
    let rise = ratio_now - 1.0;
    let root = (A * A + 4.0 * B * rise).sqrt();
    Some(2.0 * rise / (A + root)).filter(|degc| *degc <= high)
}

/// The temperature of R/R0 near a known one, for any number type: Newton's method with a fixed number of steps, each of
/// which squares the distance. On the side of 0 °C of the known temperature.
#[inline]
pub fn degc_near<N: Number>(ratio_now: N, near: f64) -> N {
    let third = if near < 0.0 { C } else { 0.0 };
    let mut t = N::from(near);
    for _ in 0..5 {
        let square = t * t;
        let value = (t - 100.0) * (square * t) * third + (t * B + A) * t + 1.0;
        let slope = (t * 4.0 - 300.0) * square * third + t * (2.0 * B) + A;
        t = t - (value - ratio_now) / slope;
    }
    t
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_over_the_whole_range() {
        for step in 0..=1050 {
            let t = -200.0 + f64::from(step);
            let back = degc(ratio(t)).expect("inside");
            assert!((back - t).abs() < 1e-9, "{t}: {back}");
            assert!((degc_near(ratio(t), t + 0.5 * t.signum()) - t).abs() < 1e-9, "{t}");
        }
        assert_eq!(degc(5.0), None);
        assert_eq!(degc(-1.0), None);
        assert_eq!(degc(f64::NAN), None);
    }
}
