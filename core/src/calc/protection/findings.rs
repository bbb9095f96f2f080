//! What an engineer must know about a threshold.

use super::ThresholdOutput;
use super::window::Terms;
use crate::quantity::{Unit, say, say_among};
use crate::report::{Finding, Severity};

pub(super) fn findings(terms: &Terms, result: &ThresholdOutput) -> Vec<Finding> {
    let mut findings = sides(terms, result);
    findings.extend(probability(terms, result));
    findings.extend(hysteresis(terms, result));
    if let Some(sag) = result.sag.filter(|sag| sag.fixed_trips_in_operation) {
        findings.push(
            Finding::new(
                Severity::Warn,
                "protection.sag-trips",
                format!(
                    "Under load the voltage sags by {}: a threshold that stays at {} trips a cell that has {} at rest. Let the limit follow the current, or delay it.",
                    say(sag.sag_v, Unit::Volt),
                    terms.say(sag.at_rest_v),
                    terms.say(sag.fixed_trips_at_v)
                ),
            )
            .at("/sag_current_a"),
        );
    }
    findings
}

/// The two smallest changes that are each enough, in a sentence; nothing when none is. Keeping fewer sigma only moves the
/// fault to the nuisance trips.
pub(super) fn way_out(result: &ThresholdOutput) -> Option<String> {
    let ways: Vec<String> = result
        .levers
        .iter()
        .filter(|lever| lever.id != "noise_sigma")
        .filter_map(|lever| {
            let enough_at = lever.enough_at?;
            let digits = |value: f64| say_among(value, lever.unit, (enough_at - lever.value) * 10.0);
            let label = crate::quantity::in_sentence(&lever.label);
            Some(format!("{label} {} instead of {}", digits(enough_at), digits(lever.value)))
        })
        .take(2)
        .collect();
    (!ways.is_empty()).then(|| ways.join(", or "))
}

fn sides(terms: &Terms, result: &ThresholdOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if !result.has_room {
        let way = way_out(result)
            .map_or_else(|| " No single change is enough.".into(), |way| format!(" Enough alone: {way}."));
        findings.push(
            Finding::new(
                Severity::Fail,
                "protection.no-room",
                format!(
                    "No value works: it must lie above {} and below {}, short by {}.{way}",
                    terms.say(result.low_edge),
                    terms.say(result.high_edge),
                    terms.say_difference(-result.width)
                ),
            )
            .at(&terms.at("hazard"))
            .against(result.consumed.total, result.available),
        );
    }
    if !result.judged.given {
        return findings;
    }
    let judged = &result.judged;
    let below = judged.threshold < result.low_edge;
    let above = judged.threshold > result.high_edge;
    for (outside, code, edge, side_is_harm) in [
        (below, "protection.threshold-below-window", result.low_edge, !terms.over),
        (above, "protection.threshold-above-window", result.high_edge, terms.over),
    ] {
        if !outside {
            continue;
        }
        let what = if side_is_harm {
            "it may trip only after the hazard is reached"
        } else {
            "it may trip in allowed operation"
        };
        findings.push(
            Finding::new(
                Severity::Fail,
                code,
                format!(
                    "The threshold of {} lies {} {} by {}: {what}.",
                    terms.say(judged.threshold),
                    if below { "below" } else { "above" },
                    terms.say(edge),
                    terms.say_difference((judged.threshold - edge).abs())
                ),
            )
            .at(&terms.at("threshold"))
            .against(judged.threshold, edge),
        );
    }
    findings
}

fn probability(terms: &Terms, result: &ThresholdOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let judged = &result.judged;
    if terms.method.is_statistical() {
        findings.push(
            Finding::new(
                Severity::Warn,
                "protection.statistical-error-used",
                format!(
                    "The error is a statistical total ({}): the room is no proof. At {} the chance of a missed trip is {}.",
                    crate::quantity::in_sentence(terms.method.label()),
                    terms.say(judged.threshold),
                    say(judged.missed_probability, Unit::One)
                ),
            )
            .at("/error_method"),
        );
    }
    // Without noise it is the error that trips, and the room says so.
    let slow = judged.crossings_per_hour.filter(|_| judged.samples_correlated);
    let rate = slow.unwrap_or(judged.nuisance_per_hour);
    // Where the error reaches past the threshold, it is the error that trips, and the sides say so.
    let by_noise = judged.noise_sigma.is_none_or(|sigma| sigma >= 0.0);
    if terms.noise > 0.0 && by_noise && rate > terms.allowed_nuisance_per_hour {
        let how = if slow.is_some() {
            "the noise is slower than the samples, so that its crossings count.".into()
        } else {
            format!(
                "each sample passes with a probability of {}, {} in a row trip.",
                say(judged.nuisance_per_sample, Unit::One),
                terms.in_a_row
            )
        };
        findings.push(
            Finding::new(
                Severity::Warn,
                "protection.nuisance-rate-high",
                format!(
                    "At the normal extreme noise alone trips {} times an hour, {} are allowed: {how}",
                    say(rate, Unit::One),
                    say(terms.allowed_nuisance_per_hour, Unit::One),
                ),
            )
            .at("/allowed_nuisance_per_hour")
            .against(rate, terms.allowed_nuisance_per_hour),
        );
    }
    let single = super::risk::nuisance_per_hour(judged.nuisance_per_sample, 1, terms.sample_hz);
    if slow.is_none()
        && single > terms.allowed_nuisance_per_hour
        && judged.nuisance_per_hour <= terms.allowed_nuisance_per_hour
    {
        findings.push(
            Finding::new(
                Severity::Note,
                "protection.samples-independent",
                format!(
                    "Only the {} samples in a row keep the nuisance trips down, single ones would trip {} times an hour. Behind a filter slower than the samples, rows help less: they are taken as independent.",
                    terms.in_a_row,
                    say(single, Unit::One)
                ),
            )
            .at("/samples_in_a_row"),
        );
    }
    findings
}

fn hysteresis(terms: &Terms, result: &ThresholdOutput) -> Vec<Finding> {
    let release = &result.release;
    let (Some(given), Some(value)) = (terms.hysteresis, release.value) else { return Vec::new() };
    let at = terms.at_difference("hysteresis");
    let mut findings = Vec::new();
    if given > release.most_hysteresis {
        findings.push(
            Finding::new(
                Severity::Warn,
                "protection.hysteresis-too-large",
                if release.most_hysteresis > 0.0 {
                    format!(
                        "Released at {}: with the error at its limit the function may stay tripped at the normal extreme of {}. At most {} are released there.",
                        terms.say(value),
                        terms.say(terms.normal),
                        terms.say_difference(release.most_hysteresis)
                    )
                } else {
                    format!(
                        "Released at {}: the threshold is so near to the normal extreme of {} that no hysteresis is released there with the error at its limit.",
                        terms.say(value),
                        terms.say(terms.normal)
                    )
                },
            )
            .at(&at)
            .against(given, release.most_hysteresis),
        );
    }
    if given < release.least_hysteresis {
        findings.push(
            Finding::new(
                Severity::Warn,
                "protection.hysteresis-too-small",
                format!(
                    "A hysteresis of {} is bridged by noise, ±{} kept: the function chatters. At least {}.",
                    terms.say_difference(given),
                    terms.say_difference(release.least_hysteresis / 2.0),
                    terms.say_difference(release.least_hysteresis)
                ),
            )
            .at(&at),
        );
    }
    findings
}
