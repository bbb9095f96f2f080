//! Two readings that are compared: drops and skews between them, which one a goal uses, and who is told.

use sensewright_core::calculation::Answer;
use serde_json::{Value, json};

use super::safety::evidence;
use super::{at, holds, holds_relative};

/// By hand: 198 cells of 4 mV, 1.08 % of 831.6 V, 30 mΩ between +600 and −400 A; corrected to a fifth; 2 ms of skew at 10 kA/s.
#[test]
fn a_drop_between_cells_and_pack_is_known() {
    let of = |extra: Value| {
        let mut check = json!({"name": "Sum", "kind": "sum-of-cells", "reads": "voltage", "limit_v": 27.773,
            "error_v": 0.0108 * 831.6, "cell_error_v": 0.004, "drop_ohm": 0.03, "noise_v": 0.0, "other_noise_v": 0.0});
        check.as_object_mut().expect("a check").extend(extra.as_object().expect("fields").clone());
        evidence(&[
            ("/faults", json!([])),
            ("/voltage/cells", json!(198)),
            ("/current", json!({"peak_a": 600.0, "charge_peak_a": 400.0})),
            ("/checks", json!([check])),
        ])
    };
    let whole = of(json!({}));
    holds_relative(at(&whole, "/checks/0/least_limit"), 27.773, 1e-4);
    holds_relative(at(&whole, "/checks/0/certain_high"), 55.547, 1e-4);
    holds_relative(at(&whole, "/checks/0/certain_low"), 49.547, 1e-4);
    holds_relative(at(&of(json!({"drop_left_percent": 20.0})), "/checks/0/least_limit"), 13.373, 1e-4);
    let skewed = of(json!({"skew_s": 0.002, "slope_a_per_s": 1e4}));
    holds(at(&skewed, "/checks/0/least_limit") - at(&whole, "/checks/0/least_limit"), 0.002 * 1e4 * 0.03, 1e-9);
    // How fast it moves is not given: nothing is known of the difference.
    assert!(of(json!({"skew_s": 0.002})).result.tree().pointer("/checks/0/least_limit").is_none());
}

/// One mode of a current channel from −20 to 20 A, compared with another one; low readings are dangerous from 8 A on.
fn used(typed: &Value, fault: &Value) -> Answer {
    let mut check = json!({"name": "Comparison", "kind": "comparison", "reads": "current", "other_full_a": 1e6, "limit_a": 9.0, "error_a": 0.5,
        "other_error_a": 0.5, "noise_a": 0.0, "other_noise_a": 0.0});
    check.as_object_mut().expect("a check").extend(typed.as_object().expect("fields").clone());
    let mut mode = json!({"component": "Part", "mode": "one", "rate_fit": 8.0, "seen_by": "Comparison"});
    mode.as_object_mut().expect("a mode").extend(fault.as_object().expect("fields").clone());
    evidence(&[
        (
            "/goals",
            json!([{"name": "G", "asil": "c", "reads": "current", "dangerous": "low", "harm_a": 8.0, "at_a": 200.0,
                    "ftti_s": 1.0, "reaction_s": 0.0}]),
        ),
        (
            "/current",
            json!({"shunt_ohm": 50e-6, "leg_ohm": 0.0, "bias_current_a": 0.0, "full_at_a": 2000.0, "full_charge_a": 2000.0,
                    "error_a": 0.5}),
        ),
        ("/faults", json!([mode])),
        ("/checks", json!([check])),
    ])
}

/// By hand: of −20 to 20 A those below −8 A harm, 30 %, seen from −10 A on; a mean moves by half and harms from −16 A on, 10 %,
/// all seen; the larger of both is never low. What no longer harms takes a second fault, and of that the comparison tells.
#[test]
fn a_goal_may_use_another_reading() {
    let spread = json!({"from_a": -20.0, "to_a": 20.0});
    let shares =
        |done: &Answer| ["direct_percent", "multi_point_percent"].map(|of| at(done, &format!("/modes/0/{of}")));
    let told = |done: &Answer, direct: f64, second: f64| {
        let [d, p] = shares(done);
        holds(d, direct, 1e-6);
        holds(p, second, 1e-6);
    };
    let own = used(&json!({}), &spread);
    told(&own, 30.0, 0.0);
    holds(at(&own, "/modes/0/dc_computed_percent"), 100.0 * 10.0 / 12.0, 1e-6);
    let mean = used(&json!({"used": "mean"}), &spread);
    told(&mean, 10.0, 20.0);
    holds(at(&mean, "/modes/0/dc_computed_percent"), 100.0, 1e-6);
    // Of the 20 % from −16 to −8 A those below −10 A are told: 8 · 0.2 · 2/8 FIT stay hidden.
    holds(at(&mean, "/goals/0/latent_fit"), 8.0 * 0.2 * 2.0 / 8.0, 1e-6);
    let larger = used(&json!({"used": "larger"}), &spread);
    told(&larger, 0.0, 30.0);
    told(&used(&json!({"used": "smaller"}), &spread), 30.0, 0.0);
    // The other channel errs 3.5 A more on its own, 1.5 A in the mean: harmful from −(8 − 1.5) · 2 = −13 A on.
    told(&used(&json!({"used": "mean", "other_error_a": 3.5}), &spread), 17.5, 12.5);
}

/// By hand: what both share moves the mean as a whole; a gain of the converter moves half of it.
#[test]
fn what_both_share_moves_the_mean() {
    let gain = json!({"insert": "converter-gain", "from_percent": -10.0, "to_percent": 0.0});
    let direct =
        |shared: bool| at(&used(&json!({"used": "mean", "one_converter": shared}), &gain), "/modes/0/direct_percent");
    // 8 A of 200 A are 4 %, of a mean 8 %.
    holds(direct(true), 60.0, 0.01);
    holds(direct(false), 20.0, 0.01);
}

/// By definition: only what a check that signals sees is told; one that sees nothing of a mode tells nobody, one that only warns
/// tells of what others cover.
#[test]
fn a_check_that_sees_nothing_tells_nobody() {
    let of = |other: Value| {
        let mut second = json!({"name": "B", "kind": "comparison", "reads": "voltage", "other_full_v": 1e6, "error_v": 0.0, "other_error_v": 0.0,
            "noise_v": 0.0, "other_noise_v": 0.0, "interval_s": 0.01, "in_a_row": 1, "loss_fit": 1.0});
        let mut first = second.clone();
        (first["name"], first["limit_v"], first["signals"]) = (json!("A"), json!(6.0), json!(false));
        second.as_object_mut().expect("a check").extend(other.as_object().expect("fields").clone());
        evidence(&[
            (
                "/goals",
                json!([{"name": "G", "asil": "b", "reads": "voltage", "dangerous": "low", "harm_v": 3.0, "ftti_s": 1.0, "reaction_s": 0.0}]),
            ),
            (
                "/faults",
                json!([{"component": "Part", "mode": "one", "rate_fit": 100.0, "from_v": -10.0, "to_v": -4.0,
                        "seen_by": "A, B"}]),
            ),
            ("/checks", json!([first, second])),
        ])
    };
    let covered = 100.0 * 4.0 / 6.0;
    let latent = |done: &Answer| at(done, "/goals/0/latent_fit") / 100.0;
    holds(latent(&of(json!({"limit_v": 20.0}))), 4.0 / 6.0, 1e-9);
    holds(latent(&of(json!({"limit_v": 8.0}))), 4.0 / 6.0 * 0.5, 1e-9);
    holds(latent(&of(json!({"limit_v": 8.0, "acts": "warn"}))), 4.0 / 6.0 * 0.5, 1e-9);
    holds(latent(&of(json!({"limit_v": 8.0, "acts": "warn", "signals": false}))), 4.0 / 6.0, 1e-9);
    holds(at(&of(json!({"limit_v": 20.0})), "/modes/0/dc_computed_percent"), covered, 1e-9);
}

/// By hand: a limit of a fifth of what the other one reads, 500 V ± 0.5 V, is passed for certain by a difference of
/// 100 V + 0.5 V of the own error + 1.2 · 0.5 V of the other one's, which moves the limit, too.
#[test]
fn a_limit_that_is_a_share_moves_with_the_other_reading() {
    let found = evidence(&[
        (
            "/goals",
            json!([{"name": "G", "asil": "b", "reads": "voltage", "dangerous": "high", "harm_v": 120.0, "at_v": 500.0,
                    "ftti_s": 1.0, "reaction_s": 0.0}]),
        ),
        (
            "/faults",
            json!([{"component": "Part", "mode": "one", "rate_fit": 8.0, "from_v": 50.0, "to_v": 150.0, "law": "uniform",
                    "direct_percent": 100.0, "seen_by": "Comparison"}]),
        ),
        ("/voltage/error_v", json!(0.0)),
        (
            "/checks",
            json!([{"name": "Comparison", "kind": "comparison", "reads": "voltage", "limit_v": 0.0, "limit_percent": 20.0,
                    "error_v": 0.5, "other_error_v": 0.5, "noise_v": 0.0, "other_noise_v": 0.0, "other_full_v": 2000.0}]),
        ),
    ]);
    holds(at(&found, "/modes/0/seen_from"), 101.1, 1e-9);
}
