//! What a design does with a fault in it: where its threshold trips, how late, or never.

use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find as calculation;
use sensewright_core::field::{FieldError, Notation};
use serde_json::{Value, json};

use super::safety::evidence;
use super::{at, holds, holds_relative};

/// An over-voltage threshold of 836 V before a hazard of 851.4 V: decided at 851.4 − 10 · 0.2 = 849.4 V.
fn goal(typed: &Value) -> Value {
    let mut goal = json!({"name": "G", "asil": "c", "reads": "voltage", "dangerous": "low", "ftti_s": 1.0, "reaction_s": 0.0,
        "threshold_v": 836.0, "error_v": 0.0, "hazard_v": 851.4, "slope_v_per_s": 10.0, "delay_s": 0.2, "normal_v": 831.6});
    goal.as_object_mut().expect("a goal").extend(typed.as_object().expect("fields").clone());
    json!([goal])
}

fn fault(typed: &Value) -> Value {
    let mut fault = json!({"component": "Divider", "mode": "one", "rate_fit": 6.0});
    fault.as_object_mut().expect("a mode").extend(typed.as_object().expect("fields").clone());
    json!([fault])
}

fn followed(typed: &Value, mode: &Value) -> Answer {
    let changes = [
        ("/goals", goal(typed)),
        ("/voltage/load_ohm", json!(10e6)),
        ("/voltage/full_at_v", json!(2000.0)),
        ("/checks", json!([])),
        ("/faults", fault(mode)),
    ];
    evidence(&changes)
}

pub(super) fn word(done: &Answer) -> String {
    done.result.tree().pointer("/modes/0/behaviour").and_then(Value::as_str).unwrap_or("none").into()
}

pub(super) fn found(done: &Answer, code: &str) -> bool {
    done.findings.iter().any(|finding| finding.code == code)
}

/// Nodal analysis: 2.2 MΩ in place of one of six elements; 836 V are read at 1147.6 V with the bias current into the tap, and
/// 0.32 V of the tap's resistance later with it out of the tap.
#[test]
fn a_crack_trips_late_or_never() {
    let crack = json!({"insert": "upper-open", "from_ohm": 2.2e6});
    let never = followed(&json!({"largest_possible_v": 920.0}), &crack);
    assert_eq!((word(&never).as_str(), never.result.tree().pointer("/modes/0/trips_at")), ("never", None));
    assert!(found(&never, "safety.never-trips"));
    let late = followed(&json!({"largest_possible_v": 1200.0}), &crack);
    let (upper, siemens) = (5.0 * 680e3 + 2.2e6, 1.0 / 8060.0 + 1e-7);
    let trips = |bias: f64| (836.0 / 507.2035 - bias * upper / (1.0 + upper * siemens)) * (1.0 + upper * siemens);
    holds_relative(trips(20e-9), 1147.6, 1e-4);
    assert_eq!(word(&late), "late");
    holds_relative(at(&late, "/modes/0/trips_at"), trips(-20e-9), 1e-9);
    holds_relative(at(&late, "/modes/0/late_by_s"), (trips(-20e-9) - 849.4) / 10.0, 1e-9);
    holds(at(&late, "/modes/0/direct_percent"), 100.0, 1e-9);
    assert!(found(&late, "safety.late"));
    // How far the voltage goes is not known: nothing says that it ever trips.
    let open = followed(&json!({}), &crack);
    assert_eq!((word(&open).as_str(), open.result.tree().pointer("/modes/0/late_by_s")), ("late", None));
}

/// By hand: what is typed deviates alike everywhere: T + e − δ; the error counts; what reads high trips in operation.
#[test]
fn a_typed_deviation_shifts_the_trip() {
    let of =
        |error_v: f64, from: f64, to: f64| followed(&json!({"error_v": error_v}), &json!({"from_v": from, "to_v": to}));
    let in_time = of(2.0, -11.0, -3.0);
    assert_eq!(word(&in_time), "in-time");
    holds(at(&in_time, "/modes/0/trips_at"), 836.0 + 2.0 + 11.0, 1e-9);
    holds(at(&in_time, "/modes/0/safe_percent"), 100.0, 1e-9);
    // 849.4 − 836 − 2 V may be lacking: of −12 to −3 V those from 11.4 V on are late.
    let late = of(2.0, -12.0, -3.0);
    assert_eq!(word(&late), "late");
    holds(at(&late, "/modes/0/late_by_s"), (836.0 + 2.0 + 12.0 - 849.4) / 10.0, 1e-9);
    holds(at(&late, "/modes/0/direct_percent"), 100.0 * 0.6 / 9.0, 1e-9);
    assert_eq!(word(&of(2.0, 3.0, 5.0)), "early");
    assert_eq!(word(&of(0.5, 3.0, 3.5)), "in-time");
    assert!(found(&of(0.5, 3.0, 3.5), "safety.illustrative"));
}

/// 19.8 V from allowed operation to the hazard at 10 V/s are 1.98 s.
#[test]
fn a_tolerated_time_is_no_longer_than_the_ramp() {
    let of = |ftti_s: f64| followed(&json!({"ftti_s": ftti_s, "reaction_s": 0.0}), &json!({"from_v": -1.0}));
    assert!(found(&of(2.0), "safety.ftti-above-slope"));
    assert!(!found(&of(1.97), "safety.ftti-above-slope"));
}

fn refused(changes: &[(&str, Value)]) -> Vec<FieldError> {
    let mut input = Value::Object(calculation("safety").expect("a calculation").start().clone());
    for (pointer, value) in changes {
        sensewright_tests::put(&mut input, pointer, value.clone());
    }
    calculation("safety").expect("a calculation").answer(Some(&input), Notation::Json).expect_err("it is refused")
}

/// Each number of a threshold stands once, on the side where it makes sense.
#[test]
fn a_threshold_is_told_once() {
    for (typed, field) in [
        (json!({"at_v": 849.0}), "/goals/0/at_v"),
        (json!({"harm_v": 8.0}), "/goals/0/harm_v"),
        (json!({"dangerous": "high"}), "/goals/0/dangerous"),
        (json!({"hazard_v": 831.6}), "/goals/0/hazard_v"),
        (json!({"largest_possible_v": 840.0}), "/goals/0/largest_possible_v"),
    ] {
        let faults = refused(&[("/goals", goal(&typed)), ("/faults", json!([])), ("/checks", json!([]))]);
        assert!(faults.iter().any(|fault| fault.field == field), "{typed}: {faults:#?}");
    }
    let faults = refused(&[("/voltage_trip/threshold_v", json!(836.0))]);
    assert!(faults.iter().any(|fault| fault.field == "/voltage_trip/threshold_v"), "{faults:#?}");
}

/// A threshold of which something is missing decides nothing.
#[test]
fn half_a_threshold_is_none() {
    for missing in ["threshold_v", "error_v", "hazard_v", "slope_v_per_s", "delay_s", "normal_v"] {
        let mut goals = goal(&json!({}));
        goals[0].as_object_mut().expect("a goal").remove(missing);
        let done = evidence(&[
            ("/goals", goals),
            ("/checks", json!([])),
            ("/faults", fault(&json!({"insert": "upper-drift"}))),
        ]);
        assert_eq!(word(&done), "none", "{missing}");
        assert!(done.result.tree().pointer("/goals/0/spfm_percent").is_none(), "{missing}");
    }
}

/// A generator of its own.
pub(super) struct Drawn(pub(super) u64);

impl Drawn {
    pub(super) fn uniform(&mut self, low: f64, high: f64) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        low + (high - low) * (self.0 >> 11) as f64 / 9_007_199_254_740_992.0
    }
}

/// What harms where the goal is decided is late or never trips, and nothing else: 300 drawn circuits, faults and thresholds.
#[test]
fn direct_is_late_or_never() {
    let mut drawn = Drawn(0x2545_F491_4F6C_DD1D);
    let modes = [
        "upper-drift",
        "upper-open",
        "upper-leak",
        "upper-short",
        "lower-drift",
        "filter-leak",
        "reference-drift",
        "converter-gain",
        "converter-stuck",
        "lower-short",
        "tap-open",
    ];
    let mut late = 0;
    for design in 0..300 {
        let over = design % 2 == 0;
        let (volt, slope, delay) = (drawn.uniform(300.0, 900.0), drawn.uniform(0.1, 20.0), drawn.uniform(0.0, 0.3));
        let sign = if over { 1.0 } else { -1.0 };
        let room = drawn.uniform(2.0, 40.0);
        let threshold = volt + sign * room * drawn.uniform(0.05, 0.6);
        let hazard = volt + sign * (room + slope * delay);
        let error = 0.9 * drawn.uniform(0.0, 1.0) * (volt + sign * room - threshold).abs();
        let element = drawn.uniform(300e3, 1e6);
        let lower = 6.0 * element / drawn.uniform(300.0, 600.0);
        let (siemens, upper) = (1.0 / lower + 1e-7, 6.0 * element);
        let done = evidence(&[
            ("/voltage/upper_ohm", json!(element)),
            ("/voltage/lower_ohm", json!(lower)),
            ("/voltage/load_ohm", json!(10e6)),
            ("/voltage/bias_current_a", json!(drawn.uniform(0.0, 20e-9))),
            ("/voltage/factor", json!(1.0 + upper * siemens)),
            ("/voltage/full_at_v", json!(1.5 * volt)),
            ("/voltage/lowest_v", json!(0.6 * volt)),
            ("/voltage/highest_v", json!(volt)),
            ("/checks", json!([])),
            ("/faults", fault(&json!({"insert": modes[design % modes.len()], "law": "uniform"}))),
            (
                "/goals",
                json!([{"name": "G", "reads": "voltage", "dangerous": if over { "low" } else { "high" },
                "threshold_v": threshold, "error_v": error, "hazard_v": hazard, "slope_v_per_s": slope, "delay_s": delay,
                "normal_v": volt, "largest_possible_v": (hazard + sign * drawn.uniform(0.0, 200.0)).max(0.0)}]),
            ),
        ]);
        let harms = at(&done, "/modes/0/direct_percent") > 0.0;
        assert_eq!(harms, matches!(word(&done).as_str(), "late" | "never"), "{design}: {:#?}", done.result);
        late += u32::from(harms);
    }
    assert!((60..=240).contains(&late), "{late} of 300 harm");
}
