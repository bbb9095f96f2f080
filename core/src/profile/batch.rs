//! Rows that are written as most are, column by column: no cell waits for another, and what a column is is asked once.

#![expect(clippy::inline_always, reason = "compiled once per kind of processor, inside the dispatching function")]

use std::ops::RangeInclusive;

use super::header::Role;
use super::number::between;
use super::recognise::{Layout, TimeKind};

/// Largest current that is a current, A; the voltage has the same bound, V.
const LARGEST: f64 = 1e6;
/// Largest time, s.
const LONGEST_S: f64 = 1e12;
const COLDEST_DEGC: f64 = -273.15;
const HOTTEST_DEGC: f64 = 1_000.0;
/// The most rows at once.
pub(super) const MOST_ROWS: usize = 256;

/// The values of a row as they are written.
#[derive(Clone, Copy, Debug)]
pub(super) struct Values {
    /// Where time is a number.
    pub time: f64,
    /// Where it is not, ns.
    pub nanos: i64,
    pub current: f64,
    pub voltage: f64,
    pub ambient: f64,
}

/// What is accepted of each value, as it is written.
#[derive(Clone, Copy, Debug)]
pub(super) struct Most {
    time: f64,
    current: f64,
    voltage: f64,
}

/// Rows by column; a column that the file does not have stays at nothing.
#[derive(Debug)]
pub(super) struct Batch {
    pub time: Vec<f64>,
    pub nanos: Vec<i64>,
    pub current: Vec<f64>,
    pub voltage: Vec<f64>,
    pub ambient: Vec<f64>,
}

impl Values {
    pub const fn blank() -> Self {
        Self { time: 0.0, nanos: 0, current: 0.0, voltage: 0.0, ambient: 0.0 }
    }
}

impl Most {
    pub fn of(layout: &Layout) -> Self {
        let unit_s = if let TimeKind::Number(unit_s) = layout.time { unit_s } else { 1.0 };
        Self { time: LONGEST_S / unit_s, current: LARGEST / layout.current.abs(), voltage: LARGEST / layout.voltage }
    }

    /// From where to where a value of a column can be one.
    #[inline(always)]
    pub fn range(&self, role: Role) -> RangeInclusive<f64> {
        match role {
            Role::Time => -self.time..=self.time,
            Role::Current => -self.current..=self.current,
            Role::Voltage => -self.voltage..=self.voltage,
            Role::Ambient => COLDEST_DEGC..=HOTTEST_DEGC,
            Role::PassedOver => f64::NEG_INFINITY..=f64::INFINITY,
        }
    }
}

impl Batch {
    pub fn new() -> Self {
        let room = || vec![0.0; MOST_ROWS];
        Self { time: room(), nanos: vec![0; MOST_ROWS], current: room(), voltage: room(), ambient: room() }
    }

    /// The values of one of its rows.
    pub fn row(&self, row: usize) -> Values {
        Values {
            time: self.time[row],
            nanos: self.nanos[row],
            current: self.current[row],
            voltage: self.voltage[row],
            ambient: self.ambient[row],
        }
    }

    /// How many of so many rows are written as most are; their values stand here then. Cells stand between neighbours of
    /// the places.
    #[inline(always)]
    pub fn read(&mut self, lines: &[u8], places: &[u32], layout: &Layout, most: &Most, mut rows: usize) -> usize {
        let columns = layout.roles.len();
        for (column, role) in layout.roles.iter().enumerate() {
            if rows == 0 {
                break;
            }
            let cells = Cells { lines, places, columns, column, layout };
            rows = match role {
                Role::Time if !matches!(layout.time, TimeKind::Number(_)) => cells.times(&mut self.nanos[..rows]),
                Role::Time => cells.numbers(&mut self.time[..rows], most.range(Role::Time)),
                Role::Current => cells.numbers(&mut self.current[..rows], most.range(Role::Current)),
                Role::Voltage => cells.numbers(&mut self.voltage[..rows], most.range(Role::Voltage)),
                Role::Ambient => cells.numbers(&mut self.ambient[..rows], most.range(Role::Ambient)),
                Role::PassedOver => cells.passed(rows),
            };
        }
        rows
    }
}

/// One column of rows.
struct Cells<'a> {
    lines: &'a [u8],
    places: &'a [u32],
    columns: usize,
    column: usize,
    layout: &'a Layout,
}

impl Cells<'_> {
    /// From where to where the cell of a row stands, when it ends as it should.
    #[inline(always)]
    fn cell(&self, row: usize) -> Option<(usize, usize)> {
        let place = row * self.columns + self.column;
        let places: &[u32; 2] = self.places.get(place..)?.first_chunk()?;
        let (mut from, mut to) = (places[0].wrapping_add(1) as usize, places[1] as usize);
        let last = self.column + 1 == self.columns;
        if self.lines[to] != if last { b'\n' } else { self.layout.separator } {
            return None;
        }
        if last && to > from && self.lines[to - 1] == b'\r' {
            to -= 1;
        }
        while self.lines[from] == b' ' {
            from += 1;
        }
        while to > from && self.lines[to - 1] == b' ' {
            to -= 1;
        }
        Some((from, to))
    }

    /// Reads numbers from the first row until one is unusual; how many.
    #[inline(always)]
    fn numbers(&self, values: &mut [f64], range: RangeInclusive<f64>) -> usize {
        let (mut rows, decimal) = (values.len(), self.layout.decimal);
        for (row, value) in values.iter_mut().enumerate() {
            let Some(number) = self.cell(row).and_then(|(from, to)| between(self.lines, from, to, decimal)) else {
                rows = row;
                break;
            };
            *value = number;
        }
        let values = &values[..rows];
        // Together, because it hardly ever happens.
        if values.iter().fold(true, |inside, value| inside & range.contains(value)) {
            return rows;
        }
        values.iter().take_while(|value| range.contains(value)).count()
    }

    /// The same for points of a clock.
    fn times(&self, values: &mut [i64]) -> usize {
        let rows = values.len();
        for (row, value) in values.iter_mut().enumerate() {
            match self.cell(row).and_then(|(from, to)| self.layout.nanos(self.lines.get(from..to)?)) {
                Some(nanos) => *value = nanos,
                None => return row,
            }
        }
        rows
    }

    /// How many rows have a plain cell here, and are no comment with the cells that it happens to have.
    fn passed(&self, rows: usize) -> usize {
        let plain = |row: &usize| {
            self.cell(*row).and_then(|(from, to)| self.lines.get(from..to)).is_some_and(|cell| {
                let beside = self.column == 0 && matches!(cell.first(), Some(b'#' | b'%' | b'/' | b'\t'));
                !beside && cell.first() != Some(&b'"') && !cell.contains(&b'\r')
            })
        };
        (0..rows).take_while(plain).count()
    }
}
