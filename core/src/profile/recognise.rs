//! # How a text is to be read
//!
//! From the first lines: the pair of separator and decimal sign that fits most of them, the header, columns and units.
//! What is typed counts; what is recognised is told with its reason; what could be two things is refused.

use std::ops::Range;

use serde::Serialize;
use utoipa::ToSchema;

use super::cells::split;
use super::fault::{Fault, Wrong, shown};
use super::header::{Head, Quantity, Role};
use super::lines::content;
use super::number::whole_cell;
use super::options::{CurrentUnit, DecimalSign, Separator, Sign, Text, TimeUnit, VoltageUnit};
use super::time::{clock, elapsed, is_unread};

/// Lines of data that are looked at.
const LOOKED_AT: u64 = 200;
/// Bytes that are looked at: lines may be long.
const MOST_BYTES: usize = 256 * 1024;
/// From here a bare number is a time since 1970, in seconds.
const SINCE_1970_S: f64 = 1e8;
/// From here it is one in milliseconds.
const SINCE_1970_MS: f64 = 1e11;

/// How time is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum TimeKind {
    /// There is none: so much from row to row, s.
    Rows(f64),
    /// Numbers, and how many seconds one is.
    Number(f64),
    /// Date and time of day, with or without an offset.
    Clock { zoned: bool },
    /// hh:mm:ss.
    Elapsed,
}

/// How a text is read.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Layout {
    pub separator: u8,
    pub decimal: u8,
    pub roles: Vec<Role>,
    pub time: TimeKind,
    /// Ampere of one, signed: discharge is positive.
    pub current: f64,
    /// Volt of one.
    pub voltage: f64,
    /// Lines of the header, by their number.
    pub header: Range<u64>,
    pub told: Vec<Recognised>,
}

impl Layout {
    pub fn has(&self, role: Role) -> bool {
        self.roles.contains(&role)
    }

    /// The time of a cell where it is no number, ns.
    pub fn nanos(&self, cell: &[u8]) -> Option<i64> {
        match self.time {
            TimeKind::Clock { zoned } => clock(cell).filter(|clock| clock.zoned == zoned).map(|clock| clock.nanos),
            _ => elapsed(cell),
        }
    }
}

/// How one thing of the text was taken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Recognised {
    /// The option that would change it, as a JSON Pointer.
    pub option: &'static str,
    /// How it was taken, as the option would say it.
    pub value: String,
    /// Why.
    pub because: String,
}

/// What a cell of the first lines may be.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Cell {
    Number(f64),
    Clock(i64, bool),
    Elapsed(i64),
    Missing,
    Word,
}

impl Cell {
    fn of(cell: &[u8], decimal: u8) -> Self {
        if let Some(value) = whole_cell(cell, decimal) {
            return if value.is_finite() { Self::Number(value) } else { Self::Missing };
        }
        if let Some(clock) = clock(cell) {
            return Self::Clock(clock.nanos, clock.zoned);
        }
        if let Some(nanos) = elapsed(cell) {
            return Self::Elapsed(nanos);
        }
        let named = ["", "nan", "inf", "+inf", "-inf", "infinity", "-infinity", "null", "na", "n/a"];
        let missing = named.iter().any(|name| cell.eq_ignore_ascii_case(name.as_bytes()));
        if missing { Self::Missing } else { Self::Word }
    }

    const fn is_value(self) -> bool {
        !matches!(self, Self::Missing | Self::Word)
    }
}

/// The first lines of a text, until there are enough of them.
#[derive(Debug, Default)]
pub(super) struct Sample {
    pub bytes: Vec<u8>,
    data: u64,
}

impl Sample {
    /// Takes one line; whether it is enough.
    pub fn take(&mut self, line: &[u8]) -> bool {
        self.bytes.extend_from_slice(line);
        self.data += u64::from(!is_beside(content(line)));
        // Two lines of a header may be among them.
        self.data >= LOOKED_AT + 2 || self.bytes.len() >= MOST_BYTES
    }
}

/// Whether a line is a comment, or empty.
pub(super) fn is_beside(line: &[u8]) -> bool {
    let line = line.trim_ascii_start();
    line.is_empty() || line.starts_with(b"#") || line.starts_with(b"%") || line.starts_with(b"//")
}

/// One way to read the first lines.
struct Way<'a> {
    separator: (u8, Separator),
    decimal: (u8, DecimalSign),
    head: Vec<(u64, Vec<&'a [u8]>)>,
    /// Lines that have the usual number of columns.
    rows: Vec<Vec<Cell>>,
    /// The first of them, by its number and as it is written.
    first: Option<(u64, Vec<&'a [u8]>)>,
    columns: usize,
    /// Lines of which every cell is a value or missing.
    full: usize,
    /// Lines with enough values.
    part: usize,
}

/// How the first lines are to be read.
pub(super) fn recognise(sample: &[u8], text: &Text) -> Result<Layout, Vec<Fault>> {
    let lines: Vec<(u64, &[u8])> = (1_u64..)
        .zip(sample.split_inclusive(|byte| *byte == b'\n').map(content))
        .filter(|(_, line)| !is_beside(line))
        .collect();
    if lines.is_empty() {
        return Err(vec![Fault::settled_by("", Wrong::FewRows, String::new())]);
    }
    let mut too_many = None;
    let mut ways: Vec<Way> = Vec::new();
    for separator in separators(text.separator) {
        for decimal in decimals(text.decimal_sign) {
            if separator.0 != decimal.0 {
                ways.extend(Way::of(&lines, separator, decimal, text, &mut too_many));
            }
        }
    }
    let best = ways.iter().map(|way| (way.full, way.part)).max().unwrap_or_default();
    ways.retain(|way| (way.full, way.part) == best && way.part > 0);
    let Some(way) = ways.first() else {
        return Err(vec![too_many.unwrap_or_else(|| {
            let (number, line) = *lines.get(1).unwrap_or(&lines[0]);
            let cells = line.split(|byte| matches!(byte, b',' | b';' | b'\t' | b'|'));
            let dated = cells.map(<[u8]>::trim_ascii).any(is_unread);
            Fault::of_line(number, if dated { Wrong::UnreadTime } else { Wrong::NoColumns }, line)
        })]);
    };
    if let Some(other) = ways[1..].iter().find(|other| other.rows != way.rows) {
        let got = format!("{} or {}: {}", way.words(), other.words(), shown(lines.last().map_or(&[], |line| line.1)));
        return Err(vec![Fault::settled_by("/text/separator", Wrong::Ambiguous, shown(got.as_bytes()))]);
    }
    way.layout(text, lines.len())
}

fn separators(chosen: Separator) -> Vec<(u8, Separator)> {
    let all = [
        (b',', Separator::Comma),
        (b';', Separator::Semicolon),
        (b'\t', Separator::Tab),
        (b'|', Separator::Bar),
        (b' ', Separator::Spaces),
    ];
    all.into_iter().filter(|(_, one)| chosen == Separator::Recognised || *one == chosen).collect()
}

fn decimals(chosen: DecimalSign) -> Vec<(u8, DecimalSign)> {
    let all = [(b'.', DecimalSign::Point), (b',', DecimalSign::Comma)];
    all.into_iter().filter(|(_, one)| chosen == DecimalSign::Recognised || *one == chosen).collect()
}

impl<'a> Way<'a> {
    fn of(
        lines: &[(u64, &'a [u8])],
        separator: (u8, Separator),
        decimal: (u8, DecimalSign),
        text: &Text,
        too_many: &mut Option<Fault>,
    ) -> Option<Self> {
        let mut head = Vec::new();
        let mut rows: Vec<Vec<Cell>> = Vec::new();
        let mut written = Vec::new();
        let mut ranges = Vec::new();
        for (number, line) in lines {
            match split(line, separator.0, &mut ranges) {
                Ok(()) => {}
                Err(Wrong::ManyColumns) => {
                    *too_many = Some(Fault::of_line(*number, Wrong::ManyColumns, line));
                    return None;
                }
                Err(_) => continue,
            }
            let cells: Vec<Cell> = ranges.iter().map(|range| Cell::of(&line[range.clone()], decimal.0)).collect();
            let named = cells.contains(&Cell::Word) && !cells.iter().any(|cell| cell.is_value());
            if named && rows.is_empty() && head.len() < 2 {
                head.push((*number, ranges.iter().map(|range| &line[range.clone()]).collect()));
            } else {
                rows.push(cells);
                written.push((*number, *line));
            }
        }
        let columns = usual(rows.iter().map(Vec::len))?;
        let needed = if text.row_period_s.is_some() { 1 } else { 2 };
        let first = rows.iter().position(|cells| cells.len() == columns).map(|row| {
            let (number, line) = written[row];
            // It was split like this before.
            let _ = split(line, separator.0, &mut ranges);
            (number, ranges.iter().map(|range| &line[range.clone()]).collect())
        });
        rows.retain(|cells| cells.len() == columns);
        let full = rows.iter().filter(|cells| columns >= needed && !cells.contains(&Cell::Word)).count();
        let part = rows.iter().filter(|cells| cells.iter().filter(|cell| cell.is_value()).count() >= needed).count();
        Some(Self { separator, decimal, head, rows, first, columns, full, part })
    }

    /// No cell of the column of time is one.
    fn unread(&self, column: usize) -> Fault {
        let (line, got) = match &self.first {
            Some((line, cells)) => (*line, cells.get(column).map_or_else(String::new, |cell| shown(cell))),
            None => (0, String::new()),
        };
        let fault = Fault::settled_by(Quantity::Time.option(), Wrong::UnreadTime, got);
        Fault { line, column: column + 1, ..fault }
    }

    fn words(&self) -> String {
        format!("{} with {}", self.separator.1.word(), self.decimal.1.word())
    }

    /// Columns, units and notations.
    fn layout(&self, text: &Text, looked_at: usize) -> Result<Layout, Vec<Fault>> {
        let head = Head::of(&self.head, self.columns);
        let mut told = Vec::new();
        let fits = format!("fits {} of the first {looked_at} lines", self.full.max(self.part));
        let why = |typed: bool, why: &str| if typed { "typed".to_owned() } else { why.to_owned() };
        let mut tell = |option: &'static str, value: String, because: String| {
            told.push(Recognised { option, value, because });
        };
        let typed = text.separator != Separator::Recognised;
        tell("/text/separator", self.separator.1.word().into(), why(typed, &fits));
        let typed = text.decimal_sign != DecimalSign::Recognised;
        tell("/text/decimal_sign", self.decimal.1.word().into(), why(typed, &fits));

        let places = head.places(text).map_err(|fault| vec![fault])?;
        let mut roles = vec![Role::PassedOver; self.columns];
        for (quantity, place) in &places {
            roles[place.column] = quantity.role();
            tell(quantity.option(), (place.column + 1).to_string(), place.because.clone());
        }
        let column = |wanted: Quantity| places.iter().find(|(quantity, _)| *quantity == wanted).map(|(_, place)| place);
        let time = match (column(Quantity::Time), text.row_period_s) {
            (None, period) => TimeKind::Rows(period.unwrap_or(1.0)),
            (Some(place), _) => {
                let first = self.rows.iter().map(|row| row[place.column]).find(|cell| cell.is_value());
                match first {
                    Some(Cell::Clock(_, zoned)) => {
                        tell("/text/time_unit", "date and time".into(), "as it is written".into());
                        TimeKind::Clock { zoned }
                    }
                    Some(Cell::Elapsed(_)) => {
                        tell("/text/time_unit", "hh:mm:ss".into(), "as it is written".into());
                        TimeKind::Elapsed
                    }
                    Some(Cell::Number(first)) => {
                        let (unit, because) = match head.unit(place.column, Quantity::Time) {
                            _ if text.time_unit != TimeUnit::Recognised => (text.time_unit, "typed"),
                            Err(faults) => return Err(faults),
                            Ok(Some(named)) => (named.time(), "the header says it"),
                            Ok(None) if first.abs() >= SINCE_1970_MS => (TimeUnit::Millisecond, "so large: since 1970"),
                            Ok(None) if first.abs() >= SINCE_1970_S => (TimeUnit::Second, "so large: since 1970"),
                            Ok(None) => (TimeUnit::Second, "assumed"),
                        };
                        tell("/text/time_unit", unit.word().into(), because.into());
                        TimeKind::Number(unit.seconds())
                    }
                    _ => return Err(vec![self.unread(place.column)]),
                }
            }
        };
        let Some(current) = column(Quantity::Current) else {
            return Err(vec![head.unnamed(Quantity::Current)]);
        };
        let (unit, because) = match head.unit(current.column, Quantity::Current) {
            _ if text.current_unit != CurrentUnit::Recognised => (text.current_unit, "typed"),
            Err(faults) => return Err(faults),
            Ok(Some(named)) => (named.current(), "the header says it"),
            Ok(None) => (CurrentUnit::Ampere, "assumed"),
        };
        tell("/text/current_unit", unit.word().into(), because.into());
        let (sign, because) = match text.sign {
            Sign::Recognised if head.says_charge(current.column) => (Sign::Charge, "the header says charge"),
            Sign::Recognised => (Sign::Discharge, "assumed"),
            typed => (typed, "typed"),
        };
        tell("/text/sign", sign.word().into(), because.into());
        let factor = if sign == Sign::Charge { -unit.amperes() } else { unit.amperes() };
        let mut volts = 1.0;
        if let Some(place) = column(Quantity::Voltage) {
            let (unit, because) = match head.unit(place.column, Quantity::Voltage) {
                _ if text.voltage_unit != VoltageUnit::Recognised => (text.voltage_unit, "typed"),
                Err(faults) => return Err(faults),
                Ok(Some(named)) => (named.voltage(), "the header says it"),
                Ok(None) => (VoltageUnit::Volt, "assumed"),
            };
            tell("/text/voltage_unit", unit.word().into(), because.into());
            volts = unit.volts();
        }
        let header =
            self.head.first().map_or(0..0, |(first, _)| *first..self.head.last().map_or(*first, |(last, _)| *last) + 1);
        Ok(Layout {
            separator: self.separator.0,
            decimal: self.decimal.0,
            roles,
            time,
            current: factor,
            voltage: volts,
            header,
            told,
        })
    }
}

/// The count that occurs most often; of several the largest.
fn usual(counts: impl Iterator<Item = usize>) -> Option<usize> {
    let mut counts: Vec<usize> = counts.collect();
    counts.sort_unstable();
    counts.chunk_by(|a, b| a == b).max_by_key(|run| run.len()).map(|run| run[0])
}
