//! # What changed since a visit began
//!
//! Parts that came and went, and values, old beside new as both are read, with the links that take a change back or make the
//! same one elsewhere.

use sensewright_core::design::section::Rests;
use sensewright_core::design::{Design, HEAD_FIELDS, Part, summary};
use sensewright_core::field::{Kind, declared};
use sensewright_core::quantity::Quantity;

use super::{PACK, Sheet, href, page_of, set_link, typed_pairs};
use crate::form::words::with_unit;

/// What changed since the visit began.
#[derive(Debug)]
pub struct Since {
    /// How many parts and values, in words.
    pub count: String,
    /// The parts that came or went.
    pub parts: Vec<PartRow>,
    /// The values of the others.
    pub values: Vec<ChangedRow>,
}

/// A part that came or went since the visit began.
#[derive(Debug)]
pub struct PartRow {
    /// Its page; nothing where it is gone.
    pub href: Option<String>,
    /// Its name.
    pub title: String,
    /// Whether it was added or removed.
    pub what: &'static str,
    /// The link that takes it back; empty where there is no way back.
    pub take_back: String,
}

/// A value that differs from the one that the visit began with.
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
    /// The link that takes it back; empty where there is no way back.
    pub take_back: String,
    /// Links that type the same into parts of the same kind, each with the part's name.
    pub same_in: Vec<(String, String)>,
}

/// What changed since the visit began, each with the link that takes it back; `here` is the page to stay on. Nothing where
/// it is the beginning.
pub fn changed(sheet: &Sheet, here: &str) -> Option<Since> {
    let began = sheet.began?.design;
    let parts = parts(sheet.design, began, here);
    let values = values(sheet.design, began, here);
    let counted = |count: usize, one: &str, more: &str| match count {
        0 => None,
        1 => Some(format!("1 {one}")),
        some => Some(format!("{some} {more}")),
    };
    let of = |what: &str| parts.iter().filter(|row| row.what == what).count();
    let count: Vec<String> = [
        counted(of(REMOVED), "part removed", "parts removed"),
        counted(of(ADDED), "part added", "parts added"),
        counted(values.len(), "value", "values"),
    ]
    .into_iter()
    .flatten()
    .collect();
    let count = if count.is_empty() { "order or marks alone".into() } else { count.join(", ") };
    Some(Since { count, parts, values })
}

const ADDED: &str = "added";
const REMOVED: &str = "removed";

fn parts(design: &Design, began: &Design, here: &str) -> Vec<PartRow> {
    let only = |these: &'_ Design, others: &Design| -> Vec<Part> {
        these.parts.iter().filter(|part| others.part(&part.key()).is_none()).cloned().collect()
    };
    let row = |part: Part, what, among: &Design| PartRow {
        href: (what == ADDED).then(|| part.key()),
        title: part.title_among(&among.parts),
        what,
        take_back: back_link(design, began, here, &part.key()),
    };
    let gone = only(began, design).into_iter().map(|part| row(part, REMOVED, began));
    gone.chain(only(design, began).into_iter().map(|part| row(part, ADDED, design))).collect()
}

/// The link that makes a part or a tie what it was; empty where there is no way back.
fn back_link(design: &Design, began: &Design, here: &str, key: &str) -> String {
    let there_is = matches!(design.taken_back(began, key), Some(Ok(_)));
    if there_is { format!("set?at={here}&back={key}") } else { String::new() }
}

fn values(design: &Design, began: &Design, here: &str) -> Vec<ChangedRow> {
    let (now, then) = (typed_pairs(design), typed_pairs(began));
    let value = |pairs: &[(String, String)], key: &str| {
        pairs.iter().find(|(name, _)| name == key).map(|(_, value)| value.clone()).unwrap_or_default()
    };
    let mut keys: Vec<&String> = now.iter().chain(&then).map(|(key, _)| key).collect();
    keys.sort();
    keys.dedup();
    let row = |key: &str| {
        let (was, is) = (value(&then, key), value(&now, key));
        let page = page_of(key);
        if was == is || key == "assumed" || !(page == PACK || design.part(&page).is_some()) {
            return None;
        }
        let tie = tie_of(design, key);
        let own = key.strip_prefix(&page).unwrap_or_default();
        // A part that is new is one change, with its name and with what it rests on at once.
        if page != PACK && began.part(&page).is_none() && (tie.is_some() || own == ".name") {
            return None;
        }
        // What a part that is gone gave goes with it.
        let lost = |rests: &Rests| was.parse().is_ok_and(|number| design.source(rests, number).is_none());
        if is.is_empty() && tie.is_some_and(lost) {
            return None;
        }
        Some(ChangedRow {
            href: href(key),
            label: summary::long_label(design, key),
            take_back: match tie {
                Some(_) => back_link(design, began, here, key),
                None => set_link(here, &[(key, &was)]),
            },
            same_in: same_in(design, key, here, &is, &now),
            was: told(began, key, was),
            now: told(design, key, is),
        })
    };
    keys.into_iter().filter_map(|key| row(key)).collect()
}

/// What a part rests on by the control of a key; nothing where it is another control.
fn tie_of(design: &Design, key: &str) -> Option<&'static Rests> {
    let page = page_of(key);
    let own = key.strip_prefix(&page)?;
    design.part(&page)?.kind.rests.iter().find(|rests| own == rests.named_at.replace('/', "."))
}

/// What was typed into a field, as it is read: a number with its unit, a choice by its label.
fn told(design: &Design, key: &str, text: String) -> String {
    let page = page_of(key);
    if let Some(rests) = tie_of(design, key) {
        let source = text.parse().ok().and_then(|number| design.source(rests, number));
        return source.map_or_else(|| "nothing".into(), |part| part.title_among(&design.parts));
    }
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
    let of_itself = own == ".name" || tie_of(design, key).is_some();
    let alike = |other: &&Part| other.kind.tag == part.kind.tag && other.number != part.number && !of_itself;
    let offered = design.of(part.section.key).filter(alike).filter_map(|other| {
        let there = format!("{}{own}", other.key());
        let stands = typed.iter().find(|(name, _)| *name == there).map_or("", |(_, value)| value);
        (stands != value).then(|| (set_link(here, &[(&there, value)]), other.title()))
    });
    offered.collect()
}
