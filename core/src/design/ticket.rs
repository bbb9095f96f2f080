//! # The block for a review ticket
//!
//! Plain text, aligned, to be pasted where no picture goes: the verdict with its margin, the condition it holds under,
//! the terms that dominate, the lever, what was assumed, the link and a fingerprint of inputs and engine.

use std::fmt::Write as _;

use serde_json::Value;

use super::assess::{Assessed, Row};
use super::link;
use super::summary::{fingerprint, lead};
use crate::calculation::ENGINE;
use crate::judge::Verdict;
use crate::quantity::{Quantity, in_sentence, say};

/// How many failures are spelled out.
const SPELLED_OUT: usize = 6;

/// The block of a design; `origin` is scheme and host of its link.
pub fn ticket(assessed: &Assessed, origin: &str) -> String {
    let mut text = format!("{}: {}\n", assessed.design.head.title.to_uppercase(), lead(assessed));
    let mut line = |head: &str, words: &str| {
        if !words.is_empty() {
            let _ = writeln!(text, "{head:<12}{words}");
        }
    };
    let rows: Vec<&Row> = assessed.requirements.iter().filter(|row| row.check.verdict == Verdict::Fails).collect();
    let rows = if rows.is_empty() { assessed.requirements.iter().take(1).collect() } else { rows };
    for row in rows.iter().take(SPELLED_OUT) {
        let check = &row.check;
        let part = &assessed.parts[row.part].part;
        line(
            &check.verdict.word().to_lowercase(),
            &format!("{}, {}: {}", part.title(), in_sentence(&check.label), stands(row)),
        );
        line("  condition", &check.note);
        line("  largest", &dominant(assessed, row).or_else(|| check.largest.clone()).unwrap_or_default());
        line("  lever", check.lever.as_deref().unwrap_or_default());
        if check.lever.is_none() {
            line("  reason", check.reason.as_deref().unwrap_or_default());
        }
    }
    if rows.len() > SPELLED_OUT {
        line("and", &format!("{} more that fail", rows.len() - SPELLED_OUT));
    }
    for assumed in &assessed.design.head.assumed {
        line("assumed", &format!("{}: {}", assumed.value, assumed.why));
    }
    line("link", &format!("{origin}{}", link::address(&assessed.design)));
    line("fingerprint", &format!("{} {ENGINE}, schema {}", fingerprint(assessed), super::SCHEMA));
    line("note", "arithmetic on the values entered; no approval");
    text
}

/// Required, achieved and margin of a requirement in one clause.
pub fn stands(row: &Row) -> String {
    let check = &row.check;
    let said = |value: f64| say(value, check.unit);
    match (check.required, check.achieved, check.used_percent) {
        (Some(required), Some(achieved), Some(used)) => {
            let margin = row.check.margin().map_or_else(String::new, |margin| format!(", margin {}", said(margin)));
            format!(
                "{} against {}{margin}, {} % used",
                said(achieved),
                said(required),
                Quantity::new(used, crate::quantity::Unit::One).brief(3)
            )
        }
        (Some(required), None, _) => format!("not reached; required {}", said(required)),
        (None, Some(achieved), _) => format!("{}, no limit set", said(achieved)),
        // The sentence is ended by who tells it.
        _ => check.reason.as_deref().unwrap_or("holds").trim_end_matches('.').into(),
    }
}

/// The three largest terms of a channel's error at the point of a requirement.
fn dominant(assessed: &Assessed, row: &Row) -> Option<String> {
    let part = &assessed.parts[row.part];
    let points = part.answer.result.get("points")?.as_array()?;
    let judged = part.part.kind.told.as_ref()?.judged;
    // The point whose achieved error this is.
    let point = points.iter().find(|point| point.get(judged).and_then(Value::as_f64) == row.check.achieved)?;
    let mut terms: Vec<(f64, &str)> = point
        .pointer("/assessment/contributions")?
        .as_array()?
        .iter()
        .filter_map(|term| {
            let size = term.get("contribution")?.as_f64()? + term.get("known")?.as_f64()?.abs();
            Some((size, term.get("label")?.as_str()?))
        })
        .collect();
    terms.sort_by(|a, b| b.0.total_cmp(&a.0));
    let words: Vec<String> = terms
        .iter()
        .take(3)
        .filter(|(size, _)| *size > 0.0)
        .map(|(size, label)| {
            format!("{} {}", in_sentence(&assessed.design.head.pack.words(label)), say(*size, row.check.unit))
        })
        .collect();
    (!words.is_empty()).then(|| words.join(", "))
}
