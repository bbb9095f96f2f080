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

use serde_json::{Map, Value, json};

use super::section::{At, From, Kind, Take};
use super::{Design, Head, Part, at, put};
use crate::calculation::Entry;
use crate::field::{Field, FieldError, Group, Notation, Typed, declared};
use crate::judge::Judged;
use crate::quantity::{Quantity, Unit, say};
use crate::work::{Refused, Work};

/// A value that another part handed on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Handed {
    /// The input that takes it.
    pub to: &'static str,
    /// The point at which an error was taken; nothing for an input of the other part.
    pub at: Option<Quantity>,
    /// The value.
    pub value: f64,
}

/// What a part took from another, or why there is nothing to take.
pub type Taken = Result<Vec<Handed>, Vec<FieldError>>;

/// The requirements of every part, in the order of the design; the faults where a part cannot be judged.
pub type Verdicts = Vec<OfPart>;

/// The requirements of one part; the faults where it cannot be judged.
pub type OfPart = Result<Vec<Judged>, Vec<FieldError>>;

/// A design made ready.
pub struct Prepared {
    head: Head,
    parts: Vec<Ready>,
    /// Parts that others rest on, and those that rest on them.
    sources: Vec<(usize, Vec<usize>)>,
}

struct Ready {
    entry: &'static Entry,
    kind: &'static Kind,
    pointer: String,
    rests_on: String,
    title: String,
    source: Option<usize>,
    input: Box<dyn Typed>,
    taken: Taken,
}

impl Clone for Ready {
    fn clone(&self) -> Self {
        Self {
            pointer: self.pointer.clone(),
            rests_on: self.rests_on.clone(),
            title: self.title.clone(),
            input: self.input.copy(),
            taken: self.taken.clone(),
            ..*self
        }
    }
}

impl Clone for Prepared {
    fn clone(&self) -> Self {
        Self { head: self.head.clone(), parts: self.parts.clone(), sources: self.sources.clone() }
    }
}

impl std::fmt::Debug for Prepared {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Prepared({} parts)", self.parts.len())
    }
}

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
        let resting = |source| (0..parts.len()).filter(|at| parts[*at].source == Some(source)).collect::<Vec<_>>();
        let mut sources: Vec<(usize, Vec<usize>)> = (0..parts.len())
            .map(|source| (source, resting(source)))
            .filter(|(_, resting)| !resting.is_empty())
            .collect();
        // What itself rests on another one is asked after it.
        sources.sort_by_key(|(source, _)| depth(&parts, *source));
        let mut prepared = Self { head: design.head.clone(), parts, sources };
        let all = vec![true; prepared.parts.len()];
        prepared.hand_on(&all, &mut |_, _| {}, work)?;
        Ok(prepared)
    }

    /// The complete input of a part.
    pub fn input(&self, part: usize) -> &dyn Typed {
        &*self.parts[part].input
    }

    /// What a part took from another.
    pub fn taken(&self, part: usize) -> &Taken {
        &self.parts[part].taken
    }

    /// The requirements of all parts.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn verdicts(&self, work: Work) -> Result<Verdicts, Refused> {
        self.parts.iter().map(|part| part.verdicts(work)).collect()
    }

    /// The requirements of every part that a value moves when it is another; nothing when it is no number of the design or
    /// does not accept the value. The design is as before afterwards.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn rejudge(&mut self, pointer: &str, value: f64, work: Work) -> Result<Option<Vec<(usize, OfPart)>>, Refused> {
        let mut saved: Vec<(usize, Box<dyn Typed>, Taken)> = Vec::new();
        let head = pointer.starts_with("/pack/").then(|| self.head.clone());
        let done = self.moved(pointer, value, &mut saved, work);
        for (at, input, taken) in saved.into_iter().rev() {
            (self.parts[at].input, self.parts[at].taken) = (input, taken);
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
        saved: &mut Vec<(usize, Box<dyn Typed>, Taken)>,
        work: Work,
    ) -> Result<Option<Vec<(usize, OfPart)>>, Refused> {
        let mut touched = vec![false; self.parts.len()];
        let mut keep = |at: usize, part: &Ready| {
            if saved.iter().all(|(other, ..)| *other != at) {
                saved.push((at, part.input.copy(), part.taken.clone()));
            }
        };
        if let Some((at, below)) = self.place(pointer) {
            keep(at, &self.parts[at]);
            if !self.parts[at].input.put(below, value) {
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
                        From::Pack(_, of) => (bound.to.into(), Some(of(&self.head.pack))),
                        From::Field(from) => match pointer.strip_prefix(from) {
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
            }
        }
        let moved = self.hand_on(&touched, &mut keep, work)?;
        let mut changed = Vec::new();
        for (at, part) in self.parts.iter().enumerate().filter(|(at, _)| touched[*at] || moved[*at]) {
            changed.push((at, part.verdicts(work)?));
        }
        Ok(Some(changed))
    }

    /// The part that a pointer leads into, and the pointer inside it.
    fn place<'p>(&self, pointer: &'p str) -> Option<(usize, &'p str)> {
        self.parts.iter().enumerate().find_map(|(at, part)| {
            let below = pointer.strip_prefix(part.pointer.as_str())?;
            below.starts_with('/').then_some((at, below))
        })
    }

    /// Hands on what touched parts give and what touched parts take; says which parts took something new.
    fn hand_on(
        &mut self,
        touched: &[bool],
        keep: &mut dyn FnMut(usize, &Ready),
        work: Work,
    ) -> Result<Vec<bool>, Refused> {
        let mut moved = vec![false; self.parts.len()];
        for group in 0..self.sources.len() {
            let (source, resting) = &self.sources[group];
            let whole = touched[*source] || moved[*source];
            let asking: Vec<usize> = resting.iter().copied().filter(|at| whole || touched[*at]).collect();
            if asking.is_empty() {
                continue;
            }
            work.go_on()?;
            let given = self.given(*source, &asking, work)?;
            for (at, taken) in asking.into_iter().zip(given) {
                let part = &mut self.parts[at];
                if part.taken == taken {
                    continue;
                }
                keep(at, part);
                moved[at] = true;
                part.taken = taken.and_then(|taken| {
                    for one in &taken {
                        if !part.input.put(one.to, one.value) {
                            return Err(part.refuses(one));
                        }
                    }
                    Ok(taken)
                });
            }
        }
        Ok(moved)
    }

    /// What a source gives to each of the parts that ask: one question for all their points.
    fn given(&self, source: usize, asking: &[usize], work: Work) -> Result<Vec<Taken>, Refused> {
        let channel = self.parts[source].entry.channel(self.input(source));
        let end = channel.as_ref().and_then(|channel| channel.full_at());
        let point = |part: &Ready, place: At| match place {
            At::Input(pointer) => part.input.number(pointer),
            At::Pack(of) => Some(of(&self.head.pack)),
        };
        let mut points = Vec::new();
        for part in asking.iter().map(|at| &self.parts[*at]) {
            for carried in part.kind.carried {
                if let Take::Error(place) | Take::ErrorPercent(place) = carried.take {
                    points.extend(point(part, place).map(|at| end.map_or(at, |end| at.min(end))));
                }
            }
        }
        let from = &self.parts[source];
        let errors = match &channel {
            // What cannot be judged itself gives nothing, and says why.
            _ if from.taken.is_err() || from.entry.contradicts(&*from.input) => Err("gives no value"),
            _ if points.is_empty() => Ok(Vec::new()),
            Some(channel) => Ok(channel.errors(&points, work)?),
            None => Err("hands no error on"),
        };
        let mut asked = points.iter().zip(errors.as_deref().unwrap_or_default());
        let mut all = Vec::with_capacity(asking.len());
        for part in asking.iter().map(|at| &self.parts[*at]) {
            let mut taken: Taken = Ok(Vec::with_capacity(part.kind.carried.len()));
            for carried in part.kind.carried {
                let one = match carried.take {
                    Take::Value(pointer) if errors.is_ok() => {
                        let value = from.input.number(pointer);
                        value.map(|value| Ok(Handed { to: carried.to, at: None, value }))
                    }
                    Take::Full => end.map(|value| Ok(Handed { to: carried.to, at: None, value })),
                    Take::Value(_) => Some(Err(part.refuse(format!("{} gives no value.", part.rests_on)))),
                    Take::Error(place) | Take::ErrorPercent(place) if point(part, place).is_some() => {
                        let unit = part.unit(place);
                        Some(match (&errors, asked.next()) {
                            (Ok(_), Some((&at, &Some(error)))) => {
                                let percent = matches!(carried.take, Take::ErrorPercent(_));
                                let value = if percent { error / at * 100.0 } else { error };
                                Ok(Handed { to: carried.to, at: Some(Quantity::new(at, unit)), value })
                            }
                            (Ok(_), Some((&at, None))) => {
                                Err(part.refuse(format!("{} gives no error at {}.", part.rests_on, say(at, unit))))
                            }
                            (Err(why), _) => Err(part.refuse(format!("{} {why}.", part.rests_on))),
                            (Ok(_), None) => Err(part.refuse(format!("{} gives no error.", part.rests_on))),
                        })
                    }
                    _ => None,
                };
                match (one, &mut taken) {
                    (Some(Ok(one)), Ok(list)) => list.push(one),
                    (Some(Err(faults)), Ok(_)) => taken = Err(faults),
                    _ => {}
                }
            }
            all.push(taken);
        }
        Ok(all)
    }
}

impl Ready {
    fn verdicts(&self, work: Work) -> Result<OfPart, Refused> {
        if let Err(faults) = &self.taken {
            return Ok(Err(faults.clone()));
        }
        match self.entry.verdicts(&*self.input, work) {
            Ok(rows) => Ok(Ok(rows)),
            Err(Refused::Faults(faults)) => Ok(Err(faults)),
            Err(Refused::Stopped) => Err(Refused::Stopped),
        }
    }

    /// The unit of a point at which a channel is asked.
    fn unit(&self, place: At) -> Unit {
        match place {
            At::Input(pointer) => declared(self.entry.fields, pointer).and_then(Field::unit).unwrap_or(Unit::One),
            At::Pack(_) => Unit::Volt,
        }
    }

    fn refuse(&self, message: String) -> Vec<FieldError> {
        let place = format!("{}/rests_on", self.pointer);
        vec![FieldError::contradiction(
            &place,
            message,
            "a part that covers this point, or typed values",
            &self.rests_on,
        )]
    }

    /// A value that its input does not accept, in the words of that input.
    fn refuses(&self, one: &Handed) -> Vec<FieldError> {
        let mut input = self.input.written();
        put(&mut input, one.to, json!(one.value));
        let faults = self.entry.read(Some(&Value::Object(input)), Notation::Json).err().unwrap_or_default();
        let words: Vec<&str> = faults.iter().map(|fault| fault.message.as_str()).collect();
        self.refuse(format!("{} gives a value that is not accepted: {}", self.title, words.join(" ")))
    }
}

/// How many parts stand between a part and one that rests on nothing.
fn depth(parts: &[Ready], mut at: usize) -> usize {
    let mut steps = 0;
    // No section rests on itself, so that no circle is possible; a bound costs nothing.
    while let Some(source) = parts[at].source.filter(|_| steps < parts.len()) {
        (at, steps) = (source, steps + 1);
    }
    steps
}

fn ready(design: &Design, part: &Part, input: Box<dyn Typed>) -> Ready {
    let source = design.parts.iter().position(|other| part.rests_on_part(other));
    let mut one = Ready {
        entry: part.entry(),
        kind: part.kind,
        pointer: part.pointer(),
        rests_on: part.rests_on.clone(),
        title: part.title(),
        source,
        input,
        taken: Ok(Vec::new()),
    };
    if source.is_none() && !part.rests_on.is_empty() {
        one.taken = Err(one.refuse(format!("There is no part of this name in {}.", part.kind.carries_from)));
    }
    one
}

/// A part's input with what the pack and the requirements hand down; what another part hands on stands at its start.
fn read(design: &Design, head: &Map<String, Value>, part: &Part) -> Result<Box<dyn Typed>, Vec<FieldError>> {
    let mut input = part.input.clone();
    for bound in part.kind.bound {
        match bound.from {
            // What is not given in the head, such as a requirement nobody made, is not given here either.
            From::Field(from) => {
                if let Some(value) = at(head, from) {
                    put(&mut input, bound.to, value.clone());
                }
            }
            From::Pack(_, of) => put(&mut input, bound.to, json!(of(&design.head.pack))),
        }
    }
    if !part.rests_on.is_empty() {
        let start = part.entry().start();
        for carried in part.kind.carried {
            if let Some(value) = at(&start, carried.to) {
                put(&mut input, carried.to, value.clone());
            }
        }
    }
    part.entry().read(Some(&Value::Object(input)), Notation::Json).map_err(|faults| at_origin(part, faults))
}

/// Faults of a part's input at the places where the document holds the values.
pub fn at_origin(part: &Part, mut faults: Vec<FieldError>) -> Vec<FieldError> {
    for fault in &mut faults {
        fault.field = part.origin(&fault.field);
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
