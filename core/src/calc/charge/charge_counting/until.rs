//! # How large the error gets, and when
//!
//! The error is looked for inside the cycles, not only at their ends: what a cycle takes away again was there in its middle.
//! Repetitions are not stepped through. Inside one stretch all sums are straight in time; from repetition to repetition what
//! is alike in all of them grows in a straight line, so that its size is convex and largest at an end.
//!
//! ```text
//! Places     the first repetitions, every power of two after them, the last; of each stretch its ends and three between;
//!            for the worst case the best of these is refined, because √t bends between them
//! First      the first repetitions one by one, then halving: what is convex and starts below a level passes it once
//! Source     common practice, no source
//! ```

use super::cone::PROBABILITY;
use super::course::{Leg, Moment};
use super::error::{Rates, Terms};
use super::input::ChargeJudgedBy;
use crate::numeric::{crossing, first_where};
use crate::work::{Halt, Work};

/// Repetitions that are looked at one by one.
const FIRST: u64 = 12;
/// Parts of a stretch.
const PARTS: u32 = 4;
/// Nothing is followed for longer, s: a hundred years.
pub const LONGEST_S: f64 = 100.0 * 31_557_600.0;

/// An error at a moment of a case.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The size as it is judged, points.
    pub size: f64,
    /// Which case.
    pub case: usize,
    /// The moment.
    pub moment: Moment,
    /// From the anchor, s.
    pub time_s: f64,
    /// What it is made of.
    pub terms: Terms,
}

/// Whether an error passes a limit, as it is judged.
fn passes(terms: &Terms, by: ChargeJudgedBy, limit: f64) -> bool {
    // No probability passes what the worst case does not.
    crate::judge::passes(terms.size(), limit) && (by == ChargeJudgedBy::WorstCase || !terms.keeps(limit))
}

/// The error of a case at a moment; its size is that of the worst case.
pub fn place(rates: &Rates<'_>, case: usize, moment: Moment) -> Place {
    let tally = rates.course.at(moment);
    let terms = rates.after(&tally);
    Place { size: terms.size(), case, moment, time_s: tally.time_s, terms }
}

/// The moments of a block that are looked at, up to a last one.
fn moments(rates: &Rates<'_>, block: u64, last: Option<Moment>) -> Vec<Moment> {
    let mut list = Vec::with_capacity(rates.course.stretches(block).len() * (PARTS as usize + 1));
    for stretch in 0..rates.course.stretches(block).len() {
        let end = match last {
            Some(last) if last.block == block && last.stretch < stretch => break,
            Some(last) if last.block == block && last.stretch == stretch => last.share,
            _ => 1.0,
        };
        list.extend((0..=PARTS).map(|part| Moment { block, stretch, share: end * f64::from(part) / f64::from(PARTS) }));
    }
    list
}

/// The blocks that are looked at, up to the last one.
fn blocks(last: u64) -> Vec<u64> {
    let mut list: Vec<u64> = (0..=last.min(FIRST)).collect();
    let powers = std::iter::successors(Some(2 * FIRST), |block| block.checked_mul(2));
    list.extend(powers.take_while(|block| *block < last));
    list.extend([last.saturating_sub(1), last]);
    list.sort_unstable();
    list.dedup();
    list
}

/// The places of which none is covered by another, largest worst case first.
fn uncovered(mut places: Vec<Place>) -> Vec<Place> {
    places.sort_by(|one, other| {
        other.terms.size().total_cmp(&one.terms.size()).then(one.time_s.total_cmp(&other.time_s))
    });
    let mut kept: Vec<Place> = Vec::new();
    for place in places {
        if !kept.iter().any(|other| other.terms.covers(&place.terms)) {
            kept.push(place);
        }
    }
    kept
}

/// The largest error up to a time, over all cases; nothing where there is no case.
///
/// # Errors
/// The work was stopped.
pub fn largest(cases: &[Rates<'_>], horizon_s: f64, by: ChargeJudgedBy, work: Work) -> Result<Option<Place>, Halt> {
    // Of a long course there are many places: what another one covers is not kept.
    let mut kept: Vec<Place> = Vec::new();
    for (case, rates) in cases.iter().enumerate() {
        let last = rates.course.moment(horizon_s);
        for block in blocks(last.block) {
            work.go_on()?;
            let all = moments(rates, block, Some(last)).into_iter().map(|moment| place(rates, case, moment));
            kept = match by {
                ChargeJudgedBy::WorstCase => {
                    let larger = |one: Place, other: Place| if other.size > one.size { other } else { one };
                    kept.into_iter().chain(all).reduce(larger).into_iter().collect()
                }
                ChargeJudgedBy::Probability95 => uncovered(kept.into_iter().chain(all).collect()),
            };
        }
    }
    match by {
        ChargeJudgedBy::WorstCase => Ok(kept.pop().map(|best| refined(&cases[best.case], best))),
        ChargeJudgedBy::Probability95 => likely(kept, work),
    }
}

/// The place of which what is kept with 95 % is largest, as its size.
///
/// # Errors
/// The work was stopped.
pub fn likely(places: Vec<Place>, work: Work) -> Result<Option<Place>, Halt> {
    let mut best: Option<Place> = None;
    for mut one in uncovered(places) {
        work.go_on()?;
        if best.is_some_and(|best| best.size >= one.terms.size()) {
            break;
        }
        one.size = one.terms.coverage();
        if best.is_none_or(|best| one.size > best.size) {
            best = Some(one);
        }
    }
    Ok(best)
}

/// The worst case of a place inside a stretch, where it is largest there.
fn refined(rates: &Rates<'_>, best: Place) -> Place {
    let share = best.moment.share;
    if share <= 0.0 || share >= 1.0 {
        return best;
    }
    let step = 1.0 / f64::from(PARTS);
    let (mut low, mut high) = ((share - step).max(0.0), share);
    let at = |share: f64| place(rates, best.case, Moment { share, ..best.moment });
    // A cut stretch ends where it is cut: nothing beyond the place itself is looked at.
    for _ in 0..32 {
        let third = (high - low) / 3.0;
        if at(low + third).size < at(high - third).size {
            low += third;
        } else {
            high -= third;
        }
    }
    let found = at(f64::midpoint(low, high));
    if found.size > best.size { found } else { best }
}

/// The first moment at which a limit is passed, over all cases; nothing within a hundred years.
///
/// # Errors
/// The work was stopped.
pub fn first(cases: &[Rates<'_>], limit: f64, by: ChargeJudgedBy, work: Work) -> Result<Option<Place>, Halt> {
    let mut earliest: Option<Place> = None;
    for (case, rates) in cases.iter().enumerate() {
        work.go_on()?;
        let end_s = earliest.map_or(LONGEST_S, |place: Place| place.time_s);
        if let Some(found) = first_of(rates, case, limit, by, end_s)
            && earliest.is_none_or(|place| found.time_s < place.time_s)
        {
            earliest = Some(found);
        }
    }
    Ok(earliest)
}

/// Whether an error stays within a limit up to a time, with what else may add to it by then.
///
/// # Errors
/// The work was stopped.
pub fn keeps_until(
    cases: &[Rates<'_>],
    until_s: f64,
    more: f64,
    limit: f64,
    by: ChargeJudgedBy,
    work: Work,
) -> Result<bool, Halt> {
    Ok(largest(cases, until_s, by, work)?.is_none_or(|place| !crate::judge::passes(place.size + more, limit)))
}

/// The moment of a block that passes first, and the one before it.
fn within_block(rates: &Rates<'_>, block: u64, limit: f64, by: ChargeJudgedBy) -> Option<[Moment; 2]> {
    let list = moments(rates, block, None);
    let found = list.iter().position(|moment| passes(&rates.at(*moment), by, limit))?;
    Some([list[found.saturating_sub(1)], list[found]])
}

/// Whether any moment of a block passes: those that another one covers are not asked.
fn passes_in(rates: &Rates<'_>, case: usize, block: u64, limit: f64, by: ChargeJudgedBy) -> bool {
    let places = moments(rates, block, None).into_iter().map(|moment| place(rates, case, moment)).collect();
    uncovered(places).iter().any(|place| passes(&place.terms, by, limit))
}

fn first_of(rates: &Rates<'_>, case: usize, limit: f64, by: ChargeJudgedBy, end_s: f64) -> Option<Place> {
    let last = rates.course.moment(end_s).block;
    let one_by_one = (0..=last.min(FIRST)).find(|block| passes_in(rates, case, *block, limit, by));
    let block = match one_by_one {
        Some(block) => block,
        None if last <= FIRST => return None,
        None => {
            let (mut low, mut high) = (FIRST, FIRST * 2);
            while !passes_in(rates, case, high, limit, by) {
                if high >= last {
                    return None;
                }
                (low, high) = (high, (high * 2).min(last));
            }
            while high - low > 1 {
                let middle = low + (high - low) / 2;
                if passes_in(rates, case, middle, limit, by) { high = middle } else { low = middle }
            }
            high
        }
    };
    let [before, after] = within_block(rates, block, limit, by)?;
    let low = if before.stretch == after.stretch { before.share } else { 0.0 };
    let at = |share: f64| rates.at(Moment { share, ..after });
    let share = match by {
        ChargeJudgedBy::WorstCase => first_where(low, after.share, |share| passes(&at(share), by, limit)),
        // Rises with the part that lies outside; below 0 as long as the worst case lies inside.
        ChargeJudgedBy::Probability95 => crossing(low, after.share, |share| PROBABILITY - at(share).within(limit)),
    };
    Some(place(rates, case, Moment { share, ..after }))
}

/// The largest offset with which an error stays within a limit up to a time; nothing where none does.
///
/// The place that was worst is solved for; with the offset put back everything is looked at again, and another place that
/// is worse then is solved for in its turn.
///
/// # Errors
/// The work was stopped.
pub fn allowed_offset(
    cases: &[Rates<'_>],
    horizon_s: f64,
    limit: f64,
    by: ChargeJudgedBy,
    work: Work,
) -> Result<Option<f64>, Halt> {
    /// Places that are solved for at most.
    const ROUNDS: u32 = 6;
    let with = |offset: f64| cases.iter().map(|one| one.clone().with_offset(offset)).collect::<Vec<_>>();
    let mut allowed = f64::INFINITY;
    let mut trial = 0.0;
    for _ in 0..ROUNDS {
        let trying = with(trial);
        let Some(worst) = largest(&trying, horizon_s, by, work)? else { return Ok(None) };
        let holds = !crate::judge::passes(worst.size, limit);
        if trial > 0.0 && holds {
            return Ok(Some(trial));
        }
        if trial == 0.0 && !holds {
            return Ok(None);
        }
        // The moment at which the offset has had most time and the limit is passed first.
        let far = if trial == 0.0 { largest(&with(1e3), horizon_s, by, work)? } else { Some(worst) };
        let Some(far) = far else { return Ok(None) };
        let at = |offset: f64| passes(&cases[far.case].clone().with_offset(offset).at(far.moment), by, limit);
        let (mut low, mut high) = (0.0, allowed.min(1e5));
        if !at(high) {
            return Ok(if trial == 0.0 { None } else { Some(trial) });
        }
        for _ in 0..40 {
            let middle = f64::midpoint(low, high);
            if at(middle) { high = middle } else { low = middle }
        }
        allowed = low;
        trial = rounded_down(low);
        if trial <= 0.0 {
            return Ok(None);
        }
    }
    Ok(None)
}

/// Three significant digits, never more than the value.
fn rounded_down(value: f64) -> f64 {
    if !(value > 0.0) {
        return 0.0;
    }
    let step = libm::pow(10.0, libm::log10(value).floor() - 2.0);
    let digits = (value / step + 1e-9).floor();
    // Read back from text, so that it is the double of what is printed.
    format!("{:.0}e{:.0}", digits, libm::log10(step).round()).parse().unwrap_or(0.0)
}

/// The name of a leg.
pub const fn leg_words(leg: Option<Leg>) -> &'static str {
    match leg {
        Some(Leg::Discharge) => "while discharging",
        Some(Leg::Charge) => "while charging",
        Some(Leg::Rest) => "at rest",
        Some(Leg::Asleep) => "asleep",
        None => "at the beginning",
    }
}
