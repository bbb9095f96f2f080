//! # Bleeding along the open-circuit voltage
//!
//! A resistor draws less as the cell falls. Between two points of the open-circuit voltage the voltage is linear in the
//! charge, so that the time is a logarithm: exact for each stretch, nothing is stepped.
//!
//! ```text
//! Formula    dq/dt = −d V(q)/R;  t = (Q R/d) Σ Δs/Vlog, Vlog = (V1 − V2)/ln(V1/V2) of each stretch
//!            energy Q Σ Δs (V1 + V2)/2; against a leak dI of the others, which come down meanwhile, down to where
//!            Q Δs = dQ + dI t; floor: the least x with V(s + x) − V(s) = e
//! Symbols    Q [A·s] capacity, s state of charge as a share, d duty, R [Ω] whole path
//! Valid      rested cell that is only bled: the drop of the bleed current inside the cell is neglected
//! Source     integrated here; linear between the given points
//! ```

use super::OcvPoint;

/// On the other side of a place where what is hidden jumps, percent.
const BESIDE: f64 = 1e-9;

/// Points of state of charge in percent and voltage, ascending.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ocv<'a> {
    points: &'a [OcvPoint],
}

impl<'a> Ocv<'a> {
    /// A curve through at least two points whose states of charge rise.
    pub fn new(points: &'a [OcvPoint]) -> Option<Self> {
        let rises = points.windows(2).all(|pair| pair[0].soc_percent < pair[1].soc_percent);
        (points.len() >= 2 && rises).then_some(Self { points })
    }

    /// The stretch that holds a state of charge: the lower one at a point.
    fn stretch(&self, soc: f64) -> [&OcvPoint; 2] {
        let last = self.points.len() - 1;
        let above = self.points.iter().position(|point| point.soc_percent >= soc).unwrap_or(last).clamp(1, last);
        [&self.points[above - 1], &self.points[above]]
    }

    /// The voltage at a state of charge in percent.
    pub fn volt(&self, soc: f64) -> f64 {
        let [low, high] = self.stretch(soc);
        low.ocv_v + (high.ocv_v - low.ocv_v) * (soc - low.soc_percent) / (high.soc_percent - low.soc_percent)
    }

    /// The slope at a state of charge, V per percent.
    pub fn slope(&self, soc: f64) -> f64 {
        let [low, high] = self.stretch(soc);
        (high.ocv_v - low.ocv_v) / (high.soc_percent - low.soc_percent)
    }

    /// How far above a state of charge the voltage lies so much higher, in percent; none where it never does.
    pub fn rises_by(&self, soc: f64, volt: f64) -> Option<f64> {
        let target = self.volt(soc) + volt;
        let above = self.points.windows(2).filter(|pair| pair[1].soc_percent > soc);
        above
            .filter(|pair| pair[1].ocv_v >= target)
            .map(|pair| {
                let low = pair[0].soc_percent.max(soc);
                let (from_v, to_v) = (self.volt(low), pair[1].ocv_v);
                let share = if to_v > from_v { (target - from_v) / (to_v - from_v) } else { 0.0 };
                low - soc + share * (pair[1].soc_percent - low)
            })
            .next()
    }

    /// The most that a voltage hides anywhere from `low` to `high`, in percent; none where it hides all. Between the places
    /// looked at what is hidden changes in a straight line: it bends where either end lies on a point.
    pub fn hides_most(&self, low: f64, high: f64, volt: f64) -> Option<f64> {
        let corners = || self.points.iter().map(|point| point.soc_percent);
        let below = corners().flat_map(|corner| self.reached_at(self.volt(corner) - volt));
        let all = corners().chain(below).flat_map(|soc| [soc, soc + BESIDE]).filter(|soc| low < *soc && *soc < high);
        all.chain([low, high]).map(|soc| self.rises_by(soc, volt)).try_fold(0.0, |most: f64, one| Some(most.max(one?)))
    }

    /// Where it has a voltage, in percent.
    fn reached_at(&self, volt: f64) -> impl Iterator<Item = f64> {
        let inside = self.points.windows(2).filter(move |pair| pair[0].ocv_v <= volt && volt < pair[1].ocv_v);
        inside.map(move |pair| {
            let share = (volt - pair[0].ocv_v) / (pair[1].ocv_v - pair[0].ocv_v);
            pair[0].soc_percent + share * (pair[1].soc_percent - pair[0].soc_percent)
        })
    }

    /// The lowest state of charge of the points.
    pub fn lowest(&self) -> f64 {
        self.points[0].soc_percent
    }

    /// ∫ ds/V and ∫ V ds from `to` up to `from`, in percent per volt and percent times volt.
    pub fn integrals(&self, from: f64, to: f64) -> (f64, f64) {
        let corners = self.points.iter().map(|point| point.soc_percent).filter(|soc| to < *soc && *soc < from);
        let (mut inverse, mut energy, mut low) = (0.0, 0.0, to);
        for high in corners.chain([from]) {
            let (v1, v2) = (self.volt(low), self.volt(high));
            inverse += (high - low) / logarithmic_mean(v1, v2);
            energy += (high - low) * 0.5 * (v1 + v2);
            low = high;
        }
        (inverse, energy)
    }
}

/// (a − b)/ln(a/b), without a difference of two near numbers.
fn logarithmic_mean(a: f64, b: f64) -> f64 {
    let x = (a - b) / b;
    if x.abs() < 1e-5 {
        // x/ln(1 + x) = 1 + x/2 − x²/12 + ..., the next term is below 1e-16.
        return b * (1.0 + 0.5 * x - x * x / 12.0);
    }
    (a - b) / libm::log1p(x)
}
