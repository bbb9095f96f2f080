//! The steps that lead to the totals of a free model.

use super::input::{Form, FreeInput};
use super::output::FreeOutput;
use crate::quantity::one;
use crate::report::Step;
use crate::report::worked::{Term, n};

pub(super) fn working(input: &FreeInput, output: &FreeOutput) -> Vec<Step> {
    let done = &output.assessment;
    let model = match input.form {
        Form::Sum => "Σ c x",
        Form::Product => "Π x^p",
        Form::Products => "Σ s Π x^p",
    };
    let practice = "common practice, no source";
    let (terms, sources) = (super::solve::terms(input, 1).terms, input.sources());
    let mut steps =
        vec![Step::worked("Output at the estimates", "y", model, one(done.value), "the model as entered", |p| {
            Term::sum(terms.iter().map(|term| {
                let factors = term.factors.iter().filter(|(_, exponent)| *exponent != 0.0).map(|(place, exponent)| {
                    let x = p.of(one(sources[*place].estimate));
                    if *exponent == 1.0 { x } else { x.raised(&p.of(one(*exponent))) }
                });
                let scale = (term.scale != 1.0).then(|| p.of(one(term.scale)));
                scale.into_iter().chain(factors).reduce(|product, factor| product * factor).unwrap_or_else(|| n(1))
            }))
        })];
    let limits = done.contributions.iter().filter(|term| !term.joined).map(|term| term.contribution);
    let mut limits: Vec<f64> = limits.collect();
    if let Some(line) = &done.joined {
        let (label, value) = ("Normal inputs, joined", one(line.contribution));
        steps.push(Step::worked(label, "k_w u_N", "k_w √(Σ (c_i u_i)²)", value, practice, |p| {
            p.of(one(line.k)) * p.of(one(line.standard))
        }));
        limits.push(line.contribution);
    }
    let sum = one(done.worst_case.sum_of_limits);
    let mut formula = "Σ |c_i| a_i + k_w u_N".to_owned();
    if done.known != 0.0 {
        limits.push(done.known.abs());
        formula.push_str(" + |K|, K the middles of unequal limits off the estimates");
    }
    steps.push(Step::worked("Sum of limits", "E", &formula, sum, practice, |p| {
        Term::sum(limits.iter().map(|limit| p.of(one(*limit))))
    }));
    let (gum, alone) = (&done.gum, done.contributions.iter().map(|term| (term.sensitivity * term.standard).powi(2)));
    let alone: f64 = alone.sum();
    let together = gum.standard * gum.standard - alone;
    let hang = together.abs() > 1e-9 * alone;
    let formula = if hang { "√(Σ (c_i u_i)² + 2 Σ c_i c_j r_ij u_i u_j)" } else { "√(Σ (c_i u_i)²)" };
    let (label, value) = ("Combined standard uncertainty", one(gum.standard));
    steps.push(Step::worked(label, "u_c", formula, value, "JCGM 100:2008 clause 5.2.2", |p| {
        let squares =
            done.contributions.iter().map(|term| (p.of(one(term.sensitivity)) * p.of(one(term.standard))).squared());
        let sum = Term::sum(squares);
        if hang { (sum + p.of(one(together))).sqrt() } else { sum.sqrt() }
    }));
    if let Some((degrees, cut)) = gum.degrees_of_freedom.zip(gum.degrees_of_freedom_used) {
        let source = "JCGM 100:2008 clause G.4.1, H.1.6";
        let (label, formula) = ("Degrees of freedom for k", "⌊u_c⁴/Σ (u_i⁴/ν_i)⌋");
        steps.push(Step::worked(label, "ν", formula, one(cut), source, |p| p.of(one(degrees)).floor()));
    }
    let (value, source) = (one(gum.expanded), "JCGM 100:2008 clause 6, G.4");
    steps.push(Step::worked("Expanded uncertainty", "U", "k u_c", value, source, |p| {
        p.of(one(gum.k)) * p.of(one(gum.standard))
    }));
    if let Some(second) = &output.second_order {
        let more = one(second.standard * second.standard - gum.standard * gum.standard);
        let formula = "√(u_c² + s), s = Σ Σ (½ f_ij² + f_i f_ijj) u_i² u_j² by derivatives of the model";
        let (label, value) = ("Standard uncertainty to second order", one(second.standard));
        steps.push(Step::worked(label, "u_2", formula, value, "JCGM 100:2008 clause 5.1.2, note", |p| {
            (p.of(one(gum.standard)).squared() + p.of(more)).sqrt()
        }));
    }
    steps
}
