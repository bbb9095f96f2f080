//! # Limits of the end-of-line tester
//!
//! What a channel may read wrong on the day it is made is less than what it may read wrong at the end of its life in the
//! worst ambient: drift takes its share first, then what comes and goes, and the tester's own uncertainty the next. What is
//! left is the limit of the test; when nothing is left, no test can guarantee the requirement.
//!
//! ```text
//! Formula    T = A − Σ temperature − Σ ageing − Σ what comes and goes;  L_test = T − w, w = r U, r = 1;
//!            risk at the limit: 1 − Φ((T − L)/u) + Φ((−T − L)/u), u = U/k, k = 2
//! Comes      leakage, supply, common mode, edges: not there at the tester; rounding and the noise that counts are new in each
//!            reading, that of the tester and that in use, so that both count
//! Symbols    A allowed error, Σ sums of the limits that temperature and life add, T what is left for the day of the test,
//!            U expanded uncertainty of the tester, w guard band
//! Valid      test at the calibration temperature, after calibration; the whole U kept (strict acceptance); a channel of which
//!            nothing is missing
//! Source     JCGM 106:2012 clauses 7.3 and 8.3 (conformance probability, guarded acceptance); k = 2: JCGM 100:2008 clause
//!            6.3.3; the order of subtraction: common practice, no source
//! ```

use serde_json::Value;

use super::assess::{Assessed, AssessedPart};
use crate::calc::free::conformity::risk::{Limits, Normal};
use crate::channel::calibrated::CALIBRATION;
use crate::field::Notation;
use crate::quantity::Unit;

/// Coverage factor of the tester's expanded uncertainty.
const TESTER_K: f64 = 2.0;

/// New in each reading.
const OF_READING: [&str; 2] = ["reading.rounding", "reading.noise"];
/// It bends the reading of the tester as it does any other.
const BEND: &str = "upper.voltage-coefficient";

/// The limit of one test point.
#[derive(Clone, Debug)]
pub struct TestLimit {
    /// The index of the part.
    pub part: usize,
    /// The point.
    pub at: f64,
    /// Its unit, and that of every error.
    pub unit: Unit,
    /// The allowed error there.
    pub allowed: f64,
    /// What temperature may add later.
    pub temperature: f64,
    /// What ageing may add later.
    pub ageing: f64,
    /// What comes and goes.
    pub comes_and_goes: f64,
    /// The tester's uncertainty.
    pub tester: f64,
}

impl TestLimit {
    /// The limit of the test; nothing when a test cannot guarantee the requirement.
    pub fn limit(&self) -> Option<f64> {
        Some(self.left()).filter(|left| *left > 0.0)
    }

    /// What is left of the allowance; negative when drift and tester take more.
    pub fn left(&self) -> f64 {
        self.tolerance().guarded(self.tester).upper.unwrap_or(0.0)
    }

    /// The risk that a unit read exactly at the limit is beyond what drift leaves, 1 is certain; nothing without a limit or
    /// with a tester that is never wrong.
    pub fn risk(&self) -> Option<f64> {
        let standard = self.tester / TESTER_K;
        let mean = self.limit().filter(|_| standard > 0.0)?;
        Some(self.tolerance().outside(Normal { mean, standard }))
    }

    /// What drift leaves of the allowance on the day of the test.
    fn tolerance(&self) -> Limits {
        let left = self.allowed - self.temperature - self.ageing - self.comes_and_goes;
        Limits { lower: Some(-left), upper: Some(left) }
    }
}

/// The limits of every channel that has a requirement.
pub fn test_limits(assessed: &Assessed) -> Vec<TestLimit> {
    let tester = assessed.design.head.requirements.test_uncertainty_percent / 100.0;
    assessed.parts.iter().enumerate().flat_map(|(index, part)| of_part(index, part, tester)).collect()
}

fn of_part(index: usize, part: &AssessedPart, tester: f64) -> Vec<TestLimit> {
    let Some((told, [at, allowed])) = part.part.kind.told.as_ref().and_then(|told| Some((told, told.tested?))) else {
        return Vec::new();
    };
    // What nobody gave may come and go unseen by the tester: no test can guarantee anything then.
    let entry = part.part.entry();
    let input = entry.read(Some(&part.answer.input), Notation::Json);
    if input.is_ok_and(|input| entry.channel(&*input).is_some_and(|channel| channel.missing().is_some())) {
        return Vec::new();
    }
    let result = part.answer.result.tree();
    let points = result.get("points").and_then(Value::as_array).map_or(&[][..], Vec::as_slice);
    points
        .iter()
        .filter_map(|point| {
            let value = point.get(at)?.as_f64()?.abs();
            let terms = point.pointer("/assessment/contributions")?.as_array()?;
            let word = |term: &Value, key: &str, asked: &str| term.get(key).and_then(Value::as_str) == Some(asked);
            let sum = |counts: &dyn Fn(&Value) -> f64| -> f64 {
                let size = |term: &Value, key: &str| term.get(key).and_then(Value::as_f64).unwrap_or(0.0);
                terms.iter().map(|term| counts(term) * (size(term, "contribution") + size(term, "known").abs())).sum()
            };
            let kind = |asked: &str| sum(&|term| f64::from(u8::from(word(term, "kind", asked))));
            let comes = |term: &Value| {
                let there = word(term, "stage", CALIBRATION) || word(term, "id", BEND);
                if there || !word(term, "kind", "noise") {
                    0.0
                } else {
                    1.0 + f64::from(u8::from(OF_READING.iter().any(|id| word(term, "id", id))))
                }
            };
            Some(TestLimit {
                part: index,
                at: value,
                unit: told.unit,
                allowed: point.get(allowed)?.as_f64()?,
                temperature: kind("temperature"),
                ageing: kind("life"),
                comes_and_goes: sum(&comes),
                tester: tester * value.abs(),
            })
        })
        .collect()
}
