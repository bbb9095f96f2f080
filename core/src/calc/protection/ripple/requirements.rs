//! What is required under ripple, and what the engineer must know about it.

use super::solve::{RippleSolved, comparator, mean_for, side};
use super::{RippleInput, RippleSampling};
use crate::judge::{Judged, Ledger, Limit, Words};
use crate::quantity::{Quantity, Unit, ampere, hertz, second};
use crate::report::{Finding, Severity};

/// A beat below this share of the output rate is slow: an integrator takes it for charge. Common practice, no source.
const SLOW: f64 = 0.1;

/// A beat below this share of the mean or of the ripple is nothing to speak of. Common practice, no source.
const VISIBLE: f64 = 1e-6;

/// A gain of the averaging below this is a null. Common practice, no source.
const NULL: f64 = 1e-9;

pub(super) fn requirements(input: &RippleInput, solved: &RippleSolved, to: &mut Ledger) {
    trips(input, solved, to);
    range(input, solved, to);
    if let Some(allowed) = input.converter.allowed_error_a {
        let field = "/converter/allowed_error_a";
        let one = |id, value, limit| Judged::at_most(id, field, Unit::Ampere, value, limit);
        let shift = solved.converter.shift_a.abs();
        to.require(one("ripple.shift", Some(shift), Limit::Given(allowed)), |_| {
            let failure = format!("Clipping shifts the mean by {}; {} are allowed.", ampere(shift), ampere(allowed));
            Words::new("Shift of the mean", "by clipping", failure)
        });
        let sampling = solved.sampling.as_ref();
        let limit = sampling.map_or(Limit::Missing("/samples/rate_hz"), |_| Limit::Given(allowed));
        to.require(one("ripple.beat", sampling.map(|sampling| sampling.beat_bound_a), limit), |_| {
            let failure = sampling.map(|sampling| {
                let [low, high, beat, allowed] =
                    [sampling.low_a, sampling.high_a, sampling.beat_bound_a, allowed].map(ampere);
                format!("A mean of samples is off by {low} to {high}, up to {beat}; {allowed} are allowed.")
            });
            let note = "largest error of a mean of samples, over every phase";
            Words::new("Beat of the sampling", note, failure.unwrap_or_default())
        });
    }
    if let Some(sampling) = &solved.sampling {
        beat(sampling, to);
    }
    plausible(input, solved, to);
    let (mean, ripple) = (ampere(input.mean_a), ampere(input.peak_to_peak_a));
    to.note("ripple.reverses", "/peak_to_peak_a", ripple.value > 2.0 * mean.value.abs(), || {
        format!(
            "With {ripple} of ripple on {mean} the current changes its direction in every period. Is the ripple peak to peak, and meant so?"
        )
    });
    to.note("ripple.no-inductance", "/shunt/inductance_henry", solved.ripple.corner_hz().is_none(), || {
        "The shunt is taken without inductance. Some nanohenry are there in any current path of a centimetre (from memory).".into()
    });
}

/// Numbers that no built system has: mostly a prefix that slipped. Ranges are common practice, no source.
fn plausible(input: &RippleInput, solved: &RippleSolved, to: &mut Ledger) {
    let (mean, ripple, f) = (input.mean_a.abs(), input.peak_to_peak_a, input.frequency_hz);
    let most = mean + 0.5 * ripple;
    to.note("ripple.implausible-ripple", "/peak_to_peak_a", ripple > 0.0 && ripple < 3e-4 * mean, || {
        format!("{} of ripple on {} is next to nothing. Is a prefix wrong?", ampere(ripple), ampere(mean))
    });
    to.warn("ripple.implausible-frequency", "/frequency_hz", !(40.0..=1e6).contains(&f), || {
        format!("A ripple of {} is unusual. Is a prefix wrong?", hertz(f))
    });
    let tau = solved.ripple.shunt_s;
    to.warn(
        "ripple.implausible-inductance",
        "/shunt/inductance_henry",
        tau > 0.0 && !(1e-6..=5e-3).contains(&tau),
        || format!("Shunt and inductance make a time constant of {}. Is a prefix wrong?", second(tau)),
    );
    let range = input.range_a().1;
    to.warn("ripple.implausible-range", "/converter/full_scale_v", range > 50.0 * most, || {
        format!("The converter reads to {}, {} flow at most. Is a prefix wrong?", ampere(range), ampere(most))
    });
    for (row, trip) in input.trips.iter().enumerate() {
        let far = trip.threshold_a.abs() > 50.0 * most;
        to.warn("ripple.implausible-threshold", &format!("/trips/{row}/threshold_a"), far, || {
            format!(
                "{} trips at {}, {} flow at most. Is a prefix wrong?",
                trip.name,
                ampere(trip.threshold_a),
                ampere(most)
            )
        });
    }
    for (row, trip) in input.trips.iter().enumerate() {
        let error = trip.tolerance_a;
        let tiny = error > 0.0 && error < 1e-4 * trip.threshold_a.abs();
        to.warn("ripple.implausible-tolerance", &format!("/trips/{row}/tolerance_a"), tiny, || {
            format!("{} is exact to {}. Is a prefix wrong?", trip.name, ampere(error))
        });
    }
    let trips = input.trips.iter().enumerate().map(|(row, trip)| (format!("/trips/{row}/filter_s"), trip.filter_s));
    for (at, filter_s) in trips.chain([("/converter/filter_s".to_owned(), input.converter.filter_s)]) {
        let strange = filter_s > 0.0 && !(1e-8..=1.0).contains(&filter_s) || filter_s * f > 5.0;
        to.warn("ripple.implausible-filter", &at, strange, || {
            format!("A filter of {} is unusual for a ripple of {}. Is a prefix wrong?", second(filter_s), hertz(f))
        });
    }
    if let Some(allowed) = input.converter.allowed_error_a {
        to.warn(
            "ripple.implausible-allowance",
            "/converter/allowed_error_a",
            !(1e-5 * most..=0.5 * most).contains(&allowed),
            || format!("{} are allowed where {} flow. Is a prefix wrong?", ampere(allowed), ampere(most)),
        );
    }
    if let Some(rate) = input.samples.rate_hz {
        to.warn(
            "ripple.implausible-rate",
            "/samples/rate_hz",
            !(10.0..=2e7).contains(&rate) || rate < 0.02 * f,
            || format!("{} is an unusual rate of samples. Is a prefix wrong?", hertz(rate)),
        );
    }
}

fn trips(input: &RippleInput, solved: &RippleSolved, to: &mut Ledger) {
    for (row, (trip, peak_a)) in input.trips.iter().zip(&solved.peaks_a).enumerate() {
        let (threshold, sign) = (trip.threshold_a, side(trip.threshold_a));
        // A peak on the other side of zero takes nothing of the threshold.
        let reached = (peak_a * sign).max(0.0);
        let none = trip.may_trip_at_none();
        let one = Judged::at_most("ripple.trip", "/trips/{}", Unit::Ampere, reached, trip.earliest_a());
        let one = one.fails_where(none).without(input.mean_for(threshold).err()).row(row);
        let mean = mean_for(input, threshold);
        to.require(one, |_| {
            let how = if none {
                "its tolerance is larger than the threshold: it may trip without a current.".into()
            } else if mean * sign >= trip.earliest_a() {
                "the mean current itself reaches it.".into()
            } else {
                let cure = comparator(input, trip, *peak_a).needed_filter_s.map(|filter| {
                    let filter = second(filter);
                    format!(" A filter of {filter} keeps it below; that delay then counts in the reaction to a short.")
                });
                format!(
                    "mean, ripple and spike reach {} behind its filter: it trips at this load without a fault.{}",
                    ampere(*peak_a),
                    cure.unwrap_or_default()
                )
            };
            let error =
                if trip.tolerance_a > 0.0 { format!(" ± {}", ampere(trip.tolerance_a)) } else { String::new() };
            let failure = format!("{}, threshold {}{error}: {how}", trip.name, ampere(threshold));
            let note = format!("peak behind its filter, mean {}", ampere(mean));
            Words::new(format!("No trip by ripple: {}", trip.name), note, failure)
        });
    }
}

fn range(input: &RippleInput, solved: &RippleSolved, to: &mut Ledger) {
    let converter = &solved.converter;
    let field = "/converter/full_scale_v";
    let (mean, low, high) = (ampere(input.mean_a), ampere(converter.range_low_a), ampere(converter.range_high_a));
    let end = if mean.value < 0.0 { low.value.abs() } else { high.value };
    let one = Judged::at_most("ripple.mean-over-range", field, Unit::Ampere, mean.value.abs(), end);
    to.require(one, |_| {
        let failure = format!("The mean of {mean} lies outside the converter's range of {low} to {high}.");
        Words::new("Mean inside the converter's range", format!("reads {low} to {high}"), failure)
    });
    if converter.clips && !one.fails() {
        to.remark(|| {
            let message = format!(
                "The signal runs from {} to {}, the converter reads {low} to {high}: clipping moves the mean by {}, {} if it stays.",
                ampere(converter.lowest_a),
                ampere(converter.highest_a),
                ampere(converter.shift_a),
                Quantity::new(converter.shift_ah_per_day, Unit::AmpereHourPerDay)
            );
            let largest = converter.highest_a.max(-converter.lowest_a);
            Finding::new(Severity::Warn, "ripple.clips", message).at(field).against(largest, high.value)
        });
    }
}

fn beat(sampling: &RippleSampling, to: &mut Ledger) {
    let first = sampling.harmonics.first().map_or(0.0, |first| first.sensed_a);
    let slow = sampling
        .harmonics
        .iter()
        .filter(|beat| beat.beat_hz < SLOW * sampling.output_hz && beat.beat_a > VISIBLE * first)
        .max_by(|a, b| a.beat_a.total_cmp(&b.beat_a));
    if let Some(beat) = slow {
        let still = beat.beat_hz == 0.0;
        let code = if still { "ripple.alias-at-zero" } else { "ripple.slow-beat" };
        to.warn(code, "/samples/rate_hz", true, || {
            let (frequency, size) = (hertz(beat.frequency_hz), ampere(beat.beat_a));
            let how = if still {
                "it reads as direct current of up to that size, by the phase".into()
            } else {
                format!("it beats at {}", hertz(beat.beat_hz))
            };
            format!(
                "{frequency} of ripple folds down with an amplitude of {size}: {how}. Charge counting takes it for current."
            )
        });
    }
    to.note("ripple.on-a-null", "/frequency_hz", sampling.gain < NULL, || {
        "The ripple lies on a null of the averaging. The null is narrow: try the tolerance of the ripple frequency."
            .into()
    });
}
