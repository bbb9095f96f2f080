//! Opening against a clamp: the current falls because the clamp stands above the source.
//!
//! ```text
//! Formula    t = τ ln(1 + x), x = I R/(V_c − V); charge q = (L/R)(I − (V_c − V) t/L) = L (V_c − V)/R² (x − ln(1 + x))
//!            E_clamp = V_c q; of it V q from the source; lost in R: ½ L I² + V q − V_c q
//!            R neglected: E_clamp = ½ L I² V_c/(V_c − V)
//!            ∫i² dt = τ ((V_c − V)/R)² (x²/2 − x + ln(1 + x))
//! Symbols    V_c [V] clamp, V [V] source, I [A] current when the clamp takes over
//! Valid      constant clamp voltage; with V_c ≤ V the current never ends
//! Source     first-order linear differential equation; checked by numerical integration in the tests
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use crate::physics::fault_loop::Loop;

/// Opening against the clamp.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct Clamp {
    /// Time until the current is zero, s.
    pub opening_s: f64,
    /// Energy into the clamp, exact with the resistance of the loop, J.
    pub energy_j: f64,
    /// Energy into the clamp with the resistance neglected, J.
    pub energy_without_resistance_j: f64,
    /// What the source adds while the clamp works, J.
    pub source_j: f64,
    /// What the resistance of the loop takes meanwhile, J.
    pub resistance_j: f64,
    /// The clamp's energy as a multiple of the stored energy, R neglected: Vc/(Vc − V).
    pub factor: f64,
}

/// The clamp at work; none when it stands at or below the source.
pub fn clamp(circuit: &Loop, current_a: f64, clamp_v: f64) -> Option<Clamp> {
    let (over, r, l) = (clamp_v - circuit.voltage_v, circuit.resistance_ohm, circuit.inductance_henry);
    if !(over > 0.0) {
        return None;
    }
    let current = current_a.max(0.0);
    let x = current * r / over;
    let left = tail(x, 2);
    let charge = l * (over / r) / r * left;
    let stored = 0.5 * l * current * current;
    let factor = clamp_v / over;
    let (energy_j, source_j) = (clamp_v * charge, circuit.voltage_v * charge);
    Some(Clamp {
        opening_s: l / r * libm::log1p(x),
        energy_j,
        energy_without_resistance_j: stored * factor,
        source_j,
        resistance_j: (stored + source_j - energy_j).max(0.0),
        factor,
    })
}

/// What still passes while the current falls against the clamp, A²s; none when the clamp stands at or below the source.
pub fn decay_a2s(circuit: &Loop, current_a: f64, clamp_v: f64) -> Option<f64> {
    let over_a = (clamp_v - circuit.voltage_v) / circuit.resistance_ohm;
    (over_a > 0.0).then(|| circuit.time_constant_s() * over_a * over_a * tail(current_a.max(0.0) / over_a, 3))
}

/// The terms of x − x²/2 + … = ln(1 + x) from the power `from` on, 2 or 3, without their first sign.
fn tail(x: f64, from: u8) -> f64 {
    if x < 0.05 {
        // The differences below lose their digits: xⁿ/n − xⁿ⁺¹/(n + 1) + …
        let mut power = if from == 2 { x * x } else { x * x * x };
        let mut sum = 0.0;
        for k in from..from + 18 {
            sum += power / f64::from(k);
            power *= -x;
        }
        return sum;
    }
    let first = x - libm::log1p(x);
    if from == 2 { first } else { 0.5 * x * x - first }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_drop_in_the_resistance_gives_the_form_without_it_and_a_low_clamp_gives_none() {
        let circuit = Loop { voltage_v: 100.0, resistance_ohm: 1e-6, inductance_henry: 1e-5 };
        let found = clamp(&circuit, 1000.0, 130.0).expect("above the source");
        // 1.3 times the source: 1.3/0.3 = 4.33 times the stored energy.
        assert!((found.factor - 13.0 / 3.0).abs() < 1e-12);
        assert!((found.energy_j / found.energy_without_resistance_j - 1.0).abs() < 1e-4);
        assert_eq!(clamp(&circuit, 1000.0, 100.0), None);
        let still = clamp(&circuit, 0.0, 130.0).expect("above the source");
        assert_eq!((still.energy_j, still.opening_s), (0.0, 0.0));
    }

    /// R neglected the current falls as a straight line: I² t/3. Both forms meet where they change over.
    #[test]
    fn what_passes_while_the_current_falls() {
        let circuit = Loop { voltage_v: 100.0, resistance_ohm: 1e-6, inductance_henry: 1e-5 };
        let a2s = decay_a2s(&circuit, 1000.0, 130.0).expect("above the source");
        assert!((a2s / (1e6 * 1e-5 * 1000.0 / 30.0 / 3.0) - 1.0).abs() < 1e-4);
        assert_eq!(decay_a2s(&circuit, 1000.0, 100.0), None);
        for from in [2, 3] {
            assert!((tail(0.05, from) / tail(0.049_999_999_999, from) - 1.0).abs() < 1e-9);
        }
    }
}
