//! The trip curve against its closed form, worked out by hand.

use serde_json::{Value, json};

use super::{answer, at, holds, holds_relative};
use sensewright_core::calculation::Answer;

fn curve(changes: &[(&str, Value)]) -> Answer {
    answer("protection/trip-curve", changes)
}

fn codes(answer: &Answer) -> Vec<&str> {
    answer.findings.iter().map(|finding| finding.code.as_str()).collect()
}

fn limit(answer: &Answer, id: &str, current: f64) -> Value {
    let result = answer.result.tree();
    let limits = result.pointer("/limits").and_then(Value::as_array).expect("limits");
    let found = limits.iter().find(|point| point["id"] == id && point["current_a"] == json!(current));
    found.unwrap_or_else(|| panic!("no {id} at {current} in {limits:#?}")).clone()
}

/// By hand, 2 % and 450 A: 1000 A reads at least 980 A: 2.2e6/(960400 − 202500) = 2.9027576 s and 20 ms. Printed: 2 % of the
/// current are 4 % of its square (4.04 %). Never below 450/1.02 = 441.176 A, always above 450/0.98 = 459.184 A.
#[test]
fn a_constant_current_trips_by_the_closed_form() {
    let answer = curve(&[]);
    let latest = limit(&answer, "shunt", 1000.0)["latest_s"].as_f64().expect("it trips");
    holds(latest, 2.902_757_6 + 0.02, 5e-8);
    holds(at(&answer, "/square_error_percent"), 4.04, 1e-9);
    holds(at(&answer, "/pickup_low_a"), 441.176, 5e-4);
    holds(at(&answer, "/pickup_high_a"), 459.184, 5e-4);
    let result = answer.result.tree();
    let points = result.pointer("/curve").and_then(Value::as_array).expect("the curve");
    for point in points {
        let current = point["current_a"].as_f64().expect("a current");
        if let Some(nominal) = point["nominal_s"].as_f64() {
            holds_relative(nominal, 2.2e6 / (current * current - 202_500.0), 1e-9);
        }
    }
}

/// By hand: 600 A read up to 612 A, (374544 − 202500) · 10 s = 1.72044e6 A²s; 200 A empty it again.
#[test]
fn the_load_profile_adds_up() {
    let passes = curve(&[]);
    holds(at(&passes, "/load/peak_a2s"), 1.720_44e6, 1e-3);
    holds(at(&passes, "/load/net_a2s"), 1.720_44e6 - (202_500.0 - 204.0 * 204.0) * 60.0, 1e-3);
    assert_eq!(codes(&passes), ["protection.never-trips-below"]);
    // 13 s at 612 A pass 2.2e6 A²s after 2.2e6/172044 = 12.7874 s.
    let longer = curve(&[("/load", json!([{"current_a": 600.0, "duration_s": 13.0}]))]);
    holds(at(&longer, "/load/trips_after_s"), 12.7874, 5e-5);
    assert!(codes(&longer).contains(&"protection.load-profile"));
    // 10 s of it and 5 s without current, reading nothing: a round adds 1.72044e6 − 1.0125e6 = 707940 A²s. The first ends
    // its 10 s at 1.72044e6, the second at 2.42838e6: it trips (2.2e6 − 0.70794e6)/172044 = 8.67255 s into the second.
    let pulses = json!([{"current_a": 600.0, "duration_s": 10.0}, {"current_a": 0.0, "duration_s": 5.0}]);
    let again = curve(&[("/load", pulses.clone())]);
    holds(at(&again, "/load/trips_after_s"), 15.0 + 8.67255, 5e-5);
    let once = curve(&[("/load", pulses.clone()), ("/repeats", json!(false))]);
    assert!(once.result.tree().pointer("/load/trips_after_s").is_none());
    // At 20e6 A²s: round k peaks at 1.72044e6 + (k − 1) · 707940; k = 27 passes it: it starts with 26 · 707940 = 18.40644e6
    // and trips (20e6 − 18.40644e6)/172044 = 9.26252 s into it, 26 · 15 s after the start.
    let many = curve(&[("/load", pulses), ("/trip_a2s", json!(20e6))]);
    holds(at(&many, "/load/trips_after_s"), 390.0 + 9.26252, 5e-5);
    assert!(
        many.requirements
            .iter()
            .any(|check| check.id == "protection.load-profile"
                && check.verdict == sensewright_core::judge::Verdict::Fails)
    );
}

#[test]
fn crossed_limits_are_named() {
    let late = curve(&[("/shunt", json!([{"current_a": 1000.0, "time_s": 2.0}]))]);
    assert!(codes(&late).contains(&"protection.limit-shunt"));
    // 455 A lie between 441 and 459 A.
    let never = curve(&[("/wire", json!([{"current_a": 455.0, "time_s": 3600.0}]))]);
    assert!(codes(&never).contains(&"protection.limit-wire"));
    assert!(limit(&never, "wire", 455.0).get("latest_s").is_none());
}

/// Where two points of a limit hold, every current between them holds: the latest trip is convex on logarithmic scales.
#[test]
fn a_limit_holds_between_its_points() {
    let ends: [[f64; 2]; 2] = [[470.0, 228.0], [2000.0, 0.6246]];
    let point = |[current, time]: [f64; 2]| json!({"current_a": current, "time_s": time});
    let exponent = (ends[1][1] / ends[0][1]).ln() / (ends[1][0] / ends[0][0]).ln();
    let points: Vec<Value> = (0..=40)
        .map(|step| {
            let current = ends[0][0] * (ends[1][0] / ends[0][0]).powf(f64::from(step) / 40.0);
            point([current, ends[0][1] * (current / ends[0][0]).powf(exponent) * (1.0 + 1e-9)])
        })
        .collect();
    for limit in [json!([point(ends[0]), point(ends[1])]), json!(points)] {
        let answer = curve(&[("/wire", limit)]);
        assert!(!codes(&answer).contains(&"protection.limit-wire"), "{:#?}", answer.findings);
    }
}

/// Without an error nothing lies between never and always.
#[test]
fn without_an_error_nothing_lies_between() {
    let said = |error: f64| {
        let answer = curve(&[("/error_percent", json!(error)), ("/error_a", json!(0.0))]);
        let note = answer.findings.iter().find(|finding| finding.code == "protection.never-trips-below");
        note.expect("the note").message.clone()
    };
    assert!(said(0.0).starts_with("Below 450\u{202f}A it never trips. "), "{}", said(0.0));
    assert!(said(2.0).contains(", between that and "));
}

/// A channel that reads to 1500 A adds up no more of 3000 A, by hand with 2 % more: (1530² − 450²) · 0.9 s = 1,924,560 A²s,
/// which does not reach 2,200,000 A²s; unread the 3060 A would trip.
#[test]
fn a_load_is_read_no_further_than_its_channel_reads() {
    let load = json!([{"current_a": 3000.0, "duration_s": 0.9}, {"current_a": 200.0, "duration_s": 60.0}]);
    let with = |more: &[(&str, Value)]| {
        let own = [("/load", load.clone()), ("/trip_a2s", json!(2.2e6)), ("/error_percent", json!(2.0))];
        curve(&[&own, more].concat())
    };
    let read = with(&[("/reads_to_a", json!(1500.0))]);
    holds(at(&read, "/load/peak_a2s"), 1_924_560.0, 0.5);
    assert!(!codes(&read).contains(&"protection.load-profile"));
    assert!(codes(&with(&[])).contains(&"protection.load-profile"));
}

/// Fifty times 0.16 · 0.1 A²s and 0.08 · 0.2 A²s less make nothing, whatever the last bits say.
#[test]
fn rounding_gains_nothing() {
    let round = [json!({"current_a": 0.5, "duration_s": 0.1}), json!({"current_a": 0.1, "duration_s": 0.2})];
    let load: Vec<Value> = std::iter::repeat_n(round, 50).flatten().collect();
    let answer = curve(&[
        ("/pickup_a", json!(0.3)),
        ("/trip_a2s", json!(0.0161)),
        ("/error_percent", json!(0.0)),
        ("/load", json!(load)),
        ("/repeats", json!(true)),
    ]);
    holds(at(&answer, "/load/net_a2s"), 0.0, 0.0);
    assert!(!codes(&answer).contains(&"protection.load-profile"));
}
