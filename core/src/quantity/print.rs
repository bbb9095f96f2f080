//! How a number is printed: what an engineer reads.

use std::fmt;

use super::{PREFIXES, Quantity, Unit};

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

/// Powers of ten beyond the last prefix that are still written out.
const FAR: i32 = 12;

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
        let step = self.unit.step_of(exponent);
        let reach = if self.unit.prefixed() { step - FAR..=step + FAR } else { -6..=9 };
        if !reach.contains(&exponent) {
            // Without a prefix that reaches it a very small or large number takes a power of ten.
            let scaled = shifted(&text, -exponent);
            return Printed {
                number: minus(&format!("{scaled:.*}·10{}", digits - 1, superscript(exponent))),
                unit: self.unit.symbol().into(),
            };
        }
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
        let number = match scaled.is_finite() {
            // In a column of its own kind it is the one that nobody can line up.
            true if scaled.abs() >= 1e15 => format!("{scaled:e}"),
            true => format!("{scaled:.decimals$}"),
            false => format!("{:.decimals$}", 0.0),
        };
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
    Quantity::new(value, unit).brief(digits_among(value, span)).to_string()
}

/// How many digits of a value show a thousandth of `span`: 4 to 12.
pub fn digits_among(value: f64, span: f64) -> usize {
    let ratio = value.abs() / (span.abs() / 1000.0);
    let digits = if ratio.is_finite() && ratio > 1.0 { ratio.log10().ceil().clamp(4.0, 12.0) } else { 4.0 };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 4 and 12")]
    let digits = digits as usize;
    digits
}

/// A value with so many digits that lies on the same side as the value itself: not below it, or not above it.
pub fn on_side(value: f64, digits: usize, not_below: bool) -> f64 {
    let text = format!("{value:.*e}", digits.saturating_sub(1));
    let Some((mantissa, exponent)) = text.split_once('e') else { return value };
    let Ok(rounded) = text.parse::<f64>() else { return value };
    // What differs by the rounding of a sum is the same.
    let beyond = (rounded - value) / value.abs();
    if !(if not_below { beyond < -1e-12 } else { beyond > 1e-12 }) {
        return rounded;
    }
    // One more of its last digit, by whole numbers: what is typed later is read the same.
    let (Ok(whole), Ok(exponent)) = (mantissa.replace('.', "").parse::<i64>(), exponent.parse::<i64>()) else {
        return value;
    };
    let whole = if not_below { whole + 1 } else { whole - 1 };
    let places = i64::try_from(digits.saturating_sub(1)).unwrap_or(0);
    format!("{whole}e{}", exponent - places).parse().unwrap_or(value)
}

/// A value and another one in its place, with the digits in which they differ and without losing any of the other one.
pub fn say_change(now: f64, then: f64, unit: Unit) -> [Printed; 2] {
    let at = |value: f64, digits: usize| Quantity::new(value, unit).brief(digits);
    let differ = (3..8).find(|digits| at(now, *digits) != at(then, *digits)).unwrap_or(8);
    let own = (1..13usize).find(|digits| {
        let printed = format!("{:.*e}", digits - 1, then).parse::<f64>();
        printed.is_ok_and(|printed| printed.total_cmp(&then).is_eq())
    });
    let digits = differ.max(own.unwrap_or(12));
    [at(now, digits), at(then, digits)]
}

/// A difference in a sentence: three digits; the trade writes 0.47 K.
pub fn say_difference(value: f64, unit: Unit) -> String {
    let quantity = Quantity::new(value, unit);
    if unit == Unit::Kelvin && (0.1..1.0).contains(&value.abs()) {
        return quantity.fixed(0, 2).to_string();
    }
    quantity.brief(3).to_string()
}

/// The label inside a sentence; an abbreviation such as INL and a symbol such as I²t stay as they are.
pub fn in_sentence(label: &str) -> String {
    let mut chars = label.chars();
    match (chars.next(), chars.next()) {
        (Some(first), Some(second)) if second.is_lowercase() || second == ' ' => {
            first.to_lowercase().chain(label.chars().skip(1)).collect()
        }
        _ => label.into(),
    }
}

/// The plain form, unless it is long and the one with an exponent is shorter.
fn shorter(plain: String, exponent: String) -> String {
    if plain.len() > 10 && exponent.len() < plain.len() { exponent } else { plain }
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

/// `text` in scientific form, moved by a power of ten in the text so that no rounding is added.
fn shifted(text: &str, by: i32) -> f64 {
    let Some((digits, exponent)) = text.split_once('e') else { return 0.0 };
    let exponent: i32 = exponent.parse().unwrap_or(0);
    format!("{digits}e{}", exponent + by).parse().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::in_sentence;

    #[test]
    fn a_symbol_and_an_abbreviation_keep_their_letters() {
        let said = ["I²t of the fuse", "INL of the converter", "A cell", "Gain error", "Y–Δ"].map(in_sentence);
        assert_eq!(said, ["I²t of the fuse", "INL of the converter", "a cell", "gain error", "Y–Δ"]);
    }
}
