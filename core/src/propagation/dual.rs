//! # A value with its derivatives
//!
//! A model evaluated on dual numbers gives its sensitivities exactly, here for eight inputs in one pass: the derivatives
//! stand in the lanes of the vector registers, and the value beside them is worked out once.
//!
//! ```text
//! Formula    f(a + Σ b_k ε_k) = f(a) + Σ f'(a) b_k ε_k,  ε_j ε_k = 0
//! Symbols    a value; b_k derivatives with respect to the chosen inputs
//! Valid      everywhere f is differentiable; where it is not, a derivative is not finite and the budget says so. An input
//!            that does not move stays at 0 even where the slope is infinite: the root of a constant zero is a constant
//! Source     forward-mode automatic differentiation (textbook calculus: the chain rule)
//! ```
#![expect(
    clippy::inline_always,
    reason = "the derivatives have to live in vector registers: operators may not be calls"
)]

use std::ops::{Add, Div, Mul, Neg, Sub};

use super::number::{LANES, Lanes, Number, power};

/// A value and its derivatives for eight inputs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dual {
    /// The value.
    pub value: f64,
    /// Its derivatives.
    pub slopes: Lanes,
}

impl Dual {
    /// What follows from a value that is known with the slope it has here.
    #[inline(always)]
    fn chain(self, value: f64, slope: f64) -> Self {
        let mut slopes = self.slopes.0;
        for one in &mut slopes {
            *one = if *one == 0.0 { 0.0 } else { *one * slope };
        }
        Self { value, slopes: Lanes(slopes) }
    }
}

impl From<f64> for Dual {
    #[inline(always)]
    fn from(value: f64) -> Self {
        Self { value, slopes: Lanes([0.0; LANES]) }
    }
}

impl Add for Dual {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        Self { value: self.value + other.value, slopes: self.slopes + other.slopes }
    }
}

impl Sub for Dual {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        Self { value: self.value - other.value, slopes: self.slopes - other.slopes }
    }
}

impl Mul for Dual {
    type Output = Self;
    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        Self { value: self.value * other.value, slopes: self.slopes * other.value + other.slopes * self.value }
    }
}

impl Div for Dual {
    type Output = Self;
    #[inline(always)]
    fn div(self, other: Self) -> Self {
        let value = self.value / other.value;
        Self { value, slopes: (self.slopes - other.slopes * value) / other.value }
    }
}

impl Neg for Dual {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self { value: -self.value, slopes: -self.slopes }
    }
}

impl Add<f64> for Dual {
    type Output = Self;
    #[inline(always)]
    fn add(self, constant: f64) -> Self {
        Self { value: self.value + constant, slopes: self.slopes }
    }
}

impl Sub<f64> for Dual {
    type Output = Self;
    #[inline(always)]
    fn sub(self, constant: f64) -> Self {
        Self { value: self.value - constant, slopes: self.slopes }
    }
}

impl Mul<f64> for Dual {
    type Output = Self;
    #[inline(always)]
    fn mul(self, constant: f64) -> Self {
        Self { value: self.value * constant, slopes: self.slopes * constant }
    }
}

impl Div<f64> for Dual {
    type Output = Self;
    #[inline(always)]
    fn div(self, constant: f64) -> Self {
        Self { value: self.value / constant, slopes: self.slopes / constant }
    }
}

impl Number for Dual {
    fn sqrt(self) -> Self {
        let root = self.value.sqrt();
        self.chain(root, 0.5 / root)
    }
    fn exp(self) -> Self {
        let value = libm::exp(self.value);
        self.chain(value, value)
    }
    fn ln(self) -> Self {
        self.chain(libm::log(self.value), 1.0 / self.value)
    }
    fn powi(self, exponent: i32) -> Self {
        let slope = if exponent == 0 { 0.0 } else { f64::from(exponent) * power(self.value, exponent - 1) };
        self.chain(power(self.value, exponent), slope)
    }
    fn powf(self, exponent: f64) -> Self {
        let slope = if exponent == 0.0 { 0.0 } else { exponent * libm::pow(self.value, exponent - 1.0) };
        self.chain(libm::pow(self.value, exponent), slope)
    }
    fn abs(self) -> Self {
        // At the kink neither side is right; zero says that the first-order budget cannot see this input.
        let slope = if self.value > 0.0 {
            1.0
        } else if self.value < 0.0 {
            -1.0
        } else {
            0.0
        };
        self.chain(self.value.abs(), slope)
    }
    fn value(self) -> f64 {
        self.value
    }
}
