//! What the engineer must know about a temperature channel.

use crate::channel::JudgedBy;
use crate::field;
use crate::quantity::{Unit, in_sentence, say};
use crate::report::{Finding, Severity};

use super::curve::Curve;
use super::input::{Counting, CurveKind, ReadOutKind, ThermistorInput};
use super::output::{SlowFault, ThermistorOutput, ThermistorRow, WireFaults};

/// From this error on a source is worth a sentence, K.
const NOTABLE_K: f64 = 0.1;
/// Fewer counts than this are a coarse scale.
const FEW_COUNTS: f64 = 500.0;

pub(super) fn findings(input: &ThermistorInput, curve: &Curve, result: &ThermistorOutput) -> Vec<Finding> {
    let mut findings = error_findings(input, result);
    findings.extend(wire_findings(input, result));
    findings.extend(curve_findings(input, curve));
    findings.extend(wiring_findings(input, curve, result));
    findings.extend(read_out_findings(input, result));
    findings.extend(heat_findings(result));
    findings.extend(unused(input));
    findings
}

/// Values that were changed in a group which this sensor and this read-out do not use.
fn unused(input: &ThermistorInput) -> Option<Finding> {
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
    (!unused.is_empty()).then(|| {
        Finding::new(
            Severity::Note,
            "thermistor.unused-values",
            format!("Values were changed that this sensor and read-out do not use: {}.", unused.join(", ")),
        )
    })
}

fn error_findings(input: &ThermistorInput, result: &ThermistorOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    for point in &result.points {
        let at = say(point.at.degc, Unit::Celsius);
        match (point.judged_k, point.allowed_k) {
            (None, _) => findings.push(
                Finding::new(
                    Severity::Fail,
                    "thermistor.not-readable",
                    format!("At {at} the limits of the parts reach the end of the range of the read-out: no error can be given."),
                )
                .at("/points_degc"),
            ),
            (Some(judged), Some(allowed)) if judged > allowed => findings.push(
                Finding::new(
                    Severity::Fail,
                    "thermistor.error-over-allowance",
                    format!(
                        "At {at} the error is ±{} by {}; ±{} is allowed.",
                        say(judged, Unit::Kelvin),
                        in_sentence(input.requirement.judged_by.label()),
                        say(allowed, Unit::Kelvin)
                    ),
                )
                .at("/requirement/allowed_k")
                .against(judged, allowed),
            ),
            _ => {}
        }
    }
    if input.requirement.judged_by != JudgedBy::WorstCase {
        findings.push(
            Finding::new(
                Severity::Note,
                "thermistor.statistical",
                "A statistical total is used. For a protective limit many projects require worst case; confirm with the person responsible for safety.",
            )
            .at("/requirement/judged_by"),
        );
    }
    findings
}

/// What an open wire looks like, by what firmware would show.
pub(super) fn open_looks(wire: &WireFaults) -> String {
    wire.open_reads_degc
        .map_or_else(|| format!("like a {} cell", wire.open_looks), |degc| format!("like {}", say(degc, Unit::Celsius)))
}

fn wire_findings(input: &ThermistorInput, result: &ThermistorOutput) -> Vec<Finding> {
    let wire = &result.wire;
    let mut findings = Vec::new();
    let code = |value: f64| say(value.round(), Unit::One);
    if let Some(open) = wire.open_code {
        let words = format!(
            "An open wire looks {}: code {} against {} ± {} of the {} sensor",
            open_looks(wire),
            code(open),
            code(wire.near_open_code),
            code(wire.near_open_error_codes.unwrap_or(0.0)),
            wire.extreme()
        );
        let inside = wire
            .open_margin_codes
            .zip(wire.near_open_error_codes)
            .is_some_and(|(margin, error)| margin + error + 1.0 <= 0.0);
        findings.push(match (wire.open_margin_codes, wire.open_threshold_code) {
            (Some(margin), Some(threshold)) if margin >= 1.0 => Finding::new(
                Severity::Note,
                "thermistor.open-wire",
                format!(
                    "{words}; {} codes lie between. A threshold at {} parts them.",
                    code(margin),
                    code(threshold)
                ),
            ),
            _ => Finding::new(
                Severity::Fail,
                "thermistor.open-looks-like-a-cell",
                if input.wiring.leakage_ohm.is_none() {
                    format!("{words}: no threshold can tell them apart.")
                } else if inside {
                    format!("{words} behind the same leak, and a sensor without the leak has this code too: no threshold can tell an open wire from a working sensor.")
                } else {
                    format!("{words} behind the same leak: no threshold can tell them apart.")
                },
            ),
        });
    }
    let warm = |fault: &&SlowFault| {
        fault.degc == input.min_degc && !fault.seen && fault.error_k.is_some_and(|kelvin| kelvin >= 1.0)
    };
    let off = |fault: &SlowFault| fault.error_k.unwrap_or(0.0);
    if let Some(fault) = wire.drifts.iter().filter(warm).max_by(|a, b| off(a).total_cmp(&off(b)))
        && let Some(reads) = fault.reads_degc
    {
        findings.push(Finding::new(
            Severity::Warn,
            "thermistor.cold-reads-warm",
            format!(
                "A cold cell may read warm unseen: with {} a cell at {} reads {}, and no range check sees it.",
                fault.fault,
                say(fault.degc, Unit::Celsius),
                say(reads, Unit::Celsius)
            ),
        ));
    }
    if wire.open_code.is_none() {
        findings.push(Finding::new(
            Severity::Note,
            "thermistor.open-wire",
            "An open wire stops the oscillator: the count never ends. Firmware needs a time-out.",
        ));
    }
    if let (Some(short), Some(margin)) = (wire.short_code, wire.short_margin_codes)
        && margin < 1.0
    {
        findings.push(Finding::new(
            Severity::Warn,
            "thermistor.short-looks-like-a-cell",
            format!(
                "A shorted sensor gives code {}, the sensor at that end of the range {}: with its errors they cannot be told apart.",
                code(short),
                code(wire.near_short_code)
            ),
        ));
    }
    findings
}

fn curve_findings(input: &ThermistorInput, curve: &Curve) -> Vec<Finding> {
    let mut findings = Vec::new();
    let temperatures = || input.points_degc.iter().copied().chain([input.min_degc, input.max_degc]);
    match (input.curve, curve) {
        (CurveKind::Points, Curve::Points(points)) => {
            let outside = temperatures().filter(|degc| points.outside(*degc) > 0.5);
            if let Some(degc) = outside.max_by(|a, b| points.outside(*a).total_cmp(&points.outside(*b))) {
                findings.push(
                    Finding::new(
                        Severity::Warn,
                        "thermistor.extrapolates",
                        format!(
                            "{} lies more than half a step outside the table: the curve is extended there and nobody has measured it.",
                            say(degc, Unit::Celsius)
                        ),
                    )
                    .at("/points/rows"),
                );
            }
        }
        (CurveKind::Platinum, _) => {
            let [low, high] = input.platinum.class.range_degc(input.platinum.build);
            if let Some(degc) = temperatures().find(|degc| *degc < low || *degc > high) {
                findings.push(
                    Finding::new(
                        Severity::Warn,
                        "thermistor.outside-class",
                        format!(
                            "Class {} holds from {} to {} for this build; at {} it is only extended.",
                            input.platinum.class.label(),
                            say(low, Unit::Celsius),
                            say(high, Unit::Celsius),
                            say(degc, Unit::Celsius)
                        ),
                    )
                    .at("/platinum/class"),
                );
            }
        }
        (CurveKind::Beta, _) if input.min_degc < -10.0 || input.max_degc > 95.0 => {
            findings.push(
                Finding::new(
                    Severity::Note,
                    "thermistor.beta-far-from-its-pair",
                    "One beta holds some tens of kelvin around its pair: at −30 °C it may be 0.2 K to 1.5 K off (common practice, no source). A table or three coefficients are better there.",
                )
                .at("/beta/beta_k"),
            );
        }
        _ => {}
    }
    if input.curve != CurveKind::Platinum && input.max_degc > 150.0 {
        findings.push(
            Finding::new(
                Severity::Note,
                "thermistor.above-150",
                "Thermistors are customarily used to 150 °C (common practice, no source).",
            )
            .at("/max_degc"),
        );
    }
    findings
}

/// The row with the largest size of a signed part.
fn largest_part(rows: &[ThermistorRow], part: impl Fn(&ThermistorRow) -> Option<f64>) -> Option<(f64, f64)> {
    rows.iter()
        .filter_map(|row| part(row).map(|value| (row.degc, value)))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
}

/// What the leakage does, by the curve itself: T(R RL/(R + RL)) − T where that is a temperature.
fn leak_finding(input: &ThermistorInput, curve: &Curve, result: &ThermistorOutput, leak: f64) -> Option<Finding> {
    let moved = |row: &ThermistorRow| {
        let wired = input.leaking(row.resistance_ohm);
        let kelvin = curve.degc(wired)? - row.degc;
        let seen = result.wire.sees(input.read_out().code(wired + input.wiring.lead_ohm));
        Some((row.degc, kelvin, seen)).filter(|_| kelvin.abs() >= NOTABLE_K)
    };
    let moved: Vec<(f64, f64, bool)> = result.rows.iter().filter_map(moved).collect();
    let worst = |seen: bool| moved.iter().filter(|row| row.2 == seen).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    let (degc, kelvin, seen) = worst(false).or_else(|| worst(true))?;
    let words = match (seen, curve.falls()) {
        (true, _) => "; a check against the thresholds sees it.",
        (false, true) => {
            ", and no range check sees it. Protection against charging a cold cell is lost without a diagnostic."
        }
        (false, false) => ", and no range check sees it.",
    };
    Some(
        Finding::new(
            Severity::Warn,
            "thermistor.leak-moves-reading",
            format!(
                "{} across the sensor moves the reading by {} at {}{words}",
                say(leak, Unit::Ohm),
                say(*kelvin, Unit::Kelvin),
                say(*degc, Unit::Celsius)
            ),
        )
        .at("/wiring/leakage_ohm"),
    )
}

fn wiring_findings(input: &ThermistorInput, curve: &Curve, result: &ThermistorOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    findings.extend(input.wiring.leakage_ohm.and_then(|leak| leak_finding(input, curve, result, leak)));
    let lead = largest_part(&result.rows, |row| row.error.as_ref().map(|error| error.lead_k));
    if let Some((degc, kelvin)) = lead.filter(|(_, kelvin)| kelvin.abs() >= NOTABLE_K) {
        findings.push(
            Finding::new(
                Severity::Warn,
                "thermistor.lead-moves-reading",
                format!(
                    "The leads of {} move the reading by {} at {}.",
                    say(input.wiring.lead_ohm, Unit::Ohm),
                    say(kelvin, Unit::Kelvin),
                    say(degc, Unit::Celsius)
                ),
            )
            .at("/wiring/lead_ohm"),
        );
    }
    findings
}

fn read_out_findings(input: &ThermistorInput, result: &ThermistorOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if let Some(codes) = input.read_out().codes() {
        let top = result.rows.iter().map(|row| row.code).fold(0.0, f64::max);
        if top > codes - 1.0 {
            findings.push(
                Finding::new(
                    Severity::Fail,
                    "thermistor.saturates",
                    format!(
                        "The range needs code {}; the converter ends at {}.",
                        say(top.round(), Unit::One),
                        say(codes - 1.0, Unit::One)
                    ),
                )
                .at("/converter/full_scale_v")
                .against(top, codes - 1.0),
            );
        }
    }
    if input.read_out == ReadOutKind::Divider && !input.divider.ratiometric {
        let worst = largest_part(&result.rows, |row| row.error.as_ref().map(|error| error.reference_k));
        if let Some((degc, kelvin)) = worst.filter(|(_, kelvin)| *kelvin >= NOTABLE_K) {
            findings.push(
                Finding::new(
                    Severity::Warn,
                    "thermistor.not-ratiometric",
                    format!(
                        "Supply against reference alone is worth ±{} at {}: taking the supply as reference removes it.",
                        say(kelvin, Unit::Kelvin),
                        say(degc, Unit::Celsius)
                    ),
                )
                .at("/divider/ratiometric"),
            );
        }
    }
    if input.read_out == ReadOutKind::Oscillator {
        let least = result.rows.iter().map(|row| (row.code, row.degc, row.step_k)).min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((count, degc, step)) = least.filter(|(count, ..)| *count < FEW_COUNTS) {
            let gated = input.oscillator.counting == Counting::Gated;
            findings.push(
                Finding::new(
                    Severity::Warn,
                    "thermistor.few-counts",
                    format!(
                        "At {} there are {} counts: one is {}.{}",
                        say(degc, Unit::Celsius),
                        say(count, Unit::One),
                        say(step, Unit::Kelvin),
                        if gated { " A longer gate or counting clock ticks over whole periods helps." } else { "" }
                    ),
                )
                .at(if gated { "/oscillator/gate_s" } else { "/oscillator/periods" }),
            );
        }
        let worst = largest_part(&result.rows, |row| row.error.as_ref().map(|error| error.part_k));
        if let (None, Some((degc, kelvin))) =
            (input.oscillator.reference_ohm, worst.filter(|(_, kelvin)| *kelvin >= 0.5))
        {
            findings.push(
                Finding::new(
                    Severity::Warn,
                    "thermistor.capacitor-decides",
                    format!(
                        "The capacitor alone is worth ±{} at {}: a reference resistor measured in the same oscillator cancels it.",
                        say(kelvin, Unit::Kelvin),
                        say(degc, Unit::Celsius)
                    ),
                )
                .at("/oscillator/reference_ohm"),
            );
        }
    }
    findings
}

fn heat_findings(result: &ThermistorOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if let Some(row) = result.rows.iter().find(|row| row.self_heating_k.is_none()) {
        findings.push(
            Finding::new(
                Severity::Fail,
                "thermistor.no-heat-balance",
                format!(
                    "At {} the read-out heats the sensor by more than 400 K or without end; its self-heating is left out.",
                    say(row.degc, Unit::Celsius)
                ),
            )
            .at("/body/dissipation_w_per_k"),
        );
    }
    let hottest = largest_part(&result.rows, |row| row.self_heating_k);
    if let Some((degc, kelvin)) = hottest.filter(|(_, kelvin)| *kelvin >= NOTABLE_K) {
        findings.push(
            Finding::new(
                Severity::Note,
                "thermistor.self-heating",
                format!(
                    "The read-out warms the sensor by up to {} (at {}). Powering it for a part of the time takes it down.",
                    say(kelvin, Unit::Kelvin),
                    say(degc, Unit::Celsius)
                ),
            )
            .at("/body/duty_percent"),
        );
    }
    let electronics = result
        .points
        .iter()
        .filter_map(|point| point.at.error.as_ref())
        .map(|error| error.worst_case_k)
        .fold(0.0, f64::max);
    if result.lag_k.max(result.gradient_k) > electronics && electronics > 0.0 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "thermistor.heat-path-dominates",
                format!(
                    "Lag {} and cell to sensor {} against {} of sensor and electronics: a better converter changes nothing, a better contact does.",
                    say(result.lag_k, Unit::Kelvin),
                    say(result.gradient_k, Unit::Kelvin),
                    say(electronics, Unit::Kelvin)
                ),
            )
            .at("/body/time_constant_s"),
        );
    }
    findings
}
