//! Names and units above the columns.

use super::fault::{Fault, Wrong, shown};
use super::options::{CurrentUnit, Text, TimeUnit, VoltageUnit};

/// What a column is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    PassedOver,
    Time,
    Current,
    Voltage,
    Ambient,
}

/// What a column may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Quantity {
    Time,
    Current,
    Voltage,
    Ambient,
}

impl Quantity {
    const ALL: [Self; 4] = [Self::Time, Self::Current, Self::Voltage, Self::Ambient];

    pub const fn role(self) -> Role {
        match self {
            Self::Time => Role::Time,
            Self::Current => Role::Current,
            Self::Voltage => Role::Voltage,
            Self::Ambient => Role::Ambient,
        }
    }

    /// The option that names its column.
    pub const fn option(self) -> &'static str {
        match self {
            Self::Time => "/text/time_column",
            Self::Current => "/text/current_column",
            Self::Voltage => "/text/voltage_column",
            Self::Ambient => "/text/ambient_column",
        }
    }

    /// The option that names its unit.
    const fn unit_option(self) -> &'static str {
        match self {
            Self::Time => "/text/time_unit",
            Self::Current => "/text/current_unit",
            Self::Voltage | Self::Ambient => "/text/voltage_unit",
        }
    }

    /// Words of a name that say so. A single letter counts only where a name begins with it.
    const fn names(self) -> &'static [&'static str] {
        match self {
            Self::Time => &["time", "t", "timestamp", "date"],
            Self::Current => &["current", "i", "amps", "strom"],
            Self::Voltage => &["voltage", "u", "v"],
            Self::Ambient => &["ambient"],
        }
    }

    /// Units that are read for it.
    const fn units(self) -> &'static [&'static str] {
        match self {
            Self::Time => &["s", "ms", "min", "h"],
            Self::Current => &["A", "mA", "kA"],
            Self::Voltage => &["V", "mV"],
            Self::Ambient => &["degc", "\u{b0}C", "C"],
        }
    }

    fn unit(self, text: &str) -> Option<&'static str> {
        self.units().iter().copied().find(|unit| *unit == text || unit.to_ascii_lowercase() == text)
    }
}

/// A unit of a header, one of those that are read for its quantity.
#[derive(Clone, Copy, Debug)]
pub(super) struct Named(&'static str);

impl Named {
    pub fn time(self) -> TimeUnit {
        match self.0 {
            "ms" => TimeUnit::Millisecond,
            "min" => TimeUnit::Minute,
            "h" => TimeUnit::Hour,
            _ => TimeUnit::Second,
        }
    }

    pub fn current(self) -> CurrentUnit {
        match self.0 {
            "mA" => CurrentUnit::Milliampere,
            "kA" => CurrentUnit::Kiloampere,
            _ => CurrentUnit::Ampere,
        }
    }

    pub fn voltage(self) -> VoltageUnit {
        if self.0 == "mV" { VoltageUnit::Millivolt } else { VoltageUnit::Volt }
    }
}

impl TimeUnit {
    /// Seconds of one.
    pub(super) const fn seconds(self) -> f64 {
        match self {
            Self::Recognised | Self::Second => 1.0,
            Self::Millisecond => 1e-3,
            Self::Minute => 60.0,
            Self::Hour => 3_600.0,
        }
    }
}

impl CurrentUnit {
    /// Ampere of one.
    pub(super) const fn amperes(self) -> f64 {
        match self {
            Self::Recognised | Self::Ampere => 1.0,
            Self::Milliampere => 1e-3,
            Self::Kiloampere => 1e3,
        }
    }
}

impl VoltageUnit {
    /// Volt of one.
    pub(super) const fn volts(self) -> f64 {
        match self {
            Self::Recognised | Self::Volt => 1.0,
            Self::Millivolt => 1e-3,
        }
    }
}

/// The name of a column: its words, and the unit beside them.
#[derive(Clone, Debug, Default)]
struct Name {
    whole: String,
    words: Vec<String>,
    unit: Option<String>,
}

/// Where a quantity stands, and why there.
#[derive(Clone, Debug)]
pub(super) struct Place {
    pub column: usize,
    pub because: String,
}

/// What stands above the columns.
#[derive(Debug)]
pub(super) struct Head {
    names: Vec<Name>,
    named: bool,
}

impl Head {
    /// Of a line of names and one of units, where there are any.
    pub fn of(lines: &[(u64, Vec<&[u8]>)], columns: usize) -> Self {
        let cell = |line: usize, column: usize| {
            let cell = lines.get(line).and_then(|(_, cells)| cells.get(column)).copied().unwrap_or_default();
            read(cell)
        };
        let names = (0..columns).map(|column| {
            let mut name = Name::of(&cell(0, column));
            let unit = cell(1, column);
            if !unit.is_empty() {
                name.unit = Some(unit.trim_matches(['[', ']', '(', ')', ' ']).to_owned());
            }
            name
        });
        Self { names: names.collect(), named: !lines.is_empty() }
    }

    /// No column is named for a quantity: all names there are, and those that would do.
    pub fn unnamed(&self, quantity: Quantity) -> Fault {
        let names: Vec<&str> = self.names.iter().map(|name| name.whole.as_str()).collect();
        let got = shown(names.join(", ").as_bytes());
        Fault { names: quantity.names(), ..Fault::settled_by(quantity.option(), Wrong::NoName, got) }
    }

    /// Where each quantity stands that there is.
    pub fn places(&self, text: &Text) -> Result<Vec<(Quantity, Place)>, Fault> {
        let typed = |quantity: Quantity| match quantity {
            Quantity::Time => text.time_column,
            Quantity::Current => text.current_column,
            Quantity::Voltage => text.voltage_column,
            Quantity::Ambient => text.ambient_column,
        };
        let mut taken: Vec<(Quantity, Place)> = Vec::new();
        for quantity in Quantity::ALL.into_iter().filter(|quantity| typed(*quantity) != 0) {
            let column = typed(quantity) as usize - 1;
            if column >= self.names.len() {
                let got = format!("{} of {}", column + 1, self.names.len());
                return Err(Fault::settled_by(quantity.option(), Wrong::NoSuchColumn, got));
            }
            taken.push((quantity, Place { column, because: "typed".into() }));
        }
        for quantity in Quantity::ALL.into_iter().filter(|quantity| typed(*quantity) == 0) {
            if quantity == Quantity::Time && text.row_period_s.is_some() {
                continue;
            }
            let free = |column: &usize| taken.iter().all(|(_, place)| place.column != *column);
            let place = if self.named {
                let fit: Vec<usize> =
                    (0..self.names.len()).filter(free).filter(|column| self.names[*column].says(quantity)).collect();
                match fit[..] {
                    [] if matches!(quantity, Quantity::Time | Quantity::Current) => {
                        return Err(self.unnamed(quantity));
                    }
                    [] => continue,
                    [column] => {
                        Place { column, because: format!("named {}", shown(self.names[column].whole.as_bytes())) }
                    }
                    [first, second, ..] => {
                        let got = format!("{} and {}", self.names[first].whole, self.names[second].whole);
                        return Err(Fault::settled_by(quantity.option(), Wrong::TwoNames, shown(got.as_bytes())));
                    }
                }
            } else {
                let next = (0..self.names.len()).find(free);
                match next.filter(|_| quantity != Quantity::Ambient) {
                    Some(column) => Place { column, because: "no header: by its place".into() },
                    None => continue,
                }
            };
            taken.push((quantity, place));
        }
        taken.retain(|(quantity, _)| *quantity != Quantity::Voltage || text.voltage_used);
        Ok(taken)
    }

    /// The unit above a column. One that is not known is refused, unless the option says it.
    pub fn unit(&self, column: usize, quantity: Quantity) -> Result<Option<Named>, Vec<Fault>> {
        let Some(unit) = &self.names[column].unit else { return Ok(None) };
        match quantity.unit(unit) {
            Some(unit) => Ok(Some(Named(unit))),
            None => Err(vec![Fault::settled_by(quantity.unit_option(), Wrong::UnknownUnit, shown(unit.as_bytes()))]),
        }
    }

    /// Whether the name of a column speaks of charge, and not of discharge.
    pub fn says_charge(&self, column: usize) -> bool {
        let name = self.names[column].whole.to_lowercase();
        name.contains("charge") && !name.contains("dis")
    }
}

/// Letters of a header: two signs of an older character set are known, too.
fn read(cell: &[u8]) -> String {
    match std::str::from_utf8(cell) {
        Ok(text) => text.replace("\"\"", "\""),
        Err(_) => cell
            .iter()
            .map(|byte| match byte {
                0xB0 => '°',
                0xB5 => 'µ',
                byte if byte.is_ascii() => char::from(*byte),
                _ => '\u{FFFD}',
            })
            .collect(),
    }
}

impl Name {
    /// Takes the unit off a name: in brackets, or behind a bar or a low line.
    fn of(text: &str) -> Self {
        let whole = text.trim().to_owned();
        let mut name = whole.as_str();
        let mut unit = None;
        if let Some((before, rest)) = name.rsplit_once(['[', '(']).filter(|(_, rest)| rest.ends_with([']', ')'])) {
            unit = Some(rest.trim_end_matches([']', ')']).trim());
            name = before.trim_end();
        } else if let Some((before, last)) = name.rsplit_once(['_', '/', ' ']) {
            let last = last.trim();
            let known = Quantity::ALL.iter().any(|quantity| quantity.unit(last).is_some());
            if known && !before.trim().is_empty() {
                unit = Some(last);
                name = before.trim_end_matches(['_', '/', ' ']);
            }
        }
        let words = name.split(|letter: char| !letter.is_alphanumeric()).filter(|word| !word.is_empty());
        let words = words.map(str::to_lowercase).collect();
        Self { words, unit: unit.filter(|unit| !unit.is_empty()).map(str::to_owned), whole }
    }

    fn says(&self, quantity: Quantity) -> bool {
        let names = quantity.names();
        let known = |index: usize, word: &String| names.contains(&word.as_str()) && (word.len() > 1 || index == 0);
        self.words.iter().enumerate().any(|(index, word)| known(index, word))
    }
}
