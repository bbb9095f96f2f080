//! What is required of charge counting.

use super::cases::{Why, beginning_unknown, clips};
use super::input::{ChargeInput, ChargeJudgedBy, UsageKind};
use super::solve::Solved;
use super::until::LONGEST_S;
use crate::constant::DAY_H;
use crate::judge::{Judged, Ledger, Limit, Words, passes};
use crate::quantity::{Quantity, Unit, ampere, day, hour, one, percent, year};

pub(super) fn requirements(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    range(input, to);
    error(input, solved, to);
    drift(input, solved, to);
    interval(input, solved, to);
    anchor(input, solved, to);
    health(input, solved, to);
    trend(input, solved, to);
}

/// How it is judged, in words.
pub(super) const fn by_words(by: ChargeJudgedBy) -> &'static str {
    match by {
        ChargeJudgedBy::WorstCase => "worst case",
        ChargeJudgedBy::Probability95 => "95 % coverage probability",
    }
}

/// Why a row has no value, in words.
fn blocked_words(why: Option<Why>) -> &'static str {
    match why {
        Some(Why::Clipped) => "a current of the use is beyond the range of the channel",
        Some(Why::Unbounded) => "no allowed place of the anchor is bounded, so that the beginning has no value",
        Some(Why::Spent) => {
            "the course has emptied or filled the battery by then, and nothing says what brings it back"
        }
        _ => "something that it needs is not given",
    }
}

/// A row that holds without what nobody has told, and needs it where there is not enough left for it.
fn needs(one: Judged, missing: Option<&'static str>) -> Judged {
    match missing {
        Some(pointer) if !one.fails() && one.achieved.is_some() => Judged {
            required: one.required,
            ..Judged::new(one.id, one.field.pointer, one.unit, one.sense, None, Limit::Missing(pointer))
        },
        _ => one,
    }
}

/// A row whose value needs something.
fn waits(one: Judged, limit: f64, why: Option<Why>) -> Judged {
    match why {
        None => one,
        Some(Why::Missing(pointer)) => Judged {
            required: Some(limit),
            ..Judged::new(one.id, one.field.pointer, one.unit, one.sense, None, Limit::Missing(pointer))
        },
        Some(_) => Judged::new(one.id, one.field.pointer, one.unit, one.sense, None, limit).blocked(),
    }
}

fn range(input: &ChargeInput, to: &mut Ledger) {
    let [discharge, charge] = clips(input);
    let counter = &input.counter;
    let flows = input.usage.used_a().map(|current| current > 0.0);
    let ends = counter.full_at_a.or(counter.full_charge_a).is_some();
    for (id, at, clips, end, label) in [
        ("charge.range", "/counter/full_at_a", discharge, counter.full_at_a, "Discharge is inside the range"),
        ("charge.range-charge", "/counter/full_charge_a", charge, counter.full_charge_a, "Charge is inside the range"),
    ] {
        // A use that nobody knows is not inside; neither is a direction that is used and of which no end is known.
        let missing = match (clips, input.usage_missing()) {
            (Some(false), missing) => missing,
            (None, _) if flows[usize::from(id != "charge.range")] && ends => Some(at),
            _ => None,
        };
        let judged = match (clips, missing) {
            (_, Some(missing)) => Judged::at_most(id, at, Unit::One, None, Limit::Missing(missing)),
            (Some(clips), None) => Judged::never(id, at, clips),
            (None, None) => continue,
        };
        to.require(judged, |_| {
            let end = end.map(ampere);
            let note = end.map_or_else(String::new, |end| format!("full from {end}"));
            let failure = match (missing, end) {
                (None, Some(end)) => format!("The channel is full from {end}: what flows beyond is not counted."),
                _ => "something that it needs is not given".into(),
            };
            Words::new(label, note, failure)
        });
    }
}

fn error(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    let Some(limit) = input.requirement.soc_error_percent else { return };
    let (id, at) = ("charge.soc-error", "/requirement/soc_error_percent");
    let size = solved.largest.as_ref().ok().map(|(place, _)| place.size);
    let why = solved.largest.as_ref().err().copied().or_else(|| beginning_unknown(input));
    // An anchor that counts in part leaves 1/K of what came up in each time between two.
    let untold = input.horizon_h().and_then(|hours| input.untold(hours / input.anchor.weight));
    let missing = untold.zip(size).filter(|((_, more), size)| passes(size + more, limit)).map(|((at, _), _)| at);
    let one = waits(Judged::at_most(id, at, Unit::Percent, size, limit), limit, why);
    to.require(needs(one, missing), |_| {
        let (note, failure) = match &solved.largest {
            Ok((place, state)) => (
                format!("{state}, after {}, {}", hour(place.time_s / 3600.0), by_words(input.requirement.judged_by)),
                format!(
                    "The state of charge may be {} wrong before the next anchor; {} are allowed.",
                    percent(place.size),
                    percent(limit)
                ),
            ),
            Err(why) => (by_words(input.requirement.judged_by).into(), blocked_words(Some(*why)).into()),
        };
        Words::new("Error of the state of charge until the next anchor", note, failure)
    });
}

fn drift(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    let Some(limit) = input.requirement.percent_per_day else { return };
    let (id, at) = ("charge.per-day", "/requirement/percent_per_day");
    let drift = solved.day.ok().map(|day| day.judged_percent_per_day);
    let why = solved.day.err();
    let missing = input.untold(DAY_H).zip(drift).filter(|((_, more), drift)| passes(drift + more, limit));
    let one = waits(Judged::at_most(id, at, Unit::PercentPerDay, drift, limit), limit, why);
    to.require(needs(one, missing.map(|((at, _), _)| at)), |row| {
        let failure = match (solved.day, row.achieved) {
            (Ok(_), Some(drift)) => {
                format!("A day of this use moves the gauge by {}; {} are allowed.", percent(drift), percent(limit))
            }
            _ => blocked_words(why).into(),
        };
        let by = by_words(input.requirement.judged_by);
        let rest = if input.usage.kind == UsageKind::OneWay { ", at rest after the way" } else { "" };
        Words::new("Drift of a day", format!("of the capacity that is left, {by}{rest}"), failure)
    });
}

fn interval(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    let Some(limit) = input.requirement.anchor_interval_days else { return };
    let (id, at) = ("charge.interval", "/requirement/anchor_interval_days");
    let days = |seconds: f64| seconds / Unit::Day.plain();
    let reached =
        solved.lasts.as_ref().ok().map(|place| place.as_ref().map_or(days(LONGEST_S), |(place, _)| days(place.time_s)));
    let why = solved.lasts.as_ref().err().copied().or_else(|| beginning_unknown(input));
    let one = waits(Judged::at_least(id, at, Unit::Day, reached, limit), limit, why);
    to.require(needs(one, solved.lasts_needs), |row| {
        let (note, failure) = match (&solved.lasts, row.achieved) {
            (Ok(Some((_, state))), Some(reached)) => (
                format!("{state}, {}", by_words(input.requirement.judged_by)),
                format!("The allowed error is reached after {}; it must last {}.", day(reached), day(limit)),
            ),
            (Ok(_), _) => (by_words(input.requirement.judged_by).into(), String::new()),
            (Err(_), _) => (by_words(input.requirement.judged_by).into(), blocked_words(why).into()),
        };
        Words::new("Time without an anchor", note, failure)
    });
}

fn anchor(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    let Some(limit) = input.requirement.anchor_percent else { return };
    let (id, at) = ("charge.anchor", "/requirement/anchor_percent");
    let why = solved.anchor.as_ref().err().map(|missing| Why::Missing(missing));
    to.require(waits(Judged::at_most(id, at, Unit::Percent, solved.anchor_percent, limit), limit, why), |row| {
        let place = solved.anchor.as_ref().ok().and_then(Option::as_ref).map(|found| found.place);
        let note =
            place.map_or_else(String::new, |place| format!("at its best, {} charged, worst case", percent(place)));
        let failure = match row.achieved {
            Some(size) => {
                format!("An anchor may be {} wrong at its best place; {} are allowed.", percent(size), percent(limit))
            }
            None => "No allowed place is bounded: a reading may lie beyond the curve everywhere.".into(),
        };
        Words::new("Error of an anchor", note, failure)
    });
}

fn health(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    let by = input.requirement.judged_by;
    if let Some((limit, found)) = input.requirement.capacity_percent.zip(solved.capacity) {
        let (id, at) = ("charge.capacity", "/requirement/capacity_percent");
        let value = found.ok().and_then(|one| one.judged(by));
        let why = found.err().map(Why::Missing);
        let judged = waits(Judged::at_most(id, at, Unit::Percent, value, limit), limit, why);
        // Beyond first order the uncertainty means nothing: it may fail, but it does not hold.
        let vague = found
            .is_ok_and(|one| !one.clips && (!one.bounded || (by == ChargeJudgedBy::Probability95 && one.too_small)));
        // What nobody told leaves a part of the charge between the anchors.
        let untold = found.ok().and_then(|one| {
            let (at, points) = input.untold(one.flows_h?)?;
            value.filter(|value| passes(value + points / one.swing_percent * 100.0, limit)).map(|_| at)
        });
        let judged = needs(judged, untold);
        let judged = if vague && (judged.achieved.is_none() || !judged.fails()) { judged.blocked() } else { judged };
        to.require(judged, |row| {
            let failure = match row.achieved {
                Some(value) => {
                    format!("The capacity is estimated to {}; {} are allowed.", percent(value), percent(limit))
                }
                None if found.is_ok_and(|one| one.clips) => {
                    "The mean current is beyond the range of the channel: what flows beyond is not counted.".into()
                }
                None if found.is_ok_and(|one| !one.bounded) => "a rest may be read beyond the curve".into(),
                None if vague => "the swing is too small against the error of the anchors".into(),
                None => "The anchors are off by as much as they lie apart: they tell no capacity.".into(),
            };
            let swing = found.map_or_else(|_| String::new(), |one| format!("swing {}, ", percent(one.swing_percent)));
            Words::new("Error of the capacity", format!("{swing}{}", by_words(by)), failure)
        });
    }
    if let Some((limit, found)) = input.requirement.resistance_percent.zip(solved.resistance) {
        let (id, at) = ("charge.resistance", "/requirement/resistance_percent");
        let value = found.ok().and_then(|one| one.judged(by));
        let judged = waits(Judged::at_most(id, at, Unit::Percent, value, limit), limit, found.err().map(Why::Missing));
        let from_rest = found.is_ok_and(|one| one.clips_from_rest && !one.clips);
        let judged = if from_rest && !judged.fails() { judged.blocked() } else { judged };
        to.require(judged, |row| {
            let step = input.resistance.step_a.unwrap_or(0.0);
            let failure = match row.achieved.map(percent) {
                Some(value) => format!("The resistance is estimated to {value}; {} are allowed.", percent(limit)),
                None if from_rest => {
                    "a step of that size that begins at rest ends beyond the range of the channel".into()
                }
                None if found.is_ok_and(|one| one.clips) => {
                    "No step of that size lies inside the range of the channel.".into()
                }
                None => "The step is lost in the errors of the current.".into(),
            };
            Words::new("Error of the resistance", format!("step {}, {}", ampere(step), by_words(by)), failure)
        });
    }
}

fn trend(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    let Some((limit, found)) = input.requirement.proven_within_years.zip(solved.trend) else { return };
    let (id, at) = ("charge.proven", "/requirement/proven_within_years");
    let why = match found {
        Err(missing) => Some(Why::Missing(missing)),
        Ok(proof) if proof.estimates.is_some() && input.horizon_h().is_none() => {
            Some(Why::Missing("/anchor/interval_h"))
        }
        Ok(_) => None,
    };
    let years = found.ok().and_then(|proof| proof.years);
    to.require(waits(Judged::at_most(id, at, Unit::Year, years, limit), limit, why), |row| {
        let needed = found.ok().and_then(|proof| proof.estimates);
        let failure = match (row.achieved, needed) {
            (Some(years), Some(needed)) => format!(
                "The loss is proven by {} estimates, after {}; {} are allowed.",
                one(needed),
                year(years),
                year(limit)
            ),
            _ => "The drift of the channel alone hides the loss: no number of estimates proves it.".into(),
        };
        let power = Quantity::new(input.trend.power_percent, Unit::Percent);
        Words::new("Loss proven", format!("with a power of {power}, one estimate at every anchor"), failure)
    });
}
