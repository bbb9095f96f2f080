//! # What is required of a channel, and what is said about it
//!
//! The error over the range as one requirement, with its words; and two remarks that no verdict shows: calibrating points
//! from which a part of the range lies far, and a noise that is left out although it is not small.
//!
//! ```text
//! Formula    a reading takes w1 and w2 of the two stored readings, w1 + w2 = 1: between the points |w1| + |w2| = 1, outside
//!            1 + 2 d/s: everything that is new in a stored reading counts that many times
//! Symbols    d distance from the nearer point, s span of the points
//! Noise      three standard deviations of the reading against a third of the smallest allowance of the range
//! Source     the straight line through two readings; the two bounds are common practice, no source
//! ```

use super::JudgedBy;
use super::chain::{Calibration, Chain};
use super::corners::{Corners, JUDGED, Point, Points, Unread, assess};
use super::largest_words;
use super::search::Search;
use crate::judge::{Judged, Ledger, Words};
use crate::quantity::{Unit, in_sentence, one, say};
use crate::work::Work;

/// From this sum of both weights on the points lie far: a quarter of the span outside.
const FAR: f64 = 1.5;

/// Every part must read the calibrating points.
fn points<C: Corners>(channel: &C, with: Points, to: &mut Ledger) {
    if !with.any {
        return;
    }
    let place = with.not_read.map_or(0, |(place, ..)| place);
    let read = Judged::never(C::POINT, C::POINTS[place], with.not_read.is_some());
    to.require(read.without(channel.range_missing()), |_| {
        let failure = with.not_read.map_or_else(String::new, |(_, x, full)| {
            format!("The calibrating point of {} cannot be read: {}.", say(x, C::UNIT), full_words::<C>(x, full))
        });
        Words::new("Every part reads the calibrating points", "new, at the bench and in use", failure)
    });
}

/// The requirement on the error over the range: what is not read of it, the value from where on, stands beside the worst.
pub fn require<C: Corners>(
    channel: &C,
    worst: Option<&Point<C::State>>,
    not_read: Option<(f64, f64)>,
    with: Points,
    to: &mut Ledger,
) {
    points(channel, with, to);
    // What is stored wrong makes every reading wrong.
    let not_read = with.not_read.map(|(_, x, full)| (x, full)).or(not_read);
    let worst = worst.filter(|_| with.not_read.is_none());
    if let Some(point) = worst {
        let one = point.requirement::<C>(point.allowed);
        let one = if not_read.is_some() && !one.fails() { one.blocked() } else { one.without(channel.missing()) };
        to.require(one, |one| words(channel, point, one.fails(), not_read));
    } else if let Some((x, full)) = not_read {
        let one = Judged::at_most(C::ERROR, "/requirement/gain_percent", C::UNIT, None, channel.allowed(x)).blocked();
        to.require(one, |_| Words::new("Reading error", "nothing of the range can be read", full_words::<C>(x, full)));
    }
    let statistical = channel.judged_by() != JudgedBy::WorstCase;
    to.note(C::STATISTICAL, "/requirement/judged_by", statistical, || {
        "A statistical total is used. For a protective limit many projects require worst case; confirm with the person responsible for safety.".into()
    });
    if to.is_read() {
        points_far(channel, to);
        noise_left_out(channel, to);
    }
}

/// The places of the range that the requirement counts, rising.
fn required<C: Corners>(channel: &C) -> Vec<f64> {
    channel.places().into_iter().filter(|x| channel.allowed(*x).is_some()).collect()
}

/// Where a reading takes more of the stored readings than there is of them.
fn points_far<C: Corners>(channel: &C, to: &mut Ledger) {
    let search = Search::new(channel, true, true, usize::MAX);
    let Some(calibration) = search.states().next().map(|state| search.calibration(state)) else { return };
    let Calibration::Two([first, second]) = calibration else { return };
    let range = required(channel);
    let [Some(&low), Some(&high)] = [range.first(), range.last()] else { return };
    let taken = |x: f64| calibration.weights(x).map(f64::abs).iter().sum::<f64>();
    let at = if taken(low) > taken(high) { low } else { high };
    let place = usize::from((at - second.x).abs() < (at - first.x).abs());
    to.warn(C::POINTS_FAR, C::POINTS[place], taken(at) > FAR, || {
        let [first, second, low, high, at_said] = [first.x, second.x, low, high, at].map(|x| say(x, C::UNIT));
        format!(
            "At {at_said} what is wrong with the stored readings at {first} and {second} counts {} times: points at {low} and {high}, the ends of the range, make it once.",
            one((taken(at) * 100.0).round() / 100.0)
        )
    });
}

/// A noise that no requirement counts.
fn noise_left_out<C: Corners>(channel: &C, to: &mut Ledger) {
    let three = 3.0 * channel.noise_left_out();
    let allowed = |x: f64| channel.allowed(x).filter(|allowed| *allowed > 0.0).map(|allowed| (x, allowed));
    let Some((at, least)) = channel.places().into_iter().filter_map(allowed).min_by(|a, b| a.1.total_cmp(&b.1)) else {
        return;
    };
    to.warn(C::NOISE, "/requirement/noise", three > least / 3.0, || {
        format!(
            "Noise of the reading is no part of the error that is judged: three standard deviations of the averaged reading are {}, of ±{} allowed at {}.",
            say(three, C::UNIT),
            say(least, C::UNIT),
            say(at, C::UNIT)
        )
    });
}

/// Why nothing is said beyond the range.
fn full_words<C: Chain>(x: f64, full: f64) -> String {
    let end = say(full, C::UNIT);
    if x.abs() < full.abs() || x * full <= 0.0 {
        return format!("some part reads nothing below {end}");
    }
    format!("full from {end}")
}

fn words<C: Corners>(channel: &C, point: &Point<C::State>, fails: bool, not_read: Option<(f64, f64)>) -> Words {
    let said = |value: f64| say(value, C::UNIT);
    let at = said(point.at);
    let label = "Reading error";
    let (judged, found) = match (point.judged, point.found) {
        (Ok(judged), Some(found)) => (judged, found),
        (Err(Unread::NoState(degc, why)), _) => {
            let ambient = say(degc, Unit::Celsius);
            let failure = format!("At an ambient of {ambient} there is {}: no error can be given.", why.0);
            return Words::new("Reading error", why.0, failure);
        }
        (Err(Unread::Full(full)), _) => {
            return Words::new(label, "beyond what the chain can read", full_words::<C>(point.at, full));
        }
        _ => {
            let failure = "The limits are so wide that the reading is not defined; no error is given.";
            return Words::new(label, "the model is not finite here", failure);
        }
    };
    let by = channel.judged_by().label();
    let state = channel.told(found.ambient_degc, &found.state);
    let note = format!("{by}, {}; largest at {at}, {state}", channel.life(JUDGED));
    // Without trials it is over at once.
    let search = Search::new(channel, true, true, usize::MAX);
    let told = assess(&search, point.at, found.state, false, Work::FREE).ok().flatten();
    let failure = match not_read {
        Some((x, full)) if !fails => full_words::<C>(x, full),
        _ => format!(
            "At {at} the error is ±{} by {}; ±{} is allowed.",
            said(judged),
            in_sentence(by),
            said(point.allowed.unwrap_or(0.0)),
        ),
    };
    Words::new(label, note, failure)
        .because(told.as_ref().and_then(|done| largest_words(done, C::UNIT)), None)
        .lacking(channel.all_missing())
}
