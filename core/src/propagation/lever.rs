//! # What it would take
//!
//! When a budget exceeds what is allowed, each source is asked: if you alone were better, how good would you have to
//! be? A source whose absence would not be enough "cannot by itself"; a source with room to spare gets a limit larger
//! than today's when the requirement is met already.
//!
//! ```text
//! Formula    sum: a_needed = (E − |K| − Σ others)/|c|;  root-sum-square: a_needed = √((E − |K|)² − Σ others²)/|c|;
//!            normal: within the joined line, whose factor stays
//! Symbols    E allowed, K known deviations together [output unit], c sensitivity [output unit/own unit], a limit [own
//!            unit]
//! Valid      first order, with the sensitivities of the trade sums. A grouped source is scaled as a whole, common
//!            part and rest alike; known deviations stay
//! Source     the trade sums solved for one term
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::fault::Fault;
use super::first_order::{FirstOrder, TradeSums};
use super::joined::Joining;
use super::model::Model;
use super::source::{Source, check, groups};
use crate::work::Work;

/// Which sum has to stay within what is allowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// The plain sum of limits.
    Sum,
    /// The root-sum-square of limits.
    RootSumSquare,
}

/// The limit one source alone would need.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Lever {
    /// Short name of the source.
    pub id: String,
    /// Limit as it is, own unit.
    pub limit_now: f64,
    /// Limit at which the requirement is just met, own unit; left out when the source cannot do it by itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_needed: Option<f64>,
}

/// The limit each source alone would need so that the chosen sum is `allowed`; `deviations` as in
/// [`Request`](super::Request). In the order of the sources.
pub fn what_it_takes<M: Model>(
    model: &M,
    sources: &[Source],
    allowed: f64,
    method: Method,
    deviations: bool,
    work: Work,
) -> Result<Vec<Lever>, Fault> {
    check(sources)?;
    work.go_on()?;
    let groups = groups(sources);
    let joining = Joining::default();
    let c = FirstOrder::new(model, sources, deviations)?.for_sums;
    let sums = TradeSums::new(sources, &groups, &c, deviations, joining)?;
    let k = sums.joined.as_ref().map_or(0.0, |aim| aim.line.k);
    let room = allowed - sums.known.abs();
    let own = |i: usize| (c[i] * sources[i].parts(k).1).abs();
    let common = |i: usize| c[i] * sources[i].parts(k).0;
    let normal = |i: usize| sources[i].counts_as_normal();
    // Terms that add, of the members of one kind, and what partners in the group add to the common part of source `i`.
    let terms = |i: usize, counts: &dyn Fn(usize) -> bool| -> (Vec<f64>, f64) {
        let total = |members: &Vec<usize>| members.iter().filter(|&&j| counts(j)).map(|&j| common(j)).sum::<f64>();
        let own_of_others = (0..sources.len()).filter(|&j| j != i && counts(j)).map(own);
        let other_groups = groups.iter().filter(|members| !members.contains(&i)).map(|members| total(members).abs());
        let partners = groups
            .iter()
            .find(|members| members.contains(&i))
            .map_or(0.0, |members| members.iter().filter(|&&j| j != i && counts(j)).map(|&j| common(j)).sum());
        (own_of_others.chain(other_groups).collect(), partners)
    };
    let line = sums.joined.as_ref().map_or(0.0, |aim| aim.line.contribution);
    let squares = |terms: &[f64]| terms.iter().map(|term| term * term).sum::<f64>();
    // Largest factor on the limit of source `i` that keeps the sum within what is allowed.
    let factor = |i: usize| -> Option<f64> {
        match method {
            _ if room < 0.0 => None,
            Method::Sum if normal(i) => {
                let (bounded, _) = terms(usize::MAX, &|j| !normal(j));
                let left = room - bounded.iter().sum::<f64>();
                let (others, partners) = terms(i, &normal);
                (left >= 0.0).then(|| quadratic(own(i), common(i), partners, left * left - squares(&others))).flatten()
            }
            Method::Sum => {
                let (others, partners) = terms(i, &|j| !normal(j));
                linear(own(i), common(i), partners, room - others.iter().sum::<f64>() - line)
            }
            Method::RootSumSquare => {
                let (others, partners) = terms(i, &|_| true);
                quadratic(own(i), common(i), partners, room * room - squares(&others))
            }
        }
    };
    Ok(sources
        .iter()
        .enumerate()
        .map(|(i, source)| Lever {
            id: source.id.to_string(),
            limit_now: source.limit,
            limit_needed: if source.limit > 0.0 {
                factor(i).map(|factor| factor * source.limit).filter(|limit| limit.is_finite())
            } else {
                None
            },
        })
        .collect())
}

/// Largest s ≥ 0 with s·own + |partners + s·common| ≤ room.
fn linear(own: f64, common: f64, partners: f64, room: f64) -> Option<f64> {
    // The absolute value is the larger of two lines, so two inequalities in s have to hold.
    let mut least: f64 = 0.0;
    let mut most = f64::INFINITY;
    for (slope, room) in [(own + common, room - partners), (own - common, room + partners)] {
        if slope > 0.0 {
            most = most.min(room / slope);
        } else if slope < 0.0 {
            least = least.max(room / slope);
        } else if room < 0.0 {
            return None;
        }
    }
    (least <= most && most.is_finite()).then_some(most)
}

/// Largest s ≥ 0 with (s·own)² + (partners + s·common)² ≤ room.
fn quadratic(own: f64, common: f64, partners: f64, room: f64) -> Option<f64> {
    let a = own * own + common * common;
    let half_b = partners * common;
    let c = partners * partners - room;
    let discriminant = half_b * half_b - a * c;
    if !(a > 0.0 && discriminant >= 0.0) {
        return None;
    }
    let s = (discriminant.sqrt() - half_b) / a;
    (s >= 0.0).then_some(s)
}
