//! # From the raw code to a physical value and to the bus
//!
//! Firmware multiplies the raw code by a constant; in integer arithmetic that constant is rounded once and must not
//! overflow. The bus carries a word with a step and an offset of its own, an analogue output a span of volts or amperes.
//!
//! ```text
//! Formula    x = code · s;  c = round(s · 2^q) with the largest q for which |code|max · c < 2^(w−1);  |Δs/s| ≤ 1/(2c)
//!            bus: value = word · factor + offset, rounding ± factor/2
//! Symbols    s [unit/code] scale, w width of the product in bits, q fractional bits
//! Source     rounding of a fixed-point constant: closed form; best rational by continued fraction (Khinchin 1964)
//! ```

use serde::Serialize;
use utoipa::ToSchema;

/// The scale as a fixed-point constant.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct FixedPoint {
    /// Fractional bits q: value = (code · constant) / 2^q.
    pub fractional_bits: i32,
    /// The integer constant.
    pub constant: i64,
    /// Relative error of the rounded constant, ppm.
    pub rounding_ppm: f64,
    /// Error at the largest code, in the physical unit.
    pub largest_error: f64,
}

/// The scale as a fraction of two integers.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Fraction {
    /// Numerator.
    pub numerator: i64,
    /// Denominator, at most 65535 times the power of ten below.
    pub denominator: i64,
    /// Relative error, ppm.
    pub rounding_ppm: f64,
}

/// The largest constant that cannot overflow a product of `width` bits.
pub fn fixed_point(scale: f64, largest_code: f64, width: u32) -> Option<FixedPoint> {
    let ceiling = 2f64.powi(i32::try_from(width).ok()? - 1) / largest_code;
    if !(scale > 0.0 && scale.is_finite() && ceiling >= 2.0) {
        return None;
    }
    // log2 gives the exponent to within one; the check below settles it exactly.
    #[allow(clippy::cast_possible_truncation, reason = "a logarithm of a finite double is far inside i32")]
    let mut q = libm::floor(libm::log2(ceiling / scale)) as i32 + 1;
    let rounded = |q: i32| libm::round(libm::ldexp(scale, q));
    while rounded(q) >= ceiling {
        q -= 1;
    }
    let constant = rounded(q);
    if constant < 1.0 {
        return None;
    }
    let relative = libm::ldexp(constant, -q) / scale - 1.0;
    Some(FixedPoint {
        fractional_bits: q,
        #[allow(clippy::cast_possible_truncation, reason = "below 2^62 by the width limit of the input")]
        constant: constant as i64,
        rounding_ppm: relative * 1e6,
        largest_error: relative.abs() * scale * largest_code,
    })
}

/// The best fraction with a denominator of at most 65535, after scaling by a power of ten that makes the value lie
/// between 1 and 10.
pub fn fraction(scale: f64) -> Option<Fraction> {
    if !(scale > 0.0 && scale.is_finite()) {
        return None;
    }
    #[allow(clippy::cast_possible_truncation, reason = "the decimal exponent of a double is within ±324")]
    let exponent = libm::floor(libm::log10(scale)) as i32;
    if exponent.abs() > 12 {
        return None;
    }
    let mantissa = scale / libm::pow(10.0, f64::from(exponent));
    let (mut previous, mut current) = ((1i64, 0i64), (0i64, 1i64));
    let mut rest = mantissa;
    let mut best = None;
    for _ in 0..40 {
        let whole = rest.floor();
        #[allow(clippy::cast_possible_truncation, reason = "checked against the denominator limit before use")]
        let digit = whole.min(1e9) as i64;
        let next = (digit * previous.0 + current.0, digit * previous.1 + current.1);
        if next.1 > 65535 {
            break;
        }
        (current, previous) = (previous, next);
        best = Some(previous);
        let part = rest - whole;
        if part < 1e-12 {
            break;
        }
        rest = 1.0 / part;
    }
    let (numerator, denominator) = best?;
    let power = 10i64.pow(exponent.unsigned_abs());
    let (numerator, denominator) =
        if exponent >= 0 { (numerator * power, denominator) } else { (numerator, denominator * power) };
    let divisor = gcd(numerator, denominator);
    let (numerator, denominator) = (numerator / divisor, denominator / divisor);
    Some(Fraction { numerator, denominator, rounding_ppm: (numerator as f64 / denominator as f64 / scale - 1.0) * 1e6 })
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a.max(1) } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fixed_point_constant_never_overflows_and_errs_by_half_a_unit() {
        for scale in [43.5965e-3, 1.0, 1e-9, 1234.5, 0.1] {
            for (code, width) in [(32768.0, 32), (2048.0, 32), (8_388_608.0, 64)] {
                let Some(fixed) = fixed_point(scale, code, width) else { panic!("{scale} {code} {width}") };
                assert!((fixed.constant as f64) * code < 2f64.powi(i32::try_from(width).expect("small") - 1));
                assert!(fixed.rounding_ppm.abs() <= 0.5e6 / fixed.constant as f64 + 1e-9);
                // One more fractional bit would overflow: the constant is the largest that fits.
                assert!(
                    libm::round(libm::ldexp(scale, fixed.fractional_bits + 1)) * code
                        >= 2f64.powi(i32::try_from(width).expect("small") - 1)
                );
            }
        }
        assert_eq!(fixed_point(1.0, 1e12, 16), None);
    }

    #[test]
    fn a_decimal_scale_comes_back_as_its_own_fraction() {
        assert_eq!(fraction(0.05).map(|f| (f.numerator, f.denominator)), Some((1, 20)));
        assert_eq!(fraction(0.375).map(|f| (f.numerator, f.denominator)), Some((3, 8)));
        assert!(fraction(43.5965e-3).expect("in range").rounding_ppm.abs() < 1e-3);
    }
}
