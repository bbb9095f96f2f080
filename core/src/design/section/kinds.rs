//! What a section of a design is, and what is said of its calculations.

use super::rests::Rests;
use crate::calculation::{Calculation, Entry};
use crate::design::pack::Pack;
use crate::quantity::Unit;

/// A section.
#[derive(Debug)]
pub struct Section {
    /// Its name in the document.
    pub key: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// One of its parts in words.
    pub one: &'static str,
    /// What is said when it is empty.
    pub absent: &'static str,
    /// Its calculations; a part says which by `of` when there are several.
    pub kinds: &'static [Kind],
    /// Most parts.
    pub most: usize,
}

/// A calculation of a section.
#[derive(Debug)]
pub struct Kind {
    /// Its word in `of`.
    pub tag: &'static str,
    /// The calculation.
    pub entry: &'static Entry,
    /// What the pack and the requirements hand down.
    pub bound: &'static [Bound],
    /// The other parts that it can rest on: a part says on which.
    pub rests: &'static [Rests],
    /// Lists that stand where the part's own are empty.
    pub lent: &'static [Lent],
    /// What the design must live with, as JSON Pointers of values and groups: nothing of it is a way out.
    pub given: &'static [&'static str],
    /// Lists of which cells are ways out: the list as a JSON Pointer, and the keys of those columns.
    pub cells: &'static [(&'static str, &'static [&'static str])],
    /// What only a design of cells has: inputs, options as pointers below their field, or the part itself (nothing). Without
    /// cells it is not shown, and what it would limit is not asked.
    pub of_cells: &'static [&'static str],
    /// Inputs that a design is asked for although they may stay empty, as JSON Pointers.
    pub asked: &'static [&'static str],
    /// Groups that one part alone of a design may describe.
    pub once: &'static [&'static str],
    /// Groups that count only while a choice has a word.
    pub only_when: &'static [OnlyWhen],
    /// Where the answer of a channel holds what is told of it elsewhere.
    pub told: Option<Told>,
    /// What the pack is allowed to do that it is about.
    pub normal: &'static [Normal],
}

/// Where the answer of a channel holds what tester, firmware and ticket are told.
#[derive(Debug)]
pub struct Told {
    /// The unit of its readings.
    pub unit: Unit,
    /// The error of a point as it is judged.
    pub judged: &'static str,
    /// A point and its allowed error, where an end-of-line tester tests it.
    pub tested: Option<[&'static str; 2]>,
    /// The value of one code, as a JSON Pointer, where firmware scales it.
    pub code: Option<&'static str>,
}

/// What the pack is allowed to do, and the input that says how far its own operation goes.
#[derive(Debug)]
pub struct Normal {
    /// The kind of threshold, as its input words it.
    pub kind: &'static str,
    /// The input that says how far normal use goes.
    pub field: &'static str,
    /// What the pack does, in words.
    pub words: &'static str,
    /// How far the pack goes.
    pub pack: fn(&Pack) -> f64,
    /// Whether the threshold lies above it.
    pub over: bool,
}

/// A group of inputs that counts only while a choice has a certain word.
#[derive(Debug)]
pub struct OnlyWhen {
    /// The choice.
    pub choice: &'static str,
    /// Its word.
    pub word: &'static str,
    /// The group.
    pub group: &'static str,
}

/// A list that stands where the part's own is empty: that of the parts of another section, where all that have one agree.
#[derive(Debug)]
pub struct Lent {
    /// The list of the calculation, as a JSON Pointer.
    pub to: &'static str,
    /// The section whose parts have it.
    pub section: &'static str,
    /// The list there.
    pub from: &'static str,
    /// The columns of both.
    pub columns: &'static [&'static str],
}

/// An input that is handed down.
#[derive(Debug)]
pub struct Bound {
    /// The input of the calculation, as a JSON Pointer: a value or a whole group.
    pub to: &'static str,
    /// Where it stands in the design.
    pub from: Origin,
}

/// Where something that is handed down stands.
#[derive(Clone, Copy, Debug)]
pub enum Origin {
    /// At this pointer of the document.
    Field(&'static str),
    /// Worked out from the pack, where it tells it; the pointer names the value that is to blame.
    Pack(&'static str, fn(&Pack) -> Option<f64>),
    /// The resistances that the parts of a section give by these words, all in parallel.
    Parallel(&'static str, &'static str),
    /// The same of the parts that rest on the one that takes it, or on none of its section; and the input there that it must
    /// have been told.
    Beside(&'static str, &'static str, &'static str),
    /// The sum of what the parts of a section give by these words, where all that they must be told is given.
    Sum(&'static str, &'static str),
}

pub(super) const fn field(to: &'static str, from: &'static str) -> Bound {
    Bound { to, from: Origin::Field(from) }
}

pub(super) const fn pack(to: &'static str, from: &'static str, value: fn(&Pack) -> Option<f64>) -> Bound {
    Bound { to, from: Origin::Pack(from, value) }
}

pub(super) const fn parallel(to: &'static str, section: &'static str, words: &'static str) -> Bound {
    Bound { to, from: Origin::Parallel(section, words) }
}

pub(super) const fn beside(to: &'static str, section: &'static str, from: &'static str, words: &'static str) -> Bound {
    Bound { to, from: Origin::Beside(section, from, words) }
}

pub(super) const fn sum(to: &'static str, section: &'static str, words: &'static str) -> Bound {
    Bound { to, from: Origin::Sum(section, words) }
}

/// A calculation of a section. One that is none does not compile:
///
/// ```compile_fail
/// use sensewright_core::design::section::kind;
/// let of = kind::<sensewright_core::calc::cells::balancing::Nothing>("", &[]);
/// ```
///
/// ```
/// use sensewright_core::design::section::kind;
/// let of = kind::<sensewright_core::calc::cells::balancing::Balancing>("", &[]);
/// assert_eq!(of.entry.meta.slug, "balancing");
/// ```
pub const fn kind<C: Calculation>(tag: &'static str, bound: &'static [Bound]) -> Kind {
    let entry = const { &Entry::of::<C>() };
    Kind {
        tag,
        entry,
        bound,
        rests: &[],
        lent: &[],
        given: &[],
        cells: &[],
        of_cells: &[],
        asked: &[],
        once: &[],
        only_when: &[],
        told: None,
        normal: &[],
    }
}

impl Bound {
    /// Whether it stands in the head of the design, or follows from it.
    pub const fn is_of_the_head(&self) -> bool {
        !matches!(self.from, Origin::Parallel(..) | Origin::Beside(..) | Origin::Sum(..))
    }
}

impl PartialEq for Section {
    fn eq(&self, other: &Self) -> bool {
        self.key == other.key
    }
}

impl Kind {
    /// Whether there is nothing of it without cells.
    pub fn needs_cells(&self) -> bool {
        self.of_cells.contains(&"")
    }

    /// Whether a value of its input is given: what the design must live with.
    pub fn gives(&self, pointer: &str) -> bool {
        let below = |rest: &str| rest.is_empty() || rest.starts_with('/');
        self.given.iter().any(|given| pointer.strip_prefix(given).is_some_and(below))
    }
}

impl PartialEq for Kind {
    fn eq(&self, other: &Self) -> bool {
        self.entry.meta.slug == other.entry.meta.slug && self.tag == other.tag
    }
}
