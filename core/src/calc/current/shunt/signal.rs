//! What the signal is made of: offset, inductance, error, resistance over temperature and its correction.

use std::f64::consts::PI;

use super::{
    Compensation, CompensationOutput, CurvePoint, ErrorTerm, Inductance, Matching, Operating, Shunt, ShuntError,
    ShuntInput, Signal, State,
};
use crate::constant::{COPPER_ALPHA_PER_K, COPPER_REFERENCE_DEGC};

/// V_os / (g I_min): below it the offset alone takes more than is allowed at the smallest current.
pub(super) fn smallest_resistance_ohm(input: &ShuntInput) -> Option<f64> {
    let allowed = input.readout.allowed_percent? / 100.0 * input.operating.smallest_current_a;
    input.readout.offset_v.map(|offset| offset / allowed).filter(|resistance| resistance.is_finite())
}

pub(super) fn inductance(shunt: &Shunt, op: &Operating, matching: &Matching) -> Inductance {
    let tau = shunt.time_constant_s();
    let at_ripple = 2.0 * PI * op.ripple_frequency_hz * tau;
    let gain = at_ripple.hypot(1.0);
    // After the low-pass the gain is |1 + jωτ| / |1 + jωτ(1 + e)|.
    let residual = |mismatch: f64| (gain / (at_ripple * (1.0 + mismatch)).hypot(1.0) - 1.0) * 100.0;
    let mismatch = matching.time_constant_error_percent / 100.0;
    let spike = shunt.ripple_spike_a(op.ripple_current_a, op.ripple_frequency_hz);
    Inductance {
        corner_hz: shunt.corner_hz(),
        time_constant_s: tau,
        ripple_gain: gain,
        ripple_rise_percent: (gain - 1.0) * 100.0,
        ripple_spike_v: spike * shunt.resistance_ohm,
        ripple_spike_a: spike,
        slew_error_v: shunt.inductance_henry * op.slew_a_per_s,
        slew_error_a: tau * op.slew_a_per_s,
        matching_farad: (tau > 0.0).then(|| tau / matching.series_ohm),
        residual_slow_percent: residual(mismatch),
        residual_fast_percent: residual(-mismatch),
    }
}

pub(super) fn error_at(shunt: &Shunt, current_a: f64, state: State) -> ShuntError {
    let curve = shunt.curve();
    let degc = state.element_degc;
    let distance = (degc - shunt.reference_degc).abs();
    let mut terms = vec![
        ("Tolerance", shunt.tolerance_percent),
        ("Resistance-temperature curve and self-heating", curve.change(degc).abs() * 100.0),
        ("Spread of the coefficient", shunt.tcr_tolerance_ppm_per_k * 1e-4 * distance),
        ("Tap position", shunt.sense_position_error_ohm / shunt.resistance_ohm * 100.0),
        ("Drift over life", shunt.life_drift_percent),
    ];
    if current_a > 0.0 {
        terms.push(("Thermal EMF", shunt.emf_current_a() / current_a * 100.0));
    }
    ShuntError {
        worst_case_percent: terms.iter().map(|(_, percent)| percent).sum(),
        root_sum_square_percent: terms.iter().map(|(_, percent)| percent * percent).sum::<f64>().sqrt(),
        terms: terms.into_iter().map(|(label, percent)| ErrorTerm { label: label.into(), percent }).collect(),
    }
}

pub(super) fn signals(shunt: &Shunt, op: &Operating) -> Vec<Signal> {
    let top = op.pulse_current_a.max(op.current_a);
    let mut currents: Vec<f64> = (-3..7)
        .map(|power| 10f64.powi(power))
        .filter(|decade| *decade >= op.smallest_current_a.max(top / 1000.0) && *decade < top)
        .chain([op.smallest_current_a, op.current_a, op.pulse_current_a])
        .filter(|current| *current > 0.0)
        .collect();
    currents.sort_by(f64::total_cmp);
    currents.dedup();
    currents
        .into_iter()
        .map(|current_a| {
            let state = shunt.at(current_a, op.ambient_degc);
            Signal {
                current_a,
                signal_v: current_a * state.map_or(shunt.resistance_ohm, |state| state.resistance_ohm),
                power_w: state.map(|state| state.power_w),
                element_degc: state.map(|state| state.element_degc),
                error_percent: state.map(|state| error_at(shunt, current_a, state).worst_case_percent),
            }
        })
        .collect()
}

pub(super) fn curve(shunt: &Shunt, ambient_degc: f64, state: Option<State>) -> Vec<CurvePoint> {
    let copper = |degc: f64| 1.0 + COPPER_ALPHA_PER_K * (degc - COPPER_REFERENCE_DEGC);
    let hottest = state.map_or(ambient_degc, |state| state.element_degc);
    let (low, high) = (ambient_degc.min(-40.0), shunt.max_element_degc.max(hottest).max(shunt.reference_degc));
    let steps = 42;
    (0..=steps)
        .map(|step| low + (high - low) * f64::from(step) / f64::from(steps))
        .filter(|degc| 1.0 + shunt.curve().change(*degc) > 0.0)
        .map(|degc| CurvePoint {
            degc,
            resistance_ohm: shunt.resistance_ohm * (1.0 + shunt.curve().change(degc)),
            change_ppm: shunt.curve().change(degc) * 1e6,
            copper_change_ppm: (copper(degc) / copper(shunt.reference_degc) - 1.0) * 1e6,
        })
        .collect()
}

pub(super) fn compensation(shunt: &Shunt, op: &Operating, state: State, with: &Compensation) -> CompensationOutput {
    let curve = shunt.curve();
    let unseen = state.rise_k * with.unseen_rise_percent / 100.0;
    // Both are largest at an end of the range or, for the change, at the vertex of the parabola.
    let inside = curve.vertex_degc().filter(|vertex| op.ambient_degc <= *vertex && *vertex <= state.element_degc);
    let ends = [op.ambient_degc, state.element_degc];
    let farthest = ends.map(|degc| (degc - shunt.reference_degc).abs()).into_iter().fold(0.0, f64::max);
    // No correction knows the spread of the part: it is in both.
    let spread = shunt.tcr_tolerance_ppm_per_k * 1e-6 * farthest;
    let uncorrected = ends.into_iter().chain(inside).map(|degc| curve.change(degc).abs()).fold(0.0, f64::max) + spread;
    let slope = ends.map(|degc| curve.slope(degc).abs()).into_iter().fold(0.0, f64::max);
    let corrected = slope * (with.sensor_error_k + unseen) + spread;
    CompensationOutput {
        uncorrected_ppm: uncorrected * 1e6,
        corrected_ppm: corrected * 1e6,
        worthwhile: corrected < uncorrected,
    }
}
