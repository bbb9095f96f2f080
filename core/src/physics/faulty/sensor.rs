//! # A thermistor with a fault
//!
//! ```text
//! Formula    R_seen = ((R(T) (1 + d) + r) ∥ Rleak) Rf/Rf'; T_read by the beta curve; open: the leakage alone
//! Symbols    R(T) the thermistor, r lead, Rleak wiring leakage, Rf fixed resistor as firmware knows it, Rf' as it is [Ω]
//! Valid      a ratiometric read-out or one whose supply stands; a thermistor that is described by its beta
//! Source     Ohm's law; beta equation as in `beta`
//! ```

use crate::physics::beta::{beta_degc, beta_ohm};
use crate::physics::network::parallel;

/// The thermistor as firmware takes it to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorChain {
    /// At 25 °C, Ω.
    pub r25_ohm: f64,
    /// B, K.
    pub beta_k: f64,
}

/// What a fault changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SensorChange {
    /// Nothing.
    Nothing,
    /// The sensor is open, with this leakage in its place, Ω.
    Open(f64),
    /// The sensor is a short.
    Short,
    /// The sensor is off by this share.
    Drift(f64),
    /// This resistance in series, Ω.
    Lead(f64),
    /// This leakage across, Ω.
    Leak(f64),
    /// The fixed resistor is off by this share.
    FixedDrift(f64),
}

impl SensorChain {
    /// What is read at a temperature, °C, before the converter ends: infinite where only its end stops it.
    pub fn reading(&self, degc: f64, change: SensorChange) -> f64 {
        let sensor = beta_ohm(self.r25_ohm, self.beta_k, degc);
        let seen = match change {
            SensorChange::Nothing => sensor,
            SensorChange::Open(leak_ohm) => leak_ohm,
            SensorChange::Short => return f64::INFINITY,
            SensorChange::Drift(share) => sensor * (1.0 + share),
            SensorChange::Lead(ohm) => sensor + ohm,
            SensorChange::Leak(ohm) => parallel(sensor, ohm),
            SensorChange::FixedDrift(share) => sensor / (1.0 + share),
        };
        if seen.is_infinite() {
            f64::NEG_INFINITY
        } else {
            beta_degc(self.r25_ohm, self.beta_k, seen).unwrap_or(f64::INFINITY)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Beta equation by hand, 10 kΩ and 3435 K.
    #[test]
    fn leaks_and_leads_read_what_the_equation_says() {
        let chain = SensorChain { r25_ohm: 10e3, beta_k: 3435.0 };
        for (degc, change, expected) in [
            (-30.0, SensorChange::Leak(100e3), -14.310),
            (60.0, SensorChange::Lead(1e3), 50.908),
            (25.0, SensorChange::Open(220e3), -38.071),
        ] {
            let value = chain.reading(degc, change);
            assert!((value - expected).abs() < 1e-3, "{value} is not {expected}");
        }
        assert_eq!(chain.reading(25.0, SensorChange::Open(f64::INFINITY)), f64::NEG_INFINITY);
    }
}
