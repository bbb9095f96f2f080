//! What a race must not promise: devices beyond their ratings, and facts that are not given.
//!
//! Sources: closed forms of the loop by hand, 831.6 V/0.2202 Ω = 3776.6 A; an independent simulation where it is named.

use sensewright_core::calculation::Answer;
use sensewright_core::demo::find;
use sensewright_core::design::Design;
use sensewright_core::design::assess::assess;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::{answer, check, holds, holds_relative};

#[track_caller]
fn is(answer: &Answer, ids: &[&str], verdict: Verdict) {
    for id in ids {
        let found = check(answer, id);
        assert_eq!(found.verdict, verdict, "{id}: {:?} of {:?}, {:?}", found.achieved, found.required, found.reason);
    }
}

type Changes = Vec<(&'static str, Value)>;

/// The loop of the start, with changes.
fn ask(changes: &[&[(&'static str, Value)]]) -> Answer {
    // Nothing is said of a value of null.
    let all = changes.concat();
    let none = |pointer: &str| all.iter().any(|(other, value)| *other == pointer && value.is_null());
    answer("race", &all.iter().filter(|(pointer, _)| !none(pointer)).cloned().collect::<Changes>())
}

/// A fuse by points: 192 kA²s at 4 kA, 185.6 kA²s at 8 kA.
fn points() -> Changes {
    let point = |current: f64, melts: f64, clears: f64| json!({"current_a": current, "pre_arcing_s": melts, "clearing_s": clears});
    let points = [point(1e3, 30.0, 35.0), point(2e3, 0.2, 0.25), point(4e3, 0.012, 0.02), point(8e3, 0.0029, 0.0049)];
    vec![("/fuse/points", json!(points)), ("/fuse/voltage_v", json!(1000.0)), ("/fuse/time_constant_s", json!(1e-3))]
}

/// A switch with a clamp that breaks this much, and parts that take much.
fn switch(breaking_a: f64) -> Changes {
    vec![
        ("/switch/breaking_a", json!(breaking_a)),
        ("/switch/carry_a", json!(8000.0)),
        ("/switch/carry_s", json!(0.05)),
        ("/switch/clamp_voltage_v", json!(1200.0)),
        ("/shunt_pulse_a2s", json!(6e6)),
        ("/wiring/area_mm2", json!(95.0)),
    ]
}

fn all(longest_s: f64) -> (&'static str, Value) {
    ("/stages", json!([{"name": "all", "longest_s": longest_s}]))
}

/// By hand: the fault drives 3776.6 A, which neither a switch of 2000 A nor a fuse of 3000 A breaks: nothing ends it. Where
/// the fuse's breaking capacity is not given, what rests on it is open; where the switch is able and in time it does not.
#[test]
fn a_fuse_beyond_its_breaking_capacity_clears_nothing() {
    let rest = ["race.opens", "race.shunt-pulse", "race.wiring", "race.carry"];
    let fuse = |can: f64| ask(&[&points(), &switch(2000.0), &[all(1.0), ("/fuse/breaking_a", json!(can))]]);
    is(&fuse(4000.0), &rest, Verdict::Holds);
    let beyond = fuse(3000.0);
    is(&beyond, &["race.fuse-breaking", "race.breaking"], Verdict::Fails);
    is(&beyond, &rest, Verdict::Fails);
    let unknown = ask(&[&points(), &switch(2000.0), &[all(1.0)]]);
    is(&unknown, &rest, Verdict::NotJudged);
    assert_eq!(check(&unknown, "race.opens").missing.as_deref(), Some("/fuse/breaking_a"));
    is(&ask(&[&points(), &switch(5000.0)]), &rest, Verdict::Holds);
}

/// A current falls only against a voltage above the source: without a known one nobody knows whether the switch ends it.
#[test]
fn a_switch_whose_clamp_is_not_known_is_not_sure_to_end_a_fault() {
    let rest = ["race.opens", "race.shunt-pulse", "race.wiring"];
    let none = [("/fuse/prearc_a2s", json!(0.0)), ("/switch/clamp_energy_j", json!(100.0))];
    is(&ask(&[&switch(5000.0), &none]), &["race.opens", "race.clamp-energy"], Verdict::Holds);
    let unknown = ask(&[&switch(5000.0), &none, &[("/switch/clamp_voltage_v", Value::Null)]]);
    is(&unknown, &rest, Verdict::NotJudged);
    assert_eq!(check(&unknown, "race.opens").missing.as_deref(), Some("/switch/clamp_voltage_v"));
    is(&ask(&[&switch(5000.0), &none, &[("/switch/clamp_voltage_v", json!(831.0))]]), &rest, Verdict::Fails);
}

/// A fact that is taken away leaves its requirement open, not gone.
#[test]
fn a_fact_that_is_not_given_keeps_its_row() {
    let full = [("/fuse/breaking_a", json!(20e3)), ("/switch/clamp_energy_j", json!(100.0))];
    for (fact, id) in [
        ("/shunt_pulse_a2s", "race.shunt-pulse"),
        ("/wiring/area_mm2", "race.wiring"),
        ("/fuse/voltage_v", "race.fuse-voltage"),
        ("/fuse/time_constant_s", "race.fuse-time-constant"),
        ("/fuse/breaking_a", "race.fuse-breaking"),
        ("/switch/clamp_energy_j", "race.clamp-energy"),
    ] {
        is(&ask(&[&points(), &switch(5000.0), &full]), &[id], Verdict::Holds);
        let left = ask(&[&points(), &switch(5000.0), &full, &[(fact, Value::Null)]]);
        is(&left, &[id], Verdict::NotJudged);
        assert_eq!(check(&left, id).missing.as_deref(), Some(fact));
    }
    // 6 µH/0.2202 Ω = 27.25 µs.
    is(&ask(&[&points(), &[("/fuse/time_constant_s", json!(27e-6))]]), &["race.fuse-time-constant"], Verdict::Fails);
    is(&ask(&[&points(), &[("/fuse/time_constant_s", json!(35e-6))]]), &["race.fuse-time-constant"], Verdict::Holds);
}

/// By hand: the fuse has cleared 400 kA²s after at most 28 ms, the switch opens after a second: it opens no current, and its
/// clamp takes nothing.
#[test]
fn a_switch_that_never_opens_a_current_needs_no_clamp() {
    let late = [all(1.0), ("/fuse/breaking_a", json!(20e3)), ("/switch/clamp_energy_j", json!(1.0))];
    let found = ask(&[&points(), &switch(5000.0), &late]);
    is(&found, &["race.breaking", "race.opens"], Verdict::Holds);
    assert!(!found.requirements.iter().any(|check| check.id == "race.clamp-energy"));
    // In time it takes 58.9 J at 3776.6 A.
    let early = ask(&[&switch(5000.0), &[("/fuse/prearc_a2s", json!(0.0)), ("/switch/clamp_energy_j", json!(40.0))]]);
    let one = check(&early, "race.clamp-energy");
    assert_eq!(one.verdict, Verdict::Fails);
    holds(one.achieved.expect("an energy"), 58.9, 0.05);
}

/// What may flow stands beside a breaking capacity that is not judged, not nothing.
#[test]
fn a_breaking_capacity_that_is_not_judged_shows_what_may_flow() {
    let values = [("/fuse/prearc_a2s", json!(20e3)), ("/switch/breaking_a", json!(2000.0))];
    let found = check(&ask(&[&values]), "race.breaking");
    assert_eq!(found.verdict, Verdict::NotJudged);
    holds(found.achieved.expect("a current"), 3776.567, 5e-4);
}

/// Four strings of 200 mΩ ± 5 % behind 12 mΩ: three feed a fault inside the fourth. By hand: conductances 1/0.95 and 1/1.05,
/// 831.6/(0.05/0.7683) = 12.78 kA, with no path outside, where the string that carries least is the faulted one; against the clamp of 1200 V
/// that current leaves V_c (L/R²)(V_c − V)(x − ln(1 + x)), x = I R/(V_c − V), some 480 J.
fn four(more: &[(&'static str, Value)]) -> Answer {
    let changes = [
        ("/strings/count", json!(4)),
        ("/strings/spread_percent", json!(5.0)),
        ("/source/pack_resistance_ohm", json!(0.05)),
        ("/switch/breaking_a", json!(20e3)),
        ("/switch/breaking_reverse_a", json!(20e3)),
        ("/switch/carry_a", json!(20e3)),
        ("/switch/carry_s", json!(0.01)),
        ("/switch/clamp_voltage_v", json!(1200.0)),
    ];
    ask(&[&changes, more])
}

/// The clamp of a faulted string takes what flows backwards.
#[test]
fn a_fault_inside_a_string_counts_for_its_clamp() {
    let none = ("/fuse/prearc_a2s", json!(0.0));
    let found = check(&four(&[none, all(1e-3), ("/switch/clamp_energy_j", json!(100.0))]), "race.clamp-energy");
    assert_eq!(found.verdict, Verdict::Fails);
    assert!(found.achieved.expect("an energy") > 480.0, "{:?}", found.achieved);
}

/// The fuse of a faulted string may see 12.78 kA, whoever opens first.
#[test]
fn the_fuse_of_a_faulted_string_breaks_what_flows_backwards() {
    let with = |can: f64| [&points()[..], &[("/fuse/breaking_a", json!(can))]].concat();
    let found = check(&four(&with(5000.0)), "race.fuse-breaking");
    assert_eq!(found.verdict, Verdict::Fails);
    holds(found.achieved.expect("a current"), 12.778e3, 1.0);
    is(&four(&with(16e3)), &["race.fuse-breaking"], Verdict::Holds);
    // A switch that is slow opens what the fuse is slower for: 384 kA²s at 12.78 kA are over after 3 ms, weaker ones are not.
    let slow = |can: f64| [&with(13e3)[..], &[all(0.5), ("/switch/breaking_reverse_a", json!(can))]].concat();
    is(&four(&slow(3200.0)), &["race.breaking-backwards"], Verdict::Holds);
    is(&four(&slow(1500.0)), &["race.breaking-backwards"], Verdict::Fails);
}

/// Eight packs on one bus, each behind its own fuse and switch: seven feed a fault inside the eighth. By hand: 831.6 V over
/// 208.2 mΩ/7 = 27.96 kA backwards, 831.6/0.2082 = 3994 A forwards in each that feeds, without the 12 mΩ outside.
#[test]
fn other_units_on_the_bus_feed_a_fault_inside_one() {
    let eight = [
        ("/units_in_parallel", json!(8)),
        ("/source/inductance_henry", json!(0.0)),
        ("/fuse/breaking_a", json!(20e3)),
        ("/switch/breaking_reverse_a", json!(20e3)),
        ("/switch/carry_a", json!(20e3)),
        ("/switch/carry_s", json!(0.01)),
    ];
    let found = ask(&[&points(), &switch(5000.0), &eight]);
    is(&found, &["race.fuse-breaking", "race.carry", "race.breaking-backwards"], Verdict::Fails);
    holds(check(&found, "race.fuse-breaking").achieved.expect("a current"), 27.96e3, 1.0);
    holds(check(&found, "race.breaking").achieved.expect("a current"), 3994.2, 0.1);
    let alone = ask(&[&points(), &switch(5000.0), &eight[1..]]);
    is(&alone, &["race.fuse-breaking", "race.carry"], Verdict::Holds);
    assert!(!alone.requirements.iter().any(|check| check.id == "race.breaking-backwards"));
    // In a design the pack tells how many: 1468.8 V, 113.44 mΩ, eight of them.
    let mut document = Value::Object(find("funicular-summit-buffer").expect("a demo").design.document());
    sensewright_tests::put(&mut document, "/race/0/fuse/breaking_a", json!(50e3));
    let assessed = assess(&Design::read(&document).expect("it reads")).expect("it stands");
    let row = assessed.requirements.iter().find(|row| row.check.id == "race.fuse-breaking").expect("a row");
    assert_eq!(row.check.verdict, Verdict::Fails);
    holds(row.check.achieved.expect("a current"), 1468.8 / (0.11344 / 7.0), 1.0);
}

/// Two strings of 416.4 mΩ behind 12 mΩ, 20 µH: 1888.3 A each, one alone 1941.2 A.
fn two(more: &[(&'static str, Value)]) -> Answer {
    let changes = [
        ("/strings/count", json!(2)),
        ("/source/inductance_henry", json!(2e-5)),
        ("/fuse/prearc_a2s", json!(0.0)),
        ("/threshold_a", json!(1000.0)),
        ("/switch/breaking_a", json!(2500.0)),
        ("/switch/breaking_reverse_a", json!(2500.0)),
        ("/switch/carry_a", json!(8000.0)),
        ("/switch/carry_s", json!(0.05)),
        ("/switch/clamp_voltage_v", json!(1200.0)),
        ("/switch/clamp_energy_j", json!(70.0)),
    ];
    ask(&[&changes, more])
}

/// Independent simulation (steps of two strings with clamps; inductance in common, in the strings, and in between, the second
/// opening up to 0.3 ms after the first): together each clamp takes 98.3 J, one after the other up to 103.9 J; with all
/// inductance in common the last one carries (3776.6 + 1200/0.4164)/2 = 3329 A right after the first has opened, by hand.
#[test]
fn the_last_string_to_open_meets_the_current_of_the_first() {
    // A fault inside one of them is another one.
    let common = ("/source/own_inductance_henry", json!(0.0));
    let together = two(&[all(3.2e-3), common.clone()]);
    let energy = |answer: &Answer| check(answer, "race.clamp-energy").achieved.expect("an energy");
    is(&together, &["race.breaking"], Verdict::Holds);
    holds(energy(&together), 98.14, 0.1);
    let stages = ("/stages", json!([{"name": "all", "longest_s": 3.2e-3, "shortest_s": 3e-3}]));
    let apart = two(&[stages, common]);
    is(&apart, &["race.breaking", "race.clamp-energy"], Verdict::Fails);
    assert!((103.9..115.0).contains(&energy(&apart)), "{}", energy(&apart));
    holds(check(&apart, "race.breaking").achieved.expect("a current"), 3329.2, 0.5);
    // Against a clamp that is not known all of it may go over.
    let stages = ("/stages", json!([{"name": "all", "longest_s": 3.2e-3, "shortest_s": 3e-3}]));
    is(&two(&[stages, ("/switch/clamp_voltage_v", Value::Null)]), &["race.breaking"], Verdict::NotJudged);
}

/// By hand: ½ C V²/R = 0.01 · 831.6²/(2 · 0.012) = 288.2 kA²s; 3 mm² take (143.08 · 3)² = 184.3 kA²s; √(288.2e3/100 µs) =
/// 53.7 kA as equal heat; a fuse of 180 kA²s melts.
#[test]
fn the_link_heats_wiring_switch_and_fuse() {
    let ask = |changes: &[(&'static str, Value)]| {
        let link =
            [("/source/link_farad", json!(0.01)), ("/switch/carry_a", json!(30e3)), ("/switch/carry_s", json!(1e-4))];
        ask(&[&link, changes])
    };
    let found = ask(&[("/wiring/area_mm2", json!(3.0)), ("/fuse/breaking_a", json!(5e3))]);
    is(&found, &["race.link-wiring", "race.link-carry", "race.link-fuse"], Verdict::Fails);
    holds(check(&found, "race.link-wiring").achieved.expect("a let-through"), 288.149e3, 100.0);
    holds(check(&found, "race.link-carry").achieved.expect("a current"), 53.68e3, 10.0);
    let able =
        ask(&[("/wiring/area_mm2", json!(6.0)), ("/switch/carry_s", json!(1e-3)), ("/fuse/prearc_a2s", json!(300e3))]);
    // The peak is V √(C/L) damped: below V/R.
    is(&able, &["race.link-wiring", "race.link-carry"], Verdict::Holds);
    assert!(!able.requirements.iter().any(|check| check.id == "race.link-fuse"));
}

/// The link that a pre-charge of the same design fills is the one that a short on the pack's side draws from, where the race
/// is told no other. By hand: 12 µH and 4.7 mF make 50.53 mΩ, 1468.8 V over it 29.07 kA, damped by 8 mΩ, with ζ = 0.0792, to
/// 29.07 kA · exp(−ζ arccos ζ/√(1 − ζ²)) = 25.82 kA.
#[test]
fn a_race_takes_the_link_of_its_pre_charge() {
    let rows = |changes: &[(&str, Value)]| {
        let mut document = Value::Object(find("funicular-summit-buffer").expect("a demo").design.document());
        // Nothing else feeds that fault.
        sensewright_tests::put(&mut document, "/pack/units_in_parallel", json!(1));
        for (pointer, value) in changes {
            sensewright_tests::put(&mut document, pointer, value.clone());
        }
        let assessed = assess(&Design::read(&document).expect("it reads")).expect("it stands");
        let row = assessed.requirements.iter().find(|row| row.check.id == "race.link-carry");
        row.map(|row| row.check.clone())
    };
    let carry = ("/race/0/switch/carry_a", json!(15e3));
    let found = rows(std::slice::from_ref(&carry)).expect("the row");
    assert_eq!(found.verdict, Verdict::Fails);
    holds(found.achieved.expect("a current"), 25.82e3, 10.0);
    // Another link is typed: with it the row holds, and with the one that is pre-charged it does not.
    let other = rows(&[carry.clone(), ("/race/0/source/link_farad", json!(1e-4))]).expect("the row");
    assert_eq!(other.verdict, Verdict::NotJudged);
    let smaller = [carry.clone(), ("/precharge/0/capacitance_farad", json!(1e-4))];
    assert_eq!(rows(&smaller).expect("the row").verdict, Verdict::Holds);
    // Without a pre-charge no link is known.
    assert!(rows(&[carry, ("/precharge", json!([])), ("/discharge", json!([])), ("/safety", json!([]))]).is_none());
}

/// A threshold must stay clear of what the pack itself does, and a weak fault starts from its lowest voltage.
#[test]
fn the_pack_hands_down_its_lowest_voltage_and_its_peak() {
    let peak = |current: f64| ask(&[&[("/pack_peak_a", json!(current)), ("/threshold_error_percent", json!(5.0))]]);
    is(&peak(1400.0), &["race.pack-peak"], Verdict::Holds);
    is(&peak(1715.0), &["race.pack-peak"], Verdict::Fails);
    let weakest = |changes: &[(&'static str, Value)]| {
        ask(&[changes]).result.tree().pointer("/weakest/voltage_v").and_then(Value::as_f64).expect("a voltage")
    };
    holds(weakest(&[("/source/pack_min_v", json!(554.4))]), 554.4, 1e-9);
    holds(weakest(&[("/source/pack_min_v", json!(554.4)), ("/source/voltage_min_v", json!(600.0))]), 554.4, 1e-9);
    holds(weakest(&[("/source/pack_min_v", json!(554.4)), ("/source/voltage_min_v", json!(500.0))]), 500.0, 1e-9);
    // In a design both come from the pack: 198 cells of 2.8 V over 208.2 mΩ and 91 mΩ, 600 A with a ripple of 30 A.
    let assessed = assess(&find("mountain-rescue-car").expect("a demo").design).expect("it stands");
    let race = |id: &str| assessed.requirements.iter().find(|row| row.check.id == id).expect("a row").check.clone();
    holds(race("race.pack-peak").achieved.expect("a current"), 630.0, 1e-9);
    assert!(race("race.opens").note.contains("1.853\u{202f}kA"), "{}", race("race.opens").note);
}

/// Three units share a short of up to 0.3 Ω on the bus, one of 0.12 Ω beside two of 0.1 Ω. By Kirchhoff: the three are
/// 1/(1/0.12 + 2/0.1) = 35.294 mΩ, 600 V drive 1789.5 A, and 526.3 A of them through the weak one, as it alone does into
/// 1.02 Ω. A threshold of 900 A that sees one alone at 1429 A does not see it, and the fuse's points begin at 1 kA.
#[test]
fn a_short_on_the_bus_is_shared_by_all_units() {
    let bus = |units: u32, most_ohm: f64| {
        ask(&[
            &points(),
            &switch(9000.0),
            &[
                ("/source/voltage_min_v", json!(600.0)),
                ("/source/voltage_v", json!(800.0)),
                ("/source/pack_resistance_ohm", json!(0.1)),
                ("/source/pack_resistance_max_ohm", json!(0.12)),
                ("/source/external_resistance_max_ohm", json!(most_ohm)),
                ("/units_in_parallel", json!(units)),
                ("/threshold_a", json!(900.0)),
            ],
        ])
    };
    let weakest = |found: &Answer| found.result.tree()["weakest"]["prospective_a"].as_f64();
    is(&bus(1, 0.3), &["race.opens"], Verdict::Holds);
    for found in [bus(3, 0.3), bus(1, 1.02)] {
        assert_ne!(check(&found, "race.opens").verdict, Verdict::Holds);
        holds(weakest(&found).expect("a current"), 526.32, 0.01);
    }
}

/// By hand: 20 µH of the faulted unit and those of the two others side by side, over their 0.1 Ω side by side, 30 µH/50 mΩ =
/// 0.600 ms; with 5 µH of their own 0.15 ms; outside 20 µH over 0.2 Ω, three times shared 60 µH over 0.4 Ω.
#[test]
fn a_fault_inside_a_unit_has_the_time_constant_of_its_own_loop() {
    let slow = |units: u32, own: Value| {
        let found = ask(&[
            &points(),
            &[("/source/own_inductance_henry", own)],
            &switch(9000.0),
            &[
                ("/source/pack_resistance_ohm", json!(0.1)),
                ("/source/external_resistance_ohm", json!(0.1)),
                ("/source/inductance_max_henry", json!(20e-6)),
                ("/units_in_parallel", json!(units)),
            ],
        ]);
        check(&found, "race.fuse-time-constant").achieved.expect("a time")
    };
    holds(slow(3, Value::Null), 6.0e-4, 1e-9);
    holds(slow(3, json!(20e-6)), 6.0e-4, 1e-9);
    holds(slow(3, json!(5e-6)), 1.5e-4, 1e-9);
    holds(slow(1, Value::Null), 20e-6 / 0.2, 1e-9);
}

/// Two equal strings of 0.2 Ω behind 10 mΩ at 800 V, reacting in 1 to 3 ms. By hand: both carry 800 V/(0.1 Ω + 0.01 Ω)/2 =
/// 3636 A; opened a moment apart, a common inductance drives (7273 A + 1300 V/0.2 Ω)/2 = 6886 A into the second. A fuse that may
/// have melted before the first opening and may still carry at the last takes none of that away.
#[test]
fn the_last_string_takes_over_though_its_fuse_may_melt_before() {
    let breaks = |preload: f64| {
        let point =
            |current: f64, pre: f64| json!({"current_a": current, "pre_arcing_s": pre, "clearing_s": 1.2 * pre});
        let changes = [
            (
                "/source",
                json!({"voltage_v": 800.0, "pack_resistance_ohm": 0.1, "external_resistance_ohm": 0.01, "inductance_henry": 6e-6}),
            ),
            ("/before_a", json!(100.0)),
            ("/before_min_a", json!(0.0)),
            ("/threshold_a", json!(500.0)),
            ("/stages", json!([{"name": "all", "longest_s": 3e-3, "shortest_s": 1e-3}])),
            (
                "/fuse/points",
                json!([
                    point(700.0, 20.0),
                    point(1500.0, 0.5),
                    point(3000.0, 0.02),
                    point(3700.0, 4e-3),
                    point(8000.0, 5e-4)
                ]),
            ),
            ("/fuse/preload_percent", json!(preload)),
            ("/fuse/current_tolerance_percent", json!(0.0)),
            ("/fuse/voltage_v", json!(1500.0)),
            ("/fuse/time_constant_s", json!(1e-3)),
            ("/fuse/breaking_a", json!(100e3)),
            ("/fuse/never_clears_below_a", json!(600.0)),
            ("/switch/breaking_a", json!(6000.0)),
            ("/switch/clamp_voltage_v", json!(1300.0)),
            ("/strings", json!({"count": 2, "spread_percent": 0.0})),
        ];
        check(&answer("race", &changes), "race.breaking")
    };
    for preload in [100.0, 30.0] {
        let row = breaks(preload);
        holds_relative(row.achieved.expect("a current"), 6886.0, 1e-3);
        assert_eq!(row.verdict, Verdict::Fails, "{preload}");
    }
}
