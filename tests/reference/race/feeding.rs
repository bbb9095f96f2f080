//! Strings that feed a fault together, fuses by their points, and what a value typed a thousand times off does.

use sensewright_core::calculation::Answer;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::super::{at, check, holds, holds_relative};
use super::{CAR, Example, VAN, able, has, message, verdict, with};

/// By hand: 400 V, two strings of 160 mΩ, 10 mΩ outside: 400/0.09 = 4444 A, half of it in each; 60 kA²s last
/// 60e3/2222.2² = 12.15 ms, with 8 µH 1.5 · 8 µ/0.09 = 0.133 ms longer; one string alone 400/0.17 = 2353 A. A fault inside a
/// string is fed by the other one without any path outside: 400/0.16 = 2500 A, forwards in one and backwards in the other.
/// Contactors at 8 ms open 2222 A at a fault outside, together, and 2500 A at one inside.
#[test]
fn parallel_strings_share_the_fault_and_the_last_one_carries_on_alone() {
    let two = |henry: f64, more: &[(&'static str, Value)]| {
        let changes = [
            ("/strings/count", json!(2)),
            ("/fuse/adiabatic_from_a", json!(2000.0)),
            ("/switch/breaking_a", json!(3000.0)),
        ];
        Example {
            voltage_v: 400.0,
            pack_ohm: 0.08,
            short_ohm: 0.01,
            henry,
            before_a: 0.0,
            threshold_a: 1000.0,
            stages_us: [8000.0, 0.0, 0.0, 0.0],
            prearc_a2s: 60e3,
            ..CAR
        }
        .ask(&with(&changes, more))
    };
    let found = two(0.0, &[]);
    holds(at(&found, "/strings/highest_a"), 2222.2, 0.05);
    holds(at(&found, "/strings/lowest_a"), 2222.2, 0.05);
    holds(at(&found, "/strings/alone_a"), 2352.9, 0.05);
    holds(at(&found, "/strings/reverse_a"), 2500.0, 0.05);
    holds(at(&found, "/must_break_a"), 2500.0, 0.05);
    holds(at(&found, "/opening_current_a"), 2222.2, 0.05);
    holds(at(&found, "/fuse/prearc_s"), 12.15e-3, 5e-6);
    holds(at(&two(8e-6, &[]), "/fuse/prearc_s"), 12.28e-3, 5e-6);
    assert_eq!(found.result.tree()["opens_first"], "switch");
    // What flows backwards needs a breaking capacity of its own.
    assert_eq!(verdict(&found, "race.breaking-backwards"), Some(Verdict::NotJudged));
    let backwards = two(0.0, &[("/switch/breaking_reverse_a", json!(2000.0))]);
    assert_eq!(verdict(&backwards, "race.breaking-backwards"), Some(Verdict::Fails));
    // One opens at 6 ms, the other at 8 ms: alone. With a path of its own a fault inside would be the stronger one.
    let stages = ("/stages", json!([{"name": "all", "longest_s": 8e-3, "shortest_s": 6e-3}]));
    holds(at(&two(0.0, &[stages]), "/must_break_a"), 2500.0, 0.05);
    // Resistances of ± 20 %: conductances 1/0.128 and 1/0.192 Ω, 60 % and 40 % of 4444 A.
    let unlike = two(0.0, &[("/strings/spread_percent", json!(20.0))]);
    holds(at(&unlike, "/strings/highest_a"), 2666.7, 0.05);
    holds(at(&unlike, "/strings/lowest_a"), 1777.8, 0.05);
    // 80 mΩ/0.6 behind 10 mΩ, and 80 mΩ/(1 − 0.4) behind nothing.
    holds(at(&unlike, "/strings/alone_a"), 400.0 / (0.08 / 0.6 + 0.01), 0.05);
    holds(at(&unlike, "/strings/reverse_a"), 400.0 / (0.08 / 0.6), 0.05);
}

/// 400 V, two strings that make 100 mΩ and differ by 20 %, 50 mΩ outside. By hand: strings of 0.1 · (1/0.8 + 1/1.2) = 208.3 mΩ
/// less and more 20 %, 166.7 mΩ the one that feeds: 2400 A through a fault in the other one, whose switch opens it after
/// 10 ms: 2400² · 10 ms = 57.6 kA²s. Through the path outside it would be 1846 A and 34 kA²s.
#[test]
fn a_fault_inside_a_string_has_no_path_outside() {
    let ask = |backwards: f64, shunt: f64| {
        let changes = [
            ("/strings/count", json!(2)),
            ("/strings/spread_percent", json!(20.0)),
            ("/switch/breaking_a", json!(3000.0)),
            ("/switch/breaking_reverse_a", json!(backwards)),
            ("/shunt_pulse_a2s", json!(shunt)),
        ];
        Example {
            voltage_v: 400.0,
            pack_ohm: 0.1,
            short_ohm: 0.05,
            henry: 0.0,
            before_a: 0.0,
            threshold_a: 1000.0,
            stages_us: [10_000.0, 0.0, 0.0, 0.0],
            prearc_a2s: 0.0,
            ..CAR
        }
        .ask(&changes)
    };
    let narrow = ask(2200.0, 45e3);
    assert_eq!(verdict(&narrow, "race.breaking-backwards"), Some(Verdict::Fails));
    assert_eq!(verdict(&narrow, "race.shunt-pulse"), Some(Verdict::Fails));
    holds(at(&narrow, "/reverse_a"), 2400.0, 0.5);
    holds_relative(at(&narrow, "/worst_let_through_a2s"), 57.6e3, 1e-6);
    let wide = ask(3000.0, 80e3);
    assert_eq!(verdict(&wide, "race.breaking-backwards"), Some(Verdict::Holds));
    assert_eq!(verdict(&wide, "race.shunt-pulse"), Some(Verdict::Holds));
}

/// Points of a fuse of two bodies (60 kA²s, 600 A, 20 ms, 200 s), from its differential equation in
/// tests/python/race_model.py: 833.3 A 120.7 s, 1200 A 32.0 s, 1500 A 9.35 s; at 1350 A 18.50 s. By hand: between 1200 and
/// 1500 A I²t lies between 21.04 and 46.08 MA²s, at 1350 A 11.54 to 25.28 s.
#[test]
fn a_fuse_is_its_points_and_between_them_their_bounds() {
    let ask = |ohm: f64, more: &[(&'static str, Value)]| {
        let points = json!([
            {"current_a": 833.3, "pre_arcing_s": 120.7, "clearing_s": 120.8},
            {"current_a": 1200.0, "pre_arcing_s": 32.0, "clearing_s": 32.1},
            {"current_a": 1500.0, "pre_arcing_s": 9.35, "clearing_s": 9.5},
        ]);
        let changes = [
            ("/fuse/points", points),
            ("/fuse/voltage_v", json!(900.0)),
            ("/fuse/time_constant_s", json!(0.01)),
            ("/wiring/area_mm2", json!(70.0)),
        ];
        Example { pack_ohm: ohm - 0.012, before_a: 0.0, threshold_a: 5000.0, henry: 0.0, ..CAR }
            .ask(&with(&changes, more))
    };
    let between = ask(831.6 / 1350.0, &[]);
    let (earliest, latest) = (at(&between, "/fuse/prearc_min_s"), at(&between, "/fuse/prearc_max_s"));
    holds(earliest, 11.54, 5e-3);
    holds(latest, 25.28, 5e-3);
    assert!(earliest < 18.50 && 18.50 < latest);
    // Total clearing: 1200² · 32.1 = 46.22 MA²s, which a cable of 70 mm² takes; its limit is (143.08 · 70)² = 100.3 MA²s.
    holds(at(&between, "/worst_let_through_a2s"), 46.224e6, 5e2);
    assert_eq!(verdict(&between, "race.wiring"), Some(Verdict::Holds));
    assert!(has(&between, "race.fuse-add-points"));
    assert_eq!(between.result.tree()["opens_first"], "fuse");
    assert_eq!(verdict(&between, "race.opens"), Some(Verdict::Holds));
    // A tolerance of 5 % in current shifts the points first: 1425 A 9.35 s and 1260 A 32.1 s.
    let loose = ask(831.6 / 1350.0, &[("/fuse/current_tolerance_percent", json!(5.0))]);
    holds(at(&loose, "/fuse/prearc_min_s"), 1425.0_f64.powi(2) * 9.35 / 1350.0_f64.powi(2), 1e-6);
    holds(at(&loose, "/worst_let_through_a2s"), 1260.0_f64.powi(2) * 32.1, 1.0);
    // A pre-load shortens the earliest time alone.
    let warm = ask(831.6 / 1350.0, &[("/fuse/preload_percent", json!(60.0))]);
    holds(at(&warm, "/fuse/prearc_min_s"), 0.6 * earliest, 1e-9);
    holds(at(&warm, "/fuse/prearc_max_s"), latest, 1e-9);
    // Below the lowest and above the highest point nothing is told: there the I²t still fall.
    for current in [800.0, 1600.0] {
        let outside = ask(831.6 / current, &[]);
        assert!(outside.result.tree()["fuse"].get("prearc_max_s").is_none(), "{current}");
        for id in ["race.opens", "race.wiring"] {
            let found = check(&outside, id);
            assert_eq!(found.missing.as_deref(), Some("/fuse/points"), "{current} {id}");
        }
    }
    // Below its lowest breaking current it clears nothing; above its voltage neither.
    for (pointer, value) in [("/fuse/never_clears_below_a", 1400.0), ("/fuse/voltage_v", 800.0)] {
        let never = ask(831.6 / 1350.0, &[(pointer, json!(value))]);
        assert_eq!(verdict(&never, "race.opens"), Some(Verdict::Fails), "{pointer}");
        assert_eq!(verdict(&never, "race.wiring"), Some(Verdict::Fails), "{pointer}");
    }
    // The same cable with the fuse taken as its adiabatic 60 kA²s would need 0.03 s: that is not accepted at 1350 A.
    let constant = Example { pack_ohm: 831.6 / 1350.0 - 0.012, threshold_a: 5000.0, prearc_a2s: 60e3, ..CAR }.ask(&[
        ("/fuse/clearing_a2s", json!(90e3)),
        ("/fuse/adiabatic_from_a", json!(20e3)),
        ("/wiring/area_mm2", json!(10.0)),
    ]);
    assert_eq!(verdict(&constant, "race.wiring"), Some(Verdict::NotJudged));
}

/// Where the I²t of the last two points agree within 5 % the fuse is adiabatic above them.
#[test]
fn above_the_highest_point_the_fuse_is_adiabatic_where_the_last_two_agree() {
    let ask = |last_s: f64| {
        CAR.ask(&[
            (
                "/fuse/points",
                json!([
                    {"current_a": 1000.0, "pre_arcing_s": 0.2, "clearing_s": 0.21},
                    {"current_a": 2000.0, "pre_arcing_s": 0.045, "clearing_s": 0.047},
                    {"current_a": 3000.0, "pre_arcing_s": last_s, "clearing_s": 0.0205},
                ]),
            ),
            ("/fuse/voltage_v", json!(900.0)),
            ("/fuse/time_constant_s", json!(0.01)),
        ])
    };
    // 180 and 174.6 kA²s: at 3776.6 A, with 1.5 L/R of the rise, at most 180e3/3776.567² s.
    let flat = ask(0.0194);
    holds(at(&flat, "/fuse/prearc_max_s"), 180e3 / 3776.567_f64.powi(2) + 1.5 * 27.248e-6, 1e-7);
    holds(at(&flat, "/fuse/clearing_a2s"), 188e3, 1e-6);
    // 180 and 162 kA²s: it still falls.
    assert!(ask(0.018).result.tree()["fuse"].get("prearc_max_s").is_none());
}

/// What cannot be points of one fuse is refused at its own field.
#[test]
fn points_that_no_fuse_has_are_refused() {
    let refused = |points: Value| {
        let entry = sensewright_core::catalogue::find("race").expect("it exists");
        let mut input = Value::Object(entry.start().clone());
        input["fuse"]["points"] = points;
        let faults = entry.answer(Some(&input), sensewright_core::field::Notation::Json).expect_err("refused");
        faults.into_iter().map(|fault| fault.field).collect::<Vec<_>>()
    };
    let point = |current: f64, time: f64, clearing: f64| json!({"current_a": current, "pre_arcing_s": time, "clearing_s": clearing});
    assert_eq!(refused(json!([point(1000.0, 1.0, 1.1)])), ["/fuse/points"]);
    assert_eq!(refused(json!([point(1000.0, 1.0, 1.1), point(900.0, 1.0, 1.1)])), ["/fuse/points/1/current_a"]);
    // 1 MA²s and 2000² · 0.27 = 1.08 MA²s: 8 % more; 4 % are rounding.
    assert_eq!(refused(json!([point(1000.0, 1.0, 1.1), point(2000.0, 0.27, 0.3)])), ["/fuse/points/1/pre_arcing_s"]);
    assert_eq!(refused(json!([point(1000.0, 1.0, 0.9), point(2000.0, 0.26, 0.3)])), ["/fuse/points/0/clearing_s"]);
}

/// By hand: k² S² heats to the allowed temperature, by the definition of k; half of it to (θi + β) · √((θf + β)/(θi + β)) − β
/// = 324.5 · √(484.5/324.5) − 234.5 = 162.01 °C for copper from 90 to 250 °C.
#[test]
fn the_conductor_ends_at_its_own_temperature() {
    let step = |time: f64| {
        Example {
            voltage_v: 500.0,
            pack_ohm: 0.1,
            short_ohm: 0.0,
            henry: 0.0,
            before_a: 0.0,
            stages_us: [time * 1e6, 0.0, 0.0, 0.0],
            prearc_a2s: 0.0,
            ..CAR
        }
        .ask(&[("/wiring/area_mm2", json!(10.0)), ("/switch/breaking_a", json!(6000.0))])
    };
    let limit = at(&step(0.1), "/wiring/limit_a2s");
    holds(at(&step(limit / 25e6), "/wiring/end_degc"), 250.0, 1e-9);
    holds(at(&step(limit / 50e6), "/wiring/end_degc"), 162.01, 5e-3);
    let hot = step(0.1);
    assert_eq!(verdict(&hot, "race.wiring"), Some(Verdict::Fails));
    // 226² · 100 = 5.1076 MA²s; 2.5 of it: 324.5 · e^(2.5/5.1076) − 234.5 = 294.90 °C.
    holds(at(&hot, "/wiring/end_degc"), 294.90, 5e-3);
    assert!(message(&hot, "race.wiring").contains("294.9\u{202f}°C"), "{}", message(&hot, "race.wiring"));
    // 10 s of it would be 10⁸ °C: the metal melts long before.
    assert!(step(10.0).result.tree()["wiring"].get("end_degc").is_none());
    assert!(message(&step(10.0), "race.wiring").contains("It melts."));
}

/// A switch must break what flows at any opening, also while the fuse melts or arcs: after 5.145 ms the fuse of the van has
/// melted (3.38 ms) and may still arc, for as long as two I²t do not tell. With its points it has cleared by then or not.
#[test]
fn a_switch_that_opens_into_the_arc_of_the_fuse_must_be_able_to() {
    let ask = |changes: &[(&'static str, Value)]| VAN.ask(&with(&[("/switch/breaking_a", json!(2000.0))], changes));
    let values = [("/fuse/adiabatic_from_a", json!(4000.0)), ("/fuse/clearing_a2s", json!(90e3))];
    let open = check(&ask(&values), "race.breaking");
    assert_eq!(open.missing.as_deref(), Some("/fuse/points"));
    let points = |clearing: f64| {
        vec![
            (
                "/fuse/points",
                json!([
                    {"current_a": 3000.0, "pre_arcing_s": 60e3 / 9e6, "clearing_s": clearing * 16.0 / 9.0},
                    {"current_a": 4000.0, "pre_arcing_s": 60e3 / 16e6, "clearing_s": clearing},
                    {"current_a": 5000.0, "pre_arcing_s": 60e3 / 25e6, "clearing_s": clearing * 16.0 / 25.0},
                ]),
            ),
            ("/fuse/voltage_v", json!(500.0)),
            ("/fuse/time_constant_s", json!(0.01)),
        ]
    };
    // 4.5 ms at 4000 A are 72 kA²s: cleared after some 4 ms. 6.5 ms are 104 kA²s: after 5.8 ms.
    let cleared = ask(&points(4.5e-3));
    assert_eq!(verdict(&cleared, "race.breaking"), Some(Verdict::Holds));
    let arcs = ask(&points(6.5e-3));
    assert_eq!(verdict(&arcs, "race.breaking"), Some(Verdict::Fails));
}

/// Every positive quantity a thousand times larger or smaller fails, is refused or is asked about; where it raises nothing
/// new, the result is not absurd: less external resistance than the pack has, a shorter stage, a finer tolerance.
#[test]
fn a_slip_of_a_thousand_is_asked_about() {
    let full = with(
        &able(),
        &[
            ("/source/pack_resistance_max_ohm", json!(0.3)),
            ("/source/external_resistance_max_ohm", json!(0.05)),
            ("/filter_s", json!(1e-5)),
            ("/fuse/clearing_a2s", json!(250e3)),
            ("/fuse/adiabatic_from_a", json!(5000.0)),
            ("/fuse/never_clears_below_a", json!(900.0)),
            ("/fuse/breaking_a", json!(20e3)),
            ("/fuse/voltage_v", json!(1000.0)),
            ("/fuse/time_constant_s", json!(0.01)),
            ("/switch/clamp_energy_j", json!(500.0)),
            ("/wiring/area_mm2", json!(70.0)),
        ],
    );
    let entry = sensewright_core::catalogue::find("race").expect("it exists");
    let base = CAR.ask(&full);
    let codes = |answer: &Answer| {
        let said = |finding: &sensewright_core::report::Finding| (finding.code.clone(), finding.field.clone());
        answer
            .findings
            .iter()
            .filter(|finding| finding.severity != sensewright_core::report::Severity::Note)
            .map(said)
            .collect::<Vec<_>>()
    };
    let before = codes(&base);
    assert!(!before.iter().any(|(code, _)| code == "race.unusual"), "{:#?}", base.findings);
    let mut silent = Vec::new();
    let (mut count, input) = (0, base.input.clone());
    for leaf in sensewright_tests::leaves(entry.fields, "") {
        let Some(value) = input.pointer(&leaf.pointer).and_then(Value::as_f64).filter(|value| *value > 0.0) else {
            continue;
        };
        if leaf.pointer.ends_with("_percent") || leaf.pointer.ends_with("_degc") || leaf.pointer.ends_with("count") {
            continue;
        }
        for factor in [1e3, 1e-3] {
            count += 1;
            let mut slipped = input.clone();
            *slipped.pointer_mut(&leaf.pointer).expect("it is there") = json!(value * factor);
            if let Ok(answer) = entry.answer(Some(&slipped), sensewright_core::field::Notation::Json)
                && codes(&answer).iter().all(|code| before.contains(code))
            {
                silent.push(format!("{} x {factor}", leaf.pointer));
            }
        }
    }
    assert!(count > 40, "{count}");
    let plausible = [
        "/source/external_resistance_ohm x 0.001",
        "/source/external_resistance_max_ohm x 0.001",
        "/before_a x 0.001",
        "/stages/0/longest_s x 0.001",
        "/stages/0/longest_s x 1000",
        "/filter_s x 0.001",
    ];
    let left: Vec<_> = silent.iter().filter(|one| !plausible.contains(&one.as_str())).collect();
    assert!(left.len() <= 2, "{left:#?} of {count}");
}
