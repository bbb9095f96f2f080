//! # Sums over the rows
//!
//! ```text
//! Held       Q = Σ I_k Δt_k, the last row has no duration
//! Straight   Q = Σ (I_k + I_{k+1})/2 Δt_k, split where the current changes its sign
//!            ∫I² = Σ (a² + ab + b²)/3 Δt, ∫UI = Σ (2 U_a a + U_a b + U_b a + 2 U_b b)/6 Δt
//! Symbols    I current, discharge positive [A], Δt to the next row [s], a, b current at both ends, U voltage [V]
//! Error      blocks of 4,096 rows in eight lanes, the blocks compensated: some 10^-15 of the sum of magnitudes
//! Source     integrals of constant and straight pieces; A. Neumaier, ZAMM 54 (1974) 39 for the compensation
//! ```

use super::block::Block;
use super::options::Integration;

/// A compensated sum.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Total {
    sum: f64,
    rest: f64,
}

impl Total {
    pub fn add(&mut self, value: f64) {
        let sum = self.sum + value;
        self.rest += if self.sum.abs() >= value.abs() { (self.sum - sum) + value } else { (value - sum) + self.sum };
        self.sum = sum;
    }

    pub fn value(self) -> f64 {
        self.sum + self.rest
    }
}

/// Sums that every profile has.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sums {
    pub seconds: Total,
    /// With current, s.
    pub flowing: Total,
    /// A s.
    pub out: Total,
    /// A s, positive.
    pub back: Total,
    /// A² s.
    pub square: Total,
    /// J.
    pub energy_out: Total,
    /// J, positive.
    pub energy_back: Total,
    /// Net by both ways, A s.
    pub held: Total,
    pub trapezoid: Total,
    /// Held, with voltage: ∫ I², ∫ U, ∫ U², ∫ U I.
    pub moments: [Total; 4],
}

const LANES: usize = 8;

/// Σ f(a, b) in eight lanes, which the compiler makes vectors of.
#[inline]
pub(super) fn sum2(a: &[f64], b: &[f64], f: impl Fn(f64, f64) -> f64) -> f64 {
    let mut lanes = [0.0; LANES];
    let (a, b) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let rest: f64 = a.remainder().iter().zip(b.remainder()).map(|(a, b)| f(*a, *b)).sum();
    for (a, b) in a.zip(b) {
        for (lane, (a, b)) in lanes.iter_mut().zip(a.iter().zip(b)) {
            *lane += f(*a, *b);
        }
    }
    lanes.iter().sum::<f64>() + rest
}

/// Smallest and largest, in eight lanes.
pub(super) fn ends(values: &[f64]) -> Option<(f64, f64)> {
    let first = *values.first()?;
    let (mut low, mut high) = ([first; LANES], [first; LANES]);
    let chunks = values.chunks_exact(LANES);
    let rest = chunks.remainder();
    for chunk in chunks {
        for (index, value) in chunk.iter().enumerate() {
            low[index] = if *value < low[index] { *value } else { low[index] };
            high[index] = if *value > high[index] { *value } else { high[index] };
        }
    }
    let least = low.iter().chain(rest).copied().fold(first, f64::min);
    Some((least, high.iter().chain(rest).copied().fold(first, f64::max)))
}

impl Sums {
    pub fn take(&mut self, block: &Block, integration: Integration) {
        let count = block.interval.len();
        let (current, interval) = (&block.current[..count], &block.interval[..count]);
        self.seconds.add(sum2(interval, interval, |t, _| t));
        let held = sum2(current, interval, |i, t| i * t);
        // Both ends of each interval; the last row of a file ends where it begins, and lasts no time.
        let ends = sum2(&block.current[1..], &interval[..block.current.len() - 1], |i, t| i * t);
        self.held.add(held);
        self.trapezoid.add(f64::midpoint(held, ends));
        if !block.voltage.is_empty() {
            let voltage = &block.voltage[..count];
            let charge: Vec<f64> = current.iter().zip(interval).map(|(i, t)| i * t).collect();
            self.moments[0].add(sum2(current, &charge, |i, q| i * q));
            self.moments[1].add(sum2(voltage, interval, |u, t| u * t));
            self.moments[2].add(sum2(voltage, interval, |u, t| u * u * t));
            self.moments[3].add(sum2(voltage, &charge, |u, q| u * q));
        }
        if integration == Integration::Trapezoid {
            self.straight(block);
            return;
        }
        self.flowing.add(sum2(current, interval, |i, t| if i == 0.0 { 0.0 } else { t }));
        self.out.add(sum2(current, interval, |i, t| i.max(0.0) * t));
        self.back.add(sum2(current, interval, |i, t| (-i).max(0.0) * t));
        self.square.add(sum2(current, interval, |i, t| i * i * t));
        if !block.voltage.is_empty() {
            let power: Vec<f64> = current.iter().zip(&block.voltage).map(|(i, u)| i * u).collect();
            self.energy_out.add(sum2(&power, interval, |p, t| p.max(0.0) * t));
            self.energy_back.add(sum2(&power, interval, |p, t| (-p).max(0.0) * t));
        }
    }

    /// Correlation of voltage and discharge current over time; none where one of them stands still.
    pub fn correlation(&self) -> Option<f64> {
        let seconds = self.seconds.value();
        let current = self.held.value() / seconds;
        let [square, volts, volts_square, power] = self.moments.map(|total| total.value() / seconds);
        let product = (square - current * current) * (volts_square - volts * volts);
        (product > 0.0).then(|| (power - current * volts) / product.sqrt()).filter(|value| value.is_finite())
    }

    fn straight(&mut self, block: &Block) {
        let mut sums = [0.0; 6];
        for (index, t) in block.interval.iter().copied().enumerate().filter(|(_, t)| *t > 0.0) {
            let (a, b) = (block.current[index], block.next_current(index));
            let volts = (!block.voltage.is_empty()).then(|| [block.voltage[index], block.next_voltage(index)]);
            let mut piece = |a: f64, b: f64, volts: Option<[f64; 2]>, t: f64| {
                let charge = f64::midpoint(a, b) * t;
                sums[usize::from(charge < 0.0)] += charge.abs();
                sums[2] += (a * a + a * b + b * b) / 3.0 * t;
                if let Some([u, v]) = volts {
                    let energy = (2.0 * u * a + u * b + v * a + 2.0 * v * b) / 6.0 * t;
                    sums[3 + usize::from(energy < 0.0)] += energy.abs();
                }
                if a != 0.0 || b != 0.0 {
                    sums[5] += t;
                }
            };
            if a * b < 0.0 {
                let share = a / (a - b);
                let middle = volts.map(|[u, v]| u + share * (v - u));
                let with = |from: fn([f64; 2], f64) -> [f64; 2]| Some(from(volts?, middle?));
                piece(a, 0.0, with(|[u, _], m| [u, m]), share * t);
                piece(0.0, b, with(|[_, v], m| [m, v]), (1.0 - share) * t);
            } else {
                piece(a, b, volts, t);
            }
        }
        for (total, sum) in [
            &mut self.out,
            &mut self.back,
            &mut self.square,
            &mut self.energy_out,
            &mut self.energy_back,
            &mut self.flowing,
        ]
        .into_iter()
        .zip(sums)
        {
            total.add(sum);
        }
    }
}
