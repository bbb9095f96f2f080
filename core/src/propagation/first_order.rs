//! # Sensitivities and the trade's two sums
//!
//! The sensitivity of the output to one input is the derivative of the model, found exactly by one pass over dual
//! numbers. Two sums of limits are built on it: the plain sum, which a linear model can reach, and the
//! root-sum-square, which it seldom exceeds but for which no coverage probability can be named.
//!
//! ```text
//! Formula    c_i = ∂f/∂x_i;  E = Σ_g |Σ c_i m_i| + Σ |c_i|·(|e_i| + a_i − m_i);
//!            E_rss = √(Σ_g (Σ c_i m_i)² + Σ (c_i·(|e_i| + a_i − m_i))²)
//! Symbols    a_i limit, e_i known deviation, m_i part of the limit common to group g [all in the own unit]
//! Valid      first order. When the inputs are deviations, c_i is taken where all deviations are zero, as hand sums
//!            do; when they are values, at the estimates, and e_i does not count
//! Source     JCGM 100:2008, 5.1.3 (sensitivity coefficients) and E.3.2 (propagation); sums of limits: trade practice
//! ```

use num_dual::Dual64;

use super::fault::{Fault, finite};
use super::model::Model;
use super::source::Source;

/// Value of the model and its derivative for each input, at `x`.
pub fn gradient<M: Model>(model: &M, x: &[f64]) -> (f64, Vec<f64>) {
    let mut duals: Vec<Dual64> = x.iter().map(|&x| Dual64::from_re(x)).collect();
    let mut value = None;
    let mut derivatives = Vec::with_capacity(x.len());
    for i in 0..x.len() {
        duals[i].eps = 1.0;
        let y = model.evaluate(&duals);
        duals[i].eps = 0.0;
        value = Some(y.re);
        derivatives.push(y.eps);
    }
    (value.unwrap_or_else(|| model.evaluate(x)), derivatives)
}

/// The derivative for each input that has a limit, at `x`; zero for the others, which move nothing.
pub(super) fn slopes<M: Model>(model: &M, x: &[f64], sources: &[Source]) -> Vec<f64> {
    let mut duals: Vec<Dual64> = x.iter().map(|&x| Dual64::from_re(x)).collect();
    let mut derivative = |(i, source): (usize, &Source)| {
        if source.limit == 0.0 {
            return 0.0;
        }
        duals[i].eps = 1.0;
        let slope = model.evaluate(&duals).eps;
        duals[i].eps = 0.0;
        slope
    };
    sources.iter().enumerate().map(&mut derivative).collect()
}

/// Sensitivities at the estimates of the sources.
pub fn sensitivities<M: Model>(model: &M, sources: &[Source]) -> Result<Vec<f64>, Fault> {
    let estimates: Vec<f64> = sources.iter().map(|source| source.estimate).collect();
    Ok(checked_gradient(model, &estimates)?.1)
}

/// As [`gradient`], refusing values and derivatives that are not finite.
pub(super) fn checked_gradient<M: Model>(model: &M, x: &[f64]) -> Result<(f64, Vec<f64>), Fault> {
    let (value, derivatives) = gradient(model, x);
    finite(value, "at the estimates")?;
    for derivative in &derivatives {
        finite(*derivative, "for its slope at the estimates")?;
    }
    Ok((value, derivatives))
}

/// Gradients a first-order budget works with.
pub(super) struct FirstOrder {
    /// Model at the estimates.
    pub value: f64,
    /// Sensitivities at the estimates.
    pub at_estimates: Vec<f64>,
    /// Sensitivities the trade sums use: at zero for deviations, at the estimates for values.
    pub for_sums: Vec<f64>,
}

impl FirstOrder {
    pub fn new<M: Model>(model: &M, sources: &[Source], deviations: bool) -> Result<Self, Fault> {
        let estimates: Vec<f64> = sources.iter().map(|source| source.estimate).collect();
        let (value, at_estimates) = checked_gradient(model, &estimates)?;
        let for_sums = if deviations && estimates.iter().any(|&e| e != 0.0) {
            checked_gradient(model, &vec![0.0; sources.len()])?.1
        } else {
            at_estimates.clone()
        };
        Ok(Self { value, at_estimates, for_sums })
    }
}

/// One term of a trade sum: what moves together before it is added to the rest.
pub(super) fn trade_sums(
    sources: &[Source],
    groups: &[Vec<usize>],
    sensitivities: &[f64],
    deviations: bool,
) -> (f64, f64) {
    let own = sources.iter().zip(sensitivities).map(|(source, c)| {
        let known = if deviations { source.estimate.abs() } else { 0.0 };
        (c * (known + source.rest())).abs()
    });
    let common =
        groups.iter().map(|members| members.iter().map(|&i| sensitivities[i] * sources[i].common()).sum::<f64>().abs());
    let mut sum = 0.0;
    let mut root = 0.0;
    for term in own.chain(common) {
        sum += term;
        // Not the root of a sum of squares: those overflow and vanish far inside the range of numbers.
        root = libm::hypot(root, term);
    }
    (sum, root)
}
