//! Goals that hang on a threshold, and checks beside a channel that is described: what is known of either counts, and nothing
//! that is typed makes it better.

use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find as calculation;
use sensewright_core::demo::find;
use sensewright_core::design::Design;
use sensewright_core::design::assess::assess;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::field::{FieldError, Notation};
use sensewright_core::work::Work;
use serde_json::{Value, json};

use super::safety::evidence;
use super::{at, holds};

fn verdict(done: &Answer, id: &str) -> String {
    let row = done.requirements.iter().find(|row| row.id == id).unwrap_or_else(|| panic!("no {id}"));
    serde_json::to_value(row.verdict).expect("a word").as_str().expect("a word").to_owned()
}

/// A goal of an over-voltage threshold that is decided at 849.4 V and late from 11.4 V on, with what else is typed.
fn over_voltage(typed: &Value) -> Result<Answer, Vec<FieldError>> {
    let mut goal = json!({"name": "G", "asil": "c", "reads": "voltage", "ftti_s": 1.0, "reaction_s": 0.0});
    goal.as_object_mut().expect("a goal").extend(typed.as_object().expect("fields").clone());
    let mut input = Value::Object(calculation("safety").expect("a calculation").start().clone());
    for (pointer, value) in [
        ("/goals", json!([goal])),
        ("/checks", json!([])),
        ("/voltage/decided_v", json!(849.4)),
        ("/voltage/harm_v", json!(11.4)),
        ("/voltage/late_sign", json!(-1.0)),
        ("/faults", json!([{"component": "Divider", "mode": "step", "rate_fit": 6.0, "from_v": -20.0, "to_v": 20.0}])),
    ] {
        sensewright_tests::put(&mut input, pointer, value);
    }
    calculation("safety").expect("a calculation").answer(Some(&input), Notation::Json)
}

/// By hand: of −20 to 20 V those below −11.4 V make it late, 21.5 %. Nothing typed changes that; a goal of the other side has
/// its own place and harm.
#[test]
fn a_threshold_is_not_talked_away() {
    let direct = |typed: Value| at(&over_voltage(&typed).expect("it stands"), "/modes/0/direct_percent");
    holds(direct(json!({"dangerous": "low"})), 21.5, 1e-9);
    holds(direct(json!({"dangerous": "both"})), 43.0, 1e-9);
    holds(direct(json!({"dangerous": "high", "at_v": 500.0, "harm_v": 4.0})), 40.0, 1e-9);
    for (typed, field) in [
        (json!({"dangerous": "low", "harm_v": 100.0}), "/goals/0/harm_v"),
        (json!({"dangerous": "low", "at_v": 500.0}), "/goals/0/at_v"),
        (json!({"dangerous": "high"}), "/goals/0/dangerous"),
        (json!({"dangerous": "high", "harm_v": 100.0}), "/goals/0/dangerous"),
    ] {
        let faults = over_voltage(&typed).expect_err("it is refused");
        assert!(faults.iter().any(|fault| fault.field == field), "{typed}: {faults:#?}");
    }
}

/// A design with one threshold and a goal that hangs on it.
fn design(threshold: &Value, safety: &Value) -> Design {
    let mut document = Value::Object(find("mountain-rescue-car").expect("a demo").design.document());
    let mut one = json!({"number": 1, "samples_in_a_row": 10, "sample_rate_hz": 100.0, "filter_s": 0.0, "processing_s": 0.0,
        "opening_s": 0.1});
    one.as_object_mut().expect("a threshold").extend(threshold.as_object().expect("fields").clone());
    sensewright_tests::put(&mut document, "/protection", json!([one]));
    let mut part = json!({"number": 1});
    part.as_object_mut().expect("a part").extend(safety.as_object().expect("fields").clone());
    sensewright_tests::put(&mut document, "/safety", json!([part]));
    Design::read(&document).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

fn handed(design: &Design, pointer: &str) -> Option<f64> {
    let prepared = Prepared::new(design, Work::FREE).expect("it stands");
    let place = design.parts.iter().position(|part| part.key() == "safety.1").expect("a part");
    prepared.input(place).number(pointer)
}

/// By hand: 760 A less 100 A/s over 0.1 + 0.1 s are 740 A, of a charging current −740 A; 740 − 2 − 700 A may be misread, and
/// what reads too high, nearer to zero, is late.
#[test]
fn a_charge_threshold_is_decided_below_zero() {
    let of = |kind: &str, dangerous: &str| {
        let threshold = json!({"of": "current", "kind": kind, "normal_a": 600.0, "hazard_a": 760.0, "error_normal_a": 2.0,
            "noise_a": 0.0, "rate_a_per_s": 100.0, "threshold_a": 700.0});
        let goals = json!([{"name": "G", "asil": "c", "reads": "current", "dangerous": dangerous, "ftti_s": 1.0, "reaction_s": 0.0}]);
        design(&threshold, &json!({"current_threshold": 1, "goals": goals}))
    };
    for (kind, decided, sign) in [("over-current-charge", -740.0, 1.0), ("over-current-discharge", 740.0, -1.0)] {
        let design = of(kind, "both");
        holds(handed(&design, "/current/decided_a").expect("handed on"), decided, 1e-9);
        holds(handed(&design, "/current/harm_a").expect("handed on"), 38.0, 1e-9);
        holds(handed(&design, "/current/late_sign").expect("handed on"), sign, 1e-12);
        for (pointer, expected) in [
            ("/current_trip/threshold_a", -sign * 700.0),
            ("/current_trip/error_a", 2.0),
            ("/current_trip/hazard_a", -sign * 760.0),
            ("/current_trip/slope_a_per_s", 100.0),
            ("/current_trip/normal_a", -sign * 600.0),
        ] {
            holds(handed(&design, pointer).expect("handed on"), expected, 1e-9);
        }
    }
    assert!(assess(&of("over-current-charge", "high")).is_ok());
    let refused = assess(&of("over-current-charge", "low")).expect_err("the other side");
    assert!(format!("{refused:?}").contains("/safety/0/goals/0/dangerous"), "{refused:?}");
}

/// The pack channel never stands at the voltage of a cell: nothing is judged there.
#[test]
fn a_cell_threshold_decides_no_goal_of_the_pack() {
    let threshold = json!({"of": "voltage", "kind": "cell-over-voltage", "normal_v": 4.2, "hazard_v": 4.3, "error_normal_v": 0.005,
        "noise_v": 0.0, "rate_v_per_s": 0.01, "threshold_v": 4.25});
    let goals =
        json!([{"name": "G", "asil": "c", "reads": "voltage", "dangerous": "low", "ftti_s": 1.0, "reaction_s": 0.0}]);
    let assessed = assess(&design(&threshold, &json!({"voltage_channel": 1, "voltage_threshold": 1, "goals": goals})))
        .expect("it stands");
    let part = assessed.parts.iter().find(|part| part.part.key() == "safety.1").expect("a part");
    assert!(part.answer.result.tree().pointer("/goals/0/spfm_percent").is_none());
    let told = serde_json::to_string(&part.answer.requirements).expect("rows");
    assert!(told.contains("the voltage of the pack"), "{told}");
}

/// A common gain shows in no difference, neither of two channels nor of a pack and its cells.
#[test]
fn what_both_share_shows_in_no_sum_of_cells() {
    for kind in ["comparison", "sum-of-cells"] {
        for (insert, shared) in [("reference-drift", "one_reference"), ("converter-gain", "one_converter")] {
            let of = |is_shared: bool| {
                let mut check = json!({"name": "Cells", "kind": kind, "reads": "voltage", "other_full_v": 1e6, "limit_v": 1.0, "error_v": 0.5,
                    "other_error_v": 0.5, "noise_v": 0.0, "other_noise_v": 0.0});
                check[shared] = json!(is_shared);
                let goal = json!([{"name": "G", "asil": "c", "reads": "voltage", "harm_v": 5.0, "at_v": 800.0, "ftti_s": 1.0, "reaction_s": 0.0}]);
                let fault = json!([{"component": "Part", "mode": "drift", "rate_fit": 8.0, "insert": insert,
                    "from_percent": -5.0, "to_percent": -4.0}]);
                evidence(&[("/goals", goal), ("/faults", fault), ("/checks", json!([check]))])
            };
            holds(at(&of(false), "/modes/0/dc_computed_percent"), 100.0, 1e-9);
            let blind = of(true);
            assert_eq!(blind.result.tree().pointer("/modes/0/dc_computed_percent"), None, "{kind} {insert}");
            holds(at(&blind, "/goals/0/single_point_fit"), 8.0, 1e-9);
        }
    }
}

/// A current that is compared with a limit of 6 A and errors of 0.5 A, beside a channel.
fn compared(channel: Value) -> Answer {
    evidence(&[
        (
            "/goals",
            json!([{"name": "G", "asil": "c", "reads": "current", "dangerous": "low", "harm_a": 10.0, "at_a": 300.0,
                    "ftti_s": 1.0, "reaction_s": 0.0}]),
        ),
        ("/current", channel),
        (
            "/faults",
            json!([{"component": "Shunt", "mode": "drift", "rate_fit": 2.0, "seen_by": "Comparison", "from_a": -20.0,
                    "to_a": 0.0}]),
        ),
        (
            "/checks",
            json!([{"name": "Comparison", "kind": "comparison", "reads": "current", "other_full_a": 1e6, "limit_a": 6.0, "error_a": 0.5,
                    "other_error_a": 0.5, "noise_a": 0.3, "other_noise_a": 0.4, "noise_sigma": 2.0}]),
        ),
    ])
}

/// By hand: 6 + 1 + 2 · 0.5 A are seen; of a channel that errs 4 A with a noise of 1.2 A, 6 + 4.5 + 2 · √(1.44 + 0.16) A,
/// which is more than the 10 A that harm.
#[test]
fn a_check_is_no_better_than_its_channel() {
    let alone = compared(json!({}));
    holds(at(&alone, "/checks/0/certain_low"), 8.0, 1e-9);
    holds(at(&alone, "/modes/0/dc_computed_percent"), 100.0, 1e-9);
    let seen = 10.5 + 2.0 * 1.6_f64.sqrt();
    let worse = compared(json!({"error_a": 4.0, "noise_a": 1.2}));
    holds(at(&worse, "/checks/0/certain_low"), seen, 1e-9);
    holds(at(&worse, "/modes/0/dc_computed_percent"), 100.0 * (20.0 - seen) / 10.0, 1e-9);
    assert_eq!(verdict(&worse, "safety.hole"), "fails");
    let better = compared(json!({"error_a": 0.1, "noise_a": 0.1}));
    holds(at(&better, "/checks/0/certain_low"), 8.0, 1e-9);
}

/// Beside a channel whose error is not known what is typed for its check makes no row hold.
#[test]
fn a_typed_error_that_nothing_is_held_against() {
    let rows = |done: &Answer| ["safety.hole", "safety.false-alarm"].map(|id| verdict(done, id));
    assert_eq!(rows(&compared(json!({"shunt_ohm": 50e-6, "error_a": 0.5}))), ["holds", "holds"]);
    assert_eq!(rows(&compared(json!({"shunt_ohm": 50e-6}))), ["not-judged", "not-judged"]);
}

/// The channels of a design hand their errors and their noise down: of a current that at the peak of the pack.
#[test]
fn a_design_hands_what_its_channels_err() {
    let threshold = json!({"of": "voltage", "kind": "pack-over-voltage", "normal_v": 831.6, "hazard_v": 851.4,
        "error_normal_v": 2.0, "noise_v": 0.0, "rate_v_per_s": 10.0, "threshold_v": 836.0});
    let tied = design(&threshold, &json!({"current_channel": 1, "voltage_channel": 1}));
    let typed = design(&threshold, &json!({}));
    for pointer in ["/current/error_a", "/current/noise_a", "/voltage/error_v", "/voltage/noise_v"] {
        assert!(handed(&tied, pointer).is_some_and(|value| value > 0.0), "{pointer}");
        assert_eq!(handed(&typed, pointer), None, "{pointer}");
    }
}
