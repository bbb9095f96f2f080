//! Which part of one design is which of another: by section and name, then by its number. What is left stands alone.

use crate::design::assess::Assessed;
use crate::design::{Design, Part};

/// For every design the pair that each of its parts belongs to; a pair is numbered over all designs.
pub fn pairs(assessed: &[Assessed]) -> Vec<Vec<usize>> {
    let mut known: Vec<&Part> = Vec::new();
    assessed.iter().map(|one| of_design(&one.design, &mut known)).collect()
}

fn of_design<'d>(design: &'d Design, known: &mut Vec<&'d Part>) -> Vec<usize> {
    let mut found: Vec<Option<usize>> = vec![None; design.parts.len()];
    let alike: [fn(&Part, &Part) -> bool; 2] =
        [|one, other| one.title() == other.title(), |one, other| one.number == other.number];
    for same in alike {
        for (at, part) in design.parts.iter().enumerate() {
            if found[at].is_some() {
                continue;
            }
            let taken = |pair: usize| found.contains(&Some(pair));
            let pair = known.iter().enumerate().position(|(pair, other)| {
                !taken(pair) && other.section == part.section && other.kind == part.kind && same(part, other)
            });
            found[at] = pair;
        }
    }
    let fresh = |(at, pair): (usize, Option<usize>)| {
        pair.unwrap_or_else(|| {
            known.push(&design.parts[at]);
            known.len() - 1
        })
    };
    found.into_iter().enumerate().map(fresh).collect()
}
