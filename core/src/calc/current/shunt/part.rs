//! The part in operation: heat, allowed power and current, pulse, false currents.

use std::f64::consts::PI;

use super::thermal::{Curve, Node};
use super::{LimitedBy, Operating, Pulse, Shunt};
use crate::constant::COPPER_ALPHA_PER_K;
use crate::field::FieldError;
use crate::quantity::{Quantity, celsius, ohm, ppm_per_square_kelvin};

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
        let mut refuse = |field: &str, message: String, accepted: String, got: Quantity| {
            faults.push(FieldError::contradiction(&format!("{at}/{field}"), message, accepted, got));
        };
        let (zero, from) = (celsius(self.zero_power_degc), celsius(self.derate_from_degc));
        if self.zero_power_degc <= self.derate_from_degc {
            let falls =
                format!("The derating line must fall: zero power at {zero} lies at or below its beginning at {from}.");
            refuse("zero_power_degc", falls, format!("above {from}"), zero);
        }
        if self.sense_position_error_ohm >= self.resistance_ohm {
            let smaller = "The tap position error must be smaller than the resistance itself.".into();
            let below = format!("below {}", ohm(self.resistance_ohm));
            refuse("sense_position_error_ohm", smaller, below, ohm(self.sense_position_error_ohm));
        }
        // Both ends of a parabola: a curve that is positive there may still turn negative between, at the vertex.
        let vertex = self.curve().vertex_degc();
        let (low, high) = ambients_degc.iter().fold((f64::MAX, f64::MIN), |(low, high), &t| (low.min(t), high.max(t)));
        let inside = vertex.filter(|vertex| low <= *vertex && *vertex <= high);
        if let Some(degc) = [low, high].into_iter().chain(inside).find(|degc| 1.0 + self.curve().change(*degc) <= 0.0) {
            let positive = format!("With these coefficients the resistance is not positive at {}.", celsius(degc));
            let keep = "coefficients that keep the resistance positive over the ambient range".into();
            let quadratic = ppm_per_square_kelvin(self.tcr_quadratic_ppm_per_k2);
            refuse("tcr_quadratic_ppm_per_k2", positive, keep, quadratic);
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

/// The pulse from the steady state.
pub(super) fn pulse(shunt: &Shunt, op: &Operating, state: Option<State>) -> Pulse {
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
fn adiabatic_limit_a2s(shunt: &Shunt, start_degc: f64) -> f64 {
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
