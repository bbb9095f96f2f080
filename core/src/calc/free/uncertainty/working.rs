//! The steps that lead to the totals of a free model.

use super::input::{Form, FreeInput};
use super::output::FreeOutput;
use crate::propagation::Contribution;
use crate::quantity::one;
use crate::report::Step;

pub(super) fn working(input: &FreeInput, output: &FreeOutput) -> Vec<Step> {
    let done = &output.assessment;
    let model = match input.form {
        Form::Sum => "Σ c x",
        Form::Product => "Π x^p",
        Form::Products => "Σ s Π x^p",
    };
    let count = format!("{} inputs", input.inputs.len());
    let practice = "common practice, no source";
    let mut steps =
        vec![Step::new("Output at the estimates", "y", model, count, one(done.value), "the model as entered")];
    let limits = done.contributions.iter().filter(|term| !term.joined);
    let mut sums: Vec<String> = limits.map(|term| one(term.contribution).to_string()).collect();
    if let Some(line) = &done.joined {
        let numbers = format!("{} · {}", one(line.k), one(line.standard));
        let (label, value) = ("Normal inputs, joined", one(line.contribution));
        steps.push(Step::new(label, "k_w u_N", "k_w √(Σ (c_i u_i)²)", numbers, value, practice));
        sums.push(value.to_string());
    }
    let sum = one(done.worst_case.sum_of_limits);
    steps.push(Step::new("Sum of limits", "E", "Σ |c_i| a_i + k_w u_N", sums.join(" + "), sum, practice));
    let term = |term: &Contribution| format!("({} · {})²", one(term.sensitivity), one(term.standard));
    let terms: Vec<String> = done.contributions.iter().map(term).collect();
    let with = if input.correlations.is_empty() { "" } else { " + correlation terms" };
    let (root, standard) = ("√(Σ (c_i u_i)² + 2 Σ c_i c_j r_ij u_i u_j)", format!("√({}{with})", terms.join(" + ")));
    let (label, value) = ("Combined standard uncertainty", one(done.gum.standard));
    steps.push(Step::new(label, "u_c", root, standard, value, "JCGM 100:2008 clause 5.2.2"));
    let gum = &done.gum;
    if let Some((degrees, cut)) = gum.degrees_of_freedom.zip(gum.degrees_of_freedom_used) {
        let (label, numbers) = ("Degrees of freedom for k", format!("{} cut to a whole number", one(degrees)));
        steps.push(Step::new(
            label,
            "ν",
            "⌊u_c⁴/Σ (u_i⁴/ν_i)⌋",
            numbers,
            one(cut),
            "JCGM 100:2008 clause G.4.1, H.1.6",
        ));
    }
    let expanded = format!("{} · {}", one(gum.k), one(gum.standard));
    let (value, source) = (one(gum.expanded), "JCGM 100:2008 clause 6, G.4");
    steps.push(Step::new("Expanded uncertainty", "U", "k u_c", expanded, value, source));
    if let Some(second) = &output.second_order {
        let formula = "√(u_c² + Σ Σ (½ f_ij² + f_i f_ijj) u_i² u_j²)";
        let numbers = "derivatives of the model at the estimates".into();
        let (label, value) = ("Standard uncertainty to second order", one(second.standard));
        steps.push(Step::new(label, "u_2", formula, numbers, value, "JCGM 100:2008 clause 5.1.2, note"));
    }
    steps
}
