//! A bleeder that is across the link while it charges.
//!
//! Sources: a divider and Thévenin's theorem by hand; scipy 1.17.1 (DOP853, 1e-12) where it is named.

use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find;
use sensewright_core::design::assess::{Assessed, assess};
use sensewright_core::design::prepared::Prepared;
use sensewright_core::field::Notation;
use sensewright_core::judge::{Check, Verdict};
use sensewright_core::work::Work;
use serde_json::{Value, json};

use super::design::changed;
use super::precharge::verdict;
use super::{answer, at, holds, holds_relative};

/// 400 V, 50 Ω, 950 Ω across 1 mF, from 10 V to 80 %, readings that are right.
fn link(changes: &[(&str, Value)]) -> Answer {
    let mut all = vec![
        ("/pack_v", json!(400.0)),
        ("/start_v", json!(10.0)),
        ("/capacitance_farad", json!(1e-3)),
        ("/resistance_ohm", json!(50.0)),
        ("/target_percent", json!(80.0)),
        ("/load/kind", json!("none")),
        ("/load/bleeder_ohm", json!(950.0)),
        ("/link_error_percent", json!(0.0)),
        ("/pack_error_percent", json!(0.0)),
    ];
    all.extend_from_slice(changes);
    answer("precharge", &all)
}

/// 400 V behind 50 Ω and 950 Ω are 380 V behind 47.5 Ω. Alone the bleeder is a load like another; with 1 A beside it the
/// link goes to 332.5 V, with 300 W to 190 V + √(190² − 300 · 47.5) V, and 760 W leave no equilibrium. Times to 320 V and
/// energies in the 50 Ω by scipy.
#[test]
fn it_draws_beside_every_load() {
    let alone = link(&[]);
    holds(at(&alone, "/charge/settle_v"), 380.0, 1e-9);
    holds(at(&alone, "/charge/time_s"), 0.0475 * (370.0_f64 / 60.0).ln(), 1e-12);
    let resistive = link(&[("/load/kind", json!("resistive")), ("/load/resistance_ohm", json!(950.0))]);
    assert_eq!(resistive.result.tree()["charge"], alone.result.tree()["charge"]);
    // The resistive load is all that draws in proportion: the bleeder is part of it, and counts where it alone draws more.
    let less = link(&[("/load/kind", json!("resistive")), ("/load/resistance_ohm", json!(25e3))]);
    assert_eq!(less.result.tree()["charge"], alone.result.tree()["charge"]);
    assert!(less.findings.iter().any(|finding| finding.code == "precharge.bleeder-counts"));

    let current = link(&[("/load/kind", json!("constant-current")), ("/load/current_a", json!(1.0))]);
    holds(at(&current, "/charge/settle_v"), 332.5, 1e-9);
    holds(at(&current, "/charge/time_s"), 0.154_392_788, 5e-10);
    holds(at(&current, "/charge/energy_j"), 103.155_293, 5e-7);
    holds(at(&current, "/limits/largest_current_a"), 60.0 / 47.5, 1e-9);

    let waking = [("/load/power_w", json!(300.0)), ("/load/enable_v", json!(100.0))];
    let power = link(&[&[("/load/kind", json!("constant-power"))], &waking[..]].concat());
    holds(at(&power, "/charge/settle_v"), 190.0 + (190.0_f64 * 190.0 - 300.0 * 47.5).sqrt(), 1e-9);
    holds(at(&power, "/charge/time_s"), 0.164_528_055, 5e-10);
    holds(at(&power, "/charge/energy_j"), 113.322_031, 5e-7);
    holds(at(&power, "/limits/collapse_power_w"), 760.0, 1e-9);
    // What resistor and bleeder leave at 100 V where it wakes: 100 V · (280 V/47.5 Ω).
    holds(at(&power, "/limits/largest_power_w"), (100.0 * 280.0_f64 / 47.5).min(320.0 * 60.0 / 47.5), 1e-9);
}

/// A target above what the bleeder leaves is never reached, whatever else hangs on the link; without it all of them hold.
#[test]
fn what_it_never_lets_reach_does_not_hold() {
    for kind in ["none", "constant-current", "constant-power"] {
        let load = [
            ("/load/kind", json!(kind)),
            ("/load/current_a", json!(1e-3)),
            ("/load/power_w", json!(0.1)),
            ("/load/enable_v", json!(395.0)),
            ("/target_percent", json!(96.0)),
        ];
        assert_eq!(verdict(&link(&load), "precharge.time"), Verdict::Fails, "{kind}");
        let without = [&load[..], &[("/load/bleeder_ohm", json!(1e15))]].concat();
        assert_eq!(verdict(&link(&without), "precharge.time"), Verdict::Holds, "{kind}");
    }
    // A link above the pack comes down through the resistor alone: how much the bleeder helps at least is not known.
    let above = [("/start_v", json!(440.0)), ("/waits_above", json!(true))];
    let down = link(&above);
    holds(at(&down, "/charge/time_s"), 0.0, 0.0);
    let far = link(&[("/start_v", json!(600.0)), ("/waits_above", json!(true))]);
    holds(at(&far, "/slowest/charge/time_s"), 0.05 * (200.0_f64 / 80.0).ln(), 1e-9);
}

/// What draws takes the link down between two attempts: a later one begins at nothing. By hand, without what draws: 400 V, 1 mF
/// from 300 V are ½ · 1 mF · (100² − 10²) V² in the resistor up to 390 V; with a weak bleeder a later one takes all that a
/// link from 0 V does, ½ · 1 mF · (400² − 10²) V² and next to nothing for the bleeder; without a retry there is no later one.
#[test]
fn a_later_attempt_begins_where_the_bleeder_has_taken_the_link() {
    let energy = |retries: u32| {
        let answer = link(&[
            ("/start_v", json!(300.0)),
            ("/target_percent", json!(97.5)),
            ("/resistor/tolerance_percent", json!(0.0)),
            ("/resistor/retries", json!(retries)),
            ("/load/bleeder_ohm", json!(1e9)),
        ]);
        at(&answer, "/attempt/energy_j")
    };
    holds(energy(0), 4.95, 1e-3);
    holds(energy(2), 79.95, 1e-3);
}

fn row<'a>(answer: &'a Assessed, part: &str, id: &str) -> &'a Check {
    let rows = answer.requirements.iter().map(|row| (&answer.parts[row.part].part, &row.check));
    let mut found = rows.filter(|(of, check)| of.pointer() == part && check.id == id).map(|(_, check)| check);
    found.next().unwrap_or_else(|| panic!("{part} {id}"))
}

/// The bleeder of a discharge is on the link of its pre-charge: the lowest of 33 kΩ within 5 % draws beside what is there.
/// What moves it moves the pre-charge, and of one that nobody typed nothing is known.
#[test]
fn a_discharge_brings_its_own() {
    let none = ("/precharge/0/load/kind", json!("none"));
    let strong = ("/discharge/0/passive/resistance_ohm", json!(600.0));
    let settles = |design| {
        let assessed = assess(design).expect("it stands");
        let part = assessed.parts.iter().find(|part| part.part.key() == "precharge.1").expect("there");
        at(&part.answer, "/charge/settle_percent")
    };
    let resistor = |design: &sensewright_core::design::Design| {
        design.part("precharge.1").and_then(|part| part.input["resistance_ohm"].as_f64()).expect("a number")
    };
    let design = changed("night-bus-drive", std::slice::from_ref(&none));
    let lowest = 0.95 * 33e3;
    holds_relative(settles(&design), 100.0 * lowest / (lowest + resistor(&design)), 1e-12);
    let weak = changed("night-bus-drive", &[none.clone(), strong.clone()]);
    holds_relative(settles(&weak), 100.0 * 570.0 / (570.0 + resistor(&weak)), 1e-12);
    let answer = assess(&weak).expect("it stands");
    assert_eq!(row(&answer, "/precharge/0", "precharge.reaches").verdict, Verdict::Fails);
    let part = weak.part("precharge.1").expect("there");
    assert_eq!(weak.origin(part, "/load/bleeder_ohm"), "/discharge/0/passive/resistance_ohm");
    assert_eq!(row(&answer, "/precharge/0", "precharge.time").verdict, Verdict::Fails);
    // One that is not fitted draws nothing.
    let off = changed("night-bus-drive", &[none.clone(), strong, ("/discharge/0/passive/fitted", json!(false))]);
    holds(settles(&off), 100.0, 1e-12);

    let mut prepared = Prepared::new(&design, Work::FREE).expect("it stands");
    let moved = prepared.rejudge("/discharge/0/passive/resistance_ohm", 600.0, Work::FREE).expect("not stopped");
    let place = design.parts.iter().position(|part| part.key() == "precharge.1").expect("there");
    let moved = moved.expect("a number of the design");
    let (_, rows) = moved.iter().find(|(at, _)| *at == place).expect("the pre-charge moves with the bleeder");
    let time = rows.as_ref().expect("it stands").iter().find(|row| row.id == "precharge.time").expect("a row");
    assert!(time.fails());

    let mut open = design;
    let part = open.parts.iter_mut().find(|part| part.key() == "discharge.1").expect("there");
    for input in [&mut part.typed, &mut part.input] {
        input["passive"].as_object_mut().expect("a group").shift_remove("resistance_ohm");
    }
    open.starts = 2;
    let answer = assess(&open).expect("it stands");
    let rows = answer.requirements.iter().filter(|row| answer.parts[row.part].part.key() == "precharge.1");
    for row in rows {
        assert_eq!(row.check.verdict, Verdict::NotJudged, "{}", row.check.id);
    }
}

/// States that only a search finds, each with what a differential equation of its own comes to there (scipy 1.17.1, DOP853
/// with events, and again by fixed steps): what is printed is no less, and what is beyond its limit fails.
#[test]
fn what_is_worst_between_the_corners_is_found() {
    let all: Value = serde_json::from_str(include_str!("precharge_states.json")).expect("states");
    for one in all.as_array().expect("a list") {
        let entry = find("precharge").expect("the calculation");
        let answer = entry.answer(Some(&one["input"]), Notation::Json).unwrap_or_else(|faults| panic!("{faults:#?}"));
        for (id, own) in one["rows"].as_object().expect("rows") {
            let row = answer.requirements.iter().find(|row| row.id == *id);
            let row = row.unwrap_or_else(|| panic!("{}: no {id}", one["state"]));
            assert_eq!(row.verdict, Verdict::Fails, "{}: {id}", one["state"]);
            let own = own.as_f64();
            let least = row.achieved.filter(|achieved| own.is_none_or(|own| *achieved >= own * (1.0 - 5e-3)));
            assert!(own.is_none() || least.is_some(), "{}: {id} {:?}", one["state"], row.achieved);
        }
    }
}
