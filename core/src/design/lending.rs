//! # A list that stands where another one is empty
//!
//! The same curve may be needed by two parts. Who types it in one of them need not type it again: an empty list is that of
//! the other section, where all parts there that have one have the same. Where two differ, or where it is not one that the
//! part can take, nothing is taken, and what rests on it is not judged.

use serde_json::Value;

use super::section::Lent;
use super::{Design, Part};
use crate::field::tree::at;

/// What other parts lend.
#[derive(Debug)]
pub enum Lends<'d> {
    /// The list is typed, or nobody has one.
    Nothing,
    /// This list, of these parts.
    List(&'d Value, Vec<&'d Part>),
    /// Two parts have lists that differ.
    Differ(&'d Part, &'d Part),
}

fn list<'d>(part: &'d Part, pointer: &str) -> Option<&'d Value> {
    at(&part.input, pointer).filter(|list| list.as_array().is_some_and(|rows| !rows.is_empty()))
}

impl Design {
    /// What other parts lend a part.
    pub fn lends(&self, part: &Part, lent: &Lent) -> Lends<'_> {
        if list(part, lent.to).is_some() {
            return Lends::Nothing;
        }
        let mut all = self.of(lent.section).filter_map(|other| Some((other, list(other, lent.from)?)));
        let Some((first, rows)) = all.next() else { return Lends::Nothing };
        let mut lenders = vec![first];
        for (other, others) in all {
            if others != rows {
                return Lends::Differ(first, other);
            }
            lenders.push(other);
        }
        Lends::List(rows, lenders)
    }
}
