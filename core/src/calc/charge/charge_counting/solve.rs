//! The numbers of charge counting, put together.

use super::anchor::{Found, best, ends, larger, ranges, readable};
use super::cases::{Why, cases, cases_from, left};
use super::cone::WORST;
use super::error::{LABELS, Rates, Terms};
use super::health::{Capacity, Proof, Resistance, capacity, proof, resistance};
use super::input::{ChargeInput, ChargeJudgedBy, StartKind, UsageKind};
use super::output::{
    ChargeAnchor, ChargeCapacity, ChargeDay, ChargeLasts, ChargeMoment, ChargeOutput, ChargePlace, ChargeRange,
    ChargeReading, ChargeResistance, ChargeSource, ChargeTooth, ChargeTrend, ChargeUser,
};
use super::over_time::cones;
use super::until::{Place, allowed_offset, first, keeps_until, largest, leg_words};
use crate::constant::{DAY_H, HOUR_S};
use crate::judge::passes;
use crate::work::{Halt, Work};

/// Points of the curve of an anchor.
const POINTS: u32 = 96;

/// The numbers that the requirements rest on.
#[derive(Clone, Debug)]
pub struct Solved {
    pub(super) day: Result<ChargeDay, Why>,
    pub(super) largest: Result<(Place, String), Why>,
    pub(super) lasts: Result<Option<(Place, String)>, Why>,
    /// What it must be known for that it lasts as long as it must.
    pub(super) lasts_needs: Option<&'static str>,
    pub(super) anchor: Result<Option<Found>, &'static str>,
    pub(super) anchor_percent: Option<f64>,
    pub(super) worst: Option<Found>,
    pub(super) capacity: Option<Result<Capacity, &'static str>>,
    pub(super) resistance: Option<Result<Resistance, &'static str>>,
    pub(super) trend: Option<Result<Proof, &'static str>>,
}

fn judged(terms: &Terms, by: ChargeJudgedBy) -> f64 {
    match by {
        ChargeJudgedBy::WorstCase => terms.size(),
        ChargeJudgedBy::Probability95 => terms.coverage(),
    }
}

/// The case in words.
fn case_words(input: &ChargeInput, rates: &Rates<'_>) -> String {
    let life = if rates.case.aged { "at the end of life" } else { "new" };
    let life = match rates.case.capacity {
        low if low < 0.0 => format!("{life}, capacity at its lowest"),
        high if high > 0.0 => format!("{life}, capacity at its highest"),
        _ => life.into(),
    };
    let first = if rates.case.discharge_first { "discharging" } else { "charging" };
    match input.usage.kind {
        UsageKind::Rest | UsageKind::Profile => life,
        UsageKind::OneWay => format!("{life}, {first}"),
        UsageKind::Cycles if rates.case.rests_between => format!("{life}, {first} first, with the rest between"),
        UsageKind::Cycles => format!("{life}, {first} first"),
    }
}

fn told(input: &ChargeInput, rates: &Rates<'_>, place: &Place) -> String {
    format!("{}, {}", case_words(input, rates), leg_words(rates.leg(place.moment)))
}

/// Drift of a day.
fn day(input: &ChargeInput, cases: &[Rates<'_>]) -> ChargeDay {
    let by = input.requirement.judged_by;
    let mut day = ChargeDay {
        judged_percent_per_day: 0.0,
        worst_percent_per_day: 0.0,
        end_of_life_percent_per_day: 0.0,
        worst_ah_per_day: 0.0,
    };
    for rates in cases {
        let tally = rates.course.day();
        let terms = rates.of_true().counted(&tally);
        day.judged_percent_per_day = day.judged_percent_per_day.max(judged(&terms, by));
        if rates.case.aged {
            day.end_of_life_percent_per_day = day.end_of_life_percent_per_day.max(terms.size());
        } else {
            day.worst_percent_per_day = day.worst_percent_per_day.max(rates.counted(&tally).size());
        }
    }
    if cases.iter().all(|rates| !rates.case.aged) {
        day.end_of_life_percent_per_day = day.worst_percent_per_day;
    }
    day.worst_ah_per_day = day.worst_percent_per_day / 100.0 * input.battery.capacity_ah;
    day
}

pub(super) fn solve(input: &ChargeInput, work: Work) -> Result<Solved, Halt> {
    let (by, limit) = (input.requirement.judged_by, input.requirement.soc_error_percent);
    let cases = cases(input);
    let largest = match (&cases, input.horizon_h()) {
        (Err(why), _) => Err(*why),
        (Ok(_), None) => Err(Why::Missing("/anchor/interval_h")),
        (Ok(cases), Some(_)) => {
            let spent = input.foreseen_h().is_none();
            match largest(cases, horizon_s(input), by, work)? {
                // What is too large by then stays so.
                Some(place) if spent && limit.is_none_or(|limit| !passes(place.size, limit)) => Err(Why::Spent),
                Some(place) => Ok((place, told(input, &cases[place.case], &place))),
                None => Err(Why::Missing("/usage/discharge_a")),
            }
        }
    };
    let lasts = match (&cases, limit) {
        (Err(why), _) => Err(*why),
        (Ok(_), None) => Err(Why::Missing("/requirement/soc_error_percent")),
        (Ok(cases), Some(limit)) => {
            let place = first(cases, limit, by, work)?;
            let passed_h = place.map_or(f64::INFINITY, |place| place.time_s / HOUR_S);
            // As long as it is told it lasts.
            let needed_h = input.requirement.anchor_interval_days.map_or(f64::INFINITY, |days| days * DAY_H);
            match input.spent_h() {
                Some(spent) if spent < passed_h.min(needed_h) => Err(Why::Spent),
                _ => Ok(place.map(|place| (place, told(input, &cases[place.case], &place)))),
            }
        }
    };
    let needs = |days: f64| input.untold(days * DAY_H).map(|(pointer, more)| (days * DAY_H * HOUR_S, pointer, more));
    let lasts_needs = match (&cases, limit, input.requirement.anchor_interval_days.and_then(needs)) {
        (Ok(cases), Some(limit), Some((until_s, pointer, more))) => {
            (!keeps_until(cases, until_s, more, limit, by, work)?).then_some(pointer)
        }
        _ => None,
    };
    let read = readable(input);
    let anchor = read.as_ref().map(|(curve, off)| best(curve, off, &input.anchor)).map_err(|missing| *missing);
    let anchor_percent = match (&read, &anchor) {
        (Ok((curve, off)), Ok(Some(found))) => larger(curve, off, found.place),
        _ => None,
    };
    Ok(Solved {
        day: cases.as_ref().map(|cases| day(input, cases)).map_err(|why| *why),
        largest,
        lasts,
        lasts_needs,
        anchor,
        anchor_percent,
        worst: left(input).ok().flatten(),
        capacity: input.capacity.is_there().then(|| capacity(input)),
        resistance: input.resistance.is_there().then(|| resistance(input)),
        trend: input.trend.is_there().then(|| proof(input)),
    })
}

/// What a source is counted as that has its sign.
pub(super) const KNOWN: &str = "counted with its sign";
/// What a source is counted as that may be there or not.
pub(super) const PERHAPS: &str = "from nothing to this";

/// The sources of an error, largest first.
fn sources(rates: &Rates<'_>, terms: &Terms) -> Vec<ChargeSource> {
    let ah = rates.point_c() / HOUR_S;
    let one = |label: &str, kind: &str, points: f64| ChargeSource {
        label: label.into(),
        kind: kind.into(),
        error_percent: points,
        charge_ah: points * ah,
    };
    let mut list: Vec<ChargeSource> =
        LABELS.iter().zip(terms.limits).map(|(label, points)| one(label, "limit", points.abs())).collect();
    list.push(one("Noise, scatter and missed readings", "3 × standard", WORST * terms.variance.sqrt()));
    list.push(one("Errors of known sign", KNOWN, terms.known));
    let perhaps = if terms.high > -terms.low { terms.high } else { terms.low };
    list.push(one("What may be there or not", PERHAPS, perhaps));
    list.retain(|source| source.error_percent != 0.0);
    list.sort_by(|one, other| other.error_percent.abs().total_cmp(&one.error_percent.abs()));
    list
}

fn moment(input: &ChargeInput, rates: &Rates<'_>, place: &Place) -> ChargeMoment {
    let terms = &place.terms;
    let [low_percent, high_percent] = terms.worst();
    let probability_percent = terms.coverage();
    ChargeMoment {
        state: told(input, rates, place),
        time_h: place.time_s / HOUR_S,
        judged_percent: match input.requirement.judged_by {
            ChargeJudgedBy::WorstCase => terms.size(),
            ChargeJudgedBy::Probability95 => probability_percent,
        },
        low_percent,
        high_percent,
        probability_percent,
        known_percent: terms.known,
        random_percent: (terms.variance + terms.leaps).sqrt(),
        sources: sources(rates, terms),
    }
}

/// The error at the end of one use, in the worst case of life and order.
fn end_of_use(input: &ChargeInput, cases: &[Rates<'_>]) -> Option<ChargeMoment> {
    let at = |(case, rates): (usize, &Rates<'_>)| {
        let moment = rates.course.end_of_use();
        let (tally, terms) = (rates.course.at(moment), rates.at(moment));
        Place { size: terms.size(), case, moment, time_s: tally.time_s, terms }
    };
    let worst =
        cases.iter().enumerate().map(at).reduce(|one, other| if other.size > one.size { other } else { one })?;
    Some(moment(input, &cases[worst.case], &worst))
}

fn lasts(input: &ChargeInput, cases: &[Rates<'_>], solved: &Solved, work: Work) -> Result<Option<ChargeLasts>, Halt> {
    let (Ok(lasts), Some(limit)) = (&solved.lasts, input.requirement.soc_error_percent) else { return Ok(None) };
    let mut bare = input.clone();
    (bare.start.kind, bare.start.error_percent) = (StartKind::Limit, 0.0);
    let alone = match cases_from(&bare, &[None]) {
        Ok(cases) => first(&cases, limit, ChargeJudgedBy::WorstCase, work)?,
        Err(_) => None,
    };
    let allowed_offset_a = match input.foreseen_h().filter(|_| !input.counting.zeroed_at_rest) {
        Some(hours) => allowed_offset(cases, hours * HOUR_S, limit, input.requirement.judged_by, work)?,
        None => None,
    };
    let judged_h = lasts.as_ref().map(|(place, _)| place.time_s / HOUR_S);
    Ok(Some(ChargeLasts {
        judged_h,
        judged_days: judged_h.map(|hours| hours / DAY_H),
        state: lasts.as_ref().map_or_else(|| "not within a hundred years".into(), |(_, told)| told.clone()),
        drift_alone_h: alone.map(|place| place.time_s / HOUR_S),
        allowed_offset_a,
    }))
}

/// Largest drift of the worst case within one interval, points.
fn drift(cases: &[Rates<'_>], horizon_s: f64) -> f64 {
    let at = |rates: &Rates<'_>| rates.counted(&rates.course.at(rates.course.moment(horizon_s))).size();
    cases.iter().map(at).fold(0.0, f64::max)
}

/// Where the drift is largest within one interval, from its beginning, and how large it is there: what a cycle takes away
/// again was there in its middle.
struct Inside {
    time_h: f64,
    size: f64,
}

fn inside(input: &ChargeInput, horizon_s: f64, work: Work) -> Result<Option<Inside>, Halt> {
    let mut bare = input.clone();
    (bare.start.kind, bare.start.error_percent, bare.anchor.weight) = (StartKind::Limit, 0.0, 1.0);
    let Ok(cases) = cases_from(&bare, &[None]) else { return Ok(None) };
    let place = largest(&cases, horizon_s, ChargeJudgedBy::WorstCase, work)?;
    Ok(place.map(|place| Inside { time_h: place.time_s / HOUR_S, size: place.size }))
}

/// The error after n anchors of one weight, worst case of what is alike in all: e⁺ = (1 − K)(e + D) + K a.
pub fn after_anchor(before: f64, anchor: f64, weight: f64) -> f64 {
    (1.0 - weight) * before + weight * anchor
}

/// The error that the saw-tooth never passes: a + D/K.
pub fn top(anchor: f64, drift: f64, weight: f64) -> f64 {
    anchor + drift / weight
}

fn anchor(input: &ChargeInput, solved: &Solved, drift: Option<f64>, inside: Option<&Inside>) -> Option<ChargeAnchor> {
    let (curve, off) = readable(input).ok()?;
    let found = solved.anchor.as_ref().ok()?.as_ref();
    let reading = input.anchor.reading_v(input.battery.cells_in_series).ok()?;
    let limit = input.requirement.anchor_percent;
    let list = limit.map_or_else(Vec::new, |limit| ranges(&curve, &off, &input.anchor, limit));
    let per = input.horizon_h().map(|hours| hours * HOUR_S);
    let capacity_c = input.battery.capacity_ah * HOUR_S;
    let worst = solved.worst.as_ref();
    let top_percent = worst.zip(drift).map(|(one, drift)| top(one.size(), drift, input.anchor.weight));
    let beyond = inside.zip(drift).map(|(inside, drift)| (inside.size - drift).max(0.0));
    Some(ChargeAnchor {
        place_percent: found.map(|found| found.place),
        error_percent: solved.anchor_percent,
        worst_place_percent: worst.map(|found| found.place),
        worst_percent: worst.map(Found::size),
        low_percent: found.map(|found| found.left.low),
        high_percent: found.map(|found| found.left.high),
        first_order_percent: found.map(|found| reading / curve.slope(found.place)),
        lag_v: off.low_v.max(off.high_v),
        ranges: list.into_iter().map(|[from_percent, to_percent]| ChargeRange { from_percent, to_percent }).collect(),
        top_percent,
        peak_percent: top_percent.zip(beyond).map(|(top, beyond)| top + beyond),
        learned_offset_a: found
            .zip(per)
            .filter(|(found, _)| found.standard > 0.0)
            .map(|(found, time)| 2f64.sqrt() * found.standard / 100.0 * capacity_c / time),
    })
}

fn sawtooth(input: &ChargeInput, solved: &Solved, drift: Option<f64>, inside: Option<&Inside>) -> Vec<ChargeTooth> {
    let (Some(one), Some(drift), Some(hours)) = (solved.worst.as_ref().map(Found::size), drift, input.foreseen_h())
    else {
        return Vec::new();
    };
    let mut error = one;
    let mut list = vec![ChargeTooth { time_h: 0.0, error_percent: error }];
    for count in 1..=input.anchor.count {
        let time_h = f64::from(count) * hours;
        if let Some(inside) = inside.filter(|inside| inside.size > drift) {
            let time_h = f64::from(count - 1) * hours + inside.time_h;
            list.push(ChargeTooth { time_h, error_percent: error + inside.size });
        }
        error += drift;
        list.push(ChargeTooth { time_h, error_percent: error });
        error = after_anchor(error, one, input.anchor.weight);
        list.push(ChargeTooth { time_h, error_percent: error });
    }
    list
}

fn places(input: &ChargeInput) -> Vec<ChargePlace> {
    let Ok((curve, off)) = readable(input) else { return Vec::new() };
    let [from, to] = curve.ends();
    let at = |step: u32| from + (to - from) * f64::from(step) / f64::from(POINTS);
    (0..=POINTS)
        .map(|step| {
            let [low_percent, high_percent] = ends(&curve, &off, at(step));
            ChargePlace { soc_percent: at(step), low_percent, high_percent }
        })
        .collect()
}

fn user(input: &ChargeInput, error_percent: f64) -> Option<ChargeUser> {
    let with = &input.user;
    if with.consumption_wh_per_km.is_none() && with.load_w.is_none() {
        return None;
    }
    let energy_wh = error_percent / 100.0 * input.battery.capacity_ah * input.battery.voltage_v;
    Some(ChargeUser {
        error_percent,
        energy_wh,
        range_km: with.consumption_wh_per_km.map(|each| energy_wh / each),
        time_s: with.load_w.map(|load| energy_wh / load * HOUR_S),
    })
}

fn reading(input: &ChargeInput) -> ChargeReading {
    let (counter, counting) = (&input.counter, &input.counting);
    let left_out = (counting.interval_s(counter) / counter.busy_s()).max(1.0);
    let day = DAY_H * HOUR_S;
    let alias = super::reading::alias(counter, counting);
    ChargeReading {
        noise_a: counter.reading_a(),
        interval_s: counting.interval_s(counter),
        rounding_a: if counting.step_a > 0.0 {
            super::reading::rounding_limit_a(counting.step_a, counter.noise_a)
        } else {
            0.0
        },
        walk_ah: counter.noise_a * counter.correlated() * (counter.sample_s * left_out * day).sqrt() / HOUR_S,
        ripple_a: alias.map(|alias| alias.left_a),
        alias_hz: alias.and_then(|alias| alias.at_hz),
    }
}

/// How far the cones are drawn, s: until the next anchor, or a day; no farther than the use is known.
pub(super) fn horizon_s(input: &ChargeInput) -> f64 {
    let hours = input.horizon_h().unwrap_or(DAY_H);
    input.spent_h().map_or(hours, |spent| spent.min(hours)) * HOUR_S
}

pub(super) fn detail(input: &ChargeInput, solved: &Solved, work: Work) -> Result<ChargeOutput, Halt> {
    let cases = cases(input).unwrap_or_default();
    let largest = solved.largest.as_ref().ok().map(|(place, _)| moment(input, &cases[place.case], place));
    let per = input.foreseen_h().filter(|_| !cases.is_empty()).map(|hours| drift(&cases, hours * HOUR_S));
    let inside = match input.foreseen_h() {
        Some(hours) if per.is_some() => inside(input, hours * HOUR_S, work)?,
        _ => None,
    };
    let told = largest.as_ref().map(|one| one.judged_percent).or(input.requirement.soc_error_percent);
    // What is counted beyond the range tells no capacity.
    let capacity = solved.capacity.and_then(Result::ok).filter(|one| !one.clips).map(|one| ChargeCapacity {
        swing_percent: one.swing_percent,
        charge_ah: one.charge_c / HOUR_S,
        charge_percent: one.charge_percent,
        swing_standard_percent: one.swing_standard,
        standard_percent: one.standard_percent,
        bias_percent: one.bias_percent,
        probability_percent: one.probability_percent,
        worst_percent: one.worst_percent,
        smallest_swing_percent: one.smallest_swing_percent,
    });
    let resistance = solved.resistance.and_then(Result::ok).map(|one| ChargeResistance {
        step_v: one.step_v,
        standard_percent: one.standard_percent,
        probability_percent: one.probability_percent,
        worst_percent: one.worst_percent,
    });
    let trend = solved.trend.and_then(Result::ok).map(|one| ChargeTrend {
        estimates: one.estimates,
        standard_percent: one.standard_percent,
        drift_percent: one.drift_percent,
        after_years: one.years,
    });
    Ok(ChargeOutput {
        day: solved.day.ok(),
        end_of_use: end_of_use(input, &cases),
        lasts: lasts(input, &cases, solved, work)?,
        anchor: anchor(input, solved, per, inside.as_ref()),
        capacity,
        resistance,
        trend,
        user: told.and_then(|error| user(input, error)),
        reading: reading(input),
        cone: cones(&cases, horizon_s(input), solved.largest.as_ref().ok().map(|(place, _)| place), work)?,
        sawtooth: sawtooth(input, solved, per, inside.as_ref()),
        places: places(input),
        largest,
    })
}
