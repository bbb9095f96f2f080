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
