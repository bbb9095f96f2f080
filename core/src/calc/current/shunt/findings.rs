//! The stress of the shunt and what the engineer must know.

use super::{Operating, Shunt, ShuntInput, ShuntOutput, State, pulse};
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Check, Finding, Severity};

pub(super) fn checks(shunt: &Shunt, op: &Operating, state: Option<State>) -> Vec<Check> {
    let at = say(op.current_a, Unit::Ampere);
    let allowed = shunt.derated_power_w(op.ambient_degc);
    let ambient = say(op.ambient_degc, Unit::Celsius);
    let limit = Quantity::new;
    let mut checks = match state {
        Some(state) => vec![
            Check::at_most(
                "shunt.power",
                "Steady power",
                format!("{at} at {ambient}, derated"),
                limit(state.power_w, Unit::Watt),
                Some(allowed),
            )
            .at("/shunt/rated_power_w"),
            Check::rise(
                "shunt.temperature",
                "Steady element temperature",
                format!("{at} at {ambient}; the allowance counts from ambient"),
                state.element_degc,
                op.ambient_degc,
                shunt.max_element_degc,
            )
            .at("/shunt/max_element_degc"),
        ],
        None => vec![
            Check::undefined(
                "shunt.power",
                "Steady power",
                format!("{at}: thermal runaway"),
                limit(allowed, Unit::Watt),
            )
            .at("/shunt/rated_power_w"),
            Check::undefined(
                "shunt.temperature",
                "Steady element temperature",
                format!("{at}: thermal runaway"),
                limit(shunt.max_element_degc, Unit::Celsius),
            )
            .at("/shunt/max_element_degc"),
        ],
    };
    let note = format!(
        "{} for {}, from the steady state",
        say(op.pulse_current_a, Unit::Ampere),
        say(op.pulse_duration_s, Unit::Second)
    );
    checks.push(
        match pulse(shunt, op, state).element_degc {
            Some(degc) => Check::rise(
                "shunt.pulse",
                "Temperature after the pulse",
                note,
                degc,
                op.ambient_degc,
                shunt.max_element_degc,
            ),
            None => Check::undefined(
                "shunt.pulse",
                "Temperature after the pulse",
                note,
                limit(shunt.max_element_degc, Unit::Celsius),
            ),
        }
        .at("/operating/pulse_duration_s"),
    );
    checks
}

pub(super) fn findings(input: &ShuntInput, result: &ShuntOutput) -> Vec<Finding> {
    let (shunt, op) = (&input.shunt, &input.operating);
    let mut findings = Vec::new();
    match (result.power_w, result.element_degc) {
        (Some(power), Some(element)) => {
            if power > result.derated_power_w {
                findings.push(
                    Finding::new(
                        Severity::Fail,
                        "shunt.over-rated-power",
                        format!(
                            "{} is lost at {}; {} is allowed at an ambient of {}. The largest continuous current is {}.",
                            say(power, Unit::Watt),
                            say(op.current_a, Unit::Ampere),
                            say(result.derated_power_w, Unit::Watt),
                            say(op.ambient_degc, Unit::Celsius),
                            say(result.largest_current_a, Unit::Ampere)
                        ),
                    )
                    .at("/operating/current_a")
                    .against(power, result.derated_power_w),
                );
            }
            if element > shunt.max_element_degc {
                findings.push(
                    Finding::new(
                        Severity::Fail,
                        "shunt.over-temperature",
                        format!(
                            "The element settles at {}, above its limit of {}.",
                            say(element, Unit::Celsius),
                            say(shunt.max_element_degc, Unit::Celsius)
                        ),
                    )
                    .at("/operating/current_a")
                    .against(element, shunt.max_element_degc),
                );
            }
        }
        _ => findings.push(
            Finding::new(
                Severity::Fail,
                "shunt.thermal-runaway",
                format!(
                    "Thermal runaway: at {} the resistance rises faster with temperature than the heat leaves, so no steady \
                     temperature exists. Power, temperature and resistance at the steady state are left out.",
                    say(op.current_a, Unit::Ampere)
                ),
            )
            .at("/operating/current_a"),
        ),
    }
    if let Some(longest) = result.pulse.longest_s.filter(|longest| *longest < op.pulse_duration_s) {
        findings.push(
            Finding::new(
                Severity::Fail,
                "shunt.pulse-too-long",
                if longest > 0.0 {
                    format!(
                        "The pulse of {} heats the element to its limit after {}; it lasts {}.",
                        say(op.pulse_current_a, Unit::Ampere),
                        say(longest, Unit::Second),
                        say(op.pulse_duration_s, Unit::Second)
                    )
                } else {
                    "The element is at its limit before the pulse begins.".into()
                },
            )
            .at("/operating/pulse_duration_s")
            .against(op.pulse_duration_s, longest),
        );
    }
    findings.extend(signal_findings(input, result));
    findings
}

fn signal_findings(input: &ShuntInput, result: &ShuntOutput) -> Vec<Finding> {
    let (shunt, op) = (&input.shunt, &input.operating);
    let mut findings = Vec::new();
    let rise = result.inductance.ripple_rise_percent;
    if let (Some(corner), true) = (result.inductance.corner_hz, rise > 1.0) {
        findings.push(
            Finding::new(
                Severity::Warn,
                "shunt.inductive-at-ripple",
                format!(
                    "Above {} the shunt is an inductor: at {} its impedance is {} times its resistance, and the ripple's edges \
                     read as ±{}. A low-pass of {} in front of every comparator takes it down to {} to {} of the ripple within its tolerance.",
                    say(corner, Unit::Hertz),
                    say(op.ripple_frequency_hz, Unit::Hertz),
                    say(result.inductance.ripple_gain, Unit::One),
                    say(result.inductance.ripple_spike_a, Unit::Ampere),
                    say(result.inductance.time_constant_s, Unit::Second),
                    say(result.inductance.residual_slow_percent, Unit::Percent),
                    say(result.inductance.residual_fast_percent, Unit::Percent)
                ),
            )
            .at("/shunt/inductance_henry")
            .against(rise, 1.0),
        );
    }
    if shunt.inductance_henry == 0.0 {
        findings.push(
            Finding::new(
                Severity::Note,
                "shunt.no-inductance",
                "No inductance is given, so no corner frequency can be shown. A centimetre of path is some nanohenries.",
            )
            .at("/shunt/inductance_henry"),
        );
    }
    if let Some(smallest) = result.smallest_resistance_ohm.filter(|smallest| *smallest > shunt.resistance_ohm) {
        findings.push(
            Finding::new(
                Severity::Warn,
                "shunt.too-small-for-offset",
                format!(
                    "At {} the offset alone takes more than is allowed: it would take {} or two ranges.",
                    say(op.smallest_current_a, Unit::Ampere),
                    say(smallest, Unit::Ohm)
                ),
            )
            .at("/readout/allowed_percent")
            .against(smallest, shunt.resistance_ohm),
        );
    }
    let peak = op.pulse_current_a.max(op.current_a) * shunt.resistance_ohm;
    if !(1e-3..=1.0).contains(&peak) && peak > 0.0 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "shunt.unusual-signal",
                format!(
                    "The largest signal is {}; shunts usually give 5 mV to 0.5 V. Is the resistance off by a factor of a thousand?",
                    say(peak, Unit::Volt)
                ),
            )
            .at("/shunt/resistance_ohm"),
        );
    }
    let smallest = op.smallest_current_a * shunt.resistance_ohm;
    for (value, name, pointer) in [
        (input.readout.offset_v, "input offset", "/readout/offset_v"),
        (input.readout.noise_v, "input noise", "/readout/noise_v"),
        (input.readout.lsb_v, "step of the converter", "/readout/lsb_v"),
    ] {
        if let Some(value) = value.filter(|value| *value > smallest && smallest > 0.0) {
            findings.push(
                Finding::new(
                    Severity::Warn,
                    "shunt.signal-below-readout",
                    format!(
                        "At {} the signal is {}, less than the {name} of {}.",
                        say(op.smallest_current_a, Unit::Ampere),
                        say(smallest, Unit::Volt),
                        say(value, Unit::Volt)
                    ),
                )
                .at(pointer)
                .against(value, smallest),
            );
        }
    }
    let slope = shunt.effective_tcr_ppm_per_k().abs() + shunt.tcr_tolerance_ppm_per_k;
    if slope <= 10.0 && shunt.tcr_quadratic_ppm_per_k2 == 0.0 {
        findings.push(Finding::new(
            Severity::Note,
            "shunt.no-correction-customary",
            "Within ±10 ppm/K a correction by temperature is not customary (common practice, no source).",
        ));
    }
    findings
}
