//! What fails first and what turns it, as the interface tells it.

use serde::Serialize;
use utoipa::ToSchema;

use crate::design::assess::Assessed;
use crate::design::levers::{Cause, Lever, Step, levers};
use crate::design::summary::{lever_label, what_it_does};
use crate::design::turning::unit_of;
use crate::judge::Verdict;
use crate::quantity::Unit;
use crate::work::{Refused, Work};

/// What fails first and what turns it.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LeversResult {
    /// What fails together, worst first; at most four.
    pub causes: Vec<CauseOfFailures>,
    /// How many causes there are beyond these.
    pub more: usize,
}

/// Requirements that fail together, and what turns them.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct CauseOfFailures {
    /// Their places in `requirements`, from 0: the first stands for all.
    pub rows: Vec<usize>,
    /// What turns the first row and makes no other worse, tried on the whole design; nearest first.
    pub offered: Vec<LeverOfCause>,
    /// How many do so beyond these.
    pub more: usize,
    /// What turns the first row and makes another worse.
    pub not_offered: Vec<LeverOfCause>,
    /// Where nothing turns it because it is not judged then: JSON Pointers to what has to be given first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub first: Vec<String>,
    /// Where nothing turns it: the best that one value reaches.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub closest: Option<LeverOfCause>,
    /// How many values were not followed, or not looked at.
    pub left_out: usize,
}

/// One value that turns a requirement.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LeverOfCause {
    /// JSON Pointer to the value.
    pub field: String,
    /// Its label.
    pub label: String,
    /// JSON Pointer to its part.
    pub part: String,
    /// The value now.
    pub now: f64,
    /// The unit of all its values.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// How far it has to be moved: a ratio's logarithm, or a share of the width that counts as a change of one.
    pub distance: f64,
    /// As far as the requirement no longer fails.
    pub turns: LeverStep,
    /// As far as it holds, where it is thin before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub holds: Option<LeverStep>,
    /// What it does, in words.
    pub what: String,
}

/// What another value does to the whole design.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LeverStep {
    /// The value.
    pub value: f64,
    /// How the first row of the cause stands then.
    pub verdict: Verdict,
    /// The share of its allowance then, in percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used_percent: Option<f64>,
    /// How many requirements fail then.
    pub fail: usize,
    /// How many are not resolved or not judged then.
    pub open: usize,
    /// Other requirements that fail now and no longer do then: places in `requirements`.
    pub turns: Vec<usize>,
    /// Requirements that get worse or are no longer judged then: places in `requirements`.
    pub breaks: Vec<usize>,
    /// How many are new then and do not hold.
    pub appear: usize,
    /// Requirements that nothing judges and of which more is asked then, or that fail already and then by more: places in
    /// `requirements`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub strained: Vec<usize>,
}

/// What is found, with its words.
pub(super) fn found(assessed: &Assessed, work: Work) -> Result<LeversResult, Refused> {
    let found = levers(assessed, work)?;
    let causes = found.causes.iter().map(|cause| of_cause(assessed, cause)).collect();
    Ok(LeversResult { causes, more: found.more })
}

fn of_cause(assessed: &Assessed, cause: &Cause) -> CauseOfFailures {
    let all = |levers: &[Lever]| levers.iter().map(|lever| of_lever(assessed, cause, lever)).collect();
    CauseOfFailures {
        rows: cause.rows.clone(),
        offered: all(&cause.offered),
        more: cause.more,
        not_offered: all(&cause.not_offered),
        first: cause.first.clone(),
        closest: cause.closest.as_ref().map(|lever| of_lever(assessed, cause, lever)),
        left_out: cause.left_out,
    }
}

fn of_lever(assessed: &Assessed, cause: &Cause, lever: &Lever) -> LeverOfCause {
    LeverOfCause {
        field: lever.pointer.clone(),
        label: lever_label(assessed, cause, lever),
        part: assessed.parts[lever.part].part.pointer(),
        now: lever.now,
        unit: unit_of(lever.field),
        distance: lever.distance,
        turns: of_step(&lever.turns),
        holds: lever.holds.as_ref().map(of_step),
        what: what_it_does(assessed, cause, lever),
    }
}

fn of_step(step: &Step) -> LeverStep {
    LeverStep {
        value: step.value,
        verdict: step.verdict,
        used_percent: step.used_percent,
        fail: step.fails,
        open: step.open,
        turns: step.turns.clone(),
        breaks: step.breaks.clone(),
        appear: step.appears,
        strained: step.strained.iter().map(|(row, _)| *row).collect(),
    }
}
