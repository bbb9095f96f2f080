//! Tests against published examples and exact results; each names its source.
#![expect(clippy::unwrap_used, clippy::float_cmp, reason = "a test may panic, and some results are exact")]

mod examples;
mod joined;
mod numbers;
mod propagation;
mod stops;
mod sums;

use super::{Distribution, Kind, Model, Request, Source};

/// A source with its standard uncertainty, as published examples give it.
fn normal(estimate: f64, standard: f64) -> Source {
    Source::limit("x", "input", "example", Kind::Initial, "1", standard)
        .known(estimate)
        .distributed(Distribution::Normal { k: 1.0 })
}

/// A source with rectangular limits.
fn rectangular(estimate: f64, limit: f64) -> Source {
    Source::limit("x", "input", "example", Kind::Initial, "1", limit).known(estimate)
}

/// Input quantities are values, not deviations, in most published examples.
fn values(trials: Option<u32>) -> Request {
    Request { deviations: false, trials, ..Request::default() }
}

/// Panics unless `got` is within `tolerance` of `expected`.
#[track_caller]
fn close(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{got} is not {expected} within {tolerance}");
}

/// A model from a pair of closures' bodies would need generic closures; a macro writes the type instead.
macro_rules! model {
    ($name:ident, |$x:ident: &[$n:ident]| $body:expr) => {
        struct $name;
        impl $crate::propagation::Model for $name {
            fn evaluate<$n: $crate::propagation::Number>(&self, $x: &[$n]) -> $n {
                $body
            }
        }
    };
}
use model;

/// Sum of all inputs.
fn sum_of(count: usize) -> impl Model {
    super::Linear { offset: 0.0, coefficients: vec![1.0; count] }
}
