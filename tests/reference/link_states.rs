//! The pre-charge in the states that hide a worse one: a link that starts above the pack, a resistor at the other end of
//! its tolerance, facts that are not given.
//!
//! Sources: by hand with the numbers put in; a separate script that integrates link and resistor in steps of 1 ms.

use sensewright_core::calculation::Answer;
use sensewright_core::judge::{Check, Verdict};
use serde_json::{Value, json};

use super::{answer, at, holds};

fn precharge(changes: &[(&str, Value)]) -> Answer {
    answer("precharge", changes)
}

fn row<'a>(answer: &'a Answer, id: &str) -> &'a Check {
    answer.requirements.iter().find(|check| check.id == id).unwrap_or_else(|| panic!("no {id}"))
}

/// By hand at 831.6 V: certain at 831.6 + 5 − 20 + 6 = 822.6 V, where 6.1 kΩ take 134.852 mA of 9 V/66 Ω = 136.364 mA: 98.9 %.
/// At 554.4 V the link starts at 700 V and comes down: nothing is asked of the resistor, and that hides nothing.
#[test]
fn a_link_that_starts_above_a_low_pack_does_not_hide_the_highest() {
    for waits in [true, false] {
        let answer = precharge(&[
            ("/pack_min_v", json!(554.4)),
            ("/start_v", json!(700.0)),
            ("/closing_difference_v", json!(20.0)),
            ("/waits_above", json!(waits)),
            ("/link_error_v", json!(6.0)),
            ("/pack_error_v", json!(5.0)),
            ("/load/resistance_ohm", json!(6100.0)),
            ("/resistor/tolerance_percent", json!(10.0)),
            ("/max_time_s", json!(2.0)),
        ]);
        let reaches = row(&answer, "precharge.reaches");
        assert_eq!(reaches.verdict, Verdict::Thin, "{waits}");
        holds(reaches.used_percent.expect("a share"), 98.891, 1e-3);
        holds(at(&answer, "/heaviest/pack_v"), 831.6, 1e-9);
    }
}

/// Separate script, steps of 1 ms, twelve attempts: 273.07 °C at 240 Ω, which takes most energy; 299.17 °C at 160 Ω.
#[test]
fn the_hottest_attempt_is_not_the_one_with_most_energy() {
    let answer = precharge(&[
        ("/capacitance_farad", json!(0.02)),
        ("/resistance_ohm", json!(200.0)),
        ("/max_time_s", json!(29.0)),
        ("/resistor/tolerance_percent", json!(20.0)),
        ("/resistor/heat_j_per_k", json!(20.0)),
        ("/resistor/k_per_w", json!(0.3)),
        ("/resistor/limit_degc", json!(290.0)),
        ("/resistor/repeat_s", json!(60.0)),
        ("/resistor/pulse_j", json!(20e3)),
        ("/resistor/power_w", json!(500.0)),
        ("/link_error_v", json!(0.0)),
        ("/pack_error_v", json!(0.0)),
    ]);
    holds(at(&answer, "/attempt/resistance_ohm"), 240.0, 1e-9);
    holds(at(&answer, "/repeated/body_degc"), 299.17, 0.1);
    assert_eq!(row(&answer, "precharge.temperature").verdict, Verdict::Fails);
}

/// Errors that are not given are not zero: what rests on them does not hold. It fails where it fails even without them.
#[test]
fn errors_of_the_readings_that_are_not_given_are_not_zero() {
    let contactor = [("/path/contactor_making_a", json!(1e3)), ("/path/contactor_inrush_a2s", json!(1e3))];
    let with = |more: &[(&str, Value)]| precharge(&[&contactor, more].concat());
    let rests = ["precharge.time", "precharge.reaches", "precharge.inrush", "precharge.making-current"];
    let bare = with(&[]);
    for id in rests {
        let check = row(&bare, id);
        assert_eq!(check.verdict, Verdict::NotJudged, "{id}");
        assert!(check.missing.as_deref() == Some("/link_error_v"), "{:?}", check.missing);
    }
    let one = with(&[("/link_error_v", json!(2.0))]);
    assert_eq!(row(&one, "precharge.time").missing.as_deref(), Some("/pack_error_v"));
    let both = with(&[("/link_error_v", json!(2.0)), ("/pack_error_v", json!(0.0))]);
    for id in rests {
        assert_ne!(row(&both, id).verdict, Verdict::NotJudged, "{id}");
    }
    let late = with(&[("/max_time_s", json!(0.1))]);
    assert_eq!(row(&late, "precharge.time").verdict, Verdict::Fails);
}

/// One row for each fact that is missing: the limit of a body whose heat is known, and both ratings of the contactor.
#[test]
fn a_limit_that_is_missing_is_a_row() {
    let errors = [("/link_error_v", json!(2.0)), ("/pack_error_v", json!(2.0))];
    let with = |more: &[(&str, Value)]| precharge(&[&errors, more].concat());
    let body = [("/resistor/heat_j_per_k", json!(100.0)), ("/resistor/k_per_w", json!(1.0))];
    assert_eq!(row(&with(&body), "precharge.temperature").verdict, Verdict::NotJudged);
    let cold = with(&body[..1]);
    assert!(cold.requirements.iter().all(|check| check.id != "precharge.temperature"));
    let making = with(&[("/path/contactor_making_a", json!(1e3))]);
    assert_eq!(row(&making, "precharge.inrush").verdict, Verdict::NotJudged);
    let squared = with(&[("/path/contactor_inrush_a2s", json!(1e3))]);
    assert_eq!(row(&squared, "precharge.making-current").verdict, Verdict::NotJudged);
}
