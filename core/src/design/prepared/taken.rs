//! What a part takes from others, and how the parts of a design stand with it.

use crate::field::{FieldError, Typed};
use crate::judge::Judged;
use crate::quantity::Quantity;

/// A value that another part handed on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Handed {
    /// The input that takes it.
    pub to: &'static str,
    /// The point at which an error was taken; nothing for an input of the other part.
    pub at: Option<Quantity>,
    /// The value.
    pub value: f64,
    /// What the value leaves out.
    pub without: Option<LeftOut>,
}

/// What an error leaves out because nobody gave it: it may be of any size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// The part whose input it is.
    pub part: usize,
    /// The pointer of the input.
    pub pointer: &'static str,
}

/// A value that is handed on, times a factor.
#[derive(Clone, Copy, Debug)]
pub(super) struct Larger {
    pub(super) to: &'static str,
    pub(super) factor: f64,
}

impl Larger {
    /// Puts it where it is taken; whether it is accepted.
    pub(super) fn put(self, input: &mut dyn Typed) -> bool {
        input.number(self.to).is_some_and(|now| input.put(self.to, now * self.factor))
    }
}

/// What a part took from another, or why there is nothing to take.
pub type Taken = Result<Vec<Handed>, Vec<FieldError>>;

/// The requirements of every part, in the order of the design; the faults where a part cannot be judged.
pub type Verdicts = Vec<OfPart>;

/// The requirements of one part; the faults where it cannot be judged.
pub type OfPart = Result<Vec<Judged>, Vec<FieldError>>;

/// How one part stands when a value is another.
#[derive(Debug)]
pub enum Moved {
    /// The value is not accepted.
    Refused,
    /// The value moves nothing of the part.
    Stays,
    /// So.
    Stands(OfPart),
}
