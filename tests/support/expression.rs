//! Works out the printed expressions of the working, as [`Step`](sensewright_core::report::Step) describes them, and how far
//! half the last digit of each printed number moves them.

use std::f64::consts::PI;

use sensewright_core::quantity::Unit;

/// Digits that a printed number has at least: zeros at its end are not printed.
const DIGITS: i32 = 4;

/// A number as printed.
#[derive(Clone, Copy, Debug)]
pub struct Printed {
    /// Its value, in the unit that products and quotients are made in.
    pub value: f64,
    /// Half its last digit; 0 for a number of the formula.
    pub half: f64,
}

/// What a printed expression comes to.
#[derive(Clone, Copy, Debug)]
pub struct Outcome {
    /// Its value.
    pub value: f64,
    /// By how much half the last digit of all numbers together moves it.
    pub within: f64,
}

/// A printed expression, or an equation of two.
#[derive(Clone, Debug)]
pub struct Expression {
    sides: Vec<Node>,
    numbers: Vec<Printed>,
}

#[derive(Clone, Debug)]
enum Node {
    Number(usize),
    Constant(f64),
    Call(Function, Vec<Node>),
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Function {
    Add,
    Subtract,
    Multiply,
    Divide,
    Parallel,
    Negate,
    Power,
    Size,
    Root,
    Exp,
    Ln,
    Lg,
    Log2,
    Sin,
    Round,
    Floor,
    Min,
    Max,
    Clamp,
    Normal,
    Density,
    Quantile,
    Integral,
}

/// Functions by name; a longer name stands before its beginning.
const FUNCTIONS: [(&str, Function); 14] = [
    ("Φ⁻¹", Function::Quantile),
    ("Φ", Function::Normal),
    ("φ", Function::Density),
    ("G", Function::Integral),
    ("exp", Function::Exp),
    ("ln", Function::Ln),
    ("lg", Function::Lg),
    ("log2", Function::Log2),
    ("sin", Function::Sin),
    ("round", Function::Round),
    ("floor", Function::Floor),
    ("min", Function::Min),
    ("max", Function::Max),
    ("clamp", Function::Clamp),
];

impl Expression {
    /// Reads a printed expression.
    ///
    /// # Errors
    /// What cannot be read, and where.
    pub fn read(text: &str) -> Result<Self, String> {
        let mut reader = Reader { rest: text, numbers: Vec::new() };
        let mut sides = vec![reader.sum()?];
        while reader.takes("=") {
            sides.push(reader.sum()?);
        }
        reader.space();
        if reader.rest.is_empty() && sides.len() <= 2 {
            Ok(Self { sides, numbers: reader.numbers })
        } else {
            Err(format!("{:?} cannot be read", reader.rest))
        }
    }

    /// Both sides of an equation; one of an expression.
    pub fn outcomes(&self) -> Vec<Outcome> {
        self.sides.iter().map(|side| self.outcome(side)).collect()
    }

    fn outcome(&self, side: &Node) -> Outcome {
        let mut values: Vec<f64> = self.numbers.iter().map(|number| number.value).collect();
        let value = side.value(&values);
        let mut within = 0.0;
        for (index, number) in self.numbers.iter().enumerate() {
            let moved = [number.half, -number.half].map(|by| {
                values[index] = number.value + by;
                let away = (side.value(&values) - value).abs();
                if away.is_nan() { 0.0 } else { away }
            });
            values[index] = number.value;
            within += moved[0].max(moved[1]);
        }
        Outcome { value, within }
    }

    /// Every printed number.
    pub fn numbers(&self) -> &[Printed] {
        &self.numbers
    }
}

impl Node {
    fn value(&self, numbers: &[f64]) -> f64 {
        match self {
            Self::Number(index) => numbers[*index],
            Self::Constant(value) => *value,
            Self::Call(function, of) => {
                let of: Vec<f64> = of.iter().map(|node| node.value(numbers)).collect();
                function.value(&of)
            }
        }
    }
}

impl Function {
    fn value(self, of: &[f64]) -> f64 {
        let a = of[0];
        match self {
            Self::Add => a + of[1],
            Self::Subtract => a - of[1],
            Self::Multiply => a * of[1],
            Self::Divide => a / of[1],
            Self::Parallel => a * of[1] / (a + of[1]),
            Self::Negate => -a,
            Self::Power => a.powf(of[1]),
            Self::Size => a.abs(),
            Self::Root => a.sqrt(),
            Self::Exp => a.exp(),
            Self::Ln => a.ln(),
            Self::Lg => a.log10(),
            Self::Log2 => a.log2(),
            Self::Sin => a.sin(),
            Self::Round => a.round(),
            Self::Floor => a.floor(),
            Self::Min => of.iter().copied().fold(f64::INFINITY, f64::min),
            Self::Max => of.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            Self::Clamp => a.max(of[1]).min(of[2]),
            Self::Normal => normal(a),
            Self::Density => density(a),
            Self::Quantile => quantile(a),
            Self::Integral => integral(a),
        }
    }

    /// Whether it takes so many.
    const fn takes(self, count: usize) -> bool {
        match self {
            Self::Min | Self::Max => count > 0,
            Self::Clamp => count == 3,
            _ => count == 1,
        }
    }
}

fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// (1 − Φ(z))/φ(z) for z ≥ 2, by its continued fraction.
fn mills(z: f64) -> f64 {
    let fraction = (1..=200).rev().fold(z, |below, k| z + f64::from(k) / below);
    1.0 / fraction
}

/// Φ by its series about 0 and by its continued fraction in the tails.
fn normal(z: f64) -> f64 {
    if z < -2.0 {
        return density(z) * mills(-z);
    }
    if z > 2.0 {
        return 1.0 - density(z) * mills(z);
    }
    let (mut term, mut sum) = (z, z);
    for k in 1..60 {
        term *= z * z / f64::from(2 * k + 1);
        sum += term;
    }
    0.5 + density(z) * sum
}

/// Φ⁻¹ by halving.
fn quantile(p: f64) -> f64 {
    let (mut low, mut high) = (-40.0, 40.0);
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if normal(middle) < p { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

/// y Φ(y) + φ(y).
fn integral(y: f64) -> f64 {
    if y < -2.0 { density(y) * (1.0 + y * mills(-y)) } else { y.mul_add(normal(y), density(y)) }
}

struct Reader<'a> {
    rest: &'a str,
    numbers: Vec<Printed>,
}

impl Reader<'_> {
    fn space(&mut self) {
        self.rest = self.rest.trim_start_matches([' ', '\u{202f}']);
    }

    fn takes(&mut self, sign: &str) -> bool {
        self.space();
        let found = self.rest.strip_prefix(sign);
        self.rest = found.unwrap_or(self.rest);
        found.is_some()
    }

    fn needs(&mut self, sign: &str) -> Result<(), String> {
        if self.takes(sign) { Ok(()) } else { Err(format!("no {sign} before {:?}", self.rest)) }
    }

    fn sum(&mut self) -> Result<Node, String> {
        let mut sum = self.product()?;
        loop {
            let function = if self.takes("+") {
                Function::Add
            } else if self.takes("−") {
                Function::Subtract
            } else {
                return Ok(sum);
            };
            sum = Node::Call(function, vec![sum, self.product()?]);
        }
    }

    fn product(&mut self) -> Result<Node, String> {
        let mut product = self.signed()?;
        loop {
            let function = if self.takes("·") {
                Function::Multiply
            } else if self.takes("/") {
                Function::Divide
            } else if self.takes("∥") {
                Function::Parallel
            } else {
                return Ok(product);
            };
            product = Node::Call(function, vec![product, self.signed()?]);
        }
    }

    fn signed(&mut self) -> Result<Node, String> {
        if self.takes("−") {
            return Ok(Node::Call(Function::Negate, vec![self.signed()?]));
        }
        self.power()
    }

    fn power(&mut self) -> Result<Node, String> {
        if self.takes("e^") {
            return Ok(Node::Call(Function::Exp, vec![self.part()?]));
        }
        let base = self.part()?;
        let exponent = if self.takes("²") {
            Node::Constant(2.0)
        } else if self.takes("³") {
            Node::Constant(3.0)
        } else if self.takes("^") {
            self.part()?
        } else {
            return Ok(base);
        };
        Ok(Node::Call(Function::Power, vec![base, exponent]))
    }

    fn part(&mut self) -> Result<Node, String> {
        self.space();
        if self.takes("(") {
            let inside = self.sum()?;
            self.needs(")")?;
            return Ok(inside);
        }
        if self.takes("|") {
            let inside = self.sum()?;
            self.needs("|")?;
            return Ok(Node::Call(Function::Size, vec![inside]));
        }
        if self.takes("√") {
            return Ok(Node::Call(Function::Root, vec![self.part()?]));
        }
        for (sign, value) in [("π", PI), ("½", 0.5)] {
            if self.takes(sign) {
                return Ok(Node::Constant(value));
            }
        }
        for (name, function) in FUNCTIONS {
            if let Some(rest) = self.rest.strip_prefix(name).and_then(|rest| rest.strip_prefix('(')) {
                self.rest = rest;
                let mut of = vec![self.sum()?];
                while self.takes(",") {
                    of.push(self.sum()?);
                }
                self.needs(")")?;
                let fits = function.takes(of.len());
                return if fits { Ok(Node::Call(function, of)) } else { Err(format!("{name} of {}", of.len())) };
            }
        }
        self.number()
    }

    fn number(&mut self) -> Result<Node, String> {
        let wrong = || format!("no number at {:?}", self.rest);
        let end = self.rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(self.rest.len());
        let (digits, rest) = self.rest.split_at(end);
        let (mantissa, decimals): (f64, _) =
            (digits.parse().map_err(|_| wrong())?, digits.split_once('.').map(|(_, part)| part.len()));
        let (power, rest) = power_of_ten(rest);
        let (unit, rest) = unit(rest);
        self.rest = rest;
        let scale = 10f64.powi(power) * unit.unwrap_or(1.0);
        let exact = mantissa == 0.0 || (unit.is_none() && decimals.is_none() && power == 0);
        let places = i32::try_from(decimals.unwrap_or(0)).map_err(|_| "too long")?;
        let half = if exact {
            0.0
        } else {
            #[allow(clippy::cast_possible_truncation, reason = "a decade")]
            let decade = mantissa.log10().floor() as i32;
            0.5 * 10f64.powi(-places.max(DIGITS - 1 - decade))
        };
        self.numbers.push(Printed { value: mantissa * scale, half: half * scale });
        Ok(Node::Number(self.numbers.len() - 1))
    }
}

/// A printed power of ten: ·10⁻⁹ or e−9.
fn power_of_ten(text: &str) -> (i32, &str) {
    const RAISED: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let (tail, raised) = match (text.strip_prefix("·10"), text.strip_prefix('e')) {
        (Some(tail), _) if tail.starts_with(['⁻', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹']) => {
            (tail, true)
        }
        (_, Some(tail)) if tail.starts_with(['−', '-', '+']) || tail.starts_with(|c: char| c.is_ascii_digit()) => {
            (tail, false)
        }
        _ => return (0, text),
    };
    let (sign, tail) = match tail.strip_prefix(['⁻', '−', '-']) {
        Some(tail) => (-1, tail),
        None => (1, tail.strip_prefix('+').unwrap_or(tail)),
    };
    let digit =
        |c: char| if raised { RAISED.iter().position(|one| *one == c) } else { c.to_digit(10).map(|d| d as usize) };
    let mut power = 0;
    let mut rest = tail;
    while let Some((c, found)) = rest.chars().next().and_then(|c| Some((c, digit(c)?))) {
        power = power * 10 + i32::try_from(found).unwrap_or(0);
        rest = &rest[c.len_utf8()..];
    }
    (sign * power, rest)
}

/// The unit after a number as a factor, prefix included; a quotient of units only where it is written without a space.
fn unit(text: &str) -> (Option<f64>, &str) {
    let Some(text_of_unit) = text.strip_prefix(['\u{202f}', ' ']) else { return (None, text) };
    let mut best: Option<(f64, &str)> = None;
    for unit in Unit::ALL.iter().filter(|unit| !unit.symbol().is_empty()) {
        let prefixes: &[(&str, i32)] = &[
            ("", 0),
            ("f", -15),
            ("p", -12),
            ("n", -9),
            ("µ", -6),
            ("m", -3),
            ("k", 3),
            ("M", 6),
            ("G", 9),
            ("T", 12),
        ];
        for (prefix, power) in prefixes.iter().take(if unit.prefixed() { prefixes.len() } else { 1 }) {
            let tail = text_of_unit.strip_prefix(prefix).and_then(|tail| tail.strip_prefix(unit.symbol()));
            let Some(tail) = tail.filter(|tail| !tail.starts_with(char::is_alphabetic)) else { continue };
            if best.is_none_or(|(_, rest)| tail.len() < rest.len()) {
                best = Some((10f64.powi(*power) * plain(unit.symbol()), tail));
            }
        }
    }
    match best {
        Some((factor, rest)) => (Some(factor), rest),
        None => (None, text),
    }
}

/// What one of a unit is in a product.
fn plain(symbol: &str) -> f64 {
    match symbol {
        "%" => 1e-2,
        "ppm" | "ppm/K" | "ppm/K²" | "ppm/V" => 1e-6,
        "V/%" => 1e2,
        "h" | "Ah" | "Wh" => 3600.0,
        "FIT" => 1e-9 / 3600.0,
        "days" => 86_400.0,
        "Ah/day" => 1.0 / 24.0,
        "%/day" => 1e-2 / 86_400.0,
        "%/month" => 1e-2 / (30.4375 * 86_400.0),
        "Wh/km" => 3.6,
        "km" => 1e3,
        "a" => 365.25 * 86_400.0,
        "mm" | "mm/V" => 1e-3,
        _ => 1.0,
    }
}

/// A value in the unit that products are made in.
pub fn in_products(value: f64, unit: Unit) -> f64 {
    value * plain(unit.symbol())
}
