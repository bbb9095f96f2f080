//! What is required of a threshold, and what an engineer must know about it.

use super::window::{Faults, Terms, UNREAD};
use super::{Autocorrelation, Window, let_through};
use crate::judge::{Judged, Ledger, Limit, Words, passes};
use crate::quantity::{Unit, in_sentence, one, percent};
use crate::report::{Finding, Severity};

pub(super) fn requirements(window: &Window, to: &mut Ledger) {
    let (terms, (low, high)) = (&window.terms, window.edges());
    if !terms.raced {
        to.require(window.room(), |_| {
            let note = format!("{}: errors, noise and reaction against the distance from normal to hazard", terms.name);
            let (low, high, short) = (terms.say(low), terms.say(high), terms.say_difference(-window.width));
            let failure = format!("No value works: it must lie above {low} and below {high}, short by {short}.");
            Words::new("Room for the threshold", note, failure)
        });
    }
    if let Some(threshold) = terms.threshold {
        sides(window, threshold, to);
    }
    if let Some(peak) = window.pack_peak() {
        to.require(peak, |_| {
            let (threshold, peak) = (terms.say(window.threshold()), terms.say(terms.pack_peak.unwrap_or_default()));
            let takes = terms.say_difference(window.consumed.nuisance_side);
            let with = if terms.unit == Unit::Ampere { " with its ripple" } else { "" };
            let failure =
                format!("The pack itself reaches {peak}{with}: error and noise of {takes} reach beyond {threshold}.");
            Words::new("No trip at what the pack itself reaches", format!("the pack reaches {peak}{with}"), failure)
        });
    }
    range(window, to);
    if let Some(faults) = &terms.faults {
        raced(faults, window, to);
        let_through::requirements(faults, window, to);
    }
    remarks(window, to);
    hysteresis(window, to);
    let ignored = terms.over && terms.sag.given();
    to.note("protection.sag-not-used", "/sag_resistance_ohm", ignored, || {
        "The resistance under load is for an under-voltage and is not used here.".into()
    });
}

fn sides(window: &Window, threshold: f64, to: &mut Ledger) {
    let terms = &window.terms;
    let outside = |edge: f64, what: &str| {
        let side = if threshold < edge { "below" } else { "above" };
        let by = terms.say_difference((threshold - edge).abs());
        format!("The threshold of {} lies {side} {} by {by}: {what}.", terms.say(threshold), terms.say(edge))
    };
    to.require(window.nuisance(), |_| {
        let failure = outside(window.nuisance_edge, "it may trip in allowed operation");
        let note = format!(
            "error and noise against the distance from normal to threshold; at most {} trips an hour by noise",
            one(terms.allowed_nuisance_per_hour)
        );
        Words::new("No trip in allowed operation", note, failure)
    });
    if terms.raced {
        return;
    }
    // A threshold that its channel cannot read never trips, in time or otherwise.
    let unread = window.range().fails();
    let harm = window.harm();
    to.require(if unread && !harm.fails() { harm.blocked() } else { harm }, |one| {
        let failure = if one.fails() {
            outside(window.harm_edge, "it may trip only after the hazard is reached")
        } else {
            UNREAD.into()
        };
        let note = format!(
            "error, noise and reaction against the distance from threshold to hazard; late in at most {}",
            percent(terms.missed_share * 100.0)
        );
        Words::new("Trip before the hazard", note, failure)
    });
}

/// What is left to a reaction race: it must be there, and it must judge this threshold, or all that is left to it.
fn raced(faults: &Faults, window: &Window, to: &mut Ledger) {
    let (terms, missing) = (&window.terms, Limit::Missing("/race_threshold_a"));
    if terms.raced {
        let at = terms.at().threshold;
        let own = [window.threshold(), window.threshold() + window.consumed.error_hazard];
        let other = |[race, _]: [f64; 2]| (race - own[0]).abs() > 1e-9 * race;
        // It trips for certain later than the race takes it to, or the race begins with stronger faults than are left to it.
        let later = |[_, certain]: [f64; 2]| passes(own[1], certain);
        let weaker = faults.race_weakest_a.is_some_and(|weakest| passes(weakest, terms.hazard));
        let one = faults.race_a.map_or_else(
            || Judged::at_most("protection.raced", at, terms.unit, None, missing),
            |race| Judged::never("protection.raced", at, other(race) || later(race) || weaker),
        );
        let unknown = faults.race_weakest_a.is_none().then_some("/race_weakest_a");
        to.require(one.without(unknown), |_| {
            let race = faults.race_a.unwrap_or_default();
            let ([run, certain], [this, surely]) = (race.map(|at| terms.say(at)), own.map(|at| terms.say(at)));
            let failure = if other(race) {
                format!("The race is run with a threshold of {run}, and this one is {this}: it judges another one.")
            } else if later(race) {
                format!("This threshold trips for certain from {surely} on, and the race takes it to do so from {certain} on: what lies between is nobody's.")
            } else {
                let [weakest, hazard] = [faults.race_weakest_a.unwrap_or_default(), terms.hazard].map(|at| terms.say(at));
                format!("Faults are left to the race from {hazard} on, and it judges them from {weakest} on: what lies between nobody has judged.")
            };
            let note = "with the same threshold and error, and from the hazard on";
            Words::new("A race judges the side of the hazard", note, failure)
        });
    }
    if let Some(from) = faults.faster_from_a {
        faster(faults, from, terms, to);
    }
}

/// A faster function must be there for every fault that is left to it, and somebody must have judged them.
fn faster(faults: &Faults, from: f64, terms: &Terms, to: &mut Ledger) {
    const ELSEWHERE: &str = "the race is one of faults that the pack feeds, and these feed the pack";
    let (id, at, highest) = ("protection.faster", "/faster_from_a", faults.race_a.map(|[_, highest]| highest));
    let missing = |what| Judged::at_most(id, at, terms.unit, None, Limit::Missing(what));
    let late = highest.is_some_and(|highest| passes(highest, from));
    let left = faults.strongest_a.is_none_or(|strongest| from < strongest);
    let one = match (highest, faults.race_weakest_a) {
        (None, _) => missing("/race_threshold_a"),
        (Some(_), None) if !late && left && faults.fed_by_pack => missing("/race_weakest_a"),
        (Some(_), weakest) => Judged::never(id, at, late || weakest.is_some_and(|weakest| passes(weakest, from))),
    };
    let elsewhere = highest.is_some() && left && !faults.fed_by_pack && !late;
    to.require(if elsewhere { one.blocked() } else { one }, |_| {
        let (judged, from) = (faults.race_weakest_a.unwrap_or_default(), terms.say(from));
        let failure = match highest {
            _ if elsewhere => ELSEWHERE.into(),
            Some(highest) if late => format!(
                "The faster function trips for certain from {} on only, and from {from} on faults are left to it: what lies between is nobody's.",
                terms.say(highest)
            ),
            _ => format!(
                "From {from} on faults are left to the race, and it judges them from {} on: what lies between nobody has judged.",
                terms.say(judged)
            ),
        };
        let note = "its threshold with its error, and the weakest fault that it is judged for";
        Words::new("The faster function takes all that is left to it", note, failure)
    });
}

fn range(window: &Window, to: &mut Ledger) {
    let terms = &window.terms;
    to.require(window.range(), |_| {
        let error = window.consumed.error_normal.max(window.consumed.error_hazard);
        let (low, high) = window.trips_between();
        let (asked, reached) = match terms.reads_to {
            Some(end) if passes(high, end) => (high, terms.reads_to),
            _ => (low, terms.reads_from),
        };
        let (threshold, error) = (terms.say(window.threshold()), terms.say_difference(error));
        let end = |end: Option<f64>, word: &str| end.map(|end| format!("{word} {}", terms.say(end)));
        let ends: Vec<String> =
            [end(terms.reads_from, "from"), end(terms.reads_to, "to")].into_iter().flatten().collect();
        let lowers = if terms.over { 0.0 } else { terms.sag.lowers() };
        let follows = if lowers > 0.0 { format!(", {} less under load", terms.say_difference(lowers)) } else { String::new() };
        let failure = if terms.reads_to == Some(0.0) && terms.unit == Unit::Ampere {
            format!("Its channel reads no current in this direction: the threshold of {threshold} never trips.")
        } else {
            format!(
                "The threshold of {threshold} with its error of {error}{follows} is beyond what its channel reads, {}: it may never trip.",
                ends.join(" ")
            )
        };
        let reads = if ends.is_empty() { "no range given".into() } else { format!("the channel reads {}", ends.join(" ")) };
        let note = format!("{threshold} ± {error}{follows}; {reads}");
        Words::new("Threshold inside the range of its channel", note, failure).reaching(asked, reached, terms.unit)
    });
}

fn remarks(window: &Window, to: &mut Ledger) {
    let terms = &window.terms;
    to.warn("protection.statistical-error-used", "/error_method", terms.method.is_statistical(), || {
        let judged = window.judge(window.threshold());
        format!(
            "The error is a statistical total ({}): the room is no proof. At {} the chance of a missed trip is {}.",
            in_sentence(terms.method.label()),
            terms.say(judged.threshold),
            one(judged.missed_probability)
        )
    });
    let nothing = !terms.raced && window.consumed.reaction == 0.0;
    to.warn("protection.reaction-nothing", terms.at().rate, nothing, || {
        let what = if terms.rate == 0.0 { "With a slope of nothing" } else { "Without any time" };
        format!("{what} the reaction takes nothing of the room: the quantity moves on until it is off.")
    });
    // Where the error reaches past the threshold, it is the error that trips, and the sides say so.
    to.note("protection.samples-independent", "/samples_in_a_row", only_by_rows(window), || {
        format!(
            "Only the {} samples in a row keep the nuisance trips down. Noise behind a filter slower than the samples makes them alike, and rows help less: say how the noise hangs together.",
            terms.in_a_row
        )
    });
}

/// Whether single samples of white noise trip more often than allowed, and rows do not.
fn only_by_rows(window: &Window) -> bool {
    let terms = &window.terms;
    let judged = window.judge(window.threshold());
    let single = 3600.0 * terms.sample_hz * judged.nuisance_per_sample;
    let allowed = terms.allowed_nuisance_per_hour;
    terms.noise_is == Autocorrelation::White && single > allowed && judged.nuisance_per_hour <= allowed
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
