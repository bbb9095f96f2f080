//! What parts of a section give to one part together: resistances in parallel, capacitances in sum.
//!
//! It follows from the inputs of those parts alone, and not from what they take from others: a barrier may take the strings
//! of the voltage channels that it feeds.

use super::Ready;
use crate::design::section::{Bound, Origin};

fn section_of(part: &Ready) -> &str {
    part.pointer.split('/').nth(1).unwrap_or_default()
}

/// What one part takes of all parts of a section, where any of them gives it: its input, and all together.
pub(super) fn gathered(parts: &[Ready], at: usize) -> Vec<(&'static str, f64)> {
    let of = |section: &'static str, words: &'static str| {
        let of = parts.iter().filter(move |part| section_of(part) == section);
        of.filter_map(move |part| Some((part, part.entry.gives(&*part.input, words)?)))
    };
    // Whether a part rests on this one, or on none of its section.
    let own = |part: &Ready| {
        let mut links = part.links.iter().filter(|link| link.rests.section == section_of(&parts[at]));
        links.all(|link| link.source.is_none_or(|source| source == at))
    };
    let one = |bound: &Bound| {
        let total: f64 = match bound.from {
            Origin::Parallel(section, words) => of(section, words).map(|(_, ohm)| ohm.recip()).sum::<f64>().recip(),
            Origin::Beside(section, _, words) => {
                of(section, words).filter(|(part, _)| own(part)).map(|(_, ohm)| ohm.recip()).sum::<f64>().recip()
            }
            Origin::Sum(section, words) => {
                of(section, words).filter(|(part, _)| part.not_given.is_empty()).map(|(_, one)| one).sum()
            }
            Origin::Field(_) | Origin::Pack(..) => return None,
        };
        (total > 0.0 && total.is_finite()).then_some((bound.to, total))
    };
    parts[at].kind.bound.iter().filter_map(one).collect()
}

/// The parts that give to one part so.
pub(super) fn givers(parts: &[Ready], at: usize) -> Vec<usize> {
    let section = |bound: &Bound| match bound.from {
        Origin::Parallel(section, _) | Origin::Beside(section, ..) | Origin::Sum(section, _) => Some(section),
        Origin::Field(_) | Origin::Pack(..) => None,
    };
    let sections: Vec<&str> = parts[at].kind.bound.iter().filter_map(section).collect();
    (0..parts.len()).filter(|part| sections.contains(&section_of(&parts[*part]))).collect()
}

/// Hands it to every part.
pub(super) fn gather(parts: &mut [Ready]) {
    for at in 0..parts.len() {
        for (to, value) in gathered(parts, at) {
            parts[at].input.put(to, value);
        }
    }
}
