//! # Number types a model is evaluated on
//!
//! One formula serves four questions when it does not know what kind of number it works on.
//! On `f64` it gives a value, on a [dual number](super::Dual) it gives exact sensitivities,
//! on [`Lanes`] it gives eight Monte Carlo trials at once in the processor's vector registers.
//!
//! Transcendental functions go through `libm` on every type: the system's own may differ in the last bit between
//! machines, and results have to be the same bytes everywhere.
#![expect(clippy::inline_always, reason = "Lanes has to live in vector registers: its operators may not become calls")]

use std::ops::{Add, Div, Mul, Neg, Sub};

use smallvec::SmallVec;

/// A model has seldom more sources: a list of one number for each stands on the stack.
pub const MANY: usize = 32;
/// A number for each source.
pub type Numbers = SmallVec<[f64; MANY]>;
/// Some of the sources.
pub type Places = SmallVec<[usize; MANY]>;

/// A number a measurement model can be evaluated on.
///
/// Constants enter as `f64` on the right-hand side (`x * 2.0`) or through `N::from(2.0)`.
pub trait Number:
    Copy
    + Send
    + Sync
    + From<f64>
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + Add<f64, Output = Self>
    + Sub<f64, Output = Self>
    + Mul<f64, Output = Self>
    + Div<f64, Output = Self>
{
    /// Square root.
    #[must_use]
    fn sqrt(self) -> Self;
    /// Exponential function.
    #[must_use]
    fn exp(self) -> Self;
    /// Natural logarithm.
    #[must_use]
    fn ln(self) -> Self;
    /// Whole-number power.
    #[must_use]
    fn powi(self, exponent: i32) -> Self;
    /// Real power of a positive number.
    #[must_use]
    fn powf(self, exponent: f64) -> Self;
    /// Absolute value.
    #[must_use]
    fn abs(self) -> Self;
    /// The plain value; of [`Lanes`] the first lane only, so a model must not branch on it.
    fn value(self) -> f64;
}

/// Whole-number power by repeated squaring; the compiler's own may round differently from machine to machine.
#[inline(always)]
pub(super) fn power(base: f64, exponent: i32) -> f64 {
    let mut left = exponent.unsigned_abs();
    let mut square = base;
    let mut product = 1.0;
    while left > 0 {
        if left & 1 == 1 {
            product *= square;
        }
        square *= square;
        left >>= 1;
    }
    if exponent < 0 { 1.0 / product } else { product }
}

impl Number for f64 {
    #[inline(always)]
    fn sqrt(self) -> Self {
        Self::sqrt(self)
    }
    #[inline]
    fn exp(self) -> Self {
        libm::exp(self)
    }
    #[inline]
    fn ln(self) -> Self {
        libm::log(self)
    }
    #[inline(always)]
    fn powi(self, exponent: i32) -> Self {
        power(self, exponent)
    }
    #[inline]
    fn powf(self, exponent: f64) -> Self {
        libm::pow(self, exponent)
    }
    #[inline(always)]
    fn abs(self) -> Self {
        Self::abs(self)
    }
    #[inline(always)]
    fn value(self) -> f64 {
        self
    }
}

/// Trials evaluated together: one cache line, or two 256-bit registers per operand, which hides part of the latency
/// of a division or a root.
pub const LANES: usize = 8;

/// Eight numbers, one per Monte Carlo trial.
#[derive(Clone, Copy, Debug, PartialEq)]
#[repr(align(64))]
pub struct Lanes(pub [f64; LANES]);

impl Lanes {
    #[inline(always)]
    fn map(self, f: impl Fn(f64) -> f64) -> Self {
        let mut out = self.0;
        for x in &mut out {
            *x = f(*x);
        }
        Self(out)
    }

    #[inline(always)]
    fn zip(self, other: Self, f: impl Fn(f64, f64) -> f64) -> Self {
        let mut out = self.0;
        for (x, y) in out.iter_mut().zip(other.0) {
            *x = f(*x, y);
        }
        Self(out)
    }
}

impl From<f64> for Lanes {
    #[inline(always)]
    fn from(value: f64) -> Self {
        Self([value; LANES])
    }
}

impl Neg for Lanes {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        self.map(|x| -x)
    }
}

/// The four operators, between lanes and with a constant.
macro_rules! elementwise {
    ($($trait:ident $method:ident $operator:tt),*) => {$(
        impl $trait for Lanes {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: Self) -> Self {
                self.zip(other, |x, y| x $operator y)
            }
        }
        impl $trait<f64> for Lanes {
            type Output = Self;
            #[inline(always)]
            fn $method(self, constant: f64) -> Self {
                self.map(|x| x $operator constant)
            }
        }
    )*};
}
elementwise!(Add add +, Sub sub -, Mul mul *, Div div /);

impl Number for Lanes {
    #[inline(always)]
    fn sqrt(self) -> Self {
        self.map(f64::sqrt)
    }
    #[inline]
    fn exp(self) -> Self {
        self.map(libm::exp)
    }
    #[inline]
    fn ln(self) -> Self {
        self.map(libm::log)
    }
    #[inline(always)]
    fn powi(self, exponent: i32) -> Self {
        self.map(|x| power(x, exponent))
    }
    #[inline]
    fn powf(self, exponent: f64) -> Self {
        self.map(|x| libm::pow(x, exponent))
    }
    #[inline(always)]
    fn abs(self) -> Self {
        self.map(f64::abs)
    }
    #[inline(always)]
    fn value(self) -> f64 {
        self.0[0]
    }
}
