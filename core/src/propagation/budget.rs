//! # The budget of one operating point
//!
//! One call asks a model all four questions about the same sources and ranks what each source contributes.
//! The ranking is by size in the output's unit; the share of variance is given beside it.
//!
//! ```text
//! Formula    contribution = |c_i|·a_i;  known = c_i·e_i;  share = c_i u_i Σ_j r_ij c_j u_j / u_c²
//! Symbols    c_i sensitivity at the estimates, a_i limit, e_i estimate, u_i standard uncertainty, r_ij correlation
//! Valid      shares of correlated or grouped sources can be negative (they compensate others); all sum to 100 %
//! Source     JCGM 100:2008, 4, 5 and 7.2.7 (what a budget lists)
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::correlation::Correlation;
use super::fault::{Fault, finite};
use super::first_order::{FirstOrder, checked_gradient, slopes, trade_sums};
use super::gum::{Coverage, Gum, Variance};
use super::model::Model;
use super::monte_carlo::{Experiment, GumSide, MonteCarlo, propagate};
use super::plan::Plan;
use super::source::{Kind, Source, check, groups};
use super::worst_case::extremes;
use crate::work::Work;

/// What is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Request {
    /// How the standard uncertainty is expanded.
    pub coverage: Coverage,
    /// Monte Carlo trials; without a number there is no Monte Carlo run.
    pub trials: Option<u32>,
    /// Seed of the random numbers.
    pub seed: u64,
    /// Whether the run may stop before `trials` when its figures have settled.
    pub adaptive: bool,
    /// Whether the inputs are deviations from zero (their estimates then count in the trade sums, and sensitivities
    /// for these are taken at zero) or values (only their limits count, about the estimates).
    pub deviations: bool,
}

impl Default for Request {
    fn default() -> Self {
        Self { coverage: Coverage::default(), trials: None, seed: 1, adaptive: false, deviations: true }
    }
}

/// How far the output can go.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct WorstCase {
    /// Smallest output with every source inside its limits.
    pub low: f64,
    /// Largest output with every source inside its limits.
    pub high: f64,
    /// First-order sum of all limits and known deviations, output unit.
    pub sum_of_limits: f64,
}

/// What one source does to the output.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Contribution {
    /// Short name of the source.
    pub id: String,
    /// Name in words.
    pub label: String,
    /// Stage of the signal chain.
    pub stage: String,
    /// What makes it move.
    pub kind: Kind,
    /// Unit of estimate, limit and standard uncertainty.
    pub unit: String,
    /// Estimate, own unit.
    pub estimate: f64,
    /// Limit, own unit.
    pub limit: f64,
    /// Standard uncertainty, own unit.
    pub standard: f64,
    /// Output per unit of the source, at the estimates.
    pub sensitivity: f64,
    /// Size of the limit at the output, output unit.
    pub contribution: f64,
    /// Known deviation at the output, output unit.
    pub known: f64,
    /// Share of the variance in percent; left out when there is no variance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub share_percent: Option<f64>,
}

/// The budget of one operating point.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Assessment {
    /// Output at the estimates.
    pub value: f64,
    /// How far the output can go.
    pub worst_case: WorstCase,
    /// Root-sum-square of all limits and known deviations: a trade figure, no coverage probability belongs to it.
    pub root_sum_square: f64,
    /// Standard and expanded uncertainty.
    pub gum: Gum,
    /// Contribution of each source, the largest first.
    pub contributions: Vec<Contribution>,
    /// Monte Carlo run, when asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub monte_carlo: Option<MonteCarlo>,
}

impl Assessment {
    /// Puts the contributions with the id `own` into the one with the id `whole`: parts of one thing to a reader.
    pub fn gather(&mut self, whole: &str, own: &str) {
        let Some(place) = self.contributions.iter().position(|term| term.id == whole) else { return };
        let mut sum = self.contributions[place].clone();
        for term in self.contributions.iter().filter(|term| term.id == own) {
            sum.limit += term.limit;
            sum.standard = libm::hypot(sum.standard, term.standard);
            sum.contribution += term.contribution;
            sum.known += term.known;
            sum.share_percent = sum.share_percent.zip(term.share_percent).map(|(a, b)| a + b);
        }
        self.contributions[place] = sum;
        self.contributions.retain(|term| term.id != own);
    }
}

/// The cheap answers of one operating point, for grids of many.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct Quick {
    /// Output at the estimates.
    pub value: f64,
    /// Smallest output with every source inside its limits.
    pub low: f64,
    /// Largest output with every source inside its limits.
    pub high: f64,
    /// First-order sum of all limits and known deviations, output unit.
    pub sum_of_limits: f64,
    /// Root-sum-square of all limits and known deviations, output unit.
    pub root_sum_square: f64,
}

/// Worst case and trade sums only; `deviations` as in [`Request`].
pub fn quick<M: Model>(model: &M, sources: &[Source], deviations: bool, work: Work) -> Result<Quick, Fault> {
    check(sources)?;
    work.go_on()?;
    let groups = groups(sources);
    let first = FirstOrder::new(model, sources, deviations)?;
    sums(model, sources, &groups, &first, deviations, work)
}

fn sums<M: Model>(
    model: &M,
    sources: &[Source],
    groups: &[Vec<usize>],
    first: &FirstOrder,
    deviations: bool,
    work: Work,
) -> Result<Quick, Fault> {
    let (low, high) = extremes(model, sources, groups, &first.at_estimates, work)?;
    let (sum, root) = trade_sums(sources, groups, &first.for_sums, deviations);
    Ok(Quick {
        value: first.value,
        low,
        high,
        sum_of_limits: finite(sum, "for its sum of limits")?,
        root_sum_square: finite(root, "for its sum of limits")?,
    })
}

/// The smallest and the largest output alone.
///
/// # Errors
///
/// As [`assess`].
pub fn worst_case<M: Model>(model: &M, sources: &[Source], work: Work) -> Result<(f64, f64), Fault> {
    check(sources)?;
    work.go_on()?;
    let estimates: Vec<f64> = sources.iter().map(|source| source.estimate).collect();
    let slopes = slopes(model, &estimates, sources);
    for slope in &slopes {
        finite(*slope, "for its slope at the estimates")?;
    }
    extremes(model, sources, &groups(sources), &slopes, work)
}

/// The sum and the root-sum-square of limits and known deviations alone; the inputs are deviations.
///
/// # Errors
///
/// As [`assess`].
pub fn trade<M: Model>(model: &M, sources: &[Source]) -> Result<(f64, f64), Fault> {
    check(sources)?;
    let at_zero = checked_gradient(model, &vec![0.0; sources.len()])?.1;
    let (sum, root) = trade_sums(sources, &groups(sources), &at_zero, true);
    Ok((finite(sum, "for its sum of limits")?, finite(root, "for its sum of limits")?))
}

/// Answers all questions for one operating point.
///
/// # Errors
///
/// A source, the correlation matrix, the coverage or the number of trials is out of range, or the model is not
/// finite at the estimates, in a corner of the limits or in a trial, or the work was stopped.
pub fn assess<M: Model>(
    model: &M,
    sources: &[Source],
    correlation: Option<&Correlation>,
    request: &Request,
    work: Work,
) -> Result<Assessment, Fault> {
    check(sources)?;
    work.go_on()?;
    if let Some(correlation) = correlation {
        correlation.check(sources)?;
    }
    let groups = groups(sources);
    let first = FirstOrder::new(model, sources, request.deviations)?;
    let quick = sums(model, sources, &groups, &first, request.deviations, work)?;
    let variance = Variance::new(sources, &groups, &first.at_estimates, correlation)?;
    let gum = Gum::new(first.value, &variance, request.coverage)?;
    let contributions = contributions(sources, &first.at_estimates, &variance)?;
    let monte_carlo = match request.trials {
        Some(trials) => {
            let plan = Plan::new(sources, &groups, correlation, work)?;
            let side = GumSide { value: first.value, variance: &variance };
            let with = Experiment { trials, seed: request.seed, adaptive: request.adaptive };
            Some(propagate(model, sources, &plan, &side, with, work)?)
        }
        None => None,
    };
    Ok(Assessment {
        value: first.value,
        worst_case: WorstCase { low: quick.low, high: quick.high, sum_of_limits: quick.sum_of_limits },
        root_sum_square: quick.root_sum_square,
        gum,
        contributions,
        monte_carlo,
    })
}

fn contributions(sources: &[Source], sensitivities: &[f64], variance: &Variance) -> Result<Vec<Contribution>, Fault> {
    const PLACE: &str = "for one contribution";
    let mut list = Vec::with_capacity(sources.len());
    for (i, (source, c)) in sources.iter().zip(sensitivities).enumerate() {
        list.push(Contribution {
            id: source.id.to_string(),
            label: source.label.to_string(),
            stage: source.stage.to_string(),
            kind: source.kind,
            unit: source.unit.to_string(),
            estimate: source.estimate,
            limit: source.limit,
            standard: finite(source.standard(), PLACE)?,
            sensitivity: *c,
            contribution: finite((c * source.limit).abs(), PLACE)?,
            known: finite(c * source.estimate, PLACE)?,
            share_percent: variance.shares.as_ref().map(|shares| 100.0 * shares[i]),
        });
    }
    // Stable: equal contributions stay in the order of the signal chain.
    list.sort_by(|a, b| b.contribution.total_cmp(&a.contribution));
    Ok(list)
}
