//! # What fails first and what turns it
//!
//! Rows that fail are grouped into causes, the worst first. For each the single values of its part, and of parts it rests
//! on, are sought that turn it; as printed each is tried on the whole design, by the very function that judges.
//!
//! ```text
//! Cause      the points of one requirement of one part, then those that one offered lever turns as well; the first five
//! Lever      a number of the row's part or of one it rests on, neither given (`section::given`) nor handed down, nor zero
//!            where none is negative
//! Sought     see `seek`; the strongest few of each cause are followed, the rest is counted
//! Printed    on the side that holds, with the digits this needs
//! Offered    its row is thin or holds then, no other row gets a worse word or is no longer judged, none appears that does
//!            not hold, and fewer fail or cannot be told; at most twelve, nearest first; the nearest few get a second step,
//!            to "holds"
//! Kept apart what turns its row and breaks another; where nothing turns it, the best that one value reaches
//! Bounded    by counts and never by a clock, so that the same design gives the same bytes
//! Source     one-at-a-time sensitivity; common practice, no source
//! ```

mod seek;
mod standing;

use rayon::prelude::*;

use super::assess::Assessed;
use super::movable::{Movable, rounded};
use super::prepared::Prepared;
use crate::field::Field;
use crate::judge::Verdict;
use crate::work::{Refused, Work};

use seek::{Asking, Goal, KNOWN, Lead};
use standing::{Change, Place, Score, Standing};

/// Causes that are told.
const CAUSES: usize = 5;
/// Causes for which as much is looked for as there is; for later ones the strongest few.
const WHOLE: usize = 4;
/// Levers that are offered for one cause.
const OFFERED: usize = 12;
/// Values that are looked at for one cause: those of its own part first.
const LOOKED_AT: usize = 64;
/// Values that are named as those that move a row most.
const NAMED: usize = 3;
/// Printed forms that are tried on the whole design.
const PRINTS: usize = 3;

/// What fails first and what turns it.
#[derive(Clone, Debug, Default)]
pub struct Levers {
    /// The causes, worst first.
    pub causes: Vec<Cause>,
    /// Causes beyond these.
    pub more: usize,
}

/// Rows that fail together, and what turns them.
#[derive(Clone, Debug)]
pub struct Cause {
    /// Its rows as places in the design's requirements, worst first: the first stands for all.
    pub rows: Vec<usize>,
    /// What turns its first row and makes nothing worse, nearest first.
    pub offered: Vec<Lever>,
    /// What does so beyond these.
    pub more: usize,
    /// What turns its first row and breaks another, nearest first.
    pub not_offered: Vec<Lever>,
    /// Where no value turns it because it is not judged then: what has to be given first, by where it stands in the document.
    pub first: Vec<String>,
    /// Where no value turns it: the best that one reaches.
    pub closest: Option<Lever>,
    /// What moves its first row most, strongest first; the first three.
    pub strongest: Vec<Movable>,
    /// Values that were not followed, or not looked at.
    pub left_out: usize,
}

/// One value that turns a row.
#[derive(Clone, Debug)]
pub struct Lever {
    /// Where it stands in the document.
    pub pointer: String,
    /// Its declaration.
    pub field: &'static Field,
    /// The part it belongs to.
    pub part: usize,
    /// The value now.
    pub now: f64,
    /// How far it has to be moved.
    pub distance: f64,
    /// As far as its row no longer fails.
    pub turns: Step,
    /// As far as its row holds with room, where it is thin before.
    pub holds: Option<Step>,
}

/// What another value does to the whole design.
#[derive(Clone, Debug)]
pub struct Step {
    /// The value, as printed.
    pub value: f64,
    /// How its row stands then.
    pub verdict: Verdict,
    /// The share of its row's allowance then, in percent; nothing where it is no number.
    pub used_percent: Option<f64>,
    /// How many rows fail then.
    pub fails: usize,
    /// How many are not resolved or not judged then.
    pub open: usize,
    /// Further rows that it turns, as places in the design's requirements.
    pub turns: Vec<usize>,
    /// Rows that get a worse word, as places in the design's requirements.
    pub breaks: Vec<usize>,
    /// Rows that are new and do not hold.
    pub appears: usize,
    /// Other rows whose word is another one then.
    pub others: usize,
    /// Rows that nothing judges and of which more is asked, and rows that fail already and then by more: places in the design's
    /// requirements, with what they reach or the percent of the limit, now and then.
    pub strained: Vec<(usize, [f64; 2])>,
}

/// How much is looked for: a channel searches hundreds of states for each judgement, and what rests on it asks it.
struct Effort {
    /// Values that are followed.
    followed: usize,
    /// Levers that get a second step.
    second: usize,
}

/// A value that was followed.
enum Followed {
    Turns(Lever, Lead, [f64; 2]),
    Breaks(Lever),
    Best(f64, f64),
    Waits(Score),
    Nothing,
}

/// What is asked about one row.
struct Question<'a> {
    assessed: &'a Assessed,
    prepared: &'a Prepared,
    standing: &'a Standing<'a>,
    place: Place,
    /// Whether causes enough stand before it.
    is_late: bool,
    work: Work<'a>,
}

/// The causes of what fails, worst first, with the values that turn them.
///
/// # Errors
/// The work was stopped.
pub fn levers(assessed: &Assessed, work: Work) -> Result<Levers, Refused> {
    if assessed.requirements.iter().all(|row| row.check.verdict != Verdict::Fails) {
        return Ok(Levers::default());
    }
    levers_in(assessed, &Prepared::new(&assessed.design, work)?, work)
}

/// The same of a design that is ready to be asked.
///
/// # Errors
/// The work was stopped.
pub fn levers_in(assessed: &Assessed, prepared: &Prepared, work: Work) -> Result<Levers, Refused> {
    let mut found = Levers::default();
    let groups = groups(assessed);
    if groups.is_empty() {
        return Ok(found);
    }
    let now = prepared.verdicts(work)?;
    let standing = Standing::new(&now, assessed.design.head.requirements.thin_from_percent);
    for rows in groups {
        let together = |lever: &Lever| rows.iter().all(|row| lever.turns.turns.contains(row));
        if let Some(cause) = found.causes.iter_mut().find(|cause| cause.offered.iter().any(together)) {
            cause.rows.extend(rows);
        } else if found.causes.len() == CAUSES {
            found.more += 1;
        } else {
            let row = &assessed.requirements[rows[0]];
            let judged = now[row.part].iter().flatten();
            let id = judged.filter(|one| one.id == row.check.id && one.key == row.check.key).map(|one| one.id).next();
            let Some(id) = id else { continue };
            let place = (row.part, id, row.check.key);
            let is_late = found.causes.len() >= WHOLE;
            let question = Question { assessed, prepared, standing: &standing, place, is_late, work };
            found.causes.push(question.solve(rows)?);
        }
    }
    Ok(found)
}

/// The rows that fail, worst first, those of one requirement of one part together.
fn groups(assessed: &Assessed) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (at, row) in assessed.requirements.iter().enumerate().filter(|(_, row)| row.check.verdict == Verdict::Fails) {
        let alike = |group: &&mut Vec<usize>| {
            let first = &assessed.requirements[group[0]];
            (first.part, &first.check.id) == (row.part, &row.check.id)
        };
        match groups.iter_mut().find(alike) {
            Some(group) => group.push(at),
            None => groups.push(vec![at]),
        }
    }
    groups
}

impl Question<'_> {
    fn asking(&self) -> Asking<'_> {
        Asking { ready: self.prepared.clone(), standing: self.standing, place: self.place, work: self.work }
    }

    fn effort(&self) -> Effort {
        let under = self.prepared.under(self.place.0);
        let searches = |part: usize| self.prepared.is_channel(part);
        let count = if searches(self.place.0) { [4, 2] } else { [6, 3] };
        let dear = (0..under.len()).any(|part| under[part] && searches(part));
        let [followed, second] = if dear || self.is_late { count } else { [OFFERED; 2] };
        Effort { followed, second }
    }

    /// The values that may turn the row: of its own part first.
    fn candidates(&self) -> Result<Vec<Movable>, Refused> {
        let design = &self.assessed.design;
        let others = self.asking().sources()?;
        let of = |at: usize| {
            let (part, path) = (&design.parts[at], design.parts[at].pointer());
            let idle: Vec<&str> = part.idle().collect();
            let mut own = Movable::cells_of_part(design, self.prepared, at);
            own.extend(Movable::of_part(design, self.prepared, at));
            own.retain(|one| {
                let inside = &one.pointer[path.len()..];
                let counts = idle.iter().all(|group| !inside.starts_with(&format!("{group}/")));
                counts && !part.kind.gives(inside) && (one.now != 0.0 || one.range[0] < 0.0)
            });
            own
        };
        Ok(std::iter::once(self.place.0).chain(others).flat_map(of).collect())
    }

    /// Which way each value moves the row, and how strongly.
    fn looked(&self, candidates: &[Movable]) -> Result<Vec<Option<Lead>>, Refused> {
        let number = self.standing.of(self.place).is_some_and(|now| now.used.is_some());
        if let Some(now) = self.prepared.reach_now(self.place.0).filter(|_| !number) {
            let reach = candidates.par_iter();
            let reach = reach.map_init(|| self.asking(), |asking, one| asking.look_at_reach(one, now));
            let reach: Vec<Option<Lead>> = reach.collect();
            if reach.iter().any(Option::is_some) {
                return Ok(reach);
            }
        }
        candidates.par_iter().map_init(|| self.asking(), Asking::look).collect()
    }

    fn solve(&self, rows: Vec<usize>) -> Result<Cause, Refused> {
        let effort = self.effort();
        let mut candidates = self.candidates()?;
        let unseen = candidates.len().saturating_sub(LOOKED_AT);
        candidates.truncate(LOOKED_AT);
        let looked = self.looked(&candidates)?;
        let mut leads: Vec<(&Movable, Lead)> =
            candidates.iter().zip(looked).filter_map(|(one, lead)| Some((one, lead?))).collect();
        leads.sort_by(|a, b| a.1.need.total_cmp(&b.1.need));
        let strongest = leads.iter().take(NAMED).map(|(one, _)| (*one).clone()).collect();
        // Where none would turn it, the strongest says how near one comes.
        let hopeful = leads.iter().filter(|(one, lead)| Asking::hopes(one, *lead)).count().max(1);
        let kept = hopeful.min(effort.followed);
        let left_out = unseen + leads.len().saturating_sub(kept);
        leads.truncate(kept);
        let followed =
            leads.par_iter().map_init(|| self.asking(), |asking, (one, lead)| self.follow(asking, one, *lead));
        let followed = followed.collect::<Result<Vec<Followed>, Refused>>()?;
        let (mut turns, mut not_offered) = (Vec::new(), Vec::new());
        let mut best: Option<(&Movable, f64, f64)> = None;
        let mut waits: Option<Score> = None;
        for ((one, _), followed) in leads.iter().zip(followed) {
            match followed {
                Followed::Turns(lever, lead, between) => turns.push((*one, lever, lead, between)),
                Followed::Breaks(lever) => not_offered.push(lever),
                Followed::Waits(score) => waits = waits.or(Some(score)),
                Followed::Best(value, used) if best.is_none_or(|(_, _, least)| used < least) => {
                    best = Some((one, value, used));
                }
                _ => {}
            }
        }
        turns.sort_by(|a, b| a.1.distance.total_cmp(&b.1.distance));
        not_offered.sort_by(|a, b| a.distance.total_cmp(&b.distance));
        let more = turns.len().saturating_sub(OFFERED);
        turns.truncate(OFFERED);
        let second = turns.par_iter().enumerate().map_init(
            || self.asking(),
            |asking, (at, (one, lever, lead, between))| {
                let mut lever = lever.clone();
                if at < effort.second && lever.turns.verdict == Verdict::Thin {
                    lever.holds = self.second(asking, one, *lead, between[1])?;
                }
                Ok(lever)
            },
        );
        let offered: Vec<Lever> = second.collect::<Result<_, Refused>>()?;
        let waits = waits.filter(|_| offered.is_empty());
        let first = waits.map_or_else(Vec::new, |score| self.prepared.lacking_of(self.place.0, score.missing));
        let alone = offered.is_empty() && not_offered.is_empty() && first.is_empty();
        let closest = match best.filter(|_| alone) {
            Some((one, value, _)) => self.closest(&mut self.asking(), one, value)?,
            None => None,
        };
        Ok(Cause { rows, offered, more, not_offered, first, closest, strongest, left_out })
    }

    /// Follows one value to where the row turns, and tries that on the whole design.
    fn follow(&self, asking: &mut Asking, one: &Movable, lead: Lead) -> Result<Followed, Refused> {
        let goal = Goal { used: 1.0, thin: true };
        let sought = asking.seek(one, lead, 0.0, goal)?;
        let Some(between) = sought.between else {
            return Ok(match (sought.waits, sought.best) {
                (Some(score), _) => Followed::Waits(score),
                (None, Some((value, used))) => Followed::Best(value, used),
                (None, None) => Followed::Nothing,
            });
        };
        let ends = between.map(|distance| one.moved(lead.sign * distance));
        let Some((value, change)) = self.printed(asking, one, ends, goal)? else { return Ok(Followed::Nothing) };
        let Some(lever) = self.lever(one, value, &change) else { return Ok(Followed::Nothing) };
        Ok(if self.standing.gains(&change) { Followed::Turns(lever, lead, between) } else { Followed::Breaks(lever) })
    }

    /// The step to "holds", where the lever reaches it without harm.
    fn second(&self, asking: &mut Asking, one: &Movable, lead: Lead, from: f64) -> Result<Option<Step>, Refused> {
        let used = self.assessed.design.head.requirements.thin_from_percent / 100.0;
        let goal = Goal { used, thin: false };
        let lead = Lead { need: 2.5 * from, ..lead };
        let Some(between) = asking.seek(one, lead, from, goal)?.between else { return Ok(None) };
        let ends = between.map(|distance| one.moved(lead.sign * distance));
        let step = self.printed(asking, one, ends, goal)?.filter(|(_, change)| self.standing.gains(change));
        Ok(step.and_then(|(value, change)| self.step(value, &change)))
    }

    /// The first printed form between a value that fails and one that holds with which the whole design meets a goal.
    fn printed(
        &self,
        asking: &mut Asking,
        one: &Movable,
        [fails, held]: [f64; 2],
        goal: Goal,
    ) -> Result<Option<(f64, Change)>, Refused> {
        let slack = 2.0 * (KNOWN[0] * (held - one.now).abs()).max((held - fails).abs());
        let digits = if one.whole { 12..=12 } else { 1..=12 };
        let mut tried = Vec::with_capacity(PRINTS);
        for digits in digits {
            let value = if one.whole { held } else { rounded(held, fails, digits) };
            let inside = one.range[0] <= value && value <= one.range[1];
            if !inside || (value - fails).abs() > slack || tried.contains(&value) || value.total_cmp(&one.now).is_eq() {
                continue;
            }
            if tried.len() == PRINTS {
                break;
            }
            tried.push(value);
            let change = self.tried(asking, one, value)?;
            if let Some(change) = change.filter(|change| change.row.is_some_and(|row| goal.met(row))) {
                return Ok(Some((value, change)));
            }
        }
        Ok(None)
    }

    /// What a value changes of the whole design; nothing where it is refused.
    fn tried(&self, asking: &mut Asking, one: &Movable, value: f64) -> Result<Option<Change>, Refused> {
        self.work.go_on()?;
        let moved = asking.ready.rejudge(&one.pointer, value, self.work)?;
        Ok(moved.and_then(|moved| self.standing.change(&moved, self.place)))
    }

    /// The best value of all that turn nothing, with three digits where these are accepted.
    fn closest(&self, asking: &mut Asking, one: &Movable, value: f64) -> Result<Option<Lever>, Refused> {
        let short = rounded(value, one.now, 3);
        let inside = !one.whole && one.range[0] <= short && short <= one.range[1];
        let value = if inside { short } else { value };
        let change = self.tried(asking, one, value)?;
        Ok(change.and_then(|change| self.lever(one, value, &change)))
    }

    fn lever(&self, one: &Movable, value: f64, change: &Change) -> Option<Lever> {
        Some(Lever {
            pointer: one.pointer.clone(),
            field: one.field,
            part: one.part?,
            now: one.now,
            distance: one.distance(value),
            turns: self.step(value, change)?,
            holds: None,
        })
    }

    fn step(&self, value: f64, change: &Change) -> Option<Step> {
        let row = change.row?;
        let places = |places: &[Place]| places.iter().filter_map(|place| self.row(*place)).collect();
        Some(Step {
            value,
            verdict: row.verdict,
            used_percent: row.used.map(|used| used * 100.0 + 0.0),
            fails: change.fails,
            open: change.open,
            turns: places(&change.turned),
            breaks: places(&change.worse),
            appears: change.appeared,
            others: change.others,
            strained: change.strained.iter().filter_map(|(place, values)| Some((self.row(*place)?, *values))).collect(),
        })
    }

    /// Where a requirement stands among those of the design.
    fn row(&self, (part, id, key): Place) -> Option<usize> {
        let rows = &self.assessed.requirements;
        rows.iter().position(|row| row.part == part && row.check.id == id && row.check.key == key)
    }
}
