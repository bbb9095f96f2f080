//! Rows of numbers from whole lines: usual rows many at a time, every other one cell by cell.

#![expect(clippy::inline_always, reason = "compiled once per kind of processor, inside the dispatching function")]

use std::ops::Range;

use pulp::{Arch, NullaryFnOnce};

use super::account::Account;
use super::batch::{Batch, MOST_ROWS, Most, Values};
use super::block::{Block, INTERVALS};
use super::cells::split;
use super::fault::{Fault, MOST_TOLD, Wrong};
use super::header::Role;
use super::lines::{content, within};
use super::marks::Marks;
use super::number::whole_cell;
use super::options::{Backward, BadRow, Handling};
use super::recognise::{Layout, TimeKind, is_beside};

/// What was done with rows that are not as usual.
#[derive(Clone, Debug, Default)]
pub(super) struct Kept {
    /// The first of those that cannot be read.
    pub told: Vec<Fault>,
    /// Those that cannot be read.
    pub bad: u64,
    /// Rows with numbers.
    pub rows: u64,
    /// Comments and empty lines.
    pub beside: u64,
    /// Rows at the time of the one before.
    pub same_time: u64,
    /// Segments that begin with a step back.
    pub segments: u64,
    /// Lines of names and units.
    pub header: u64,
    /// Steps back that are refused.
    pub backward: u64,
}

/// Reads rows and hands them on in blocks.
#[derive(Debug)]
pub(super) struct Rows {
    pub layout: Layout,
    handling: Handling,
    pub kept: Kept,
    pub line: u64,
    block: Block,
    pub account: Account,
    /// Where the segment begins: as written, and on the axis of the answer.
    origin: Values,
    origin_s: f64,
    last: Values,
    most: Most,
    cells: Vec<Range<usize>>,
    has_voltage: bool,
    has_ambient: bool,
    marks: Marks,
    batch: Batch,
    /// How many rows are tried at once.
    ahead: usize,
}

/// Whole lines, read with the instructions of this machine.
struct Windows<'a> {
    rows: &'a mut Rows,
    lines: &'a [u8],
    marks: &'a mut Marks,
}

impl NullaryFnOnce for Windows<'_> {
    type Output = Result<(), Fault>;

    #[inline(always)]
    fn call(self) -> Self::Output {
        self.rows.windows(self.lines, self.marks)
    }
}

impl Rows {
    pub fn new(layout: Layout, handling: Handling, account: Account) -> Self {
        Self {
            has_voltage: layout.has(Role::Voltage),
            has_ambient: layout.has(Role::Ambient),
            most: Most::of(&layout),
            marks: Marks::default(),
            batch: Batch::new(),
            ahead: 1,
            layout,
            handling,
            kept: Kept::default(),
            line: 1,
            block: Block::new(),
            account,
            origin: Values::blank(),
            origin_s: 0.0,
            last: Values::blank(),
            cells: Vec::new(),
        }
    }

    /// Reads whole lines.
    pub fn take(&mut self, lines: &[u8]) -> Result<(), Fault> {
        let mut marks = std::mem::take(&mut self.marks);
        let taken = Arch::new().dispatch(Windows { rows: self, lines, marks: &mut marks });
        self.marks = marks;
        taken
    }

    #[inline(always)]
    fn windows(&mut self, mut lines: &[u8], marks: &mut Marks) -> Result<(), Fault> {
        let columns = self.layout.roles.len();
        while !lines.is_empty() {
            marks.find(lines, self.layout.separator);
            let places = marks.places();
            let line = |from: usize, to: usize| &lines[places[from].wrapping_add(1) as usize..=places[to] as usize];
            let mut mark = 0;
            loop {
                let usual = self.usual(lines, &places[mark..]);
                if usual > 0 {
                    self.accept_all(usual, |row| line(mark + row * columns, mark + (row + 1) * columns));
                    mark += usual * columns;
                    continue;
                }
                let ends = |place: &u32| lines[*place as usize] == b'\n';
                let Some(passed) = places[mark + 1..].iter().position(ends) else { break };
                self.one(line(mark, mark + 1 + passed))?;
                mark += 1 + passed;
                self.line += 1;
            }
            let mut from = places[mark].wrapping_add(1) as usize;
            if from == 0 {
                // Longer than a window.
                from = lines.iter().position(|byte| *byte == b'\n').map_or(lines.len(), |end| end + 1);
                self.one(&lines[..from])?;
                self.line += 1;
            }
            lines = &lines[from..];
        }
        Ok(())
    }

    /// How many of the rows between these places are written as most are, and stand in the batch now.
    #[inline(always)]
    fn usual(&mut self, lines: &[u8], places: &[u32]) -> usize {
        if self.line < self.layout.header.end {
            return 0;
        }
        let here = (places.len() - 1) / self.layout.roles.len();
        let rows = self.ahead.min(here).min(INTERVALS - self.block.interval.len());
        let usual = self.batch.read(lines, places, &self.layout, &self.most, rows);
        // Where many rows are unusual, few are read in vain.
        self.ahead = if usual == rows { (2 * self.ahead).min(MOST_ROWS) } else { 1 };
        usual
    }

    /// One line that is not written as most are.
    fn one(&mut self, line: &[u8]) -> Result<(), Fault> {
        within(line, self.line)?;
        let line = content(line);
        if line.contains(&b'\r') {
            return Err(Fault::of_line(self.line, Wrong::LoneReturn, line));
        }
        if is_beside(line) {
            self.kept.beside += 1;
        } else if self.layout.header.contains(&self.line) {
            self.kept.header += 1;
        } else {
            match self.row(line) {
                Ok(values) => self.accept(values, line),
                Err(fault) if fault.wrong == Wrong::ManyColumns => return Err(fault),
                Err(fault) => self.bad(fault),
            }
        }
        Ok(())
    }

    fn row(&mut self, line: &[u8]) -> Result<Values, Fault> {
        let mut cells = std::mem::take(&mut self.cells);
        let row = split(line, self.layout.separator, &mut cells)
            .map_err(|wrong| Fault::of_line(self.line, wrong, line))
            .and_then(|()| self.values(line, &cells));
        self.cells = cells;
        row
    }

    fn values(&self, line: &[u8], cells: &[Range<usize>]) -> Result<Values, Fault> {
        if cells.len() != self.layout.roles.len() {
            return Err(Fault::of_line(self.line, Wrong::Columns, line));
        }
        let mut values = Values::blank();
        for (column, (role, range)) in self.layout.roles.iter().zip(cells).enumerate() {
            let cell = &line[range.clone()];
            let fault = |wrong| Fault::of_cell(self.line, column + 1, wrong, cell);
            if *role == Role::PassedOver {
                continue;
            }
            if cell.is_empty() {
                return Err(fault(Wrong::Empty));
            }
            if *role == Role::Time && !matches!(self.layout.time, TimeKind::Number(_)) {
                values.nanos = self.layout.nanos(cell).ok_or_else(|| fault(Wrong::NotATime))?;
                continue;
            }
            let no_number = if *role == Role::Time { Wrong::NotATime } else { Wrong::NotANumber };
            let value = whole_cell(cell, self.layout.decimal).ok_or_else(|| fault(no_number))?;
            match role {
                Role::Time => values.time = value,
                Role::Current => values.current = value,
                Role::Voltage => values.voltage = value,
                Role::Ambient | Role::PassedOver => values.ambient = value,
            }
            if !self.most.range(*role).contains(&value) {
                return Err(fault(Wrong::OutOfRange));
            }
        }
        Ok(values)
    }

    #[cold]
    fn bad(&mut self, fault: Fault) {
        self.kept.bad += 1;
        if self.kept.told.len() < MOST_TOLD {
            self.kept.told.push(fault);
        }
    }

    /// Whether the file is refused for its rows.
    pub fn refused(&self) -> bool {
        self.kept.bad > 0 && self.handling.bad_row == BadRow::Refuse || self.kept.backward > 0
    }

    /// From one row to another, s.
    #[inline]
    fn seconds(&self, from: &Values, to: &Values) -> f64 {
        match self.layout.time {
            TimeKind::Rows(period) => period,
            TimeKind::Number(unit_s) => (to.time - from.time) * unit_s,
            TimeKind::Clock { .. } | TimeKind::Elapsed => seconds(from.nanos, to.nanos),
        }
    }

    /// Takes the rows of the batch, each of which has its line.
    #[inline(always)]
    fn accept_all<'a>(&mut self, rows: usize, line: impl Fn(usize) -> &'a [u8]) {
        let held = self.block.interval.len();
        if self.kept.rows > 0 {
            let Batch { time, nanos, .. } = &self.batch;
            let interval = &mut self.block.interval;
            match self.layout.time {
                TimeKind::Rows(period) => interval.extend(std::iter::repeat_n(period, rows)),
                TimeKind::Number(unit_s) => {
                    interval.push((time[0] - self.last.time) * unit_s);
                    interval.extend(time[..rows].windows(2).map(|pair| (pair[1] - pair[0]) * unit_s));
                }
                TimeKind::Clock { .. } | TimeKind::Elapsed => {
                    interval.push(seconds(self.last.nanos, nanos[0]));
                    interval.extend(nanos[..rows].windows(2).map(|pair| seconds(pair[0], pair[1])));
                }
            }
        }
        let forward = self.block.interval[held..].iter().all(|interval| *interval > 0.0);
        if !forward || self.kept.rows == 0 {
            self.block.interval.truncate(held);
            for row in 0..rows {
                self.accept(self.batch.row(row), line(row));
                self.line += 1;
            }
            return;
        }
        let Batch { time, nanos, current, voltage, ambient } = &self.batch;
        let (block, origin_s) = (&mut self.block, self.origin_s);
        match self.layout.time {
            TimeKind::Rows(period) => {
                block.time.extend((self.kept.rows..).take(rows).map(|row| row as f64 * period));
            }
            TimeKind::Number(unit_s) => {
                let origin = self.origin.time;
                block.time.extend(time[..rows].iter().map(|time| origin_s + (time - origin) * unit_s));
            }
            TimeKind::Clock { .. } | TimeKind::Elapsed => {
                let origin = self.origin.nanos;
                block.time.extend(nanos[..rows].iter().map(|nanos| origin_s + seconds(origin, *nanos)));
            }
        }
        block.current.extend(current[..rows].iter().map(|current| current * self.layout.current));
        if self.has_voltage {
            block.voltage.extend(voltage[..rows].iter().map(|voltage| voltage * self.layout.voltage));
        }
        if self.has_ambient {
            block.ambient.extend_from_slice(&ambient[..rows]);
        }
        block.line.extend((self.line..).take(rows));
        self.last = self.batch.row(rows - 1);
        self.kept.rows += rows as u64;
        self.line += rows as u64;
        self.full();
    }

    /// Hands on a full block.
    #[inline]
    fn full(&mut self) {
        if self.block.interval.len() == INTERVALS {
            self.account.take(&mut self.block);
            self.block.go_on();
        }
    }

    #[inline]
    fn accept(&mut self, values: Values, line: &[u8]) {
        if self.kept.rows == 0 {
            self.origin = values;
        } else {
            let mut interval = self.seconds(&self.last, &values);
            if interval <= 0.0 {
                if interval == 0.0 {
                    self.kept.same_time += 1;
                } else if self.handling.backward == Backward::NewSegment {
                    // What was before goes on to where the new segment begins.
                    self.origin_s = self.block.time.last().copied().unwrap_or_default();
                    self.origin = values;
                    self.kept.segments += 1;
                    interval = 0.0;
                } else {
                    let column = self.layout.roles.iter().position(|role| *role == Role::Time).unwrap_or_default();
                    self.kept.backward += 1;
                    self.bad(Fault::of_cell(self.line, column + 1, Wrong::Backward, content(line)));
                    return;
                }
            }
            self.block.interval.push(interval);
        }
        let time = match self.layout.time {
            TimeKind::Rows(period) => self.kept.rows as f64 * period,
            _ => self.origin_s + self.seconds(&self.origin, &values),
        };
        self.last = values;
        self.kept.rows += 1;
        self.block.time.push(time);
        self.block.current.push(values.current * self.layout.current);
        if self.has_voltage {
            self.block.voltage.push(values.voltage * self.layout.voltage);
        }
        if self.has_ambient {
            self.block.ambient.push(values.ambient);
        }
        self.block.line.push(self.line);
        self.full();
    }

    /// The last row, which has no duration.
    pub fn close(&mut self) {
        if self.kept.rows > 0 {
            self.block.interval.push(0.0);
            self.account.take(&mut self.block);
        }
    }
}

/// From one point of a clock to another, s.
#[inline]
fn seconds(from: i64, to: i64) -> f64 {
    to.saturating_sub(from) as f64 / 1e9
}
