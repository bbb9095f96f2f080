//! What all parts of a section give to one part together: resistances in parallel.
//!
//! It follows from the inputs of those parts alone, and not from what they take from others: a barrier may take the strings
//! of the voltage channels that it feeds.

use super::Ready;
use crate::design::section::Origin;

/// What one part takes of all parts of a section, where any of them gives it: its input, and all in parallel, Ω.
pub(super) fn gathered(parts: &[Ready], at: usize) -> Vec<(&'static str, f64)> {
    let one = |(to, section, words): (&'static str, &str, &str)| {
        let of = parts.iter().filter(|part| part.pointer.split('/').nth(1) == Some(section));
        let siemens: f64 = of.filter_map(|part| part.entry.gives(&*part.input, words)).map(f64::recip).sum();
        (siemens > 0.0).then(|| (to, siemens.recip()))
    };
    let parallel = parts[at].kind.bound.iter().filter_map(|bound| match bound.from {
        Origin::Parallel(section, words) => Some((bound.to, section, words)),
        Origin::Field(_) | Origin::Pack(..) => None,
    });
    parallel.filter_map(one).collect()
}

/// Hands it to every part.
pub(super) fn gather(parts: &mut [Ready]) {
    for at in 0..parts.len() {
        for (to, ohm) in gathered(parts, at) {
            parts[at].input.put(to, ohm);
        }
    }
}
