//! Charge counting against closed forms and figures of an independent simulation.
//!
//! Sources: charge balance by hand with the numbers put in; an independent simulation of the numbered cases ("case n"), which
//! prints its results to the digits used here; JCGM 100:2008 clause 5.2 and JCGM 106:2012 where named.

use sensewright_core::calc::charge::charge_counting::{
    Case, ChargeInput, Course, Leg, Rates, Stretch, alias, lost_in_band_a, rounded_mean_error_a, rounding_limit_a,
};
use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find;
use sensewright_core::field::{FieldError, Notation, read};
use sensewright_core::judge::{Check, Verdict};
use sensewright_tests::put;
use serde_json::{Value, json};

use super::{at, holds};

/// A counter at rest, new to the end, nothing but its offset.
fn bare(changes: &[(&str, Value)]) -> Value {
    let mut input = json!({
        "battery": {"capacity_ah": 120.0, "voltage_v": 722.7, "soh_end_percent": 100.0},
        "usage": {"kind": "rest"},
        "counter": {"offset_a": 0.12, "gain_percent": 0.0, "noise_a": 0.0, "sample_s": 0.01},
        "counting": {"clock_ppm": 0.0}
    });
    for (pointer, value) in changes {
        put(&mut input, pointer, value.clone());
    }
    input
}

pub(super) fn ask(changes: &[(&str, Value)]) -> Result<Answer, Vec<FieldError>> {
    find("charge-counting").expect("it is in the catalogue").answer(Some(&bare(changes)), Notation::Json)
}

pub(super) fn solved(changes: &[(&str, Value)]) -> Answer {
    ask(changes).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

pub(super) fn typed(changes: &[(&str, Value)]) -> ChargeInput {
    read::<ChargeInput>(Some(&bare(changes)), Notation::Json).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

pub(super) fn row<'a>(answer: &'a Answer, id: &str) -> &'a Check {
    let id = format!("charge.{id}");
    let found = answer.requirements.iter().find(|check| check.id == id);
    found.unwrap_or_else(|| panic!("no {id} in {:?}", answer.requirements.iter().map(|c| &c.id).collect::<Vec<_>>()))
}

pub(super) fn finds(answer: &Answer, code: &str) -> bool {
    let code = format!("charge.{code}");
    answer.findings.iter().any(|finding| finding.code == code)
}

const NEW: Case = Case { aged: false, discharge_first: true, rests_between: false, capacity: 0.0 };

/// Errors of a course of one's own, as worst case in ampere-hours: lower and upper end of the count.
fn counted(changes: &[(&str, Value)], stretches: &[(Leg, f64, f64)], time_s: f64) -> [f64; 2] {
    let input = typed(changes);
    let list =
        stretches.iter().map(|(leg, time_s, current_a)| Stretch { leg: *leg, time_s: *time_s, current_a: *current_a });
    let rates = Rates::new(&input, NEW, None).with_course(Course::new(list.collect(), Vec::new(), 0.0));
    let tally = rates.course.at(rates.course.moment(time_s));
    let [low, high] = rates.counted(&tally).worst();
    // Estimated less true is the count less what flowed, turned round.
    let ah = input.battery.capacity_ah / 100.0;
    [-high * ah, -low * ah]
}

/// Check value C01: 50 A for an hour with a gain of 1.005 and 0.1 A of offset count 50.35 Ah.
#[test]
fn an_hour_of_fifty_amperes() {
    let changes = [("/counter/offset_a", json!(0.1)), ("/counter/gain_percent", json!(0.5))];
    holds(counted(&changes, &[(Leg::Discharge, 3600.0, 50.0)], 3600.0)[1], 0.35, 1e-12);
}

/// Check value C04: ±100 A for half an hour each; a gain error of 1 % is gone, 20 mA leave 72 A·s. With +1 % in one
/// direction alone 1872 A·s: a mean of 0.5 % and 1 % between the two.
#[test]
fn a_symmetric_cycle_keeps_the_offset_alone() {
    let cycle = [(Leg::Discharge, 1800.0, 100.0), (Leg::Charge, 1800.0, -100.0)];
    let one = [("/counter/offset_a", json!(0.02)), ("/counter/gain_percent", json!(1.0))];
    holds(counted(&one, &cycle, 3600.0)[1] * 3600.0, 72.0, 1e-9);
    let two = [one[0].clone(), ("/counter/gain_percent", json!(0.5)), ("/counter/asymmetry_percent", json!(1.0))];
    holds(counted(&two, &cycle, 3600.0)[1] * 3600.0, 1872.0, 1e-9);
}

/// Case 1: gains of 0.4 and 0.1 % are a mean of 0.25 % and a difference of 0.3 %; 0.21333 Ah after 2400 s, 0.18333 Ah at the end.
#[test]
fn unequal_gains_inside_a_cycle_and_at_its_end() {
    let cycle = [(Leg::Discharge, 1800.0, 100.0), (Leg::Rest, 600.0, 0.0), (Leg::Charge, 3600.0, -50.0)];
    let changes = [
        ("/counter/offset_a", json!(0.02)),
        ("/counter/gain_percent", json!(0.25)),
        ("/counter/asymmetry_percent", json!(0.3)),
    ];
    holds(counted(&changes, &cycle, 2400.0)[1], 0.213_333, 1e-6);
    let end = counted(&changes, &cycle, 6000.0);
    holds(end[1], 0.183_333, 1e-6);
    holds(-end[1] / 1.2, -0.152_778, 1e-6);
}

/// Case 2: a non-linearity of 0.14 A, one value a direction: 0.210 Ah when both add.
#[test]
fn a_bend_counts_in_both_directions() {
    let changes = [("/counter/offset_a", json!(0.0)), ("/counter/bend_a", json!(0.14))];
    let cycle = [(Leg::Discharge, 3600.0, 200.0), (Leg::Charge, 1800.0, -400.0)];
    holds(counted(&changes, &cycle, 5400.0)[1], 0.210, 1e-9);
}

/// Check value C03: white noise of 0.1 A at 100 Hz wanders by 0.6 A·s in an hour. Case 4: 50 mA at 0.1 s with 0.4 s of
/// correlation wander by 2.690 A·s, white by 0.949 A·s.
#[test]
fn noise_walks() {
    let walk = |noise: f64, sample: f64, tau: f64| {
        let changes = [
            ("/counter/offset_a", json!(0.0)),
            ("/counter/noise_a", json!(noise)),
            ("/counter/sample_s", json!(sample)),
            ("/counter/noise_correlation_s", json!(tau)),
        ];
        // The worst case takes three of them.
        counted(&changes, &[(Leg::Rest, 3600.0, 0.0)], 3600.0)[1] * 3600.0 / 3.0
    };
    holds(walk(0.1, 0.01, 0.0), 0.6, 1e-9);
    holds(walk(0.05, 0.1, 0.0), 0.949, 5e-4);
    holds(walk(0.05, 0.1, 0.4), 2.690, 5e-4);
}

/// Case 5: 13 mA in codes of 10 mA with noise of 0, 3 and 5 mA at the word; 15 mA with 4.5 mA of noise in a band of 20 mA.
/// Half a step of noise leaves 0.0023 steps of error.
#[test]
fn rounding_and_dead_band() {
    for (noise, mean) in [(0.0, 10.000), (3.0, 12.487), (5.0, 12.978)] {
        holds(13.0 + rounded_mean_error_a(13.0, 10.0, noise), mean, 5e-4);
    }
    holds(15.0 - lost_in_band_a(15.0, 20.0, 4.5), 2.967, 5e-4);
    holds(rounding_limit_a(1.0, 0.5), 0.0023, 5e-5);
    assert_eq!(rounding_limit_a(1.0, 0.0).to_bits(), 0.5_f64.to_bits());
    // Closed form: the limit is never passed by the series at any current.
    for step in 0..40 {
        let error = rounded_mean_error_a(f64::from(step) / 40.0, 1.0, 0.35);
        assert!(error.abs() <= rounding_limit_a(1.0, 0.35) * (1.0 + 1e-3), "{error}");
    }
}

/// Case 6: spot samples of 1 s over 200 leaps of 300 A have a standard uncertainty of 1225 A·s; 1 % of ±100 A counted as
/// nothing for half an hour each 597 A·s.
#[test]
fn leaps_and_missed_readings() {
    let spot = [
        ("/counter/offset_a", json!(0.0)),
        ("/counter/sample_s", json!(1.0)),
        ("/counter/averaging", json!(1)),
        ("/counting/aperture_s", json!(0.0)),
    ];
    let input = typed(&spot);
    let mut list = Vec::new();
    for _ in 0..100 {
        list.push(Stretch { leg: Leg::Discharge, time_s: 30.0, current_a: 300.0 });
        list.push(Stretch { leg: Leg::Rest, time_s: 30.0, current_a: 0.0 });
    }
    let rates = Rates::new(&input, NEW, None).with_course(Course::new(list, Vec::new(), 0.0));
    let terms = rates.counted(&rates.course.at(rates.course.moment(6000.0)));
    holds(terms.leaps.sqrt() * 1.2 * 3600.0, 1225.0, 0.5);
    let missed = [
        ("/counter/offset_a", json!(0.0)),
        ("/counter/sample_s", json!(1.0)),
        ("/counter/averaging", json!(1)),
        ("/counting/missed_percent", json!(1.0)),
    ];
    let cycle = [(Leg::Discharge, 1800.0, 100.0), (Leg::Charge, 1800.0, -100.0)];
    holds(counted(&missed, &cycle, 3600.0)[1] * 3600.0 / 3.0, 597.0, 0.5);
}

/// Without noise enough a mean code stands at one end or the other of its error, and a rare miss is one whole reading: both
/// count in full with 95 % as well. By hand: half a step of 10 mA for a day is 0.12 Ah, 0.1 % of 120 Ah; a reading of 0.4 s
/// at 2 A of standby is 0.8 A·s.
#[test]
fn what_has_two_ends_counts_in_full() {
    let base = [
        ("/counter/offset_a", json!(0.0)),
        ("/counting/step_a", json!(0.01)),
        ("/anchor/interval_h", json!(24.0)),
        ("/requirement/soc_error_percent", json!(1.0)),
        ("/requirement/judged_by", json!("probability-95")),
    ];
    holds(at(&solved(&base), "/largest/judged_percent"), 0.1, 1e-9);
    let changes = [
        ("/counter/offset_a", json!(0.0)),
        ("/counter/averaging", json!(40)),
        ("/usage/standby_a", json!(2.0)),
        ("/counting/missed_percent", json!(1e-9)),
    ];
    let lost = counted(&changes, &[(Leg::Rest, 36_000.0, 2.0)], 36_000.0);
    holds(-lost[0] * 3600.0, 0.8, 0.01);
}

/// Closed form: readings that follow each other without a gap hold at most half a wave, Â/πf, however near the ripple is to a
/// multiple of their rate.
#[test]
fn readings_without_a_gap_do_not_alias() {
    let input = typed(&[
        ("/counter/sample_s", json!(0.02)),
        ("/counter/averaging", json!(1)),
        ("/counting/ripple_a", json!(3.0)),
        ("/counting/ripple_hz", json!(100.0)),
        ("/counting/ripple_within_percent", json!(0.0)),
    ]);
    let alias = alias(&input.counter, &input.counting).expect("there is a ripple");
    holds(alias.counted_c(1e6), 3.0 / (100.0 * std::f64::consts::PI), 1e-12);
    assert!(!finds(&solved(&[("/counting/ripple_a", json!(3.0))]), "alias-locked"));
}

/// Case 7: 3 A at 100.4 Hz in 50 spot samples a second leave at most 2.388 A·s; 2.432 A in means of five at 250 a second
/// 10.2 mA·s with a beat of 12.8 mA. Where the frequency may meet a multiple of the rate it counts without bound.
#[test]
fn ripple_beats_and_may_stand_still() {
    let found = |amplitude: f64, sample: f64, averaging: u32, within: f64| {
        let input = typed(&[
            ("/counter/sample_s", json!(sample)),
            ("/counter/averaging", json!(averaging)),
            ("/counting/aperture_s", json!(0.0)),
            ("/counting/ripple_a", json!(amplitude)),
            ("/counting/ripple_hz", json!(100.4)),
            ("/counting/ripple_within_percent", json!(within)),
        ]);
        alias(&input.counter, &input.counting).expect("there is a ripple")
    };
    let spot = found(3.0, 0.02, 1, 0.0);
    holds(spot.counted_c(1e4), 2.388, 5e-4);
    holds(spot.at_hz.expect("it beats"), 0.4, 1e-9);
    let mean = found(2.432, 0.004, 5, 0.0);
    holds(mean.left_a, 0.0128, 5e-5);
    holds(mean.counted_c(1e4), 0.0102, 5e-5);
    let locked = found(3.0, 0.02, 1, 1.0);
    assert_eq!(locked.at_hz, None);
    holds(locked.counted_c(100.0), 300.0, 1e-9);
}

/// Case 8: offsets of 57.14, 514.29, 137.14 and 0.29 mA on 120 Ah: 14.177 % a day (17.721 % of 80 % capacity); 3 % last
/// 5.079 h, 6.700 h with 95 %; with ±1.1429 at the beginning 3.144 h and 5.804 h.
#[test]
fn an_offset_uses_up_the_allowed_error() {
    let parts = [
        ("/counter/offset_a", json!(0.057_14)),
        ("/counter/drift_a", json!(0.514_29)),
        ("/counter/bend_a", json!(0.137_14)),
        ("/counter/emf_a", json!(0.000_29)),
        ("/requirement/soc_error_percent", json!(3.0)),
    ];
    let with = |more: &[(&'static str, Value)]| solved(&[&parts[..], more].concat());
    let worst = with(&[]);
    holds(at(&worst, "/day/worst_percent_per_day"), 14.177, 5e-4);
    holds(at(&worst, "/lasts/judged_h"), 5.079, 5e-4);
    holds(at(&worst, "/lasts/drift_alone_h"), 5.079, 5e-4);
    let aged = with(&[("/battery/soh_end_percent", json!(80.0))]);
    holds(at(&aged, "/day/end_of_life_percent_per_day"), 17.721, 5e-4);
    let likely = ("/requirement/judged_by", json!("probability-95"));
    holds(at(&with(std::slice::from_ref(&likely)), "/lasts/judged_h"), 6.700, 2e-3);
    let start = ("/start/error_percent", json!(1.1429));
    holds(at(&with(std::slice::from_ref(&start)), "/lasts/judged_h"), 3.144, 5e-4);
    let both = with(&[start, likely]);
    holds(at(&both, "/lasts/judged_h"), 5.804, 2e-3);
    holds(at(&both, "/lasts/drift_alone_h"), 5.079, 5e-4);
}

/// Question of a review: 120 mA on 150 Ah with 3 %: 2.88 Ah and 1.92 % a day, 1.5625 days.
#[test]
fn the_offset_in_the_language_of_the_project() {
    let answer = solved(&[("/battery/capacity_ah", json!(150.0)), ("/requirement/soc_error_percent", json!(3.0))]);
    holds(at(&answer, "/day/worst_ah_per_day"), 2.88, 1e-9);
    holds(at(&answer, "/day/worst_percent_per_day"), 1.92, 1e-9);
    // A limit is passed where more than the rounding of doubles lies beyond it.
    holds(at(&answer, "/lasts/judged_days"), 1.5625, 5e-9);
}

/// Worked examples of three packs, offsets left after calibration, hot: 709 mA on 120 Ah are 17.01 Ah and 14.18 % a day, and
/// 3 % last 0.2 days; 210 and 220 mA on 173 Ah 5.05 and 5.28 Ah, 2.92 and 3.05 %, and 4 % last 1.4 and 1.3 days; 16 mA on
/// 100 Ah 0.37 Ah and 0.37 %, and 5 % last 13.4 days. The offsets to more digits than are printed follow from the ampere-hours.
#[test]
fn headlines_of_three_packs() {
    for (offset_a, capacity_ah, limit, ah, percent, days) in [
        (17.01257 / 24.0, 120.0, 3.0, 17.01, 14.18, 0.2),
        (0.2104, 173.0, 4.0, 5.05, 2.92, 1.4),
        (0.2200, 173.0, 4.0, 5.28, 3.05, 1.3),
        (0.015_55, 100.0, 5.0, 0.37, 0.37, 13.4),
    ] {
        let answer = solved(&[
            ("/counter/offset_a", json!(offset_a)),
            ("/battery/capacity_ah", json!(capacity_ah)),
            ("/requirement/soc_error_percent", json!(limit)),
        ]);
        holds(at(&answer, "/day/worst_ah_per_day"), ah, 5.1e-3);
        holds(at(&answer, "/day/worst_percent_per_day"), percent, 5.1e-3);
        holds(at(&answer, "/lasts/judged_days"), days, 5.1e-2);
    }
}

/// Case 9: 40 A for 1.5 h on 102 Ah that are taken for 120: +8.8235 by the capacity, 8.4235 with a gain of 0.5 % and 120 mA
/// against it. Fourteen days of 2 % a month, 15 mA unseen and 0.2 % of 60 Ah a day on 100 Ah: 0.920, 5.040 and 1.680.
#[test]
fn capacity_and_what_does_not_pass_the_shunt() {
    let way = solved(&[
        ("/battery/soh_end_percent", json!(85.0)),
        ("/usage/kind", json!("one-way")),
        ("/usage/discharge_a", json!(40.0)),
        ("/usage/swing_percent", json!(60.0 / 102.0 * 100.0)),
        ("/counter/gain_percent", json!(0.5)),
    ]);
    holds(at(&way, "/end_of_use/known_percent"), 8.8235, 5e-5);
    holds(at(&way, "/end_of_use/low_percent"), 8.4235, 5e-5);
    let apart = solved(&[
        ("/battery/capacity_ah", json!(100.0)),
        ("/counter/offset_a", json!(0.0)),
        ("/usage/kind", json!("cycles")),
        ("/usage/discharge_a", json!(10.0)),
        ("/usage/charge_a", json!(10.0)),
        ("/usage/swing_percent", json!(60.0)),
        ("/apart/self_discharge_percent_per_month", json!(2.0)),
        ("/apart/self_discharge_spread_percent", json!(0.0)),
        ("/apart/unseen_a", json!(0.015)),
        ("/apart/efficiency_percent", json!(99.8)),
        ("/anchor/interval_h", json!(14.0 * 24.0)),
        ("/requirement/soc_error_percent", json!(10.0)),
    ]);
    holds(at(&apart, "/largest/high_percent"), 7.640, 5e-4);
}

/// Case 10: 72 Ah out and in, 12 h each, with 0.8 % of gain, 10 mA and 1 % at the beginning: 1.6 % are passed after 32.28 h,
/// inside the second discharge; looked at the ends alone it would be 72 h.
#[test]
fn the_limit_is_passed_inside_a_cycle() {
    let answer = solved(&[
        ("/counter/offset_a", json!(0.01)),
        ("/counter/gain_percent", json!(0.8)),
        ("/usage/kind", json!("cycles")),
        ("/usage/discharge_a", json!(6.0)),
        ("/usage/charge_a", json!(6.0)),
        ("/usage/swing_percent", json!(60.0)),
        ("/start/error_percent", json!(1.0)),
        ("/requirement/soc_error_percent", json!(1.6)),
        ("/anchor/interval_h", json!(48.0)),
    ]);
    holds(at(&answer, "/lasts/judged_h"), 32.28, 5e-3);
    // At 36 h: 1 + 0.3 + 0.48.
    holds(at(&answer, "/largest/judged_percent"), 1.78, 1e-9);
    assert_eq!(row(&answer, "soc-error").verdict, Verdict::Fails);
}

/// By hand: 10 Ah known within 2 % of which 80 % are left, 8 A out. At a given time the charge is known and the capacity is
/// not: N/7.84 − N/10 passes 5 points at N = 5/2.7551 = 1.8148 Ah, after 0.22685 h. A standby that charges is charge in: 0.05 A
/// for 24 h, 98 of 100 % of it, on 100 Ah: 0.024 points.
#[test]
fn a_capacity_in_a_range_and_a_standby_that_charges() {
    let answer = solved(&[
        ("/battery/capacity_ah", json!(10.0)),
        ("/battery/capacity_error_percent", json!(2.0)),
        ("/battery/soh_end_percent", json!(80.0)),
        ("/counter/offset_a", json!(0.0)),
        ("/usage/kind", json!("one-way")),
        ("/usage/discharge_a", json!(8.0)),
        ("/usage/swing_percent", json!(40.0)),
        ("/requirement/soc_error_percent", json!(5.0)),
    ]);
    holds(at(&answer, "/lasts/judged_h"), 0.05 / (1.0 / 7.84 - 0.1) / 8.0, 1e-8);
    let charged = solved(&[
        ("/battery/capacity_ah", json!(100.0)),
        ("/counter/offset_a", json!(0.0)),
        ("/usage/standby_a", json!(-0.05)),
        ("/apart/efficiency_percent", json!(98.0)),
    ]);
    holds(at(&charged, "/end_of_use/known_percent"), 0.024, 1e-12);
}

/// Closed forms: one rectangular source alone is kept to 0.95 of its limit with 95 %, at every time. 0.12 A on 120 Ah are 0.1
/// points an hour, either way; the points reach from the anchor to the next one.
#[test]
fn one_limit_alone_is_kept_to_its_share_at_every_time() {
    for hours in [30.0, 24.0 * 400.0] {
        let answer = solved(&[("/anchor/interval_h", json!(hours))]);
        let result = answer.result.tree();
        let cone = result["cone"].as_array().expect("points");
        assert!((49..=146).contains(&cone.len()), "{}", cone.len());
        for point in 0..cone.len() {
            let of = |key: &str| at(&answer, &format!("/cone/{point}/{key}"));
            let limit = 0.1 * of("time_h");
            holds(of("high_percent"), limit, 1e-9 * hours);
            holds(of("low_percent"), -limit, 1e-9 * hours);
            holds(of("probability_percent"), 0.95 * limit, 1e-9 * hours);
        }
        holds(at(&answer, "/cone/0/time_h"), 0.0, 0.0);
        holds(at(&answer, &format!("/cone/{}/time_h", cone.len() - 1)), hours, 1e-9);
    }
}

/// By hand: 72 Ah out and in, 12 h each, with 0.8 % alone: 0.48 points in the middle of every day and nothing at its end. Of
/// many days a point has the largest of the day before it, so that no swing falls between two points.
#[test]
fn the_cones_show_what_a_cycle_takes_back() {
    let with = |hours: f64| {
        solved(&[
            ("/counter/offset_a", json!(0.0)),
            ("/counter/gain_percent", json!(0.8)),
            ("/usage/kind", json!("cycles")),
            ("/usage/discharge_a", json!(6.0)),
            ("/usage/charge_a", json!(6.0)),
            ("/usage/swing_percent", json!(60.0)),
            ("/anchor/interval_h", json!(hours)),
        ])
    };
    let points = |answer: &Answer| -> Vec<[f64; 3]> {
        let result = answer.result.tree();
        let cone = result["cone"].as_array().expect("points");
        let number = |point: &Value, key: &str| point[key].as_f64().expect("a number");
        cone.iter()
            .map(|point| ["time_h", "high_percent", "probability_percent"].map(|key| number(point, key)))
            .collect()
    };
    for [hours, high, likely] in points(&with(48.0)) {
        let wanted = 0.04 * (hours % 24.0).min(24.0 - hours % 24.0);
        holds(high, wanted, 1e-9);
        holds(likely, 0.95 * wanted, 1e-9);
    }
    for [hours, high, likely] in points(&with(24.0 * 100.0)) {
        let wanted = 0.04 * hours.min(12.0);
        holds(high, wanted, 1e-9);
        holds(likely, 0.95 * wanted, 1e-9);
    }
}
