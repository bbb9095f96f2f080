//! # A value that may be moved
//!
//! How far a value of a design is from another, and how the value that is told is rounded: one measure for all that ask
//! what another value would do.
//!
//! ```text
//! Distance   |ln(x'/x)| of a quantity that is positive by nature; |x' − x|/w of one that may be zero or negative,
//!            w = 100 K of a temperature, of others the larger of the value itself and a thousandth of its range
//! Rounded    away from the side that fails
//! Source     common practice, no source
//! ```

use super::prepared::Prepared;
use super::{Design, Head};
use crate::field::{Field, Group, Kind, tree};
use crate::quantity::Unit;

/// A single number of a design.
#[derive(Clone, Debug)]
pub struct Movable {
    /// The part it belongs to; nothing for a value of the pack.
    pub part: Option<usize>,
    /// Where it stands in the document.
    pub pointer: String,
    /// Its declaration.
    pub field: &'static Field,
    /// The value now.
    pub now: f64,
    /// The smallest and the largest value that are accepted.
    pub range: [f64; 2],
    /// Whether it is a whole number.
    pub whole: bool,
}

impl Movable {
    /// A declared number; nothing of other fields.
    fn declared(part: Option<usize>, pointer: String, field: &'static Field, now: f64) -> Option<Self> {
        let (range, whole) = match field.kind {
            Kind::Number { min, max, .. } => ([min, max], false),
            Kind::Whole { min, max, .. } => ([f64::from(min), f64::from(max)], true),
            _ => return None,
        };
        Some(Self { part, pointer, field, now, range, whole })
    }

    /// The numbers of a part that are its own: what is handed down or on to it is another's.
    pub fn of_part(design: &Design, prepared: &Prepared, part: usize) -> Vec<Self> {
        let handed: Vec<&str> = design.parts[part].handed_down().collect();
        Self::of_input(design, prepared, part, |pointer| handed.iter().all(|other| !pointer.starts_with(other)))
    }

    /// The numbers of the input of a part at some of its places.
    pub fn of_input(design: &Design, prepared: &Prepared, part: usize, takes: impl Fn(&str) -> bool) -> Vec<Self> {
        let (index, part, input) = (part, &design.parts[part], prepared.input(part));
        let mut found = Vec::new();
        tree::walk(part.entry().fields, &mut |pointer, field| {
            if let Some(now) = input.number(pointer).filter(|_| takes(pointer)) {
                found.extend(Self::declared(Some(index), format!("{}{pointer}", part.pointer()), field, now));
            }
        });
        found
    }

    /// The cells of a part's lists that are ways out.
    pub fn cells_of_part(design: &Design, prepared: &Prepared, part: usize) -> Vec<Self> {
        let (index, part, input) = (part, &design.parts[part], prepared.input(part));
        let mut found = Vec::new();
        for (list, columns) in part.kind.cells {
            let Some(Kind::List { fields, most, .. }) = tree::declared(part.entry().fields, list).map(|one| one.kind)
            else {
                continue;
            };
            for row in 0..most {
                for field in fields.iter().filter(|field| columns.contains(&field.key)) {
                    let inside = format!("{list}/{row}/{}", field.key);
                    if let Some(now) = input.number(&inside) {
                        found.extend(Self::declared(Some(index), format!("{}{inside}", part.pointer()), field, now));
                    }
                }
            }
        }
        found
    }

    /// The numbers of the pack.
    pub fn of_pack(head: &Head) -> Vec<Self> {
        let mut found = Vec::new();
        tree::walk(super::pack::Pack::FIELDS, &mut |pointer, field| {
            let pointer = format!("/pack{pointer}");
            let counts = !head.pack.idle().contains(&pointer.as_str());
            if let Some(now) = Group::get(head, &pointer).filter(|_| counts) {
                found.extend(Self::declared(None, pointer, field, now));
            }
        });
        found
    }

    /// Whether it is positive by nature, so that its ratio counts.
    pub fn by_ratio(&self) -> bool {
        self.now > 0.0 && self.range[0] >= 0.0
    }

    /// The value that counts as a change of one, of a quantity that may be zero or negative.
    fn width(&self) -> f64 {
        match self.field.unit() {
            Some(Unit::Celsius) => 100.0,
            _ => self.now.abs().max((self.range[1] - self.range[0]) * 1e-3),
        }
    }

    /// How far a value is from the one now.
    pub fn distance(&self, value: f64) -> f64 {
        if self.by_ratio() { libm::log(value / self.now).abs() } else { ((value - self.now) / self.width()).abs() }
    }

    /// The value at a distance, up or down by its sign, inside what is accepted; a whole number goes at least one step.
    pub fn moved(&self, far: f64) -> f64 {
        let value = if self.by_ratio() { self.now * libm::exp(far) } else { self.now + far * self.width() };
        let value = if self.whole { self.now + far.signum() * (value - self.now).abs().ceil() } else { value };
        value.clamp(self.range[0], self.range[1])
    }

    /// The value at a distance with three significant digits, where these are accepted.
    pub fn printed(&self, far: f64) -> f64 {
        let value = self.moved(far);
        let short: f64 = format!("{value:.2e}").parse().unwrap_or(value);
        let inside = !self.whole && self.range[0] <= short && short <= self.range[1];
        if inside { short } else { value }
    }
}

/// `held` with so many significant digits, rounded away from `fails`.
pub fn rounded(held: f64, fails: f64, digits: i32) -> f64 {
    if held == 0.0 {
        return held;
    }
    #[expect(clippy::cast_possible_truncation, reason = "the exponent of a double")]
    let exponent = libm::floor(libm::log10(held.abs())) as i32 - digits + 1;
    // Powers of ten that are whole numbers are exact: a decimal step is divided by or multiplied with them.
    let scaled = if exponent < 0 { held * 10f64.powi(-exponent) } else { held / 10f64.powi(exponent) };
    let whole = if held > fails { scaled.ceil() } else { scaled.floor() };
    if exponent < 0 { whole / 10f64.powi(-exponent) } else { whole * 10f64.powi(exponent) }
}

#[cfg(test)]
mod tests {
    use super::rounded;

    /// By hand: away from the side that fails, with so many digits.
    #[test]
    fn a_value_is_rounded_to_the_side_that_holds() {
        assert_eq!(rounded(0.457_14, 0.457_2, 4), 0.4571);
        assert_eq!(rounded(0.457_14, 0.457, 4), 0.4572);
        assert_eq!(rounded(1234.5, 2000.0, 2), 1200.0);
        assert_eq!(rounded(-30.04, -31.0, 3), -30.0);
        assert_eq!(rounded(-30.04, -29.0, 3), -30.1);
    }
}
