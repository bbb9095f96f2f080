//! Answers are as the interface describes them: what a schema requires is there, whatever the input.

use std::sync::LazyLock;

use sensewright_core::calculation::{Ask, Depth};
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::field::Notation;
use sensewright_core::json::tree;
use sensewright_core::work::Work;
use sensewright_server::openapi;
use sensewright_tests::Dice;
use serde_json::{Value, json};

static DOCUMENT: LazyLock<Value> = LazyLock::new(|| openapi::document(CATALOGUE));

/// What a schema requires and a value lacks, with its place.
fn missing(value: &Value, schema: &Value, place: &str, to: &mut Vec<String>) {
    if let Some(target) = schema["$ref"].as_str() {
        let schema = DOCUMENT.pointer(&target[1..]).expect("it leads somewhere");
        missing(value, schema, place, to);
    }
    for part in schema["allOf"].as_array().into_iter().flatten() {
        missing(value, part, place, to);
    }
    let kinds = schema["oneOf"].as_array().into_iter().flatten();
    let lacks = |schema| {
        let mut lacks = Vec::new();
        missing(value, schema, place, &mut lacks);
        lacks
    };
    to.extend(kinds.map(lacks).min_by_key(Vec::len).into_iter().flatten());
    for (key, schema) in schema["properties"].as_object().into_iter().flatten() {
        if let Some(value) = value.get(key) {
            missing(value, schema, &format!("{place}/{key}"), to);
        }
    }
    let required = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str);
    to.extend(required.filter(|key| value.get(key).is_none()).map(|key| format!("{place}/{key}")));
    for item in value.as_array().into_iter().flatten() {
        missing(item, &schema["items"], &format!("{place}/*"), to);
    }
}

#[test]
fn an_answer_holds_what_its_schema_requires() {
    let cases: u64 = std::env::var("DESCRIBED").ok().and_then(|cases| cases.parse().ok()).unwrap_or(9);
    let mut found = Vec::new();
    for entry in CATALOGUE {
        let schema = &DOCUMENT["components"]["schemas"][format!("{}-answer", entry.meta.slug.replace('/', "-"))];
        assert!(schema["required"].is_array(), "{}", entry.meta.slug);
        let start = Value::Object(entry.start().clone());
        for seed in 0..cases {
            let mut dice = Dice(seed * 7_919 + 11);
            let mut input = if seed % 3 == 0 { dice.input(entry.fields) } else { dice.vary(&start, entry.fields) };
            for place in ["/experiment/trials", "/trials"] {
                if let Some(trials) = input.pointer_mut(place) {
                    *trials = json!(1000);
                }
            }
            let Ok(read) = entry.read(Some(&input), Notation::Json) else { continue };
            let Ok(answer) = entry.solve(&*read, Ask::to(Depth::Whole), Work::FREE) else { continue };
            missing(&tree(&answer), schema, entry.meta.slug, &mut found);
        }
    }
    found.sort();
    found.dedup();
    assert_eq!(found, [""; 0]);
}
