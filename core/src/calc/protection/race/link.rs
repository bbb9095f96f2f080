//! The link capacitor into a short on the pack's side, through shunt and closed switch.
//!
//! ```text
//! Formula    α = R/(2L), ω0² = 1/(L C); oscillating, ω² = ω0² − α²: peak V/(ω L) e^(−α t) sin ω t at t = arctan(ω/α)/ω
//!            creeping, s² = α² − ω0²: peak V/(s L) e^(−α t) sinh s t at t = artanh(s/α)/s; without L: V/R
//!            ∫i² dt = C V²/(2 R): all that was stored goes into R
//! Symbols    V [V] of the link, C [F], R [Ω] of the short, L [H] of the loop
//! Valid      all of it passes before a switch opens; the smallest R and L are the worst
//! Source     second-order linear differential equation; checked by numerical integration in tests/python
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::fuse::melting;
use super::input::RaceInput;
use crate::judge::passes;

/// What the link capacitor drives into a short on the pack's side.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RaceLink {
    /// The peak, A; absent without any resistance and inductance.
    pub peak_a: Option<f64>,
    /// What passes, A²s; absent without any resistance.
    pub let_through_a2s: Option<f64>,
}

/// The discharge of the link; none without a capacitor.
pub(super) fn link(input: &RaceInput) -> Option<RaceLink> {
    let farad = input.source.link_farad.or(input.source.precharged_farad)?;
    let (volt, ohm) = (input.source.voltage_v, input.source.external_resistance_ohm);
    let peak = peak_a(volt, farad, ohm, input.source.inductance_henry);
    let a2s = farad * volt * volt / (2.0 * ohm);
    Some(RaceLink {
        peak_a: Some(peak).filter(|peak| peak.is_finite()),
        let_through_a2s: Some(a2s).filter(|a2s| a2s.is_finite()),
    })
}

impl RaceLink {
    /// Whether this may melt the fuse: no discharge needs less than its least I²t at the peak.
    pub(super) fn melts(&self, input: &RaceInput) -> bool {
        let range = self.peak_a.map_or([f64::MAX; 2], |peak| [peak, peak]);
        let needs = melting(input, range, input.source.voltage_v, 0.0);
        needs.is_some_and(|needs| self.let_through_a2s.is_none_or(|a2s| passes(a2s, needs.low_a2s)))
    }
}

fn peak_a(volt: f64, farad: f64, ohm: f64, henry: f64) -> f64 {
    // Without damping, and without inductance: neither is ever passed.
    let (free, still) = (volt * (farad / henry).sqrt(), volt / ohm);
    let ratio = still / free;
    if henry <= 0.0 || ratio < 1e-6 {
        return still;
    }
    if ohm <= 0.0 || ratio > 1e6 {
        return free;
    }
    // ζ = α/ω0; times in units of 1/ω0.
    let damping = 0.5 / ratio;
    let root = (1.0 - damping * damping).abs().sqrt();
    if root < 1e-6 {
        return free * libm::exp(-1.0);
    }
    let time = if damping < 1.0 { libm::atan2(root, damping) } else { libm::atanh(root / damping) } / root;
    let swing = if damping < 1.0 { libm::sin(root * time) } else { libm::sinh(root * time) };
    let peak = free / root * libm::exp(-damping * time) * swing;
    if peak.is_finite() { peak } else { still }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: V √(C/L) without R, V/R without L, and V √(C/L)/e where it just does not oscillate, from both sides.
    #[test]
    fn the_peak_goes_over_into_its_simple_cases() {
        let near = |found: f64, wanted: f64| assert!((found / wanted - 1.0).abs() < 1e-5, "{found} {wanted}");
        near(peak_a(100.0, 1e-3, 0.0, 1e-5), 1000.0);
        near(peak_a(100.0, 1e-3, 10.0, 0.0), 10.0);
        // A step, but for L/R: V/R.
        near(peak_a(100.0, 1e-3, 10.0, 1e-10), 10.0);
        for shift in [-1e-5, 0.0, 1e-5] {
            near(peak_a(100.0, 1e-3, 2.0 * 0.1 * (1.0 + shift), 1e-5), 1000.0 / std::f64::consts::E);
        }
    }
}
