//! # How numbers are printed
//!
//! A column has one prefix and one number of decimals, so that its decimal points stand below each other. Key figures
//! have four significant digits. A value that spans too many decades for one prefix is printed cell by cell.

pub use sensewright_core::judge::share_words as share;
use sensewright_core::quantity::{Printed, Quantity, Unit};

/// Digits that the largest value of a column gets on top of the wanted ones, so that the smallest one shows any.
const EXTRA_DIGITS: i32 = 2;

/// How the numbers of a column are printed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Style {
    /// One power of ten and one number of decimals for all.
    Common {
        /// The power of ten of the prefix.
        step: i32,
        /// Digits after the point.
        decimals: usize,
    },
    /// Every cell with its own prefix.
    Each,
}

impl Style {
    /// The style that suits all of `values`; at least `digits` significant digits in the largest.
    pub fn of(values: &[f64], unit: Unit, digits: i32) -> Self {
        let sizes = || values.iter().map(|value| value.abs()).filter(|size| size.is_finite() && *size > 0.0);
        let largest = sizes().fold(0.0, f64::max);
        if largest == 0.0 {
            return Self::Common { step: 0, decimals: 0 };
        }
        let smallest = sizes().fold(largest, f64::min);
        let step = Quantity::new(largest, unit).step();
        let needed = digits - 1 - (decade(largest) - step);
        // The smallest shows two digits if one more decimal is enough for that, and one digit in any case; where the
        // largest would need too many digits for that, one prefix would bury the smallest.
        let smallest_decade = decade(smallest) - step;
        if -smallest_decade > (needed + EXTRA_DIGITS).max(0) || needed > 12 || decade(largest) - step > 7 {
            return Self::Each;
        }
        let wanted = needed.max((1 - smallest_decade).min(needed + 1)).max(-smallest_decade);
        // Values that lie close together need the digits in which they differ.
        let finite = || values.iter().copied().filter(|value| value.is_finite());
        let spread = finite().fold(f64::NEG_INFINITY, f64::max) - finite().fold(f64::INFINITY, f64::min);
        let close = i32::from(spread < 0.02 * largest);
        let apart = if spread > 0.0 && spread.is_finite() { 1 + close - (decade(spread) - step) } else { needed };
        let wanted = wanted.max(apart.min(needed + 3)).max(0);
        let decimals = usize::try_from(wanted).unwrap_or(0);
        // Zeros that every cell would end with say nothing.
        let trailing = values
            .iter()
            .filter(|value| value.is_finite())
            .map(|value| {
                let text = Quantity::new(*value, unit).fixed(step, decimals).number;
                text.len() - text.trim_end_matches('0').len()
            })
            .min()
            .unwrap_or(0);
        Self::Common { step, decimals: decimals - trailing.min(decimals) }
    }

    /// Prints one value.
    pub fn print(self, value: f64, unit: Unit) -> Printed {
        match self {
            Self::Common { step, decimals } if value.is_finite() => Quantity::new(value, unit).fixed(step, decimals),
            _ => significant(Quantity::new(value, unit), 4),
        }
    }

    /// The unit with its prefix, when all cells share it.
    pub fn unit(self, unit: Unit) -> Option<String> {
        match self {
            Self::Common { step, .. } => Some(Quantity::new(0.0, unit).fixed(step, 0).unit),
            Self::Each => None,
        }
    }
}

/// The power of ten of the first digit, after rounding to four digits.
fn decade(size: f64) -> i32 {
    format!("{size:.3e}").split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0)
}

/// A key figure with so many digits; a count as it is.
pub fn figure(quantity: Quantity, digits: usize) -> Printed {
    if quantity.value.fract() == 0.0 && quantity.value.abs() < 1e4 && quantity.unit == Unit::One {
        return quantity.brief(5);
    }
    significant(quantity, digits)
}

/// A number without trailing zeros, for the working.
pub fn brief(quantity: Quantity, digits: usize) -> Printed {
    if out_of_reach(quantity) { power_of_ten(quantity, digits) } else { quantity.brief(digits) }
}

fn significant(quantity: Quantity, digits: usize) -> Printed {
    if out_of_reach(quantity) { power_of_ten(quantity, digits) } else { quantity.significant(digits) }
}

/// Whether a row of zeros would be printed, because no prefix applies or none reaches.
fn out_of_reach(quantity: Quantity) -> bool {
    let size = quantity.value.abs();
    let (least, most) = if quantity.unit.prefixed() { (1e-17, 1e16) } else { (1e-5, 1e8) };
    size > 0.0 && size.is_finite() && !(least..most).contains(&size)
}

fn power_of_ten(quantity: Quantity, digits: usize) -> Printed {
    let text = format!("{:.*e}", digits.saturating_sub(1), quantity.value);
    let (number, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    let power = exponent.parse().map(superscript).unwrap_or_default();
    Printed { number: format!("{}·10{power}", number.replace('-', "−")), unit: quantity.unit.symbol().into() }
}

/// A power as it is written above the line.
pub fn superscript(power: i32) -> String {
    power
        .to_string()
        .chars()
        .map(|digit| match digit {
            '-' => '⁻',
            '1' => '¹',
            '2' => '²',
            '3' => '³',
            '4' => '⁴',
            '5' => '⁵',
            '6' => '⁶',
            '7' => '⁷',
            '8' => '⁸',
            '9' => '⁹',
            _ => '⁰',
        })
        .collect()
}

/// A limit, what is reached and what is left, with the same prefix and decimals; another digit where rounding would hide
/// which of the first two is larger.
pub fn limits(required: Option<f64>, achieved: Option<f64>, left: Option<f64>, unit: Unit) -> [Option<Printed>; 3] {
    let style = style_of_limits(required, achieved, unit);
    // What is left of a temperature is a difference.
    let difference = if unit == Unit::Celsius { Unit::Kelvin } else { unit };
    [(required, unit), (achieved, unit), (left, difference)]
        .map(|(value, unit)| value.map(|value| style.print(value, unit)))
}

/// What was reached before, with the digits of what is reached; nothing where it reads the same.
pub fn reached_before(required: Option<f64>, achieved: f64, before: f64, unit: Unit) -> Option<Printed> {
    let style = style_of_limits(required, Some(achieved), unit);
    let printed = style.print(before, unit);
    (printed != style.print(achieved, unit)).then_some(printed)
}

fn style_of_limits(required: Option<f64>, achieved: Option<f64>, unit: Unit) -> Style {
    let values: Vec<f64> = [required, achieved].into_iter().flatten().collect();
    let mut style = Style::of(&values, unit, 3);
    if let (Some(a), Some(b)) = (required, achieved)
        && a.to_bits() != b.to_bits()
    {
        for _ in 0..6 {
            let Style::Common { step, decimals } = style else { break };
            if style.print(a, unit) != style.print(b, unit) {
                break;
            }
            style = Style::Common { step, decimals: decimals + 1 };
        }
    }
    style
}

/// A number for a file: the shortest text that reads back to the same double.
pub fn exact(value: f64) -> String {
    if value != 0.0 && !(1e-4..1e15).contains(&value.abs()) { format!("{value:e}") } else { format!("{value}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn printed(values: &[f64], unit: Unit) -> Vec<String> {
        let style = Style::of(values, unit, 3);
        values.iter().map(|value| style.print(*value, unit).to_string().replace('\u{202f}', " ")).collect()
    }

    #[test]
    fn a_column_has_one_prefix_and_one_number_of_decimals() {
        assert_eq!(printed(&[50e-6, 0.5e-3, 40e-3], Unit::Volt), ["0.05 mV", "0.50 mV", "40.00 mV"]);
        assert_eq!(printed(&[-40.0, 25.0, 85.0], Unit::Celsius), ["−40 °C", "25 °C", "85 °C"]);
        assert_eq!(printed(&[1.0625, 0.9231], Unit::Percent), ["1.06 %", "0.92 %"]);
        assert_eq!(printed(&[34.8803e-6, 35.0171e-6], Unit::Ohm), ["34.880 µΩ", "35.017 µΩ"]);
        assert_eq!(printed(&[0.0, 0.0], Unit::Ampere), ["0 A", "0 A"]);
        assert_eq!(printed(&[100.0, 200.0], Unit::Ampere), ["100 A", "200 A"]);
    }

    #[test]
    fn many_decades_are_printed_cell_by_cell() {
        assert_eq!(printed(&[1.0, 1e6], Unit::Hertz), ["1.000 Hz", "1.000 MHz"]);
        assert_eq!(printed(&[1e300, 1.0], Unit::Percent).len(), 2);
        assert_eq!(printed(&[f64::NAN, 1.0], Unit::Percent), ["— %", "1 %"]);
    }

    #[test]
    fn rounding_never_hides_a_verdict() {
        assert_eq!(share(99.6), "99.6");
        assert_eq!(share(100.2), "100.2");
        assert_eq!(share(100.0), "100");
        assert_eq!(share(85.04), "85.04");
        assert_eq!(share(0.42), "0.4");
        assert_eq!(share(1e9), "> 9999");
        let [required, achieved, left] = limits(Some(1.0), Some(1.0004), Some(-0.0004), Unit::Percent);
        assert_ne!(required, achieved);
        assert!(left.is_some_and(|left| left.number.starts_with('−') && left.number.ends_with('4')));
        let row = |required, achieved: f64, unit| {
            let text = |printed: Option<Printed>| printed.map_or_else(String::new, |printed| printed.to_string());
            limits(Some(required), Some(achieved), Some(required - achieved), unit).map(text)
        };
        assert_eq!(row(5.544, 5.743, Unit::Volt), ["5.54\u{202f}V", "5.74\u{202f}V", "−0.20\u{202f}V"]);
        assert_eq!(row(170.0, 126.5, Unit::Celsius)[2], "44\u{202f}K");
    }

    #[test]
    fn tiny_and_huge_numbers_are_no_row_of_zeros() {
        let text = |value, unit| figure(Quantity::new(value, unit), 4).to_string().replace('\u{202f}', " ");
        assert_eq!(text(3.16e-14, Unit::Percent), "3.160·10⁻¹⁴ %");
        assert_eq!(text(-2e20, Unit::Volt), "−2.000·10²⁰ V");
        assert_eq!(text(0.0012, Unit::Percent), "0.001200 %");
        assert_eq!(brief(Quantity::new(40.0, Unit::Volt), 5).to_string(), "40\u{202f}V");
    }

    #[test]
    fn exact_numbers_read_back() {
        for value in [35e-6, 0.1 + 0.2, -4.0, 0.0, 1e300, f64::MIN_POSITIVE] {
            assert_eq!(exact(value).parse(), Ok(value));
        }
    }
}
