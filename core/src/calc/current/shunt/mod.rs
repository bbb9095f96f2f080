//! # Current shunt
//!
//! A shunt turns the pack current into a small voltage, and the same current into heat.
//! The heat moves its resistance, its joints make a thermal EMF, and its inductance turns ripple into spikes.
//! This room works out signal, heat, stress and error of the part on its own.
//!
//! ```text
//! Formula    V = I R(T), P = I² R(T), R(T) = R0 (1 + a ΔT + b ΔT²), T = Ta + Rth P   (coupled, see thermal)
//!            P_derated = P_r · clamp((T0 − Ta)/(T0 − T1), 0, 1);  I_emf = S ΔT_ends / R0;  f_c = R0 / (2π L)
//! Symbols    R0 [Ω] at T_ref, a [1/K], b [1/K²], Rth [K/W], S [V/K], L [H], ripple amplitude Î [A]
//! Ripple     triangular at 50 % duty: I_rms² = I² + Î²/3, di/dt = 4 Î f, spike L·di/dt/R0
//! Valid      one thermal node; lumped element far below skin effect; ripple periodic
//! Source     Ohm and Joule; linear derating in the style of IEC 60115-1; copper IEC 60028:1925;
//!            first-order low-pass matching R_f C_f = L/R: common practice, no source
//! ```

mod findings;
pub mod fit;
mod output;
pub mod parallel;
pub mod thermal;
pub mod two_range;
mod view;

use std::f64::consts::PI;

use crate::calculation::Meta;
use crate::constant::{COPPER_ALPHA_PER_K, COPPER_REFERENCE_DEGC};
use crate::field::{FieldError, defaulted, group, number, optional};
use crate::input;
use crate::legacy::Whole;
use crate::quantity::{Unit, say};
use crate::report::Report;
pub use output::{CompensationOutput, CurvePoint, Emf, ErrorTerm, Inductance, Pulse, ShuntError, ShuntOutput, Signal};
use thermal::{Curve, Node};
pub use view::balance_words;

input! {
    /// The shunt as a part.
    pub struct Shunt {
        resistance_ohm: f64 = number(Unit::Ohm, 1e-6, 1.0, 35e-6), "R0", "Resistance", "Between the sense taps at the reference temperature.";
        tolerance_percent: f64 = number(Unit::Percent, 0.0, 20.0, 1.0), "t", "Tolerance", "Half-width at the reference temperature.";
        tcr_ppm_per_k: f64 = number(Unit::PpmPerKelvin, -10_000.0, 10_000.0, 20.0), "a", "Temperature coefficient", "Slope at the reference temperature, signed.";
        tcr_tolerance_ppm_per_k: f64 = number(Unit::PpmPerKelvin, 0.0, 10_000.0, 5.0), "ta", "Spread of the coefficient", "Half-width of the part-to-part spread.";
        tcr_quadratic_ppm_per_k2: f64 = defaulted(Unit::PpmPerSquareKelvin, -100.0, 100.0, 0.0), "b", "Quadratic coefficient", "Curvature, signed; manganese-copper alloys are negative.";
        copper_share_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.0), "w", "Copper share", "Part of the tapped resistance that is copper: joints, board.";
        reference_degc: f64 = defaulted(Unit::Celsius, -55.0, 150.0, 20.0), "Tref", "Reference temperature", "Where resistance and coefficient are stated.";
        rated_power_w: f64 = number(Unit::Watt, 1e-3, 1e4, 36.0), "Pr", "Rated power", "Continuous, up to the derating temperature.";
        derate_from_degc: f64 = number(Unit::Celsius, -55.0, 400.0, 100.0), "T1", "Derating begins", "Ambient or terminal, as the part states it.";
        zero_power_degc: f64 = number(Unit::Celsius, -54.0, 500.0, 170.0), "T0", "Zero power at", "End of the derating line.";
        max_element_degc: f64 = number(Unit::Celsius, -54.0, 500.0, 170.0), "Tmax", "Highest element temperature", "Of the element or its joints, whichever is lower.";
        thermal_resistance_k_per_w: f64 = number(Unit::KelvinPerWatt, 0.01, 500.0, 5.0), "Rth", "Thermal resistance", "Element to ambient or busbar, as mounted.";
        heat_capacity_j_per_k: f64 = number(Unit::JoulePerKelvin, 1e-3, 1e4, 4.1), "Cth", "Heat capacity", "Of the element, without the terminals.";
        emf_v_per_k: f64 = number(Unit::VoltPerKelvin, 0.0, 1e-4, 0.8e-6), "S", "Thermal EMF", "Between element and sense wires, as a half-width.";
        end_temperature_difference_k: f64 = number(Unit::Kelvin, 0.0, 100.0, 6.0), "ΔTe", "Difference of the joints", "Between the two sense joints, not the ambient range.";
        inductance_henry: f64 = number(Unit::Henry, 0.0, 1e-6, 9e-9), "L", "Inductance", "Of the element and the loop of the sense pair.";
        sense_position_error_ohm: f64 = number(Unit::Ohm, 0.0, 0.1, 0.0), "ΔRs", "Tap position error", "Resistance that the position of the taps may add or miss.";
        life_drift_percent: f64 = number(Unit::Percent, 0.0, 20.0, 0.15), "da", "Drift over life", "Half-width from new to end of life.";
    }
}

input! {
    /// What the shunt lives through.
    pub struct Operating {
        current_a: f64 = number(Unit::Ampere, 0.0, 1e5, 400.0), "I", "Steady current", "The largest continuous direct current.";
        ambient_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 85.0), "Ta", "Ambient temperature", "Air or busbar, the end of the thermal resistance.";
        smallest_current_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 5.0), "Imin", "Smallest current of interest", "Where offset and noise matter.";
        pulse_current_a: f64 = number(Unit::Ampere, 0.0, 1e6, 600.0), "Ip", "Pulse current", "On top of nothing: the whole current during the pulse.";
        pulse_duration_s: f64 = number(Unit::Second, 1e-6, 1e5, 10.0), "tp", "Pulse duration", "Starting from the steady state.";
        ripple_frequency_hz: f64 = number(Unit::Hertz, 1.0, 1e7, 10e3), "fr", "Ripple frequency", "Of the fundamental.";
        ripple_current_a: f64 = number(Unit::Ampere, 0.0, 1e5, 30.0), "Îr", "Ripple amplitude", "Half of peak to peak, triangular.";
        slew_a_per_s: f64 = number(Unit::AmperePerSecond, 0.0, 1e12, 1e6), "di/dt", "Fastest change of current", "Of a load step or a fault.";
    }
}

input! {
    /// What follows the shunt, as far as it is known here.
    pub struct Readout {
        offset_v: Option<f64> = optional(Unit::Volt, 0.0, 1.0), "Vos", "Input offset", "Half-width, referred to the shunt; leave empty if unknown.";
        noise_v: Option<f64> = optional(Unit::Volt, 0.0, 1.0), "un", "Input noise", "Root mean square, referred to the shunt.";
        lsb_v: Option<f64> = optional(Unit::Volt, 0.0, 1.0), "LSB", "One step of the converter", "Referred to the shunt.";
        allowed_percent: Option<f64> = optional(Unit::Percent, 1e-4, 100.0), "g", "Allowed from offset alone", "At the smallest current: sets the smallest resistance.";
    }
}

input! {
    /// The low-pass that cancels the inductance.
    pub struct Matching {
        series_ohm: f64 = defaulted(Unit::Ohm, 0.1, 1e6, 20.0), "Rf", "Series resistance", "Both legs together.";
        time_constant_error_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 22.0), "eτ", "Mismatch of the time constants", "Half-width; ±10 % capacitor and ±20 % inductance give about 22 %.";
    }
}

input! {
    /// A temperature sensor for correcting R(T) in firmware.
    pub struct Compensation {
        sensor_error_k: f64 = defaulted(Unit::Kelvin, 0.0, 50.0, 2.0), "eT", "Error of the sensor", "Half-width.";
        unseen_rise_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 100.0), "u", "Rise that the sensor misses", "100 % for a sensor at the busbar, 0 % on the element.";
    }
}

input! {
    /// Everything the shunt room takes.
    pub struct ShuntInput {
        shunt: Shunt = group::<Shunt>(), "", "Shunt", "The part.";
        operating: Operating = group::<Operating>(), "", "Operation", "What it lives through.";
        readout: Readout = group::<Readout>(), "", "What follows", "For the smallest signal.";
        matching: Matching = group::<Matching>(), "", "Matching low-pass", "Cancels the inductance.";
        compensation: Compensation = group::<Compensation>(), "", "Correction by temperature", "Is it worth having?";
    }
}

/// The shunt at one current and one ambient temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// Element temperature above ambient, K.
    pub rise_k: f64,
    /// Element temperature, °C.
    pub element_degc: f64,
    /// R(T)/R0 − 1.
    pub change: f64,
    /// R(T), Ω.
    pub resistance_ohm: f64,
    /// I² R(T), W.
    pub power_w: f64,
    /// Rth I² dR/dT.
    pub loop_gain: f64,
}

impl Shunt {
    /// Temperature coefficient with the copper share, ppm/K: a (1 − w) + 3930 w. One percent of copper adds about
    /// 39 ppm/K.
    pub fn effective_tcr_ppm_per_k(&self) -> f64 {
        let w = self.copper_share_percent / 100.0;
        self.tcr_ppm_per_k * (1.0 - w) + COPPER_ALPHA_PER_K * 1e6 * w
    }

    /// Resistance against temperature, copper share included.
    pub fn curve(&self) -> Curve {
        Curve {
            a: self.effective_tcr_ppm_per_k() * 1e-6,
            b: self.tcr_quadratic_ppm_per_k2 * (1.0 - self.copper_share_percent / 100.0) * 1e-6,
            reference_degc: self.reference_degc,
        }
    }

    /// The heat balance at a current and an ambient temperature.
    pub fn node(&self, current_a: f64, ambient_degc: f64) -> Node {
        Node::new(
            self.curve(),
            self.resistance_ohm,
            self.thermal_resistance_k_per_w,
            self.heat_capacity_j_per_k,
            current_a,
            ambient_degc,
        )
    }

    /// The steady state; none in thermal runaway.
    pub fn at(&self, current_a: f64, ambient_degc: f64) -> Option<State> {
        let node = self.node(current_a, ambient_degc);
        let rise_k = node.steady_rise_k()?;
        let change = self.curve().change(ambient_degc + rise_k);
        let resistance_ohm = self.resistance_ohm * (1.0 + change);
        Some(State {
            rise_k,
            element_degc: ambient_degc + rise_k,
            change,
            resistance_ohm,
            power_w: current_a * current_a * resistance_ohm,
            loop_gain: node.loop_gain()?,
        })
    }

    /// The power allowed at an ambient temperature, W.
    pub fn derated_power_w(&self, ambient_degc: f64) -> f64 {
        let line = (self.zero_power_degc - ambient_degc) / (self.zero_power_degc - self.derate_from_degc);
        self.rated_power_w * line.clamp(0.0, 1.0)
    }

    /// The largest continuous current and what sets it. At a rise x the balance gives I² = x / (Rth R(Ta + x)), so each
    /// limit on the rise is a limit on the current; beyond x = √(c/b) (only with b > 0) no larger current is stable.
    pub fn largest_current(&self, ambient_degc: f64) -> (f64, LimitedBy) {
        let by_power = self.derated_power_w(ambient_degc) * self.thermal_resistance_k_per_w;
        let by_heat = self.max_element_degc - ambient_degc;
        let (mut rise, mut limited_by) = if by_power <= by_heat {
            (by_power, LimitedBy::RatedPower)
        } else {
            (by_heat, LimitedBy::ElementTemperature)
        };
        let curve = self.curve();
        if curve.b > 0.0 {
            let turn = ((1.0 + curve.change(ambient_degc)) / curve.b).sqrt();
            if turn < rise {
                (rise, limited_by) = (turn, LimitedBy::ThermalRunaway);
            }
        }
        let resistance = self.resistance_ohm * (1.0 + curve.change(ambient_degc + rise));
        let squared = rise / (self.thermal_resistance_k_per_w * resistance);
        (if squared > 0.0 { squared.sqrt() } else { 0.0 }, limited_by)
    }

    /// Contradictions between fields that are each in range; `at` is the pointer of the group.
    pub fn contradictions(&self, at: &str, ambients_degc: &[f64]) -> Vec<FieldError> {
        let mut faults = Vec::new();
        if self.zero_power_degc <= self.derate_from_degc {
            faults.push(FieldError::contradiction(
                &format!("{at}/zero_power_degc"),
                format!(
                    "The derating line must fall: zero power at {} lies at or below its beginning at {}.",
                    say(self.zero_power_degc, Unit::Celsius),
                    say(self.derate_from_degc, Unit::Celsius)
                ),
                format!("above {}", say(self.derate_from_degc, Unit::Celsius)),
                say(self.zero_power_degc, Unit::Celsius),
            ));
        }
        if self.sense_position_error_ohm >= self.resistance_ohm {
            faults.push(FieldError::contradiction(
                &format!("{at}/sense_position_error_ohm"),
                "The tap position error must be smaller than the resistance itself.",
                format!("below {}", say(self.resistance_ohm, Unit::Ohm)),
                say(self.sense_position_error_ohm, Unit::Ohm),
            ));
        }
        // Both ends of a parabola: a curve that is positive there may still turn negative between, at the vertex.
        let vertex = self.curve().vertex_degc();
        let (low, high) = ambients_degc.iter().fold((f64::MAX, f64::MIN), |(low, high), &t| (low.min(t), high.max(t)));
        let inside = vertex.filter(|vertex| low <= *vertex && *vertex <= high);
        if let Some(degc) = [low, high].into_iter().chain(inside).find(|degc| 1.0 + self.curve().change(*degc) <= 0.0) {
            faults.push(FieldError::contradiction(
                &format!("{at}/tcr_quadratic_ppm_per_k2"),
                format!("With these coefficients the resistance is not positive at {}.", say(degc, Unit::Celsius)),
                "coefficients that keep the resistance positive over the ambient range",
                say(self.tcr_quadratic_ppm_per_k2, Unit::PpmPerSquareKelvin),
            ));
        }
        faults
    }

    /// The false current of the thermal EMF, A.
    pub fn emf_current_a(&self) -> f64 {
        self.emf_v_per_k * self.end_temperature_difference_k / self.resistance_ohm
    }

    /// The time constant L/R, s.
    pub fn time_constant_s(&self) -> f64 {
        self.inductance_henry / self.resistance_ohm
    }

    /// The corner R/(2π L), Hz; none without inductance.
    pub fn corner_hz(&self) -> Option<f64> {
        (self.inductance_henry > 0.0).then(|| self.resistance_ohm / (2.0 * PI * self.inductance_henry))
    }

    /// The false current of a triangular ripple's edges, A: L · 4 Î f / R.
    pub fn ripple_spike_a(&self, amplitude_a: f64, frequency_hz: f64) -> f64 {
        self.time_constant_s() * 4.0 * amplitude_a * frequency_hz
    }
}

crate::choice! {
    /// What sets the largest continuous current.
    pub enum LimitedBy {
        RatedPower = "rated-power", "derated power";
        ElementTemperature = "element-temperature", "element temperature";
        ThermalRunaway = "thermal-runaway", "thermal runaway";
    }
}

/// The calculation.
#[derive(Debug)]
pub struct ShuntRoom;

impl Whole for ShuntRoom {
    const META: Meta = Meta {
        slug: "shunt",
        title: "Current shunt",
        job: "One part on its own: signal, heat, stress and error. The current channel takes the same values.",
        short: "signal, heat, error",
        sources: &[
            "Ohm's and Joule's laws; coupled heat balance in closed form, derived here",
            "IEC 60115-1: linear derating (shape from memory)",
            "IEC 60028:1925: copper, 3930 ppm/K at 20 °C",
            "Matching low-pass R_f·C_f = L/R and ±10 ppm/K without correction: common practice, no source",
        ],
    };
    type Input = ShuntInput;
    type Output = ShuntOutput;

    fn calculate(input: &ShuntInput) -> Result<Report<ShuntOutput>, Vec<FieldError>> {
        let faults =
            input.shunt.contradictions("/shunt", &[input.operating.ambient_degc, input.shunt.max_element_degc]);
        if !faults.is_empty() {
            return Err(faults);
        }
        let result = solve(input);
        let findings = findings::findings(input, &result);
        Ok(Report {
            working: view::working(input, &result),
            view: view::view(input, &result, &findings),
            result,
            findings,
        })
    }
}

fn solve(input: &ShuntInput) -> ShuntOutput {
    let (shunt, op) = (&input.shunt, &input.operating);
    let rms = (op.current_a.powi(2) + op.ripple_current_a.powi(2) / 3.0).sqrt();
    let state = shunt.at(rms, op.ambient_degc);
    let (largest_current_a, limited_by) = shunt.largest_current(op.ambient_degc);
    ShuntOutput {
        signal_v: state.map(|state| op.current_a * state.resistance_ohm),
        rms_current_a: rms,
        power_w: state.map(|state| state.power_w),
        rise_k: state.map(|state| state.rise_k),
        element_degc: state.map(|state| state.element_degc),
        resistance_ohm: state.map(|state| state.resistance_ohm),
        change_ppm: state.map(|state| state.change * 1e6),
        loop_gain: state.map(|state| state.loop_gain),
        effective_tcr_ppm_per_k: shunt.effective_tcr_ppm_per_k(),
        smallest_resistance_ohm: smallest_resistance_ohm(input),
        derated_power_w: shunt.derated_power_w(op.ambient_degc),
        largest_current_a,
        largest_current_limited_by: limited_by,
        pulse: pulse(shunt, op, state),
        emf: Emf {
            voltage_v: shunt.emf_v_per_k * shunt.end_temperature_difference_k,
            current_a: shunt.emf_current_a(),
            dominates_below_a: (shunt.tolerance_percent > 0.0)
                .then(|| shunt.emf_current_a() / (shunt.tolerance_percent / 100.0)),
        },
        inductance: inductance(shunt, op, &input.matching),
        error: state.map(|state| error_at(shunt, op.current_a, state)),
        signals: signals(shunt, op),
        curve: curve(shunt, op.ambient_degc, state),
        compensation: state.map(|state| compensation(shunt, op, state, &input.compensation)),
        checks: findings::checks(shunt, op, state),
    }
}

/// V_os / (g I_min): below it the offset alone takes more than is allowed at the smallest current.
fn smallest_resistance_ohm(input: &ShuntInput) -> Option<f64> {
    let allowed = input.readout.allowed_percent? / 100.0 * input.operating.smallest_current_a;
    input.readout.offset_v.map(|offset| offset / allowed).filter(|resistance| resistance.is_finite())
}

fn pulse(shunt: &Shunt, op: &Operating, state: Option<State>) -> Pulse {
    let from = state.map(|state| state.rise_k);
    let node = shunt.node(op.pulse_current_a, op.ambient_degc);
    let start_degc = op.ambient_degc + from.unwrap_or(0.0);
    let power = op.pulse_current_a.powi(2) * shunt.resistance_ohm * (1.0 + shunt.curve().change(start_degc));
    Pulse {
        power_w: from.map(|_| power),
        element_degc: from
            .and_then(|from| node.rise_after_k(from, op.pulse_duration_s))
            .map(|rise| op.ambient_degc + rise),
        adiabatic_rise_k: from.map(|_| power * op.pulse_duration_s / shunt.heat_capacity_j_per_k),
        let_through_a2s: op.pulse_current_a.powi(2) * op.pulse_duration_s,
        adiabatic_limit_a2s: adiabatic_limit_a2s(shunt, start_degc),
        longest_s: from.and_then(|from| node.time_to_s(from, shunt.max_element_degc - op.ambient_degc)),
        time_constant_s: shunt.thermal_resistance_k_per_w * shunt.heat_capacity_j_per_k,
    }
}

/// I²t from a start temperature to the limit with no heat leaving: (Cth/R0) ∫ dT / (1 + aΔT + bΔT²), by eight-point
/// Gauss-Legendre, which is exact to far below a part per million for so smooth an integrand.
pub fn adiabatic_limit_a2s(shunt: &Shunt, start_degc: f64) -> f64 {
    // Abscissae and weights: Abramowitz and Stegun, table 25.4, n = 8.
    const RULE: [(f64, f64); 4] = [
        (0.183_434_642_495_649_8, 0.362_683_783_378_362),
        (0.525_532_409_916_329, 0.313_706_645_877_887_3),
        (0.796_666_477_413_626_7, 0.222_381_034_453_374_48),
        (0.960_289_856_497_536_3, 0.101_228_536_290_376_26),
    ];
    let half = (shunt.max_element_degc - start_degc).max(0.0) / 2.0;
    let middle = start_degc + half;
    let inverse = |degc: f64| 1.0 / (1.0 + shunt.curve().change(degc));
    let integral: f64 =
        RULE.iter().map(|(x, w)| w * (inverse(middle - x * half) + inverse(middle + x * half))).sum::<f64>() * half;
    shunt.heat_capacity_j_per_k / shunt.resistance_ohm * integral.max(0.0)
}

fn inductance(shunt: &Shunt, op: &Operating, matching: &Matching) -> Inductance {
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

fn error_at(shunt: &Shunt, current_a: f64, state: State) -> ShuntError {
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

fn signals(shunt: &Shunt, op: &Operating) -> Vec<Signal> {
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

fn curve(shunt: &Shunt, ambient_degc: f64, state: Option<State>) -> Vec<CurvePoint> {
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

fn compensation(shunt: &Shunt, op: &Operating, state: State, with: &Compensation) -> CompensationOutput {
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
