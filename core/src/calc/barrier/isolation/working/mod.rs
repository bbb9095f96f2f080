//! The working of the isolation: every headline as a step that a pocket calculator can redo.

mod bus;
mod signal;

use super::input::{Insulation, IsolationInput};
use super::output::IsolationOutput;
use super::tables::Found;
use crate::quantity::{Quantity, Unit, millimetre, one, volt};
use crate::report::Step;
use crate::report::worked::{Put, Term, n};

const OHM: &str = "Ohm's law";
const KIRCHHOFF: &str = "Kirchhoff's laws";

pub(super) fn working(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let mut steps = distances(input, result);
    steps.extend(signal::working(input, result));
    steps.extend(bus::working(input, result));
    steps
}

/// A value between two rows of a table.
fn between(label: &str, symbol: &str, found: &Found, axis: Unit, unit: Unit, source: &str) -> Option<Step> {
    let at = |value| Quantity::new(value, axis);
    let value = |value| Quantity::new(value, unit);
    let [(low, low_value), (high, high_value)] = [(found.low[0], found.low[1]), (found.high[0], found.high[1])];
    let line = |p: &Put| {
        let rises = p.of(value(high_value)) - p.of(value(low_value));
        p.of(value(low_value)) + rises * (p.of(at(found.at)) - p.of(at(low))) / (p.of(at(high)) - p.of(at(low)))
    };
    let formula = "a + (b − a)(x − xa)/(xb − xa)";
    found.is_between().then(|| Step::worked(label, symbol, formula, value(found.value), source, line))
}

fn distances(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let (stress, class) = (&result.stress, input.barrier.insulation);
    let mut steps = Vec::new();
    if class == Insulation::Reinforced {
        let peak = volt(stress.class_peak_v);
        steps.push(Step::worked(
            "Peak voltage for reinforced insulation",
            "Vp",
            "160 % of the larger of recurring peak and temporary overvoltage",
            peak,
            "from memory of IEC 60664-1 clause 5.2.5",
            |p| n(1.6) * p.of(volt(stress.peak_v)),
        ));
        if let (Some(rated), Some(impulse), true) =
            (stress.rated_impulse_v, stress.impulse_v, stress.impulse_from_memory)
            && (impulse - super::distances::REINFORCED * rated).abs() < 1e-6
        {
            let (label, formula) =
                ("Impulse voltage for reinforced insulation", "160 % of a value that is not preferred");
            let source = "from memory of IEC 60664-1 clause 5.2.5";
            steps.push(Step::worked(label, "Vi", formula, volt(impulse), source, |p| n(1.6) * p.of(volt(rated))));
        }
    }
    if let Some(clearance) = &result.clearance {
        let mm = Unit::Millimetre;
        let source = "IEC 60664-1:2020 Table F.2, straight line between rows";
        steps.extend(between("Clearance by the impulse voltage", "d1", &clearance.impulse, Unit::Volt, mm, source));
        let source = "IEC 60664-1:2020 Table F.8, straight line between rows";
        steps.extend(between("Clearance by the peak voltage", "d2", &clearance.peak, Unit::Volt, mm, source));
        if let Some(altitude) = &stress.altitude {
            let source = "IEC 60664-1, straight line between rows";
            steps.extend(between("Factor of the altitude", "k", altitude, Unit::Metre, Unit::One, source));
        }
        let k = one(stress.altitude_factor);
        let base = millimetre(clearance.required_mm / stress.altitude_factor);
        steps.push(Step::worked(
            "Clearance required",
            "d",
            "max(d1, d2, least of the pollution degree) k",
            millimetre(clearance.required_mm),
            "IEC 60664-1:2020 clause 5.2",
            |p| {
                let [one, two] = [clearance.by_impulse_mm, clearance.by_peak_mm].map(millimetre);
                Term::largest(&[p.of(one), p.of(two), p.of(base)]) * p.of(k)
            },
        ));
    }
    for crossing in &result.crossings {
        let (Some(found), Some(required)) = (&crossing.creepage, crossing.creepage_required_mm) else { continue };
        let label = format!("Creepage of basic insulation: {}", crossing.name);
        let source = "IEC 60664-1:2020 Table F.5, straight line between rows";
        steps.extend(between(&label, "c1", found, Unit::Volt, Unit::Millimetre, source));
        let label = format!("Creepage required: {}", crossing.name);
        let times = if class == Insulation::Reinforced { 2 } else { 1 };
        let least = crossing.clearance_required_mm.map(millimetre);
        let source = "IEC 60664-1:2020 clause 5.3";
        steps.push(Step::worked(&label, "c", "max(c1 (1 | 2), d)", millimetre(required), source, |p| {
            let table = n(times) * p.of(millimetre(found.value));
            match least {
                Some(least) => Term::largest(&[table, p.of(least)]),
                None => table,
            }
        }));
    }
    steps
}
