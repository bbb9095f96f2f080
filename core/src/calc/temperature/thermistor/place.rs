//! A temperature of the sensor and the straight line between two readings.

use super::budget::Heat;
use super::input::ThermistorInput;

/// A sensor at a temperature: everything but its errors.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// The temperature, °C.
    pub degc: f64,
    /// Resistance, Ω.
    pub ohm: f64,
    /// Temperature coefficient, 1/K.
    pub alpha: f64,
    /// Heat.
    pub heat: Heat,
    /// Whether the self-heating has an equilibrium.
    pub settles: bool,
}

/// The straight scale between the ends of the range: code = from + slope (T − Tmin).
#[derive(Clone, Copy, Debug)]
pub struct Straight {
    from_degc: f64,
    from_code: f64,
    slope: f64,
}

impl Straight {
    /// Between two temperatures and their codes.
    pub fn between(cold: [f64; 2], hot: [f64; 2]) -> Self {
        Self { from_degc: cold[0], from_code: cold[1], slope: (hot[1] - cold[1]) / (hot[0] - cold[0]) }
    }

    /// What the scale is wrong by, K.
    pub fn error_k(&self, degc: f64, code: f64) -> f64 {
        (code - self.from_code) / self.slope + self.from_degc - degc
    }
}

/// Temperatures evenly spaced over the range.
pub fn temperatures(input: &ThermistorInput, steps: u32) -> impl Iterator<Item = f64> {
    let (low, span) = (input.min_degc, input.max_degc - input.min_degc);
    (0..=steps).map(move |step| low + span * f64::from(step) / f64::from(steps))
}
