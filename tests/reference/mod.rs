//! Numbers from outside the code, each with its source beside it. Tolerances are the digits the source prints.

mod balancing;
mod bus_units;
mod calibrated;
mod channel_filter;
mod charge_counting;
mod charge_course;
mod charge_design;
mod charge_health;
mod charge_verdicts;
mod compare;
mod conformity;
mod converter;
mod current_channel;
mod design;
mod discharge;
mod divider;
mod facts;
mod golden;
mod isolation;
mod isolation_bus;
mod isolation_design;
mod isolation_supply;
mod left_out;
mod link_slips;
mod link_states;
mod links;
mod precharge;
mod precharge_bleeder;
mod precharge_resistor;
mod profile;
mod protection;
mod race;
mod race_broken;
mod race_link;
mod ripple;
mod safety;
mod safety_compared;
mod safety_follow;
mod safety_held;
mod safety_inserted;
mod safety_kinds;
mod safety_modes;
mod safety_pairs;
mod safety_parts;
mod safety_second;
mod safety_shares;
mod safety_thresholds;
mod shunt;
mod thermistor;
mod thermistor_table;
mod threshold_levers;
mod ticket;
mod trip_curve;
mod uncertainty;
mod unknown;
mod voltage_channel;
mod without_cells;

use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find;
use sensewright_core::field::Notation;
use sensewright_core::judge::Check;
use serde_json::Value;

/// The answer to the example input with some values replaced.
fn answer(slug: &str, changes: &[(&str, Value)]) -> Answer {
    let entry = find(slug).unwrap_or_else(|| panic!("no calculation {slug}"));
    let mut input = Value::Object(entry.start().clone());
    for (pointer, value) in changes {
        sensewright_tests::put(&mut input, pointer, value.clone());
    }
    entry.answer(Some(&input), Notation::Json).unwrap_or_else(|faults| panic!("{slug}: {faults:#?}"))
}

/// A requirement of the answer.
#[track_caller]
fn check(answer: &Answer, id: &str) -> Check {
    let all = &answer.requirements;
    all.iter().find(|check| check.id == id).unwrap_or_else(|| panic!("no {id} in {all:#?}")).clone()
}

/// A number of the result.
fn at(answer: &Answer, pointer: &str) -> f64 {
    answer
        .result
        .tree()
        .pointer(pointer)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("no {pointer} in {}", answer.result.tree()))
}

/// Holds a value to a source: `within` is half a unit of the last digit it prints.
#[track_caller]
fn holds(value: f64, source: f64, within: f64) {
    assert!((value - source).abs() <= within, "{value} is not {source} ± {within}");
}

/// The same with a relative tolerance, for sources that state one.
#[track_caller]
fn holds_relative(value: f64, source: f64, relative: f64) {
    holds(value, source, (source * relative).abs());
}
