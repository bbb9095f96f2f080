//! # The page of a calculation
//!
//! Values on the left, what follows from them on the right. The page of a refusal is the same page: the summary on top,
//! the message at each field, everything typed as typed.

use askama::Template;
use sensewright_core::calculation::Room;

use crate::Outcome;
use crate::form::{Control, Form, Piece};
use crate::result::{BlockText, Out};
use crate::shell::{Shell, print};

#[derive(Template)]
#[template(path = "room.html")]
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
    carry: Option<(&'a str, &'a str)>,
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

/// The page of a calculation. `typed` holds what was sent, as dotted keys and texts; `origin` is scheme and host; `carry`
/// is the token of the design that the page was opened from, and the key of the part that it is there.
pub fn room_page(
    room: &Room,
    typed: &[(String, String)],
    outcome: Outcome,
    origin: &str,
    carry: Option<(&str, &str)>,
) -> String {
    let form = Form::new(room, typed, outcome);
    let link = link(room, outcome);
    print(&RoomPage {
        shell: Shell::new(title(room, outcome), ""),
        title: room.meta.title,
        job: room.meta.job,
        origin,
        action: format!("/{}", room.meta.slug),
        json: format!("{link}&format=json"),
        link,
        count: count(&form),
        refused: !outcome.faults().is_empty(),
        out: outcome.answer().map(|answer| Out::new(room, answer)),
        form,
        carry,
    })
}

/// The parts of the page that follow the values, in a document of their own: the results, the address, and the state of
/// every field.
pub fn live_part(room: &Room, outcome: Outcome, origin: &str) -> String {
    let form = Form::new(room, &[], outcome);
    let link = link(room, outcome);
    print(&LivePart {
        title: title(room, outcome),
        origin,
        action: format!("/{}", room.meta.slug),
        json: format!("{link}&format=json"),
        link,
        count: count(&form),
        refused: !outcome.faults().is_empty(),
        out: outcome.answer().map(|answer| Out::new(room, answer)),
        form,
    })
}

fn title(room: &Room, outcome: Outcome) -> String {
    if outcome.faults().is_empty() { room.meta.title.into() } else { format!("Error: {}", room.meta.title) }
}

/// The address of the shown answer; without one, the address of the start values.
fn link(room: &Room, outcome: Outcome) -> String {
    outcome.answer().map_or_else(|| room.address(&room.start()), |answer| answer.link.clone())
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
