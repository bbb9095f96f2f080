//! What the engineer must know about the ripple, and the working.

use super::solve::RippleOutput;
use super::{RippleInput, RippleShape};
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Finding, Severity, Step};

/// A beat below this share of the output rate is slow: an integrator takes it for charge. Common practice, no source.
const SLOW: f64 = 0.1;

/// A beat below this share of the mean or of the ripple is nothing to speak of. Common practice, no source.
const VISIBLE: f64 = 1e-6;

fn ampere(value: f64) -> String {
    say(value, Unit::Ampere)
}

pub(super) fn findings(input: &RippleInput, result: &RippleOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (index, trip) in result.trips.iter().enumerate().filter(|(_, trip)| trip.trips) {
        let sign = if trip.threshold_a < 0.0 { -1.0 } else { 1.0 };
        let by_mean = input.mean_a * sign >= trip.threshold_a * sign;
        let (code, words) = if by_mean {
            ("ripple.mean-above-threshold", "the mean current itself reaches it.".into())
        } else {
            let cure = trip.needed_filter_s.map_or_else(String::new, |filter| {
                format!(
                    " A filter of {} keeps it below; that delay then counts in the reaction to a short.",
                    say(filter, Unit::Second)
                )
            });
            let peak = ampere(trip.peak_a);
            (
                "ripple.nuisance-trip",
                format!(
                    "mean, ripple and spike reach {peak} behind its filter: it trips at this load without a fault.{cure}"
                ),
            )
        };
        findings.push(
            Finding::new(
                Severity::Fail,
                code,
                format!("{}, threshold {}: {words}", trip.name, ampere(trip.threshold_a)),
            )
            .at(&format!("/trips/{index}"))
            .against(trip.peak_a * sign, trip.threshold_a * sign),
        );
    }
    let converter = &result.converter;
    let (low, high) = (converter.range_low_a, converter.range_high_a);
    if input.mean_a > high || input.mean_a < low {
        findings.push(
            Finding::new(
                Severity::Fail,
                "ripple.mean-over-range",
                format!(
                    "The mean of {} lies outside the converter's range of {} to {}.",
                    ampere(input.mean_a),
                    ampere(low),
                    ampere(high)
                ),
            )
            .at("/converter/full_scale_v"),
        );
    } else if converter.clips {
        findings.push(
            Finding::new(
                Severity::Warn,
                "ripple.clips",
                format!(
                    "The signal runs from {} to {}, the converter reads {} to {}: clipping moves the mean by {}, {} if it stays.",
                    ampere(converter.lowest_a),
                    ampere(converter.highest_a),
                    ampere(low),
                    ampere(high),
                    ampere(converter.shift_a),
                    say(converter.shift_ah_per_day, Unit::AmpereHourPerDay)
                ),
            )
            .at("/converter/full_scale_v")
            .against(converter.highest_a.max(-converter.lowest_a), high),
        );
    }
    if let Some(sampling) = &result.sampling {
        let first = sampling.harmonics.first().map_or(0.0, |first| first.sensed_a);
        let slow = sampling
            .harmonics
            .iter()
            .filter(|beat| beat.beat_hz < SLOW * sampling.output_hz && beat.beat_a > VISIBLE * first)
            .max_by(|a, b| a.beat_a.total_cmp(&b.beat_a));
        if let Some(beat) = slow {
            let (code, words) = if beat.beat_hz == 0.0 {
                ("ripple.alias-at-zero", "it reads as direct current of up to that size, by the phase".to_owned())
            } else {
                ("ripple.slow-beat", format!("it beats at {}", say(beat.beat_hz, Unit::Hertz)))
            };
            findings.push(
                Finding::new(
                    Severity::Warn,
                    code,
                    format!(
                        "{} of ripple folds down with an amplitude of {}: {words}. Charge counting takes it for current.",
                        say(beat.frequency_hz, Unit::Hertz),
                        ampere(beat.beat_a)
                    ),
                )
                .at("/samples/rate_hz"),
            );
        }
        if sampling.gain < 1e-9 {
            findings.push(
                Finding::new(
                    Severity::Note,
                    "ripple.on-a-null",
                    "The ripple lies on a null of the averaging. The null is narrow: try the tolerance of the ripple frequency.",
                )
                .at("/frequency_hz"),
            );
        }
    }
    if input.peak_to_peak_a > 2.0 * input.mean_a.abs() {
        findings.push(
            Finding::new(
                Severity::Note,
                "ripple.reverses",
                format!(
                    "With {} of ripple on {} the current changes its direction in every period. Is the ripple peak to peak, and meant so?",
                    ampere(input.peak_to_peak_a),
                    ampere(input.mean_a)
                ),
            )
            .at("/peak_to_peak_a"),
        );
    }
    if result.sense.corner_hz.is_none() {
        findings.push(
            Finding::new(
                Severity::Note,
                "ripple.no-inductance",
                "The shunt is taken without inductance. Some nanohenry are there in any current path of a centimetre (from memory).",
            )
            .at("/shunt/inductance_henry"),
        );
    }
    findings
}

pub(super) fn working(input: &RippleInput, result: &RippleOutput) -> Vec<Step> {
    const SYSTEM: &str = "first-order linear system";
    let q = Quantity::new;
    let sense = &result.sense;
    let (mean, pp) = (ampere(input.mean_a), ampere(input.peak_to_peak_a));
    let (ohm, henry) = (say(input.shunt.resistance_ohm, Unit::Ohm), say(input.shunt.inductance_henry, Unit::Henry));
    let triangle = input.shape == RippleShape::Triangle;
    let (share, rise_formula) = if triangle { ("12", "Ipp f/D") } else { ("8", "π Ipp f") };
    let frequency = say(input.frequency_hz, Unit::Hertz);
    let rise_numbers = if triangle {
        format!("{pp} · {frequency}/{}", say(input.duty_percent, Unit::Percent))
    } else {
        format!("π · {pp} · {frequency}")
    };
    let mut steps = vec![
        Step::new(
            "Root-mean-square current",
            "I_rms",
            &format!("√(I² + Ipp²/{share})"),
            format!("√(({mean})² + ({pp})²/{share})"),
            q(sense.rms_a, Unit::Ampere),
            "mean square of the wave",
        ),
        Step::new(
            "Loss in the shunt",
            "P",
            "R I_rms²",
            format!("{ohm} · ({})²", ampere(sense.rms_a)),
            q(sense.loss_w, Unit::Watt),
            "Joule's law",
        ),
        Step::new(
            "Steepest rise",
            "di/dt",
            rise_formula,
            rise_numbers,
            q(sense.rise_a_per_s, Unit::AmperePerSecond),
            "derivative of the wave",
        ),
        Step::new(
            "Ripple spike while rising",
            "I_L",
            "(L/R) di/dt",
            format!("{henry}/{ohm} · {}", say(sense.rise_a_per_s, Unit::AmperePerSecond)),
            q(sense.spike_rise_a, Unit::Ampere),
            "Faraday's law",
        ),
        Step::new(
            "Matched filter",
            "τ_m",
            "L/R",
            format!("{henry}/{ohm}"),
            q(sense.matched_filter_s, Unit::Second),
            SYSTEM,
        ),
    ];
    if let Some(corner) = sense.corner_hz {
        steps.push(Step::new(
            "Corner of the shunt",
            "f_L",
            "R/(2π L)",
            format!("{ohm}/(2π · {henry})"),
            q(corner, Unit::Hertz),
            SYSTEM,
        ));
    }
    for (trip, given) in result.trips.iter().zip(&input.trips) {
        let numbers = if given.filter_s == 0.0 && triangle && trip.threshold_a >= 0.0 {
            format!("{mean} + {pp}/2 + {} at the end of the rise", ampere(sense.spike_rise_a))
        } else {
            format!(
                "u = i + {} · di/dt, τ = {}",
                say(sense.matched_filter_s, Unit::Second),
                say(given.filter_s, Unit::Second)
            )
        };
        steps.push(Step::new(
            &format!("Peak that the comparator sees: {}", trip.name),
            "I_pk",
            "extreme of y, τ y' = u − y, periodic",
            numbers,
            q(trip.peak_a, Unit::Ampere),
            SYSTEM,
        ));
    }
    steps.push(Step::new(
        "Shift of the mean by clipping",
        "ΔI",
        "f ∫ clip(y) dt − I",
        format!(
            "y from {} to {}, range {} to {}",
            ampere(result.converter.lowest_a),
            ampere(result.converter.highest_a),
            ampere(result.converter.range_low_a),
            ampere(result.converter.range_high_a)
        ),
        q(result.converter.shift_a, Unit::Ampere),
        "exact integral of the pieces",
    ));
    if let (Some(sampling), Some(rate)) = (&result.sampling, input.samples.rate_hz) {
        let (rate, n) = (say(rate, Unit::Hertz), input.samples.averages);
        steps.push(Step::new(
            "Gain of the averaging at the ripple",
            "H",
            "|sin(π n f/fs)|/(n |sin(π f/fs)|)",
            format!("n = {n}, f = {frequency}, fs = {rate}"),
            q(sampling.gain, Unit::One),
            "Dirichlet kernel",
        ));
        let output = say(sampling.output_hz, Unit::Hertz);
        let numbers = format!("|{frequency} − round({frequency}/{output}) · {output}|");
        let beat = q(sampling.beat_hz, Unit::Hertz);
        steps.push(Step::new(
            "Beat of the fundamental",
            "f_b",
            "|f − round(f n/fs) fs/n|",
            numbers,
            beat,
            "sampling theorem",
        ));
        if let Some(first) = sampling.harmonics.first() {
            let numbers = format!("{} · {}", ampere(first.sensed_a), say(first.gain, Unit::One));
            let amplitude = q(sampling.beat_a, Unit::Ampere);
            steps.push(Step::new(
                "Amplitude of the beat",
                "I_b",
                "I_1 H, I_1 behind shunt and filter",
                numbers,
                amplitude,
                "Dirichlet kernel",
            ));
        }
    }
    steps
}
