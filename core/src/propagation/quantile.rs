//! # Inverse distribution functions of the bounded shapes
//!
//! A uniform number becomes a deviate of the wanted shape by the inverse of the shape's distribution function.
//! Deviates here run from −1 to 1, which is the limit.
//! Correctly rounded operations only, so the bytes do not depend on the machine.
//!
//! ```text
//! Formula    rectangular z = 2p − 1;  triangular z = ±(1 − √(2·min(p, 1−p)));  arcsine z = sin(π(p − ½))
//! Symbols    p probability in 0 … 1 exclusive [1], z deviate [1]
//! Valid      0 < p < 1
//! Source     JCGM 101:2008, 6.4.2 (rectangular), 6.4.5 (triangular), 6.4.6 (arcsine)
//! ```
#![expect(clippy::inline_always, reason = "must be compiled inside the vectorised Monte Carlo loop")]

use std::f64::consts::PI;

/// Deviate of a rectangular distribution over −1 … 1.
#[inline(always)]
pub fn rectangular_quantile(p: f64) -> f64 {
    2.0 * p - 1.0
}

/// Deviate of a symmetric triangular distribution over −1 … 1.
#[inline(always)]
pub fn triangular_quantile(p: f64) -> f64 {
    let q = p - 0.5;
    (1.0 - (2.0 * (0.5 - q.abs())).sqrt()).copysign(q)
}

/// Deviate of an arcsine (U-shaped) distribution over −1 … 1: the sine by its series, whose twelfth term at ±π/2
/// is below 1e-17.
#[inline(always)]
pub fn arcsine_quantile(p: f64) -> f64 {
    let x = PI * (p - 0.5);
    let s = x * x;
    let mut sum = 1.0;
    // Nested from the inside: 1 − s/(2·3)·(1 − s/(4·5)·( … )).
    for pair in [420.0, 342.0, 272.0, 210.0, 156.0, 110.0, 72.0, 42.0, 20.0, 6.0] {
        sum = 1.0 - s * (1.0 / pair) * sum;
    }
    x * sum
}
