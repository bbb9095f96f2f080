//! Rooms for thresholds against printed results of worked examples, printed factors and closed forms.
//!
//! Sources: printed results of five worked examples (an 800 V car, a 400 V van, a telecom shelf with a relay and others),
//! to half of their last digit; JCGM 106:2012 clause 7.3 (figures from memory, recomputed); tables of the normal
//! distribution.

use serde_json::{Value, json};

use super::{answer, at, holds, holds_relative};
use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find;
use sensewright_core::field::Notation;

fn voltage(changes: &[(&str, Value)]) -> Answer {
    answer("protection/voltage", changes)
}

fn temperature(changes: &[(&str, Value)]) -> Answer {
    // The worked examples count no time of samples.
    let mut all = vec![("/sample_rate_hz", json!(1e9))];
    all.extend(changes.iter().cloned());
    answer("protection/temperature", &all)
}

fn codes(answer: &Answer) -> Vec<&str> {
    answer.findings.iter().map(|finding| finding.code.as_str()).collect()
}

fn lever<'a>(answer: &'a Answer, id: &str) -> &'a Value {
    let levers = answer.result.pointer("/levers").and_then(Value::as_array).expect("levers");
    levers.iter().find(|lever| lever["id"] == id).unwrap_or_else(|| panic!("no {id} in {levers:#?}"))
}

/// Printed results of the worked examples: 4206.2 … 4291.0 mV, width 84.8; 3658.2 … 3775.0, 116.8; 3562.5 … 3736.0, 173.5;
/// and 4218.75, 4259, 40.25 mV. The debounce times are 1, 2, 3 and 1.5 s.
#[test]
fn over_voltage_of_a_cell_in_four_worked_examples() {
    for (given, printed, within) in [
        ([4.2, 4.3, 4e-3, 0.5e-3, 5e-3, 10.0], [4206.2, 4291.0, 84.8], 0.0501),
        ([3.65, 3.8, 5e-3, 0.7e-3, 10e-3, 20.0], [3658.2, 3775.0, 116.8], 0.0501),
        ([3.55, 3.75, 8e-3, 1e-3, 2e-3, 30.0], [3562.5, 3736.0, 173.5], 0.0501),
        ([4.2, 4.28, 12e-3, 1.5e-3, 6e-3, 15.0], [4218.75, 4259.0, 40.25], 1e-9),
    ] {
        let [normal, hazard, error, noise, rate, samples] = given;
        let answer = voltage(&[
            ("/normal_v", json!(normal)),
            ("/hazard_v", json!(hazard)),
            ("/error_normal_v", json!(error)),
            ("/noise_v", json!(noise)),
            ("/rate_v_per_s", json!(rate)),
            ("/samples_in_a_row", json!(samples)),
        ]);
        holds(at(&answer, "/low_edge") * 1e3, printed[0], within);
        holds(at(&answer, "/high_edge") * 1e3, printed[1], within);
        holds(at(&answer, "/width") * 1e3, printed[2], within);
        holds(at(&answer, "/suggested"), f64::midpoint(at(&answer, "/low_edge"), at(&answer, "/high_edge")), 1e-12);
    }
}

/// Printed results of the worked examples: 52.84 and 52.36 °C, empty by 0.47 K; 51.04, 53.26, 2.22 K; 56.14, 56.56, 0.42 K.
/// Their error is worked out here by first-order closed forms: 1 % of R is 0.01 T²/B, 1 % of B is 0.01 T (1 − T/298.15 K)
/// in size, the pull-up acts as R does, and two codes of a 12-bit converter are 2/(4096 x (1 − x) B/T²), x = R/(R + R_p).
fn thermistor_error(b: f64, pull_up_percent: f64) -> f64 {
    let t = 60.0 + 273.15;
    let x = 1.0 / (1.0 + (-b * (1.0 / t - 1.0 / 298.15)).exp());
    let codes = 2.0 / (4096.0 * x * (1.0 - x) * b / (t * t));
    (0.01 + pull_up_percent / 100.0) * t * t / b + 0.01 * t * (t / 298.15 - 1.0) + codes
}

#[test]
fn over_temperature_in_three_worked_examples() {
    for (given, printed) in [
        ([52.0, thermistor_error(3435.0, 0.1), 0.3, 12.0, 4.0, 0.8], [52.84, 52.36, -0.47]),
        ([50.0, thermistor_error(3950.0, 1.0), 0.15, 18.0, 3.0, 1.0], [51.04, 53.26, 2.22]),
        ([55.0, thermistor_error(3380.0, 1.0), 0.02, 25.0, 1.2, 1.5], [56.14, 56.56, 0.42]),
    ] {
        let [normal, error, rate, lag, power, path] = given;
        let answer = temperature(&[
            ("/normal_degc", json!(normal)),
            ("/error_normal_k", json!(error)),
            ("/rate_k_per_s", json!(rate)),
            ("/lag_s", json!(lag)),
            ("/cell_power_w", json!(power)),
            ("/cell_to_sensor_k_per_w", json!(path)),
        ]);
        holds(at(&answer, "/low_edge"), printed[0], 5e-3);
        holds(at(&answer, "/high_edge"), printed[1], 5e-3);
        holds(at(&answer, "/width"), printed[2], 5e-3);
        assert_eq!(codes(&answer).contains(&"protection.entry"), printed[2] < 0.0);
        assert_eq!(answer.cautions.is_empty(), printed[2] >= 0.0);
    }
}

/// Printed derivatives: dw/de = −2, dw/dt = −r, dw/dτ = −r; and by hand: 12 s → 8 s gives 0.3 K/s · 4 s = 1.20 K.
#[test]
fn levers_open_the_room_exactly() {
    let car = |changes: &[(&str, Value)]| {
        let mut all = vec![("/error_normal_k", json!(0.8365))];
        all.extend(changes.iter().cloned());
        temperature(&all)
    };
    let empty = car(&[]);
    holds(lever(&empty, "error_normal_k")["width_per_unit"].as_f64().expect("it"), -2.0, 1e-12);
    holds(lever(&empty, "lag_s")["width_per_unit"].as_f64().expect("it"), -0.3, 1e-12);
    holds(at(&car(&[("/lag_s", json!(8.0))]), "/width") - at(&empty, "/width"), 1.2, 1e-9);
    let levers = empty.result.pointer("/levers").and_then(Value::as_array).expect("levers").clone();
    let mut last = 0.0;
    let mut opened = 0;
    for lever in &levers {
        let Some(enough) = lever.get("enough_at").and_then(Value::as_f64) else { continue };
        let change = lever["change_percent"].as_f64().expect("a change");
        assert!(change >= last, "cheapest first");
        last = change;
        let pointer = lever["field"].as_str().expect("a field");
        holds(at(&car(&[(pointer, json!(enough))]), "/width"), 0.0, 1e-9);
        opened += 1;
    }
    // Error, slope, lag, loss, path and the normal extreme; the samples take too little.
    assert_eq!(opened, 6, "{levers:#?}");
}

#[test]
fn fewer_samples_and_faster_samples_are_enough() {
    let short = |changes: &[(&str, Value)]| {
        let mut all = vec![
            ("/hazard_v", json!(4.28)),
            ("/error_normal_v", json!(20e-3)),
            ("/rate_v_per_s", json!(60e-3)),
            ("/sample_rate_hz", json!(20.0)),
            ("/samples_in_a_row", json!(15)),
        ];
        all.extend(changes.iter().cloned());
        voltage(&all)
    };
    // 80 − 40 − 2.25 − 60 mV/s · 0.75 s = −7.25 mV.
    holds(at(&short(&[]), "/width"), -7.25e-3, 1e-12);
    let fewer = lever(&short(&[]), "samples_in_a_row")["enough_at"].clone();
    // 37.75 mV leave 0.629 s, 12 samples.
    assert_eq!(fewer, json!(12.0));
    assert!(at(&short(&[("/samples_in_a_row", json!(12))]), "/width") >= 0.0);
    assert!(at(&short(&[("/samples_in_a_row", json!(13))]), "/width") < 0.0);
    let faster = lever(&short(&[]), "sample_rate_hz")["enough_at"].clone();
    holds(at(&short(&[("/sample_rate_hz", faster)]), "/width"), 0.0, 1e-12);
}

/// A mistake, with its printed number: three sigma at 1 kS/s trip 1.35 times a second.
#[test]
fn three_sigma_at_a_thousand_samples_a_second() {
    let at_three = |samples: u32| {
        voltage(&[
            ("/threshold_v", json!(4.2055)),
            ("/sample_rate_hz", json!(1000.0)),
            ("/samples_in_a_row", json!(samples)),
        ])
    };
    let once = at_three(1);
    holds(at(&once, "/judged/noise_sigma"), 3.0, 1e-9);
    holds(at(&once, "/judged/nuisance_per_hour") / 3600.0, 1.35, 5e-3);
    assert!(codes(&once).contains(&"protection.nuisance-rate-high"));
    // Q(3) = 0.00134990, tables of the normal distribution.
    holds(at(&once, "/judged/nuisance_per_sample"), 0.001_349_90, 5e-9);
    holds_relative(at(&at_three(3), "/judged/nuisance_per_hour"), 3.6e6 * 0.001_349_898f64.powi(3), 1e-5);
}

/// Rice's rate of level crossings, f_0 exp(−z²/2): 100 Hz at three sigma cross 1.1109 times a second, by hand.
#[test]
fn slow_noise_is_counted_by_its_crossings() {
    let slow = |bandwidth: f64| {
        voltage(&[
            ("/threshold_v", json!(4.2055)),
            ("/sample_rate_hz", json!(1000.0)),
            ("/noise_bandwidth_hz", json!(bandwidth)),
        ])
    };
    holds(at(&slow(100.0), "/judged/crossings_per_hour") / 3600.0, 1.1109, 5e-5);
    // Ten samples in a row seem to help where they are alike: neighbours correlate by more than one half below 159 Hz.
    assert_eq!(slow(100.0).result.pointer("/judged/samples_correlated"), Some(&json!(true)));
    assert!(codes(&slow(100.0)).contains(&"protection.nuisance-rate-high"));
    assert!(!codes(&slow(200.0)).contains(&"protection.nuisance-rate-high"));
}

/// JCGM 106:2012 clause 7.3: table 1 (z 0.84, 1.28, 1.64, 2.33, 3.09 for 80, 90, 95, 99, 99.9 %), the breakdown voltage
/// (−5.47 V, u 0.05 V, limit −5.40 V: 92 %), and clause 8.3.3, the speed limit (100 km/h, u 2 %, 99.9 %: 107 km/h).
/// Inputs and figures from memory. The error is typed as 95 % interval, so that all of the uncertainty is normal.
#[test]
fn conformance_probabilities_of_the_guide() {
    // A reading that lies z standard uncertainties beyond the threshold at the hazard conforms with Φ(z).
    let missed = |distance: f64, u: f64| {
        let answer = voltage(&[
            ("/normal_v", json!(0.0)),
            ("/hazard_v", json!(10.0)),
            ("/error_normal_v", json!(0.0)),
            ("/error_method", json!("interval-95")),
            ("/noise_v", json!(u)),
            ("/rate_v_per_s", json!(0.0)),
            ("/threshold_v", json!(10.0 - distance)),
        ]);
        at(&answer, "/judged/missed_probability_normal")
    };
    for (z, conformance) in [(0.84, 0.80), (1.28, 0.90), (1.64, 0.95), (2.33, 0.99), (3.09, 0.999)] {
        // Half of the last digit of z, through the density there.
        let exponent: f64 = -0.5 * z * z;
        let within = 0.005 * exponent.exp() / (2.0 * std::f64::consts::PI).sqrt() + 1e-4;
        holds(1.0 - missed(z * 0.05, 0.05), conformance, within);
    }
    holds(1.0 - missed(5.47 - 5.40, 0.05), 0.92, 5e-3);
    // At an accepted reading of 107 km/h the speed is above 100 km/h with 99.9 %: u is 2 % of the reading.
    holds(1.0 - missed(106.59e-2 - 1.0, 0.02 * 106.59e-2), 0.999, 5e-6);
}

/// Between ±e a rectangular error is evenly likely: at half of it beyond the edge a quarter is missed, by hand.
#[test]
fn a_rectangular_error_misses_by_its_share() {
    let missed = |threshold: f64| {
        let answer = voltage(&[
            ("/noise_v", json!(0.0)),
            ("/rate_v_per_s", json!(0.0)),
            ("/error_normal_v", json!(8e-3)),
            ("/threshold_v", json!(threshold)),
        ]);
        at(&answer, "/judged/missed_probability")
    };
    holds(missed(4.292), 0.0, 1e-9);
    holds(missed(4.296), 0.25, 1e-9);
    holds(missed(4.3), 0.5, 1e-9);
    holds(missed(4.308), 1.0, 1e-9);
}

/// The same span, errors and slope downwards have the mirrored edges and the same width.
#[test]
fn under_limits_are_mirrored() {
    let over = voltage(&[]);
    let under =
        voltage(&[("/kind", json!("cell-under-voltage")), ("/normal_v", json!(2.8)), ("/hazard_v", json!(2.7))]);
    holds(at(&under, "/width"), at(&over, "/width"), 1e-12);
    holds(at(&under, "/high_edge"), 2.8 - (at(&over, "/low_edge") - 4.2), 1e-12);
    holds(at(&under, "/low_edge"), 2.7 + (4.3 - at(&over, "/high_edge")), 1e-12);
    // A heated cell is warmer than its sensor: that takes entry from operation, not from the hazard. By hand:
    // −25 − 0.84 − 3.2 = −29.04 °C, −40 + 0.84 + 3.6 = −35.56 °C.
    let cold = temperature(&[
        ("/kind", json!("under-temperature")),
        ("/normal_degc", json!(-25.0)),
        ("/hazard_degc", json!(-40.0)),
    ]);
    holds(at(&cold, "/high_edge"), -29.04, 1e-6);
    holds(at(&cold, "/low_edge"), -35.56, 1e-6);
}

/// By hand: 600 A through 0.9 mΩ sag by 0.54 V; the middle of the entry at rest moves with it.
#[test]
fn an_under_voltage_limit_follows_the_current() {
    let cold = voltage(&[
        ("/kind", json!("cell-under-voltage")),
        ("/normal_v", json!(2.8)),
        ("/hazard_v", json!(2.0)),
        ("/threshold_v", json!(2.4)),
        ("/sag_resistance_ohm", json!(0.9e-3)),
        ("/sag_current_a", json!(600.0)),
    ]);
    holds(at(&cold, "/sag/sag_v"), 0.54, 1e-12);
    holds(at(&cold, "/sag/under_load_v"), 1.86, 1e-12);
    holds(at(&cold, "/sag/fixed_trips_at_v"), 2.94, 1e-12);
    assert!(codes(&cold).contains(&"protection.sag-trips"));
}

#[test]
fn a_given_threshold_is_judged_on_both_sides() {
    let judged = |threshold: f64| voltage(&[("/threshold_v", json!(threshold))]);
    let check = |answer: &Answer, id: &str| {
        let check = answer.requirements.iter().find(|check| check.id == id).expect("the check");
        serde_json::to_value(check.verdict).expect("a word")
    };
    let inside = judged(4.25);
    assert_eq!(check(&inside, "protection.nuisance-side"), json!("holds"));
    assert_eq!(check(&inside, "protection.harm-side"), json!("holds"));
    assert!(!inside.findings.iter().any(|finding| finding.code.ends_with("-side")));
    let below = judged(4.203);
    assert_eq!(check(&below, "protection.nuisance-side"), json!("fails"));
    assert!(codes(&below).contains(&"protection.nuisance-side"));
    let above = judged(4.31);
    assert_eq!(check(&above, "protection.harm-side"), json!("fails"));
    assert!(codes(&above).contains(&"protection.harm-side"));
    // Enough alone: the error limit, on the one side that fails.
    let enough = lever(&below, "error_normal_v")["enough_at"].clone();
    let opened = voltage(&[("/threshold_v", json!(4.203)), ("/error_normal_v", enough)]);
    holds(at(&opened, "/judged/nuisance_margin"), 0.0, 1e-12);
}

#[test]
fn the_release_is_judged() {
    let with = |hysteresis: f64| voltage(&[("/threshold_v", json!(4.25)), ("/hysteresis_v", json!(hysteresis))]);
    // 2 · 4.5 · 0.5 mV = 4.5 mV at least, 50 − 4 mV = 46 mV at most.
    holds(at(&with(0.02), "/release/least_hysteresis"), 4.5e-3, 1e-12);
    holds(at(&with(0.02), "/release/most_hysteresis"), 46e-3, 1e-12);
    holds(at(&with(0.02), "/release/value"), 4.23, 1e-12);
    for (hysteresis, code) in [(0.004, "protection.hysteresis-too-small"), (0.047, "protection.hysteresis-too-large")] {
        assert!(codes(&with(hysteresis)).contains(&code));
    }
    assert!(!codes(&with(0.02)).iter().any(|code| code.starts_with("protection.hysteresis")));
}

#[test]
fn statistical_errors_and_contradictions_are_named() {
    let statistical = voltage(&[("/error_method", json!("root-sum-square"))]);
    assert!(codes(&statistical).contains(&"protection.statistical-error-used"));
    assert_eq!(statistical.cautions.len(), 1);
    let entry = find("protection/current").expect("it exists");
    let mut input = Value::Object(entry.start());
    input["hazard_a"] = json!(500.0);
    let faults = entry.answer(Some(&input), Notation::Json).expect_err("the hazard lies inside operation");
    assert_eq!(faults[0].field, "/hazard_a");
}
