//! # The beta equation
//!
//! ```text
//! Formula    R = R25 exp(B (1/T − 1/298.15)); 1/T = 1/298.15 + ln(R/R25)/B
//! Symbols    R25 [Ω] at 25 °C, B [K], T [K]
//! Valid      a narrow range about the pair of temperatures that B was taken from
//! Source     IEC 60539-1 (definition of B; from memory)
//! ```

use crate::constant::{T25_K, ZERO_CELSIUS_K};

/// The resistance at a temperature, Ω.
pub fn beta_ohm(r25_ohm: f64, beta_k: f64, degc: f64) -> f64 {
    r25_ohm * libm::exp(beta_k * (1.0 / (degc + ZERO_CELSIUS_K) - 1.0 / T25_K))
}

/// The temperature of a resistance, °C; none where the equation gives none.
pub fn beta_degc(r25_ohm: f64, beta_k: f64, ohm: f64) -> Option<f64> {
    let inverse = 1.0 / T25_K + libm::log(ohm / r25_ohm) / beta_k;
    (inverse > 0.0 && inverse.is_finite()).then(|| 1.0 / inverse - ZERO_CELSIUS_K)
}
