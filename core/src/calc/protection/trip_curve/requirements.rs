//! What is required of a trip curve, and what an engineer must know about it.

use super::{TripCurveInput, TripLimit, TripSolved, limits, pickup};
use crate::judge::{Judged, Ledger, Outcome, Words, passes};
use crate::quantity::{Unit, ampere, ampere_squared_second, in_sentence, percent, second};

pub(super) fn requirements(input: &TripCurveInput, solved: &TripSolved, to: &mut Ledger) {
    let (load, trip) = (&solved.load, input.trip_a2s);
    let trips = load.trips_after_s.is_some();
    let peak = if trips { load.peak_a2s.max(trip) } else { load.peak_a2s };
    let profile = Judged::at_most("protection.load-profile", "/trip_a2s", Unit::AmpereSquaredSecond, peak, trip);
    to.require(profile.fails_where(trips), |_| {
        let gains = load.net_a2s > 0.0 && input.repeats;
        let (sum, trip) = (ampere_squared_second(load.peak_a2s), ampere_squared_second(trip));
        let (note, how) = if gains {
            let net = ampere_squared_second(load.net_a2s);
            ("reading high; every round adds up more".into(), format!("Every round adds up {net}."))
        } else {
            let note = format!("reading high, largest sum in step {}", load.step);
            (note, format!("Its largest sum is {sum}, it trips at {trip}."))
        };
        let (error, after) = (percent(input.error_percent), second(load.trips_after_s.unwrap_or_default()));
        let failure = format!("With the reading {error} high the load profile trips after {after}. {how}");
        Words::new("The load profile passes", note, failure)
    });
    let (pickup_low, pickup_high) = pickup(input);
    let beyond = input.reads_to_a.is_some_and(|end| passes(pickup_high, end));
    let mut range = Judged::never("protection.curve-range", "/pickup_a", beyond);
    if input.reads_to_a.is_none() {
        range.outcome = Outcome::NotJudged("/reads_to_a");
    }
    to.require(range, |_| {
        let (pickup, end) = (ampere(pickup_high), ampere(input.reads_to_a.unwrap_or_default()));
        let failure = format!(
            "With the reading low it adds up from {pickup} on, its channel reads up to {end}: it may never trip."
        );
        Words::new("Pick-up inside the range of its channel", "reading low", failure).reaching(
            pickup_high,
            input.reads_to_a,
            Unit::Ampere,
        )
    });
    for (id, label, _) in limits(input) {
        let own = solved.limits.iter().filter(|point| point.id == id).map(|point| (point.judged(), point));
        let Some((worst, point)) = own.reduce(worse_point) else { continue };
        // What is beyond the range of its channel nobody knows: it adds up no more than that end.
        let unread = input.reads_to_a.is_none() && !worst.fails();
        to.require(worst.without(unread.then_some("/reads_to_a")), |_| {
            let (name, current) = (in_sentence(label), ampere(point.current_a));
            let takes = format!("The {name} takes {current} for {}", second(point.limit_s));
            let (note, failure) = match point.latest_s {
                Some(latest) => (
                    format!("latest, at {current}"),
                    format!("{takes}; with the reading low it is off after {}.", second(latest)),
                ),
                None => (
                    format!("may never trip at {current}"),
                    format!("{takes}, but with the reading low nothing up to {} ever trips.", ampere(pickup_high)),
                ),
            };
            Words::new(format!("{label}: off before its limit"), note, failure)
        });
    }
    to.note("protection.never-trips-below", "/pickup_a", true, || {
        let (low, high) = (ampere(pickup_low).to_string(), ampere(pickup_high).to_string());
        // Without an error there is nothing between.
        let between = if low == high { String::new() } else { format!(", between that and {high} it may") };
        format!("Below {low} it never trips{between}. What heats there for long needs another limit.")
    });
}

/// The point of which more is used; of equals the first.
fn worse_point<'a>(one: (Judged, &'a TripLimit), other: (Judged, &'a TripLimit)) -> (Judged, &'a TripLimit) {
    if one.0.worse(other.0) == one.0 { one } else { other }
}
