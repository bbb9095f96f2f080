//! What a free measurement model takes.

use crate::field::{FieldError, defaulted, list, number, optional, text, whole, yes_no};
use crate::input;
use crate::propagation::{self, Distribution, Joining, Source};
use crate::quantity::Unit;

crate::choice! {
    /// The form of the model.
    pub enum Form {
        Sum = "sum", "Sum of c·x";
        Product = "product", "Product of x^p";
        Products = "sum-of-products", "Sum of products, several outputs";
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

crate::choice! {
    /// What makes an input move.
    pub enum Kind {
        Initial = "initial", "Initial";
        Temperature = "temperature", "Temperature";
        Life = "life", "Life";
        Noise = "noise", "Noise";
    }
}

crate::choice! {
    /// By which method the allowed deviation is judged.
    pub enum Basis {
        WorstCase = "worst-case", "Worst case";
        RootSumSquare = "root-sum-square", "Root-sum-square";
        Interval = "coverage-interval", "Coverage interval (Monte Carlo)";
    }
}

input! {
    /// One input quantity.
    pub struct Quantities {
        label: String = text(60, "x"), "", "Name", "Of the input quantity.";
        estimate: f64 = number(Unit::One, -1e15, 1e15, 0.0), "x", "Estimate", "Its best value.";
        limit: Option<f64> = optional(Unit::One, 0.0, 1e15), "a", "Limit", "Half-width; for a normal distribution k standard uncertainties. Empty where the standard uncertainty is given.";
        shape: Shape = Shape::Rectangular.chosen(), "", "Distribution", "Inside the limit.";
        coverage: f64 = defaulted(Unit::One, 0.1, 10.0, 1.0), "k", "k of a normal limit", "2 for a certificate's expanded uncertainty.";
        weight: f64 = defaulted(Unit::One, -1e15, 1e15, 1.0), "c", "Coefficient or exponent", "c in a sum, p in a product.";
        degrees_of_freedom: Option<f64> = optional(Unit::One, 1.0, 1e9), "ν", "Degrees of freedom", "Of its standard uncertainty; empty for infinite.";
        standard: Option<f64> = optional(Unit::One, 0.0, 1e15), "u", "Standard uncertainty", "Instead of a limit; the input is normal then.";
        limit_below: Option<f64> = optional(Unit::One, 0.0, 1e15), "a−", "Limit below", "Where it is another one than above: the middle of both counts as the value, and how far it is from the estimate as a known deviation.";
        group: String = text(40, ""), "", "Group", "Inputs with the same word share a part of their limit; empty for none.";
        common_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 100.0), "m", "Common part", "Of the limit, in its group.";
        kind: Kind = Kind::Initial.chosen(), "", "Kind", "What makes it move.";
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
    /// A factor of a sum of products.
    pub struct Factor {
        output: u32 = whole(Unit::One, 1, 8, 1), "y", "Output", "Its number.";
        term: u32 = whole(Unit::One, 1, 64, 1), "t", "Term", "Factors of the same output and term are multiplied, terms added.";
        input: u32 = whole(Unit::One, 1, 64, 1), "i", "Input", "Its number in the list.";
        exponent: f64 = defaulted(Unit::One, -64.0, 64.0, 1.0), "p", "Exponent", "0 for a constant.";
        scale: f64 = defaulted(Unit::One, -1e15, 1e15, 1.0), "s", "Scale", "Multiplies the term.";
    }
}

input! {
    /// Everything the entry takes.
    pub struct FreeInput {
        form: Form = Form::Sum.chosen(), "", "Model", "Sum, product or sum of products.";
        inputs: Vec<Quantities> = list::<Quantities>(1, 64, "x1; 0; 1.7320508075688772; rectangular\nx2; 0; 1.7320508075688772; rectangular\nx3; 0; 1.7320508075688772; rectangular\nx4; 0; 17.320508075688775; rectangular"), "", "Input quantities", "One a line: name; estimate; limit; distribution; k; coefficient; degrees of freedom; standard uncertainty; limit below; group; common part; kind.";
        correlations: Vec<Correlated> = list::<Correlated>(0, 2016, ""), "", "Correlations", "One a line: number; number; coefficient. Pairs left out are independent.";
        coverage_probability_percent: Option<f64> = optional(Unit::Percent, 1.0, 99.9999), "p", "Coverage probability", "Instead of k: Student's t with the effective degrees of freedom.";
        coverage_factor: f64 = defaulted(Unit::One, 0.5, 10.0, 2.0), "k", "Coverage factor", "Used when no probability is given.";
        allowed: Option<f64> = optional(Unit::One, 0.0, 1e15), "A", "Allowed deviation", "Of the first output from its estimate; leave empty if none.";
        trials: u32 = whole(Unit::One, 1_000, 10_000_000, 200_000), "M", "Trials", "Of the Monte Carlo run.";
        seed: u32 = whole(Unit::One, 0, u32::MAX, 1), "", "Seed", "Same seed, same numbers.";
        adaptive: bool = yes_no(false), "", "Adaptive", "Stop early when the figures have settled (JCGM 101 clause 7.9).";
        factors: Vec<Factor> = list::<Factor>(0, 512, ""), "", "Factors", "Of a sum of products, one a line: output; term; input; exponent; scale.";
        normal_k: Option<f64> = optional(Unit::One, 2.0, 6.0), "kw", "k of the normal inputs", "In worst case and root-sum-square they count once, as k joined standard uncertainties; empty for 3, more with few degrees of freedom.";
        judged_by: Basis = Basis::WorstCase.chosen(), "", "Judged by", "How the allowed deviation is judged; the interval at the coverage probability, or at 95 %.";
    }
}

impl Quantities {
    /// The input as the engine takes it.
    fn source(&self, index: usize) -> Source {
        let distribution = match self.shape {
            Shape::Rectangular => Distribution::Rectangular,
            Shape::Triangular => Distribution::Triangular,
            Shape::Arcsine => Distribution::Arcsine,
            Shape::Normal => Distribution::Normal { k: self.coverage },
        };
        let kind = match self.kind {
            Kind::Initial => propagation::Kind::Initial,
            Kind::Temperature => propagation::Kind::Temperature,
            Kind::Life => propagation::Kind::Life,
            Kind::Noise => propagation::Kind::Noise,
        };
        let label = if self.label.is_empty() { format!("x{}", index + 1) } else { self.label.clone() };
        let above = self.limit.unwrap_or(0.0);
        let mut source = Source::limit(format!("{}", index + 1), label, "Inputs", kind, "", above)
            .known(self.estimate)
            .distributed(distribution);
        if let Some(below) = self.limit_below {
            source = source.between(self.estimate - below, self.estimate + above);
        }
        if let Some(standard) = self.standard {
            source = source.with_standard(standard);
        }
        if !self.group.is_empty() {
            let common = source.limit * (self.common_percent / 100.0);
            source = source.grouped(self.group.clone(), common);
        }
        match self.degrees_of_freedom {
            Some(degrees) => source.with_dof(degrees),
            None => source,
        }
    }
}

impl FreeInput {
    /// The inputs as the engine takes them.
    pub(super) fn sources(&self) -> Vec<Source> {
        self.inputs.iter().enumerate().map(|(index, quantity)| quantity.source(index)).collect()
    }

    /// Fields that contradict each other.
    pub(super) fn contradictions(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        for (index, quantity) in self.inputs.iter().enumerate() {
            let row = index + 1;
            let mut refuse = |key: &str, message: &str, accepted: &str, got: Option<f64>| {
                let got = got.map_or_else(|| "nothing".into(), |value| value.to_string());
                let pointer = format!("/inputs/{index}/{key}");
                faults.push(FieldError::contradiction(&pointer, format!("Row {row}: {message}"), accepted, got));
            };
            match (quantity.limit, quantity.standard) {
                (None, None) => {
                    refuse("limit", "a limit or a standard uncertainty is needed.", "one of the two", None);
                }
                (Some(_), Some(standard)) => {
                    let message = "a limit and a standard uncertainty are given; one of them is enough.";
                    refuse("standard", message, "nothing, or no limit", Some(standard));
                }
                (None, Some(_)) if quantity.limit_below.is_some() => {
                    let message = "a standard uncertainty has no limit below.";
                    refuse("limit_below", message, "nothing", quantity.limit_below);
                }
                _ => {}
            }
        }
        if self.form == Form::Products {
            self.factors_exist(&mut faults);
        }
        if faults.is_empty() { self.keep_from_zero() } else { faults }
    }

    fn factors_exist(&self, faults: &mut Vec<FieldError>) {
        let (size, outputs) = (self.inputs.len(), self.outputs());
        if self.factors.is_empty() {
            let message = "A sum of products needs its factors.";
            faults.push(FieldError::contradiction("/factors", message, "one factor or more", "none"));
        }
        for (index, factor) in self.factors.iter().enumerate().filter(|(_, factor)| factor.input as usize > size) {
            faults.push(FieldError::contradiction(
                &format!("/factors/{index}/input"),
                format!("Row {}: there is no input {}; {size} are given.", index + 1, factor.input),
                format!("1 to {size}"),
                factor.input,
            ));
        }
        for missing in (1..outputs).filter(|output| self.factors.iter().all(|factor| factor.output != *output)) {
            faults.push(FieldError::contradiction(
                "/factors",
                format!("Output {missing} has no factor, output {outputs} has."),
                "outputs numbered from 1 without a gap",
                outputs,
            ));
        }
    }

    /// Inputs raised to a power that is negative or no whole number must keep away from zero.
    fn keep_from_zero(&self) -> Vec<FieldError> {
        let bends = |exponent: f64| exponent < 0.0 || exponent.fract() != 0.0;
        let joining = Joining { k: self.normal_k, correlation: None };
        let mut faults = Vec::new();
        for (index, (quantity, source)) in self.inputs.iter().zip(self.sources()).enumerate() {
            let raised = match self.form {
                Form::Sum => false,
                Form::Product => bends(quantity.weight),
                Form::Products => {
                    let own = |factor: &&Factor| factor.input as usize == index + 1;
                    self.factors.iter().filter(own).any(|factor| bends(factor.exponent))
                }
            };
            let reach = joining.reach(&source);
            if raised && source.estimate.abs() <= reach {
                faults.push(FieldError::contradiction(
                    &format!("/inputs/{index}/estimate"),
                    format!("Row {}: a factor of a product must keep away from zero: its estimate must be larger than its limit.", index + 1),
                    format!("a size above {reach}"),
                    quantity.estimate,
                ));
            }
        }
        faults
    }

    /// How many outputs the model has.
    pub(super) fn outputs(&self) -> u32 {
        if self.form == Form::Products { self.factors.iter().map(|factor| factor.output).max().unwrap_or(1) } else { 1 }
    }
}
