//! # What is told of a link, and elsewhere, too
//!
//! ```text
//! Lag        of a reading behind a first-order filter of τ, of a link that charges by T = R C to the share s:
//!            t − T ln(1/(1 − s)), with (T e^(−t/T) − τ e^(−t/τ))/(T − τ) = 1 − s
//! Source     two first-order lags in a row
//! ```

use super::{FACT, Fact, all, gives, least, most, number, place, rests_on};
use crate::calc::barrier::isolation;
use crate::calc::voltage::voltage_channel;
use crate::design::Design;
use crate::design::section::{BARRIERS, DISCHARGES, PRECHARGES, RACES};
use crate::field::Typed;
use crate::numeric::first_where;
use crate::quantity::{Unit, say};

/// A lag that takes less of a time-out is not told.
const LITTLE: f64 = 0.02;

pub(super) static FACTS: &[Fact] = &[
    Fact {
        code: "design.link-differs",
        section: RACES,
        at: "/source/link_farad",
        others: |design, _, _| Some(all(design, PRECHARGES)),
        there: |_, _, others| {
            let each = (0..others.len()).filter_map(|at| number(others, at, "/capacitance_farad"));
            each.reduce(|sum, one| (sum.0 + one.0, 0))
        },
        words: |here, there, _| capacitances(here, there, "where it is pre-charged"),
        ..FACT
    },
    Fact {
        code: "design.link-differs",
        section: RACES,
        at: "/source/link_farad",
        others: |design, _, _| Some(untied(design)).filter(|_| is_one(design)),
        there: |_, _, others| most(others, "/capacitance_farad"),
        words: |here, there, other| capacitances(here, there, other),
        ..FACT
    },
    Fact {
        code: "design.link-differs",
        section: DISCHARGES,
        at: "/capacitance_farad",
        others: |design, part, _| part.resting().next().is_none().then(|| all(design, PRECHARGES)),
        // Which of several links it is nobody says.
        there: |_, here, others| Some(typed(here, least(others, "/capacitance_farad")?)),
        words: |here, there, other| capacitances(here, there, other),
        ..FACT
    },
    Fact {
        code: "design.link-differs",
        section: DISCHARGES,
        at: "/capacitance_farad",
        others: |design, _, _| Some(all(design, RACES)).filter(|_| is_one(design)),
        there: |_, here, others| Some(typed(here, least(others, "/source/link_farad")?)),
        words: |here, there, other| capacitances(here, there, other),
        ..FACT
    },
    Fact {
        code: "design.link-differs",
        section: PRECHARGES,
        at: "/capacitance_farad",
        others: |design, _, _| Some(all(design, RACES)).filter(|_| is_one(design)),
        there: |_, _, others| least(others, "/source/link_farad"),
        words: |here, there, other| capacitances(here, there, other),
        ..FACT
    },
    Fact {
        code: "design.link-differs",
        section: PRECHARGES,
        at: "/capacitance_farad",
        others: |design, _, _| Some(untied(design)).filter(|_| is_one(design)),
        there: |_, _, others| {
            let each = (0..others.len())
                .filter_map(|at| Some((number(others, at, "/capacitance_farad")?.0 * up_to(others[at].1), at)));
            each.min_by(|a, b| a.0.total_cmp(&b.0))
        },
        words: |here, there, other| capacitances(here, there, other),
        ..FACT
    },
    Fact {
        code: "design.link-above-start",
        section: PRECHARGES,
        at: "/start_v",
        others: |design, part, _| Some(design.beside(part, DISCHARGES).map(|other| place(design, other)).collect()),
        there: |_, _, others| most(others, "/feed/back_emf_v"),
        words: |here, there, other| {
            let [here, there] = [here, there].map(|volt| say(volt, Unit::Volt));
            format!("The link starts at {here}; a machine that turns holds it at up to {there} ({other}).")
        },
        ..FACT
    },
    Fact {
        code: "design.read-late",
        section: PRECHARGES,
        at: "/max_time_s",
        others: |design, part, _| {
            let channel = rests_on(design, part, &["voltage"])?;
            let barrier = rests_on(design, &design.parts[channel[0]], &[BARRIERS]).unwrap_or_default();
            Some(channel.into_iter().chain(barrier).collect())
        },
        there: |_, here, others| {
            let filter = gives(others, 0, voltage_channel::FILTER).map_or(0.0, |(lag, _)| follows_s(here, lag));
            let late = filter + gives(others, 1, isolation::LATENCY).map_or(0.0, |(lag, _)| lag);
            let all = here.number("/max_time_s")?;
            (late > LITTLE * all).then(|| ((all - late).max(LITTLE * all), 0))
        },
        least: false,
        words: |here, there, other| {
            let [here, late] = [here, here - there].map(|second| say(second, Unit::Second));
            format!("The readings of {other} come {late} late; the time-out of {here} is held against the link itself.")
        },
        ..FACT
    },
];

/// Whether no more than one link is told of.
fn is_one(design: &Design) -> bool {
    design.of(PRECHARGES).count() <= 1
}

/// The discharges of which nobody says which link they discharge.
fn untied(design: &Design) -> Vec<usize> {
    design.of(DISCHARGES).filter(|part| part.resting().next().is_none()).map(|part| place(design, part)).collect()
}

/// The largest capacitance of a discharge as a multiple of what is typed.
fn up_to(discharge: &dyn Typed) -> f64 {
    1.0 + discharge.number("/capacitance_tolerance_percent").unwrap_or(0.0) / 100.0
}

/// What is typed in a discharge whose capacitance is so large at most.
fn typed(discharge: &dyn Typed, (farad, other): (f64, usize)) -> (f64, usize) {
    (farad / up_to(discharge), other)
}

/// By how much a reading behind a filter comes to where the readings surely close later than the link of a pre-charge without a
/// load, s.
fn follows_s(precharge: &dyn Typed, filter_s: f64) -> f64 {
    let of = |pointer| precharge.number(pointer);
    let part = of("/resistor/tolerance_percent").unwrap_or(0.0) / 100.0;
    let charges = || Some(of("/resistance_ohm")? * (1.0 + part) * of("/capacitance_farad")?);
    match charges().zip(left(precharge)) {
        Some((charges_s, left)) if filter_s > 0.0 && charges_s > 0.0 && left > 0.0 && left < 1.0 => {
            lag_s(charges_s, filter_s, left)
        }
        _ => filter_s,
    }
}

/// What is left of the way from the start where the readings surely close, with their errors, as a share.
fn left(precharge: &dyn Typed) -> Option<f64> {
    let of = |pointer| precharge.number(pointer);
    let (high_v, target) = (of("/pack_v")?, of("/target_percent")? / 100.0);
    let low_v = of("/pack_min_v").unwrap_or(high_v);
    let error = |volts, percent| of(volts).unwrap_or(0.0).max(of(percent).unwrap_or(0.0) / 100.0 * high_v);
    let [link, pack] = [error("/link_error_v", "/link_error_percent"), error("/pack_error_v", "/pack_error_percent")];
    let start_v = of("/start_v").unwrap_or(0.0);
    let (pack_v, left_v) = match of("/closing_difference_v") {
        Some(difference) => (high_v, difference - link - pack),
        None => (low_v, (1.0 - target) * low_v - link - target * pack),
    };
    Some(left_v / (pack_v - start_v))
}

/// By how much the second of two lags in a row comes later to a share that is left, s.
pub(super) fn lag_s(first_s: f64, second_s: f64, left: f64) -> f64 {
    // Of two equal ones the limit stands beside.
    let first_s = if (first_s / second_s - 1.0).abs() < 1e-6 { second_s * (1.0 + 1e-6) } else { first_s };
    let rest =
        |t: f64| (first_s * libm::exp(-t / first_s) - second_s * libm::exp(-t / second_s)) / (first_s - second_s);
    let alone_s = -first_s * libm::log(left);
    // By then each of both alone has left less than half of it.
    let longest_s = 2.0 * (alone_s - second_s * libm::log(left)) + first_s + second_s;
    first_where(alone_s, longest_s, |t| rest(t) <= left) - alone_s
}

fn capacitances(here: f64, there: f64, other: &str) -> String {
    let [here, there] = [here, there].map(|farad| say(farad, Unit::Farad));
    format!("The link has {here} here and {there} {other}.")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A link of 20 ms and a filter of as much: (1 + t/T) e^(−t/T) = 0.05 at 4.7439 T, by hand, 1.7482 T after the link.
    #[test]
    fn a_reading_follows_its_link() {
        let late = lag_s(0.02, 0.02, 0.05);
        assert!((late / (1.7482 * 0.02) - 1.0).abs() < 1e-4, "{late}");
        // T ln(T/(T − τ)) once the faster of both is over.
        // 45.2 ms and 199.5 ms, 547.54 V of 548.97 V: 969.3966 ms late by scipy 1.17.1 (solve_ivp with an event).
        let late = lag_s(0.0452, 0.1995, 1.43 / 548.97);
        assert!((late - 0.969_396_6).abs() < 1e-7, "{late}");
        let small = lag_s(1.0, 0.1, 1e-6);
        assert!((small / (1.0_f64 / 0.9).ln() - 1.0).abs() < 1e-6, "{small}");
    }
}
