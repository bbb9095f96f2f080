//! What is required of balancing, and what is noted.

use super::{BalancingInput, Solved};
use crate::judge::{Judged, Ledger, Limit, Sense, Words};
use crate::quantity::{Quantity, Unit, ampere, celsius, hour, percent, volt, watt};

pub(super) fn requirements(input: &BalancingInput, solved: &Solved, to: &mut Ledger) {
    let (limits, passive) = (&input.limits, &solved.passive);
    if let Some(limit) = limits.time_h {
        let time = passive.against_leak_h;
        to.require(Judged::at_most("balancing.time", "/limits/time_h", Unit::Hour, time, limit), |_| {
            let (imbalance, limit) = (percent(input.imbalance_percent), hour(limit));
            let failure = match time {
                Some(time) => {
                    format!("Removing {imbalance} against the leakage takes {}; {limit} are allowed.", hour(time))
                }
                None => format!("The leakage keeps up with bleeding: {imbalance} are never removed."),
            };
            Words::new("Time to remove the imbalance", format!("{imbalance} of one cell that leaks least"), failure)
        });
    }
    if let Some(limit) = limits.board_w {
        let one = Judged::at_most("balancing.board-power", "/limits/board_w", Unit::Watt, passive.board_w, limit);
        to.require(one, |_| {
            let (channels, at) = (input.channels_on, volt(passive.start_v));
            let (power, limit) = (watt(passive.board_w), watt(limit));
            let failure = format!("The board gets {power} with {channels} channels on at {at}; {limit} are allowed.");
            Words::new("Power of the board", format!("{channels} channels on, mean, at {at}"), failure)
        });
    }
    resistor(input, solved, to);
    floor(input, solved, to);
    let (leak, mean) = (input.accuracy.leak_mismatch_a, solved.passive.mean_a(input));
    let one = Judged::at_most("balancing.leak-outruns", "/accuracy/leak_mismatch_a", Unit::Ampere, leak, mean);
    let never = solved.passive.against_leak_h.is_none();
    to.require(one.fails_where(never), |_| {
        let ends = if leak < mean { ", and the full cell is empty before the others are reached" } else { "" };
        let (leak, mean) = (ampere(leak), ampere(mean));
        let failure =
            format!("The cells part by {leak}, bleeding takes {mean} on average{ends}: it never gains on them.");
        Words::new("Bleeding gains on the leakage", "mismatch of the leakage against the mean bleed current", failure)
    });
}

/// The bleed resistor: its temperature, and its rated power, which holds at one ambient only.
fn resistor(input: &BalancingInput, solved: &Solved, to: &mut Ledger) {
    let (limits, passive) = (&input.limits, &solved.passive);
    let hot = passive.resistor_degc;
    // Each rise alone is a lower bound: what is too hot by it fails whatever the other one is.
    let alone = limits.resistor_k_per_w.map(|rise| limits.ambient_degc + rise * passive.resistor_w);
    let least = passive.board_degc.or(alone).filter(|least| limits.limit_degc.is_some_and(|limit| *least > limit));
    let missing = if limits.board_k_per_w.is_none() { "/limits/board_k_per_w" } else { "/limits/resistor_k_per_w" };
    let (known, at) = (hot.or(least), "/limits/limit_degc");
    let held = match limits.limit_degc {
        None => Limit::Missing(at),
        Some(limit) if known.is_some() => Limit::Given(limit),
        Some(_) => Limit::Missing(missing),
    };
    let sense = Sense::RiseFrom(limits.ambient_degc);
    to.require(Judged::new("balancing.temperature", at, Unit::Celsius, sense, known, held), |_| {
        let hot = celsius(known.unwrap_or(limits.ambient_degc));
        let (limit, ambient) = (celsius(limits.limit_degc.unwrap_or_default()), celsius(limits.ambient_degc));
        let failure = format!("A resistor reaches {hot} at an ambient of {ambient}; {limit} are allowed.");
        Words::new("Temperature of a resistor", format!("while on, ambient {ambient}"), failure)
    });
    let (id, at) = ("balancing.resistor-power", "/limits/resistor_w");
    let limit = limits.resistor_w.map_or(Limit::Missing(at), Limit::Given);
    to.require(Judged::at_most(id, at, Unit::Watt, passive.resistor_w, limit), |_| {
        let (power, rated) = (watt(passive.resistor_w), watt(limits.resistor_w.unwrap_or(0.0)));
        let failure = format!("A bleed resistor loses {power} at {}; it is rated {rated}.", volt(passive.start_v));
        Words::new("Power of a bleed resistor", "while on, its neighbours on too", failure)
    });
}

fn floor(input: &BalancingInput, solved: &Solved, to: &mut Ledger) {
    let (lowest, imbalance) = (solved.floor.and_then(|floor| floor.percent), input.imbalance_percent);
    let limit = match (solved.floor, input.accuracy.error_v) {
        (Some(_), _) => Limit::Given(imbalance),
        (None, None) => Limit::Missing("/accuracy/error_v"),
        (None, Some(_)) => Limit::Missing("/accuracy/slope_v_per_percent"),
    };
    let one = Judged::at_most("balancing.floor", "/accuracy/error_v", Unit::Percent, lowest, limit);
    to.require(one, |_| {
        let (note, failure) = match (solved.floor, lowest.map(percent)) {
            (Some(floor), Some(lowest)) => {
                let error = volt(floor.error_v);
                let slope = Quantity::new(floor.slope_v_per_percent, Unit::VoltPerPercent);
                let (imbalance, enough) = (percent(imbalance), volt(floor.allowed_error_v));
                let wires = if input.has_pause() { "" } else { ", with the drop in the wires, as there is no pause," };
                let failure = format!("{error}{wires} on {slope} hides {lowest}; the imbalance to remove is {imbalance}. Balance where the curve is steeper, or read better than {enough}.");
                ("against the imbalance to remove", failure)
            }
            (Some(_), None) => {
                let failure = "The open-circuit voltage is level where the cells are compared: no voltage tells them apart.";
                ("the curve is level", failure.into())
            }
            (None, _) => ("against the imbalance to remove", String::new()),
        };
        Words::new("Imbalance that cannot be told from zero", note, failure)
    });
}

/// Numbers that no built balancing has: mostly a prefix that slipped. Ranges are common practice, no source.
fn plausible(input: &BalancingInput, solved: &Solved, to: &mut Ledger) {
    let passive = &solved.passive;
    let current = passive.current_a;
    to.warn("balancing.implausible-current", "/bleed_ohm", !(1e-3..=5.0).contains(&current), || {
        format!("A channel bleeds {}. Is a prefix wrong?", ampere(current))
    });
    to.warn("balancing.implausible-power", "/bleed_ohm", passive.board_w > 500.0, || {
        format!("The board gets {}. Is a prefix wrong?", watt(passive.board_w))
    });
    let time = passive.time_h;
    to.warn("balancing.implausible-time", "/capacity_ah", !(0.1..=3000.0).contains(&time), || {
        format!("Removing the imbalance takes {}. Is a prefix wrong?", hour(time))
    });
    to.warn("balancing.implausible-imbalance", "/imbalance_percent", input.imbalance_percent < 0.02, || {
        format!("An imbalance of {} is next to nothing. Is a prefix wrong?", percent(input.imbalance_percent))
    });
    let leak = input.accuracy.leak_mismatch_a;
    let c_rate = leak / input.capacity_ah;
    to.warn(
        "balancing.implausible-leak",
        "/accuracy/leak_mismatch_a",
        c_rate > 1e-4 || (leak > 0.0 && c_rate < 3e-9),
        || {
            let (leak, capacity) = (ampere(leak), Quantity::new(input.capacity_ah, Unit::AmpereHour));
            format!("The leakage of cells of {capacity} parts by {leak}. Is a prefix wrong?")
        },
    );
    if let Some(error) = input.accuracy.error_v {
        to.warn("balancing.implausible-error", "/accuracy/error_v", error > 0.0 && error < 5e-5, || {
            format!("An error of {} of a cell voltage is very small. Is a prefix wrong?", volt(error))
        });
    }
    if let Some(slope) = input.accuracy.slope_v_per_percent {
        to.warn("balancing.implausible-slope", "/accuracy/slope_v_per_percent", !(1e-5..=0.1).contains(&slope), || {
            let slope = Quantity::new(slope, Unit::VoltPerPercent);
            format!("A slope of {slope} is unusual. Is a prefix wrong?")
        });
    }
    let board = input.limits.board_w.filter(|board| *board > 100.0 * passive.board_w);
    to.warn("balancing.implausible-rating", "/limits/board_w", board.is_some(), || {
        let allowed = watt(board.unwrap_or_default());
        format!("The board is allowed {allowed} and gets {}. Is a prefix wrong?", watt(passive.board_w))
    });
    let rated = input.limits.resistor_w.filter(|rated| *rated > 100.0 * passive.resistor_w);
    to.warn("balancing.implausible-resistor", "/limits/resistor_w", rated.is_some(), || {
        let allowed = watt(rated.unwrap_or_default());
        format!("A bleed resistor is rated {allowed} and loses {}. Is a prefix wrong?", watt(passive.resistor_w))
    });
    let long = input.limits.time_h.filter(|limit| *limit > 300.0 * time);
    to.warn("balancing.implausible-allowance", "/limits/time_h", long.is_some(), || {
        format!("{} are allowed for {}. Is a prefix wrong?", hour(long.unwrap_or_default()), hour(time))
    });
    if let Some(active) = &solved.active {
        to.warn("balancing.implausible-transfer", "/active/current_a", !(0.01..=1e4).contains(&active.time_h), || {
            format!("The transfer takes {}. Is a prefix wrong?", hour(active.time_h))
        });
    }
}

pub(super) fn remarks(input: &BalancingInput, solved: &Solved, to: &mut Ledger) {
    plausible(input, solved, to);
    let error = input.accuracy.error_v;
    if let Some(error) = error {
        to.warn("balancing.wire-drop", "/wire_ohm", solved.wire.difference_v > error, || {
            let (own, neighbour, error) = (volt(solved.wire.own_v), volt(solved.wire.neighbour_v), volt(error));
            format!("While on, a cell that bleeds alone reads {own} off, one between two runs {neighbour}; the channel's own error is {error}. Measure in the pauses.")
        });
    }
    let no_pause = input.duty_percent == 100.0 && input.wire_ohm > 0.0;
    to.warn("balancing.no-pause", "/duty_percent", no_pause, || {
        "With a duty of 100 % there is no pause in which the cells are read without the drop in the wires.".into()
    });
    if let Some(active) = &solved.active {
        to.note("balancing.break-even", "/active/standby_w", true, || {
            let (saved, standby) = (watt(active.break_even_w), watt(input.active.standby_w));
            let does = if input.active.standby_w < active.break_even_w { "gains" } else { "loses" };
            format!(
                "Active balancing saves {saved} for the daily need and stands by with {standby}: in energy it {does}."
            )
        });
    }
}
