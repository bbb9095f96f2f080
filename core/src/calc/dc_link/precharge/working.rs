//! The pre-charge's working.

use super::course::Draw;
use super::input::PrechargeInput;
use super::output::PrechargeOutput;
use crate::quantity::{Quantity, Unit, say};
use crate::report::Step;

const KIRCHHOFF: &str = "Kirchhoff's laws";

/// A voltage with enough digits for a difference of two near ones.
fn fine(volt: f64) -> String {
    Quantity::new(volt, Unit::Volt).brief(8).to_string()
}

pub(super) fn working(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Step> {
    let q = Quantity::new;
    let circuit = input.circuit();
    let charge = &result.charge;
    let (v, v0) = (fine(input.pack_v), fine(input.start_v));
    let (r, c) = (say(input.resistance_ohm, Unit::Ohm), say(input.capacitance_farad, Unit::Farad));
    let target = fine(charge.target_v);
    let mut steps = vec![
        Step::new(
            "Link voltage at the target",
            "V_t",
            "x V",
            format!("{} · {v}", say(input.target_percent, Unit::Percent)),
            q(charge.target_v, Unit::Volt),
            "definition",
        ),
        Step::new(
            "Time without load",
            "t_0",
            "R C ln((V − V0)/(V − V_t))",
            format!("{r} · {c} · ln(({v} − {v0})/({v} − {target}))"),
            q(charge.unloaded_s, Unit::Second),
            KIRCHHOFF,
        ),
        Step::new(
            "Peak current",
            "I_p",
            "(V − V0)/R",
            format!("({v} − {v0})/{r}"),
            q(charge.peak_a, Unit::Ampere),
            KIRCHHOFF,
        ),
        Step::new(
            "Energy in the resistor without load",
            "E_0",
            "½ C (V − V0)²",
            format!("½ · {c} · ({v} − {v0})²"),
            q(charge.unloaded_energy_j, Unit::Joule),
            "energy balance",
        ),
    ];
    steps.extend(load(input, result));
    steps.extend(lowest(input, result));
    if let Some(time) = charge.time_s.filter(|_| circuit.draw != Draw::Nothing) {
        let (formula, numbers) = match circuit.draw {
            Draw::Resistance(ohm) => (
                "C (R ∥ RL) ln((Vf − V0)/(Vf − V_t))",
                format!(
                    "{c} · ({r} ∥ {}) · ln(({vf} − {v0})/({vf} − {target}))",
                    say(ohm, Unit::Ohm),
                    vf = fine(charge.settle_v)
                ),
            ),
            _ => (
                "t until the load wakes + t with it",
                format!(
                    "{} + {}",
                    say(charge.asleep_s.unwrap_or(0.0), Unit::Second),
                    say(time - charge.asleep_s.unwrap_or(0.0), Unit::Second)
                ),
            ),
        };
        steps.push(Step::new("Time with the load", "t", formula, numbers, q(time, Unit::Second), KIRCHHOFF));
    }
    steps.push(Step::new(
        "Energy of a shorted link",
        "E_s",
        "V² t_max/R",
        format!("({v})² · {}/{r}", say(input.max_time_s, Unit::Second)),
        q(result.short.energy_j, Unit::Joule),
        "Ohm's law",
    ));
    steps.push(Step::new(
        "Mean power of a series",
        "P_m",
        "E/T_rep",
        format!("{}/{}", say(charge.energy_j, Unit::Joule), say(input.resistor.repeat_s, Unit::Second)),
        q(result.repeated.series_w, Unit::Watt),
        "definition",
    ));
    steps.push(Step::new(
        "Largest true difference",
        "dV",
        "((1 − x) + e1 + e2) V",
        format!(
            "({} + {}) · {v}",
            say(result.difference.nominal_percent, Unit::Percent),
            say(result.difference.error_percent, Unit::Percent)
        ),
        q(result.difference.high_v, Unit::Volt),
        "limits added: worst case",
    ));
    steps.extend(inrush(input, result));
    steps
}

fn load(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Step> {
    let q = Quantity::new;
    let (charge, limits) = (&result.charge, &result.limits);
    let (v, r) = (fine(input.pack_v), say(input.resistance_ohm, Unit::Ohm));
    let target = fine(charge.target_v);
    match input.circuit().draw {
        Draw::Nothing => Vec::new(),
        Draw::Resistance(ohm) => vec![
            Step::new(
                "Settles at",
                "Vf",
                "V RL/(R + RL)",
                format!("{v} · {rl}/({r} + {rl})", rl = say(ohm, Unit::Ohm)),
                q(charge.settle_v, Unit::Volt),
                KIRCHHOFF,
            ),
            Step::new(
                "Smallest resistance for the target",
                "RL",
                "R V_t/(V − V_t)",
                format!("{r} · {target}/({v} − {target})"),
                q(limits.smallest_load_ohm, Unit::Ohm),
                KIRCHHOFF,
            ),
        ],
        Draw::Current(a) => vec![
            Step::new(
                "Would settle at",
                "Vf",
                "V − I R",
                format!("{v} − {} · {r}", say(a, Unit::Ampere)),
                q(input.pack_v - a * input.resistance_ohm, Unit::Volt),
                KIRCHHOFF,
            ),
            Step::new(
                "Largest current for the target",
                "I",
                "(V − V_t)/R",
                format!("({v} − {target})/{r}"),
                q(limits.largest_current_a, Unit::Ampere),
                KIRCHHOFF,
            ),
        ],
        Draw::Power(w) => {
            let mut steps = vec![
                Step::new(
                    "No equilibrium above",
                    "P_c",
                    "V²/(4 R)",
                    format!("({v})²/(4 · {r})"),
                    q(limits.collapse_power_w, Unit::Watt),
                    KIRCHHOFF,
                ),
                Step::new(
                    "Largest power for the target",
                    "P",
                    "least of V_t (V − V_t)/R and Ve (V − Ve)/R",
                    format!("{target} · ({v} − {target})/{r} and the same at {}", say(input.load.enable_v, Unit::Volt)),
                    q(limits.largest_power_w, Unit::Watt),
                    KIRCHHOFF,
                ),
            ];
            if let Some(upper) = limits.upper_v {
                steps.push(Step::new(
                    "Upper equilibrium",
                    "v₊",
                    "(V + √(V² − 4 R P))/2",
                    format!("({v} + √(({v})² − 4 · {r} · {}))/2", say(w, Unit::Watt)),
                    q(upper, Unit::Volt),
                    KIRCHHOFF,
                ));
            }
            steps
        }
    }
}

/// What the resistor delivers at the target of the lowest pack voltage.
fn lowest(input: &PrechargeInput, result: &PrechargeOutput) -> Option<Step> {
    let lowest = result.lowest.as_ref().filter(|_| input.circuit().draw != Draw::Nothing)?;
    let (v, target) = (fine(lowest.pack_v), fine(lowest.charge.target_v));
    Some(Step::new(
        "Delivered at the target, lowest pack voltage",
        "I_low",
        "(V_low − x V_low)/R",
        format!("({v} − {target})/{}", say(input.resistance_ohm, Unit::Ohm)),
        Quantity::new(lowest.limits.largest_current_a, Unit::Ampere),
        KIRCHHOFF,
    ))
}

fn inrush(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Step> {
    let q = Quantity::new;
    let dv = say(result.difference.high_v, Unit::Volt);
    let c = say(input.capacitance_farad, Unit::Farad);
    let r = say(input.path.resistance_ohm, Unit::Ohm);
    let l = say(input.path.inductance_henry, Unit::Henry);
    let source = "series resonant circuit, standard result";
    let peak = if input.path.inductance_henry > 0.0 {
        Step::new(
            "Peak of the inrush",
            "i_p",
            "dV √(C/L) e^(−R t_p/(2 L))",
            format!("{dv} · √({c}/{l}) · e^(−{r} · {}/(2 · {l}))", say(result.inrush.peak_s, Unit::Second)),
            q(result.inrush.peak_a, Unit::Ampere),
            source,
        )
    } else {
        Step::new(
            "Peak of the inrush",
            "i_p",
            "dV/R",
            format!("{dv}/{r}"),
            q(result.inrush.peak_a, Unit::Ampere),
            source,
        )
    };
    vec![
        peak,
        Step::new(
            "I²t of the inrush",
            "I²t",
            "C dV²/(2 R)",
            format!("{c} · ({dv})²/(2 · {r})"),
            q(result.inrush.a2s, Unit::AmpereSquaredSecond),
            "energy balance",
        ),
    ]
}
