//! The pages of a design, whose token stands in their path: overview, a part in focus, and what changes it.
//!
//! `/worksheet/<token>/` is the overview, `/worksheet/<token>/current.1` a part; `<token>~<from>` says where the visit began.
//! A change is answered with the address of the changed design.

use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, Path, State};
use axum::http::header::CACHE_CONTROL;
use axum::http::{HeaderMap, HeaderName, StatusCode, Uri};
use axum::response::{Html, IntoResponse, Redirect, Response};
use sensewright_core::calculation::{Depth, ENGINE};
use sensewright_core::design::answer::Include;
use sensewright_core::design::assess::{Assessed, assess_to};
use sensewright_core::design::{Design, link, section};
use sensewright_core::field::{FieldError, form_tree};
use sensewright_core::work::{Refused, Work};
use sensewright_web::{Began, PACK, Sheet};
use serde_json::Value;

use super::common::{answered, current, design_of, fresh, pairs_of, see, take, uncached};
use super::visit::{Visit, path_of};
use crate::audience::Audience;
use crate::error::Fault;
use crate::json;
use crate::question::{Origin, Pair, Question};
use crate::site::Site;

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

/// A path without its last stroke.
pub async fn bare(Path(token): Path<String>) -> Redirect {
    Redirect::permanent(&format!("/worksheet/{token}/"))
}

/// Starts a design from its pack.
///
/// # Errors
/// A body that is no form, and load; what was typed wrong stands on the page.
pub async fn begin(
    State(site): State<Arc<Site>>,
    form: Result<Form<Vec<Pair>>, FormRejection>,
) -> Result<Response, Fault> {
    let pairs = pairs_of(form, &site)?;
    let work = move |_: Work| {
        let (added, mut values): (Vec<Pair>, Vec<Pair>) = pairs.iter().cloned().partition(|(key, _)| key == "add");
        // What nobody has typed yet cannot be marked as assumed.
        values.retain(|(key, _)| !key.contains(':'));
        let begun = form_tree(&values).and_then(|tree| Design::begin(&tree)).and_then(|mut design| {
            added.iter().try_for_each(|(_, what)| add(&mut design, what).map(drop))?;
            Ok(design)
        });
        match begun {
            Ok(design) => Ok(see(&link::address(&design))),
            Err(faults) => {
                let page = sensewright_web::fresh_page(&pairs, &faults, "");
                Ok((StatusCode::UNPROCESSABLE_ENTITY, uncached(), Html(page)).into_response())
            }
        }
    };
    site.heavy.run(work).await?
}

/// A document pasted or taken from a file.
///
/// # Errors
/// A body that is no form, and load; a text that is no document stands again on the page.
pub async fn open(
    State(site): State<Arc<Site>>,
    form: Result<Form<Vec<Pair>>, FormRejection>,
) -> Result<Response, Fault> {
    let mut pairs = pairs_of(form, &site)?;
    let work = move |_: Work| {
        let text = take(&mut pairs, "document").unwrap_or_default();
        match json::read(text.as_bytes()).and_then(design_of) {
            Ok(design) => Ok(see(&link::address(&design))),
            Err(fault) => {
                let faults = fault.faults("/document");
                let page = sensewright_web::fresh_page(&[], &faults, &text);
                Ok((StatusCode::UNPROCESSABLE_ENTITY, uncached(), Html(page)).into_response())
            }
        }
    };
    site.heavy.run(work).await?
}

/// The values of a calculation's own page, as a new part of a design: of the one whose link is pasted, or of a new one.
///
/// # Errors
/// A body that is no form, a link that cannot be opened, values that are refused, a calculation without a place in a design,
/// and load.
pub async fn take_in(
    State(site): State<Arc<Site>>,
    form: Result<Form<Vec<Pair>>, FormRejection>,
) -> Result<Response, Fault> {
    let mut pairs = pairs_of(form, &site)?;
    let work = move |_: Work| {
        let values: Uri = take(&mut pairs, "values").unwrap_or_default().parse().map_err(|_| Fault::NotFound)?;
        let pasted = take(&mut pairs, "design").unwrap_or_default();
        let mut design = match pasted.trim() {
            "" => Design::start(),
            text => link::open(link::token_in(text)).map_err(Fault::BadLink)?.design,
        };
        let base = design.clone();
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
        let mut typed = crate::question::pairs_of(&values).unwrap_or_default();
        typed.retain(|(name, _)| name != "v");
        let tree = form_tree(&typed).map_err(Fault::Invalid)?;
        design.take_back(&key, &tree).map_err(Fault::Invalid)?;
        Ok(see(&format!("{}{key}", path_of(&design, &base))))
    };
    site.heavy.run(work).await?
}

/// The overview.
///
/// # Errors
/// A link that cannot be opened, faults when a program asks, and load.
pub async fn overview(
    State(site): State<Arc<Site>>,
    Path(path): Path<String>,
    question: Question,
) -> Result<Response, Fault> {
    site.heavy.run(move |work: Work| show(&path, "", &question, work)).await?
}

/// A part in focus, the pack, and what else stands under a design's path.
///
/// # Errors
/// A link that cannot be opened, no such part, faults when a program asks, and load.
pub async fn place(
    State(site): State<Arc<Site>>,
    Path((path, place)): Path<(String, String)>,
    question: Question,
) -> Result<Response, Fault> {
    let work = move |work: Work| match place.as_str() {
        "set" => set(&path, &question),
        "report" => super::design::report(&Visit::open(&path)?.opened, &question, work),
        "running.css" => Ok(super::design::running_head(Visit::open(&path)?.design())),
        "compare" => compared(&path, &question, work),
        "document.json" => {
            let document = Visit::open(&path)?.opened.design.document();
            Ok((current(), Json(Value::Object(document))).into_response())
        }
        "badge.svg" => badge(&path, work),
        place => show(&path, place, &question, work),
    };
    site.heavy.run(work).await?
}

/// What is said where a design has no such part: the parts that it has, and the way to them.
fn no_part(visit: &Visit, place: &str) -> Fault {
    let path = visit.path_of(visit.design());
    let place: String = place.chars().take(40).collect();
    let parts = visit.design().parts.iter();
    let ways = [[String::new(), "The whole design".into()], [PACK.into(), "Pack".into()]].into_iter();
    let ways = ways.chain(parts.map(|part| [part.key(), format!("{}: {}", part.key(), part.title())]));
    let ways: Vec<[String; 2]> = ways.map(|[key, words]| [format!("{path}{key}"), words]).collect();
    let words: Vec<&str> = ways.iter().skip(1).map(|[_, words]| words.as_str()).collect();
    let detail = format!("This design has no part \u{201c}{place}\u{201d}. It has: {}.", words.join("; "));
    Fault::Lost { detail, ways }
}

fn show(path: &str, place: &str, question: &Question, work: Work) -> Result<Response, Fault> {
    let visit = Visit::open(path)?;
    let design = visit.design();
    if !place.is_empty() && place != PACK && design.part(place).is_none() {
        return Err(no_part(&visit, place));
    }
    if question.audience == Audience::Program && question.file.is_none() {
        let include = Include::read(question.one("include").unwrap_or_default()).map_err(Fault::Invalid)?;
        return answered(design, &include, work);
    }
    let assessed = match assess_to(design, Depth::Page, work) {
        Ok(assessed) => Ok(assessed),
        Err(Refused::Stopped) => return Err(Fault::Stopped),
        Err(Refused::Faults(faults)) => Err(faults),
    };
    if let Some(file) = &question.file {
        let assessed = assessed.map_err(Fault::Invalid)?;
        let export = sensewright_web::design_export(&assessed, file.format, &file.part).ok_or(Fault::NotFound)?;
        return Ok(super::download::attached(export));
    }
    let status = if assessed.is_ok() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let (assessed, faults) = match assessed {
        Ok(assessed) => (Some(assessed), Vec::new()),
        Err(faults) => (None, faults),
    };
    let page = drawn(
        &visit,
        &Shown {
            design,
            place,
            path: &visit.path_of(design),
            assessed: assessed.as_ref(),
            typed: &typed_of(design, &faults),
            faults: &faults,
            origin: &question.origin,
            live: false,
            work,
        },
    )?;
    // A form that a browser has kept would show what was typed under an address that does not say it.
    let kept = if place.is_empty() { current() } else { fresh() };
    Ok((status, kept, Html(page)).into_response())
}

/// What stands in a form whose values are refused together although each is accepted: what was typed.
fn typed_of(design: &Design, faults: &[FieldError]) -> Vec<Pair> {
    if faults.is_empty() { Vec::new() } else { sensewright_web::typed_pairs(design) }
}

/// What a page shows.
struct Shown<'a> {
    design: &'a Design,
    place: &'a str,
    path: &'a str,
    assessed: Option<&'a Assessed>,
    typed: &'a [Pair],
    faults: &'a [FieldError],
    origin: &'a str,
    live: bool,
    work: Work<'a>,
}

fn drawn(visit: &Visit, shown: &Shown) -> Result<String, Fault> {
    let began = visit.began.as_ref().filter(|began| *began != shown.design);
    // The first change of a visit: it began with the design that the form was drawn from.
    let began = began.or_else(|| (shown.design != visit.design()).then(|| visit.design()));
    let before = match began.map(|began| assess_to(began, Depth::Page, shown.work)) {
        Some(Ok(assessed)) => Some(assessed),
        Some(Err(Refused::Stopped)) => return Err(Fault::Stopped),
        _ => None,
    };
    let sheet = Sheet {
        design: shown.design,
        path: shown.path,
        assessed: shown.assessed,
        began: began.map(|design| Began { design, assessed: before.as_ref() }),
        typed: shown.typed,
        faults: shown.faults,
        notice: visit.notice(),
        origin: shown.origin,
        work: shown.work,
    };
    let page = match (shown.place, shown.live) {
        ("", _) => Some(sensewright_web::overview_page(&sheet)),
        (place, true) => sensewright_web::focus_live(&sheet, place),
        (place, false) => sensewright_web::focus_page(&sheet, place),
    };
    page.ok_or(Fault::NotFound)
}

/// An offered change: the address of the design with it, on the page it was offered on.
fn set(path: &str, question: &Question) -> Result<Response, Fault> {
    let visit = Visit::open(path)?;
    if question.one("begin").is_some() {
        return Ok(see(&link::address(visit.design())));
    }
    let at = question.one("at").unwrap_or_default();
    let values: Vec<Pair> = question.pairs.iter().filter(|(key, _)| key != "at").cloned().collect();
    let design = form_tree(&values).and_then(|tree| visit.design().changed(&tree)).map_err(Fault::Invalid)?;
    let at = if at == PACK || design.part(at).is_some() { at } else { "" };
    Ok(see(&format!("{}{at}", visit.path_of(&design))))
}

/// The press of a button on the overview, or of one that copies, moves or removes a part.
///
/// # Errors
/// A body that is no form, a link that cannot be opened, an action that does not exist, and load.
pub async fn act(
    State(site): State<Arc<Site>>,
    Path(path): Path<String>,
    form: Result<Form<Vec<Pair>>, FormRejection>,
) -> Result<Response, Fault> {
    let mut pairs = pairs_of(form, &site)?;
    let work = move |_: Work| {
        let visit = Visit::open(&path)?;
        let mut design = visit.design().clone();
        let action = take(&mut pairs, "action").unwrap_or_default();
        let part = take(&mut pairs, "part").unwrap_or_default();
        let mut page = String::new();
        match action.as_str() {
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
                page = part;
            }
            "remove" => design.remove(&part),
            "follow" => design.follow_the_pack(),
            _ => return Err(Fault::Invalid(vec![no_such("/action", &action, "add, copy, up, down, remove, follow")])),
        }
        Ok(see(&format!("{}{page}", visit.path_of(&design))))
    };
    site.heavy.run(work).await?
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
    State(site): State<Arc<Site>>,
    Path((path, place)): Path<(String, String)>,
    Origin(origin): Origin,
    headers: HeaderMap,
    form: Result<Form<Vec<Pair>>, FormRejection>,
) -> Result<Response, Fault> {
    let pairs = pairs_of(form, &site)?;
    let live = headers.get("x-part").is_some_and(|part| part == "live");
    site.heavy.run(move |work: Work| apply(&path, &place, pairs, live, &origin, work)).await?
}

fn apply(path: &str, place: &str, pairs: Vec<Pair>, live: bool, origin: &str, work: Work) -> Result<Response, Fault> {
    let visit = Visit::open(path)?;
    let base = visit.design();
    if place != PACK && base.part(place).is_none() {
        return Err(no_part(&visit, place));
    }
    let (marks, values): (Vec<Pair>, Vec<Pair>) = pairs.into_iter().partition(|(key, _)| key.contains(':'));
    let changed = form_tree(&values).and_then(|tree| base.changed(&tree)).map(|mut design| {
        mark(&mut design, &marks);
        design
    });
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
                    origin,
                    live,
                    work,
                },
            )?;
            Ok((uncached(), Html(page)).into_response())
        }
        Ok((design, _)) => Ok(see(&format!("{}{place}", visit.path_of(&design)))),
        Err(Refused::Stopped) => Err(Fault::Stopped),
        Err(Refused::Faults(faults)) => {
            let last = assess_to(base, Depth::Page, work).ok();
            let page = drawn(
                &visit,
                &Shown {
                    design: base,
                    place,
                    path: &visit.path_of(base),
                    assessed: last.as_ref(),
                    typed: &values,
                    faults: &faults,
                    origin,
                    live,
                    work,
                },
            )?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, uncached(), Html(page)).into_response())
        }
    }
}

/// Marks values as assumed: `assumable:<key>` says that the form has the tick, `assume:<key>` that it is set.
fn mark(design: &mut Design, marks: &[Pair]) {
    let one = |prefix: &str, key: &str| {
        marks.iter().find(|(name, _)| name.strip_prefix(prefix) == Some(key)).map(|(_, value)| value.as_str())
    };
    for (name, _) in marks {
        if let Some(key) = name.strip_prefix("assumable:") {
            let why = one("assume:", key).map(|_| one("why:", key).unwrap_or_default());
            design.assume(key, why);
        }
    }
}

/// The design held against others: the one that the visit began with, where none is named.
fn compared(path: &str, question: &Question, work: Work) -> Result<Response, Fault> {
    let visit = Visit::open(path)?;
    let began = visit.began.as_ref().map(link::token);
    let mut asked: Vec<String> = question.all("with").chain(question.all("d")).map(str::to_owned).collect();
    asked.retain(|text| !text.trim().is_empty());
    if asked.is_empty() {
        asked.extend(began);
    }
    // What it was comes first: better and worse are said of what it became.
    asked.push(link::token(visit.design()));
    super::design::compared(&asked, question, work)
}

/// A sign for a page of a program: the verdict in a word and its counts.
fn badge(path: &str, work: Work) -> Result<Response, Fault> {
    let visit = Visit::open(path)?;
    let assessed = assess_to(visit.design(), Depth::Requirements, work)?;
    let tag = format!("\"{ENGINE}-{}\"", sensewright_core::design::summary::fingerprint(visit.design()));
    let headers = [
        (axum::http::header::CONTENT_TYPE, "image/svg+xml".to_owned()),
        (CACHE_CONTROL, "no-cache".to_owned()),
        (axum::http::header::ETAG, tag),
        (HeaderName::from_static("cross-origin-resource-policy"), "cross-origin".to_owned()),
    ];
    Ok((headers, sensewright_web::badge_svg(&assessed)).into_response())
}
