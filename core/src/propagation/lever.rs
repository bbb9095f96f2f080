//! # What it would take
//!
//! When a budget exceeds what is allowed, each source is asked: if you alone were better, how good would you have to
//! be? A source whose absence would not be enough "cannot by itself"; a source with room to spare gets a limit larger
//! than today's when the requirement is met already.
//!
//! ```text
//! Formula    sum: a_needed = (E − Σ others)/|c|;  root-sum-square: a_needed = √(E² − Σ others²)/|c|
//! Symbols    E allowed [output unit], c sensitivity [output unit/own unit], a limit [own unit]
//! Valid      first order, with the sensitivities of the trade sums. A grouped source is scaled as a whole, common
//!            part and rest alike; its known deviation stays
//! Source     the trade sums solved for one term
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use super::fault::Fault;
use super::first_order::FirstOrder;
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
    let c = FirstOrder::new(model, sources, deviations)?.for_sums;
    let group_totals: Vec<f64> =
        groups.iter().map(|members| members.iter().map(|&i| c[i] * sources[i].common()).sum()).collect();
    let known = |i: usize| if deviations { (c[i] * sources[i].estimate).abs() } else { 0.0 };
    let own = |i: usize| (c[i] * sources[i].rest()).abs();
    // Largest factor on the limit of source `i` that keeps the sum within what is allowed.
    let factor = |i: usize| -> Option<f64> {
        let member = groups.iter().position(|members| members.contains(&i));
        let common = if member.is_some() { c[i] * sources[i].common() } else { 0.0 };
        let partners = member.map_or(0.0, |g| group_totals[g] - common);
        let others = (0..sources.len()).filter(|&j| j != i).map(|j| known(j) + own(j));
        let other_groups =
            group_totals.iter().enumerate().filter(|(g, _)| Some(*g) != member).map(|(_, total)| total.abs());
        match method {
            Method::Sum => {
                let room = allowed - others.chain(other_groups).sum::<f64>() - known(i);
                linear(own(i), common, partners, room)
            }
            Method::RootSumSquare => {
                let room = allowed * allowed - others.chain(other_groups).map(|term| term * term).sum::<f64>();
                quadratic(own(i), known(i), common, partners, room)
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

/// Largest s ≥ 0 with (known + s·own)² + (partners + s·common)² ≤ room.
fn quadratic(own: f64, known: f64, common: f64, partners: f64, room: f64) -> Option<f64> {
    let a = own * own + common * common;
    let half_b = known * own + partners * common;
    let c = known * known + partners * partners - room;
    let discriminant = half_b * half_b - a * c;
    if !(a > 0.0 && discriminant >= 0.0) {
        return None;
    }
    let s = (discriminant.sqrt() - half_b) / a;
    (s >= 0.0).then_some(s)
}
