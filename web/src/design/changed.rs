//! # What changed since a visit began
//!
//! Old beside new, as both are read, and the links that take a change back or make the same one elsewhere.

use sensewright_core::design::{Design, HEAD_FIELDS, Part, summary};
use sensewright_core::field::{Kind, declared};
use sensewright_core::quantity::Quantity;

use super::{PACK, Sheet, href, page_of, set_link, typed_pairs};
use crate::form::words::with_unit;

/// The values that differ from those the visit began with.
#[derive(Debug)]
pub struct ChangedRow {
    /// The control.
    pub href: String,
    /// Part and label.
    pub label: String,
    /// What was typed then.
    pub was: String,
    /// What is typed now.
    pub now: String,
    /// The link that takes it back.
    pub take_back: String,
    /// Links that type the same into parts of the same kind, each with the part's name.
    pub same_in: Vec<(String, String)>,
}

/// What changed since the visit began, each with the link that takes it back; `here` is the page to stay on.
pub fn changed(sheet: &Sheet, here: &str) -> Vec<ChangedRow> {
    let Some(began) = sheet.began else { return Vec::new() };
    let (now, then) = (typed_pairs(sheet.design), typed_pairs(began.design));
    let value = |pairs: &[(String, String)], key: &str| {
        pairs.iter().find(|(name, _)| name == key).map(|(_, value)| value.clone()).unwrap_or_default()
    };
    let mut keys: Vec<&String> = now.iter().chain(&then).map(|(key, _)| key).collect();
    keys.sort();
    keys.dedup();
    let there = |key: &&&String| page_of(key) == PACK || sheet.design.part(&page_of(key)).is_some();
    keys.iter()
        .filter(there)
        .filter_map(|key| {
            let (was, is) = (value(&then, key), value(&now, key));
            (was != is && *key != "assumed").then(|| ChangedRow {
                href: href(key),
                label: summary::long_label(sheet.design, key),
                take_back: set_link(here, &[(key.as_str(), &was)]),
                same_in: same_in(sheet.design, key, here, &is, &now),
                was: told(sheet.design, key, was),
                now: told(sheet.design, key, is),
            })
        })
        .collect()
}

/// What was typed into a field, as it is read: a number with its unit, a choice by its label.
fn told(design: &Design, key: &str, text: String) -> String {
    let page = page_of(key);
    let (fields, own) = match design.part(&page) {
        Some(part) => (part.entry().fields, key.strip_prefix(&page).unwrap_or_default().trim_start_matches('.')),
        None => (HEAD_FIELDS, key),
    };
    match declared(fields, &format!("/{}", own.replace('.', "/"))).map(|field| field.kind) {
        _ if text.is_empty() => "not typed".into(),
        Some(Kind::Number { unit, .. } | Kind::Whole { unit, .. }) => {
            let echo = unit.read(&text).map(|value| Quantity::new(value, unit).echo(false));
            with_unit(&echo.unwrap_or(text), unit)
        }
        Some(Kind::Numbers { unit, .. }) => with_unit(&text, unit),
        Some(Kind::Choice { options, .. }) => {
            let label = options.iter().find(|(word, _)| *word == text).map(|(_, label)| *label);
            label.map_or(text, |label| design.head.pack.words(label))
        }
        _ => text,
    }
}

/// The links that type a value into the other parts of its kind that have another one.
fn same_in(design: &Design, key: &str, here: &str, value: &str, typed: &[(String, String)]) -> Vec<(String, String)> {
    let page = page_of(key);
    let Some(part) = design.part(&page) else { return Vec::new() };
    let own = key.strip_prefix(&page).unwrap_or_default();
    let of_itself = own == ".name" || part.kind.rests.iter().any(|rests| own == rests.named_at.replace('/', "."));
    let alike = |other: &&Part| other.kind.tag == part.kind.tag && other.number != part.number && !of_itself;
    let offered = design.of(part.section.key).filter(alike).filter_map(|other| {
        let there = format!("{}{own}", other.key());
        let stands = typed.iter().find(|(name, _)| *name == there).map_or("", |(_, value)| value);
        (stands != value).then(|| (set_link(here, &[(&there, value)]), other.title()))
    });
    offered.collect()
}
