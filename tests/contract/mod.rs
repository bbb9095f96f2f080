//! What holds for every calculation, tested the day it enters the catalogue.

mod sources;
mod stops;
mod toy;

use std::collections::HashSet;

use sensewright_core::calculation::Entry;
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::field::{FieldError, Kind, Notation, Start, schema};
use sensewright_core::json;
use sensewright_core::report::Block;
use sensewright_tests::{Leaf, is_clean, leaves, numbers, put};
use serde_json::{Value, json};

fn example(entry: &Entry) -> Value {
    Value::Object(entry.start().clone())
}

/// The example with at least one row in every list, so that the fields of the rows are reached.
fn full_example(entry: &Entry) -> Value {
    let mut input = example(entry);
    for leaf in leaves(entry.fields, "") {
        if let Some((list, _)) = leaf.pointer.split_once("/0/")
            && input.pointer(list).is_some_and(|rows| rows.as_array().is_some_and(Vec::is_empty))
        {
            put(&mut input, list, json!([{}]));
        }
    }
    input
}

fn faults(entry: &Entry, input: &Value) -> Vec<FieldError> {
    entry.answer(Some(input), Notation::Json).err().unwrap_or_default()
}

/// A value that must be refused, and the code it must be refused with.
fn bad_values(leaf: &Leaf) -> Vec<(Value, &'static str)> {
    let mut bad = match leaf.field.kind {
        Kind::Number { min, max, unit, .. } => {
            let step = (max - min).abs().max(1.0) * 1e-6;
            let other = if unit.symbol() == "V" { "5 A" } else { "5 V" };
            vec![
                (json!(min - step), "below"),
                (json!(max + step), "above"),
                (json!(other), "wrong-unit"),
                (json!("abc"), "not-a-number"),
                (json!("1,5"), "decimal-comma"),
                (json!(true), "wrong-type"),
                (json!([1]), "wrong-type"),
            ]
        }
        Kind::Whole { min, max, .. } => vec![
            (json!(f64::from(min) - 1.0), "below"),
            (json!(f64::from(max) + 1.0), "above"),
            (json!(f64::from(min) + 0.5), "not-whole"),
            (json!("abc"), "not-a-number"),
        ],
        Kind::YesNo { .. } => vec![(json!("yes"), "wrong-type"), (json!(1), "wrong-type")],
        Kind::Choice { .. } => vec![(json!("no such word"), "not-a-choice"), (json!(3), "not-a-choice")],
        Kind::Text { most, .. } => vec![(json!("x".repeat(most + 1)), "too-long"), (json!(1), "wrong-type")],
        Kind::Numbers { most, .. } => {
            vec![(json!([]), "too-few"), (json!(vec![1.0; most + 1]), "too-many"), (json!("1 2"), "wrong-type")]
        }
        Kind::Group { .. } | Kind::List { .. } => Vec::new(),
    };
    let null = if matches!(leaf.field.kind, Kind::Choice { .. }) { "not-a-choice" } else { "wrong-type" };
    bad.push((Value::Null, null));
    bad
}

#[test]
fn every_example_is_answered_and_reads_back_to_itself() {
    for entry in CATALOGUE {
        let answer =
            entry.answer(None, Notation::Form).unwrap_or_else(|faults| panic!("{}: {faults:?}", entry.meta.slug));
        assert_eq!(answer.input, example(entry), "{}", entry.meta.slug);
        assert_eq!(
            answer.link,
            Some(format!("/{}?v=1", entry.meta.slug)),
            "what starts needs no values in its address"
        );
        let again = entry.answer(Some(&answer.input), Notation::Json).expect("its own input");
        assert_eq!(json::text(&again).expect("text"), json::text(&answer).expect("text"));
        let told = json::tree(&answer);
        let keys: Vec<_> = told.as_object().expect("an object").keys().map(String::as_str).collect();
        assert_eq!(
            keys,
            ["engine", "input", "result", "requirements", "working", "findings", "cautions", "link"],
            "{}",
            entry.meta.slug
        );
        assert!(is_clean(&told), "{}", entry.meta.slug);
        assert!(!answer.working.is_empty() && !answer.view.lead.is_empty() && !answer.view.blocks.is_empty());
        assert!(
            answer.working.iter().all(|step| !step.source.is_empty() && !step.numbers.is_empty()),
            "{}",
            entry.meta.slug
        );
    }
}

/// A label is read as its word, in letters of any case: none may mean two options.
#[test]
fn no_label_of_a_choice_means_two_options() {
    for entry in CATALOGUE {
        for leaf in leaves(entry.fields, "") {
            let Kind::Choice { options, .. } = leaf.field.kind else { continue };
            for (_, label) in options {
                let meant = options.iter().filter(|(other, named)| other == label || named.eq_ignore_ascii_case(label));
                assert_eq!(meant.count(), 1, "{}{}: {label}", entry.meta.slug, leaf.pointer);
            }
        }
    }
}

#[test]
fn every_field_refuses_every_kind_of_bad_value_at_its_own_pointer() {
    for entry in CATALOGUE {
        for leaf in leaves(entry.fields, "") {
            for (bad, code) in bad_values(&leaf) {
                let mut input = full_example(entry);
                put(&mut input, &leaf.pointer, bad.clone());
                let faults = faults(entry, &input);
                let found = faults.iter().find(|fault| fault.field == leaf.pointer);
                let fault =
                    found.unwrap_or_else(|| panic!("{}{} took {bad}: {faults:?}", entry.meta.slug, leaf.pointer));
                assert_eq!(fault.code, code, "{}{} {bad}", entry.meta.slug, leaf.pointer);
                assert!(!fault.message.is_empty() && !fault.accepted.is_empty() && !fault.got.is_empty(), "{fault:?}");
            }
        }
    }
}

#[test]
fn all_bad_fields_are_refused_in_one_answer() {
    for entry in CATALOGUE {
        let mut input = full_example(entry);
        let leaves = leaves(entry.fields, "");
        for leaf in &leaves {
            put(&mut input, &leaf.pointer, bad_values(leaf).swap_remove(0).0);
        }
        let faults = faults(entry, &input);
        for leaf in &leaves {
            assert!(faults.iter().any(|fault| fault.field == leaf.pointer), "{}{}", entry.meta.slug, leaf.pointer);
        }
    }
}

#[test]
fn all_missing_fields_are_named_together() {
    for entry in CATALOGUE {
        let faults = faults(entry, &json!({}));
        for leaf in leaves(entry.fields, "") {
            let required = matches!(leaf.field.kind, Kind::Number { start: Start::Required(_), .. })
                && !leaf.pointer.contains("/0/");
            let named = faults.iter().any(|fault| fault.field == leaf.pointer && fault.code == "missing");
            assert_eq!(required, named, "{}{}", entry.meta.slug, leaf.pointer);
        }
    }
}

#[test]
fn every_group_and_list_refuses_what_is_none_and_names_unknown_fields() {
    fn check(entry: &Entry, fields: &'static [sensewright_core::field::Field], at: &str) {
        let mut input = full_example(entry);
        let unknown = format!("{at}/no_such_field");
        put(&mut input, &unknown, json!(1));
        assert!(
            faults(entry, &input).iter().any(|fault| fault.field == unknown && fault.code == "unknown-field"),
            "{unknown}"
        );
        for field in fields {
            let pointer = format!("{at}/{}", field.key);
            match field.kind {
                Kind::Group { fields } => {
                    let mut input = full_example(entry);
                    put(&mut input, &pointer, json!([]));
                    assert!(
                        faults(entry, &input).iter().any(|fault| fault.field == pointer && fault.code == "wrong-type")
                    );
                    check(entry, fields, &pointer);
                }
                Kind::List { fields, most, .. } => {
                    let mut input = full_example(entry);
                    put(&mut input, &pointer, json!({}));
                    assert!(
                        faults(entry, &input).iter().any(|fault| fault.field == pointer && fault.code == "wrong-type")
                    );
                    put(&mut input, &pointer, json!(vec![json!({}); most + 1]));
                    assert!(
                        faults(entry, &input).iter().any(|fault| fault.field == pointer && fault.code == "too-many")
                    );
                    check(entry, fields, &format!("{pointer}/0"));
                }
                _ => {}
            }
        }
    }
    for entry in CATALOGUE {
        check(entry, entry.fields, "");
    }
}

#[test]
fn a_field_name_ends_with_its_unit_and_its_range_holds_its_start() {
    for entry in CATALOGUE {
        let mut seen = HashSet::new();
        for leaf in leaves(entry.fields, "") {
            assert!(seen.insert(leaf.pointer.clone()), "{} twice", leaf.pointer);
            assert!(!leaf.field.label.is_empty() && !leaf.field.help.is_empty(), "{}", leaf.pointer);
            if let Some(unit) = leaf.field.unit() {
                let key = leaf.field.key;
                let suffix = unit.suffix();
                assert!(
                    key.ends_with(suffix) || key == &suffix[1..],
                    "{}{} holds {}",
                    entry.meta.slug,
                    leaf.pointer,
                    unit.words()
                );
            }
            if let Kind::Number { min, max, start: Start::Required(start) | Start::Default(start), .. } =
                leaf.field.kind
            {
                assert!(min <= start && start <= max, "{}", leaf.pointer);
            }
        }
    }
}

#[test]
fn the_published_schema_has_the_limits_of_the_check() {
    fn check(fields: &[sensewright_core::field::Field], schema: &Value) {
        for field in fields {
            let row = &schema["properties"][field.key];
            match field.kind {
                Kind::Number { min, max, start, .. } => {
                    assert_eq!(
                        (row["minimum"].as_f64(), row["maximum"].as_f64()),
                        (Some(min), Some(max)),
                        "{}",
                        field.key
                    );
                    let required = schema["required"].as_array().expect("a list").contains(&json!(field.key));
                    assert_eq!(required, matches!(start, Start::Required(_)), "{}", field.key);
                }
                Kind::Group { fields } => check(fields, row),
                Kind::List { fields, .. } => check(fields, &row["items"]),
                _ => {}
            }
        }
    }
    for entry in CATALOGUE {
        check(entry.fields, &schema(entry.fields));
    }
}

#[test]
fn every_figure_of_the_page_is_a_number_of_the_answer() {
    for entry in CATALOGUE {
        let answer = entry.answer(None, Notation::Form).expect("the example");
        let known = numbers(&answer.result.tree());
        for block in &answer.view.blocks {
            if let Block::Figures(figures) = block {
                for figure in figures {
                    let value = figure.value.value;
                    // A share that the page shows in percent may be a plain ratio in the answer.
                    let found = known.iter().any(|number| {
                        [value, value / 100.0].iter().any(|wanted| (number - wanted).abs() <= 1e-12 * wanted.abs())
                    });
                    assert!(found, "{}: {} = {value} is not in the answer", entry.meta.slug, figure.label);
                }
            }
        }
    }
}

#[test]
fn findings_and_requirements_point_at_fields_that_exist() {
    for entry in CATALOGUE {
        let known: HashSet<String> = leaves(entry.fields, "").into_iter().map(|leaf| leaf.pointer).collect();
        let answer = entry.answer(None, Notation::Form).expect("the example");
        let pointers = answer
            .findings
            .iter()
            .filter_map(|finding| finding.field.clone())
            .chain(answer.requirements.iter().filter_map(|check| check.field.clone()));
        for pointer in pointers {
            // The first row of a list stands for all.
            let first = |name: &str| if name.parse::<usize>().is_ok() { "0".into() } else { name.to_owned() };
            let is_leaf = known.contains(&pointer.split('/').map(first).collect::<Vec<_>>().join("/"));
            let is_list = known.iter().any(|leaf| leaf.starts_with(&format!("{pointer}/0/")));
            let is_row = pointer.rsplit_once('/').is_some_and(|(list, row)| {
                row.parse::<usize>().is_ok() && known.iter().any(|leaf| leaf.starts_with(&format!("{list}/0/")))
            });
            assert!(is_leaf || is_list || is_row, "{}: {pointer}", entry.meta.slug);
        }
    }
}

#[test]
fn slugs_are_unique_and_every_calculation_names_its_sources() {
    let mut slugs = HashSet::new();
    for entry in CATALOGUE {
        assert!(slugs.insert(entry.meta.slug), "{} twice", entry.meta.slug);
        assert!(!entry.meta.sources.is_empty() && !entry.meta.job.is_empty() && !entry.meta.short.is_empty());
        let ids: Vec<String> = entry
            .answer(None, Notation::Form)
            .expect("the example")
            .view
            .blocks
            .iter()
            .flat_map(|block| match block {
                Block::Table(table) => vec![table.id.clone()],
                Block::Budget(budget) => vec![budget.id.clone()],
                Block::Chart(chart) => vec![chart.id.clone(), chart.table.id.clone()],
                Block::NumberLine(line) => vec![line.id.clone(), line.table.id.clone()],
                Block::Spots(spots) => vec![spots.id.clone(), spots.table.id.clone()],
                Block::Lane(lane) => vec![lane.id.clone()],
                Block::Listing(listing) => vec![listing.id.clone()],
                Block::Figures(_) => Vec::new(),
            })
            .collect();
        assert_eq!(ids.iter().collect::<HashSet<_>>().len(), ids.len(), "{}: {ids:?}", entry.meta.slug);
    }
}

/// The core does no I/O: its dependencies are these, and none of them waits, reads, writes or logs.
#[test]
fn the_core_depends_on_nothing_that_does_io() {
    let manifest = include_str!("../../core/Cargo.toml");
    let section = manifest.split("[dependencies]").nth(1).expect("a section").split("\n[").next().expect("its text");
    let names: Vec<&str> =
        section.lines().filter_map(|line| line.split(['.', ' ', '=']).next()).filter(|name| !name.is_empty()).collect();
    let links = ["base64", "crc32fast", "miniz_oxide"];
    let others: Vec<&str> = names.into_iter().filter(|name| !links.contains(name)).collect();
    assert_eq!(
        others,
        [
            "erased-serde",
            "libm",
            "memchr",
            "percent-encoding",
            "pulp",
            "rayon",
            "serde",
            "serde_json",
            "smallvec",
            "statrs",
            "utoipa"
        ]
    );
}
