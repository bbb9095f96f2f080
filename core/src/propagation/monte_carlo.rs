//! # Propagation of distributions
//!
//! The model is evaluated for many draws of its inputs, and the outputs are the distribution asked for. Trials are
//! numbered, and each is a pure function of the seed and its number: shards and threads cannot change a result.
//! Blocks of 256 trials are drawn and evaluated together in vector registers, chosen at run time. Before each block the
//! run asks whether to go on; stopped, it gives nothing at all.
//!
//! ```text
//! Formula    y_r = f(x_1r … x_nr), r = 0 … M−1;
//!            GUM interval validated when |y − U_p − y_low| ≤ δ and |y + U_p − y_high| ≤ δ, δ = ½·10^l, u = c·10^l;
//!            share beyond a limit s = n/M ± √(s(1 − s)/M), below 3/M when n = 0
//! Symbols    M trials, y_low and y_high ends of the symmetric interval at the coverage probability p asked for (95 %
//!            where a factor is), U_p GUM expanded uncertainty at p, c whole number of two digits, δ numerical tolerance
//!            [output unit], n trials beyond the limit
//! Valid      any model that is finite over the drawn inputs. Normal sources with limited degrees of freedom follow the
//!            scaled and shifted t distribution, whose variance does not exist for 2 or fewer
//! Source     JCGM 101:2008, 7.2 to 7.7, 7.9 (adaptive procedure) and 8 (validation of the GUM framework); share of a
//!            count: binomial distribution, none in M: 95 % bound −ln 0.05/M = 3.0/M
//! ```

use pulp::{Arch, NullaryFnOnce};
use rayon::prelude::*;
use serde::Serialize;
use utoipa::ToSchema;

use super::correlation::Correlation;
use super::fault::{Fault, TRIALS, finite};
use super::gum::{Coverage, Variance, coverage_factor};
use super::intervals::{Between, Histogram, Interval, Moments, Tails, beyond, inside};
use super::model::Model;
use super::plan::{Plan, Scratch};
use super::random::BLOCK;
use super::source::{self, Distribution, Source};
use crate::work::{Halt, Work};

/// Trials per task of the thread pool.
const TASK: usize = 16 * BLOCK;
/// Trials per step of the adaptive procedure, at least (7.9.4 b).
const STEP: usize = 10_000;
/// Steps computed before the stop rule looks at them one by one.
const BATCH: usize = 8;

/// Coverage intervals at one probability.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct CoverageIntervals {
    /// Coverage probability.
    pub probability: f64,
    /// Interval with equal probabilities outside on both sides.
    pub symmetric: Interval,
    /// Shortest interval.
    pub shortest: Interval,
    /// Standard error of the symmetric interval's lower end, from the limited number of trials, output unit.
    pub low_error: f64,
    /// Standard error of the symmetric interval's upper end, output unit.
    pub high_error: f64,
    /// Where the lower end lies, as far as the trials can tell.
    pub low_between: Between,
    /// Where the upper end lies, as far as the trials can tell.
    pub high_between: Between,
}

/// The share of units beyond a limit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct Beyond {
    /// The limit of the output's size, output unit.
    pub limit: f64,
    /// Trials beyond it.
    pub trials: u32,
    /// Their share.
    pub share: f64,
    /// Standard error of the share.
    pub error: f64,
    /// Where no trial is beyond: the share is below this, with a confidence of 95 %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub below: Option<f64>,
}

impl Beyond {
    fn new(limit: f64, beyond: u32, of: usize) -> Self {
        let m = of as f64;
        let share = f64::from(beyond) / m;
        let below = (beyond == 0).then_some(3.0 / m);
        Self { limit, trials: beyond, share, error: (share * (1.0 - share) / m).sqrt(), below }
    }
}

/// What the sums of limits cover.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct OfSums {
    /// Beyond the first-order sum of limits.
    pub sum_of_limits: Beyond,
    /// Beyond the root-sum-square.
    pub root_sum_square: Beyond,
}

/// Whether the GUM's interval agrees with the Monte Carlo one.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Comparison {
    /// Coverage probability of both: the one asked for, 95 % where a factor is.
    pub probability: f64,
    /// The GUM's interval.
    pub gum: Interval,
    /// Numerical tolerance: half a unit in the second digit of the standard uncertainty, output unit.
    pub delta: f64,
    /// Distance of the lower ends, output unit.
    pub d_low: f64,
    /// Distance of the upper ends, output unit.
    pub d_high: f64,
    /// Whether both distances are within the tolerance; if not, use the Monte Carlo interval.
    pub validated: bool,
    /// Whether the run is long enough to tell: both ends are known to a fifth of the tolerance.
    pub resolved: bool,
}

/// The answer of a Monte Carlo run.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct MonteCarlo {
    /// Number of trials.
    pub trials: u32,
    /// Seed of the random numbers.
    pub seed: u64,
    /// Mean of the outputs; left out when it does not exist (a source with one degree of freedom).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean: Option<f64>,
    /// Standard uncertainty; left out when it does not exist (a source with two degrees of freedom or fewer).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub standard: Option<f64>,
    /// Coverage intervals at 95 %.
    pub p95: CoverageIntervals,
    /// Coverage intervals at 99.73 %.
    pub p99_73: CoverageIntervals,
    /// Coverage intervals at the probability asked for, where it is another one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asked: Option<CoverageIntervals>,
    /// Share of the trials beyond the limit, where one was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beyond: Option<Beyond>,
    /// Share of the trials beyond the sums of limits, where it was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub of_sums: Option<OfSums>,
    /// Histogram for a drawing.
    pub histogram: Histogram,
    /// Comparison with the GUM's interval.
    pub comparison: Comparison,
    /// In adaptive mode: whether the figures settled before the trials ran out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub settled: Option<bool>,
}

impl MonteCarlo {
    /// The intervals at the probability of the comparison.
    pub fn compared(&self) -> &CoverageIntervals {
        let known = [&self.p95, &self.p99_73].into_iter().chain(&self.asked);
        let same = |other: &&CoverageIntervals| other.probability.total_cmp(&self.comparison.probability).is_eq();
        known.into_iter().find(same).unwrap_or(&self.p95)
    }
}

/// Outputs of the trials `first_trial`, `first_trial + 1`, … until `out` is full.
///
/// A pure function of the trial numbers: filling in pieces, in any order and anywhere, gives the same values. When the
/// work is stopped, `out` holds some of them and is of no use.
pub fn fill<M: Model>(
    model: &M,
    sources: &[Source],
    correlation: Option<&Correlation>,
    seed: u64,
    first_trial: u64,
    out: &mut [f64],
    work: Work,
) -> Result<(), Fault> {
    source::check(sources)?;
    if let Some(correlation) = correlation {
        correlation.check(sources)?;
    }
    let plan = Plan::new(sources, &source::groups(sources), correlation, work)?;
    Ok(run(model, &plan, seed, first_trial, out, work)?)
}

/// A stretch of trials for the widest vectors the processor has.
struct Task<'a, M> {
    model: &'a M,
    plan: &'a Plan,
    seed: u64,
    first_trial: u64,
    scratch: &'a mut Scratch,
    out: &'a mut [f64],
    work: Work<'a>,
}

impl<M: Model> NullaryFnOnce for Task<'_, M> {
    type Output = Result<(), Halt>;

    #[expect(clippy::inline_always, reason = "compiled once per kind of processor, inside the dispatching function")]
    #[inline(always)]
    fn call(self) -> Result<(), Halt> {
        let mut trial = self.first_trial;
        let mut out = self.out;
        let mut y = [0.0; BLOCK];
        while !out.is_empty() {
            self.work.go_on()?;
            #[expect(clippy::cast_possible_truncation, reason = "below the length of a block")]
            let skip = (trial % BLOCK as u64) as usize;
            let take = (BLOCK - skip).min(out.len());
            self.plan.block(self.model, self.seed, trial / BLOCK as u64, self.scratch, &mut y);
            let (now, later) = out.split_at_mut(take);
            now.copy_from_slice(&y[skip..skip + take]);
            out = later;
            trial += take as u64;
        }
        Ok(())
    }
}

/// Fills `out` on the threads of the current pool.
fn run<M: Model>(model: &M, plan: &Plan, seed: u64, first_trial: u64, out: &mut [f64], work: Work) -> Result<(), Halt> {
    let arch = Arch::new();
    out.par_chunks_mut(TASK).enumerate().try_for_each_init(
        || plan.scratch(),
        |scratch, (i, out)| {
            let first_trial = first_trial.wrapping_add((i * TASK) as u64);
            arch.dispatch(Task { model, plan, seed, first_trial, scratch, out, work })
        },
    )
}

/// What is asked of the trials.
pub(super) struct Asked<'a> {
    /// Model at the estimates.
    pub value: f64,
    /// First-order variance.
    pub variance: &'a Variance,
    /// The coverage to compare at.
    pub coverage: Coverage,
    /// Centre and size of a limit beyond which the trials are counted.
    pub beyond: Option<(f64, f64)>,
    /// Centre of the sums, the sum of limits and the root-sum-square about it.
    pub sums: Option<(f64, f64, f64)>,
}

impl Asked<'_> {
    /// The coverage probability of the comparison.
    fn probability(&self) -> f64 {
        match self.coverage {
            Coverage::Probability(p) => p,
            Coverage::Factor(_) => 0.95,
        }
    }
}

/// The numerical experiment.
#[derive(Clone, Copy)]
pub(super) struct Experiment {
    /// Number of trials, at most when it is adaptive.
    pub trials: u32,
    /// Seed of the random numbers.
    pub seed: u64,
    /// Whether it may stop when its figures have settled.
    pub adaptive: bool,
}

/// Runs the trials and sums them up.
pub(super) fn propagate<M: Model>(
    model: &M,
    sources: &[Source],
    plan: &Plan,
    asked: &Asked<'_>,
    Experiment { trials, seed, adaptive }: Experiment,
    work: Work,
) -> Result<MonteCarlo, Fault> {
    if !TRIALS.contains(&trials) {
        return Err(Fault::Trials { got: trials });
    }
    let (values, settled) = if adaptive {
        let (values, settled) = adapt(model, plan, seed, (trials as usize, asked.probability()), work)?;
        (values, Some(settled))
    } else {
        let mut values = vec![0.0; trials as usize];
        run(model, plan, seed, 0, &mut values, work)?;
        (values, None)
    };
    let mut answer = summary(&values, sources, seed, asked, work)?;
    answer.settled = settled;
    Ok(answer)
}

/// Sums up outputs given in trial order, such as the joined shards of [`fill`].
pub fn summarise<M: Model>(
    model: &M,
    sources: &[Source],
    correlation: Option<&Correlation>,
    seed: u64,
    values: &[f64],
    work: Work,
) -> Result<MonteCarlo, Fault> {
    source::check(sources)?;
    if let Some(correlation) = correlation {
        correlation.check(sources)?;
    }
    let trials = u32::try_from(values.len()).unwrap_or(u32::MAX);
    if !TRIALS.contains(&trials) {
        return Err(Fault::Trials { got: trials });
    }
    let first = super::first_order::FirstOrder::new(model, sources, false)?;
    let variance = Variance::new(sources, &source::groups(sources), &first.at_estimates, correlation)?;
    let asked =
        Asked { value: first.value, variance: &variance, coverage: Coverage::default(), beyond: None, sums: None };
    summary(values, sources, seed, &asked, work)
}

fn summary(values: &[f64], sources: &[Source], seed: u64, asked: &Asked<'_>, work: Work) -> Result<MonteCarlo, Fault> {
    let moments = Moments::new(values, work)?;
    let probability = asked.probability();
    let tails = Tails::new(values, &moments, probability.min(0.95), work)?;
    let at = |probability: f64| -> Result<CoverageIntervals, Halt> {
        let (low_error, high_error) = tails.errors(probability);
        let (low_between, high_between) = tails.between(probability);
        Ok(CoverageIntervals {
            probability,
            symmetric: tails.symmetric(probability),
            shortest: tails.shortest(probability, work)?,
            low_error,
            high_error,
            low_between,
            high_between,
        })
    };
    let p95 = at(0.95)?;
    let p99_73 = at(0.9973)?;
    let same = |other: &CoverageIntervals| other.probability.total_cmp(&probability).is_eq();
    let other = if same(&p95) || same(&p99_73) { None } else { Some(at(probability)?) };
    let histogram = Histogram::new(values, p99_73.symmetric, &moments, work)?;
    let compared = other.as_ref().unwrap_or(if same(&p99_73) { &p99_73 } else { &p95 });
    let comparison = compare(asked, compared, moments.standard())?;
    let count = |about: f64, limit: f64| -> Result<Beyond, Halt> {
        Ok(Beyond::new(limit, beyond(values, about, limit, work)?, values.len()))
    };
    let of_sums = |(about, sum, root): (f64, f64, f64)| -> Result<OfSums, Halt> {
        // A linear model reaches its sum of limits: rounding is no excess.
        let reached = 1e-12 * (about.abs() + sum);
        Ok(OfSums { sum_of_limits: count(about, sum + reached)?, root_sum_square: count(about, root + reached)? })
    };
    let beyond = asked.beyond.map(|(about, limit)| count(about, limit)).transpose()?;
    let of_sums = asked.sums.map(of_sums).transpose()?;
    let fewest = sources
        .iter()
        .filter(|source| source.limit > 0.0 && matches!(source.distribution, Distribution::Normal { .. }))
        .filter_map(|source| source.degrees_of_freedom)
        .fold(f64::INFINITY, f64::min);
    Ok(MonteCarlo {
        trials: u32::try_from(values.len()).unwrap_or(u32::MAX),
        seed,
        mean: (fewest > 1.0).then_some(moments.mean),
        standard: (fewest > 2.0).then_some(moments.standard()),
        p95,
        p99_73,
        asked: other,
        beyond,
        of_sums,
        histogram,
        comparison,
        settled: None,
    })
}

/// Half a unit in the second significant digit of `u` (7.9.2).
fn tolerance(u: f64) -> f64 {
    if u <= 0.0 {
        return 0.0;
    }
    // Rounding to two digits can carry (0.0996 is 0.10), so the exponent is read after it.
    let exponent = libm::floor(libm::log10(u));
    let digits = libm::round(u / libm::pow(10.0, exponent - 1.0));
    let exponent = if digits >= 100.0 { exponent + 1.0 } else { exponent };
    0.5 * libm::pow(10.0, exponent - 1.0)
}

/// Clause 8: the GUM's interval against the Monte Carlo one.
fn compare(side: &Asked<'_>, run: &CoverageIntervals, standard: f64) -> Result<Comparison, Fault> {
    const PLACE: &str = "for its uncertainty";
    let u = side.variance.standard;
    let expanded = coverage_factor(run.probability, side.variance.degrees_of_freedom) * u;
    let gum = Interval { low: side.value - expanded, high: side.value + expanded };
    let delta = tolerance(if u > 0.0 { u } else { standard });
    let d_low = finite((gum.low - run.symmetric.low).abs(), PLACE)?;
    let d_high = finite((gum.high - run.symmetric.high).abs(), PLACE)?;
    Ok(Comparison {
        probability: run.probability,
        gum,
        delta,
        d_low,
        d_high,
        validated: d_low <= delta && d_high <= delta,
        // Long enough to tell, or so far apart that the noise of the ends cannot be the reason.
        resolved: run.low_error.max(run.high_error) <= 0.2 * delta
            || d_low - 3.0 * run.low_error > delta
            || d_high - 3.0 * run.high_error > delta,
    })
}

/// Average and standard error of the average, over steps.
struct Settling {
    steps: f64,
    mean: f64,
    squares: f64,
}

impl Settling {
    fn add(&mut self, value: f64) {
        // Running update about the mean: steps agree to several digits, which plain squares would lose.
        self.steps += 1.0;
        let apart = value - self.mean;
        self.mean += apart / self.steps;
        self.squares += apart * (value - self.mean);
    }

    fn error(&self) -> f64 {
        (self.squares / (self.steps * (self.steps - 1.0)).max(1.0)).sqrt()
    }
}

/// The adaptive procedure: steps of trials until the mean, the standard uncertainty and both ends of the interval have
/// settled to the tolerance, or the trials run out. A step has the greater of 100/(1 − p) and 10^4 trials (7.9.4 b).
fn adapt<M: Model>(
    model: &M,
    plan: &Plan,
    seed: u64,
    (most, probability): (usize, f64),
    work: Work,
) -> Result<(Vec<f64>, bool), Fault> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "saturates; never negative")]
    let length = STEP.max((100.0 / (1.0 - probability)).ceil() as usize);
    let mut values: Vec<f64> = Vec::new();
    let mut figures: [Settling; 4] = std::array::from_fn(|_| Settling { steps: 0.0, mean: 0.0, squares: 0.0 });
    let mut all = None;
    while values.len() < most {
        let start = values.len();
        let batch = length.saturating_mul(BATCH).min(most - start);
        values.resize(start + batch, 0.0);
        run(model, plan, seed, start as u64, &mut values[start..], work)?;
        let steps = values[start..].par_chunks_exact(length).map(|values| Step::new(values, probability, work));
        let steps: Vec<Step> = steps.collect::<Result<_, _>>()?;
        for (i, step) in steps.into_iter().enumerate() {
            for (figure, value) in figures.iter_mut().zip(step.figures) {
                figure.add(value);
            }
            let done = start + (i + 1) * length;
            let moments = all.map_or(step.moments, |all: Moments| all.join(step.moments));
            all = Some(moments);
            let delta = tolerance(moments.standard());
            if figures[0].steps >= 2.0 && figures.iter().all(|figure| 2.0 * figure.error() <= delta) {
                values.truncate(done);
                return Ok((values, true));
            }
        }
    }
    Ok((values, false))
}

/// One step of the adaptive procedure.
struct Step {
    moments: Moments,
    /// Mean, standard deviation and the ends of the symmetric interval.
    figures: [f64; 4],
}

impl Step {
    fn new(values: &[f64], probability: f64, work: Work) -> Result<Self, Fault> {
        let moments = Moments::new(values, work)?;
        let mut values = values.to_vec();
        let q = inside(probability, values.len());
        let r = (values.len() - q).div_ceil(2);
        let low = *values.select_nth_unstable_by(r - 1, f64::total_cmp).1;
        let high = *values.select_nth_unstable_by(r + q - 1, f64::total_cmp).1;
        Ok(Self { moments, figures: [moments.mean, moments.standard(), low, high] })
    }
}
