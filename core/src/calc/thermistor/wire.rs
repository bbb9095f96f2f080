//! # Open, shorted and slowly failing wires
//!
//! A range check sees an open wire only when the coldest sensor gives another code, errors included. A leak across the
//! sensor keeps a thermistor's reading warm and plausible: nothing sees it.
//!
//! ```text
//! Open       the code of the leakage alone, or the end of the converter's range
//! Margin     |open − sensor at that end| − error there in codes − 1, likewise for a short
//! Threshold  in the middle between the sensor at its limit and the fault
//! Slow       a resistance in series reads cold (matters hot), a leak across reads warm (matters cold); platinum the
//!            other way round
//! Source     Ohm's law; common practice, no source
//! ```

use super::curve::Curve;
use super::input::{Counting, ReadOutKind, Side, ThermistorInput};
use super::output::{SlowFault, ThermistorRow, WireFaults};

/// The slow faults that are tried: words, series resistance, leakage across.
const SLOW: [(&str, f64, f64); 5] = [
    ("100 Ω in series, a corroded contact", 100.0, f64::INFINITY),
    ("1 kΩ in series", 1e3, f64::INFINITY),
    ("1 MΩ across, a wet connector", 0.0, 1e6),
    ("100 kΩ across", 0.0, 1e5),
    ("10 kΩ across", 0.0, 1e4),
];

/// The code of an open wire; none when the oscillator stops and nothing is counted.
pub fn open_code(input: &ThermistorInput) -> Option<f64> {
    let read_out = input.read_out();
    match (input.wiring.leakage_ohm, input.read_out) {
        (Some(leak), _) => Some(clipped(input, read_out.code(leak + input.wiring.lead_ohm))),
        (None, ReadOutKind::Oscillator) => (input.oscillator.counting == Counting::Gated).then_some(0.0),
        (None, ReadOutKind::Current) => read_out.codes().map(|codes| codes - 1.0),
        // An open wire pulls the tap to the far end of the fixed resistor.
        (None, ReadOutKind::Divider) => {
            Some(if input.divider.side == Side::Low { clipped(input, read_out.code_of_supply()) } else { 0.0 })
        }
    }
}

/// The code of a shorted sensor with its leads; none when the count has no end.
pub fn short_code(input: &ThermistorInput) -> Option<f64> {
    Some(clipped(input, input.read_out().code(input.wiring.lead_ohm))).filter(|code| code.is_finite())
}

fn clipped(input: &ThermistorInput, code: f64) -> f64 {
    input.read_out().codes().map_or(code, |codes| code.clamp(0.0, codes - 1.0))
}

/// Every fault of the wires.
pub fn faults(input: &ThermistorInput, curve: &Curve, rows: &[ThermistorRow]) -> WireFaults {
    let read_out = input.read_out();
    let (open_code, short_code) = (open_code(input), short_code(input));
    let (cold, hot) = (rows.first(), rows.last());
    // A thermistor has its largest resistance at the cold end, platinum at the hot one.
    let (near_open, near_short) = if curve.falls() { (cold, hot) } else { (hot, cold) };
    let code_of = |row: Option<&ThermistorRow>| row.map_or(0.0, |row| row.code);
    let error_of = |row: Option<&ThermistorRow>| {
        row.and_then(|row| row.error.as_ref().map(|error| error.worst_case_k / row.step_k))
            .filter(|codes| codes.is_finite())
    };
    let margin = |fault: Option<f64>, row: Option<&ThermistorRow>| {
        fault.zip(error_of(row)).map(|(fault, error)| (fault - code_of(row)).abs() - error - 1.0)
    };
    let threshold = |fault: Option<f64>, row: Option<&ThermistorRow>| {
        let (fault, error) = fault.zip(error_of(row))?;
        let limit = code_of(row) + error * (fault - code_of(row)).signum();
        Some((0.5 * (fault + limit)).round())
    };
    let (open_threshold_code, short_threshold_code) =
        (threshold(open_code, near_open), threshold(short_code, near_short));
    // A range check sees what lies on the fault's side of a threshold.
    let beyond = |code: f64, threshold: Option<f64>, row: Option<&ThermistorRow>| {
        threshold.is_some_and(|threshold| (code - threshold) * (threshold - code_of(row)) >= 0.0)
    };
    let seen = |ohm: f64| {
        let code = read_out.code(ohm);
        beyond(code, open_threshold_code, near_open) || beyond(code, short_threshold_code, near_short)
    };
    WireFaults {
        open_looks: if curve.falls() { "cold" } else { "hot" }.into(),
        open_code,
        near_open_code: code_of(near_open),
        near_open_error_codes: error_of(near_open),
        open_margin_codes: margin(open_code, near_open),
        open_threshold_code,
        open_reads_degc: open_code.and_then(|code| read_out.ohm(code)).and_then(|ohm| curve.degc(ohm)),
        short_code,
        near_short_code: code_of(near_short),
        short_margin_codes: margin(short_code, near_short),
        short_threshold_code,
        drifts: slow(input, curve, seen),
    }
}

fn slow(input: &ThermistorInput, curve: &Curve, seen: impl Fn(f64) -> bool) -> Vec<SlowFault> {
    let mut found = Vec::new();
    for (fault, series, across) in SLOW {
        for degc in [input.min_degc, input.max_degc] {
            let Some(ohm) = curve.ohm(degc) else { continue };
            let wired = 1.0 / (1.0 / ohm + 1.0 / across) + series;
            let reads_degc = curve.degc(wired);
            found.push(SlowFault {
                fault: fault.into(),
                degc,
                reads_degc,
                error_k: reads_degc.map(|reads| reads - degc),
                seen: seen(wired),
            });
        }
    }
    found
}
