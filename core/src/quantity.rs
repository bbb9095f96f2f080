//! # Quantities
//!
//! A number in this project always travels with its unit: a [`Unit`] says how the quantity is written in the trade,
//! which words name it, how a field that holds it ends its name, and whether engineering prefixes apply.
//! [`Unit::read`] takes what an engineer types, [`Quantity`] prints what an engineer reads.
//!
//! ```text
//! Accepted     50 µΩ, 50u, 0.05m, 4k7, 0R05, R050, 1M5, 1e-6, ±0.5 %, 5000 ppm for a percentage
//! Refused      a decimal comma (with the point form), another quantity's unit (by name), anything else (with an example)
//! Accuracy     the power of ten is placed in the text and parsed once, so every value is the correctly rounded double
//! Source       IEC 60062:2016 clause 3 (letter codes); SI Brochure, 9th edition (2019), table 7 (prefixes)
//! ```

use std::fmt;

use serde::{Serialize, Serializer};

/// A unit of the trade. The base unit of a field is the one its name ends with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs, reason = "each name is the unit; `row` says everything else")]
pub enum Unit {
    One,
    Volt,
    Ampere,
    Ohm,
    Watt,
    Joule,
    Second,
    Hertz,
    Henry,
    Farad,
    Celsius,
    Kelvin,
    KelvinPerWatt,
    JoulePerKelvin,
    VoltPerKelvin,
    VoltPerRootHertz,
    VoltPerSecond,
    AmperePerSecond,
    AmpereSquaredSecond,
    AmpereHour,
    AmpereHourPerDay,
    Percent,
    Ppm,
    PpmPerKelvin,
    PpmPerSquareKelvin,
    PpmPerVolt,
    OhmPerVolt,
    MillimetrePerVolt,
    WattPerKelvin,
    KelvinPerSecond,
    Decibel,
    Bit,
    BitPerSecond,
    Year,
    Hour,
    Day,
    Metre,
    VoltPerPercent,
    Millimetre,
    SquareMillimetre,
}

/// What is known of one unit: the symbol, the words, the ending of a field name, the spellings that are read.
struct Row {
    symbol: &'static str,
    words: &'static str,
    suffix: &'static str,
    prefixed: bool,
    spellings: &'static [&'static str],
}

impl Unit {
    /// Every unit, for look-ups and tests.
    pub const ALL: &[Self] = &[
        Self::One,
        Self::Volt,
        Self::Ampere,
        Self::Ohm,
        Self::Watt,
        Self::Joule,
        Self::Second,
        Self::Hertz,
        Self::Henry,
        Self::Farad,
        Self::Celsius,
        Self::Kelvin,
        Self::KelvinPerWatt,
        Self::JoulePerKelvin,
        Self::VoltPerKelvin,
        Self::VoltPerRootHertz,
        Self::VoltPerSecond,
        Self::AmperePerSecond,
        Self::AmpereSquaredSecond,
        Self::AmpereHour,
        Self::AmpereHourPerDay,
        Self::Percent,
        Self::Ppm,
        Self::PpmPerKelvin,
        Self::PpmPerSquareKelvin,
        Self::PpmPerVolt,
        Self::OhmPerVolt,
        Self::WattPerKelvin,
        Self::KelvinPerSecond,
        Self::MillimetrePerVolt,
        Self::Decibel,
        Self::Bit,
        Self::BitPerSecond,
        Self::Year,
        Self::Hour,
        Self::Day,
        Self::Metre,
        Self::VoltPerPercent,
        Self::Millimetre,
        Self::SquareMillimetre,
    ];

    const fn row(self) -> Row {
        let (symbol, words, suffix, prefixed, spellings): (_, _, _, _, &[&str]) = match self {
            Self::One => ("", "a plain number", "", false, &[]),
            Self::Volt => ("V", "volt", "_v", true, &["V", "volt", "volts"]),
            Self::Ampere => ("A", "ampere", "_a", true, &["A", "amp", "ampere"]),
            Self::Ohm => ("Ω", "ohm", "_ohm", true, &["Ω", "\u{2126}", "ohm", "Ohm", "R"]),
            Self::Watt => ("W", "watt", "_w", true, &["W", "watt"]),
            Self::Joule => ("J", "joule", "_j", true, &["J", "joule"]),
            Self::Second => ("s", "second", "_s", true, &["s", "sec", "second"]),
            Self::Hertz => ("Hz", "hertz", "_hz", true, &["Hz", "hz", "hertz"]),
            Self::Henry => ("H", "henry", "_henry", true, &["H", "henry"]),
            Self::Farad => ("F", "farad", "_farad", true, &["F", "farad"]),
            Self::Celsius => ("°C", "degrees Celsius", "_degc", false, &["°C", "degC", "C", "\u{2103}"]),
            Self::Kelvin => ("K", "kelvin", "_k", true, &["K", "kelvin"]),
            Self::KelvinPerWatt => ("K/W", "kelvin per watt", "_k_per_w", true, &["K/W", "°C/W"]),
            Self::JoulePerKelvin => ("J/K", "joule per kelvin", "_j_per_k", true, &["J/K", "Ws/K"]),
            Self::VoltPerKelvin => ("V/K", "volt per kelvin", "_v_per_k", true, &["V/K", "V/°C"]),
            Self::VoltPerRootHertz => {
                ("V/√Hz", "volt per root hertz", "_v_per_rthz", true, &["V/√Hz", "V/rtHz", "V/sqrt(Hz)"])
            }
            Self::VoltPerSecond => ("V/s", "volt per second", "_v_per_s", true, &["V/s"]),
            Self::AmperePerSecond => ("A/s", "ampere per second", "_a_per_s", true, &["A/s"]),
            Self::AmpereSquaredSecond => ("A²s", "ampere squared second", "_a2s", true, &["A²s", "A2s"]),
            Self::AmpereHour => ("Ah", "ampere-hour", "_ah", true, &["Ah"]),
            Self::AmpereHourPerDay => ("Ah/day", "ampere-hour per day", "_ah_per_day", true, &["Ah/day", "Ah/d"]),
            Self::Percent => ("%", "percent", "_percent", false, &["%", "percent"]),
            Self::Ppm => ("ppm", "ppm", "_ppm", false, &["ppm"]),
            Self::PpmPerKelvin => ("ppm/K", "ppm per kelvin", "_ppm_per_k", false, &["ppm/K", "ppm/°C"]),
            Self::PpmPerSquareKelvin => {
                ("ppm/K²", "ppm per square kelvin", "_ppm_per_k2", false, &["ppm/K²", "ppm/K2"])
            }
            Self::PpmPerVolt => ("ppm/V", "ppm per volt", "_ppm_per_v", false, &["ppm/V"]),
            Self::WattPerKelvin => ("W/K", "watt per kelvin", "_w_per_k", true, &["W/K", "W/°C"]),
            Self::KelvinPerSecond => ("K/s", "kelvin per second", "_k_per_s", true, &["K/s", "°C/s"]),
            Self::OhmPerVolt => ("Ω/V", "ohm per volt", "_ohm_per_v", true, &["Ω/V", "ohm/V"]),
            Self::MillimetrePerVolt => ("mm/V", "millimetre per volt", "_mm_per_v", false, &["mm/V"]),
            Self::Decibel => ("dB", "decibel", "_db", false, &["dB"]),
            Self::Bit => ("bit", "bits", "_bits", false, &["bit", "bits", "b"]),
            Self::BitPerSecond => ("bit/s", "bit per second", "_bit_per_s", true, &["bit/s", "bps"]),
            Self::Year => ("a", "years", "_years", false, &["a", "y", "year", "years"]),
            Self::Hour => ("h", "hours", "_h", false, &["h", "hour", "hours"]),
            Self::VoltPerPercent => ("V/%", "volt per percent", "_v_per_percent", true, &["V/%"]),
            Self::Day => ("days", "days", "_days", false, &["d", "day", "days"]),
            Self::Metre => ("m", "metre", "_m", false, &["m", "metre"]),
            Self::Millimetre => ("mm", "millimetre", "_mm", false, &["mm"]),
            Self::SquareMillimetre => ("mm²", "square millimetre", "_mm2", false, &["mm²", "mm2"]),
        };
        Row { symbol, words, suffix, prefixed, spellings }
    }

    /// The symbol as printed, such as `Ω`.
    pub const fn symbol(self) -> &'static str {
        self.row().symbol
    }

    /// The unit in words, for labels that are read aloud and for messages.
    pub const fn words(self) -> &'static str {
        self.row().words
    }

    /// The ending of every field name that holds this unit, such as `_ohm`.
    pub const fn suffix(self) -> &'static str {
        self.row().suffix
    }

    /// The unit that a name ends with: the longest ending counts, `_v_per_k` before `_k`.
    pub fn of_name(name: &str) -> Option<Self> {
        let ends = |unit: &&Self| !unit.suffix().is_empty() && name.ends_with(unit.suffix());
        Self::ALL.iter().filter(ends).max_by_key(|unit| unit.suffix().len()).copied()
    }

    /// Whether engineering prefixes (µ, m, k, M ...) apply.
    pub const fn prefixed(self) -> bool {
        self.row().prefixed
    }

    /// The prefix step for a power of ten: the trade writes millikelvin, but no kilokelvin.
    const fn step_of(self, exponent: i32) -> i32 {
        let highest = match self {
            Self::Kelvin => 0,
            _ => 12,
        };
        let step = exponent.div_euclid(3) * 3;
        match (self.prefixed(), step < -15, step > highest) {
            (false, _, _) => 0,
            (_, true, _) => -15,
            (_, _, true) => highest,
            _ => step,
        }
    }

    /// Reads what an engineer typed into a field of this unit.
    ///
    /// ```
    /// use sensewright_core::quantity::Unit;
    /// assert_eq!(Unit::Ohm.read("4k7"), Ok(4700.0));
    /// assert_eq!(Unit::Ohm.read("50 µΩ"), Ok(50e-6));
    /// assert!(Unit::Ohm.read("50 mV").is_err());
    /// ```
    ///
    /// # Errors
    /// A [`Misread`] that says what is wrong and what would be right.
    pub fn read(self, text: &str) -> Result<f64, Misread> {
        let shown: String = text.trim().chars().take(40).collect();
        if text.trim().is_empty() {
            return Err(Misread::Empty);
        }
        if text.len() > 80 {
            return Err(Misread::NotANumber { typed: shown, hint: String::new() });
        }
        let compact: String = text.chars().filter(|c| !c.is_whitespace() && *c != '\u{202f}').collect();
        let compact = compact.replace('−', "-").replace('μ', "µ");
        let unsigned = compact.strip_prefix('±').unwrap_or(&compact);
        if unsigned.contains(',') {
            return Err(Misread::Comma { typed: shown, point: text.trim().replace(',', ".") });
        }
        let mantissa = Mantissa::split(unsigned, self)
            .ok_or_else(|| Misread::NotANumber { hint: slip(&compact), typed: shown.clone() })?;
        let tail = self.exponent_of(mantissa.tail).map_err(|unit| match unit {
            Some(unit) => Misread::WrongUnit { typed: shown.clone(), unit },
            None => Misread::NotANumber { hint: slip(&compact), typed: shown.clone() },
        })?;
        if mantissa.letter.is_some() && tail != 0 {
            return Err(Misread::NotANumber {
                hint: " A letter code carries its prefix already.".into(),
                typed: shown,
            });
        }
        let exponent = mantissa.exponent.saturating_add(mantissa.letter.unwrap_or(0)).saturating_add(tail);
        match format!("{}e{exponent}", mantissa.digits).parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(value + 0.0),
            _ => Err(Misread::NotANumber { hint: " It is too large.".into(), typed: shown }),
        }
    }

    /// The power of ten that the text after the digits stands for; the unit it names when that is another one.
    fn exponent_of(self, tail: &str) -> Result<i32, Option<Unit>> {
        if tail.is_empty() {
            return Ok(0);
        }
        if let Some(exponent) = self.named(tail).or_else(|| self.prefixed().then(|| prefix_exponent(tail)).flatten()) {
            return Ok(exponent);
        }
        // A ratio may be typed in the other ratio unit: 5000 ppm for 0.5 %.
        match (self, tail) {
            (Self::Percent, "ppm") => Ok(-4),
            (Self::Ppm, "%") | (Self::PpmPerKelvin, "%/K") => Ok(4),
            _ => Err(Self::ALL.iter().copied().find(|unit| unit.named(tail).is_some())),
        }
    }

    /// The power of ten of `tail` when it is this unit's symbol with or without a prefix.
    fn named(self, tail: &str) -> Option<i32> {
        self.row().spellings.iter().find_map(|spelling| {
            let before = tail.strip_suffix(spelling)?;
            if before.is_empty() { Some(0) } else { self.prefixed().then(|| prefix_exponent(before)).flatten() }
        })
    }

    /// The letter that stands for the decimal point and this unit in a letter code: R for ohm (IEC 60062), and by the
    /// same pattern V, A, F, H.
    const fn code_letter(self) -> Option<char> {
        match self {
            Self::Ohm => Some('R'),
            Self::Volt => Some('V'),
            Self::Ampere => Some('A'),
            Self::Farad => Some('F'),
            Self::Henry => Some('H'),
            _ => None,
        }
    }
}

/// Prefixes in steps of a thousand. The first spelling is the printed one.
const PREFIXES: [(i32, &[&str]); 9] = [
    (-15, &["f"]),
    (-12, &["p"]),
    (-9, &["n"]),
    (-6, &["µ", "u"]),
    (-3, &["m"]),
    (3, &["k", "K"]),
    (6, &["M"]),
    (9, &["G"]),
    (12, &["T"]),
];

fn prefix_exponent(text: &str) -> Option<i32> {
    PREFIXES.iter().find(|(_, spellings)| spellings.contains(&text)).map(|(exponent, _)| *exponent)
}

/// The digits of what was typed, with the letter of a letter code already taken out of them.
struct Mantissa<'a> {
    digits: String,
    exponent: i32,
    letter: Option<i32>,
    tail: &'a str,
}

impl<'a> Mantissa<'a> {
    fn split(text: &'a str, unit: Unit) -> Option<Self> {
        let sign = text.find(|c: char| c != '-' && c != '+').unwrap_or(text.len());
        if sign > 1 {
            return None;
        }
        let body = &text[sign..];
        let mut digits = String::from(if text.starts_with('-') { "-" } else { "" });
        let whole = body.find(|c: char| !c.is_ascii_digit()).unwrap_or(body.len());
        digits.push_str(&body[..whole]);
        let mut rest = &body[whole..];
        let mut letter = None;
        if let Some(after) = rest.strip_prefix('.') {
            let part = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
            if whole + part == 0 {
                return None;
            }
            digits.push('.');
            digits.push_str(&after[..part]);
            rest = &after[part..];
        } else if let Some((code, after)) = code_point(rest, unit) {
            let part = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
            // `4k` and `4 kΩ` are a number with a prefix; only digits on the right make it a letter code.
            if part > 0 {
                digits.push('.');
                digits.push_str(&after[..part]);
                letter = Some(code);
                rest = &after[part..];
            } else if whole == 0 {
                return None;
            }
        } else if whole == 0 {
            return None;
        }
        let mut exponent = 0;
        if letter.is_none()
            && let Some(after) = rest.strip_prefix(['e', 'E'])
        {
            let signed = usize::from(after.starts_with(['+', '-']));
            let end = after[signed..].find(|c: char| !c.is_ascii_digit()).map_or(after.len(), |at| at + signed);
            exponent = after[..end].parse().ok()?;
            rest = &after[end..];
        }
        Some(Self { digits, exponent, letter, tail: rest })
    }
}

fn code_point(text: &str, unit: Unit) -> Option<(i32, &str)> {
    let letter = text.chars().next()?;
    let after = &text[letter.len_utf8()..];
    if unit.code_letter() == Some(letter) {
        return Some((0, after));
    }
    unit.prefixed().then(|| prefix_exponent(&text[..letter.len_utf8()])).flatten().map(|exponent| (exponent, after))
}

/// Names the slip when it is a known one.
fn slip(text: &str) -> String {
    if text.contains(['O', 'o']) && text.contains(|c: char| c.is_ascii_digit()) {
        " There is a letter O where a zero may be meant.".into()
    } else if text.contains('l') && text.contains(|c: char| c.is_ascii_digit()) {
        " There is a letter l where a one may be meant.".into()
    } else {
        String::new()
    }
}

/// Why a typed value could not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Misread {
    /// Nothing was typed.
    Empty,
    /// A comma stands where a point is expected.
    Comma {
        /// What was typed.
        typed: String,
        /// The same with a point.
        point: String,
    },
    /// The unit belongs to another quantity.
    WrongUnit {
        /// What was typed.
        typed: String,
        /// The unit that was recognised.
        unit: Unit,
    },
    /// No number was recognised.
    NotANumber {
        /// What was typed.
        typed: String,
        /// The known slip, or nothing.
        hint: String,
    },
}

/// A value with its unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// The number in the unit's base form.
    pub value: f64,
    /// The unit.
    pub unit: Unit,
}

/// Quantities by the name of their unit: `volt(3.3)` prints as `3.3 V`.
macro_rules! by_name {
    ($($name:ident $unit:ident),+ $(,)?) => { $(
        #[doc = concat!("A quantity in ", stringify!($name), ".")]
        pub const fn $name(value: f64) -> Quantity { Quantity::new(value, Unit::$unit) }
    )+ };
}
by_name!(
    one One, volt Volt, ampere Ampere, ohm Ohm, watt Watt, joule Joule, second Second, hertz Hertz, henry Henry, farad Farad,
    celsius Celsius, kelvin Kelvin, percent Percent, ppm Ppm, ppm_per_kelvin PpmPerKelvin, ampere_hour AmpereHour,
    ampere_squared_second AmpereSquaredSecond, kelvin_per_watt KelvinPerWatt, hour Hour, year Year, decibel Decibel,
    ppm_per_square_kelvin PpmPerSquareKelvin,
);

/// A printed quantity in two parts, so that a page can set the unit apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Printed {
    /// The number, with a true minus sign.
    pub number: String,
    /// Prefix and unit, may be empty.
    pub unit: String,
}

impl fmt::Display for Printed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // U+202F is the thin space that does not break.
        if self.unit.is_empty() { f.write_str(&self.number) } else { write!(f, "{}\u{202f}{}", self.number, self.unit) }
    }
}

impl Quantity {
    /// Pairs a value with its unit.
    pub const fn new(value: f64, unit: Unit) -> Self {
        Self { value, unit }
    }

    /// Prints with `digits` significant digits, trailing zeros kept, and the engineering prefix where it applies.
    pub fn significant(self, digits: usize) -> Printed {
        let digits = digits.clamp(1, 17);
        if self.value == 0.0 || !self.value.is_finite() {
            return Printed {
                number: if self.value == 0.0 { "0".into() } else { "—".into() },
                unit: self.unit.symbol().into(),
            };
        }
        // The rounded power of ten comes from the printed form, so that 999.96 becomes 1000 and takes the next prefix.
        let text = format!("{:.*e}", digits - 1, self.value);
        let exponent: i32 = text.split_once('e').and_then(|(_, e)| e.parse().ok()).unwrap_or(0);
        if !self.unit.prefixed() && !(-6..=9).contains(&exponent) {
            // Without a prefix a very small or large number takes a power of ten.
            let scaled = shifted(&text, -exponent);
            return Printed {
                number: minus(&format!("{scaled:.*}·10{}", digits - 1, superscript(exponent))),
                unit: self.unit.symbol().into(),
            };
        }
        let step = self.unit.step_of(exponent);
        let decimals = usize::try_from(i32::try_from(digits).unwrap_or(17) - 1 - (exponent - step)).unwrap_or(0);
        let scaled = shifted(&text, -step);
        Printed {
            number: minus(&format!("{scaled:.decimals$}")),
            unit: format!("{}{}", prefix_symbol(step), self.unit.symbol()),
        }
    }

    /// Prints with `digits` significant digits and without trailing zeros: the form for sentences.
    pub fn brief(self, digits: usize) -> Printed {
        let mut printed = self.significant(digits);
        let (number, power) = match printed.number.split_once('·') {
            Some((number, power)) => (number.to_owned(), format!("·{power}")),
            None => (printed.number.clone(), String::new()),
        };
        if number.contains('.') {
            printed.number = format!("{}{power}", number.trim_end_matches('0').trim_end_matches('.'));
        }
        printed
    }

    /// Prints with a fixed number of decimals in a given power-of-ten step: the form for the cells of one column.
    pub fn fixed(self, step: i32, decimals: usize) -> Printed {
        let scaled = shifted(&format!("{:e}", self.value), -step);
        let number = format!("{:.decimals$}", if scaled.is_finite() { scaled } else { 0.0 });
        let number = if number.trim_start_matches(['-', '0', '.']).is_empty() {
            number.trim_start_matches('-').to_owned()
        } else {
            number
        };
        Printed { number: minus(&number), unit: format!("{}{}", prefix_symbol(step), self.unit.symbol()) }
    }

    /// The power-of-ten step whose prefix suits this value.
    pub fn step(self) -> i32 {
        if !self.unit.prefixed() || self.value == 0.0 || !self.value.is_finite() {
            return 0;
        }
        let text = format!("{:.3e}", self.value);
        let exponent: i32 = text.split_once('e').and_then(|(_, e)| e.parse().ok()).unwrap_or(0);
        self.unit.step_of(exponent)
    }

    /// The exact value for a form or an address: as few digits as read back to the same double, with a prefix where it
    /// shortens. `ascii` writes `u` for micro, so that an address stays readable.
    pub fn echo(self, ascii: bool) -> String {
        let plain = format!("{}", self.value);
        if !self.unit.prefixed() || self.value == 0.0 || !self.value.is_finite() {
            return shorter(plain, format!("{:e}", self.value));
        }
        let text = format!("{:e}", self.value);
        let Some((digits, exponent)) = text.split_once('e') else { return plain };
        let exponent: i32 = exponent.parse().unwrap_or(0);
        let step = self.unit.step_of(exponent);
        if step == 0 || step != exponent.div_euclid(3) * 3 {
            return shorter(plain, text);
        }
        let prefix = match prefix_symbol(step) {
            "µ" if ascii => "u",
            other => other,
        };
        // Moving the point inside the shortest digits keeps them exact.
        let moved = move_point(digits, usize::try_from(exponent - step).unwrap_or(0));
        if ascii { format!("{moved}{prefix}") } else { format!("{moved} {prefix}") }
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.brief(4).fmt(f)
    }
}

/// A value in a sentence: at most four significant digits, no trailing zeros.
pub fn say(value: f64, unit: Unit) -> String {
    Quantity::new(value, unit).to_string()
}

/// A value in a sentence with the digits that tell it from its neighbours: a thousandth of `span` is seen.
pub fn say_among(value: f64, unit: Unit, span: f64) -> String {
    let ratio = value.abs() / (span.abs() / 1000.0);
    let digits = if ratio.is_finite() && ratio > 1.0 { ratio.log10().ceil().clamp(4.0, 12.0) } else { 4.0 };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 4 and 12")]
    let digits = digits as usize;
    Quantity::new(value, unit).brief(digits).to_string()
}

/// A difference in a sentence: three digits; the trade writes 0.47 K.
pub fn say_difference(value: f64, unit: Unit) -> String {
    let quantity = Quantity::new(value, unit);
    if unit == Unit::Kelvin && (0.1..1.0).contains(&value.abs()) {
        return quantity.fixed(0, 2).to_string();
    }
    quantity.brief(3).to_string()
}

/// The label inside a sentence; an abbreviation such as INL stays as it is.
pub fn in_sentence(label: &str) -> String {
    let mut chars = label.chars();
    match (chars.next(), chars.next()) {
        (Some(first), Some(second)) if !second.is_uppercase() && second != '–' => {
            first.to_lowercase().chain(label.chars().skip(1)).collect()
        }
        _ => label.into(),
    }
}

impl Serialize for Unit {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.symbol())
    }
}

/// The plain form, unless it is long and the one with an exponent is shorter.
fn shorter(plain: String, exponent: String) -> String {
    if plain.len() > 10 && exponent.len() < plain.len() { exponent } else { plain }
}

/// `text` in scientific form, moved by a power of ten in the text so that no rounding is added.
fn shifted(text: &str, by: i32) -> f64 {
    let Some((digits, exponent)) = text.split_once('e') else { return 0.0 };
    let exponent: i32 = exponent.parse().unwrap_or(0);
    format!("{digits}e{}", exponent + by).parse().unwrap_or(0.0)
}

fn move_point(digits: &str, places: usize) -> String {
    let (sign, digits) = digits.strip_prefix('-').map_or(("", digits), |rest| ("-", rest));
    let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
    let part = format!("{part:0<places$}");
    let (gained, left) = part.split_at(places);
    if left.is_empty() { format!("{sign}{whole}{gained}") } else { format!("{sign}{whole}{gained}.{left}") }
}

fn prefix_symbol(step: i32) -> &'static str {
    PREFIXES.iter().find(|(exponent, _)| *exponent == step).map_or("", |(_, spellings)| spellings[0])
}

/// A whole number in superscript digits.
fn superscript(number: i32) -> String {
    const DIGITS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    number
        .to_string()
        .chars()
        .map(|c| c.to_digit(10).and_then(|digit| DIGITS.get(digit as usize)).copied().unwrap_or('⁻'))
        .collect()
}

/// A hyphen becomes the true minus sign U+2212.
fn minus(number: &str) -> String {
    number.replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 60062:2016, the resistance examples of its table of letter codes (as transcribed publicly), and the capacitance
    /// pattern of the same standard.
    #[test]
    fn letter_codes_of_iec_60062_are_read() {
        for (code, ohm) in [
            ("R47", 0.47),
            ("4R7", 4.7),
            ("470R", 470.0),
            ("4K7", 4700.0),
            ("47K", 47e3),
            ("47K3", 47.3e3),
            ("470K", 470e3),
            ("4M7", 4.7e6),
            ("0R05", 0.05),
            ("R050", 0.05),
            ("1M5", 1.5e6),
            ("4k7", 4700.0),
            ("2m5", 0.0025),
        ] {
            assert_eq!(Unit::Ohm.read(code), Ok(ohm), "{code}");
        }
        assert_eq!(Unit::Farad.read("4n7"), Ok(4.7e-9));
        assert_eq!(Unit::Farad.read("µ1"), Ok(0.1e-6));
    }

    #[test]
    fn values_are_the_correctly_rounded_double() {
        for (text, value) in [
            ("50 µΩ", 50e-6),
            ("50u", 50e-6),
            ("0.05m", 0.05e-3),
            ("50μ", 50e-6),
            ("1e-6", 1e-6),
            ("-1.5 k", -1500.0),
            ("−2", -2.0),
            ("35 uohm", 35e-6),
            (".5", 0.5),
            ("5.", 5.0),
            ("1e3 k", 1e6),
            ("0.1 MΩ", 0.1e6),
        ] {
            assert_eq!(Unit::Ohm.read(text), Ok(value), "{text}");
        }
        assert_eq!(Unit::Percent.read("±0.5 %"), Ok(0.5));
        assert_eq!(Unit::Percent.read("5000 ppm"), Ok(0.5));
        assert_eq!(Unit::Kelvin.read("5 K"), Ok(5.0));
        assert_eq!(Unit::Second.read("10 ms"), Ok(0.01));
        assert_eq!(Unit::Bit.read("16 bit"), Ok(16.0));
        assert_eq!(Unit::VoltPerKelvin.read("0.8 µV/K"), Ok(0.8e-6));
    }

    #[test]
    fn slips_are_named() {
        assert_eq!(Unit::Ohm.read("50 mV"), Err(Misread::WrongUnit { typed: "50 mV".into(), unit: Unit::Volt }));
        assert_eq!(Unit::Ohm.read("1,5"), Err(Misread::Comma { typed: "1,5".into(), point: "1.5".into() }));
        assert!(matches!(Unit::Ampere.read("80O"), Err(Misread::NotANumber { hint, .. }) if hint.contains("letter O")));
        assert_eq!(Unit::Ohm.read("  "), Err(Misread::Empty));
        for text in ["abc", "NaN", "inf", "1e999", "--1", "4k7k", "1e", "µ", "5 K5 K", "∞", "1.2.3", "\u{0}"] {
            assert!(
                matches!(Unit::Ohm.read(text), Err(Misread::NotANumber { .. } | Misread::WrongUnit { .. })),
                "{text}"
            );
        }
    }

    #[test]
    fn numbers_print_as_the_trade_writes_them() {
        let ohm = |value| Quantity::new(value, Unit::Ohm);
        assert_eq!(ohm(35e-6).significant(4).to_string(), "35.00\u{202f}µΩ");
        assert_eq!(ohm(35e-6).to_string(), "35\u{202f}µΩ");
        assert_eq!(ohm(999.96).significant(4).to_string(), "1.000\u{202f}kΩ");
        assert_eq!(ohm(-4700.0).to_string(), "−4.7\u{202f}kΩ");
        assert_eq!(Quantity::new(113.0133, Unit::Celsius).to_string(), "113\u{202f}°C");
        assert_eq!(Quantity::new(0.00123, Unit::Percent).to_string(), "0.00123\u{202f}%");
        assert_eq!(Quantity::new(-0.0001, Unit::Ampere).fixed(0, 2).number, "0.00");
        assert_eq!(Quantity::new(-1.5e-12, Unit::One).to_string(), "−1.5·10⁻¹²");
        assert_eq!(Quantity::new(1e15, Unit::One).to_string(), "1·10¹⁵");
    }

    #[test]
    fn what_is_echoed_reads_back_to_the_same_double() {
        for value in
            [35e-6, 1.0 / 3.0, 4700.0, 0.1 + 0.2, 1e-30, 123_456_789.123, 5e-324, f64::MAX, 257.142_857_142_857_14e-6]
        {
            for unit in [Unit::Ohm, Unit::Percent] {
                for ascii in [true, false] {
                    let text = Quantity::new(value, unit).echo(ascii);
                    assert_eq!(unit.read(&text), Ok(value), "{text}");
                }
            }
        }
        assert_eq!(Quantity::new(35e-6, Unit::Ohm).echo(true), "35u");
        assert_eq!(Quantity::new(35e-6, Unit::Ohm).echo(false), "35 µ");
    }
}
