//! # The page of a calculation
//!
//! Values on the left, what follows from them on the right. The page of a refusal is the same page: the summary on top,
//! the message at each field, everything typed as typed.

use askama::Template;
use sensewright_core::calc::charge::charge_counting::profile::RecordedProfile;
use sensewright_core::calculation::{Calculation, Entry};
use sensewright_core::design::section::SECTIONS;
use sensewright_core::judge::Verdict;

use crate::Outcome;
use crate::design::alone::told_at;
use crate::form::{Control, Form, Piece};
use crate::result::{BlockText, Out};
use crate::shell::{Shell, print};

#[derive(Template)]
#[template(path = "entry.html")]
struct RoomPage<'a> {
    shell: Shell,
    title: &'a str,
    job: &'a str,
    origin: &'a str,
    action: String,
    link: String,
    json: String,
    count: String,
    refused: bool,
    form: Form,
    out: Option<Out>,
    of_design: bool,
    upload: bool,
    /// What is wrong with the file.
    of_file: Vec<String>,
}

/// The control of a file.
const FILE: &str = "file";

#[derive(Template)]
#[template(path = "live.html")]
struct LivePart<'a> {
    title: String,
    origin: &'a str,
    action: String,
    link: String,
    json: String,
    count: String,
    refused: bool,
    form: Form,
    out: Option<Out>,
}

/// The page of a calculation. `typed` holds what was sent, as dotted keys and texts; `origin` is scheme and host.
pub fn entry_page(entry: &Entry, typed: &[(String, String)], outcome: Outcome, origin: &str) -> String {
    let mut form = Form::new(entry, typed, outcome);
    let upload = entry.meta.slug == RecordedProfile::META.slug;
    // What stands at no value is wrong with the file.
    for fault in form.faults.iter_mut().filter(|fault| upload && fault.target.is_none()) {
        fault.target = Some(FILE.into());
    }
    let link = link(entry, typed, &form, outcome);
    print(&RoomPage {
        shell: Shell::new(title(entry, outcome), "").of_calculation(entry.meta.slug),
        title: entry.meta.title,
        job: entry.meta.job,
        origin,
        action: format!("/{}", entry.meta.slug),
        json: format!("{link}&format=json"),
        link,
        count: count(&form),
        refused: !outcome.faults().is_empty(),
        out: out(entry, outcome, &form),
        of_file: form
            .faults
            .iter()
            .filter(|fault| fault.target.as_deref() == Some(FILE))
            .map(|fault| fault.message.clone())
            .collect(),
        form,
        upload,
        of_design: SECTIONS
            .iter()
            .flat_map(|section| section.kinds)
            .any(|kind| kind.entry.meta.slug == entry.meta.slug),
    })
}

/// The parts of the page that follow the values, in a document of their own: the results, the address, and the state of
/// every field.
pub fn live_part(entry: &Entry, typed: &[(String, String)], outcome: Outcome, origin: &str) -> String {
    let form = Form::new(entry, &[], outcome);
    let link = link(entry, typed, &form, outcome);
    print(&LivePart {
        title: title(entry, outcome),
        origin,
        action: format!("/{}", entry.meta.slug),
        json: format!("{link}&format=json"),
        link,
        count: count(&form),
        refused: !outcome.faults().is_empty(),
        out: out(entry, outcome, &form),
        form,
    })
}

/// The answer as text: of very many values it is long as well, and what comes later stands folded.
fn out(entry: &Entry, outcome: Outcome, form: &Form) -> Option<Out> {
    let answer = outcome.answer()?;
    let mut out = Out::new(entry, answer);
    let told = |way, verdicts: &[Verdict]| told_at(way, verdicts, entry, answer);
    out.turns = told("turns", &[Verdict::Fails]);
    out.nearest = told("nearest", &[Verdict::Thin, Verdict::Holds]);
    if form.is_long() {
        out.fold();
    }
    Some(out)
}

fn title(entry: &Entry, outcome: Outcome) -> String {
    if outcome.faults().is_empty() { entry.meta.title.into() } else { format!("Error: {}", entry.meta.title) }
}

/// The address of the shown answer; without one, that of what was typed as far as the form has a place for it.
fn link(entry: &Entry, typed: &[(String, String)], form: &Form, outcome: Outcome) -> String {
    if let Some(answer) = outcome.answer() {
        return answer.address.clone();
    }
    let known = |key: &str| form.rows().any(|row| row.key == key);
    let known: Vec<(String, String)> = typed.iter().filter(|(key, _)| known(key)).cloned().collect();
    entry.address_of(&known)
}

fn count(form: &Form) -> String {
    let all = form.rows().count();
    match form.changed {
        0 => format!("All {all} values are defaults."),
        1 => format!("1 of {all} values differs from its default."),
        some => format!("{some} of {all} values differ from their defaults."),
    }
}

#[cfg(test)]
pub mod tests;
