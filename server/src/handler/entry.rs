//! A calculation by its address: the page, its live part, JSON, or a file.

use std::sync::Arc;

use axum::Json;
use axum::http::StatusCode;
use axum::http::header::{CACHE_CONTROL, VARY};
use axum::response::{Html, IntoResponse, Redirect, Response};
use sensewright_core::calculation::{Answer, Ask, Depth, Entry};
use sensewright_core::field::{Notation, form_tree};
use sensewright_core::work::{Refused, Work};
use sensewright_web::Outcome;

use crate::audience::Audience;
use crate::error::Fault;
use crate::question::{File, Question};
use crate::site::Site;

use super::download;

/// Answers an address of a calculation.
///
/// # Errors
/// Faults of the input when a program asks, and load; a person gets the faults on the page.
pub async fn page(site: Arc<Site>, question: Question, entry: &'static Entry) -> Result<Response, Fault> {
    let mut response = site.heavy.run(move |work: Work| respond(&question, entry, work)).await??;
    // One address, several answers: caches must tell them apart, and a browser that goes back must not find a part.
    response.headers_mut().insert(VARY, const { axum::http::HeaderValue::from_static("accept, x-part") });
    Ok(response)
}

/// A table as CSV or a chart as SVG, by the path of its file.
///
/// # Errors
/// No such file, faults of the input, and load.
pub async fn file(
    site: Arc<Site>,
    question: Question,
    entry: &'static Entry,
    format: &'static str,
    name: String,
) -> Result<Response, Fault> {
    let work = move |work: Work| {
        let answer = solve(&question, entry, Depth::Page, work)?;
        let part = name.strip_suffix(format).and_then(|name| name.strip_suffix('.')).ok_or(Fault::NotFound)?;
        download::part_of(&answer, &File { format, part: part.into() })
    };
    site.heavy.run(work).await?
}

fn respond(question: &Question, entry: &'static Entry, work: Work) -> Result<Response, Fault> {
    let program = question.audience == Audience::Program && question.file.is_none();
    let solved = solve(question, entry, if program { Depth::Whole } else { Depth::Page }, work);
    let solved = match solved {
        Ok(answer) => Ok(answer),
        Err(Refused::Faults(faults)) => Err(faults),
        Err(Refused::Stopped) => return Err(Fault::Stopped),
    };
    if let Some(file) = &question.file {
        return download::part_of(&solved.map_err(Fault::Invalid)?, file);
    }
    match (solved, question.audience) {
        (Ok(answer), Audience::Program) => Ok((current(), Json(answer)).into_response()),
        (Err(faults), Audience::Program) => Err(Fault::Invalid(faults)),
        (Ok(answer), Audience::Person) if !question.live && !question.is_short(&answer.link) => {
            // A form without script sends every field; what stays in the address bar is the short address.
            Ok((current(), Redirect::to(&answer.link)).into_response())
        }
        (Ok(answer), Audience::Person) => Ok(drawn(StatusCode::OK, question, entry, Outcome::Solved(&answer))),
        (Err(faults), Audience::Person) => {
            let outcome = Outcome::Refused { faults: &faults, last: None };
            Ok(drawn(StatusCode::UNPROCESSABLE_ENTITY, question, entry, outcome))
        }
    }
}

/// Reads the values of an address and works them out.
///
/// # Errors
/// Every fault of the input, or the work was stopped.
pub fn solve(question: &Question, entry: &Entry, depth: Depth, work: Work) -> Result<Answer, Refused> {
    let tree = form_tree(&question.pairs)?;
    entry.solve(&*entry.read(Some(&tree), Notation::Form)?, Ask::to(depth), work)
}

fn drawn(status: StatusCode, question: &Question, entry: &Entry, outcome: Outcome) -> Response {
    if question.live {
        let part = sensewright_web::live_part(entry, outcome, &question.origin);
        return (status, [(CACHE_CONTROL, "no-store")], Html(part)).into_response();
    }
    let page = sensewright_web::entry_page(entry, &question.pairs, outcome, &question.origin);
    (status, current(), Html(page)).into_response()
}

/// The next version of the server may answer differently, so a cache has to ask.
const fn current() -> [(axum::http::HeaderName, &'static str); 1] {
    [(CACHE_CONTROL, "no-cache")]
}
