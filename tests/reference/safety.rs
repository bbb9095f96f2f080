//! Functional safety: metrics by hand arithmetic, roll-ups of three packs from typed claims, what checks see, false alarms.

use sensewright_core::calculation::Answer;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::{answer, at, holds, holds_relative};

/// The answer about a voltage channel that errs by nothing: what its checks are typed to err is all that they err.
pub(super) fn evidence(changes: &[(&str, Value)]) -> Answer {
    answer("safety", &[&[("/voltage/error_v", json!(0.0))], changes].concat())
}

fn goal(level: &str) -> Value {
    json!([{"name": "Goal", "asil": level, "ftti_s": 1.0, "reaction_s": 0.0, "share_of_item_percent": 10.0}])
}

/// Rate, safe, direct, coverage, signalled and tested of one mode each, as parts of 1 but for the rate.
fn claims(rows: &[[f64; 6]]) -> Value {
    let row = |(place, row): (usize, &[f64; 6])| {
        json!({"component": format!("Part {place}"), "mode": "all modes", "rate_fit": row[0], "safe_percent": 100.0 * row[1],
            "direct_percent": 100.0 * row[2], "coverage_percent": 100.0 * row[3], "signalled_percent": 100.0 * row[4],
            "tested_percent": 100.0 * row[5]})
    };
    rows.iter().enumerate().map(row).collect()
}

fn rolled_up(rows: &[[f64; 6]]) -> Answer {
    evidence(&[("/goals", goal("c")), ("/faults", claims(rows)), ("/checks", json!([]))])
}

pub(super) fn verdict(done: &Answer, id: &str) -> String {
    let row = done.requirements.iter().find(|row| row.id == id).unwrap_or_else(|| panic!("no {id}"));
    serde_json::to_value(row.verdict).expect("a word").as_str().expect("a word").to_owned()
}

/// Hand arithmetic with the formulas of ISO 26262-5:2018 annex C: residual 30·0.5·0.05 + 0 + 40·0.3·0.01·… = 2.07,
/// latent 13.439 FIT of 100.
#[test]
fn metrics_by_hand() {
    let done = rolled_up(&[
        [30.0, 0.2, 0.5, 0.95, 0.9, 0.6],
        [12.0, 0.0, 1.0, 0.9, 0.8, 1.0],
        [40.0, 0.5, 0.3, 0.99, 0.95, 0.9],
        [18.0, 0.1, 0.0, 0.0, 1.0, 0.7],
    ]);
    holds(at(&done, "/goals/0/residual_fit"), 2.07, 1e-9);
    holds(at(&done, "/goals/0/latent_fit"), 13.439, 1e-9);
    holds(at(&done, "/goals/0/spfm_percent"), 97.930, 5e-4);
    holds(at(&done, "/goals/0/lfm_percent"), 86.277, 5e-4);
    holds(at(&done, "/goals/0/spfm_without_safe_percent"), 97.133, 5e-4);
    holds(at(&done, "/goals/0/lfm_without_safe_percent"), 80.837, 5e-4);
    assert_eq!(verdict(&done, "safety.spfm"), "holds");
}

/// The same formulas, worked by an independent program: signalled in full, the rest tested.
#[test]
fn metrics_where_all_that_is_covered_is_told() {
    let row = |fit: f64, direct: f64, covered: f64, tested: f64| [fit, 0.0, direct, covered, 1.0, tested];
    let done = rolled_up(&[
        row(10.0, 1.0, 0.99, 1.0),
        row(20.0, 0.5, 0.9, 0.9),
        row(40.0, 0.6, 0.97, 0.8),
        row(15.0, 1.0, 0.9, 1.0),
        row(5.0, 1.0, 0.6, 1.0),
    ]);
    holds(at(&done, "/goals/0/residual_fit"), 5.32, 1e-9);
    holds(at(&done, "/goals/0/spfm_percent"), 94.088_89, 1e-4);
    holds(at(&done, "/goals/0/latent_fit"), 4.2, 1e-9);
    holds(at(&done, "/goals/0/lfm_percent"), 95.040_15, 1e-4);
}

/// Three packs of 152 FIT, from typed claims, as rolled up by hand (a spreadsheet's residual and latent sums).
#[test]
fn roll_ups_of_three_packs() {
    let safe = [0.2, 0.0, 0.4, 0.3, 0.4, 0.3, 0.2, 0.7, 0.5, 0.5];
    let rates = [2.0, 1.0, 25.0, 6.0, 25.0, 8.0, 5.0, 20.0, 10.0, 50.0];
    let told = [0.9, 0.9, 0.9, 0.9, 0.9, 0.8, 0.8, 0.9, 0.9, 0.9];
    let first = [0.9, 0.99, 0.97, 0.97, 0.97, 0.9, 0.9, 0.99, 0.99, 0.97];
    let second = [0.99, 0.99, 0.99, 0.97, 0.97, 0.9, 0.9, 0.99, 0.99, 0.97];
    for (covered, told, residual, spfm, latent, lfm) in [
        (first, told, 3.02, 98.02, 8.80, 94.09),
        (second, told, 2.57, 98.31, 8.85, 94.08),
        ([0.6; 10], [0.6; 10], 32.96, 78.32, 19.78, 83.39),
    ] {
        let rows: Vec<[f64; 6]> =
            (0..10).map(|row| [rates[row], safe[row], 1.0 - safe[row], covered[row], told[row], 0.0]).collect();
        let done = rolled_up(&rows);
        holds(at(&done, "/goals/0/rate_fit"), 152.0, 1e-9);
        holds(at(&done, "/goals/0/residual_fit"), residual, 0.006);
        holds(at(&done, "/goals/0/spfm_percent"), spfm, 0.006);
        holds(at(&done, "/goals/0/latent_fit"), latent, 0.006);
        holds(at(&done, "/goals/0/lfm_percent"), lfm, 0.006);
        // Which check covers what was not said: a second failure and the time are not judged.
        assert_eq!(verdict(&done, "safety.pmhf"), "not-judged");
        assert_eq!(verdict(&done, "safety.handling-time"), "not-judged");
        assert_eq!(verdict(&done, "safety.hole"), "not-judged");
    }
}

fn comparison(extra: &Value) -> Value {
    let mut check = json!({"name": "Comparison", "kind": "comparison", "reads": "current", "other_full_a": 1e6, "limit_a": 6.0, "error_a": 0.28,
        "other_error_a": 0.28, "noise_a": 0.0, "other_noise_a": 0.0, "interval_s": 0.02, "in_a_row": 3, "processing_s": 0.015});
    check.as_object_mut().expect("a check").extend(extra.as_object().expect("fields").clone());
    json!([check])
}

/// Closed form: limit 6 A, errors 0.56 A: seen from 6.56 A, 157.44 Ah a day below it; 20 ms three times and 15 ms: 55 to 75 ms.
#[test]
fn what_a_comparison_sees() {
    let done = evidence(&[("/faults", json!([])), ("/checks", comparison(&json!({})))]);
    holds(at(&done, "/checks/0/certain_high"), 6.56, 1e-9);
    holds(at(&done, "/checks/0/unseen"), 5.44, 1e-9);
    holds(at(&done, "/checks/0/hides_ah_per_day"), 157.44, 1e-9);
    holds(at(&done, "/checks/0/earliest_s"), 0.055, 1e-12);
    holds(at(&done, "/checks/0/latest_s"), 0.075, 1e-12);
}

/// Closed form: behind an average of 40 ms a step of 1.25 (L + e) crosses after 32 ms: the alarm comes 107 ms after it.
#[test]
fn an_average_costs_time() {
    let checks = comparison(&json!({"averaging_s": 0.04}));
    let mut fault =
        json!({"component": "Shunt", "mode": "step", "rate_fit": 1.0, "seen_by": "Comparison", "from_a": 8.2});
    let goals =
        json!([{"name": "Goal", "asil": "b", "reads": "current", "harm_a": 1.0, "ftti_s": 0.108, "reaction_s": 0.0}]);
    let of = |fault: &Value| {
        evidence(&[("/goals", goals.clone()), ("/faults", json!([fault])), ("/checks", checks.clone())])
    };
    let done = of(&fault);
    holds(at(&done, "/modes/0/time_s"), 0.107, 1e-12);
    holds(at(&done, "/modes/0/dc_computed_percent"), 100.0, 1e-9);
    holds(at(&done, "/modes/0/dc_used_percent"), 99.0, 1e-9);
    // A smaller one crosses too late: nothing of it is covered.
    fault["from_a"] = json!(7.9);
    holds(at(&of(&fault), "/modes/0/dc_used_percent"), 0.0, 1e-9);
}

/// Quadrature over both errors and a Markov chain over the looks, worked independently: one static error a unit.
#[test]
fn a_static_error_does_not_average() {
    for (deviation, ftti, expected) in [(7.0, 0.061, 0.8715), (6.5, 0.201, 0.8807)] {
        let done = evidence(&[
            ("/judged_by", json!("probability")),
            (
                "/goals",
                json!([{"name": "Goal", "asil": "b", "reads": "current", "harm_a": 1.0, "ftti_s": ftti, "reaction_s": 0.0}]),
            ),
            (
                "/faults",
                json!([{"component": "Shunt", "mode": "step", "rate_fit": 1.0, "seen_by": "Comparison", "from_a": deviation}]),
            ),
            (
                "/checks",
                comparison(&json!({"error_a": 0.5, "other_error_a": 0.3, "noise_a": 0.3, "other_noise_a": 0.4,
                        "processing_s": 0.0})),
            ),
        ]);
        holds(at(&done, "/modes/0/dc_computed_percent"), 100.0 * expected, 0.2);
    }
}

/// Closed form with tails of the normal distribution (tables): limit 2, error 1.2, noise 0.25, 20 looks a second.
#[test]
fn false_alarms_of_runs() {
    for (in_a_row, expected) in [(1, 49.47), (2, 0.033_972), (3, 2.3343e-5)] {
        let checks = comparison(&json!({"limit_a": 2.0, "error_a": 0.6, "other_error_a": 0.6, "noise_a": 0.25,
            "interval_s": 0.05, "in_a_row": in_a_row}));
        let done = evidence(&[("/faults", json!([])), ("/checks", checks)]);
        holds_relative(at(&done, "/checks/0/false_per_hour"), expected, 1e-4);
    }
}

/// Hand arithmetic: 198 cells of 4 mV, 1.08 % of 831.6 V, a drop of 30 mΩ between +600 and −400 A.
#[test]
fn the_pack_against_its_cells() {
    let check = |limit: f64, low: f64, high: f64| {
        json!([{"name": "Sum", "kind": "sum-of-cells", "reads": "voltage", "limit_v": limit, "error_v": 0.0108 * 831.6,
            "other_error_v": 198.0 * 0.004, "known_low_v": low, "known_high_v": high, "noise_v": 0.0, "other_noise_v": 0.0}])
    };
    let done = evidence(&[("/faults", json!([])), ("/checks", check(27.773, -18.0, 12.0))]);
    holds(at(&done, "/checks/0/least_limit"), 27.773, 5e-4);
    holds(at(&done, "/checks/0/certain_high"), 55.547, 1e-3);
    holds(at(&done, "/checks/0/certain_low"), 49.547, 1e-3);
    let known = evidence(&[("/faults", json!([])), ("/checks", check(27.773, -3.6, 2.4))]);
    holds(at(&known, "/checks/0/least_limit"), 13.373, 5e-4);
}

/// Hand arithmetic: 80 FIT covered by a check of 30 FIT, tested in 90 % each 12 h of 12,000 h, residual 3.02 FIT, β 3 %.
#[test]
fn random_failures_with_a_common_cause() {
    let covered = 100.0 * 80.0 / 83.02;
    let done = evidence(&[
        ("/goals", goal("b")),
        (
            "/faults",
            json!([{"component": "Channel", "mode": "all", "rate_fit": 83.02, "safe_percent": 0.0, "direct_percent": 100.0,
                    "coverage_percent": covered, "seen_by": "Comparison"}]),
        ),
        ("/checks", comparison(&json!({"loss_fit": 30.0, "test_interval_h": 12.0, "test_coverage_percent": 90.0}))),
        ("/life", json!({"life_h": 12_000.0, "beta_percent": 3.0})),
    ]);
    holds_relative(at(&done, "/goals/0/dual_fit"), 1.4530e-3, 1e-4);
    holds_relative(at(&done, "/goals/0/common_cause_fit"), 1.4697, 1e-4);
    holds_relative(at(&done, "/goals/0/pmhf_fit"), 4.4911, 1e-4);
    // Without β nothing is judged that hangs on it.
    let open = evidence(&[
        ("/goals", goal("b")),
        (
            "/faults",
            json!([{"component": "Channel", "mode": "all", "rate_fit": 83.02, "direct_percent": 100.0,
                    "coverage_percent": covered, "seen_by": "Comparison"}]),
        ),
        ("/checks", comparison(&json!({"loss_fit": 30.0}))),
        ("/life", json!({})),
    ]);
    assert_eq!(verdict(&open, "safety.pmhf"), "not-judged");
    assert_eq!(verdict(&open, "safety.test-interval"), "not-judged");
}

/// What is not given is not judged: no shares and no deviation, no rate, no harm; all residual has no latent metric.
#[test]
fn what_is_not_given_does_not_hold() {
    let of = |fault: Value| evidence(&[("/goals", goal("d")), ("/faults", json!([fault])), ("/checks", json!([]))]);
    let nothing = of(json!({"component": "A", "mode": "open", "rate_fit": 5.0}));
    let harmless = of(json!({"component": "A", "mode": "open", "rate_fit": 5.0, "from_v": -5.0}));
    let none = evidence(&[("/goals", goal("d")), ("/faults", json!([])), ("/checks", json!([]))]);
    for done in [nothing, harmless, none] {
        for row in ["safety.spfm", "safety.lfm", "safety.pmhf", "safety.hole"] {
            assert_eq!(verdict(&done, row), "not-judged", "{row}");
        }
    }
    let residual = of(json!({"component": "A", "mode": "open", "rate_fit": 5.0, "direct_percent": 100.0}));
    assert_eq!(verdict(&residual, "safety.spfm"), "fails");
    assert_eq!(verdict(&residual, "safety.lfm"), "not-judged");
    assert!(residual.findings.iter().any(|finding| finding.code == "safety.single-point"));
}

/// A hole between harm and detection fails, and a check that only records covers nothing.
#[test]
fn a_hole_fails() {
    let goals = json!([{"name": "Goal", "asil": "c", "reads": "current", "dangerous": "low", "harm_a": 5.0, "ftti_s": 1.0, "reaction_s": 0.0}]);
    let faults = json!([{"component": "Shunt", "mode": "drift", "rate_fit": 2.0, "seen_by": "Comparison", "from_a": -20.0,
        "to_a": 20.0}]);
    let of = |extra: Value| {
        evidence(&[("/goals", goals.clone()), ("/faults", faults.clone()), ("/checks", comparison(&extra))])
    };
    let done = of(json!({}));
    // From 5 to 20 A down it does harm: 15 of 40; from 6.56 A on it is seen.
    holds(at(&done, "/modes/0/direct_percent"), 37.5, 1e-9);
    holds(at(&done, "/modes/0/dc_computed_percent"), 100.0 * 13.44 / 15.0, 1e-9);
    holds(at(&done, "/modes/0/unseen_to"), 6.56, 1e-9);
    assert_eq!(verdict(&done, "safety.hole"), "fails");
    assert_eq!(verdict(&of(json!({"limit_a": 4.0})), "safety.hole"), "thin");
    let recorded = of(json!({"acts": "record", "limit_a": 4.0}));
    assert_eq!(verdict(&recorded, "safety.hole"), "fails");
    holds(at(&recorded, "/goals/0/single_point_fit"), 0.75, 1e-9);
}

/// Closed form of a trapezium: without noise each unit is seen or not, by its static error alone; 35.90 % and 81.81 % by hand,
/// 35.27 ± 0.34 % of 20,000 simulated units.
#[test]
fn without_noise_each_unit_is_certain() {
    for (limit, errors, deviation, expected) in [
        (5.512_345, [2.087_102, 0.133_319_2], -4.923_878_4, 35.90),
        (2.5973, [0.277_986, 1.413_054], -3.496_325, 81.81),
    ] {
        let checks = comparison(
            &json!({"limit_a": limit, "error_a": errors[0], "other_error_a": errors[1], "interval_s": 0.005,
            "processing_s": 0.02}),
        );
        let done = evidence(&[
            ("/judged_by", json!("probability")),
            (
                "/goals",
                json!([{"name": "G", "asil": "b", "reads": "current", "harm_a": 1.0, "ftti_s": 0.0525, "reaction_s": 0.0}]),
            ),
            (
                "/faults",
                json!([{"component": "A", "mode": "step", "rate_fit": 1.0, "seen_by": "Comparison", "from_a": deviation}]),
            ),
            ("/checks", checks),
        ]);
        holds(at(&done, "/modes/0/dc_computed_percent"), expected, 0.02);
    }
}

/// A claim by a check that only records covers nothing, and a safe share is not believed against the deviation beside it.
#[test]
fn claims_do_not_make_better() {
    let of = |fault: Value, check: &Value| {
        let goals =
            json!([{"name": "G", "asil": "b", "reads": "current", "harm_a": 3.0, "ftti_s": 1.0, "reaction_s": 0.0}]);
        evidence(&[("/goals", goals), ("/faults", json!([fault])), ("/checks", comparison(check))])
    };
    let claimed = json!({"component": "A", "mode": "step", "rate_fit": 10.0, "direct_percent": 100.0, "coverage_percent": 99.0,
        "signalled_percent": 100.0, "seen_by": "Comparison"});
    let recorded = of(claimed, &json!({"acts": "record"}));
    holds(at(&recorded, "/goals/0/single_point_fit"), 10.0, 1e-9);
    assert_eq!(verdict(&recorded, "safety.spfm"), "fails");
    let padded = json!({"component": "A", "mode": "step", "rate_fit": 10.0, "safe_percent": 90.0, "direct_percent": 10.0,
        "seen_by": "Comparison", "from_a": -20.0, "to_a": -4.0});
    let padded = of(padded, &json!({}));
    holds(at(&padded, "/modes/0/direct_percent"), 100.0, 1e-9);
    holds(at(&padded, "/goals/0/residual_fit"), 10.0 * 2.56 / 16.0, 1e-9);
}

/// Only the other side of a comparison is typed with a check: what the described channel errs counts, and where nobody knows it
/// neither its false alarms nor the absence of a hole is promised. A test of the reference has an error of its own.
#[test]
fn a_described_channel_whose_error_is_not_known_promises_nothing() {
    let row = |error: Option<f64>, kind: &str, id: &str| {
        let check = json!([{"name": "Comparison", "kind": kind, "reads": "voltage", "other_full_v": 1e6, "limit_v": 3.0, "error_v": 0.3,
            "other_error_v": 0.3, "noise_v": 0.0, "other_noise_v": 0.0}]);
        let fault = json!([{"component": "Part", "mode": "one", "rate_fit": 5.0, "from_v": -20.0, "to_v": -10.0,
            "seen_by": "Comparison"}]);
        let goal = json!([{"name": "G", "asil": "c", "reads": "voltage", "dangerous": "low", "harm_v": 8.0, "at_v": 700.0,
            "ftti_s": 1.0, "reaction_s": 0.0}]);
        let mut voltage = json!({"upper_count": 6, "upper_ohm": 680e3, "lower_ohm": 8060, "bias_current_a": 20e-9,
            "factor": 507.2035, "full_at_v": 1000, "lowest_v": 554.4, "highest_v": 831.6});
        if let Some(error) = error {
            voltage["error_v"] = json!(error);
        }
        let changes = [("/voltage", voltage), ("/goals", goal), ("/faults", fault), ("/checks", check)];
        let found = answer("safety", &changes).requirements.into_iter().find(|row| row.id == id).expect("the row");
        found.verdict
    };
    assert_eq!(row(None, "comparison", "safety.false-alarm"), Verdict::NotJudged);
    assert_eq!(row(None, "comparison", "safety.hole"), Verdict::NotJudged);
    assert_eq!(row(Some(1.0), "comparison", "safety.false-alarm"), Verdict::Holds);
    assert_eq!(row(Some(5.0), "comparison", "safety.false-alarm"), Verdict::Fails);
    assert_eq!(row(Some(5.0), "reference-test", "safety.false-alarm"), Verdict::Holds);
}

/// Uniform from −10 to −4 V, harmful all of it: a silent check sees from 6 V on, two thirds. What else tells somebody counts
/// for what it really sees: nothing from 20 V on, half of that from 8 V on; a check that only warns tells as well. By hand.
#[test]
fn somebody_is_told_of_what_a_telling_check_sees() {
    let latent = |limit: f64, acts: &str| {
        let check = |name: &str, limit: f64, signals: bool, acts: &str| {
            json!({"name": name, "kind": "comparison", "reads": "voltage", "other_full_v": 1e6, "limit_v": limit, "error_v": 0.0,
                "other_error_v": 0.0, "noise_v": 0.0, "other_noise_v": 0.0, "interval_s": 0.01, "in_a_row": 1,
                "ceiling_percent": 99.9, "signals": signals, "acts": acts})
        };
        let checks = json!([check("Silent", 6.0, false, "safe-state"), check("Telling", limit, true, acts)]);
        let goal = json!([{"name": "G", "asil": "b", "reads": "voltage", "dangerous": "low", "harm_v": 3.0, "ftti_s": 1.0, "reaction_s": 0.0}]);
        let fault = json!([{"component": "Part", "mode": "one", "rate_fit": 100.0, "from_v": -10.0, "to_v": -4.0,
            "seen_by": "Silent, Telling"}]);
        let done = evidence(&[("/goals", goal), ("/faults", fault), ("/checks", checks)]);
        at(&done, "/goals/0/latent_fit")
    };
    for (limit, acts, expected) in [(20.0, "safe-state", 200.0), (8.0, "safe-state", 100.0), (8.0, "warn", 100.0)] {
        let told = latent(limit, acts);
        assert!((told - expected / 3.0).abs() < 1e-9, "{told} FIT with {limit} V, {acts}");
    }
}
