//! # What would change a verdict
//!
//! One value at a time, everything else as it is: at which value does a requirement that holds fail, or one that fails
//! hold? The nearest, as a share of the value, come first. They are the assumptions a review should look at.
//!
//! ```text
//! Method     slope of every requirement's share by a step of 2 %; the crossing of 100 % by regula falsi on the
//!            calculation itself, until 0.1 % of the value; kept only when the verdict is seen to turn
//! Bounds     the values of the parts and of the pack, three results; trials are not needed and not run
//! Source     one-at-a-time sensitivity; common practice, no source
//! ```

use rayon::prelude::*;
use serde_json::{Map, Value, json};

use super::assess::{Assessed, input_of, verdicts};
use super::slip::declared;
use super::{Design, Part, put};
use crate::field::{Field, Group, Kind, Notation};
use crate::judge::Judged;
use crate::quantity::Unit;

/// How many results are given.
const MOST: usize = 3;
/// How many candidates are followed to the crossing.
const FOLLOWED: usize = 10;
/// Step of the slope, relative.
const STEP: f64 = 0.02;

/// A value at which a verdict turns.
#[derive(Clone, Debug)]
pub struct Turning {
    /// Where the value stands in the document.
    pub pointer: String,
    /// Its declaration.
    pub field: &'static Field,
    /// The part it belongs to; nothing for a value of the pack.
    pub part: Option<usize>,
    /// The value now.
    pub now: f64,
    /// The value at which the verdict turns.
    pub turns_at: f64,
    /// The requirement that turns.
    pub requirement: String,
    /// The index of the part whose requirement it is.
    pub of_part: usize,
    /// Whether it holds now.
    pub holds_now: bool,
}

/// A value that may be moved.
struct Candidate {
    part: Option<usize>,
    pointer: String,
    field: &'static Field,
    now: f64,
    range: [f64; 2],
}

/// A candidate with the requirement it would turn first.
struct Aim<'a> {
    candidate: &'a Candidate,
    of_part: usize,
    check: usize,
    used: f64,
    /// Estimated relative change.
    change: f64,
}

/// The values nearest to turning a verdict.
pub fn turning(assessed: &Assessed) -> Vec<Turning> {
    let design = &assessed.design;
    let candidates = candidates(design);
    let base: Vec<Shares> = assessed.parts.iter().map(|part| shares(&now(design, &part.part))).collect();
    let mut aims: Vec<Aim> = candidates.par_iter().filter_map(|candidate| aim(design, candidate, &base)).collect();
    aims.sort_by(|a, b| a.change.abs().total_cmp(&b.change.abs()));
    // Two for each requirement: the estimate may mislead.
    let mut followed: Vec<(usize, usize)> = Vec::new();
    aims.retain(|aim| {
        let place = (aim.of_part, aim.check);
        followed.push(place);
        followed.iter().filter(|other| **other == place).count() <= 2
    });
    aims.truncate(FOLLOWED);
    let mut found: Vec<Turning> = aims.par_iter().filter_map(|aim| follow(assessed, aim)).collect();
    let nearness = |turning: &Turning| (turning.turns_at / turning.now - 1.0).abs();
    found.sort_by(|a, b| nearness(a).total_cmp(&nearness(b)));
    // Three values of one requirement would say one thing three times.
    let mut told = Vec::new();
    found.retain(|one| {
        let new = !told.contains(&(one.of_part, one.requirement.clone()));
        told.push((one.of_part, one.requirement.clone()));
        new
    });
    found.truncate(MOST);
    found
}

/// The share of the allowance that each requirement of a part uses, in the order of the calculation.
type Shares = Vec<Option<f64>>;

fn shares(checks: &[Judged]) -> Shares {
    checks.iter().map(|check| check.outcome.used().map(|used| used * 100.0)).collect()
}

fn candidates(design: &Design) -> Vec<Candidate> {
    let mut found = Vec::new();
    for (index, part) in design.parts.iter().enumerate() {
        leaves(part.room().fields, &part.input, "", &mut |pointer, field, now, range| {
            found.push(Candidate { part: Some(index), pointer, field, now, range });
        });
    }
    let pack = Group::write(&design.head.pack);
    leaves(super::pack::Pack::FIELDS, &pack, "/pack", &mut |pointer, field, now, range| {
        found.push(Candidate { part: None, pointer, field, now, range });
    });
    found
}

fn leaves(
    fields: &'static [Field],
    map: &Map<String, Value>,
    path: &str,
    tell: &mut impl FnMut(String, &'static Field, f64, [f64; 2]),
) {
    for field in fields {
        let pointer = format!("{path}/{}", field.key);
        match (field.kind, map.get(field.key)) {
            (Kind::Group { fields }, Some(Value::Object(inner))) => leaves(fields, inner, &pointer, tell),
            (Kind::Number { min, max, .. }, Some(Value::Number(number))) => {
                // A hazard belongs to what is protected: moving it is no way out.
                let movable = !field.key.starts_with("hazard_");
                if let Some(now) = number.as_f64().filter(|now| *now != 0.0 && movable) {
                    tell(pointer, field, now, [min, max]);
                }
            }
            _ => {}
        }
    }
}

/// The shares of a part when a candidate has another value; nothing when the calculation refuses it.
fn shares_with(design: &Design, candidate: &Candidate, value: f64, of_part: usize) -> Option<Shares> {
    if !(candidate.range[0] <= value && value <= candidate.range[1]) {
        return None;
    }
    let mut changed = design.clone();
    match candidate.part {
        Some(index) => put(&mut changed.parts[index].input, &candidate.pointer, json!(value)),
        None => {
            let mut pack = Group::write(&changed.head.pack);
            put(&mut pack, candidate.pointer.strip_prefix("/pack")?, json!(value));
            changed.head.pack = crate::field::read(Some(&Value::Object(pack)), Notation::Json).ok()?;
        }
    }
    let (input, _) = input_of(&changed, &changed.parts[of_part]).ok()?;
    Some(shares(&verdicts(&changed.parts[of_part], input).ok()?))
}

/// The requirements of a part as it stands.
fn now(design: &Design, part: &Part) -> Vec<Judged> {
    let input = input_of(design, part).map(|(input, _)| input);
    input.and_then(|input| verdicts(part, input)).unwrap_or_default()
}

/// Which parts a candidate may move.
fn touched(design: &Design, candidate: &Candidate) -> Vec<usize> {
    match candidate.part {
        Some(index) => {
            let own = &design.parts[index];
            let resting = design.parts.iter().enumerate().filter(|(_, part)| part.rests_on_part(own)).map(|(at, _)| at);
            std::iter::once(index).chain(resting).collect()
        }
        None => {
            let bound = |part: &Part| {
                part.kind.bound.iter().any(|bound| match bound.from {
                    super::From::Field(from) | super::From::Pack(from, _) => from == candidate.pointer,
                })
            };
            let resting = |part: &Part| design.parts.iter().any(|own| bound(own) && part.rests_on_part(own));
            let indices = design.parts.iter().enumerate();
            indices.filter(|(_, part)| bound(part) || resting(part)).map(|(index, _)| index).collect()
        }
    }
}

fn aim<'a>(design: &Design, candidate: &'a Candidate, base: &[Shares]) -> Option<Aim<'a>> {
    let mut best: Option<Aim> = None;
    for of_part in touched(design, candidate) {
        if base[of_part].iter().all(Option::is_none) {
            continue;
        }
        let up = shares_with(design, candidate, candidate.now * (1.0 + STEP), of_part).map(|shares| (shares, STEP));
        let moved = up.or_else(|| {
            shares_with(design, candidate, candidate.now * (1.0 - STEP), of_part).map(|shares| (shares, -STEP))
        });
        let Some((moved, step)) = moved.filter(|(moved, _)| moved.len() == base[of_part].len()) else { continue };
        for (check, (before, after)) in base[of_part].iter().zip(&moved).enumerate() {
            let (Some(used), Some(then)) = (*before, *after) else { continue };
            let slope = (then - used) / step;
            let change = (100.0 - used) / slope;
            let reachable = change.is_finite() && (-0.95..9.0).contains(&change) && change != 0.0;
            if reachable && best.as_ref().is_none_or(|best| change.abs() < best.change.abs()) {
                best = Some(Aim { candidate, of_part, check, used, change });
            }
        }
    }
    best
}

/// Regula falsi (Illinois) on the share used, from the value now to beyond the estimate.
fn follow(assessed: &Assessed, aim: &Aim) -> Option<Turning> {
    let design = &assessed.design;
    let now = aim.candidate.now;
    let used = |factor: f64| {
        let shares = shares_with(design, aim.candidate, now * factor, aim.of_part)?;
        shares.get(aim.check).copied().flatten().map(|used| used - 100.0)
    };
    let mut near = (1.0, aim.used - 100.0);
    let mut far = None;
    for stretch in [1.1, 1.5, 2.5, 5.0] {
        let factor = (1.0 + aim.change * stretch).max(0.01);
        let Some(value) = used(factor) else { break };
        if value.signum() != near.1.signum() {
            far = Some((factor, value));
            break;
        }
        near = (factor, value);
    }
    let mut far = far?;
    // The far end has always turned: it is the one that is told.
    let (mut weight_near, mut weight_far) = (near.1, far.1);
    let mut moved_far = None;
    for _ in 0..40 {
        if (far.0 - near.0).abs() < 1e-3 * near.0.abs() {
            break;
        }
        let factor = (near.0 * weight_far - far.0 * weight_near) / (weight_far - weight_near);
        let value = used(factor)?;
        let turned = value.signum() == far.1.signum();
        let end = if turned {
            (&mut far, &mut weight_far, &mut weight_near)
        } else {
            (&mut near, &mut weight_near, &mut weight_far)
        };
        *end.0 = (factor, value);
        *end.1 = value;
        if moved_far == Some(turned) {
            *end.2 /= 2.0;
        }
        moved_far = Some(turned);
    }
    let told = &assessed.parts[aim.of_part].answer.requirements;
    let told = told.iter().find(|check| check.place == aim.check)?;
    let owner = aim.candidate.part.map(|index| design.parts[index].pointer()).unwrap_or_default();
    Some(Turning {
        pointer: format!("{owner}{}", aim.candidate.pointer),
        field: aim.candidate.field,
        part: aim.candidate.part,
        now,
        turns_at: now * far.0,
        requirement: told.label.clone(),
        of_part: aim.of_part,
        holds_now: aim.used <= 100.0,
    })
}

/// The declaration of a value of the document.
pub fn field_of(design: &Design, pointer: &str) -> Option<(&'static Field, Option<usize>)> {
    for (index, part) in design.parts.iter().enumerate() {
        if let Some(rest) = pointer.strip_prefix(&part.pointer()).filter(|rest| rest.starts_with('/')) {
            return Some((declared(part.room().fields, rest)?, Some(index)));
        }
    }
    Some((declared(super::Head::FIELDS, pointer)?, None))
}

/// The unit of a declared value.
pub fn unit_of(field: &Field) -> Unit {
    field.unit().unwrap_or(Unit::One)
}
