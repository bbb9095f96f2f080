//! The part in operation: heat, allowed power and current, pulse, false currents.

use std::f64::consts::PI;

use super::output::HottestPart;
use super::{LimitedBy, Operating, Pulse, Shunt};
use crate::constant::{COPPER_ALPHA_PER_K, COPPER_FREEZES_DEGC, COPPER_REFERENCE_DEGC};
use crate::field::FieldError;
use crate::physics::thermal::{Curve, Node};
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
    /// Temperature coefficient with the copper share, ppm/K: a (1 − w) + α w, with the coefficient α that copper has at the
    /// reference temperature, α20/(1 + α20 (Tref − 20 °C)): 3930 ppm/K at 20 °C, 3854 ppm/K at 25 °C. One percent of copper
    /// adds about 39 ppm/K.
    pub fn effective_tcr_ppm_per_k(&self) -> f64 {
        let w = self.copper_share_percent / 100.0;
        let copper = COPPER_ALPHA_PER_K / (1.0 + COPPER_ALPHA_PER_K * (self.reference_degc - COPPER_REFERENCE_DEGC));
        self.tcr_ppm_per_k * (1.0 - w) + copper * 1e6 * w
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

    /// The steady state; none in thermal runaway, and none where the heat would balance only above the freezing point of
    /// copper: nothing is left then that could settle.
    pub fn at(&self, current_a: f64, ambient_degc: f64) -> Option<State> {
        let node = self.node(current_a, ambient_degc);
        let rise_k = node.steady_rise_k().filter(|rise| ambient_degc + rise <= COPPER_FREEZES_DEGC)?;
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

    /// The part of its kind that is heated most: tolerance and drift over life at their upper end, the coefficient at the end
    /// of its spread that `sign` points to. Heat and temperature grow with the resistance at every temperature, so no part
    /// inside the limits is hotter than the hotter of the two.
    #[must_use]
    pub fn highest(&self, sign: f64) -> Self {
        let factor = (1.0 + self.tolerance_percent / 100.0) * (1.0 + self.life_drift_percent / 100.0);
        Self {
            resistance_ohm: self.resistance_ohm * factor,
            tcr_ppm_per_k: self.tcr_ppm_per_k + sign * self.tcr_tolerance_ppm_per_k,
            ..self.clone()
        }
    }

    /// The smallest current without a steady state; none where the resistance does not run away from the heat.
    pub fn runaway_current_a(&self, ambient_degc: f64) -> Option<f64> {
        let curve = self.curve();
        let fold = (curve.b * (1.0 + curve.change(ambient_degc))).sqrt();
        let growth = curve.slope(ambient_degc) + 2.0 * fold;
        (growth > 0.0).then(|| 1.0 / (self.thermal_resistance_k_per_w * self.resistance_ohm * growth).sqrt())
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

    /// What the part that is heated most does at a current: the larger of each for both ends of the coefficient's spread,
    /// none where either has no steady state.
    pub(super) fn hottest(&self, op: &Operating, rms_current_a: f64) -> HottestPart {
        let parts = [1.0, -1.0].map(|sign| self.highest(sign));
        let largest = |of: &dyn Fn(&Self) -> Option<f64>| {
            let [one, other] = [of(&parts[0]), of(&parts[1])];
            one.zip(other).map(|(one, other)| one.max(other))
        };
        let pulse = |part: &Self| {
            let state = part.at(rms_current_a, op.ambient_degc);
            state.and_then(|state| part.after_pulse_degc(op, state))
        };
        let steady = self.steady_of_any(rms_current_a, op.ambient_degc);
        HottestPart {
            resistance_ohm: parts[0].resistance_ohm,
            power_w: steady.map(|steady| steady.0),
            element_degc: steady.map(|steady| steady.1),
            pulse_degc: largest(&pulse),
        }
    }

    /// Loss, W, and element temperature, °C, of the part that is heated most at a current: the larger of each for both ends of
    /// the coefficient's spread, none where either has no steady state.
    pub fn steady_of_any(&self, current_a: f64, ambient_degc: f64) -> Option<(f64, f64)> {
        let [one, other] = [1.0, -1.0].map(|sign| self.highest(sign).at(current_a, ambient_degc));
        one.zip(other).map(|(one, other)| (one.power_w.max(other.power_w), one.element_degc.max(other.element_degc)))
    }

    /// The largest continuous current of every part inside the limits, and what sets it.
    pub fn largest_of_any(&self, ambient_degc: f64) -> (f64, LimitedBy) {
        let [one, other] = [1.0, -1.0].map(|sign| self.highest(sign).largest_current(ambient_degc));
        if other.0 < one.0 { other } else { one }
    }

    /// The element's temperature after the pulse, °C: none when it has run away by then, see [`Self::at`].
    fn after_pulse_degc(&self, op: &Operating, from: State) -> Option<f64> {
        let node = self.node(op.pulse_current_a, op.ambient_degc);
        let rise = node.rise_after_k(from.rise_k, op.pulse_duration_s)?;
        Some(op.ambient_degc + rise).filter(|degc| *degc <= COPPER_FREEZES_DEGC)
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

/// The pulse from the steady state. A hotter start or ambient ends hotter, as courses of one equation never cross: the
/// highest ambient temperature is the worst.
pub(super) fn pulse(shunt: &Shunt, op: &Operating, state: Option<State>) -> Pulse {
    let start_degc = op.ambient_degc + state.map_or(0.0, |state| state.rise_k);
    let power = op.pulse_current_a.powi(2) * shunt.resistance_ohm * (1.0 + shunt.curve().change(start_degc));
    let adiabatic = |current_a: f64| {
        let capacity = shunt.heat_capacity_j_per_k;
        Node::adiabatic(shunt.curve(), shunt.resistance_ohm, capacity, current_a, start_degc)
    };
    let to_limit_k = (shunt.max_element_degc - start_degc).max(0.0);
    let node = shunt.node(op.pulse_current_a, op.ambient_degc);
    Pulse {
        power_w: state.map(|_| power),
        element_degc: state.and_then(|state| shunt.after_pulse_degc(op, state)),
        adiabatic_rise_k: state
            .and_then(|_| adiabatic(op.pulse_current_a).rise_after_k(0.0, op.pulse_duration_s))
            .filter(|rise| start_degc + rise <= COPPER_FREEZES_DEGC),
        let_through_a2s: op.pulse_current_a.powi(2) * op.pulse_duration_s,
        // The time that one ampere takes: (Cth/R0) ∫ dT / (1 + aΔT + bΔT²).
        adiabatic_limit_a2s: adiabatic(1.0).time_to_s(0.0, to_limit_k).unwrap_or(f64::INFINITY),
        longest_s: state.and_then(|state| node.time_to_s(state.rise_k, shunt.max_element_degc - op.ambient_degc)),
        time_constant_s: shunt.thermal_resistance_k_per_w * shunt.heat_capacity_j_per_k,
    }
}
