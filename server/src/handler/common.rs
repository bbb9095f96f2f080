//! What the pages of a design and its interface share: bodies taken apart, answers and their headers.

use axum::http::header::{CACHE_CONTROL, VARY};
use axum::http::{HeaderName, HeaderValue};
use axum::response::{IntoResponse, Redirect, Response};
use sensewright_core::design::Design;
use sensewright_core::design::answer::{self, Include};
use sensewright_core::design::assess::assess_to;
use sensewright_core::design::cost::Questions;
use serde_json::Value;
use time::OffsetDateTime;

use crate::budget::{Asked, Budget};
use crate::error::Fault;
use crate::form::Pair;
use crate::gate::Job;
use crate::json;

/// The day, in UTC.
pub fn today() -> String {
    let today = OffsetDateTime::now_utc().date();
    format!("{} {} {}", today.day(), today.month(), today.year())
}

/// Takes the first pair of a key out.
pub fn take(pairs: &mut Vec<Pair>, key: &str) -> Option<String> {
    let at = pairs.iter().position(|(name, _)| name == key)?;
    Some(pairs.remove(at).1)
}

/// A document in any known schema; the envelope of an answer is opened, too.
pub fn design_of(document: Value) -> Result<Design, Fault> {
    let document = match document {
        Value::Object(mut map) if map.contains_key("result") && map.contains_key("input") => {
            map.remove("input").unwrap_or_default()
        }
        Value::Object(mut map)
            if map.contains_key("design") && map.contains_key("title") && !map.contains_key("pack") =>
        {
            map.remove("design").unwrap_or_default()
        }
        other => other,
    };
    Design::read(&document).map_err(Fault::Invalid)
}

/// The answer to a program that asks for these members.
///
/// # Errors
/// It costs too much.
pub fn answered(design: Design, include: Include, budget: Budget) -> Result<Job, Fault> {
    let cost = budget.allow(&Asked::design(&design, include.depth(), Questions::of(&include)))?;
    Ok(Job::new(cost, move |work| {
        let assessed = assess_to(&design, include.depth(), work)?;
        Ok((current(), json::answer(&answer::answer(&assessed, &include, work)?)?).into_response())
    }))
}

/// See the address.
pub fn see(address: &str) -> Response {
    (uncached(), Redirect::to(address)).into_response()
}

/// What must not be kept.
pub const fn uncached() -> [(HeaderName, &'static str); 1] {
    [(CACHE_CONTROL, "no-store")]
}

/// A page with a form: it is asked for each time; and one address has several answers.
pub fn fresh() -> [(HeaderName, HeaderValue); 2] {
    [(CACHE_CONTROL, HeaderValue::from_static("no-store")), (VARY, HeaderValue::from_static("accept, x-part"))]
}

/// The next version of the server may answer differently, so a cache has to ask; and one address has several answers.
pub fn current() -> [(HeaderName, HeaderValue); 2] {
    [(CACHE_CONTROL, HeaderValue::from_static("no-cache")), (VARY, HeaderValue::from_static("accept, x-part"))]
}
