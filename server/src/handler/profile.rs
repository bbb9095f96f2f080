//! A recorded profile that is sent: as the body, or as a part of a form.

use std::future::{poll_fn, ready};
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, HttpBody};
use axum::extract::{FromRequest, Request, State};
use axum::http::header::{ACCEPT, CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use bytes::Bytes;
use http_body::Frame;
use sensewright_core::calc::charge::charge_counting::profile::{answer, of_file};
use sensewright_core::calculation::{Answer, Depth, Entry};
use sensewright_core::field::{FieldError, Notation, form_tree, read, told};
use sensewright_core::json::tree;
use sensewright_core::profile::{Built, ProfileInput};
use sensewright_core::work::Work;
use sensewright_web::Outcome;
use serde_json::{Value, json};
use tokio::time::{Interval, MissedTickBehavior, interval};

use crate::audience::Audience;
use crate::body::readable;
use crate::client::Client;
use crate::connections::Line;
use crate::desk::Desk;
use crate::error::Fault;
use crate::form::Pair;
use crate::json;
use crate::media::{bare_kind, is_file, kind};
use crate::multipart::{Parts, boundary};
use crate::question::{origin, pairs_of};
use crate::site::Site;
use crate::upload::{Carrier, Course, Received, Refused, receive};

use super::api::{self, JsonBody};

/// How often a program that wants to know is told how far its file has come.
const TOLD_EACH: Duration = Duration::from_millis(500);
/// Lines of JSON.
pub const NDJSON: &str = "application/x-ndjson";

/// Takes a profile from a program, or the question for one that is built in.
///
/// # Errors
/// What is wrong with file, options and body, and load.
pub async fn api(desk: Desk, request: Request, entry: &'static Entry) -> Result<Response, Fault> {
    if !is_file(&request) {
        return {
            let body = JsonBody::from_request(request, &desk.site).await?;
            api::calculate(desk, body, entry).await
        };
    }
    let site = desk.site;
    let (parts, body) = request.into_parts();
    let held = site.uploads.place(Client::in_extensions(&parts.extensions))?;
    let working = parts.extensions.get::<Arc<Line>>().map(Line::upload);
    let carrier = carrier(&parts.headers, &parts.uri)?;
    let progress = wants(&parts.headers, NDJSON);
    let course = Arc::new(Course::default());
    let followed = Arc::clone(&course);
    let work = async move {
        let _held = (held, working);
        let received =
            receive(&site.uploads, carrier, of_program, body, &course).await.map_err(|refused| refused.fault)?;
        answered(received, Depth::Whole).map(|(answer, _)| answer)
    };
    if !progress {
        return Ok((kept(), json::answer(&work.await?)?).into_response());
    }
    let work = begun(Box::pin(work), &followed).await;
    let mut ticks = interval(TOLD_EACH);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let told = Told { work: Some(work), course: followed, ticks };
    Ok(([(CONTENT_TYPE, NDJSON), (CACHE_CONTROL, "no-store")], Body::new(told)).into_response())
}

/// Takes a profile from the form of its page.
///
/// # Errors
/// A body that is no form, and load; what is wrong with file and values stands on the page.
pub async fn page(State(site): State<Arc<Site>>, request: Request, entry: &'static Entry) -> Result<Response, Fault> {
    let (parts, body) = request.into_parts();
    let _held = site.uploads.place(Client::in_extensions(&parts.extensions))?;
    let _working = parts.extensions.get::<Arc<Line>>().map(Line::upload);
    readable(&parts.headers)?;
    let boundary = boundary(kind(&parts.headers)).ok_or(Fault::NotAForm)?;
    let program = Audience::of(&parts.uri, &parts.headers) == Audience::Program;
    let origin = origin(&site, &parts.headers);
    let carrier = Carrier::Parts(Box::new(Parts::new(&boundary)));
    let done = receive(&site.uploads, carrier, of_form, body, &Arc::default()).await;
    let depth = if program { Depth::Whole } else { Depth::Page };
    let drawn = |status: StatusCode, pairs: &[Pair], outcome: Outcome| {
        let page = sensewright_web::entry_page(entry, pairs, outcome, &origin);
        (status, [(CACHE_CONTROL, "no-store")], Html(page)).into_response()
    };
    match done {
        Ok(received) => {
            let (answer, pairs) = answered(received, depth)?;
            if program {
                let name = [(CONTENT_DISPOSITION, "attachment; filename=\"profile.json\"")];
                return Ok((kept(), name, json::answer(&answer)?).into_response());
            }
            Ok(drawn(StatusCode::OK, &pairs, Outcome::Solved(&answer)))
        }
        Err(Refused { fault, pairs }) => match &fault {
            Fault::Invalid(faults) | Fault::Unread { faults, .. } if !program => {
                let outcome = Outcome::Refused { faults: told(faults), last: None };
                Ok(drawn(StatusCode::UNPROCESSABLE_ENTITY, &pairs, outcome))
            }
            _ => Err(fault),
        },
    }
}

fn answered(received: Received, depth: Depth) -> Result<(Answer, Vec<Pair>), Fault> {
    let Received { input, output, pairs } = received;
    Ok((answer(&input, output, depth, Work::FREE)?, pairs))
}

/// An answer that nobody else gets.
const fn kept() -> [(axum::http::HeaderName, &'static str); 1] {
    [(CACHE_CONTROL, "no-store")]
}

fn wants(headers: &HeaderMap, wanted: &str) -> bool {
    let mut kinds =
        headers.get_all(ACCEPT).iter().filter_map(|value| value.to_str().ok()).flat_map(|text| text.split(','));
    kinds.any(|kind| kind.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case(wanted)))
}

/// How a program sends its file.
fn carrier(headers: &HeaderMap, uri: &axum::http::Uri) -> Result<Carrier, Fault> {
    readable(headers)?;
    if let Some(boundary) = boundary(kind(headers)) {
        return Ok(Carrier::Parts(Box::new(Parts::new(&boundary))));
    }
    if !["text/csv", "text/plain", "application/octet-stream"].contains(&bare_kind(headers).as_str()) {
        return Err(Fault::NotAProfile);
    }
    of_program(&pairs_of(uri)?).map(|input| Carrier::Raw(Box::new(input))).map_err(Fault::Invalid)
}

/// The options of a program: JSON under one name, or the values of the page's link as they stand in it. Where nothing is
/// said there is no chain; a link means what its page shows.
fn of_program(pairs: &[Pair]) -> Result<ProfileInput, Vec<FieldError>> {
    if !pairs.is_empty() && pairs.iter().all(|(name, _)| name != "options") {
        return of_form(pairs);
    }
    let unknown = pairs.iter().find(|(name, _)| name != "options");
    let fault = |code: &str, message: String, got: &str| FieldError {
        field: "/options".into(),
        code: code.into(),
        message,
        accepted: "one JSON object".into(),
        got: got.chars().take(80).collect(),
    };
    if let Some((name, _)) = unknown.or_else(|| pairs.get(1)) {
        return Err(vec![fault("unknown", "Options are one JSON object under the name options.".into(), name)]);
    }
    let given = pairs.first().map(|(_, text)| json::read(text.as_bytes())).transpose();
    let given = given.map_err(|wrong| match wrong {
        Fault::NotJson { reason, line, column } => {
            let message =
                format!("The options are no JSON that can be read: {reason}, at line {line}, column {column}.");
            vec![fault("not-json", message, &pairs[0].1)]
        }
        other => other.faults("/options"),
    })?;
    checked(read(Some(&of_file(given.as_ref())), Notation::Json)?)
}

/// The values of the page's form; which profile is built in counts for nothing where a file comes.
fn of_form(pairs: &[Pair]) -> Result<ProfileInput, Vec<FieldError>> {
    let beside = ["profile", "v"];
    let typed: Vec<Pair> = pairs.iter().filter(|(name, _)| !beside.contains(&name.as_str())).cloned().collect();
    let mut tree = form_tree(&typed)?;
    if let Value::Object(map) = &mut tree {
        map.insert("profile".into(), Built::File.word().into());
    }
    checked(read(Some(&tree), Notation::Form)?)
}

fn checked(input: ProfileInput) -> Result<ProfileInput, Vec<FieldError>> {
    let faults = input.contradictions();
    if faults.is_empty() { Ok(input) } else { Err(faults) }
}

type Working = Pin<Box<dyn Future<Output = Result<Answer, Fault>> + Send>>;

/// The work once the first of the file has come: who waits to be told to continue would take an answer for a refusal.
async fn begun(mut work: Working, course: &Course) -> Working {
    let done = poll_fn(|cx| match work.as_mut().poll(cx) {
        Poll::Ready(done) => Poll::Ready(Some(done)),
        Poll::Pending if course.bytes.load(Ordering::Relaxed) > 0 => Poll::Ready(None),
        Poll::Pending => Poll::Pending,
    });
    match done.await {
        Some(done) => Box::pin(ready(done)),
        None => work,
    }
}

/// Lines of JSON: how far it is, and the answer at last.
struct Told {
    work: Option<Working>,
    course: Arc<Course>,
    ticks: Interval,
}

impl HttpBody for Told {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let Some(work) = &mut self.work else { return Poll::Ready(None) };
        let line = match work.as_mut().poll(cx) {
            Poll::Ready(done) => {
                self.work = None;
                match done {
                    Ok(answer) => json!({"answer": tree(&answer)}),
                    Err(fault) => json!({"problem": fault.problem("")}),
                }
            }
            Poll::Pending => {
                if self.ticks.poll_tick(cx).is_pending() {
                    return Poll::Pending;
                }
                let [rows, bytes] = [&self.course.rows, &self.course.bytes].map(|count| count.load(Ordering::Relaxed));
                json!({"progress": {"rows": rows, "bytes": bytes}})
            }
        };
        Poll::Ready(Some(Ok(Frame::data(Bytes::from(format!("{line}\n"))))))
    }
}
