//! The steps that lead to metrics and to what a check sees.

use super::detection::{Sight, Where};
use super::input::SafetyInput;
use super::output::SafetyOutput;
use crate::quantity::{Quantity, fit, hour, one, percent, second};
use crate::report::Step;
use crate::report::worked::n;

const ANNEX_C: &str = "ISO 26262-5:2018 annex C";

pub(super) fn working(input: &SafetyInput, result: &SafetyOutput) -> Vec<Step> {
    let mut steps = Vec::new();
    for goal in &result.goals {
        let (Some(single), Some(residual), Some(latent)) = (goal.single_point_fit, goal.residual_fit, goal.latent_fit)
        else {
            continue;
        };
        let [all, single, residual, latent] = [goal.rate_fit, single, residual, latent].map(fit);
        let label = |what: &str| format!("{}: {what}", goal.name);
        // A metric of nothing has no digits to redo.
        if let Some(metric) = goal.spfm_percent.filter(|metric| *metric > 1e-6) {
            let formula = "1 − (Σλ_SPF + Σλ_RF)/Σλ";
            steps.push(Step::worked(
                &label("single-point fault metric"),
                "SPFM",
                formula,
                percent(metric),
                ANNEX_C,
                |p| n(1) - (p.of(single) + p.of(residual)) / p.of(all),
            ));
        }
        if let Some(metric) = goal.lfm_percent.filter(|metric| *metric > 1e-6) {
            let left = fit(all.value - single.value - residual.value);
            let formula = "1 − Σλ_L/Σ(λ − λ_SPF − λ_RF)";
            steps.push(Step::worked(&label("latent fault metric"), "LFM", formula, percent(metric), ANNEX_C, |p| {
                n(1) - p.of(latent) / p.of(left)
            }));
        }
        if let (Some(all), Some(dual), Some(common)) = (goal.pmhf_fit, goal.dual_fit, goal.common_cause_fit) {
            let source = "ISO 26262-10:2018 clause 8.3 (from memory); β common practice";
            let parts = [single.value, residual.value, dual, common].map(fit);
            let formula = "Σλ_SPF + Σλ_RF + second failure + λ_cc";
            steps.push(Step::worked(&label("random failures"), "PMHF", formula, fit(all), source, |p| {
                p.of(parts[0]) + p.of(parts[1]) + p.of(parts[2]) + p.of(parts[3])
            }));
        }
    }
    for (check, done) in input.checks.iter().zip(&result.checks) {
        let life = hour(input.life.life_h);
        let label = |what: &str| format!("{}: {what}", check.name);
        if let Some(interval) = check.test_interval_h.filter(|interval| *interval < life.value) {
            let (share, hidden) = (percent(check.test_coverage_percent), hour(done.hidden_h));
            let formula = "C · interval + (1 − C) · life";
            steps.push(Step::worked(&label("a loss stays hidden"), "T_j", formula, hidden, "definition", |p| {
                p.of(share) * p.of(hour(interval)) + (n(1) - p.of(share)) * p.of(life)
            }));
        }
        let Some(sight) = Sight::of(input, check, Where::Anywhere) else { continue };
        let of = |value: f64| Quantity::new(value, check.unit());
        let spread = sight.spread != 1.0;
        for (high, symbol, formula, spreading) in [
            (true, "D⁺", "L + e_A + e_B − k_low + z σ", "f (L − k_low + z σ)"),
            (false, "D⁻", "L + e_A + e_B + k_high + z σ", "f (L + k_high + z σ)"),
        ] {
            let against = if high { -sight.known[0] } else { sight.known[1] };
            let words = if high { "surely seen upwards" } else { "surely seen downwards" };
            let value = of(sight.certain(high));
            if value.value <= 0.0 || !value.value.is_finite() {
                continue;
            }
            let formula = if spread { spreading } else { formula };
            steps.push(Step::worked(&label(words), symbol, formula, value, "definition", |p| {
                let noisy = p.of(one(sight.z)) * p.of(of(sight.noise.unwrap_or(0.0)));
                let limit = p.of(of(sight.limits[usize::from(high)]));
                if spread {
                    return p.of(one(sight.spread)) * (limit + p.of(of(against)) + noisy);
                }
                let errors = p.of(of(sight.errors[0])) + p.of(of(sight.errors[1]));
                limit + errors + p.of(of(against)) + noisy
            }));
        }
        if let Some(latest) = done.latest_s.filter(|_| sight.averaging_s == 0.0 && sight.low_pass_s == 0.0) {
            let formula = "n T + processing";
            steps.push(Step::worked(&label("alarm at the latest"), "t", formula, second(latest), "definition", |p| {
                n(f64::from(sight.in_a_row)) * p.of(second(sight.interval_s)) + p.of(second(sight.processing_s))
            }));
        }
    }
    steps
}
