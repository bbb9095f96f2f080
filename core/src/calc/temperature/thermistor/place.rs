//! A temperature of the sensor and the straight line between two readings.

use super::curve::Curve;
use super::input::ThermistorInput;

/// Steps of the search for the equilibrium of the self-heating.
const HEAT_STEPS: u32 = 400;
/// Above this rise nothing is a sensor any more, K.
const MOST_HEAT_K: f64 = 400.0;

/// A sensor at a temperature of its place: everything but its errors.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// The temperature, °C.
    pub degc: f64,
    /// Resistance without its own heat, Ω.
    pub ohm: f64,
    /// Temperature coefficient, 1/K.
    pub alpha: f64,
    /// Self-heating at its equilibrium, K; none when there is none.
    pub self_heating_k: Option<f64>,
}

impl ThermistorInput {
    /// The sensor at a temperature; none where the curve says nothing.
    pub fn place(&self, curve: &Curve, degc: f64) -> Option<Place> {
        let (ohm, alpha) = (curve.ohm(degc)?, curve.alpha(degc)?);
        Some(Place { degc, ohm, alpha, self_heating_k: self.self_heating_k(curve, degc) })
    }

    /// How far the sensor lags behind the fastest ramp, K.
    pub fn lag_k(&self) -> f64 {
        self.body.time_constant_s * self.body.ramp_k_per_s
    }

    /// How much the cell is warmer than the sensor's place, K.
    pub fn gradient_k(&self) -> f64 {
        self.cell.thermal_resistance_k_per_w * self.cell.heat_flow_w
    }

    /// The equilibrium of the self-heating, K; none when there is none below 400 K.
    pub fn self_heating_k(&self, curve: &Curve, degc: f64) -> Option<f64> {
        let read_out = self.read_out();
        let scale = self.body.duty_percent / 100.0 / self.body.dissipation_w_per_k;
        let excess = |rise: f64| curve.ohm(degc + rise).map(|ohm| rise - scale * read_out.power_w(ohm));
        // The first change of sign is the equilibrium that is reached from cold; it is looked for on a scale that is fine
        // where the rise is small.
        if excess(0.0)? >= 0.0 {
            return Some(0.0);
        }
        let mut low = 0.0;
        for step in 1..=HEAT_STEPS {
            let high = MOST_HEAT_K * (f64::from(step) / f64::from(HEAT_STEPS)).powi(3);
            if excess(high)? >= 0.0 {
                let mut top = high;
                for _ in 0..60 {
                    let middle = 0.5 * (low + top);
                    if excess(middle)? < 0.0 {
                        low = middle;
                    } else {
                        top = middle;
                    }
                }
                return Some(0.5 * (low + top));
            }
            low = high;
        }
        None
    }

    /// One code in kelvin.
    pub fn step_k(&self, place: &Place) -> f64 {
        1.0 / (self.read_out().code_per_log(place.ohm) * place.alpha).abs()
    }
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

/// Temperatures evenly spaced between two.
pub fn temperatures([low, high]: [f64; 2], steps: u32) -> impl Iterator<Item = f64> {
    (0..=steps).map(move |step| low + (high - low) * f64::from(step) / f64::from(steps))
}
