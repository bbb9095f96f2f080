//! What one part of a design takes from another.

use crate::channel::counted::Counted;
use crate::design::pack::Pack;

/// Another part that hands values on.
#[derive(Debug)]
pub struct Rests {
    /// Where a part names it, as a JSON Pointer inside the part.
    pub named_at: &'static str,
    /// What a reader calls it, and what it is for.
    pub label: &'static str,
    /// See [`Rests::label`].
    pub help: &'static str,
    /// The section it stands in.
    pub section: &'static str,
    /// Which values.
    pub carried: &'static [Carried],
    /// Whether a new part is tied at once where there is one part alone to rest on.
    pub at_once: bool,
}

impl Rests {
    /// Its word in the document.
    pub fn key(&self) -> &'static str {
        self.named_at.trim_start_matches('/')
    }
}

/// A value that another part hands on.
#[derive(Debug)]
pub struct Carried {
    /// The input that takes it.
    pub to: &'static str,
    /// What is taken.
    pub take: Take,
}

/// What one part takes from another.
#[derive(Clone, Copy, Debug)]
pub enum Take {
    /// The channel's worst-case error at a point.
    Error(At),
    /// The same in percent of that point.
    ErrorPercent(At),
    /// An input of the other part.
    Value(&'static str),
    /// What follows from the inputs of the other part, by its words: it must be there.
    Result(&'static str),
    /// What a count of the channel's readings has to know.
    Counted(fn(&Counted) -> f64),
    /// The channel's largest worst-case error between two voltages of the pack.
    Largest([fn(&Pack) -> f64; 2]),
    /// The largest reading of the channel.
    Full,
    /// The smallest reading of the channel.
    From,
    /// The size of its largest reading below zero.
    FullBelow,
}

/// A point of a channel.
#[derive(Clone, Copy, Debug)]
pub enum At {
    /// The value of another input of the same part.
    Input(&'static str),
    /// The same below zero: a channel that reads nothing there gives nothing.
    Below(&'static str),
    /// A voltage of the pack.
    Pack(fn(&Pack) -> f64),
}
