//! A whole design: report and comparison, and the same by JSON.

use axum::Json;
use axum::extract::Path;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::http::{StatusCode, Uri};
use axum::response::{Html, IntoResponse, Response};
use sensewright_core::calculation::Depth;
use sensewright_core::design::answer::Include;
use sensewright_core::design::assess::assess_to;
use sensewright_core::design::compare::{self, compare};
use sensewright_core::design::cost::Questions;
use sensewright_core::design::on_start::on_start;
use sensewright_core::design::turning::nearest;
use sensewright_core::design::{Design, answer, comparison, link, summary};
use sensewright_core::field::{self, FieldError, pointer_escape};
use sensewright_core::work::{Refused, Work};
use serde_json::{Value, json};

use super::api::JsonBody;
use super::carried::carried;
use super::common::{answered, current, design_of, see, today};
use super::visit::Visit;
use crate::audience::Audience;
use crate::budget::{Asked, Budget, Granted};
use crate::desk::Desk;
use crate::error::Fault;
use crate::form::FormBody;
use crate::gate::Job;
use crate::json;
use crate::question::{self, Question};

/// The report of an opened link.
pub fn report(visit: Visit, question: Question, budget: Budget) -> Job {
    let granted = budget.grant(&Asked::design(visit.design(), Depth::Page, Questions::ON_START));
    Job::new(granted.cost, move |work| {
        let opened = &visit.opened;
        let assessed = assess_to(&opened.design, Depth::Page, work.at_most(granted.trials))?;
        let notice = granted.notice.or_else(|| opened.notice());
        let page =
            sensewright_web::report_page(&assessed, &on_start(&assessed, work)?, &today(), notice, &question.origin);
        let page = match link::address(&opened.design) {
            Some(_) => page,
            None => carried(&page, "report", &visit.token_of(&opened.design)),
        };
        Ok((current(), Html(page)).into_response())
    })
}

/// Of each requirement of a design that holds the value that is nearest to turning it.
pub fn near(visit: Visit, budget: Budget) -> Job {
    let granted = budget.grant(&Asked::design(visit.design(), Depth::Requirements, Questions::TURNING));
    Job::new(granted.cost, move |work| {
        let work = work.at_most(granted.trials);
        let design = &visit.opened.design;
        let assessed = assess_to(design, Depth::Requirements, work)?;
        let page = sensewright_web::nearest_of_design_page(&assessed, &nearest(&assessed, work)?);
        let page = match link::address(design) {
            Some(_) => page,
            None => carried(&page, "near", &visit.token_of(design)),
        };
        Ok((current(), Html(page)).into_response())
    })
}

/// The style sheet of a report's running head.
pub fn running_head(design: &Design) -> Response {
    let sheet = sensewright_web::running_head(&design.head.title, &summary::fingerprint(design), &today());
    ([(CONTENT_TYPE, "text/css; charset=utf-8"), (CACHE_CONTROL, "no-cache")], sheet).into_response()
}

/// Designs side by side: each `d` is a token or a whole address.
///
/// # Errors
/// Links that cannot be opened when a program asks, and load; a person gets the faults on the page.
pub async fn comparison(desk: Desk, question: Question) -> Result<Response, Fault> {
    let asked: Vec<String> = question.all("d").filter(|text| !text.trim().is_empty()).map(str::to_owned).collect();
    desk.run_design(move |budget| compared(asked, question, budget)).await
}

/// The same by a form, which takes more than an address does.
///
/// # Errors
/// As of [`comparison`].
pub async fn compare_posted(desk: Desk, question: Question, FormBody(pairs): FormBody) -> Result<Response, Fault> {
    let mut typed: Vec<String> = pairs.into_iter().filter(|(key, _)| key == "d").map(|(_, text)| text).collect();
    let asked: Vec<String> = typed.iter().filter(|text| !text.trim().is_empty()).cloned().collect();
    let plan = move |budget: Budget| {
        // A box that stands empty is named where too few are filled.
        if asked.len() < *compare::COUNT.start() && question.audience == Audience::Person {
            let last = typed.iter().rposition(|text| !text.trim().is_empty()).map_or(0, |last| last + 1);
            typed.resize(last.clamp(*compare::COUNT.start(), *compare::COUNT.end()), String::new());
            let faults = designs_of(&typed).err().unwrap_or_default();
            return Ok(Job::light(move |_| told(&typed, &question, Err(faults), None)));
        }
        // What can be opened again has an address; what cannot stands again in the page that says why.
        let few = asked.len() <= *compare::COUNT.end();
        let designs = few.then(|| designs_of(&asked).ok()).flatten();
        match designs.and_then(|designs| link::comparison(designs.iter())) {
            Some(address) => Ok(Job::light(move |_| Ok(see(&address)))),
            None => compared(asked, question, budget),
        }
    };
    desk.run_design(plan).await
}

/// The designs of links, or what is wrong with each that cannot be opened.
fn designs_of(links: &[String]) -> Result<Vec<Design>, Vec<FieldError>> {
    let (mut designs, mut faults) = (Vec::new(), Vec::new());
    for (index, text) in links.iter().enumerate() {
        let one = if text.trim().is_empty() { Err(vec![nothing()]) } else { link::open(link::token_in(text)) };
        match one {
            Ok(one) => designs.push(one.design),
            Err(more) => faults.extend(of_design(index, more)),
        }
    }
    if faults.is_empty() { Ok(designs) } else { Err(faults) }
}

/// The comparison of the designs that were asked for.
///
/// # Errors
/// As of [`comparison`].
pub fn compared(asked: Vec<String>, question: Question, budget: Budget) -> Result<Job, Fault> {
    let designs = match asked.len() {
        0 => Ok(Vec::new()),
        // One alone is no comparison yet; that it cannot be opened is said at once.
        1 => designs_of(&asked).map(|_| Vec::new()),
        count if compare::COUNT.contains(&count) => designs_of(&asked),
        count => Err(vec![too_many(count)]),
    };
    let designs = match designs {
        Ok(designs) if !designs.is_empty() => designs,
        other => return Ok(Job::light(move |_| told(&asked, &question, other.map(|_| None), None))),
    };
    let comparison = Asked::comparison(&designs);
    let granted = match question.audience {
        Audience::Program => Granted { cost: budget.allow(&comparison)?, trials: u32::MAX, notice: None },
        Audience::Person => budget.grant(&comparison),
    };
    drop(comparison);
    Ok(Job::new(granted.cost, move |work| {
        let done = match compare(&designs, work.at_most(granted.trials)) {
            Ok(done) => Ok(Some(done)),
            Err(Refused::Faults(faults)) => Err(faults),
            Err(Refused::Stopped) => return Err(Fault::Stopped),
        };
        told(&asked, &question, done, granted.notice)
    }))
}

/// A comparison for who asks.
fn told(
    asked: &[String],
    question: &Question,
    done: Result<Option<compare::Comparison>, Vec<FieldError>>,
    notice: Option<String>,
) -> Result<Response, Fault> {
    match (done, question.audience) {
        (Ok(Some(done)), Audience::Program) => {
            Ok((current(), json::answer(&comparison::comparison(&done))?).into_response())
        }
        (Ok(None), Audience::Program) => Err(Fault::Invalid(vec![too_many(asked.len())])),
        (Err(faults), Audience::Program) => Err(Fault::BadLink(faults)),
        (Ok(done), Audience::Person) => {
            let page = sensewright_web::compare_page(asked, &[], done.as_ref(), notice, &question.origin);
            Ok((current(), Html(page)).into_response())
        }
        (Err(faults), Audience::Person) => {
            let page = sensewright_web::compare_page(asked, field::told(&faults), None, None, &question.origin);
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

fn nothing() -> FieldError {
    FieldError {
        code: "missing".into(),
        message: "Nothing stands here: paste the link of a design.".into(),
        accepted: "the link of a design, complete, as its worksheet gives it".into(),
        got: "nothing".into(),
        ..FieldError::default()
    }
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
pub async fn api_assess(desk: Desk, uri: Uri, JsonBody(body): JsonBody) -> Result<Response, Fault> {
    let pairs = question::pairs_of(&uri)?;
    let words = pairs.iter().find(|(key, _)| key == "include").map_or("", |(_, words)| words);
    let include = Include::read(words).map_err(Fault::Invalid);
    desk.run_design(move |budget| answered(design_of(json::read(&body)?)?, include?, budget)).await
}

/// `POST /api/v1/design/turning`: the values nearest to turning a verdict.
///
/// # Errors
/// A body that is not JSON, faults of the document, and load.
pub async fn api_turning(desk: Desk, JsonBody(body): JsonBody) -> Result<Response, Fault> {
    let plan = move |budget: Budget| {
        let design = design_of(json::read(&body)?)?;
        let cost = budget.allow(&Asked::design(&design, Depth::Requirements, Questions::TURNING))?;
        Ok(Job::new(cost, move |work| {
            let assessed = assess_to(&design, Depth::Requirements, work)?;
            json::answer(&answer::turning_answer(&assessed, work)?)
        }))
    };
    desk.run_design(plan).await
}

/// The member of an object that has no other; `wrong` where it is not there, or does not fit.
fn alone(body: Value, name: &str, fits: fn(&Value) -> bool, wrong: FieldError) -> Result<Value, Fault> {
    let Value::Object(mut map) = body else { return Err(Fault::Invalid(vec![wrong])) };
    let value = map.shift_remove(name).filter(fits);
    let unknown = |(told, key): (usize, &String)| {
        FieldError::next(told, || {
            let key: String = key.chars().take(60).collect();
            FieldError {
                field: format!("/{}", pointer_escape(&key)),
                code: "unknown-field".into(),
                message: format!("There is no field \u{201c}{key}\u{201d} here."),
                accepted: name.into(),
                got: key,
            }
        })
    };
    let mut faults: Vec<FieldError> = map.keys().enumerate().map(unknown).collect();
    match value {
        Some(value) if faults.is_empty() => return Ok(value),
        Some(_) => {}
        None => faults.push(wrong),
    }
    Err(Fault::Invalid(faults))
}

/// `POST /api/v1/design/compare`: `{"designs": [document, …]}`.
///
/// # Errors
/// A body that is not JSON, faults of the documents, and load.
pub async fn api_compare(desk: Desk, JsonBody(body): JsonBody) -> Result<Response, Fault> {
    let plan = move |budget: Budget| {
        let list = match alone(json::read(&body)?, "designs", Value::is_array, too_many(0))? {
            Value::Array(list) => list,
            _ => Vec::new(),
        };
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
        let cost = budget.allow(&Asked::comparison(&designs))?;
        Ok(Job::new(cost, move |work| {
            let done = compare(&designs, work)?;
            json::answer(&comparison::comparison(&done))
        }))
    };
    desk.run_design(plan).await
}

/// `POST /api/v1/links`: a document in, its token out.
///
/// # Errors
/// A body that is not JSON, faults of the document, and load.
pub async fn api_link(desk: Desk, JsonBody(body): JsonBody) -> Result<Response, Fault> {
    let work = move |_: Work| {
        let design = design_of(json::read(&body)?)?;
        let token = link::token(&design);
        let mut made = json!({"engine": sensewright_core::calculation::ENGINE, "token": token});
        if let Some(address) = link::address_of(&token) {
            made["link"] = json!(address);
        }
        Ok(Json(made).into_response())
    };
    desk.run_design(|_| Ok(Job::light(work))).await
}

/// `GET /api/v1/links/{token}`: a token in, its document out.
///
/// # Errors
/// A link that cannot be opened, and load.
pub async fn api_open(desk: Desk, Path(token): Path<String>) -> Result<Response, Fault> {
    desk.run_design(|_| Ok(Job::light(move |_| opened(&token)))).await
}

/// `POST /api/v1/links/open`: `{"token": …}` in, its document out, however long it is.
///
/// # Errors
/// A body that is not JSON or no token, a link that cannot be opened, and load.
pub async fn api_open_posted(desk: Desk, JsonBody(body): JsonBody) -> Result<Response, Fault> {
    let work = move |_: Work| {
        let token = alone(json::read(&body)?, "token", Value::is_string, no_token())?;
        opened(token.as_str().unwrap_or_default())
    };
    desk.run_design(|_| Ok(Job::light(work))).await
}

fn no_token() -> FieldError {
    FieldError {
        field: "/token".into(),
        code: "missing".into(),
        message: "The token is missing: send that of a design, as text.".into(),
        accepted: "the token of a design, as text".into(),
        got: "nothing".into(),
    }
}

fn opened(token: &str) -> Result<Response, Fault> {
    let opened = link::open(token).map_err(Fault::BadLink)?;
    let mut document = opened.design.document();
    document.insert("engine".into(), json!(opened.engine));
    Ok(Json(Value::Object(document)).into_response())
}
