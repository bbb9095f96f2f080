//! # What thresholds and races tell, and others, too
//!
//! ```text
//! Noise      of samples that are f a second, of a converter that makes f_d: at least u √(f/f_d), the mean of all between; behind a
//!            first-order filter of τ at least u/√(2 f_d τ)
//! Shunt      I²t = C (θ_max − θ)/R, from the highest ambient temperature
//!            resistance over temperature: the largest |α x + β x²|, x = θ − θ_ref over the ambient temperatures
//! Wire       takes in proportion to the square of its area
//! Source     closed forms; heat of a body without loss
//! ```

use serde_json::Value;

use super::{Asked, FACT, Fact, all, gives, least, number, place, rests_on, rows};
use crate::calc::current::current_channel;
use crate::calc::protection::race;
use crate::calc::temperature::thermistor;
use crate::calc::voltage::voltage_channel;
use crate::design::section::{BARRIERS, RACES, SAFETY};
use crate::design::{Design, Head, Part};
use crate::field::{Typed, tree};
use crate::quantity::{Unit, say};

/// What is taken at most.
const TAKES: Fact = Fact { code: "design.takes-less-elsewhere", least: false, ..FACT };
const WIRE_TAKES: Fact = Fact {
    section: "protection",
    at: "/wire_a2s",
    words: |here, there, other| takes("the wire", here, there, other),
    ..TAKES
};
const SHUNT_TAKES: Fact = Fact {
    section: "protection",
    at: "/shunt_a2s",
    words: |here, there, other| takes("the shunt", here, there, other),
    ..TAKES
};
const SHUNT_OF_RACE_TAKES: Fact = Fact { section: RACES, at: "/shunt_pulse_a2s", ..SHUNT_TAKES };

pub(super) static FACTS: &[Fact] = &[
    Fact {
        code: "design.samples-too-fast",
        section: "protection",
        at: "/sample_rate_hz",
        others: |design, part, _| rests_on(design, part, &["current", "voltage"]),
        there: |_, _, others| number(others, 0, "/converter/data_rate_hz"),
        least: false,
        words: |here, there, other| {
            let [here, there] = [here, there].map(|hertz| say(hertz, Unit::Hertz));
            format!("It takes {here} for its samples in a row; the converter of {other} makes {there}.")
        },
        ..FACT
    },
    Fact {
        code: "design.samples-too-fast",
        section: "protection",
        at: "/sample_rate_hz",
        others: |design, part, _| rests_on(design, part, &[BARRIERS]),
        there: |_, _, others| number(others, 0, "/data/frame_rate_hz"),
        least: false,
        words: |here, there, other| {
            let [here, there] = [here, there].map(|hertz| say(hertz, Unit::Hertz));
            format!("It takes {here} for its samples in a row; across {other} come {there}.")
        },
        ..FACT
    },
    Fact {
        code: "design.quieter-than-channel",
        section: "protection",
        at: "/noise_a",
        others: |design, part, _| rests_on(design, part, &["current"]),
        there: |_, here, others| {
            let (entry, channel) = others.first()?;
            let data_hz = channel.number("/converter/data_rate_hz")?;
            let share = (here.number("/sample_rate_hz")? / data_hz).min(filtered(here, data_hz));
            Some((entry.gives(*channel, current_channel::NOISE)? * share.min(1.0).sqrt(), 0))
        },
        words: |here, there, other| {
            let [here, there] = [here, there].map(|ampere| say(ampere, Unit::Ampere));
            format!(
                "Its samples are said to have a noise of {here}; those of {other} have {there} at least, however they are averaged."
            )
        },
        ..FACT
    },
    Fact {
        code: "design.quieter-than-channel",
        section: "protection",
        at: "/noise_v",
        others: |design, part, _| rests_on(design, part, &["voltage"]),
        there: |_, here, others| noise_of_readings(here, others, voltage_channel::READING),
        words: |here, there, other| quieter([here, there].map(|volt| say(volt, Unit::Volt)), other),
        ..FACT
    },
    Fact {
        code: "design.quieter-than-channel",
        section: "protection",
        at: "/noise_k",
        others: |design, part, _| rests_on(design, part, &["temperatures"]),
        there: |_, here, others| noise_of_readings(here, others, thermistor::READING),
        words: |here, there, other| quieter([here, there].map(|kelvin| say(kelvin, Unit::Kelvin)), other),
        ..FACT
    },
    Fact {
        code: "design.sag-differs",
        section: "protection",
        at: "/sag_resistance_ohm",
        others: |_, part, _| reads(part, "cell-").then(Vec::new),
        there: |head, _, _| {
            let pack = &head.pack;
            pack.of_cells(pack.cell_resistance_ohm / f64::from(pack.cells_in_parallel)).map(|ohm| (ohm, 0))
        },
        words: |here, there, _| resistances("the cells in parallel have", here, there),
        ..FACT
    },
    Fact {
        code: "design.sag-differs",
        section: "protection",
        at: "/sag_resistance_ohm",
        others: |_, part, _| reads(part, "pack-").then(Vec::new),
        there: |head, _, _| head.pack.resistance_ohm().map(|ohm| (ohm, 0)),
        words: |here, there, _| resistances("the pack has", here, there),
        ..FACT
    },
    Fact {
        code: "design.sag-differs",
        section: "protection",
        at: "/sag_current_a",
        others: |_, part, _| (reads(part, "cell-") || reads(part, "pack-")).then(Vec::new),
        there: |head, _, _| Some((head.pack.peak_a, 0)),
        words: |here, there, _| {
            let [here, there] = [here, there].map(|ampere| say(ampere, Unit::Ampere));
            format!("Its voltage under load is that at {here}; the pack gives up to {there}.")
        },
        ..FACT
    },
    Fact {
        others: |design, part, _| Some(races_of(design, part)),
        there: |_, _, others| most_given(others, race::given::WIRING),
        ..WIRE_TAKES
    },
    Fact {
        others: |design, part, _| Some(races_of(design, part)),
        there: |_, _, others| most_given(others, race::given::SHUNT),
        ..SHUNT_TAKES
    },
    Fact {
        others: |design, part, _| rests_on(design, part, &["current"]),
        there: |head, _, others| Some((heated_a2s(head, others.first()?.1)?, 0)),
        ..SHUNT_TAKES
    },
    Fact {
        others: |design, part, _| Some(of_one_shunt(design, part)),
        there: |_, _, others| least(others, "/shunt_a2s"),
        ..SHUNT_TAKES
    },
    Fact {
        others: |design, part, _| Some(of_one_shunt(design, part)),
        there: |_, _, others| least(others, "/wire_a2s"),
        ..WIRE_TAKES
    },
    Fact {
        code: "design.threshold-too-exact",
        section: RACES,
        at: "/threshold_error_percent",
        others: |design, _, _| Some(all(design, "current")),
        there: |head, _, others| {
            let share = |at: usize| {
                let of = |pointer| Some(number(others, at, pointer)?.0);
                let drifts = of("/shunt/tolerance_percent")? + of("/shunt/life_drift_percent")?;
                Some((drifts + by_temperature_percent(head, others[at].1), at))
            };
            (0..others.len()).filter_map(share).min_by(|a, b| a.0.total_cmp(&b.0))
        },
        words: |here, there, _| {
            let [here, there] = [here, there].map(|share| say(share, Unit::Percent));
            format!(
                "Its threshold is taken to be right within {here}; the shunts are within {there} at best over the temperatures of the pack, and a comparator does not take part in a calibration."
            )
        },
        ..FACT
    },
    Fact {
        others: |design, part, _| Some(thresholds_of(design, part)),
        // Of several strings the race's is that of one.
        there: |_, here, others| least(others, "/shunt_a2s").filter(|_| here.number("/strings/count") == Some(1.0)),
        ..SHUNT_OF_RACE_TAKES
    },
    Fact {
        section: RACES,
        at: "/wiring/area_mm2",
        others: |design, part, _| {
            let own = std::iter::once(place(design, part));
            Some(own.chain(thresholds_of(design, part)).collect())
        },
        // The area of which the wire takes what a threshold tells.
        there: |_, here, others| {
            let (a2s, other) = least(others, "/wire_a2s")?;
            let (limit_a2s, _) = gives(others, 0, race::given::WIRING)?;
            Some((here.number("/wiring/area_mm2")? * (a2s / limit_a2s).sqrt(), other))
        },
        words: |here, there, other| {
            let [here, there] = [here, there].map(|area| say(area, Unit::SquareMillimetre));
            format!("The wire has {here} here; in {other} it takes no more than one of {there}.")
        },
        ..TAKES
    },
    Fact {
        others: |design, _, _| Some(all(design, "current")),
        // Of several the race's may be the strongest.
        there: |head, _, others| {
            let takes = |at: usize| Some((heated_a2s(head, others[at].1)?, at));
            let each: Option<Vec<_>> = (0..others.len()).map(takes).collect();
            each?.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))
        },
        ..SHUNT_OF_RACE_TAKES
    },
    Fact {
        code: "design.opens-later",
        section: SAFETY,
        at: "/goals",
        column: "reaction_s",
        others: threshold_of_goal,
        there: |_, _, others| number(others, 0, "/opening_s"),
        words: |here, there, other| {
            let [here, there] = [here, there].map(|second| say(second, Unit::Second));
            format!(
                "From an alarm to the safe state it takes {here}, while the opening of {other} alone takes {there}."
            )
        },
        ..FACT
    },
];

/// The threshold on which a goal rests.
fn threshold_of_goal(design: &Design, part: &Part, row: usize) -> Option<Vec<usize>> {
    let word = |key: &str| rows(part, "/goals").get(row)?.get(key)?.as_str();
    let reads = word("reads").filter(|_| word("decided_by").is_none_or(|by| by == "threshold"))?;
    let named_at = format!("/{reads}_threshold");
    let (rests, number) = part.resting().find(|(rests, _)| rests.named_at == named_at)?;
    design.source(rests, number).map(|source| vec![place(design, source)])
}

/// The race of a threshold of current: that which it leaves faults to, or any where none is named.
fn races_of(design: &Design, part: &Part) -> Vec<usize> {
    rests_on(design, part, &[RACES]).unwrap_or_else(|| all(design, RACES))
}

/// The most that one of several gives.
fn most_given(others: &[Asked], words: &str) -> Option<(f64, usize)> {
    let each: Option<Vec<_>> = (0..others.len()).map(|at| gives(others, at, words)).collect();
    each?.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))
}

/// The other thresholds that rest on the same current channel.
fn of_one_shunt(design: &Design, part: &Part) -> Vec<usize> {
    let channel = rests_on(design, part, &["current"]);
    let beside = |other: &&Part| other.key() != part.key() && rests_on(design, other, &["current"]) == channel;
    let others = design.of("protection").filter(beside).filter(|_| channel.is_some());
    others.map(|other| place(design, other)).collect()
}

/// The thresholds that a race is beside of.
fn thresholds_of(design: &Design, race: &Part) -> Vec<usize> {
    let own = place(design, race);
    let of = |part: &Part| races_of(design, part) == [own];
    design.of("protection").filter(|part| of(part)).map(|part| place(design, part)).collect()
}

/// The part of the square of a noise that the filter of a threshold leaves of readings that come so often.
fn filtered(threshold: &dyn Typed, reads_hz: f64) -> f64 {
    1.0 / (2.0 * reads_hz * threshold.number("/filter_s").unwrap_or(0.0)).max(1.0)
}

/// The noise of readings that are not averaged further but by the filter of a threshold.
fn noise_of_readings(here: &dyn Typed, others: &[Asked], words: &str) -> Option<(f64, usize)> {
    let (noise, other) = gives(others, 0, words)?;
    Some((noise * filtered(here, here.number("/sample_rate_hz")?).sqrt(), other))
}

fn quieter([here, there]: [String; 2], other: &str) -> String {
    format!("Its samples are said to have a noise of {here}; readings of {other} have up to {there}.")
}

/// By how much the resistance of a shunt changes over the ambient temperatures, %.
fn by_temperature_percent(head: &Head, channel: &dyn Typed) -> f64 {
    let of = |pointer| channel.number(pointer).unwrap_or(0.0);
    let (linear, quadratic) = (of("/shunt/tcr_ppm_per_k"), of("/shunt/tcr_quadratic_ppm_per_k2"));
    let from = of("/shunt/reference_degc");
    let [low, high] = [head.pack.ambient_min_degc - from, head.pack.ambient_max_degc - from];
    // A parabola has its extreme at an end or at its vertex.
    let vertex = (-linear / (2.0 * quadratic)).max(low).min(high);
    let part = |x: f64| ((linear + quadratic * x) * x).abs();
    [low, high, vertex].map(part).into_iter().fold(0.0, f64::max) * 1e-4
}

/// What the element of a shunt takes from the highest ambient temperature on, A²s.
fn heated_a2s(head: &Head, channel: &dyn Typed) -> Option<f64> {
    let of = |pointer| channel.number(pointer);
    let rises_k = of("/shunt/max_element_degc")? - head.pack.ambient_max_degc;
    Some(of("/shunt/heat_capacity_j_per_k")? * rises_k / of("/shunt/resistance_ohm")?).filter(|a2s| *a2s > 0.0)
}

/// Whether a lower threshold of voltage reads what begins so: a cell, the pack.
fn reads(part: &Part, what: &str) -> bool {
    let kind = tree::at(&part.input, "/kind").and_then(Value::as_str).unwrap_or_default();
    kind.starts_with(what) && kind.ends_with("under-voltage")
}

fn resistances(of: &str, here: f64, there: f64) -> String {
    let [here, there] = [here, there].map(|ohm| say(ohm, Unit::Ohm));
    format!("Its voltage under load is that of {here} at most; {of} {there} at least.")
}

fn takes(what: &str, here: f64, there: f64, other: &str) -> String {
    let [here, there] = [here, there].map(|a2s| say(a2s, Unit::AmpereSquaredSecond));
    format!("Here {what} takes {here}, in {other} it takes {there}.")
}
