//! A calculation by its address: the page, its live part, JSON, or a file.

use axum::http::StatusCode;
use axum::http::header::{CACHE_CONTROL, VARY};
use axum::response::{Html, IntoResponse, Redirect, Response};
use sensewright_core::calculation::{Answer, Ask, Depth, Entry};
use sensewright_core::design::alone::{alone, can_be_turned, cost_of_turning, nearest};
use sensewright_core::field::{FieldError, Notation, Typed, form_tree, told};
use sensewright_core::work::{Refused, Work};
use sensewright_web::Outcome;

use crate::audience::Audience;
use crate::budget::{Asked, Budget, Granted};
use crate::desk::Desk;
use crate::error::Fault;
use crate::gate::Job;
use crate::json;
use crate::question::{File, Question};

use super::download;

/// Answers an address of a calculation.
///
/// # Errors
/// Faults of the input when a program asks, and load; a person gets the faults on the page.
pub async fn page(desk: Desk, question: Question, entry: &'static Entry) -> Result<Response, Fault> {
    let mut response = desk.run(move |budget| plan(question, entry, budget)).await?;
    // One address, several answers: caches must tell them apart, and a browser that goes back must not find a part.
    response.headers_mut().insert(VARY, const { axum::http::HeaderValue::from_static("accept, x-part") });
    Ok(response)
}

/// A table as CSV or a chart as SVG, by the path of its file.
///
/// # Errors
/// No such file, faults of the input, and load.
pub async fn file(
    desk: Desk,
    mut question: Question,
    entry: &'static Entry,
    format: &'static str,
    name: String,
) -> Result<Response, Fault> {
    let part = name.strip_suffix(format).and_then(|name| name.strip_suffix('.')).ok_or(Fault::NotFound)?;
    question.file = Some(File { format, part: part.into() });
    desk.run(move |budget| plan(question, entry, budget)).await
}

/// What alone turns what fails at an address: a page, or the part of it that the page of the calculation takes in.
///
/// # Errors
/// Faults of the input, and load; a program asks for a whole design.
pub async fn turns(desk: Desk, question: Question, entry: &'static Entry) -> Result<Response, Fault> {
    let told = |input: Box<dyn Typed>, page: &Page, work: Work| {
        let found = alone(page.entry, input, work)?;
        Ok(page.told(found.as_ref(), sensewright_web::turns_part, sensewright_web::turns_page))
    };
    let not = |page: &Page| page.told(None, sensewright_web::turns_part, sensewright_web::turns_page);
    looked_at(desk, question, entry, told, not).await
}

/// Where what holds at an address would turn, in the same two ways.
///
/// # Errors
/// As [`turns`].
pub async fn near(desk: Desk, question: Question, entry: &'static Entry) -> Result<Response, Fault> {
    let told = |input: Box<dyn Typed>, page: &Page, work: Work| {
        let found = nearest(page.entry, input, work)?;
        Ok(page.told(found.as_ref(), sensewright_web::nearest_part, sensewright_web::nearest_page))
    };
    let not = |page: &Page| page.told(None, sensewright_web::nearest_part, sensewright_web::nearest_page);
    looked_at(desk, question, entry, told, not).await
}

/// The page of what is found with an input.
type Told = fn(Box<dyn Typed>, &Page, Work) -> Result<String, Refused>;

/// A page about a calculation at an address.
struct Page {
    entry: &'static Entry,
    address: String,
    live: bool,
}

impl Page {
    /// What was found, as the part or as the page.
    fn told<F>(
        &self,
        found: Option<&F>,
        part: fn(&Entry, Option<&F>) -> String,
        page: fn(&Entry, Option<&F>, &str) -> String,
    ) -> String {
        if self.live { part(self.entry, found) } else { page(self.entry, found, &self.address) }
    }
}

/// Looks at other values with the trials that were typed, or not at all: with fewer another one might turn it.
async fn looked_at(
    desk: Desk,
    question: Question,
    entry: &'static Entry,
    told: Told,
    not: fn(&Page) -> String,
) -> Result<Response, Fault> {
    if question.audience == Audience::Program || !can_be_turned(entry) {
        return Err(Fault::NotFound);
    }
    let plan = move |budget: Budget| {
        let input = form_tree(&question.pairs).and_then(|tree| entry.read(Some(&tree), Notation::Form));
        let input = input.map_err(Fault::Invalid)?;
        let page = Page { entry, address: entry.address(&input.written()), live: question.live };
        Ok(match budget.of_a_search(cost_of_turning(entry, &*input, Work::FREE)) {
            Some(cost) => Job::new(cost, move |work| Ok((current(), Html(told(input, &page, work)?)).into_response())),
            None => Job::light(move |_| Ok((current(), Html(not(&page))).into_response())),
        })
    };
    let mut response = desk.run(plan).await?;
    response.headers_mut().insert(VARY, const { axum::http::HeaderValue::from_static("accept, x-part") });
    Ok(response)
}

/// Reads the values of an address, and tells what their answer costs. A file cannot say that it is drawn with fewer trials.
fn plan(question: Question, entry: &'static Entry, budget: Budget) -> Result<Job, Fault> {
    let input = form_tree(&question.pairs).and_then(|tree| entry.read(Some(&tree), Notation::Form));
    let program = question.audience == Audience::Program && question.file.is_none();
    let depth = if program { Depth::Whole } else { Depth::Page };
    let input = match input {
        Ok(input) => input,
        Err(faults) => {
            return Ok(Job::light(move |_| respond(&question, entry, Err(faults))));
        }
    };
    let asked = Asked::One(entry, &*input, depth);
    let granted = if program || question.file.is_some() {
        Granted { cost: budget.allow(&asked)?, trials: u32::MAX, notice: None }
    } else {
        budget.grant(&asked)
    };
    Ok(Job::new(granted.cost, move |work| {
        let solved = match entry.solve(&*input, Ask::to(depth), work.at_most(granted.trials)) {
            Ok(mut answer) => {
                answer.cautions.extend(granted.notice);
                Ok(answer)
            }
            Err(Refused::Faults(faults)) => Err(faults),
            Err(Refused::Stopped) => return Err(Fault::Stopped),
        };
        respond(&question, entry, solved)
    }))
}

fn respond(
    question: &Question,
    entry: &'static Entry,
    solved: Result<Answer, Vec<FieldError>>,
) -> Result<Response, Fault> {
    if let Some(file) = &question.file {
        return download::part_of(&solved.map_err(Fault::Invalid)?, file);
    }
    match (solved, question.audience) {
        (Ok(answer), Audience::Program) => Ok((current(), json::answer(&answer)?).into_response()),
        (Err(faults), Audience::Program) => Err(Fault::Invalid(faults)),
        (Ok(answer), Audience::Person) if !question.live && !question.is_short(&answer.address) => {
            // A form without script sends every field; what stays in the address bar is the short address.
            Ok((current(), Redirect::to(&answer.address)).into_response())
        }
        (Ok(answer), Audience::Person) => Ok(drawn(StatusCode::OK, question, entry, Outcome::Solved(&answer))),
        (Err(faults), Audience::Person) => {
            let outcome = Outcome::Refused { faults: told(&faults), last: None };
            Ok(drawn(StatusCode::UNPROCESSABLE_ENTITY, question, entry, outcome))
        }
    }
}

fn drawn(status: StatusCode, question: &Question, entry: &Entry, outcome: Outcome) -> Response {
    if question.live {
        let part = sensewright_web::live_part(entry, &question.pairs, outcome, &question.origin);
        return (status, [(CACHE_CONTROL, "no-store")], Html(part)).into_response();
    }
    let page = sensewright_web::entry_page(entry, &question.pairs, outcome, &question.origin);
    (status, current(), Html(page)).into_response()
}

/// The next version of the server may answer differently, so a cache has to ask.
const fn current() -> [(axum::http::HeaderName, &'static str); 1] {
    [(CACHE_CONTROL, "no-cache")]
}
