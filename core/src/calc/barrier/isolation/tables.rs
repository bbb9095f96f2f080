//! # The tables of the insulation standard, as data
//!
//! Every row says what it is worth: read in a public text, or written from memory. A table can be replaced as a whole by
//! typed rows of another edition. Looking something up is the same for all: between two rows the straight line or the next
//! row, below the first row the first row, above the last nothing.
//!
//! ```text
//! Source   IEC 60664-1:2020 Annex F (tables F.1, F.2, F.5, F.8, the altitude factors of the informative annex); rows marked
//!          as read were read in a public transcription, the others are from memory: check the edition that applies
//! ```

use std::borrow::Cow;

use serde::Serialize;
use utoipa::ToSchema;

use crate::quantity::Unit;

/// What a number of a table is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RowStatus {
    /// Read in a public text of the standard.
    Read,
    /// Typed by the user.
    Typed,
    /// Written from memory.
    Memory,
}

impl RowStatus {
    /// In a word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Typed => "typed",
            Self::Memory => "from memory",
        }
    }
}

/// Most columns of a table.
const COLUMNS: usize = 9;

/// A row: where it holds, and a value in each column; not a number where there is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// The voltage or altitude of the row.
    pub at: f64,
    /// The values.
    pub values: [f64; COLUMNS],
    /// What each is worth.
    pub status: [RowStatus; COLUMNS],
}

/// A row of which all is worth the same.
pub const fn line<const N: usize>(at: f64, values: [f64; N], status: RowStatus) -> Line {
    line_of(at, values, [status; N])
}

const fn line_of<const N: usize>(at: f64, values: [f64; N], status: [RowStatus; N]) -> Line {
    let mut whole = Line { at, values: [f64::NAN; COLUMNS], status: [RowStatus::Read; COLUMNS] };
    let mut column = 0;
    while column < N {
        whole.values[column] = values[column];
        whole.status[column] = status[column];
        column += 1;
    }
    whole
}

/// A table: what it is, and its rows.
#[derive(Debug)]
pub struct Table {
    /// Unique in the page.
    pub id: &'static str,
    /// What it says.
    pub title: &'static str,
    /// Standard, edition and clause.
    pub source: &'static str,
    /// What the rows go by.
    pub head: &'static str,
    /// Its unit.
    pub axis: Unit,
    /// The unit of the values.
    pub unit: Unit,
    /// The headings of the columns.
    pub columns: &'static [&'static str],
    /// The list of the input whose rows replace it.
    pub own: &'static str,
    /// The rows, ascending.
    pub lines: &'static [Line],
}

const R: RowStatus = RowStatus::Read;
const M: RowStatus = RowStatus::Memory;

const fn read<const N: usize>(at: f64, values: [f64; N]) -> Line {
    line(at, values, R)
}

/// Rated impulse voltage by line-to-neutral voltage and overvoltage category.
pub static IMPULSE: Table = Table {
    id: "table-impulse",
    title: "Rated impulse voltage",
    source: "IEC 60664-1:2020 Table F.1",
    head: "Line to neutral, up to",
    axis: Unit::Volt,
    unit: Unit::Volt,
    columns: &["Category I", "Category II", "Category III", "Category IV"],
    own: "/tables/impulse",
    lines: &[
        read(50.0, [330.0, 500.0, 800.0, 1500.0]),
        read(100.0, [500.0, 800.0, 1500.0, 2500.0]),
        read(150.0, [800.0, 1500.0, 2500.0, 4000.0]),
        read(300.0, [1500.0, 2500.0, 4000.0, 6000.0]),
        read(600.0, [2500.0, 4000.0, 6000.0, 8000.0]),
        read(1000.0, [4000.0, 6000.0, 8000.0, 12_000.0]),
        line(1250.0, [4000.0, 6000.0, 8000.0, 12_000.0], M),
        line(1500.0, [6000.0, 8000.0, 10_000.0, 15_000.0], M),
    ],
};

/// A row in which the values of pollution degree 2 and 3 are a floor from memory.
const fn floors(at: f64, degree_1: f64) -> Line {
    line_of(at, [degree_1, 0.2, 0.8], [R, M, M])
}

/// A row in which the value of pollution degree 3 is a floor from memory.
const fn floor(at: f64, both: f64) -> Line {
    line_of(at, [both, both, 0.8], [R, R, M])
}

const fn alike(at: f64, value: f64) -> Line {
    read(at, [value; 3])
}

/// Clearance by impulse voltage, inhomogeneous field, up to 2000 m.
pub static CLEARANCE: Table = Table {
    id: "table-clearance",
    title: "Clearance by impulse voltage, inhomogeneous field",
    source: "IEC 60664-1:2020 Table F.2 case A",
    head: "Impulse voltage",
    axis: Unit::Volt,
    unit: Unit::Millimetre,
    columns: &["Pollution degree 1", "Pollution degree 2", "Pollution degree 3"],
    own: "/tables/clearance",
    lines: &[
        floors(330.0, 0.01),
        floors(400.0, 0.02),
        floors(500.0, 0.04),
        floors(600.0, 0.06),
        floors(800.0, 0.1),
        floors(1000.0, 0.15),
        floor(1200.0, 0.25),
        floor(1500.0, 0.5),
        alike(2000.0, 1.0),
        alike(2500.0, 1.5),
        alike(3000.0, 2.0),
        alike(4000.0, 3.0),
        alike(5000.0, 4.0),
        alike(6000.0, 5.5),
        alike(8000.0, 8.0),
        alike(10e3, 11.0),
        alike(12e3, 14.0),
        alike(15e3, 18.0),
        alike(20e3, 25.0),
        alike(25e3, 33.0),
        alike(30e3, 40.0),
        alike(40e3, 60.0),
        alike(50e3, 75.0),
        alike(60e3, 90.0),
        alike(80e3, 130.0),
        alike(100e3, 170.0),
    ],
};

/// Clearance by impulse voltage, homogeneous field: only with a withstand test.
pub static HOMOGENEOUS: Table = Table {
    id: "table-homogeneous",
    title: "Clearance by impulse voltage, homogeneous field",
    source: "IEC 60664-1:2020 Table F.2 case B",
    head: "Impulse voltage",
    axis: Unit::Volt,
    unit: Unit::Millimetre,
    columns: &["Clearance"],
    own: "/tables/homogeneous",
    lines: &[
        read(1500.0, [0.3]),
        read(2500.0, [0.6]),
        read(4000.0, [1.2]),
        read(6000.0, [2.0]),
        read(8000.0, [3.0]),
        read(12e3, [4.5]),
    ],
};

/// Clearance by recurring peak, inhomogeneous field, up to 2000 m.
pub static PEAK: Table = Table {
    id: "table-peak",
    title: "Clearance by recurring peak or temporary overvoltage",
    source: "IEC 60664-1:2020 Table F.8 case A",
    head: "Peak voltage",
    axis: Unit::Volt,
    unit: Unit::Millimetre,
    columns: &["Clearance"],
    own: "/tables/peak",
    lines: &[
        read(40.0, [0.001]),
        read(60.0, [0.002]),
        read(100.0, [0.003]),
        read(120.0, [0.004]),
        read(150.0, [0.005]),
        read(200.0, [0.006]),
        read(250.0, [0.008]),
        read(330.0, [0.01]),
        read(400.0, [0.02]),
        read(500.0, [0.04]),
        read(600.0, [0.06]),
        read(800.0, [0.13]),
        read(1000.0, [0.26]),
        read(1200.0, [0.42]),
        read(1500.0, [0.76]),
        read(2000.0, [1.27]),
        read(2500.0, [1.8]),
        read(3000.0, [2.4]),
        read(4000.0, [3.8]),
        read(5000.0, [5.7]),
        read(6000.0, [7.9]),
        read(8000.0, [11.0]),
        read(10e3, [15.2]),
    ],
};

/// The columns of the creepage table.
pub mod creepage {
    /// Printed wiring, pollution degree 1 and 2.
    pub const WIRING: [usize; 2] = [0, 1];
    /// Pollution degree 1, every group.
    pub const DEGREE_1: usize = 2;
    /// Pollution degree 2, group I; II and III follow.
    pub const DEGREE_2: usize = 3;
    /// Pollution degree 3, group I; II and III follow.
    pub const DEGREE_3: usize = 6;
}

const NONE: f64 = f64::NAN;

/// Creepage distance of basic insulation.
pub static CREEPAGE: Table = Table {
    id: "table-creepage",
    title: "Creepage distance of basic insulation",
    source: "IEC 60664-1:2020 Table F.5",
    head: "Working voltage",
    axis: Unit::Volt,
    unit: Unit::Millimetre,
    columns: &[
        "Printed wiring, degree 1",
        "Printed wiring, degree 2",
        "Degree 1",
        "Degree 2, I",
        "Degree 2, II",
        "Degree 2, III",
        "Degree 3, I",
        "Degree 3, II",
        "Degree 3, III",
    ],
    own: "/tables/creepage",
    lines: &[
        read(10.0, [0.025, 0.04, 0.08, 0.4, 0.4, 0.4, 1.0, 1.0, 1.0]),
        read(12.5, [0.025, 0.04, 0.09, 0.42, 0.42, 0.42, 1.05, 1.05, 1.05]),
        read(16.0, [0.025, 0.04, 0.1, 0.45, 0.45, 0.45, 1.1, 1.1, 1.1]),
        read(20.0, [0.025, 0.04, 0.11, 0.48, 0.48, 0.48, 1.2, 1.2, 1.2]),
        read(25.0, [0.025, 0.04, 0.125, 0.5, 0.5, 0.5, 1.25, 1.25, 1.25]),
        read(32.0, [0.025, 0.04, 0.14, 0.53, 0.53, 0.53, 1.3, 1.3, 1.3]),
        read(40.0, [0.025, 0.04, 0.16, 0.56, 0.8, 1.1, 1.4, 1.6, 1.8]),
        read(50.0, [0.025, 0.04, 0.18, 0.6, 0.85, 1.2, 1.5, 1.7, 1.9]),
        read(63.0, [0.04, 0.063, 0.2, 0.63, 0.9, 1.25, 1.6, 1.8, 2.0]),
        read(80.0, [0.063, 0.1, 0.22, 0.67, 0.95, 1.3, 1.7, 1.9, 2.1]),
        read(100.0, [0.1, 0.16, 0.25, 0.71, 1.0, 1.4, 1.8, 2.0, 2.2]),
        read(125.0, [0.16, 0.25, 0.28, 0.75, 1.05, 1.5, 1.9, 2.1, 2.4]),
        read(160.0, [0.25, 0.4, 0.32, 0.8, 1.1, 1.6, 2.0, 2.2, 2.5]),
        read(200.0, [0.4, 0.63, 0.42, 1.0, 1.4, 2.0, 2.5, 2.8, 3.2]),
        read(250.0, [0.56, 1.0, 0.56, 1.25, 1.8, 2.5, 3.2, 3.6, 4.0]),
        read(320.0, [0.75, 1.6, 0.75, 1.6, 2.2, 3.2, 4.0, 4.5, 5.0]),
        read(400.0, [1.0, 2.0, 1.0, 2.0, 2.8, 4.0, 5.0, 5.6, 6.3]),
        read(500.0, [1.3, 2.5, 1.3, 2.5, 3.6, 5.0, 6.3, 7.1, 8.0]),
        read(630.0, [1.8, 3.2, 1.8, 3.2, 4.5, 6.3, 8.0, 9.0, 10.0]),
        read(800.0, [2.4, 4.0, 2.4, 4.0, 5.6, 8.0, 10.0, 11.0, 12.5]),
        read(1000.0, [3.2, 5.0, 3.2, 5.0, 7.1, 10.0, 12.5, 14.0, 16.0]),
        read(1250.0, [NONE, NONE, 4.2, 6.3, 9.0, 12.5, 16.0, 18.0, 20.0]),
        read(1600.0, [NONE, NONE, 5.6, 8.0, 11.0, 16.0, 20.0, 22.0, 25.0]),
        read(2000.0, [NONE, NONE, 7.5, 10.0, 14.0, 20.0, 25.0, 28.0, 32.0]),
        read(2500.0, [NONE, NONE, 10.0, 12.5, 18.0, 25.0, 32.0, 36.0, 40.0]),
        read(3200.0, [NONE, NONE, 12.5, 16.0, 22.0, 32.0, 40.0, 45.0, 50.0]),
    ],
};

/// Creepage distance of pollution degree 3 with a rib.
pub static RIB: Table = Table {
    id: "table-rib",
    title: "Creepage distance with a rib, pollution degree 3",
    source: "IEC 60664-1:2020 Table F.5, values in brackets",
    head: "Working voltage",
    axis: Unit::Volt,
    unit: Unit::Millimetre,
    columns: &["Group I", "Group II", "Group III"],
    own: "/tables/rib",
    lines: &[read(630.0, [7.9, 8.4, 9.0]), read(800.0, [9.0, 9.6, 10.2]), read(1000.0, [10.2, 11.2, 12.8])],
};

/// Factor on clearances by altitude.
pub static ALTITUDE: Table = Table {
    id: "table-altitude",
    title: "Factor on clearances by altitude",
    source: "IEC 60664-1, altitude correction factors for clearances",
    head: "Altitude",
    axis: Unit::Metre,
    unit: Unit::One,
    columns: &["Factor"],
    own: "/tables/altitude",
    lines: &[
        read(2000.0, [1.0]),
        read(3000.0, [1.14]),
        read(4000.0, [1.29]),
        read(5000.0, [1.48]),
        line(6000.0, [1.7], M),
        line(7000.0, [1.95], M),
        line(8000.0, [2.25], M),
        line(9000.0, [2.62], M),
        line(10e3, [3.02], M),
        line(15e3, [6.67], M),
        line(20e3, [14.5], M),
    ],
};

/// All tables, in the order of the page.
pub static TABLES: [&Table; 7] = [&IMPULSE, &CLEARANCE, &HOMOGENEOUS, &PEAK, &ALTITUDE, &CREEPAGE, &RIB];

/// What stands between two rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Between {
    /// The straight line.
    Linear,
    /// The next row.
    NextRow,
}

/// A value that was looked up, and the rows that it was made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// Where it was looked up.
    pub at: f64,
    /// The value.
    pub value: f64,
    /// The row below with its value: the row itself where it is hit.
    pub low: [f64; 2],
    /// The row above with its value.
    pub high: [f64; 2],
    /// The worse of the two.
    pub status: RowStatus,
}

impl Found {
    /// Whether it was made of two rows.
    pub fn is_between(&self) -> bool {
        self.low[0] < self.high[0] && self.low[1] < self.value && self.value < self.high[1]
    }

    /// Whether it rests on a number from memory.
    pub fn is_from_memory(&self) -> bool {
        self.status == RowStatus::Memory
    }
}

/// A row is hit where doubles differ from it by rounding: 1.6 times 2500 is 4000.
const HIT: f64 = 1e-12;

/// The value of a column at a place; nothing above the last row of that column.
pub fn look(lines: &[Line], column: usize, at: f64, between: Between) -> Option<Found> {
    let rows = || lines.iter().filter(|line| line.values[column].is_finite());
    let above = rows().find(|line| at <= line.at * (1.0 + HIT))?;
    let of = |low: &Line, high: &Line, value: f64| Found {
        at,
        value,
        low: [low.at, low.values[column]],
        high: [high.at, high.values[column]],
        status: low.status[column].max(high.status[column]),
    };
    let below = rows().take_while(|line| line.at < above.at).last();
    Some(match below {
        Some(below) if at < above.at * (1.0 - HIT) && between == Between::Linear => {
            let [low, high] = [below.values[column], above.values[column]];
            of(below, above, low + (high - low) * (at - below.at) / (above.at - below.at))
        }
        _ => of(above, above, above.values[column]),
    })
}

/// First and last row of a column.
pub fn reach(lines: &[Line], column: usize) -> [f64; 2] {
    let mut rows = lines.iter().filter(|line| line.values[column].is_finite()).map(|line| line.at);
    let first = rows.next().unwrap_or(0.0);
    [first, rows.next_back().unwrap_or(first)]
}

/// The rows that count: the typed ones where there are any.
pub fn counting(table: &'static Table, own: Vec<Line>) -> Cow<'static, [Line]> {
    if own.is_empty() { Cow::Borrowed(table.lines) } else { Cow::Owned(own) }
}
