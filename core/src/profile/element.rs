//! # The element that a profile warms
//!
//! Between two rows the loss is constant, so the temperature of the one thermal node has a closed form: the one of the
//! page of the shunt. What the reading gains by R(T) is the mean of the curve over the row.
//!
//! ```text
//! Formula    T after the row as `physics::thermal`; mean of R/R0 − 1 by Simpson's rule over pieces of at most τ
//! Symbols    T element temperature [°C], τ thermal time constant [s]
//! Valid      one node; begins at ambient; a row of straight current is taken with its mean square
//! Error      Simpson over one τ: below 1/2,880 of the change within it; the middle of ends up to τ/100: below 10^-5 of it
//! ```

use super::options;
use crate::physics::thermal::{Curve, Node};

/// Up to this part of the time constant the middle of both ends is the mean.
const SHORT: f64 = 0.01;
/// After so many time constants the element has settled.
const SETTLED: f64 = 32.0;

/// An element on its way through a profile.
#[derive(Clone, Debug)]
pub(super) struct Element {
    curve: Curve,
    resistance_ohm: f64,
    thermal_resistance_k_per_w: f64,
    tau_s: f64,
    ambient_degc: f64,
    /// Its temperature, °C; none before the first row.
    degc: Option<f64>,
    /// Its hottest moment: °C and line.
    pub peak: Option<(f64, u64)>,
    /// The line from which on it ran away.
    pub ran_away: Option<u64>,
}

impl Element {
    pub fn new(given: &options::Element) -> Option<Self> {
        Some(Self {
            curve: Curve {
                a: given.tcr_ppm_per_k * 1e-6,
                b: given.tcr_quadratic_ppm_per_k2 * 1e-6,
                reference_degc: given.reference_degc,
            },
            resistance_ohm: given.resistance_ohm?,
            thermal_resistance_k_per_w: given.thermal_resistance_k_per_w,
            tau_s: given.thermal_tau_s,
            ambient_degc: given.ambient_degc,
            degc: None,
            peak: None,
            ran_away: None,
        })
    }

    /// Goes through a row: its temperature at the end, °C, and the mean of R/R0 − 1; nothing once it has run away.
    pub fn row(&mut self, square: f64, seconds: f64, ambient_degc: Option<f64>, line: u64) -> Option<(f64, f64)> {
        if self.ran_away.is_some() {
            return None;
        }
        let ambient = ambient_degc.unwrap_or(self.ambient_degc);
        let from = self.degc.unwrap_or(ambient);
        let heat_capacity = self.tau_s / self.thermal_resistance_k_per_w;
        let (resistance, thermal) = (self.resistance_ohm, self.thermal_resistance_k_per_w);
        let node = Node::new(self.curve, resistance, thermal, heat_capacity, square.sqrt(), ambient);
        let Some((rise, change)) = self.through(&node, from - ambient, seconds, ambient) else {
            self.ran_away = Some(line);
            return None;
        };
        let degc = ambient + rise;
        self.degc = Some(degc);
        for reached in [from, degc] {
            if self.peak.is_none_or(|(hottest, _)| reached > hottest) {
                self.peak = Some((reached, line));
            }
        }
        Some((degc, change))
    }

    /// Rise at the end and the mean of the curve.
    fn through(&self, node: &Node, from_k: f64, seconds: f64, ambient: f64) -> Option<(f64, f64)> {
        let change = |rise: f64| self.curve.change(ambient + rise);
        if seconds <= SHORT * self.tau_s {
            let rise = if seconds > 0.0 { node.rise_after_k(from_k, seconds)? } else { from_k };
            return Some((rise, f64::midpoint(change(from_k), change(rise))));
        }
        let moving = seconds.min(SETTLED * self.tau_s);
        let pieces = (moving / self.tau_s).ceil();
        let piece = moving / pieces;
        let (mut rise, mut sum, mut left) = (from_k, 0.0, pieces);
        while left > 0.0 {
            let (half, end) = (node.rise_after_k(rise, piece / 2.0)?, node.rise_after_k(rise, piece)?);
            sum += piece / 6.0 * (change(rise) + 4.0 * change(half) + change(end));
            rise = end;
            left -= 1.0;
        }
        if seconds > moving {
            // A fall that never ends is none: without a steady state it has run away.
            rise = node.steady_rise_k()?;
            sum += (seconds - moving) * change(rise);
        }
        Some((rise, sum / seconds))
    }
}
