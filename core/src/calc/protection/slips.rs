//! # What shows a slipped power of ten in a threshold
//!
//! Values that follow from typed ones, and where they usually lie: common practice, no source.

use crate::calculation::{Slip, positive};
use crate::quantity::Unit;

/// A length of time.
pub const fn time<I>(
    words: &'static str,
    usual: [f64; 2],
    value: fn(&I) -> f64,
    from: &'static [&'static str],
) -> Slip<I> {
    Slip { words, unit: Unit::Second, usual, value, from }
}

/// A share or a multiple.
pub const fn part<I>(
    words: &'static str,
    usual: [f64; 2],
    value: fn(&I) -> f64,
    from: &'static [&'static str],
) -> Slip<I> {
    Slip { words, unit: Unit::One, usual, value, from }
}

/// A difference of temperatures.
pub const fn kelvin<I>(
    words: &'static str,
    usual: [f64; 2],
    value: fn(&I) -> f64,
    from: &'static [&'static str],
) -> Slip<I> {
    Slip { words, unit: Unit::Kelvin, usual, value, from }
}

/// A value that may not be given: nothing usual is said of it then.
pub fn given(value: Option<f64>) -> f64 {
    value.map_or(f64::NAN, positive)
}
