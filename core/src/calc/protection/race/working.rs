//! The race's working: every headline as a step that a pocket calculator can redo.

use super::input::RaceInput;
use super::output::RaceOutput;
use super::strings::shares;
use crate::physics::fault_loop::Loop;
use crate::quantity::{
    Quantity, Unit, ampere, ampere_squared_second, celsius, henry, joule, ohm, one, percent, second, volt,
};
use crate::report::Step;
use crate::report::worked::{Put, Term, n};

const LOOP: &str = "Kirchhoff's laws, first-order loop";

pub(super) fn working(input: &RaceInput, result: &RaceOutput) -> Vec<Step> {
    let (source, fault, weak) = (&input.source, &result.strongest, &result.weakest);
    let (voltage, resistance, inductance) =
        (volt(fault.voltage_v), ohm(fault.resistance_ohm), henry(source.inductance_henry));
    let (last, tau, before) = (ampere(fault.prospective_a), second(fault.time_constant_s), ampere(input.before_a));
    let (inside, outside) = (ohm(source.pack_resistance_ohm), ohm(source.external_resistance_ohm));
    let mut steps = vec![
        Step::worked("Prospective current, strongest fault", "If", "V/(Rp + Rx)", last, "Ohm's law", |p| {
            p.of(voltage) / (p.of(inside) + p.of(outside))
        }),
        Step::worked(
            "Prospective current, weakest fault",
            "Iw",
            "Vmin/(Rpmax + Rxmax)",
            ampere(weak.prospective_a),
            "Ohm's law",
            |p| p.of(volt(weak.voltage_v)) / p.of(ohm(weak.resistance_ohm)),
        ),
        Step::worked("Time constant of the loop", "τ", "L/R", tau, LOOP, |p| p.of(inductance) / p.of(resistance)),
    ];
    if let Some(rise) = fault.initial_rise_a_per_s {
        let rise = Quantity::new(rise, Unit::AmperePerSecond);
        steps.push(Step::worked("First rise of the current", "di/dt", "(If − I0)/τ", rise, LOOP, |p| {
            (p.of(last) - p.of(before)) / p.of(tau)
        }));
    }
    // From here on what the devices of one string see: of a single one all.
    let share = if input.strings.count < 2 { 1.0 } else { shares(input)[1] };
    let circuit = whole(input, result).part(share);
    let (whole_a, last) = (last, ampere(circuit.prospective_a()));
    let (resistance, inductance) = (ohm(circuit.resistance_ohm), henry(circuit.inductance_henry));
    if input.strings.count > 1 {
        let formula = "a If, a = 1/(1 + (n − 1) (1 − s)/(1 + s)) of the string of the least resistance";
        steps.push(Step::worked("Prospective current of a string", "If", formula, last, LOOP, |p| {
            let spread = || p.of(percent(input.strings.spread_percent));
            let others = n(input.strings.count - 1) * (n(1) - spread()) / (n(1) + spread());
            p.of(whole_a) / (n(1) + others)
        }));
    }
    if let Some(time) = result.time_to_threshold_s.map(second) {
        let (label, threshold) = ("Current reaches the threshold", ampere(input.threshold_a));
        if input.before_a >= input.threshold_a {
            steps.push(Step::worked(label, "t_th", "0: it is above before the fault", time, LOOP, |_| n(0)));
        } else {
            steps.push(Step::worked(label, "t_th", "τ ln((If − I0)/(If − Ith))", time, LOOP, |p| {
                p.of(tau) * ((p.of(last) - p.of(before)) / (p.of(last) - p.of(threshold))).ln()
            }));
            if let Some(delay) = result.filter_delay_s.filter(|_| input.filter_s > 0.0).map(second) {
                steps.push(filter_delay(input, [last, tau, before], [time, delay]));
            }
        }
    }
    if let Some(time) = result.interruption_max_s.map(second) {
        let formula = "t_th + t_f + Σ stages, each at its longest";
        steps.push(Step::worked("Interruption at the latest", "t", formula, time, "sum of the stages", |p| {
            Term::sum(result.stages.iter().filter_map(|stage| stage.longest_s).map(|time| p.of(second(time))))
        }));
        if let Some(current) = result.opening_current_a.map(ampere) {
            steps.push(Step::worked(
                "Current at the interruption",
                "i",
                "If + (I0 − If) e^(−t/τ)",
                current,
                LOOP,
                |p| {
                    let decay = (-(p.of(time) / p.of(tau))).exp();
                    p.of(last) + (p.of(before) - p.of(last)) * decay
                },
            ));
            if let Some(energy) = result.stored_energy_j.map(joule) {
                steps.push(Step::worked("Energy stored in the loop", "E", "½ L i²", energy, LOOP, |p| {
                    Term::half() * p.of(inductance) * p.of(current).squared()
                }));
            }
            if let (Some(clamp), Some(clamp_v)) = (result.clamp, input.switch.clamp_voltage_v.map(volt)) {
                let (opening, energy) = (second(clamp.opening_s), joule(clamp.energy_j));
                let formula = "τ ln(1 + i R/(Vc − V))";
                steps.push(Step::worked("Opening against the clamp", "t_c", formula, opening, LOOP, |p| {
                    let ratio = p.of(current) * p.of(resistance) / (p.of(clamp_v) - p.of(voltage));
                    p.of(tau) * (n(1) + ratio).ln()
                }));
                let formula = "Vc (L i − (Vc − V) t_c)/R";
                steps.push(Step::worked("Energy into the clamp", "Ec", formula, energy, LOOP, |p| {
                    let over = (p.of(clamp_v) - p.of(voltage)) * p.of(opening);
                    p.of(clamp_v) * (p.of(inductance) * p.of(current) - over) / p.of(resistance)
                }));
            }
        }
        if let Some(a2s) = result.let_through_a2s.map(ampere_squared_second) {
            let formula = "If² (t − 2τ(1 − e^(−t/τ)) + (τ/2)(1 − e^(−2t/τ)))";
            steps.push(Step::worked("Let-through from zero current", "I²t", formula, a2s, LOOP, |p| {
                passes(p, [last, tau, ampere(0.0)], &p.of(time))
            }));
        }
        if let Some(a2s) = result.let_through_from_before_a2s.map(ampere_squared_second) {
            let formula = "If² t + 2 If D τ (1 − e^(−t/τ)) + D² (τ/2)(1 − e^(−2t/τ)), D = I0 − If";
            steps.push(Step::worked("Let-through from the current before", "I²t0", formula, a2s, LOOP, |p| {
                passes(p, [last, tau, before], &p.of(time))
            }));
        }
    }
    if let Some((clamp_v, after)) = input.switch.clamp_voltage_v.map(volt).zip(result.let_through_to_zero_a2s) {
        let until = result.let_through_from_before_a2s.map(ampere_squared_second);
        if let Some((until, current)) = until.zip(result.opening_current_a.map(ampere)) {
            let formula = "I²t0 + τ a² (x²/2 − x + ln(1 + x)), a = (Vc − V)/R, x = i/a";
            let after = ampere_squared_second(after);
            steps.push(Step::worked("Let-through until the current is zero", "I²t1", formula, after, LOOP, |p| {
                let level = (p.of(clamp_v) - p.of(voltage)) / p.of(resistance);
                let x = p.of(current) / level.clone();
                let rest = x.clone().squared() / n(2) - x.clone() + (n(1) + x).ln();
                p.of(until) + p.of(tau) * level.squared() * rest
            }));
        }
    }
    steps.extend(fuse(input, result, circuit));
    let from_link = result.link.and_then(|link| link.let_through_a2s);
    if let Some((passed, farad)) = from_link.map(ampere_squared_second).zip(input.source.link_farad) {
        let farad = Quantity::new(farad, Unit::Farad);
        steps.push(Step::worked(
            "From the link into a short on the pack's side",
            "I²tC",
            "C V²/(2 Rx)",
            passed,
            "energy",
            |p| p.of(farad) * p.of(voltage).squared() / (n(2) * p.of(outside)),
        ));
    }
    steps.extend(wiring(input, result));
    steps
}

/// The loop of the strongest fault.
fn whole(input: &RaceInput, result: &RaceOutput) -> Loop {
    let fault = &result.strongest;
    Loop {
        voltage_v: fault.voltage_v,
        resistance_ohm: fault.resistance_ohm,
        inductance_henry: input.source.inductance_henry,
    }
}

/// I²t of a loop: prospective current, time constant and the current before, until a time.
fn passes(p: &Put, [last, tau, before]: [Quantity; 3], time: &Term) -> Term {
    let (tau, last) = (p.of(tau), p.of(last));
    let gone = |times: u32| {
        let x = if times == 1 { time.clone() } else { n(times) * time.clone() } / tau.clone();
        n(1) - (-x).exp()
    };
    if before.value == 0.0 {
        let rest = time.clone() - n(2) * tau.clone() * gone(1) + tau.clone() / n(2) * gone(2);
        return last.squared() * rest;
    }
    let distance = p.of(before) - last.clone();
    last.clone().squared() * time.clone()
        + n(2) * last * distance.clone() * tau.clone() * gone(1)
        + distance.squared() * tau.clone() / n(2) * gone(2)
}

/// The delay of the filter: the reading reaches the threshold then.
fn filter_delay(input: &RaceInput, [last, tau, before]: [Quantity; 3], [time, delay]: [Quantity; 2]) -> Step {
    let (filter, threshold) = (second(input.filter_s), ampere(input.threshold_a));
    let formula = "y(t_th + t_f) = Ith, y = If + (I0 − If)(τ e^(−t/τ) − τf e^(−t/τf))/(τ − τf)";
    Step::solved("Delay of the filter on this fault", "t_f", formula, delay, LOOP, |p| {
        let (tau, filter, last) = (p.of(tau), p.of(filter), p.of(last));
        let after = p.of(time) + p.of(delay);
        let left = |of: &Term| of.clone() * (-(after.clone() / of.clone())).exp();
        let share = (left(&tau) - left(&filter)) / (tau.clone() - filter.clone());
        [p.of(threshold), last.clone() + (p.of(before) - last) * share]
    })
}

/// When the fuse melts: the I²t of that time is what it needs.
fn fuse(input: &RaceInput, result: &RaceOutput, circuit: Loop) -> Vec<Step> {
    const SOLVED: &str = "solved numerically";
    let Some(fuse) = result.fuse else { return Vec::new() };
    let (last, tau) = (ampere(circuit.prospective_a()), second(circuit.time_constant_s()));
    let (prearc, tolerance) = (ampere_squared_second(input.fuse.prearc_a2s), percent(input.fuse.tolerance_percent));
    let preload = input.fuse.preload_percent.map(percent);
    let by_values = input.fuse.points.is_empty();
    let mut steps = Vec::new();
    if let Some(time) = fuse.prearc_s.map(second) {
        let formula = "I²t(t_F) = W, from zero current";
        steps.push(Step::solved("Fuse reaches its pre-arc I²t", "t_F", formula, time, SOLVED, |p| {
            [passes(p, [last, tau, ampere(0.0)], &p.of(time)), p.of(prearc)]
        }));
    }
    let mut melts = |label: &str, symbol: &str, formula: &str, time: Quantity, early: bool| {
        let sign = if early { -1.0 } else { 1.0 };
        let warm = preload.filter(|_| early).map_or(1.0, |share| share.value / 100.0);
        let needs = prearc.value * (1.0 + sign * tolerance.value / 100.0) * warm;
        let through = |before: f64| circuit.let_through_a2s(before, time.value);
        let off = |before: f64| (through(before) / needs - 1.0).abs();
        // Strings share a fault: then it is not the loop of the whole.
        let before = [input.before_a, 0.0].into_iter().min_by(|a, b| off(*a).total_cmp(&off(*b))).unwrap_or(0.0);
        if by_values && off(before) > 1e-6 || !(through(before) > 0.0) {
            return;
        }
        steps.push(Step::solved(label, symbol, formula, time, SOLVED, |p| {
            let passed = passes(p, [last, tau, ampere(before)], &p.of(time));
            if !by_values {
                return [passed, p.of(ampere_squared_second(through(before)))];
            }
            let share = p.of(tolerance);
            let needs = p.of(prearc) * if early { n(1) - share } else { n(1) + share };
            [passed, if let Some(share) = preload.filter(|_| early) { needs * p.of(share) } else { needs }]
        }));
    };
    let from_points = "I²t(t) = W, the I² t of the neighbours among the points, tolerance included";
    let early = if by_values { "I²t(t) = W (1 − t_W) p" } else { from_points };
    melts("Fuse melts at the earliest", "t_Fmin", early, second(fuse.prearc_min_s), true);
    if let Some(latest) = fuse.prearc_max_s.map(second) {
        let late = if by_values { "I²t(t) = W (1 + t_W)" } else { from_points };
        melts("Fuse has melted at the latest", "t_Fmax", late, latest, false);
    }
    steps
}

fn wiring(input: &RaceInput, result: &RaceOutput) -> Vec<Step> {
    let source = "IEC 60949, IEC 60364-5-54 annex A (constants from memory)";
    let (Some(wiring), Some(area)) = (result.wiring, input.wiring.area_mm2) else { return Vec::new() };
    let ((factor, beta), (start, end)) = (input.wiring.conductor.constants(), input.wiring_degc());
    let [factor, beta, k, start, end] = [factor, beta, wiring.k, start, end].map(one);
    let area = Quantity::new(area, Unit::SquareMillimetre);
    let limit = ampere_squared_second(wiring.limit_a2s);
    let mut steps = vec![
        Step::worked(
            "Adiabatic factor of the wiring, A√s/mm²",
            "k",
            "K √ln((θf + β)/(θi + β))",
            k,
            source,
            |p| {
                let ratio = (p.of(end) + p.of(beta)) / (p.of(start) + p.of(beta));
                p.of(factor) * ratio.ln().sqrt()
            },
        ),
        Step::worked("Adiabatic limit of the wiring", "k²S²", "(k S)²", limit, source, |p| {
            (p.of(k) * p.of(area)).squared()
        }),
    ];
    if let Some((end, passed)) = wiring.end_degc.map(celsius).zip(result.worst_let_through_a2s) {
        let passed = ampere_squared_second(passed);
        let formula = "(θi + β) e^(I²t/(K S)²) − β";
        steps.push(Step::worked("Conductor at the end of the worst fault", "θ", formula, end, source, |p| {
            let heat = p.of(passed) / (p.of(factor) * p.of(area)).squared();
            (p.of(start) + p.of(beta)) * heat.exp() - p.of(beta)
        }));
    }
    steps
}
