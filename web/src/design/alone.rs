//! # What alone turns a failure of a calculation, and where what holds would turn
//!
//! Each a page of its own, and the part of it that the page of the calculation takes in once it stands: its answer does not wait
//! for it.

use askama::Template;
use sensewright_core::calculation::{Answer, Entry};
use sensewright_core::design::alone::{Alone, can_be_turned};
use sensewright_core::design::assess::{Assessed, Row};
use sensewright_core::design::levers::Lever;
use sensewright_core::design::summary::{effect, would_turn};
use sensewright_core::design::turning::Turning;
use sensewright_core::judge::{Check, Verdict};
use sensewright_core::quantity::in_sentence;

use super::turns::{CauseList, Ways, cause_list};
use super::{document_key, href};
use crate::form::{control, label_of};
use crate::result::Target;
use crate::shell::{Shell, print};

#[derive(Template)]
#[template(path = "alone.html")]
struct AlonePage<'a> {
    shell: Shell,
    title: &'a str,
    address: &'a str,
    stands: String,
    list: List,
}

#[derive(Template)]
#[template(path = "nearest.html")]
struct NearestPage<'a> {
    shell: Shell,
    title: &'a str,
    address: &'a str,
    back: &'static str,
    rows: Vec<Edge>,
    more: String,
}

#[derive(Template)]
#[template(path = "nearest_live.html")]
struct NearestPart<'a> {
    title: &'a str,
    rows: Vec<Edge>,
    more: String,
}

/// A requirement that holds, and where it would turn.
struct Edge {
    href: String,
    label: String,
    words: String,
}

#[derive(Template)]
#[template(path = "alone_live.html")]
struct AlonePart<'a> {
    title: &'a str,
    list: List,
}

struct List {
    causes: CauseList,
    /// What to say where there is no list.
    none: &'static str,
}

/// The address at which something is told of the rows of an answer that stand so; nothing where there are none, or it cannot be
/// looked for.
pub fn told_at(way: &str, verdicts: &[Verdict], entry: &Entry, answer: &Answer) -> Option<String> {
    let stands = |check: &Check| verdicts.contains(&check.verdict);
    let asked = answer.requirements.iter().any(stands) && can_be_turned(entry);
    let query = answer.link.as_ref().filter(|_| asked)?.split_once('?')?.1;
    Some(format!("/{}/{way}?{query}", entry.meta.slug))
}

/// The page of what turns the failures of a calculation at `address`; nothing was looked for where that would take too long.
pub fn turns_page(entry: &Entry, found: Option<&Alone>, address: &str) -> String {
    let title = entry.meta.title;
    let fails = found.map(|found| found.assessed.count(Verdict::Fails));
    print(&AlonePage {
        shell: Shell::new(format!("What turns it: {title}"), "").of_calculation(entry.meta.slug),
        title,
        address,
        stands: match fails {
            None => "Not looked for".into(),
            Some(0) => "Nothing fails".into(),
            Some(1) => "1 requirement fails".into(),
            Some(some) => format!("{some} requirements fail"),
        },
        list: list(entry, found, address),
    })
}

/// The part of it that the page of the calculation takes in.
pub fn turns_part(entry: &Entry, found: Option<&Alone>) -> String {
    print(&AlonePart { title: entry.meta.title, list: list(entry, found, "") })
}

/// What looking at values that each look would draw trials for is told with.
const NOT_LOOKED_FOR: &str =
    "Not looked for: each look would take so many trials that others would wait. With fewer trials it is.";

/// The page of the values nearest to turning what holds of a calculation at `address`; nothing was looked for where that would
/// take too long.
pub fn nearest_page(entry: &Entry, found: Option<&(Assessed, Vec<Turning>)>, address: &str) -> String {
    let (title, (rows, more)) = (entry.meta.title, edges(entry, found, address));
    let shell = Shell::new(format!("What is near its limit: {title}"), "").of_calculation(entry.meta.slug);
    print(&NearestPage { shell, title, address, back: "Back to the calculation", rows, more })
}

/// The page of the values of a design nearest to turning what holds.
pub fn nearest_of_design_page(assessed: &Assessed, found: &[Turning]) -> String {
    let design = &assessed.design;
    let place = |one: &Turning| document_key(design, &one.pointer).map_or_else(String::new, |key| href(&key));
    let title = &design.head.title;
    let shell = Shell::of_design(format!("What is near its limit: {title}"), "near");
    let (rows, more) = near(assessed, found, place);
    print(&NearestPage { shell, title, address: "./", back: "Back to the design", rows, more })
}

/// The part of it that the page of the calculation takes in.
pub fn nearest_part(entry: &Entry, found: Option<&(Assessed, Vec<Turning>)>) -> String {
    let (rows, more) = edges(entry, found, "");
    print(&NearestPart { title: entry.meta.title, rows, more })
}

/// The rows that turn nearby, and what to say of the others.
fn edges(entry: &Entry, found: Option<&(Assessed, Vec<Turning>)>, page: &str) -> (Vec<Edge>, String) {
    let Some((assessed, found)) = found else { return (Vec::new(), NOT_LOOKED_FOR.into()) };
    near(assessed, found, |one| {
        let inside = one.pointer.strip_prefix(&assessed.parts[one.of_part].part.pointer()).unwrap_or_default();
        format!("{page}#{}", control(entry.fields, inside).unwrap_or_default())
    })
}

/// Of each row that holds the nearest value, with the place where it is typed, and what to say of the others.
fn near(assessed: &Assessed, found: &[Turning], place: impl Fn(&Turning) -> String) -> (Vec<Edge>, String) {
    let parts = &assessed.design.parts;
    let label = |one: &Turning| match parts.len() {
        1 => one.requirement.clone(),
        _ => format!("{}: {}", parts[one.of_part].title_among(parts), in_sentence(&one.requirement)),
    };
    let rows: Vec<Edge> = found
        .iter()
        .map(|one| Edge { href: place(one), label: label(one), words: would_turn(assessed, one) })
        .collect();
    let hold = assessed.count(Verdict::Thin) + assessed.count(Verdict::Holds);
    let more = match hold.saturating_sub(rows.len()) {
        0 => String::new(),
        _ if rows.is_empty() => "No single value turns a row that holds, up to 2.7 times of it.".into(),
        1 => "1 more row that holds is not among the nearest.".into(),
        some => format!("{some} more rows that hold are not among the nearest."),
    };
    (rows, more)
}

fn list(entry: &Entry, found: Option<&Alone>, page: &str) -> List {
    let Some(found) = found else {
        return List { causes: CauseList::default(), none: NOT_LOOKED_FOR };
    };
    let place = |pointer: &str| Some(format!("{page}#{}", control(entry.fields, pointer)?));
    let ways = Ways {
        row: &|row: &Row| Target {
            href: row.check.field.as_deref().and_then(place).unwrap_or_else(|| format!("{page}#results")),
            label: row.check.label.clone(),
        },
        set: &|lever, value| found.address_with(lever, value),
        value: &|pointer| {
            let inside = pointer.strip_prefix(&found.assessed.parts.first()?.part.pointer())?;
            Some(Target { href: place(inside)?, label: label_of(entry.fields, inside)?.into() })
        },
        effect: &|lever| told(found, lever),
    };
    List { causes: cause_list(&found.assessed, &found.levers, &ways), none: "No requirement fails here." }
}

/// What a lever does, and how many other requirements change with it.
fn told(found: &Alone, lever: &Lever) -> String {
    let others = match lever.turns.others {
        0 => "no other row changes".to_owned(),
        1 => "1 other row changes".into(),
        some => format!("{some} other rows change"),
    };
    format!("{}; {others}", effect(&found.assessed, lever))
}
