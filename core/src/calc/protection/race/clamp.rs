//! Opening against a clamp: the current falls because the clamp stands above the source.
//!
//! ```text
//! Formula    t = τ ln(1 + x), x = I R/(V_c − V); charge q = (L/R)(I − (V_c − V) t/L) = L (V_c − V)/R² (x − ln(1 + x))
//!            E_clamp = V_c q; of it V q from the source; lost in R: ½ L I² + V q − V_c q
//!            R neglected: E_clamp = ½ L I² V_c/(V_c − V)
//! Symbols    V_c [V] clamp, V [V] source, I [A] current when the clamp takes over
//! Valid      constant clamp voltage; with V_c ≤ V the current never ends
//! Source     first-order linear differential equation; checked by numerical integration in the tests
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::circuit::Loop;

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
    // x − ln(1 + x) loses its digits when x is small: x²/2 − x³/3 + …
    let left = if x < 0.05 {
        let mut power = x * x;
        let mut sum = 0.0;
        for k in 2..20 {
            sum += power / f64::from(k);
            power *= -x;
        }
        sum
    } else {
        x - libm::log1p(x)
    };
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
}
