//! # What the channels share
//!
//! A channel turns a pack quantity into a reading. How much error is allowed, what takes most of it and which single
//! limit would mend it is said alike for every channel.
//!
//! ```text
//! Formula    sum: A = g |x| + o;  full scale: A = g X_fs;  larger: A = max(g |x|, o)
//! Symbols    A [unit of x] allowed error, g [1] gain part, o [unit of x] fixed part, x reading, X_fs full scale
//! Valid      only together with temperature range, life and method: the channel's page names them beside every figure
//! Source     common practice, no source
//! ```

pub mod budget;
pub mod chain;
pub mod corners;
pub mod telling;

use serde::Serialize;
use utoipa::ToSchema;

use crate::field::whole;
use crate::input;
use crate::judge::Verdict;
use crate::propagation::Assessment;
use crate::quantity::{Quantity, Unit, in_sentence, say};
use crate::report::{Lane, Stage, Step};
use crate::work::{Halt, Work};
use budget::{Output, size};

/// What other parts of a design ask a channel: numbers, by worst case, at end of life, as it is calibrated.
pub trait Channel {
    /// The largest error at each reading, in the unit of the reading; nothing where it is not defined.
    ///
    /// # Errors
    /// The work was stopped.
    fn errors(&self, at: &[f64], work: Work) -> Result<Vec<Option<f64>>, Halt>;

    /// The largest reading; nothing where nothing bounds it.
    fn full_at(&self) -> Option<f64>;
}

crate::choice! {
    /// How a requirement is written.
    pub enum Allowance {
        Sum = "sum", "Part of reading plus fixed part";
        FullScale = "full-scale", "Part of full scale";
        Larger = "larger", "The larger of both parts";
    }
}

impl Allowance {
    /// The allowed error; nothing when neither part is given, or when the part that the form needs is not.
    pub fn allowed(self, part_percent: Option<f64>, fixed: Option<f64>, reading: f64, full_scale: f64) -> Option<f64> {
        let part_of = |base: f64| part_percent.map(|part| part / 100.0 * base.abs());
        match (self, part_of(reading), fixed) {
            (_, None, None) => None,
            (Self::Sum, part, fixed) => Some(part.unwrap_or(0.0) + fixed.unwrap_or(0.0)),
            (Self::FullScale, ..) => part_of(full_scale),
            (Self::Larger, part, fixed) => Some(part.unwrap_or(0.0).max(fixed.unwrap_or(0.0))),
        }
    }

    /// The step of the working that leads to the allowed error at a reading.
    pub fn step(
        self,
        part_percent: Option<f64>,
        fixed: Option<f64>,
        at: Quantity,
        full_scale: f64,
        allowed: f64,
    ) -> Step {
        let unit = at.unit;
        let part = say(part_percent.unwrap_or(0.0), Unit::Percent);
        let fixed = say(fixed.unwrap_or(0.0), unit);
        let reading = say(at.value, unit);
        let (formula, numbers) = match self {
            Self::Sum => ("g |x| + o", format!("{part} · {reading} + {fixed}")),
            Self::FullScale => ("g X_fs", format!("{part} · {}", say(full_scale, unit))),
            Self::Larger => ("max(g |x|, o)", format!("max({part} · {reading}, {fixed})")),
        };
        let allowed = Quantity::new(allowed, unit);
        Step::new(&format!("Allowed at {reading}"), "A", formula, numbers, allowed, "the requirement as entered")
    }
}

crate::choice! {
    /// How a requirement is judged.
    pub enum JudgedBy {
        WorstCase = "worst-case", "Worst case";
        RootSumSquare = "root-sum-square", "Root-sum-square of the limits";
        Probability95 = "probability-95", "95 % coverage interval (Monte Carlo)";
    }
}

input! {
    /// The numerical experiment.
    pub struct Experiment {
        trials: u32 = whole(Unit::One, 1_000, 10_000_000, 200_000), "M", "Trials", "Of the Monte Carlo run at each current.";
        seed: u32 = whole(Unit::One, 0, u32::MAX, 1), "", "Seed", "Same seed, same numbers, on every machine.";
    }
}

/// The limit one source alone would need, everything else as it is.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Lever {
    /// The source.
    pub id: String,
    /// Its name in words.
    pub label: String,
    /// Unit of its limit: V, or 1 for a relative error.
    pub unit: String,
    /// Its limit now.
    pub limit_now: f64,
    /// The limit it would need; absent when it cannot close the gap by itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_needed: Option<f64>,
}

/// What stands above a stage of a lane: the part's value and the signal at its output.
pub type Described = (String, String);

/// A channel at the point its lane is drawn at.
#[derive(Clone, Copy, Debug)]
pub struct At {
    /// The reading.
    pub reading: Quantity,
    /// The error as it is judged.
    pub judged: f64,
    /// The allowed error.
    pub allowed: Quantity,
}

/// The lane of a channel at one point: the band opens by what every stage adds to the sum of limits, in proportion to the
/// error as it is judged, so that the band passes exactly when the requirement holds.
pub fn lane(done: &Assessment, stages: &[&str], described: Vec<Described>, at: At) -> Lane {
    let stages = budget::stages(done, stages);
    let sum: f64 = stages.iter().map(|(_, sum)| sum).sum();
    let scale = if at.allowed.value > 0.0 && sum > 0.0 { at.judged / sum / at.allowed.value * 100.0 } else { 0.0 };
    Lane {
        id: "lane".into(),
        caption: format!(
            "The band opens by what every stage adds at {}. Its end is the error as it is judged; it must pass the bracket, the allowance.",
            say(at.reading.value, at.reading.unit)
        ),
        stages: stages
            .into_iter()
            .zip(described)
            .map(|((label, sum), (part, signal))| Stage { label, part, signal, takes_percent: sum * scale })
            .collect(),
        allowed: format!("±{}", say(at.allowed.value, at.allowed.unit)),
        reached: format!("±{}", say(at.judged, at.allowed.unit)),
        verdict: Verdict::of(Some(at.judged / at.allowed.value.max(f64::MIN_POSITIVE) * 100.0)),
    }
}

/// A limit in its own unit: volts, or percent for a relative error.
pub fn limit_said(unit: &str, limit: f64) -> String {
    if unit == "V" { say(limit, Unit::Volt) } else { say(limit * 100.0, Unit::Percent) }
}

/// The first of the levers that can close the gap by itself, as the end of "It would take …".
pub fn lever_words(levers: &[Lever]) -> Option<String> {
    levers.iter().find_map(|lever| {
        let needed = lever.limit_needed?;
        Some(format!(
            "{} of {} instead of {}",
            in_sentence(&lever.label),
            limit_said(&lever.unit, needed),
            limit_said(&lever.unit, lever.limit_now)
        ))
    })
}

/// The largest part of an error budget in words.
pub fn largest_words(done: &Assessment, unit: Unit) -> Option<String> {
    let amount = |term| size(term, Output::Error);
    let term = done.contributions.iter().max_by(|a, b| amount(a).total_cmp(&amount(b)))?;
    (amount(term) > 0.0).then(|| format!("{} ({})", in_sentence(&term.label), say(amount(term), unit)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: the three ways a requirement is written, and the crossover of part and fixed amount at o/g.
    #[test]
    fn an_allowance_is_read_as_it_is_written() {
        let allowed = |form: Allowance, x| form.allowed(Some(1.0), Some(0.5), x, 1000.0);
        assert_eq!(allowed(Allowance::Sum, 100.0), Some(1.5));
        assert_eq!(allowed(Allowance::FullScale, 100.0), Some(10.0));
        assert_eq!(allowed(Allowance::Larger, 49.0), Some(0.5));
        assert_eq!(allowed(Allowance::Larger, 100.0), Some(1.0));
        assert_eq!(Allowance::Sum.allowed(None, None, 5.0, 10.0), None);
        assert_eq!(Allowance::FullScale.allowed(None, Some(1.0), 5.0, 10.0), None);
        assert_eq!(Allowance::Larger.allowed(None, Some(1.0), 5.0, 10.0), Some(1.0));
    }
}
