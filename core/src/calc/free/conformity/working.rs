//! The steps that lead to acceptance limits and probabilities.

use super::input::{ConformityInput, Guard};
use super::output::ConformityOutput;
use crate::quantity::{Quantity, Unit, one, percent, say_among};
use crate::report::Step;

pub(super) fn working(input: &ConformityInput, result: &ConformityOutput) -> Vec<Step> {
    let said = |value: f64| say_among(value, Unit::One, input.standard);
    let (u, decision) = (one(input.standard), &input.decision);
    let clause = "JCGM 106:2012 clause 8.3";
    let numbers = format!("{} · {u}", one(decision.coverage_factor));
    let mut steps =
        vec![Step::new("Expanded uncertainty", "U", "k u", numbers, one(result.expanded), "JCGM 100:2008 clause 6.2")];
    let (formula, numbers) = match decision.guard {
        Guard::None => ("0", "0".into()),
        Guard::Multiple => ("r U", format!("{} · {}", one(decision.multiple), one(result.expanded))),
        Guard::Risk => ("u z_(1−α)", format!("{u} · z_(1 − {})", percent(decision.risk_percent))),
        Guard::Width => ("w", one(decision.width).to_string()),
    };
    let size = one(result.guard_band.abs());
    steps.push(Step::new("Guard band", "w", formula, numbers, size, clause));
    let tolerance = input.tolerance();
    let [inwards, outwards] = if result.guard_band < 0.0 { ["−", "+"] } else { ["+", "−"] };
    if let Some((limit, accepted)) = tolerance.lower.zip(result.acceptance_lower) {
        let (formula, numbers) = (format!("T_L {inwards} w"), format!("{} {inwards} {size}", said(limit)));
        let value = Quantity::new(accepted, Unit::One);
        steps.push(Step::new("Lower acceptance limit", "A_L", &formula, numbers, value, clause));
    }
    if let Some((limit, accepted)) = tolerance.upper.zip(result.acceptance_upper) {
        let (formula, numbers) = (format!("T_U {outwards} w"), format!("{} {outwards} {size}", said(limit)));
        let value = Quantity::new(accepted, Unit::One);
        steps.push(Step::new("Upper acceptance limit", "A_U", &formula, numbers, value, clause));
    }
    if let (Some(value), Some(measured)) = (input.measured, &result.measured) {
        let known = input.known(value);
        if input.process().is_some() {
            let numbers = format!("of {} ± {u} and the process", said(value));
            let (formula, value) = ("(y/u² + μ/s²)/(1/u² + 1/s²)", Quantity::new(known.mean, Unit::One));
            steps.push(Step::new(
                "What is known of the unit",
                "y′",
                formula,
                numbers,
                value,
                "JCGM 106:2012 clause 7.2",
            ));
        }
        let (y, u) = (said(known.mean), one(known.standard));
        let term = |limit: f64| format!("Φ(({} − {y})/{u})", said(limit));
        let (formula, numbers) = match (tolerance.lower, tolerance.upper) {
            (Some(lower), Some(upper)) => {
                ("Φ((T_U − y)/u) − Φ((T_L − y)/u)", format!("{} − {}", term(upper), term(lower)))
            }
            (Some(lower), None) => ("1 − Φ((T_L − y)/u)", format!("1 − {}", term(lower))),
            (None, Some(upper)) => ("Φ((T_U − y)/u)", term(upper)),
            (None, None) => ("1", "1".into()),
        };
        let (label, value) = ("Probability of conformity", percent(measured.conformity_percent));
        steps.push(Step::new(label, "p_c", formula, numbers, value, "JCGM 106:2012 clause 7.3"));
    }
    if let Some(lot) = &result.lot {
        let source = "JCGM 106:2012 clause 9.5, integrated here";
        let numbers = "integral over the process".to_owned();
        let (consumer, producer) = (percent(lot.consumer_risk_percent), percent(lot.producer_risk_percent));
        let formula = "∫ outside T of g(η) P(accepted | η) dη";
        steps.push(Step::new("Consumer's risk", "R_C", formula, numbers.clone(), consumer, source));
        let formula = "∫ inside T of g(η) P(refused | η) dη";
        steps.push(Step::new("Producer's risk", "R_P", formula, numbers, producer, source));
    }
    steps
}
