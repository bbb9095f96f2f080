//! # The error over the time until the next anchor
//!
//! Both cones at each time, over every case of life and use: no case errs by more at that time in the worst case, and none
//! by more than the other cone with 95 %. So the first crossing and the largest error of the picture are those that are judged.
//!
//! ```text
//! Times      48 equal parts, the ends of the stretches of all cases, and where the error is largest
//! Many       repetitions: the ends of the first ones; then a point has the largest of one repetition up to it, so that no
//!            swing falls between two points
//! Valid      95 % at each time of its own, not of a whole course: more than 5 % of all courses leave it somewhere
//! Source     the functions that judge (until), at more times
//! ```

use super::error::Rates;
use super::output::ChargeConePoint;
use super::until::{LONGEST_S, Place, likely, place};
use crate::constant::HOUR_S;
use crate::work::{Halt, Work};

/// Equal parts of the time.
const PARTS: usize = 48;
/// Ends of stretches that are places of their own at most.
const ENDS: usize = 96;

/// Both cones up to a time. `worst` is where the error is largest, where that is known.
pub(super) fn cones(
    cases: &[Rates<'_>],
    horizon_s: f64,
    worst: Option<&Place>,
    work: Work,
) -> Result<Vec<ChargeConePoint>, Halt> {
    if cases.is_empty() {
        return Ok(Vec::new());
    }
    let end_s = horizon_s.min(LONGEST_S);
    let (ends, swings_between) = ends(cases, end_s);
    let mut times: Vec<f64> = (0..=PARTS).map(|part| end_s * part as f64 / PARTS as f64).collect();
    times.extend(ends);
    times.extend(worst.map(|worst| worst.time_s).filter(|time| *time < end_s));
    ordered(&mut times, end_s);
    times.into_iter().map(|time_s| point(cases, time_s, swings_between, work)).collect()
}

/// In order, and once what differs by the rounding of sums alone.
fn ordered(times: &mut Vec<f64>, end_s: f64) {
    times.sort_by(f64::total_cmp);
    times.dedup_by(|next, kept| *next - *kept <= 1e-9 * end_s);
}

/// The ends of the stretches of all cases up to a time, of the first repetitions where these are many; whether there are more.
fn ends(cases: &[Rates<'_>], end_s: f64) -> (Vec<f64>, bool) {
    let last = cases.iter().map(|rates| rates.course.moment(end_s).block).max().unwrap_or(0);
    let mut list = Vec::new();
    for block in 0..=last {
        let mut longer: Vec<f64> = list.clone();
        for rates in cases {
            longer.extend(
                rates.course.ends(block).map(|moment| rates.course.at(moment).time_s).filter(|time| *time < end_s),
            );
        }
        ordered(&mut longer, end_s);
        if longer.len() > ENDS {
            return (list, true);
        }
        list = longer;
    }
    (list, false)
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
