//! A course of currents as a use, by hand and against the kinds of use that it repeats.

use sensewright_core::demo::find;
use sensewright_core::design::{Design, link};
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::charge_counting::{ask, finds, row, solved};
use super::{at, holds};

fn course(rows: &[(f64, f64)]) -> [(&'static str, Value); 2] {
    let row = |(duration_s, current_a): &(f64, f64)| json!({"duration_s": duration_s, "current_a": current_a});
    [("/usage/kind", json!("profile")), ("/usage/profile", rows.iter().map(row).collect())]
}

/// Case 1 of the count: 100 A for 1800 s, 600 s of nothing, 50 A back for 3600 s; gains of 0.4 and 0.1 % and 20 mA: 0.21333 Ah
/// after 2400 s. A day has one course: 0.48 Ah of the offset, and 0.15 % of 100 Ah through the shunt.
#[test]
fn a_course_is_counted_row_by_row() {
    let rows = course(&[(1800.0, 100.0), (600.0, 0.0), (3600.0, -50.0)]);
    let answer = solved(
        &[
            &rows[..],
            &[
                ("/counter/offset_a", json!(0.02)),
                ("/counter/gain_percent", json!(0.25)),
                ("/counter/asymmetry_percent", json!(0.3)),
                ("/anchor/interval_h", json!(6000.0 / 3600.0)),
            ],
        ]
        .concat(),
    );
    holds(at(&answer, "/largest/judged_percent"), 0.213_333 / 1.2, 1e-6);
    holds(at(&answer, "/largest/time_h"), 2400.0 / 3600.0, 1e-9);
    holds(at(&answer, "/day/worst_ah_per_day"), 0.63, 1e-9);
}

/// The cycle of 72 Ah out and in at 6 A, written as rows: everything is as with the cycle, and 1.6 % are passed after 32.28 h.
#[test]
fn a_cycle_written_as_rows_is_that_cycle() {
    let base = [
        ("/counter/offset_a", json!(0.01)),
        ("/counter/gain_percent", json!(0.8)),
        ("/counter/noise_a", json!(0.1)),
        ("/counting/step_a", json!(0.05)),
        ("/counting/dead_band_a", json!(0.02)),
        ("/start/error_percent", json!(1.0)),
        ("/requirement/soc_error_percent", json!(1.9)),
        ("/anchor/interval_h", json!(48.0)),
    ];
    let cycle = [
        ("/usage/kind", json!("cycles")),
        ("/usage/discharge_a", json!(6.0)),
        ("/usage/charge_a", json!(6.0)),
        ("/usage/swing_percent", json!(60.0)),
    ];
    let rows = course(&[(43_200.0, 6.0), (43_200.0, -6.0)]);
    let [cycle, rows] = [&cycle[..], &rows[..]].map(|use_of| solved(&[&base[..], use_of].concat()));
    for figure in
        ["/largest/judged_percent", "/largest/probability_percent", "/lasts/judged_h", "/day/worst_ah_per_day"]
    {
        holds(at(&rows, figure), at(&cycle, figure), 1e-9 * at(&cycle, figure));
    }
    let bare = [&base[..1], &base[1..2], &base[5..6], &[("/requirement/soc_error_percent", json!(1.6))]].concat();
    let bare = solved(&[&bare[..], &course(&[(43_200.0, 6.0), (43_200.0, -6.0)])].concat());
    holds(at(&bare, "/lasts/judged_h"), 32.28, 5e-3);
}

/// A code stands for each current of its own: by hand, floor takes half a step of 0.2 A from each of 10 h awake, whatever flows.
#[test]
fn each_row_has_its_own_codes() {
    let rows = course(&[(3600.0, 33.3), (3600.0, -21.7), (3600.0, 0.0)]);
    let changes = [
        ("/counter/offset_a", json!(0.0)),
        ("/usage/awake_h", json!(10.0)),
        ("/counter/noise_a", json!(0.2)),
        ("/counting/step_a", json!(0.2)),
        ("/counting/rounding", json!("floor")),
    ];
    let answer = solved(&[&rows[..], &changes].concat());
    holds(at(&answer, "/end_of_use/known_percent"), 0.1 * 10.0 / 1.2, 1e-9);
}

#[test]
fn a_course_that_cannot_be_is_refused_and_one_that_is_not_given_is_not_judged() {
    let asked = [
        ("/requirement/soc_error_percent", json!(50.0)),
        ("/anchor/interval_h", json!(24.0)),
        ("/start/error_percent", json!(1.0)),
    ];
    let empty = solved(&[&asked[..], &course(&[])].concat());
    assert_eq!(row(&empty, "soc-error").verdict, Verdict::NotJudged);
    let refused = |rows: &[(f64, f64)], more: &[(&'static str, Value)], field: &str| {
        let faults = ask(&[&course(rows)[..], more].concat()).expect_err("it is refused");
        assert!(faults.iter().any(|fault| fault.field == field), "{faults:#?}");
    };
    refused(&[(3600.0, 40.0)], &[("/usage/cycles_per_day", json!(0.0))], "/usage/cycles_per_day");
    refused(&[(90_000.0, 1.0)], &[], "/usage/profile");
    refused(&[(36_000.0, 1.0)], &[("/usage/awake_h", json!(8.0))], "/usage/awake_h");
    refused(&[(36_000.0, 8.0), (36_000.0, 8.0)], &[], "/usage/profile");
    refused(&[(0.0, 8.0)], &[], "/usage/profile/0/duration_s");
    let lasts = |rows: &[(f64, f64)], hours: f64| {
        solved(&[&course(rows)[..], &[("/anchor/interval_h", json!(hours))]].concat())
    };
    assert!(!finds(&lasts(&[(3600.0, 40.0)], 48.0), "course-unbalanced"));
    assert!(finds(&lasts(&[(3600.0, 40.0)], 96.0), "course-unbalanced"));
}

/// 40 Ah a day out of 120 Ah, and nothing that brings them back: three days are known. What is charged later errs as well, and
/// nobody said how; only what is too large by then is.
#[test]
fn what_comes_after_the_battery_is_empty_is_not_judged() {
    let with = |hours: f64, limit: f64, days: f64| {
        let asked = [
            ("/battery/soh_end_percent", json!(100.0)),
            ("/anchor/interval_h", json!(hours)),
            ("/start/error_percent", json!(1.0)),
            ("/requirement/soc_error_percent", json!(limit)),
            ("/requirement/anchor_interval_days", json!(days)),
        ];
        let answer = solved(&[&course(&[(3600.0, 40.0)])[..], &asked].concat());
        let cone = answer.result.tree()["cone"].as_array().and_then(|cone| cone.last()?["time_h"].as_f64());
        holds(cone.expect("a last point"), hours.min(72.0), 1e-9);
        ["soc-error", "interval"].map(|id| row(&answer, id).verdict)
    };
    assert_eq!(with(71.0, 50.0, 2.9), [Verdict::Holds, Verdict::Holds]);
    assert_eq!(with(73.0, 50.0, 3.1), [Verdict::NotJudged, Verdict::NotJudged]);
    assert_eq!(with(73.0, 0.9, 3.1), [Verdict::Fails, Verdict::Fails]);
}

/// The largest current of the rows is what the range must hold, in both directions.
#[test]
fn a_row_beyond_the_range_fails() {
    let ends = [("/counter/full_at_a", json!(100.0)), ("/counter/full_charge_a", json!(50.0))];
    let with = |charge: f64| solved(&[&course(&[(600.0, 99.0), (600.0, -charge)])[..], &ends].concat());
    assert_eq!(row(&with(49.0), "range").verdict, Verdict::Holds);
    assert_eq!(row(&with(49.0), "range-charge").verdict, Verdict::Holds);
    assert_eq!(row(&with(51.0), "range-charge").verdict, Verdict::Fails);
}

/// The rows stand in the document, and so in the link of a design: the longest course comes back as it was, in an address.
#[test]
fn a_link_holds_the_course() {
    let mut document = Value::Object(find("mountain-rescue-car").expect("a demo").design.document());
    let rows: Vec<(f64, f64)> = (0..64).map(|row| (300.0 + f64::from(row), f64::from(row % 7) * 11.5 - 34.5)).collect();
    for (pointer, value) in course(&rows) {
        sensewright_tests::put(&mut document, &format!("/charge_counting/0{pointer}"), value);
    }
    let design = Design::read(&document).expect("it reads");
    assert!(link::address(&design).is_some());
    let opened = link::open(&link::token(&design)).expect("it opens").design;
    assert_eq!(Value::Object(opened.document()), Value::Object(design.document()));
    assert_eq!(opened.parts, design.parts);
}

/// By hand: 72 of 120 Ah out and in at 60 A, 1.2 h each, and 21.6 h of rest of which nobody has said where. Charged late, 0.1 A
/// have made 2.28 Ah after 22.8 h and 1 % of 72 Ah are not yet back: 2.5 points. The same as rows, and as rows without the
/// pause between: 2 points, at the end of the day.
#[test]
fn a_cycle_may_rest_before_it_is_charged() {
    let base = [
        ("/counter/offset_a", json!(0.1)),
        ("/counter/gain_percent", json!(1.0)),
        ("/usage/discharge_a", json!(60.0)),
        ("/usage/charge_a", json!(60.0)),
        ("/usage/swing_percent", json!(60.0)),
        ("/anchor/interval_h", json!(24.0)),
    ];
    let largest = |use_of: &[(&'static str, Value)]| {
        let answer = solved(&[&base[..], use_of].concat());
        ["/largest/judged_percent", "/largest/time_h"].map(|figure| at(&answer, figure))
    };
    let wanted = |[size, time_h]: [f64; 2], [by_hand, hours]: [f64; 2]| {
        holds(size, by_hand, 1e-9);
        holds(time_h, hours, 1e-6);
    };
    wanted(largest(&[("/usage/kind", json!("cycles"))]), [2.5, 22.8]);
    wanted(largest(&course(&[(4320.0, 60.0), (77_760.0, 0.0), (4320.0, -60.0)])), [2.5, 22.8]);
    wanted(largest(&course(&[(4320.0, 60.0), (4320.0, -60.0)])), [2.0, 24.0]);
}
