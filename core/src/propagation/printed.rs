//! # The normal distribution in a printed expression
//!
//! ```text
//! Φ(z)      probability below z;  Φ⁻¹(p) its inverse;  φ(z) = Φ'(z)
//! G(y)      y Φ(y) + φ(y), the integral of Φ up to y
//! ```

use std::f64::consts::PI;

use super::{normal_distribution, normal_quantile};
use crate::report::worked::Term;

impl Term {
    /// The probability that a normal quantity lies below it.
    #[must_use]
    pub fn normal(self) -> Self {
        let z = self.value();
        self.function("Φ", normal_distribution(z), density(z))
    }

    /// The deviate below which a normal quantity lies with this probability.
    #[must_use]
    pub fn quantile(self) -> Self {
        let z = normal_quantile(self.value());
        self.function("Φ⁻¹", z, 1.0 / density(z))
    }

    /// The integral of the normal distribution up to it.
    #[must_use]
    pub fn normal_integral(self) -> Self {
        let y = self.value();
        self.function("G", y.mul_add(normal_distribution(y), density(y)), normal_distribution(y))
    }
}

/// The normal density.
fn density(z: f64) -> f64 {
    libm::exp(-0.5 * z * z) / (2.0 * PI).sqrt()
}
