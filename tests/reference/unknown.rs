//! What is not known does not hold, and what rests on something that fails is not judged.
//!
//! Each line names an input, what it does in plain reasoning, and how a row must stand: a promise needs every fact that it
//! rests on.

use serde_json::{Value, json};

use super::answer;
use sensewright_core::judge::Verdict::{self, Fails, Holds, NotJudged};

#[track_caller]
fn stands(slug: &str, changes: &[(&str, Value)], id: &str, verdict: Verdict) {
    let answer = answer(slug, changes);
    let row = answer.requirements.iter().find(|row| row.id == id).unwrap_or_else(|| panic!("no {id} in {slug}"));
    assert_eq!(row.verdict, verdict, "{slug} {id}: {:?}", row.reason);
    assert_eq!(row.verdict == Holds, row.reason.is_none(), "a reason where it does not hold: {:?}", row.reason);
}

/// A short circuit that is left to a race is judged by nobody while there is none, or while it runs with another threshold.
#[test]
fn a_race_that_judges_the_hazard_must_be_there() {
    let short = |more: &[(&'static str, Value)]| {
        let mut changes = vec![
            ("/kind", json!("short-circuit")),
            ("/harm_judged", json!("race")),
            ("/hazard_a", json!(3000)),
            ("/threshold_a", json!(1800)),
        ];
        changes.extend(more.iter().cloned());
        changes
    };
    stands("protection/current", &short(&[]), "protection.raced", NotJudged);
    stands("protection/current", &short(&[("/race_threshold_a", json!(2500))]), "protection.raced", Fails);
    // Nor with a smaller error than its own, or from stronger faults on; of a weakest fault that nobody told nothing is known.
    let race = |error: f64, weakest: f64| {
        let race = [("/race_threshold_a", json!(1800)), ("/race_error_percent", json!(error))];
        short(&[&race[..], &[("/race_weakest_a", json!(weakest)), ("/error_normal_a", json!(14))]].concat())
    };
    // 1800 A with 0.7 % are 1812.6 A, with 0.8 % 1814.4 A; 1814 A are its own.
    stands("protection/current", &race(0.7, 2000.0), "protection.raced", Fails);
    stands("protection/current", &race(0.8, 2000.0), "protection.raced", Holds);
    stands("protection/current", &race(0.8, 3001.0), "protection.raced", Fails);
    let untold = [("/race_threshold_a", json!(1800)), ("/race_error_percent", json!(5))];
    stands("protection/current", &short(&untold), "protection.raced", NotJudged);
}

/// Faults left to a faster function are nobody's where it is not given, or trips from a larger current on only.
#[test]
fn a_faster_function_takes_all_that_is_left_to_it() {
    let left = |more: &[(&'static str, Value)]| {
        let mut changes = vec![("/faster_from_a", json!(1900))];
        changes.extend(more.iter().cloned());
        changes
    };
    let race = |at: f64, error: f64| left(&[("/race_threshold_a", json!(at)), ("/race_error_percent", json!(error))]);
    stands("protection/current", &left(&[]), "protection.faster", NotJudged);
    // 1800 A with 10 %: 1980 A.
    stands("protection/current", &race(1800.0, 10.0), "protection.faster", Fails);
    // Somebody must have judged all that is left: not the strongest fault alone.
    stands("protection/current", &race(1500.0, 5.0), "protection.faster", NotJudged);
    let judged = |weakest: f64| [race(1500.0, 5.0), vec![("/race_weakest_a", json!(weakest))]].concat();
    stands("protection/current", &judged(1900.0), "protection.faster", Holds);
    stands("protection/current", &judged(1901.0), "protection.faster", Fails);
    // A race is one of faults that the pack feeds.
    let charge = [judged(1900.0), vec![("/kind", json!("over-current-charge"))]].concat();
    stands("protection/current", &charge, "protection.faster", NotJudged);
    let none =
        [judged(1900.0), vec![("/kind", json!("over-current-charge")), ("/strongest_fault_a", json!(1000.0))]].concat();
    stands("protection/current", &none, "protection.faster", Holds);
}

/// A threshold that its channel never reads does not trip before the hazard.
#[test]
fn what_is_never_read_never_trips() {
    let current = [("/threshold_a", json!(800)), ("/reads_to_a", json!(700))];
    stands("protection/current", &current, "protection.beyond-range", Fails);
    stands("protection/current", &current, "protection.harm-side", NotJudged);
    let voltage = [("/threshold_v", json!(4.25)), ("/reads_to_v", json!(4.2))];
    stands("protection/voltage", &voltage, "protection.harm-side", NotJudged);
}

/// The pack itself reaches 3.6 V: a threshold of 3.3 V trips in normal use, whatever is typed as its normal extreme.
#[test]
fn what_the_pack_reaches_must_not_trip_a_voltage() {
    let with = |pack: f64| {
        [
            ("/normal_v", json!(3.0)),
            ("/threshold_v", json!(3.3)),
            ("/hazard_v", json!(3.8)),
            ("/pack_cell_max_v", json!(pack)),
        ]
    };
    stands("protection/voltage", &with(3.6), "protection.pack-peak", Fails);
    stands("protection/voltage", &with(3.1), "protection.pack-peak", Holds);
}

/// Half of a sag is no sag of nothing: with 40 A and 5 mΩ the cell sags by 0.2 V.
#[test]
fn half_of_a_sag_is_not_judged() {
    let under = |more: &[(&'static str, Value)]| {
        let mut changes = vec![
            ("/kind", json!("cell-under-voltage")),
            ("/normal_v", json!(2.8)),
            ("/hazard_v", json!(2.0)),
            ("/threshold_v", json!(2.7)),
        ];
        changes.extend(more.iter().cloned());
        changes
    };
    stands("protection/voltage", &under(&[]), "protection.nuisance-side", Holds);
    let resistance = ("/sag_resistance_ohm", json!(0.005));
    stands("protection/voltage", &under(std::slice::from_ref(&resistance)), "protection.nuisance-side", NotJudged);
    stands("protection/voltage", &under(&[("/sag_current_a", json!(40))]), "protection.nuisance-side", NotJudged);
    let both = under(&[resistance, ("/sag_current_a", json!(40))]);
    stands("protection/voltage", &both, "protection.nuisance-side", Fails);
}

/// Some channel must reach the pack's peak.
#[test]
fn a_peak_that_nobody_reads_fails() {
    let beyond = [("/load/peak_a", json!(2500)), ("/load/peak_duration_s", json!(0.01))];
    stands("current-channel", &beyond, "current-channel.peak-read", Fails);
    let mut elsewhere = beyond.to_vec();
    elsewhere.push(("/load/peak_read_elsewhere", json!(true)));
    stands("current-channel", &elsewhere, "current-channel.peak-read", Holds);
}

/// A channel that need not read charging current is not asked for it.
#[test]
fn charging_that_another_channel_reads_is_not_asked() {
    let one_way = [
        ("/converter/bipolar", json!(false)),
        ("/converter/full_scale_v", json!(0.06)),
        ("/load/charge_read_elsewhere", json!(true)),
    ];
    stands("current-channel", &one_way, "current-channel.range", Holds);
}

/// The requirement's own range counts, also beyond the pack's peak: 11.04 A at −1300 A of 8.9 A (independent simulation).
#[test]
fn the_range_of_a_requirement_is_its_own() {
    let answer = answer(
        "current-channel",
        &[
            ("/converter/full_scale_v", json!(0.06)),
            ("/requirement/gain_percent", json!(0.3)),
            ("/requirement/offset_a", json!(5)),
            ("/requirement/from_a", json!(700)),
            ("/requirement/to_a", json!(1300)),
        ],
    );
    let row = answer.requirements.iter().find(|row| row.id == "current-channel.error").expect("the row");
    super::holds(row.required.expect("a limit"), 8.9, 1e-9);
    super::holds(row.achieved.expect("a value"), 11.04, 0.06);
    assert!(answer.findings.iter().any(|one| one.code == "current-channel.outside-requirement"));
}

/// An under-voltage that follows the current: by hand 270 V − 0.06 Ω · 203 A − 1 V = 256.82 V under load; a channel that reads from
/// 262 V on never sees it. The side of operation knows no smallest resistance: (0.1 − 0.06) Ω · 200 A + 0.18 V + 1 V + 4.5 · 0.3 V
/// = 10.53 V of the 5 V from 295 to 300 V fail without it.
#[test]
fn a_limit_that_follows_the_current_must_be_read_under_load() {
    let under = |more: &[(&'static str, Value)]| {
        let own = [
            ("/kind", json!("pack-under-voltage")),
            ("/normal_v", json!(300)),
            ("/hazard_v", json!(240)),
            ("/error_normal_v", json!(1)),
            ("/noise_v", json!(0.3)),
            ("/samples_in_a_row", json!(5)),
            ("/sample_rate_hz", json!(100)),
            ("/rate_v_per_s", json!(50)),
            ("/threshold_v", json!(270)),
            ("/sag_resistance_ohm", json!(0.1)),
            ("/sag_current_a", json!(200)),
            ("/sag_follows_ohm", json!(0.06)),
            ("/sag_current_error_a", json!(3)),
        ];
        [&own, more].concat()
    };
    let smallest = ("/sag_resistance_min_ohm", json!(0.04));
    let reads = |from: f64| under(&[smallest.clone(), ("/reads_from_v", json!(from))]);
    stands("protection/voltage", &reads(256.9), "protection.beyond-range", Fails);
    stands("protection/voltage", &reads(256.8), "protection.beyond-range", Holds);
    // A headline does not say "holds" of what fails.
    let lead = |from: f64| answer("protection/voltage", &reads(from)).view.lead;
    assert!(lead(256.9).ends_with("may never trip: it lies beyond what its channel reads"), "{}", lead(256.9));
    assert!(lead(256.8).contains("holds both sides"), "{}", lead(256.8));
    let near = [("/threshold_v", json!(295)), ("/reads_from_v", json!(100))];
    stands("protection/voltage", &under(&near), "protection.nuisance-side", Fails);
    stands("protection/voltage", &under(&near), "protection.harm-side", NotJudged);
}
