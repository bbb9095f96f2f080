//! Rooms for thresholds against printed results of worked examples, printed factors and closed forms.
//!
//! Sources: printed results of five worked examples (an 800 V car, a 400 V van, a telecom shelf with a relay and others),
//! to half of their last digit; JCGM 106:2012 clause 7.3 (figures from memory, recomputed); tables of the normal
//! distribution.

mod faults;

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

fn lever(answer: &Answer, id: &str) -> Value {
    let result = answer.result.tree();
    let levers = result.pointer("/levers").and_then(Value::as_array).expect("levers");
    levers.iter().find(|lever| lever["id"] == id).unwrap_or_else(|| panic!("no {id} in {levers:#?}")).clone()
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
        // The examples keep noise on the side of operation alone.
        let late = at(&answer, "/consumed/noise_hazard");
        assert!((0.0..4.0 * noise).contains(&late));
        holds(at(&answer, "/low_edge") * 1e3, printed[0], within);
        holds((at(&answer, "/high_edge") + late) * 1e3, printed[1], within);
        holds((at(&answer, "/width") + late) * 1e3, printed[2], within);
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
        assert_eq!(codes(&answer).contains(&"protection.room"), printed[2] < 0.0);
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
    let levers = empty.result.tree().pointer("/levers").and_then(Value::as_array).expect("levers").clone();
    let mut last = 0.0;
    let mut opened = 0;
    for lever in &levers {
        let Some(enough) = lever.get("enough_at").and_then(Value::as_f64) else { continue };
        let change = lever["change_percent"].as_f64().expect("a change");
        assert!(change >= last, "cheapest first");
        last = change;
        let pointer = lever["field"].as_str().expect("a field");
        // Rounded to the safe side, to five digits.
        let width = at(&car(&[(pointer, json!(enough))]), "/width");
        assert!((0.0..2e-3).contains(&width), "{pointer} {enough}: {width}");
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
            ("/noise_v", json!(0.0)),
            ("/rate_v_per_s", json!(60e-3)),
            ("/sample_rate_hz", json!(20.0)),
            ("/samples_in_a_row", json!(15)),
        ];
        all.extend(changes.iter().cloned());
        voltage(&all)
    };
    // 80 − 40 − 60 mV/s · 0.75 s = −5 mV.
    holds(at(&short(&[]), "/width"), -5e-3, 1e-12);
    let fewer = lever(&short(&[]), "samples_in_a_row")["enough_at"].clone();
    // 40 mV leave 0.667 s, 13 samples.
    assert_eq!(fewer, json!(13.0));
    assert!(at(&short(&[("/samples_in_a_row", json!(13))]), "/width") >= 0.0);
    assert!(at(&short(&[("/samples_in_a_row", json!(14))]), "/width") < 0.0);
    // 15 samples in 0.6667 s: 22.5 Hz.
    let faster = lever(&short(&[]), "sample_rate_hz")["enough_at"].as_f64().expect("it");
    holds(faster, 22.5, 2e-3);
    assert!(at(&short(&[("/sample_rate_hz", json!(faster))]), "/width") >= 0.0);
}

/// Independent of how steep it is typed: the slope that is enough is one number, and a little more is not.
#[test]
fn the_slope_that_is_enough_does_not_depend_on_the_slope_that_is_typed() {
    let steep = |rate: f64| {
        answer(
            "protection/current",
            &[
                ("/normal_a", json!(600.0)),
                ("/hazard_a", json!(1200.0)),
                ("/threshold_a", json!(900.0)),
                ("/noise_a", json!(2.0)),
                ("/rate_a_per_s", json!(rate)),
            ],
        )
    };
    let enough = |rate| lever(&steep(rate), "rate_a_per_s")["enough_at"].as_f64();
    let found: Vec<f64> = [3e5, 1e6, 1e7].into_iter().filter_map(enough).collect();
    assert_eq!(found.len(), 3);
    for one in &found {
        holds_relative(*one, found[0], 1e-2);
        assert!(enough(*one).is_none(), "there is nothing left to turn");
        assert!(enough(*one * 1.02).is_some(), "2 % more is too steep");
    }
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
    assert!(codes(&once).contains(&"protection.nuisance-side"));
    // Q(3) = 0.00134990, tables of the normal distribution.
    holds(at(&once, "/judged/nuisance_per_sample"), 0.001_349_90, 5e-9);
    holds_relative(at(&at_three(3), "/judged/nuisance_per_hour"), 3.6e6 * 0.001_349_898f64.powi(3) * 0.998_650_1, 1e-5);
}

fn verdict(answer: &Answer, id: &str) -> Option<String> {
    let check = answer.requirements.iter().find(|check| check.id == id)?;
    serde_json::to_value(check.verdict).ok()?.as_str().map(Into::into)
}

fn is(answer: &Answer, id: &str, word: &str) {
    assert_eq!(verdict(answer, id).as_deref(), Some(word), "{id}: {:#?}", answer.requirements);
}

/// Two sigma, five in a row at 10 Hz: 0.456 an hour of a Gaussian spectrum of 1.7 Hz, 0.107 behind one pole at 1.7 Hz,
/// 2.1e-4 for white noise: independent chain and events, `tests/python/event_thresholds.py`.
#[test]
fn rows_of_correlated_samples_trip_more_often() {
    let rate = |kind: &str, hz: Option<f64>| {
        let mut all = vec![
            ("/error_normal_v", json!(0.0)),
            ("/noise_v", json!(1e-3)),
            ("/threshold_v", json!(4.202)),
            ("/samples_in_a_row", json!(5)),
            ("/noise_is", json!(kind)),
            ("/noise_sigma", json!(0.0)),
        ];
        all.extend(hz.map(|hz| ("/noise_bandwidth_hz", json!(hz))));
        voltage(&all)
    };
    for (kind, hz, printed, within) in
        [("gaussian", Some(1.7), 0.456, 3e-3), ("one-pole", Some(1.7), 0.107, 6e-4), ("white", None, 2.1e-4, 0.5e-5)]
    {
        let answer = rate(kind, hz);
        holds(at(&answer, "/judged/nuisance_per_hour"), printed, within);
        // 0.001 an hour are allowed.
        is(&answer, "protection.nuisance-side", if kind == "white" { "thin" } else { "fails" });
    }
    // What the noise is like, and not how fast it is, is no answer; neither is the other way round.
    is(&rate("one-pole", None), "protection.nuisance-side", "not-judged");
    is(&rate("one-pole", None), "protection.room", "not-judged");
    let entry = find("protection/voltage").expect("it exists");
    let mut input = Value::Object(entry.start().clone());
    input["noise_bandwidth_hz"] = json!(100.0);
    let faults = entry.answer(Some(&input), Notation::Json).expect_err("a bandwidth alone");
    assert_eq!(faults[0].field, "/noise_bandwidth_hz");
}

/// 4.2 to 4.27 V, threshold 4.255 V, error 4 mV, noise 10 mV white, ten at 10 Hz, 5 mV/s: beyond the hazard at the tenth
/// sample in 48.5 % with no error, in 81.5 % with the error at its limit, never without noise: independent chain and
/// events, `tests/python/event_thresholds.py`.
#[test]
fn noise_delays_the_first_complete_row() {
    let with = |noise: f64| {
        voltage(&[
            ("/hazard_v", json!(4.27)),
            ("/threshold_v", json!(4.255)),
            ("/noise_v", json!(noise)),
            ("/noise_sigma", json!(0.0)),
        ])
    };
    let noisy = with(10e-3);
    holds(at(&noisy, "/judged/late_without_error_percent"), 48.5, 0.05);
    holds(at(&noisy, "/judged/late_percent"), 81.5, 0.05);
    is(&noisy, "protection.harm-side", "fails");
    let quiet = with(0.0);
    holds(at(&quiet, "/judged/late_percent"), 0.0, 0.0);
    is(&quiet, "protection.harm-side", "holds");
}

/// A channel that reads one direction never trips in the other; the threshold with its error must be read; the pack's own
/// peak counts. By hand: 800 + 14 A beyond 810 A, below 820 A; 800 − 14 − 1.35 A above 780 A, below 790 A.
#[test]
fn a_threshold_is_held_against_channel_and_pack() {
    let current = |changes: &[(&str, Value)]| {
        let mut all = vec![("/threshold_a", json!(800.0))];
        all.extend(changes.iter().cloned());
        answer("protection/current", &all)
    };
    let range = "protection.beyond-range";
    is(&current(&[]), range, "not-judged");
    is(&current(&[("/reads_to_a", json!(810.0))]), range, "fails");
    is(&current(&[("/reads_to_a", json!(820.0))]), range, "holds");
    let charge = ("/kind", json!("over-current-charge"));
    is(&current(&[charge.clone(), ("/reads_to_a", json!(1400.0))]), range, "not-judged");
    is(&current(&[charge.clone(), ("/reads_to_a", json!(1400.0)), ("/reads_charge_to_a", json!(0.0))]), range, "fails");
    is(&current(&[charge, ("/reads_charge_to_a", json!(1400.0))]), range, "holds");
    is(&current(&[("/pack_peak_a", json!(780.0))]), "protection.pack-peak", "holds");
    is(&current(&[("/pack_peak_a", json!(790.0))]), "protection.pack-peak", "fails");
    assert_eq!(verdict(&current(&[]), "protection.pack-peak"), None);
    // Where no threshold serves both sides and none is chosen, the middle of nothing is no threshold: nobody trips at it.
    let none = [("/hazard_a", json!(605.0)), ("/pack_peak_a", json!(795.0)), ("/reads_to_a", json!(400.0))];
    is(&answer("protection/current", &none), "protection.room", "fails");
    is(&current(&none), "protection.room", "fails");
    for row in ["protection.pack-peak", range] {
        is(&answer("protection/current", &none), row, "not-judged");
        is(&current(&none), row, "fails");
    }
    // At both ends: below what the channel reads an under-voltage is not seen, nor an over-voltage above it.
    let low = [("/kind", json!("cell-under-voltage")), ("/normal_v", json!(2.8)), ("/hazard_v", json!(2.5))];
    let under = |from: f64| {
        let mut all = low.to_vec();
        all.extend([("/threshold_v", json!(2.65)), ("/reads_from_v", json!(from))]);
        voltage(&all)
    };
    is(&under(2.64), range, "holds");
    is(&under(2.648), range, "fails");
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
    // 2.4 + 0.54 V lie above 2.8 V: it trips in operation.
    assert!(codes(&cold).contains(&"protection.nuisance-side"));
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
    assert!((0.0..1e-6).contains(&at(&opened, "/judged/nuisance_margin")));
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
    let mut input = Value::Object(entry.start().clone());
    input["hazard_a"] = json!(500.0);
    let faults = entry.answer(Some(&input), Notation::Json).expect_err("the hazard lies inside operation");
    assert_eq!(faults[0].field, "/hazard_a");
}
