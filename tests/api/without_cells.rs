//! Designs without cells over the interface and its pages: what must be given, what has no place, which words are told.

use sensewright_core::demo::find;
use sensewright_core::design::link;
use sensewright_tests::with_few_trials;
use serde_json::{Value, json};

use super::{app, get, post};
use crate::api::design::form;

const ASSESS: &str = "/api/v1/design/assess";

/// The drive with some values of its pack replaced; nothing takes one out.
fn drive(changes: &[(&str, Value)]) -> Value {
    let mut document = Value::Object(find("night-bus-drive").expect("the demo").design.document());
    let pack = document["pack"].as_object_mut().expect("a group");
    for (key, value) in changes {
        if value.is_null() {
            pack.shift_remove(*key);
        } else {
            pack.insert((*key).into(), value.clone());
        }
    }
    document
}

async fn faults(document: &Value) -> Vec<(String, String)> {
    let problem = post(&app(), ASSESS, document.to_string()).await.problem(422);
    let word = |fault: &Value, key: &str| fault[key].as_str().expect("a word").to_owned();
    let list = problem["errors"].as_array().expect("faults").clone();
    list.iter().map(|fault| (word(fault, "field"), word(fault, "message"))).collect()
}

#[tokio::test]
async fn what_is_not_given_is_asked_for_by_its_name() {
    let told = faults(&drive(&[("max_v", Value::Null), ("nominal_v", Value::Null), ("min_v", Value::Null)])).await;
    let fields: Vec<&str> = told.iter().map(|(field, _)| field.as_str()).collect();
    assert_eq!(fields, ["/pack/max_v", "/pack/nominal_v", "/pack/min_v"]);
    assert!(told[0].1.starts_with("Highest voltage is not given: enter between 1"), "{}", told[0].1);
    // Without the choice they count nowhere: cells are asked for.
    let told = faults(&drive(&[("source", Value::Null)])).await;
    assert!(told.iter().any(|(field, _)| field == "/pack/cells_in_series"), "{told:?}");
    // A document of schema 1 leaves nothing open, but no set has voltages for a source.
    let told = faults(&json!({"schema": 1, "pack": {
        "source": "voltages", "cell_max_v": 4.2, "cell_nominal_v": 3.65, "cell_min_v": 2.8, "cell_capacity_ah": 120,
        "cell_resistance_ohm": 9e-4, "continuous_a": 250, "peak_a": 400, "peak_duration_s": 10, "ambient_min_degc": -30,
        "ambient_max_degc": 85, "calibration_degc": 25,
    }, "discharge": [{"safe_v": 60, "capacitance_farad": 1e-3}]}))
    .await;
    assert_eq!(told.iter().map(|(field, _)| field.as_str()).collect::<Vec<_>>(), fields);
}

#[tokio::test]
async fn voltages_stand_in_their_order() {
    let told = faults(&drive(&[("min_v", json!(900.0))])).await;
    assert_eq!(told, [("/pack/nominal_v".into(), "The nominal voltage lies below the lowest voltage.".into())]);
    let told = faults(&drive(&[("max_v", json!(700.0))])).await;
    assert_eq!(told[0], ("/pack/max_v".into(), "The highest voltage lies below the nominal voltage.".into()));
    let told = faults(&drive(&[("max_v", json!(-1.0)), ("source", json!("cell"))])).await;
    assert_eq!(told.iter().map(|(field, _)| field.as_str()).collect::<Vec<_>>(), ["/pack/source", "/pack/max_v"]);
}

/// Balancing and thresholds of a cell have no place: said where they are asked for.
#[tokio::test]
async fn what_needs_cells_is_refused_with_its_reason() {
    let mut document = drive(&[]);
    document["balancing"] = json!([{"bleed_ohm": 33}]);
    document["protection"][0]["kind"] = json!("cell-over-voltage");
    let told = faults(&document).await;
    assert_eq!(told[1], ("/balancing/0".into(), "Cell balancing needs cells, and this design has none.".into()));
    assert_eq!(told[0].0, "/protection/0/kind");
    assert!(told[0].1.contains("\u{201c}cell-over-voltage\u{201d} needs cells"), "{}", told[0].1);
    let app = app();
    let demo = find("night-bus-drive").expect("the demo");
    let overview = get(&app, &demo.address).await;
    assert!(!overview.page(200).contains("value=\"balancing:\""));
    assert!(overview.text().contains("Cell balancing needs cells, and this design has none."));
    let pressed = form(&app, &demo.address, "action=add&add=balancing%3A", false).await;
    assert_eq!(pressed.status.as_u16(), 422);
    assert!(pressed.text().contains("needs cells"), "{}", pressed.text());
    let threshold = get(&app, &format!("{}protection.1", demo.address)).await;
    assert!(!threshold.page(200).contains("value=\"cell-over-voltage\""));
    // A new voltage threshold is one of the source, without a word typed.
    let mut document = drive(&[]);
    document["protection"] = json!([{"of": "voltage"}]);
    let told = post(&app, "/api/v1/design/assess?include=parts", document.to_string()).await.json();
    let parts = told["result"]["parts"].as_array().expect("a list");
    let threshold = parts.iter().find(|part| !part["input"]["hazard_v"].is_null()).expect("the threshold");
    assert_eq!(threshold["input"]["kind"], "pack-over-voltage");
}

/// A pack becomes a source by a link and back again: what was typed of its cells is kept, and counts nowhere meanwhile.
#[tokio::test]
async fn a_pack_becomes_a_source_and_back() {
    let app = app();
    let demo = find("lighthouse-relay").expect("the demo");
    let pack = get(&app, &format!("{}pack", demo.address)).await;
    assert!(pack.page(200).contains("set?at=pack&#38;pack.source=voltages"), "a link to the other");
    let led = get(&app, &format!("{}set?at=pack&pack.source=voltages", demo.address)).await;
    let asks = get(&app, led.header("location")).await;
    let text = asks.page(422);
    assert!(text.contains("id=\"pack.max_v\"") && !text.contains("id=\"pack.cell_max_v\""), "its own fields");
    assert!(text.contains("Highest voltage is not given"));
    let back =
        get(&app, &format!("{}set?at=&pack.source=cells", led.header("location").trim_end_matches("pack"))).await;
    let document = get(&app, &format!("{}document.json", back.header("location"))).await.json();
    let mut typed = Value::Object(demo.design.document());
    typed["pack"]["source"] = json!("cells");
    assert_eq!(
        document["pack"].as_object().map(serde_json::Map::len),
        typed["pack"].as_object().map(serde_json::Map::len)
    );
    for (key, value) in typed["pack"].as_object().expect("a group") {
        assert_eq!(&document["pack"][key], value, "{key}");
    }
}

/// No page of a design without cells speaks of a pack or of cells, but for what has no place in it.
#[tokio::test]
async fn no_page_speaks_of_cells_that_are_not_there() {
    let app = app();
    for slug in ["vineyard-tractor-charger", "night-bus-drive"] {
        let demo = find(slug).expect("the demo");
        let address = link::address(&with_few_trials(&demo.design)).expect("a short one");
        let keys = demo.design.parts.iter().map(sensewright_core::design::Part::key);
        for place in ["", "pack", "report"].into_iter().map(str::to_owned).chain(keys) {
            let page = get(&app, &format!("{address}{place}")).await;
            let mut told = String::new();
            let mut inside = false;
            for letter in page.page(200).replace("Change to: pack of cells", "").chars() {
                inside = (inside && letter != '>') || letter == '<';
                told.push(if inside || letter == '>' { ' ' } else { letter });
            }
            for line in told.lines().filter(|line| !line.contains("needs cells") && !line.contains("without cells")) {
                // A key or an address is no word: `temperatures.1.cell.thermal_resistance_k_per_w`.
                let plain = line.split_whitespace().filter(|token| !token.contains("://"));
                let words = plain.flat_map(|token| {
                    token.split(|letter: char| !letter.is_alphanumeric() && letter != '.' && letter != '_')
                });
                for word in words {
                    let word = word.trim_matches('.').to_lowercase();
                    assert!(!["pack", "packs", "cell", "cells"].contains(&word.as_str()), "{slug} {place}: {line}");
                }
            }
        }
    }
}
