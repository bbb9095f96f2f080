//! What is wrong with a file, in words: a row that cannot be read, or a text that is none.

use serde::Serialize;
use utoipa::ToSchema;

use super::time::FORMS;
use crate::field::FieldError;

/// Letters that are told of what was given.
const MOST_GOT: usize = 80;
/// Faults that are told in full; all are counted.
pub const MOST_TOLD: usize = 20;

/// What is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wrong {
    Utf16,
    Nul,
    LongLine,
    LoneReturn,
    ManyColumns,
    Columns,
    Quote,
    Empty,
    NotANumber,
    NotATime,
    UnreadTime,
    OutOfRange,
    Backward,
    FewRows,
    NoColumns,
    Ambiguous,
    NoName,
    TwoNames,
    NoSuchColumn,
    UnknownUnit,
}

impl Wrong {
    /// The word for programs, what is wrong, and what is accepted.
    const fn words(self) -> [&'static str; 3] {
        match self {
            Self::Utf16 => ["utf-16", "The text is written in UTF-16.", "UTF-8"],
            Self::Nul => ["nul", "There is a byte of zero: this is no text.", "text in UTF-8"],
            Self::LongLine => ["long-line", "The line is longer than 65,536 bytes.", "lines of at most 65,536 bytes"],
            Self::LoneReturn => {
                ["lone-return", "A carriage return stands without a line feed.", "line ends of LF or CR LF"]
            }
            Self::ManyColumns => ["too-many-columns", "There are more than 256 columns.", "at most 256 columns"],
            Self::Columns => ["columns", "The row has another number of columns.", "as many columns as the other rows"],
            Self::Quote => ["quote", "A quotation mark is not closed, or text follows it.", "\"…\", and \"\" inside"],
            Self::Empty => ["empty", "There is no value.", "a number"],
            Self::NotANumber => ["not-a-number", "This is no number.", "digits with the decimal sign of the file"],
            Self::NotATime => {
                ["not-a-time", "This is no time as the other rows have it.", "the notation of the first row"]
            }
            Self::UnreadTime => ["unread-time", "The time is written in a form that is not read.", FORMS],
            Self::OutOfRange => [
                "out-of-range",
                "The value is beyond what is accepted.",
                "up to 1 MA, 1 MV, 10^12 s; ambient −273.15 °C to 1,000 °C",
            ],
            Self::Backward => ["backward", "Time steps back.", "rising time, or `handling.backward` as `new-segment`"],
            Self::FewRows => {
                ["too-few-rows", "There are fewer than two rows with numbers, or no file was sent.", "two rows or more"]
            }
            Self::NoColumns => [
                "no-columns",
                "No separator with a decimal sign makes columns of numbers of this.",
                "time and current in columns, or one column with `text.row_period_s`",
            ],
            Self::Ambiguous => {
                ["ambiguous", "It can be read in two ways.", "`text.separator` and `text.decimal_sign`, typed"]
            }
            Self::NoName => {
                ["no-name", "No column has a name that is known for this.", "the number of the column, typed"]
            }
            Self::TwoNames => ["two-names", "Two columns have a name for this.", "the number of the column, typed"],
            Self::NoSuchColumn => ["no-such-column", "There is no column of this number.", "a column of the file"],
            Self::UnknownUnit => ["unknown-unit", "The unit of the column is not known.", "the unit, typed"],
        }
    }
}

/// A fault at its place.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Fault {
    /// Counted from 1; comments and empty lines count. 0: the file as a whole.
    pub line: u64,
    /// Counted from 1; 0: the whole line.
    pub column: usize,
    pub wrong: Wrong,
    pub got: String,
    /// The option that would settle it.
    pub option: &'static str,
    /// Names of a column that would settle it.
    pub names: &'static [&'static str],
}

impl Fault {
    pub fn of_line(line: u64, wrong: Wrong, got: &[u8]) -> Self {
        Self::of_cell(line, 0, wrong, got)
    }

    pub fn of_cell(line: u64, column: usize, wrong: Wrong, got: &[u8]) -> Self {
        Self { line, column, wrong, got: shown(got), option: "", names: &[] }
    }

    /// One that an option settles.
    pub fn settled_by(option: &'static str, wrong: Wrong, got: String) -> Self {
        Self { line: 0, column: 0, wrong, got, option, names: &[] }
    }

    /// The row as it is told.
    pub fn row(&self) -> RowTold {
        RowTold { line: self.line, column: self.column, code: self.wrong.words()[0], got: self.got.clone() }
    }

    /// The fault as a refusal: at the option that settles it, else below the file by line and column. What concerns the whole
    /// file says what would do; twenty rows need not say it twenty times.
    pub fn refusal(&self) -> FieldError {
        let [code, message, accepted] = self.wrong.words();
        let place = match (self.line, self.column) {
            (0, _) => String::new(),
            (line, 0) => format!("Line {line}: "),
            (line, column) => format!("Line {line}, column {column}: "),
        };
        let got = if self.got.is_empty() { String::new() } else { format!(" Given: {}", self.got) };
        let accepted = match self.names {
            [] => accepted.into(),
            names => format!("a column named {}; or {accepted}", names.join(", ")),
        };
        let whole = !self.option.is_empty() || matches!(self.wrong, Wrong::NoColumns | Wrong::UnreadTime);
        let end = match (whole, got.is_empty()) {
            (false, _) => String::new(),
            (true, true) => format!(" Accepted: {accepted}."),
            (true, false) => format!(". Accepted: {accepted}."),
        };
        let field = match (self.option, self.line, self.column) {
            ("", 0, _) => "/file".into(),
            ("", line, 0) => format!("/file/{line}"),
            ("", line, column) => format!("/file/{line}/{column}"),
            (option, ..) => option.into(),
        };
        FieldError {
            field,
            code: code.into(),
            message: format!("{place}{message}{got}{end}"),
            accepted,
            got: self.got.clone(),
        }
    }
}

/// A row that was left out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RowTold {
    /// Line of the file, from 1.
    pub line: u64,
    /// Column, from 1; 0 is the whole line.
    pub column: usize,
    /// What is wrong, in a word.
    pub code: &'static str,
    /// What was given, at most 80 characters.
    pub got: String,
}

/// The beginning of what was given, without what cannot be printed.
pub(super) fn shown(got: &[u8]) -> String {
    // A character has four bytes at most.
    let text = String::from_utf8_lossy(&got[..got.len().min(4 * MOST_GOT + 4)]);
    let text = text.trim_end_matches(['\r', '\n']);
    let mut letters = text.chars().map(|letter| if letter.is_control() { '\u{FFFD}' } else { letter });
    let mut shown: String = letters.by_ref().take(MOST_GOT).collect();
    if letters.next().is_some() {
        shown.pop();
        shown.push('…');
    }
    shown
}
