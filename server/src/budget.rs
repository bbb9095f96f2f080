//! # What a request may cost
//!
//! Told before the work is begun. A program is refused what costs too much, and told what would be accepted. A page is never
//! refused, because a link is opened for ever: it is drawn with fewer trials, and says so.

use sensewright_core::calculation::{Depth, Entry};
use sensewright_core::design::Design;
use sensewright_core::design::cost::{Parts, Questions, trials_of};
use sensewright_core::field::{FieldError, Typed};
use sensewright_core::work::{Cost, Work};

use crate::error::Fault;
use crate::queue::units_in;

/// What a page may cost, in milliseconds of a core.
pub const PAGE_MILLIS: u64 = 300;
/// What a search may cost besides, as often as it asks for verdicts with the fewest trials: the numbers of a design bound it.
const SEARCH_MILLIS: u64 = 20_000;
/// What an answer may hold at once, and all that are worked out together.
pub const MOST_BYTES: u32 = 128 << 20;
/// Numbers of trials that a page is drawn with. Down to the number that forms start with they go by the budget of a page, so
/// that a page of usual values is never drawn with fewer; below it by that of a program.
const TRIALS: [u32; 11] =
    [10_000_000, 5_000_000, 2_000_000, 1_000_000, 500_000, START, 100_000, 50_000, 20_000, 5_000, 1_000];
const START: u32 = 200_000;

/// What a request may cost.
#[derive(Clone, Copy, Debug)]
pub struct Budget {
    millis: u64,
}

/// What is granted to a page.
#[derive(Clone, Debug)]
pub struct Granted {
    /// What it costs.
    pub cost: Cost,
    /// The most trials of a run.
    pub trials: u32,
    /// What to say of it.
    pub notice: Option<String>,
}

/// What is asked, for its cost: one calculation, or designs.
pub enum Asked<'a> {
    /// A calculation.
    One(&'static Entry, &'a dyn Typed, Depth),
    /// Designs, and how each is searched.
    Designs(Vec<(Parts<'a>, Questions)>, Depth),
}

impl<'a> Asked<'a> {
    /// One design.
    pub fn design(design: &'a Design, depth: Depth, questions: Questions) -> Self {
        Self::Designs(vec![(Parts::of(design), questions)], depth)
    }

    /// A comparison: the first is searched for what each difference does.
    pub fn comparison(designs: &'a [Design]) -> Self {
        let questions = std::iter::once(Questions::COMPARISON).chain(std::iter::repeat(Questions::NONE));
        Self::Designs(designs.iter().map(Parts::of).zip(questions).collect(), Depth::Requirements)
    }

    fn cost(&self, work: Work) -> Cost {
        match self {
            Self::One(entry, input, depth) => entry.cost(*input, *depth, work),
            Self::Designs(designs, depth) => designs
                .iter()
                .fold(Cost::default(), |sum, (parts, questions)| sum.then(parts.cost(*depth, *questions, work))),
        }
    }

    /// What its searches cost at least, whatever the trials, in units.
    fn searches(&self) -> u64 {
        let Self::Designs(designs, depth) = self else { return 0 };
        let least = Work::FREE.at_most(TRIALS[TRIALS.len() - 1]);
        let units = |parts: &Parts, questions| parts.cost(*depth, questions, least).units;
        designs
            .iter()
            .map(|(parts, questions)| units(parts, *questions).saturating_sub(units(parts, Questions::NONE)))
            .fold(0, u64::saturating_add)
    }

    /// Where the trials stand that take the most, and how many there are.
    fn driver(&self) -> Option<(String, u32)> {
        match self {
            Self::One(_, input, _) => trials_of(*input).map(|(place, count)| (place.to_owned(), count)),
            Self::Designs(designs, depth) => {
                let all = designs.iter().enumerate().filter_map(|(index, (parts, _))| {
                    let (place, count) = parts.dearest(*depth)?;
                    let place = if designs.len() > 1 { format!("/designs/{index}{place}") } else { place };
                    Some((place, count))
                });
                all.max_by_key(|(_, count)| *count)
            }
        }
    }
}

impl Budget {
    /// A budget of so many milliseconds of a core.
    pub const fn new(millis: u64) -> Self {
        Self { millis }
    }

    /// What is asked by a program costs this.
    ///
    /// # Errors
    /// It costs too much.
    pub fn allow(self, asked: &Asked) -> Result<Cost, Fault> {
        let cost = asked.cost(Work::FREE);
        let searches = asked.searches();
        let fits = fits(cost, searches, self.millis) && searches <= units_in(SEARCH_MILLIS);
        if fits { Ok(cost) } else { Err(Fault::Invalid(vec![self.too_costly(asked, cost, searches)])) }
    }

    /// What a page is drawn with.
    pub fn grant(self, asked: &Asked) -> Granted {
        let driver = asked.driver();
        let most = driver.as_ref().map_or(0, |(_, count)| *count);
        let (free, searches) = (asked.cost(Work::FREE), asked.searches());
        if most <= TRIALS[TRIALS.len() - 1] || fits(free, searches, PAGE_MILLIS) {
            return Granted { cost: free, trials: u32::MAX, notice: None };
        }
        let of = |trials: u32| asked.cost(Work::FREE.at_most(trials));
        let page = |trials: u32| if trials > START { PAGE_MILLIS.min(self.millis) } else { self.millis };
        let granted = |trials: &u32| fits(of(*trials), searches, page(*trials));
        let trials = TRIALS.into_iter().find(granted).unwrap_or(TRIALS[TRIALS.len() - 1]);
        let notice = (trials < most).then(|| {
            format!(
                "Drawn with {} trials instead of {}: more would keep others waiting. The link still says what was typed.",
                grouped(trials.into()),
                grouped(most.into())
            )
        });
        Granted { cost: of(trials), trials, notice }
    }

    /// A cost that a search for a page may have; nothing of a larger one.
    pub fn of_a_search(self, cost: Cost) -> Option<Cost> {
        fits(cost, 0, self.millis).then_some(cost)
    }

    fn too_costly(self, asked: &Asked, cost: Cost, searches: u64) -> FieldError {
        let spent = format!("{} ms of a core and {} MB", grouped(millis_of(cost)), grouped(cost.bytes >> 20));
        let most = self.millis.saturating_add(millis_of(Cost { units: searches, ..cost }).min(SEARCH_MILLIS));
        let may = format!("{} ms and {} MB", grouped(most), MOST_BYTES >> 20);
        let driver = asked.driver();
        let least = |trials: &&u32| fits(asked.cost(Work::FREE.at_most(**trials)), searches, self.millis);
        let (field, accepted, got) = match (&driver, TRIALS.iter().find(least)) {
            (Some((field, count)), Some(trials)) => {
                (field.clone(), format!("at most {} trials", grouped((*trials).into())), grouped((*count).into()))
            }
            _ => (String::new(), may.clone(), spent.clone()),
        };
        FieldError {
            message: format!(
                "This would take about {spent}; {may} are accepted. Ask for fewer trials, points or rows, or for less at once."
            ),
            field,
            code: "too-costly".into(),
            accepted,
            got,
        }
    }
}

fn fits(cost: Cost, searches: u64, millis: u64) -> bool {
    cost.units.saturating_sub(searches) <= units_in(millis) && cost.bytes <= u64::from(MOST_BYTES)
}

fn millis_of(cost: Cost) -> u64 {
    cost.units / units_in(1)
}

/// A whole number with its thousands parted.
fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let first = digits.len() % 3;
    let mut text = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && at % 3 == first {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_parted() {
        for (number, text) in [(0, "0"), (999, "999"), (1_000, "1,000"), (200_000, "200,000"), (1_234_567, "1,234,567")]
        {
            assert_eq!(grouped(number), text);
        }
    }
}
