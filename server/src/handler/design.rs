//! A whole design: worksheet, report, comparison, and the same by JSON.

use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, Path, State};
use axum::http::header::{CACHE_CONTROL, VARY};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, Uri};
use axum::response::{Html, IntoResponse, Redirect, Response};
use sensewright_core::calculation::Depth;
use sensewright_core::design::answer::Include;
use sensewright_core::design::assess::{Assessed, assess_to};
use sensewright_core::design::compare::{self, compare};
use sensewright_core::design::{Design, answer, comparison, link, section};
use sensewright_core::field::{FieldError, form_tree, pointer_escape};
use sensewright_core::work::{Refused, Work};
use sensewright_web::State as Sheet;
use serde_json::{Value, json};
use time::OffsetDateTime;

use super::api::JsonBody;
use crate::audience::Audience;
use crate::error::Fault;
use crate::json;
use crate::question::{self, Origin, Pair, Question};
use crate::site::Site;

/// The worksheet of a link; without one, a pack without parts.
///
/// # Errors
/// A link that cannot be opened, contradictions when a program asks, and load.
pub async fn worksheet(State(site): State<Arc<Site>>, question: Question) -> Result<Response, Fault> {
    site.heavy.run(move |work: Work| show(&question, work)).await?
}

fn opened(question: &Question) -> Result<link::Opened, Fault> {
    match question.one("d") {
        Some(text) => link::open(link::token_in(text)).map_err(Fault::BadLink),
        None => Ok(link::Opened { design: Design::start(), engine: sensewright_core::calculation::ENGINE.into() }),
    }
}

fn show(question: &Question, work: Work) -> Result<Response, Fault> {
    let opened = opened(question)?;
    let design = &opened.design;
    if let Some(file) = &question.file {
        let assessed = assess_to(design, Depth::Page, work)?;
        let export = sensewright_web::design_export(&assessed, file.format, &file.part).ok_or(Fault::NotFound)?;
        return Ok(super::download::attached(export));
    }
    if question.audience == Audience::Program {
        return answered(
            design,
            &Include::read(question.one("include").unwrap_or_default()).map_err(Fault::Invalid)?,
            work,
        );
    }
    let assessed = match assess_to(design, Depth::Page, work) {
        Ok(assessed) => assessed,
        Err(Refused::Stopped) => return Err(Fault::Stopped),
        Err(Refused::Faults(faults)) => {
            let typed = sensewright_web::form_pairs(design);
            return Ok(refused(design, None, &typed, &faults, &question.origin, false));
        }
    };
    let before = question.one("was").and_then(|token| link::open(token).ok()).map(|before| before.design);
    let before = before.filter(|before| before != design);
    let before = before.and_then(|before| assess_to(&before, Depth::Page, work).ok());
    let state = Sheet {
        design,
        assessed: Some(&assessed),
        before: before.as_ref(),
        typed: &[],
        faults: &[],
        notice: opened.notice(),
        origin: &question.origin,
        work,
    };
    Ok((StatusCode::OK, current(), Html(sensewright_web::worksheet_page(&state))).into_response())
}

/// The answer to a program that asks for these members.
fn answered(design: &Design, include: &Include, work: Work) -> Result<Response, Fault> {
    let assessed = assess_to(design, include.depth(), work)?;
    Ok((current(), Json(answer::write(&answer::answer(&assessed, include, work)?))).into_response())
}

/// What a form of the worksheet sends: every value, the design it was drawn from, and which button was pressed.
///
/// # Errors
/// A body that is no form, a base that cannot be opened, and load.
pub async fn change(
    State(site): State<Arc<Site>>,
    Origin(origin): Origin,
    headers: HeaderMap,
    form: Result<Form<Vec<Pair>>, FormRejection>,
) -> Result<Response, Fault> {
    let pairs = pairs_of(form, &site)?;
    let live = headers.get("x-part").is_some_and(|part| part == "live");
    site.heavy.run(move |work: Work| apply(pairs, live, &origin, work)).await?
}

fn pairs_of(form: Result<Form<Vec<Pair>>, FormRejection>, site: &Site) -> Result<Vec<Pair>, Fault> {
    form.map(|Form(pairs)| pairs).map_err(|refused| match refused.into_response().status() {
        StatusCode::PAYLOAD_TOO_LARGE => Fault::TooLarge { most: site.max_body_bytes },
        status => Fault::Bare(status),
    })
}

fn take(pairs: &mut Vec<Pair>, key: &str) -> Option<String> {
    let at = pairs.iter().position(|(name, _)| name == key)?;
    Some(pairs.remove(at).1)
}

fn apply(mut pairs: Vec<Pair>, live: bool, origin: &str, work: Work) -> Result<Response, Fault> {
    let base = match take(&mut pairs, "base") {
        Some(token) => link::open(link::token_in(&token)).map_err(Fault::BadLink)?.design,
        None => Design::start(),
    };
    let action = take(&mut pairs, "action").unwrap_or_default();
    let read = form_tree(&pairs).and_then(|tree| base.changed(&tree));
    // What is sent stands over what the form was drawn from: a program may send one value alone.
    let mut typed = sensewright_web::form_pairs(&base);
    for (key, value) in pairs {
        match typed.iter_mut().find(|(name, _)| *name == key) {
            Some(pair) => pair.1 = value,
            None => typed.push((key, value)),
        }
    }
    let solved = read.and_then(|mut design| {
        press(&mut design, &action)?;
        Ok(design)
    });
    // What is not drawn need not be worked out: a page follows.
    let depth = if live { Depth::Page } else { Depth::Requirements };
    let solved = solved.map_err(Refused::Faults);
    let solved = solved.and_then(|design| assess_to(&design, depth, work).map(|assessed| (design, assessed)));
    let wanted = live || solved.is_err();
    let before = if wanted { assess_to(&base, Depth::Page, work).ok() } else { None };
    match solved {
        Ok((design, assessed)) if live => {
            let state = Sheet {
                design: &design,
                assessed: Some(&assessed),
                before: before.as_ref(),
                typed: &[],
                faults: &[],
                notice: None,
                origin,
                work,
            };
            Ok(([(CACHE_CONTROL, "no-store")], Html(sensewright_web::worksheet_live(&state))).into_response())
        }
        Ok((design, _)) => {
            let was = if design == base { String::new() } else { format!("&was={}", link::token(&base)) };
            let place = action.rsplit(':').nth(1).map_or_else(String::new, |key| format!("#{key}"));
            Ok(Redirect::to(&format!("{}{was}{place}", link::address(&design))).into_response())
        }
        Err(Refused::Stopped) => Err(Fault::Stopped),
        Err(Refused::Faults(faults)) => Ok(refused(&base, before.as_ref(), &typed, &faults, origin, live)),
    }
}

/// The buttons that change which parts there are.
fn press(design: &mut Design, action: &str) -> Result<(), Vec<FieldError>> {
    let mut words = action.split(':');
    match (words.next(), words.next(), words.next()) {
        (Some("add"), Some(key), tag) => {
            let section = section::find(key);
            let kind = section.and_then(|section| section.kinds.iter().find(|kind| Some(kind.tag) == tag));
            if let (Some(section), Some(kind)) = (section, kind) {
                design.add(section, kind);
                return Ok(());
            }
        }
        (Some("remove"), Some(key), None) => {
            design.remove(key);
            return Ok(());
        }
        (Some("recalculate" | ""), None, None) | (None, ..) => return Ok(()),
        _ => {}
    }
    Err(vec![FieldError {
        field: "/action".into(),
        code: "not-a-choice".into(),
        message: format!("There is no action \u{201c}{}\u{201d}.", action.chars().take(40).collect::<String>()),
        accepted: "recalculate, add:section:kind, remove:section.place".into(),
        got: action.chars().take(40).collect(),
    }])
}

fn refused(
    base: &Design,
    assessed: Option<&Assessed>,
    typed: &[Pair],
    faults: &[FieldError],
    origin: &str,
    live: bool,
) -> Response {
    let state = Sheet { design: base, assessed, before: None, typed, faults, notice: None, origin, work: Work::FREE };
    let page = if live { sensewright_web::worksheet_live(&state) } else { sensewright_web::worksheet_page(&state) };
    (StatusCode::UNPROCESSABLE_ENTITY, [(CACHE_CONTROL, "no-store")], Html(page)).into_response()
}

/// A document pasted or taken from a file.
///
/// # Errors
/// A body that is no form, a text that is no document, and load.
pub async fn open(
    State(site): State<Arc<Site>>,
    form: Result<Form<Vec<Pair>>, FormRejection>,
) -> Result<Response, Fault> {
    let mut pairs = pairs_of(form, &site)?;
    let work = move |_: Work| {
        let text = take(&mut pairs, "document").unwrap_or_default();
        let design = design_of(json::read(text.as_bytes())?)?;
        Ok(Redirect::to(&link::address(&design)).into_response())
    };
    site.heavy.run(work).await?
}

/// The values of a calculation's page, taken back into the part of a design that it was opened from.
///
/// # Errors
/// A body that is no form, a link that cannot be opened, values that are refused, and load.
pub async fn put(
    State(site): State<Arc<Site>>,
    form: Result<Form<Vec<Pair>>, FormRejection>,
) -> Result<Response, Fault> {
    let mut pairs = pairs_of(form, &site)?;
    let work = move |_: Work| {
        let base = take(&mut pairs, "base").unwrap_or_default();
        let mut design = link::open(&base).map_err(Fault::BadLink)?.design;
        let was = link::token(&design);
        let at = take(&mut pairs, "at").unwrap_or_default();
        let values = take(&mut pairs, "values").unwrap_or_default();
        design.part(&at).ok_or(Fault::NotFound)?;
        let uri = values.parse().map_err(|_| Fault::NotFound)?;
        let mut values = question::pairs_of(&uri).unwrap_or_default();
        values.retain(|(key, _)| key != "v");
        let tree = form_tree(&values).map_err(Fault::Invalid)?;
        design.take_back(&at, &tree).map_err(Fault::Invalid)?;
        Ok(Redirect::to(&format!("{}&was={was}#{at}", link::address(&design))).into_response())
    };
    site.heavy.run(work).await?
}

/// A document in any known schema; the envelope of an answer is opened, too.
fn design_of(document: Value) -> Result<Design, Fault> {
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

/// The report of a link.
///
/// # Errors
/// A link that cannot be opened, contradictions, and load.
pub async fn report(State(site): State<Arc<Site>>, question: Question) -> Result<Response, Fault> {
    let work = move |work: Work| {
        let opened = opened(&question)?;
        let assessed = assess_to(&opened.design, Depth::Page, work)?;
        let today = OffsetDateTime::now_utc().date();
        let date = format!("{} {} {}", today.day(), today.month(), today.year());
        let page = sensewright_web::report_page(&assessed, &date, opened.notice(), &question.origin);
        Ok((current(), Html(page)).into_response())
    };
    site.heavy.run(work).await?
}

/// Designs side by side: each `d` is a token or a whole address.
///
/// # Errors
/// Links that cannot be opened when a program asks, and load; a person gets the faults on the page.
pub async fn comparison(State(site): State<Arc<Site>>, question: Question) -> Result<Response, Fault> {
    site.heavy.run(move |work: Work| compared(&question, work)).await?
}

fn compared(question: &Question, work: Work) -> Result<Response, Fault> {
    let asked: Vec<String> = question.all("d").filter(|text| !text.trim().is_empty()).map(str::to_owned).collect();
    let done = match asked.len() {
        0 | 1 => Ok(None),
        count if compare::COUNT.contains(&count) => asked
            .iter()
            .enumerate()
            .map(|(index, text)| {
                link::open(link::token_in(text)).map(|opened| opened.design).map_err(|faults| of_design(index, faults))
            })
            .collect::<Result<Vec<_>, _>>()
            .map_err(Refused::Faults)
            .and_then(|designs| compare(&designs, work))
            .map(Some),
        count => Err(vec![too_many(count)].into()),
    };
    let done = match done {
        Ok(done) => Ok(done),
        Err(Refused::Faults(faults)) => Err(faults),
        Err(Refused::Stopped) => return Err(Fault::Stopped),
    };
    match (done, question.audience) {
        (Ok(Some(done)), Audience::Program) => {
            Ok((current(), Json(answer::write(&comparison::comparison(&done)))).into_response())
        }
        (Ok(None), Audience::Program) => Err(Fault::Invalid(vec![too_many(asked.len())])),
        (Err(faults), Audience::Program) => Err(Fault::BadLink(faults)),
        (Ok(done), Audience::Person) => {
            let page = sensewright_web::compare_page(&asked, &[], done.as_ref(), &question.origin);
            Ok((current(), Html(page)).into_response())
        }
        (Err(faults), Audience::Person) => {
            let page = sensewright_web::compare_page(&asked, &faults, None, &question.origin);
            Ok((StatusCode::BAD_REQUEST, current(), Html(page)).into_response())
        }
    }
}

fn of_design(index: usize, faults: Vec<FieldError>) -> Vec<FieldError> {
    faults
        .into_iter()
        .map(|mut fault| {
            fault.message = format!("Design {}: {}", index + 1, fault.message);
            fault.field = format!("/designs/{index}{}", fault.field);
            fault
        })
        .collect()
}

fn too_many(count: usize) -> FieldError {
    let (least, most) = (compare::COUNT.start(), compare::COUNT.end());
    FieldError {
        field: "/designs".into(),
        code: "wrong-count".into(),
        message: format!("A comparison takes {least} to {most} designs; {count} were given."),
        accepted: format!("{least} to {most} designs"),
        got: count.to_string(),
    }
}

/// `POST /api/v1/design/assess`.
///
/// # Errors
/// A body that is not JSON, faults of the document, and load.
pub async fn api_assess(State(site): State<Arc<Site>>, uri: Uri, JsonBody(body): JsonBody) -> Result<Response, Fault> {
    let pairs = question::pairs_of(&uri).unwrap_or_default();
    let words = pairs.iter().find(|(key, _)| key == "include").map_or("", |(_, words)| words);
    let include = Include::read(words).map_err(Fault::Invalid);
    let work = move |work: Work| answered(&design_of(json::read(&body)?)?, &include?, work);
    site.heavy.run(work).await?
}

/// `POST /api/v1/design/turning`: the values nearest to turning a verdict.
///
/// # Errors
/// A body that is not JSON, faults of the document, and load.
pub async fn api_turning(State(site): State<Arc<Site>>, JsonBody(body): JsonBody) -> Result<Response, Fault> {
    let work = move |work: Work| {
        let design = design_of(json::read(&body)?)?;
        let assessed = assess_to(&design, Depth::Requirements, work)?;
        Ok(Json(answer::write(&answer::turning_answer(&assessed, work)?)).into_response())
    };
    site.heavy.run(work).await?
}

/// The documents of a comparison.
fn designs_of(body: Value) -> Result<Vec<Value>, Vec<FieldError>> {
    let Value::Object(mut map) = body else { return Err(vec![too_many(0)]) };
    let list = map.remove("designs");
    let mut faults: Vec<FieldError> = map
        .keys()
        .map(|key| FieldError {
            field: format!("/{}", pointer_escape(key)),
            code: "unknown-field".into(),
            message: format!("There is no field \u{201c}{}\u{201d} here.", key.chars().take(60).collect::<String>()),
            accepted: "designs".into(),
            got: key.chars().take(60).collect(),
        })
        .collect();
    match list {
        Some(Value::Array(list)) if faults.is_empty() => Ok(list),
        Some(Value::Array(_)) => Err(faults),
        _ => {
            faults.push(too_many(0));
            Err(faults)
        }
    }
}

/// `POST /api/v1/design/compare`: `{"designs": [document, …]}`.
///
/// # Errors
/// A body that is not JSON, faults of the documents, and load.
pub async fn api_compare(State(site): State<Arc<Site>>, JsonBody(body): JsonBody) -> Result<Response, Fault> {
    let work = move |work: Work| {
        let list = designs_of(json::read(&body)?).map_err(Fault::Invalid)?;
        if !compare::COUNT.contains(&list.len()) {
            return Err(Fault::Invalid(vec![too_many(list.len())]));
        }
        let mut designs = Vec::new();
        for (index, document) in list.into_iter().enumerate() {
            designs.push(design_of(document).map_err(|fault| match fault {
                Fault::Invalid(faults) => Fault::Invalid(of_design(index, faults)),
                other => other,
            })?);
        }
        let done = compare(&designs, work)?;
        Ok(Json(answer::write(&comparison::comparison(&done))).into_response())
    };
    site.heavy.run(work).await?
}

/// `POST /api/v1/links`: a document in, its token out.
///
/// # Errors
/// A body that is not JSON, faults of the document, and load.
pub async fn api_link(State(site): State<Arc<Site>>, JsonBody(body): JsonBody) -> Result<Response, Fault> {
    let work = move |_: Work| {
        let design = design_of(json::read(&body)?)?;
        let token = link::token(&design);
        let address = link::address(&design);
        Ok(Json(json!({"engine": sensewright_core::calculation::ENGINE, "token": token, "link": address}))
            .into_response())
    };
    site.heavy.run(work).await?
}

/// `GET /api/v1/links/{token}`: a token in, its document out.
///
/// # Errors
/// A link that cannot be opened, and load.
pub async fn api_open(State(site): State<Arc<Site>>, Path(token): Path<String>) -> Result<Response, Fault> {
    let work = move |_: Work| {
        let opened = link::open(&token).map_err(Fault::BadLink)?;
        let mut document = opened.design.write();
        document.insert("engine".into(), json!(opened.engine));
        Ok(Json(Value::Object(document)).into_response())
    };
    site.heavy.run(work).await?
}

/// The next version of the server may answer differently, so a cache has to ask; and one address has several answers.
fn current() -> [(HeaderName, HeaderValue); 2] {
    [(CACHE_CONTROL, HeaderValue::from_static("no-cache")), (VARY, HeaderValue::from_static("accept, x-part"))]
}
