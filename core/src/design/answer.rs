//! # What the interface answers about a design
//!
//! The same envelope as every calculation: engine, the complete document, the result, the findings at their places in the
//! document, the link.

mod include;
mod levers;
mod on_start;

use serde::Serialize;
use serde_json::{Map, Value};
use utoipa::ToSchema;

use super::assess::{Assessed, AssessedPart, Row};
use super::summary::{Source, absent, cautions, counts, findings, fingerprint, lead, origins, what_turns};
use super::test_limits::test_limits;
use super::turning::{Reach, Turning, turning, unit_of};
use super::{Design, link};
use crate::calculation::ENGINE;
use crate::json::{self, Unwritten};
use crate::judge::{Check, Verdict};
use crate::quantity::Unit;
use crate::report::{Finding, Severity, Step};
use crate::work::{Refused, Work};

pub use include::{Include, Member};
pub use levers::{CauseOfFailures, LeverOfCause, LeverStep, LeversResult};
pub use on_start::{OnStartResult, UntouchedValue};

/// The answer to a design.
#[derive(Clone, Debug, Serialize)]
pub struct DesignAnswer {
    /// The version of the calculation core.
    pub engine: &'static str,
    /// The document: what was typed, and the set of start values it counts from; with `include=input`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub input: Option<Map<String, Value>>,
    /// The result.
    pub result: DesignResult,
    /// What the engineer must know, failures first, at the places of the document.
    pub findings: Vec<Finding>,
    /// The address that opens the design; absent when it would be too long.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub link: Option<String>,
    /// Changes with any input.
    pub fingerprint: String,
}

/// The result. What is not asked for is absent.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DesignResult {
    /// The whole in one sentence.
    pub verdict: Summary,
    /// The requirements of all parts, worst first.
    pub requirements: Vec<Requirement>,
    /// What is not part of the design, and so not assessed.
    pub not_assessed: Vec<String>,
    /// The values nearest to turning a verdict; with `include=turning`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub turning: Option<Vec<TurningPoint>>,
    /// What fails first and what turns it; with `include=levers`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub levers: Option<LeversResult>,
    /// What stands on values that nobody typed; with `include=on_start`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on_start: Option<OnStartResult>,
    /// Where every value comes from; with `include=origins`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub origins: Option<Origins>,
    /// Limits for the end-of-line tester; with `include=test_limits`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub test_limits: Option<Vec<TestPoint>>,
    /// Integer multiplier and shift of every current and voltage channel, for words in mA and mV; with
    /// `include=scaling_words`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scaling_words: Option<Vec<ScalingWord>>,
    /// What follows from the pack alone; with `include=pack`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack: Option<PackFigures>,
    /// Cautions that the numbers make real; with `include=cautions`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cautions: Option<Vec<String>>,
    /// Every part as its own page answers; with `include=parts`, its working with `include=working`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parts: Option<Vec<PartAnswer>>,
}

/// What follows from the pack alone.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct PackFigures {
    /// Lowest voltage, V.
    pub min_v: f64,
    /// Nominal voltage, V.
    pub nominal_v: f64,
    /// Highest voltage, V.
    pub max_v: f64,
    /// Capacity, Ah; absent without cells.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacity_ah: Option<f64>,
    /// Resistance for direct current, Ω; absent where it is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance_ohm: Option<f64>,
    /// Current into a short circuit without resistance of its own, A; absent where the resistance is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prospective_a: Option<f64>,
}

/// The verdict.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Summary {
    /// In one sentence.
    pub lead: String,
    /// The worst verdict.
    pub worst: Verdict,
    /// How many requirements fail.
    pub fail: usize,
    /// How many cannot be told by their trials.
    pub not_resolved: usize,
    /// How many lack something that is needed to judge them.
    pub not_judged: usize,
    /// How many hold with little left.
    pub thin: usize,
    /// How many hold.
    pub hold: usize,
    /// How many have no limit.
    pub no_limit: usize,
}

/// A requirement.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Requirement {
    /// JSON Pointer to its part.
    pub part: String,
    /// The part's name.
    pub part_name: String,
    /// How it stands.
    #[serde(flatten)]
    pub check: Check,
    /// What is left, in the requirement's unit; negative when it is passed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin: Option<f64>,
}

/// A value at which a verdict turns.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TurningPoint {
    /// JSON Pointer to the value.
    pub field: String,
    /// Its label.
    pub label: String,
    /// The value now.
    pub now: f64,
    /// The value at which the verdict turns: as it stands here, the requirement holds.
    pub turns_at: f64,
    /// Whether the requirement holds now.
    pub holds_now: bool,
    /// How far the value is from turning it: a ratio's logarithm, or a share of the width that counts as a change of one.
    pub distance: f64,
    /// How many other requirements that hold now would fail with it.
    #[serde(skip_serializing_if = "is_zero")]
    pub breaks: usize,
    /// The unit of both.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// What turns there, in words.
    pub what: String,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the signature that is asked for")]
const fn is_zero(count: &usize) -> bool {
    *count == 0
}

/// Where the values come from.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Origins {
    /// How many values were typed.
    pub typed: usize,
    /// How many stand as they start, or follow from the pack.
    pub default: usize,
    /// Every value by its JSON Pointer: `typed`, `assumed`, `pack`, `part`, `start` or `open`.
    #[schema(value_type = Object)]
    pub values: Map<String, Value>,
    /// Values marked as assumed.
    pub assumed: Vec<AssumedValue>,
}

/// A value that nobody measured.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct AssumedValue {
    /// Its key.
    pub value: String,
    /// Where it comes from.
    pub why: String,
}

/// A limit of the tester.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TestPoint {
    /// JSON Pointer to the part.
    pub part: String,
    /// The test point.
    pub at: f64,
    /// The unit of everything here.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// Allowed error over life.
    pub allowed: f64,
    /// Kept for temperature.
    pub temperature: f64,
    /// Kept for ageing.
    pub ageing: f64,
    /// Kept for what comes and goes: leakage, supply, common mode, rounding and noise of tester and use.
    pub comes_and_goes: f64,
    /// Kept for the tester.
    pub tester: f64,
    /// The limit of the test; absent when no test can guarantee the requirement.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
    /// Risk that a unit read exactly at the limit is beyond what drift leaves, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub risk_percent: Option<f64>,
}

/// What firmware multiplies a code with: word = (code · multiplier + half) >> shift.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ScalingWord {
    /// JSON Pointer to the part.
    pub part: String,
    /// The value of one code.
    pub code_value: f64,
    /// Its unit; the word is in thousandths of it.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// The multiplier.
    pub multiplier: i64,
    /// The shift.
    pub shift: i32,
}

/// A part with its answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct PartAnswer {
    /// JSON Pointer to it.
    pub part: String,
    /// Its name.
    pub name: String,
    /// Its calculation.
    pub calculation: &'static str,
    /// How it stands.
    pub verdict: Verdict,
    /// Everything its calculation used, what was handed down included.
    #[schema(value_type = Object)]
    pub input: Value,
    /// Its result: see the calculation.
    #[schema(value_type = Object)]
    pub result: Unwritten,
    /// Its working; with `include=working`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub working: Vec<Step>,
    /// What another part handed on to it.
    pub carried: Vec<CarriedValue>,
    /// Its own page with these values; absent when its address would be too long.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub link: Option<String>,
}

/// A value that another part handed on.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct CarriedValue {
    /// JSON Pointer to the input that took it.
    pub field: String,
    /// The part it comes from.
    pub from: String,
    /// The point at which an error was taken: worst case, end of life; absent for an input of the other part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<f64>,
    /// The value.
    pub value: f64,
}

/// The answer to a design that was worked out as deep as the members need.
///
/// # Errors
/// The work was stopped.
pub fn answer(assessed: &Assessed, include: &Include, work: Work) -> Result<DesignAnswer, Refused> {
    let count = |verdict| assessed.count(verdict);
    let wants = |member| include.has(member);
    let requirement = |row: &Row| {
        let (design, part) = (&assessed.design, &assessed.parts[row.part].part);
        let mut check = row.check.clone();
        check.field = check.field.map(|pointer| design.origin(part, &pointer));
        check.missing = check.missing.map(|pointer| design.origin(part, &pointer));
        Requirement { part: part.pointer(), part_name: part.title(), check, margin: row.check.margin() }
    };
    let turning = if wants(Member::Turning) { Some(turning_points(assessed, work)?) } else { None };
    let levers = if wants(Member::Levers) { Some(levers::found(assessed, work)?) } else { None };
    let on_start = if wants(Member::OnStart) { Some(on_start::found(assessed, work)?) } else { None };
    let result = DesignResult {
        verdict: Summary {
            lead: lead(assessed),
            worst: assessed.verdict(),
            fail: count(Verdict::Fails),
            not_resolved: count(Verdict::NotResolved),
            not_judged: count(Verdict::NotJudged),
            thin: count(Verdict::Thin),
            hold: count(Verdict::Holds),
            no_limit: count(Verdict::NoLimitSet),
        },
        requirements: assessed.requirements.iter().map(requirement).collect(),
        not_assessed: absent(assessed),
        turning,
        levers,
        on_start,
        origins: wants(Member::Origins).then(|| origins_of(&assessed.design)),
        test_limits: wants(Member::TestLimits).then(|| test_points(assessed)),
        scaling_words: wants(Member::ScalingWords).then(|| scaling_words(assessed)),
        pack: wants(Member::Pack).then(|| pack_figures(&assessed.design.head.pack)),
        cautions: wants(Member::Cautions).then(|| cautions(assessed)),
        parts: (wants(Member::Parts) || wants(Member::Working)).then(|| parts(assessed, wants(Member::Working))),
    };
    Ok(DesignAnswer {
        engine: ENGINE,
        input: wants(Member::Input).then(|| assessed.design.document()),
        result,
        findings: findings(assessed),
        link: link::address(&assessed.design),
        fingerprint: fingerprint(&assessed.design),
    })
}

/// The values nearest to turning a verdict.
///
/// # Errors
/// The work was stopped.
pub fn turning_points(assessed: &Assessed, work: Work) -> Result<Vec<TurningPoint>, Refused> {
    let point = |one: Turning| TurningPoint {
        label: assessed.design.head.pack.words(one.field.label),
        now: one.now,
        turns_at: one.turns_at,
        holds_now: one.holds_now,
        distance: one.distance,
        breaks: one.breaks,
        unit: unit_of(one.field),
        what: what_turns(&one),
        field: one.pointer,
    };
    Ok(turning(assessed, Reach::Far, work)?.into_iter().map(point).collect())
}

/// The answer to the question which values are nearest to turning a verdict.
#[derive(Clone, Debug, Serialize)]
pub struct TurningAnswer {
    /// The version of the calculation core.
    pub engine: &'static str,
    /// The result.
    pub result: TurningResult,
    /// The address that opens the design; absent when it would be too long.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub link: Option<String>,
}

/// The values nearest to turning a verdict.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TurningResult {
    /// The nearest first.
    pub turning: Vec<TurningPoint>,
}

/// The values nearest to turning a verdict, as an answer.
///
/// # Errors
/// The work was stopped.
pub fn turning_answer(assessed: &Assessed, work: Work) -> Result<TurningAnswer, Refused> {
    let result = TurningResult { turning: turning_points(assessed, work)? };
    Ok(TurningAnswer { engine: ENGINE, result, link: link::address(&assessed.design) })
}

fn origins_of(design: &Design) -> Origins {
    let (typed, default) = counts(design);
    let word = |from: Source| serde_json::to_value(from).unwrap_or_default();
    let values = origins(design).into_iter().map(|(pointer, from)| (pointer, word(from))).collect();
    let assumed = design.head.assumed.iter();
    let assumed = assumed.map(|one| AssumedValue { value: one.value.clone(), why: one.why.clone() }).collect();
    Origins { typed, default, values, assumed }
}

fn test_points(assessed: &Assessed) -> Vec<TestPoint> {
    let point = |one: super::test_limits::TestLimit| TestPoint {
        part: assessed.parts[one.part].part.pointer(),
        at: one.at,
        unit: one.unit,
        allowed: one.allowed,
        temperature: one.temperature,
        ageing: one.ageing,
        comes_and_goes: one.comes_and_goes,
        tester: one.tester,
        limit: one.limit(),
        risk_percent: one.risk().map(|risk| 100.0 * risk),
    };
    test_limits(assessed).into_iter().map(point).collect()
}

fn scaling_words(assessed: &Assessed) -> Vec<ScalingWord> {
    let word = |one: super::scaling::Scaling| ScalingWord {
        part: assessed.parts[one.part].part.pointer(),
        code_value: one.code_value,
        unit: one.unit,
        multiplier: one.multiplier,
        shift: one.shift,
    };
    super::scaling::scalings(assessed).into_iter().map(word).collect()
}

fn pack_figures(pack: &super::pack::Pack) -> PackFigures {
    PackFigures {
        min_v: pack.min_v(),
        nominal_v: pack.nominal_v(),
        max_v: pack.max_v(),
        capacity_ah: pack.capacity_ah(),
        resistance_ohm: pack.resistance_ohm(),
        prospective_a: pack.prospective_a(),
    }
}

fn parts(assessed: &Assessed, working: bool) -> Vec<PartAnswer> {
    let part = |one: &AssessedPart| PartAnswer {
        part: one.part.pointer(),
        name: one.part.title(),
        calculation: one.part.kind.entry.meta.slug,
        verdict: one.verdict,
        input: one.answer.input.clone(),
        result: one.answer.result.clone(),
        working: if working { one.answer.working.clone() } else { Vec::new() },
        carried: one
            .carried
            .iter()
            .map(|carried| CarriedValue {
                field: format!("{}{}", one.part.pointer(), carried.to),
                from: carried.from.clone(),
                at: carried.at.map(|at| at.value),
                value: carried.value,
            })
            .collect(),
        link: one.answer.link.clone(),
    };
    assessed.parts.iter().map(part).collect()
}

impl DesignAnswer {
    /// Whether a requirement fails.
    pub fn fails(&self) -> bool {
        self.result.verdict.fail > 0 || self.findings.iter().any(|finding| finding.severity == Severity::Fail)
    }
}

/// Writes an answer: no null, no negative zero.
pub fn write<T: Serialize>(answer: &T) -> Value {
    json::tree(answer)
}
