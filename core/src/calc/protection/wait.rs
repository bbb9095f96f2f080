//! # How long a steady reading waits for its row
//!
//! A reading that stays a little beyond the threshold has samples on either side of it: the row is complete once by chance.
//!
//! ```text
//! Formula    white, p = Φ(z), q = 1 − p: of m samples none is a row with c x^(−m−1), c = (1 − p x)/((n + 1 − n x) q),
//!            x the root above 1 of 1 − x + q p^n x^(n+1) = 0; where p comes near n/(n + 1), of two upper limits the lower:
//!            (1 − p^n)^⌊m/n⌋ and (1 − p^n)(1 − q p^n)^(m−n)
//!            else rows so far apart that they are independent: (1 − P)^k, P the chance of a whole row (`rows`)
//! Symbols    z [1] sigma by which the reading lies beyond the threshold, n samples in a row, m samples so far
//! Apart      where the correlation is 10⁻¹²
//! Valid      stationary normal noise; a reading that moves on only trips earlier
//! Source     W. Feller, An Introduction to Probability Theory, vol. 1, ch. XIII.7 (from memory); checked by the recursion
//!            s_m = s_(m−1) − q p^n s_(m−n−1) in the tests
//! ```

use std::f64::consts::PI;

use super::rows::{Autocorrelation, Noise};
use crate::propagation::{normal_distribution, normal_quantile};
use crate::work::{Halt, Work};

/// Up to this share of n/(n + 1) the root is told from the other one, 1/p.
const APART: f64 = 0.98;
/// Rounds after which the root stands.
const ROUNDS: u32 = 200;
/// −ln of the correlation of rows that count as independent.
const NO_CORRELATION: f64 = 27.6;
/// Where whole rows of noise that hangs together are asked, in sigma.
const ASKED: [f64; 5] = [-0.05, 0.3, 0.8, 1.5, 2.2];

/// How long rows wait in a noise, for an allowed share that waits longer.
#[derive(Debug)]
pub(super) struct Wait {
    noise: Noise,
    share: f64,
    /// From so many sigma on it takes so long, s, rising in sigma; none for white noise.
    asked: Vec<(f64, f64)>,
}

impl Wait {
    /// With nothing asked, noise that hangs together waits without bound where a row is not sure at once.
    ///
    /// # Errors
    /// The work was stopped.
    pub(super) fn of(noise: Noise, share: f64, asks: bool, work: Work) -> Result<Self, Halt> {
        let white = noise.kind == Autocorrelation::White || noise.rms == 0.0;
        let asked = ASKED.iter().filter(|_| asks && !white).map(|sigma| {
            work.go_on()?;
            let row = noise.whole_row(-sigma);
            let rows = (libm::log(share) / libm::log1p(-row)).ceil().max(1.0);
            Ok((*sigma, rows * row_s(&noise) + (rows - 1.0) * gap_s(&noise)))
        });
        Ok(Self { noise, share, asked: asked.collect::<Result<_, Halt>>()? })
    }

    /// So many sigma beyond the threshold the first row is complete in all but the share.
    pub(super) fn sure_sigma(&self) -> f64 {
        -normal_quantile(self.share / f64::from(self.noise.in_a_row)).min(0.0)
    }

    /// The time until a row is complete, s, in all but the share, where the reading lies at least so many sigma beyond the
    /// threshold; without bound where it may never be.
    pub(super) fn seconds(&self, sigma: f64) -> f64 {
        if self.noise.rms == 0.0 || sigma >= self.sure_sigma() {
            row_s(&self.noise)
        } else if self.noise.kind == Autocorrelation::White {
            samples(f64::from(self.noise.in_a_row), normal_distribution(sigma), self.share) / self.noise.sample_hz
        } else {
            let asked = self.asked.iter().rev().find(|(at, _)| *at <= sigma);
            asked.map_or(f64::INFINITY, |(_, seconds)| *seconds)
        }
    }
}

fn row_s(noise: &Noise) -> f64 {
    f64::from(noise.in_a_row) / noise.sample_hz
}

/// The time between two rows that are independent, s.
fn gap_s(noise: &Noise) -> f64 {
    let phase = match noise.kind {
        Autocorrelation::White => 0.0,
        Autocorrelation::OnePole => NO_CORRELATION,
        Autocorrelation::Gaussian => (2.0 * NO_CORRELATION).sqrt(),
    };
    phase / (2.0 * PI * noise.hz)
}

/// After so many samples, each beyond with this chance, a row of `n` is complete in all but a share.
fn samples(n: f64, chance: f64, share: f64) -> f64 {
    let (row, not) = (libm::pow(chance, n), 1.0 - chance);
    if row >= 1.0 - share {
        return n;
    }
    if chance < APART * n / (n + 1.0) {
        let mut root = 1.0;
        for _ in 0..ROUNDS {
            let then = 1.0 + not * row * libm::pow(root, n + 1.0);
            // It rises to the root and stays there.
            if then <= root {
                break;
            }
            root = then;
        }
        let first = (1.0 - chance * root) / ((n + 1.0 - n * root) * not);
        return (libm::log(first / share) / libm::log1p(not * row * libm::pow(root, n + 1.0)) - 1.0).ceil().max(n);
    }
    let blocks = n * (libm::log(share) / libm::log1p(-row)).ceil();
    let ends = n + (libm::log(share / (1.0 - row)) / libm::log1p(-not * row)).ceil();
    blocks.min(ends).max(n)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The recursion s_m = s_(m−1) − q p^n s_(m−n−1), s_n = 1 − p^n, counted through: the same number, or, near the other
    /// root, up to three times as many and never fewer.
    #[test]
    fn a_row_waits_as_the_recursion_says() {
        for n in [1_u32, 2, 3, 5, 10] {
            for sigma in [0.0, 0.3, 0.8, 1.2, 1.6, 2.0, 3.0] {
                let chance = normal_distribution(sigma);
                let (length, row) = (n as usize, libm::pow(chance, f64::from(n)));
                let mut still = vec![1.0; length];
                still.push(1.0 - row);
                while still[still.len() - 1] > 1e-3 {
                    let m = still.len() - 1;
                    still.push(still[m] - (1.0 - chance) * row * still[m - length]);
                }
                let (counted, told) = ((still.len() - 1) as f64, samples(f64::from(n), chance, 1e-3));
                assert!(told >= counted, "{n} {sigma}: {told} for {counted}");
                let most = if chance < APART * f64::from(n) / f64::from(n + 1) { counted } else { 3.0 * counted };
                assert!(told <= most, "{n} {sigma}: {told} for {counted}");
            }
        }
    }

    /// Noise that hangs together over no time is white, but for the distance between its rows; a row that is longer waits longer.
    #[test]
    fn noise_that_hangs_together_waits_no_less() {
        for kind in [Autocorrelation::OnePole, Autocorrelation::Gaussian] {
            let noise = |hz: f64, n: u32| Noise { rms: 1.0, kind, hz, in_a_row: n, sample_hz: 10.0 };
            let of = |noise| Wait::of(noise, 1e-3, true, Work::FREE).expect("nobody stops it");
            let wait = |hz: f64, n: u32, sigma: f64| of(noise(hz, n)).seconds(sigma);
            let white = of(Noise { kind: Autocorrelation::White, ..noise(0.0, 3) }).seconds(0.3);
            let fast = wait(1e3, 3, 0.3);
            assert!(fast >= white && fast < 3.0 * white, "{kind:?} {fast} {white}");
            assert!(wait(1.0, 6, 0.3) > wait(1.0, 2, 0.3));
            assert_eq!(wait(1.0, 3, -0.2), f64::INFINITY);
            assert_eq!(wait(1.0, 3, 5.0), 0.3);
        }
    }
}
