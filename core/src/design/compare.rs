//! # Comparing designs
//!
//! Which inputs differ, which outcomes differ, better or worse, and which input is behind it: the first design is worked
//! out again with one differing input of the other at a time.
//!
//! ```text
//! Pairs        parts by section and name, then by number; requirements by name and place
//! Worse        a worse word, a failure that appears, more of the allowance used; what is no longer there or no longer judged
//!              is "no longer assessed", which is no better than worse; what only said that something was not given is
//!              "given now" where it is
//! Attribution  effect of input i on requirement j: used_j(A with i from B) − used_j(A); what is left to the whole
//!              difference is the inputs' interplay and is given as such
//! Bounds       at most 40 differing inputs are exchanged; how many were left out is said
//! Source       one-at-a-time exchange; common practice, no source
//! ```

mod pairs;

use std::collections::{HashMap, HashSet};

use rayon::prelude::*;
use serde_json::{Map, Value};

use super::assess::{Assessed, assess_to};
use super::prepared::{NOT_ASSESSED, NOT_GIVEN, Prepared};
use super::starts::is_unused;
use super::turning::field_of;
use super::{Design, Part, starts};
use crate::calculation::Depth;
use crate::field::{Field, tree};
use crate::judge::{self, Check, Judged, Verdict};
use crate::work::{Refused, Work};

/// Most inputs that are exchanged.
pub const MOST_EXCHANGED: usize = 40;
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
    /// The outcomes: those whose verdict turns first, then those that differ, each worst of the first design first.
    pub outcomes: Vec<OutcomeRow>,
}

/// An input that differs.
#[derive(Clone, Debug)]
pub struct InputRow {
    /// Where it stands in the document of the first design that has it.
    pub pointer: String,
    /// Where it stands in every design.
    pub places: Vec<Option<String>>,
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
    /// More of the allowance is used, the verdict is worse, or it is new and does not hold.
    Worse,
    /// It is not there any more, or no longer judged.
    Gone,
    /// It is new, and holds.
    New,
    /// It only said that something was not given, or that nothing was assessed: it is given now.
    Given,
    /// The same.
    Same,
    /// Neither has a share that could be compared.
    NotComparable,
}

impl Move {
    /// The word on the page and in answers.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Better => "better",
            Self::Worse => "worse",
            Self::Gone => "no longer assessed",
            Self::New => "new",
            Self::Given => "given now",
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
    let pairs = pairs::pairs(&assessed);
    let outcomes = outcomes(&assessed, &pairs);
    let (mut inputs, same_inputs) = inputs(&assessed, &pairs);
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

/// A value of a document: what it is compared by, where it stands, whose it is, what it is.
struct Found {
    by: String,
    pointer: String,
    part: Option<usize>,
    value: Value,
}

fn values(design: &Design, pairs: &[usize]) -> Vec<Found> {
    let mut out = Vec::new();
    let mut document = design.write();
    let sections = super::section::SECTIONS.iter().map(|section| section.key);
    for key in ["schema", "start_values"].into_iter().chain(sections) {
        document.shift_remove(key);
    }
    let mut flat = Vec::new();
    for (key, value) in document {
        flatten(&value, format!("/{key}"), &mut flat);
    }
    out.extend(flat.into_iter().map(|(pointer, value)| Found { by: pointer.clone(), pointer, part: None, value }));
    for (at, part) in design.parts.iter().enumerate() {
        let mut own = Vec::new();
        flatten(&design.write_part(part), String::new(), &mut own);
        // What is to be typed has no value, whatever it is drawn with.
        let open = starts::not_given(design.starts, part);
        own.retain(|(pointer, _)| pointer != "/number" && open.iter().all(|(_, open)| open != pointer));
        out.extend(own.into_iter().map(|(pointer, value)| Found {
            by: format!("{} {pointer}", pairs[at]),
            pointer: format!("{}{pointer}", part.pointer()),
            part: Some(at),
            value,
        }));
    }
    out
}

fn inputs(assessed: &[Assessed], pairs: &[Vec<usize>]) -> (Vec<InputRow>, usize) {
    let all: Vec<Vec<Found>> = assessed.iter().zip(pairs).map(|(one, pairs)| values(&one.design, pairs)).collect();
    let by: Vec<HashMap<&str, &Found>> =
        all.iter().map(|values| values.iter().map(|one| (one.by.as_str(), one)).collect()).collect();
    let mut rows: Vec<InputRow> = Vec::new();
    let mut same = 0;
    let mut seen: HashSet<&str> = HashSet::new();
    let mut alone: Vec<usize> = Vec::new();
    for (design, one) in all.iter().enumerate().flat_map(|(design, all)| all.iter().map(move |one| (design, one))) {
        if !seen.insert(&one.by) {
            continue;
        }
        let found: Vec<Option<&Found>> = by.iter().map(|values| values.get(one.by.as_str()).copied()).collect();
        // What nobody typed and nothing counts tells nothing.
        let counts = |(other, assessed): (Option<&Found>, &Assessed)| {
            let Some((at, pointer)) = other.and_then(|one| Some((one.part?, &one.pointer))) else {
                return other.is_some();
            };
            let part = &assessed.design.parts[at];
            let inside = pointer.strip_prefix(&part.pointer()).unwrap_or_default();
            tree::at(&part.input, inside).is_some() || !is_unused(&assessed.design, part, inside)
        };
        let alike = |other: Option<&Found>| other.map(|one| &one.value) == found[0].map(|first| &first.value);
        if found.iter().copied().all(alike) || !found.iter().copied().zip(assessed).any(counts) {
            same += 1;
            continue;
        }
        let owner = one.part.map(|part| &assessed[design].design.parts[part]);
        // A part that one of the designs lacks is one row, not one a value.
        if let (Some(owner), Some(part)) = (owner, one.part) {
            let pair = pairs[design][part];
            let of = |(one, pairs): (&'_ Assessed, &Vec<usize>)| {
                let at = pairs.iter().position(|other| *other == pair)?;
                let part = &one.design.parts[at];
                Some((part.pointer(), part.title()))
            };
            let there: Vec<Option<(String, String)>> = assessed.iter().zip(pairs).map(of).collect();
            if there.iter().any(Option::is_none) {
                if !alone.contains(&pair) {
                    alone.push(pair);
                    rows.push(InputRow {
                        pointer: owner.pointer(),
                        places: there.iter().map(|part| part.as_ref().map(|(place, _)| place.clone())).collect(),
                        field: None,
                        label: format!("{}: the whole part", owner.section.one),
                        values: there.into_iter().map(|part| part.map(|(_, title)| Value::String(title))).collect(),
                        effects: Vec::new(),
                    });
                }
                continue;
            }
        }
        let field = field_of(&assessed[design].design, &one.pointer).map(|(field, _)| field);
        rows.push(InputRow {
            label: assessed[design].design.head.pack.words(&label(owner, field, &one.pointer)),
            pointer: one.pointer.clone(),
            places: found.iter().map(|other| other.map(|other| other.pointer.clone())).collect(),
            field,
            values: found.iter().map(|other| other.map(|other| other.value.clone())).collect(),
            effects: Vec::new(),
        });
    }
    (rows, same)
}

/// Part, group and label of a value.
fn label(owner: Option<&Part>, field: Option<&Field>, pointer: &str) -> String {
    match (field, owner) {
        (Some(field), Some(part)) => format!("{}: {}", part.title(), path_words(part, pointer, field)),
        (Some(field), None) if pointer.matches('/').count() > 1 => {
            let section = capital(pointer.split('/').nth(1).unwrap_or_default());
            format!("{section}: {}", tree::name(super::HEAD_FIELDS, pointer).unwrap_or_else(|| field.label.into()))
        }
        (Some(field), None) => field.label.into(),
        (None, Some(part)) => format!("{}: {}", part.title(), pointer.rsplit('/').next().unwrap_or_default()),
        (None, None) => pointer.to_owned(),
    }
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

/// What an outcome is found by: section, pair of the part, requirement, and which of its kind.
type Key = (&'static str, usize, String, usize);

fn keyed(one: &Assessed, pairs: &[usize]) -> Vec<(Key, String, Check)> {
    let mut out: Vec<(Key, String, Check)> = Vec::new();
    for (assessed, pair) in one.parts.iter().zip(pairs) {
        let part = &assessed.part;
        for check in in_order(&assessed.answer.requirements) {
            // What is to be typed is told from another such by its place.
            let id = match &check.missing {
                Some(missing) if check.id == NOT_GIVEN => format!("{NOT_GIVEN} {missing}"),
                _ => check.id.clone(),
            };
            let nth = out
                .iter()
                .filter(|((section, index, other, _), ..)| (*section, *index, other) == (part.section.key, *pair, &id))
                .count();
            out.push((
                (part.section.key, *pair, id, nth),
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
    let open = |verdict| matches!(verdict, Verdict::NotJudged | Verdict::NotResolved);
    match (first, other) {
        (None, None) => Move::Same,
        (Some(_), None) => Move::Gone,
        (None, Some(now)) if now.verdict == Verdict::Fails || open(now.verdict) => Move::Worse,
        (None, Some(_)) => Move::New,
        (Some(before), Some(now)) if before.verdict != now.verdict => match (before.verdict, now.verdict) {
            (Verdict::NoLimitSet, Verdict::Holds | Verdict::Thin) => Move::New,
            (_, Verdict::NoLimitSet) => Move::Gone,
            (_, verdict) if open(verdict) => Move::Gone,
            (before, now) if now < before => Move::Worse,
            (before, Verdict::Fails) if open(before) => Move::Worse,
            _ => Move::Better,
        },
        // What is required of two kinds (a charge, a voltage) tells nothing of more or less.
        (Some(before), Some(now)) if before.unit != now.unit => Move::NotComparable,
        (Some(before), Some(now)) => match (before.used_percent, now.used_percent) {
            (Some(before), Some(now)) if before == now => Move::Same,
            (Some(before), Some(now)) if now < before => Move::Better,
            (Some(_), Some(_)) => Move::Worse,
            _ if before.achieved == now.achieved => Move::Same,
            _ => Move::NotComparable,
        },
    }
}

fn outcomes(assessed: &[Assessed], pairs: &[Vec<usize>]) -> Vec<OutcomeRow> {
    let all: Vec<_> = assessed.iter().zip(pairs).map(|(one, pairs)| keyed(one, pairs)).collect();
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
        let there = |at: usize| {
            assessed[at].parts.iter().zip(&pairs[at]).any(|(one, pair)| (one.part.section.key, *pair) == (key.0, key.1))
        };
        let to = |at: usize| match (&checks[0], &checks[at]) {
            // A row that only said what is to be typed goes when it is typed, and comes when it is emptied.
            (Some(was), None) if [NOT_GIVEN, NOT_ASSESSED].contains(&&*was.id) && there(at) => Move::Given,
            (was, is) => moved(was.as_ref(), is.as_ref()),
        };
        let moves = (1..checks.len()).map(to).collect();
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
        let rank = |row: &OutcomeRow| (row.differs(), row.turns());
        rank(b).cmp(&rank(a)).then(used(b).total_cmp(&used(a)))
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
        let row = &inputs[*index];
        // What one of them has not been given cannot be exchanged.
        let [Some(place), Some(other), ..] = &row.places[..] else { return Ok(Vec::new()) };
        let mut changed = Value::Object(document.clone());
        set(&mut changed, place, from.pointer(other).cloned());
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
