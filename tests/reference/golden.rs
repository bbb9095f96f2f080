//! The whole assessment of every demo, number by number, against a file of this version: a number that moves is noticed,
//! and is explained under "Changes" in the README before the file is written anew. These files prove nothing about
//! physics; the other tests of this folder do.
//!
//! `GOLDEN=write cargo test -p sensewright-tests --test all golden` writes them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use sensewright_core::calculation::Depth;
use sensewright_core::catalogue;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::assess::{assess, assess_one};
use sensewright_core::design::{answer, link};
use sensewright_core::field::{Notation, form_tree};
use sensewright_core::work::Work;
use sensewright_tests::{query, with_few_trials};
use serde_json::{Map, Value};

/// Relative; the numbers are made by the same operations on every machine, so this only allows for a printed digit.
const WITHIN: f64 = 1e-11;

/// What stands before the token in the address of a design.
const WORKSHEET: &str = "/worksheet?d=";

/// Points of curves, which are drawn and not quoted, and parts of a contribution that its size holds already.
const LEFT_OUT: [&str; 18] = [
    "cone",
    "curve",
    "places",
    "sawtooth",
    "course",
    "histogram",
    "response",
    "coordination",
    "rows",
    "drifts",
    "choices",
    "harmonics",
    "map",
    "floor_curve",
    "sensitivity",
    "estimate",
    "standard",
    "share_percent",
];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden")
}

/// The numbers of a value in their places.
fn kept(value: &Value) -> Option<Value> {
    match value {
        Value::Number(_) => Some(value.clone()),
        Value::Array(items) => {
            let items: Vec<Value> = items.iter().filter_map(kept).collect();
            (!items.is_empty()).then_some(Value::Array(items))
        }
        Value::Object(map) => {
            let wanted = map.iter().filter(|(key, _)| !LEFT_OUT.contains(&key.as_str()));
            let map: Map<String, Value> = wanted.filter_map(|(key, item)| Some((key.clone(), kept(item)?))).collect();
            (!map.is_empty()).then_some(Value::Object(map))
        }
        _ => None,
    }
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
            for (key, item) in map {
                numbers(item, format!("{pointer}/{key}"), out);
            }
        }
        _ => {}
    }
}

/// One line a part, so that a difference shows where it is.
fn of(slug: &str) -> BTreeMap<String, Value> {
    let demo = DEMOS.iter().find(|demo| demo.slug == slug).expect("the demo");
    let answer = answer::write(
        &answer::answer(&assess(&demo.design).expect("it stands"), &answer::Include::all(), Work::FREE).expect("whole"),
    );
    let mut found = BTreeMap::new();
    for key in ["verdict", "turning", "test_limits"] {
        found.extend(kept(&answer["result"][key]).map(|value| (key.to_owned(), value)));
    }
    // Requirements by what they are and not by their place: one that is new moves none of the others.
    for row in answer["result"]["requirements"].as_array().expect("requirements") {
        let word = |key: &str| row[key].as_str().expect("a word");
        let name = |nth: usize| format!("requirement {} {} {nth}", word("part"), word("id"));
        let own = (0..1000).map(name).find(|name| !found.contains_key(name)).expect("one is free");
        found.extend(kept(row).map(|value| (own, value)));
    }
    for part in answer["result"]["parts"].as_array().expect("parts") {
        found.extend(kept(&part["result"]).map(|value| (part["part"].as_str().expect("a pointer").to_owned(), value)));
    }
    found
}

fn flat(lines: &BTreeMap<String, Value>) -> BTreeMap<String, f64> {
    let mut out = BTreeMap::new();
    for (key, value) in lines {
        numbers(value, key.clone(), &mut out);
    }
    out
}

#[test]
fn no_number_of_a_demo_has_moved() {
    for demo in DEMOS.iter() {
        let file = folder().join(format!("{}.json", demo.slug));
        let now = of(demo.slug);
        if std::env::var("GOLDEN").is_ok_and(|wish| wish == "write") {
            std::fs::create_dir_all(folder()).expect("a folder");
            let lines: Vec<String> = now.iter().map(|(key, value)| format!("\"{key}\": {value}")).collect();
            std::fs::write(&file, format!("{{\n{}\n}}\n", lines.join(",\n"))).expect("written");
        }
        let text = std::fs::read_to_string(&file).unwrap_or_else(|fault| panic!("{}: {fault}", file.display()));
        let before = flat(&serde_json::from_str(&text).expect("numbers"));
        let now = flat(&now);
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

/// The links of this version by their names.
fn links() -> Vec<(String, String)> {
    let text = std::fs::read_to_string(folder().join("links.txt")).expect("the list");
    let words = |line: &str| line.split_once(' ').map(|(name, token)| (name.to_owned(), token.trim().to_owned()));
    text.lines().filter(|line| !line.starts_with('#')).filter_map(words).collect()
}

/// Links of this version. They open for ever: a line is added when the document changes, none is ever taken out.
#[test]
fn old_links_open() {
    let mut opened = 0;
    for (title, token) in links() {
        let design = link::open(&token).unwrap_or_else(|faults| panic!("{title}: {faults:#?}")).design;
        assess(&design).unwrap_or_else(|faults| panic!("{title}: {faults:#?}"));
        opened += 1;
    }
    assert!(opened >= DEMOS.len());
}

/// The files of this version: pages, each with the tables, charts and listings that it had.
fn addresses() -> Vec<(String, Vec<String>)> {
    let text = std::fs::read_to_string(folder().join("addresses.txt")).expect("the list");
    let lines = text.lines().filter(|line| !line.starts_with('#')).map(|line| line.split(' ').map(str::to_owned));
    lines.map(|mut words| (words.next().expect("a page"), words.collect())).collect()
}

/// Whether a file of a page, a table or a chart by its kind and name, opens.
type Opens = Box<dyn Fn(&str, &str) -> bool>;

/// A file of a part is worked out without the others: it shows what the whole design shows of it.
#[test]
fn a_part_alone_shows_what_it_shows_in_the_whole() {
    let demo = DEMOS.iter().find(|demo| demo.slug == "funicular-summit-buffer").expect("the demo");
    let design = with_few_trials(&demo.design);
    let whole = assess(&design).expect("it stands");
    for (at, part) in whole.parts.iter().enumerate() {
        let alone = assess_one(&design, at, Depth::Page, Work::FREE).expect("it stands");
        assert_eq!(format!("{:?}", alone.answer.view), format!("{:?}", part.answer.view), "{}", part.part.key());
    }
}

/// Addresses of files open for ever, those of a whole design as well.
#[test]
fn every_file_of_a_page_opens() {
    let links = links();
    let mut opened = 0;
    for (page, files) in addresses() {
        let named = links.iter().find(|(name, _)| *name == page).map(|(_, token)| token.as_str());
        let export: Opens = if let Some(token) = named.or(page.strip_prefix(WORKSHEET)) {
            let opened = link::open(token).expect("it opens").design;
            let assessed = assess(&with_few_trials(&opened)).expect("it stands");
            Box::new(move |format, part| sensewright_web::design_export(&assessed, format, part).is_some())
        } else {
            let slug = page.trim_start_matches('/').split('?').next().expect("a word");
            let entry = catalogue::find(slug).unwrap_or_else(|| panic!("{slug}"));
            let tree = form_tree(&query(&page)).unwrap_or_else(|faults| panic!("{page}: {faults:#?}"));
            let answer = entry.answer(Some(&tree), Notation::Form);
            let answer = answer.unwrap_or_else(|faults| panic!("{page}: {faults:#?}"));
            Box::new(move |format, part| sensewright_web::export(&answer, format, part).is_some())
        };
        for file in files {
            let (part, format) = file.rsplit_once('.').expect("a name and its format");
            // Budgets are drawn of the worst value and the largest one; levers of sources are gone, see the README.
            if export(format, part) {
                opened += 1;
            } else {
                let changes = part.contains("budget-") || part.contains("what-it-takes");
                assert!(changes, "{page} has no {file}");
            }
        }
    }
    assert!(opened >= 480, "{opened}");
}

/// A link whose discharge rests on the pre-charge by the word of its section, because nobody named it: the word is frozen.
#[test]
fn a_link_to_a_part_without_a_name_opens() {
    let mut pages = addresses().into_iter().map(|(page, _)| page);
    let token = pages.find_map(|page| page.strip_prefix(WORKSHEET).map(str::to_owned)).expect("a link");
    let design = link::open(&token).expect("it opens").design;
    let of = |section: &str| design.parts.iter().position(|part| part.section.key == section).expect("the part");
    let (precharge, discharge) = (&design.parts[of("precharge")], of("discharge"));
    assert_eq!((precharge.name.as_str(), precharge.title()), ("", "Pre-charge".to_owned()));
    let capacitance = precharge.input["capacitance_farad"].as_f64().expect("a number");
    let assessed = assess(&design).expect("it stands");
    let carried: Vec<_> = assessed.parts[discharge].carried.iter().map(|one| (one.from.as_str(), one.value)).collect();
    assert_eq!(carried, [("Pre-charge", capacitance)]);
}
