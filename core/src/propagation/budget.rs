//! # The budget of one operating point
//!
//! One call asks a model all four questions about the same sources and ranks what each source contributes.
//! The ranking is by size in the output's unit; the share of variance is given beside it.
//!
//! ```text
//! Formula    contribution = |c_i|·(a_i − m_i) + c_i m_i sign(Σ_g c m);  of a normal source k_w c_i u_i Σ_j r_ij c_j u_j/u_N;
//!            known = c_i·e_i;  sum of limits = |Σ known| + Σ contribution;  share = c_i u_i Σ_j r_ij c_j u_j / u_c²
//! Symbols    c_i sensitivity (of shares at the estimates, else that of the trade sums), a_i limit, m_i its part common
//!            to group g, e_i estimate, u_i standard uncertainty, r_ij correlation, k_w u_N the joined normal line
//! Valid      contributions and shares of correlated or grouped sources can be negative (they compensate others);
//!            contributions and known deviations add up to the sum of limits, shares to 100 %
//! Source     JCGM 100:2008, 4, 5 and 7.2.7 (what a budget lists); sums of limits: trade practice
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::correlation::Correlation;
use super::fault::{Fault, finite};
use super::first_order::{FirstOrder, TradeSums, checked_gradient, slopes};
use super::gum::{Coverage, Gum, Variance};
use super::joined::{Joined, Joining};
use super::model::Model;
use super::monte_carlo::{Asked, Experiment, MonteCarlo, propagate};
use super::plan::Plan;
use super::source::{Kind, Source, check, groups};
use super::worst_case::extremes;
use crate::work::Work;

/// What is asked for.
#[expect(clippy::struct_excessive_bools, reason = "switches of one question that have nothing to do with each other")]
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
    /// What the output is held against when the inputs are values: without a number its value at the estimates. What lies
    /// between is a known deviation.
    pub about: Option<f64>,
    /// Factor of the joined normal sources in worst case and root-sum-square, 2 to 6; without a number 3, more with few
    /// degrees of freedom.
    pub normal_k: Option<f64>,
    /// Limit of the output's size (about what it is held against when the inputs are values): the share of trials beyond it is
    /// counted.
    pub beyond: Option<f64>,
    /// Whether the share of trials beyond the sums of limits is counted.
    pub of_sums: bool,
    /// Whether the model may have any shape: the extremes are then looked for from many corners of the limits.
    pub any_shape: bool,
}

impl Default for Request {
    fn default() -> Self {
        Self {
            coverage: Coverage::default(),
            trials: None,
            seed: 1,
            adaptive: false,
            deviations: true,
            about: None,
            normal_k: None,
            beyond: None,
            of_sums: false,
            any_shape: false,
        }
    }
}

/// How far the output can go.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct WorstCase {
    /// Smallest output with every source inside its limits, the normal ones joined.
    pub low: f64,
    /// Largest output with every source inside its limits, the normal ones joined.
    pub high: f64,
    /// First-order sum: size of the known deviations, all limits, the joined normal sources; output unit.
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
    /// Output per unit of the source, as the trade sums take it.
    pub sensitivity: f64,
    /// What its limit adds to the sum of limits, of a normal source its part of their joined line; negative where it
    /// compensates others of its group. Output unit.
    pub contribution: f64,
    /// Whether it is normal and counts as a part of the joined line.
    pub joined: bool,
    /// Known deviation at the output, signed, output unit.
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
    /// Known deviations at the output together, signed, first order; when the inputs are values, how far the output at the
    /// estimates is from what it is held against.
    pub known: f64,
    /// Size of the known deviations plus the root-sum-square of all limits, normal sources with their factor: a trade
    /// figure, no coverage probability belongs to it.
    pub root_sum_square: f64,
    /// The normal sources as one line of the sums; left out without any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub joined: Option<Joined>,
    /// Standard and expanded uncertainty.
    pub gum: Gum,
    /// Contribution of each source, the largest with its known deviation first.
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
    /// Known deviations at the output together, signed, first order; 0 when the inputs are values.
    pub known: f64,
    /// First-order sum: size of the known deviations, all limits, the joined normal sources; output unit.
    pub sum_of_limits: f64,
    /// Size of the known deviations plus the root-sum-square of all limits, output unit.
    pub root_sum_square: f64,
}

/// Worst case and trade sums only, normal sources joined as usual; `deviations` as in [`Request`].
pub fn quick<M: Model>(model: &M, sources: &[Source], deviations: bool, work: Work) -> Result<Quick, Fault> {
    Joining::default().quick(model, sources, deviations, work)
}

/// The smallest and the largest output alone, normal sources joined as usual.
///
/// # Errors
///
/// As [`assess`].
pub fn worst_case<M: Model>(model: &M, sources: &[Source], work: Work) -> Result<(f64, f64), Fault> {
    Joining::default().worst_case(model, sources, work)
}

/// The sum and the root-sum-square alone, normal sources joined as usual; the inputs are deviations.
///
/// # Errors
///
/// As [`assess`].
pub fn trade<M: Model>(model: &M, sources: &[Source]) -> Result<(f64, f64), Fault> {
    Joining::default().trade(model, sources)
}

impl Joining<'_> {
    /// Worst case and trade sums only; `deviations` as in [`Request`].
    ///
    /// # Errors
    ///
    /// As [`assess`].
    pub fn quick<M: Model>(self, model: &M, sources: &[Source], deviations: bool, work: Work) -> Result<Quick, Fault> {
        check(sources)?;
        self.check(sources)?;
        work.go_on()?;
        let groups = groups(sources);
        let first = FirstOrder::new(model, sources, deviations)?;
        let (low, high) = extremes(model, sources, &groups, &first.at_estimates, self, false, work)?;
        let sums = TradeSums::new(sources, &groups, &first.for_sums, deviations, self)?;
        let TradeSums { known, sum: sum_of_limits, root: root_sum_square, .. } = sums;
        Ok(Quick { value: first.value, low, high, known, sum_of_limits, root_sum_square })
    }

    /// The smallest and the largest output alone.
    ///
    /// # Errors
    ///
    /// As [`assess`].
    pub fn worst_case<M: Model>(self, model: &M, sources: &[Source], work: Work) -> Result<(f64, f64), Fault> {
        check(sources)?;
        self.check(sources)?;
        work.go_on()?;
        let estimates: Vec<f64> = sources.iter().map(|source| source.estimate).collect();
        let slopes = slopes(model, &estimates, sources);
        for slope in &slopes {
            finite(*slope, "for its slope at the estimates")?;
        }
        extremes(model, sources, &groups(sources), &slopes, self, false, work)
    }

    /// The sum and the root-sum-square alone; the inputs are deviations.
    ///
    /// # Errors
    ///
    /// As [`assess`].
    pub fn trade<M: Model>(self, model: &M, sources: &[Source]) -> Result<(f64, f64), Fault> {
        check(sources)?;
        self.check(sources)?;
        let at_zero = checked_gradient(model, &vec![0.0; sources.len()])?.1;
        let sums = TradeSums::new(sources, &groups(sources), &at_zero, true, self)?;
        Ok((sums.sum, sums.root))
    }
}

/// Answers all questions for one operating point.
///
/// # Errors
///
/// A source, the correlation matrix, a factor, the coverage or the number of trials is out of range, or the model is not
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
    let joining = Joining { k: request.normal_k, correlation };
    joining.check(sources)?;
    let groups = groups(sources);
    let first = FirstOrder::new(model, sources, request.deviations)?;
    let (low, high) = extremes(model, sources, &groups, &first.at_estimates, joining, request.any_shape, work)?;
    let sums = TradeSums::new(sources, &groups, &first.for_sums, request.deviations, joining)?;
    let variance = Variance::new(sources, &groups, &first.at_estimates, correlation)?;
    let gum = Gum::new(first.value, &variance, request.coverage)?;
    let contributions = contributions(sources, &groups, &first.for_sums, &sums, &variance)?;
    let about = if request.deviations { 0.0 } else { request.about.unwrap_or(first.value) };
    let known = if request.deviations { sums.known } else { finite(first.value - about, "for the known deviation")? };
    let [sum, root] = [sums.sum, sums.root].map(|sum| sum - sums.known.abs());
    let monte_carlo = match request.trials {
        Some(trials) => {
            let plan = Plan::new(sources, &groups, correlation, work)?;
            let asked = Asked {
                value: first.value,
                variance: &variance,
                coverage: request.coverage,
                beyond: request.beyond.map(|limit| (about, limit)),
                sums: request.of_sums.then_some((about + known, sum, root)),
            };
            let with = Experiment { trials: work.trials(trials), seed: request.seed, adaptive: request.adaptive };
            Some(propagate(model, sources, &plan, &asked, with, work)?)
        }
        None => None,
    };
    Ok(Assessment {
        value: first.value,
        worst_case: WorstCase { low, high, sum_of_limits: known.abs() + sum },
        known,
        root_sum_square: known.abs() + root,
        joined: sums.joined.map(|aim| aim.line),
        gum,
        contributions,
        monte_carlo,
    })
}

fn contributions(
    sources: &[Source],
    groups: &[Vec<usize>],
    sensitivities: &[f64],
    sums: &TradeSums,
    variance: &Variance,
) -> Result<Vec<Contribution>, Fault> {
    const PLACE: &str = "for one contribution";
    let total = |members: &Vec<usize>| -> f64 {
        let bounded = members.iter().filter(|&&i| !sources[i].counts_as_normal());
        bounded.map(|&i| sensitivities[i] * sources[i].common()).sum()
    };
    let adds = |i: usize, source: &Source, c: f64| -> f64 {
        if let Some(aim) = sums.joined.as_ref().filter(|_| source.counts_as_normal()) {
            return aim.line.k * c * aim.pull[i];
        }
        let common = groups.iter().find(|members| members.contains(&i)).map_or(0.0, total) * c;
        if source.common() == 0.0 || common > 0.0 {
            (c * source.limit).abs()
        } else if common < 0.0 {
            c.abs() * (source.rest() - source.common())
        } else {
            (c * source.rest()).abs()
        }
    };
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
            contribution: finite(adds(i, source, *c), PLACE)?,
            joined: source.counts_as_normal(),
            known: finite(c * source.estimate, PLACE)?,
            share_percent: variance.shares.as_ref().map(|shares| 100.0 * shares[i]),
        });
    }
    // An input that is a value is no deviation: only its limit counts.
    let known = |term: &Contribution| if sums.deviations { term.known.abs() } else { 0.0 };
    let size = |term: &Contribution| term.contribution.abs() + known(term);
    // Stable: equal contributions stay in the order of the signal chain.
    list.sort_by(|a, b| size(b).total_cmp(&size(a)));
    Ok(list)
}
