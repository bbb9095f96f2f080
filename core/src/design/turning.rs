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

use super::Design;
use super::assess::Assessed;
use super::prepared::{OfPart, Prepared};
use crate::field::{Field, Group, Kind, declared, tree};
use crate::quantity::Unit;
use crate::work::{Refused, Work};

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
///
/// # Errors
/// The work was stopped.
pub fn turning(assessed: &Assessed, work: Work) -> Result<Vec<Turning>, Refused> {
    let design = &assessed.design;
    let prepared = Prepared::new(design, work)?;
    let base: Vec<Shares> = prepared.verdicts(work)?.iter().map(shares).collect();
    let candidates = candidates(design, &prepared);
    let aims =
        candidates.par_iter().map_init(|| prepared.clone(), |ready, candidate| aim(ready, candidate, &base, work));
    let mut aims: Vec<Aim> = aims.filter_map(Result::transpose).collect::<Result<_, Refused>>()?;
    aims.sort_by(|a, b| a.change.abs().total_cmp(&b.change.abs()));
    // Two for each requirement: the estimate may mislead.
    let mut followed: Vec<(usize, usize)> = Vec::new();
    aims.retain(|aim| {
        let place = (aim.of_part, aim.check);
        followed.push(place);
        followed.iter().filter(|other| **other == place).count() <= 2
    });
    aims.truncate(FOLLOWED);
    let found = aims.par_iter().map_init(|| prepared.clone(), |ready, aim| follow(assessed, ready, aim, work));
    let mut found: Vec<Turning> = found.filter_map(Result::transpose).collect::<Result<_, Refused>>()?;
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
    Ok(found)
}

/// The share of the allowance that each requirement of a part uses, in percent, in the order of the calculation.
type Shares = Vec<Option<f64>>;

fn shares(judged: &OfPart) -> Shares {
    let rows = judged.as_deref().unwrap_or_default();
    rows.iter().map(|one| one.outcome.used().map(|used| used * 100.0)).collect()
}

fn candidates(design: &Design, prepared: &Prepared) -> Vec<Candidate> {
    let mut found = Vec::new();
    for (index, part) in design.parts.iter().enumerate() {
        let handed: Vec<&str> = part.handed_down().collect();
        let input = prepared.input(index);
        tree::walk(part.entry().fields, &mut |pointer, field| {
            let own = handed.iter().all(|other| !pointer.starts_with(other));
            let now = input.number(pointer).filter(|now| own && *now != 0.0);
            if let (Some(range), Some(now)) = (movable(field), now) {
                let pointer = format!("{}{pointer}", part.pointer());
                found.push(Candidate { part: Some(index), pointer, field, now, range });
            }
        });
    }
    tree::walk(super::pack::Pack::FIELDS, &mut |pointer, field| {
        let pointer = format!("/pack{pointer}");
        let now = Group::get(&design.head, &pointer).filter(|now| *now != 0.0);
        if let (Some(range), Some(now)) = (movable(field), now) {
            found.push(Candidate { part: None, pointer, field, now, range });
        }
    });
    found
}

/// The range in which a number may be moved. A hazard belongs to what is protected: moving it is no way out.
fn movable(field: &Field) -> Option<[f64; 2]> {
    match field.kind {
        Kind::Number { min, max, .. } if !field.key.starts_with("hazard_") => Some([min, max]),
        _ => None,
    }
}

/// The requirement that a candidate turns first, by the slope of every share that it moves.
fn aim<'a>(
    ready: &mut Prepared,
    candidate: &'a Candidate,
    base: &[Shares],
    work: Work,
) -> Result<Option<Aim<'a>>, Refused> {
    work.go_on()?;
    let mut best: Option<Aim> = None;
    let mut moved = |factor: f64| -> Result<Vec<(usize, Shares)>, Refused> {
        let value = candidate.now * factor;
        if !(candidate.range[0] <= value && value <= candidate.range[1]) {
            return Ok(Vec::new());
        }
        let judged = ready.rejudge(&candidate.pointer, value, work)?.unwrap_or_default();
        Ok(judged.iter().filter(|(_, rows)| rows.is_ok()).map(|(part, rows)| (*part, shares(rows))).collect())
    };
    let up = moved(1.0 + STEP)?;
    let down = if up.is_empty() { moved(1.0 - STEP)? } else { Vec::new() };
    let steps = up.iter().map(|one| (one, STEP)).chain(down.iter().map(|one| (one, -STEP)));
    for ((of_part, moved), step) in steps.filter(|((part, moved), _)| moved.len() == base[*part].len()) {
        for (check, (before, after)) in base[*of_part].iter().zip(moved).enumerate() {
            let (Some(used), Some(then)) = (*before, *after) else { continue };
            let slope = (then - used) / step;
            let change = (100.0 - used) / slope;
            let reachable = change.is_finite() && (-0.95..9.0).contains(&change) && change != 0.0;
            if reachable && best.as_ref().is_none_or(|best| change.abs() < best.change.abs()) {
                best = Some(Aim { candidate, of_part: *of_part, check, used, change });
            }
        }
    }
    Ok(best)
}

/// Regula falsi (Illinois) on the share used, from the value now to beyond the estimate.
fn follow(assessed: &Assessed, ready: &mut Prepared, aim: &Aim, work: Work) -> Result<Option<Turning>, Refused> {
    let now = aim.candidate.now;
    let range = aim.candidate.range;
    let mut used = |factor: f64| -> Result<Option<f64>, Refused> {
        let value = now * factor;
        if !(range[0] <= value && value <= range[1]) {
            return Ok(None);
        }
        let judged = ready.rejudge(&aim.candidate.pointer, value, work)?.unwrap_or_default();
        let of_part = judged.iter().find(|(part, _)| *part == aim.of_part).map(|(_, rows)| shares(rows));
        // A value that moves nothing leaves the share as it was.
        let share = of_part.map_or(Some(aim.used), |shares| shares.get(aim.check).copied().flatten());
        Ok(share.map(|used| used - 100.0))
    };
    let mut near = (1.0, aim.used - 100.0);
    let mut far = None;
    for stretch in [1.1, 1.5, 2.5, 5.0] {
        let factor = (1.0 + aim.change * stretch).max(0.01);
        let Some(value) = used(factor)? else { break };
        if value.signum() != near.1.signum() {
            far = Some((factor, value));
            break;
        }
        near = (factor, value);
    }
    let Some(mut far) = far else { return Ok(None) };
    // The far end has always turned: it is the one that is told.
    let (mut weight_near, mut weight_far) = (near.1, far.1);
    let mut moved_far = None;
    for _ in 0..40 {
        if (far.0 - near.0).abs() < 1e-3 * near.0.abs() {
            break;
        }
        let factor = (near.0 * weight_far - far.0 * weight_near) / (weight_far - weight_near);
        let Some(value) = used(factor)? else { return Ok(None) };
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
    let Some(told) = told.iter().find(|check| check.place == aim.check) else { return Ok(None) };
    Ok(Some(Turning {
        pointer: aim.candidate.pointer.clone(),
        field: aim.candidate.field,
        part: aim.candidate.part,
        now,
        turns_at: now * far.0,
        requirement: told.label.clone(),
        of_part: aim.of_part,
        holds_now: aim.used <= 100.0,
    }))
}

/// The declaration of a value of the document.
pub fn field_of(design: &Design, pointer: &str) -> Option<(&'static Field, Option<usize>)> {
    for (index, part) in design.parts.iter().enumerate() {
        if let Some(rest) = pointer.strip_prefix(&part.pointer()).filter(|rest| rest.starts_with('/')) {
            return Some((declared(part.entry().fields, rest)?, Some(index)));
        }
    }
    Some((declared(super::Head::FIELDS, pointer)?, None))
}

/// The unit of a declared value.
pub fn unit_of(field: &Field) -> Unit {
    field.unit().unwrap_or(Unit::One)
}
