//! # One fact, told in two parts
//!
//! A link, a cell, a shunt or a clock is often described by more than one part. Where parts are tied one of them hands its
//! value to the other; what is typed twice, or acts on a part that has no place for it, is compared here. Where both cannot
//! be true nobody knows which is: requirements that hold with one of them alone are not judged (`prepared::doubts`), and the
//! finding stands where the smaller or quieter of the two is typed. A note tells what may well be so, and unsettles nothing.
//!
//! ```text
//! Source     that both tell of one thing: common practice, no source; formulas stand with the facts
//! ```

mod link;
mod others;
mod threshold;

use std::borrow::Cow;

use serde_json::Value;

use super::section::{DISCHARGES, PRECHARGES};
use super::{Design, Head, Part};
use crate::calculation::Entry;
use crate::field::{Typed, tree};
use crate::report::{Finding, Severity};

/// Codes of what a reader of the first page can wait for: the report and the interface tell it.
pub const LATER: [&str; 5] = [
    "design.threshold-too-exact",
    "design.balancing-not-counted",
    "design.cell-loss-beyond",
    "design.ambient-below-pack",
    "design.no-bleeder-told",
];

/// What is typed with so much less, or more, is told otherwise: values are typed with three digits.
const TYPED: f64 = 1e-3;

/// A part with its input as it is asked.
pub type Asked<'a> = (&'static Entry, &'a dyn Typed);

/// What others tell, and which of them.
type There = fn(&Head, &dyn Typed, &[Asked]) -> Option<(f64, usize)>;

/// A fact that two parts tell.
pub struct Fact {
    /// A warning unsettles what rests on it.
    pub severity: Severity,
    /// The word of its finding.
    pub code: &'static str,
    section: &'static str,
    /// The input of that section's parts that tells it; a column of a list below it.
    at: &'static str,
    column: &'static str,
    /// The parts that tell it, too, of a row of the list: none of the pack; nothing where a part does not tell of the same.
    others: fn(&Design, &Part, usize) -> Option<Vec<usize>>,
    /// What they tell, and which of them.
    pub there: There,
    /// Whether it is at least what they tell; at most otherwise.
    least: bool,
    /// What it is where it is empty.
    pub empty: Option<f64>,
    /// Both in a sentence, with the title of the other.
    pub words: fn(f64, f64, &str) -> String,
}

impl std::fmt::Debug for Fact {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Fact({} {})", self.code, self.at)
    }
}

impl PartialEq for Fact {
    fn eq(&self, other: &Self) -> bool {
        (self.code, self.section, self.at) == (other.code, other.section, other.at)
    }
}

impl Fact {
    /// Whether a value cannot stand beside what others tell.
    pub fn contradicts(&self, here: f64, there: f64) -> bool {
        let little = TYPED * there.abs();
        if self.least { here < there - little } else { here > there + little }
    }

    /// Of two that others tell the one that asks more.
    pub fn stronger(&self, one: f64, other: f64) -> f64 {
        if self.least { one.max(other) } else { one.min(other) }
    }

    /// Whether requirements that rest on it are not judged.
    pub fn unsettles(&self) -> bool {
        self.severity == Severity::Warn
    }

    /// Those of a part that others may tell, too: where they stand in its input, and who these are.
    pub fn of(design: &Design, part: &Part) -> Vec<(&'static Self, Cow<'static, str>, Vec<usize>)> {
        let mut found = Vec::new();
        for fact in FACTS.iter().copied().flatten().filter(|fact| fact.section == part.section.key) {
            let rows = if fact.column.is_empty() { 1 } else { rows(part, fact.at).len() };
            for row in 0..rows {
                let Some(others) = (fact.others)(design, part, row) else { continue };
                let at = if fact.column.is_empty() {
                    fact.at.into()
                } else {
                    format!("{}/{row}/{}", fact.at, fact.column).into()
                };
                found.push((fact, at, others));
            }
        }
        found
    }
}

/// A fact of the pack that unsettles what rests on it.
const FACT: Fact = Fact {
    severity: Severity::Warn,
    code: "",
    section: "",
    at: "",
    column: "",
    others: |_, _, _| Some(Vec::new()),
    there: |_, _, _| None,
    least: true,
    empty: None,
    words: |_, _, _| String::new(),
};

/// All of them, by what they are about.
static FACTS: [&[Fact]; 3] = [threshold::FACTS, link::FACTS, others::FACTS];

fn rows<'a>(part: &'a Part, list: &str) -> &'a [Value] {
    tree::at(&part.input, list).and_then(Value::as_array).map_or(&[], Vec::as_slice)
}

fn place(design: &Design, part: &Part) -> usize {
    design.parts.iter().position(|other| other.key() == part.key()).unwrap_or(usize::MAX)
}

fn all(design: &Design, section: &str) -> Vec<usize> {
    design.of(section).map(|part| place(design, part)).collect()
}

/// The part of one of these sections that a part rests on.
fn rests_on(design: &Design, part: &Part, sections: &[&str]) -> Option<Vec<usize>> {
    let (rests, number) = part.resting().find(|(rests, _)| sections.contains(&rests.section))?;
    design.source(rests, number).map(|source| vec![place(design, source)])
}

fn number(others: &[Asked], at: usize, pointer: &str) -> Option<(f64, usize)> {
    others.get(at)?.1.number(pointer).map(|value| (value, at))
}

fn gives(others: &[Asked], at: usize, words: &str) -> Option<(f64, usize)> {
    let (entry, input) = others.get(at)?;
    entry.gives(*input, words).map(|value| (value, at))
}

fn most(others: &[Asked], pointer: &str) -> Option<(f64, usize)> {
    (0..others.len()).filter_map(|at| number(others, at, pointer)).max_by(|a, b| a.0.total_cmp(&b.0))
}

fn least(others: &[Asked], pointer: &str) -> Option<(f64, usize)> {
    (0..others.len()).filter_map(|at| number(others, at, pointer)).min_by(|a, b| a.0.total_cmp(&b.0))
}

/// A sentence that begins with its part.
pub fn told(design: &Design, severity: Severity, code: &str, (part, at): (&Part, &str), words: &str) -> Finding {
    let message = format!("{}: {}", part.title_among(&design.parts), design.head.pack.words(words));
    Finding::new(severity, code, message).at(&design.origin(part, at))
}

/// What one part tells, and another that it acts on has no place for.
pub fn told_once(design: &Design) -> Vec<Finding> {
    bleeders(design).into_iter().chain(feeds(design)).collect()
}

/// Without a discharge nobody says whether a bleeder is on the link that is pre-charged.
fn bleeders(design: &Design) -> Vec<Finding> {
    let alone = design.of(PRECHARGES).filter(|part| design.beside(part, DISCHARGES).next().is_none());
    let words = "No discharge of this link is in the design: a bleeder counts as far as its load says so.";
    alone.map(|part| told(design, Severity::Note, "design.no-bleeder-told", (part, "/load/kind"), words)).collect()
}

/// A source that one discharge of a link counts and another does not.
fn feeds(design: &Design) -> Vec<Finding> {
    let fed = |part: &Part| {
        let kind = tree::at(&part.input, "/feed/kind").and_then(Value::as_str).is_some_and(|kind| kind != "none");
        kind || tree::at(&part.input, "/feed/back_emf_v").is_some()
    };
    let tie = |part: &Part| part.resting().find(|(rests, _)| rests.section == PRECHARGES).map(|(_, number)| number);
    let one = |part: &Part| {
        let of_one_link = |other: &&Part| tie(other).is_none() || tie(part).is_none() || tie(other) == tie(part);
        let other = design.of(DISCHARGES).filter(of_one_link).find(|other| fed(other)).filter(|_| !fed(part))?;
        let words = format!("Nothing feeds the link here; {} counts a source on it.", other.title_among(&design.parts));
        Some(told(design, Severity::Warn, "design.feed-not-counted", (part, "/feed/kind"), &words))
    };
    design.of(DISCHARGES).filter_map(one).collect()
}
