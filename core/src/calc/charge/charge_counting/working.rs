//! The working of charge counting: every headline as a step that a pocket calculator can redo.

use super::input::{CapacityMethod, ChargeInput};
use super::output::{ChargeMoment, ChargeOutput};
use super::solve::{KNOWN, PERHAPS};
use crate::quantity::{Quantity, Unit, ampere, ampere_hour, hour, one, percent, percent_per_day, volt, year};
use crate::report::Step;
use crate::report::worked::{Term, n};

const CHARGE: &str = "charge balance";

pub(super) fn working(input: &ChargeInput, result: &ChargeOutput) -> Vec<Step> {
    let mut steps = offset(input);
    if let Some(moment) = result.largest.as_ref().or(result.end_of_use.as_ref()) {
        steps.push(sum(moment));
    }
    if let Some(day) = &result.day {
        let charge = Quantity::new(day.worst_ah_per_day, Unit::AmpereHourPerDay);
        let formula = "e Ĉ, worst case of a day of this use";
        steps.push(Step::worked("Charge that a day counts wrong", "q", formula, charge, CHARGE, |p| {
            p.of(percent_per_day(day.worst_percent_per_day)) * p.of(ampere_hour(input.battery.capacity_ah))
        }));
    }
    steps.extend(anchor(input, result));
    steps.extend(health(input, result));
    steps
}

/// What the offset alone counts in a day: the headline of every review.
fn offset(input: &ChargeInput) -> Vec<Step> {
    let (o, d) = (ampere(input.offset_a()), ampere(input.drift_a()));
    let per_day = (o.value + d.value) * input.usage.awake_h;
    let charge = ampere_hour(per_day);
    let share = percent(per_day / input.battery.capacity_ah * 100.0);
    let mut steps =
        vec![Step::worked("Charge that the offset counts in a day", "q_o", "(o + o_d) t_a", charge, CHARGE, |p| {
            (p.of(o) + p.of(d)) * p.of(hour(input.usage.awake_h))
        })];
    steps.push(Step::worked("As state of charge", "e_o", "q_o/Ĉ", share, CHARGE, |p| {
        p.of(charge) / p.of(ampere_hour(input.battery.capacity_ah))
    }));
    steps
}

/// The worst case of a moment as the sum of its sources.
fn sum(moment: &ChargeMoment) -> Step {
    let up = moment.high_percent >= -moment.low_percent;
    let size = percent(if up { moment.high_percent } else { -moment.low_percent });
    let known = percent(if up { moment.known_percent } else { -moment.known_percent });
    let others: Vec<Quantity> = moment
        .sources
        .iter()
        .filter(|one| one.kind != KNOWN && one.kind != PERHAPS)
        .map(|one| percent(one.error_percent))
        .collect();
    // What may be there or not: what is left of the printed end.
    let perhaps = percent(size.value - known.value - others.iter().map(|one| one.value).sum::<f64>());
    let formula = "known + Σ |limit| + 3 u, of the sources in the table";
    Step::worked("Worst case, larger end", "e", formula, size, CHARGE, |p| {
        let mut terms: Vec<Term> = Vec::new();
        if known.value != 0.0 {
            terms.push(p.of(known));
        }
        terms.extend(others.iter().map(|one| p.of(*one)));
        if perhaps.value.abs() > 1e-12 * size.value {
            terms.push(p.of(perhaps));
        }
        if terms.is_empty() { p.of(percent(0.0)) } else { Term::sum(terms) }
    })
}

fn anchor(input: &ChargeInput, result: &ChargeOutput) -> Vec<Step> {
    let Some(anchor) = &result.anchor else { return Vec::new() };
    let given = &input.anchor;
    let mut steps = Vec::new();
    if let Some(relax) = given.relax_v {
        let lag = volt(anchor.lag_v);
        let formula = "U_r exp(−t/τ) + U_h/2, where it may follow";
        if anchor.lag_v > 0.0 {
            steps.push(Step::worked("Not yet rested", "U_l", formula, lag, "exponential relaxation", |p| {
                let ratio = p.of(Quantity::new(given.rest_s, Unit::Second))
                    / p.of(Quantity::new(given.relax_tau_s, Unit::Second));
                p.of(volt(relax)) * (-ratio).exp() + p.of(volt(given.hysteresis_v)) / n(2.0)
            }));
        }
    }
    if let (Some(top), Some(size)) = (anchor.top_percent, anchor.worst_percent) {
        let drift = percent((top - size) * given.weight);
        steps.push(Step::worked("After many anchors", "e_top", "a + D/K", percent(top), "geometric series", |p| {
            p.of(percent(size)) + p.of(drift) / p.of(one(given.weight))
        }));
    }
    steps
}

fn health(input: &ChargeInput, result: &ChargeOutput) -> Vec<Step> {
    let mut steps = Vec::new();
    if let Some(found) = &result.capacity {
        let (charge, swing) = (percent(found.charge_percent), percent(found.swing_standard_percent));
        let formula = "√((u_Q/ΔQ)² + (u_ΔS/ΔS)²)";
        let source = "JCGM 100:2008 clause 5.2";
        steps.push(Step::worked(
            "Capacity, standard",
            "u_C/C",
            formula,
            percent(found.standard_percent),
            source,
            |p| (p.of(charge).squared() + (p.of(swing) / p.of(percent(found.swing_percent))).squared()).sqrt(),
        ));
        if input.capacity.method != CapacityMethod::Typed {
            let charge = ampere_hour(found.charge_ah);
            steps.push(Step::worked("Charge between the anchors", "ΔQ", "ΔS Ĉ", charge, CHARGE, |p| {
                p.of(percent(found.swing_percent)) * p.of(ampere_hour(input.battery.capacity_ah))
            }));
        }
    }
    if let (Some(step), Some(step_a), Some(resistance)) =
        (&result.resistance, input.resistance.step_a, input.resistance.resistance_ohm)
    {
        steps.push(Step::worked("Step of the voltage", "ΔV", "R ΔI", volt(step.step_v), "Ohm's law", |p| {
            p.of(Quantity::new(resistance, Unit::Ohm)) * p.of(ampere(step_a))
        }));
    }
    if let Some((trend, (count, standard))) =
        result.trend.as_ref().and_then(|trend| Some((trend, trend.estimates.zip(trend.standard_percent)?)))
    {
        let formula = "√(u_r² 12(n − 1)/(n(n + 1)) + u_d²)";
        let (each, drift) = (percent(input.trend.estimate_percent), percent(trend.drift_percent));
        let source = "variance of the end of a fitted line";
        steps.push(Step::worked("Loss, standard", "u_L", formula, percent(standard), source, |p| {
            let line = n(12.0) * (p.of(one(count)) - n(1.0)) / (p.of(one(count)) * (p.of(one(count)) + n(1.0)));
            (p.of(each).squared() * line + p.of(drift).squared()).sqrt()
        }));
        if let Some((years, hours)) = trend.after_years.zip(input.horizon_h()) {
            let (after, source) = (year(years), "one estimate at every anchor, not before the loss is there");
            steps.push(Step::worked("Proven after", "t", "max(n t_a, years of the loss)", after, source, |p| {
                Term::largest(&[p.of(one(count)) * p.of(hour(hours)), p.of(year(input.trend.years))])
            }));
        }
    }
    steps
}
