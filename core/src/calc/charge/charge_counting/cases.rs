//! The cases in which a count is looked at: what it begins with, life, order of use, ends of the capacity.

use super::anchor::{Found, readable, worst};
use super::course::Case;
use super::error::{From, Rates};
use super::input::{ChargeInput, StartKind, UsageKind};
use crate::constant::HOUR_S;

/// Why an error has no value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The pointer of what is not given.
    Missing(&'static str),
    /// A current of the use is beyond the range of the channel.
    Clipped,
    /// No allowed place of an anchor is bounded.
    Unbounded,
    /// The course has emptied or filled the battery before.
    Spent,
}

/// Whether a current of the use is beyond the range, in discharge and in charge; nothing where no end is known.
pub(super) fn clips(input: &ChargeInput) -> [Option<bool>; 2] {
    let (counter, ripple, most) = (&input.counter, input.counting.ripple_a, input.largest_a());
    let beyond = |most: f64, end: Option<f64>| end.map(|end| most > 0.0 && most + ripple > end * (1.0 + 1e-12));
    [beyond(most[0], counter.full_at_a), beyond(most[1], counter.full_charge_a)]
}

/// What the error needs: the cases of life and of the order of use.
pub(super) fn cases(input: &ChargeInput) -> Result<Vec<Rates<'_>>, Why> {
    cases_from(input, &beginnings(input)?)
}

/// What an anchor leaves wherever one rests; nothing where no allowed place is bounded.
pub(super) fn left(input: &ChargeInput) -> Result<Option<Found>, &'static str> {
    let (curve, off) = readable(input)?;
    Ok(worst(&curve, &off, &input.anchor))
}

/// Why nothing is known of the beginning: anchors come again, none is known, and nothing was typed that they leave.
pub(super) fn beginning_unknown(input: &ChargeInput) -> Option<Why> {
    let typed = input.start.kind == StartKind::Anchor || input.start.error_percent > 0.0;
    if typed || input.horizon_h().is_none() {
        return None;
    }
    match left(input) {
        Err(missing) => Some(Why::Missing(missing)),
        Ok(None) => Some(Why::Unbounded),
        Ok(Some(_)) => None,
    }
}

/// What the times between anchors begin with: what is typed, or what an anchor leaves; both where anchors come again and
/// leave more than was typed.
fn beginnings(input: &ChargeInput) -> Result<Vec<Option<From>>, Why> {
    let from = |found: Found| Some(From { left: found.left, standard: found.standard });
    if input.start.kind == StartKind::Anchor {
        return Ok(vec![from(left(input).map_err(Why::Missing)?.ok_or(Why::Unbounded)?)]);
    }
    let mut list = vec![None];
    if input.horizon_h().is_some()
        && let Ok(Some(found)) = left(input)
        && found.size() > input.start.error_percent
    {
        list.push(from(found));
    }
    Ok(list)
}

pub(super) fn cases_from<'a>(input: &'a ChargeInput, beginnings: &[Option<From>]) -> Result<Vec<Rates<'a>>, Why> {
    if let Some(missing) = input.usage_missing() {
        return Err(Why::Missing(missing));
    }
    input.zero_told().map_err(Why::Missing)?;
    if clips(input).contains(&Some(true)) {
        return Err(Why::Clipped);
    }
    // What an anchor in part leaves of the time before it is not known without that time.
    if input.anchor.weight < 1.0 && input.foreseen_h().is_none() {
        return Err(if input.horizon_h().is_some() { Why::Spent } else { Why::Missing("/anchor/interval_h") });
    }
    let usage = &input.usage;
    let orders: &[bool] = match usage.kind {
        // A course has its order.
        UsageKind::Rest | UsageKind::Profile => &[true],
        UsageKind::OneWay if usage.charge_a.unwrap_or(0.0) <= 0.0 => &[true],
        UsageKind::OneWay if usage.discharge_a.unwrap_or(0.0) <= 0.0 => &[false],
        _ => &[true, false],
    };
    let lives: &[bool] = if input.battery.soh_end_percent < 100.0 { &[false, true] } else { &[false] };
    let horizon_s = input.horizon_h().map(|hours| hours * HOUR_S);
    let ends: &[f64] = if input.battery.capacity_error_percent > 0.0 { &[-1.0, 1.0] } else { &[0.0] };
    let mut list = Vec::with_capacity(beginnings.len() * lives.len() * orders.len() * ends.len());
    for (from, aged) in beginnings.iter().flat_map(|from| lives.iter().map(move |aged| (from, aged))) {
        for discharge_first in orders {
            for capacity in ends {
                let discharge_first = *discharge_first;
                let case = Case { aged: *aged, discharge_first, rests_between: false, capacity: *capacity };
                let after = Rates::new(input, case, *from);
                // The rest of a cycle may lie between its directions as well.
                let parts = usage.kind == UsageKind::Cycles && after.course.rests();
                let between = parts.then(|| Rates::new(input, Case { rests_between: true, ..case }, *from));
                list.extend(std::iter::once(after).chain(between).map(|rates| match horizon_s {
                    Some(horizon) => rates.anchored_each(horizon),
                    None => rates,
                }));
            }
        }
    }
    Ok(list)
}
