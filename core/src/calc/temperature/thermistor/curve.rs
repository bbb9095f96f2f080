//! # Resistance-temperature curves
//!
//! Four ways to say how a sensor's resistance follows its temperature, behind one set of questions.
//!
//! ```text
//! Beta       R = R25 exp(B (1/T − 1/298.15 K)); good for some tens of kelvin around the pair B was taken from
//! S-H        1/T = A + B L + C L³, L = ln R
//! Points     S-H through each triple of neighbours; between two points the triples before and after are blended
//!            linearly in L, so that curve and slope are continuous; ln R against 1/T, never R against T
//! Platinum   see platinum
//! Slope      α = (1/R) dR/dT = −1/(T² dY/dL), Y = 1/T; for beta −B/T²
//! Source     IEC 60539-1 (definition of B, from memory); Steinhart and Hart 1968; IEC 60751
//! ```

pub use crate::constant::T25_K;
use crate::constant::ZERO_CELSIUS_K;
use crate::physics::beta::{beta_degc, beta_ohm};
use crate::propagation::Number;

use super::platinum;
use super::steinhart::{SteinhartHart, increasing_root};

/// A curve that is ready to use.
#[derive(Clone, Debug, PartialEq)]
pub enum Curve {
    /// The beta model.
    Beta {
        /// Resistance at 25 °C, Ω.
        r25_ohm: f64,
        /// B, K.
        beta_k: f64,
    },
    /// Three coefficients.
    SteinhartHart(SteinhartHart),
    /// Measured points.
    Points(PointCurve),
    /// A platinum sensor.
    Platinum {
        /// Resistance at 0 °C, Ω.
        r0_ohm: f64,
    },
}

/// Measured points, hottest first.
#[derive(Clone, Debug, PartialEq)]
pub struct PointCurve {
    /// Temperatures, °C, falling.
    degc: Vec<f64>,
    /// ln R, rising.
    logs: Vec<f64>,
    /// The equation through each triple of neighbours.
    triples: Vec<SteinhartHart>,
}

/// The two equations that hold between two points, and the ends of the blend.
#[derive(Clone, Copy, Debug)]
struct Blend {
    left: SteinhartHart,
    right: SteinhartHart,
    from: f64,
    to: f64,
}

impl Blend {
    #[inline]
    fn inverse_kelvin<N: Number>(&self, log: N) -> N {
        let left = self.left.inverse_kelvin(log);
        let right = self.right.inverse_kelvin(log);
        left + (right - left) * ((log - self.from) / (self.to - self.from))
    }

    #[inline]
    fn slope<N: Number>(&self, log: N) -> N {
        let width = self.to - self.from;
        let share = (log - self.from) / width;
        let apart = self.right.inverse_kelvin(log) - self.left.inverse_kelvin(log);
        let (left, right) = (self.left.slope(log), self.right.slope(log));
        left + (right - left) * share + apart / width
    }
}

/// How a sensor follows its temperature about one of them: what a tolerance in kelvin does to its resistance.
#[derive(Clone, Copy, Debug)]
pub struct Moved(Option<About>);

#[derive(Clone, Copy, Debug)]
enum About {
    /// A curve of ln R at a temperature [K] with its logarithm there.
    Logarithm { curve: Blend, kelvin: f64, log: f64 },
    /// Platinum at a temperature, °C.
    Platinum { degc: f64 },
}

impl Moved {
    /// R(T + k)/R(T). The curve is turned round by Newton's method with a fixed number of steps from what is known: 1/T is
    /// nearly straight in ln R, and each step squares the distance.
    #[inline]
    pub fn factor<N: Number>(&self, kelvin: N) -> N {
        match self.0 {
            None => N::from(1.0),
            Some(About::Platinum { degc }) => platinum::ratio_near(kelvin + degc, degc) / platinum::ratio(degc),
            Some(About::Logarithm { curve, kelvin: at, log }) => {
                let wanted = N::from(1.0) / (kelvin + at);
                let mut l = N::from(log);
                for _ in 0..4 {
                    l = l - (curve.inverse_kelvin(l) - wanted) / curve.slope(l);
                }
                (l - log).exp()
            }
        }
    }
}

impl PointCurve {
    /// From pairs of °C and Ω; none when they do not fall with temperature, are fewer than three, or bend so sharply that
    /// the curve between them turns back.
    pub fn new(points: &[[f64; 2]]) -> Option<Self> {
        let mut sorted = points.to_vec();
        sorted.sort_by(|a, b| b[0].total_cmp(&a[0]));
        if sorted.len() < 3 || sorted.windows(2).any(|pair| pair[0][0] <= pair[1][0] || pair[0][1] >= pair[1][1]) {
            return None;
        }
        let degc: Vec<f64> = sorted.iter().map(|point| point[0]).collect();
        let logs: Vec<f64> = sorted.iter().map(|point| libm::log(point[1])).collect();
        let pair = |i: usize| [logs[i], 1.0 / (degc[i] + ZERO_CELSIUS_K)];
        let triples = (0..degc.len() - 2)
            .map(|i| SteinhartHart::through([pair(i), pair(i + 1), pair(i + 2)]))
            .collect::<Option<Vec<_>>>()?;
        let curve = Self { degc, logs, triples };
        let rises = (0..curve.logs.len() - 1).all(|segment| {
            let blend = curve.blend(segment);
            (0..=8).all(|step| blend.slope(blend.from + (blend.to - blend.from) * f64::from(step) / 8.0) > 0.0)
        });
        rises.then_some(curve)
    }

    /// The equations between point `segment` and the next.
    fn blend(&self, segment: usize) -> Blend {
        let last = self.triples.len() - 1;
        Blend {
            left: self.triples[segment.saturating_sub(1).min(last)],
            right: self.triples[segment.min(last)],
            from: self.logs[segment],
            to: self.logs[segment + 1],
        }
    }

    /// The segment of a temperature; the outermost ones also hold outside.
    fn segment(&self, degc: f64) -> usize {
        self.degc[1..self.degc.len() - 1].iter().take_while(|node| **node > degc).count()
    }

    fn log_at(&self, degc: f64) -> Option<f64> {
        let segment = self.segment(degc);
        let blend = self.blend(segment);
        // Outside the points only one triple holds; a decade further there is nothing to be said.
        let low = if segment == 0 { blend.from - 2.3 } else { blend.from };
        let high = if segment + 2 == self.logs.len() { blend.to + 2.3 } else { blend.to };
        let wanted = 1.0 / (degc + ZERO_CELSIUS_K);
        increasing_root(|log| (blend.inverse_kelvin(log) - wanted, blend.slope(log)), low, high)
            .or_else(|| self.degc.iter().position(|node| *node == degc).map(|node| self.logs[node]))
    }

    fn kelvin(&self, ohm: f64) -> Option<f64> {
        let log = libm::log(ohm);
        let segment = self.logs[1..self.logs.len() - 1].iter().take_while(|node| **node < log).count();
        let inverse = self.blend(segment).inverse_kelvin(log);
        let inside = self.logs[0] - 2.3 <= log && log <= self.logs[self.logs.len() - 1] + 2.3;
        (inside && inverse > 0.0 && inverse.is_finite()).then(|| 1.0 / inverse)
    }

    /// The temperatures that lie no more than a share of the outermost step outside the points, °C.
    pub fn reach_degc(&self, share: f64) -> [f64; 2] {
        let n = self.degc.len();
        let [hot, cold] = [[0, 1], [n - 1, n - 2]]
            .map(|[last, before]| self.degc[last] + share * (self.degc[last] - self.degc[before]));
        [cold, hot]
    }
}

impl Curve {
    /// The resistance at a temperature, Ω; none where the curve says nothing.
    pub fn ohm(&self, degc: f64) -> Option<f64> {
        let kelvin = degc + ZERO_CELSIUS_K;
        let ohm = match self {
            Self::Beta { r25_ohm, beta_k } => beta_ohm(*r25_ohm, *beta_k, degc),
            Self::SteinhartHart(with) => libm::exp(with.log_at(kelvin)?),
            Self::Points(with) => libm::exp(with.log_at(degc)?),
            Self::Platinum { r0_ohm } => r0_ohm * platinum::ratio(degc),
        };
        (kelvin > 0.0 && ohm > 0.0 && ohm.is_finite()).then_some(ohm)
    }

    /// The temperature of a resistance, °C; none where the curve says nothing.
    pub fn degc(&self, ohm: f64) -> Option<f64> {
        if !(ohm > 0.0 && ohm.is_finite()) {
            return None;
        }
        match self {
            Self::Beta { r25_ohm, beta_k } => beta_degc(*r25_ohm, *beta_k, ohm),
            Self::SteinhartHart(with) => with.kelvin(ohm).map(|kelvin| kelvin - ZERO_CELSIUS_K),
            Self::Points(with) => with.kelvin(ohm).map(|kelvin| kelvin - ZERO_CELSIUS_K),
            Self::Platinum { r0_ohm } => platinum::degc(ohm / r0_ohm),
        }
        .filter(|degc| degc.is_finite())
    }

    /// α = (1/R) dR/dT at a temperature, 1/K.
    pub fn alpha(&self, degc: f64) -> Option<f64> {
        let kelvin = degc + ZERO_CELSIUS_K;
        let from_slope = |slope: f64| -1.0 / (kelvin * kelvin * slope);
        let alpha = match self {
            Self::Beta { beta_k, .. } => -beta_k / (kelvin * kelvin),
            Self::SteinhartHart(with) => from_slope(with.slope(with.log_at(kelvin)?)),
            Self::Points(with) => from_slope(with.blend(with.segment(degc)).slope(with.log_at(degc)?)),
            Self::Platinum { .. } => platinum::slope(degc) / platinum::ratio(degc),
        };
        (alpha != 0.0 && alpha.is_finite()).then_some(alpha)
    }

    /// The temperature of a resistance near a known temperature, °C, for any number type.
    #[inline]
    pub fn degc_near<N: Number>(&self, ohm: N, degc: f64) -> N {
        let inverse = match self {
            Self::Beta { r25_ohm, beta_k } => (ohm / *r25_ohm).ln() / *beta_k + 1.0 / T25_K,
            Self::SteinhartHart(with) => with.inverse_kelvin(ohm.ln()),
            Self::Points(with) => with.blend(with.segment(degc)).inverse_kelvin(ohm.ln()),
            Self::Platinum { r0_ohm } => return platinum::degc_near(ohm / *r0_ohm, degc),
        };
        N::from(1.0) / inverse - ZERO_CELSIUS_K
    }

    /// How the resistance follows a temperature about this one; without a tolerance in kelvin it does not move.
    pub fn moved(&self, degc: f64, tolerance_k: f64) -> Option<Moved> {
        if tolerance_k <= 0.0 {
            return Some(Moved(None));
        }
        let kelvin = degc + ZERO_CELSIUS_K;
        let logarithm = |with: SteinhartHart| {
            // One equation on both sides is a blend of nothing.
            let curve = Blend { left: with, right: with, from: 0.0, to: 1.0 };
            Some(About::Logarithm { curve, kelvin, log: with.log_at(kelvin)? })
        };
        Some(Moved(match self {
            // 1/T is straight in ln R.
            Self::Beta { r25_ohm, beta_k } => {
                logarithm(SteinhartHart { a: 1.0 / T25_K - libm::log(*r25_ohm) / beta_k, b: 1.0 / beta_k, c: 0.0 })
            }
            Self::SteinhartHart(with) => logarithm(*with),
            Self::Points(with) => {
                let curve = with.blend(with.segment(degc));
                Some(About::Logarithm { curve, kelvin, log: with.log_at(degc)? })
            }
            Self::Platinum { .. } => Some(About::Platinum { degc }),
        }))
    }

    /// Whether the resistance falls when it gets warmer.
    pub const fn falls(&self) -> bool {
        !matches!(self, Self::Platinum { .. })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every fifth degree of a smooth curve, rounded to five digits as tables are: between the rows the interpolation errs by
    /// a few millikelvin, and less when there is nothing to round.
    #[test]
    fn points_are_interpolated_to_a_few_millikelvin() {
        let smooth = Curve::SteinhartHart(SteinhartHart { a: 7.495_577e-4, b: 2.791_203e-4, c: 4.308_9e-8 });
        let points: Vec<[f64; 2]> = (-8..=25)
            .map(|step| {
                let degc = f64::from(step) * 5.0;
                let text = format!("{:.4e}", smooth.ohm(degc).expect("inside"));
                [degc, text.parse().expect("a number")]
            })
            .collect();
        let curve = Curve::Points(PointCurve::new(&points).expect("they fall"));
        for step in 0..330 {
            let degc = -40.0 + f64::from(step) * 0.5;
            let ohm = smooth.ohm(degc).expect("inside");
            let read = curve.degc(ohm).expect("inside");
            assert!((read - degc).abs() < 3e-3, "{degc}: {read}");
            assert!((curve.degc(curve.ohm(degc).expect("inside")).expect("back") - degc).abs() < 1e-8, "{degc}");
            let alpha = curve.alpha(degc).expect("a slope");
            assert!((alpha / smooth.alpha(degc).expect("a slope") - 1.0).abs() < 3e-3, "{degc}");
        }
    }

    #[test]
    fn points_that_are_no_thermistor_are_refused() {
        assert_eq!(PointCurve::new(&[[0.0, 3.0], [10.0, 2.0]]), None);
        assert_eq!(PointCurve::new(&[[0.0, 3.0], [10.0, 2.0], [20.0, 2.5]]), None);
        assert_eq!(PointCurve::new(&[[0.0, 3.0], [0.0, 2.0], [20.0, 1.0]]), None);
    }

    /// There and back: the resistance at T + k is that of the curve there.
    #[test]
    fn a_tolerance_in_kelvin_moves_along_the_curve() {
        let smooth = Curve::SteinhartHart(SteinhartHart { a: 7.495_577e-4, b: 2.791_203e-4, c: 4.308_9e-8 });
        for curve in [smooth, Curve::Platinum { r0_ohm: 100.0 }] {
            for degc in [-40.0, 25.0, 125.0] {
                for kelvin in [-20.0, -2.0, 0.0, 2.0, 20.0] {
                    let moved = curve.moved(degc, 20.0).expect("inside");
                    let expected = curve.ohm(degc + kelvin).expect("inside") / curve.ohm(degc).expect("inside");
                    assert!((moved.factor(kelvin) / expected - 1.0).abs() < 1e-9, "{curve:?} {degc} {kelvin}");
                }
            }
        }
    }

    /// The slope is the derivative of the curve, by a central difference.
    #[test]
    fn alpha_is_the_derivative() {
        let curves = [
            Curve::Beta { r25_ohm: 1e4, beta_k: 3435.0 },
            Curve::SteinhartHart(SteinhartHart { a: 1.009_25e-3, b: 2.378_4e-4, c: 2.019_2e-7 }),
            Curve::Platinum { r0_ohm: 100.0 },
        ];
        for curve in curves {
            for degc in [-55.0, -10.0, 25.0, 80.0, 140.0] {
                let at = |degc: f64| curve.ohm(degc).expect("inside").ln();
                let expected = (at(degc + 1e-3) - at(degc - 1e-3)) / 2e-3;
                assert!((curve.alpha(degc).expect("a slope") / expected - 1.0).abs() < 1e-6, "{curve:?} {degc}");
                let ohm = curve.ohm(degc).expect("inside");
                assert!((curve.degc_near(ohm, degc) - degc).abs() < 1e-9);
                assert!((curve.degc(ohm).expect("inside") - degc).abs() < 1e-9);
            }
        }
    }
}
