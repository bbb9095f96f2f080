//! Lines of a text that comes in pieces: whatever the pieces, the same lines.

use memchr::{memchr, memrchr};

use super::fault::{Fault, Wrong};

/// The longest line, without its end. A row of 256 columns has 250 bytes a column.
pub(super) const LONGEST: usize = 64 * 1024;
/// Letters that say how the text is written, at its very beginning.
const OPENING: usize = 3;

/// Cuts pieces into whole lines.
#[derive(Debug, Default)]
pub(super) struct Lines {
    /// The first bytes, until there are enough of them to tell how the text is written.
    opening: Vec<u8>,
    begun: bool,
    /// The beginning of a line whose end has not come yet.
    carried: Vec<u8>,
}

/// Takes whole lines, each with its end.
pub(super) trait Taker {
    fn take(&mut self, lines: &[u8]) -> Result<(), Fault>;
    /// The line that comes next, counted from 1.
    fn line(&self) -> u64;
}

impl Lines {
    /// Gives on what is whole.
    pub fn push(&mut self, mut piece: &[u8], to: &mut impl Taker) -> Result<(), Fault> {
        if !self.begun {
            let (first, rest) = piece.split_at(piece.len().min(OPENING - self.opening.len()));
            self.opening.extend_from_slice(first);
            if self.opening.len() < OPENING {
                return Ok(());
            }
            self.begin(to)?;
            piece = rest;
        }
        self.cut(piece, to)
    }

    /// Gives on the last line, which need not have an end; whether it had none.
    pub fn finish(&mut self, to: &mut impl Taker) -> Result<bool, Fault> {
        if !self.begun {
            self.begin(to)?;
        }
        let open = !self.carried.is_empty();
        if open {
            let mut last = std::mem::take(&mut self.carried);
            last.push(b'\n');
            to.take(&last)?;
        }
        Ok(open)
    }

    fn begin(&mut self, to: &mut impl Taker) -> Result<(), Fault> {
        self.begun = true;
        let opening = std::mem::take(&mut self.opening);
        if opening.starts_with(&[0xFF, 0xFE]) || opening.starts_with(&[0xFE, 0xFF]) {
            return Err(Fault::of_line(1, Wrong::Utf16, &opening[..2]));
        }
        self.cut(opening.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(&opening), to)
    }

    fn cut(&mut self, piece: &[u8], to: &mut impl Taker) -> Result<(), Fault> {
        // What stands before it is read first, so that the pieces do not decide what is told.
        let nul = memchr(0, piece);
        let mut rest = &piece[..nul.unwrap_or(piece.len())];
        if !self.carried.is_empty()
            && let Some(end) = memchr(b'\n', rest)
        {
            self.carry(&rest[..=end], to.line())?;
            let line = std::mem::take(&mut self.carried);
            to.take(&line)?;
            self.carried = line;
            self.carried.clear();
            rest = &rest[end + 1..];
        }
        if self.carried.is_empty()
            && let Some(end) = memrchr(b'\n', rest)
        {
            to.take(&rest[..=end])?;
            rest = &rest[end + 1..];
        }
        self.carry(rest, to.line())?;
        if nul.is_some() {
            return Err(Fault::of_line(to.line(), Wrong::Nul, &self.carried));
        }
        Ok(())
    }

    fn carry(&mut self, more: &[u8], line: u64) -> Result<(), Fault> {
        let room = LONGEST + 2 - self.carried.len();
        self.carried.extend_from_slice(&more[..more.len().min(room)]);
        within(&self.carried, line)
    }
}

/// Refuses a line that is too long.
pub(super) fn within(line: &[u8], number: u64) -> Result<(), Fault> {
    if content(line).len() > LONGEST { Err(Fault::of_line(number, Wrong::LongLine, line)) } else { Ok(()) }
}

/// A line without its end.
pub(super) fn content(line: &[u8]) -> &[u8] {
    let line = line.strip_suffix(b"\n").unwrap_or(line);
    line.strip_suffix(b"\r").unwrap_or(line)
}
