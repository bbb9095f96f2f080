//! # Measurement models
//!
//! A model says how the output follows from the input quantities, in the order of the sources.
//! General forms are ready: a linear form, a product of powers and a sum of such products, which between them cover most
//! published examples. Everything else implements [`Model`] in the room it belongs to.
//!
//! ```text
//! Formula    linear: y = a + Σ c_i·x_i;  product: y = s · Π x_i^p_i;  sum of products: y = Σ_t s_t · Π x_i^p_ti
//! Symbols    a offset [output unit], c_i coefficient [output unit / own unit], s scale, p_i exponent [1]
//! Valid      product: no x_i may reach 0 when its exponent is negative, nor go below 0 when it is not whole
//! Source     JCGM 100:2008, 4.1 (the functional relationship) and 5.1.6 (products of powers)
//! ```
#![expect(clippy::inline_always, reason = "inside the Monte Carlo loop a call would leave the vector registers")]

use super::number::Number;

/// A measurement model, written once for every number type.
///
/// Mark `evaluate` with `#[inline]` or `#[inline(always)]`: Monte Carlo runs it inside a loop compiled for the
/// processor's widest vectors, and a call out of that loop costs speed (never correctness).
pub trait Model: Sync {
    /// The output for the input quantities `x`, which stand in the order of the sources.
    fn evaluate<N: Number>(&self, x: &[N]) -> N;
}

/// A linear form.
#[derive(Clone, Debug, PartialEq)]
pub struct Linear {
    /// Added to the sum, output unit.
    pub offset: f64,
    /// One coefficient per source.
    pub coefficients: Vec<f64>,
}

impl Model for Linear {
    #[inline(always)]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let mut sum = N::from(self.offset);
        for (x, c) in x.iter().zip(&self.coefficients) {
            sum = sum + *x * *c;
        }
        sum
    }
}

/// A product of powers.
#[derive(Clone, Debug, PartialEq)]
pub struct Product {
    /// Multiplies the product.
    pub scale: f64,
    /// One exponent per source.
    pub exponents: Vec<f64>,
}

impl Model for Product {
    #[inline(always)]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let mut product = N::from(self.scale);
        for (x, p) in x.iter().zip(&self.exponents) {
            product = product * raise(*x, *p);
        }
        product
    }
}

/// A sum of products of powers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SumOfProducts {
    /// The products.
    pub terms: Vec<Term>,
}

/// One product of a sum.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// Multiplies the product.
    pub scale: f64,
    /// Places of the factors among the sources, and their exponents.
    pub factors: Vec<(usize, f64)>,
}

impl Model for SumOfProducts {
    #[inline(always)]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let mut sum = N::from(0.0);
        for term in &self.terms {
            let mut product = N::from(term.scale);
            for &(place, exponent) in &term.factors {
                product = product * raise(x[place], exponent);
            }
            sum = sum + product;
        }
        sum
    }
}

/// One factor of a product. Whole exponents, nearly all there are, go by multiplication, which also takes negative
/// inputs.
#[inline(always)]
fn raise<N: Number>(x: N, exponent: f64) -> N {
    if exponent.fract() == 0.0 && exponent.abs() <= 64.0 {
        #[expect(clippy::cast_possible_truncation, reason = "whole and at most 64 in size")]
        let whole = exponent as i32;
        x.powi(whole)
    } else {
        x.powf(exponent)
    }
}
