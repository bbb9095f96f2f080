//! The whole assessment of every demo, number by number, against a file of this version: a number that moves is noticed,
//! and is explained under "Changes" in the README before the file is written anew. These files prove nothing about
//! physics; the other tests of this folder do.
//!
//! `GOLDEN=write cargo test -p sensewright-tests --test all golden` writes them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use sensewright_core::demo::DEMOS;
use sensewright_core::design::assess::assess;
use sensewright_core::design::{answer, link};
use serde_json::Value;

/// Relative; the numbers are made by the same operations on every machine, so this only allows for a printed digit.
const WITHIN: f64 = 1e-11;

/// Points of curves, which are drawn and not quoted.
const DRAWN: [&str; 9] =
    ["curve", "course", "histogram", "response", "coordination", "rows", "drifts", "choices", "harmonics"];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden")
}

fn numbers(value: &Value, pointer: String, out: &mut BTreeMap<String, f64>) {
    match value {
        Value::Number(number) => drop(out.insert(pointer, number.as_f64().expect("a double"))),
        Value::Array(items) => {
            for (index, item) in items.iter().enumerate() {
                numbers(item, format!("{pointer}/{index}"), out);
            }
        }
        Value::Object(map) => {
            for (key, item) in map.iter().filter(|(key, _)| !DRAWN.contains(&key.as_str())) {
                numbers(item, format!("{pointer}/{key}"), out);
            }
        }
        _ => {}
    }
}

fn of(slug: &str) -> BTreeMap<String, f64> {
    let demo = DEMOS.iter().find(|demo| demo.slug == slug).expect("the demo");
    let answer = answer::write(&answer::answer(&assess(&demo.design).expect("it stands")));
    let mut found = BTreeMap::new();
    for key in ["verdict", "requirements", "turning", "test_limits"] {
        numbers(&answer["result"][key], format!("/{key}"), &mut found);
    }
    for (index, part) in answer["result"]["parts"].as_array().expect("parts").iter().enumerate() {
        numbers(&part["result"], format!("/parts/{index}"), &mut found);
    }
    found
}

#[test]
fn no_number_of_a_demo_has_moved() {
    for demo in DEMOS.iter() {
        let file = folder().join(format!("{}.json", demo.slug));
        let now = of(demo.slug);
        if std::env::var("GOLDEN").is_ok_and(|wish| wish == "write") {
            std::fs::create_dir_all(folder()).expect("a folder");
            std::fs::write(&file, format!("{}\n", serde_json::to_string_pretty(&now).expect("JSON"))).expect("written");
        }
        let text = std::fs::read_to_string(&file).unwrap_or_else(|fault| panic!("{}: {fault}", file.display()));
        let before: BTreeMap<String, f64> = serde_json::from_str(&text).expect("numbers");
        let moved: Vec<String> = before
            .iter()
            .filter_map(|(pointer, old)| match now.get(pointer) {
                Some(new) if (new - old).abs() <= WITHIN * old.abs().max(1e-15) => None,
                Some(new) => Some(format!("{pointer}: {old} is now {new}")),
                None => Some(format!("{pointer}: {old} is gone")),
            })
            .chain(
                now.keys().filter(|pointer| !before.contains_key(*pointer)).map(|pointer| format!("{pointer} is new")),
            )
            .take(20)
            .collect();
        assert!(moved.is_empty(), "{}: {moved:#?}", demo.slug);
    }
}

/// Links of this version. They open for ever: a line is added when the document changes, none is ever taken out.
#[test]
fn old_links_open() {
    let text = std::fs::read_to_string(folder().join("links.txt")).expect("the list");
    let mut opened = 0;
    for line in text.lines().filter(|line| !line.starts_with('#') && !line.is_empty()) {
        let mut words = line.split_whitespace();
        let (title, token) = (words.next().expect("a name"), words.next().expect("a token"));
        let design = link::open(token).unwrap_or_else(|faults| panic!("{title}: {faults:#?}")).design;
        assess(&design).unwrap_or_else(|faults| panic!("{title}: {faults:#?}"));
        opened += 1;
    }
    assert!(opened >= DEMOS.len());
}
