//! The race's working: every headline as a step that a pocket calculator can redo.

use super::input::RaceInput;
use super::output::RaceOutput;
use crate::quantity::{
    Quantity, Unit, ampere, ampere_squared_second, celsius, henry, joule, ohm, one, percent, second, volt,
};
use crate::report::Step;

const LOOP: &str = "Kirchhoff's laws, first-order loop";

pub(super) fn working(input: &RaceInput, result: &RaceOutput) -> Vec<Step> {
    let (source, fault, weak) = (&input.source, &result.strongest, &result.weakest);
    let (voltage, resistance, inductance) =
        (volt(fault.voltage_v), ohm(fault.resistance_ohm), henry(source.inductance_henry));
    let (last, tau, before) = (ampere(fault.prospective_a), second(fault.time_constant_s), ampere(input.before_a));
    let (inside, outside) = (ohm(source.pack_resistance_ohm), ohm(source.external_resistance_ohm));
    let mut steps = Vec::new();
    let mut step = |label: &str, symbol: &str, formula: &str, numbers: String, value: Quantity, source: &str| {
        steps.push(Step::new(label, symbol, formula, numbers, value, source));
    };
    let numbers = format!("{voltage}/({inside} + {outside})");
    step("Prospective current, strongest fault", "If", "V/(Rp + Rx)", numbers, last, "Ohm's law");
    let numbers = format!("{}/{}", volt(weak.voltage_v), ohm(weak.resistance_ohm));
    let weakest = ampere(weak.prospective_a);
    step("Prospective current, weakest fault", "Iw", "Vmin/(Rpmax + Rxmax)", numbers, weakest, "Ohm's law");
    step("Time constant of the loop", "τ", "L/R", format!("{inductance}/{resistance}"), tau, LOOP);
    if let Some(rise) = fault.initial_rise_a_per_s {
        let (numbers, rise) = (format!("({last} − {before})/{tau}"), Quantity::new(rise, Unit::AmperePerSecond));
        step("First rise of the current", "di/dt", "(If − I0)/τ", numbers, rise, LOOP);
    }
    if let Some(time) = result.time_to_threshold_s.map(second) {
        let numbers = format!("{tau} · ln(({last} − {before})/({last} − {}))", ampere(input.threshold_a));
        step("Current reaches the threshold", "t_th", "τ ln((If − I0)/(If − Ith))", numbers, time, LOOP);
        if let Some(delay) = result.filter_delay_s.filter(|_| input.filter_s > 0.0).map(second) {
            let formula = "y(t_th + t_f) = Ith, y = If + (I0 − If)(τ e^(−t/τ) − τf e^(−t/τf))/(τ − τf)";
            let numbers = format!("τ = {tau}, τf = {}, solved for t_f", second(input.filter_s));
            step("Delay of the filter on this fault", "t_f", formula, numbers, delay, LOOP);
        }
    }
    if let Some(time) = result.interruption_max_s.map(second) {
        let terms = result.stages.iter().filter_map(|stage| stage.longest_s).map(|time| second(time).to_string());
        let (formula, terms) = ("t_th + t_f + Σ stages, each at its longest", terms.collect::<Vec<_>>().join(" + "));
        step("Interruption at the latest", "t", formula, terms, time, "sum of the stages");
        if let Some(current) = result.opening_current_a.map(ampere) {
            let numbers = format!("{last} + ({before} − {last}) · e^(−{time}/{tau})");
            step("Current at the interruption", "i", "If + (I0 − If) e^(−t/τ)", numbers, current, LOOP);
            if let Some(energy) = result.stored_energy_j.map(joule) {
                step(
                    "Energy stored in the loop",
                    "E",
                    "½ L i²",
                    format!("½ · {inductance} · ({current})²"),
                    energy,
                    LOOP,
                );
            }
            if let (Some(clamp), Some(clamp_v)) = (result.clamp, input.switch.clamp_voltage_v.map(volt)) {
                let (opening, over) = (second(clamp.opening_s), format!("({clamp_v} − {voltage})"));
                let numbers = format!("{tau} · ln(1 + {current} · {resistance}/{over})");
                step("Opening against the clamp", "t_c", "τ ln(1 + i R/(Vc − V))", numbers, opening, LOOP);
                let numbers = format!("{clamp_v} · ({inductance} · {current} − {over} · {opening})/{resistance}");
                let energy = joule(clamp.energy_j);
                step("Energy into the clamp", "Ec", "Vc (L i − (Vc − V) t_c)/R", numbers, energy, LOOP);
            }
        }
        if let Some(a2s) = result.let_through_a2s.map(ampere_squared_second) {
            let formula = "If² (t − 2τ(1 − e^(−t/τ)) + (τ/2)(1 − e^(−2t/τ)))";
            let numbers = format!("({last})² · …, t = {time}, τ = {tau}");
            step("Let-through from zero current", "I²t", formula, numbers, a2s, LOOP);
        }
        if let Some(a2s) = result.let_through_from_before_a2s.map(ampere_squared_second) {
            let formula = "If² t + 2 If D τ (1 − e^(−t/τ)) + D² (τ/2)(1 − e^(−2t/τ)), D = I0 − If";
            let numbers = format!("D = {before} − {last}, t = {time}, τ = {tau}");
            step("Let-through from the current before", "I²t0", formula, numbers, a2s, LOOP);
        }
    }
    if let Some((volt_c, after)) = input.switch.clamp_voltage_v.map(volt).zip(result.let_through_to_zero_a2s) {
        let until = result.let_through_from_before_a2s.map(ampere_squared_second);
        if let Some((until, current)) = until.zip(result.opening_current_a.map(ampere)) {
            let formula = "I²t0 + τ a² (x²/2 − x + ln(1 + x)), a = (Vc − V)/R, x = i/a";
            let numbers = format!("{until} + …, a = ({volt_c} − {voltage})/{resistance}, i = {current}");
            step("Let-through until the current is zero", "I²t1", formula, numbers, ampere_squared_second(after), LOOP);
        }
    }
    if let Some(fuse) = result.fuse {
        let (solved, from_zero) = ("solved numerically", "I²t(t_F) = W, from zero current");
        let prearc = ampere_squared_second(input.fuse.prearc_a2s);
        if let Some(time) = fuse.prearc_s.map(second) {
            step("Fuse reaches its pre-arc I²t", "t_F", from_zero, prearc.to_string(), time, solved);
        }
        let bounds = match input.fuse.points.len() {
            0 => format!("W = {prearc} · (1 ∓ {})", percent(input.fuse.tolerance_percent)),
            count => {
                format!(
                    "W = I² t of the neighbours among {count} points, ± {}",
                    percent(input.fuse.current_tolerance_percent)
                )
            }
        };
        let earliest = second(fuse.prearc_min_s);
        step("Fuse melts at the earliest", "t_Fmin", "I²t0(t) = Wmin p", bounds.clone(), earliest, solved);
        if let Some(latest) = fuse.prearc_max_s.map(second) {
            step("Fuse has melted at the latest", "t_Fmax", "I²t(t) = Wmax", bounds, latest, solved);
        }
    }
    let from_link = result.link.and_then(|link| link.let_through_a2s);
    if let Some((passed, farad)) = from_link.map(ampere_squared_second).zip(input.source.link_farad) {
        let numbers = format!("{} · ({voltage})²/(2 · {outside})", Quantity::new(farad, Unit::Farad));
        step("From the link into a short on the pack's side", "I²tC", "C V²/(2 Rx)", numbers, passed, "energy");
    }
    if let (Some(wiring), Some(area)) = (result.wiring, input.wiring.area_mm2) {
        let source = "IEC 60949, IEC 60364-5-54 annex A (constants from memory)";
        let ((factor, beta), (start, end)) = (input.wiring.conductor.constants(), input.wiring_degc());
        let numbers = format!("{factor} · √ln(({end} + {beta})/({start} + {beta}))");
        let k = one(wiring.k);
        step("Adiabatic factor of the wiring, A√s/mm²", "k", "K √ln((θf + β)/(θi + β))", numbers, k, source);
        let numbers = format!("({k} · {})²", Quantity::new(area, Unit::SquareMillimetre));
        let limit = ampere_squared_second(wiring.limit_a2s);
        step("Adiabatic limit of the wiring", "k²S²", "(k S)²", numbers, limit, source);
        if let Some((end, passed)) = wiring.end_degc.map(celsius).zip(result.worst_let_through_a2s) {
            let passed = ampere_squared_second(passed);
            let area = Quantity::new(area, Unit::SquareMillimetre);
            let numbers = format!("({} + {beta}) · exp({passed}/({factor} · {area})²) − {beta}", celsius(start));
            step("Conductor at the end of the worst fault", "θ", "(θi + β) e^(I²t/(K S)²) − β", numbers, end, source);
        }
    }
    steps
}
