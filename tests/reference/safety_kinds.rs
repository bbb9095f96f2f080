//! Kinds of check that look at something else than a difference of readings: closed forms of what each sees, leaves unseen and
//! alarms without a fault.

use sensewright_core::calculation::Answer;
use serde_json::{Value, json};

use super::safety::evidence;
use super::{at, holds, holds_relative};

/// A check of a current with what is typed of it.
fn check(typed: &Value) -> Value {
    let mut check = json!({"name": "Check", "reads": "current", "interval_s": 0.01, "in_a_row": 1, "noise_a": 0.0});
    check.as_object_mut().expect("a check").extend(typed.as_object().expect("fields").clone());
    check
}

/// A shunt channel at 400 A, one mode of it, one check; low readings are dangerous from so many amperes on.
fn current(fault: &Value, harm_a: f64, typed: &Value) -> Answer {
    let mut mode = json!({"component": "Part", "mode": "one", "rate_fit": 5.0});
    mode.as_object_mut().expect("a mode").extend(fault.as_object().expect("fields").clone());
    evidence(&[
        (
            "/goals",
            json!([{"name": "G", "asil": "c", "reads": "current", "dangerous": "low", "harm_a": harm_a, "at_a": 400.0,
                    "ftti_s": 1e5, "reaction_s": 0.0}]),
        ),
        (
            "/current",
            json!({"shunt_ohm": 35e-6, "leg_ohm": 10.0, "input_ohm": 50e3, "filter_farad": 100e-9, "bias_current_a": 50e-9,
                    "full_at_a": 1428.0, "full_charge_a": 1428.0, "peak_a": 600.0, "charge_peak_a": 400.0, "error_a": 0.1}),
        ),
        ("/faults", json!([mode])),
        ("/checks", json!([check(typed)])),
    ])
}

fn covered(done: &Answer) -> f64 {
    done.result.tree().pointer("/modes/0/dc_computed_percent").and_then(Value::as_f64).unwrap_or(0.0)
}

fn finds(done: &Answer, code: &str) -> bool {
    done.findings.iter().any(|finding| finding.code == code)
}

/// Closed form: 1000 A/s against 500 A/s of normal use, 10 ms, 0.2 A and 4.5 standard deviations of a difference: seen from
/// 15 + 6.364 · 0.2 A on. What comes slowly is never seen.
#[test]
fn a_rate_sees_steps_alone() {
    let typed = json!({"kind": "rate", "rate_a_per_s": 1000.0, "slope_a_per_s": 500.0, "noise_a": 0.2});
    let shorted = current(&json!({"insert": "sense-short"}), 20.0, &typed);
    let noise = 4.5 * std::f64::consts::SQRT_2 * 0.2;
    holds(at(&shorted, "/checks/0/certain_low"), 15.0 + noise, 1e-9);
    holds(at(&shorted, "/checks/0/least_limit"), 5.0 + noise, 1e-9);
    holds(covered(&shorted), 100.0, 1e-9);
    for slow in [json!({"insert": "shunt-drift"}), json!({"from_a": -50.0, "seen_by": "Check"})] {
        assert!(covered(&current(&slow, 20.0, &typed)) == 0.0, "{slow}");
    }
    let typed_step = json!({"from_a": -50.0, "seen_by": "Check", "comes": "at-once"});
    holds(covered(&current(&typed_step, 20.0, &typed)), 100.0, 1e-9);
    // A window of 40 ms shows a quarter of a step in 10 ms, a low-pass of 10 ms (1 − a)/(2 − a) with a = 1/e.
    for (extra, factor) in [("averaging_s", 4.0), ("low_pass_s", (2.0 - (-1.0_f64).exp()) / (1.0 - (-1.0_f64).exp()))] {
        let mut spread = typed.clone();
        spread[extra] = json!(if extra == "averaging_s" { 0.04 } else { 0.01 });
        let done = current(&json!({"insert": "sense-short"}), 20.0, &spread);
        holds(at(&done, "/checks/0/certain_low"), factor * (15.0 + noise), 1e-9);
    }
}

/// Quadrature of the normal distribution by an independent library: the noise of the sample that is held is in every look.
#[test]
fn a_rate_alarms_by_noise() {
    for (in_a_row, limit, expected) in [(1, 600.0, 73.251_363), (2, 560.0, 2.182_249_9), (3, 530.0, 75.838_229)] {
        let typed = json!({"kind": "rate", "rate_a_per_s": limit, "slope_a_per_s": 500.0, "noise_a": 0.2,
            "in_a_row": in_a_row, "held_against": "last-accepted"});
        let done = current(&json!({"insert": "sense-short"}), 20.0, &typed);
        holds_relative(at(&done, "/checks/0/false_per_hour"), expected, 1e-4);
    }
}

/// By definition: after one sample beyond the limit the next one stands beside it, so that several in a row never come; the last
/// accepted one is held, and three looks take three times the step.
#[test]
fn a_rate_in_a_row_needs_the_last_accepted_sample() {
    let of = |held: &str| {
        let typed = json!({"kind": "rate", "rate_a_per_s": 1000.0, "slope_a_per_s": 500.0, "in_a_row": 3,
            "held_against": held});
        current(&json!({"insert": "sense-short"}), 20.0, &typed)
    };
    let (blind, sees) = (of("last-sample"), of("last-accepted"));
    assert!(covered(&blind) == 0.0 && finds(&blind, "safety.rate-debounced"));
    assert!(blind.result.tree().pointer("/checks/0/certain_low").is_none());
    holds(covered(&sees), 100.0, 1e-9);
    holds(at(&sees, "/checks/0/certain_low"), 45.0, 1e-9);
    assert!(!finds(&sees, "safety.rate-debounced"));
}

/// Nodal analysis: 1 µA through 50 kΩ across the input passes 5 mV from a joint of 5535.6 Ω on, which costs 9.964 % of the
/// reading; with a bias current of 50 nA of either sign 32.88 or 47.12 A of 400 A. The filter settles in 5 · 50 kΩ · 100 nF.
#[test]
fn an_open_wire_is_tested() {
    let typed = json!({"kind": "open-wire", "test_current_a": 1e-6, "limit_v": 5e-3, "error_v": 0.0, "noise_v": 0.0});
    let joint = json!({"insert": "sense-resistive"});
    let done = current(&joint, 20.0, &typed);
    holds_relative(at(&done, "/checks/0/left_ohm"), 5535.6, 1e-4);
    holds_relative(at(&done, "/checks/0/left_percent"), -9.964, 1e-4);
    holds_relative(at(&done, "/checks/0/least_limit"), 1e-6 * 20.0 / (1.0 + 20.0 / 50e3), 1e-9);
    holds(covered(&done), 75.809, 0.02);
    holds_relative(at(&done, "/modes/0/unseen_to"), 47.117, 1e-3);
    holds(at(&done, "/modes/0/time_s"), 0.025 + 0.01, 1e-9);
    // Broken off it is seen whatever it reads; a drift of the shunt is not.
    holds(covered(&current(&json!({"insert": "sense-open"}), 20.0, &typed)), 100.0, 1e-9);
    assert!(covered(&current(&json!({"insert": "shunt-drift"}), 20.0, &typed)) == 0.0);
}

/// Beta equation by hand: 1 µA through a thermistor that is never colder than −30 °C, 135.2 kΩ, and an open one that leaks.
#[test]
fn an_open_thermistor_is_tested() {
    let coldest = 10e3 * f64::exp(3435.0 * (1.0 / 243.15 - 1.0 / 298.15));
    let of = |from_ohm: f64| {
        evidence(&[
            (
                "/goals",
                json!([{"name": "G", "asil": "b", "reads": "temperature", "dangerous": "low", "harm_k": 5.0, "at_degc": 60.0,
                        "ftti_s": 10.0, "reaction_s": 0.0}]),
            ),
            ("/temperature", json!({"r25_ohm": 10e3, "beta_k": 3435.0, "coldest_degc": -30.0})),
            (
                "/faults",
                json!([{"component": "Thermistor", "mode": "open", "rate_fit": 5.0, "insert": "thermistor-open",
                        "from_ohm": from_ohm, "to_ohm": 10e6, "law": "log-uniform"}]),
            ),
            (
                "/checks",
                json!([{"name": "Wire", "kind": "open-wire", "reads": "temperature", "test_current_a": 1e-6,
                        "limit_v": 0.18, "error_v": 0.02, "noise_v": 0.0}]),
            ),
        ])
    };
    let done = of(20e3);
    holds_relative(at(&done, "/checks/0/least_limit"), 1e-6 * coldest + 0.02, 1e-9);
    // Seen from 200 kΩ on: of 20 kΩ to 10 MΩ ln 50/ln 500.
    holds(covered(&done), 100.0 * 50_f64.ln() / 500_f64.ln(), 0.02);
    holds(covered(&of(200e3)), 100.0, 1e-6);
}

/// Closed form of one thermal body: 5 K/W · 35 µΩ · 400² A² = 28 K; 4 K show from 151.2 A on, a gain below √(1 − 4/28), a lost
/// current after −τ ln(1 − 4/28).
#[test]
fn the_heat_of_a_shunt_tells_a_lost_current() {
    let typed = |tau: f64| {
        json!({"kind": "current-heat", "heat_k_per_w": 5.0, "limit_k": 3.0, "error_k": 1.0, "noise_k": 0.0,
            "low_pass_s": tau})
    };
    let lost = current(&json!({"insert": "sense-short"}), 20.0, &typed(10.0));
    holds_relative(at(&lost, "/checks/0/lost_from_a"), (4.0_f64 / (5.0 * 35e-6)).sqrt(), 1e-9);
    holds_relative(at(&lost, "/modes/0/time_s"), -10.0 * (1.0_f64 - 4.0 / 28.0).ln() + 0.01, 1e-9);
    let gain = (1.0_f64 - 4.0 / 28.0).sqrt();
    let drift = current(&json!({"from_a": -200.0, "to_a": 0.0, "seen_by": "Check"}), 20.0, &typed(0.0));
    holds(covered(&drift), 100.0 * (200.0 - 400.0 * (1.0 - gain)) / 180.0, 1e-2);
    // Swapped wires warm the shunt as the reading says.
    assert!(covered(&current(&json!({"insert": "sense-swap"}), 20.0, &typed(0.0))) == 0.0);
}

/// Closed form: 20 to 40 mΩ between 15 and 50 mΩ, 2 mΩ uncertain. A current that is read too small shows from 20/52 of it down.
/// What is stuck has no step.
#[test]
fn a_step_shows_a_gain() {
    let typed = json!({"kind": "step-resistance", "resistance_low_ohm": 0.02, "resistance_high_ohm": 0.04, "low_ohm": 0.015,
        "high_ohm": 0.05, "error_ohm": 0.002, "noise_v": 0.0, "noise_a": 0.0, "step_a": 200.0});
    let gain = current(&json!({"insert": "converter-gain", "from_percent": -90.0, "to_percent": 0.0}), 40.0, &typed);
    // The filter and the bias leave 399.84 A, ±71.4 mA, of 400 A: 40 A are missed a little sooner.
    let seen = 90.0 - 100.0 * (1.0 - 20.0 / 52.0 * 1.0004);
    holds(covered(&gain), 100.0 * seen / (90.0 - 10.0), 0.1);
    assert!(covered(&current(&json!({"insert": "converter-stuck"}), 40.0, &typed)) == 0.0);
    // Too small a step starts nothing.
    let mut least = typed.clone();
    least["step_from_a"] = json!(100.0);
    let part = current(&json!({"insert": "converter-gain", "from_percent": -90.0, "to_percent": 0.0}), 40.0, &least);
    assert!(covered(&part) == 0.0, "a step that is read as 77 A starts no check");
    holds(at(&gain, "/checks/0/false_per_hour"), 0.0, 1e-12);
}

/// Closed form: two anchors of 2 % of 60 Ah, a day apart, and 0.1 A: 4.8 Ah are the least limit, 0.4 A are seen where a whole day
/// has them, which is 4 · 0.02 · 60/(0.4 − 2 · 0.1) h: what begins behind an anchor has to wait for the one after the next. A
/// gain gives back what it takes.
#[test]
fn a_charge_that_does_not_close() {
    let typed =
        json!({"kind": "closure", "limit_ah": 4.8, "capacity_ah": 60.0, "anchor_percent": 2.0, "interval_s": 86_400.0});
    let offset = current(&json!({"from_a": -2.0, "to_a": 0.0, "seen_by": "Check"}), 0.4, &typed);
    let patient = |changes: Value| {
        let goal = json!([{"name": "G", "asil": "c", "reads": "current", "dangerous": "low", "harm_a": 0.4, "at_a": 400.0,
            "ftti_s": 172_801.0, "reaction_s": 0.0}]);
        let mode = json!([{"component": "Part", "mode": "one", "rate_fit": 5.0, "from_a": -2.0, "to_a": 0.0, "seen_by": "Check"}]);
        let current = json!({"error_a": 0.1});
        evidence(&[("/goals", goal), ("/faults", mode), ("/current", current), ("/checks", json!([check(&changes)]))])
    };
    holds(at(&offset, "/checks/0/certain_low"), 0.4, 1e-12);
    holds(at(&offset, "/checks/0/latest_s"), 172_800.0, 1e-6);
    holds(at(&offset, "/checks/0/false_per_hour"), 0.0, 1e-12);
    // In 100,000 s it may be gathered for 13,600 s alone: from 0.4 · 86,400/13,600 = 2.54 A on.
    holds(covered(&offset), 0.0, 0.0);
    holds(covered(&patient(typed.clone())), 100.0, 1e-6);
    assert!(covered(&current(&json!({"insert": "converter-gain"}), 0.4, &typed)) == 0.0);
    let mut narrow = typed.clone();
    narrow["limit_ah"] = json!(4.7);
    let done = current(&json!({"from_a": -2.0, "seen_by": "Check"}), 0.4, &narrow);
    holds_relative(at(&done, "/checks/0/false_per_hour"), 1.0 / 24.0, 1e-9);
}

/// By definition: a stuck code is seen after so many equal ones, whatever it reads.
#[test]
fn a_stuck_code_is_seen() {
    let typed = json!({"kind": "stuck-code", "equal_codes": 20, "noise_steps": 0.5});
    let done = current(&json!({"insert": "converter-stuck"}), 20.0, &typed);
    holds(covered(&done), 100.0, 1e-9);
    holds(at(&done, "/modes/0/dc_used_percent"), 90.0, 1e-9);
    holds(at(&done, "/modes/0/time_s"), 0.2, 1e-9);
    assert!(covered(&current(&json!({"insert": "shunt-drift"}), 20.0, &typed)) == 0.0);
}

/// By definition: a kind of check is about certain quantities.
#[test]
fn a_kind_is_about_a_quantity() {
    let entry = sensewright_core::catalogue::find("safety").expect("a calculation");
    for (kind, reads) in [("closure", "voltage"), ("sum-of-cells", "current"), ("open-wire", "voltage")] {
        let mut input = Value::Object(entry.start().clone());
        sensewright_tests::put(&mut input, "/checks", json!([{"name": "Check", "kind": kind, "reads": reads}]));
        sensewright_tests::put(&mut input, "/faults", json!([]));
        let faults = entry.answer(Some(&input), sensewright_core::field::Notation::Json).expect_err("it is refused");
        assert!(faults.iter().any(|fault| fault.field == "/checks/0/reads"), "{kind}: {faults:#?}");
    }
}
