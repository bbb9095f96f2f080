//! # Requirements and how they stand
//!
//! A requirement is judged as numbers ([`Judged`]) and told in words only when somebody reads it. The [`Ledger`] takes
//! both: opened for numbers it never asks for words. What a verdict means, in which order verdicts stand and from which
//! share on a requirement is thin is decided here and nowhere else.
//!
//! ```text
//! Share      at most: achieved/limit;  at least: limit/achieved;  rise: (achieved − from)/(limit − from);
//!            consumed: achieved/available;  of a whole: (100 % − achieved)/(100 % − limit)
//! Verdict    holds up to "thin from", thin up to 1 + 10⁻⁹, fails above; what is never reached fails
//! Order      fails, not resolved, not judged, thin, holds, no limit; inside by share; a failure without a share first
//! Source     common practice, no source
//! ```

mod ledger;
mod told;

use serde::Serialize;
use utoipa::ToSchema;

use crate::quantity::Unit;

pub use ledger::Ledger;
pub use told::{Check, NOTHING, Reach, Words, compare, share_words, sort};

/// From this share of the allowance on a requirement is called thin, percent. Common practice, no source.
pub const THIN_FROM_PERCENT: f64 = 85.0;

/// A share that passes its limit by less is the limit: 900 A through 50 µΩ is 45 mV, and a double says 45.000000000000007.
const ROUNDING: f64 = 1e-9;

/// Whether a value passes a limit by more than the rounding of doubles: the comparison of every requirement.
pub fn passes(value: f64, limit: f64) -> bool {
    !(share(Sense::AtMost, value, limit) <= 1.0 + ROUNDING)
}

/// The share of a limit that a value uses, in percent: exactly 100 where it differs by rounding.
pub fn used_percent(value: f64, limit: f64) -> f64 {
    Outcome::Used(value / limit).used().map_or(f64::INFINITY, |used| used * 100.0)
}

/// How a requirement stands, worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// More is used than allowed.
    Fails,
    /// So few trials cannot tell.
    NotResolved,
    /// Something that is needed to judge it was not given.
    NotJudged,
    /// It holds with little left.
    Thin,
    /// It holds.
    Holds,
    /// No limit was given.
    NoLimitSet,
}

impl Verdict {
    /// Every verdict, worst first.
    pub const ALL: [Self; 6] =
        [Self::Fails, Self::NotResolved, Self::NotJudged, Self::Thin, Self::Holds, Self::NoLimitSet];

    /// The word on the page.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Fails => "Fails",
            Self::NotResolved => "Not resolved",
            Self::NotJudged => "Not judged",
            Self::Thin => "Thin",
            Self::Holds => "Holds",
            Self::NoLimitSet => "No limit set",
        }
    }

    /// The verdict of a share of the allowance, in percent: for figures beside a requirement, such as a total of a budget.
    pub fn of(used_percent: Option<f64>) -> Self {
        let outcome = used_percent.map_or(Outcome::NoLimit, |used| Outcome::Used(used / 100.0));
        outcome.verdict(THIN_FROM_PERCENT)
    }
}

/// Which of several requirements of one kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Key {
    /// There is one.
    One,
    /// The one at this value.
    At(f64),
    /// The one of this row of a list, from 0.
    Row(u16),
}

/// The input that sets a limit: a pointer in which `{}` stands for the row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// JSON Pointer (RFC 6901).
    pub pointer: &'static str,
    /// The row of a list, from 0.
    pub row: Option<u16>,
}

impl Place {
    /// The pointer with its row.
    pub fn to_pointer(self) -> String {
        self.row.map_or_else(|| self.pointer.into(), |row| self.pointer.replacen("{}", &row.to_string(), 1))
    }
}

/// What a limit means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sense {
    /// The value must not pass the limit.
    AtMost,
    /// The value must reach the limit.
    AtLeast,
    /// A temperature that starts from this one: the allowance is what lies between it and the limit.
    RiseFrom(f64),
    /// What is consumed of a distance; nothing is allowed when there is none.
    Consumed,
    /// A percentage near 100 must reach the limit: what is missing to the whole counts, for of 99 % nearly all is always used.
    OfWhole,
}

/// What is required.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limit {
    /// This.
    Given(f64),
    /// Nobody asked for it.
    NotAsked,
    /// It is needed and was not given: the pointer of what is missing.
    Missing(&'static str),
}

impl From<f64> for Limit {
    fn from(limit: f64) -> Self {
        Self::Given(limit)
    }
}

impl From<Option<f64>> for Limit {
    fn from(limit: Option<f64>) -> Self {
        limit.map_or(Self::NotAsked, Self::Given)
    }
}

/// What became of a requirement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outcome {
    /// This share of the allowance is used; 1 is the limit.
    Used(f64),
    /// No value meets it, such as a temperature that never settles.
    Never,
    /// The trials cannot tell: the share lies between these.
    NotResolved {
        /// Lowest share.
        low: f64,
        /// Highest share.
        high: f64,
        /// How many trials would do.
        trials: u64,
    },
    /// The pointer of what is missing.
    NotJudged(&'static str),
    /// What it rests on has no value, such as a reading beyond the range: its words say why.
    Blocked,
    /// Nobody asked for it.
    NoLimit,
}

impl Outcome {
    /// The verdict where requirements are thin from this share on, in percent.
    pub fn verdict(self, thin_from_percent: f64) -> Verdict {
        match self {
            Self::NotResolved { .. } => Verdict::NotResolved,
            Self::NotJudged(_) | Self::Blocked => Verdict::NotJudged,
            Self::NoLimit => Verdict::NoLimitSet,
            Self::Used(used) if used * 100.0 <= thin_from_percent => Verdict::Holds,
            Self::Used(used) if used <= 1.0 + ROUNDING => Verdict::Thin,
            Self::Used(_) | Self::Never => Verdict::Fails,
        }
    }

    /// The share of the allowance, 1 is the limit; nothing when it is not a number. Exactly 1 where it differs by rounding.
    pub fn used(self) -> Option<f64> {
        match self {
            Self::Used(used) if (used - 1.0).abs() <= ROUNDING => Some(1.0),
            Self::Used(used) => Some(used).filter(|used| used.is_finite()),
            _ => None,
        }
    }

    /// Its place among others: worse ones first.
    fn order(self, thin_from_percent: f64) -> (Verdict, f64) {
        let share = match self {
            Self::NotResolved { high, .. } => high,
            other => other.used().unwrap_or(f64::MAX),
        };
        (self.verdict(thin_from_percent), -share)
    }
}

/// One requirement as numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// A stable word for programs.
    pub id: &'static str,
    /// Which of several of that kind.
    pub key: Key,
    /// The input that sets the limit.
    pub field: Place,
    /// The unit of both values.
    pub unit: Unit,
    /// What the limit means.
    pub sense: Sense,
    /// The limit.
    pub required: Option<f64>,
    /// What is reached; nothing when it is not defined.
    pub achieved: Option<f64>,
    /// What became of it.
    pub outcome: Outcome,
    /// The state in which it is worst; its calculation says what the number means.
    pub state: u32,
}

impl Judged {
    /// A value against a limit; a value of nothing is never reached and fails.
    pub fn new(
        id: &'static str,
        pointer: &'static str,
        unit: Unit,
        sense: Sense,
        achieved: impl Into<Option<f64>>,
        limit: impl Into<Limit>,
    ) -> Self {
        let (achieved, limit) = (achieved.into(), limit.into());
        let outcome = match (achieved, limit) {
            (_, Limit::Missing(what)) => Outcome::NotJudged(what),
            (_, Limit::NotAsked) => Outcome::NoLimit,
            (None, Limit::Given(_)) => Outcome::Never,
            (Some(value), Limit::Given(limit)) => match share(sense, value, limit) {
                used if used.is_nan() => Outcome::Never,
                used => Outcome::Used(used),
            },
        };
        let required = if let Limit::Given(limit) = limit { Some(limit) } else { None };
        let field = Place { pointer, row: None };
        Self { id, key: Key::One, field, unit, sense, required, achieved, outcome, state: 0 }
    }

    /// A value that must not pass a limit.
    pub fn at_most(
        id: &'static str,
        pointer: &'static str,
        unit: Unit,
        achieved: impl Into<Option<f64>>,
        limit: impl Into<Limit>,
    ) -> Self {
        Self::new(id, pointer, unit, Sense::AtMost, achieved, limit)
    }

    /// A value that must reach a limit.
    pub fn at_least(
        id: &'static str,
        pointer: &'static str,
        unit: Unit,
        achieved: impl Into<Option<f64>>,
        limit: impl Into<Limit>,
    ) -> Self {
        Self::new(id, pointer, unit, Sense::AtLeast, achieved, limit)
    }

    /// Something that must not be, such as a discharge without a path: it fails where `wrong` and holds otherwise.
    pub fn never(id: &'static str, pointer: &'static str, wrong: bool) -> Self {
        let mut one = Self::new(id, pointer, Unit::One, Sense::AtMost, None, Limit::NotAsked);
        one.outcome = if wrong { Outcome::Never } else { Outcome::Used(0.0) };
        one
    }

    /// The one at a value.
    #[must_use]
    pub const fn at(mut self, x: f64) -> Self {
        self.key = Key::At(x);
        self
    }

    /// The one of a row.
    #[must_use]
    pub fn row(mut self, row: usize) -> Self {
        let row = u16::try_from(row).unwrap_or(u16::MAX);
        (self.key, self.field.row) = (Key::Row(row), Some(row));
        self
    }

    /// In which state it was judged.
    #[must_use]
    pub const fn in_state(mut self, state: u32) -> Self {
        self.state = state;
        self
    }

    /// Not judged, because what it rests on has no value.
    #[must_use]
    pub const fn blocked(mut self) -> Self {
        (self.outcome, self.achieved) = (Outcome::Blocked, None);
        self
    }

    /// Not judged, because something that it rests on was not given; what fails without it fails with it.
    #[must_use]
    pub fn without(mut self, missing: Option<&'static str>) -> Self {
        if let (Some(missing), false, Outcome::Used(_) | Outcome::NotResolved { .. }) =
            (missing, self.fails(), self.outcome)
        {
            self.outcome = Outcome::NotJudged(missing);
        }
        self
    }

    /// Not judged where it fails, because something that it rests on was not given: with it this may hold.
    #[must_use]
    pub fn holds_with(mut self, missing: Option<&'static str>) -> Self {
        if let (Some(missing), true) = (missing, self.fails()) {
            self.outcome = Outcome::NotJudged(missing);
        }
        self
    }

    /// Not judged, because what is reached leaves something out; what fails without it fails with it.
    #[must_use]
    pub fn left_open(mut self) -> Self {
        if let (false, Outcome::Used(_) | Outcome::NotResolved { .. }) = (self.fails(), self.outcome) {
            self.outcome = Outcome::Blocked;
        }
        self
    }

    /// Whether it fails.
    pub fn fails(&self) -> bool {
        self.outcome.verdict(THIN_FROM_PERCENT) == Verdict::Fails
    }

    /// The one of which more is used: states are compared as numbers, words are made for the winner.
    #[must_use]
    pub fn worse(self, other: Self) -> Self {
        let (own, new) = (self.outcome.order(THIN_FROM_PERCENT), other.outcome.order(THIN_FROM_PERCENT));
        // Of two alike up to rounding the first stays, whatever the order of the last bits.
        let clearly = new.1 < own.1 - ROUNDING * own.1.abs();
        if new.0 < own.0 || (new.0 == own.0 && clearly) { other } else { self }
    }

    /// Fails where `wrong`, although the value does no more than reach its limit, such as a sum that trips there.
    #[must_use]
    pub fn fails_where(mut self, wrong: bool) -> Self {
        if wrong && !self.fails() {
            self.outcome = Outcome::Used(1.0 + 2.0 * ROUNDING);
        }
        self
    }
}

fn share(sense: Sense, value: f64, limit: f64) -> f64 {
    // Of an allowance of nothing, nothing is no share and anything is too much.
    let of = |part: f64, whole: f64| match part / whole {
        used if used.is_nan() && part <= 0.0 => 0.0,
        used => used,
    };
    match sense {
        // A quotient of two negative numbers, or of two signs, says nothing about which is larger.
        Sense::AtMost if limit < 0.0 => {
            if value <= limit {
                0.0
            } else {
                f64::INFINITY
            }
        }
        Sense::AtMost => of(value, limit),
        Sense::AtLeast if value > 0.0 => of(limit, value),
        Sense::AtLeast => {
            if limit > value {
                f64::INFINITY
            } else {
                0.0
            }
        }
        Sense::RiseFrom(from) if limit > from => (value - from) / (limit - from),
        Sense::Consumed if limit > 0.0 => value / limit,
        Sense::OfWhole => of(100.0 - value, 100.0 - limit),
        Sense::RiseFrom(_) | Sense::Consumed => f64::INFINITY,
    }
}

#[cfg(test)]
mod tests;
