//! # An expression that is printed and worked out at once
//!
//! A step of the working shows its expression with the numbers put in. Printed numbers are rounded, and a difference of two
//! near ones would lose everything by that: every number is printed with as many digits as its part in the result asks for.
//!
//! ```text
//! Rule      Σ |∂y/∂x_i| half the last printed digit of x_i ≤ 0.1 % of y; four digits where that is enough, at most fifteen
//! How       once with four digits; the numbers that move the result too much get the digits that they lack
//! Printed   at four digits without zeros at the end, beyond with them: the digits that count are seen
//! ```

use std::cell::{Cell, RefCell};
use std::f64::consts::PI;
use std::fmt;
use std::ops::{Add, Div, Mul, Neg, Sub};

use super::Step;
use crate::quantity::Quantity;

/// Digits of a number that does not move the result much.
const DIGITS: usize = 4;
/// As many as tell any two doubles apart.
const MOST: usize = 17;
/// What all printed numbers together may move the result by, as a share of it: less than the rule, for the rounding of the
/// result itself counts too.
const SHARE: f64 = 0.0008;

/// Puts numbers into an expression, with the digits that each one needs.
#[derive(Debug, Default)]
pub struct Put {
    digits: RefCell<Vec<usize>>,
    next: Cell<usize>,
}

impl Put {
    /// A number as it is printed.
    pub fn of(&self, quantity: Quantity) -> Term {
        let index = self.next.replace(self.next.get() + 1);
        let mut digits = self.digits.borrow_mut();
        if digits.len() <= index {
            digits.resize(index + 1, DIGITS);
        }
        let exponent = exponent(quantity.value);
        let print = |count: usize| {
            if count > DIGITS { quantity.significant(count) } else { quantity.brief(count) }
        };
        let figures = |number: &str| number.chars().filter(char::is_ascii_digit).count();
        let plain = |number: &str| !number.contains(['.', '·']);
        let mut count = digits[index];
        let mut printed = print(count);
        if plain(&printed.number) && figures(&printed.number) > count {
            // Digits before the point are all printed.
            count = figures(&printed.number);
            printed = print(count);
        }
        if plain(&printed.number) && printed.unit.is_empty() && quantity.value.fract() != 0.0 {
            // A whole number without a unit would be exact: this one shows that it is not.
            count = count.max(figures(&printed.number).max(DIGITS)) + 1;
            printed = print(count);
        }
        let text = printed.to_string();
        let binds = match text.contains(['−', '·']) {
            true if text.starts_with('−') => Binds::Sum,
            true => Binds::Product,
            false if quantity.unit.symbol().is_empty() => Binds::Atom,
            false => Binds::Unit,
        };
        let half =
            if quantity.value == 0.0 { 0.0 } else { 0.5 * ten(exponent + 1) / ten(i32::try_from(count).unwrap_or(4)) };
        let factor = quantity.unit.plain();
        Term { text, binds, value: quantity.value * factor, moves: vec![(index, half * factor)] }
    }

    fn with(digits: Vec<usize>) -> Self {
        Self { digits: RefCell::new(digits), next: Cell::new(0) }
    }

    /// The digits that numbers need which move a result so far; nothing when they have them.
    fn needed(self, moves: &[(usize, f64)], result: f64) -> Option<Vec<usize>> {
        let mut digits = self.digits.into_inner();
        let mut by = vec![0.0; digits.len()];
        for (index, amount) in moves {
            by[*index] += if amount.is_finite() { *amount } else { f64::MAX };
        }
        let allowed = SHARE * result.abs();
        if by.iter().sum::<f64>() <= allowed || result == 0.0 {
            return None;
        }
        let each = allowed / by.iter().filter(|amount| **amount > 0.0).count().max(1) as f64;
        for (digits, amount) in digits.iter_mut().zip(by) {
            while *digits < MOST
                && amount * ten(i32::try_from(DIGITS).unwrap_or(0)) > each * ten(i32::try_from(*digits).unwrap_or(0))
            {
                *digits += 1;
            }
        }
        Some(digits)
    }
}

/// The decade of a number.
fn exponent(value: f64) -> i32 {
    format!("{value:.3e}").split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0)
}

fn ten(power: i32) -> f64 {
    10f64.powi(power)
}

/// How firmly the parts of a printed expression hold together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Binds {
    Sum,
    Product,
    /// A number with a unit, a power.
    Unit,
    Atom,
}

/// Part of an expression: its text, its value, and what half the last digit of each printed number does to it.
#[derive(Clone, Debug)]
pub struct Term {
    text: String,
    binds: Binds,
    value: f64,
    moves: Vec<(usize, f64)>,
}

impl Term {
    /// A number of the formula.
    pub fn exact(value: impl Into<f64>) -> Self {
        let value = value.into();
        Self { text: format!("{value}"), binds: Binds::Atom, value, moves: Vec::new() }
    }

    /// A constant by its sign.
    fn named(name: &str, value: f64) -> Self {
        Self { text: name.into(), binds: Binds::Atom, value, moves: Vec::new() }
    }

    /// A constant as it is written, with all its digits.
    pub fn constant(text: &str, value: f64) -> Self {
        Self { binds: Binds::Unit, ..Self::named(text, value) }
    }

    /// π.
    pub fn pi() -> Self {
        Self::named("π", PI)
    }

    /// One half.
    pub fn half() -> Self {
        Self::named("½", 0.5)
    }

    fn held(&self, at_least: Binds) -> String {
        if self.binds < at_least { format!("({})", self.text) } else { self.text.clone() }
    }

    /// In brackets where a minus sign would follow a sign.
    fn unsigned(&self, at_least: Binds) -> String {
        if self.text.starts_with('−') { format!("({})", self.text) } else { self.held(at_least) }
    }

    fn made(text: String, binds: Binds, value: f64, parts: &[(&Self, f64)]) -> Self {
        let scaled = |(part, slope): &(&Self, f64)| {
            let slope = slope.abs();
            part.moves.iter().map(move |(index, amount)| (*index, amount * slope)).collect::<Vec<_>>()
        };
        Self { text, binds, value, moves: parts.iter().flat_map(scaled).collect() }
    }

    /// Its value.
    pub const fn value(&self) -> f64 {
        self.value
    }

    /// A function of it by its name, with the value and the slope there.
    #[must_use]
    pub fn function(self, name: &str, value: f64, slope: f64) -> Self {
        Self::made(format!("{name}({})", self.text), Binds::Atom, value, &[(&self, slope)])
    }

    /// Its square.
    #[must_use]
    pub fn squared(self) -> Self {
        let text = format!("{}²", self.held(Binds::Atom));
        Self::made(text, Binds::Unit, self.value * self.value, &[(&self, 2.0 * self.value)])
    }

    /// A whole power of it.
    #[must_use]
    pub fn power(self, n: u32) -> Self {
        let (text, n) = (format!("{}^{n}", self.held(Binds::Atom)), f64::from(n));
        Self::made(text, Binds::Unit, self.value.powf(n), &[(&self, n * self.value.powf(n - 1.0))])
    }

    /// It to a printed exponent.
    #[must_use]
    pub fn raised(self, exponent: &Self) -> Self {
        let text = format!("{}^{}", self.held(Binds::Atom), exponent.unsigned(Binds::Atom));
        let (x, n) = (self.value, exponent.value);
        let value = libm::pow(x, n);
        let by_exponent = if x > 0.0 { value * libm::log(x) } else { 0.0 };
        Self::made(text, Binds::Unit, value, &[(&self, n * libm::pow(x, n - 1.0)), (exponent, by_exponent)])
    }

    /// Its square root.
    #[must_use]
    pub fn sqrt(self) -> Self {
        let root = self.value.sqrt();
        self.function("√", root, if root > 0.0 { 0.5 / root } else { 0.0 })
    }

    /// e to it.
    #[must_use]
    pub fn exp(self) -> Self {
        let value = libm::exp(self.value);
        self.function("e^", value, value)
    }

    /// Its natural logarithm.
    #[must_use]
    pub fn ln(self) -> Self {
        let (value, slope) = (libm::log(self.value), 1.0 / self.value);
        self.function("ln", value, slope)
    }

    /// Its logarithm to the base of two.
    #[must_use]
    pub fn log2(self) -> Self {
        let (value, slope) = (libm::log2(self.value), 1.0 / (self.value * std::f64::consts::LN_2));
        self.function("log2", value, slope)
    }

    /// Its logarithm to the base of ten.
    #[must_use]
    pub fn lg(self) -> Self {
        let (value, slope) = (libm::log10(self.value), 1.0 / (self.value * std::f64::consts::LN_10));
        self.function("lg", value, slope)
    }

    /// Its sine.
    #[must_use]
    pub fn sin(self) -> Self {
        let (value, slope) = (libm::sin(self.value), libm::cos(self.value));
        self.function("sin", value, slope)
    }

    /// The nearest whole number.
    #[must_use]
    pub fn round(self) -> Self {
        let value = self.value.round();
        // A printed number must not round to another whole one: next to a half it counts as it moves there.
        let slope = if (self.value - value).abs() > 0.49 { 1.0 } else { 0.0 };
        self.function("round", value, slope)
    }

    /// The whole number below.
    #[must_use]
    pub fn floor(self) -> Self {
        let value = self.value.floor();
        let near = (self.value - value).min(value + 1.0 - self.value);
        self.function("floor", value, if near < 0.001 { 1.0 } else { 0.0 })
    }

    /// Its size.
    #[must_use]
    pub fn abs(self) -> Self {
        Self::made(format!("|{}|", self.text), Binds::Atom, self.value.abs(), &[(&self, 1.0)])
    }

    /// The least of some.
    pub fn least(of: &[Self]) -> Self {
        Self::pick("min", of, |value, best| value < best)
    }

    /// The largest of some.
    pub fn largest(of: &[Self]) -> Self {
        Self::pick("max", of, |value, best| value > best)
    }

    fn pick(name: &str, of: &[Self], better: fn(f64, f64) -> bool) -> Self {
        let mut found = of.iter();
        let first = found.next().cloned().unwrap_or_else(|| Self::exact(0.0));
        let chosen = found.fold(first, |best, term| if better(term.value, best.value) { term.clone() } else { best });
        let all: Vec<&str> = of.iter().map(|term| term.text.as_str()).collect();
        let moves = chosen.moves;
        Self { text: format!("{name}({})", all.join(", ")), binds: Binds::Atom, value: chosen.value, moves }
    }

    /// The sum of some; 0 of nothing.
    pub fn sum(of: impl IntoIterator<Item = Self>) -> Self {
        of.into_iter().reduce(Add::add).unwrap_or_else(|| Self::exact(0.0))
    }

    /// Two in parallel.
    #[must_use]
    pub fn parallel(self, other: &Self) -> Self {
        let (a, b) = (self.value, other.value);
        let value = a * b / (a + b);
        let text = format!("({} ∥ {})", self.held(Binds::Unit), other.held(Binds::Unit));
        Self::made(text, Binds::Atom, value, &[(&self, (value / a).powi(2)), (other, (value / b).powi(2))])
    }

    /// It between two whole bounds.
    #[must_use]
    pub fn clamp(self, least: u32, most: u32) -> Self {
        let (low, high) = (f64::from(least), f64::from(most));
        let value = self.value.max(low).min(high);
        // Next to a bound the printed number may lie inside.
        let near = self.value >= low - 0.1 && self.value <= high + 0.1;
        let text = format!("clamp({}, {least}, {most})", self.text);
        Self::made(text, Binds::Atom, value, &[(&self, if near { 1.0 } else { 0.0 })])
    }
}

impl fmt::Display for Term {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl Add for Term {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let text = format!("{} + {}", self.text, other.unsigned(Binds::Sum));
        Self::made(text, Binds::Sum, self.value + other.value, &[(&self, 1.0), (&other, 1.0)])
    }
}

impl Sub for Term {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        let text = format!("{} − {}", self.text, other.unsigned(Binds::Product));
        Self::made(text, Binds::Sum, self.value - other.value, &[(&self, 1.0), (&other, 1.0)])
    }
}

impl Neg for Term {
    type Output = Self;
    fn neg(self) -> Self {
        let text = format!("−{}", self.unsigned(Binds::Product));
        Self::made(text, Binds::Sum, -self.value, &[(&self, 1.0)])
    }
}

impl Mul for Term {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        let text = format!("{} · {}", self.held(Binds::Product), other.unsigned(Binds::Product));
        Self::made(text, Binds::Product, self.value * other.value, &[(&self, other.value), (&other, self.value)])
    }
}

impl Div for Term {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let text = format!("{}/{}", self.held(Binds::Product), other.unsigned(Binds::Unit));
        let value = self.value / other.value;
        Self::made(text, Binds::Product, value, &[(&self, 1.0 / other.value), (&other, value / other.value)])
    }
}

/// A number of the formula, such as 2 or 12.
pub fn n(value: impl Into<f64>) -> Term {
    Term::exact(value)
}

impl Step {
    /// A step whose value is that of the expression.
    pub fn worked(
        label: &str,
        symbol: &str,
        formula: &str,
        value: Quantity,
        source: &str,
        numbers: impl Fn(&Put) -> Term,
    ) -> Self {
        let put = Put::default();
        let first = numbers(&put);
        let text = match put.needed(&first.moves, value.value * value.unit.plain()) {
            Some(digits) => numbers(&Put::with(digits)).text,
            None => first.text,
        };
        Self::new(label, symbol, formula, text, value, source)
    }

    /// A step whose value solves an equation: it stands in it, and both sides come out alike.
    pub fn solved(
        label: &str,
        symbol: &str,
        formula: &str,
        value: Quantity,
        source: &str,
        sides: impl Fn(&Put) -> [Term; 2],
    ) -> Self {
        let put = Put::default();
        let [left, right] = sides(&put);
        let moves = [left.moves.as_slice(), right.moves.as_slice()].concat();
        let [left, right] = match put.needed(&moves, left.value.abs().min(right.value.abs())) {
            Some(digits) => sides(&Put::with(digits)),
            None => [left, right],
        };
        Self::new(label, symbol, formula, format!("{left} = {right}"), value, source)
    }
}
