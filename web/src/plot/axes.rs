//! # Axes
//!
//! Linear axes have ticks at 1, 2 or 5 times a power of ten; logarithmic ones at the decades, and at 2 and 5 between
//! them when there are few. Both survive one value, equal values, zeros, and hundreds of decades.

use sensewright_core::quantity::{Quantity, Unit};
use sensewright_core::report;

use crate::number::superscript;

/// Larger sizes are left out: their differences would overflow.
const LARGEST: f64 = 1e100;
/// Smaller sizes are zero for a drawing.
const SMALLEST: f64 = 1e-100;

/// An axis that is laid out: where values stand, and where its ticks are.
#[derive(Clone, Debug)]
pub struct Axis {
    log: bool,
    low: f64,
    high: f64,
    from: f64,
    to: f64,
    /// The ticks that have a label.
    pub ticks: Vec<Tick>,
    /// What it shows, with its unit.
    pub caption: String,
}

/// A labelled tick.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// Its value.
    pub value: f64,
    /// Its label, without the unit.
    pub label: String,
}

/// Whether an axis can show a value.
pub fn shows(axis: &report::Axis, value: f64) -> bool {
    value.is_finite() && value.abs() < LARGEST && (!axis.log || value > SMALLEST)
}

impl Axis {
    /// Lays out an axis between the drawing's coordinates `from` and `to` with at most about `most` labels. A `round`
    /// axis ends at ticks, another one at its outermost values.
    pub fn new(axis: &report::Axis, values: &[f64], from: f64, to: f64, most: usize, round: bool) -> Self {
        let shown = || values.iter().copied().filter(|value| shows(axis, *value));
        let (low, high) =
            shown().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
        let (low, high) = if low <= high { (low, high) } else { (1.0, 1.0) };
        if axis.log {
            Self::decades(axis, low, high, from, to, most, round)
        } else {
            Self::linear(axis, low, high, from, to, most, round)
        }
    }

    fn linear(axis: &report::Axis, low: f64, high: f64, from: f64, to: f64, most: usize, round: bool) -> Self {
        let (mut low, mut high) = (low, high);
        // Shares and energies start at zero, and so does what is near it: a cut axis overstates a difference.
        if round && low > 0.0 && (low < 0.5 * high || matches!(axis.unit, Unit::Percent | Unit::Joule)) {
            low = 0.0;
        } else if round && high < 0.0 && high > 0.5 * low {
            high = 0.0;
        }
        let size = low.abs().max(high.abs());
        if high - low <= size * 1e-9 || high - low < SMALLEST {
            let room = if size < SMALLEST { 1.0 } else { size * 0.1 };
            (low, high) = (low - room, high + room);
        }
        let step = nice((high - low) / most.max(1) as f64);
        if round {
            low = (low / step + 1e-6).floor() * step;
            high = (high / step - 1e-6).ceil() * step;
        }
        let first = (low / step - 1e-6).ceil();
        let count = ((high / step + 1e-6).floor() - first).clamp(0.0, 40.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0..=40 above")]
        let values: Vec<f64> = (0..=count as u32).map(|index| (first + f64::from(index)) * step + 0.0).collect();
        let (labels, unit) = linear_labels(&values, step, axis.unit);
        let ticks = values.into_iter().zip(labels).map(|(value, label)| Tick { value, label }).collect();
        Self { log: false, low, high, from, to, ticks, caption: caption(axis, &unit) }
    }

    fn decades(axis: &report::Axis, low: f64, high: f64, from: f64, to: f64, most: usize, round: bool) -> Self {
        let (mut first, mut last) = (low.log10(), high.log10());
        // A few decades have room for 2 and 5, and a round axis ends at one of them.
        let fine = last - first <= 2.2 && (most >= 5 || last - first <= 1.1);
        if round || last - first < 0.3 {
            (first, last) = (outward(first, false), outward(last, true));
        }
        if last - first < 0.1 {
            (first, last) = (first - 0.35, last + 0.35);
        }
        let (from_decade, to_decade) = (first.floor(), last.ceil());
        let stride = ((to_decade - from_decade) / most.max(1) as f64).ceil().max(1.0);
        let factors: &[f64] = if fine { &[1.0, 2.0, 5.0] } else { &[1.0] };
        // Up to three decades share a prefix; beyond that each label has its own.
        let prefix = (last - first <= 3.05).then(|| Quantity::new(power(first.ceil()), axis.unit).step());
        let unit = match prefix {
            Some(prefix) => Quantity::new(0.0, axis.unit).fixed(prefix, 0).unit,
            None => axis.unit.symbol().to_owned(),
        };
        let mut ticks = Vec::new();
        let mut decade = from_decade;
        while decade <= to_decade + 0.5 && ticks.len() < 60 {
            for factor in factors {
                let value = power(decade) * factor;
                let place = value.log10();
                if place >= first - 1e-6 && place <= last + 1e-6 {
                    ticks.push(Tick { value, label: log_label(value, axis.unit, prefix) });
                }
            }
            decade += stride;
        }
        Self { log: true, low: first, high: last, from, to, ticks, caption: caption(axis, &unit) }
    }

    /// The coordinate of a value.
    pub fn place(&self, value: f64) -> f64 {
        let value = if self.log { value.max(SMALLEST).log10() } else { value };
        let share = ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        self.from + (self.to - self.from) * share
    }
}

/// The value of 1, 2 or 5 times a power of ten that is not below `size`.
fn nice(size: f64) -> f64 {
    let decade = size.max(SMALLEST).log10().floor();
    let base = power(decade);
    [1.0, 2.0, 5.0].iter().map(|factor| factor * base).find(|step| *step >= size * (1.0 - 1e-9)).unwrap_or(base * 10.0)
}

/// The logarithm of the next 1, 2 or 5 times a power of ten, upwards or downwards; a value that is one stays.
fn outward(place: f64, up: bool) -> f64 {
    let decade = place.floor();
    let steps = [0.0, 2f64.log10(), 5f64.log10(), 1.0].map(|step| decade + step);
    if up {
        steps.into_iter().find(|step| *step >= place - 1e-9).unwrap_or(decade + 1.0)
    } else {
        steps.into_iter().rev().find(|step| *step <= place + 1e-9).unwrap_or(decade)
    }
}

/// Ten to a whole power, correctly rounded.
fn power(decade: f64) -> f64 {
    format!("1e{decade:.0}").parse().unwrap_or(1.0)
}

fn caption(axis: &report::Axis, unit: &str) -> String {
    if unit.is_empty() { axis.label.clone() } else { format!("{}, {unit}", axis.label) }
}

/// Labels with one power of ten for all of them; the unit carries it.
fn linear_labels(values: &[f64], step: f64, unit: Unit) -> (Vec<String>, String) {
    let largest = values.iter().fold(step, |largest, value| largest.max(value.abs()));
    let mut prefix = Quantity::new(largest, unit).step();
    // 1000 A reads better than 1.0 kA above 0.2, 0.4, 0.6.
    if unit.prefixed() && prefix > -15 && largest < 2.0 * power(f64::from(prefix)) && step < power(f64::from(prefix)) {
        prefix -= 3;
    }
    let left = largest / power(f64::from(prefix));
    // Where no prefix reaches, the power of ten stands before the unit.
    let extra = if (1e-3..1e6).contains(&left) { 0 } else { decade_of(left).div_euclid(3) * 3 };
    let scale = power(f64::from(prefix + extra));
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0..=9")]
    let decimals = (-(step / scale * (1.0 + 1e-9)).log10().floor()).clamp(0.0, 9.0) as usize;
    let labels = values.iter().map(|value| signed(&format!("{:.decimals$}", value / scale))).collect();
    let symbol = Quantity::new(0.0, unit).fixed(prefix, 0).unit;
    let symbol = if extra == 0 { symbol } else { format!("10{} {symbol}", superscript(extra)) };
    (labels, symbol.trim_end().to_owned())
}

fn log_label(value: f64, unit: Unit, prefix: Option<i32>) -> String {
    if let Some(prefix) = prefix {
        let label = signed(&format!("{}", (value / power(f64::from(prefix)) * 1e9).round() / 1e9));
        if label.len() <= 6 {
            return label;
        }
    }
    let printed = Quantity::new(value, unit).brief(2);
    let prefix = printed.unit.strip_suffix(unit.symbol()).unwrap_or_default();
    if printed.number.chars().count() > 6 {
        let decade = decade_of(value);
        let factor = (value / power(f64::from(decade))).round();
        let ten = format!("10{}", superscript(decade));
        return if factor > 1.0 { format!("{factor:.0}·{ten}") } else { ten };
    }
    if prefix.is_empty() { printed.number } else { format!("{}\u{202f}{prefix}", printed.number) }
}

fn decade_of(value: f64) -> i32 {
    format!("{value:.3e}").split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0)
}

/// A true minus, and no sign on a zero.
fn signed(number: &str) -> String {
    if number.trim_start_matches(['-', '0', '.']).is_empty() {
        number.trim_start_matches('-').to_owned()
    } else {
        number.replace('-', "−")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &report::Axis, values: &[f64], round: bool) -> Vec<String> {
        Axis::new(axis, values, 0.0, 100.0, 6, round).ticks.into_iter().map(|tick| tick.label).collect()
    }

    #[test]
    fn linear_ticks_are_round_and_carry_one_prefix() {
        let current = report::Axis::linear("current", Unit::Ampere);
        assert_eq!(labels(&current, &[0.0, 1000.0], false), ["0", "200", "400", "600", "800", "1000"]);
        assert_eq!(labels(&current, &[0.0, 900.0], false), ["0", "200", "400", "600", "800"]);
        let change = report::Axis::linear("change", Unit::Ppm);
        assert_eq!(labels(&change, &[-900.0, 100.0], true), ["−1000", "−800", "−600", "−400", "−200", "0", "200"]);
        assert_eq!(Axis::new(&current, &[0.0, 0.02], 0.0, 1.0, 5, true).caption, "current, mA");
    }

    #[test]
    fn logarithmic_ticks_are_decades() {
        let f = report::Axis::log("frequency", Unit::Hertz);
        let thin = |text: &[&str]| text.iter().map(|t| t.replace(' ', "\u{202f}")).collect::<Vec<_>>();
        assert_eq!(labels(&f, &[10.0, 1e6], false), thin(&["10", "100", "1 k", "10 k", "100 k", "1 M"]));
        assert_eq!(labels(&f, &[1.0, 100.0], false), ["1", "2", "5", "10", "20", "50", "100"]);
        assert!(labels(&f, &[1e-12, 1e12], false).len() <= 9);
        assert!(labels(&f, &[5.0, 5.0], false).len() >= 2);
        assert!(labels(&f, &[10.0], false).len() >= 2);
        assert!(labels(&f, &[0.0, -1.0], false).len() >= 2);
    }

    #[test]
    fn every_axis_survives_extremes() {
        let lists: &[&[f64]] = &[
            &[],
            &[0.0],
            &[1e-300, 1e300],
            &[-1e99, 1e99],
            &[5.0; 4],
            &[f64::NAN, f64::INFINITY],
            &[1e99, 1e99],
            &[5e-324],
            &[1.0, 1.0 + 1e-15],
            &[-3.0, -3.0],
            &[1e12, 1e12 + 1.0],
            &[999.999, 1000.001],
        ];
        for unit in [Unit::Ohm, Unit::Percent, Unit::One] {
            for log in [true, false] {
                for round in [true, false] {
                    for most in [1, 4, 8] {
                        for values in lists {
                            let axis = report::Axis { label: "x".into(), unit, log };
                            let laid = Axis::new(&axis, values, 40.0, 700.0, most, round);
                            assert!(laid.ticks.len() <= 60, "{values:?}");
                            for value in values.iter().filter(|value| shows(&axis, **value)) {
                                assert!((40.0..=700.0).contains(&laid.place(*value)), "{axis:?} {values:?}");
                            }
                            for tick in &laid.ticks {
                                assert!(tick.value.is_finite() && tick.label.chars().count() < 14, "{tick:?}");
                                assert!(laid.place(tick.value).is_finite());
                            }
                        }
                    }
                }
            }
        }
    }
}
