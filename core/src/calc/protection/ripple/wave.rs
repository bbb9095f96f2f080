//! One period of the sense signal, referred to the current: the ripple, what the shunt's inductance adds, and what a
//! first-order filter leaves of it in the steady state.
//!
//! ```text
//! Formula    u = i + τ_L di/dt, τ_L = L/R; τ y' = u − y, periodic
//!            straight piece u = u_0 + s t: y = y_0 + (u_0 − y_0) g + s τ (x − g), g = 1 − e^(−x), x = t/τ; its turning
//!            point where y = u: t = τ ln(1 + (y_0 − u_0)/(s τ)); ∫y dt = ∫u dt − τ (y − y_0)
//!            periodic start y_0 = (E_2 q_1 + q_2)/(1 − E_1 E_2), q the pieces from zero, E = e^(−T/τ)
//!            sine: amplitude (I_pp/2) √(1 + (ω τ_L)²)/√(1 + (ω τ)²)
//!            mean above a level c of m + A sin θ: (A/π)(√(1 − k²) − k arccos k), k = (c − m)/A
//! Symbols    i [A] true current, u [A] sense voltage over R, y [A] behind the filter
//! Valid      a linear chain up to the clipping; lumped shunt; corners of the triangle are sharp
//! Source     first-order linear differential equation; checked by numerical integration in the tests
//! ```

use std::f64::consts::PI;

use crate::numeric::first_where;

/// A filter faster than this share of the period is none.
const NO_FILTER: f64 = 1e-12;

/// The ripple on its mean.
#[derive(Clone, Copy, Debug)]
pub struct Ripple {
    /// Mean current, A.
    pub mean_a: f64,
    /// Peak to peak, A.
    pub peak_to_peak_a: f64,
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Rising share of the period of a triangle; none for a sine.
    pub rise: Option<f64>,
    /// L/R of the shunt, s.
    pub shunt_s: f64,
}

/// A straight piece of the input and the filter's answer to it, both as deviations from the mean.
#[derive(Clone, Copy, Debug)]
pub(super) struct Piece {
    pub(super) length_s: f64,
    pub(super) input: f64,
    pub(super) slope: f64,
    pub(super) start: f64,
    pub(super) tau: f64,
}

/// x − (1 − e^(−x)), which loses its digits for small x when taken as it stands.
fn rest(x: f64) -> f64 {
    if x > 0.05 {
        return x + libm::expm1(-x);
    }
    let (mut term, mut sum) = (x * x / 2.0, 0.0);
    for k in 3..20 {
        sum += term;
        term *= -x / f64::from(k);
    }
    sum
}

impl Piece {
    fn input_at(&self, time: f64) -> f64 {
        self.input + self.slope * time
    }

    fn at(&self, time: f64) -> f64 {
        if self.tau == 0.0 {
            return self.input_at(time);
        }
        let x = time / self.tau;
        self.start - (self.input - self.start) * libm::expm1(-x) + self.slope * self.tau * rest(x)
    }

    /// Where the answer turns, if inside.
    fn turn(&self) -> Option<f64> {
        let drop = self.slope * self.tau;
        let ratio = (self.start - self.input) / drop;
        let inside = |time: &f64| *time > 0.0 && *time < self.length_s;
        (drop != 0.0 && ratio > -1.0).then(|| self.tau * libm::log1p(ratio)).filter(inside)
    }

    /// ∫y dt from zero.
    fn area(&self, time: f64) -> f64 {
        let input = self.input * time + 0.5 * self.slope * time * time;
        if self.tau == 0.0 { input } else { input - self.tau * (self.at(time) - self.start) }
    }

    /// Ends and turning point.
    fn ends(&self) -> impl Iterator<Item = f64> {
        [Some(0.0), self.turn(), Some(self.length_s)].into_iter().flatten()
    }

    /// The parts of the piece between its crossings of both levels; what lies beyond a level is that level.
    fn parts(&self, low: f64, high: f64, parts: &mut Vec<Self>) {
        let breaks = self.breaks(low, high);
        for pair in breaks.windows(2).filter(|pair| pair[1] > pair[0]) {
            let length_s = pair[1] - pair[0];
            let middle = self.at(0.5 * (pair[0] + pair[1]));
            let held = middle.clamp(low, high);
            parts.push(if held == middle {
                Self { length_s, input: self.input_at(pair[0]), start: self.at(pair[0]), ..*self }
            } else {
                Self { length_s, input: held, start: held, slope: 0.0, ..*self }
            });
        }
    }

    /// ∫clip(y) dt over the piece, `low` and `high` as deviations from the mean.
    fn clipped_area(&self, low: f64, high: f64) -> f64 {
        self.breaks(low, high)
            .windows(2)
            .map(|pair| {
                let middle = self.at(0.5 * (pair[0] + pair[1]));
                if middle > high {
                    high * (pair[1] - pair[0])
                } else if middle < low {
                    low * (pair[1] - pair[0])
                } else {
                    self.area(pair[1]) - self.area(pair[0])
                }
            })
            .sum()
    }

    /// Ends, turning point and crossings of two levels, in order.
    fn breaks(&self, low: f64, high: f64) -> Vec<f64> {
        let mut breaks: Vec<f64> = self.ends().collect();
        for (from, to) in self.ends().zip(self.ends().skip(1)) {
            breaks.extend([low, high].into_iter().filter_map(|level| self.crossing(from, to, level)));
        }
        breaks.sort_by(f64::total_cmp);
        breaks
    }

    /// Where a monotone stretch crosses a level.
    fn crossing(&self, from: f64, to: f64, level: f64) -> Option<f64> {
        let above = |time| self.at(time) > level;
        let first = above(from);
        (first != above(to)).then(|| first_where(from, to, |time| above(time) != first))
    }
}

/// The signal behind a filter.
#[derive(Clone, Debug)]
pub struct Seen {
    mean: f64,
    period: f64,
    shape: Shape,
}

/// The signal behind a filter and a converter's limits, as deviations from the mean.
#[derive(Clone, Debug)]
pub(super) enum Clipped {
    /// A sine, between two levels.
    Sine { amplitude: f64, low: f64, high: f64 },
    /// Pieces that follow one another through the period.
    Pieces(Vec<Piece>),
}

#[derive(Clone, Debug)]
enum Shape {
    Sine { amplitude: f64, phase: f64 },
    Pieces([Piece; 2]),
}

impl Ripple {
    /// Length of a period, s.
    pub fn period_s(&self) -> f64 {
        1.0 / self.frequency_hz
    }

    /// Slopes of the current, A/s: the steepest rise and the steepest fall (negative).
    pub fn slopes(&self) -> (f64, f64) {
        let rate = self.peak_to_peak_a * self.frequency_hz;
        match self.rise {
            Some(rise) => (rate / rise, -rate / (1.0 - rise)),
            None => (PI * rate, -PI * rate),
        }
    }

    /// Corner of the shunt, R/(2π L), Hz; none without an inductance.
    pub fn corner_hz(&self) -> Option<f64> {
        (self.shunt_s > 0.0).then(|| 1.0 / (2.0 * PI * self.shunt_s)).filter(|corner| corner.is_finite())
    }

    /// Root-mean-square current, A.
    pub fn rms_a(&self) -> f64 {
        let share = if self.rise.is_some() { 12.0 } else { 8.0 };
        (self.mean_a * self.mean_a + self.peak_to_peak_a * self.peak_to_peak_a / share).sqrt()
    }

    /// Amplitude of a harmonic of the current, A.
    pub fn harmonic_a(&self, order: u32) -> f64 {
        let k = f64::from(order);
        match self.rise {
            Some(rise) => {
                // The sine of a whole multiple of π is zero, not the rounding of π.
                let turns = k * rise;
                let angle = PI * (turns - libm::round(turns));
                self.peak_to_peak_a * libm::sin(angle).abs() / (k * k * PI * PI * rise * (1.0 - rise))
            }
            None if order == 1 => self.peak_to_peak_a / 2.0,
            None => 0.0,
        }
    }

    /// What the shunt and a filter make of an amplitude at a frequency.
    pub fn chain_gain(&self, frequency_hz: f64, filter_s: f64) -> f64 {
        let omega = 2.0 * PI * frequency_hz;
        libm::hypot(1.0, omega * self.shunt_s) / libm::hypot(1.0, omega * filter_s)
    }

    /// The true current at a time of the period; it starts to rise at zero.
    pub fn current_a(&self, time_s: f64) -> f64 {
        let half = self.peak_to_peak_a / 2.0;
        let share = time_s * self.frequency_hz;
        self.mean_a
            + match self.rise {
                Some(rise) if share <= rise => -half + self.peak_to_peak_a * share / rise,
                Some(rise) => half - self.peak_to_peak_a * (share - rise) / (1.0 - rise),
                None => half * libm::sin(2.0 * PI * share),
            }
    }

    /// The signal of the shunt behind a filter, in the steady state.
    pub fn behind(&self, filter_s: f64) -> Seen {
        let period = self.period_s();
        let tau = if filter_s < NO_FILTER * period { 0.0 } else { filter_s };
        let shape = match self.rise {
            None => {
                let omega = 2.0 * PI * self.frequency_hz;
                Shape::Sine {
                    amplitude: self.peak_to_peak_a / 2.0 * self.chain_gain(self.frequency_hz, tau),
                    phase: libm::atan(omega * self.shunt_s) - libm::atan(omega * tau),
                }
            }
            Some(rise) => {
                let half = self.peak_to_peak_a / 2.0;
                let (up, down) = self.slopes();
                let piece = |length_s, from: f64, slope: f64| Piece {
                    length_s,
                    input: from + self.shunt_s * slope,
                    slope,
                    start: 0.0,
                    tau,
                };
                let mut pieces = [piece(rise * period, -half, up), piece((1.0 - rise) * period, half, down)];
                if tau > 0.0 {
                    let decay = libm::exp(-pieces[1].length_s / tau);
                    let from_zero = pieces.map(|piece| piece.at(piece.length_s));
                    pieces[0].start = (decay * from_zero[0] + from_zero[1]) / -libm::expm1(-period / tau);
                    pieces[1].start = pieces[0].at(pieces[0].length_s);
                }
                Shape::Pieces(pieces)
            }
        };
        Seen { mean: self.mean_a, period, shape }
    }
}

impl Seen {
    /// At a time of the period, A.
    pub fn at(&self, time_s: f64) -> f64 {
        self.mean
            + match &self.shape {
                Shape::Sine { amplitude, phase } => amplitude * libm::sin(2.0 * PI * (time_s / self.period) + phase),
                Shape::Pieces([first, second]) => {
                    if time_s <= first.length_s {
                        first.at(time_s)
                    } else {
                        second.at((time_s - first.length_s).min(second.length_s))
                    }
                }
            }
    }

    /// What a converter that reads from `low_a` to `high_a` sees of it, as deviations from the mean.
    pub(super) fn clipped(&self, low_a: f64, high_a: f64) -> Clipped {
        let (low, high) = (low_a - self.mean, high_a - self.mean);
        let (lowest, highest) = self.range_a();
        let whole = lowest >= low_a && highest <= high_a;
        match &self.shape {
            Shape::Sine { amplitude, .. } => Clipped::Sine { amplitude: *amplitude, low, high },
            Shape::Pieces(pieces) if whole => Clipped::Pieces(pieces.to_vec()),
            Shape::Pieces(pieces) => {
                let mut parts = Vec::new();
                for piece in pieces {
                    piece.parts(low, high, &mut parts);
                }
                Clipped::Pieces(parts)
            }
        }
    }

    /// The piece of a triangle on which the lowest or the highest value lies, and its time there.
    pub(super) fn extreme(&self, lowest: bool) -> Option<(Piece, f64)> {
        let sign = if lowest { -1.0 } else { 1.0 };
        let Shape::Pieces(pieces) = &self.shape else { return None };
        let places = pieces.iter().flat_map(|piece| piece.ends().map(move |time| (*piece, time)));
        places.max_by(|(one, at), (two, then)| (sign * one.at(*at)).total_cmp(&(sign * two.at(*then))))
    }

    /// Length of a period, s.
    pub(super) const fn period_s(&self) -> f64 {
        self.period
    }

    /// Lowest and highest value, A.
    pub fn range_a(&self) -> (f64, f64) {
        match &self.shape {
            Shape::Sine { amplitude, .. } => (self.mean - amplitude, self.mean + amplitude),
            Shape::Pieces(pieces) => {
                let values = || pieces.iter().flat_map(|piece| piece.ends().map(|time| piece.at(time)));
                let (low, high) = values().fold((0.0_f64, 0.0_f64), |(low, high), y| (low.min(y), high.max(y)));
                (self.mean + low, self.mean + high)
            }
        }
    }

    /// Mean of the signal after clipping, less the mean before it, A.
    pub fn clip_shift_a(&self, low_a: f64, high_a: f64) -> f64 {
        let (lowest, highest) = self.range_a();
        if lowest >= low_a && highest <= high_a {
            return 0.0;
        }
        let (low, high) = (low_a - self.mean, high_a - self.mean);
        match &self.shape {
            Shape::Sine { amplitude, .. } => excess(*amplitude, -low) - excess(*amplitude, high),
            Shape::Pieces(pieces) => {
                pieces.iter().map(|piece| piece.clipped_area(low, high)).sum::<f64>() / self.period
            }
        }
    }
}

/// Mean of what A sin θ has above a level.
fn excess(amplitude: f64, level: f64) -> f64 {
    let k = level / amplitude;
    if !(amplitude > 0.0) {
        (-level).max(0.0)
    } else if k >= 1.0 {
        0.0
    } else if k <= -1.0 {
        -level
    } else {
        amplitude / PI * ((1.0 - k * k).sqrt() - k * libm::acos(k))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CAR: Ripple =
        Ripple { mean_a: 600.0, peak_to_peak_a: 60.0, frequency_hz: 10e3, rise: Some(0.3), shunt_s: 9e-9 / 35e-6 };

    #[test]
    fn the_matched_filter_gives_the_true_current_back() {
        for rise in [Some(0.3), Some(0.5), None] {
            let ripple = Ripple { rise, ..CAR };
            let seen = ripple.behind(ripple.shunt_s);
            for step in 0..=100 {
                let time = ripple.period_s() * f64::from(step) / 100.0;
                assert!((seen.at(time) - ripple.current_a(time)).abs() < 1e-9, "{rise:?} {step}");
            }
            let (low, high) = seen.range_a();
            assert!((low - 570.0).abs() < 1e-9 && (high - 630.0).abs() < 1e-9, "{low} {high}");
        }
    }

    #[test]
    fn the_filter_obeys_its_equation_and_keeps_the_mean_over_nine_decades() {
        for tau in [0.0, 1e-9, 1e-6, 30e-6, 1e-4, 1e-2, 1.0] {
            let seen = CAR.behind(tau);
            let n = 20_000;
            let mean: f64 = (0..n).map(|i| seen.at(CAR.period_s() * (f64::from(i) + 0.5) / f64::from(n))).sum::<f64>()
                / f64::from(n);
            assert!((mean - 600.0).abs() < 0.02, "{tau}: {mean}");
            assert!((seen.at(0.0) - seen.at(CAR.period_s())).abs() < 1e-8 || tau == 0.0, "{tau}");
            let (low, high) = seen.range_a();
            // Clipping at its own ends takes nothing, clipping at the mean takes from above only.
            assert_eq!(seen.clip_shift_a(low, high), 0.0);
            assert!(seen.clip_shift_a(low, 600.0) < 0.0 && seen.clip_shift_a(600.0, high) > 0.0);
        }
        // Slow filter: the ripple falls as the first harmonic, by 1/τ.
        let ((_, a), (_, b)) = (CAR.behind(0.1).range_a(), CAR.behind(1.0).range_a());
        assert!(((a - 600.0) / (b - 600.0) / 10.0 - 1.0).abs() < 1e-2);
    }

    #[test]
    fn clipping_everything_leaves_the_level() {
        for rise in [Some(0.3), None] {
            let seen = Ripple { rise, ..CAR }.behind(0.0);
            assert!((seen.clip_shift_a(-200.0, -100.0) + 700.0).abs() < 1e-9);
            assert!((seen.clip_shift_a(2000.0, 2100.0) - 1400.0).abs() < 1e-9);
        }
        // A sine clipped at its mean loses A/π; a triangle without inductance I_pp/8.
        let sine = Ripple { rise: None, shunt_s: 0.0, ..CAR }.behind(0.0);
        assert!((sine.clip_shift_a(0.0, 600.0) + 30.0 / PI).abs() < 1e-12);
        let triangle = Ripple { shunt_s: 0.0, ..CAR }.behind(0.0);
        assert!((triangle.clip_shift_a(0.0, 600.0) + 60.0 / 8.0).abs() < 1e-9);
    }
}
