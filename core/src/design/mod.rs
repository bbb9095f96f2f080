//! # The design
//!
//! One document holds the whole chain of one pack: the pack, what is required, and its parts, each of which is the input
//! of a calculation of the catalogue. What several parts share stands once, in the pack or in the requirements, and is
//! handed down; a channel's error is handed on to the thresholds that rest on it. [`assess`](assess::assess) asks the very
//! calculations that the single pages ask.
//!
//! ```text
//! document ──read──▶ Design ──assess──▶ Assessed (parts, requirements, hints) ──▶ JSON, worksheet, report
//!     ▲                 │
//!     └──── link ◀──────┘  what was typed, compressed, with schema, engine and check sum
//! ```

pub mod agree;
pub mod alone;
pub mod answer;
pub mod assess;
pub mod compare;
pub mod comparison;
pub mod cost;
mod document;
mod edit;
pub mod facts;
mod lending;
pub mod levers;
pub mod link;
mod marks;
pub mod movable;
pub mod on_start;
pub mod pack;
pub mod prepared;
pub mod scaling;
pub mod schema;
pub mod section;
pub mod slip;
pub mod starts;
pub mod summary;
pub mod test_limits;
pub mod ticket;
pub mod turning;
mod undo;
mod words;

use serde_json::{Map, Value};

use crate::calculation::Entry;
use crate::field::tree::take;
use crate::field::{self, Group, text};
use crate::input;
use crate::quantity::in_sentence;

use pack::{Pack, Requirements};
use section::{Kind, Origin, Rests, Section};

/// The number of the document's schema. It rises when a document of the former one no longer means the same.
pub const SCHEMA: u32 = 2;

/// Most values that may be marked as assumed.
const MOST_ASSUMED: usize = 60;
/// Longest name of a part.
const NAME_LETTERS: usize = 60;

input! {
    /// A value that nobody measured.
    pub struct Assumed {
        value: String = text(120, ""), "", "Value", "Its key, such as current.1.shunt.life_drift_percent.";
        why: String = text(160, ""), "", "Why", "Where it comes from.";
    }
}

input! {
    /// What a design says besides its parts.
    pub struct Head {
        title: String = text(80, "New design"), "", "Title", "Of the pack or the project.";
        notes: String = text(600, ""), "", "Notes", "What a reviewer must know.";
        pack: Pack = field::group::<Pack>(), "", "Pack", "What several parts share.";
        requirements: Requirements = field::group::<Requirements>(), "", "Requirements", "What the channels must hold.";
        assumed: Vec<Assumed> = field::list::<Assumed>(0, MOST_ASSUMED, ""), "", "Assumed values", "Values from memory or by estimate, one a line: key; where it comes from.";
    }
}

/// The declarations of what a design says besides its parts.
pub const HEAD_FIELDS: &[field::Field] = Head::FIELDS;

/// What a design says before anything is typed.
pub fn head_start() -> Map<String, Value> {
    Group::write(&field::start::<Head>())
}

/// A whole design.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    /// The set of start values and rules that it counts from.
    pub starts: u32,
    /// Title, pack, requirements.
    pub head: Head,
    /// What was typed of them.
    pub typed: Map<String, Value>,
    /// The parts, in the order of the sections.
    pub parts: Vec<Part>,
}

/// One part: the input of one calculation.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// The section it stands in.
    pub section: &'static Section,
    /// Its place in that section.
    pub index: usize,
    /// Its own number in that section, which outlives removal, order and rename: others name it by this.
    pub number: u32,
    /// Which of the section's calculations.
    pub kind: &'static Kind,
    /// What it is called.
    pub name: String,
    /// The numbers of the parts it rests on, one for each that its kind can rest on; none where the values are typed.
    pub rests_on: Vec<Option<u32>>,
    /// What was typed of its values.
    pub typed: Map<String, Value>,
    /// Its values, complete; what is handed down is not among them.
    pub input: Map<String, Value>,
}

impl Part {
    /// Its calculation.
    pub fn entry(&self) -> &'static Entry {
        self.kind.entry
    }

    /// Its key in forms and addresses: `current.1`.
    pub fn key(&self) -> String {
        format!("{}.{}", self.section.key, self.number)
    }

    /// The JSON Pointer to it.
    pub fn pointer(&self) -> String {
        format!("/{}/{}", self.section.key, self.index)
    }

    /// What the ids of its tables and charts begin with in a design: `current-0-`.
    pub fn prefix(&self) -> String {
        format!("{}-{}-", self.section.key, self.index)
    }

    /// What a part is called in a list of many: the section's word and its name.
    pub fn title(&self) -> String {
        if self.name.is_empty() { self.section.one.into() } else { self.name.clone() }
    }

    /// The same, apart from another part of the same name.
    pub fn title_among(&self, parts: &[Self]) -> String {
        let title = self.title();
        let alike = |other: &&Self| other.key() != self.key() && other.title() == title;
        match parts.iter().find(alike) {
            None => title,
            Some(_) if self.name.is_empty() => format!("{title} {}", self.number),
            Some(_) => format!("{title} ({} {})", in_sentence(self.section.one), self.number),
        }
    }

    /// What it takes from other parts, each with the number of that part.
    pub fn resting(&self) -> impl Iterator<Item = (&'static Rests, u32)> {
        let tied = self.kind.rests.iter().zip(&self.rests_on);
        tied.filter_map(|(rests, number)| Some((rests, (*number)?)))
    }

    /// What it takes from one other part; mostly nothing.
    pub fn resting_on(&self, other: &Self) -> impl Iterator<Item = &'static Rests> {
        self.resting()
            .filter(|(rests, number)| rests.section == other.section.key && *number == other.number)
            .map(|(rests, _)| rests)
    }

    /// The pointers of its input that are handed down to it.
    pub fn handed_down(&self) -> impl Iterator<Item = &'static str> {
        let carried = self.resting().flat_map(|(rests, _)| rests.carried).map(|carried| carried.to);
        self.kind.bound.iter().map(|bound| bound.to).chain(carried)
    }

    /// The groups of its input that do not count as its choices stand: a worksheet leaves them out.
    pub fn idle(&self) -> impl Iterator<Item = &'static str> {
        let counts = |one: &section::OnlyWhen| self.input.get(one.choice).and_then(Value::as_str) == Some(one.word);
        self.kind.only_when.iter().filter(move |one| !counts(one)).map(|one| one.group)
    }

    /// The same in a design of cells; a design knows better ([`Design::origin`]).
    fn origin(&self, pointer: &str) -> String {
        for bound in self.kind.bound {
            if pointer == bound.to || pointer.strip_prefix(bound.to).is_some_and(|rest| rest.starts_with('/')) {
                return match bound.from {
                    Origin::Field(from) => format!("{from}{}", &pointer[bound.to.len()..]),
                    Origin::Pack(from, _) => from.into(),
                    // Any of them may be to blame; where it gives something, there is a first one.
                    Origin::Parallel(section, _) | Origin::Sum(section, _) => format!("/{section}/0"),
                    Origin::Beside(section, from, _) => format!("/{section}/0{from}"),
                };
            }
        }
        format!("{}{pointer}", self.pointer())
    }
}

impl Design {
    /// The design a worksheet starts with: a pack without parts.
    pub fn start() -> Self {
        Self { starts: starts::NEWEST, head: field::start::<Head>(), typed: Map::new(), parts: Vec::new() }
    }

    /// The parts of a section.
    pub fn of(&self, section: &str) -> impl Iterator<Item = &Part> {
        self.parts.iter().filter(move |part| part.section.key == section)
    }

    /// The part of a key such as `current.1`.
    pub fn part(&self, key: &str) -> Option<&Part> {
        self.parts.iter().find(|part| part.key() == key)
    }

    /// The parts of a section that are of one with another: they rest on it, or on none of its section.
    pub fn beside<'a>(&'a self, part: &'a Part, section: &'a str) -> impl Iterator<Item = &'a Part> {
        let of = move |other: &&Part| {
            let mut ties = other.resting().filter(|(rests, _)| rests.section == part.section.key);
            ties.all(|(_, number)| number == part.number)
        };
        self.of(section).filter(of)
    }

    /// Where the value at a pointer of a part's calculation stands in the document.
    pub fn origin(&self, part: &Part, pointer: &str) -> String {
        let bound = part.kind.bound.iter().find(|bound| bound.to == pointer);
        if let Some(Origin::Beside(section, from, _)) = bound.map(|bound| bound.from)
            && let Some(other) = self.beside(part, section).next()
        {
            return format!("{}{from}", other.pointer());
        }
        self.head.pack.place(&part.origin(pointer))
    }

    /// The complete head, of what counts.
    pub fn head_values(&self) -> Map<String, Value> {
        let mut head = Group::write(&self.head);
        self.head.pack.leave_what_counts(&mut head);
        head
    }

    /// What only cells have of a part, where there are none: it has no place on a page.
    pub fn of_cells_alone(&self, part: &Part) -> &'static [&'static str] {
        if self.head.pack.has_cells() { &[] } else { part.kind.of_cells }
    }

    /// Inputs whose limits a part is not asked about: what only cells have, and what is judged by parts that rest on it,
    /// where all that could do so do.
    pub fn not_asked(&self, part: &Part) -> Vec<&'static str> {
        let rests_here = |(rests, number): &(&Rests, u32)| rests.section == part.section.key && *number == part.number;
        let judged = self.parts.iter().flat_map(Part::resting).filter(rests_here);
        let judged: Vec<&'static str> = judged.flat_map(|(rests, _)| rests.judged_here).copied().collect();
        let free = |other: &Part| {
            let may = |rests: &&Rests| rests.section == part.section.key && !rests.judged_here.is_empty();
            let ties = |rests: &Rests| other.resting().any(|(tied, _)| tied.named_at == rests.named_at);
            other.kind.rests.iter().filter(may).any(|rests| !ties(rests))
        };
        let judged = if self.parts.iter().any(free) { Vec::new() } else { judged };
        self.of_cells_alone(part).iter().copied().chain(judged).collect()
    }

    /// Why a kind of part has no place in the design; nothing where it has.
    pub fn has_no_place_for(&self, kind: &Kind) -> Option<String> {
        let refused = kind.needs_cells() && !self.head.pack.has_cells();
        refused.then(|| format!("{} needs cells, and this design has none.", kind.entry.meta.title))
    }

    /// A part, what it rests on, and what that rests on, as places among the parts.
    pub fn under(&self, at: usize) -> Vec<usize> {
        let mut under = vec![at];
        let mut next = 0;
        while let Some(part) = under.get(next).and_then(|at| self.parts.get(*at)) {
            let sources = part.resting().filter_map(|(rests, number)| self.source(rests, number));
            for source in sources.filter_map(|source| self.parts.iter().position(|part| part.key() == source.key())) {
                if !under.contains(&source) {
                    under.push(source);
                }
            }
            next += 1;
        }
        under
    }

    /// The part that another one rests on over a link.
    pub fn source(&self, rests: &Rests, number: u32) -> Option<&Part> {
        self.of(rests.section).find(|part| part.number == number)
    }
}

fn strip<'p>(map: &mut Map<String, Value>, pointers: impl Iterator<Item = &'p str>) {
    for pointer in pointers {
        take(map, pointer);
    }
}
