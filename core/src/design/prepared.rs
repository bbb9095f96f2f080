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

use super::section::{At, Carried, Kind, Origin, Rests, Take};
use super::starts::{self, NotGiven, Rule};
use super::{Design, Head, Part};
use crate::calculation::Entry;
use crate::field::tree::{at, put};
use crate::field::{Field, FieldError, Group, Notation, Typed, declared};
use crate::judge::{Judged, Limit};
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
    sources: Vec<(usize, Vec<Resting>)>,
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
    /// What follows from the pack and from its other values.
    follows: Vec<&'static Rule>,
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
            follows: self.follows.clone(),
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

/// A part as it was before a value moved it.
type Saved = (usize, Box<dyn Typed>, Vec<Taken>);

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
        let mut prepared = Self { head: design.head.clone(), parts, sources };
        let all = vec![true; prepared.parts.len()];
        prepared.hand_on(&all, &mut |_, _| {}, work)?;
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
        self.parts.iter().map(|part| part.verdicts(work)).collect()
    }

    /// The requirements of every part that a value moves when it is another; nothing when it is no number of the design or
    /// does not accept the value. The design is as before afterwards.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn rejudge(&mut self, pointer: &str, value: f64, work: Work) -> Result<Option<Vec<(usize, OfPart)>>, Refused> {
        let mut saved: Vec<Saved> = Vec::new();
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
        saved: &mut Vec<Saved>,
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
                        Origin::Pack(_, of) => (bound.to.into(), Some(of(&self.head.pack))),
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
            let asking: Vec<Resting> =
                resting.iter().copied().filter(|one| whole || touched[one.part] || moved[one.part]).collect();
            if asking.is_empty() {
                continue;
            }
            work.go_on()?;
            let given = self.given(*source, &asking, work)?;
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

    /// What a source gives to each of the parts that ask: one question for all their points.
    fn given(&self, source: usize, asking: &[Resting], work: Work) -> Result<Vec<Taken>, Refused> {
        let channel = self.parts[source].entry.channel(self.input(source));
        let end = channel.as_ref().and_then(|channel| channel.full_at());
        let below = channel.as_ref().and_then(|channel| channel.full_below());
        let asking = || asking.iter().map(|one| (&self.parts[one.part], &self.parts[one.part].links[one.link]));
        let from = |one: &Carried| matches!(one.take, Take::From);
        let from_on = channel.as_ref().filter(|_| asking().any(|(_, link)| link.rests.carried.iter().any(from)));
        let from_on = from_on.and_then(|channel| channel.reads_from());
        let point = |part: &Ready, place: At| match place {
            At::Input(pointer) => part.input.number(pointer),
            At::Below(pointer) => part.input.number(pointer).map(|value| -value),
            At::Pack(of) => Some(of(&self.head.pack)),
        };
        let stands = end.filter(|_| channel.as_ref().is_some_and(|channel| channel.stands()));
        let mut points = Vec::new();
        for (part, link) in asking() {
            for carried in link.rests.carried {
                if let Take::Error(place) | Take::ErrorPercent(place) = carried.take {
                    let least = below.filter(|_| stands.is_some()).map_or(f64::NEG_INFINITY, |size| -size);
                    points.extend(point(part, place).map(|at| stands.map_or(at, |end| at.min(end)).max(least)));
                }
            }
        }
        let from = &self.parts[source];
        let errors = match &channel {
            // What cannot be judged itself gives nothing, and says why.
            _ if from.taken.iter().any(Result::is_err) || from.entry.contradicts(&*from.input) => Err("gives no value"),
            _ if !from.not_given.is_empty() => Err("gives no value: something of it is not given"),
            _ if points.is_empty() => Ok(Vec::new()),
            Some(channel) => Ok(channel.errors(&points, work)?),
            None => Err("hands no error on"),
        };
        let mut asked = points.iter().zip(errors.as_deref().unwrap_or_default());
        let mut all = Vec::with_capacity(asking().len());
        for (part, link) in asking() {
            let mut taken: Taken = Ok(Vec::with_capacity(link.rests.carried.len()));
            let refuse = |why: String| Some(Err(part.refuse(link, format!("{} {why}.", link.name))));
            for carried in link.rests.carried {
                let one = match carried.take {
                    Take::Value(pointer) if errors.is_ok() => {
                        let value = from.input.number(pointer);
                        value.map(|value| Ok(Handed { to: carried.to, at: None, value }))
                    }
                    Take::Full => end.map(|value| Ok(Handed { to: carried.to, at: None, value })),
                    Take::From => from_on.map(|value| Ok(Handed { to: carried.to, at: None, value })),
                    Take::FullBelow => below.map(|value| Ok(Handed { to: carried.to, at: None, value })),
                    Take::Value(_) => refuse("gives no value".into()),
                    Take::Error(place) | Take::ErrorPercent(place) if point(part, place).is_some() => {
                        let unit = part.unit(place);
                        match (&errors, asked.next()) {
                            (Ok(_), Some((&at, &Some(error)))) => {
                                let percent = matches!(carried.take, Take::ErrorPercent(_));
                                let value = if percent { error / at * 100.0 } else { error };
                                Some(Ok(Handed { to: carried.to, at: Some(Quantity::new(at, unit)), value }))
                            }
                            (Ok(_), Some((_, None))) if matches!(place, At::Below(_)) => None,
                            (Ok(_), Some((&at, None))) => refuse(format!("gives no error at {}", say(at, unit))),
                            (Err(why), _) => refuse((*why).into()),
                            (Ok(_), None) => refuse("gives no error".into()),
                        }
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
        if let Some(faults) = self.faults() {
            return Ok(Err(faults));
        }
        if !self.not_given.is_empty() {
            return Ok(Ok(self.not_given.iter().map(|one| not_given(*one)).collect()));
        }
        match self.entry.verdicts(&*self.input, work) {
            Ok(rows) => Ok(Ok(rows)),
            Err(Refused::Faults(faults)) => Ok(Err(faults)),
            Err(Refused::Stopped) => Err(Refused::Stopped),
        }
    }

    /// Works out again what follows from the pack and from other values, but for the one that was moved. Whether it can:
    /// a list that gets another length cannot be moved.
    fn follow(&mut self, head: &Head, moved: &str) -> bool {
        if self.follows.is_empty() {
            return true;
        }
        let mut now = self.input.written();
        let rules = self.follows.iter().filter(|rule| rule.to != moved && !moved.starts_with(&format!("{}/", rule.to)));
        for rule in rules {
            let Some(value) = (rule.from)(&head.pack, &now) else { continue };
            let put_in = match (&value, at(&now, rule.to)) {
                (Value::Array(values), Some(Value::Array(before))) => {
                    let numbers = values.iter().filter_map(Value::as_f64).enumerate();
                    values.len() == before.len()
                        && numbers
                            .fold(true, |all, (row, value)| all & self.input.put(&format!("{}/{row}", rule.to), value))
                }
                (value, _) => value.as_f64().is_some_and(|value| self.input.put(rule.to, value)),
            };
            if !put_in {
                return false;
            }
            put(&mut now, rule.to, value);
        }
        true
    }

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
    Judged::at_most("design.not-given", pointer, Unit::One, None, Limit::Missing(pointer)).row(place)
}

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

fn ready(design: &Design, part: &Part, input: Box<dyn Typed>) -> Ready {
    let links = part.resting().map(|(rests, number)| {
        let is_it = |other: &Part| other.section.key == rests.section && other.number == number;
        let source = design.parts.iter().position(is_it);
        let name = source.map_or_else(|| number.to_string(), |source| design.parts[source].title());
        Link { rests, name, source }
    });
    let mut one = Ready {
        entry: part.entry(),
        kind: part.kind,
        pointer: part.pointer(),
        title: part.title(),
        links: links.collect(),
        input,
        taken: Vec::new(),
        not_given: starts::not_given(design.starts, part),
        follows: starts::following(design.starts, part),
    };
    let taken = one.links.iter().map(|link| match link.source {
        Some(_) => Ok(Vec::new()),
        None => Err(one.refuse(link, format!("There is no such part in {}.", link.rests.section))),
    });
    one.taken = taken.collect();
    one
}

/// A part's input with what the pack and the requirements hand down; what another part hands on stands at its start.
fn read(design: &Design, head: &Map<String, Value>, part: &Part) -> Result<Box<dyn Typed>, Vec<FieldError>> {
    let mut input = part.input.clone();
    for bound in part.kind.bound {
        match bound.from {
            // What is not given in the head, such as a requirement nobody made, is not given here either.
            Origin::Field(from) => {
                if let Some(value) = at(head, from) {
                    put(&mut input, bound.to, value.clone());
                }
            }
            Origin::Pack(_, of) => put(&mut input, bound.to, json!(of(&design.head.pack))),
        }
    }
    let start = part.entry().start();
    for carried in part.resting().flat_map(|(rests, _)| rests.carried) {
        if let Some(value) = at(&start, carried.to) {
            put(&mut input, carried.to, value.clone());
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
