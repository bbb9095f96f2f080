//! # Sensitivities and the trade's two sums
//!
//! The sensitivity of the output to one input is the derivative of the model, found exactly by one pass over dual
//! numbers. Two sums of limits are built on it: the plain sum, which a linear model can reach, and the
//! root-sum-square, which it seldom exceeds but for which no coverage probability can be named.
//!
//! ```text
//! Formula    c_i = ∂f/∂x_i;  K = Σ c_i e_i;  E = |K| + Σ_g |Σ c_i m_i| + Σ |c_i|·(a_i − m_i) + k_w u_N;
//!            E_rss = |K| + √(a′ C a), a the terms c_i a_i, of a normal source k_w c_i u_i; in a group common parts
//!            first, normal ones and limits together only where both add
//! Symbols    a_i limit, e_i known deviation, m_i part of the limit common to group g [all in the own unit], C
//!            correlation of the sources, k_w u_N the joined normal line
//! Valid      first order. When the inputs are deviations, c_i is taken where all deviations are zero, as hand sums
//!            do; when they are values, at the estimates, and e_i does not count
//! Source     JCGM 100:2008, 5.1.3 (sensitivity coefficients) and E.3.2 (propagation); sums of limits: trade practice
//! ```

use smallvec::{SmallVec, smallvec};

use super::dual::Dual;
use super::fault::{Fault, finite};
use super::joined::{Aim, Joining};
use super::model::Model;
use super::number::{LANES, MANY, Numbers};
use super::source::Source;

/// Value of the model and its derivative for each input, at `x`.
pub fn gradient<M: Model>(model: &M, x: &[f64]) -> (f64, Vec<f64>) {
    let mut derivatives = vec![0.0; x.len()];
    let value = derive(model, x, 0..x.len(), &mut derivatives);
    (value.unwrap_or_else(|| model.evaluate(x)), derivatives)
}

/// The derivative for each input that has a limit, at `x`; zero for the others, which move nothing.
pub(super) fn slopes<M: Model>(model: &M, x: &[f64], sources: &[Source]) -> Numbers {
    let mut derivatives: Numbers = smallvec![0.0; x.len()];
    derive(model, x, (0..x.len()).filter(|&i| sources[i].limit != 0.0), &mut derivatives);
    derivatives
}

/// Puts the derivatives for some inputs where they belong, eight in one pass, and gives the value.
fn derive<M: Model>(model: &M, x: &[f64], inputs: impl Iterator<Item = usize>, to: &mut [f64]) -> Option<f64> {
    let mut duals: SmallVec<[Dual; MANY]> = x.iter().map(|&x| Dual::from(x)).collect();
    let (mut inputs, mut value) = (inputs.peekable(), None);
    while inputs.peek().is_some() {
        let mut of = [0; LANES];
        let mut count = 0;
        for i in inputs.by_ref().take(LANES) {
            (of[count], duals[i].slopes.0[count]) = (i, 1.0);
            count += 1;
        }
        let y = model.evaluate(&duals);
        value = Some(y.value);
        for (lane, &i) in of.iter().take(count).enumerate() {
            (to[i], duals[i].slopes.0[lane]) = (y.slopes.0[lane], 0.0);
        }
    }
    value
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

/// The trade's sums.
pub(super) struct TradeSums {
    /// Sum of the known deviations, signed.
    pub known: f64,
    /// Size of the known deviations plus all limits plus the joined normal line.
    pub sum: f64,
    /// Size of the known deviations plus the root of the squares of all limits.
    pub root: f64,
    /// The joined normal line.
    pub joined: Option<Aim>,
    /// Whether the inputs are deviations, so that their estimates count.
    pub deviations: bool,
}

impl TradeSums {
    pub fn new(
        sources: &[Source],
        groups: &[Vec<usize>],
        sensitivities: &[f64],
        deviations: bool,
        joining: Joining,
    ) -> Result<Self, Fault> {
        const PLACE: &str = "for its sum of limits";
        let known = sources.iter().zip(sensitivities).map(|(source, c)| c * source.estimate);
        let known = if deviations { known.fold(0.0, |sum, term| sum + term) } else { 0.0 };
        let joined = joining.line(sources, groups, sensitivities)?;
        let k = joined.as_ref().map_or(0.0, |aim| aim.line.k);
        // Terms of sources without a limit are nothing in the sum: their line follows as a whole.
        let mut sum = 0.0;
        let mut root = 0.0;
        let mut add = |limits: f64, all: f64| {
            sum += limits.abs();
            // Not the root of a sum of squares: those overflow and vanish far inside the range of numbers.
            root = libm::hypot(root, all);
        };
        let involved = |i: usize| joining.correlation.is_some_and(|correlation| correlation.involves(i));
        for (i, (source, c)) in sources.iter().zip(sensitivities).enumerate() {
            let (_, rest) = source.parts(k);
            let limit = if source.counts_as_normal() { 0.0 } else { c * source.rest() };
            add(limit, if involved(i) { 0.0 } else { c * rest });
        }
        for members in groups {
            let bounded = members.iter().filter(|&&i| !sources[i].counts_as_normal());
            let limits: f64 = bounded.map(|&i| sensitivities[i] * sources[i].common()).sum();
            let normal = members.iter().filter(|&&i| sources[i].counts_as_normal());
            let normal: f64 = normal.map(|&i| sensitivities[i] * sources[i].parts(k).0).sum();
            // A limit is no multiple of a standard uncertainty: one never takes off what the other adds.
            if limits * normal < 0.0 {
                add(limits, limits);
                add(0.0, normal);
            } else {
                add(limits, limits + normal);
            }
        }
        if let Some(correlation) = joining.correlation {
            let term = |i: usize| sensitivities[i] * sources[i].parts(k).1;
            let terms: Vec<(usize, f64)> = (0..sources.len()).filter(|&i| involved(i)).map(|i| (i, term(i))).collect();
            add(0.0, correlation.root_of(&terms));
        }
        let line = joined.as_ref().map_or(0.0, |aim| aim.line.contribution);
        Ok(Self {
            known: finite(known, PLACE)?,
            sum: finite(known.abs() + (sum + line), PLACE)?,
            root: finite(known.abs() + root, PLACE)?,
            joined,
            deviations,
        })
    }
}
