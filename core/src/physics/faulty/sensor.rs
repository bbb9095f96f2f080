//! # A thermistor with a fault
//!
//! ```text
//! Formula    R_seen = ((R(T) (1 + d) + r) ∥ Rleak) Rf/Rf'; T_read by the beta curve; open: the leakage alone
//!            share of the supply m = R/(R + Rf), or Rf/(R + Rf) of a sensor above: read as m s + o
//! Symbols    s, o scale and offset of reference and converter; R(T) the thermistor, r lead, Rleak wiring leakage, Rf fixed resistor as firmware knows it, Rf' as it is [Ω]
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
    /// The fixed resistor, Ω; where nobody says it nothing is known of the read-out.
    pub fixed_ohm: Option<f64>,
    /// Whether the sensor stands above the fixed resistor.
    pub above: bool,
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
    /// What is read at a temperature, °C, before the converter ends, with all of the changes: infinite where only its end
    /// stops it.
    pub fn reading(&self, degc: f64, changes: &[SensorChange]) -> f64 {
        if changes.contains(&SensorChange::Short) {
            return f64::INFINITY;
        }
        self.of_ohm(self.seen_ohm(degc, changes))
    }

    /// The resistance that a ratiometric read-out sees.
    fn seen_ohm(&self, degc: f64, changes: &[SensorChange]) -> f64 {
        let mut seen = beta_ohm(self.r25_ohm, self.beta_k, degc);
        for change in changes {
            match *change {
                SensorChange::Open(leak_ohm) => seen = leak_ohm,
                SensorChange::Short => seen = 0.0,
                SensorChange::Drift(share) => seen *= 1.0 + share,
                SensorChange::Lead(ohm) => seen += ohm,
                SensorChange::Leak(ohm) => seen = parallel(seen, ohm),
                SensorChange::FixedDrift(share) => seen /= 1.0 + share,
                SensorChange::Nothing => {}
            }
        }
        seen
    }

    /// What is read where the share of the supply is read scaled and with an offset; nothing without the fixed resistor.
    pub fn scaled(&self, degc: f64, changes: &[SensorChange], scale: f64, offset: f64) -> Option<f64> {
        let fixed = self.fixed_ohm?;
        let sensor = self.seen_ohm(degc, changes);
        let below = if self.above { fixed } else { sensor };
        let whole = if sensor.is_infinite() { f64::from(u8::from(!self.above)) } else { below / (sensor + fixed) };
        let share = (whole * scale + offset).clamp(0.0, 1.0);
        let ratio = if self.above { (1.0 - share) / share } else { share / (1.0 - share) };
        Some(self.of_ohm(fixed * ratio))
    }

    /// The temperature that firmware takes a resistance for.
    fn of_ohm(&self, ohm: f64) -> f64 {
        if ohm.is_infinite() {
            f64::NEG_INFINITY
        } else {
            beta_degc(self.r25_ohm, self.beta_k, ohm).unwrap_or(f64::INFINITY)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Beta equation by hand, 10 kΩ and 3435 K.
    #[test]
    fn leaks_and_leads_read_what_the_equation_says() {
        let chain = SensorChain { r25_ohm: 10e3, beta_k: 3435.0, fixed_ohm: Some(10e3), above: false };
        for (degc, change, expected) in [
            (-30.0, SensorChange::Leak(100e3), -14.310),
            (60.0, SensorChange::Lead(1e3), 50.908),
            (25.0, SensorChange::Open(220e3), -38.071),
        ] {
            let value = chain.reading(degc, &[change]);
            assert!((value - expected).abs() < 1e-3, "{value} is not {expected}");
        }
        assert_eq!(chain.reading(25.0, &[SensorChange::Open(f64::INFINITY)]), f64::NEG_INFINITY);
    }

    /// Ohm's law by hand: at 25 °C half the supply is read; 10 % more is 12,222 Ω, a sensor above 8,182 Ω; 0.1 less 6,667 Ω.
    #[test]
    fn a_wrong_scale_is_another_resistance() {
        let of = |above: bool, scale: f64, offset: f64| {
            let chain = SensorChain { r25_ohm: 10e3, beta_k: 3435.0, fixed_ohm: Some(10e3), above };
            chain.scaled(25.0, &[], scale, offset).expect("a resistor")
        };
        let by_hand = |ohm: f64| 1.0 / (1.0 / 298.15 + (ohm / 10e3).ln() / 3435.0) - 273.15;
        for (above, scale, offset, ohm) in [
            (false, 1.1, 0.0, 10e3 * 0.55 / 0.45),
            (true, 1.1, 0.0, 10e3 * 0.45 / 0.55),
            (false, 1.0, -0.1, 10e3 * 0.4 / 0.6),
        ] {
            let value = of(above, scale, offset);
            assert!((value - by_hand(ohm)).abs() < 1e-9, "{value} is not {}", by_hand(ohm));
        }
        assert_eq!(of(false, 3.0, 0.0), f64::NEG_INFINITY);
        let blind = SensorChain { r25_ohm: 10e3, beta_k: 3435.0, fixed_ohm: None, above: false };
        assert_eq!(blind.scaled(25.0, &[], 1.1, 0.0), None);
    }
}
