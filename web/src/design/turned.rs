//! # Which verdicts turned since a visit began, and which failures are new
//!
//! In one sentence under the verdict: who hears the page hears what a change was for before all rows.

use sensewright_core::design::assess::{Assessed, Row};
use sensewright_core::judge::Verdict;
use sensewright_core::quantity::in_sentence;

/// The first requirement whose verdict turned, what got worse before what got better, and how many more; then the first that is
/// new and fails; nothing where there is none of either.
pub fn turned(now: &Assessed, then: &Assessed) -> String {
    let of_part = |row: &Row, old: &&Row| then.parts[old.part].part.key() == now.parts[row.part].part.key();
    let same = |row: &Row| {
        let mut alike = then.requirements.iter().filter(|old| of_part(row, old));
        alike.find(|old| (&old.check.id, &old.check.label) == (&row.check.id, &row.check.label))
    };
    // A row that a value has given another name is none that is new.
    let known = |row: &Row| {
        let mut alike = then.requirements.iter().filter(|old| of_part(row, old));
        alike.any(|old| (&old.check.id, old.check.key) == (&row.check.id, row.check.key))
    };
    let name = |row: &Row| format!("{}: {}", now.parts[row.part].part.title(), in_sentence(&row.check.label));
    let pairs = now.requirements.iter().filter_map(|row| Some((row, same(row)?)));
    let mut all: Vec<(&Row, &Row)> = pairs.filter(|(row, old)| row.check.verdict != old.check.verdict).collect();
    all.sort_by_key(|(row, old)| row.check.verdict > old.check.verdict);
    let mut told: Vec<String> = Vec::new();
    if let Some((row, old)) = all.first() {
        let [was, is] = [old, row].map(|row| in_sentence(row.check.verdict.word()));
        let more = if all.len() > 1 { format!(", and {} more turned", all.len() - 1) } else { String::new() };
        told.push(format!("{} goes from {was} to {is}{more}", name(row)));
    }
    let fails = now.requirements.iter().filter(|row| row.check.verdict == Verdict::Fails);
    let new: Vec<&Row> = fails.filter(|row| same(row).is_none() && !known(row)).collect();
    if let Some(row) = new.first() {
        let more = if new.len() > 1 { format!(", and {} more that are new", new.len() - 1) } else { String::new() };
        told.push(format!("{} is new and fails{more}", name(row)));
    }
    if told.is_empty() { String::new() } else { format!("Since you began: {}.", told.join("; ")) }
}

#[cfg(test)]
mod tests {
    use sensewright_core::demo::DEMOS;
    use sensewright_core::design::assess::assess;

    use super::*;

    /// By hand: of a design from which the part of the worst failure was taken out the same failures are new once it is back.
    #[test]
    fn what_is_new_and_fails_is_named() {
        let mut told = 0;
        for demo in DEMOS.iter() {
            let now = assess(&demo.design).expect("an answer");
            let Some(worst) = now.requirements.iter().find(|row| row.check.verdict == Verdict::Fails) else { continue };
            let part = &now.parts[worst.part].part;
            let mut began = demo.design.clone();
            began.remove(&part.key());
            let Ok(then) = assess(&began) else { continue };
            let new = |row: &&Row| row.part == worst.part && row.check.verdict == Verdict::Fails;
            let more = match now.requirements.iter().filter(new).count() {
                1 => String::new(),
                count => format!(", and {} more that are new", count - 1),
            };
            let name = format!("{}: {}", part.title(), in_sentence(&worst.check.label));
            let said = turned(&now, &then);
            assert!(said.ends_with(&format!("{name} is new and fails{more}.")), "{said}");
            assert_eq!(turned(&now, &now), "");
            told += 1;
        }
        assert!(told > 1, "{told}");
    }
}
