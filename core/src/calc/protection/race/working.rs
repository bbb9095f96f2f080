//! The race's working: every headline as a step that a pocket calculator can redo.

use super::input::{Conductor, RaceInput};
use super::output::RaceOutput;
use crate::quantity::{Quantity, Unit, say};
use crate::report::Step;

const LOOP: &str = "Kirchhoff's laws, first-order loop";

pub(super) fn working(input: &RaceInput, result: &RaceOutput) -> Vec<Step> {
    let q = Quantity::new;
    let (ampere, second) = (|value| say(value, Unit::Ampere), |value| say(value, Unit::Second));
    let fault = &result.strongest;
    let (voltage, last, tau) =
        (say(fault.voltage_v, Unit::Volt), ampere(fault.prospective_a), second(fault.time_constant_s));
    let before = ampere(input.before_a);
    let henry = say(input.source.inductance_henry, Unit::Henry);
    let resistance = say(fault.resistance_ohm, Unit::Ohm);
    let mut steps = vec![
        Step::new(
            "Prospective current, strongest fault",
            "If",
            "V/(Rp + Rx)",
            format!(
                "{voltage}/({} + {})",
                say(input.source.pack_resistance_ohm, Unit::Ohm),
                say(input.source.external_resistance_ohm, Unit::Ohm)
            ),
            q(fault.prospective_a, Unit::Ampere),
            "Ohm's law",
        ),
        Step::new(
            "Prospective current, weakest fault",
            "Iw",
            "Vmin/(Rpmax + Rxmax)",
            format!("{}/{}", say(result.weakest.voltage_v, Unit::Volt), say(result.weakest.resistance_ohm, Unit::Ohm)),
            q(result.weakest.prospective_a, Unit::Ampere),
            "Ohm's law",
        ),
        Step::new(
            "Time constant of the loop",
            "τ",
            "L/R",
            format!("{henry}/{resistance}"),
            q(fault.time_constant_s, Unit::Second),
            LOOP,
        ),
    ];
    if let Some(rise) = fault.initial_rise_a_per_s {
        steps.push(Step::new(
            "First rise of the current",
            "di/dt",
            "(If − I0)/τ",
            format!("({last} − {before})/{tau}"),
            q(rise, Unit::AmperePerSecond),
            LOOP,
        ));
    }
    if let Some(time) = result.time_to_threshold_s {
        let threshold = ampere(input.threshold_a);
        let numbers = format!("{tau} · ln(({last} − {before})/({last} − {threshold}))");
        let label = "Current reaches the threshold";
        steps.push(Step::new(label, "t_th", "τ ln((If − I0)/(If − Ith))", numbers, q(time, Unit::Second), LOOP));
        if let Some(delay) = result.filter_delay_s.filter(|_| input.filter_s > 0.0) {
            steps.push(Step::new(
                "Delay of the filter on this fault",
                "t_f",
                "y(t_th + t_f) = Ith, y = If + (I0 − If)(τ e^(−t/τ) − τf e^(−t/τf))/(τ − τf)",
                format!("τ = {tau}, τf = {}, solved for t_f", second(input.filter_s)),
                q(delay, Unit::Second),
                LOOP,
            ));
        }
    }
    if let Some(latest) = result.interruption_max_s {
        let terms: Vec<String> = result.stages.iter().filter_map(|stage| stage.longest_s).map(second).collect();
        steps.push(Step::new(
            "Interruption at the latest",
            "t",
            "t_th + t_f + Σ stages, each at its longest",
            terms.join(" + "),
            q(latest, Unit::Second),
            "sum of the stages",
        ));
        let time = second(latest);
        if let Some(current) = result.opening_current_a {
            let formula = "If + (I0 − If) e^(−t/τ)";
            let numbers = format!("{last} + ({before} − {last}) · e^(−{time}/{tau})");
            steps.push(Step::new("Current at the interruption", "i", formula, numbers, q(current, Unit::Ampere), LOOP));
            if let Some(energy) = result.stored_energy_j {
                let numbers = format!("½ · {henry} · ({})²", ampere(current));
                steps.push(Step::new(
                    "Energy stored in the loop",
                    "E",
                    "½ L i²",
                    numbers,
                    q(energy, Unit::Joule),
                    LOOP,
                ));
            }
            if let (Some(clamp), Some(clamp_v)) = (result.clamp, input.switch.clamp_voltage_v) {
                let clamp_voltage = say(clamp_v, Unit::Volt);
                steps.push(Step::new(
                    "Opening against the clamp",
                    "t_c",
                    "τ ln(1 + i R/(Vc − V))",
                    format!("{tau} · ln(1 + {} · {resistance}/({clamp_voltage} − {voltage}))", ampere(current)),
                    q(clamp.opening_s, Unit::Second),
                    LOOP,
                ));
                steps.push(Step::new(
                    "Energy into the clamp",
                    "Ec",
                    "Vc (L i − (Vc − V) t_c)/R",
                    format!(
                        "{clamp_voltage} · ({henry} · {} − ({clamp_voltage} − {voltage}) · {})/{resistance}",
                        ampere(current),
                        second(clamp.opening_s)
                    ),
                    q(clamp.energy_j, Unit::Joule),
                    LOOP,
                ));
            }
        }
        if let Some(a2s) = result.let_through_a2s {
            steps.push(Step::new(
                "Let-through from zero current",
                "I²t",
                "If² (t − 2τ(1 − e^(−t/τ)) + (τ/2)(1 − e^(−2t/τ)))",
                format!("({last})² · …, t = {time}, τ = {tau}"),
                q(a2s, Unit::AmpereSquaredSecond),
                LOOP,
            ));
        }
        if let Some(a2s) = result.let_through_from_before_a2s {
            steps.push(Step::new(
                "Let-through from the current before",
                "I²t0",
                "If² t + 2 If D τ (1 − e^(−t/τ)) + D² (τ/2)(1 − e^(−2t/τ)), D = I0 − If",
                format!("D = {before} − {last}, t = {time}, τ = {tau}"),
                q(a2s, Unit::AmpereSquaredSecond),
                LOOP,
            ));
        }
    }
    if let Some(fuse) = result.fuse {
        let prearc = say(input.fuse.prearc_a2s, Unit::AmpereSquaredSecond);
        for (label, symbol, formula, numbers, value) in [
            ("Fuse reaches its pre-arc I²t", "t_F", "I²t(t_F) = W, from zero current", prearc.clone(), fuse.prearc_s),
            (
                "Fuse at the earliest",
                "t_Fmin",
                "I²t0(t) = W (1 − tW)",
                format!("{prearc} · (1 − {})", say(input.fuse.tolerance_percent, Unit::Percent)),
                fuse.prearc_min_s,
            ),
            (
                "Fuse at the latest",
                "t_Fmax",
                "I²t(t) = W (1 + tW)",
                format!("{prearc} · (1 + {})", say(input.fuse.tolerance_percent, Unit::Percent)),
                fuse.prearc_max_s,
            ),
        ] {
            steps.push(Step::new(label, symbol, formula, numbers, q(value, Unit::Second), "solved numerically"));
        }
    }
    if let (Some(wiring), Some(area)) = (result.wiring, input.wiring.area_mm2) {
        let (k, beta) = match input.wiring.conductor {
            Conductor::Copper => ("226", "234.5"),
            Conductor::Aluminium => ("148", "228"),
        };
        let (start, end) = input.wiring_degc();
        let source = "IEC 60949, IEC 60364-5-54 annex A (constants from memory)";
        steps.push(Step::new(
            "Adiabatic factor of the wiring, A√s/mm²",
            "k",
            "K √ln((θf + β)/(θi + β))",
            format!("{k} · √ln(({end} + {beta})/({start} + {beta}))"),
            q(wiring.k, Unit::One),
            source,
        ));
        steps.push(Step::new(
            "Adiabatic limit of the wiring",
            "k²S²",
            "(k S)²",
            format!("({} · {})²", say(wiring.k, Unit::One), say(area, Unit::SquareMillimetre)),
            q(wiring.limit_a2s, Unit::AmpereSquaredSecond),
            source,
        ));
    }
    steps
}
