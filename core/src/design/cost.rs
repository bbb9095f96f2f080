//! # What a design costs
//!
//! The sum over its parts, told before the first of them is asked. What searches it moves its numbers one by one and asks
//! the parts that rest on each for their verdicts: counts bound how often, so that a fixed factor holds.
//!
//! ```text
//! Formula   cost = sum of parts and of their places + questions * sum of (verdict * numbers it rests on)
//! Symbols   questions: how often a search moves each number, in the demo designs
//! Valid     a bound for lanes and budgets, no forecast: within a factor of three for the demo designs
//! ```

use serde_json::Value;

use super::answer::{Include, Member};
use super::prepared::{LARGER, asked_again, read};
use super::{Design, Part};
use crate::calculation::Depth;
use crate::field::{Group, Typed};
use crate::work::{Cost, Work};

/// Trials stand at one of these places of an input.
const TRIALS: [&str; 3] = ["/experiment/trials", "/trials", "/two_measurement/trials"];
/// What a part costs in a design besides: it is read, asked for what others rest on, and put in order. A channel most.
const PLACED: Cost = Cost { units: 4 * Cost::SMALL.units, bytes: 0 };

/// How often a search moves each number of a part and of what it rests on, in hundredths: at each a part is judged once.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Questions(u64);

impl Questions {
    /// Nothing is searched.
    pub const NONE: Self = Self(0);
    /// The values that turn verdicts.
    pub const TURNING: Self = Self(205);
    /// What stands on values that nobody typed: a report.
    pub const ON_START: Self = Self(37);
    /// What turns a failure.
    pub const LEVERS: Self = Self(13);
    /// What turns a failure of a calculation alone: no other part shares the questions.
    pub const ALONE: Self = Self(50);
    /// What turns a failure, and what stands on values that nobody typed: an overview.
    pub const OVERVIEW: Self = Self(50);
    /// The inputs that differ, exchanged one by one: at most as many as `compare` exchanges.
    pub const COMPARISON: Self = Self(55);

    /// Those of the members of an answer.
    pub fn of(include: &Include) -> Self {
        let asked =
            [(Member::Turning, Self::TURNING.0), (Member::Levers, Self::LEVERS.0), (Member::OnStart, Self::ON_START.0)];
        Self(asked.iter().filter(|(member, _)| include.has(*member)).map(|(_, count)| count).sum())
    }
}

/// The parts of a design as they are asked, for what they cost.
pub struct Parts<'a>(Vec<One<'a>>);

struct One<'a> {
    part: &'a Part,
    input: Box<dyn Typed>,
    /// How often it is judged for facts that others tell differently.
    again: u64,
    /// How many numbers it rests on: its own and those of parts beneath it.
    numbers: u64,
}

impl std::fmt::Debug for Parts<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Parts({})", self.0.len())
    }
}

impl<'a> Parts<'a> {
    /// Those that can be read; one that cannot is refused when the design is worked out.
    pub fn of(design: &'a Design) -> Self {
        let head = Group::write(&design.head);
        let inputs: Vec<_> = design.parts.iter().map(|part| read(design, &head, part).ok()).collect();
        let again = asked_again(design, |at| Some((design.parts[at].entry(), inputs[at].as_deref()?)));
        let own: Vec<u64> = inputs.iter().map(|input| input.as_deref().map_or(0, numbers)).collect();
        let parts = design.parts.iter().zip(inputs).enumerate();
        let one = |(at, (part, input)): (usize, (_, Option<_>))| {
            let numbers = design.under(at).into_iter().map(|under| own[under]).sum();
            Some(One { part, input: input?, again: again[at], numbers })
        };
        Self(parts.filter_map(one).collect())
    }

    /// What the design costs, worked out so deep and searched by so many questions, with the trials that are granted.
    pub fn cost(&self, depth: Depth, questions: Questions, work: Work) -> Cost {
        let lacks = |one: &One| one.part.entry().channel(&*one.input)?.missing();
        // What rests on an error that leaves something out is judged again with larger ones.
        let larger = if self.0.iter().find_map(lacks).is_some() { LARGER.len() as u64 } else { 0 };
        self.0.iter().fold(Cost::default(), |sum, One { part, input, again, numbers }| {
            let own = part.entry().cost(&**input, depth, work);
            let judged = part.entry().cost(&**input, Depth::Requirements, work);
            let larger = if part.resting().next().is_some() { 2 * larger } else { 0 };
            let own = own.then(judged.again(larger + again));
            sum.then(own).then(PLACED).then(asked(judged, *numbers, questions).times(1 + again))
        })
    }

    /// The part whose trials take the most: where they stand in the document, and how many there are.
    pub fn dearest(&self, depth: Depth) -> Option<(String, u32)> {
        let trials = self.0.iter().filter_map(|One { part, input, .. }| {
            let (place, count) = trials_of(&**input)?;
            let cost = part.entry().cost(&**input, depth, Work::FREE);
            Some((cost.units, (format!("{}{place}", part.pointer()), count)))
        });
        trials.max_by_key(|(units, (_, count))| (*units, *count)).map(|(_, found)| found)
    }
}

/// Where the trials of an input stand, and how many there are.
pub fn trials_of(input: &dyn Typed) -> Option<(&'static str, u32)> {
    let place = TRIALS.into_iter().find(|place| input.number(place).is_some())?;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a whole number that was read in range"
    )]
    input.number(place).map(|count| (place, count as u32))
}

/// What searches ask of one part that rests on so many numbers.
pub(super) fn asked(judged: Cost, numbers: u64, Questions(hundredths): Questions) -> Cost {
    let units = judged.units.saturating_mul(numbers).saturating_mul(hundredths) / 100;
    Cost { units, bytes: if units > 0 { judged.bytes } else { 0 } }
}

/// How many numbers an input has outside its lists.
pub(super) fn numbers(input: &dyn Typed) -> u64 {
    fn of(value: &Value) -> u64 {
        match value {
            Value::Number(_) => 1,
            Value::Object(group) => group.values().map(of).sum(),
            _ => 0,
        }
    }
    input.written().values().map(of).sum()
}
