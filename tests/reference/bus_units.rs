//! Several units on one bus: what one of them meets there when it joins, opens or charges.
//!
//! Sources: Ohm's law by hand with the numbers put in; the worst readings added by hand.

use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::{answer, at, check, holds};

/// 400 V to 300 V, path 0.1 Ω, a contactor that closes on 500 A, readings right to 2 V each.
fn joins(changes: &[(&str, Value)]) -> sensewright_core::calculation::Answer {
    let unit = [
        ("/pack_v", json!(400.0)),
        ("/pack_min_v", json!(300.0)),
        ("/path/resistance_ohm", json!(0.1)),
        ("/path/contactor_making_a", json!(500.0)),
        ("/link_error_v", json!(2.0)),
        ("/pack_error_v", json!(2.0)),
        ("/units_in_parallel", json!(3)),
    ];
    // What is changed to nothing is not said at all.
    let said = unit.iter().filter(|(at, _)| !changes.iter().any(|(change, to)| change == at && to.is_null()));
    let changes = changes.iter().filter(|(_, to)| !to.is_null());
    answer("precharge", &said.chain(changes).cloned().collect::<Vec<_>>())
}

/// By hand: units 30 V apart: 30 V / 0.1 Ω = 300 A, the bus above. 60 V apart: 600 A of 500 A. Where the contactor waits
/// above the pack, too, by a difference of 10 V: perhaps at 10 + 2 + 2 = 14 V either way, 140 A, though 60 V apart.
#[test]
fn a_unit_that_joins_is_level_before_its_contactor_closes() {
    let row = |changes: &[(&str, Value)]| check(&joins(changes), "precharge.joins").verdict;
    let apart = |v: f64| ("/units_apart_v", json!(v));
    let one = joins(&[apart(30.0)]);
    holds(at(&one, "/joining/current_a"), 300.0, 1e-9);
    assert_eq!(at(&one, "/joining/difference_v"), 30.0);
    assert_eq!((row(&[apart(30.0)]), row(&[apart(60.0)])), (Verdict::Holds, Verdict::Fails));
    let waits = [apart(60.0), ("/waits_above", json!(true)), ("/closing_difference_v", json!(10.0))];
    holds(at(&joins(&waits), "/joining/current_a"), 140.0, 1e-9);
    assert_eq!(row(&waits), Verdict::Holds);
}

/// What nobody said is at most the whole range of the pack: 100 V / 0.1 Ω = 1000 A, more than 500 A and less than 1200 A.
/// Without a range it may be anything.
#[test]
fn units_of_which_nobody_says_how_far_they_lie_apart() {
    let row = |changes: &[(&str, Value)]| check(&joins(changes), "precharge.joins").verdict;
    assert_eq!(row(&[]), Verdict::NotJudged);
    let strong = ("/path/contactor_making_a", json!(1200.0));
    assert_eq!(row(std::slice::from_ref(&strong)), Verdict::Holds);
    assert_eq!(row(&[strong, ("/pack_min_v", Value::Null)]), Verdict::NotJudged);
    assert_eq!(row(&[("/path/contactor_making_a", Value::Null)]), Verdict::NotJudged);
    let alone = joins(&[("/units_in_parallel", json!(1))]);
    assert!(alone.requirements.iter().all(|check| check.id != "precharge.joins"));
}

/// A link of 900 µF with a bleeder of 25 kΩ falls by 4.3 % in one second; one that other units hold does not fall at all.
#[test]
fn a_weld_does_not_show_on_a_bus_that_others_hold() {
    let test = |changes: &[(&str, Value)]| {
        let known =
            [("/weld/reading_error_v", json!(1.0)), ("/weld/time_s", json!(1.0)), ("/weld/level_v", json!(10.0))];
        answer("discharge", &[&known[..], changes].concat())
    };
    let (weld, level) = ("discharge.weld-check", "discharge.weld-level");
    let (units, others) = (("/units_in_parallel", json!(4)), |word: &str| ("/weld/others", json!(word)));
    assert_eq!(check(&test(&[]), weld).verdict, Verdict::Holds);
    assert_eq!(check(&test(std::slice::from_ref(&units)), weld).verdict, Verdict::NotJudged);
    assert_eq!(check(&test(&[units.clone(), others("open")]), weld).verdict, Verdict::Holds);
    assert_eq!(check(&test(&[units.clone(), others("open")]), level).verdict, Verdict::Holds);
    let held = test(&[units, others("closed")]);
    assert_eq!((check(&held, weld).verdict, at(&held, "/weld/drop_v")), (Verdict::Fails, 0.0));
    // The discharge begins when the last one is off, and its rows say so.
    for row in ["discharge.active", "discharge.passive", "discharge.resistor-pulse"] {
        assert!(check(&held, row).note.contains("all units off"), "{row}");
        assert!(!check(&test(&[]), row).note.contains("all units off"), "{row}");
    }
    // Alone on its bus there are no others to be asked about.
    assert_eq!(check(&test(&[others("closed")]), weld).verdict, Verdict::Holds);
}

/// A pack that brakes with more than it drives: its detection trips at 700 A in either direction.
#[test]
fn the_peak_of_charging_trips_a_race_too() {
    let row = |charge: f64| {
        let changes = [
            ("/before_a", json!(100.0)),
            ("/threshold_a", json!(700.0)),
            ("/pack_peak_a", json!(400.0)),
            ("/pack_charge_peak_a", json!(charge)),
        ];
        check(&answer("race", &changes), "race.pack-peak").verdict
    };
    assert_eq!((row(0.0), row(300.0), row(720.0)), (Verdict::Holds, Verdict::Holds, Verdict::Fails));
}
