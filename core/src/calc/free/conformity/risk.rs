//! # Conformity and its risks
//!
//! A value that was measured is known as a distribution; the part of it inside the tolerance is the probability that the
//! unit conforms. A guard band moves the limits of acceptance inside the tolerance, so that fewer bad units pass and more
//! good ones are refused. Over all units both risks are integrals over the spread of the process.
//!
//! ```text
//! Formula    p_c = Φ((T_U − y)/u) − Φ((T_L − y)/u);  with a known process: y′ = (y/u² + μ/s²)/(1/u² + 1/s²),
//!            u′² = 1/(1/u² + 1/s²) in place of y and u;  A_L = T_L + w, A_U = T_U − w;  w = u z_(1−r) for a risk r
//!            consumer: R_C = ∫ outside T of g(η) (Φ((A_U − η)/u) − Φ((A_L − η)/u)) dη;
//!            producer: R_P = ∫ inside T of g(η) (1 − Φ((A_U − η)/u) + Φ((A_L − η)/u)) dη
//! Symbols    y measured value, u its standard uncertainty, T_L and T_U tolerance, A_L and A_U acceptance limits, w guard
//!            band, μ and s mean and standard deviation of the process, η value of a unit [all in one unit], g density
//!            of the process, z normal quantile [1]
//! Valid      normal distributions, a measurement without bias; w for a risk: one limit, the other farther than some u.
//!            The integrals by Gauss-Legendre of ten points between places a distribution's width and a half apart,
//!            out to nine standard deviations: better than 10⁻¹⁰
//! Source     JCGM 106:2012, 6.3 and 7.2 to 7.4 (conformance probability), 8.3 (guard bands), 9.3 to 9.5 (risks)
//! ```

use crate::propagation::{normal_distribution, normal_quantile};

/// Abscissae and weights of Gauss-Legendre with ten points on −1 … 1, of which the negative ones are mirrored.
const GAUSS: [(f64, f64); 5] = [
    (0.148_874_338_981_631_2, 0.295_524_224_714_752_9),
    (0.433_395_394_129_247_2, 0.269_266_719_309_996_3),
    (0.679_409_568_299_024_4, 0.219_086_362_515_982),
    (0.865_063_366_688_984_5, 0.149_451_349_150_580_6),
    (0.973_906_528_517_171_7, 0.066_671_344_308_688_1),
];
/// Standard deviations beyond which a normal distribution is nothing.
const REACH: f64 = 9.0;
/// Places a standard deviation and a half apart.
const PLACES: i32 = 6;

/// A normal distribution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Normal {
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation, above 0.
    pub standard: f64,
}

impl Normal {
    fn density(self, x: f64) -> f64 {
        let z = (x - self.mean) / self.standard;
        libm::exp(-0.5 * z * z) / (self.standard * (2.0 * std::f64::consts::PI).sqrt())
    }

    /// What is known of a value measured with a standard uncertainty, when units spread like this.
    #[must_use]
    pub fn learnt(self, measured: f64, standard: f64) -> Self {
        // Weights and not reciprocal squares, which overflow and vanish.
        let ratio = standard / self.standard;
        let own = ratio * ratio / (1.0 + ratio * ratio);
        Self { mean: measured + own * (self.mean - measured), standard: standard / libm::hypot(1.0, ratio) }
    }
}

/// Limits of which either may be missing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The lower one.
    pub lower: Option<f64>,
    /// The upper one.
    pub upper: Option<f64>,
}

impl Limits {
    /// The share of a distribution outside the limits.
    pub fn outside(self, of: Normal) -> f64 {
        let beyond = |distance: f64| normal_distribution(-distance / of.standard);
        let below = self.lower.map_or(0.0, |lower| beyond(of.mean - lower));
        let above = self.upper.map_or(0.0, |upper| beyond(upper - of.mean));
        (below + above).min(1.0)
    }

    /// The share of a distribution inside the limits.
    pub fn inside(self, of: Normal) -> f64 {
        let below = |limit: f64| normal_distribution((limit - of.mean) / of.standard);
        match (self.lower, self.upper) {
            (Some(lower), Some(upper)) => (below(upper) - below(lower)).max(0.0),
            (Some(lower), None) => normal_distribution((of.mean - lower) / of.standard),
            (None, Some(upper)) => below(upper),
            (None, None) => 1.0,
        }
    }

    /// The limits moved inwards by a guard band, outwards where it is negative.
    #[must_use]
    pub fn guarded(self, guard_band: f64) -> Self {
        Self { lower: self.lower.map(|lower| lower + guard_band), upper: self.upper.map(|upper| upper - guard_band) }
    }

    /// Whether any value is left between them.
    pub fn possible(self) -> bool {
        self.lower.zip(self.upper).is_none_or(|(lower, upper)| lower < upper)
    }

    /// Whether a value is neither below nor above.
    pub fn hold(self, value: f64) -> bool {
        self.lower.is_none_or(|lower| lower <= value) && self.upper.is_none_or(|upper| value <= upper)
    }
}

/// The guard band that leaves a risk at one limit.
pub fn guard_band(standard: f64, risk: f64) -> f64 {
    standard * normal_quantile(1.0 - risk)
}

/// The risk that a unit measured a guard band inside one limit is beyond it.
pub fn risk_at_limit(standard: f64, guard_band: f64) -> f64 {
    Limits { lower: None, upper: Some(0.0) }.outside(Normal { mean: -guard_band, standard })
}

/// What becomes of all units of a process.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Global {
    /// Share that conforms.
    pub conforming: f64,
    /// Share that is accepted.
    pub accepted: f64,
    /// Share that does not conform and is accepted.
    pub consumer: f64,
    /// Share that conforms and is refused.
    pub producer: f64,
}

/// The global risks of accepting what is measured between `acceptance` with a standard uncertainty.
pub fn global(tolerance: Limits, acceptance: Limits, standard: f64, process: Normal) -> Global {
    let measured = |value: f64| Normal { mean: value, standard };
    let possible = acceptance.possible();
    let accept = |value: f64| if possible { acceptance.inside(measured(value)) } else { 0.0 };
    let refuse = |value: f64| if possible { acceptance.outside(measured(value)) } else { 1.0 };
    // Where the integrand bends: at the acceptance limits over the width of the measurement, else over the process's.
    let mut places = Vec::new();
    let around = |at: f64, width: f64| (-PLACES..=PLACES).map(move |step| at + 1.5 * f64::from(step) * width);
    for limit in [acceptance.lower, acceptance.upper].into_iter().flatten() {
        places.extend(around(limit, standard));
    }
    places.extend(around(process.mean, process.standard));
    let (first, last) = (process.mean - REACH * process.standard, process.mean + REACH * process.standard);
    places.extend([tolerance.lower, tolerance.upper].into_iter().flatten());
    places.retain(|place| (first..=last).contains(place));
    places.sort_by(f64::total_cmp);
    let (mut consumer, mut producer) = (0.0, 0.0);
    for pair in places.windows(2) {
        let (middle, half) = (f64::midpoint(pair[0], pair[1]), 0.5 * (pair[1] - pair[0]));
        let conforms = tolerance.hold(middle);
        let wrong = |value: f64| process.density(value) * if conforms { refuse(value) } else { accept(value) };
        let sum: f64 = GAUSS.iter().map(|(x, w)| w * (wrong(middle - half * x) + wrong(middle + half * x))).sum();
        *if conforms { &mut producer } else { &mut consumer } += half * sum;
    }
    let readings = Normal { mean: process.mean, standard: libm::hypot(process.standard, standard) };
    Global {
        conforming: tolerance.inside(process),
        accepted: if possible { acceptance.inside(readings) } else { 0.0 },
        consumer,
        producer,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn close(got: f64, expected: f64, within: f64) {
        assert!((got - expected).abs() <= within, "{got} is not {expected} within {within}");
    }

    /// What is accepted is what conforms, less the good that is refused, plus the bad that passes: an identity that the
    /// two integrals do not know of. Uncertainties from a millionth of the spread to ten times it.
    #[test]
    fn the_risks_and_the_shares_belong_together() {
        let process = Normal { mean: 0.1, standard: 0.4 };
        for standard in [4e-7, 0.01, 0.1, 0.4, 4.0] {
            for (lower, upper) in [(Some(-1.0), Some(1.0)), (None, Some(0.3)), (Some(0.5), None)] {
                let tolerance = Limits { lower, upper };
                for w in [-0.2, 0.0, 0.15] {
                    let all = global(tolerance, tolerance.guarded(w), standard, process);
                    close(all.accepted, all.conforming - all.producer + all.consumer, 1e-10);
                }
            }
        }
    }

    /// Closed form without a guard band and with one limit at the mean: the risk is arctan(u/s)/2π on either side (angle
    /// between two correlated normal axes).
    #[test]
    fn one_limit_at_the_mean_has_a_closed_form() {
        let tolerance = Limits { lower: None, upper: Some(0.0) };
        for u in [0.1, 1.0, 3.0] {
            let all = global(tolerance, tolerance, u, Normal { mean: 0.0, standard: 1.0 });
            let angle = libm::atan(u) / (2.0 * std::f64::consts::PI);
            close(all.consumer, angle, 1e-10);
            close(all.producer, angle, 1e-10);
        }
    }

    /// Where nothing can be accepted, every good unit is refused.
    #[test]
    fn an_empty_interval_accepts_nothing() {
        let tolerance = Limits { lower: Some(-1.0), upper: Some(1.0) };
        let all = global(tolerance, tolerance.guarded(1.5), 0.5, Normal { mean: 0.0, standard: 0.5 });
        close(all.producer, all.conforming, 1e-10);
        assert_eq!((all.consumer, all.accepted), (0.0, 0.0));
    }

    /// Precision-weighted mean of two equally good values: the middle, with 1/√2 of the uncertainty.
    #[test]
    fn what_is_known_of_the_process_counts() {
        let known = Normal { mean: 2.0, standard: 0.3 }.learnt(1.0, 0.3);
        close(known.mean, 1.5, 1e-15);
        close(known.standard, 0.3 / 2.0_f64.sqrt(), 1e-15);
    }
}
