//! Facts that two parts tell differently: what rests on them is not judged.
//!
//! A part is asked once more with what the others tell. A requirement that is met as it is typed and not met then is open:
//! nobody knows which of both is true. What fails as it is typed fails.

use std::borrow::Cow;

use super::{Prepared, Ready};
use crate::design::facts::{self, Asked, Fact};
use crate::design::{Design, Head, Part};
use crate::field::Typed;
use crate::judge::{Judged, Outcome, THIN_FROM_PERCENT, Verdict};
use crate::report::Finding;
use crate::work::{Refused, Work};

/// A fact of a part and who else tells it.
#[derive(Clone, Debug)]
pub(super) struct Pair {
    fact: &'static Fact,
    part: usize,
    at: Cow<'static, str>,
    others: Vec<usize>,
}

/// A fact that is told otherwise, and who does.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Doubt {
    pub(super) fact: &'static Fact,
    /// Where it stands in the input of its part.
    pub(super) at: Cow<'static, str>,
    there: f64,
    other: Option<usize>,
}

/// All facts that may be told twice: who tells them follows from what is chosen, which no number changes.
pub(super) fn pairs(design: &Design) -> Vec<Pair> {
    let of = |(part, one): (usize, &Part)| {
        Fact::of(design, one).into_iter().map(move |(fact, at, others)| Pair { fact, part, at, others })
    };
    design.parts.iter().enumerate().flat_map(of).collect()
}

/// The parts that are asked once more for a fact that others tell differently, as often as they are.
pub fn asked_again<'a>(design: &Design, asked: impl Fn(usize) -> Option<Asked<'a>>) -> Vec<usize> {
    let pairs = pairs(design).into_iter().filter(|pair| pair.fact.unsettles());
    pairs.filter(|pair| pair.doubt(&design.head, &asked).is_some()).map(|pair| pair.part).collect()
}

impl Pair {
    fn doubt<'a>(&self, head: &Head, asked: impl Fn(usize) -> Option<Asked<'a>>) -> Option<Doubt> {
        let (_, own) = asked(self.part)?;
        let here = own.number(&self.at).or(self.fact.empty)?;
        let others: Vec<Asked> = self.others.iter().map(|other| asked(*other)).collect::<Option<_>>()?;
        let (there, other) = (self.fact.there)(head, own, &others)?;
        let doubt = || Doubt { fact: self.fact, at: self.at.clone(), there, other: self.others.get(other).copied() };
        self.fact.contradicts(here, there).then(doubt)
    }
}

impl Prepared {
    /// What a part tells that others tell differently.
    pub(super) fn doubts(&self, part: usize) -> Vec<Doubt> {
        let own = self.pairs.iter().filter(|pair| pair.part == part);
        let asked = |at: usize| Some((self.parts[at].entry, &*self.parts[at].input));
        own.filter_map(|pair| pair.doubt(&self.head, asked)).collect()
    }

    /// What parts tell differently, in words.
    pub fn told_twice(&self, design: &Design) -> Vec<Finding> {
        let one = |(ready, part): (&Ready, &Part)| {
            let told = |doubt: &Doubt| {
                let (fact, words) = (doubt.fact, self.words(ready, doubt));
                facts::told(design, fact.severity, fact.code, (part, &doubt.at), &words)
            };
            ready.doubts.iter().map(told).collect::<Vec<_>>()
        };
        self.parts.iter().zip(&design.parts).flat_map(one).collect()
    }

    /// Both in a sentence.
    pub(super) fn words(&self, part: &Ready, doubt: &Doubt) -> String {
        let here = part.input.number(&doubt.at).or(doubt.fact.empty).unwrap_or_default();
        (doubt.fact.words)(here, doubt.there, doubt.other.map_or("", |other| &self.parts[other].title))
    }
}

impl Ready {
    /// The rows that are met with what is typed and not with what others tell, by their places, and by which fact.
    pub(super) fn unsettled(
        &self,
        rows: &[Judged],
        input: &dyn Typed,
        work: Work,
    ) -> Result<Vec<(usize, Doubt)>, Refused> {
        let doubts: Vec<Doubt> = self.doubts.iter().filter(|doubt| doubt.fact.unsettles()).cloned().collect();
        let mut open: Vec<(usize, Doubt)> = Vec::new();
        // Each alone, and all of them together.
        for told in doubts.iter().map(std::slice::from_ref).chain((doubts.len() > 1).then_some(&doubts[..])) {
            let mut otherwise = input.copy();
            // What is not accepted judges nothing.
            let accepted = told.iter().all(|doubt| {
                let of_field = told.iter().filter(|other| other.at == doubt.at).map(|other| other.there);
                otherwise.put(&doubt.at, of_field.fold(doubt.there, |one, other| doubt.fact.stronger(one, other)))
            });
            work.go_on()?;
            let then = match accepted.then(|| self.entry.verdicts(&*otherwise, work)) {
                Some(Ok(rows)) => rows,
                Some(Err(Refused::Stopped)) => return Err(Refused::Stopped),
                Some(Err(Refused::Faults(_))) | None => Vec::new(),
            };
            for (place, row) in rows.iter().enumerate().filter(|(_, row)| is_met(row)) {
                let same = then.iter().find(|other| other.id == row.id && other.key == row.key);
                if open.iter().all(|(other, _)| *other != place) && !same.is_some_and(is_met) {
                    open.push((place, told[0].clone()));
                }
            }
        }
        Ok(open)
    }
}

fn is_met(row: &Judged) -> bool {
    matches!(row.outcome, Outcome::Used(_)) && row.outcome.verdict(THIN_FROM_PERCENT) >= Verdict::Thin
}
