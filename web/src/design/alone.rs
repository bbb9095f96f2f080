//! # What alone turns a failure of a calculation
//!
//! A page of its own, and the part of it that the page of the calculation takes in once it stands: its answer does not wait
//! for it.

use askama::Template;
use sensewright_core::calculation::Entry;
use sensewright_core::design::alone::{Alone, can_be_turned};
use sensewright_core::design::assess::Row;
use sensewright_core::design::levers::Lever;
use sensewright_core::design::summary::effect;
use sensewright_core::judge::{Check, Verdict};

use super::turns::{CauseRow, Ways, cause_rows};
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
#[template(path = "alone_live.html")]
struct AlonePart<'a> {
    title: &'a str,
    list: List,
}

struct List {
    causes: Vec<CauseRow>,
    more: usize,
    /// What to say where there is no list.
    none: &'static str,
}

/// Where what turns the failures of an answer is told; nothing where none fails, or it cannot be looked for.
pub fn turns_address(entry: &Entry, checks: &[Check], address: Option<&String>) -> Option<String> {
    let fails = checks.iter().any(|check| check.verdict == Verdict::Fails) && can_be_turned(entry);
    let query = address.filter(|_| fails)?.split_once('?')?.1;
    Some(format!("/{}/turns?{query}", entry.meta.slug))
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

fn list(entry: &Entry, found: Option<&Alone>, page: &str) -> List {
    let Some(found) = found else {
        let none =
            "Not looked for: each look would take so many trials that others would wait. With fewer trials it is.";
        return List { causes: Vec::new(), more: 0, none };
    };
    let place = |pointer: &str| Some(format!("{page}#{}", control(entry.fields, pointer)?));
    let ways = Ways {
        row: &|row: &Row| Target {
            href: row.check.field.as_deref().and_then(place).unwrap_or_else(|| format!("{page}#results")),
            label: row.check.label.clone(),
        },
        set: &|lever| found.address_with(lever),
        value: &|pointer| {
            let inside = pointer.strip_prefix(&found.assessed.parts.first()?.part.pointer())?;
            Some(Target { href: place(inside)?, label: label_of(entry.fields, inside)?.into() })
        },
        effect: &|lever| told(found, lever),
    };
    List {
        causes: cause_rows(&found.assessed, &found.levers, &ways),
        more: found.levers.more,
        none: "No requirement fails here.",
    }
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
