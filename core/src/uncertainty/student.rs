//! # Student's t distribution
//!
//! A standard uncertainty estimated from few readings makes the deviate wider than normal: it follows Student's t.
//! The exact quantile is iterative and slow, so a run draws a normal deviate and bends it by a table.
//! The table holds a slowly varying ratio, so 209 entries give eight digits even where t itself explodes.
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

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::normal::{normal_distribution, normal_quantile};
use super::random::Column;

/// Table entries per unit of z.
const PER_UNIT: f64 = 32.0;
/// Entries from 0 to 6.5.
const ENTRIES: usize = 209;

/// Deviate of Student's t distribution below which the probability is `p`.
pub fn student_quantile(p: f64, degrees_of_freedom: f64) -> f64 {
    /// From here on the expansion is good to 1e-12 in the middle; the iterative inverse loses digits as ν grows.
    const MANY: f64 = 1000.0;
    let p = p.clamp(f64::MIN_POSITIVE, 1.0 - f64::EPSILON / 2.0);
    if degrees_of_freedom < MANY
        && let Ok(student) = StudentsT::new(0.0, 1.0, degrees_of_freedom)
    {
        let deviate = student.inverse_cdf(p);
        if deviate.is_finite() {
            return deviate;
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

/// Bends normal deviates to Student's t.
pub(super) struct StudentTable {
    pub degrees_of_freedom: f64,
    ratios: Vec<f64>,
}

impl StudentTable {
    pub fn new(degrees_of_freedom: f64) -> Self {
        // The ratio is even in z and flat at 0, so the first entry may stand a little beside it.
        let ratio = |entry: usize| {
            let z = (entry as f64 / PER_UNIT).max(1.0 / 256.0);
            let t = student_quantile(normal_distribution(-z), degrees_of_freedom);
            let ratio = (degrees_of_freedom * libm::log1p(t * t / degrees_of_freedom)).sqrt() / z;
            // Cut to 36 bits after the point: differences between machines in the last bits of t disappear.
            libm::round(ratio * 68_719_476_736.0) / 68_719_476_736.0
        };
        Self { degrees_of_freedom, ratios: (0..ENTRIES).map(ratio).collect() }
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
        let ratio =
            b + d * ((c - b) + (d - 1.0) * ((a - 2.0 * b + c) / 2.0 + (d + 1.0) * ((e - 3.0 * c + 3.0 * b - a) / 6.0)));
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
