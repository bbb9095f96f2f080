//! # Which verdicts turned since a visit began
//!
//! In one sentence under the verdict: who hears the page hears what a change was for before all rows.

use sensewright_core::design::assess::{Assessed, Row};
use sensewright_core::quantity::in_sentence;

/// The first requirement whose verdict turned, what got worse before what got better, and how many more; nothing where none
/// did.
pub fn turned(now: &Assessed, then: &Assessed) -> String {
    let same = |row: &Row| {
        then.requirements.iter().find(|old| {
            then.parts[old.part].part.key() == now.parts[row.part].part.key()
                && (&old.check.id, &old.check.label) == (&row.check.id, &row.check.label)
        })
    };
    let pairs = now.requirements.iter().filter_map(|row| Some((row, same(row)?)));
    let mut all: Vec<(&Row, &Row)> = pairs.filter(|(row, old)| row.check.verdict != old.check.verdict).collect();
    all.sort_by_key(|(row, old)| row.check.verdict > old.check.verdict);
    let Some((row, old)) = all.first() else { return String::new() };
    let [was, is] = [old, row].map(|row| in_sentence(row.check.verdict.word()));
    let more = if all.len() > 1 { format!(", and {} more turned", all.len() - 1) } else { String::new() };
    let part = now.parts[row.part].part.title();
    format!("Since you began {part}: {} goes from {was} to {is}{more}.", in_sentence(&row.check.label))
}
