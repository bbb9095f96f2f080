//! # The inrush that is left
//!
//! When the main contactor closes, the difference that is still there drives a current through the path into the
//! capacitor: a series circuit of R, L and C with a step. The energy balance gives its I²t for every damping.
//!
//! ```text
//! Formula    α = R/(2L), ω0 = 1/√(L C), β = √|α² − ω0²|
//!            peak dV √(C/L) e^(−α tp) in every case; tp = atan(β/α)/β below, 1/α at, ln((α + β)/ω0)/β above critical
//!            damping; L = 0: dV/R at once
//!            I²t = C dV²/(2 R): half of what the source delivers stays in C, the other half is in R
//! Symbols    dV [V] difference when the contactor closes; R, L of the whole path
//! Valid      constant R, L, C; no bouncing contact; the load on the link neglected
//! Source     series resonant circuit, standard result; form of the peak derived here
//! ```

crate::choice! {
    /// How the inrush is damped.
    pub enum Damping {
        Under = "underdamped", "underdamped: it rings";
        Critical = "critical", "critically damped";
        Over = "overdamped", "overdamped";
        Resistive = "resistive", "without inductance";
    }
}

/// The inrush of one difference.
#[derive(Clone, Copy, Debug)]
pub struct Inrush {
    /// Largest current, A.
    pub peak_a: f64,
    /// When, s.
    pub peak_s: f64,
    /// How it is damped.
    pub damping: Damping,
    /// ∫ i² dt, A²s.
    pub a2s: f64,
}

/// The inrush of `difference_v` through a path into a capacitor.
pub fn inrush(difference_v: f64, resistance_ohm: f64, inductance_henry: f64, capacitance_farad: f64) -> Inrush {
    let a2s = capacitance_farad * difference_v * difference_v / (2.0 * resistance_ohm);
    if inductance_henry <= 0.0 {
        return Inrush { peak_a: difference_v / resistance_ohm, peak_s: 0.0, damping: Damping::Resistive, a2s };
    }
    let alpha = resistance_ohm / (2.0 * inductance_henry);
    let natural = 1.0 / (inductance_henry * capacitance_farad).sqrt();
    let square = (alpha - natural) * (alpha + natural);
    let beta = square.abs().sqrt();
    let share = beta / alpha;
    let (peak_s, damping) = if share < 1e-4 {
        // atan(x)/x and atanh(x)/x are 1 ∓ x²/3 here, to fifteen digits.
        ((1.0 + square.signum() * share * share / 3.0) / alpha, Damping::Critical)
    } else if square < 0.0 {
        (libm::atan2(beta, alpha) / beta, Damping::Under)
    } else {
        (libm::log((alpha + beta) / natural) / beta, Damping::Over)
    };
    let peak_a = difference_v * (capacitance_farad / inductance_henry).sqrt() * libm::exp(-alpha * peak_s);
    Inrush { peak_a, peak_s, damping, a2s }
}
