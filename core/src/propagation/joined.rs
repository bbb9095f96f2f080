//! # Normal sources joined
//!
//! A normal source has no limit that is never exceeded, so it has no place of its own in a sum of limits. The normal
//! sources of a state are first joined as standard uncertainties and count once, as a multiple of their root: one line
//! of the sum, which the truth passes in up to 0.27 % of the units.
//!
//! ```text
//! Formula    u_N² = Σ_i Σ_j c_i c_j r_ij u_i u_j,  line = k_w u_N;  it stands at x_i = e_i ± k_w u_i Σ_j r_ij u_j c_j / u_N
//! Symbols    c_i sensitivity [output unit/own unit], u_i standard uncertainty [own unit], r_ij correlation [1],
//!            k_w factor of the line [1], e_i estimate [own unit], i and j over the normal sources
//! Valid      k_w = 3, or Student's 99.73 % at the effective degrees of freedom of u_N where some are limited, unless it
//!            is given (2 to 6). Of a correlated pair only what adds counts: a correlation never makes a worst case
//!            smaller; a group's common part moves together with either sign
//! Source     JCGM 100:2008, 5.1.2, 5.2.2 and G.4.2; a multiple of the joined root as a limit: common practice, no source
//! ```

use std::ops::RangeInclusive;

use serde::Serialize;
use utoipa::ToSchema;

use super::correlation::Correlation;
use super::fault::{Fault, finite};
use super::gum::{Variance, coverage_factor, smallest};
use super::source::Source;

/// Accepted factors of the line.
const FACTORS: RangeInclusive<f64> = 2.0..=6.0;
/// The factor that is taken when none is given.
const FACTOR: f64 = 3.0;
/// What a factor of 3 covers of a normal distribution, for one of few degrees of freedom.
const COVERED: f64 = 0.9973;

/// How normal sources are joined and what moves together with what.
#[derive(Clone, Copy, Debug, Default)]
pub struct Joining<'a> {
    /// Factor of the joined line, 2 to 6; without a number 3, more with few degrees of freedom.
    pub k: Option<f64>,
    /// Correlation of the sources.
    pub correlation: Option<&'a Correlation>,
}

/// The normal sources of a state as one line of the sum of limits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct Joined {
    /// How many sources are joined.
    pub sources: u32,
    /// Their joined standard uncertainty, output unit.
    pub standard: f64,
    /// The factor of the line.
    pub k: f64,
    /// The line: factor times joined standard uncertainty, output unit.
    pub contribution: f64,
    /// Effective degrees of freedom; left out when unlimited.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom: Option<f64>,
}

/// A joined line and where each input stands on it.
pub(super) struct Aim {
    pub line: Joined,
    /// How far each input stands from its estimate for a factor of 1, own unit; 0 for the sources that have limits.
    pub pull: Vec<f64>,
}

impl Joining<'_> {
    /// Checks factor and matrix.
    pub(super) fn check(self, sources: &[Source]) -> Result<(), Fault> {
        if let Some(correlation) = self.correlation {
            correlation.check(sources)?;
        }
        match self.k {
            Some(k) if !FACTORS.contains(&k) => {
                let [least, most] = [FACTORS.start(), FACTORS.end()];
                Err(Fault::Coverage(format!(
                    "the factor {k} of the joined normal sources is outside {least} to {most}"
                )))
            }
            _ => Ok(()),
        }
    }

    /// The joined line at these sensitivities; nothing when no source is normal.
    pub(super) fn line(
        self,
        sources: &[Source],
        groups: &[Vec<usize>],
        sensitivities: &[f64],
    ) -> Result<Option<Aim>, Fault> {
        let Some((standard, pull)) = self.join(sources, groups, sensitivities)? else { return Ok(None) };
        let of_normal = |(source, c): (&Source, &f64)| if source.counts_as_normal() { *c } else { 0.0 };
        let only: Vec<f64> = sources.iter().zip(sensitivities).map(of_normal).collect();
        let members: Vec<usize> = (0..sources.len()).filter(|&i| sources[i].counts_as_normal()).collect();
        let limited = members.iter().any(|&i| sources[i].degrees_of_freedom.is_some());
        let degrees_of_freedom = if limited {
            let variance = Variance::new(sources, groups, &only, self.correlation)?;
            // Where nothing is left to first order, the least known source speaks for all.
            if variance.shares.is_some() { variance.degrees_of_freedom } else { smallest(sources, &members) }
        } else {
            None
        };
        let k = self.factor(degrees_of_freedom);
        let line = Joined {
            sources: u32::try_from(members.len()).unwrap_or(u32::MAX),
            standard,
            k,
            contribution: finite(k * standard, "for its sum of limits")?,
            degrees_of_freedom,
        };
        Ok(Some(Aim { line, pull }))
    }

    /// The factor of a line of so many degrees of freedom.
    fn factor(self, degrees_of_freedom: Option<f64>) -> f64 {
        let wider = |degrees| coverage_factor(COVERED, Some(degrees)).max(FACTOR);
        self.k.unwrap_or_else(|| degrees_of_freedom.map_or(FACTOR, wider))
    }

    /// How far a source alone stands from its estimate in a worst case, own unit.
    pub fn reach(self, source: &Source) -> f64 {
        if source.counts_as_normal() {
            self.factor(source.degrees_of_freedom) * source.standard()
        } else {
            source.limit
        }
    }

    /// Joined standard uncertainty and the place of each input for a factor of 1.
    pub(super) fn join(
        self,
        sources: &[Source],
        groups: &[Vec<usize>],
        sensitivities: &[f64],
    ) -> Result<Option<(f64, Vec<f64>)>, Fault> {
        if !sources.iter().any(Source::counts_as_normal) {
            return Ok(None);
        }
        let normal = |i: &usize| sources[*i].counts_as_normal();
        // Relative to the largest term, so that squares neither overflow nor vanish.
        let terms = sources.iter().zip(sensitivities).filter(|(source, _)| source.counts_as_normal());
        let largest = terms.map(|(source, c)| (c * source.standard()).abs()).fold(0.0, f64::max);
        finite(largest, "for its uncertainty")?;
        let mut pull = vec![0.0; sources.len()];
        if largest == 0.0 {
            return Ok(Some((0.0, pull)));
        }
        let term = |i: usize, standard: f64| sensitivities[i] * standard / largest;
        for i in (0..sources.len()).filter(normal) {
            let own = sources[i].standard_rest();
            pull[i] = own * term(i, own);
            if let Some(correlation) = self.correlation {
                let u = sources[i].standard();
                let partners = (0..sources.len()).filter(normal).filter(|&j| j != i);
                let adding = partners.map(|j| correlation.get(i, j) * term(j, sources[j].standard()));
                pull[i] += u * adding.filter(|pair| pair * sensitivities[i] > 0.0).sum::<f64>();
            }
        }
        for members in groups {
            let total: f64 = members.iter().filter(|i| normal(i)).map(|&i| term(i, sources[i].standard_common())).sum();
            for &i in members.iter().filter(|i| normal(i)) {
                pull[i] += sources[i].standard_common() * total;
            }
        }
        let variance: f64 = pull.iter().enumerate().map(|(i, pull)| term(i, *pull)).sum();
        // A group whose members compensate each other leaves nothing but rounding.
        let root = if variance < f64::EPSILON { 0.0 } else { variance.sqrt() };
        for pull in &mut pull {
            *pull = if root > 0.0 { *pull / root } else { 0.0 };
        }
        Ok(Some((finite(largest * root, "for its uncertainty")?, pull)))
    }
}
