//! The pages of a design, whose token stands in their path: overview, a part in focus, and what changes it.
//!
//! `/worksheet/<token>/` is the overview, `/worksheet/<token>/current.1` a part; `<token>~<from>` says where the visit began.
//! A change is answered with the address of the changed design.

use std::collections::HashMap;

use axum::Json;
use axum::extract::Path;
use axum::http::header::CACHE_CONTROL;
use axum::http::{HeaderName, StatusCode, Uri};
use axum::response::{Html, IntoResponse, Redirect, Response};
use sensewright_core::calculation::{Depth, ENGINE};
use sensewright_core::design::assess::assess_to;
use sensewright_core::design::cost::Questions;
use sensewright_core::design::link::CARRIED;
use sensewright_core::design::{Design, link, section};
use sensewright_core::field::{FieldError, form_tree, told};
use sensewright_core::work::{Refused, Work};
use sensewright_web::PACK;
use serde_json::Value;

use super::common::{current, design_of, see, take, uncached};
use super::sheet::{Shown, View, arrive, drawn, granted, no_part, show, shown};
use super::visit::Visit;
use crate::audience::Audience;
use crate::budget::{Asked, Budget, Granted};
use crate::desk::Desk;
use crate::error::Fault;
use crate::form::{FormBody, Pair};
use crate::gate::Job;
use crate::json;
use crate::question::Question;

/// A new design, or the address of former versions: it leads to the path, for ever.
///
/// # Errors
/// A link that cannot be opened.
pub async fn entrance(question: Question, uri: Uri) -> Result<Response, Fault> {
    match question.one("d") {
        Some(text) => moved(text, "", &uri),
        None => {
            // Which kind of source is asked for stands in the address.
            let asked: Vec<Pair> = question.pairs.iter().filter(|(key, _)| key == "pack.source").cloned().collect();
            Ok((current(), Html(sensewright_web::fresh_page(&asked, &[], ""))).into_response())
        }
    }
}

/// The report's address of former versions.
///
/// # Errors
/// No design is named, or its link cannot be opened.
pub async fn former_report(question: Question, uri: Uri) -> Result<Response, Fault> {
    moved(question.one("d").ok_or(Fault::NotFound)?, "report", &uri)
}

fn moved(text: &str, page: &str, uri: &Uri) -> Result<Response, Fault> {
    let token = link::token_in(text);
    link::open(token).map_err(Fault::BadLink)?;
    let query: Vec<&str> = uri.query().unwrap_or_default().split('&').collect();
    let kept = ["format=", "part=", "include="];
    let kept: Vec<&str> = query.into_iter().filter(|pair| kept.iter().any(|key| pair.starts_with(key))).collect();
    let query = if kept.is_empty() { String::new() } else { format!("?{}", kept.join("&")) };
    Ok(Redirect::permanent(&format!("/worksheet/{token}/{page}{query}")).into_response())
}

/// A path without its last stroke, as it was written: its letters may mean what no header can hold.
pub async fn bare(uri: Uri) -> Redirect {
    Redirect::permanent(&format!("{}/", uri.path()))
}

/// Starts a design from its pack.
///
/// # Errors
/// A body that is no form, and load; what was typed wrong stands on the page.
pub async fn begin(desk: Desk, question: Question, FormBody(pairs): FormBody) -> Result<Response, Fault> {
    let plan = move |budget: Budget| {
        let (added, mut values): (Vec<Pair>, Vec<Pair>) = pairs.iter().cloned().partition(|(key, _)| key == "add");
        // What nobody has typed yet cannot be marked as assumed; a document beside it is opened by its own button.
        values.retain(|(key, _)| !key.contains(':') && key != DOCUMENT);
        let begun = form_tree(&values).and_then(|tree| Design::begin(&tree)).and_then(|mut design| {
            added.iter().try_for_each(|(_, what)| add(&mut design, what).map(drop))?;
            Ok(design)
        });
        match begun {
            Ok(design) => Ok(arrive(Visit::new(design), "", &question, budget)),
            Err(faults) => Ok(Job::light(move |_| {
                let document = pairs.iter().find(|(key, _)| key == DOCUMENT).map_or("", |(_, text)| text);
                let page = sensewright_web::fresh_page(&pairs, told(&faults), document);
                Ok((StatusCode::UNPROCESSABLE_ENTITY, uncached(), Html(page)).into_response())
            })),
        }
    };
    desk.run_design(plan).await
}

/// The box for a document on the page of a new design.
const DOCUMENT: &str = "document";

/// A document pasted or taken from a file, or the link of a design.
///
/// # Errors
/// A body that is no form, and load; a text that is neither stands again on the page, with what was typed of a pack.
pub async fn open(desk: Desk, question: Question, FormBody(mut pairs): FormBody) -> Result<Response, Fault> {
    let plan = move |budget: Budget| {
        let text = take(&mut pairs, DOCUMENT).unwrap_or_default();
        let design = match text.trim() {
            "" => Err(Fault::Invalid(vec![of_document(
                "Nothing was pasted: paste a design or take it from a file.".into(),
            )])),
            pasted if is_link(pasted) => {
                link::open(link::token_in(pasted)).map(|opened| opened.design).map_err(Fault::BadLink)
            }
            document => json::read(document.as_bytes()).and_then(design_of),
        };
        match design {
            Ok(design) => Ok(arrive(Visit::new(design), "", &question, budget)),
            Err(fault) => Ok(Job::light(move |_| {
                let faults = match fault {
                    Fault::NotJson { reason, line, column } => vec![of_document(not_json(&reason, line, column))],
                    other => other.faults("/document"),
                };
                // Every one of them is of the text, not of the values beside it.
                let faults: Vec<FieldError> =
                    faults.into_iter().map(|fault| FieldError { field: "/document".into(), ..fault }).collect();
                let page = sensewright_web::fresh_page(&pairs, told(&faults), &text);
                Ok((StatusCode::UNPROCESSABLE_ENTITY, uncached(), Html(page)).into_response())
            })),
        }
    };
    desk.run_design(plan).await
}

fn of_document(message: String) -> FieldError {
    FieldError {
        field: "/document".into(),
        code: "not-a-document".into(),
        message,
        accepted: "a JSON document".into(),
        got: String::new(),
    }
}

/// What is wrong with a text that was pasted, for who does not know a parser's words.
fn not_json(reason: &str, line: usize, column: usize) -> String {
    if reason.starts_with("EOF") {
        format!("The text is not JSON: it ends too early, at line {line}.")
    } else {
        format!("The text is not JSON: {reason}, at line {line}, column {column}.")
    }
}

/// Whether a text is an address or a token: no document has only their letters.
fn is_link(text: &str) -> bool {
    let letter = |letter: char| letter.is_ascii_alphanumeric() || "-_./:?=~&#%".contains(letter);
    text.len() > 20 && text.chars().all(letter)
}

/// The values of a calculation's own page, as a new part of a design: of the one whose link is pasted, or of a new one.
///
/// # Errors
/// A body that is no form, a link that cannot be opened, values that are refused, a calculation without a place in a design,
/// and load.
pub async fn take_in(desk: Desk, question: Question, FormBody(mut pairs): FormBody) -> Result<Response, Fault> {
    let plan = move |budget: Budget| {
        let values: Uri = take(&mut pairs, "values").unwrap_or_default().parse().map_err(|_| Fault::NotFound)?;
        let pasted = take(&mut pairs, "design").unwrap_or_default();
        let mut design = match pasted.trim() {
            "" => Design::start(),
            text => link::open(link::token_in(text)).map_err(Fault::BadLink)?.design,
        };
        let base = Visit::new(design.clone());
        let slug = values.path().trim_start_matches('/');
        let kinds = section::SECTIONS.iter().flat_map(|section| section.kinds.iter().map(move |kind| (section, kind)));
        let (section, kind) =
            kinds.into_iter().find(|(_, kind)| kind.entry.meta.slug == slug).ok_or(Fault::NotFound)?;
        let key = design.add(section, kind).ok_or_else(|| {
            Fault::Invalid(vec![no_such(
                "/design",
                section.title,
                "a design with room for one more part of this section",
            )])
        })?;
        let mut typed = crate::question::pairs_of(&values)?;
        typed.retain(|(name, _)| name != "v");
        let tree = form_tree(&typed).map_err(Fault::Invalid)?;
        design.take_back(&key, &tree).map_err(Fault::Invalid)?;
        Ok(arrive(base.onward(design), &key, &question, budget))
    };
    desk.run_design(plan).await
}

/// The overview.
///
/// # Errors
/// A link that cannot be opened, faults when a program asks, and load.
pub async fn overview(desk: Desk, Path(path): Path<String>, question: Question) -> Result<Response, Fault> {
    desk.run_design(move |budget| show(&path, "", question, budget)).await
}

/// A part in focus, the pack, and what else stands under a design's path.
///
/// # Errors
/// A link that cannot be opened, no such part, faults when a program asks, and load.
pub async fn place(
    desk: Desk,
    Path((path, place)): Path<(String, String)>,
    question: Question,
) -> Result<Response, Fault> {
    desk.run_design(move |budget| at(path, &place, question, budget)).await
}

/// What stands at a place under a design's path.
fn at(path: String, place: &str, question: Question, budget: Budget) -> Result<Job, Fault> {
    match place {
        "set" => set(&path, &question, budget),
        "report" => Ok(super::design::report(Visit::open(&path)?, question, budget)),
        "near" => Ok(super::design::near(Visit::open(&path)?, budget)),
        "running.css" => Ok(Job::light(move |_| Ok(super::design::running_head(Visit::open(&path)?.design())))),
        "compare" => compared(&path, question, budget),
        "document.json" => Ok(Job::light(move |_| {
            let document = Visit::open(&path)?.opened.design.document();
            Ok((current(), Json(Value::Object(document))).into_response())
        })),
        "badge.svg" => badge(&path, budget),
        place => show(&path, place, question, budget),
    }
}

/// What stands at a place of a design that came in a form. A page that has an address is shown there.
fn carried_to(token: String, place: &str, question: Question, budget: Budget) -> Result<Job, Fault> {
    let visit = Visit::open(&token)?;
    let is_page = place.is_empty() || ["report", "near", PACK].contains(&place) || visit.design().part(place).is_some();
    let path = visit.path_of(visit.design());
    if is_page && path != CARRIED && question.file.is_none() && question.audience == Audience::Person {
        let to = format!("{path}{place}");
        return Ok(Job::light(move |_| Ok(see(&to))));
    }
    at(token, place, question, budget)
}

/// An offered change: the address of the design with it, on the page it was offered on. `back` names a part, or what a part
/// rests on, that is to be as it was where the visit began.
fn set(path: &str, question: &Question, budget: Budget) -> Result<Job, Fault> {
    let visit = Visit::open(path)?;
    if question.one("begin").is_some() {
        return Ok(arrive(Visit::new(visit.opened.design), "", question, budget));
    }
    let at = question.one("at").unwrap_or_default();
    let ways = || vec![[format!("/worksheet/{path}/"), "The design as it was".into()]];
    let design = match question.one("back") {
        // Where there is no way back, the design stays as it is.
        Some(key) => {
            let was = visit.began.as_ref().and_then(|began| visit.design().taken_back(began, key));
            was.unwrap_or_else(|| Ok(visit.design().clone()))
        }
        None => {
            let values: Vec<Pair> = question.pairs.iter().filter(|(key, _)| key != "at").cloned().collect();
            form_tree(&values).and_then(|tree| visit.design().changed(&tree))
        }
    };
    let design = design.map_err(|faults| Fault::NotTaken { faults, ways: ways() })?;
    let at = if at == PACK || design.part(at).is_some() { at } else { "" };
    Ok(arrive(visit.onward(design), at, question, budget))
}

/// The press of a button on the overview, or of one that copies, moves or removes a part.
///
/// # Errors
/// A body that is no form, a link that cannot be opened, an action that does not exist, and load.
pub async fn act(
    desk: Desk,
    Path(path): Path<String>,
    question: Question,
    FormBody(mut pairs): FormBody,
) -> Result<Response, Fault> {
    let plan = move |budget: Budget| {
        let path = match take(&mut pairs, "token") {
            Some(token) if pairs.is_empty() => return carried_to(token, "", question, budget),
            token => token.unwrap_or(path),
        };
        let visit = Visit::open(&path)?;
        let mut design = visit.design().clone();
        let action = take(&mut pairs, "action").unwrap_or_default();
        let part = take(&mut pairs, "part").unwrap_or_default();
        let mut page = String::new();
        match action.as_str() {
            "add" if pairs.iter().all(|(key, _)| key != "add") => {
                let (view, granted) = (View::of(&question), granted(&visit, visit.design(), "", budget));
                let nothing = FieldError {
                    field: "/add".into(),
                    code: "missing".into(),
                    message: "Nothing is ticked: tick the parts to add.".into(),
                    accepted: "one part or several".into(),
                    got: String::new(),
                };
                let typed = Typed { values: Vec::new(), changed: Err(vec![nothing]), live: false };
                return Ok(Job::new(granted.cost, move |work| apply(visit, "", typed, &view, granted, work)));
            }
            "add" => {
                for (_, what) in pairs.iter().filter(|(key, _)| key == "add") {
                    page = add(&mut design, what).map_err(Fault::Invalid)?;
                }
                // Several at once: the overview shows them all.
                if pairs.len() > 1 || page.is_empty() {
                    page = "#parts".into();
                }
            }
            "copy" => page = design.copy(&part).unwrap_or(part),
            "up" | "down" => {
                design.shift(&part, action == "up");
                page = format!("{part}#order");
            }
            "remove" => design.remove(&part),
            "follow" => design.follow_the_pack(),
            _ => return Err(Fault::Invalid(vec![no_such("/action", &action, "add, copy, up, down, remove, follow")])),
        }
        Ok(arrive(visit.onward(design), &page, &question, budget))
    };
    desk.run_design(plan).await
}

/// Adds a part: `current:` or `protection:voltage`. Its key.
fn add(design: &mut Design, what: &str) -> Result<String, Vec<FieldError>> {
    let (key, tag) = what.split_once(':').unwrap_or((what, ""));
    let section = section::find(key);
    let kind = section.and_then(|section| section.kinds.iter().find(|kind| kind.tag == tag));
    match (section, kind) {
        (Some(section), Some(kind)) => match design.has_no_place_for(kind) {
            None => Ok(design.add(section, kind).unwrap_or_default()),
            Some(why) => Err(vec![FieldError::contradiction("/add", why, "a part that needs no cells", what)]),
        },
        _ => Err(vec![no_such("/add", what, "section:kind, such as protection:voltage")]),
    }
}

fn no_such(field: &str, got: &str, accepted: &str) -> FieldError {
    let got: String = got.chars().take(40).collect();
    FieldError {
        field: field.into(),
        code: "not-a-choice".into(),
        message: format!("There is nothing called \u{201c}{got}\u{201d} to do here."),
        accepted: accepted.into(),
        got,
    }
}

/// The form of a part or of the pack.
///
/// # Errors
/// A body that is no form, a link that cannot be opened, no such part, and load; what was typed wrong stands on the page.
pub async fn change(
    desk: Desk,
    Path((path, place)): Path<(String, String)>,
    question: Question,
    FormBody(mut pairs): FormBody,
) -> Result<Response, Fault> {
    desk.run_design(move |budget| {
        let path = match take(&mut pairs, "token") {
            Some(token) if pairs.is_empty() => return carried_to(token, &place, question, budget),
            token => token.unwrap_or(path),
        };
        let mut view = View::of(&question);
        view.all |= take(&mut pairs, "all").is_some();
        let visit = Visit::open(&path)?;
        if place != PACK && visit.design().part(&place).is_none() {
            return Err(no_part(&visit, &place));
        }
        let (values, changed) = changed(visit.design(), pairs);
        let granted = granted(&visit, changed.as_ref().unwrap_or_else(|_| visit.design()), &place, budget);
        let typed = Typed { values, changed, live: question.live };
        Ok(Job::new(granted.cost, move |work| apply(visit, &place, typed, &view, granted, work)))
    })
    .await
}

/// What was typed into a form.
struct Typed {
    values: Vec<Pair>,
    changed: Result<Design, Vec<FieldError>>,
    live: bool,
}

/// The values of a form, and the design that they make.
fn changed(base: &Design, pairs: Vec<Pair>) -> (Vec<Pair>, Result<Design, Vec<FieldError>>) {
    let (marks, values): (Vec<Pair>, Vec<Pair>) = pairs.into_iter().partition(|(key, _)| key.contains(':'));
    let changed = form_tree(&values).and_then(|tree| base.changed(&tree)).map(|mut design| {
        mark(&mut design, &marks);
        design
    });
    (values, changed)
}

fn apply(
    visit: Visit,
    place: &str,
    Typed { values, changed, live }: Typed,
    view: &View,
    granted: Granted,
    work: Work,
) -> Result<Response, Fault> {
    let work = work.at_most(granted.trials);
    // What is not drawn need not be worked out: a page follows.
    let depth = if live { Depth::Page } else { Depth::Requirements };
    let solved = changed.map_err(Refused::Faults);
    let solved = solved.and_then(|design| assess_to(&design, depth, work).map(|assessed| (design, assessed)));
    match solved {
        Ok((design, assessed)) if live => {
            let page = drawn(
                &visit,
                &Shown {
                    design: &design,
                    place,
                    path: &visit.path_of(&design),
                    assessed: Some(&assessed),
                    typed: &[],
                    faults: &[],
                    view,
                    live,
                    notice: granted.notice,
                    work,
                },
            )?;
            Ok((uncached(), Html(page)).into_response())
        }
        Ok((design, _)) => match visit.path_of(&design) {
            path if path == CARRIED => shown(&visit.onward(design), place, view, granted, work),
            path => Ok(see(&format!("{path}{place}{}", if view.all { sensewright_web::ALL } else { "" }))),
        },
        Err(Refused::Stopped) => Err(Fault::Stopped),
        Err(Refused::Faults(faults)) => {
            let base = visit.design();
            let last = assess_to(base, Depth::Page, work).ok();
            let page = drawn(
                &visit,
                &Shown {
                    design: base,
                    place,
                    path: &visit.path_of(base),
                    assessed: last.as_ref(),
                    typed: &values,
                    faults: told(&faults),
                    view,
                    live,
                    notice: granted.notice,
                    work,
                },
            )?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, uncached(), Html(page)).into_response())
        }
    }
}

/// Marks values as assumed: `why:<key>` is sent wherever the form has the tick, `assume:<key>` where it is set.
fn mark(design: &mut Design, marks: &[Pair]) {
    let marked: HashMap<&str, &str> = marks.iter().rev().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    let one = |prefix: &str, key: &str| marked.get(format!("{prefix}{key}").as_str()).copied();
    for (name, why) in marks {
        if let Some(key) = name.strip_prefix("why:") {
            design.assume(key, one("assume:", key).map(|_| why.as_str()));
        }
    }
}

/// The design held against others: the one that the visit began with, where none is named.
fn compared(path: &str, question: Question, budget: Budget) -> Result<Job, Fault> {
    let visit = Visit::open(path)?;
    let began = visit.began.as_ref().map(link::token);
    let mut asked: Vec<String> = question.all("with").chain(question.all("d")).map(str::to_owned).collect();
    asked.retain(|text| !text.trim().is_empty());
    if asked.is_empty() {
        asked.extend(began);
    }
    // What it was comes first: better and worse are said of what it became.
    asked.push(link::token(visit.design()));
    super::design::compared(asked, question, budget)
}

/// A sign for a page of a program: the verdict in a word and its counts.
fn badge(path: &str, budget: Budget) -> Result<Job, Fault> {
    let design = Visit::open(path)?.opened.design;
    let granted = budget.grant(&Asked::design(&design, Depth::Requirements, Questions::NONE));
    Ok(Job::new(granted.cost, move |work| signed(&design, work.at_most(granted.trials))))
}

fn signed(design: &Design, work: Work) -> Result<Response, Fault> {
    let assessed = assess_to(design, Depth::Requirements, work)?;
    let tag = format!("\"{ENGINE}-{}\"", sensewright_core::design::summary::fingerprint(design));
    let headers = [
        (axum::http::header::CONTENT_TYPE, "image/svg+xml".to_owned()),
        (CACHE_CONTROL, "no-cache".to_owned()),
        (axum::http::header::ETAG, tag),
        (HeaderName::from_static("cross-origin-resource-policy"), "cross-origin".to_owned()),
    ];
    Ok((headers, sensewright_web::badge_svg(&assessed)).into_response())
}
