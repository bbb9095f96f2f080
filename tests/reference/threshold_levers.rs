//! Levers of thresholds, pressed: what is offered turns what failed and makes nothing else fail. The designs are random ones
//! at the edge of their rooms, from the hunt in `tests/python/threshold_designs.py`.

use serde_json::{Value, json};

use super::holds;
use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find;
use sensewright_core::field::Notation;
use sensewright_core::judge::{Check, Verdict};

fn threshold(of: &str, input: &Value) -> Answer {
    let entry = find(&format!("protection/{of}")).expect("it is listed");
    entry.answer(Some(input), Notation::Json).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

fn row<'a>(answer: &'a Answer, id: &str) -> &'a Check {
    answer.requirements.iter().find(|row| row.id == id).unwrap_or_else(|| panic!("no {id}"))
}

fn failing(answer: &Answer) -> Vec<String> {
    let rows = answer.requirements.iter().filter(|row| row.verdict == Verdict::Fails);
    rows.map(|row| row.id.clone()).collect()
}

#[test]
fn what_is_enough_makes_nothing_else_fail() {
    let fast = json!({
        "kind": "short-circuit", "normal_a": 328.797, "hazard_a": 373.86, "error_normal_a": 9.0356,
        "noise_a": 1.0168, "noise_sigma": 0.0, "samples_in_a_row": 3, "sample_rate_hz": 5026.676,
        "rate_a_per_s": 15374.48, "filter_s": 2.0192e-05, "processing_s": 6.3296e-4, "opening_s": 3.5316e-4,
        "allowed_nuisance_per_hour": 0.81351, "missed_share_percent": 3.3, "threshold_a": 340.73,
        "reads_to_a": 354.51,
    });
    let cold = json!({
        "kind": "under-temperature", "normal_degc": 10.793, "hazard_degc": -13.448, "error_normal_k": 0.28585,
        "noise_k": 0.06347, "noise_sigma": 0.0, "samples_in_a_row": 12, "sample_rate_hz": 0.63501,
        "rate_k_per_s": 0.29915, "lag_s": 27.984, "processing_s": 36.825, "opening_s": 6.9799,
        "cell_power_w": 0.0, "cell_to_sensor_k_per_w": 0.55199, "allowed_nuisance_per_hour": 1.2048e-3,
        "missed_share_percent": 0.89091, "error_hazard_k": 0.33832, "threshold_degc": 10.473,
    });
    let mut pressed = 0;
    for (of, input) in [("current", fast), ("temperature", cold)] {
        let answer = threshold(of, &input);
        let before = failing(&answer);
        assert!(!before.is_empty());
        let result = answer.result.tree();
        for lever in result["levers"].as_array().expect("levers") {
            let Some(enough) = lever.get("enough_at").and_then(Value::as_f64) else { continue };
            let mut with = input.clone();
            let id = lever["id"].as_str().expect("a word");
            with[id] = json!(enough);
            let then = failing(&threshold(of, &with));
            assert!(
                then.len() < before.len() && then.iter().all(|id| before.contains(id)),
                "{id}: {before:?} {then:?}"
            );
            pressed += 1;
        }
    }
    assert!(pressed > 0);
}

/// A threshold beyond the range of its channel never trips: no time that is saved makes it.
#[test]
fn nothing_is_offered_beyond_the_range() {
    let beyond = json!({
        "kind": "over-current-discharge", "normal_a": 600.0, "hazard_a": 650.0, "error_normal_a": 14.0, "noise_a": 0.3,
        "rate_a_per_s": 5000.0, "samples_in_a_row": 10, "sample_rate_hz": 1000.0, "threshold_a": 640.0, "reads_to_a": 630.0,
    });
    let answer = threshold("current", &beyond);
    assert_eq!(row(&answer, "protection.beyond-range").verdict, Verdict::Fails);
    let result = answer.result.tree();
    assert!(result["levers"].as_array().expect("levers").iter().all(|lever| lever.get("enough_at").is_none()));
}

/// By hand: 200 A of error at the hazard in charge, 5 kA/s over 10 samples at 1 kHz, 10 ms and 3 ms: 315 A, and noise, of
/// 300 A. In a short circuit without inductance the current is there at once.
#[test]
fn a_charge_error_counts_alone_and_no_loop_is_without_inductance() {
    let charge = json!({
        "kind": "over-current-charge", "normal_a": 600.0, "hazard_a": 1000.0, "error_normal_a": 14.0, "noise_a": 0.3,
        "samples_in_a_row": 10, "sample_rate_hz": 1000.0, "rate_a_per_s": 5000.0, "filter_s": 0.0,
        "processing_s": 0.01, "opening_s": 0.003, "threshold_a": 700.0, "error_charge_hazard_a": 200.0,
        "reads_charge_to_a": 10000.0,
    });
    let answer = threshold("current", &charge);
    let harm = row(&answer, "protection.harm-side");
    assert_eq!(harm.verdict, Verdict::Fails);
    holds(harm.used_percent.expect("a share"), 105.1, 0.15);
    let short = json!({
        "kind": "short-circuit", "normal_a": 600.0, "hazard_a": 1000.0, "error_normal_a": 14.0, "noise_a": 0.3,
        "rate_a_per_s": 5000.0, "samples_in_a_row": 10, "sample_rate_hz": 1000.0, "processing_s": 0.01, "opening_s": 0.003, "threshold_a": 700.0, "fault_v": 400.0,
        "fault_inductance_henry": 0.0, "strongest_fault_a": 3000.0, "reads_to_a": 10000.0,
    });
    assert_eq!(row(&threshold("current", &short), "protection.harm-side").verdict, Verdict::Fails);
}

/// By hand: 5 mV between 4.2 V and the hazard are less than the 24 mV that error and reaction take: no error is small enough
/// alone with the other terms, and operation has to end 19 mV lower.
#[test]
fn operation_moves_by_more_than_the_distance_to_the_hazard() {
    let close = json!({
        "kind": "cell-over-voltage", "normal_v": 4.2, "hazard_v": 4.205, "error_normal_v": 0.006, "noise_v": 0.0,
        "samples_in_a_row": 1, "sample_rate_hz": 1000.0, "rate_v_per_s": 1.0, "filter_s": 0.0, "processing_s": 0.011,
        "opening_s": 0.0,
    });
    let answer = threshold("voltage", &close);
    assert_eq!(row(&answer, "protection.room").verdict, Verdict::Fails);
    let result = answer.result.tree();
    let levers = result["levers"].as_array().expect("levers");
    let enough: Vec<(&str, f64)> =
        levers.iter().filter_map(|lever| Some((lever["id"].as_str()?, lever.get("enough_at")?.as_f64()?))).collect();
    assert_eq!(enough.len(), 1, "{enough:?}");
    assert_eq!(enough[0].0, "normal_v");
    holds(enough[0].1, 4.181, 1e-4);
}

/// A threshold 6 mV below what the reading may be in operation, with a noise of 0.75 mV: 8 σ beyond, it stays tripped, once
/// in each row: 3600 · 10 Hz/2 an hour. No threshold farther inside trips less often.
#[test]
fn what_stays_tripped_is_no_rare_trip() {
    let rate = |threshold_v: f64| {
        let answer = threshold(
            "voltage",
            &json!({
                "kind": "cell-over-voltage", "normal_v": 4.2, "hazard_v": 4.3, "error_normal_v": 0.006, "noise_v": 0.00075,
                "samples_in_a_row": 2, "sample_rate_hz": 10.0, "rate_v_per_s": 0.01, "processing_s": 0.01, "opening_s": 0.01,
                "threshold_v": threshold_v,
            }),
        );
        answer.result.tree().pointer("/judged/nuisance_per_hour").and_then(Value::as_f64).expect("a rate")
    };
    holds(rate(4.2), 18_000.0, 1e-6);
    let rates: Vec<f64> = (0..60).map(|step| rate(4.195 + 2.5e-4 * f64::from(step))).collect();
    assert!(rates.windows(2).all(|pair| pair[1] <= pair[0]), "{rates:?}");
}

/// The ends that a sentence names hold when they are typed.
#[test]
fn the_ends_that_are_named_hold() {
    let mut typed = 0;
    for error in 1..30 {
        let mut input = json!({
            "kind": "over-current-discharge", "normal_a": 600.0, "hazard_a": 1000.0, "error_normal_a": 0.3217 * f64::from(error),
            "noise_a": 0.31, "rate_a_per_s": 5000.0, "samples_in_a_row": 3, "sample_rate_hz": 1000.0, "opening_s": 0.003,
            "processing_s": 1.37e-3,
        });
        let lead = threshold("current", &input).view.lead;
        let words: Vec<&str> = lead.split_whitespace().collect();
        let ends = words.windows(2).filter(|pair| pair[0] == "from" || pair[0] == "to").map(|pair| pair[1]);
        for end in ends.filter_map(|end| end.parse::<f64>().ok()).collect::<Vec<_>>() {
            input["threshold_a"] = json!(end);
            let answer = threshold("current", &input);
            for id in ["protection.nuisance-side", "protection.harm-side"] {
                assert!(row(&answer, id).verdict >= Verdict::Thin, "{lead}: {end}");
            }
            typed += 1;
        }
    }
    assert!(typed > 40, "{typed}");
}
