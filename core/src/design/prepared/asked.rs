//! What a design made ready tells besides its verdicts: who rests on whom, whether that matters, how far a channel reads.

use super::{OfPart, Prepared, Ready};
use crate::calculation::Entry;
use crate::field::Typed;
use crate::work::{Refused, Work};

impl Prepared {
    /// The requirements of a part with one of the values that are handed on to it times a factor, and whose value that is.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn rejudge_handed(&self, part: usize, factor: f64, work: Work) -> Result<Vec<(usize, OfPart)>, Refused> {
        let part = &self.parts[part];
        let mut judged = Vec::new();
        for (link, taken) in part.links.iter().zip(&part.taken) {
            for (source, one) in taken.iter().flatten().filter_map(|one| Some((link.source?, one))) {
                let mut input = part.input.copy();
                if input.put(one.to, one.value * factor) {
                    work.go_on()?;
                    judged.push((source, part.judged(&*input, work)?));
                }
            }
        }
        Ok(judged)
    }

    /// Whether a part is a channel.
    pub fn is_channel(&self, part: usize) -> bool {
        self.parts[part].entry.channel(self.input(part)).is_some()
    }

    /// How far a channel reads, up and down; nothing of a part that is none.
    pub fn reach_now(&self, part: usize) -> Option<[f64; 2]> {
        reach(self.parts[part].entry, self.input(part))
    }

    /// The same when a value of its own is another; nothing where that is not accepted.
    pub fn reach(&self, part: usize, pointer: &str, value: f64) -> Option<[f64; 2]> {
        let (at, below) = self.place(pointer).filter(|(at, _)| *at == part)?;
        let (entry, mut input) = (self.parts[at].entry, self.parts[at].input.copy());
        let accepted = input.put(below, value) && !entry.contradicts(&*input);
        accepted.then(|| reach(entry, &*input)).flatten()
    }

    /// Whether each part stands under another one: itself, what it rests on, and what that rests on.
    pub fn under(&self, part: usize) -> Vec<bool> {
        let mut under = vec![false; self.parts.len()];
        let mut next = vec![part];
        while let Some(at) = next.pop() {
            if !under[at] {
                under[at] = true;
                next.extend(self.parts[at].links.iter().filter_map(|link| link.source));
            }
        }
        under
    }
}

impl Ready {
    /// The requirements with an input; the faults where it contradicts itself.
    pub(super) fn judged(&self, input: &dyn Typed, work: Work) -> Result<OfPart, Refused> {
        match self.entry.verdicts(input, work) {
            Ok(mut rows) => {
                rows.retain(|row| !self.left_out.contains(&row.field.pointer));
                Ok(Ok(rows))
            }
            Err(Refused::Faults(faults)) => Ok(Err(faults)),
            Err(Refused::Stopped) => Err(Refused::Stopped),
        }
    }
}

/// How far a channel reads, up and down.
fn reach(entry: &Entry, input: &dyn Typed) -> Option<[f64; 2]> {
    let channel = entry.channel(input)?;
    let down = channel.full_below().or_else(|| channel.reads_from().map(|from| -from));
    Some([channel.full_at(), down].map(|end| end.unwrap_or(f64::INFINITY)))
}
