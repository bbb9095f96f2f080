//! The pre-charge's working.

use super::course::Draw;
use super::input::PrechargeInput;
use super::output::PrechargeOutput;
use crate::quantity::{Quantity, ampere, ampere_squared_second, farad, henry, joule, ohm, percent, second, volt, watt};
use crate::report::Step;

/// A voltage with enough digits for a difference of two near ones.
fn fine(v: f64) -> String {
    volt(v).brief(8).to_string()
}

/// A step that rests on Kirchhoff's laws.
fn step(label: &str, symbol: &str, formula: &str, numbers: String, value: Quantity) -> Step {
    Step::new(label, symbol, formula, numbers, value, "Kirchhoff's laws")
}

pub(super) fn working(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Step> {
    let (charge, difference) = (&result.charge, &result.difference);
    let (v, v0, target) = (fine(input.pack_v), fine(input.start_v), fine(charge.target_v));
    let (r, c) = (ohm(input.resistance_ohm), farad(input.capacitance_farad));
    let (rule, share) = match input.closing_difference_v {
        Some(difference) => ("V − dVc", format!("{v} − {}", volt(difference))),
        None => ("x V", format!("{} · {v}", percent(input.target_percent))),
    };
    let tau = ("R C", format!("{r} · {c}"), second(result.time_constant_s));
    let unloaded = format!("{r} · {c} · ln(({v} − {v0})/({v} − {target}))");
    let balance = ("½ C (V − V0)²", format!("½ · {c} · ({v} − {v0})²"), joule(charge.unloaded_energy_j));
    let mut steps = vec![
        Step::new("Time constant", "τ", tau.0, tau.1, tau.2, "definition"),
        Step::new("Link voltage at the target", "V_t", rule, share, volt(charge.target_v), "definition"),
        step("Time without load", "t_0", "R C ln((V − V0)/(V − V_t))", unloaded, second(charge.unloaded_s)),
        step("Peak current", "I_p", "(V − V0)/R", format!("({v} − {v0})/{r}"), ampere(charge.peak_a)),
        Step::new("Energy in the resistor without load", "E_0", balance.0, balance.1, balance.2, "energy balance"),
    ];
    steps.extend(load(input, result));
    steps.extend(heaviest(input, result));
    steps.extend(time(input, result));
    let least = ohm(input.resistances()[0]);
    let short = (format!("({v})² · {}/{least}", second(input.max_time_s)), joule(result.short.energy_j));
    let mean = format!("{}/{}", joule(result.attempt.energy_j), second(input.resistor.repeat_s));
    let errors = input.errors_v().map(|error| volt(error.unwrap_or(0.0)));
    let (certain, certain_numbers) = certain(input, result, errors);
    let (perhaps, perhaps_numbers) = perhaps(input, errors);
    let added = "limits added: worst case";
    steps.extend([
        Step::new(
            "Link voltage that closes for certain, where it is slowest",
            "V_c",
            certain,
            certain_numbers,
            volt(result.slowest.charge.target_v),
            added,
        ),
        Step::new("Energy of a shorted link", "E_s", "V² t_max/R", short.0, short.1, "Ohm's law"),
        Step::new("Mean power of a series", "P_m", "E/T_rep", mean, watt(result.repeated.series_w), "definition"),
        Step::new("Largest true difference", "dV", perhaps, perhaps_numbers, volt(difference.high_v), added),
    ]);
    steps.extend(inrush(input, result));
    steps
}

/// Where the load lets the link settle, and what it may take.
fn load(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Step> {
    let (charge, limits) = (&result.charge, &result.limits);
    let (v, target, r) = (fine(input.pack_v), fine(charge.target_v), ohm(input.resistance_ohm));
    match input.circuit().draw {
        Draw::Nothing => Vec::new(),
        Draw::Resistance(load) => {
            let (rl, least) = (ohm(load), ohm(limits.smallest_load_ohm.unwrap_or(f64::INFINITY)));
            let settles = format!("{v} · {rl}/({r} + {rl})");
            let smallest = format!("{r} · {target}/({v} − {target})");
            vec![
                step("Settles at", "Vf", "V RL/(R + RL)", settles, volt(charge.settle_v)),
                step("Smallest resistance for the target", "RL", "R V_t/(V − V_t)", smallest, least),
            ]
        }
        Draw::Current(load) => {
            let settles = volt(input.pack_v - load * input.resistance_ohm);
            let (largest, most) = (format!("({v} − {target})/{r}"), ampere(limits.largest_current_a));
            vec![
                step("Would settle at", "Vf", "V − I R", format!("{v} − {} · {r}", ampere(load)), settles),
                step("Largest current for the target", "I", "(V − V_t)/R", largest, most),
            ]
        }
        Draw::Power(load) => {
            let (formula, most) = ("least of V_t (V − V_t)/R and Ve (V − Ve)/R", watt(limits.largest_power_w));
            let largest = format!("{target} · ({v} − {target})/{r} and the same at {}", volt(input.load.enable_v));
            let (collapse, none_above) = (format!("({v})²/(4 · {r})"), watt(limits.collapse_power_w));
            let mut steps = vec![
                step("No equilibrium above", "P_c", "V²/(4 R)", collapse, none_above),
                step("Largest power for the target", "P", formula, largest, most),
            ];
            steps.extend(limits.upper_v.map(|upper| {
                let numbers = format!("({v} + √(({v})² − 4 · {r} · {}))/2", watt(load));
                step("Upper equilibrium", "v₊", "(V + √(V² − 4 R P))/2", numbers, volt(upper))
            }));
            steps
        }
    }
}

/// What the resistor delivers where the load takes most of it.
fn heaviest(input: &PrechargeInput, result: &PrechargeOutput) -> Option<Step> {
    let place = Some(&result.heaviest).filter(|_| input.circuit().draw != Draw::Nothing)?;
    let numbers = format!("({} − {})/{}", fine(place.pack_v), fine(place.charge.target_v), ohm(place.resistance_ohm));
    let delivers = ampere(input.circuit_at(place.pack_v, place.resistance_ohm).charge_a(place.charge.target_v));
    Some(step("Delivered at the certain closing, where it is tightest", "I_low", "(V − V_c)/R", numbers, delivers))
}

fn certain(input: &PrechargeInput, result: &PrechargeOutput, [link, pack]: [Quantity; 2]) -> (&'static str, String) {
    let place = &result.slowest;
    let (_, falls) = input.closing().goal(place.pack_v, input.start_v);
    let (v, x) = (fine(place.pack_v), percent(input.target_percent));
    match (input.closing_difference_v.map(volt), falls) {
        (Some(d), false) => ("V + e2 − dVc + e1", format!("{v} + {pack} − {d} + {link}")),
        (Some(d), true) => ("V − e2 + dVc − e1", format!("{v} − {pack} + {d} − {link}")),
        (None, false) => ("x (V + e2) + e1", format!("{x} · ({v} + {pack}) + {link}")),
        (None, true) => ("(2 − x) (V − e2) − e1", format!("(2 − {x}) · ({v} − {pack}) − {link}")),
    }
}

fn perhaps(input: &PrechargeInput, [link, pack]: [Quantity; 2]) -> (&'static str, String) {
    let (v, x) = (fine(input.pack_v), percent(input.target_percent));
    match input.closing_difference_v.map(volt) {
        Some(d) => ("dVc + e2 + e1", format!("{d} + {pack} + {link}")),
        None => ("V − x (V − e2) + e1", format!("{v} − {x} · ({v} − {pack}) + {link}")),
    }
}

/// The time with the load.
fn time(input: &PrechargeInput, result: &PrechargeOutput) -> Option<Step> {
    let charge = &result.charge;
    let time = charge.time_s?;
    let (formula, numbers) = match input.circuit().draw {
        Draw::Nothing => return None,
        Draw::Resistance(load) => {
            let (r, rl, c) = (ohm(input.resistance_ohm), ohm(load), farad(input.capacitance_farad));
            let (vf, v0, target) = (fine(charge.settle_v), fine(input.start_v), fine(charge.target_v));
            let numbers = format!("{c} · ({r} ∥ {rl}) · ln(({vf} − {v0})/({vf} − {target}))");
            ("C (R ∥ RL) ln((Vf − V0)/(Vf − V_t))", numbers)
        }
        Draw::Current(_) | Draw::Power(_) => {
            let asleep = charge.asleep_s.unwrap_or(0.0);
            ("t until the load wakes + t with it", format!("{} + {}", second(asleep), second(time - asleep)))
        }
    };
    Some(step("Time with the load", "t", formula, numbers, second(time)))
}

fn inrush(input: &PrechargeInput, result: &PrechargeOutput) -> [Step; 2] {
    let (path, inrush) = (&input.path, &result.inrush);
    let (dv, c) = (volt(result.difference.largest_v), farad(input.capacitance_farad));
    let (r, l) = (ohm(path.resistance_ohm), henry(path.inductance_henry));
    let (formula, numbers) = if path.inductance_henry > 0.0 {
        let at = second(inrush.peak_s);
        ("dV √(C/L) e^(−R t_p/(2 L))", format!("{dv} · √({c}/{l}) · e^(−{r} · {at}/(2 · {l}))"))
    } else {
        ("dV/R", format!("{dv}/{r}"))
    };
    let (source, peak) = ("series resonant circuit, standard result", ampere(inrush.peak_a));
    let (squared, a2s) = (format!("{c} · ({dv})²/(2 · {r})"), ampere_squared_second(inrush.a2s));
    [
        Step::new("Peak of the inrush", "i_p", formula, numbers, peak, source),
        Step::new("I²t of the inrush", "I²t", "C dV²/(2 R)", squared, a2s, "energy balance"),
    ]
}
