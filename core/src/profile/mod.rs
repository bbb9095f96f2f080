//! # Recorded profiles
//!
//! A recorded current goes through in one pass and constant memory, whatever its length: text comes in pieces, rows go out
//! in blocks, and what is kept of them has a fixed size. How the text is written is recognised from its first lines, told,
//! and can be typed. What is wrong is named by line and column; nothing is left out without being counted.
//!
//! ```text
//! lines      whole lines from pieces: the same whatever the pieces
//! recognise  separator, decimal sign, header, columns, units, from the first 200 lines
//! rows       numbers of a row, times in order, what cannot be read; usual rows in batches, by column
//! account    sums, extremes, histogram, limits, curves, the element, the chain
//! Source     RFC 4180 for quotes, ISO 8601 for times; the others stand with each part
//! ```

mod account;
mod answer;
mod batch;
mod block;
mod cells;
mod chain;
mod code;
mod element;
mod fault;
mod header;
mod lines;
mod marks;
mod number;
mod options;
mod plot;
mod recognise;
mod rows;
mod spread;
mod sums;
mod time;

#[cfg(test)]
mod tests;

pub use account::{GapTold, Gaps};
pub use answer::{ElementPeak, Extreme, Lines, ProfileOutput, Reading, Source, VoltageExtreme};
pub use fault::{MOST_TOLD, RowTold};
pub use options::{
    Backward, BadRow, Built, Chain, CurrentUnit, DecimalSign, Element, Gap, Handling, Integration, Limit, ProfileInput,
    Rounding, Separator, Sign, Text, TimeUnit, VoltageUnit,
};
pub use plot::CurvePoint;
pub use recognise::Recognised;
pub use spread::{BINS, Beyond, Spread};

use account::Account;
use fault::{Fault, Wrong};
use lines::{Lines as Cut, Taker, content};
use recognise::{Sample, recognise};
use rows::Rows;

use crate::field::FieldError;

/// A profile on its way through.
#[derive(Debug)]
pub struct Profile {
    cut: Cut,
    reader: Reader,
    /// What ended it before its end.
    ended: Option<Vec<Fault>>,
}

/// Recognises first and reads then.
#[derive(Debug)]
struct Reader {
    input: ProfileInput,
    sample: Sample,
    rows: Option<Rows>,
    line: u64,
}

impl Profile {
    /// A profile that is asked this.
    pub fn new(input: ProfileInput) -> Self {
        let reader = Reader { input, sample: Sample::default(), rows: None, line: 1 };
        Self { cut: Cut::default(), reader, ended: None }
    }

    /// Takes the next piece of the text; whether more is of any use.
    pub fn push(&mut self, piece: &[u8]) -> bool {
        if self.ended.is_none() {
            self.ended = self.cut.push(piece, &mut self.reader).err().map(|fault| self.reader.with_rows(fault));
        }
        self.ended.is_none()
    }

    /// Rows with numbers so far.
    pub fn rows(&self) -> u64 {
        self.reader.rows.as_ref().map_or(0, |rows| rows.kept.rows)
    }

    /// What the profile is.
    ///
    /// # Errors
    /// What is wrong with the text: the first twenty faults, and how many there are in all.
    pub fn finish(mut self) -> Result<ProfileOutput, Refusal> {
        let open = match self.ended.take() {
            Some(faults) => return Err(Refusal::of(&faults, self.reader.bad())),
            None => self
                .cut
                .finish(&mut self.reader)
                .map_err(|fault| Refusal::of(&self.reader.with_rows(fault), self.reader.bad()))?,
        };
        if self.reader.rows.is_none()
            && let Err(faults) = self.reader.begin()
        {
            return Err(Refusal::of(&faults, 0));
        }
        let Reader { input, rows, .. } = self.reader;
        let few = || Refusal::of(&[Fault::settled_by("", Wrong::FewRows, String::new())], 0);
        let mut rows = rows.ok_or_else(few)?;
        if rows.refused() {
            return Err(Refusal::of(&rows.kept.told, rows.kept.bad));
        }
        if rows.kept.rows < 2 {
            return Err(few());
        }
        rows.close();
        ProfileOutput::of(rows, &input, open).ok_or_else(few)
    }
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// The first faults.
    pub faults: Vec<FieldError>,
    /// How many there are.
    pub count: u64,
}

impl Refusal {
    fn of(faults: &[Fault], bad: u64) -> Self {
        Self { faults: faults.iter().map(Fault::refusal).collect(), count: bad.max(faults.len() as u64) }
    }
}

impl Reader {
    /// Recognises how the first lines are written, and reads them.
    fn begin(&mut self) -> Result<(), Vec<Fault>> {
        let sample = std::mem::take(&mut self.sample);
        let layout = recognise(&sample.bytes, &self.input.text)?;
        let mut rows = Rows::new(layout, self.input.handling.clone(), Account::new(&self.input));
        rows.take(&sample.bytes).map_err(|fault| vec![fault])?;
        self.rows = Some(rows);
        Ok(())
    }

    /// What ended the text, after the rows before it that cannot be read.
    fn with_rows(&self, fault: Fault) -> Vec<Fault> {
        let mut faults: Vec<Fault> = self.rows.as_ref().map(|rows| rows.kept.told.clone()).unwrap_or_default();
        faults.push(fault);
        faults
    }

    fn bad(&self) -> u64 {
        self.rows.as_ref().map_or(0, |rows| rows.kept.bad + 1)
    }
}

impl Taker for Reader {
    fn take(&mut self, mut lines: &[u8]) -> Result<(), Fault> {
        while self.rows.is_none() && !lines.is_empty() {
            let end = lines.iter().position(|byte| *byte == b'\n').map_or(lines.len(), |end| end + 1);
            let (line, rest) = lines.split_at(end);
            lines::within(line, self.line)?;
            if content(line).contains(&b'\r') {
                return Err(Fault::of_line(self.line, Wrong::LoneReturn, line));
            }
            self.line += 1;
            lines = rest;
            if self.sample.take(line) {
                self.begin().map_err(|mut faults| faults.remove(0))?;
            }
        }
        match &mut self.rows {
            Some(rows) if !lines.is_empty() => rows.take(lines),
            _ => Ok(()),
        }
    }

    fn line(&self) -> u64 {
        self.rows.as_ref().map_or(self.line, |rows| rows.line)
    }
}
