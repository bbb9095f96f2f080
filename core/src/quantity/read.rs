//! How a number is read: what an engineer types into a field.

use super::{PREFIXES, Quantity, Unit};

/// A unit that is typed at times and belongs to no field: spellings, words, and how a value in it is had in `base`.
struct Foreign {
    spellings: &'static [&'static str],
    words: &'static str,
    base: Unit,
    factor: f64,
    offset: f64,
}

impl Foreign {
    const fn new(spellings: &'static [&'static str], words: &'static str, base: Unit, factor: f64) -> Self {
        Self { spellings, words, base, factor, offset: 0.0 }
    }
}

/// Exact by definition: SI Brochure, 9th edition (2019), table 8 (minute, hour, day), international inch of 25.4 mm,
/// degree Fahrenheit 5/9 K from −32 on; a month is a twelfth of 365.25 days.
const FOREIGN: [Foreign; 10] = [
    Foreign {
        spellings: &["°F", "degF", "F", "\u{2109}"],
        words: "degrees Fahrenheit",
        base: Unit::Celsius,
        factor: 5.0 / 9.0,
        offset: -160.0 / 9.0,
    },
    Foreign::new(&["min", "mins", "minute", "minutes"], "minutes", Unit::Second, 60.0),
    Foreign::new(&["wk", "week", "weeks"], "weeks", Unit::Second, 604_800.0),
    Foreign::new(&["mo", "month", "months"], "months", Unit::Second, 2_629_800.0),
    Foreign::new(&["Wh"], "watt-hours", Unit::Joule, 3600.0),
    Foreign::new(&["kWh"], "kilowatt-hours", Unit::Joule, 3.6e6),
    Foreign::new(&["As"], "ampere-seconds", Unit::AmpereHour, 1.0 / 3600.0),
    Foreign::new(&["cm"], "centimetres", Unit::Metre, 0.01),
    Foreign::new(&["in", "inch", "\""], "inches", Unit::Metre, 0.0254),
    Foreign::new(&["mil", "mils"], "thousandths of an inch", Unit::Metre, 25.4e-6),
];

impl Unit {
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
            return Err(Misread::Comma { typed: shown, point: with_point(text.trim()) });
        }
        let mantissa = Mantissa::split(unsigned, self)
            .ok_or_else(|| Misread::NotANumber { hint: self.slip(&compact), typed: shown.clone() })?;
        let Some(tail) = self.exponent_of(mantissa.tail) else {
            let other = self.other_unit(mantissa.tail);
            return Err(match other.and_then(|other| Some((other.words, self.instead(&mantissa, &other)?))) {
                Some((words, instead)) => Misread::WrongUnit { typed: shown, words, instead },
                None => {
                    let known = self.known_slip(&compact);
                    let units = if known.is_empty() { self.own_units(mantissa.tail) } else { String::new() };
                    Misread::NotANumber { hint: format!("{units}{}", self.slip(&compact)), typed: shown }
                }
            });
        };
        if mantissa.letter.is_some() && tail != 0 {
            let hint = format!(" A letter code carries its prefix already.{}", self.codes());
            return Err(Misread::NotANumber { hint, typed: shown });
        }
        match mantissa.value(tail) {
            Some(value) => Ok(value),
            None => Err(Misread::NotANumber { hint: " It is too large.".into(), typed: shown }),
        }
    }

    /// The power of ten that the text after the digits stands for.
    fn exponent_of(self, tail: &str) -> Option<i32> {
        if tail.is_empty() {
            return Some(0);
        }
        let own = self.named(tail).or_else(|| self.prefixed().then(|| prefix_exponent(tail)).flatten());
        own.or(match (self, tail) {
            // A ratio may be typed in the other ratio unit: 5000 ppm for 0.5 %.
            (Self::Percent, "ppm") => Some(-4),
            (Self::Ppm, "%") | (Self::PpmPerKelvin, "%/K") => Some(4),
            // As 470R ends with its letter.
            (Self::Ohm, "L") => Some(MILLIOHM),
            _ => None,
        })
        .or_else(|| self.faster(tail))
    }

    /// A rate a second, typed a millisecond, a microsecond or a nanosecond: 5 A/ms, 50 V/ns.
    fn faster(self, tail: &str) -> Option<i32> {
        let of = |end, more| Some(self.named(&format!("{}/s", tail.strip_suffix(end)?))? + more);
        of("/ms", 3).or_else(|| of("/µs", 6)).or_else(|| of("/us", 6)).or_else(|| of("/ns", 9))
    }

    /// The other unit that the text after the digits names.
    fn other_unit(self, tail: &str) -> Option<Other> {
        let foreign = || {
            let of = FOREIGN.iter().find(|foreign| foreign.spellings.contains(&tail))?;
            Some(Other { words: of.words, exponent: 0, scale: Some((of.base, of.factor, of.offset)) })
        };
        let known = || {
            let named = |unit: Self| unit.named(tail).map(|exponent| (unit, exponent));
            let (unit, exponent) = Self::ALL.iter().find_map(|unit| named(*unit))?;
            Some(Other { words: unit.words(), exponent, scale: unit.scale() })
        };
        // 185 F is a temperature where one is wanted, and a capacitance elsewhere.
        if self == Self::Celsius { foreign().or_else(known) } else { known().or_else(foreign) }
    }

    /// What stands before another unit in this one: nothing inside when the units measure different things, nothing at all
    /// when it is no number.
    #[allow(clippy::option_option, reason = "no number, or a number without a counterpart here")]
    fn instead(self, mantissa: &Mantissa, other: &Other) -> Option<Option<Quantity>> {
        let value = mantissa.value(other.exponent)?;
        let pair = self.scale().filter(|_| self != Self::Kelvin).zip(other.scale);
        let same = pair.filter(|((own, ..), (base, ..))| own == base);
        Some(same.map(|((_, factor, offset), (_, times, plus))| {
            Quantity::new((value * times + plus - offset) / factor, self)
        }))
    }

    /// The unit in which quantities of this kind compare, and how a value in this one is had in it: base, factor, offset.
    const fn scale(self) -> Option<(Self, f64, f64)> {
        Some(match self {
            Self::Second | Self::Joule | Self::Metre | Self::AmpereHour | Self::Celsius => (self, 1.0, 0.0),
            Self::Hour => (Self::Second, 3600.0, 0.0),
            Self::Day => (Self::Second, 86_400.0, 0.0),
            Self::Year => (Self::Second, 31_557_600.0, 0.0),
            Self::Millimetre => (Self::Metre, 1e-3, 0.0),
            Self::Kelvin => (Self::Celsius, 1.0, -273.15),
            _ => return None,
        })
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

    /// The units that are read, where letters that are none stand behind a number.
    fn own_units(self, tail: &str) -> String {
        if !tail.chars().all(|c| c.is_alphabetic() || "/%°²".contains(c)) {
            return String::new();
        }
        let symbol = self.symbol();
        let own = match self {
            _ if symbol.is_empty() => return format!(" It has no unit; \u{201c}{tail}\u{201d} is none."),
            Self::Farad | Self::Henry => format!("{symbol}, also with a prefix as in µ{symbol} or n{symbol}"),
            _ if self.prefixed() => format!("{symbol}, also with a prefix as in m{symbol} or k{symbol}"),
            _ => symbol.into(),
        };
        format!(" Its unit is {own}; \u{201c}{tail}\u{201d} is none.")
    }

    /// The letter codes that are read, in a sentence; nothing where there are none.
    fn codes(self) -> String {
        match (self, self.code_letter()) {
            (Self::Ohm, _) => {
                " Codes are read as in 4R7, R050, 4k7, 1M5 and, with L for milliohm, 6L8, L50, 0L50.".into()
            }
            (_, Some(letter)) => format!(" Codes are read as in 4{letter}7, {letter}47, 4m7, 4k7."),
            (_, None) => String::new(),
        }
    }

    /// Names the slip when it is a known one; what looks like a letter code is told which ones are read.
    fn slip(self, text: &str) -> String {
        let codes = if looks_like_code(text) { self.codes() } else { String::new() };
        format!("{}{codes}", self.known_slip(text))
    }

    /// A letter that is meant as a digit, where there is a number with the digit.
    fn known_slip(self, text: &str) -> &'static str {
        let digits = text.contains(|c: char| c.is_ascii_digit());
        let meant = |letters: &[char], digit: &str| {
            let other = text.replace(letters, digit);
            digits && other != text && !matches!(self.read(&other), Err(Misread::NotANumber { .. }))
        };
        if meant(&['O', 'o'], "0") {
            " There is a letter O where a zero may be meant."
        } else if meant(&['l'], "1") {
            " There is a letter l where a one may be meant."
        } else {
            ""
        }
    }
}

/// Whether one letter stands in the place of a decimal point: before a digit, and behind none of its kind.
fn looks_like_code(text: &str) -> bool {
    let letters: Vec<char> = text.chars().collect();
    letters.windows(2).enumerate().any(|(at, pair)| {
        let alone = at == 0 || !letters[at - 1].is_alphabetic();
        alone && pair[0].is_alphabetic() && !"eE".contains(pair[0]) && pair[1].is_ascii_digit()
    })
}

/// The power of ten of the letter L (IEC 60062): a milliohm.
const MILLIOHM: i32 = -3;

/// Another unit that was named: its words, the power of ten of its prefix, and its scale.
struct Other {
    words: &'static str,
    exponent: i32,
    scale: Option<(Unit, f64, f64)>,
}

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
    /// The number with the power of ten of its unit; none when it is too large for a double.
    fn value(&self, unit: i32) -> Option<f64> {
        let exponent = self.exponent.saturating_add(self.letter.unwrap_or(0)).saturating_add(unit);
        let value: f64 = format!("{}e{exponent}", self.digits).parse().ok()?;
        value.is_finite().then_some(value + 0.0)
    }

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
    if unit == Unit::Ohm && letter == 'L' {
        return Some((MILLIOHM, after));
    }
    unit.prefixed().then(|| prefix_exponent(&text[..letter.len_utf8()])).flatten().map(|exponent| (exponent, after))
}

/// A number with a comma as it should be written: beside a point the earlier sign parts thousands; alone before three digits
/// it may, and both readings are told.
fn with_point(text: &str) -> String {
    let decimal = text.replace(',', ".");
    let Some((whole, rest)) = text.split_once(',') else { return decimal };
    if let Some(point) = text.find('.') {
        return if point > whole.len() { text.replace(',', "") } else { text.replace('.', "").replace(',', ".") };
    }
    let digits = rest.chars().take_while(char::is_ascii_digit).count();
    if digits == 3 {
        format!("{decimal}, or {} where the comma parts thousands", text.replace(',', ""))
    } else {
        decimal
    }
}

/// Why a typed value could not be read.
#[derive(Clone, Debug, PartialEq)]
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
    /// The unit is another one.
    WrongUnit {
        /// What was typed.
        typed: String,
        /// The unit that was recognised, in words.
        words: &'static str,
        /// The same in the unit that is wanted, when both measure the same.
        instead: Option<Quantity>,
    },
    /// No number was recognised.
    NotANumber {
        /// What was typed.
        typed: String,
        /// The known slip, or nothing.
        hint: String,
    },
}
