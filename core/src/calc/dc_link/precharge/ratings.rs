//! What is required of the pre-charge resistor.
//!
//! A rating that is not given is one row that is not judged, not one for each state that would need it.

use super::input::{PrechargeInput, at_pack};
use super::output::PrechargeOutput;
use crate::judge::{Judged, Ledger, Limit, Sense, Words};
use crate::quantity::{Unit, celsius, joule, percent, second, volt, watt};

const PULSE: &str = "/resistor/pulse_j";
const POWER: &str = "/resistor/power_w";
const LIMIT: &str = "/resistor/limit_degc";

pub(super) fn requirements(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    pulse(input, result, to);
    power(input, result, to);
    warm(input, result, to);
    temperature(input, result, to);
}

/// One attempt from the ambient temperature.
fn pulse(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    let (energy, short) = (result.attempt.energy_j, result.short.energy_j);
    let limit = input.resistor.pulse_j.map_or(Limit::Missing(PULSE), Limit::Given);
    to.require(Judged::at_most("precharge.resistor-pulse", PULSE, Unit::Joule, energy, limit), |_| {
        let rated = joule(input.resistor.pulse_j.unwrap_or(0.0));
        let until = if result.attempt.length_s < input.max_time_s { "to the target" } else { "to the time-out" };
        let failure = format!(
            "One attempt puts {} in the resistor, {}; it is rated {rated}.",
            joule(energy),
            at_pack(result.attempt.pack_v)
        );
        let begins_v = result.attempt.start_v;
        // What draws has taken the link down since the first one.
        let which = if begins_v < input.start_v {
            format!("a later attempt, from {}", volt(begins_v))
        } else {
            "one attempt".into()
        };
        Words::new("Energy in the resistor", format!("{which}, {until}, from the ambient"), failure)
    });
    let Some(rated) = input.resistor.pulse_j else { return };
    to.require(Judged::at_most("precharge.short-energy", PULSE, Unit::Joule, short, rated), |_| {
        let allowed = result.short.allowed_s.unwrap_or(0.0);
        let needs = result.slowest.charge.time_s.filter(|needs| *needs > allowed);
        let way = match (result.short.until_check_j, needs) {
            (Some(until), _) if until <= rated => {
                format!("until the early check it is {}, where that stops the attempt", joule(until))
            }
            (Some(until), _) => format!("until the early check it is {} already", joule(until)),
            (None, Some(needs)) => {
                let [allowed, needs] = [allowed, needs].map(second);
                format!("a time-out of {allowed} would keep the rating, but the link needs {needs} to the target")
            }
            (None, None) => format!("a time-out of {} keeps the rating", second(allowed)),
        };
        let failure = format!(
            "A shorted link puts {} in the resistor until the time-out of {}; it is rated {}: {way}.",
            joule(short),
            second(input.max_time_s),
            joule(rated)
        );
        Words::new("Energy in the resistor, link shorted", "until the time-out, from the ambient", failure)
    });
}

/// The mean power, and that of a stall.
fn power(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    let repeated = &result.repeated;
    let limit = input.resistor.power_w.map_or(Limit::Missing(POWER), Limit::Given);
    let mut row = |id: &'static str, achieved: f64, label: &str, note: String, what: &str| {
        to.require(Judged::at_most(id, POWER, Unit::Watt, achieved, limit), |_| {
            let rated = watt(input.resistor.power_w.unwrap_or(0.0));
            let failure = format!("The resistor loses {} {what}; it is rated {rated}.", watt(achieved));
            Words::new(label, note, failure)
        });
    };
    let attempts = repeated.attempts;
    let note = format!("during a series of {attempts} attempts");
    row("precharge.resistor-power", repeated.series_w, "Mean power of the resistor", note, "in the mean of a series");
    if limit == Limit::Missing(POWER) {
        return;
    }
    let (label, what) = ("Mean power of the resistor, link shorted", "in the mean of a series against a shorted link");
    let note = format!("during a series of {attempts} attempts to the time-out");
    row("precharge.short-power", repeated.short_w, label, note, what);
    if let Some(place) = &result.stall {
        let note = format!("at {}, {}", volt(place.charge.settle_v), at_pack(place.pack_v));
        let (label, what) = ("Power of the resistor where the link stalls", "for as long as the link stalls");
        row("precharge.stall-power", place.charge.settle_power_w, label, note, what);
    }
}

/// Attempts that begin warm. The bound of the two ratings is no failure: where it passes, heat data must tell.
fn warm(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    let (resistor, repeated) = (&input.resistor, &result.repeated);
    let exact = repeated.body_degc.is_some();
    for (id, share, label, what) in [
        ("precharge.warm-pulse", repeated.warm_percent, "Heat in the resistor, attempt after attempt", ""),
        (
            "precharge.warm-short",
            repeated.short_warm_percent,
            "Heat in the resistor, attempt after attempt, link shorted",
            " against a shorted link",
        ),
    ] {
        let Some(share) = share else { continue };
        let missing = if resistor.heat_j_per_k.is_none() { "/resistor/heat_j_per_k" } else { "/resistor/k_per_w" };
        let limit = if exact || share <= 100.0 { Limit::Given(100.0) } else { Limit::Missing(missing) };
        to.require(Judged::at_most(id, PULSE, Unit::Percent, share, limit), |_| {
            let failure = format!(
                "Series after series{what} leaves {} of the rated pulse in the resistor: the rating holds from the ambient temperature only. Wait longer, or take one that is rated for more or cools faster.",
                percent(share)
            );
            let note = if exact { "of the rated pulse" } else { "bound by rated pulse and rated power together" };
            Words::new(label, note, failure)
        });
    }
}

fn temperature(input: &PrechargeInput, result: &PrechargeOutput, to: &mut Ledger) {
    let (resistor, repeated) = (&input.resistor, &result.repeated);
    let Some(limit) = resistor.limit_degc else {
        if let Some(body) = repeated.body_degc {
            let sense = Sense::RiseFrom(resistor.ambient_degc);
            let held = Limit::Missing(LIMIT);
            let one = Judged::new("precharge.temperature", LIMIT, Unit::Celsius, sense, Some(body), held);
            to.require(one, |_| Words::new("Temperature of the resistor", "highest, series after series", ""));
        }
        return;
    };
    let missing = if resistor.k_per_w.is_none() { "/resistor/k_per_w" } else { "/resistor/heat_j_per_k" };
    // The mean is a lower bound: a mean that is too hot fails whatever the heat capacity is.
    let too_hot = repeated.mean_degc.filter(|mean| *mean > limit);
    for (id, body, label, what) in [
        ("precharge.temperature", repeated.body_degc.or(too_hot), "Temperature of the resistor", ""),
        (
            "precharge.short-temperature",
            repeated.short_degc,
            "Temperature of the resistor, link shorted",
            " against a shorted link",
        ),
    ] {
        if body.is_none() && id != "precharge.temperature" {
            continue;
        }
        let sense = Sense::RiseFrom(resistor.ambient_degc);
        let held = if body.is_some() { Limit::Given(limit) } else { Limit::Missing(missing) };
        to.require(Judged::new(id, LIMIT, Unit::Celsius, sense, body, held), |_| {
            let body = celsius(body.unwrap_or(resistor.ambient_degc));
            let failure = format!("The resistor comes to {body}{what}; {} is its limit.", celsius(limit));
            Words::new(label, "highest, series after series", failure)
        });
    }
}
