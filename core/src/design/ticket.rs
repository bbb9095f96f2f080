//! # The block for a review ticket
//!
//! Text to be pasted where no picture goes: the verdict with its margin, the condition it holds under, the terms that
//! dominate, the lever, what was assumed, the link and a fingerprint of inputs and engine. It reads alike as plain text and
//! as Markdown: a first line, then one list line for each fact, and no letter of a title or a name that Markdown would take
//! for a sign of its own.

use std::fmt::Write as _;

use serde_json::Value;

use super::assess::{Assessed, Row};
use super::levers::Levers;
use super::link;
use super::on_start::OnStart;
use super::summary::{fingerprint, lead_on_start, long_label, what_it_does};
use crate::calculation::ENGINE;
use crate::judge::{Verdict, share_words};
use crate::quantity::{in_sentence, say};

/// How many failures are spelled out.
const SPELLED_OUT: usize = 6;

/// The block of a design, with what turns its failures and what stands on values that nobody typed; `origin` is scheme and host
/// of its link.
pub fn ticket(assessed: &Assessed, found: &Levers, on_start: &OnStart, origin: &str) -> String {
    let title = |row: &Row| assessed.parts[row.part].part.title_among(&assessed.design.parts);
    let starts = |place: usize| on_start.rows.get(place) == Some(&true);
    let head = &assessed.design.head;
    let verdict = assessed.verdict();
    // A word of ours comes first, so that no title begins a line.
    let mut text = format!(
        "{}: {}. {}.\n\n",
        verdict.word(),
        literal(&head.title),
        literal(&lead_on_start(assessed, on_start.places()))
    );
    let mut line = |head: &str, words: &str| {
        if !words.is_empty() {
            let _ = writeln!(text, "- {head}: {}", literal(words));
        }
    };
    let all = || assessed.requirements.iter().enumerate();
    let rows: Vec<(usize, &Row)> = all().filter(|(_, row)| row.check.verdict == Verdict::Fails).collect();
    let rows = if rows.is_empty() { all().take(1).collect() } else { rows };
    for (place, row) in rows.iter().take(SPELLED_OUT) {
        let check = &row.check;
        let on_start = if starts(*place) { "; on start values" } else { "" };
        let stands = stands(row);
        line(
            &check.verdict.word().to_lowercase(),
            &format!("{}, {}: {stands}{on_start}", title(row), in_sentence(&check.label)),
        );
        line("condition", &check.note);
        line("largest", &dominant(assessed, row).or_else(|| check.largest.clone()).unwrap_or_default());
        // What was tried on the whole design is told of the row that it was tried for.
        let cause = found.causes.iter().find(|cause| cause.rows.first() == Some(place));
        let tried = cause.and_then(|cause| Some(what_it_does(assessed, cause, cause.offered.first()?)));
        let lever = tried.or_else(|| check.lever.clone());
        let none = cause.map_or("", |cause| match (cause.not_offered.is_empty(), cause.first.is_empty()) {
            (_, false) => "none before what it needs is given",
            (true, _) => "none: no single value of its parts turns it, up to ten times of it",
            (false, _) => "none: no single value turns it, up to ten times of it, without making something else worse",
        });
        line("lever", lever.as_deref().unwrap_or(none));
        // A row without numbers is told by its reason already.
        let reason = check.reason.as_deref().filter(|reason| reason.trim_end_matches('.') != stands);
        if lever.is_none() {
            line("reason", reason.unwrap_or_default());
        }
    }
    if rows.len() > SPELLED_OUT {
        line("fails", &format!("{} more", rows.len() - SPELLED_OUT));
    }
    let unjudged = assessed.requirements.iter().filter(|row| row.check.verdict == Verdict::NotJudged);
    let unjudged: Vec<String> =
        unjudged.map(|row| format!("{}: {}", title(row), in_sentence(&row.check.label))).collect();
    line("not judged", &unjudged[..unjudged.len().min(SPELLED_OUT)].join("; "));
    if unjudged.len() > SPELLED_OUT {
        line("not judged", &format!("{} more", unjudged.len() - SPELLED_OUT));
    }
    for assumed in &head.assumed {
        let why = if assumed.why.is_empty() { String::new() } else { format!(", {}", assumed.why) };
        line("assumed", &format!("{}{why}", long_label(&assessed.design, &assumed.value)));
    }
    line("fingerprint", &format!("{} {ENGINE}, schema {}", fingerprint(&assessed.design), super::SCHEMA));
    line("note", "arithmetic on the values entered; no approval");
    // Between these signs an address is whole in either: without them Markdown may take two underscores of a token out.
    let _ = match link::address(&assessed.design) {
        Some(address) => writeln!(text, "- link: <{origin}{address}>"),
        None => writeln!(text, "- link: none, it would be too long; the design goes as a file"),
    };
    text
}

/// Text that stays what it is, on its line: each sign that Markdown would take for its own is put behind a backslash, where
/// it would be taken so, and what breaks a line is a space.
pub fn literal(text: &str) -> String {
    let letters: Vec<char> = text.split_whitespace().collect::<Vec<_>>().join(" ").chars().collect();
    let letters: Vec<char> = letters.into_iter().filter(|letter| !letter.is_control()).collect();
    let mut out = String::with_capacity(text.len());
    for (at, letter) in letters.iter().enumerate() {
        let before = at.checked_sub(1).and_then(|at| letters.get(at)).copied().unwrap_or(' ');
        let after = letters.get(at + 1).copied().unwrap_or(' ');
        let sign = match letter {
            '\\' | '`' | '*' | '[' | ']' | '|' | '~' => true,
            // Inside a word it is a letter like any other.
            '_' => !(before.is_alphanumeric() && after.is_alphanumeric()),
            '<' => after.is_ascii_alphabetic() || matches!(after, '/' | '!' | '?'),
            '&' => after.is_ascii_alphabetic() || after == '#',
            _ => false,
        };
        if sign {
            out.push('\\');
        }
        out.push(*letter);
    }
    out
}

/// Required, achieved and margin of a requirement in one clause.
pub fn stands(row: &Row) -> String {
    let check = &row.check;
    let said = |value: f64| say(value, check.unit);
    match (check.required, check.achieved, check.used_percent) {
        (Some(required), Some(achieved), Some(used)) => {
            let margin = row.check.margin().map_or_else(String::new, |margin| format!(", margin {}", said(margin)));
            format!("{} against {}{margin}, {} % used", said(achieved), said(required), share_words(used))
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
    let result = part.answer.result.tree();
    let points = result.get("points")?.as_array()?;
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

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 100.46 % with three digits would be 100 %, which holds.
    #[test]
    fn a_share_stands_on_its_side_of_the_limit() {
        let said = [99.96, 100.0, 100.04, 100.46, 98.44, 101.26, 298.6].map(share_words);
        assert_eq!(said, ["99.96", "100", "100.04", "100.5", "98", "101", "299"]);
    }
}
