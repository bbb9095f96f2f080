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
}

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
    let form = Form::new(entry, typed, outcome);
    let link = link(entry, outcome);
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
        form,
        upload: entry.meta.slug == RecordedProfile::META.slug,
        of_design: SECTIONS
            .iter()
            .flat_map(|section| section.kinds)
            .any(|kind| kind.entry.meta.slug == entry.meta.slug),
    })
}

/// The parts of the page that follow the values, in a document of their own: the results, the address, and the state of
/// every field.
pub fn live_part(entry: &Entry, outcome: Outcome, origin: &str) -> String {
    let form = Form::new(entry, &[], outcome);
    let link = link(entry, outcome);
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

/// The address of the shown answer; without one, the address of the start values.
fn link(entry: &Entry, outcome: Outcome) -> String {
    outcome.answer().map_or_else(|| entry.address(entry.start()), |answer| answer.address.clone())
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
