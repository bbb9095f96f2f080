//! Charge counting: what does not hold because it is not known, what an anchor leaves, the range, contradictions.

use sensewright_core::calc::charge::charge_counting::{After, Anchor, ChargeCounting, Counter};
use sensewright_core::calculation::Calculation;
use sensewright_core::judge::Verdict;
use sensewright_core::work::Work;
use serde_json::{Value, json};

use super::charge_counting::{ask, row, solved, typed};
use super::{at, holds};

/// An anchor that counts in part leaves something of every time before it, whatever the beginning: by hand, 0.1 A for 4 h on
/// 100 Ah are 0.4 points, and 1 + 0.4/0.3 = 2.333.
#[test]
fn a_typed_beginning_is_what_every_anchor_leaves() {
    let base = [
        ("/battery/capacity_ah", json!(100.0)),
        ("/counter/offset_a", json!(0.1)),
        ("/start/error_percent", json!(1.0)),
        ("/anchor/weight", json!(0.3)),
        ("/requirement/soc_error_percent", json!(2.0)),
    ];
    assert_eq!(row(&solved(&base), "soc-error").verdict, Verdict::NotJudged);
    let each = solved(&[&base[..], &[("/anchor/interval_h", json!(4.0))]].concat());
    holds(row(&each, "soc-error").achieved.expect("a number"), 1.0 + 0.4 / 0.3, 1e-9);
}

/// What is needed and not given is never good.
#[test]
fn what_is_not_given_does_not_hold() {
    let asked = [("/requirement/soc_error_percent", json!(50.0))];
    let without = |more: &[(&'static str, Value)]| solved(&[&asked[..], more].concat());
    assert_eq!(row(&without(&[]), "soc-error").verdict, Verdict::NotJudged);
    let interval = ("/anchor/interval_h", json!(24.0));
    // Anchors come again, and nobody has said what they leave.
    let every_day = row(&without(std::slice::from_ref(&interval)), "soc-error").clone();
    assert_eq!((every_day.verdict, every_day.required), (Verdict::NotJudged, Some(50.0)));
    let begins = ("/start/error_percent", json!(1.0));
    assert_eq!(row(&without(&[interval.clone(), begins]), "soc-error").verdict, Verdict::Holds);
    for (pointer, word) in [("/usage/kind", "cycles"), ("/usage/kind", "one-way"), ("/start/kind", "from-anchor")] {
        let answer = without(&[interval.clone(), (pointer, json!(word))]);
        assert_eq!(row(&answer, "soc-error").verdict, Verdict::NotJudged, "{word}");
    }
    let zeroed = without(&[interval.clone(), ("/counting/zeroed_at_rest", json!(true))]);
    assert_eq!(row(&zeroed, "soc-error").verdict, Verdict::NotJudged);
    let anchor = [
        ("/anchor/curve", json!([{"soc_percent": 0, "ocv_v": 3.0}, {"soc_percent": 100, "ocv_v": 4.0}])),
        ("/requirement/anchor_percent", json!(50.0)),
        ("/anchor/cell_error_v", json!(0.01)),
    ];
    assert_eq!(row(&without(&anchor), "anchor").verdict, Verdict::NotJudged, "relaxation is not known");
    let pack = [&anchor[..], &[("/anchor/relax_v", json!(0.0)), ("/anchor/reads", json!("pack"))]].concat();
    assert_eq!(row(&without(&pack), "anchor").verdict, Verdict::NotJudged, "no channel reads the pack");
}

/// Beyond the range nothing is counted: the range fails and no error is told.
#[test]
fn a_current_beyond_the_range_fails_and_blocks_the_error() {
    let answer = solved(&[
        ("/usage/kind", json!("cycles")),
        ("/usage/discharge_a", json!(40.0)),
        ("/usage/charge_a", json!(60.0)),
        ("/usage/swing_percent", json!(60.0)),
        ("/counter/full_at_a", json!(50.0)),
        ("/counter/full_charge_a", json!(0.0)),
        ("/anchor/interval_h", json!(24.0)),
        ("/requirement/soc_error_percent", json!(50.0)),
    ]);
    assert_eq!(row(&answer, "range").verdict, Verdict::Holds);
    assert_eq!(row(&answer, "range-charge").verdict, Verdict::Fails);
    assert_eq!(row(&answer, "soc-error").verdict, Verdict::NotJudged);
    assert!(answer.result.tree().pointer("/largest").is_none());
}

/// A use that nobody knows is not inside the range, and neither is a direction of which no end is known.
#[test]
fn a_range_that_is_not_known_does_not_hold() {
    let end = ("/counter/full_at_a", json!(500.0));
    let unknown = solved(&[end.clone(), ("/usage/kind", json!("cycles"))]);
    assert_eq!(row(&unknown, "range").verdict, Verdict::NotJudged);
    let used = [
        end,
        ("/usage/kind", json!("cycles")),
        ("/usage/discharge_a", json!(400.0)),
        ("/usage/charge_a", json!(900.0)),
        ("/usage/swing_percent", json!(60.0)),
    ];
    let one_end = solved(&used);
    assert_eq!(row(&one_end, "range").verdict, Verdict::Holds);
    assert_eq!(row(&one_end, "range-charge").verdict, Verdict::NotJudged);
}

/// By hand: a flat curve of 1 mV a percent read within 5 mV leaves 5 points, and 0.1 A for 10 h on 100 Ah 1 more; the
/// beginning that was typed is that of the first time alone.
#[test]
fn what_an_anchor_leaves_is_the_beginning_of_the_next_time() {
    let answer = solved(&[
        ("/battery/capacity_ah", json!(100.0)),
        ("/counter/offset_a", json!(0.1)),
        ("/anchor/interval_h", json!(10.0)),
        ("/anchor/curve", json!([{"soc_percent": 0, "ocv_v": 3.0}, {"soc_percent": 100, "ocv_v": 3.1}])),
        ("/anchor/cell_error_v", json!(5e-3)),
        ("/anchor/relax_v", json!(0.0)),
        ("/requirement/soc_error_percent", json!(3.0)),
    ]);
    let told = row(&answer, "soc-error");
    assert_eq!(told.verdict, Verdict::Fails);
    holds(told.achieved.expect("a number"), 6.0, 1e-9);
}

/// The offset that would do, put back, holds; a tenth more fails.
#[test]
fn the_allowed_offset_turns_the_verdict() {
    for by in ["worst-case", "probability-95"] {
        let base = [
            ("/usage/kind", json!("cycles")),
            ("/usage/discharge_a", json!(40.0)),
            ("/usage/charge_a", json!(60.0)),
            ("/usage/swing_percent", json!(60.0)),
            ("/counter/gain_percent", json!(0.5)),
            ("/counter/noise_a", json!(0.1)),
            ("/anchor/interval_h", json!(48.0)),
            ("/start/error_percent", json!(0.1)),
            ("/requirement/soc_error_percent", json!(3.0)),
            ("/requirement/judged_by", json!(by)),
        ];
        let allowed = at(&solved(&base), "/lasts/allowed_offset_a");
        let verdict = |offset: f64| {
            row(&solved(&[&base[..], &[("/counter/offset_a", json!(offset))]].concat()), "soc-error").verdict
        };
        assert_ne!(verdict(allowed), Verdict::Fails, "{by} {allowed}");
        assert_eq!(verdict(allowed * 1.01), Verdict::Fails, "{by} {allowed}");
    }
}

/// A cycle that does not fit into the day, a curve that falls, readings faster than their samples.
#[test]
fn contradictions_are_named() {
    let refused = |changes: &[(&str, Value)], field: &str| {
        let faults = ask(changes).expect_err("it is refused");
        assert!(faults.iter().any(|fault| fault.field == field), "{faults:#?}");
    };
    refused(
        &[
            ("/usage/kind", json!("cycles")),
            ("/usage/discharge_a", json!(4.0)),
            ("/usage/charge_a", json!(60.0)),
            ("/usage/swing_percent", json!(90.0)),
        ],
        "/usage/awake_h",
    );
    let level = [("/anchor/curve", json!([{"soc_percent": 0, "ocv_v": 3.3}, {"soc_percent": 50, "ocv_v": 3.3}]))];
    refused(&level, "/anchor/curve/1/ocv_v");
    let told = &ask(&level).expect_err("it is refused")[0].message;
    assert!(told.starts_with("Row 2: The open-circuit voltage must rise"), "{told}");
    refused(&[("/counting/period_s", json!(0.1))], "/counting/period_s");
    refused(
        &[("/anchor/place_min_percent", json!(80.0)), ("/anchor/place_max_percent", json!(20.0))],
        "/anchor/place_max_percent",
    );
}

/// Verdicts are asked for by levers and comparisons hundreds of times: they come without trials and without curves.
#[test]
fn verdicts_need_no_curves() {
    let input = typed(&[("/requirement/soc_error_percent", json!(3.0)), ("/anchor/interval_h", json!(24.0))]);
    let solved = ChargeCounting::solve(&input, Work::FREE).expect("it stands");
    let mut ledger = sensewright_core::judge::Ledger::numbers();
    ChargeCounting::requirements(&input, &solved, &mut ledger);
    assert_eq!(ledger.rows().len(), 1);
    let counter = Counter { noise_correlation_s: 0.0, ..input.counter };
    assert_eq!(counter.correlated().to_bits(), 1.0_f64.to_bits());
    let anchor = Anchor { after: After::Charge, ..input.anchor };
    assert_eq!(anchor.may_follow(), [false, true]);
}

/// By hand on a curve that is flat in its middle, read within 5 mV: at 60 % 3.290 V are 47.5 % charged, 12.5 points less; at
/// 30 % a reading is 15/7 points off. One rests anywhere between: the anchor can serve, and a count begins with 12.5 points.
/// Up to 100 % a reading beyond the curve is its end, and the most stays what 60 % leaves.
#[test]
fn a_count_begins_at_the_worst_place_where_one_rests() {
    let curve: Value =
        [(0, 2.9), (10, 3.2), (20, 3.25), (35, 3.285), (60, 3.295), (70, 3.325), (95, 3.335), (100, 3.4)]
            .iter()
            .map(|(soc, ocv)| json!({"soc_percent": soc, "ocv_v": ocv}))
            .collect();
    let rests = |from: f64, to: f64| {
        solved(&[
            ("/counter/offset_a", json!(0.0)),
            ("/anchor/curve", curve.clone()),
            ("/anchor/cell_error_v", json!(5e-3)),
            ("/anchor/relax_v", json!(0.0)),
            ("/anchor/place_min_percent", json!(from)),
            ("/anchor/place_max_percent", json!(to)),
            ("/anchor/interval_h", json!(24.0)),
            ("/requirement/soc_error_percent", json!(2.0)),
            ("/requirement/anchor_percent", json!(5.0)),
            ("/requirement/anchor_interval_days", json!(1.0)),
        ])
    };
    for to in [60.0, 100.0] {
        let flat = rests(30.0, to);
        holds(row(&flat, "soc-error").achieved.expect("a number"), 12.5, 1e-9);
        holds(row(&flat, "interval").achieved.expect("a number"), 0.0, 1e-9);
        holds(at(&flat, "/anchor/worst_percent"), 12.5, 1e-9);
        assert_eq!(row(&flat, "anchor").verdict, Verdict::Holds);
    }
    let narrow = rests(30.0, 30.0);
    holds(row(&narrow, "soc-error").achieved.expect("a number"), 15.0 / 7.0, 1e-9);
}

/// By hand: 2 mA for 30 days are 1.44 Ah, 1.2 points of 120 Ah. Self-discharge of 5 % a month takes 30/30.4375 · 5 = 4.93 points in
/// that time, as much as a current that is not seen and that nobody has told: 3 allowed points hold with both known to be
/// nothing, and need what is not known. In an hour neither takes 0.01 points: nothing is asked for.
#[test]
fn what_nobody_has_told_counts_where_there_is_not_enough_left_for_it() {
    let with = |hours: f64, more: &[(&'static str, Value)]| {
        let base = [
            ("/counter/offset_a", json!(0.002)),
            ("/start/error_percent", json!(0.1)),
            ("/anchor/interval_h", json!(hours)),
            ("/requirement/soc_error_percent", json!(3.0)),
            ("/requirement/percent_per_day", json!(0.1)),
            ("/requirement/anchor_interval_days", json!(hours / 24.0)),
        ];
        solved(&[&base[..], more].concat())
    };
    let own = ("/apart/self_discharge_percent_per_month", json!(0.0));
    let unseen = ("/apart/unseen_a", json!(0.0));
    for (known, word) in [
        (vec![], "Self-discharge"),
        (vec![own.clone()], "Current that is not seen"),
        (vec![unseen.clone()], "Self-discharge"),
    ] {
        let long = with(720.0, &known);
        for id in ["soc-error", "per-day", "interval"] {
            let row = row(&long, id);
            let reason = row.reason.clone().unwrap_or_default();
            assert!(row.verdict == Verdict::NotJudged && reason.contains(word), "{id}: {reason}");
        }
        assert_eq!(row(&with(1.0, &known), "soc-error").verdict, Verdict::Holds);
        assert_eq!(row(&with(1.0, &known), "interval").verdict, Verdict::Holds);
    }
    let known = with(720.0, &[own, unseen]);
    for id in ["soc-error", "per-day", "interval"] {
        assert_eq!(row(&known, id).verdict, Verdict::Holds, "{id}");
    }
    holds(row(&known, "soc-error").achieved.expect("a number"), 1.3, 1e-9);
    // What fails without them fails.
    let fails = [("/requirement/soc_error_percent", json!(1.0))];
    assert_eq!(row(&with(720.0, &fails), "soc-error").verdict, Verdict::Fails);
}
