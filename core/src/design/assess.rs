//! # Assessing a design
//!
//! Fills in what is handed down, asks the calculation of every part, and puts the requirements of all parts into one
//! order: worst first. Channels are asked before the parts that rest on their errors. A part is asked exactly as its own
//! page asks it, so that both show the same numbers.

use rayon::prelude::*;
use serde_json::{Map, Value, json};

use super::section::{At, Carried, From, Take};
use super::{Design, Part, at, put};
use crate::calculation::{Answer, ENGINE};
use crate::field::{FieldError, Group, Notation};
use crate::judge::Judged;
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Block, Check, Finding, Severity, Verdict, View};
use crate::work::{Refused, Work};

/// A design with everything that follows from it.
#[derive(Clone, Debug)]
pub struct Assessed {
    /// The design.
    pub design: Design,
    /// Every part with its answer, in the order of the design.
    pub parts: Vec<AssessedPart>,
    /// The requirements of all parts, worst first.
    pub requirements: Vec<Row>,
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
    let faults = contradictions(design);
    if !faults.is_empty() {
        return Err(faults);
    }
    let solved: Vec<Result<AssessedPart, Vec<FieldError>>> =
        design.parts.par_iter().map(|part| assess_part(design, part)).collect();
    let mut parts = Vec::with_capacity(solved.len());
    let mut faults: Vec<FieldError> = Vec::new();
    for one in solved {
        match one {
            Ok(part) => parts.push(part),
            Err(more) => faults.extend(more),
        }
    }
    if !faults.is_empty() {
        // Two parts may blame the same value of the pack.
        let mut told: Vec<FieldError> = Vec::new();
        for fault in faults {
            if told.iter().all(|other| (&other.field, &other.message) != (&fault.field, &fault.message)) {
                told.push(fault);
            }
        }
        return Err(told);
    }
    let requirements = sorted(&parts);
    Ok(Assessed { design: design.clone(), parts, requirements })
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

    /// Why a requirement fails, in the words of a finding: what is never reached has the part's first failure for a reason,
    /// a value the one at its own input.
    pub fn reason(&self, row: &Row) -> Option<&str> {
        if row.check.verdict != Verdict::Fails {
            return None;
        }
        let never = row.check.achieved.is_none();
        let answer = &self.parts[row.part].answer;
        let found = answer.findings.iter().find(|found| {
            let own = row.check.field.is_some() && found.field == row.check.field;
            // Of several points of one kind each has a finding: another point's numbers are no reason for this one.
            let other = answer.requirements.iter().any(|check| {
                check.id == row.check.id && check.label != row.check.label && check.achieved == found.value
            });
            found.severity == Severity::Fail && (never || own) && !(found.value.is_some() && other)
        });
        found.map(|found| found.message.as_str()).filter(|message| *message != row.check.label)
    }

    /// The parts of a section.
    pub fn of(&self, section: &str) -> impl Iterator<Item = &AssessedPart> {
        self.parts.iter().filter(move |part| part.part.section.key == section)
    }
}

fn contradictions(design: &Design) -> Vec<FieldError> {
    let pack = &design.head.pack;
    let mut faults = Vec::new();
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
    order(
        "/pack/cell_nominal_v",
        ("the lowest cell voltage", pack.cell_min_v),
        ("The nominal cell voltage", pack.cell_nominal_v),
        Unit::Volt,
    );
    order(
        "/pack/cell_max_v",
        ("the nominal cell voltage", pack.cell_nominal_v),
        ("The highest cell voltage", pack.cell_max_v),
        Unit::Volt,
    );
    faults
}

/// The complete input of a calculation, and what channels handed on to it.
pub type Filled = (Map<String, Value>, Vec<CarriedValue>);

/// The complete input of a part's calculation.
///
/// # Errors
/// A channel that hands no error on.
pub fn input_of(design: &Design, part: &Part) -> Result<Filled, Vec<FieldError>> {
    let head = Group::write(&design.head);
    let mut input = part.input.clone();
    for bound in part.kind.bound {
        match bound.from {
            // What is not given in the head, such as a requirement nobody made, is not given here either.
            From::Field(from) => {
                if let Some(value) = at(&head, from) {
                    put(&mut input, bound.to, value.clone());
                }
            }
            From::Pack(_, value) => put(&mut input, bound.to, json!(value(&design.head.pack))),
        }
    }
    let mut errors = Vec::new();
    if !part.rests_on.is_empty() {
        errors = carried(design, part, &input)?;
        for error in &errors {
            put(&mut input, error.to, json!(error.value));
        }
    }
    Ok((input, errors))
}

/// How a channel is asked for its error at a point, and which requirement answers.
struct Channel {
    points: &'static str,
    error: &'static str,
    unit: Unit,
}

fn channel(slug: &str) -> Option<Channel> {
    match slug {
        "current-channel" => {
            Some(Channel { points: "/currents_a", error: "current-channel.error", unit: Unit::Ampere })
        }
        "voltage-channel" => Some(Channel { points: "/voltages_v", error: "voltage-channel.error", unit: Unit::Volt }),
        "thermistor" => Some(Channel { points: "/points_degc", error: "thermistor.error", unit: Unit::Celsius }),
        _ => None,
    }
}

/// What a part takes from another: inputs as they are, and the error of a channel by worst case, at end of life, as the
/// channel is calibrated.
fn carried(design: &Design, part: &Part, input: &Map<String, Value>) -> Result<Vec<CarriedValue>, Vec<FieldError>> {
    let refuse = |message: String| {
        let place = format!("{}/rests_on", part.pointer());
        vec![FieldError::contradiction(
            &place,
            message,
            "a part that covers this point, or typed values",
            &part.rests_on,
        )]
    };
    let from = part.kind.carries_from;
    let source = design
        .of(from)
        .find(|other| other.title() == part.rests_on)
        .ok_or_else(|| refuse(format!("There is no part of this name in {from}.")))?;
    let (mut question, _) = input_of(design, source)
        .map_err(|_| refuse(format!("{} rests on a part that gives no value.", part.rests_on)))?;
    let point = |at: At| match at {
        At::Input(pointer) => super::at(input, pointer).and_then(Value::as_f64),
        At::Pack(value) => Some(value(&design.head.pack)),
    };
    let mut taken = Vec::new();
    let mut wanted: Vec<(&Carried, f64, bool)> = Vec::new();
    for carried in part.kind.carried {
        match carried.take {
            Take::Value(pointer) => {
                if let Some(value) = at(&question, pointer).and_then(Value::as_f64) {
                    taken.push(CarriedValue { to: carried.to, from: part.rests_on.clone(), at: None, value });
                }
            }
            Take::Error(place) => wanted.extend(point(place).map(|at| (carried, at, false))),
            Take::ErrorPercent(place) => wanted.extend(point(place).map(|at| (carried, at, true))),
        }
    }
    if wanted.is_empty() {
        return Ok(taken);
    }
    let channel = channel(source.kind.slug).ok_or_else(|| refuse("This part hands no error on.".into()))?;
    // Beyond its range a channel stands at its end, and so does its error: a hazard may lie there, a threshold may not.
    if let Some(end) = range_end(source, &question) {
        for (_, at, _) in &mut wanted {
            *at = at.min(end);
        }
    }
    put(&mut question, channel.points, wanted.iter().map(|(_, at, _)| *at).collect());
    put(&mut question, "/requirement/judged_by", json!("worst-case"));
    if source.kind.slug == "thermistor" {
        // The threshold counts lag and gradient itself.
        put(&mut question, "/requirement/with_lag_and_gradient", json!(false));
    }
    let checks = verdicts(source, question).map_err(|faults| {
        let words: Vec<String> = faults.iter().map(|fault| fault.message.clone()).collect();
        refuse(format!("{} gives no error here: {}", part.rests_on, words.join(" ")))
    })?;
    let mut errors = checks.iter().filter(|check| check.id == channel.error).map(|check| check.achieved);
    for (carried, at, in_percent) in wanted {
        let error = errors.next().flatten();
        let error =
            error.ok_or_else(|| refuse(format!("{} gives no error at {}.", part.rests_on, say(at, channel.unit))))?;
        taken.push(CarriedValue {
            to: carried.to,
            from: part.rests_on.clone(),
            at: Some(Quantity::new(at, channel.unit)),
            value: if in_percent { error / at * 100.0 } else { error },
        });
    }
    Ok(taken)
}

/// The largest current that a current channel reads, A.
fn range_end(source: &Part, question: &Map<String, Value>) -> Option<f64> {
    let checks = verdicts(source, question.clone()).ok()?;
    let range = checks.into_iter().find(|check| check.id == "current-channel.range")?.required?;
    Some(range / at(question, "/shunt/resistance_ohm")?.as_f64()?)
}

/// A threshold that its channel cannot read never trips.
fn beyond_range(answer: &Answer, carried: &[CarriedValue]) -> Option<Finding> {
    let hazard = answer.input.get("hazard_a")?.as_f64()?;
    let end = carried.iter().find(|one| one.to == "/error_hazard_a")?.at?.value;
    let threshold = answer.result.pointer("/judged/threshold")?.as_f64()?;
    (end < hazard && threshold > end).then(|| {
        let message = format!(
            "The threshold of {} is beyond what its channel reads, {}: it never trips.",
            say(threshold, Unit::Ampere),
            say(end, Unit::Ampere)
        );
        Finding::new(Severity::Fail, "design.threshold-beyond-range", message)
            .at("/threshold_a")
            .against(threshold, end)
    })
}

/// The requirements of a part with a complete input, in the order of its calculation.
pub fn verdicts(part: &Part, input: Map<String, Value>) -> Result<Vec<Judged>, Vec<FieldError>> {
    let read = part.room().read(Some(&quick(input)), Notation::Json)?;
    part.room().verdicts(&*read, Work::FREE).map_err(Refused::faults)
}

/// The same question with the fewest trials: for answers in which no trial counts.
pub fn quick(mut input: Map<String, Value>) -> Value {
    if at(&input, "/experiment/trials").is_some() {
        put(&mut input, "/experiment/trials", json!(1000));
    }
    Value::Object(input)
}

fn assess_part(design: &Design, part: &Part) -> Result<AssessedPart, Vec<FieldError>> {
    let resting = format!("{}/rests_on", part.pointer());
    let (mut answer, carried) = match input_of(design, part) {
        Ok((input, carried)) => {
            (answer_of(part, &Value::Object(input), design.head.requirements.thin_from_percent)?, carried)
        }
        // A channel that gives no error at a point is a failure of the design, not of what was typed.
        Err(faults) if faults.iter().all(|fault| fault.field == resting) => (not_assessed(part, &faults), Vec::new()),
        Err(faults) => return Err(faults),
    };
    answer.findings.splice(0..0, beyond_range(&answer, &carried));
    for block in &mut answer.view.blocks {
        rename(block, &format!("{}-{}-", part.section.key, part.index));
    }
    let verdict = answer.verdict();
    Ok(AssessedPart { part: part.clone(), answer, carried, verdict })
}

/// The answer of a part that cannot be asked: what it rests on gives no value.
fn not_assessed(part: &Part, faults: &[FieldError]) -> Answer {
    let words: Vec<&str> = faults.iter().map(|fault| fault.message.as_str()).collect();
    let message = format!("Not assessed: {}", words.join(" "));
    let lead = message.clone();
    Answer {
        engine: ENGINE,
        input: Value::Object(part.input.clone()),
        result: Value::Object(Map::new()),
        working: Vec::new(),
        findings: vec![Finding::new(Severity::Fail, "design.not-assessed", message)],
        requirements: Vec::new(),
        cautions: Vec::new(),
        link: part.room().address(&part.room().start()),
        view: View { lead, ..View::default() },
    }
}

/// Asks the calculation of a part; its faults are put where the document holds the value.
pub fn answer_of(part: &Part, input: &Value, thin_from_percent: f64) -> Result<Answer, Vec<FieldError>> {
    let read = part.room().read(Some(input), Notation::Json);
    let answer =
        read.and_then(|input| part.room().solve(&*input, thin_from_percent, Work::FREE).map_err(Refused::faults));
    answer.map_err(|faults| {
        faults
            .into_iter()
            .map(|mut fault| {
                fault.field = part.origin(&fault.field);
                fault
            })
            .collect()
    })
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
        Block::Lane(lane) => name(&mut lane.id),
        Block::Listing(listing) => name(&mut listing.id),
    }
}

/// The requirements of all parts, worst first. A failure that no requirement tells is a row of its own.
fn sorted(parts: &[AssessedPart]) -> Vec<Row> {
    let mut rows: Vec<Row> = parts
        .iter()
        .enumerate()
        .flat_map(|(part, assessed)| {
            let checks = &assessed.answer.requirements;
            let failing = || checks.iter().filter(|check| check.verdict == Verdict::Fails);
            // A requirement that is never reached has the part's first failure for a reason.
            let never = failing().any(|check| check.achieved.is_none());
            let failures = assessed.answer.findings.iter().filter(|found| found.severity == Severity::Fail);
            let untold = failures.enumerate().filter(move |(place, found)| {
                let told = failing().any(|check| {
                    let same_input = found.field.is_some() && check.field == found.field;
                    let same_numbers =
                        found.value.is_some() && (check.achieved, check.required) == (found.value, found.limit);
                    same_input || same_numbers
                });
                !(told || (never && *place == 0))
            });
            let untold = untold.map(|(_, found)| {
                let message = found.message.trim_end_matches('.');
                let end = [". ", ": ", "; "].iter().filter_map(|mark| message.find(mark)).min();
                let sentence = &message[..end.unwrap_or(message.len())];
                let mut check = Check::undefined(&found.code, sentence, &found.message, Quantity::new(0.0, Unit::One));
                check.required = None;
                check.field.clone_from(&found.field);
                check
            });
            untold.chain(checks.iter().cloned()).map(move |check| Row { part, check })
        })
        .collect();
    rows.sort_by(|a, b| {
        let used = |row: &Row| row.check.used_percent.unwrap_or(f64::MAX);
        a.check.verdict.cmp(&b.check.verdict).then(used(b).total_cmp(&used(a)))
    });
    rows
}
