//! # The error over the time until the next anchor
//!
//! Both cones at each time, over every case of life and use: no case errs by more at that time in the worst case, and none
//! by more than the other cone with 95 %. So the first crossing and the largest error of the picture are those that are judged.
//!
//! ```text
//! Times      48 equal parts, the ends of the stretches of the worst case, and where the error is largest
//! Many       repetitions: a point has the largest of one repetition up to it, so that no swing falls between two points
//! Valid      95 % at each time of its own, not of a whole course: more than 5 % of all courses leave it somewhere
//! Source     the functions that judge (until), at more times
//! ```

use super::error::Rates;
use super::output::ChargeConePoint;
use super::until::{LONGEST_S, Place, likely, place};
use crate::constant::HOUR_S;
use crate::work::{Halt, Work};

/// Equal parts of the time; as many ends of stretches are places of their own at most.
const PARTS: usize = 48;

/// Both cones up to a time. `worst` is where the error is largest, where that is known.
pub(super) fn cones(
    cases: &[Rates<'_>],
    horizon_s: f64,
    worst: Option<&Place>,
    work: Work,
) -> Result<Vec<ChargeConePoint>, Halt> {
    let Some(rates) = cases.get(worst.map_or(cases.len().saturating_sub(1), |worst| worst.case)) else {
        return Ok(Vec::new());
    };
    let end_s = horizon_s.min(LONGEST_S);
    let ends = ends(rates, end_s);
    let swings_between = ends.is_none();
    let mut times: Vec<f64> = (0..=PARTS).map(|part| end_s * part as f64 / PARTS as f64).collect();
    times.extend(ends.unwrap_or_default());
    times.extend(worst.map(|worst| worst.time_s).filter(|time| *time < end_s));
    times.sort_by(f64::total_cmp);
    // Two ends that are one but for the rounding of sums.
    times.dedup_by(|next, kept| *next - *kept <= 1e-9 * end_s);
    times.into_iter().map(|time_s| point(cases, time_s, swings_between, work)).collect()
}

/// The ends of the stretches up to a time; nothing where there are too many to be places of their own.
fn ends(rates: &Rates<'_>, end_s: f64) -> Option<Vec<f64>> {
    let last = rates.course.moment(end_s).block;
    let mut list = Vec::new();
    for block in 0..=last {
        list.extend(rates.course.ends(block).map(|moment| rates.course.at(moment).time_s).filter(|time| *time < end_s));
        if list.len() > PARTS {
            return None;
        }
    }
    Some(list)
}

fn point(cases: &[Rates<'_>], time_s: f64, swings_between: bool, work: Work) -> Result<ChargeConePoint, Halt> {
    let mut places = Vec::new();
    for (case, rates) in cases.iter().enumerate() {
        work.go_on()?;
        let now = rates.course.moment(time_s);
        places.push(place(rates, case, now));
        if swings_between {
            let from_s = time_s - rates.course.period_s();
            let before = rates.course.ends(now.block).take(now.stretch);
            let former = (now.block > 0).then(|| rates.course.ends(now.block - 1)).into_iter().flatten();
            let inside = before.chain(former).map(|moment| place(rates, case, moment));
            places.extend(inside.filter(|place| place.time_s >= from_s));
        }
    }
    let [low_percent, high_percent] = places
        .iter()
        .map(|place| place.terms.worst())
        .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], [lower, upper]| [low.min(lower), high.max(upper)]);
    let probability_percent = likely(places, work)?.map_or(0.0, |place| place.size);
    Ok(ChargeConePoint { time_h: time_s / HOUR_S, low_percent, high_percent, probability_percent })
}
