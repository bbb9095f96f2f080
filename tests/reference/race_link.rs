//! What a link capacitor and the others drive through one switch, and what the last of several units takes over.
//!
//! Sources: closed forms by hand; the differential equations in tests/python/check_race_link.py, where it is named.

use sensewright_core::calculation::Answer;
use sensewright_core::demo::find;
use sensewright_core::design::Design;
use sensewright_core::design::assess::assess;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::{answer, at, check, holds_relative};

/// 800 V behind 90 mΩ, 10 mΩ and 6 µH outside; switches of plenty.
fn ask(changes: &[(&'static str, Value)]) -> Answer {
    let mut all = vec![
        ("/source/voltage_v", json!(800.0)),
        ("/source/pack_resistance_ohm", json!(0.09)),
        ("/source/external_resistance_ohm", json!(0.01)),
        ("/source/inductance_henry", json!(6e-6)),
        ("/before_a", json!(0.0)),
        ("/threshold_a", json!(1000.0)),
        ("/fuse/prearc_a2s", json!(0.0)),
        ("/stages", json!([{"name": "all", "longest_s": 2e-3, "shortest_s": 3e-4}])),
        ("/switch/breaking_a", json!(50e3)),
        ("/switch/carry_a", json!(50e3)),
        ("/switch/carry_s", json!(0.01)),
        ("/switch/clamp_voltage_v", json!(1200.0)),
    ];
    all.extend_from_slice(changes);
    answer("race", &all)
}

/// The equations of check_race_link.py, scipy: 9369 A alone; into one of four strings, whose others have 0.12 Ω together,
/// 10,728 A with all inductance in common, 14,002 A with each its own and 14,195 A where the others have none, until 2 ms; 300 µs
/// after the fault 11,986 A at most, where the 6 µH lie in the strings: 8 µH of the three together.
#[test]
fn link_and_strings_feed_one_fault_together() {
    let found = ask(&[("/source/link_farad", json!(1e-3)), ("/strings/count", json!(4))]);
    holds_relative(at(&found, "/link/peak_a"), 9369.19, 1e-6);
    holds_relative(at(&found, "/link/with_others_a"), 14_194.9, 1e-3);
    holds_relative(at(&found, "/link/opened_a"), 11_985.8, 1e-3);
    let carried = ask(&[
        ("/source/link_farad", json!(1e-3)),
        ("/strings/count", json!(4)),
        // Between what the link alone and what both drive.
        ("/switch/carry_a", json!(12e3)),
        ("/switch/breaking_reverse_a", json!(10e3)),
    ]);
    assert_eq!(check(&carried, "race.link-carry").verdict, Verdict::Fails);
    assert_eq!(check(&carried, "race.breaking-backwards").verdict, Verdict::Fails);
}

/// The same equations without others: a switch that may open 300 µs after the fault meets 7646 A of the link's, one after 1 ms
/// 4156 A; into 0.1 Ω 1 ms later 1.7 A are left of 4955 A, which is nothing.
#[test]
fn a_switch_that_opens_while_the_link_discharges_breaks_that() {
    let after = |shortest_s: f64, ohm: f64| {
        ask(&[
            ("/switch/breaking_reverse_a", json!(5000.0)),
            ("/source/link_farad", json!(1e-3)),
            ("/source/external_resistance_ohm", json!(ohm)),
            ("/stages", json!([{"name": "all", "longest_s": 2e-3, "shortest_s": shortest_s}])),
        ])
    };
    let early = check(&after(3e-4, 0.01), "race.breaking-backwards");
    assert_eq!(early.verdict, Verdict::Fails);
    holds_relative(early.achieved.expect("a current"), 7646.24, 1e-4);
    let later = check(&after(1e-3, 0.01), "race.breaking-backwards");
    assert_eq!(later.verdict, Verdict::Holds);
    holds_relative(later.achieved.expect("a current"), 4156.08, 1e-4);
    assert!(!after(1e-3, 0.1).requirements.iter().any(|check| check.id == "race.breaking-backwards"));
    let unknown = ask(&[("/source/link_farad", json!(1e-3))]);
    assert_eq!(check(&unknown, "race.breaking-backwards").verdict, Verdict::NotJudged);
}

/// By hand: three units drive 800/(0.03 + 0.01) = 20 kA through the path outside. One opens, the others take its current; of
/// these one opens against 1200 V while the inductance keeps the sum: i + j = 20 kA, 0.09 (i − j) = 1200 V, i = 16,667 A.
/// Alone a unit drives 8 kA.
#[test]
fn the_last_of_several_units_takes_over_what_the_others_leave() {
    let units = |count: u32| {
        let found = ask(&[("/units_in_parallel", json!(count)), ("/switch/breaking_a", json!(9500.0))]);
        (at(&found, "/must_break_a"), check(&found, "race.breaking").verdict)
    };
    let (alone, verdict) = units(1);
    holds_relative(alone, 8000.0, 1e-5);
    assert_eq!(verdict, Verdict::Holds);
    let (last, verdict) = units(3);
    holds_relative(last, 16_667.0, 1e-3);
    assert_eq!(verdict, Verdict::Fails);
}

/// By hand: three units see a path of 10 mΩ and 6 µH as 30 mΩ and 18 µH: L/R 18 µ/0.12 = 150 µs; alone 6 µ/0.1 = 60 µs; a
/// fault inside a unit has 45 mΩ, and 9 µH where the inductance lies in the units: 200 µs.
#[test]
fn units_see_the_inductance_in_common_as_often_as_they_feed_it() {
    let slowest = |count: u32, own: Option<f64>| {
        let mut fuse = vec![
            ("/units_in_parallel", json!(count)),
            ("/fuse/prearc_a2s", json!(1e5)),
            ("/fuse/breaking_a", json!(50e3)),
            ("/fuse/time_constant_s", json!(100e-6)),
        ];
        fuse.extend(own.map(|own| ("/source/own_inductance_henry", json!(own))));
        check(&ask(&fuse), "race.fuse-time-constant").achieved.expect("a time constant")
    };
    holds_relative(slowest(1, None), 60e-6, 1e-9);
    holds_relative(slowest(3, Some(0.0)), 150e-6, 1e-9);
    holds_relative(slowest(3, None), 200e-6, 1e-9);
}

/// By hand: eight units of 90 mΩ, 800 V; seven drive up to 800/(0.09/7) = 62 kA into a fault inside the eighth, less where it
/// lies among its cells. Its switch opens after 6 ms; its fuse, 150 kA²s at every current, has cleared until then from
/// √(150e3/6e-3) = 5000 A on.
#[test]
fn a_switch_meets_what_its_fuse_is_just_too_slow_for() {
    let point = |current_a: f64| json!({"current_a": current_a, "pre_arcing_s": 150e3 / current_a / current_a, "clearing_s": 150e3 / current_a / current_a});
    let found = ask(&[
        ("/units_in_parallel", json!(8)),
        ("/source/inductance_henry", json!(0.0)),
        ("/stages", json!([{"name": "all", "longest_s": 6e-3}])),
        ("/fuse/points", json!([point(1e3), point(1e5)])),
        ("/fuse/voltage_v", json!(1000.0)),
        ("/fuse/time_constant_s", json!(0.01)),
        ("/fuse/breaking_a", json!(1e5)),
        ("/switch/breaking_reverse_a", json!(4900.0)),
    ]);
    let row = check(&found, "race.breaking-backwards");
    holds_relative(row.achieved.expect("a current"), 5000.0, 1e-4);
    assert_eq!(row.verdict, Verdict::Fails);
}

/// By hand: two units drive 800/(0.09/2) = 17.8 kA into a fault inside a third; a fuse of 100 kA²s melts after 0.3 ms at the
/// earliest, before its switch opens at the latest, and nobody says when it has cleared; one of 10⁹ A²s melts after 3 s.
#[test]
fn a_fuse_that_may_have_cleared_leaves_what_flows_backwards_open() {
    let backwards = |a2s: f64| {
        let fuse = [("/units_in_parallel", json!(3)), ("/fuse/prearc_a2s", json!(a2s))];
        let rest = [("/source/own_inductance_henry", json!(6e-6)), ("/switch/breaking_reverse_a", json!(5e3))];
        check(&ask(&[fuse, rest].concat()), "race.breaking-backwards").verdict
    };
    assert_eq!([backwards(1e5), backwards(1e9), backwards(0.0)], [Verdict::NotJudged, Verdict::Fails, Verdict::Fails]);
}

/// By hand: of four strings with a spread of 10 % one carries up to 1.1/(1.1 + 3 · 0.9) of what the pack carries; a single one all.
#[test]
fn a_string_of_a_design_carries_its_share_before_the_fault() {
    let shares = |strings: Value| {
        let mut document = Value::Object(find("funicular-summit-buffer").expect("a demo").design.document());
        let race = document.pointer_mut("/race/0").and_then(Value::as_object_mut).expect("a race");
        race.remove("before_a");
        race.insert("strings".into(), strings);
        let pack_a = document["pack"]["continuous_a"].as_f64().expect("a current");
        let assessed = assess(&Design::read(&document).expect("it reads")).expect("it stands");
        let part = assessed.parts.iter().find(|part| part.part.key() == "race.1").expect("a race");
        part.answer.input["before_a"].as_f64().expect("a current") / pack_a
    };
    holds_relative(shares(json!({"count": 4, "spread_percent": 10.0})), 1.1 / 3.8, 1e-12);
    holds_relative(shares(json!({"count": 1})), 1.0, 1e-15);
}
