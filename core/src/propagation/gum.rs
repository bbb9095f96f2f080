//! # Combined standard and expanded uncertainty
//!
//! Each source's standard uncertainty times its sensitivity adds to the output's variance; sources that move together
//! add before squaring. Where standard uncertainties are themselves badly known, their degrees of freedom combine to
//! an effective number that widens the coverage factor.
//!
//! ```text
//! Formula    u_c² = Σ_i Σ_j c_i c_j r_ij u_i u_j;  ν_eff = u_c⁴ / Σ (u_s⁴/ν_s);  U = k·u_c;
//!            k = t_((1+p)/2)(⌊ν_eff⌋), normal quantile when ν_eff is unlimited
//!            covariance of two outputs: Σ_i Σ_j c_1i c_2j r_ij u_i u_j
//! Symbols    c_i sensitivity, u_i standard uncertainty, r_ij correlation coefficient [1], p coverage probability [1],
//!            s a set of sources that move together (one source when it is independent), ν_s its degrees of freedom
//! Valid      nearly linear models with several comparable sources. A set counts with the smallest degrees of freedom
//!            of its members, which is exact for quantities read simultaneously (JCGM 100, H.2.4) and cautious else
//! Source     JCGM 100:2008, 5.1.2, 5.2.2, 6.2.1, G.3.2, G.4.1 (equation G.2b) and G.4.2; truncation as in H.1.6;
//!            covariance: H.2.3, JCGM 102:2011, 6.2
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::correlation::Correlation;
use super::fault::{Fault, finite};
use super::normal::normal_quantile;
use super::source::Source;
use super::student::student_quantile;

/// How the standard uncertainty is expanded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coverage {
    /// By a fixed coverage factor.
    Factor(f64),
    /// By the factor that a coverage probability needs at the effective degrees of freedom.
    Probability(f64),
}

impl Default for Coverage {
    fn default() -> Self {
        Self::Factor(2.0)
    }
}

/// The GUM's answer.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Gum {
    /// Combined standard uncertainty, output unit.
    pub standard: f64,
    /// Effective degrees of freedom; left out when unlimited.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom: Option<f64>,
    /// The whole number they are cut to for the coverage factor; left out when the factor does not rest on them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom_used: Option<f64>,
    /// Coverage factor.
    pub k: f64,
    /// Expanded uncertainty, output unit.
    pub expanded: f64,
    /// Estimate minus expanded uncertainty, output unit.
    pub low: f64,
    /// Estimate plus expanded uncertainty, output unit.
    pub high: f64,
}

/// Degrees of freedom cut to a whole number.
fn whole(degrees_of_freedom: f64) -> f64 {
    // 1 is the least a source may have; the effective number can only fall below it by rounding.
    degrees_of_freedom.floor().max(1.0)
}

/// Coverage factor for a coverage probability between 0 and 1; degrees of freedom are cut to a whole number.
pub fn coverage_factor(probability: f64, degrees_of_freedom: Option<f64>) -> f64 {
    let p = 0.5 + 0.5 * probability;
    match degrees_of_freedom {
        Some(degrees) => student_quantile(p, whole(degrees)),
        None => normal_quantile(p),
    }
}

/// Standard uncertainty, its make-up and its degrees of freedom.
pub(super) struct Variance {
    /// Combined standard uncertainty.
    pub standard: f64,
    /// Share of the variance of each source (sums to 1), `None` when there is no variance.
    pub shares: Option<Vec<f64>>,
    /// Effective degrees of freedom.
    pub degrees_of_freedom: Option<f64>,
}

impl Variance {
    pub fn new(
        sources: &[Source],
        groups: &[Vec<usize>],
        sensitivities: &[f64],
        correlation: Option<&Correlation>,
    ) -> Result<Self, Fault> {
        // Relative to the largest term, so that squares neither overflow nor vanish.
        let largest = sources.iter().zip(sensitivities).map(|(s, c)| (c * s.standard()).abs()).fold(0.0, f64::max);
        finite(largest, "for its uncertainty")?;
        if largest == 0.0 {
            return Ok(Self { standard: 0.0, shares: None, degrees_of_freedom: None });
        }
        let term = |i: usize, standard: f64| sensitivities[i] * standard / largest;
        let mut parts = vec![0.0; sources.len()];
        let mut sets = Sets::default();
        let related: Vec<usize> = match correlation {
            Some(correlation) => (0..sources.len()).filter(|&i| correlation.involves(i)).collect(),
            None => Vec::new(),
        };
        for (i, source) in sources.iter().enumerate() {
            if related.contains(&i) {
                continue;
            }
            let own = term(i, source.standard_rest());
            parts[i] += own * own;
            sets.add(own * own, source.degrees_of_freedom);
        }
        for members in groups {
            let total: f64 = members.iter().map(|&i| term(i, sources[i].standard_common())).sum();
            for &i in members {
                parts[i] += term(i, sources[i].standard_common()) * total;
            }
            sets.add(total * total, smallest(sources, members));
        }
        if let Some(correlation) = correlation {
            for members in connected(correlation, &related) {
                let mut variance = 0.0;
                for &i in &members {
                    let row: f64 =
                        members.iter().map(|&j| correlation.get(i, j) * term(j, sources[j].standard())).sum();
                    parts[i] = term(i, sources[i].standard()) * row;
                    variance += parts[i];
                }
                sets.add(variance, smallest(sources, &members));
            }
        }
        // A semi-definite matrix can leave a variance of zero, which rounding may push below it.
        let variance = parts.iter().sum::<f64>().max(0.0);
        if variance < f64::EPSILON {
            return Ok(Self { standard: largest * variance.sqrt(), shares: None, degrees_of_freedom: None });
        }
        Ok(Self {
            standard: finite(largest * variance.sqrt(), "for its uncertainty")?,
            shares: Some(parts.iter().map(|part| part / variance).collect()),
            degrees_of_freedom: sets.effective(variance),
        })
    }
}

/// Covariance of two outputs of the same sources, from the sensitivities of both.
pub fn covariance(sources: &[Source], correlation: Option<&Correlation>, one: &[f64], other: &[f64]) -> f64 {
    let mut sum = 0.0;
    for (i, a) in sources.iter().enumerate() {
        for (j, b) in sources.iter().enumerate() {
            let together = || a.group.as_ref().zip(b.group.as_ref()).is_some_and(|(a, b)| a.name == b.name);
            let shared = if i == j {
                a.standard() * a.standard()
            } else {
                let related = correlation.map_or(0.0, |r| r.get(i, j) * a.standard() * b.standard());
                related + if together() { a.standard_common() * b.standard_common() } else { 0.0 }
            };
            sum += one[i] * other[j] * shared;
        }
    }
    sum
}

/// Sum over the sets of u⁴/ν.
#[derive(Default)]
struct Sets {
    sum: f64,
}

impl Sets {
    fn add(&mut self, variance: f64, degrees_of_freedom: Option<f64>) {
        if let Some(degrees) = degrees_of_freedom {
            self.sum += variance * variance / degrees;
        }
    }

    fn effective(&self, variance: f64) -> Option<f64> {
        let degrees = variance * variance / self.sum;
        degrees.is_finite().then_some(degrees)
    }
}

/// The smallest degrees of freedom among some sources.
pub(super) fn smallest(sources: &[Source], members: &[usize]) -> Option<f64> {
    members.iter().filter_map(|&i| sources[i].degrees_of_freedom).reduce(f64::min)
}

/// The sets of sources that are correlated with each other, directly or through others.
fn connected(correlation: &Correlation, related: &[usize]) -> Vec<Vec<usize>> {
    let mut sets: Vec<Vec<usize>> = Vec::new();
    for &i in related {
        let (touching, mut apart): (Vec<_>, Vec<_>) =
            sets.into_iter().partition(|set| set.iter().any(|&j| correlation.get(i, j) != 0.0));
        let mut set: Vec<usize> = touching.into_iter().flatten().collect();
        set.push(i);
        set.sort_unstable();
        apart.push(set);
        sets = apart;
    }
    sets
}

impl Gum {
    pub(super) fn new(value: f64, variance: &Variance, coverage: Coverage) -> Result<Self, Fault> {
        let k = match coverage {
            Coverage::Factor(k) if 0.0 < k && k.is_finite() => k,
            Coverage::Factor(k) => return Err(Fault::Coverage(format!("the factor {k} must be a positive number"))),
            Coverage::Probability(p) if 0.0 < p && p < 1.0 => coverage_factor(p, variance.degrees_of_freedom),
            Coverage::Probability(p) => {
                return Err(Fault::Coverage(format!("the probability {p} must lie between 0 and 1")));
            }
        };
        let rests = matches!(coverage, Coverage::Probability(_));
        let expanded = finite(k * variance.standard, "for its uncertainty")?;
        Ok(Self {
            standard: variance.standard,
            degrees_of_freedom: variance.degrees_of_freedom,
            degrees_of_freedom_used: variance.degrees_of_freedom.filter(|_| rests).map(whole),
            k,
            expanded,
            low: finite(value - expanded, "for its uncertainty")?,
            high: finite(value + expanded, "for its uncertainty")?,
        })
    }
}
