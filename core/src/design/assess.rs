//! # Assessing a design
//!
//! Fills in what is handed down, asks the calculation of every part, and puts the requirements of all parts into one
//! order: worst first. Channels are asked before the parts that rest on their errors. A part is asked exactly as its own
//! page asks it, so that both show the same numbers.

use rayon::prelude::*;
use serde_json::Value;

use super::prepared::{self, Handed, Prepared, at_origin, not_given, told_once};
use super::starts::{self, NotGiven};
use super::{Design, Part};
use crate::address::short_enough;
use crate::calculation::{Answer, Ask, Depth, ENGINE};
use crate::field::{FieldError, tree};
use crate::json::Unwritten;
use crate::judge::{self, Check, Ledger, Verdict, Words};
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Block, Finding, View, caution};
use crate::work::{Halt, Refused, Work};

/// A design with everything that follows from it.
#[derive(Clone, Debug)]
pub struct Assessed {
    /// The design.
    pub design: Design,
    /// Every part with its answer, in the order of the design.
    pub parts: Vec<AssessedPart>,
    /// The requirements of all parts, worst first.
    pub requirements: Vec<Row>,
    /// What parts tell differently.
    pub told_twice: Vec<Finding>,
}

/// A part with its answer.
#[derive(Clone, Debug)]
pub struct AssessedPart {
    /// The part.
    pub part: Part,
    /// The answer of its calculation. The ids of its tables and charts are unique in the design; its link is its own page.
    pub answer: Answer,
    /// What another part handed on to it.
    pub carried: Vec<CarriedValue>,
    /// What was not given, and what is handed on to it leaves out: where it stands in the document.
    pub left_out: Vec<String>,
    /// How it stands.
    pub verdict: Verdict,
}

/// A value that another part handed on.
#[derive(Clone, Debug)]
pub struct CarriedValue {
    /// The input that took it.
    pub to: &'static str,
    /// The part it comes from.
    pub from: String,
    /// The point at which an error was taken; nothing for an input of the other part.
    pub at: Option<Quantity>,
    /// The value.
    pub value: f64,
}

/// A requirement of a part.
#[derive(Clone, Debug)]
pub struct Row {
    /// The index of the part in the design.
    pub part: usize,
    /// The requirement and how it stands.
    pub check: Check,
}

/// Works a design out.
///
/// # Errors
/// Contradictions between values that are each in range, at their places in the document.
pub fn assess(design: &Design) -> Result<Assessed, Vec<FieldError>> {
    assess_to(design, Depth::Page, Work::FREE).map_err(Refused::faults)
}

/// The same as deep as it is wanted, as long as somebody waits for it.
///
/// # Errors
/// As [`assess`], or the work was stopped.
pub fn assess_to(design: &Design, depth: Depth, work: Work) -> Result<Assessed, Refused> {
    let faults = contradictions(design);
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let prepared = Prepared::new(design, work)?;
    // The faults of all parts are told; a stop ends all of them.
    let one = |at| match assess_part(design, &prepared, at, depth, work) {
        Ok(part) => Ok(Ok(part)),
        Err(Refused::Faults(faults)) => Ok(Err(faults)),
        Err(Refused::Stopped) => Err(Halt),
    };
    let solved: Vec<_> = (0..design.parts.len()).into_par_iter().map(one).collect::<Result<_, Halt>>()?;
    let mut parts = Vec::with_capacity(solved.len());
    let mut faults: Vec<FieldError> = Vec::new();
    for one in solved {
        match one {
            Ok(part) => parts.push(part),
            Err(more) => told_once(&mut faults, more),
        }
    }
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let requirements = sorted(&parts);
    let told_twice = prepared.told_twice(design);
    Ok(Assessed { design: design.clone(), parts, requirements, told_twice })
}

/// One part of a design, by its place among the parts: what a file of its own holds needs no other's answer.
///
/// # Errors
/// As [`assess_to`], of this part and what it rests on.
pub fn assess_one(design: &Design, at: usize, depth: Depth, work: Work) -> Result<AssessedPart, Refused> {
    let faults = contradictions(design);
    if !faults.is_empty() {
        return Err(faults.into());
    }
    assess_part(design, &Prepared::new(design, work)?, at, depth, work)
}

impl Assessed {
    /// How many requirements have a verdict.
    pub fn count(&self, verdict: Verdict) -> usize {
        self.requirements.iter().filter(|row| row.check.verdict == verdict).count()
    }

    /// The worst verdict, over requirements and failures that are no requirement.
    pub fn verdict(&self) -> Verdict {
        self.parts.iter().map(|part| part.verdict).min().unwrap_or(Verdict::NoLimitSet)
    }

    /// The parts of a section.
    pub fn of(&self, section: &str) -> impl Iterator<Item = &AssessedPart> {
        self.parts.iter().filter(move |part| part.part.section.key == section)
    }
}

fn contradictions(design: &Design) -> Vec<FieldError> {
    let pack = &design.head.pack;
    let mut faults = if design.parts.is_empty() { Vec::new() } else { starts::pack_not_given(design) };
    let mut order = |field: &str, low: (&str, f64), high: (&str, f64), unit: Unit| {
        if low.1 > high.1 {
            faults.push(FieldError::contradiction(
                field,
                format!("{} lies below {}.", high.0, low.0),
                format!("at or above {}", say(low.1, unit)),
                say(high.1, unit),
            ));
        }
    };
    order(
        "/pack/ambient_max_degc",
        ("the lowest ambient", pack.ambient_min_degc),
        ("The highest ambient", pack.ambient_max_degc),
        Unit::Celsius,
    );
    let volts = if pack.has_cells() {
        Some(([pack.cell_min_v, pack.cell_nominal_v, pack.cell_max_v], "cell "))
    } else {
        pack.min_v.zip(pack.nominal_v).zip(pack.max_v).map(|((min, nominal), max)| ([min, nominal, max], ""))
    };
    if let Some(([min, nominal, max], of)) = volts {
        let places = ["nominal", "max"].map(|which| pack.place(&format!("/pack/cell_{which}_v")));
        let [lowest, nominal_low] = ["lowest", "nominal"].map(|which| format!("the {which} {of}voltage"));
        let [nominal_high, highest] = ["nominal", "highest"].map(|which| format!("The {which} {of}voltage"));
        order(&places[0], (&lowest, min), (&nominal_high, nominal), Unit::Volt);
        order(&places[1], (&nominal_low, nominal), (&highest, max), Unit::Volt);
    }
    faults.extend(design.parts.iter().flat_map(|part| without_cells(design, part)));
    faults
}

/// What a part asks of cells in a design that has none.
fn without_cells(design: &Design, part: &Part) -> Vec<FieldError> {
    if let Some(why) = design.has_no_place_for(part.kind) {
        let accepted = "no such part, or a pack of cells";
        return vec![FieldError::contradiction(&part.pointer(), why, accepted, part.title())];
    }
    let chosen = |of_cells: &&str| {
        let (field, word) = of_cells.rsplit_once('/')?;
        let is_it = tree::at(&part.input, field).and_then(Value::as_str) == Some(word);
        is_it.then(|| {
            let why = format!("{}: \u{201c}{word}\u{201d} needs cells, and this design has none.", part.title());
            FieldError::contradiction(&format!("{}{field}", part.pointer()), why, "a function of the source", word)
        })
    };
    design.of_cells_alone(part).iter().filter_map(chosen).collect()
}

/// Works one part out with its input as it is ready.
fn assess_part(
    design: &Design,
    prepared: &Prepared,
    at: usize,
    depth: Depth,
    work: Work,
) -> Result<AssessedPart, Refused> {
    let part = &design.parts[at];
    let open = prepared.open(at, work)?;
    let ask = Ask { depth, thin_from_percent: design.head.requirements.thin_from_percent, open: &open };
    let (mut answer, carried) = match prepared.taken(at) {
        Ok(taken) if !prepared.not_given(at).is_empty() => {
            let later = prepared.waits_later(at, work)?;
            let answer = waiting(part, prepared.not_given(at), &later, &open, ask.thin_from_percent);
            (answer, taken.into_iter().map(|(from, one)| carried(from, one)).collect())
        }
        Ok(taken) => match part.entry().solve(prepared.input(at), ask, work) {
            Ok(answer) => (answer, taken.into_iter().map(|(from, one)| carried(from, one)).collect()),
            Err(Refused::Faults(faults)) => return Err(Refused::Faults(at_origin(design, part, faults))),
            Err(stopped) => return Err(stopped),
        },
        // A channel that gives no error at a point is a failure of the design, not of what was typed.
        Err(faults) => (not_assessed(part, &faults, ask.thin_from_percent), Vec::new()),
    };
    leave_out(&mut answer, &design.not_asked(part));
    if !design.head.pack.has_cells() {
        answer.cautions.retain(|told| told != caution::CHARGING);
        answer.reword(&|text| design.head.pack.words(text));
    }
    for block in &mut answer.view.blocks {
        rename(block, &part.prefix());
    }
    let verdict = answer.verdict();
    let left_out = if open.is_empty() { Vec::new() } else { prepared.handed_without(at) };
    Ok(AssessedPart { part: part.clone(), answer, carried, left_out, verdict })
}

/// Takes out what is not asked.
fn leave_out(answer: &mut Answer, not_asked: &[&str]) {
    let asked = |field: &Option<String>| field.as_deref().is_none_or(|field| !not_asked.contains(&field));
    answer.requirements.retain(|check| asked(&check.field));
    answer.findings.retain(|finding| asked(&finding.field));
}

fn carried(from: &str, one: Handed) -> CarriedValue {
    CarriedValue { to: one.to, from: from.into(), at: one.at, value: one.value }
}

/// The answer of a part that cannot be asked: what it rests on gives no value.
fn not_assessed(part: &Part, faults: &[FieldError], thin_from_percent: f64) -> Answer {
    let words: Vec<&str> = faults.iter().map(|fault| fault.message.as_str()).collect();
    let message = format!("Not assessed: {}", words.join(" "));
    let mut ledger = Ledger::for_reader(thin_from_percent);
    let named_at = part.resting().next().map_or("", |(rests, _)| rests.named_at);
    ledger.require(prepared::not_assessed(named_at), |_| {
        Words::new("Assessed at all", "what it rests on gives no value", words.join(" ").trim_end_matches('.'))
    });
    bare(part, &ledger, message)
}

/// The answer of a part that needs something that nobody has typed: what single requirements of it will then wait for, and
/// why others will stand open, is told at once.
fn waiting(
    part: &Part,
    missing: &[NotGiven],
    later: &[&'static str],
    open: &[(usize, String)],
    thin_from_percent: f64,
) -> Answer {
    let name = |pointer: &str| tree::name(part.entry().fields, pointer).unwrap_or_else(|| pointer.into());
    let mut ledger = Ledger::for_reader(thin_from_percent);
    for one in missing {
        ledger.require(not_given(*one), |_| Words::new(name(one.1), "needed before anything of it is judged", ""));
    }
    let names: Vec<String> = missing.iter().map(|(_, pointer)| name(pointer)).collect();
    let mut answer = bare(part, &ledger, format!("To be typed: {}", names.join(", ")));
    for check in &mut answer.requirements {
        check.name_missing(|pointer| Some(name(pointer)));
    }
    let mut then: Vec<String> = Vec::new();
    if !later.is_empty() {
        let names: Vec<String> = later.iter().map(|pointer| name(pointer)).collect();
        then.push(format!("Single requirements also wait for: {}.", names.join(", ")));
    }
    for (_, why) in open {
        let why = format!("Of single requirements: {why}.");
        if !then.contains(&why) {
            then.push(why);
        }
    }
    answer.view.more = then.join(" ");
    answer
}

/// An answer without a result.
fn bare(part: &Part, ledger: &Ledger, lead: String) -> Answer {
    let address = part.entry().address(part.entry().start());
    Answer {
        engine: ENGINE,
        input: Value::Object(part.input.clone()),
        result: Unwritten::default(),
        working: Vec::new(),
        findings: ledger.findings(),
        requirements: ledger.told(),
        cautions: Vec::new(),
        link: short_enough(address.clone()),
        address,
        view: View { lead, ..View::default() },
    }
}

/// Makes the ids of a block unique in the design.
fn rename(block: &mut Block, prefix: &str) {
    let name = |id: &mut String| id.insert_str(0, prefix);
    match block {
        Block::Figures(_) => {}
        Block::Table(table) => name(&mut table.id),
        Block::Budget(budget) => name(&mut budget.id),
        Block::Chart(chart) => {
            name(&mut chart.id);
            name(&mut chart.table.id);
        }
        Block::NumberLine(line) => {
            name(&mut line.id);
            name(&mut line.table.id);
        }
        Block::Spots(spots) => {
            name(&mut spots.id);
            name(&mut spots.table.id);
        }
        Block::Lane(lane) => name(&mut lane.id),
        Block::Listing(listing) => name(&mut listing.id),
    }
}

/// The requirements of all parts, worst first.
fn sorted(parts: &[AssessedPart]) -> Vec<Row> {
    let of = |(part, assessed): (usize, &AssessedPart)| {
        assessed.answer.requirements.iter().map(move |check| Row { part, check: check.clone() }).collect::<Vec<_>>()
    };
    let mut rows: Vec<Row> = parts.iter().enumerate().flat_map(of).collect();
    rows.sort_by(|a, b| judge::compare(&a.check, &b.check));
    rows
}
