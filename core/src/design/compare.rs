//! # Comparing designs
//!
//! Which inputs differ, which outcomes differ, better or worse, and which input is behind it: the first design is worked
//! out again with one differing input of the other at a time.
//!
//! ```text
//! Attribution  effect of input i on requirement j: used_j(A with i from B) − used_j(A); what is left to the whole
//!              difference is the inputs' interplay and is given as such
//! Bounds       at most 40 differing inputs are exchanged; how many were left out is said
//! Source       one-at-a-time exchange; common practice, no source
//! ```

use rayon::prelude::*;
use serde_json::{Map, Value};

use super::assess::{Assessed, assess_to};
use super::prepared::Prepared;
use super::turning::field_of;
use super::{Design, Part};
use crate::calculation::Depth;
use crate::field::Field;
use crate::judge::{self, Check, Judged, Verdict};
use crate::work::{Refused, Work};

/// Most inputs that are exchanged.
const MOST_EXCHANGED: usize = 40;
/// Fewest and most designs in one comparison.
pub const COUNT: std::ops::RangeInclusive<usize> = 2..=5;

/// The comparison.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// The designs, the first is the one the others are held against.
    pub designs: Vec<Assessed>,
    /// The inputs that differ.
    pub inputs: Vec<InputRow>,
    /// How many inputs are the same.
    pub same_inputs: usize,
    /// The outcomes, those that differ first, worst of the first design first.
    pub outcomes: Vec<OutcomeRow>,
}

/// An input that differs.
#[derive(Clone, Debug)]
pub struct InputRow {
    /// Where it stands in the document.
    pub pointer: String,
    /// Its declaration; nothing for a whole part.
    pub field: Option<&'static Field>,
    /// The section or part it belongs to, and its label.
    pub label: String,
    /// Its value in every design.
    pub values: Vec<Option<Value>>,
    /// What its exchange alone does to each outcome, in percent of the allowance; against the second design.
    pub effects: Vec<Effect>,
}

/// What the exchange of one input does to one outcome.
#[derive(Clone, Debug, PartialEq)]
pub struct Effect {
    /// The index of the outcome.
    pub outcome: usize,
    /// Change of the share used, in percent of the allowance.
    pub change_percent: f64,
}

/// How an outcome moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Move {
    /// Less of the allowance is used.
    Better,
    /// More of the allowance is used.
    Worse,
    /// The same.
    Same,
    /// It is there in one design only, or has no limit.
    NotComparable,
}

impl Move {
    /// The word on the page and in answers.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Better => "better",
            Self::Worse => "worse",
            Self::Same => "same",
            Self::NotComparable => "not comparable",
        }
    }
}

/// An outcome in every design.
#[derive(Clone, Debug)]
pub struct OutcomeRow {
    /// The part and the requirement.
    pub label: String,
    /// The section of the part.
    pub section: &'static str,
    /// How it stands in every design.
    pub checks: Vec<Option<Check>>,
    /// How every other design moves it against the first.
    pub moves: Vec<Move>,
}

impl OutcomeRow {
    /// Whether it is not the same everywhere.
    pub fn differs(&self) -> bool {
        self.moves.iter().any(|moved| *moved != Move::Same)
    }

    /// Whether the verdict turns in any design.
    pub fn turns(&self) -> bool {
        let verdict = |check: &Option<Check>| check.as_ref().map(|check| check.verdict);
        self.checks.iter().any(|check| verdict(check) != verdict(&self.checks[0]))
    }
}

/// Compares designs with the first.
///
/// # Errors
/// Contradictions of a design, under its index: `/designs/1/…`; the work was stopped.
pub fn compare(designs: &[Design], work: Work) -> Result<Comparison, Refused> {
    let mut assessed = Vec::with_capacity(designs.len());
    let mut faults = Vec::new();
    for (index, design) in designs.iter().enumerate() {
        match assess_to(design, Depth::Requirements, work) {
            Ok(done) => assessed.push(done),
            Err(Refused::Stopped) => return Err(Refused::Stopped),
            Err(Refused::Faults(more)) => faults.extend(more.into_iter().map(|mut fault| {
                fault.field = format!("/designs/{index}{}", fault.field);
                fault
            })),
        }
    }
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let outcomes = outcomes(&assessed);
    let (mut inputs, same_inputs) = inputs(&assessed);
    attribute(&assessed, &outcomes, &mut inputs, work)?;
    Ok(Comparison { designs: assessed, inputs, same_inputs, outcomes })
}

/// Every value of a document with its pointer; a list of numbers or rows is one value.
fn flatten(value: &Value, pointer: String, out: &mut Vec<(String, Value)>) {
    match value {
        Value::Object(map) => {
            for (key, value) in map {
                flatten(value, format!("{pointer}/{key}"), out);
            }
        }
        other => out.push((pointer, other.clone())),
    }
}

fn values(design: &Design) -> Vec<(String, Value)> {
    let mut out = Vec::new();
    for (key, value) in design.write() {
        match value {
            Value::Array(parts) if super::section::find(&key).is_some() => {
                for (index, part) in parts.iter().enumerate() {
                    flatten(part, format!("/{key}/{index}"), &mut out);
                }
            }
            other => flatten(&other, format!("/{key}"), &mut out),
        }
    }
    out
}

fn part_of<'d>(design: &'d Design, pointer: &str) -> Option<&'d Part> {
    design.parts.iter().find(|part| pointer.strip_prefix(&part.pointer()).is_some_and(|rest| rest.starts_with('/')))
}

fn inputs(assessed: &[Assessed]) -> (Vec<InputRow>, usize) {
    let all: Vec<Vec<(String, Value)>> = assessed.iter().map(|one| values(&one.design)).collect();
    let mut rows: Vec<InputRow> = Vec::new();
    let mut same = 0;
    let mut seen: Vec<&str> = Vec::new();
    for (pointer, _) in all.iter().flatten() {
        if seen.contains(&pointer.as_str()) {
            continue;
        }
        seen.push(pointer);
        let found: Vec<Option<Value>> = all
            .iter()
            .map(|values| values.iter().find(|(other, _)| other == pointer).map(|(_, value)| value.clone()))
            .collect();
        if found.iter().all(|value| *value == found[0]) {
            same += 1;
            continue;
        }
        // A part that one of the designs lacks is one row, not one a value.
        let owners: Vec<Option<&Part>> = assessed.iter().map(|one| part_of(&one.design, pointer)).collect();
        let section = pointer.split('/').nth(1).and_then(super::section::find);
        if let (Some(_), Some(owner)) = (section, owners.iter().flatten().next())
            && owners.iter().any(|part| part.is_none_or(|part| part.kind != owner.kind))
        {
            let place = owner.pointer();
            if rows.iter().all(|row| row.pointer != place) {
                let names = owners.iter().map(|part| part.map(|part| Value::String(part.title()))).collect();
                let label = format!("{}: the whole part", owner.section.one);
                rows.push(InputRow { pointer: place, field: None, label, values: names, effects: Vec::new() });
            }
            continue;
        }
        let field = assessed.iter().find_map(|one| field_of(&one.design, pointer));
        let label = match (field, owners.iter().flatten().next()) {
            (Some((field, _)), Some(part)) => format!("{}: {}", part.title(), path_words(part, pointer, field)),
            (Some((field, _)), None) => {
                let group = pointer.split('/').nth(1).unwrap_or_default();
                if pointer.matches('/').count() > 1 {
                    format!("{}: {}", capital(group), field.label)
                } else {
                    field.label.into()
                }
            }
            (None, Some(part)) => format!("{}: {}", part.title(), pointer.rsplit('/').next().unwrap_or_default()),
            (None, None) => pointer.clone(),
        };
        rows.push(InputRow {
            pointer: pointer.clone(),
            field: field.map(|(field, _)| field),
            label,
            values: found,
            effects: Vec::new(),
        });
    }
    (rows, same)
}

/// The label of a value of a part with the group it stands in.
fn path_words(part: &Part, pointer: &str, field: &Field) -> String {
    let rest = pointer.strip_prefix(&part.pointer()).unwrap_or_default();
    match rest.rsplit_once('/') {
        Some((group, _)) if !group.is_empty() => {
            let group = crate::field::declared(part.entry().fields, group).map_or("", |group| group.label);
            format!("{group}, {}", crate::quantity::in_sentence(field.label))
        }
        _ => field.label.into(),
    }
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// What an outcome is found by: section, place of the part, requirement, and which of its kind.
type Key = (&'static str, usize, String, usize);

fn keyed(one: &Assessed) -> Vec<(Key, String, Check)> {
    let mut out: Vec<(Key, String, Check)> = Vec::new();
    for assessed in &one.parts {
        let part = &assessed.part;
        for check in in_order(&assessed.answer.requirements) {
            let nth = out
                .iter()
                .filter(|((section, index, id, _), ..)| {
                    (*section, *index, id) == (part.section.key, part.index, &check.id)
                })
                .count();
            out.push((
                (part.section.key, part.index, check.id.clone(), nth),
                format!("{}: {}", part.title(), crate::quantity::in_sentence(&check.label)),
                check.clone(),
            ));
        }
    }
    out
}

/// Requirements in the order of their calculation.
fn in_order(told: &[Check]) -> Vec<&Check> {
    let mut checks: Vec<&Check> = told.iter().collect();
    checks.sort_by_key(|check| check.place);
    checks
}

fn moved(first: Option<&Check>, other: Option<&Check>) -> Move {
    match (first, other) {
        (Some(a), Some(b)) => match (a.used_percent, b.used_percent) {
            (Some(before), Some(now)) if before == now => Move::Same,
            (Some(before), Some(now)) if now < before => Move::Better,
            (Some(_), Some(_)) => Move::Worse,
            _ if a.verdict == b.verdict && a.achieved == b.achieved => Move::Same,
            _ if b.verdict == Verdict::Fails && a.verdict != Verdict::Fails => Move::Worse,
            _ if a.verdict == Verdict::Fails && b.verdict != Verdict::Fails => Move::Better,
            _ => Move::NotComparable,
        },
        _ => Move::NotComparable,
    }
}

fn outcomes(assessed: &[Assessed]) -> Vec<OutcomeRow> {
    let all: Vec<_> = assessed.iter().map(keyed).collect();
    let mut seen: Vec<&Key> = Vec::new();
    let mut rows = Vec::new();
    for (key, label, _) in all.iter().flatten() {
        if seen.contains(&key) {
            continue;
        }
        seen.push(key);
        let checks: Vec<Option<Check>> = all
            .iter()
            .map(|one| one.iter().find(|(other, ..)| other == key).map(|(.., check)| check.clone()))
            .collect();
        let moves = checks[1..].iter().map(|other| moved(checks[0].as_ref(), other.as_ref())).collect();
        rows.push(OutcomeRow { label: label.clone(), section: key.0, checks, moves });
    }
    rows.sort_by(|a, b| {
        let used = |row: &OutcomeRow| {
            let check = row.checks.iter().flatten().next();
            check.map_or(0.0, |check| match (check.used_percent, check.verdict) {
                (Some(used), _) => used,
                (None, Verdict::Fails) => f64::MAX,
                _ => -1.0,
            })
        };
        b.differs().cmp(&a.differs()).then(used(b).total_cmp(&used(a)))
    });
    rows
}

/// Exchanges one input at a time between the first design and the second.
fn attribute(
    assessed: &[Assessed],
    outcomes: &[OutcomeRow],
    inputs: &mut [InputRow],
    work: Work,
) -> Result<(), Refused> {
    let [a, b, ..] = assessed else { return Ok(()) };
    let base = shares(&a.design, work)?;
    let document = a.design.write();
    let from = Value::Object(b.design.write());
    let differing: Vec<usize> = (0..inputs.len())
        .filter(|index| inputs[*index].field.is_some() && inputs[*index].values[0] != inputs[*index].values[1])
        .take(MOST_EXCHANGED)
        .collect();
    let exchanged = differing.par_iter().map(|index| {
        let pointer = &inputs[*index].pointer;
        let mut changed = Value::Object(document.clone());
        set(&mut changed, pointer, from.pointer(pointer).cloned());
        // A value that does not go with the others alone has no effect of its own.
        let Ok(design) = Design::read(&changed) else { return Ok(Vec::new()) };
        Ok(effects(&base, &shares(&design, work)?, outcomes, a))
    });
    let found: Vec<Vec<Effect>> = exchanged.collect::<Result<_, Refused>>()?;
    for (index, effects) in differing.into_iter().zip(found) {
        inputs[index].effects = effects;
    }
    Ok(())
}

/// The share that every requirement of a part uses, in percent; nothing where it cannot be judged.
type Shares = Option<Vec<((&'static str, judge::Key), Option<f64>)>>;

/// The shares of every part.
fn shares(design: &Design, work: Work) -> Result<Vec<Shares>, Refused> {
    let share = |one: &Judged| ((one.id, one.key), one.outcome.used().map(|used| used * 100.0));
    let of = |rows: Vec<Judged>| rows.iter().map(share).collect();
    match Prepared::new(design, work) {
        Ok(ready) => Ok(ready.verdicts(work)?.into_iter().map(|part| part.ok().map(of)).collect()),
        Err(Refused::Stopped) => Err(Refused::Stopped),
        Err(Refused::Faults(_)) => Ok(vec![None; design.parts.len()]),
    }
}

fn effects(before: &[Shares], after: &[Shares], outcomes: &[OutcomeRow], first: &Assessed) -> Vec<Effect> {
    let mut effects = Vec::new();
    for (part, (old, new)) in first.parts.iter().zip(before.iter().zip(after)) {
        let (Some(old), Some(new)) = (old, new) else { continue };
        for check in in_order(&part.answer.requirements) {
            // By its name and place: a row of one design may be missing in the other.
            let same = |(id, key): (&str, judge::Key)| id == check.id && key == check.key;
            let share = |all: &[((&'static str, judge::Key), Option<f64>)]| {
                all.iter().find(|(name, _)| same(*name)).and_then(|(_, used)| *used)
            };
            let (Some(old), Some(new)) = (share(old), share(new)) else { continue };
            let name = format!("{}: {}", part.part.title(), crate::quantity::in_sentence(&check.label));
            let outcome = outcomes.iter().position(|row| row.section == part.part.section.key && row.label == name);
            let change_percent = new - old;
            if let Some(outcome) = outcome.filter(|_| change_percent != 0.0) {
                effects.push(Effect { outcome, change_percent });
            }
        }
    }
    effects.sort_by(|x, y| y.change_percent.abs().total_cmp(&x.change_percent.abs()));
    effects
}

/// Puts a value at a pointer of a document, or takes it out.
pub fn set(document: &mut Value, pointer: &str, value: Option<Value>) {
    let (parent, key) = pointer.rsplit_once('/').unwrap_or(("", pointer));
    let Some(node) = document.pointer_mut(parent) else { return };
    if let Value::Object(map) = node {
        match value {
            Some(value) => {
                map.insert(key.into(), value);
            }
            None => {
                Map::shift_remove(map, key);
            }
        }
    }
}
