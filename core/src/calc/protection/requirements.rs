//! What is required of a threshold, and what an engineer must know about it.

use super::{ThresholdLever, Window, lever, risk};
use crate::judge::{Judged, Ledger, Words, passes};
use crate::quantity::{in_sentence, one, say_among, volt};
use crate::report::{Finding, Severity};

/// The two smallest changes that are each enough, in a sentence; nothing when none is. Keeping fewer sigma only moves the
/// fault to the nuisance trips.
pub(super) fn way_out(levers: &[ThresholdLever]) -> Option<String> {
    let way = |lever: &ThresholdLever| {
        let enough_at = lever.enough_at?;
        let digits = |value: f64| say_among(value, lever.unit, (enough_at - lever.value) * 10.0);
        Some(format!("{} {} instead of {}", in_sentence(&lever.label), digits(enough_at), digits(lever.value)))
    };
    let ways: Vec<String> = levers.iter().filter(|lever| lever.id != "noise_sigma").filter_map(way).take(2).collect();
    (!ways.is_empty()).then(|| ways.join(", or "))
}

pub(super) fn requirements(window: &Window, to: &mut Ledger) {
    let (terms, (low, high)) = (&window.terms, window.edges());
    to.require(window.room(), |_| {
        let note = format!("{}: errors, noise and reaction against the distance from normal to hazard", terms.name);
        let way = way_out(&lever::levers(window))
            .map_or_else(|| " No single change is enough.".into(), |way| format!(" Enough alone: {way}."));
        let (low, high, short) = (terms.say(low), terms.say(high), terms.say_difference(-window.width));
        let failure = format!("No value works: it must lie above {low} and below {high}, short by {short}.{way}");
        Words::new("Room for the threshold", note, failure)
    });
    if let Some(threshold) = terms.threshold {
        let outside = |edge: f64, what: &str| {
            let side = if threshold < edge { "below" } else { "above" };
            let by = terms.say_difference((threshold - edge).abs());
            format!("The threshold of {} lies {side} {} by {by}: {what}.", terms.say(threshold), terms.say(edge))
        };
        to.require(window.nuisance(), |_| {
            let failure = outside(window.nuisance_edge, "it may trip in allowed operation");
            let note = "error and noise against the distance from normal to threshold";
            Words::new("No trip in allowed operation", note, failure)
        });
        to.require(window.harm(), |_| {
            let failure = outside(window.harm_edge, "it may trip only after the hazard is reached");
            let note = "error and reaction against the distance from threshold to hazard";
            Words::new("Trip before the hazard", note, failure)
        });
    }
    if let Some(end) = terms.reads_to {
        let threshold = window.threshold();
        let beyond = Judged::never("protection.beyond-range", terms.at().threshold, passes(threshold, end));
        to.require(beyond, |_| {
            let (threshold, end) = (terms.say(threshold), terms.say(end));
            let failure =
                format!("The threshold of {threshold} is beyond what its channel reads, {end}: it never trips.");
            let note = format!("{threshold}; the channel reads up to {end}");
            Words::new("Threshold inside the range of its channel", note, failure)
        });
    }
    probability(window, to);
    hysteresis(window, to);
    if let Some(sag) = window.sag() {
        to.warn("protection.sag-trips", "/sag_current_a", sag.fixed_trips_in_operation, || {
            format!(
                "Under load the voltage sags by {}: a threshold that stays at {} trips a cell that has {} at rest. Let the limit follow the current, or delay it.",
                volt(sag.sag_v),
                terms.say(sag.at_rest_v),
                terms.say(sag.fixed_trips_at_v)
            )
        });
    }
    to.note("protection.sag-not-used", "/sag_resistance_ohm", terms.over && terms.sag_ohm.is_some(), || {
        "The resistance under load is for an under-voltage and is not used here.".into()
    });
}

fn probability(window: &Window, to: &mut Ledger) {
    let (terms, judged) = (&window.terms, window.judge(window.threshold()));
    let (allowed, n) = (terms.allowed_nuisance_per_hour, terms.in_a_row);
    to.warn("protection.statistical-error-used", "/error_method", terms.method.is_statistical(), || {
        format!(
            "The error is a statistical total ({}): the room is no proof. At {} the chance of a missed trip is {}.",
            in_sentence(terms.method.label()),
            terms.say(judged.threshold),
            one(judged.missed_probability)
        )
    });
    // Without noise it is the error that trips, and the room says so.
    let slow = judged.crossings_per_hour.filter(|_| judged.samples_correlated);
    let rate = slow.unwrap_or(judged.nuisance_per_hour);
    // Where the error reaches past the threshold, it is the error that trips, and the sides say so.
    let by_noise = judged.noise_sigma.is_none_or(|sigma| sigma >= 0.0);
    if terms.noise > 0.0 && by_noise && rate > allowed {
        to.remark(|| {
            let how = if slow.is_some() {
                "the noise is slower than the samples, so that its crossings count.".into()
            } else {
                let each = one(judged.nuisance_per_sample);
                format!("each sample passes with a probability of {each}, {n} in a row trip.")
            };
            let (trips, limit) = (one(rate), one(allowed));
            let message =
                format!("At the normal extreme noise alone trips {trips} times an hour, {limit} are allowed: {how}");
            let finding = Finding::new(Severity::Warn, "protection.nuisance-rate-high", message);
            finding.at("/allowed_nuisance_per_hour").against(rate, allowed)
        });
    }
    let single = risk::nuisance_per_hour(judged.nuisance_per_sample, 1, terms.sample_hz);
    let by_rows = slow.is_none() && single > allowed && judged.nuisance_per_hour <= allowed;
    to.note("protection.samples-independent", "/samples_in_a_row", by_rows, || {
        format!(
            "Only the {n} samples in a row keep the nuisance trips down, single ones would trip {} times an hour. Behind a filter slower than the samples, rows help less: they are taken as independent.",
            one(single)
        )
    });
}

fn hysteresis(window: &Window, to: &mut Ledger) {
    let (terms, release) = (&window.terms, window.release());
    let (Some(given), Some(value)) = (terms.hysteresis, release.value) else { return };
    let (at, normal) = (terms.at().hysteresis, terms.normal);
    let (least, most) = (release.least_hysteresis, release.most_hysteresis);
    if given > most {
        to.remark(|| {
            let (value, normal, most_released) = (terms.say(value), terms.say(normal), terms.say_difference(most));
            let message = if most > 0.0 {
                format!(
                    "Released at {value}: with the error at its limit the function may stay tripped at the normal extreme of {normal}. At most {most_released} are released there."
                )
            } else {
                format!(
                    "Released at {value}: the threshold is so near to the normal extreme of {normal} that no hysteresis is released there with the error at its limit."
                )
            };
            let finding = Finding::new(Severity::Warn, "protection.hysteresis-too-large", message);
            finding.at(at).against(given, most)
        });
    }
    to.warn("protection.hysteresis-too-small", at, given < least, || {
        let [given, kept, least] = [given, least / 2.0, least].map(|value| terms.say_difference(value));
        format!("A hysteresis of {given} is bridged by noise, ±{kept} kept: the function chatters. At least {least}.")
    });
}
