//! The wiring that must survive: heated without loss.
//!
//! ```text
//! Formula    k = K √ln((θ_f + β)/(θ_i + β)); limit k² S²; smallest cross-section √(I²t)/k
//! Symbols    K [A√s/mm²], β [°C] copper 226, 234.5; aluminium 148, 228; θ_i, θ_f [°C] before, allowed; S [mm²]
//! Valid      up to five seconds
//! Source     IEC 60949 and IEC 60364-5-54 annex A (constants from memory)
//! ```

use super::input::RaceInput;
use super::output::RaceWiring;

/// The limit of the wiring, and what the worst let-through would need.
pub(super) fn wiring(input: &RaceInput, worst_let_through_a2s: Option<f64>) -> Option<RaceWiring> {
    let area = input.wiring.area_mm2?;
    let ((factor, beta), (start, end)) = (input.wiring.conductor.constants(), input.wiring_degc());
    let k = factor * libm::log((end + beta) / (start + beta)).sqrt();
    let smallest_mm2 = worst_let_through_a2s.map(|a2s| a2s.sqrt() / k);
    Some(RaceWiring { k, limit_a2s: (k * area) * (k * area), smallest_mm2 })
}
