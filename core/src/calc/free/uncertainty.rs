//! # A free measurement model
//!
//! A list of input quantities and a sum or a product of them, asked the four questions of every budget: worst case,
//! root-sum-square, combined standard uncertainty, Monte Carlo. It lets a reviewer check the engine against published
//! examples, and an engineer work out a budget that has no page of its own.
//!
//! ```text
//! Formula    sum: y = Σ c_i x_i; product: y = Π x_i^p_i
//! Symbols    x_i estimate ± limit with a distribution, c_i coefficient, p_i exponent, r_ij correlation
//! Valid      correlation of inputs through a Gaussian copula in the Monte Carlo run, exact for normal inputs
//! Refused    a correlation matrix that is not positive semi-definite, a product with an estimate of zero or below
//! Source     JCGM 100:2008 clause 5, G.4; JCGM 101:2008 clauses 6, 7, 8
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use crate::calculation::{Calculation, Meta};
use crate::channel::budget::{self, Heading, Output};
use crate::field::{FieldError, defaulted, list, number, optional, text, whole, yes_no};
use crate::input;
use crate::judge::{Judged, Ledger, Words};
use crate::propagation::{
    Assessment, Contribution, Correlation, Coverage, Distribution, Fault, Kind, Linear, Model, Product, Request,
    Source, SourceFault, assess,
};
use crate::quantity::{Unit, one, percent};
use crate::report::{Block, Figure, Finding, Severity, Step, View};
use crate::work::{Cost, Refused, Work};

crate::choice! {
    /// The form of the model.
    pub enum Form {
        Sum = "sum", "Sum of c·x";
        Product = "product", "Product of x^p";
    }
}

crate::choice! {
    /// The distribution of an input inside its limit.
    pub enum Shape {
        Rectangular = "rectangular", "Rectangular";
        Triangular = "triangular", "Triangular";
        Arcsine = "arcsine", "Arcsine";
        Normal = "normal", "Normal";
    }
}

input! {
    /// One input quantity.
    pub struct Quantities {
        label: String = text(60, "x"), "", "Name", "Of the input quantity.";
        estimate: f64 = number(Unit::One, -1e15, 1e15, 0.0), "x", "Estimate", "Its best value.";
        limit: f64 = number(Unit::One, 0.0, 1e15, 1.0), "a", "Limit", "Half-width; for a normal distribution k standard uncertainties.";
        shape: Shape = Shape::Rectangular.chosen(), "", "Distribution", "Inside the limit.";
        coverage: f64 = defaulted(Unit::One, 0.1, 10.0, 1.0), "k", "k of a normal limit", "2 for a certificate's expanded uncertainty.";
        weight: f64 = defaulted(Unit::One, -1e15, 1e15, 1.0), "c", "Coefficient or exponent", "c in a sum, p in a product.";
        degrees_of_freedom: Option<f64> = optional(Unit::One, 1.0, 1e9), "ν", "Degrees of freedom", "Of its standard uncertainty; empty for infinite.";
    }
}

input! {
    /// A correlation of two inputs.
    pub struct Correlated {
        first: u32 = whole(Unit::One, 1, 64, 1), "i", "Input", "Its number in the list.";
        second: u32 = whole(Unit::One, 1, 64, 2), "j", "Input", "Its number in the list.";
        coefficient: f64 = number(Unit::One, -1.0, 1.0, 0.0), "r", "Correlation", "Between −1 and 1.";
    }
}

input! {
    /// Everything the entry takes.
    pub struct FreeInput {
        form: Form = Form::Sum.chosen(), "", "Model", "Sum or product.";
        inputs: Vec<Quantities> = list::<Quantities>(1, 64, "x1; 0; 1.7320508075688772; rectangular\nx2; 0; 1.7320508075688772; rectangular\nx3; 0; 1.7320508075688772; rectangular\nx4; 0; 17.320508075688775; rectangular"), "", "Input quantities", "One a line: name; estimate; limit; distribution; k; coefficient; degrees of freedom.";
        correlations: Vec<Correlated> = list::<Correlated>(0, 2016, ""), "", "Correlations", "One a line: number; number; coefficient. Pairs left out are independent.";
        coverage_probability_percent: Option<f64> = optional(Unit::Percent, 50.0, 99.99), "p", "Coverage probability", "Instead of k: Student's t with the effective degrees of freedom.";
        coverage_factor: f64 = defaulted(Unit::One, 0.5, 10.0, 2.0), "k", "Coverage factor", "Used when no probability is given.";
        allowed: Option<f64> = optional(Unit::One, 0.0, 1e15), "A", "Allowed deviation", "Of the output from its estimate, judged by worst case; leave empty if none.";
        trials: u32 = whole(Unit::One, 1_000, 10_000_000, 200_000), "M", "Trials", "Of the Monte Carlo run.";
        seed: u32 = whole(Unit::One, 0, u32::MAX, 1), "", "Seed", "Same seed, same numbers.";
        adaptive: bool = yes_no(false), "", "Adaptive", "Stop early when the figures have settled (JCGM 101 clause 7.9).";
    }
}

/// What the entry answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FreeOutput {
    /// The four assessments and every contribution.
    pub assessment: Assessment,
}

/// The calculation.
#[derive(Debug)]
pub struct FreeModel;

impl Calculation for FreeModel {
    const META: Meta = Meta {
        slug: "uncertainty",
        title: "Uncertainty of a free model",
        job: "A sum or a product of your own: worst case, root-sum-square, combined standard uncertainty and Monte Carlo of the same inputs.",
        short: "your own budget",
        sources: &[
            "JCGM 100:2008 (GUM)",
            "JCGM 101:2008 (Monte Carlo)",
            "Sum of limits, root-sum-square of limits: common practice, no source",
        ],
    };
    type Input = FreeInput;
    /// With its trials: whether first order is validated is told beside the verdict.
    type Solved = Assessment;
    type Output = FreeOutput;

    fn cost(input: &FreeInput) -> Cost {
        let units = u64::from(input.trials).saturating_mul(input.inputs.len() as u64);
        Cost { units, bytes: u64::from(input.trials).saturating_mul(8) }
    }

    fn solve(input: &FreeInput, work: Work) -> Result<Assessment, Refused> {
        let sources: Vec<Source> = input.inputs.iter().enumerate().map(source).collect();
        let correlation = correlation(input)?;
        let weights: Vec<f64> = input.inputs.iter().map(|quantity| quantity.weight).collect();
        let assessment = match input.form {
            Form::Sum => {
                run(&Linear { offset: 0.0, coefficients: weights }, &sources, correlation.as_ref(), input, work)
            }
            Form::Product => {
                positive(input)?;
                run(&Product { scale: 1.0, exponents: weights }, &sources, correlation.as_ref(), input, work)
            }
        };
        assessment.map_err(|fault| refused(&fault))
    }

    fn requirements(input: &FreeInput, solved: &Assessment, to: &mut Ledger) {
        let (worst, value) = (&solved.worst_case, solved.value);
        let end = budget::largest(worst.low - value, worst.high - value);
        to.require(Judged::at_most("uncertainty.deviation", "/allowed", Unit::One, end, input.allowed), |_| {
            let failure =
                format!("The worst case is {} off; {} is allowed.", one(end), one(input.allowed.unwrap_or(0.0)));
            Words::new("Deviation from the estimate", "worst case", failure)
        });
        remarks(input, solved, to);
    }

    fn detail(_: &FreeInput, assessment: Assessment, _: Work) -> Result<FreeOutput, Refused> {
        Ok(FreeOutput { assessment })
    }

    fn working(input: &FreeInput, output: &FreeOutput) -> Vec<Step> {
        working(input, &output.assessment)
    }

    fn view(input: &FreeInput, output: &FreeOutput, _: &Ledger) -> View {
        view(input, &output.assessment)
    }
}

fn source((index, quantity): (usize, &Quantities)) -> Source {
    let distribution = match quantity.shape {
        Shape::Rectangular => Distribution::Rectangular,
        Shape::Triangular => Distribution::Triangular,
        Shape::Arcsine => Distribution::Arcsine,
        Shape::Normal => Distribution::Normal { k: quantity.coverage },
    };
    let label = if quantity.label.is_empty() { format!("x{}", index + 1) } else { quantity.label.clone() };
    let source = Source::limit(format!("{}", index + 1), label, "Inputs", Kind::Initial, "", quantity.limit)
        .known(quantity.estimate)
        .distributed(distribution);
    match quantity.degrees_of_freedom {
        Some(degrees) => source.with_dof(degrees),
        None => source,
    }
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
    let request = Request {
        coverage,
        trials: Some(input.trials),
        seed: u64::from(input.seed),
        adaptive: input.adaptive,
        deviations: false,
        ..Request::default()
    };
    assess(model, sources, correlation, &request, work)
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

fn positive(input: &FreeInput) -> Result<(), Vec<FieldError>> {
    let faults: Vec<FieldError> = input
        .inputs
        .iter()
        .enumerate()
        .filter(|(_, quantity)| quantity.estimate.abs() <= quantity.limit)
        .map(|(index, quantity)| {
            FieldError::contradiction(
                &format!("/inputs/{index}/estimate"),
                format!("Row {}: a factor of a product must keep away from zero: its estimate must be larger than its limit.", index + 1),
                format!("a size above {}", quantity.limit),
                quantity.estimate,
            )
        })
        .collect();
    if faults.is_empty() { Ok(()) } else { Err(faults) }
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

fn remarks(input: &FreeInput, done: &Assessment, to: &mut Ledger) {
    if let Some(run) = done.monte_carlo.as_ref().filter(|run| !run.comparison.validated && run.comparison.resolved) {
        to.remark(|| {
            let [low, high, delta] = [run.comparison.d_low, run.comparison.d_high, run.comparison.delta].map(one);
            let message = format!(
                "The first-order interval differs from the Monte Carlo one by {low} and {high}, more than the tolerance of {delta}: not validated, use Monte Carlo."
            );
            Finding::new(Severity::Warn, "uncertainty.not-validated", message)
        });
    }
    let rectangular = |id: &str| {
        let index = id.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
        index.and_then(|index| input.inputs.get(index)).is_some_and(|quantity| quantity.shape == Shape::Rectangular)
    };
    let share = |term: &&Contribution| term.share_percent.is_some_and(|share| share > 80.0) && rectangular(&term.id);
    let dominating = done.contributions.iter().find(share).and_then(|term| term.share_percent);
    let told = dominating.is_some() && input.coverage_probability_percent.is_none();
    to.note("uncertainty.one-source-dominates", "/coverage_factor", told, || {
        let share = percent(dominating.unwrap_or_default());
        format!("One rectangular input makes {share} of the variance: k = 1.65 gives 95 % then, not 2.")
    });
}

fn working(input: &FreeInput, done: &Assessment) -> Vec<Step> {
    let term = |term: &Contribution| format!("({} · {})²", one(term.sensitivity), one(term.standard));
    let terms: Vec<String> = done.contributions.iter().map(term).collect();
    let sums: Vec<String> = done.contributions.iter().map(|term| one(term.contribution).to_string()).collect();
    let with = if input.correlations.is_empty() { "" } else { " + correlation terms" };
    let model = if input.form == Form::Sum { "Σ c x" } else { "Π x^p" };
    let (gum, sum) = (&done.gum, done.worst_case.sum_of_limits);
    let root = "√(Σ (c_i u_i)² + 2 Σ c_i c_j r_ij u_i u_j)";
    let standard = format!("√({}{with})", terms.join(" + "));
    let expanded = format!("{} · {}", one(gum.k), one(gum.standard));
    let count = format!("{} inputs", input.inputs.len());
    let practice = "common practice, no source";
    vec![
        Step::new("Output at the estimates", "y", model, count, one(done.value), "the model as entered"),
        Step::new("Sum of limits", "E", "Σ |c_i| a_i", sums.join(" + "), one(sum), practice),
        Step::new(
            "Combined standard uncertainty",
            "u_c",
            root,
            standard,
            one(gum.standard),
            "JCGM 100:2008 clause 5.2.2",
        ),
        Step::new("Expanded uncertainty", "U", "k u_c", expanded, one(gum.expanded), "JCGM 100:2008 clause 6, G.4"),
    ]
}

fn view(input: &FreeInput, done: &Assessment) -> View {
    let mut figures = vec![
        Figure::of("Output", one(done.value), "at the estimates"),
        Figure::of("Standard uncertainty", one(done.gum.standard), "combined, first order"),
        Figure::of("Expanded", one(done.gum.expanded), format!("k = {}", one(done.gum.k))),
    ];
    if let Some(degrees) = done.gum.degrees_of_freedom {
        figures.push(Figure::of("Effective degrees of freedom", one(degrees), "Welch-Satterthwaite"));
    }
    if let Some(standard) = done.monte_carlo.as_ref().and_then(|run| run.standard) {
        figures.push(Figure::of("Standard uncertainty", one(standard), "Monte Carlo"));
    }
    View {
        lead: format!(
            "{} ± {}, worst case {} to {}",
            one(done.value),
            one(done.gum.expanded),
            one(done.worst_case.low),
            one(done.worst_case.high)
        ),
        more: format!("{} inputs, k = {}.", input.inputs.len(), one(done.gum.k)),
        blocks: vec![
            Block::Figures(figures),
            Block::Budget(budget::budget(
                Heading { id: "budget".into(), caption: "Budget".into(), note: "In the unit of the output.".into() },
                Unit::One,
                done,
                Output::Value,
                input.allowed,
            )),
        ],
    }
}
