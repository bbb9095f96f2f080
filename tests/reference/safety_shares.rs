//! What channels share: one cause in all of its users, and what a comparison of them then sees.

use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find as calculation;
use sensewright_core::field::Notation;
use serde_json::{Value, json};

use super::safety::evidence;
use super::safety_follow::{found, word};
use super::{at, holds, holds_relative};

/// Two channels of 350 A that are compared to 11.25 A with 4.36 A each, and a reference that drifts.
fn compared(insert: &str, from: f64, to: f64, one_reference: bool, shares: &Value) -> Answer {
    evidence(&[
        (
            "/goals",
            json!([{"name": "G", "asil": "c", "reads": "current", "dangerous": "high", "harm_a": 7.0, "at_a": 350.0,
                "ftti_s": 1.0, "reaction_s": 0.0}]),
        ),
        (
            "/current",
            json!({"shunt_ohm": 50e-6, "leg_ohm": 0.0, "bias_current_a": 0.0, "full_at_a": 2000.0, "full_charge_a": 2000.0,
                "error_a": 0.0}),
        ),
        (
            "/faults",
            json!([{"component": "Part", "mode": "drift", "rate_fit": 8.0, "insert": insert, "from_percent": from,
                "to_percent": to}]),
        ),
        (
            "/checks",
            json!([{"name": "Comparison", "kind": "comparison", "reads": "current", "other_full_a": 1e6, "limit_a": 11.25, "error_a": 4.36,
                "other_error_a": 4.36, "noise_a": 0.0, "other_noise_a": 0.0, "one_reference": one_reference}]),
        ),
        ("/shares", shares.clone()),
    ])
}

/// Closed form: a reference that is 2 % low reads 2.0408 % high, 7.143 A: that is the difference of separate references, 0 of
/// a shared one; separate ones are seen from 11.25 + 8.72 A on, −5.398 %.
#[test]
fn a_comparison_sees_nothing_of_what_both_share() {
    let shared = json!([{"what": "reference", "users": "current, Comparison"}]);
    let one = compared("reference-drift", -2.0, -2.0, false, &shared);
    holds_relative(at(&one, "/modes/0/deviates_to") / 350.0, 0.020_408, 1e-4);
    holds(at(&one, "/modes/0/comparison_sees"), 0.0, 1e-12);
    let none = json!([]);
    let separate = compared("reference-drift", -2.0, -2.0, false, &none);
    holds_relative(at(&separate, "/modes/0/comparison_sees"), 7.143, 1e-4);
    let seen = compared("reference-drift", -10.0, -2.0, false, &none);
    holds(at(&seen, "/modes/0/dc_computed_percent"), 100.0 * (10.0 - 5.398) / 8.0, 0.02);
    assert!(found(&one, "safety.blind-to-shared") && found(&one, "safety.counted-twice"));
    assert!(!found(&separate, "safety.blind-to-shared") && !found(&separate, "safety.counted-twice"));
}

/// One rule: a share says the same as the word of the check; what is shared of another kind hides nothing.
#[test]
fn a_share_is_the_word_of_the_check() {
    let of = |one_reference: bool, shares: Value| compared("reference-drift", -10.0, -2.0, one_reference, &shares);
    let word = of(true, json!([]));
    let share = of(false, json!([{"what": "reference", "users": "Comparison"}]));
    for pointer in ["/goals/0/single_point_fit", "/modes/0/comparison_sees", "/modes/0/direct_percent"] {
        holds(at(&word, pointer), at(&share, pointer), 1e-12);
    }
    assert_eq!(share.result.tree().pointer("/modes/0/dc_computed_percent"), None);
    for other in
        [json!([{"what": "converter", "users": "Comparison"}]), json!([{"what": "reference", "users": "current"}])]
    {
        assert!(at(&of(false, other), "/modes/0/dc_computed_percent") > 0.0);
    }
    let gain = compared("converter-gain", 3.0, 3.0, false, &json!([{"what": "converter", "users": "Comparison"}]));
    holds(at(&gain, "/modes/0/comparison_sees"), 0.0, 1e-12);
}

/// Who uses it is a channel or a comparison.
#[test]
fn users_are_known() {
    let mut input = Value::Object(calculation("safety").expect("a calculation").start().clone());
    sensewright_tests::put(&mut input, "/shares", json!([{"what": "supply", "users": "voltage, Somebody"}]));
    let refused = calculation("safety").expect("a calculation").answer(Some(&input), Notation::Json);
    let faults = refused.expect_err("it is refused");
    assert!(
        faults.iter().any(|fault| fault.field == "/shares/0/users" && fault.got.contains("Somebody")),
        "{faults:#?}"
    );
}

/// 831.6 V, 900 µF through 60 Ω to 95 %, 300 A may be made: a gain of 1.199527 in one reference of both channels cancels, and
/// 152.6 A flow as without it.
#[test]
fn a_common_gain_cancels_in_a_ratio() {
    let (upper, lower) = (4.08e6, 8060.0);
    let of = |shares: Value, side: &str| {
        evidence(&[
            (
                "/goals",
                json!([{"name": "G", "asil": "c", "reads": "voltage", "decided_by": "pre-charge", "ftti_s": 1.0, "reaction_s": 0.0}]),
            ),
            (
                "/precharge",
                json!({"pack_v": 831.6, "capacitance_farad": 900e-6, "resistance_ohm": 60.0, "target_percent": 95.0,
                "link_error_v": 0.0, "pack_error_v": 0.0, "max_time_s": 0.5, "path_ohm": 0.2482, "path_henry": 2e-6,
                "making_a": 300.0}),
            ),
            (
                "/voltage",
                json!({"upper_count": 6.0, "upper_ohm": 680e3, "lower_ohm": lower, "bias_current_a": 0.0,
                "factor": 1.0 + upper / lower, "full_at_v": 2000.0, "error_v": 0.0}),
            ),
            ("/checks", json!([])),
            (
                "/faults",
                json!([{"component": "Converter", "mode": "gain", "rate_fit": 25.0, "insert": "converter-gain",
                "from_percent": 19.9527, "side": side}]),
            ),
            ("/shares", shares),
        ])
    };
    let both = json!([{"what": "converter", "users": "voltage, link"}]);
    for side in ["pack", "link"] {
        let done = of(both.clone(), side);
        assert_eq!(word(&done), "in-time", "{side}");
        holds_relative(at(&done, "/modes/0/trips_at"), 0.95 * 831.6, 1e-9);
        holds_relative(at(&done, "/modes/0/inrush_a"), 152.6, 4e-4);
        holds(at(&done, "/modes/0/safe_percent"), 100.0, 1e-9);
    }
    assert_eq!(word(&of(json!([]), "link")), "too-soon");
    assert_eq!(word(&of(json!([]), "pack")), "never");
}
