//! # Student's t distribution
//!
//! A standard uncertainty estimated from few readings makes the deviate wider than normal: it follows Student's t.
//! The exact quantile is iterative and slow, so a run draws a normal deviate and bends it by a table.
//! The table holds a slowly varying ratio, so 417 entries give eight digits even where t itself explodes.
//!
//! ```text
//! Formula    t = ±√(ν·(e^(s²/ν) − 1)), s = z·ρ(z);  ρ(z) = √(ν·ln(1 + t²/ν))/z tabulated from t = T⁻¹(Φ(z));
//!            T⁻¹ from the inverse incomplete beta function, for ν ≥ 1000 as z + g_1(z)/ν + … + g_4(z)/ν⁴
//! Symbols    t deviate in standard uncertainties [1], z normal deviate [1], ν degrees of freedom [1]
//! Valid      ν ≥ 1; table |z| ≤ 6.5 (draws of 32 bits reach 6.34), relative error below 1e-7
//! Source     JCGM 101:2008, 6.4.9 (scaled and shifted t); expansion: Abramowitz and Stegun, 26.7.5 (from memory,
//!            proved by the tests); the ratio: own algebra, from the logarithm in the t density
//! ```
#![expect(clippy::inline_always, reason = "must be compiled inside the vectorised Monte Carlo loop")]

use statrs::function::beta;

use super::normal::{normal_distribution, normal_quantile};
use super::random::Column;
use crate::work::{Halt, Work};

/// Table entries per unit of z.
const PER_UNIT: f64 = 64.0;
/// Entries from 0 to 6.5.
const ENTRIES: usize = 417;
/// From here on the expansion is good to 1e-12 in the middle; the iterative inverse loses digits as ν grows.
const MANY: f64 = 1000.0;

/// Deviate of Student's t distribution below which the probability is `p`; fewer than 1 degree of freedom count as 1.
pub fn student_quantile(p: f64, degrees_of_freedom: f64) -> f64 {
    // The library's inverse is sound down to this tail, and thinner ones are beyond any use. `max` first: an undefined
    // probability becomes an end instead of spreading, as `clamp` would let it.
    #[expect(clippy::manual_clamp, reason = "clamp passes on what is not a number")]
    let p = p.max(1e-17).min(1.0 - f64::EPSILON / 2.0);
    let degrees_of_freedom = degrees_of_freedom.max(1.0);
    if degrees_of_freedom < MANY {
        // The thinner tail, both sides of it: t² = ν·(1 − y)/y with y the inverse incomplete beta function.
        let tail = 2.0 * if p < 0.5 { p } else { 1.0 - p };
        let y = inverse_beta(0.5 * degrees_of_freedom, tail);
        let size = (degrees_of_freedom * ((1.0 - y) / y)).sqrt();
        if size.is_finite() {
            return size.copysign(p - 0.5);
        }
    }
    let z = normal_quantile(p);
    let s = z * z;
    let terms = [
        (s + 1.0) / 4.0,
        ((5.0 * s + 16.0) * s + 3.0) / 96.0,
        (((3.0 * s + 19.0) * s + 17.0) * s - 15.0) / 384.0,
        ((((79.0 * s + 776.0) * s + 1482.0) * s - 1920.0) * s - 945.0) / 92_160.0,
    ];
    z + z * terms.iter().rev().fold(0.0, |sum, term| (sum + term) / degrees_of_freedom)
}

/// Inverse of the regularised incomplete beta function with second parameter ½.
fn inverse_beta(a: f64, target: f64) -> f64 {
    const B: f64 = 0.5;
    let mut y = beta::inv_beta_reg(a, B, target).max(f64::MIN_POSITIVE);
    // The library's inverse stops at an absolute accuracy, too coarse for a thin tail. There the logarithm of the
    // function is nearly straight over the logarithm of y, and Newton's method settles in a few steps.
    if target < 0.1 {
        for _ in 0..12 {
            let value = beta::beta_reg(a, B, y);
            let slope = libm::exp(a * libm::log(y) + (B - 1.0) * libm::log1p(-y) - beta::ln_beta(a, B)) / value;
            let step = libm::log(value / target) / slope;
            if !step.is_finite() {
                break;
            }
            y = (y * libm::exp(-step)).clamp(f64::MIN_POSITIVE, 1.0);
            if step.abs() < 1e-15 {
                break;
            }
        }
    }
    y
}

/// Bends normal deviates to Student's t.
pub(super) struct StudentTable {
    pub degrees_of_freedom: f64,
    ratios: Vec<f64>,
}

impl StudentTable {
    /// Asks before each entry: an entry takes some microseconds, and a budget may have a table for every source.
    pub fn new(degrees_of_freedom: f64, work: Work) -> Result<Self, Halt> {
        let nu = degrees_of_freedom;
        let ratio = |entry: usize| {
            work.go_on()?;
            let ratio = if entry == 0 && nu < MANY {
                // The limit is the ratio of the two densities at 0; the iterative inverse is poor near p = ½.
                (nu / 2.0).sqrt() * libm::exp(libm::lgamma(nu / 2.0) - libm::lgamma(nu / 2.0 + 0.5))
            } else {
                // Even in z and flat at 0, so the first entry may stand a little beside it.
                let z = (entry as f64 / PER_UNIT).max(1.0 / 256.0);
                let t = student_quantile(normal_distribution(-z), nu);
                (nu * libm::log1p(t * t / nu)).sqrt() / z
            };
            // Cut to 36 bits after the point: differences between machines in the last bits of t disappear.
            Ok(libm::round(ratio * 68_719_476_736.0) / 68_719_476_736.0)
        };
        Ok(Self { degrees_of_freedom, ratios: (0..ENTRIES).map(ratio).collect::<Result<_, _>>()? })
    }

    /// The t deviate at the probability of the normal deviate `z`.
    #[inline(always)]
    pub fn bend(&self, z: f64) -> f64 {
        let position = (z.abs() * PER_UNIT).min((ENTRIES - 3) as f64);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and the last entry")]
        let left = (position as usize).clamp(1, ENTRIES - 3);
        // Cubic through the four entries around.
        let d = position - left as f64;
        let [a, b, c, e] = [self.ratios[left - 1], self.ratios[left], self.ratios[left + 1], self.ratios[left + 2]];
        let second = 0.5 * (a - 2.0 * b + c);
        let third = (e - 3.0 * c + 3.0 * b - a) / 6.0;
        let ratio = b + d * ((c - b) + (d - 1.0) * (second + (d + 1.0) * third));
        let s = z * ratio;
        let nu = self.degrees_of_freedom;
        (nu * libm::expm1(s * s / nu)).sqrt().copysign(z)
    }

    /// Bends a block of normal deviates.
    #[inline(always)]
    pub fn bend_block(&self, z: &mut Column) {
        for z in z {
            *z = self.bend(*z);
        }
    }
}
