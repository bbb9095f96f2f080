//! # What the interface answers about a comparison

use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

use super::compare::{Comparison, Move, OutcomeRow};
use super::link;
use crate::calculation::ENGINE;
use crate::judge::Check;

/// The answer to a comparison.
#[derive(Clone, Debug, Serialize)]
pub struct ComparisonAnswer {
    /// The version of the calculation core.
    pub engine: &'static str,
    /// The result.
    pub result: ComparisonResult,
    /// The address of the page that shows it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub link: Option<String>,
}

/// The result of a comparison.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ComparisonResult {
    /// In one sentence.
    pub lead: String,
    /// The titles of the designs.
    pub titles: Vec<String>,
    /// The inputs that differ.
    pub inputs: Vec<DifferingInput>,
    /// How many inputs are the same.
    pub same_inputs: usize,
    /// The outcomes: those whose verdict turns first, then those that differ.
    pub outcomes: Vec<Outcome>,
}

/// An input that differs.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DifferingInput {
    /// JSON Pointer to it.
    pub field: String,
    /// Its label.
    pub label: String,
    /// Its value in every design; null where it is not given.
    #[schema(value_type = Vec<Value>)]
    pub values: Vec<Value>,
    /// What its exchange alone does to the first design's outcomes.
    pub effects: Vec<OutcomeEffect>,
}

/// What the exchange of one input does.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct OutcomeEffect {
    /// The outcome.
    pub outcome: String,
    /// Change of the share used, in percent of the allowance.
    pub change_percent: f64,
}

/// An outcome.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Outcome {
    /// Part and requirement.
    pub label: String,
    /// How it stands in every design; absent parts are left out.
    pub designs: Vec<OutcomeState>,
    /// How every other design moves it against the first: better, worse, no longer assessed, new, given now, same, not comparable.
    pub moves: Vec<&'static str>,
}

/// How an outcome stands in one design.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct OutcomeState {
    /// The index of the design.
    pub design: usize,
    /// The requirement there.
    #[serde(flatten)]
    pub check: Check,
}

/// The answer to a comparison that was worked out.
pub fn comparison(done: &Comparison) -> ComparisonAnswer {
    ComparisonAnswer {
        engine: ENGINE,
        link: link::comparison(done.designs.iter().map(|one| &one.design)),
        result: ComparisonResult {
            lead: compared(done),
            titles: done.designs.iter().map(|one| one.design.head.title.clone()).collect(),
            same_inputs: done.same_inputs,
            inputs: done
                .inputs
                .iter()
                .map(|row| DifferingInput {
                    field: row.pointer.clone(),
                    label: row.label.clone(),
                    // An answer has no null: what is not given is an empty text.
                    values: row.values.iter().map(|value| value.clone().unwrap_or_else(|| "".into())).collect(),
                    effects: row
                        .effects
                        .iter()
                        .map(|effect| OutcomeEffect {
                            outcome: done.outcomes[effect.outcome].label.clone(),
                            change_percent: effect.change_percent,
                        })
                        .collect(),
                })
                .collect(),
            outcomes: done
                .outcomes
                .iter()
                .map(|row| Outcome {
                    label: row.label.clone(),
                    designs: row
                        .checks
                        .iter()
                        .enumerate()
                        .filter_map(|(design, check)| Some(OutcomeState { design, check: check.clone()? }))
                        .collect(),
                    moves: row.moves.iter().map(|moved| moved.word()).collect(),
                })
                .collect(),
        },
    }
}

/// The comparison in one sentence.
pub fn compared(done: &Comparison) -> String {
    let differing = done.inputs.len();
    if differing == 0 {
        return "The designs are the same".into();
    }
    let count = |wanted: Move| done.outcomes.iter().filter(|row| row.moves.contains(&wanted)).count();
    let turned: Vec<&OutcomeRow> = done.outcomes.iter().filter(|row| row.turns()).collect();
    let values = if differing == 1 { "One value differs".into() } else { format!("{differing} values differ") };
    let (better, worse) = (count(Move::Better), count(Move::Worse));
    // A part that is not there is told where nothing else turns.
    let there = turned.iter().find(|row| row.checks.iter().all(Option::is_some)).or(turned.first());
    match (there, better, worse) {
        (None, 0, 0) => format!("{values}, no outcome does"),
        (None, ..) => format!("{values}: {better} outcomes better, {worse} worse, no verdict turns"),
        (Some(row), ..) => {
            let words = |check: &Option<Check>| check.as_ref().map_or("absent", |check| check.verdict.word());
            let rest = if turned.len() > 1 { format!(" and {} more", turned.len() - 1) } else { String::new() };
            let last = row.checks.last().map_or("", words).to_lowercase();
            let label = &row.label;
            format!("{values}: {label} goes from {} to {last}{rest}", words(&row.checks[0]).to_lowercase())
        }
    }
}
