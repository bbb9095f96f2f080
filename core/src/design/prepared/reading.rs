//! A part as the document gives it, and where its faults stand.

use serde_json::{Map, Value, json};

use super::{Link, Ready, lending};
use crate::design::lending::Lends;
use crate::design::section::{Lent, Origin};
use crate::design::{Design, Part, starts};
use crate::field::tree::{at, put};
use crate::field::{FieldError, Group, Notation, Typed};

/// A part's input with what the pack and the requirements hand down and what others lend; what another part hands on stands at
/// its start.
pub fn read(design: &Design, head: &Map<String, Value>, part: &Part) -> Result<Box<dyn Typed>, Vec<FieldError>> {
    let mut input = handed(design, head, part);
    for lent in part.kind.lent {
        if let Some(list) = lendable(design, part, lent, &input).ok().flatten() {
            put(&mut input, lent.to, list);
        }
    }
    part.entry().read(Some(&Value::Object(input)), Notation::Json).map_err(|faults| at_origin(design, part, faults))
}

/// A part with its input and who it rests on; what others hand on is taken later.
pub(super) fn ready(design: &Design, part: &Part, input: Box<dyn Typed>) -> Ready {
    let links = part.resting().map(|(rests, number)| {
        let is_it = |other: &Part| other.section.key == rests.section && other.number == number;
        let source = design.parts.iter().position(is_it);
        let name = source.map_or_else(|| number.to_string(), |source| design.parts[source].title_among(&design.parts));
        Link { rests, name, source }
    });
    let mut one = Ready {
        entry: part.entry(),
        kind: part.kind,
        pointer: part.pointer(),
        title: part.title_among(&design.parts),
        links: links.collect(),
        input,
        taken: Vec::new(),
        not_given: starts::waits_for(design, part),
        left_out: design.not_asked(part),
        follows: starts::following(design.starts, part),
        lent: lending::borrowed(design, part),
        doubts: Vec::new(),
    };
    let taken = one.links.iter().map(|link| match link.source {
        Some(_) => Ok(Vec::new()),
        None => Err(one.refuse(link, format!("There is no such part in {}.", link.rests.section))),
    });
    one.taken = taken.collect();
    one
}

/// The list that others lend, where there is one and the part can take it; what is wrong with it otherwise.
fn lendable(
    design: &Design,
    part: &Part,
    lent: &Lent,
    input: &Map<String, Value>,
) -> Result<Option<Value>, Vec<FieldError>> {
    let Lends::List(list, _) = design.lends(part, lent) else { return Ok(None) };
    let mut tried = input.clone();
    put(&mut tried, lent.to, list.clone());
    let own = |faults: Vec<FieldError>| faults.into_iter().filter(|fault| fault.field.starts_with(lent.to)).collect();
    let entry = part.entry();
    let faults: Vec<FieldError> = match entry.read(Some(&Value::Object(tried)), Notation::Json) {
        Ok(typed) => own(entry.contradictions(&*typed)),
        Err(faults) => own(faults),
    };
    if faults.is_empty() { Ok(Some(list.clone())) } else { Err(faults) }
}

/// Whether a part can take the list that others lend.
///
/// # Errors
/// What is wrong with it.
pub fn takes_list(design: &Design, part: &Part, lent: &Lent) -> Result<(), Vec<FieldError>> {
    let head = Group::write(&design.head);
    lendable(design, part, lent, &handed(design, &head, part)).map(drop)
}

fn handed(design: &Design, head: &Map<String, Value>, part: &Part) -> Map<String, Value> {
    let mut input = part.input.clone();
    let start = part.entry().start();
    for bound in part.kind.bound {
        match bound.from {
            // What is not given in the head, such as a requirement nobody made, is not given here either.
            Origin::Field(from) => {
                if let Some(value) = at(head, from) {
                    put(&mut input, bound.to, value.clone());
                }
            }
            // What the pack does not tell stands at its start where there must be a value: the part is not asked then.
            Origin::Pack(_, of) => {
                let told = of(&design.head.pack).map(|value| json!(value));
                if let Some(value) = told.or_else(|| at(start, bound.to).cloned()) {
                    put(&mut input, bound.to, value);
                }
            }
            // What other parts give is known once all of them are read.
            Origin::Parallel(..) | Origin::Beside(..) | Origin::Sum(..) => {}
        }
    }
    for carried in part.resting().flat_map(|(rests, _)| rests.carried) {
        if let Some(value) = at(start, carried.to) {
            put(&mut input, carried.to, value.clone());
        }
    }
    input
}

/// Faults of a part's input at the places where the document holds the values.
pub fn at_origin(design: &Design, part: &Part, mut faults: Vec<FieldError>) -> Vec<FieldError> {
    for fault in &mut faults {
        fault.field = design.origin(part, &fault.field);
    }
    faults
}

/// Two parts may blame the same value of the pack: it is told once.
pub fn told_once(told: &mut Vec<FieldError>, more: Vec<FieldError>) {
    for fault in more {
        if told.iter().all(|other| (&other.field, &other.message) != (&fault.field, &fault.message)) {
            told.push(fault);
        }
    }
}
