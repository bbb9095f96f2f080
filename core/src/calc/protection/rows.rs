//! # Rows of samples in noise
//!
//! How often noise alone puts n samples in a row beyond a level, and how the samples of one noise hang together.
//!
//! ```text
//! Formula    rows an hour N = 3600 f_s (P_n − P_(n+1)), P_m probability that m samples in a row are beyond z sigma:
//!            a row of n or more ends wherever n samples beyond are followed by one that is not
//!            white: P_m = Q(z)^m;  else P_m of the multivariate normal distribution with R_ij = ρ(|t_i − t_j|)
//!            one pole at f_c: ρ = exp(−2π f_c t);  rms bandwidth f_0: ρ = exp(−(2π f_0 t)²/2)
//!            (and begins where one that is not is followed by n that are, which is as frequent)
//! Integral   sample by sample, the ends of the row first, then its middle, and so on: each is drawn from its distribution
//!            given those before it and that it is beyond; the product of the chances is averaged over the 2,048 points of
//!            a lattice: deterministic, below 2 % off where five to ten samples count; three deviations are added to judge
//! Long rows  at most 40 samples are asked: they are beyond whenever all are, so that the rate is an upper limit; a sample
//!            that follows from the others is not asked
//! Valid      stationary normal noise without interference, its rms and spectrum as typed
//! Source     first-passage of rows: elementary renewal argument (closed form for white noise); A. Genz, J. Comput. Graph.
//!            Statist. 1 (1992) 141 (the integral); lattice of the generalised golden ratio: common practice, no source; checked by events drawn independently
//! ```

use std::f64::consts::PI;

use crate::numeric::first_place;
use crate::propagation::{normal_distribution, normal_quantile};
use crate::work::{Halt, Work};

crate::choice! {
    /// How the noise of neighbouring samples hangs together.
    pub enum Autocorrelation {
        White = "white", "White: every sample for itself";
        OnePole = "one-pole", "One pole at f_c";
        Gaussian = "gaussian", "Gaussian spectrum of rms bandwidth f_0";
    }
}

impl Autocorrelation {
    /// The correlation over a time, with the frequency of the noise.
    pub fn at(self, hz: f64, time_s: f64) -> f64 {
        let phase = 2.0 * PI * hz * time_s;
        match self {
            _ if time_s == 0.0 => 1.0,
            Self::White => 0.0,
            Self::OnePole => libm::exp(-phase),
            Self::Gaussian => libm::exp(-0.5 * phase * phase),
        }
    }
}

/// The noise of one sample, how it hangs together, and how it is sampled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// Root mean square, in the unit of the quantity.
    pub rms: f64,
    /// How neighbours hang together.
    pub kind: Autocorrelation,
    /// Its frequency; white noise has none.
    pub hz: f64,
    /// Samples in a row.
    pub in_a_row: u32,
    /// Samples a second.
    pub sample_hz: f64,
}

/// Rows an hour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rows {
    /// Rows that long an hour.
    pub per_hour: f64,
    /// By how much the integral may be off, at three sigma of as many independent points.
    pub within: f64,
}

/// Most samples of a row that are asked.
const ASKED: usize = 40;
/// Points of the lattice.
const POINTS: u32 = 2048;
/// A sample whose variance, given the others, is less than this follows from them.
const LEAST_VARIANCE: f64 = 1e-5;
/// Beyond this many sigma there is no noise.
const MOST_SIGMA: f64 = 37.0;
/// Places of a level up to there.
const PLACES: u32 = 1 << 24;
/// The chance that a sample is beyond them.
const NO_CHANCE: f64 = 5.7e-300;
/// Fewer rows an hour are none.
const NO_ROWS: f64 = 1e-12;

impl Noise {
    /// The chances of a row beyond a level of so many sigma.
    pub fn rows(&self, sigma: f64) -> Rows {
        let each = normal_distribution(-sigma);
        let hourly = 3600.0 * self.sample_hz;
        if self.kind == Autocorrelation::White {
            let row = libm::pow(each, f64::from(self.in_a_row));
            return Rows { per_hour: hourly * row * normal_distribution(sigma), within: 0.0 };
        }
        if hourly * each < NO_ROWS {
            // Single samples are rarer than what counts, and rows are rarer still, whatever the correlation.
            return Rows { per_hour: hourly * each, within: 0.0 };
        }
        let (mean, within) = Row::of(self, true).chance(sigma);
        Rows { per_hour: hourly * mean, within: hourly * within }
    }

    /// At least so large is the chance that a whole row is beyond a level of so many sigma: samples that hang together with a
    /// positive sign are beyond together no less often than samples each for itself.
    pub(super) fn whole_row(&self, sigma: f64) -> f64 {
        let apart = libm::pow(normal_distribution(-sigma), f64::from(self.in_a_row));
        // Of a longer row not every sample is asked: that is no lower limit.
        if self.kind == Autocorrelation::White || self.in_a_row as usize >= ASKED {
            return apart;
        }
        let (mean, within) = Row::of(self, false).chance(sigma);
        (mean - within).max(apart)
    }

    /// How many sigma a level must be away so that rows are no more frequent than allowed.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn sigma_for(&self, allowed_per_hour: f64, work: Work) -> Result<f64, Halt> {
        let allowed = allowed_per_hour.max(NO_ROWS);
        if self.rms == 0.0 {
            return Ok(0.0);
        }
        // As the sigma at which as many samples for themselves would be beyond, a rate falls all but straight.
        let sigma = |per_hour: f64| {
            let each = libm::pow(per_hour / (3600.0 * self.sample_hz), 1.0 / f64::from(self.in_a_row));
            normal_quantile(each.clamp(NO_CHANCE, 0.5))
        };
        let at = |place: u32| MOST_SIGMA * f64::from(place) / f64::from(PLACES);
        let excess = |place: u32| {
            work.go_on()?;
            let rows = self.rows(at(place));
            let most = rows.per_hour + rows.within;
            let height = (sigma(most) - sigma(allowed)).abs();
            Ok(if most > allowed { height } else { -height })
        };
        let first = excess(0)?;
        Ok(if first > 0.0 { at(first_place(PLACES, [first, sigma(0.0) - sigma(allowed)], excess)?) } else { 0.0 })
    }
}

/// The samples that are asked: the one before the row, where it has to begin, and of the row its first, its last, its middle, and so on.
struct Row {
    /// For each whether it lies before the row, and its line of the lower root of the correlation (Cholesky).
    asked: Vec<(bool, Vec<f64>)>,
}

impl Row {
    fn of(noise: &Noise, begins: bool) -> Self {
        let mut places = if begins { vec![1, 0] } else { vec![1] };
        let mut parts = std::collections::VecDeque::from([(1, noise.in_a_row)]);
        if noise.in_a_row > 1 {
            places.push(noise.in_a_row);
        }
        while let Some((first, last)) = parts.pop_front().filter(|_| places.len() < ASKED) {
            let middle = u32::midpoint(first, last);
            if middle > first {
                places.push(middle);
                parts.extend([(first, middle), (middle, last)]);
            }
        }
        let mut kept: Vec<u32> = Vec::new();
        let mut asked: Vec<(bool, Vec<f64>)> = Vec::new();
        for place in places {
            let mut line: Vec<f64> = Vec::with_capacity(kept.len() + 1);
            for (other, (_, root)) in kept.iter().zip(&asked) {
                let known: f64 = line.iter().zip(root).map(|(a, b)| a * b).sum();
                let time = f64::from(place.abs_diff(*other)) / noise.sample_hz;
                line.push((noise.kind.at(noise.hz, time) - known) / root[line.len()]);
            }
            let left = 1.0 - line.iter().map(|a| a * a).sum::<f64>();
            if place > 1 && left < LEAST_VARIANCE {
                continue;
            }
            line.push(left.max(f64::EPSILON).sqrt());
            kept.push(place);
            asked.push((place == 0, line));
        }
        Self { asked }
    }

    /// The chance of the row at a sample, and three deviations of its mean.
    fn chance(&self, sigma: f64) -> (f64, f64) {
        let slopes = lattice(self.asked.len());
        let mut drawn = vec![0.0; self.asked.len()];
        let (mut sum, mut squares) = (0.0, 0.0);
        for point in 0..POINTS {
            let mut chance = 1.0;
            for (place, (before, line)) in self.asked.iter().enumerate() {
                let given: f64 = line.iter().zip(&drawn[..place]).map(|(r, x)| r * x).sum();
                let level = ((sigma - given) / line[place]).clamp(-MOST_SIGMA, MOST_SIGMA);
                let side = if *before { 1.0 } else { -1.0 };
                let part = normal_distribution(side * level);
                chance *= part;
                // Folded, the lattice is that of a periodic function.
                let at = (f64::from(point) + 0.5) * slopes[place];
                let folded = (2.0 * (at - at.floor()) - 1.0).abs().max(1e-12);
                drawn[place] = side * normal_quantile((folded * part).max(f64::MIN_POSITIVE));
            }
            sum += chance;
            squares += chance * chance;
        }
        let points = f64::from(POINTS);
        let mean = sum / points;
        (mean, 3.0 * ((squares / points - mean * mean).max(0.0) / points).sqrt())
    }
}

/// Slopes of a lattice of rank one: the powers of 1/g, g^(d + 1) = g + 1.
fn lattice(dimensions: usize) -> Vec<f64> {
    let root = 1.0 / (dimensions as f64 + 1.0);
    let ratio = (0..64).fold(2.0, |g, _| libm::pow(1.0 + g, root));
    let powers = std::iter::successors(Some(1.0 / ratio), |power| Some(power / ratio));
    powers.take(dimensions).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(kind: Autocorrelation, hz: f64, in_a_row: u32, sample_hz: f64) -> Noise {
        Noise { rms: 1.0, kind, hz, in_a_row, sample_hz }
    }

    /// Two sigma, five in a row at 10 Hz: scipy 1.17.1, multivariate_normal.cdf, 0.4565, 0.10706 and 2.1440e-4 an hour;
    /// the same from events in `tests/python/event_thresholds.py`.
    #[test]
    fn rows_of_five_as_an_independent_integral_gives_them() {
        for (kind, hz, printed) in [
            (Autocorrelation::Gaussian, 1.7, 0.4565),
            (Autocorrelation::OnePole, 1.7, 0.107_06),
            (Autocorrelation::White, 0.0, 2.1440e-4),
        ] {
            let rate = noise(kind, hz, 5, 10.0).rows(2.0).per_hour;
            assert!((rate / printed - 1.0).abs() < 5e-3, "{kind:?}: {rate}");
        }
    }

    /// Closed forms: a row of one begins where one sample is below the mean and the next above, with 1/4 − arcsin(ρ)/2π;
    /// fast noise is white; slow noise of a smooth spectrum crosses a level f_0 exp(−z²/2) times a second (Rice 1944).
    #[test]
    fn rows_have_their_closed_forms() {
        for kind in [Autocorrelation::OnePole, Autocorrelation::Gaussian] {
            let one = noise(kind, 0.7, 1, 10.0);
            let closed = 36_000.0 * (0.25 - kind.at(0.7, 0.1).asin() / (2.0 * PI));
            assert!((one.rows(0.0).per_hour / closed - 1.0).abs() < 5e-3);
            let fast = noise(kind, 1e3, 6, 10.0).rows(1.3).per_hour;
            let white = noise(Autocorrelation::White, 0.0, 6, 10.0).rows(1.3).per_hour;
            assert!((fast / white - 1.0).abs() < 1e-2);
        }
        let slow = noise(Autocorrelation::Gaussian, 1.0, 1, 1e3).rows(3.0).per_hour;
        assert!((slow / (3600.0 * (-4.5f64).exp()) - 1.0).abs() < 1e-2, "{slow}");
    }

    /// A level so far away is just far enough, and one nearer is not.
    #[test]
    fn the_level_for_a_rate_is_where_it_is_reached() {
        for kind in [Autocorrelation::White, Autocorrelation::OnePole, Autocorrelation::Gaussian] {
            for in_a_row in [1, 3, 12] {
                let noise = noise(kind, 2.0, in_a_row, 10.0);
                let sigma = noise.sigma_for(1e-3, Work::FREE).expect("nobody stops it");
                assert!(noise.rows(sigma).per_hour <= 1e-3 && noise.rows(sigma - 0.1).per_hour > 1e-3);
            }
        }
    }

    /// Rows longer than what is asked one by one are no rarer than what is said, and longer rows are rarer.
    #[test]
    fn long_rows_are_bounded() {
        for kind in [Autocorrelation::OnePole, Autocorrelation::Gaussian] {
            let rates = [30, 40, 41, 60, 200].map(|n| noise(kind, 0.2, n, 10.0).rows(0.5).per_hour);
            assert!(rates.windows(2).all(|two| two[1] < two[0] * 1.1), "{kind:?} {rates:?}");
        }
    }
}
