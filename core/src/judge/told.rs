//! A requirement as a reader is told of it, and the finding of its failure.

use serde::Serialize;
use utoipa::ToSchema;

use super::{Judged, Key, Outcome, THIN_FROM_PERCENT, Verdict};
use crate::quantity::Unit;
use crate::report::{Finding, Severity};

/// What a reader is told of a requirement.
#[derive(Clone, Debug, Default)]
pub struct Words {
    /// What is required.
    pub label: String,
    /// At which point and how it is judged.
    pub note: String,
    /// The sentence of its failure.
    pub failure: String,
    /// What takes most of the allowance.
    pub largest: Option<String>,
    /// The cheapest change that would make it hold.
    pub lever: Option<String>,
    /// Pointers of all that it needs and that was not given, where that may be more than one.
    pub lacking: Vec<&'static str>,
    /// What is asked and how far it reaches, of one that is or is not.
    pub reach: Option<Reach>,
}

/// What is asked and how far it reaches, where no share of it is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// What is asked.
    pub asked: f64,
    /// How far it reaches.
    pub reached: f64,
    /// The unit of both.
    pub unit: Unit,
}

impl Words {
    /// Label, note, and the sentence of the failure.
    pub fn new(label: impl Into<String>, note: impl Into<String>, failure: impl Into<String>) -> Self {
        let (label, note, failure) = (label.into(), note.into(), failure.into());
        Self { label, note, failure, ..Self::default() }
    }

    /// Names what takes most and the cheapest change that would make it hold.
    #[must_use]
    pub fn because(mut self, largest: Option<String>, lever: Option<String>) -> Self {
        (self.largest, self.lever) = (largest, lever);
        self
    }

    /// Tells what is asked and how far it reaches, where that is known.
    #[must_use]
    pub fn reaching(mut self, asked: f64, reached: Option<f64>, unit: Unit) -> Self {
        self.reach = reached.map(|reached| Reach { asked, reached, unit });
        self
    }

    /// Names all that it needs and that was not given.
    #[must_use]
    pub fn lacking(mut self, all: Vec<&'static str>) -> Self {
        self.lacking = all;
        self
    }
}

/// The most trials that anybody is asked for.
const MOST_TRIALS: u64 = 10_000_000;

/// Why trials could not tell.
fn unresolved(trials: u64) -> String {
    if trials > MOST_TRIALS {
        return "Not resolved: the limit lies too near for the trials to tell on which side, not within 10,000,000."
            .into();
    }
    format!("Not resolved: some {trials} trials would tell on which side of the limit it lies.")
}

/// One requirement as it is told: required, achieved, used.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Check {
    /// A stable word for programs.
    pub id: String,
    /// Which of several of that kind.
    #[serde(skip)]
    #[schema(ignore)]
    pub key: Key,
    /// Its place in the order of its calculation, from 0.
    #[serde(skip)]
    #[schema(ignore)]
    pub place: usize,
    /// What is required.
    pub label: String,
    /// At which point and how it is judged.
    pub note: String,
    /// The limit, in the base unit; absent when none was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub required: Option<f64>,
    /// What is reached, in the base unit; absent when it is not defined.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub achieved: Option<f64>,
    /// The unit of both.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// Share of the allowance, in percent; 100 is the limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used_percent: Option<f64>,
    /// How it stands.
    pub verdict: Verdict,
    /// JSON Pointer to the input that sets the limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// What takes most of the allowance, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub largest: Option<String>,
    /// The cheapest change that would make it hold, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lever: Option<String>,
    /// JSON Pointer to what is needed and was not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub missing: Option<String>,
    /// What else it needs and was not given.
    #[serde(skip)]
    #[schema(ignore)]
    pub lacking: Vec<&'static str>,
    /// Why it fails, or is not judged, in a sentence.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Of one that is or is not, and fails: what is asked and how far it reaches.
    #[serde(skip)]
    #[schema(ignore)]
    pub reach: Option<Reach>,
}

fn not_given(what: &[String]) -> String {
    match what {
        [more @ .., last] if !more.is_empty() => {
            format!("Not judged: {} and {last} are not given.", more.join(", "))
        }
        _ => format!("Not judged: {} is not given.", what.concat()),
    }
}

/// What stands where there is nothing to say.
pub const NOTHING: &str = "–";

impl Check {
    /// What is left of the allowance, in the unit of the requirement; negative when it is passed.
    pub fn margin(&self) -> Option<f64> {
        let (required, achieved, used) = (self.required?, self.achieved?, self.used_percent?);
        let left = (required - achieved).abs();
        Some(match used {
            100.0 => 0.0,
            used if used > 100.0 => -left,
            _ => left,
        })
    }

    /// Whether it asks for something that is or is not, without a number.
    pub fn yes_or_no(&self) -> bool {
        self.required.is_none() && self.achieved.is_none() && self.verdict != Verdict::NotJudged
    }

    /// What stands in place of the limit, and of what is reached, where there is no number.
    pub fn without_numbers(&self) -> [&'static str; 2] {
        match self.verdict {
            _ if self.yes_or_no() => [NOTHING, NOTHING],
            Verdict::NotJudged if self.required.is_none() => ["not given", NOTHING],
            Verdict::NotJudged => ["none", NOTHING],
            _ => ["none", "not reached"],
        }
    }

    /// Says what is missing by the name that a reader knows it by.
    pub fn name_missing(&mut self, name: impl Fn(&str) -> Option<String>) {
        let all = self.missing.as_deref().into_iter().chain(self.lacking.iter().copied());
        let names: Vec<String> = all.filter_map(name).collect();
        if !names.is_empty() {
            self.reason = Some(not_given(&names));
        }
    }

    /// Its place among others: worse ones first.
    pub fn order(&self) -> (Verdict, f64) {
        (self.verdict, -self.used_percent.unwrap_or(f64::MAX))
    }

    pub(super) fn tell(place: usize, one: &Judged, words: &Words, thin_from_percent: f64) -> Self {
        let verdict = one.outcome.verdict(thin_from_percent);
        let missing = if let Outcome::NotJudged(what) = one.outcome { Some(what) } else { None };
        let reason = match one.outcome {
            Outcome::NotJudged(what) => Some(not_given(&[what.into()])),
            Outcome::Blocked => Some(format!("Not judged: {}.", words.failure)),
            Outcome::NotResolved { trials, .. } => Some(unresolved(trials)),
            _ if verdict == Verdict::Fails => Some(words.failure.clone()),
            _ => None,
        };
        Self {
            id: one.id.into(),
            key: one.key,
            place,
            label: words.label.clone(),
            note: words.note.clone(),
            // −0 + 0 is +0 in IEEE 754 arithmetic.
            required: one.required.map(|value| value + 0.0),
            achieved: one.achieved.filter(|value| value.is_finite()).map(|value| value + 0.0),
            unit: one.unit,
            // Nothing is allowed: there is no share of it.
            used_percent: one.outcome.used().map(|used| used * 100.0 + 0.0).filter(|used| used.is_finite()),
            verdict,
            field: Some(one.field.to_pointer()).filter(|pointer| !pointer.is_empty()),
            largest: words.largest.clone(),
            lever: words.lever.clone().filter(|_| verdict == Verdict::Fails),
            missing: missing.map(Into::into),
            lacking: words
                .lacking
                .iter()
                .copied()
                .filter(|other| missing.is_some_and(|first| first != *other))
                .collect(),
            reason,
            reach: words.reach.filter(|_| verdict == Verdict::Fails),
        }
    }

    /// The finding of a failure.
    pub(super) fn finding(&self) -> Option<Finding> {
        let reason = self.reason.clone().filter(|_| self.verdict == Verdict::Fails)?;
        let mut finding = Finding::new(Severity::Fail, &self.id, reason);
        (finding.value, finding.limit) = (self.achieved, self.required);
        finding.margin_percent = self.used_percent.map(|used| (1.0 - used / 100.0) * 100.0 + 0.0);
        finding.field.clone_from(&self.field);
        Some(finding)
    }
}

/// Which of two requirements comes first, the worse one.
pub fn compare(one: &Check, other: &Check) -> std::cmp::Ordering {
    let (one, other) = (one.order(), other.order());
    one.0.cmp(&other.0).then(one.1.total_cmp(&other.1))
}

/// Puts requirements into their order, worst first; equals stay as they are.
pub fn sort(checks: &mut [Check]) {
    checks.sort_by(compare);
}

/// A share of an allowance in percent: whole numbers, and a decimal below one percent or where rounding would put it on
/// the other side of a verdict.
pub fn share_words(percent: f64) -> String {
    if !percent.is_finite() {
        return "—".into();
    }
    if percent > 9999.0 {
        return "> 9999".into();
    }
    let mut decimals = usize::from(percent.abs() < 0.95 && percent != 0.0);
    while decimals < 4 {
        let rounded: f64 = format!("{percent:.decimals$}").parse().unwrap_or(percent);
        let tells = |edge: f64| (percent < edge) == (rounded < edge) && (percent > edge) == (rounded > edge);
        if tells(THIN_FROM_PERCENT) && tells(100.0) {
            break;
        }
        decimals += 1;
    }
    format!("{percent:.decimals$}").replace('-', "−")
}
