//! # A design made ready to be judged
//!
//! Every part's input is read once and kept typed; what the pack, the requirements and other parts hand down is put into it
//! number by number. Verdicts then cost no reading, no text and no curve, and one changed value costs only what depends on
//! it. Whole answers, turning values, comparison and hints ask the same inputs.
//!
//! ```text
//! Order      what others rest on comes first; one question to a channel serves all that rest on it
//! Handed on  a channel's worst-case error at a point, end of life, as it is calibrated; inputs as they are
//! Beyond     its range a channel stands at its end, and so does its error: a hazard may lie there, a threshold may not
//! ```

mod alone;
mod asked;
mod doubts;
mod following;
mod gathering;
mod giving;
mod lending;
mod reading;
mod taken;

use serde_json::{Value, json};

use super::section::{At, Kind, Lent, Origin, Rests};
use super::starts::{NotGiven, Rule};
use super::{Design, Head};
use crate::calculation::Entry;
use crate::field::tree::put;
use crate::field::{Field, FieldError, Group, Notation, Typed, declared};
use crate::judge::{Judged, Limit};
use crate::quantity::Unit;
use crate::work::{Refused, Work};

pub(super) use asked::LARGER;
pub use doubts::asked_again;
use doubts::{Doubt, Pair};
use gathering::{gather, gathered};
use giving::Giving;
use reading::ready;
pub use reading::{at_origin, read, takes_list, told_once};
use taken::Larger;
pub use taken::{Handed, LeftOut, Moved, OfPart, Taken, Verdicts};

/// A design made ready.
pub struct Prepared {
    head: Head,
    parts: Vec<Ready>,
    /// Parts that others rest on, and those that rest on them.
    sources: Vec<(usize, Vec<Resting>)>,
    /// What each of these gives as the design has it.
    giving: Vec<Giving>,
    /// Facts that more than one part may tell.
    pairs: Vec<Pair>,
}

/// A part and which of its links leads to what it rests on.
#[derive(Clone, Copy, Debug)]
struct Resting {
    part: usize,
    link: usize,
}

struct Ready {
    entry: &'static Entry,
    kind: &'static Kind,
    pointer: String,
    title: String,
    links: Vec<Link>,
    input: Box<dyn Typed>,
    /// What was taken over each link.
    taken: Vec<Taken>,
    /// What has no value until it is typed.
    not_given: Vec<NotGiven>,
    /// Inputs whose limits are not asked: those that only cells have, where there are none, and what others judge.
    left_out: Vec<&'static str>,
    /// What follows from the pack and from its other values.
    follows: Vec<&'static Rule>,
    /// The lists that others lend.
    lent: Vec<Borrowed>,
    /// What others tell differently.
    doubts: Vec<Doubt>,
}

/// A list that other parts lend.
#[derive(Clone)]
struct Borrowed {
    lent: &'static Lent,
    rows: usize,
    lenders: Vec<usize>,
}

/// Another part that a part rests on.
#[derive(Clone)]
struct Link {
    rests: &'static Rests,
    name: String,
    source: Option<usize>,
}

impl Clone for Ready {
    fn clone(&self) -> Self {
        Self {
            pointer: self.pointer.clone(),
            title: self.title.clone(),
            links: self.links.clone(),
            input: self.input.copy(),
            taken: self.taken.clone(),
            not_given: self.not_given.clone(),
            left_out: self.left_out.clone(),
            follows: self.follows.clone(),
            lent: self.lent.clone(),
            doubts: self.doubts.clone(),
            ..*self
        }
    }
}

impl Clone for Prepared {
    fn clone(&self) -> Self {
        let (sources, giving, pairs) = (self.sources.clone(), self.giving.clone(), self.pairs.clone());
        Self { head: self.head.clone(), parts: self.parts.clone(), sources, giving, pairs }
    }
}

impl std::fmt::Debug for Prepared {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Prepared({} parts)", self.parts.len())
    }
}

/// A part as it was before a value moved it.
type Saved = (usize, Box<dyn Typed>, Vec<Taken>, Vec<Doubt>);

impl Prepared {
    /// Reads every part's input and hands on what other parts give.
    ///
    /// # Errors
    /// Faults of values, at their places in the document; the work was stopped.
    pub fn new(design: &Design, work: Work) -> Result<Self, Refused> {
        let head = Group::write(&design.head);
        let mut faults = Vec::new();
        let mut parts = Vec::with_capacity(design.parts.len());
        for part in &design.parts {
            match read(design, &head, part) {
                Ok(input) => parts.push(ready(design, part, input)),
                Err(more) => told_once(&mut faults, more),
            }
        }
        if !faults.is_empty() {
            return Err(Refused::Faults(faults));
        }
        gather(&mut parts);
        let resting = |source| {
            let links = |part: usize| (0..parts[part].links.len()).map(move |link| Resting { part, link });
            let all = (0..parts.len()).flat_map(links);
            all.filter(|one| parts[one.part].links[one.link].source == Some(source)).collect::<Vec<_>>()
        };
        let mut sources: Vec<(usize, Vec<Resting>)> = (0..parts.len())
            .map(|source| (source, resting(source)))
            .filter(|(_, resting)| !resting.is_empty())
            .collect();
        // What itself rests on another one is asked after it.
        let depths = depths(&parts);
        sources.sort_by_key(|(source, _)| depths[*source]);
        let giving = vec![Giving::default(); sources.len()];
        let pairs = doubts::pairs(design);
        let mut prepared = Self { head: design.head.clone(), parts, sources, giving, pairs };
        let all = vec![true; prepared.parts.len()];
        prepared.hand_on(&all, &all, true, &mut |_, _| {}, work)?;
        for at in 0..prepared.parts.len() {
            prepared.parts[at].doubts = prepared.doubts(at);
        }
        Ok(prepared)
    }

    /// What a part needs that has no value until it is typed.
    pub fn not_given(&self, part: usize) -> &[NotGiven] {
        &self.parts[part].not_given
    }

    /// The complete input of a part.
    pub fn input(&self, part: usize) -> &dyn Typed {
        &*self.parts[part].input
    }

    /// What a part took from others, with their names.
    ///
    /// # Errors
    /// Why there is nothing to take.
    pub fn taken(&self, part: usize) -> Result<Vec<(&str, Handed)>, Vec<FieldError>> {
        let part = &self.parts[part];
        let links = part.links.iter().zip(&part.taken);
        part.faults().map_or_else(
            || {
                Ok(links
                    .flat_map(|(link, taken)| taken.iter().flatten().map(|one| (link.name.as_str(), *one)))
                    .collect())
            },
            Err,
        )
    }

    /// The requirements of all parts.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn verdicts(&self, work: Work) -> Result<Verdicts, Refused> {
        (0..self.parts.len()).map(|part| self.of_part(part, work)).collect()
    }

    /// The requirements of every part that a value moves when it is another; nothing when it is no number of the design or
    /// does not accept the value. The design is as before afterwards.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn rejudge(&mut self, pointer: &str, value: f64, work: Work) -> Result<Option<Vec<(usize, OfPart)>>, Refused> {
        self.tried(pointer, value, None, work)
    }

    /// The requirements of some parts when a value is another, as [`Prepared::rejudge`] gives them.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn rejudge_parts(
        &mut self,
        parts: &[usize],
        pointer: &str,
        value: f64,
        work: Work,
    ) -> Result<Option<Vec<(usize, OfPart)>>, Refused> {
        self.tried(pointer, value, Some(parts), work)
    }

    /// The requirements of one part when a value is another.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn rejudge_part(&mut self, part: usize, pointer: &str, value: f64, work: Work) -> Result<Moved, Refused> {
        let moved = self.tried(pointer, value, Some(&[part]), work)?;
        Ok(moved.map_or(Moved::Refused, |moved| {
            moved.into_iter().next().map_or(Moved::Stays, |(_, rows)| Moved::Stands(rows))
        }))
    }

    fn tried(
        &mut self,
        pointer: &str,
        value: f64,
        only: Option<&[usize]>,
        work: Work,
    ) -> Result<Option<Vec<(usize, OfPart)>>, Refused> {
        let mut saved: Vec<Saved> = Vec::new();
        let head = pointer.starts_with("/pack/").then(|| self.head.clone());
        let done = self.moved(pointer, value, only, &mut saved, work);
        for (at, input, taken, doubts) in saved.into_iter().rev() {
            let part = &mut self.parts[at];
            (part.input, part.taken, part.doubts) = (input, taken, doubts);
        }
        if let Some(head) = head {
            self.head = head;
        }
        done
    }

    fn moved(
        &mut self,
        pointer: &str,
        value: f64,
        only: Option<&[usize]>,
        saved: &mut Vec<Saved>,
        work: Work,
    ) -> Result<Option<Vec<(usize, OfPart)>>, Refused> {
        let mut keep = |at: usize, part: &Ready| {
            if saved.iter().all(|(other, ..)| *other != at) {
                saved.push((at, part.input.copy(), part.taken.clone(), part.doubts.clone()));
            }
        };
        let Some(mut moved) = self.put(pointer, value, only, &mut keep, work)? else { return Ok(None) };
        let doubted = self.doubt_again(&mut keep);
        if doubted.contains(&true) {
            for (at, moved) in moved.iter_mut().enumerate() {
                *moved |= self.beneath(at).into_iter().zip(&doubted).any(|(beneath, doubted)| beneath && *doubted);
            }
        }
        let judged = |at: &usize| moved[*at] && only.is_none_or(|parts| parts.contains(at));
        let changed = (0..moved.len()).filter(judged).map(|at| Ok((at, self.of_part(at, work)?)));
        changed.collect::<Result<_, Refused>>().map(Some)
    }

    /// Puts a value in its place and hands on what moves with it, to some parts or all; which parts it moves, nothing where it is
    /// not accepted.
    fn put(
        &mut self,
        pointer: &str,
        value: f64,
        only: Option<&[usize]>,
        keep: &mut dyn FnMut(usize, &Ready),
        work: Work,
    ) -> Result<Option<Vec<bool>>, Refused> {
        let mut asked = vec![only.is_none(); self.parts.len()];
        for part in only.unwrap_or_default() {
            self.under(*part).into_iter().zip(&mut asked).for_each(|(under, asked)| *asked |= under);
        }
        let mut touched = vec![false; self.parts.len()];
        if let Some((at, below)) = self.place(pointer) {
            keep(at, &self.parts[at]);
            if !self.parts[at].input.put(below, value) || !self.parts[at].follow(&self.head, below) {
                return Ok(None);
            }
            touched[at] = true;
        } else {
            if !Group::set(&mut self.head, pointer, value) {
                return Ok(None);
            }
            for (at, part) in self.parts.iter_mut().enumerate() {
                for bound in part.kind.bound {
                    let (to, now) = match bound.from {
                        Origin::Parallel(..) | Origin::Beside(..) | Origin::Sum(..) => continue,
                        Origin::Pack(_, of) => (bound.to.into(), of(&self.head.pack)),
                        Origin::Field(from) => match pointer.strip_prefix(from) {
                            Some(below) if below.is_empty() || below.starts_with('/') => {
                                (format!("{}{below}", bound.to), Some(value))
                            }
                            _ => continue,
                        },
                    };
                    if let Some(now) = now.filter(|now| part.input.number(&to) != Some(*now)) {
                        keep(at, part);
                        if !part.input.put(&to, now) {
                            return Ok(None);
                        }
                        touched[at] = true;
                    }
                }
                if !part.follows.is_empty() {
                    keep(at, part);
                    if !part.follow(&self.head, "") {
                        return Ok(None);
                    }
                    touched[at] = true;
                }
            }
        }
        for (at, touched) in touched.iter_mut().enumerate() {
            for (to, ohm) in gathered(&self.parts, at) {
                if self.parts[at].input.number(to) != Some(ohm) {
                    keep(at, &self.parts[at]);
                    if !self.parts[at].input.put(to, ohm) {
                        return Ok(None);
                    }
                    *touched = true;
                }
            }
        }
        for at in 0..self.parts.len() {
            let Some(lent) = lending::moved(&self.parts, at, &touched) else { return Ok(None) };
            for (to, value) in lent {
                keep(at, &self.parts[at]);
                if !self.parts[at].input.put(&to, value) {
                    return Ok(None);
                }
                touched[at] = true;
            }
        }
        let moved = self.hand_on(&touched, &asked, false, keep, work)?;
        Ok(Some(touched.iter().zip(moved).map(|(touched, moved)| *touched || moved).collect()))
    }

    /// The part that a pointer leads into, and the pointer inside it.
    fn place<'p>(&self, pointer: &'p str) -> Option<(usize, &'p str)> {
        self.parts.iter().enumerate().find_map(|(at, part)| {
            let below = pointer.strip_prefix(part.pointer.as_str())?;
            below.starts_with('/').then_some((at, below))
        })
    }

    /// Hands on what touched parts give and what touched parts take, to parts that are asked; says which of them took
    /// something new. What a part gives as the design has it is kept: at first (`kept`), and where it is not touched.
    fn hand_on(
        &mut self,
        touched: &[bool],
        asked: &[bool],
        kept: bool,
        keep: &mut dyn FnMut(usize, &Ready),
        work: Work,
    ) -> Result<Vec<bool>, Refused> {
        let mut moved = vec![false; self.parts.len()];
        for group in 0..self.sources.len() {
            let (source, resting) = &self.sources[group];
            let whole = touched[*source] || moved[*source];
            let asks = |one: &Resting| asked[one.part] && (whole || touched[one.part] || moved[one.part]);
            let asking: Vec<Resting> = resting.iter().copied().filter(asks).collect();
            if asking.is_empty() {
                continue;
            }
            work.go_on()?;
            let (source, mut moves) = (*source, Giving::default());
            let stays = kept || !whole;
            if stays {
                std::mem::swap(&mut moves, &mut self.giving[group]);
            }
            let given = self.given(source, &asking, &mut moves, work);
            if stays {
                self.giving[group] = moves;
            }
            let given = given?;
            for (Resting { part: at, link }, taken) in asking.into_iter().zip(given) {
                let part = &mut self.parts[at];
                if part.taken[link] == taken {
                    continue;
                }
                keep(at, part);
                moved[at] = true;
                part.taken[link] = taken.and_then(|taken| {
                    for one in &taken {
                        if !part.input.put(one.to, one.value) {
                            return Err(part.refuses(link, one));
                        }
                    }
                    Ok(taken)
                });
            }
        }
        Ok(moved)
    }
}

impl Ready {
    /// Why what it rests on gives no value.
    fn faults(&self) -> Option<Vec<FieldError>> {
        let faults: Vec<FieldError> =
            self.taken.iter().filter_map(|taken| taken.as_ref().err()).flatten().cloned().collect();
        (!faults.is_empty()).then_some(faults)
    }

    /// The unit of a point at which a channel is asked.
    fn unit(&self, place: At) -> Unit {
        match place {
            At::Input(pointer) | At::Below(pointer) => {
                declared(self.entry.fields, pointer).and_then(Field::unit).unwrap_or(Unit::One)
            }
            At::Pack(_) => Unit::Volt,
        }
    }

    fn refuse(&self, link: &Link, message: String) -> Vec<FieldError> {
        let place = format!("{}{}", self.pointer, link.rests.named_at);
        let accepted = "a part that covers this point, or typed values";
        vec![FieldError::contradiction(&place, message, accepted, &link.name)]
    }

    /// A value that its input does not accept, in the words of that input.
    fn refuses(&self, link: usize, one: &Handed) -> Vec<FieldError> {
        let mut input = self.input.written();
        put(&mut input, one.to, json!(one.value));
        let faults = self.entry.read(Some(&Value::Object(input)), Notation::Json).err().unwrap_or_default();
        let words: Vec<&str> = faults.iter().map(|fault| fault.message.as_str()).collect();
        let message = format!("{} gives a value that is not accepted: {}", self.title, words.join(" "));
        self.refuse(&self.links[link], message)
    }
}

/// The row of a fact that is needed and was not given.
pub fn not_given((place, pointer): NotGiven) -> Judged {
    Judged::at_most(NOT_GIVEN, pointer, Unit::One, None, Limit::Missing(pointer)).row(place)
}

/// What a part has for a fact that is needed and was not given.
pub const NOT_GIVEN: &str = "design.not-given";

/// The row of a part that rests on something that gives no value: why it gives none stands at its own rows.
pub fn not_assessed(named_at: &'static str) -> Judged {
    Judged::never(NOT_ASSESSED, named_at, true).blocked()
}

/// What a part has for a requirement that rests on something that gives no value.
pub const NOT_ASSESSED: &str = "design.not-assessed";

/// How many parts stand at most between each part and one that rests on nothing. No section rests on itself, so that no
/// circle is possible, and no chain is longer than there are parts.
fn depths(parts: &[Ready]) -> Vec<usize> {
    let mut depths = vec![0; parts.len()];
    for _ in parts {
        for (at, part) in parts.iter().enumerate() {
            let below = part.links.iter().filter_map(|link| link.source).map(|source| depths[source] + 1);
            depths[at] = below.max().unwrap_or(0);
        }
    }
    depths
}
