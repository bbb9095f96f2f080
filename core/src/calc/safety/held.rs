//! # A value that is held while the true one moves on
//!
//! A code that hangs, or a capacitance at an input that is open, reads what was true when the fault came. Nothing deviates then:
//! the difference grows as fast as the quantity moves, and only what has grown is seen.
//!
//! ```text
//! Formula    δ = s t towards the hazard: seen for certain D/s after the fault, whatever comes of it;
//!            taken along by a bias current: δ = (s − b) t, b = Ib/C referred to the reading, no more than leaves what harms:
//!            b = s (1 − h/|x_d − x_n|) at most
//! Symbols    s largest slope towards the hazard, D surely seen, h harmful deviation, x_d where the goal is decided, x_n normal
//!            extreme, C capacitance that holds
//! Worst      as fast as it can from the normal extreme: what moves slower, or from further off, is seen further from the hazard
//! Valid      what is taken the other way grows faster; where readings that are ahead of the true value harm, they are counted
//!            from when they do
//! Source     definitions; capacitor and constant current
//! ```

use super::act::Act;
use super::input::{DecidedBy, Goal};

/// How fast a deviation from a value that is held grows, a second: at once where no threshold decides, nothing where the slope
/// is not given.
pub(super) fn grows(goal: &Goal) -> Option<f64> {
    let [.., slope, _] = goal.told();
    if goal.decided_by == DecidedBy::Threshold { slope } else { Some(f64::INFINITY) }
}

/// The part of the movement that is left where a bias current takes the held value along by so much a second; nothing where it
/// takes none, or leaves nothing that harms.
fn left_of(goal: &Goal, drift: f64) -> Option<f64> {
    let slope = grows(goal).filter(|slope| slope.is_finite() && *slope > 0.0)?;
    let [.., normal] = goal.told();
    let way = normal.zip(goal.at()).map_or(f64::INFINITY, |(normal, at)| (at - normal).abs());
    let along = (drift / slope).min(1.0 - goal.harm()? / way);
    (along > 0.0).then_some(1.0 - along)
}

/// An input that is open and that nothing loads: it goes to an end, at once or, where a capacitance holds it, by so much a second.
pub(super) fn loose(
    goal: &Goal,
    [low, high]: [f64; 2],
    holds: Option<Act>,
    drift: Option<f64>,
    up: bool,
) -> Vec<(Act, &'static str)> {
    let slow = holds.zip(drift);
    let end = |reads: f64, ahead: bool| if slow.is_some() && !ahead { Act::Settles(reads) } else { Act::Stands(reads) };
    let mut all = vec![(end(low, !up), "at the lower end"), (end(high, up), "at the upper end")];
    all.extend(holds.map(|act| (act, "any value is held")));
    if let Some((Act::Held(range), drift)) = slow {
        all.extend(left_of(goal, drift).map(|left| (Act::Follows(range, left), "what is held moves along")));
    }
    all
}
