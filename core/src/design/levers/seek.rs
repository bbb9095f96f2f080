//! Looking for the value that turns a row: first which way a value moves it and how strongly, then where it turns.
//!
//! ```text
//! Looked at  once, at a distance of a twentieth: the row's share tells direction and strength. A row without a number is
//!            looked at both ways at the farthest, and where that is refused at a third of it; one of a channel, which
//!            is about how far it reads, by how far it reads at a twentieth. Of a part that the row's own rests on the
//!            values are looked at only where what it hands on moves the row
//! Sought     from half the distance that the strength foretells, doubling up to ln 10 or 1; a value that is refused is
//!            approached from the last accepted one
//! Solved     between the two by the secant of the logarithm of the share, or in the middle, to a two-hundredth of the
//!            change; a row without a number to a fiftieth
//! Source     regula falsi kept in a bracket; common practice, no source
//! ```

use super::standing::{Place, Score, Standing};
use crate::design::movable::Movable;
use crate::design::prepared::{Moved, Prepared};
use crate::judge::Verdict;
use crate::work::{Refused, Work};

/// The distance of the first look.
const NEAR: f64 = 0.05;
/// Steps of the search outward at most, and between two values at most: with looks and prints below 40 judgements.
const STEPS: [usize; 2] = [10, 16];
/// A value is known to this share of the change, and where its row has no number to this.
pub const KNOWN: [f64; 2] = [5e-3, 2e-2];

/// What is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Goal {
    /// The share that is to be reached.
    pub used: f64,
    /// Whether thin is enough.
    pub thin: bool,
}

impl Goal {
    /// Whether a row that stands so has reached it.
    pub fn met(self, score: Score) -> bool {
        score.verdict == Verdict::Holds || (self.thin && score.verdict == Verdict::Thin)
    }

    /// How far it is from it, as a ratio's logarithm.
    fn miss(self, score: Option<Score>) -> Option<f64> {
        let used = score?.used.filter(|used| *used > 0.0)?;
        Some(libm::log(used / self.used))
    }
}

/// The way in which a value moves a row towards holding.
#[derive(Clone, Copy, Debug)]
pub struct Lead {
    /// Up or down.
    pub sign: f64,
    /// The distance after which it should turn.
    pub need: f64,
}

/// What a search found.
#[derive(Debug, Default)]
pub struct Sought {
    /// The last distance that does not reach the goal, and the first that does.
    pub between: Option<[f64; 2]>,
    /// The value with the smallest share that was seen.
    pub best: Option<(f64, f64)>,
    /// How the row stands where it no longer fails and is not judged, because something was not given.
    pub waits: Option<Score>,
}

/// A design that is asked how one row stands.
pub struct Asking<'a> {
    /// The design.
    pub ready: Prepared,
    /// How it stands.
    pub standing: &'a Standing<'a>,
    /// The row.
    pub place: Place,
    /// Whether somebody waits.
    pub work: Work<'a>,
}

/// The farthest that is looked.
fn farthest(one: &Movable) -> f64 {
    if one.by_ratio() { std::f64::consts::LN_10 } else { 1.0 }
}

impl Asking<'_> {
    /// How the row stands with another value; nothing where the value is refused.
    fn score(&mut self, one: &Movable, value: f64) -> Result<Option<Score>, Refused> {
        self.work.go_on()?;
        Ok(match self.ready.rejudge_part(self.place.0, &one.pointer, value, self.work)? {
            Moved::Refused => None,
            Moved::Stays => self.standing.of(self.place),
            Moved::Stands(rows) => self.standing.find(&rows, self.place),
        })
    }

    /// Whether a row that does not fail is not judged because something was not given.
    fn waits(&self, score: Score) -> bool {
        score.verdict == Verdict::NotJudged && !self.ready.lacking_of(self.place.0, score.missing).is_empty()
    }

    /// The parts that the row's own rests on and that move it: of what each hands on one value is moved at a time, by a
    /// twentieth, or ten times either way where the row has no number.
    pub fn sources(&self) -> Result<Vec<usize>, Refused> {
        let used = self.standing.of(self.place).and_then(|now| now.used);
        let factors: &[f64] = if used.is_some() { &[1.0 + NEAR] } else { &[0.1, 10.0] };
        let mut found = Vec::new();
        for factor in factors {
            for (source, rows) in self.ready.rejudge_handed(self.place.0, *factor, self.work)? {
                let then = self.standing.find(&rows, self.place);
                let moves = then.is_some_and(|then| then.used != used);
                if moves && !found.contains(&source) {
                    found.push(source);
                }
            }
        }
        found.sort_unstable();
        Ok(found)
    }

    /// Which way a value moves the row towards holding; nothing where it does not.
    pub fn look(&mut self, one: &Movable) -> Result<Option<Lead>, Refused> {
        let used = self.standing.of(self.place).and_then(|now| now.used).map(libm::log);
        let far = farthest(one);
        let places: &[f64] = if used.is_some() { &[NEAR] } else { &[far, far / 3.0] };
        for sign in [1.0, -1.0] {
            for place in places {
                let value = one.moved(sign * place);
                let distance = one.distance(value);
                if distance == 0.0 {
                    break;
                }
                let Some(then) = self.score(one, value)? else { continue };
                if then.holds() || self.waits(then) {
                    // Of rows without a number those that turn nearer come first.
                    let near = one.moved(sign * far / 8.0);
                    let nearer = used.is_none() && self.score(one, near)?.is_some_and(Score::holds);
                    return Ok(Some(Lead { sign, need: if nearer { far / 8.0 } else { distance } }));
                }
                let share = then.used.filter(|_| then.verdict == Verdict::Fails).map(libm::log);
                match (used, share) {
                    (Some(used), Some(share)) => {
                        let slope = (share - used) / (sign * distance);
                        let there = one.distance(one.moved(-slope.signum() * NEAR));
                        let moves = slope.abs() > 1e-9 && there > 0.0;
                        return Ok(moves.then(|| Lead { sign: -slope.signum(), need: used / slope.abs() }));
                    }
                    // From no number to one: nearer, and farther off than what turns.
                    (None, Some(_)) => return Ok(Some(Lead { sign, need: 2.0 * far })),
                    _ => break,
                }
            }
        }
        Ok(None)
    }

    /// Which way a value moves an end of a channel's range outward; nothing where it does not.
    pub fn look_at_reach(&self, one: &Movable, now: [f64; 2]) -> Option<Lead> {
        let value = [1.0, -1.0].map(|sign| one.moved(sign * NEAR)).into_iter().find(|value| *value != one.now)?;
        let then = self.ready.reach(self.place.0, &one.pointer, value)?;
        let grows = |end: usize| (then[end] - now[end]) / now[end].abs();
        let most = [grows(0), grows(1)].into_iter().filter(|grows| grows.abs() > 1e-9);
        let most = most.max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
        Some(Lead { sign: (most * (value - one.now)).signum(), need: NEAR * one.distance(value) / most.abs() })
    }

    /// Whether a lead is worth following: a strength that stays would turn the row somewhat beyond the farthest.
    pub fn hopes(one: &Movable, lead: Lead) -> bool {
        lead.need <= 1.5 * farthest(one)
    }

    /// Where the row reaches a goal in one direction, from a distance on that does not reach it.
    pub fn seek(&mut self, one: &Movable, lead: Lead, from: f64, goal: Goal) -> Result<Sought, Refused> {
        let far = farthest(one);
        let at = |distance: f64| one.moved(lead.sign * distance);
        let mut sought = Sought::default();
        let now = self.standing.of(self.place).filter(|_| from == 0.0);
        let (mut near, mut wall) = ((from, now), f64::INFINITY);
        let mut next = (lead.need / 2.0).clamp(from + far / 64.0, far.max(from + far / 64.0));
        let mut reached = None;
        for _ in 0..STEPS[0] {
            if at(next).total_cmp(&at(near.0)).is_eq() || next > far {
                break;
            }
            match self.score(one, at(next))? {
                None => wall = next,
                Some(score) if goal.met(score) => {
                    reached = Some((next, Some(score)));
                    break;
                }
                Some(score) => {
                    if self.waits(score) {
                        sought.waits = Some(score);
                    }
                    let least = sought.best.map_or(f64::INFINITY, |(_, least)| least);
                    if let Some(used) = score.used.filter(|used| *used < least) {
                        sought.best = Some((at(next), used));
                    }
                    near = (next, Some(score));
                }
            }
            next = (2.0 * next).min(far);
            if next >= wall {
                next = f64::midpoint(near.0, wall);
            }
            if next - near.0 <= far / 128.0 {
                break;
            }
        }
        let Some(mut far) = reached else { return Ok(sought) };
        let known = if goal.miss(far.1).is_some() { KNOWN[0] } else { KNOWN[1] };
        let mut lean = 1.0;
        for round in 0..STEPS[1] {
            let margin = known * far.0 / 3.0;
            if far.0 - near.0 <= 3.0 * margin {
                break;
            }
            let secant = match (goal.miss(near.1), goal.miss(far.1)) {
                (Some(high), Some(low)) if high > low && round % 4 != 3 && !one.whole => {
                    let guess = near.0 + (far.0 - near.0) * high / (high - low) + lean * margin;
                    Some(guess.clamp(near.0 + margin, far.0 - margin))
                }
                _ => None,
            };
            let middle = secant.unwrap_or_else(|| f64::midpoint(near.0, far.0));
            if [near.0, far.0].iter().any(|end| at(middle).total_cmp(&at(*end)).is_eq()) {
                // A whole number has no value between its steps.
                break;
            }
            let score = self.score(one, at(middle))?;
            if score.is_some_and(|score| goal.met(score)) {
                (far, lean) = ((middle, score), -1.0);
            } else {
                (near, lean) = ((middle, score), 1.0);
            }
        }
        sought.between = Some([near.0, far.0]);
        Ok(sought)
    }
}
