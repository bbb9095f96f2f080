//! The model of the input, asked for each of its outputs.

use super::input::{Form, FreeInput};
use super::output::{FreeOutput, OtherOutput, OutputCorrelation};
use super::second_order::second_order;
use crate::field::FieldError;
use crate::propagation::{
    Assessment, Correlation, Coverage, Fault, Linear, Model, Product, Request, Source, SourceFault, SumOfProducts,
    Term, assess, covariance, gradient,
};
use crate::work::{Refused, Work};

/// Everything the entry answers.
pub(super) fn solve(input: &FreeInput, work: Work) -> Result<FreeOutput, Refused> {
    let sources = input.sources();
    let correlation = correlation(input)?;
    let correlation = correlation.as_ref();
    let outputs = (1..=input.outputs()).map(|output| {
        let assessment = match input.form {
            Form::Sum => run(&Linear { offset: 0.0, coefficients: weights(input) }, &sources, correlation, input, work),
            Form::Product => {
                run(&Product { scale: 1.0, exponents: weights(input) }, &sources, correlation, input, work)
            }
            Form::Products => run(&terms(input, output), &sources, correlation, input, work),
        };
        let assessment = assessment.map_err(|fault| refused(&fault))?;
        let alone = correlation.is_none() && sources.iter().all(|source| source.common() == 0.0);
        let to_second = || second_order(&terms(input, output), &sources, assessment.value);
        Ok(OtherOutput { output, second_order: alone.then(to_second).flatten(), assessment })
    });
    let mut others = outputs.collect::<Result<Vec<OtherOutput>, Refused>>()?;
    let output_correlations = correlations(input, &sources, correlation, &others);
    let first = others.remove(0);
    Ok(FreeOutput { assessment: first.assessment, second_order: first.second_order, others, output_correlations })
}

fn weights(input: &FreeInput) -> Vec<f64> {
    input.inputs.iter().map(|quantity| quantity.weight).collect()
}

/// An output as a sum of products, whatever its form.
pub(super) fn terms(input: &FreeInput, output: u32) -> SumOfProducts {
    let terms = match input.form {
        Form::Sum => {
            let term = |(place, scale)| Term { scale, factors: vec![(place, 1.0)] };
            weights(input).into_iter().enumerate().map(term).collect()
        }
        Form::Product => vec![Term { scale: 1.0, factors: weights(input).into_iter().enumerate().collect() }],
        Form::Products => {
            let mut numbers: Vec<u32> = Vec::new();
            let mut terms: Vec<Term> = Vec::new();
            for factor in input.factors.iter().filter(|factor| factor.output == output) {
                let place = numbers.iter().position(|number| *number == factor.term).unwrap_or(numbers.len());
                if place == numbers.len() {
                    numbers.push(factor.term);
                    terms.push(Term { scale: 1.0, factors: Vec::new() });
                }
                terms[place].scale *= factor.scale;
                terms[place].factors.push((factor.input as usize - 1, factor.exponent));
            }
            terms
        }
    };
    SumOfProducts { terms }
}

fn run<M: Model>(
    model: &M,
    sources: &[Source],
    correlation: Option<&Correlation>,
    input: &FreeInput,
    work: Work,
) -> Result<Assessment, Fault> {
    let coverage = input
        .coverage_probability_percent
        .map_or(Coverage::Factor(input.coverage_factor), |percent| Coverage::Probability(percent / 100.0));
    let uneven = input.inputs.iter().any(|quantity| quantity.limit_below.is_some());
    let typed = || input.inputs.iter().map(|quantity| quantity.estimate).collect::<Vec<_>>();
    let request = Request {
        about: uneven.then(|| gradient(model, &typed()).0),
        coverage,
        trials: Some(input.trials),
        seed: u64::from(input.seed),
        adaptive: input.adaptive,
        deviations: false,
        normal_k: input.normal_k,
        beyond: input.allowed,
        of_sums: true,
        any_shape: true,
    };
    assess(model, sources, correlation, &request, work)
}

/// Correlation of every pair of outputs (JCGM 102:2011, 6.2).
fn correlations(
    input: &FreeInput,
    sources: &[Source],
    correlation: Option<&Correlation>,
    outputs: &[OtherOutput],
) -> Vec<OutputCorrelation> {
    if outputs.len() < 2 {
        return Vec::new();
    }
    let estimates: Vec<f64> = sources.iter().map(|source| source.estimate).collect();
    let slopes: Vec<Vec<f64>> = outputs.iter().map(|one| gradient(&terms(input, one.output), &estimates).1).collect();
    let mut pairs = Vec::new();
    for (place, (one, first)) in outputs.iter().zip(&slopes).enumerate() {
        for (other, second) in outputs.iter().zip(&slopes).skip(place + 1) {
            let both = one.assessment.gum.standard * other.assessment.gum.standard;
            let coefficient = covariance(sources, correlation, first, second) / both;
            if coefficient.is_finite() {
                let coefficient = coefficient.clamp(-1.0, 1.0);
                pairs.push(OutputCorrelation { first: one.output, second: other.output, coefficient });
            }
        }
    }
    pairs
}

fn correlation(input: &FreeInput) -> Result<Option<Correlation>, Vec<FieldError>> {
    if input.correlations.is_empty() {
        return Ok(None);
    }
    let size = input.inputs.len();
    let mut rows: Vec<Vec<f64>> = (0..size).map(|i| (0..size).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    let mut faults = Vec::new();
    let mut seen = Vec::new();
    for (index, pair) in input.correlations.iter().enumerate() {
        let (i, j) = (pair.first.min(pair.second) as usize, pair.first.max(pair.second) as usize);
        let message = if j > size {
            format!("Row {}: there is no input {j}; {size} are given.", index + 1)
        } else if i == j {
            format!("Row {}: an input is always fully correlated with itself.", index + 1)
        } else if seen.contains(&(i, j)) {
            format!("Row {}: the pair {i}, {j} is given already.", index + 1)
        } else {
            seen.push((i, j));
            rows[i - 1][j - 1] = pair.coefficient;
            rows[j - 1][i - 1] = pair.coefficient;
            continue;
        };
        faults.push(FieldError::contradiction(
            &format!("/correlations/{index}/second"),
            message,
            format!("two different numbers from 1 to {size}, each pair once"),
            format!("{}, {}", pair.first, pair.second),
        ));
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    Correlation::new(&rows).map(Some).map_err(|fault| {
        vec![FieldError::contradiction(
            "/correlations",
            format!("{fault}"),
            "a positive semi-definite correlation matrix",
            "these coefficients",
        )]
    })
}

fn refused(fault: &Fault) -> Refused {
    let (pointer, accepted) = match fault {
        Fault::Source { index, reason } => (
            format!(
                "/inputs/{index}/{}",
                match reason {
                    SourceFault::Estimate => "estimate",
                    SourceFault::CoverageFactor => "coverage",
                    SourceFault::DegreesOfFreedom => "degrees_of_freedom",
                    SourceFault::Limit | SourceFault::Common => "limit",
                }
            ),
            "a finite value in range",
        ),
        Fault::Correlation(_) => ("/correlations".into(), "a positive semi-definite correlation matrix"),
        Fault::Coverage(_) => ("/coverage_factor".into(), "a coverage factor or probability in range"),
        Fault::Trials { .. } => ("/trials".into(), "1000 to 10000000 trials"),
        Fault::NotFinite { .. } => ("/inputs".into(), "inputs for which the model stays finite over all their limits"),
        Fault::Stopped => return Refused::Stopped,
    };
    vec![FieldError::contradiction(&pointer, format!("{fault}"), accepted, "these values")].into()
}
