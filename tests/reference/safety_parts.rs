//! Goals that rest on the race of a short circuit, on a pre-charge, on a count of charge: what each does with a reading that a
//! fault has shifted.

use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find as calculation;
use sensewright_core::demo::find;
use sensewright_core::design::Design;
use sensewright_core::design::assess::assess;
use sensewright_core::field::Notation;
use serde_json::{Value, json};

use super::safety::{evidence, verdict};
use super::safety_follow::{Drawn, found, word};
use super::{at, holds, holds_relative};

/// Of a gain of the reading: the mode that has it, in percent.
fn gain(typed: &Value) -> Value {
    let mut fault = json!({"component": "Amplifier", "mode": "gain", "rate_fit": 25.0, "insert": "converter-gain"});
    fault.as_object_mut().expect("a mode").extend(typed.as_object().expect("fields").clone());
    json!([fault])
}

/// What is described with the changes; nothing takes a number out of its part.
fn changed<'a>(own: &[(&'a str, Value)], changes: &[(&'a str, Value)]) -> Vec<(&'a str, Value)> {
    let mut all = [own, changes].concat();
    for (pointer, _) in changes.iter().filter(|(_, value)| value.is_null()) {
        let (part, key) = pointer.rsplit_once('/').expect("a field of a part");
        for (_, value) in all.iter_mut().filter(|(at, _)| *at == part) {
            value.as_object_mut().expect("a part").remove(key);
        }
    }
    all.retain(|(_, value)| !value.is_null());
    all
}

/// 831.6 V, 220.2 mΩ, 6 µH from 200 A, a threshold of 1800 A; opens 20 µs later, 3000 A at most.
fn race(fault: &Value, changes: &[(&str, Value)]) -> Answer {
    let goal =
        json!([{"name": "G", "asil": "c", "reads": "current", "decided_by": "race", "ftti_s": 1.0, "reaction_s": 0.0}]);
    let parts = json!({"voltage_v": 831.6, "resistance_ohm": 0.2202, "inductance_henry": 6e-6, "before_a": 200.0,
        "threshold_a": 1800.0, "threshold_error_percent": 0.0, "reaction_s": 20e-6, "breaking_a": 3000.0});
    let own = [
        ("/goals", goal),
        ("/race", parts),
        (
            "/current",
            json!({"shunt_ohm": 50e-6, "leg_ohm": 0.0, "bias_current_a": 0.0, "full_at_a": 1500.0, "full_charge_a": 1500.0}),
        ),
        ("/checks", json!([])),
        ("/faults", fault.clone()),
    ];
    evidence(&changed(&own, changes))
}

/// Closed form t = (L/R) ln((If − I0)/(If − Ith/g)): 16.159, 29.641 and 81.974 µs; never below g = Ith/If = 0.47662.
#[test]
fn a_race_with_a_gain() {
    let (last, tau) = (831.6 / 0.2202, 6e-6 / 0.2202);
    let t = |at: f64| tau * f64::ln((last - 200.0) / (last - at));
    // 3000 A are there at 41.1 µs: what is detected after 21.1 µs is late.
    for (part, printed) in [(1.0, 16.159e-6), (0.7, 29.641e-6), (0.5, 81.974e-6)] {
        let done = race(&gain(&json!({"from_percent": 100.0 * part - 100.0})), &[]);
        holds_relative(at(&done, "/modes/0/trips_after_s"), printed, 1e-4);
        holds_relative(at(&done, "/modes/0/trips_at"), 1800.0 / part, 1e-9);
        if part < 1.0 {
            assert_eq!(word(&done), "late");
            holds_relative(at(&done, "/modes/0/late_by_s"), t(1800.0 / part) + 20e-6 - t(3000.0), 1e-9);
            assert!(found(&done, "safety.late"));
        } else {
            assert_eq!(word(&done), "in-time");
        }
    }
    let just = |percent: f64| race(&gain(&json!({"from_percent": percent})), &[]);
    assert_eq!(word(&just(-52.33)), "late");
    assert_eq!(word(&just(-52.34)), "never");
    assert!(found(&just(-52.34), "safety.never-trips"));
    // 13.4 % high may trip at the 200 A before at a ninefold reading alone.
    assert_eq!(word(&just(900.0)), "early");
}

/// By hand: the detection must come t(3000 A) − 20 µs after the fault, at x_d; of gains from −50 to 0 % those below 1800/x_d are
/// late. The weakest fault of 2000 A is not seen below a gain of 0.9.
#[test]
fn a_race_is_decided_where_its_switch_still_opens() {
    let (last, tau) = (831.6 / 0.2202, 6e-6 / 0.2202);
    let t = |at: f64| tau * f64::ln((last - 200.0) / (last - at));
    let decided = last - (last - 200.0) * f64::exp(-(t(3000.0) - 20e-6) / tau);
    let spread = gain(&json!({"from_percent": -50.0, "to_percent": 0.0}));
    let done = race(&spread, &[]);
    holds(at(&done, "/modes/0/direct_percent"), 100.0 * (1800.0 / decided - 0.5) / 0.5, 0.01);
    let weak = [("/race/weakest_ohm", json!(831.6 / 2000.0))];
    assert_eq!(word(&race(&gain(&json!({"from_percent": -9.9})), &weak)), "in-time");
    assert_eq!(word(&race(&gain(&json!({"from_percent": -10.1})), &weak)), "never");
    assert!(at(&race(&spread, &weak), "/modes/0/direct_percent") >= 80.0 - 0.01);
    // What the switch may open is not given: nothing is decided.
    let open = race(&spread, &[("/race/breaking_a", Value::Null)]);
    assert_eq!((word(&open).as_str(), open.result.tree().pointer("/goals/0/spfm_percent")), ("none", None));
}

/// What harms where it is decided is late or never: 200 drawn races.
#[test]
fn direct_is_late_or_never_in_a_race() {
    let mut drawn = Drawn(0x9E37_79B9_7F4A_7C15);
    let (mut late, mut unjudged) = (0, 0);
    for design in 0..200 {
        let (volt, ohm, henry) = (drawn.uniform(200.0, 900.0), drawn.uniform(0.05, 0.4), drawn.uniform(1e-6, 3e-5));
        let last = volt / ohm;
        let threshold = last * drawn.uniform(0.2, 0.7);
        let fault = gain(&json!({"from_percent": -drawn.uniform(1.0, 70.0)}));
        let done = race(
            &fault,
            &[
                ("/race/voltage_v", json!(volt)),
                ("/race/resistance_ohm", json!(ohm)),
                ("/race/inductance_henry", json!(henry)),
                ("/race/weakest_ohm", json!(ohm * drawn.uniform(1.0, 1.2))),
                ("/race/before_a", json!(drawn.uniform(0.0, 0.2) * threshold)),
                ("/race/threshold_a", json!(threshold)),
                ("/race/threshold_error_percent", json!(drawn.uniform(0.0, 5.0))),
                ("/race/filter_s", json!(drawn.uniform(0.0, 1e-5))),
                ("/race/reaction_s", json!(drawn.uniform(1e-7, 1e-5))),
                ("/race/breaking_a", json!(last * drawn.uniform(0.8, 1.2))),
                ("/race/pulse_a2s", json!(last * last * henry / ohm * drawn.uniform(0.5, 5.0))),
            ],
        );
        // A race that fails without a fault is not judged: no reading is harmless.
        if let Some(why) = done.result.tree().pointer("/modes/0/lacks") {
            assert_eq!(why, "the race of G fails without a fault", "{design}");
            assert!(matches!(word(&done).as_str(), "late" | "never"), "{design}: {:#?}", done.result);
            unjudged += 1;
            continue;
        }
        let harms = at(&done, "/modes/0/direct_percent") > 0.0;
        assert_eq!(harms, matches!(word(&done).as_str(), "late" | "never"), "{design}: {:#?}", done.result);
        late += u32::from(harms);
    }
    assert!((40..=180).contains(&late) && unjudged > 0, "{late} of 200 harm, {unjudged} fail without a fault");
}

/// 831.6 V, 900 µF through 60 Ω alone to 95 %, no errors; then 0.2482 Ω and 2 µH, on which 300 A may be made.
fn precharge(fault: &Value, changes: &[(&str, Value)]) -> Answer {
    let goal = json!([{"name": "G", "asil": "c", "reads": "voltage", "decided_by": "pre-charge", "ftti_s": 1.0, "reaction_s": 0.0}]);
    let parts = json!({"pack_v": 831.6, "capacitance_farad": 900e-6, "resistance_ohm": 60.0, "target_percent": 95.0,
        "link_error_v": 0.0, "pack_error_v": 0.0, "max_time_s": 0.5, "path_ohm": 0.2482, "path_henry": 2e-6, "making_a": 300.0});
    // A circuit that reads what is there.
    let (upper, lower) = (4.08e6, 8060.0);
    let circuit = json!({"upper_count": 6.0, "upper_ohm": 680e3, "lower_ohm": lower, "bias_current_a": 0.0,
        "factor": 1.0 + upper / lower, "full_at_v": 2000.0, "error_v": 0.0});
    let own = [
        ("/goals", goal),
        ("/precharge", parts),
        ("/voltage", circuit),
        ("/checks", json!([])),
        ("/faults", fault.clone()),
    ];
    evidence(&changed(&own, changes))
}

/// Course and inrush integrated by an independent program: a link that reads 1.199527 times closes at 79.198 % after
/// 84.786 ms, 172.99 V and 634.9 A are left; such a pack never; nothing wrong 152.6 A.
#[test]
fn a_precharge_with_a_gain() {
    let high = json!({"from_percent": 19.9527, "side": "link"});
    let link = precharge(&gain(&high), &[]);
    assert_eq!(word(&link), "too-soon");
    holds_relative(at(&link, "/modes/0/trips_at") / 831.6, 0.791_98, 1e-4);
    holds_relative(831.6 - at(&link, "/modes/0/trips_at"), 172.99, 1e-4);
    holds_relative(at(&link, "/modes/0/trips_after_s"), 84.786e-3, 1e-4);
    holds_relative(at(&link, "/modes/0/inrush_a"), 634.9, 1e-4);
    assert!(found(&link, "safety.closes-too-soon"));
    holds(at(&link, "/modes/0/direct_percent"), 100.0, 1e-9);
    let pack = precharge(&gain(&json!({"from_percent": 19.9527})), &[]);
    assert_eq!(word(&pack), "never");
    // An attempt that is given up harms nobody.
    holds(at(&pack, "/modes/0/safe_percent"), 100.0, 1e-9);
    let healthy = precharge(&gain(&json!({"from_percent": 0.0})), &[]);
    assert_eq!(word(&healthy), "in-time");
    holds_relative(at(&healthy, "/modes/0/inrush_a"), 152.6, 4e-4);
}

/// By hand: 300 A are made on by 300/634.9 · 172.99 V; of a link that reads up to 20 % high those harm that close below; a pack
/// that reads nothing closes at once, on all of its voltage; a time-out of 0.1 s is late for a link that reads 3 % low.
#[test]
fn a_precharge_is_decided_where_its_contactor_still_makes() {
    let least = 831.6 - 300.0 / 634.9 * 172.99;
    let link = precharge(&gain(&json!({"from_percent": 0.0, "to_percent": 20.0, "side": "link"})), &[]);
    holds(at(&link, "/modes/0/direct_percent"), 100.0 * (20.0 - 100.0 * (0.95 * 831.6 / least - 1.0)) / 20.0, 0.02);
    let dead = json!([{"component": "Tap", "mode": "open", "rate_fit": 1.0, "insert": "lower-short"}]);
    let pack = precharge(&dead, &[]);
    assert_eq!(word(&pack), "too-soon");
    holds(at(&pack, "/modes/0/trips_at"), 0.0, 1e-9);
    holds_relative(at(&pack, "/modes/0/inrush_a"), 634.9 / 172.99 * 831.6, 1e-4);
    let low =
        precharge(&gain(&json!({"from_percent": -3.0, "side": "link"})), &[("/precharge/max_time_s", json!(0.1))]);
    assert_eq!(word(&low), "late");
    holds_relative(at(&low, "/modes/0/late_by_s"), 0.054 * f64::ln(1.0 / (1.0 - 0.95 / 0.97)) - 0.1, 1e-6);
    // Checks of the pack's channel see nothing of the link's.
    let check = json!([{"name": "Cells", "kind": "comparison", "reads": "voltage", "other_full_v": 1e6, "limit_v": 5.0, "error_v": 0.0,
        "other_error_v": 0.0, "noise_v": 0.0, "other_noise_v": 0.0}]);
    let unseen = precharge(&gain(&json!({"from_percent": 19.9, "side": "link"})), &[("/checks", check.clone())]);
    holds(at(&unseen, "/goals/0/single_point_fit"), 25.0, 1e-9);
    let seen = precharge(&gain(&json!({"from_percent": -19.9})), &[("/checks", check)]);
    holds(at(&seen, "/modes/0/dc_computed_percent"), 100.0, 1e-9);
    let open = precharge(&dead, &[("/precharge/making_a", Value::Null)]);
    assert_eq!((word(&open).as_str(), open.result.tree().pointer("/goals/0/spfm_percent")), ("none", None));
}

/// A count of 12 Ah with an anchor every so many hours, of 40 A out and so much back.
fn count(fault: &Value, anchor_h: f64, changes: &[(&str, Value)]) -> Answer {
    let mut mode = json!({"component": "Amplifier", "mode": "offset", "rate_fit": 25.0});
    mode.as_object_mut().expect("a mode").extend(fault.as_object().expect("fields").clone());
    let own = [
        ("/goals", json!([{"name": "G", "asil": "c", "reads": "current", "decided_by": "charge-count"}])),
        ("/count", json!({"budget_ah": 12.0, "anchor_h": anchor_h, "discharge_a": 40.0, "charge_a": 0.0})),
        (
            "/current",
            json!({"shunt_ohm": 50e-6, "leg_ohm": 0.0, "bias_current_a": 0.0, "full_at_a": 1500.0, "full_charge_a": 1500.0}),
        ),
        ("/checks", json!([])),
        ("/faults", json!([mode])),
    ];
    evidence(&changed(&own, changes))
}

/// By hand: 2 A are 48 Ah a day; 12 Ah last 6 hours; with an anchor every 8 hours 1.5 A are too much.
#[test]
fn a_count_of_charge() {
    let of = |deviation: f64, anchor_h: f64| count(&json!({"from_a": deviation}), anchor_h, &[]);
    let late = of(-2.0, 8.0);
    assert_eq!(word(&late), "late");
    holds(at(&late, "/modes/0/ah_per_day"), 48.0, 1e-9);
    holds(at(&late, "/modes/0/budget_days"), 0.25, 1e-9);
    holds(at(&late, "/modes/0/direct_percent"), 100.0, 1e-9);
    assert_eq!([(2.0, 5.9), (1.49, 8.0), (1.51, 8.0)].map(|(a, b)| word(&of(a, b))), ["in-time", "in-time", "late"]);
    holds(at(&of(1.49, 8.0), "/modes/0/safe_percent"), 100.0, 1e-9);
}

/// By hand: a shunt that is 1 % off is 0.4 A off at 40 A and 2 A at 200 A back, 48 Ah a day; nothing at no current. Where the
/// use is not given nothing is judged; a typed current beyond it counts as well.
#[test]
fn a_count_is_judged_over_its_use() {
    let drift = json!({"insert": "shunt-drift", "from_percent": -1.0});
    let of = |changes: &[(&str, Value)]| count(&drift, 8.0, changes);
    let out = of(&[]);
    holds(at(&out, "/modes/0/ah_per_day"), 24.0 * 0.4, 1e-9);
    assert_eq!(word(&out), "in-time");
    let back = of(&[("/count/charge_a", json!(200.0))]);
    holds(at(&back, "/modes/0/ah_per_day"), 48.0, 1e-9);
    assert_eq!(word(&back), "late");
    holds(at(&back, "/modes/0/direct_percent"), 100.0, 1e-9);
    let beyond = of(&[("/goals/0/at_a", json!(200.0))]);
    holds(at(&beyond, "/modes/0/ah_per_day"), 48.0, 1e-9);
    let open = of(&[("/count/charge_a", Value::Null)]);
    assert_eq!((word(&open).as_str(), verdict(&open, "safety.spfm").as_str()), ("none", "not-judged"));
}

/// What a goal rests on says what it reads, where it is decided and what harms.
#[test]
fn a_goal_on_a_part_says_nothing_twice() {
    for (goal, field) in [
        (json!({"decided_by": "race", "reads": "voltage"}), "reads"),
        (json!({"decided_by": "race", "reads": "current", "dangerous": "high"}), "dangerous"),
        (json!({"decided_by": "pre-charge", "reads": "voltage", "harm_v": 3.0}), "harm_v"),
        (json!({"decided_by": "charge-count", "reads": "current", "harm_a": 3.0}), "harm_a"),
        (json!({"decided_by": "race", "reads": "current", "threshold_a": 3.0}), "threshold_a"),
    ] {
        let mut input = Value::Object(calculation("safety").expect("a calculation").start().clone());
        let mut one = json!({"name": "G"});
        one.as_object_mut().expect("a goal").extend(goal.as_object().expect("fields").clone());
        sensewright_tests::put(&mut input, "/goals", json!([one]));
        sensewright_tests::put(&mut input, "/faults", json!([]));
        let refused = calculation("safety").expect("a calculation").answer(Some(&input), Notation::Json);
        let faults = refused.expect_err("it is refused");
        assert!(faults.iter().any(|fault| fault.field == format!("/goals/0/{field}")), "{goal}: {faults:#?}");
    }
}

/// A part that fails without a fault promises nothing, whoever says so: its own rows, or these numbers. By hand: 95 % of 831.6 V
/// leave 41.58 V, on which 152.6 A flow (see above): 100 A are too little for the healthy pre-charge.
#[test]
fn what_fails_without_a_fault_promises_nothing() {
    let lacks = |done: &Answer| {
        assert!(!matches!(word(done).as_str(), "in-time" | "early"), "{:#?}", done.result);
        for id in ["safety.spfm", "safety.lfm", "safety.pmhf", "safety.hole", "safety.two-faults"] {
            assert_eq!(verdict(done, id), "not-judged", "{id}");
        }
        done.result.tree().pointer("/modes/0/lacks").and_then(Value::as_str).expect("why").to_owned()
    };
    let high = gain(&json!({"from_percent": 0.1, "side": "link"}));
    let weak = precharge(&high, &[("/precharge/making_a", json!(100.0))]);
    assert_eq!(lacks(&weak), "the pre-charge of G fails without a fault");
    let said = "fails, or is not judged, without a fault";
    assert_eq!(lacks(&precharge(&high, &[("/precharge/fails", json!(1.0))])), format!("the pre-charge of G {said}"));
    assert_eq!(verdict(&precharge(&high, &[("/precharge/fails", json!(0.0))]), "safety.spfm"), "holds");
    let low = gain(&json!({"from_percent": -0.1}));
    assert_eq!(lacks(&race(&low, &[("/race/fails", json!(1.0))])), format!("the race of G {said}"));
    // The fuse melts before the switch has opened.
    let fuse = race(&low, &[("/race/fails", json!(0.0)), ("/race/fuse_a2s", json!(1.0))]);
    assert_eq!(lacks(&fuse), "the fuse decides the race of G");
    let drift = json!({"from_a": 0.5});
    assert_eq!(lacks(&count(&drift, 8.0, &[("/count/fails", json!(1.0))])), format!("the count of G {said}"));
}

/// A design of which all holds, with goals that rest on its race, its pre-charge and its count.
fn summit(changes: &[(&str, Value)]) -> (Value, Vec<Value>) {
    let mut document = Value::Object(find("funicular-summit-buffer").expect("a demo").design.document());
    let goals = json!([
        {"name": "Short circuit", "asil": "c", "reads": "current", "decided_by": "race", "ftti_s": 0.1, "reaction_s": 0.0},
        {"name": "Inrush", "asil": "b", "reads": "voltage", "decided_by": "pre-charge", "ftti_s": 0.1, "reaction_s": 0.0},
        {"name": "Charge", "asil": "b", "reads": "current", "decided_by": "charge-count", "ftti_s": 0.1, "reaction_s": 0.0},
    ]);
    let safety = json!([{"number": 1, "current_channel": 1, "voltage_channel": 1, "short_circuit": 1, "link_precharge": 1,
        "charge_count": 1, "goals": goals}]);
    sensewright_tests::put(&mut document, "/safety", safety);
    for (pointer, value) in changes {
        sensewright_tests::put(&mut document, pointer, value.clone());
    }
    let design = Design::read(&document).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let assessed = assess(&design).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let part = assessed.parts.iter().find(|part| part.part.key() == "safety.1").expect("a part");
    (part.answer.input.clone(), part.answer.result.tree()["modes"].as_array().expect("modes").clone())
}

/// A design hands race, pre-charge and count down; each goal is told what its own part does, and nothing where that fails.
#[test]
fn a_design_hands_its_parts_down() {
    let (input, modes) = summit(&[]);
    assert_eq!(
        (&input["race"]["fails"], &input["precharge"]["fails"], &input["count"]["fails"]),
        (&json!(0.0), &json!(0.0), &json!(0.0))
    );
    for (goal, one) in [("Short circuit", "trips_at"), ("Inrush", "inrush_a"), ("Charge", "ah_per_day")] {
        let told = modes.iter().filter(|mode| mode["goal"] == goal && mode["behaviour"].is_string());
        assert!(told.filter(|mode| mode[one].is_number()).count() > 0, "{goal}: {modes:#?}");
    }
    for (goal, pointer, value) in [
        ("Short circuit", "/race/0/switch/carry_a", json!(1.0)),
        ("Inrush", "/precharge/0/path/contactor_making_a", json!(0.1)),
        ("Charge", "/charge_counting/0/requirement/soc_error_percent", json!(0.01)),
    ] {
        let (_, modes) = summit(&[(pointer, value)]);
        let (own, others): (Vec<&Value>, Vec<&Value>) = modes.iter().partition(|mode| mode["goal"] == goal);
        let fails = |mode: &&Value| mode["lacks"].as_str().is_some_and(|why| why.ends_with("without a fault"));
        assert!(own.iter().all(fails), "{goal}: {own:#?}");
        assert!(!others.iter().any(fails), "{goal}: {others:#?}");
    }
}
