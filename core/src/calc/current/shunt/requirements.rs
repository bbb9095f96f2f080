//! What is required of the shunt and what is noted.

use super::{ShuntInput, Solved};
use crate::constant::COPPER_FREEZES_DEGC;
use crate::judge::{Judged, Ledger, Sense, Words};
use crate::quantity::{Unit, ampere, celsius, hertz, ohm, on_side, one, percent, second, volt, watt};
use crate::report::{Finding, Severity};

/// With which part heat is judged.
pub const OF_PART: &str = "tolerance, spread and drift at the ends that heat most";

/// Heat: steady and after the pulse.
pub(super) fn stress(input: &ShuntInput, solved: &Solved, to: &mut Ledger) {
    let (shunt, op) = (&input.shunt, &input.operating);
    let (at, ambient) = (ampere(op.current_a), celsius(op.ambient_degc));
    let (allowed, limit) = (watt(solved.derated_power_w), celsius(shunt.max_element_degc));
    let hottest = solved.hottest;
    to.require(Judged::never("shunt.thermal-runaway", "/operating/current_a", hottest.element_degc.is_none()), |_| {
        let balance = shunt.highest(1.0).node(solved.rms_current_a, op.ambient_degc).steady_rise_k();
        let why = match balance {
            Some(_) => format!(
                "the heat would leave as fast as it comes only above {}, where copper melts",
                celsius(COPPER_FREEZES_DEGC)
            ),
            None => "the resistance rises faster with temperature than the heat leaves".into(),
        };
        let failure =
            format!("Thermal runaway: at {at} {why}, so no steady temperature exists. What needs one is left out.");
        Words::new("A steady temperature exists", format!("{at} at {ambient}, {OF_PART}"), failure)
    });
    let note = |more: &str| match hottest.element_degc {
        Some(_) => format!("{at} at {ambient}{more}; {OF_PART}"),
        None => format!("{at}: thermal runaway"),
    };
    let power = hottest.power_w;
    to.require(Judged::at_most("shunt.power", "/shunt/rated_power_w", Unit::Watt, power, allowed.value), |_| {
        let lost = match power.map(watt) {
            Some(power) => format!("{power} is lost at {at}"),
            None => format!("No steady power exists at {at}"),
        };
        let failure = format!(
            "{lost}; {allowed} is allowed at an ambient of {ambient}. \
             The largest continuous current is {} rms.",
            ampere(on_side(solved.largest_current_a, 4, false))
        );
        Words::new("Steady power", note(", derated"), failure)
    });
    let heat = |id, pointer, degc: Option<f64>| {
        Judged::new(id, pointer, Unit::Celsius, Sense::RiseFrom(ambient.value), degc, limit.value)
    };
    let element = hottest.element_degc;
    to.require(heat("shunt.temperature", "/shunt/max_element_degc", element), |_| {
        let failure = match element.map(celsius) {
            Some(element) => format!("The element settles at {element}, above its limit of {limit}."),
            None => format!("The element does not settle at {at}; its limit is {limit}."),
        };
        Words::new("Steady element temperature", note("; the allowance counts from ambient"), failure)
    });
    to.require(heat("shunt.pulse", "/operating/pulse_duration_s", hottest.pulse_degc), |_| {
        let (pulse, lasts) = (ampere(op.pulse_current_a), second(op.pulse_duration_s));
        let failure = match (hottest.pulse_degc.map(celsius), element.map(celsius)) {
            (_, None) => format!("No steady state exists from which {pulse} could begin."),
            (_, Some(element)) if element.value >= limit.value => {
                format!("The element is at {element} before the pulse begins; its limit is {limit}.")
            }
            (Some(end), _) => format!("{pulse} for {lasts} heats the element to {end}; its limit is {limit}."),
            (None, _) => format!("{pulse} for {lasts} melts the element; its limit is {limit}."),
        };
        let pulse_note = format!("{pulse} for {lasts}, from the steady state; {OF_PART}");
        Words::new("Temperature after the pulse", pulse_note, failure)
    });
}

/// What the signal suffers from.
pub(super) fn signal(input: &ShuntInput, solved: &Solved, to: &mut Ledger) {
    let (shunt, op) = (&input.shunt, &input.operating);
    let warning = |code, at, message: String| Finding::new(Severity::Warn, code, message).at(at);
    let (with, rise) = (&solved.inductance, solved.inductance.ripple_rise_percent);
    if let (Some(corner), true) = (with.corner_hz, rise > 1.0) {
        to.remark(|| {
            let message = format!(
                "Above {} the shunt is an inductor: at {} its impedance is {} times its resistance, and the ripple's edges \
                 read as ±{}. A low-pass of {} in front of every comparator takes it down to {} to {} of the ripple within its tolerance.",
                hertz(corner),
                hertz(op.ripple_frequency_hz),
                one(with.ripple_gain),
                ampere(with.ripple_spike_a),
                second(with.time_constant_s),
                percent(with.residual_slow_percent),
                percent(with.residual_fast_percent)
            );
            warning("shunt.inductive-at-ripple", "/shunt/inductance_henry", message).against(rise, 1.0)
        });
    }
    to.note("shunt.no-inductance", "/shunt/inductance_henry", shunt.inductance_henry == 0.0, || {
        "No inductance is given, so no corner frequency can be shown. A centimetre of path is some nanohenries.".into()
    });
    let least = ampere(op.smallest_current_a);
    if let Some(smallest) = solved.smallest_resistance_ohm.filter(|smallest| *smallest > shunt.resistance_ohm) {
        to.remark(|| {
            let wanted = ohm(smallest);
            let message = format!(
                "At {least} the offset alone takes more than is allowed: it would take {wanted} or two ranges."
            );
            let at = "/readout/allowed_percent";
            warning("shunt.too-small-for-offset", at, message).against(smallest, shunt.resistance_ohm)
        });
    }
    let peak = op.pulse_current_a.max(op.current_a) * shunt.resistance_ohm;
    let unusual = !(1e-3..=1.0).contains(&peak) && peak > 0.0;
    to.warn("shunt.unusual-signal", "/shunt/resistance_ohm", unusual, || {
        format!(
            "The largest signal is {}; shunts usually give 5 mV to 0.5 V. Is the resistance off by a factor of a thousand?",
            volt(peak)
        )
    });
    let smallest = op.smallest_current_a * shunt.resistance_ohm;
    for (value, name, at) in [
        (input.readout.offset_v, "input offset", "/readout/offset_v"),
        (input.readout.noise_v, "input noise", "/readout/noise_v"),
        (input.readout.lsb_v, "step of the converter", "/readout/lsb_v"),
    ] {
        if let Some(value) = value.filter(|value| *value > smallest && smallest > 0.0) {
            to.remark(|| {
                let (signal, other) = (volt(smallest), volt(value));
                let message = format!("At {least} the signal is {signal}, less than the {name} of {other}.");
                warning("shunt.signal-below-readout", at, message).against(value, smallest)
            });
        }
    }
    let slope = shunt.effective_tcr_ppm_per_k().abs() + shunt.tcr_tolerance_ppm_per_k;
    if slope <= 10.0 && shunt.tcr_quadratic_ppm_per_k2 == 0.0 {
        let message = "Within ±10 ppm/K a correction by temperature is not customary (common practice, no source).";
        to.remark(|| Finding::new(Severity::Note, "shunt.no-correction-customary", message));
    }
}
