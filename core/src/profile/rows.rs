//! Rows of numbers from whole lines: the usual row in one pass over its bytes, every other one cell by cell.

use std::ops::Range;

use super::account::Account;
use super::block::{Block, INTERVALS};
use super::cells::{MOST_COLUMNS, split};
use super::fault::{Fault, MOST_TOLD, Wrong};
use super::header::Role;
use super::lines::{content, within};
use super::marks::Marks;
use super::number::{between, whole_cell};
use super::options::{Backward, BadRow, Handling};
use super::recognise::{Layout, TimeKind, is_beside};
use super::time::{clock, elapsed};

/// Largest current that is a current, A; the voltage has the same bound, V.
const LARGEST: f64 = 1e6;
/// Largest time, s.
const LONGEST_S: f64 = 1e12;
const COLDEST_DEGC: f64 = -273.15;
const HOTTEST_DEGC: f64 = 1_000.0;

/// The values of a row as they are written.
#[derive(Clone, Copy, Debug)]
struct Values {
    /// Where time is a number.
    time: f64,
    /// Where it is not, ns.
    nanos: i64,
    current: f64,
    voltage: f64,
    ambient: f64,
}

#[derive(Clone, Copy, Debug)]
struct Most {
    time: f64,
    current: f64,
    voltage: f64,
}

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
    /// What is accepted of each value, as it is written.
    most: Most,
    cells: Vec<Range<usize>>,
    has_voltage: bool,
    has_ambient: bool,
    /// Whether time is written as a number.
    numbered: bool,
    marks: Marks,
}

impl Values {
    const fn blank() -> Self {
        Self { time: 0.0, nanos: 0, current: 0.0, voltage: 0.0, ambient: 0.0 }
    }
}

impl Rows {
    pub fn new(layout: Layout, handling: Handling, account: Account) -> Self {
        let unit_s = if let TimeKind::Number(unit_s) = layout.time { unit_s } else { 1.0 };
        let most = Most {
            time: LONGEST_S / unit_s,
            current: LARGEST / layout.current.abs(),
            voltage: LARGEST / layout.voltage,
        };
        Self {
            has_voltage: layout.has(Role::Voltage),
            has_ambient: layout.has(Role::Ambient),
            numbered: matches!(layout.time, TimeKind::Number(_)),
            marks: Marks::new(),
            layout,
            handling,
            kept: Kept::default(),
            line: 1,
            block: Block::new(),
            account,
            origin: Values::blank(),
            origin_s: 0.0,
            last: Values::blank(),
            most,
            cells: Vec::new(),
        }
    }

    /// Reads whole lines.
    pub fn take(&mut self, lines: &[u8]) -> Result<(), Fault> {
        let mut marks = std::mem::replace(&mut self.marks, Marks::new());
        let taken = self.windows(lines, &mut marks);
        self.marks = marks;
        taken
    }

    fn windows(&mut self, mut lines: &[u8], marks: &mut Marks) -> Result<(), Fault> {
        let columns = self.layout.roles.len();
        while !lines.is_empty() {
            marks.find(lines, self.layout.separator);
            let places = marks.places();
            let (mut from, mut mark) = (0, 0);
            loop {
                let row = places.get(mark..mark + columns);
                if let Some((values, end)) = row.and_then(|row| self.usual(lines, from, row)) {
                    self.accept(values, &lines[from..end]);
                    from = end + 1;
                    mark += columns;
                } else {
                    let ends = |place: &u32| lines[*place as usize] == b'\n';
                    let Some(passed) = places.get(mark..).and_then(|places| places.iter().position(ends)) else {
                        break;
                    };
                    let end = places[mark + passed] as usize;
                    self.one(&lines[from..=end])?;
                    from = end + 1;
                    mark += passed + 1;
                }
                self.line += 1;
            }
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

    /// A row whose cells end at these marks, when it is written as most are, and its end.
    #[inline]
    fn usual(&self, lines: &[u8], mut from: usize, marks: &[u32]) -> Option<(Values, usize)> {
        let mut values = Values::blank();
        let (separator, last) = (self.layout.separator, marks.len() - 1);
        // A comment has the cells that it has.
        let beside =
            self.layout.roles[0] == Role::PassedOver && matches!(lines[from], b'#' | b'%' | b'/' | b' ' | b'\t');
        if beside || self.line < self.layout.header.end {
            return None;
        }
        for (column, (role, mark)) in self.layout.roles.iter().zip(marks).enumerate() {
            let mark = *mark as usize;
            let mut to = mark;
            if column < last {
                if lines[mark] != separator {
                    return None;
                }
            } else if lines[mark] != b'\n' {
                return None;
            } else if mark > from && lines[mark - 1] == b'\r' {
                to -= 1;
            }
            while lines[from] == b' ' {
                from += 1;
            }
            while to > from && lines[to - 1] == b' ' {
                to -= 1;
            }
            match role {
                Role::Time if self.numbered => values.time = self.number(lines, from, to)?,
                Role::Time => values.nanos = self.nanos(lines.get(from..to)?)?,
                Role::Current => values.current = self.number(lines, from, to)?,
                Role::Voltage => values.voltage = self.number(lines, from, to)?,
                Role::Ambient => values.ambient = self.number(lines, from, to)?,
                Role::PassedOver => {
                    let cell = lines.get(from..to)?;
                    if cell.first() == Some(&b'"') || cell.contains(&b'\r') {
                        return None;
                    }
                }
            }
            from = mark + 1;
        }
        self.in_range(&values).then_some((values, from - 1))
    }

    #[inline]
    fn number(&self, lines: &[u8], from: usize, to: usize) -> Option<f64> {
        between(lines, from, to, self.layout.decimal)
    }

    fn nanos(&self, cell: &[u8]) -> Option<i64> {
        match self.layout.time {
            TimeKind::Clock { zoned } => clock(cell).filter(|clock| clock.zoned == zoned).map(|clock| clock.nanos),
            _ => elapsed(cell),
        }
    }

    #[inline]
    fn in_range(&self, values: &Values) -> bool {
        values.current.abs() <= self.most.current
            && values.time.abs() <= self.most.time
            && values.voltage.abs() <= self.most.voltage
            && COLDEST_DEGC <= values.ambient
            && values.ambient <= HOTTEST_DEGC
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
        debug_assert!(cells.len() <= MOST_COLUMNS);
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
            if *role == Role::Time && !self.numbered {
                values.nanos = self.nanos(cell).ok_or_else(|| fault(Wrong::NotATime))?;
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
            // The ones before it were in their ranges.
            if !self.in_range(&values) {
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
            TimeKind::Clock { .. } | TimeKind::Elapsed => to.nanos.saturating_sub(from.nanos) as f64 / 1e9,
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
        if self.block.interval.len() == INTERVALS {
            self.account.take(&mut self.block);
            self.block.go_on();
        }
    }

    /// The last row, which has no duration.
    pub fn close(&mut self) {
        if self.kept.rows > 0 {
            self.block.interval.push(0.0);
            self.account.take(&mut self.block);
        }
    }
}
