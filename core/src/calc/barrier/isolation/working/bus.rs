//! The working of the bus, the supervision, touch, Y capacitors and readings.

use super::super::bus::{IsolationBus, besides};
use super::super::input::{Hung, IsolationInput};
use super::super::output::IsolationOutput;
use super::{KIRCHHOFF, OHM};
use crate::quantity::{ampere, farad, joule, ohm, one, percent, second, volt};
use crate::report::Step;
use crate::report::worked::{Put, Term, n};

pub(super) fn working(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let mut steps = paths(input, result);
    steps.extend(monitor(input, result));
    steps.extend(y_capacitors(input, result));
    steps.extend(measured(input, result));
    steps
}

/// The conductances of all paths, each with a factor that its position gives; those without one are left out.
fn conductance(p: &Put, input: &IsolationInput, factor: impl Fn(f64) -> f64) -> Term {
    let of = |path: Hung, times: u32| {
        let part = factor(path.position);
        (part > 0.0).then(|| {
            let whole = n(path.count * times);
            let over = if part < 1.0 { whole * p.of(one(part)) } else { whole };
            over / p.of(ohm(path.resistance_ohm))
        })
    };
    let units = input.bus.units_in_parallel;
    let unit = input.bus.of_unit().filter_map(|path| of(path, units));
    let shared = input.bus.shared().filter_map(|path| of(path, 1));
    let besides = besides(input).map(|(value, position)| (value, factor(position))).filter(|(_, part)| *part > 0.0);
    let besides = besides.map(
        |(value, part)| {
            if part < 1.0 { p.of(one(part)) / p.of(ohm(value)) } else { n(1) / p.of(ohm(value)) }
        },
    );
    Term::sum(unit.chain(shared).chain(besides))
}

fn paths(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let Some((bus, parallel)) = result.bus.as_ref().and_then(|bus| Some((bus, ohm(bus.parallel_ohm?)))) else {
        return Vec::new();
    };
    let v = volt(input.barrier.pack_v);
    let mut steps = vec![Step::worked(
        "Insulation resistance of the whole bus",
        "R",
        "1/Σ G, all units",
        parallel,
        KIRCHHOFF,
        |p| n(1) / conductance(p, input, |_| 1.0),
    )];
    let (negative, positive) = (bus.negative_v.unwrap_or(0.0), bus.positive_v.unwrap_or(0.0));
    if negative > 0.0 {
        let formula = "V R Σ x G";
        steps.push(Step::worked("Negative pole to chassis", "V1", formula, volt(negative), KIRCHHOFF, |p| {
            p.of(v) * p.of(parallel) * conductance(p, input, |x| x)
        }));
    }
    if let Some(method) = bus.method_ohm.map(ohm) {
        let larger = volt(negative.max(positive));
        let source = "UN R100: largest current with one pole at the chassis";
        steps.push(Step::worked(
            "Resistance by the regulation's method",
            "Ri",
            "R V/max(V1, V2)",
            method,
            source,
            |p| p.of(parallel) * p.of(v) / p.of(larger),
        ));
    }
    if let Some(required) = bus.required_ohm.zip(bus.required_ohm_per_v) {
        let (required, per_volt) = (ohm(required.0), crate::quantity::ohm_per_volt(required.1));
        steps.push(Step::worked("Insulation required", "Rq", "r V", required, "UN R100", |p| p.of(per_volt) * p.of(v)));
    }
    steps.extend(touch(input, bus));
    steps
}

fn touch(input: &IsolationInput, bus: &IsolationBus) -> Vec<Step> {
    let v = volt(input.barrier.pack_v);
    let poles = [("positive", bus.touch_positive_a, 1.0), ("negative", bus.touch_negative_a, 0.0)];
    let step = |(pole, current, at): (&str, Option<f64>, f64)| {
        let current = current.filter(|current| *current > 0.0)?;
        let label = format!("Touch current of the {pole} pole");
        let formula = "V Σ |x − p| G/(1 + Rb Σ G), paths that lower it left out";
        // A path that is nearer the pole than the body stands above it takes current off the body.
        let least = current * input.touch.body_ohm / v.value;
        let far = |x: f64| (x - at).abs() > least;
        let away = |x: f64| if far(x) { (x - at).abs() } else { 0.0 };
        Some(Step::worked(&label, "It", formula, ampere(current), KIRCHHOFF, |p| {
            let drives = p.of(v) * conductance(p, input, away);
            let there = |x: f64| if far(x) { 1.0 } else { 0.0 };
            drives / (n(1) + p.of(ohm(input.touch.body_ohm)) * conductance(p, input, there))
        }))
    };
    poles.into_iter().filter_map(step).collect()
}

fn monitor(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let (given, Some(seen), Some(bus)) = (&input.monitor, &result.monitor, &result.bus) else { return Vec::new() };
    let error = percent(given.error_percent);
    let mut steps = Vec::new();
    if let Some((from, required)) = seen.alarm_from_ohm.map(ohm).zip(bus.required_ohm.map(ohm)) {
        let label = "Lowest alarm that is certain";
        steps.push(Step::worked(label, "Ra", "Rq (1 + e)", from, "definition of the error", |p| {
            p.of(required) * (n(1) + p.of(error))
        }));
    }
    if let Some((to, parallel)) = seen.alarm_to_ohm.map(ohm).zip(bus.parallel_ohm.map(ohm)) {
        let label = "Highest alarm that the healthy bus never gives";
        steps.push(Step::worked(label, "Rb", "R (1 − e)", to, "definition of the error", |p| {
            p.of(parallel) * (n(1) - p.of(error))
        }));
        let one_sided = seen.one_sided_ohm.map(ohm).zip(given.alarm_ohm.map(ohm));
        if let Some((fault, alarm)) = one_sided {
            let label = "Fault from one pole that just alarms";
            steps.push(Step::worked(label, "Rf", "1/(1/Ra − 1/R)", fault, KIRCHHOFF, |p| {
                n(1) / (n(1) / p.of(alarm) - n(1) / p.of(parallel))
            }));
        }
        let settles = seen.release_s.map(second).zip(result.y.and_then(|y| y.total_farad).map(farad));
        if let Some((time, c)) = settles.filter(|(time, _)| time.value > 0.0) {
            let label = "Settling on the healthy bus";
            steps.push(Step::worked(label, "tr", "n R Ct", time, "first-order low-pass", |p| {
                p.of(one(given.settle_tau)) * p.of(parallel) * p.of(c)
            }));
        }
    }
    steps
}

fn y_capacitors(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let (given, Some(y)) = (&input.y, &result.y) else { return Vec::new() };
    let v = volt(input.barrier.pack_v);
    let mut steps = Vec::new();
    let Some(total) = y.total_farad.filter(|c| *c > 0.0).map(farad) else { return steps };
    let poles = [given.unit_positive_farad, given.unit_negative_farad].map(|c| farad(c.unwrap_or(0.0)));
    let shared = [given.shared_positive_farad, given.shared_negative_farad].map(farad);
    steps.push(Step::worked("All Y capacitors", "Ct", "Σ C (1 + tolerance)", total, "parallel capacitors", |p| {
        let unit = n(input.bus.units_in_parallel) * (p.of(poles[0]) + p.of(poles[1]));
        (unit + p.of(shared[0]) + p.of(shared[1])) * (n(1) + p.of(percent(given.tolerance_percent)))
    }));
    let mut energy = |label: &str, volts, value: Option<f64>, formula: &str| {
        if let Some(value) = value.filter(|value| *value > 0.0).map(joule) {
            steps.push(Step::worked(label, "E", formula, value, "energy of a capacitor", |p| {
                Term::half() * p.of(total) * p.of(volts).squared()
            }));
        }
    };
    energy("Energy with the chassis in the middle", volt(v.value / 2.0), y.balanced_j, "½ Ct (V/2)²");
    if let Some(divided) = y.divided_v.map(volt) {
        energy("Energy as the paths divide", divided, y.divided_j, "½ Ct max(V1, V2)²");
    }
    energy("Energy with the other pole at the chassis", v, y.one_sided_j, "½ Ct V²");
    let largest = farad(y.largest_farad);
    let source = "energy of a capacitor";
    steps.push(Step::worked("Largest capacitance", "Cm", "2 E/V²", largest, source, |p| {
        n(2) * p.of(joule(given.energy_limit_j)) / p.of(v).squared()
    }));
    let bleeds = y.bleed_s.filter(|time| *time > 0.0).zip(y.left_v).zip(given.pole_bleeder_ohm);
    if let Some(((time, left), bleeder)) = bleeds {
        let formula = "(R/2) C ln(V0/Vs), C of both poles where it lasts longest";
        let both = farad(y.bleed_farad.unwrap_or(0.0));
        steps.push(Step::worked("Discharge of the poles", "tb", formula, second(time), OHM, |p| {
            let fall = (p.of(volt(left)) / p.of(volt(given.touch_v))).ln();
            p.of(ohm(bleeder)) / n(2) * p.of(both) * fall
        }));
    }
    steps
}

fn measured(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let (given, Some(one)) = (&input.two_measurement, &result.measured) else { return Vec::new() };
    let (Some(r0), Some(vb), Some(with)) = (given.r0_ohm, given.vb_v, given.v_with_r0_v) else { return Vec::new() };
    let (r0, vb, with, larger) = (ohm(r0), volt(vb), volt(with), volt(one.larger_v));
    let source = "UN R100 Annex 5, voltage between the poles as read";
    let method = ohm(one.method_ohm);
    let mut steps =
        vec![Step::worked("Isolation resistance as measured", "Ri", "R0 Vb (1/V' − 1/V)", method, source, |p| {
            p.of(r0) * p.of(vb) * (n(1) / p.of(with) - n(1) / p.of(larger))
        })];
    if one.limit_ohm > 0.0 {
        let parts = [one.drift_ohm, one.resistor_ohm, one.with_resistor_ohm, one.larger_ohm, one.between_ohm];
        let source = "first order, limits added";
        steps.push(Step::worked("Limit of it", "dRi", "Σ of the limits", ohm(one.limit_ohm), source, |p| {
            Term::sum(parts.into_iter().filter(|part| *part > 0.0).map(|part| p.of(ohm(part))))
        }));
    }
    steps
}
