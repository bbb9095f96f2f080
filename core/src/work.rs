//! # Work that can be stopped
//!
//! A calculation asks now and then whether anybody still waits for it, and how dear it will be can be told before it is
//! begun. There is no clock here: who asks for an answer brings the question along.
//!
//! ```text
//! Asked      at least each 5 ms: a block of trials, a corner, a candidate, a point of a curve
//! Answer     whole or [`Halt`], never in part
//! Cost       a unit is one source of one trial; whole numbers that saturate
//! ```

use crate::field::FieldError;

/// Whether to go on, and how many trials are granted.
#[derive(Clone, Copy)]
pub struct Work<'a> {
    stopped: Option<&'a (dyn Fn() -> bool + Sync)>,
    most_trials: u32,
}

impl std::fmt::Debug for Work<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(if self.stopped.is_some() { "Work(watched)" } else { "Work(free)" })
    }
}

/// Nobody waits for the answer any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Halt;

impl<'a> Work<'a> {
    /// Work that nobody stops.
    pub const FREE: Work<'static> = Work { stopped: None, most_trials: u32::MAX };

    /// Work that stops when the question is answered with yes.
    pub const fn until(stopped: &'a (dyn Fn() -> bool + Sync)) -> Self {
        Self { stopped: Some(stopped), most_trials: u32::MAX }
    }

    /// The same with at most so many trials a run.
    #[must_use]
    pub const fn at_most(self, trials: u32) -> Self {
        Self { most_trials: trials, ..self }
    }

    /// How many trials are run where so many are asked for.
    pub fn trials(self, asked: u32) -> u32 {
        asked.min(self.most_trials)
    }

    /// Goes on, or stops here.
    ///
    /// # Errors
    /// Nobody waits for the answer any more.
    pub fn go_on(self) -> Result<(), Halt> {
        match self.stopped {
            Some(stopped) if stopped() => Err(Halt),
            _ => Ok(()),
        }
    }
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refused {
    /// The input contradicts itself.
    Faults(Vec<FieldError>),
    /// The work was stopped.
    Stopped,
}

impl From<Halt> for Refused {
    fn from(_: Halt) -> Self {
        Self::Stopped
    }
}

impl From<Vec<FieldError>> for Refused {
    fn from(faults: Vec<FieldError>) -> Self {
        Self::Faults(faults)
    }
}

impl Refused {
    /// What is wrong with the input; nothing when the work was stopped.
    pub fn faults(self) -> Vec<FieldError> {
        match self {
            Self::Faults(faults) => faults,
            Self::Stopped => Vec::new(),
        }
    }
}

/// What an answer costs at most.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cost {
    /// Sources times trials.
    pub units: u64,
    /// Bytes that are held at once.
    pub bytes: u64,
}

impl Cost {
    /// A closed form.
    pub const SMALL: Self = Self { units: 100_000, bytes: 1 << 20 };

    /// What an answer takes together with another that is held, too.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self { units: self.units.saturating_add(other.units), bytes: self.bytes.saturating_add(other.bytes) }
    }

    /// Two answers one after the other, of which each lets go what it held.
    #[must_use]
    pub const fn then(self, other: Self) -> Self {
        let bytes = if self.bytes > other.bytes { self.bytes } else { other.bytes };
        Self { units: self.units.saturating_add(other.units), bytes }
    }

    /// A list that is gone through: 10 µs a row, with its place in the answer.
    pub const fn rows(count: usize) -> Self {
        Self { units: 3_000, bytes: 1 << 10 }.times(count as u64)
    }

    /// The same answer so often, one after the other, of which each lets go what it held.
    #[must_use]
    pub const fn again(self, count: u64) -> Self {
        Self { units: self.units.saturating_mul(count), ..self }
    }

    /// The same answer several times.
    #[must_use]
    pub const fn times(self, count: u64) -> Self {
        Self { units: self.units.saturating_mul(count), bytes: self.bytes.saturating_mul(count) }
    }
}
