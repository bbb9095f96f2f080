//! Facts that two parts tell differently: what rests on them is not judged.
//!
//! A part and what rests on it are asked once more with what the others tell. A requirement that is met as it is typed and
//! not met then is open: nobody knows which of both is true. What fails as it is typed fails.

use std::borrow::Cow;

use super::gathering::givers;
use super::{Larger, Prepared, Ready};
use crate::design::facts::{self, Asked, Fact};
use crate::design::{Design, Head, Part};
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

/// How often each part is asked once more for facts that others tell differently, itself and for what rests on it.
pub fn asked_again<'a>(design: &Design, asked: impl Fn(usize) -> Option<Asked<'a>>) -> Vec<u64> {
    let mut again = vec![0; design.parts.len()];
    let pairs = pairs(design).into_iter().filter(|pair| pair.fact.unsettles());
    let told: Vec<usize> =
        pairs.filter(|pair| pair.doubt(&design.head, &asked).is_some()).map(|pair| pair.part).collect();
    if told.is_empty() {
        return again;
    }
    for at in 0..design.parts.len() {
        let under = design.under(at);
        let doubts = told.iter().filter(|part| under.contains(part)).count() as u64;
        // Each alone, and all of them together.
        let asks = if doubts > 1 { doubts + 1 } else { doubts };
        let hands = told.iter().any(|part| *part != at && under.contains(part));
        under.iter().filter(|part| hands || **part == at).for_each(|part| again[*part] += asks);
    }
    again
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

/// Rows by their places, with what makes each of them stand open: facts and whose they are.
type Unsettled = Vec<(usize, Vec<(usize, Doubt)>)>;

impl Prepared {
    /// Whether each part stands beneath another one: what it rests on, and what gives to it together with its like.
    pub(super) fn beneath(&self, at: usize) -> Vec<bool> {
        let mut beneath = vec![false; self.parts.len()];
        let mut next = vec![at];
        while let Some(at) = next.pop() {
            if !beneath[at] {
                beneath[at] = true;
                let part = &self.parts[at];
                next.extend(part.links.iter().filter_map(|link| link.source));
                next.extend(part.lent.iter().flat_map(|lent| lent.lenders.iter().copied()));
                next.extend(givers(&self.parts, at));
            }
        }
        beneath
    }

    /// What others tell otherwise of a part and of what stands beneath it, its own first.
    pub(super) fn unsettling(&self, at: usize) -> Vec<(usize, Doubt)> {
        if self.parts.iter().all(|part| part.doubts.is_empty()) {
            return Vec::new();
        }
        let beneath = self.beneath(at);
        let below = (0..self.parts.len()).filter(|part| *part != at && beneath[*part]);
        let of = |part: usize| self.parts[part].doubts.iter().map(move |doubt| (part, doubt.clone()));
        std::iter::once(at).chain(below).flat_map(of).filter(|(_, doubt)| doubt.fact.unsettles()).collect()
    }

    /// Which parts others tell otherwise now; says of which that is another one than before.
    pub(super) fn doubt_again(&mut self, keep: &mut dyn FnMut(usize, &Ready)) -> Vec<bool> {
        let mut differs = vec![false; self.parts.len()];
        for (at, differs) in differs.iter_mut().enumerate() {
            let doubts = self.doubts(at);
            if self.parts[at].doubts != doubts {
                keep(at, &self.parts[at]);
                (self.parts[at].doubts, *differs) = (doubts, true);
            }
        }
        differs
    }

    /// The rows that are met with what is typed and not with what others tell, by their places, and by which facts.
    pub(super) fn unsettled(
        &self,
        at: usize,
        rows: &[Judged],
        larger: Option<Larger>,
        work: Work,
    ) -> Result<Unsettled, Refused> {
        let doubts = self.unsettling(at);
        let mut open: Unsettled = Vec::new();
        // Each alone, and all of them together.
        for told in doubts.iter().map(std::slice::from_ref).chain((doubts.len() > 1).then_some(&doubts[..])) {
            let Some(then) = self.otherwise(at, told, larger, work)? else { continue };
            for (place, row) in rows.iter().enumerate().filter(|(_, row)| is_met(row)) {
                let same = then.iter().find(|other| other.id == row.id && other.key == row.key);
                if open.iter().all(|(other, _)| *other != place) && !same.is_some_and(is_met) {
                    open.push((place, told.to_vec()));
                }
            }
        }
        Ok(open)
    }

    /// The rows of a part with what others tell, none where that is not accepted: it judges nothing. Nothing where it takes what
    /// it took.
    fn otherwise(
        &self,
        at: usize,
        told: &[(usize, Doubt)],
        larger: Option<Larger>,
        work: Work,
    ) -> Result<Option<Vec<Judged>>, Refused> {
        let there = |(part, doubt): &(usize, Doubt)| {
            let of_field = told.iter().filter(|(of, one)| (of, &one.at) == (part, &doubt.at)).map(|(_, one)| one.there);
            of_field.fold(doubt.there, |one, other| doubt.fact.stronger(one, other))
        };
        let (own, beneath): (Vec<_>, Vec<_>) = told.iter().partition(|(part, _)| *part == at);
        let mut input = self.parts[at].input.copy();
        if !beneath.is_empty() {
            let (mut other, mut moves) = (self.clone(), !own.is_empty());
            for one in beneath {
                let pointer = format!("{}{}", self.parts[one.0].pointer, one.1.at);
                match other.put(&pointer, there(one), Some(&[at]), &mut |_, _| {}, work)? {
                    Some(moved) => moves |= moved[at],
                    None => return Ok(Some(Vec::new())),
                }
            }
            if !moves {
                return Ok(None);
            }
            if other.parts[at].faults().is_some() {
                return Ok(Some(Vec::new()));
            }
            input = other.parts[at].input.copy();
        }
        work.go_on()?;
        let accepted = own.into_iter().all(|one| input.put(&one.1.at, there(one)));
        if !accepted || larger.is_some_and(|larger| !larger.put(&mut *input)) {
            return Ok(Some(Vec::new()));
        }
        match self.parts[at].entry.verdicts(&*input, work) {
            Ok(rows) => Ok(Some(rows)),
            Err(Refused::Stopped) => Err(Refused::Stopped),
            Err(Refused::Faults(_)) => Ok(Some(Vec::new())),
        }
    }
}

fn is_met(row: &Judged) -> bool {
    matches!(row.outcome, Outcome::Used(_)) && row.outcome.verdict(THIN_FROM_PERCENT) >= Verdict::Thin
}
