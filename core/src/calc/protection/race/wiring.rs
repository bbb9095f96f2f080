//! The wiring that must survive: heated without loss.
//!
//! ```text
//! Formula    k = K √ln((θ_f + β)/(θ_i + β)); limit k² S²; smallest cross-section √(I²t)/k
//!            at the end (θ_i + β) e^(I²t/(K S)²) − β
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
    let end_degc = worst_let_through_a2s.and_then(|a2s| end_degc(input, area, a2s));
    Some(RaceWiring { k, limit_a2s: (k * area) * (k * area), smallest_mm2, end_degc })
}

/// The temperature at the end; none where the metal melts.
pub(super) fn end_degc(input: &RaceInput, area_mm2: f64, a2s: f64) -> Option<f64> {
    let ((factor, beta), (start, _)) = (input.wiring.conductor.constants(), input.wiring_degc());
    let end = (start + beta) * libm::exp(a2s / (factor * area_mm2 * (factor * area_mm2))) - beta;
    (end < input.wiring.conductor.melts_degc()).then_some(end)
}
