//! # Terms of second order
//!
//! Where a model bends within the uncertainty of its inputs, the first order misses part of the variance: all of it, when
//! every slope is zero at the estimates. The next terms of the series add it. A sum of products of powers has all its
//! derivatives in closed form.
//!
//! ```text
//! Formula    u² = Σ_i (f_i u_i)² + Σ_i Σ_j (½ f_ij² + f_i f_ijj) u_i² u_j²;  mean = y + ½ Σ_i f_ii u_i²
//! Symbols    f_i, f_ij, f_ijj first, second and third derivatives of the model at the estimates, u_i standard uncertainty
//! Valid      independent inputs, normal in the squares; exact for a product of two and a square of normal inputs
//! Source     JCGM 100:2008, 5.1.2, note; derivatives of powers: textbook
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use crate::propagation::{Source, SumOfProducts, Term};

/// What the second order says.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct SecondOrder {
    /// Mean of the output.
    pub mean: f64,
    /// Combined standard uncertainty.
    pub standard: f64,
}

/// A term differentiated so many times by some inputs: `orders` names an input once for each time.
fn derivative(term: &Term, x: &[f64], orders: &[usize]) -> f64 {
    // Powers of one input that stand in several factors are one power.
    let power = |i: usize| -> f64 { term.factors.iter().filter(|(place, _)| *place == i).map(|(_, p)| p).sum() };
    let mut value = term.scale;
    for (i, x) in x.iter().enumerate() {
        let (mut exponent, times) = (power(i), orders.iter().filter(|order| **order == i).count());
        for _ in 0..times {
            value *= exponent;
            exponent -= 1.0;
        }
        // A factor of nothing stays nothing, whatever a power of zero may be.
        if value == 0.0 {
            return 0.0;
        }
        value *= libm::pow(*x, exponent);
    }
    value
}

/// Mean and standard uncertainty to second order; nothing where the series has no finite value.
pub(super) fn second_order(model: &SumOfProducts, sources: &[Source], value: f64) -> Option<SecondOrder> {
    let x: Vec<f64> = sources.iter().map(|source| source.estimate).collect();
    let u: Vec<f64> = sources.iter().map(Source::standard).collect();
    let by = |orders: &[usize]| model.terms.iter().map(|term| derivative(term, &x, orders)).sum::<f64>();
    let moving: Vec<usize> = (0..sources.len()).filter(|&i| u[i] > 0.0).collect();
    let (mut variance, mut mean) = (0.0, value);
    for &i in &moving {
        let first = by(&[i]);
        variance += (first * u[i]) * (first * u[i]);
        mean += 0.5 * by(&[i, i]) * u[i] * u[i];
        for &j in &moving {
            let second = by(&[i, j]) * u[i] * u[j];
            variance += 0.5 * second * second + (first * u[i]) * (by(&[i, j, j]) * u[i] * u[j] * u[j]);
        }
    }
    let standard = variance.sqrt();
    (standard.is_finite() && mean.is_finite()).then_some(SecondOrder { mean, standard })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::propagation::{Kind, Model};

    fn normal(estimate: f64, standard: f64) -> Source {
        Source::limit("x", "x", "", Kind::Initial, "", 0.0).known(estimate).with_standard(standard)
    }

    fn term(factors: &[(usize, f64)]) -> Term {
        Term { scale: 1.0, factors: factors.to_vec() }
    }

    /// Closed forms: variance of X Y is μ_X² u_Y² + μ_Y² u_X² + u_X² u_Y²; of X² it is 4 μ² u² + 2 u⁴, mean μ² + u².
    #[test]
    fn product_and_square_are_exact() {
        let sources = [normal(2.0, 0.3), normal(-1.0, 0.4)];
        let product = SumOfProducts { terms: vec![term(&[(0, 1.0), (1, 1.0)])] };
        let found = second_order(&product, &sources, -2.0).map(|found| (found.mean, found.standard * found.standard));
        let (mean, variance) = found.unwrap_or_default();
        assert!((mean + 2.0).abs() < 1e-15 && (variance - (0.64 + 0.09 + 0.0144)).abs() < 1e-14, "{variance}");
        for squared in [term(&[(0, 2.0)]), term(&[(0, 1.0), (0, 1.0)])] {
            let square = SumOfProducts { terms: vec![squared] };
            let found = second_order(&square, &sources, 4.0).unwrap_or(SecondOrder { mean: 0.0, standard: 0.0 });
            let variance = 4.0 * 4.0 * 0.09 + 2.0 * 0.0081;
            assert!((found.mean - 4.09).abs() < 1e-14 && (found.standard * found.standard - variance).abs() < 1e-14);
        }
        // At zero only the bend is left: 2 u⁴.
        let square = SumOfProducts { terms: vec![term(&[(0, 2.0)])] };
        let found = second_order(&square, &[normal(0.0, 0.5)], 0.0).map_or(0.0, |found| found.standard);
        assert!((found - 2.0_f64.sqrt() * 0.25).abs() < 1e-15);
    }

    /// Third derivatives against differences of the model: x³/y at (1.3, 2.1).
    #[test]
    fn derivatives_agree_with_differences() {
        let model = SumOfProducts { terms: vec![term(&[(0, 3.0), (1, -1.0)])] };
        let f = |x: f64, y: f64| model.evaluate(&[x, y]);
        let (x, y, h) = (1.3, 2.1, 1e-3);
        let bend = |x: f64| (f(x, y + h) - 2.0 * f(x, y) + f(x, y - h)) / (h * h);
        let third = (bend(x + h) - bend(x - h)) / (2.0 * h);
        assert!((derivative(&model.terms[0], &[x, y], &[0, 1, 1]) / third - 1.0).abs() < 1e-5);
    }
}
