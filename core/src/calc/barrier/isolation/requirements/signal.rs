//! Injection, data, the isolated supply.

use super::super::input::{IsolationInput, LostReading};
use super::super::output::IsolationOutput;
use super::{blocked_where, most};
use crate::judge::{Judged, Ledger, Outcome, Words};
use crate::quantity::{Unit, ampere, celsius, in_sentence, percent, second, volt, watt};

pub(super) fn requirements(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    injection(input, result, to);
    data(input, result, to);
    supply(input, result, to);
}

/// What a limit is set by, as a number that a sentence can hold.
fn of(value: Option<f64>) -> f64 {
    value.unwrap_or(0.0)
}

fn injection(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let (given, Some(one)) = (&input.common_mode, &result.injection) else { return };
    let (id, at) = ("isolation.common-mode.current", "/common_mode/current_allowed_a");
    to.require(most(id, at, Unit::Ampere, one.current_a, given.current_allowed_a, one.current_needs), |row| {
        let failure = format!(
            "An edge drives {} through the barrier, {} are allowed.",
            ampere(of(row.achieved)),
            ampere(of(row.required))
        );
        Words::new("Current through the barrier", "all capacitances, while the edge lasts", failure)
    });
    let (id, at) = ("isolation.common-mode.voltage", "/common_mode/mean_allowed_v");
    to.require(most(id, at, Unit::Volt, one.mean_v, given.mean_allowed_v, one.mean_needs), |row| {
        let failure = format!(
            "The edges leave {} in the mean at the channel's input, {} are allowed.",
            volt(of(row.achieved)),
            volt(of(row.required))
        );
        let left = percent(100.0 - given.cancellation_percent);
        Words::new("Mean of the injection at the channel's input", format!("{left} of all edges count"), failure)
    });
    let (id, at) = ("isolation.common-mode.comparator", "/common_mode/peak_allowed_v");
    to.require(most(id, at, Unit::Volt, one.peak_v, given.peak_allowed_v, one.peak_needs), |row| {
        let failure = format!(
            "An edge reaches {} at a comparator without a filter, {} are allowed.",
            volt(of(row.achieved)),
            volt(of(row.required))
        );
        Words::new("Peak of the injection at a comparator", "without a filter", failure)
    });
}

fn data(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let (given, Some(one)) = (&input.data, &result.data) else { return };
    let (id, at) = ("isolation.data.utilisation", "/data/utilisation_limit_percent");
    let limit = Some(given.utilisation_limit_percent);
    to.require(most(id, at, Unit::Percent, one.utilisation_percent, limit, one.utilisation_needs), |row| {
        let failure = format!("The frames use {} of the link.", percent(of(row.achieved)));
        Words::new("Utilisation of the link", format!("with {} overhead", percent(given.overhead_percent)), failure)
    });
    let (id, at) = ("isolation.data.timing", "/data/clock_hz");
    to.require(most(id, at, Unit::Second, one.bit_s, one.period_s, one.timing_needs), |row| {
        let failure =
            format!("A bit needs {}, the clock leaves {}.", second(of(row.achieved)), second(of(row.required)));
        let note = if given.clock_returned {
            "clock returned with the data: skew, data valid, set-up"
        } else {
            "delay there and back, skew, data valid, set-up"
        };
        Words::new("Time of a bit", note, failure)
    });
    let (id, at) = ("isolation.data.latency", "/data/latency_allowed_s");
    to.require(most(id, at, Unit::Second, one.latency_s, given.latency_allowed_s, one.latency_needs), |row| {
        let allowed = second(of(row.required));
        let failure = match row.achieved.map(second) {
            Some(time) => format!("From a reading to the controller it takes {time}, {allowed} are allowed."),
            None => format!("More frames come than the link sends: they wait without end, {allowed} are allowed."),
        };
        Words::new("Latency of the link", format!("{} lost in a row", given.lost_frames), failure)
    });
}

fn supply(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let (given, Some(one)) = (&input.supply, &result.supply) else { return };
    let hottest = || given.ambient_degc.map_or_else(String::new, |hot| format!("ambient {}", celsius(hot)));
    let limit = one.allowed_w;
    let (id, at) = ("isolation.supply.power", "/supply/rated_w");
    to.require(most(id, at, Unit::Watt, one.output_w, limit, one.allowed_needs), |row| {
        let failure = format!(
            "The loads take {}, the isolated supply may give {} there.",
            watt(of(row.achieved)),
            watt(of(row.required))
        );
        Words::new("Power of the isolated supply", hottest(), failure)
    });
    let (id, at) = ("isolation.supply.junction", "/supply/junction_limit_degc");
    let limit = Some(given.junction_limit_degc);
    let judged = most(id, at, Unit::Celsius, one.junction_degc, limit, one.junction_needs);
    let above = one.above_points && one.junction_needs.is_none();
    to.require(blocked_where(judged, above), |row| {
        let failure = if row.outcome == Outcome::Blocked {
            format!("the loads take {}, above the highest point of the efficiency", watt(of(one.output_w)))
        } else {
            format!("The isolated supply reaches {} inside.", celsius(of(row.achieved)))
        };
        let lighter = one.most_lost_w > one.loss_w;
        let note = if lighter { format!("{}; most is lost at a lighter load", hottest()) } else { hottest() };
        Words::new("Junction temperature of the isolated supply", note, failure)
    });
    start(input, result, to);
    let (id, at) = ("isolation.supply.offset", "/supply/offset_allowed_v");
    to.require(most(id, at, Unit::Volt, one.offset_v, given.offset_allowed_v, one.offset_needs), |row| {
        let failure = format!(
            "Ripple and regulation of the isolated supply leave {} at the channel's input, {} are allowed.",
            volt(of(row.achieved)),
            volt(of(row.required))
        );
        Words::new("Offset by the isolated supply", "ripple as it may alias, and regulation", failure)
    });
    let lost = in_sentence(given.reading_when_lost.label());
    to.require(Judged::never("isolation.supply.lost", "/supply/reading_when_lost", one.lost_unseen), |_| {
        let failure = match given.reading_when_lost {
            LostReading::Unknown => {
                "What the controller reads when the isolated supply is lost is not known, and nothing else sees it."
                    .into()
            }
            _ => format!("When the isolated supply is lost the controller reads {lost}, and nothing else sees it."),
        };
        Words::new("A lost supply is seen", format!("the controller reads: {lost}"), failure)
    });
}

fn start(input: &IsolationInput, result: &IsolationOutput, to: &mut Ledger) {
    let (given, Some(one)) = (&input.supply, &result.supply) else { return };
    let (id, at) = ("isolation.supply.start", "/supply/start_allowed_s");
    let judged = if one.never_starts {
        Judged::at_most(id, at, Unit::Second, None, given.start_allowed_s.unwrap_or(0.0))
    } else {
        most(id, at, Unit::Second, one.start_s, given.start_allowed_s, one.start_needs)
    };
    to.require(judged, |row| {
        let (start, limit) = (ampere(of(one.start_a)), ampere(of(given.current_limit_a)));
        let failure = match row.achieved {
            Some(time) => format!("The isolated supply takes {} to start.", second(time)),
            None => format!(
                "The loads take {start} at the start or after it, the supply gives {limit}: it never gets there."
            ),
        };
        Words::new("Start of the isolated supply", format!("loads times {}", given.start_factor.max(1.0)), failure)
    });
}
