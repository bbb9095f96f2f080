//! Two faults that violate a goal together: a covered fault and a lost check, two deviations that add up.

use sensewright_core::calculation::Answer;
use serde_json::{Value, json};

use super::safety::{evidence, verdict};
use super::{at, holds, holds_relative};

/// A goal of a voltage that 10 V too little violate, with modes and checks.
fn goal(faults: &Value, checks: &Value) -> Answer {
    evidence(&[
        (
            "/goals",
            json!([{"name": "G", "asil": "c", "reads": "voltage", "dangerous": "low", "harm_v": 10.0, "ftti_s": 1.0, "reaction_s": 0.0}]),
        ),
        ("/faults", faults.clone()),
        ("/checks", checks.clone()),
    ])
}

fn mode(component: &str, rate_fit: f64, from: f64, to: f64, seen_by: &str) -> Value {
    json!({"component": component, "mode": "drift", "rate_fit": rate_fit, "from_v": from, "to_v": to, "seen_by": seen_by})
}

fn comparison(name: &str, limit_v: f64, signals: bool, test_interval_h: f64) -> Value {
    json!({"name": name, "kind": "comparison", "reads": "voltage", "other_full_v": 1e6, "limit_v": limit_v, "signals": signals, "error_v": 0.0,
        "other_error_v": 0.0, "noise_v": 0.0, "other_noise_v": 0.0, "noise_sigma": 0.0, "ceiling_percent": 99.9,
        "loss_fit": 50.0, "test_interval_h": test_interval_h, "test_coverage_percent": 100.0})
}

/// ½ c λ T by hand: 100 FIT that one check of 50 FIT covers alone, tested every 10 h, ceiling 99.9 %: noticed. Tested every
/// 100 h, beyond the 12 h of the multi-point interval, or told to nobody, it is not.
#[test]
fn a_covered_fault_meets_its_lost_check() {
    let fault = json!([mode("A", 100.0, -20.0, -15.0, "One")]);
    for (signals, hours, unnoticed) in [(true, 10.0, 0.0), (true, 100.0, 1.0), (false, 10.0, 1.0)] {
        let done = goal(&fault, &json!([comparison("One", 5.0, signals, hours)]));
        holds(at(&done, "/goals/0/pairs"), 1.0, 0.0);
        holds(at(&done, "/goals/0/unnoticed_pairs"), unnoticed, 0.0);
        let order = if signals { 0.5 } else { 1.0 };
        holds_relative(at(&done, "/pairs/0/rate_fit"), order * 99.9 * 50.0 * 1e-9 * hours, 1e-9);
        holds(at(&done, "/goals/0/dual_fit"), at(&done, "/pairs/0/rate_fit"), 1e-15);
        assert_eq!(verdict(&done, "safety.two-faults"), if unnoticed > 0.0 { "fails" } else { "holds" });
    }
    // Two checks see it from 5 and 6 V on: neither covers it alone.
    let two = json!([comparison("One", 5.0, true, 100.0), comparison("Two", 6.0, true, 100.0)]);
    let done = goal(&json!([mode("A", 100.0, -20.0, -15.0, "One, Two")]), &two);
    holds(at(&done, "/goals/0/pairs"), 0.0, 0.0);
    assert_eq!(verdict(&done, "safety.two-faults"), "holds");
}

/// By hand: two modes that reach 6 and 5 V make 10 V together, 4 and 5 V do not; seen from 4 V on neither stays; one component
/// fails in one mode.
#[test]
fn two_deviations_add_up() {
    let of = |one: f64, other: f64, seen_by: &str, component: &str| {
        let mut faults = json!([mode("A", 10.0, -one, 0.0, seen_by), mode(component, 10.0, -other, 0.0, seen_by)]);
        if component == "A" {
            for row in 0..2 {
                faults[row]["mode_percent"] = json!(50.0);
            }
        }
        goal(&faults, &json!([comparison("One", 4.0, true, 10.0)]))
    };
    let done = of(6.0, 5.0, "", "B");
    holds(at(&done, "/goals/0/unnoticed_pairs"), 1.0, 0.0);
    holds_relative(at(&done, "/pairs/0/rate_fit"), 10.0 * 10.0 * 1e-9 * 12_000.0, 1e-9);
    assert_eq!(verdict(&done, "safety.two-faults"), "fails");
    for done in [of(4.0, 5.0, "", "B"), of(6.0, 5.0, "One", "B"), of(6.0, 5.0, "", "A")] {
        holds(at(&done, "/goals/0/pairs"), 0.0, 0.0);
        assert_eq!(verdict(&done, "safety.two-faults"), "holds");
    }
}

/// What is not known holds nothing: a claimed second fault, a claim that names two checks, shares that nobody gave.
#[test]
fn pairs_that_nobody_knows_do_not_hold() {
    let claimed = |typed: Value| {
        let mut fault = json!({"component": "A", "mode": "all modes", "rate_fit": 10.0});
        fault.as_object_mut().expect("a mode").extend(typed.as_object().expect("fields").clone());
        let checks = json!([comparison("One", 5.0, true, 10.0), comparison("Two", 6.0, true, 10.0)]);
        verdict(&goal(&json!([fault]), &checks), "safety.two-faults")
    };
    assert_eq!(
        claimed(json!({"safe_percent": 50.0, "direct_percent": 30.0, "coverage_percent": 90.0, "seen_by": "One"})),
        "not-judged"
    );
    assert_eq!(
        claimed(json!({"direct_percent": 100.0, "coverage_percent": 90.0, "seen_by": "One, Two"})),
        "not-judged"
    );
    assert_eq!(claimed(json!({})), "not-judged");
    assert_eq!(claimed(json!({"direct_percent": 100.0, "coverage_percent": 90.0, "seen_by": "One"})), "holds");
}

/// A hundred modes of 6 V each: 4,950 pairs make it, 2,000 are followed, the rest is said, and a few are told.
#[test]
fn pairs_are_bounded() {
    let faults: Vec<Value> =
        (0..100).map(|at| mode(&format!("Part {at}"), 1.0 + f64::from(at), -6.0, 0.0, "")).collect();
    let done = goal(&json!(faults), &json!([]));
    holds(at(&done, "/goals/0/pairs"), 2000.0, 0.0);
    holds(at(&done, "/goals/0/pairs_left_out"), 2950.0, 0.0);
    assert_eq!(done.result.tree()["pairs"].as_array().map(Vec::len), Some(10));
    holds_relative(at(&done, "/pairs/0/rate_fit"), 100.0 * 99.0 * 1e-9 * 12_000.0, 1e-2);
    assert_eq!(verdict(&done, "safety.two-faults"), "fails");
}

/// Found by an independent model of pairs in order, by hand here. A first fault of −2.5 V that nobody sees hides of 9 V so much
/// that 6.5 V are left: harmful from 3 V on, and seen from 8 V on. Of 3 V and then 4 V the sum harms from 5.7 V on within 0.1 s,
/// and the check looks each second. A sum of 4.5 V that a check ends in time is no violation.
#[test]
fn a_second_fault_adds_to_a_first_that_nobody_sees() {
    let told = |harm: f64, ftti: f64, modes: [(f64, &str); 2], limit: f64, interval: f64| {
        let mut check = comparison("One", limit, true, 10.0);
        check["interval_s"] = json!(interval);
        check["in_a_row"] = json!(1);
        let goal = json!([{"name": "G", "asil": "c", "reads": "voltage", "dangerous": "high", "harm_v": harm, "ftti_s": ftti, "reaction_s": 0.0}]);
        let fault = |(at, (from, seen_by)): (usize, (f64, &str))| json!({"component": format!("P{at}"), "mode": "off", "rate_fit": 50.0, "from_v": from, "seen_by": seen_by});
        let faults: Vec<Value> = modes.into_iter().enumerate().map(fault).collect();
        let done = evidence(&[("/goals", goal), ("/faults", json!(faults)), ("/checks", json!([check]))]);
        let of_modes = |pair: &&Value| !pair["second"].as_str().expect("words").starts_with("loss of");
        done.result.tree()["pairs"].as_array().map_or(0, |pairs| pairs.iter().filter(of_modes).count())
    };
    assert_eq!(told(3.0, 1.0, [(-2.5, "One"), (9.0, "One")], 8.0, 0.01), 1);
    assert_eq!(told(5.7, 0.1, [(3.0, ""), (4.0, "One")], 3.5, 1.0), 1);
    assert_eq!(told(3.0, 1.0, [(2.0, "One"), (2.5, "One")], 4.0, 0.01), 0);
}
