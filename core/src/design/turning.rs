//! # What would change a verdict
//!
//! One value at a time, everything else as it is: at which value does a requirement that holds fail, or one that fails
//! hold? The nearest come first. They are the assumptions a review should look at, and the ways out of what fails.
//!
//! ```text
//! Distance   see `movable`
//! Scan       every value both ways at distances of up to 0.3 for the interface, of 1 of a calculation alone; for a page at 0.1, and only rows of the
//!            parts of the four rows that use most and the values that these rest on; whole numbers at their next
//!            steps; one scan serves all requirements; then bisection to a thousandth of the change
//! Printed    on the side that holds, with the digits this needs, and judged there once more
//! Claimed    the first turn that is seen on this scan: a value that is refused ends it, and one whose farthest step turns
//!            nothing is looked at no closer
//! Source     one-at-a-time sensitivity; common practice, no source
//! ```

use rayon::prelude::*;

use super::Design;
use super::assess::{Assessed, Row};
use super::movable::{Movable, rounded};
use super::prepared::{Moved, OfPart, Prepared};
use crate::field::{Field, Group, declared};
use crate::judge::{Judged, Key, THIN_FROM_PERCENT, Verdict};
use crate::quantity::Unit;
use crate::work::{Refused, Work};

/// How far is looked, and how much is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    /// What a page shows: the nearest.
    Near,
    /// What the interface gives.
    Far,
    /// Of each requirement that holds the nearest.
    Each,
}

impl Reach {
    /// The distances that are looked at.
    const fn distances(self) -> &'static [f64] {
        match self {
            Self::Near => &[0.1],
            Self::Far => &[0.05, 0.3],
            Self::Each => &[0.1, 1.0],
        }
    }

    /// How many turns of one requirement are followed and told, and how many of all.
    const fn most(self) -> [usize; 2] {
        match self {
            Self::Near => [2, 8],
            Self::Far => [3, 12],
            Self::Each => [2, 24],
        }
    }
}
/// A turn is known to this share of the change.
const KNOWN: f64 = 1e-3;
/// Bisections at most: from a value of nothing the change may end a long way below the first step.
const HALVES: usize = 40;

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
    /// The value at which the verdict turns: as printed, the requirement holds.
    pub turns_at: f64,
    /// The requirement that turns.
    pub requirement: String,
    /// The index of the part whose requirement it is.
    pub of_part: usize,
    /// The place of that requirement among those of the design.
    pub row: usize,
    /// Whether it holds now.
    pub holds_now: bool,
    /// How far the value is from turning it.
    pub distance: f64,
    /// How many other requirements that hold now would fail with it.
    pub breaks: usize,
}

/// The values that are looked at in one direction, nearest first.
fn steps(candidate: &Movable, up: bool, reach: Reach) -> Vec<f64> {
    let sign = if up { 1.0 } else { -1.0 };
    let mut steps = Vec::with_capacity(reach.distances().len());
    for distance in reach.distances() {
        let value = candidate.moved(distance * sign);
        if steps.last() != Some(&value) && value.total_cmp(&candidate.now).is_ne() {
            steps.push(value);
        }
    }
    steps
}

/// A requirement, whatever else is judged beside it.
type Place = (usize, &'static str, Key);

/// A turn between two values that were judged.
struct Turn<'a> {
    candidate: &'a Movable,
    place: Place,
    holds_now: bool,
    /// The last value as now, and the first that differs.
    between: [f64; 2],
}

/// The values that turn a verdict, nearest first, a few of each requirement.
///
/// # Errors
/// The work was stopped.
pub fn turning(assessed: &Assessed, reach: Reach, work: Work) -> Result<Vec<Turning>, Refused> {
    let prepared = Prepared::new(&assessed.design, work)?;
    let candidates = candidates(&assessed.design, &prepared);
    turning_in(assessed, &prepared, candidates, reach, work)
}

/// The same of a design that is ready to be asked, and of some of its values.
///
/// # Errors
/// The work was stopped.
pub(super) fn turning_in(
    assessed: &Assessed,
    prepared: &Prepared,
    mut candidates: Vec<Movable>,
    reach: Reach,
    work: Work,
) -> Result<Vec<Turning>, Refused> {
    let now: Vec<OfPart> = prepared.verdicts(work)?;
    let near = (reach == Reach::Near).then(|| near_a_limit(assessed, prepared));
    if let Some(near) = &near {
        candidates.retain(|one| near.iter().any(|asked| asked.rests_on(one)));
    }
    let asked = near.as_deref();
    let scanned = candidates
        .par_iter()
        .map_init(|| prepared.clone(), |ready, one| scan(&mut Asking { ready, only: asked, work }, one, &now, reach));
    let mut turns: Vec<Turn> = scanned.collect::<Result<Vec<_>, Refused>>()?.into_iter().flatten().collect();
    // Of one requirement the nearest: by where the turn was seen, which is within a factor of two of where it is.
    turns.sort_by(|a, b| a.candidate.distance(a.between[0]).total_cmp(&b.candidate.distance(b.between[0])));
    turns.retain(|turn| reach != Reach::Each || turn.holds_now);
    let [most, all] = reach.most();
    let mut counted: Vec<(Place, usize)> = Vec::new();
    turns.retain(|turn| {
        let Some(place) = counted.iter().position(|(place, _)| *place == turn.place) else {
            counted.push((turn.place, 1));
            return true;
        };
        counted[place].1 += 1;
        counted[place].1 <= most
    });
    turns.truncate(all);
    let followed =
        turns.par_iter().map_init(|| prepared.clone(), |ready, turn| follow(assessed, ready, turn, &now, work));
    let mut found: Vec<Turning> = followed.filter_map(Result::transpose).collect::<Result<_, Refused>>()?;
    // What fails and could hold comes before what holds and could fail.
    found.sort_by(|a, b| a.holds_now.cmp(&b.holds_now).then(a.distance.total_cmp(&b.distance)));
    Ok(found)
}

/// Of each requirement that holds the nearest value that turns it.
///
/// # Errors
/// The work was stopped.
pub fn nearest(assessed: &Assessed, work: Work) -> Result<Vec<Turning>, Refused> {
    turning(assessed, Reach::Each, work).map(nearest_of_each)
}

/// The first of each requirement.
pub(super) fn nearest_of_each(all: Vec<Turning>) -> Vec<Turning> {
    let mut nearest: Vec<Turning> = Vec::new();
    for one in all {
        if nearest.iter().all(|other| other.row != one.row) {
            nearest.push(one);
        }
    }
    nearest
}

/// A part of a row that uses much of its allowance, and what it rests on.
struct NearPart {
    part: usize,
    under: Vec<bool>,
}

impl NearPart {
    fn rests_on(&self, value: &Movable) -> bool {
        value.part.is_some_and(|part| self.under[part])
    }
}

/// The parts of the rows that use most of their allowance: a page looks no further.
fn near_a_limit(assessed: &Assessed, prepared: &Prepared) -> Vec<NearPart> {
    const ROWS: usize = 4;
    let judged = assessed.requirements.iter().filter(|row| row.check.used_percent.is_some());
    let mut parts: Vec<usize> = judged.take(ROWS).map(|row| row.part).collect();
    parts.sort_unstable();
    parts.dedup();
    parts.into_iter().map(|part| NearPart { part, under: prepared.under(part) }).collect()
}

/// Asks how parts stand with another value: all that it moves, or those few that are looked at.
struct Asking<'a> {
    ready: &'a mut Prepared,
    only: Option<&'a [NearPart]>,
    work: Work<'a>,
}

impl Asking<'_> {
    /// The parts that another value moves; nothing where it is not accepted.
    fn moved(&mut self, one: &Movable, value: f64) -> Result<Option<Vec<(usize, OfPart)>>, Refused> {
        self.work.go_on()?;
        let Some(only) = self.only else { return self.ready.rejudge(&one.pointer, value, self.work) };
        let asked: Vec<usize> = only.iter().filter(|asked| asked.rests_on(one)).map(|asked| asked.part).collect();
        self.ready.rejudge_parts(&asked, &one.pointer, value, self.work)
    }
}

/// Whether a requirement holds; nothing where it is not judged.
fn holds(one: &Judged) -> Option<bool> {
    match one.outcome.verdict(THIN_FROM_PERCENT) {
        Verdict::Fails => Some(false),
        Verdict::Thin | Verdict::Holds => Some(true),
        _ => None,
    }
}

fn find(rows: &[Judged], (_, id, key): Place) -> Option<bool> {
    rows.iter().find(|one| one.id == id && one.key == key).and_then(holds)
}

fn candidates(design: &Design, prepared: &Prepared) -> Vec<Movable> {
    let parts = 0..design.parts.len();
    let mut found: Vec<Movable> = parts.flat_map(|part| Movable::of_part(design, prepared, part)).collect();
    found.extend(Movable::of_pack(&design.head));
    assumptions(found)
}

/// Those of some values that a review may doubt.
pub(super) fn assumptions(mut found: Vec<Movable>) -> Vec<Movable> {
    // A hazard belongs to what is protected: moving it is no way out. Neither is another number of trials.
    let trials = |one: &Movable| one.whole && one.pointer.contains("/experiment/");
    found.retain(|one| !one.field.key.starts_with("hazard_") && !trials(one));
    found
}

/// Every turn that one value makes, in each direction the first of every requirement.
fn scan<'a>(
    asking: &mut Asking,
    candidate: &'a Movable,
    now: &[OfPart],
    reach: Reach,
) -> Result<Vec<Turn<'a>>, Refused> {
    let mut found: Vec<Turn> = Vec::new();
    for up in [true, false] {
        let mut last = candidate.now;
        let mut steps = steps(candidate, up, reach);
        // A value that moves nothing at its farthest is looked at no closer.
        let Some(far) = steps.pop() else { continue };
        let Some(farthest) = asking.moved(candidate, far)? else { continue };
        if farthest.iter().all(|(part, rows)| same(rows, &now[*part])) {
            continue;
        }
        let mut reached = Vec::with_capacity(steps.len() + 1);
        let mut refused = false;
        for value in steps {
            let Some(moved) = asking.moved(candidate, value)? else {
                refused = true;
                break;
            };
            reached.push((value, moved));
        }
        if !refused {
            reached.push((far, farthest));
        }
        let mut here: Vec<Place> = Vec::new();
        for (value, moved) in reached {
            for (part, rows) in &moved {
                let (Ok(rows), Ok(before)) = (rows, &now[*part]) else { continue };
                for one in before {
                    let place = (*part, one.id, one.key);
                    let (Some(holds_now), Some(then)) = (holds(one), find(rows, place)) else { continue };
                    if then != holds_now && !here.contains(&place) {
                        here.push(place);
                        found.push(Turn { candidate, place, holds_now, between: [last, value] });
                    }
                }
            }
            last = value;
        }
    }
    Ok(found)
}

/// Whether a part stands as before.
fn same(rows: &OfPart, before: &OfPart) -> bool {
    match (rows, before) {
        (Ok(rows), Ok(before)) => {
            rows.len() == before.len() && rows.iter().zip(before).all(|(a, b)| (a.id, holds(a)) == (b.id, holds(b)))
        }
        _ => false,
    }
}

/// Halves the stretch in which the verdict turns, and rounds what is told to the side that holds.
fn follow(
    assessed: &Assessed,
    ready: &mut Prepared,
    turn: &Turn,
    now: &[OfPart],
    work: Work,
) -> Result<Option<Turning>, Refused> {
    let candidate = turn.candidate;
    let held_at = |ready: &mut Prepared, value: f64| -> Result<Option<bool>, Refused> {
        Ok(match ready.rejudge_part(turn.place.0, &candidate.pointer, value, work)? {
            Moved::Refused => None,
            Moved::Stays => Some(turn.holds_now),
            Moved::Stands(rows) => rows.ok().and_then(|rows| find(&rows, turn.place)),
        })
    };
    let judged = |ready: &mut Prepared, value: f64| -> Result<Option<(bool, usize)>, Refused> {
        let Some(moved) = ready.rejudge(&candidate.pointer, value, work)? else { return Ok(None) };
        let of_part = moved.iter().find(|(part, _)| *part == turn.place.0);
        let Some(held) = of_part.map_or(Some(turn.holds_now), |(_, rows)| find(rows.as_deref().ok()?, turn.place))
        else {
            return Ok(None);
        };
        Ok(Some((held, broken(&moved, now, turn.place))))
    };
    let [mut near, mut far] = turn.between;
    for _ in 0..HALVES {
        let middle = f64::midpoint(near, far);
        let middle = if candidate.whole { middle.round() } else { middle };
        let done = (far - near).abs() <= KNOWN * (far - candidate.now).abs();
        if done || middle.total_cmp(&near).is_eq() || middle.total_cmp(&far).is_eq() {
            break;
        }
        match held_at(ready, middle)? {
            Some(held) if held == turn.holds_now => near = middle,
            Some(_) => far = middle,
            None => return Ok(None),
        }
    }
    // The side that holds, rounded away from the side that fails.
    let (held, fails) = if turn.holds_now { (near, far) } else { (far, near) };
    let slack = 2.0 * KNOWN * (far - candidate.now).abs();
    for digits in 2..=12 {
        let value = if candidate.whole { held } else { rounded(held, fails, digits) };
        let inside = candidate.range[0] <= value && value <= candidate.range[1];
        if !inside || (value - fails).abs() > slack.max((held - fails).abs()) {
            continue;
        }
        // A whole number whose next step turns it holds only as it is: there is no other value to print.
        if value.total_cmp(&candidate.now).is_eq() {
            return Ok(None);
        }
        if let Some((true, breaks)) = judged(ready, value)? {
            let (part, id, key) = turn.place;
            let is_it = |row: &Row| row.part == part && row.check.id == id && row.check.key == key;
            let Some(row) = assessed.requirements.iter().position(is_it) else { return Ok(None) };
            return Ok(Some(Turning {
                pointer: candidate.pointer.clone(),
                field: candidate.field,
                part: candidate.part,
                now: candidate.now,
                turns_at: value,
                requirement: assessed.requirements[row].check.label.clone(),
                of_part: part,
                row,
                holds_now: turn.holds_now,
                distance: candidate.distance(value),
                breaks: if turn.holds_now { 0 } else { breaks },
            }));
        }
        if candidate.whole {
            break;
        }
    }
    Ok(None)
}

/// How many requirements that hold now fail then, beside the one that is asked about.
fn broken(moved: &[(usize, OfPart)], now: &[OfPart], but: Place) -> usize {
    let mut count = 0;
    for (part, rows) in moved {
        let (Ok(rows), Ok(before)) = (rows, &now[*part]) else { continue };
        let places = before.iter().filter(|one| holds(one) == Some(true)).map(|one| (*part, one.id, one.key));
        count += places.filter(|place| *place != but && find(rows, *place) == Some(false)).count();
    }
    count
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
