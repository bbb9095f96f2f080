//! What a temperature channel requires and what an engineer must know about it.

use crate::channel::{JudgedBy, largest_words};
use crate::field;
use crate::judge::{Judged, Ledger, Words};
use crate::quantity::{Unit, celsius, in_sentence, kelvin, ohm, one};
use crate::work::Work;

use super::curve::Curve;
use super::input::{Counting, CurveKind, ReadOutKind, ThermistorInput};
use super::judged::Unread;
use super::output::{SlowFault, ThermistorRow, WireFaults};
use super::solve::Solved;

/// From this error on a source is worth a sentence, K.
const NOTABLE_K: f64 = 0.1;
/// Fewer counts than this are a coarse scale.
const FEW_COUNTS: f64 = 500.0;

pub(super) fn requirements(input: &ThermistorInput, solved: &Solved, to: &mut Ledger) {
    error(input, solved, to);
    range(input, solved, to);
    if let Some(open) = solved.wire.open_code {
        open_wire(input, &solved.curve, &solved.wire, open, to);
    }
    let runs_away = solved.places.iter().find(|place| place.self_heating_k.is_none());
    let settles = Judged::never("thermistor.no-heat-balance", "/body/dissipation_w_per_k", runs_away.is_some());
    to.require(settles, |_| {
        let failure = runs_away.map_or_else(String::new, |place| {
            format!("At {} the read-out heats the sensor by more than 400 K or without end.", celsius(place.degc))
        });
        Words::new("Heat of the read-out reaches a balance", "over the range", failure)
    });
    if to.is_read() {
        statistical(input, to);
        wires(input, &solved.wire, to);
        curve(input, &solved.curve, to);
        wiring(input, solved, to);
        read_out(input, solved.rows(input), to);
        heat(input, solved, to);
        outside(input, solved, to);
        unused(input, to);
    }
}

/// Why a part of the requirement's range is not judged.
fn not_judged(input: &ThermistorInput, solved: &Solved) -> Option<String> {
    let [from, to] = input.judged_degc();
    let [known_from, known_to] = input.known_degc(&solved.curve);
    let ends = &solved.ends;
    let mut why = Vec::new();
    if ends.nothing {
        why.push("full at every temperature".to_owned());
    }
    why.extend(ends.cold_degc.filter(|end| from < *end).map(|end| format!("full below {}", celsius(end))));
    why.extend(ends.hot_degc.filter(|end| *end <= to).map(|end| format!("full from {}", celsius(end))));
    let what = if input.curve == CurveKind::Platinum { "the class is not stated" } else { "the curve is not measured" };
    if from < known_from {
        why.push(format!("{what} below {}", celsius(known_from)));
    }
    if known_to < to {
        why.push(format!("{what} above {}", celsius(known_to)));
    }
    (!why.is_empty()).then(|| why.join(", "))
}

/// The error over the whole range: what is not known of it stands beside the worst of what is.
fn error(input: &ThermistorInput, solved: &Solved, to: &mut Ledger) {
    let required = &input.requirement;
    let wanting = not_judged(input, solved);
    let Some(reading) = &solved.worst else {
        let one = Judged::at_most("thermistor.error", "/requirement/allowed_k", Unit::Kelvin, None, required.allowed_k);
        let one = if required.allowed_k.is_some() { one.blocked() } else { one };
        to.require(one, |_| Words::new("Reading error", "nothing of the range is read", wanting.unwrap_or_default()));
        return;
    };
    let one = reading.requirement(required.allowed_k);
    let blocked = wanting.is_some() && required.allowed_k.is_some() && !one.fails();
    to.require(if blocked { one.blocked() } else { one.without(input.missing()) }, |judged| {
        let at = celsius(reading.place.degc);
        let by = required.judged_by.label();
        let (label, note, failure) = match reading.judged {
            Ok(error) => {
                let against =
                    if required.with_lag_and_gradient { "against the cell" } else { "against the sensor's place" };
                let state = reading.state.told(input);
                let parts = [by, against, "end of life", &state].into_iter().filter(|part| !part.is_empty());
                let failure = format!(
                    "At {at} the error is ±{} by {}; ±{} is allowed.",
                    kelvin(error),
                    in_sentence(by),
                    kelvin(judged.required.unwrap_or(0.0))
                );
                (format!("Reading error, largest at {at}"), parts.collect::<Vec<_>>().join(", "), failure)
            }
            Err(Unread::NoBalance) => (
                "Reading error".into(),
                format!("the heat of the read-out reaches no balance at {at}"),
                format!("At {at} the read-out heats the sensor without end: no error can be given."),
            ),
            Err(Unread::Full | Unread::Undefined) => (
                "Reading error".into(),
                format!("no error can be given at {at}: a limit reaches the end of the read-out"),
                format!(
                    "At {at} the limits of the parts reach the end of the range of the read-out: no error can be given."
                ),
            ),
        };
        // Without trials it is over at once.
        let judging = solved.judging(input);
        let done = judging.assess(&reading.place, reading.state, false, Work::FREE).ok().flatten();
        let largest = done.filter(|_| reading.judged.is_ok()).and_then(|done| largest_words(&done, Unit::Kelvin));
        Words::new(label, note, if blocked { wanting.unwrap_or_default() } else { failure }).because(largest, None)
    });
}

/// A range is left or it is not: most of its codes are meant to be used.
fn range(input: &ThermistorInput, solved: &Solved, to: &mut Ledger) {
    let ends = &solved.ends;
    let nothing = ends.nothing;
    let full = nothing || ends.cold_degc.is_some() || ends.hot_degc.is_some();
    let counts = input.read_out == ReadOutKind::Oscillator;
    let at = match (counts, input.oscillator.counting) {
        (false, _) => "/converter/full_scale_v",
        (true, Counting::Gated) => "/oscillator/gate_s",
        (true, Counting::Reciprocal) => "/oscillator/periods",
    };
    to.require(Judged::never("thermistor.saturates", at, full).without(input.missing_of_range(&solved.curve)), |_| {
        let ([from, to], ends) = (input.whole_degc(), [ends.cold_degc, ends.hot_degc]);
        let (asked, reached) = if ends[0].is_some() { (from, ends[0]) } else { (to, ends[1]) };
        let [low, high] = [from, to].map(celsius);
        let codes = input.read_out().codes().map_or_else(|| "0".into(), |codes| format!("0 and {}", one(codes - 1.0).brief(9)));
        let first = match (ends[0], ends[1]) {
            _ if nothing => "at every temperature".into(),
            (Some(cold), Some(hot)) => format!("below {} and from {}", celsius(cold), celsius(hot)),
            (Some(cold), None) => format!("below {}", celsius(cold)),
            (None, Some(hot)) => format!("from {}", celsius(hot)),
            (None, None) => String::new(),
        };
        let failure = format!(
            "{low} to {high} must be read; {first} the first part is full, its code at {codes}. Temperatures cannot be told apart there."
        );
        let label = if counts { "Counts of the range" } else { "Codes of the range" };
        Words::new(label, format!("every part in every state between {codes}, {low} to {high}"), failure)
            .reaching(asked, reached.filter(|_| !nothing), Unit::Celsius)
    });
}

/// What is not judged for lack of a requirement, and noise that no requirement counts.
fn outside(input: &ThermistorInput, solved: &Solved, to: &mut Ledger) {
    let Some(allowed) = input.requirement.allowed_k else { return };
    let [from, until] = input.judged_degc();
    let part = input.min_degc < from || until < input.max_degc;
    to.note("thermistor.partly-required", "/requirement/from_degc", part, || {
        format!(
            "The requirement counts from {} to {}; of the rest of the sensor's range errors are shown and not judged.",
            celsius(from),
            celsius(until)
        )
    });
    let noise = solved.rows(input).iter().filter(|row| from <= row.degc && row.degc <= until);
    if let Some(row) = noise.max_by(|a, b| a.noise_k.total_cmp(&b.noise_k)) {
        let three = 3.0 * row.noise_k;
        to.warn("thermistor.noise-not-counted", "/converter/noise_v", three > allowed / 3.0, || {
            format!(
                "Noise is no part of the error that is judged: three standard deviations of a single reading are {} at {}.",
                kelvin(three),
                celsius(row.degc)
            )
        });
    }
}

/// An open wire in words, up to what follows from it.
fn open_words(wire: &WireFaults, open: f64) -> String {
    format!(
        "An open wire looks {}: code {} against {} ± {} of the {} sensor",
        wire.looks(),
        one(open.round()),
        one(wire.near_open_code.round()),
        one(wire.near_open_error_codes.unwrap_or(0.0).round()),
        wire.extreme()
    )
}

fn open_wire(input: &ThermistorInput, curve: &Curve, wire: &WireFaults, open: f64, to: &mut Ledger) {
    let parted = Judged::at_least("thermistor.open-looks-like-a-cell", "", Unit::One, wire.open_margin_codes, 1.0);
    to.require(parted.without(input.missing_of_range(curve)), |_| {
        let inside = wire
            .open_margin_codes
            .zip(wire.near_open_error_codes)
            .is_some_and(|(margin, error)| margin + error + 1.0 <= 0.0);
        let follows = match (input.wiring.leakage_ohm, inside) {
            (None, _) => ": no threshold can tell them apart.",
            (_, true) => " behind the same leak, and a sensor without the leak has this code too: no threshold can tell an open wire from a working sensor.",
            (_, false) => " behind the same leak: no threshold can tell them apart.",
        };
        Words::new(
            "Codes between an open wire and a working sensor",
            "its errors included",
            format!("{}{follows}", open_words(wire, open)),
        )
    });
}

fn statistical(input: &ThermistorInput, to: &mut Ledger) {
    to.note("thermistor.statistical", "/requirement/judged_by", input.requirement.judged_by != JudgedBy::WorstCase, || {
        "A statistical total is used. For a protective limit many projects require worst case; confirm with the person responsible for safety.".into()
    });
}

fn wires(input: &ThermistorInput, wire: &WireFaults, to: &mut Ledger) {
    if let (Some(open), Some(margin), Some(threshold)) =
        (wire.open_code, wire.open_margin_codes, wire.open_threshold_code)
    {
        to.note("thermistor.open-wire", "", true, || {
            let (margin, threshold) = (one(margin.round()), one(threshold.round()));
            format!("{}; {margin} codes lie between. A threshold at {threshold} parts them.", open_words(wire, open))
        });
    }
    let warm = |fault: &&SlowFault| {
        fault.degc == input.min_degc && !fault.seen && fault.error_k.is_some_and(|kelvin| kelvin >= 1.0)
    };
    let off = |fault: &SlowFault| fault.error_k.unwrap_or(0.0);
    if let Some(fault) = wire.drifts.iter().filter(warm).max_by(|a, b| off(a).total_cmp(&off(b)))
        && let Some(reads) = fault.reads_degc
    {
        to.warn("thermistor.cold-reads-warm", "", true, || {
            format!(
                "A cold cell may read warm unseen: with {} a cell at {} reads {}, and no range check sees it.",
                fault.fault,
                celsius(fault.degc),
                celsius(reads)
            )
        });
    }
    to.note("thermistor.open-wire", "", wire.open_code.is_none(), || {
        "An open wire stops the oscillator: the count never ends. Firmware needs a time-out.".into()
    });
    if let (Some(short), Some(margin)) = (wire.short_code, wire.short_margin_codes) {
        to.warn("thermistor.short-looks-like-a-cell", "", margin < 1.0, || {
            format!(
                "A shorted sensor gives code {}, the sensor at that end of the range {}: with its errors they cannot be told apart.",
                one(short.round()),
                one(wire.near_short_code.round())
            )
        });
    }
}

fn curve(input: &ThermistorInput, curve: &Curve, to: &mut Ledger) {
    let [low, high] = input.known_degc(curve);
    let temperatures = input.points_degc.iter().copied().chain([input.min_degc, input.max_degc]);
    let beyond = |degc: &f64| (low - degc).max(degc - high);
    let furthest = temperatures.max_by(|a, b| beyond(a).total_cmp(&beyond(b))).filter(|degc| beyond(degc) > 0.0);
    match (input.curve, furthest) {
        (CurveKind::Points, Some(degc)) => {
            to.warn("thermistor.extrapolates", "/points/rows", true, || {
                format!(
                    "{} lies more than half a step outside the table: the curve is extended there and nobody has measured it.",
                    celsius(degc)
                )
            });
        }
        (CurveKind::Platinum, Some(degc)) => {
            to.warn("thermistor.outside-class", "/platinum/class", true, || {
                format!(
                    "Class {} holds from {} to {} for this build; at {} it is only extended.",
                    input.platinum.class.label(),
                    celsius(low),
                    celsius(high),
                    celsius(degc)
                )
            });
        }
        (kind, _) => {
            let beyond = input.min_degc < -10.0 || input.max_degc > 95.0;
            // Where it is told how far, there is nothing to warn of.
            let far = kind == CurveKind::Beta && input.beta.curve_k.is_none() && beyond;
            to.note("thermistor.beta-far-from-its-pair", "/beta/curve_k", far, || {
                "One beta holds some tens of kelvin around its pair: at −30 °C it may be 0.2 K to 1.5 K off (common practice, no source). A table or three coefficients are better there.".into()
            });
        }
    }
    let hot = input.curve != CurveKind::Platinum && input.max_degc > 150.0;
    to.note("thermistor.above-150", "/max_degc", hot, || {
        "Thermistors are customarily used to 150 °C (common practice, no source).".into()
    });
}

/// Where a signed part is largest, and its size, when that is worth a sentence.
fn largest_part(rows: &[ThermistorRow], from: f64, part: impl Fn(&ThermistorRow) -> Option<f64>) -> Option<(f64, f64)> {
    rows.iter()
        .filter_map(|row| part(row).map(|value| (row.degc, value)))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .filter(|(_, value)| value.abs() >= from)
}

fn wiring(input: &ThermistorInput, solved: &Solved, to: &mut Ledger) {
    let rows = solved.rows(input);
    if let Some(leak) = input.wiring.leakage_ohm {
        leakage(input, solved, leak, to);
    }
    if let Some((degc, lead)) = largest_part(rows, NOTABLE_K, |row| row.error.as_ref().map(|error| error.lead_k)) {
        to.warn("thermistor.lead-moves-reading", "/wiring/lead_ohm", true, || {
            let leads = ohm(input.wiring.lead_ohm);
            format!("The leads of {leads} move the reading by {} at {}.", kelvin(lead), celsius(degc))
        });
    }
}

/// What the leakage does, by the curve itself: T(R RL/(R + RL)) − T where that is a temperature.
fn leakage(input: &ThermistorInput, solved: &Solved, leak: f64, to: &mut Ledger) {
    let moved = |row: &ThermistorRow| {
        let wired = input.leaking(row.resistance_ohm);
        let moved = solved.curve.degc(wired)? - row.degc;
        let seen = solved.wire.sees(input.read_out().code(wired + input.wiring.lead_ohm));
        Some((row.degc, moved, seen)).filter(|_| moved.abs() >= NOTABLE_K)
    };
    let moved: Vec<(f64, f64, bool)> = solved.rows(input).iter().filter_map(moved).collect();
    let worst = |seen: bool| moved.iter().filter(|row| row.2 == seen).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    let Some((degc, moved, seen)) = worst(false).or_else(|| worst(true)) else { return };
    let words = match (seen, solved.curve.falls()) {
        (true, _) => "; a check against the thresholds sees it.",
        (false, true) => {
            ", and no range check sees it. Protection against charging a cold cell is lost without a diagnostic."
        }
        (false, false) => ", and no range check sees it.",
    };
    to.warn("thermistor.leak-moves-reading", "/wiring/leakage_ohm", true, || {
        let (leak, moved, at) = (ohm(leak), kelvin(*moved), celsius(*degc));
        format!("{leak} across the sensor moves the reading by {moved} at {at}{words}")
    });
}

fn read_out(input: &ThermistorInput, rows: &[ThermistorRow], to: &mut Ledger) {
    if input.read_out == ReadOutKind::Divider && !input.divider.ratiometric {
        let worst = largest_part(rows, NOTABLE_K, |row| row.error.as_ref().map(|error| error.reference_k));
        if let Some((degc, worth)) = worst {
            to.warn("thermistor.not-ratiometric", "/divider/ratiometric", true, || {
                format!(
                    "Supply against reference alone is worth ±{} at {}: taking the supply as reference removes it.",
                    kelvin(worth),
                    celsius(degc)
                )
            });
        }
    }
    if input.read_out != ReadOutKind::Oscillator {
        return;
    }
    if let Some(row) = rows.iter().min_by(|a, b| a.code.total_cmp(&b.code)) {
        let gated = input.oscillator.counting == Counting::Gated;
        let at = if gated { "/oscillator/gate_s" } else { "/oscillator/periods" };
        to.warn("thermistor.few-counts", at, row.code < FEW_COUNTS, || {
            let (at, counts, step) = (celsius(row.degc), one(row.code), kelvin(row.step_k));
            let helps = if gated { " A longer gate or counting clock ticks over whole periods helps." } else { "" };
            format!("At {at} there are {counts} counts: one is {step}.{helps}")
        });
    }
    let worst = largest_part(rows, 0.5, |row| row.error.as_ref().map(|error| error.part_k));
    if let (None, Some((degc, worth))) = (input.oscillator.reference_ohm, worst) {
        to.warn("thermistor.capacitor-decides", "/oscillator/reference_ohm", true, || {
            format!(
                "The capacitor alone is worth ±{} at {}: a reference resistor measured in the same oscillator cancels it.",
                kelvin(worth),
                celsius(degc)
            )
        });
    }
}

fn heat(input: &ThermistorInput, solved: &Solved, to: &mut Ledger) {
    if let Some((degc, rise)) = largest_part(solved.rows(input), NOTABLE_K, |row| row.self_heating_k) {
        to.note("thermistor.self-heating", "/body/duty_percent", true, || {
            format!(
                "The read-out warms the sensor by up to {} (at {}). Powering it for a part of the time takes it down.",
                kelvin(rise),
                celsius(degc)
            )
        });
    }
    let parts = solved.rows(input).iter().filter_map(|row| row.error.as_ref());
    let electronics = parts
        .map(|error| error.tolerance_k + error.part_drift_k + error.reference_k + error.converter_k + error.ageing_k)
        .fold(0.0, f64::max);
    let (lag, gradient) = (input.lag_k(), input.gradient_k());
    let dominates = lag.max(gradient) > electronics && electronics > 0.0;
    to.warn("thermistor.heat-path-dominates", "/body/time_constant_s", dominates, || {
        format!(
            "Lag {} and cell to sensor {} against {} of sensor and electronics: a better converter changes nothing, a better contact does.",
            kelvin(lag),
            kelvin(gradient),
            kelvin(electronics)
        )
    });
}

/// Values that were changed in a group which this sensor and this read-out do not use.
fn unused(input: &ThermistorInput, to: &mut Ledger) {
    let start: ThermistorInput = field::start();
    let chosen = |kind: CurveKind| input.curve == kind;
    let read = |kind: ReadOutKind| input.read_out == kind;
    let groups = [
        ("Beta", chosen(CurveKind::Beta) || input.beta == start.beta),
        ("Steinhart-Hart", chosen(CurveKind::SteinhartHart) || input.steinhart_hart == start.steinhart_hart),
        ("Measured points", chosen(CurveKind::Points) || input.points.rows.is_empty() || input.points == start.points),
        ("Platinum sensor", chosen(CurveKind::Platinum) || input.platinum == start.platinum),
        ("Divider", read(ReadOutKind::Divider) || input.divider == start.divider),
        ("Oscillator", read(ReadOutKind::Oscillator) || input.oscillator == start.oscillator),
        ("Constant current", read(ReadOutKind::Current) || input.current == start.current),
    ];
    let unused: Vec<&str> = groups.iter().filter(|group| !group.1).map(|group| group.0).collect();
    to.note("thermistor.unused-values", "", !unused.is_empty(), || {
        format!("Values were changed that this sensor and read-out do not use: {}.", unused.join(", "))
    });
}
