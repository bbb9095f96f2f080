//! What stands on the pages of a design: worked out as far as a page is granted, and drawn.

use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use sensewright_core::calculation::Depth;
use sensewright_core::design::Design;
use sensewright_core::design::answer::Include;
use sensewright_core::design::assess::{Assessed, assess_one, assess_to};
use sensewright_core::design::cost::{Parts, Questions};
use sensewright_core::design::link::CARRIED;
use sensewright_core::field::{FieldError, told};
use sensewright_core::work::{Refused, Work};
use sensewright_web::{Began, PACK, Sheet};

use super::carried::carried;
use super::common::{answered, current, fresh, see, today};
use super::visit::Visit;
use crate::audience::Audience;
use crate::budget::{Asked, Budget, Granted};
use crate::error::Fault;
use crate::form::Pair;
use crate::gate::Job;
use crate::question::Question;

/// What is said where a design has no such part: the parts that it has, and the way to them.
pub fn no_part(visit: &Visit, place: &str) -> Fault {
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

/// What a page of a visit is granted: it shows what the design was, too.
pub fn granted(visit: &Visit, design: &Design, place: &str, budget: Budget) -> Granted {
    let questions = if place.is_empty() { Questions::OVERVIEW } else { Questions::NONE };
    let began = visit.began.as_ref().unwrap_or_else(|| visit.design());
    let mut asked = vec![(Parts::of(design), questions)];
    if began != design {
        asked.push((Parts::of(began), Questions::NONE));
    }
    budget.grant(&Asked::Designs(asked, Depth::Page))
}

/// A page, a file or an answer of a design.
///
/// # Errors
/// A link that cannot be opened, no such part, and for a program faults and cost.
pub fn show(path: &str, place: &str, question: Question, budget: Budget) -> Result<Job, Fault> {
    let visit = Visit::open(path)?;
    let design = visit.design();
    if !place.is_empty() && place != PACK && design.part(place).is_none() {
        return Err(no_part(&visit, place));
    }
    if let Some(file) = question.file {
        // A file cannot say that it is drawn with fewer trials.
        let cost = budget.allow(&Asked::design(design, Depth::Page, Questions::NONE))?;
        return Ok(Job::new(cost, move |work| {
            let design = visit.design();
            let of_part = design.parts.iter().position(|part| file.part.starts_with(&part.prefix()));
            let export = match of_part {
                Some(at) => {
                    let one = assess_one(design, at, Depth::Page, work)?;
                    sensewright_web::part_export(&one, file.format, &file.part)
                }
                None => {
                    let assessed = assess_to(design, Depth::Page, work)?;
                    sensewright_web::design_export(&assessed, file.format, &file.part)
                }
            };
            Ok(super::download::attached(export.ok_or(Fault::NotFound)?))
        }));
    }
    if question.audience == Audience::Program {
        let include = Include::read(question.one("include").unwrap_or_default()).map_err(Fault::Invalid)?;
        return answered(visit.opened.design, include, budget);
    }
    let granted = granted(&visit, design, place, budget);
    let place = place.to_owned();
    let view = View::of(&question);
    Ok(Job::new(granted.cost, move |work| shown(&visit, &place, &view, granted, work)))
}

/// Leads to a page of the design that a visit has come to: by its address, or with the page itself where it has none.
pub fn arrive(visit: Visit, place: &str, question: &Question, budget: Budget) -> Job {
    let path = visit.path_of(visit.design());
    if path != CARRIED {
        let to = format!("{path}{place}");
        return Job::light(move |_| Ok(see(&to)));
    }
    // What follows the sign is a place on the page.
    let place = place.split('#').next().unwrap_or_default().to_owned();
    let granted = granted(&visit, visit.design(), &place, budget);
    let view = View::of(question);
    Job::new(granted.cost, move |work| shown(&visit, &place, &view, granted, work))
}

/// A page of a visit.
///
/// # Errors
/// The work was stopped.
pub fn shown(visit: &Visit, place: &str, view: &View, granted: Granted, work: Work) -> Result<Response, Fault> {
    let (design, work) = (visit.design(), work.at_most(granted.trials));
    let (assessed, faults) = match assess_to(design, Depth::Page, work) {
        Ok(assessed) => (Some(assessed), Vec::new()),
        Err(Refused::Stopped) => return Err(Fault::Stopped),
        Err(Refused::Faults(faults)) => (None, faults),
    };
    let status = if faults.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let page = drawn(
        visit,
        &Shown {
            design,
            place,
            path: &visit.path_of(design),
            assessed: assessed.as_ref(),
            typed: &typed_of(design, &faults),
            faults: told(&faults),
            view,
            live: false,
            notice: granted.notice,
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

/// How a page is asked for.
pub struct View {
    /// Scheme and host of links.
    pub origin: String,
    /// With all that a long page leaves to a second look.
    pub all: bool,
}

impl View {
    /// As the address says.
    pub fn of(question: &Question) -> Self {
        Self { origin: question.origin.clone(), all: question.one("all").is_some() }
    }
}

/// What a page shows.
pub struct Shown<'a> {
    /// The design.
    pub design: &'a Design,
    /// The part in focus; empty for the overview.
    pub place: &'a str,
    /// The path of the overview.
    pub path: &'a str,
    /// The design worked out.
    pub assessed: Option<&'a Assessed>,
    /// What was typed.
    pub typed: &'a [Pair],
    /// What is wrong with it.
    pub faults: &'a [FieldError],
    /// How it is asked for.
    pub view: &'a View,
    /// Only what follows the values.
    pub live: bool,
    /// What to say of it.
    pub notice: Option<String>,
    /// Whether to go on.
    pub work: Work<'a>,
}

/// The page of a visit.
///
/// # Errors
/// No such part, or the work was stopped.
pub fn drawn(visit: &Visit, shown: &Shown) -> Result<String, Fault> {
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
        notice: shown.notice.clone().or_else(|| visit.notice()),
        origin: &shown.view.origin,
        date: today(),
        all: shown.view.all,
        work: shown.work,
    };
    let page = match (shown.place, shown.live) {
        ("", _) => Some(sensewright_web::overview_page(&sheet)),
        (place, true) => sensewright_web::focus_live(&sheet, place),
        (place, false) => sensewright_web::focus_page(&sheet, place),
    };
    let page = page.ok_or(Fault::NotFound)?;
    Ok(if shown.path == CARRIED { carried(&page, shown.place, &visit.token_of(shown.design)) } else { page })
}
