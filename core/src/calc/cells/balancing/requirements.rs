//! What is required of balancing, and what is noted.

use super::{BalancingInput, Solved};
use crate::judge::{Judged, Ledger, Sense, Words};
use crate::quantity::{Quantity, Unit, ampere, celsius, hour, percent, volt, watt};
use crate::report::{Finding, Severity};

pub(super) fn requirements(input: &BalancingInput, solved: &Solved, to: &mut Ledger) {
    let (limits, passive) = (&input.limits, &solved.passive);
    if let Some(limit) = limits.time_h {
        to.require(Judged::at_most("balancing.time", "/limits/time_h", Unit::Hour, passive.time_h, limit), |_| {
            let (imbalance, time, limit) = (percent(input.imbalance_percent), hour(passive.time_h), hour(limit));
            let failure = format!("Removing {imbalance} takes {time}; {limit} are allowed.");
            Words::new("Time to remove the imbalance", format!("{imbalance} of one cell"), failure)
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
    if let (Some(limit), Some(hot)) = (limits.limit_degc, passive.hottest_degc()) {
        let sense = Sense::RiseFrom(limits.ambient_degc);
        let one = Judged::new("balancing.temperature", "/limits/limit_degc", Unit::Celsius, sense, hot, limit);
        to.require(one, |_| {
            let (hot, limit, ambient) = (celsius(hot), celsius(limit), celsius(limits.ambient_degc));
            let failure = format!("A resistor reaches {hot} at an ambient of {ambient}; {limit} are allowed.");
            Words::new("Temperature of a resistor", format!("steady, ambient {ambient}"), failure)
        });
    }
    if let Some(floor) = &solved.floor {
        let (lowest, imbalance) = (floor.percent, input.imbalance_percent);
        let one = Judged::at_most("balancing.floor", "/accuracy/error_v", Unit::Percent, lowest, imbalance);
        to.require(one, |_| {
            let (note, failure) = match lowest.map(percent) {
                Some(lowest) => {
                    let error = volt(input.accuracy.error_v.unwrap_or(0.0));
                    let slope = Quantity::new(floor.slope_v_per_percent, Unit::VoltPerPercent);
                    let (imbalance, enough) = (percent(imbalance), volt(floor.allowed_error_v));
                    let failure = format!("{error} on {slope} hides {lowest}; the imbalance to remove is {imbalance}. Balance where the curve is steeper, or read better than {enough}.");
                    ("against the imbalance to remove", failure)
                }
                None => {
                    let failure = "The open-circuit voltage is level where the cells are compared: no voltage tells them apart.";
                    ("the curve is level", failure.into())
                }
            };
            Words::new("Imbalance that cannot be told from zero", note, failure)
        });
    }
    let (leak, mean) = (input.accuracy.leak_mismatch_a, solved.passive.mean_a(input));
    let one = Judged::at_most("balancing.leak-outruns", "/accuracy/leak_mismatch_a", Unit::Ampere, leak, mean);
    to.require(one, |_| {
        let (leak, mean) = (ampere(leak), ampere(mean));
        let failure = format!("The cells part by {leak}, bleeding takes {mean} on average: it never gains on them.");
        Words::new("Bleeding gains on the leakage", "mismatch of the leakage against the mean bleed current", failure)
    });
}

pub(super) fn remarks(input: &BalancingInput, solved: &Solved, to: &mut Ledger) {
    let (error, unknown) = (input.accuracy.error_v, solved.floor.is_none());
    to.note("balancing.no-slope", "/accuracy/slope_v_per_percent", unknown && error.is_some(), || {
        "The slope of the open-circuit voltage is not known: the floor is left out. Enter it, or points of the curve."
            .into()
    });
    to.note("balancing.no-error", "/accuracy/error_v", unknown && error.is_none(), || {
        "The error of the cell voltage is not given: the smallest imbalance that can be seen is left out.".into()
    });
    if let Some(limit) = input.limits.limit_degc.filter(|_| input.limits.resistor_k_per_w.is_none()) {
        to.remark(|| {
            let limit = celsius(limit);
            let (severity, message) = match solved.passive.board_degc.map(celsius) {
                None => (
                    Severity::Warn,
                    format!("The allowed {limit} are not judged: the thermal resistance of a resistor is not given."),
                ),
                Some(board) => (
                    Severity::Note,
                    format!("The allowed {limit} are judged at the board's {board}: the rise of a resistor above it is not given."),
                ),
            };
            Finding::new(severity, "balancing.no-thermal-resistance", message).at("/limits/resistor_k_per_w")
        });
    }
    if let Some(error) = error {
        to.warn("balancing.wire-drop", "/wire_ohm", solved.wire.difference_v > error, || {
            let (own, neighbour, error) = (volt(solved.wire.own_v), volt(solved.wire.neighbour_v), volt(error));
            format!("While on, the bled cell reads {own} and each neighbour {neighbour} off; the channel's own error is {error}. Measure in the pauses.")
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
