//! The steps that lead to acceptance limits and probabilities.

use super::input::{ConformityInput, Guard};
use super::output::ConformityOutput;
use crate::quantity::{one, percent};
use crate::report::Step;
use crate::report::worked::{Term, n};

pub(super) fn working(input: &ConformityInput, result: &ConformityOutput) -> Vec<Step> {
    let (u, decision) = (one(input.standard), &input.decision);
    let clause = "JCGM 106:2012 clause 8.3";
    let expanded = one(result.expanded);
    let mut steps = vec![Step::worked("Expanded uncertainty", "U", "k u", expanded, "JCGM 100:2008 clause 6.2", |p| {
        p.of(one(decision.coverage_factor)) * p.of(u)
    })];
    let formula = match decision.guard {
        Guard::None => "0",
        Guard::Multiple => "|r U|",
        Guard::Risk => "|u z_(1−α)|, z = Φ⁻¹",
        Guard::Width => "|w|",
    };
    let size = one(result.guard_band.abs());
    steps.push(Step::worked("Guard band", "w", formula, size, clause, |p| match decision.guard {
        Guard::None => n(0),
        Guard::Multiple => (p.of(one(decision.multiple)) * p.of(expanded)).abs(),
        Guard::Risk => (p.of(u) * (n(1) - p.of(percent(decision.risk_percent))).quantile()).abs(),
        Guard::Width => p.of(one(decision.width)).abs(),
    }));
    let tolerance = input.tolerance();
    let outside = result.guard_band < 0.0;
    let [inwards, outwards] = if outside { ["−", "+"] } else { ["+", "−"] };
    let moved = |limit: Term, up: bool, by: Term| if up { limit + by } else { limit - by };
    if let Some((limit, accepted)) = tolerance.lower.map(one).zip(result.acceptance_lower.map(one)) {
        let formula = format!("T_L {inwards} w");
        steps.push(Step::worked("Lower acceptance limit", "A_L", &formula, accepted, clause, |p| {
            moved(p.of(limit), !outside, p.of(size))
        }));
    }
    if let Some((limit, accepted)) = tolerance.upper.map(one).zip(result.acceptance_upper.map(one)) {
        let formula = format!("T_U {outwards} w");
        steps.push(Step::worked("Upper acceptance limit", "A_U", &formula, accepted, clause, |p| {
            moved(p.of(limit), outside, p.of(size))
        }));
    }
    if let (Some(value), Some(measured)) = (input.measured, &result.measured) {
        let known = input.known(value);
        if let Some(process) = input.process() {
            let (formula, source) = ("(y/u² + μ/s²)/(1/u² + 1/s²)", "JCGM 106:2012 clause 7.2");
            steps.push(Step::worked("What is known of the unit", "y′", formula, one(known.mean), source, |p| {
                let [mine, its] = [input.standard, process.standard].map(one);
                let sum = p.of(one(value)) / p.of(mine).squared() + p.of(one(process.mean)) / p.of(its).squared();
                sum / (n(1) / p.of(mine).squared() + n(1) / p.of(its).squared())
            }));
        }
        let (y, u) = (one(known.mean), one(known.standard));
        let formula = match (tolerance.lower, tolerance.upper) {
            (Some(_), Some(_)) => "Φ((T_U − y)/u) − Φ((T_L − y)/u)",
            (Some(_), None) => "1 − Φ((T_L − y)/u)",
            (None, Some(_)) => "Φ((T_U − y)/u)",
            (None, None) => "1",
        };
        let (label, value) = ("Probability of conformity", percent(measured.conformity_percent));
        // A difference of two that are alike to the last digits is no number to redo.
        let told = measured.conformity_percent > 1e-9;
        steps.extend(told.then(|| {
            Step::worked(label, "p_c", formula, value, "JCGM 106:2012 clause 7.3", |p| {
                let below = |limit: f64| ((p.of(one(limit)) - p.of(y)) / p.of(u)).normal();
                match (tolerance.lower, tolerance.upper) {
                    (Some(lower), Some(upper)) => below(upper) - below(lower),
                    (Some(lower), None) => n(1) - below(lower),
                    (None, Some(upper)) => below(upper),
                    (None, None) => n(1),
                }
            })
        }));
    }
    if let Some(lot) = &result.lot {
        let source = "JCGM 106:2012 clause 9.5, integrated here";
        let both = percent(lot.accepted_percent - lot.consumer_risk_percent);
        let risk = |label: &str, symbol: &str, formula: &str, all: f64, risk: f64| {
            Step::worked(label, symbol, formula, percent(risk), source, |p| p.of(percent(all)) - p.of(both))
        };
        let consumer = "P(accepted) − P(accepted and in tolerance): ∫ outside T of g(η) P(accepted | η) dη";
        let producer = "P(in tolerance) − P(accepted and in tolerance): ∫ inside T of g(η) P(refused | η) dη";
        for (label, symbol, formula, all, amount) in [
            ("Consumer's risk", "R_C", consumer, lot.accepted_percent, lot.consumer_risk_percent),
            ("Producer's risk", "R_P", producer, lot.conforming_percent, lot.producer_risk_percent),
        ] {
            // A difference of two numbers with all their digits alike shows nothing.
            if amount > 1e-12 * all {
                steps.push(risk(label, symbol, formula, all, amount));
            }
        }
    }
    steps
}
