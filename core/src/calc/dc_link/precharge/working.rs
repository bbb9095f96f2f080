//! The pre-charge's working.

use super::input::PrechargeInput;
use super::output::{PrechargeCourse, PrechargeOutput};
use super::places::latest;
use crate::physics::precharge::course::{Circuit, Draw};
use crate::quantity::{Quantity, ampere, ampere_squared_second, farad, henry, joule, ohm, percent, second, volt, watt};
use crate::report::Step;
use crate::report::worked::{Put, Term, n};

const LAWS: &str = "Kirchhoff's laws";

pub(super) fn working(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Step> {
    let (charge, difference) = (&result.charge, &result.difference);
    let (v, v0, target) = (volt(input.pack_v), volt(input.start_v), volt(charge.target_v));
    let (r, c) = (ohm(input.resistance_ohm), farad(input.capacitance_farad));
    let rule = if input.closing_difference_v.is_some() { "V − dVc" } else { "x V" };
    let mut steps = vec![
        Step::worked("Time constant", "τ", "R C", second(result.time_constant_s), "definition", |p| p.of(r) * p.of(c)),
        Step::worked("Link voltage at the target", "V_t", rule, target, "definition", |p| {
            match input.closing_difference_v {
                Some(difference) => p.of(v) - p.of(volt(difference)),
                None => p.of(percent(input.target_percent)) * p.of(v),
            }
        }),
        if charge.unloaded_s == 0.0 {
            Step::worked("Time without load", "t_0", "0: it is there from the start", second(0.0), LAWS, |_| n(0))
        } else {
            let (formula, time) = ("R C ln((V − V0)/(V − V_t))", second(charge.unloaded_s));
            Step::worked("Time without load", "t_0", formula, time, LAWS, |p| {
                p.of(r) * p.of(c) * ((p.of(v) - p.of(v0)) / (p.of(v) - p.of(target))).ln()
            })
        },
        Step::worked("Peak current", "I_p", "|V − V0|/R", ampere(charge.peak_a), LAWS, |p| {
            (p.of(v) - p.of(v0)).abs() / p.of(r)
        }),
        Step::worked(
            "Energy in the resistor without load",
            "E_0",
            "½ C (V − V0)²",
            joule(charge.unloaded_energy_j),
            "energy balance",
            |p| Term::half() * p.of(c) * (p.of(v) - p.of(v0)).squared(),
        ),
    ];
    steps.extend(load(input, result));
    steps.extend(heaviest(input, result));
    if input.circuit().draw != Draw::Nothing {
        steps.extend(time("Time with the load", &input.circuit(), &result.charge));
    }
    let errors = input.errors_v().map(|error| volt(error.unwrap_or(0.0)));
    let added = "limits added: worst case";
    let (rule, numbers) = certain(input, result, errors);
    let closes = volt(result.slowest.charge.target_v);
    steps.push(Step::worked(
        "Link voltage that closes for certain, where it is slowest",
        "V_c",
        rule,
        closes,
        added,
        numbers,
    ));
    let place = &result.slowest;
    let circuit = latest(input, place.pack_v, place.resistance_ohm);
    steps.extend(time("Time to the certain closing, where it is slowest", &circuit, &place.charge));
    let least = ohm(input.resistances()[0]);
    steps.push(Step::worked(
        "Energy of a shorted link",
        "E_s",
        "V² t_max/R",
        joule(result.short.energy_j),
        "Ohm's law",
        |p| p.of(v).squared() * p.of(second(input.max_time_s)) / p.of(least),
    ));
    let (energy, repeat) = (joule(result.attempt.energy_j), second(input.resistor.repeat_s));
    let mean = watt(result.repeated.series_w);
    let attempts = input.resistor.retries + 1;
    // Where series follow sooner than attempts do, the mean is that of series after series.
    let paused = input.resistor.cool_down_s > 0.0;
    steps.push(if !paused || result.repeated.cycle_w < result.repeated.series_w {
        Step::worked("Mean power of a series", "P_m", "E/T_rep", mean, "definition", |p| p.of(energy) / p.of(repeat))
    } else {
        let [length, pause] = [result.attempt.length_s, input.resistor.cool_down_s].map(second);
        let (formula, others) = ("n E/((n − 1) T_rep + t + T_cd)", f64::from(attempts - 1));
        Step::worked("Mean power, series after series", "P_m", formula, mean, "definition", |p| {
            n(f64::from(attempts)) * p.of(energy) / (n(others) * p.of(repeat) + p.of(length) + p.of(pause))
        })
    });
    let (rule, numbers) = perhaps(input, errors);
    steps.push(Step::worked("Largest true difference", "dV", rule, volt(difference.high_v), added, numbers));
    steps.extend(inrush(input, result));
    steps.extend(result.joining.map(|joining| {
        let [dv, r] = [volt(joining.difference_v), ohm(input.path.resistance_ohm)];
        let current = ampere(joining.current_a);
        Step::worked("Current when a unit joins the others", "I_u", "dV_u/R", current, "Ohm's law", |p| {
            p.of(dv) / p.of(r)
        })
    }));
    steps
}

/// Where the load lets the link settle, and what it may take.
fn load(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Step> {
    let (charge, limits, circuit) = (&result.charge, &result.limits, input.circuit());
    let (source_v, source_ohm) = circuit.source();
    let (v, target, r) = (volt(source_v), volt(charge.target_v), ohm(source_ohm));
    let mut steps = beside(&circuit);
    let formula = |plain, behind| if steps.is_empty() { plain } else { behind };
    let more = match circuit.draw {
        Draw::Nothing => Vec::new(),
        Draw::Resistance(load) => {
            let load = ohm(load);
            let mut steps = vec![Step::worked("Settles at", "Vf", "V RL/(R + RL)", volt(charge.settle_v), LAWS, |p| {
                p.of(v) * p.of(load) / (p.of(r) + p.of(load))
            })];
            steps.extend(limits.smallest_load_ohm.map(|least| {
                let (label, formula) = ("Smallest resistance for the target", "R V_t/(V − V_t)");
                Step::worked(label, "RL", formula, ohm(least), LAWS, |p| {
                    p.of(r) * p.of(target) / (p.of(v) - p.of(target))
                })
            }));
            steps
        }
        Draw::Current(load) => {
            let (settles, most) = (volt(source_v - load * source_ohm), ampere(limits.largest_current_a));
            let would = formula("V − I R", "Vs − I Rs");
            let largest = formula("(V − V_t)/R", "(Vs − V_t)/Rs");
            vec![
                Step::worked("Would settle at", "Vf", would, settles, LAWS, |p| p.of(v) - p.of(ampere(load)) * p.of(r)),
                Step::worked("Largest current for the target", "I", largest, most, LAWS, |p| {
                    (p.of(v) - p.of(target)) / p.of(r)
                }),
            ]
        }
        Draw::Power(load) => {
            let (collapse, most) = (watt(limits.collapse_power_w), watt(limits.largest_power_w));
            let largest =
                formula("least of V_t (V − V_t)/R and Ve (V − Ve)/R", "least of V_t (Vs − V_t)/Rs and Ve (Vs − Ve)/Rs");
            let mut steps = vec![
                Step::worked("No equilibrium above", "P_c", formula("V²/(4 R)", "Vs²/(4 Rs)"), collapse, LAWS, |p| {
                    p.of(v).squared() / (n(4) * p.of(r))
                }),
                Step::worked("Largest power for the target", "P", largest, most, LAWS, |p| {
                    let at = |voltage| p.of(voltage) * (p.of(v) - p.of(voltage)) / p.of(r);
                    Term::least(&[at(target), at(volt(input.load.enable_v))])
                }),
            ];
            steps.extend(limits.upper_v.map(|upper| {
                let formula = formula("(V + √(V² − 4 R P))/2", "(Vs + √(Vs² − 4 Rs P))/2");
                Step::worked("Upper equilibrium", "v₊", formula, volt(upper), LAWS, |p| {
                    let root = (p.of(v).squared() - n(4) * p.of(r) * p.of(watt(load))).sqrt();
                    (p.of(v) + root) / n(2)
                })
            }));
            steps
        }
    };
    steps.extend(more);
    steps
}

/// Pack, resistor and bleeder as a load beside it sees them.
fn beside(circuit: &Circuit) -> Vec<Step> {
    if circuit.bleeder_ohm.is_infinite() {
        return Vec::new();
    }
    let (v, r, bleeder) = (volt(circuit.pack_v), ohm(circuit.resistance_ohm), ohm(circuit.bleeder_ohm));
    let (source_v, source_ohm) = circuit.source();
    let law = "Thévenin's theorem";
    vec![
        Step::worked("Pack behind resistor and bleeder", "Vs", "V Rb/(R + Rb)", volt(source_v), law, |p| {
            p.of(v) * p.of(bleeder) / (p.of(r) + p.of(bleeder))
        }),
        Step::worked("Resistor beside the bleeder", "Rs", "R ∥ Rb", ohm(source_ohm), law, |p| {
            p.of(r).parallel(&p.of(bleeder))
        }),
    ]
}

/// What the resistor delivers where the load takes most of it.
fn heaviest(input: &PrechargeInput, result: &PrechargeOutput) -> Option<Step> {
    let place = Some(&result.heaviest).filter(|_| input.circuit().draw != Draw::Nothing)?;
    let (v, closes, r) = (volt(place.pack_v), volt(place.charge.target_v), ohm(place.resistance_ohm));
    let circuit = input.circuit_at(place.pack_v, place.resistance_ohm);
    let (delivers, bleeder) = (ampere(circuit.offers_a(place.charge.target_v)), ohm(circuit.bleeder_ohm));
    let label = "Delivered at the certain closing, where it is tightest";
    Some(if circuit.bleeder_ohm.is_infinite() {
        Step::worked(label, "I_low", "(V − V_c)/R", delivers, LAWS, |p| (p.of(v) - p.of(closes)) / p.of(r))
    } else {
        Step::worked(label, "I_low", "(V − V_c)/R − V_c/Rb", delivers, LAWS, |p| {
            (p.of(v) - p.of(closes)) / p.of(r) - p.of(closes) / p.of(bleeder)
        })
    })
}

/// What a sum is made of, with its numbers.
type Sum = (&'static str, Box<dyn Fn(&Put) -> Term>);

fn certain(input: &PrechargeInput, result: &PrechargeOutput, [link, pack]: [Quantity; 2]) -> Sum {
    let place = &result.slowest;
    let (_, falls) = input.closing().goal(place.pack_v, input.start_v);
    let (v, x) = (volt(place.pack_v), percent(input.target_percent));
    match (input.closing_difference_v.map(volt), falls) {
        (Some(d), false) => ("V + e2 − dVc + e1", Box::new(move |p| p.of(v) + p.of(pack) - p.of(d) + p.of(link))),
        (Some(d), true) => ("V − e2 + dVc − e1", Box::new(move |p| p.of(v) - p.of(pack) + p.of(d) - p.of(link))),
        (None, false) => ("x (V + e2) + e1", Box::new(move |p| p.of(x) * (p.of(v) + p.of(pack)) + p.of(link))),
        (None, true) => {
            ("(2 − x) (V − e2) − e1", Box::new(move |p| (n(2) - p.of(x)) * (p.of(v) - p.of(pack)) - p.of(link)))
        }
    }
}

fn perhaps(input: &PrechargeInput, [link, pack]: [Quantity; 2]) -> Sum {
    let (v, x) = (volt(input.pack_v), percent(input.target_percent));
    match input.closing_difference_v.map(volt) {
        Some(d) => ("dVc + e2 + e1", Box::new(move |p| p.of(d) + p.of(pack) + p.of(link))),
        None => ("V − x (V − e2) + e1", Box::new(move |p| p.of(v) - p.of(x) * (p.of(v) - p.of(pack)) + p.of(link))),
    }
}

/// The time to a target in a circuit.
fn time(label: &str, circuit: &Circuit, charge: &PrechargeCourse) -> Option<Step> {
    let (time, v, r) = (second(charge.time_s?), volt(circuit.pack_v), ohm(circuit.resistance_ohm));
    let (c, v0, target) = (farad(circuit.capacitance_farad), volt(circuit.start_v), volt(charge.target_v));
    if time.value == 0.0 {
        return Some(Step::worked(label, "t", "0: it is there from the start", time, LAWS, |_| n(0)));
    }
    Some(match circuit.draw {
        Draw::Nothing => Step::worked(label, "t", "R C ln((V − V0)/(V − V_t))", time, LAWS, |p| {
            p.of(r) * p.of(c) * ((p.of(v) - p.of(v0)) / (p.of(v) - p.of(target))).ln()
        }),
        Draw::Resistance(load) => {
            let (rl, vf) = (ohm(load), volt(charge.settle_v));
            Step::worked(label, "t", "C (R ∥ RL) ln((Vf − V0)/(Vf − V_t))", time, LAWS, |p| {
                p.of(c) * p.of(r).parallel(&p.of(rl)) * ((p.of(vf) - p.of(v0)) / (p.of(vf) - p.of(target))).ln()
            })
        }
        Draw::Current(_) | Draw::Power(_) => {
            let asleep = second(charge.asleep_s.unwrap_or(0.0));
            let awake = second(time.value - asleep.value);
            let formula = "t until the load wakes + t with it";
            Step::worked(label, "t", formula, time, LAWS, |p| p.of(asleep) + p.of(awake))
        }
    })
}

fn inrush(input: &PrechargeInput, result: &PrechargeOutput) -> [Step; 2] {
    let (path, inrush) = (&input.path, &result.inrush);
    let (dv, c) = (volt(result.difference.largest_v), farad(input.capacitance_farad));
    let (r, l) = (ohm(path.resistance_ohm), henry(path.inductance_henry));
    let (source, peak) = ("series resonant circuit, standard result", ampere(inrush.peak_a));
    let a2s = ampere_squared_second(inrush.a2s);
    [
        if path.inductance_henry > 0.0 {
            let formula = "dV √(C/L) e^(−R t_p/(2 L))";
            Step::worked("Peak of the inrush", "i_p", formula, peak, source, |p| {
                let decay = (-(p.of(r) * p.of(second(inrush.peak_s)) / (n(2) * p.of(l)))).exp();
                p.of(dv) * (p.of(c) / p.of(l)).sqrt() * decay
            })
        } else {
            Step::worked("Peak of the inrush", "i_p", "dV/R", peak, source, |p| p.of(dv) / p.of(r))
        },
        Step::worked("I²t of the inrush", "I²t", "C dV²/(2 R)", a2s, "energy balance", |p| {
            p.of(c) * p.of(dv).squared() / (n(2) * p.of(r))
        }),
    ]
}
