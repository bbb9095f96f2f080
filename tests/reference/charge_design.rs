//! Charge counting in a design: what the pack and the channels hand down to it, and the headlines of the demos.

use sensewright_core::demo::find;
use sensewright_core::design::Design;
use sensewright_core::design::assess::{Assessed, assess};
use sensewright_core::design::prepared::Prepared;
use sensewright_core::judge::{Check, Verdict};
use sensewright_core::work::Work;
use serde_json::{Value, json};

use super::holds;

fn document(slug: &str, changes: &[(&str, Value)]) -> Value {
    let demo = find(slug).unwrap_or_else(|| panic!("no demo {slug}"));
    let mut document = Value::Object(demo.design.document());
    for (pointer, value) in changes {
        sensewright_tests::put(&mut document, pointer, value.clone());
    }
    document
}

fn changed(slug: &str, changes: &[(&str, Value)]) -> Design {
    Design::read(&document(slug, changes)).unwrap_or_else(|faults| panic!("{slug}: {faults:#?}"))
}

fn number(design: &Design, pointer: &str) -> Option<f64> {
    let prepared = Prepared::new(design, Work::FREE).expect("it stands");
    let place = design.parts.iter().position(|part| part.key() == "charge_counting.1").expect("a part");
    prepared.input(place).number(pointer)
}

fn result(assessed: &Assessed, pointer: &str) -> f64 {
    let part = assessed.parts.iter().find(|part| part.part.key() == "charge_counting.1").expect("a part");
    let value = part.answer.result.tree().pointer(pointer).and_then(Value::as_f64);
    value.unwrap_or_else(|| panic!("no {pointer} in {}", part.answer.result.tree()))
}

fn row<'a>(assessed: &'a Assessed, id: &str) -> &'a Check {
    let part = assessed.parts.iter().find(|part| part.part.key() == "charge_counting.1").expect("a part");
    let found = part.answer.requirements.iter().find(|check| check.id == format!("charge.{id}"));
    found.unwrap_or_else(|| panic!("no {id}"))
}

/// An independent model of the three packs: anchors of 1.14, 11.11 and 15.00 points before relaxation, 1.15, 11.19 and 15.09
/// after two hours of rest.
#[test]
fn the_anchors_of_the_demos() {
    for (slug, before, after) in
        [("mountain-rescue-car", 1.14, 1.15), ("island-bakery-van", 11.11, 11.19), ("lighthouse-relay", 15.00, 15.09)]
    {
        let assessed = assess(&find(slug).expect("a demo").design).expect("it stands");
        holds(result(&assessed, "/anchor/first_order_percent"), before, 6e-3);
        holds(result(&assessed, "/anchor/error_percent"), after, 6e-3);
    }
}

/// Capacity, voltage and cells stand in the pack; by hand 198 cells of 3.65 V and 120 Ah.
#[test]
fn the_pack_hands_down() {
    let design = changed("mountain-rescue-car", &[]);
    assert_eq!(number(&design, "/battery/capacity_ah"), Some(120.0));
    assert_eq!(number(&design, "/battery/cells_in_series"), Some(198.0));
    holds(number(&design, "/battery/voltage_v").expect("handed down"), 722.7, 1e-9);
    let larger = changed("mountain-rescue-car", &[("/pack/cell_capacity_ah", json!(150.0))]);
    assert_eq!(number(&larger, "/battery/capacity_ah"), Some(150.0));
    let refused =
        Design::read(&document("mountain-rescue-car", &[("/charge_counting/0/battery/capacity_ah", json!(7))]));
    let faults = refused.expect_err("it is handed down");
    assert_eq!(
        (faults[0].field.as_str(), faults[0].code.as_str()),
        ("/charge_counting/0/battery/capacity_ah", "handed-down")
    );
}

/// The channel's errors count as bounds: what stays at rest is no less than its worst case at no current without its noise, and a channel that
/// drifts more hands on more. The step is one code: 2 · 50 mV / 2¹⁶ behind 35 µΩ with a bipolar converter.
#[test]
fn the_channel_hands_on() {
    let design = changed("mountain-rescue-car", &[]);
    let parts = ["/counter/offset_a", "/counter/drift_a", "/counter/emf_a", "/counter/bend_a"];
    let of = |design: &Design| parts.iter().map(|part| number(design, part).expect("handed on")).sum::<f64>();
    let assessed = assess(&design).expect("it stands");
    let channel = assessed.parts.iter().find(|part| part.part.key() == "current.1").expect("the channel");
    let zero = channel.answer.result.tree().pointer("/zero/offset_a").and_then(Value::as_f64).expect("a number");
    let noise = channel.answer.result.tree().pointer("/noise/averaged_a").and_then(Value::as_f64).expect("a number");
    let step = channel.answer.result.tree().pointer("/range/lsb_a").and_then(Value::as_f64).expect("a number");
    assert!(of(&design) + step / 2.0 + 3.0 * noise >= zero * (1.0 - 1e-9), "{} {zero}", of(&design));
    assert!(of(&design) <= 1.5 * zero, "{} {zero}", of(&design));
    holds(number(&design, "/counting/step_a").expect("handed on"), step, 1e-12);
    // By hand, as in the review of the car: 0.3 µV/K over 60 K behind 35 µΩ are 514 mA; what else hangs on temperature adds.
    assert!(number(&design, "/counter/drift_a").expect("handed on") >= 0.5142);
    let drifts = changed("mountain-rescue-car", &[("/current/0/amplifier/offset_drift_v_per_k", json!(1e-6))]);
    assert!(of(&drifts) > 1.5 * of(&design));
    // A channel that clips below the use fails by its range, and no error is told.
    let full = result(&assessed, "/end_of_use/high_percent");
    assert!(full > 0.0);
    let more = changed("mountain-rescue-car", &[("/charge_counting/0/usage/charge_a", json!(3000.0))]);
    let assessed = assess(&more).expect("it stands");
    assert_eq!(row(&assessed, "range-charge").verdict, Verdict::Fails);
    assert_eq!(row(&assessed, "soc-error").verdict, Verdict::NotJudged);
}

/// Without a channel and without typed errors nothing is judged; without a pack of cells there is no part.
#[test]
fn what_no_channel_gives_must_be_typed() {
    let mut alone = document("mountain-rescue-car", &[]);
    alone["charge_counting"][0].as_object_mut().expect("a part").remove("rests_on");
    let assessed = assess(&Design::read(&alone).expect("it reads")).expect("it stands");
    let part = assessed.parts.iter().find(|part| part.part.key() == "charge_counting.1").expect("a part");
    assert!(part.answer.requirements.iter().all(|check| check.verdict == Verdict::NotJudged));
    assert!(!part.answer.requirements.is_empty());
}

/// A voltage channel that reads the pack at rest hands on its largest error over all voltages of the pack.
#[test]
fn a_voltage_channel_anchors() {
    let reads = [
        ("/charge_counting/0/anchor/reads", json!("pack")),
        ("/charge_counting/0/requirement/anchor_percent", json!(50.0)),
    ];
    let untied = assess(&changed("mountain-rescue-car", &reads)).expect("it stands");
    assert_eq!(row(&untied, "anchor").verdict, Verdict::NotJudged);
    let tied = [&reads[..], &[("/charge_counting/0/rests_on_voltage", json!(1))]].concat();
    let design = changed("mountain-rescue-car", &tied);
    let assessed = assess(&design).expect("it stands");
    assert_ne!(row(&assessed, "anchor").verdict, Verdict::NotJudged);
    let channel = assessed.parts.iter().find(|part| part.part.key() == "voltage.1").expect("the channel");
    let result = channel.answer.result.tree();
    let points = result["points"].as_array().expect("points");
    let printed = points.iter().filter_map(|point| point["judged_v"].as_f64()).fold(0.0, f64::max);
    let error = number(&design, "/anchor/pack_error_v").expect("handed on");
    assert!(printed <= error && error <= 1.5 * printed, "{printed} {error}");
}

const CURVE: [[f64; 2]; 3] = [[0.0, 3.0], [40.0, 3.6], [100.0, 4.2]];

fn rows(points: &[[f64; 2]]) -> Value {
    points.iter().map(|[soc, ocv]| json!({"soc_percent": soc, "ocv_v": ocv})).collect()
}

/// The car with balancings that have these curves, and a count whose own is empty.
fn lent(curves: &[&[[f64; 2]]]) -> Design {
    let part = |points: &&[[f64; 2]]| json!({"curve": {"points": rows(points)}, "bleed_ohm": 39.0, "channels_on": 66, "imbalance_percent": 2.0});
    let balancings: Vec<Value> = curves.iter().map(part).collect();
    changed(
        "mountain-rescue-car",
        &[
            ("/balancing", json!(balancings)),
            ("/charge_counting/0/anchor/curve", json!([])),
            ("/charge_counting/0/requirement/anchor_percent", json!(50.0)),
        ],
    )
}

fn told(assessed: &Assessed) -> Vec<String> {
    let found = sensewright_core::design::summary::findings(assessed).into_iter().map(|one| one.code);
    found.filter(|code| code.starts_with("design.list")).collect()
}

/// An open-circuit voltage that stands in balancing need not be typed again: the count answers as with it typed. Two that
/// differ, and one that tells nothing, are not taken, and the anchor is not judged.
#[test]
fn the_curve_of_balancing_is_lent() {
    let with = |design: &Design| assess(design).expect("it stands");
    let (none, one) = (with(&lent(&[])), with(&lent(&[&CURVE])));
    assert_eq!((row(&none, "anchor").verdict, told(&none)), (Verdict::NotJudged, Vec::new()));
    assert_eq!(told(&one), ["design.list-lent"]);
    let typed = with(&changed(
        "mountain-rescue-car",
        &[
            ("/charge_counting/0/anchor/curve", rows(&CURVE)),
            ("/charge_counting/0/requirement/anchor_percent", json!(50.0)),
        ],
    ));
    assert_eq!(row(&one, "anchor"), row(&typed, "anchor"));
    holds(result(&one, "/anchor/error_percent"), result(&typed, "/anchor/error_percent"), 0.0);
    assert_eq!(told(&with(&lent(&[&CURVE, &CURVE,]))), ["design.list-lent"]);
    let other = [[0.0, 3.0], [40.0, 3.7], [100.0, 4.2]];
    let differ = with(&lent(&[&CURVE, &other]));
    assert_eq!(
        (row(&differ, "anchor").verdict, told(&differ)),
        (Verdict::NotJudged, vec!["design.lists-differ".into()])
    );
    let level = [[0.0, 3.0], [40.0, 3.6], [60.0, 3.6], [100.0, 4.2]];
    let level = with(&lent(&[&level]));
    assert_eq!(
        (row(&level, "anchor").verdict, told(&level)),
        (Verdict::NotJudged, vec!["design.list-not-lent".into()])
    );
}

/// A number of the lent curve that is another gives what the document with it gives; one of two equal curves is not moved
/// alone, because nobody would know which one counts.
#[test]
fn a_lent_curve_moves_with_its_lender() {
    let moved = "/balancing/0/curve/points/1/ocv_v";
    let design = lent(&[&CURVE]);
    let at = design.parts.iter().position(|part| part.key() == "charge_counting.1").expect("a part");
    let mut prepared = Prepared::new(&design, Work::FREE).expect("it stands");
    let anchor = |rows: &[sensewright_core::judge::Judged]| {
        rows.iter().find(|row| row.id == "charge.anchor").and_then(|row| row.achieved).expect("judged")
    };
    let changed = prepared.rejudge(moved, 3.5, Work::FREE).expect("it runs").expect("it is accepted");
    let (_, rows) = changed.iter().find(|(part, _)| *part == at).expect("the count moves");
    let then = Prepared::new(&lent(&[&[[0.0, 3.0], [40.0, 3.5], [100.0, 4.2]]]), Work::FREE).expect("it stands");
    let whole = then.verdicts(Work::FREE).expect("it runs");
    let wanted = anchor(whole[at].as_ref().expect("judged"));
    assert_eq!(anchor(rows.as_ref().expect("judged")).to_bits(), wanted.to_bits());
    let before = prepared.verdicts(Work::FREE).expect("it runs");
    assert!((anchor(before[at].as_ref().expect("judged")) - wanted).abs() > 1e-3, "put back");
    let mut two = Prepared::new(&lent(&[&CURVE, &CURVE]), Work::FREE).expect("it stands");
    assert!(two.rejudge(moved, 3.5, Work::FREE).expect("it runs").is_none());
}
