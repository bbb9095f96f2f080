//! How a number is read: what an engineer types into a field.

use super::{PREFIXES, Unit};

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
