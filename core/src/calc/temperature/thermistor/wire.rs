//! # Open, shorted and slowly failing wires
//!
//! A range check sees an open wire only when the coldest sensor gives another code, errors included. A leak across the
//! sensor keeps a thermistor's reading warm and plausible: nothing sees it.
//!
//! ```text
//! Open       the code of the leakage alone, or the end of the converter's range
//! Margin     (fault − sensor)·d − errors of both in codes − 1, d = ±1 away from the other end of the range; the sensor at that
//!            end is taken with its leads, dry and behind the leakage, whichever lies nearer to the fault; one threshold serves
//!            every part, so that the errors of both add, and the code of a fault ends with the converter's range
//! Threshold  a share of the way, one half unless said otherwise, from the sensor at its limit to the fault; none when the
//!            margin is below one code. Error: extremes of the model in codes, without self-heating, lag and gradient
//! Slow       a resistance in series reads cold (matters hot), a leak across reads warm (matters cold); platinum the
//!            other way round
//! Source     Ohm's law; common practice, no source
//! ```

use super::budget::{CodeModel, Known, Wired};
use super::curve::{Curve, Moved};
use super::input::{Counting, ReadOutKind, Side, ThermistorInput};
use super::output::{SlowFault, WireFaults};
use crate::propagation;
use crate::work::Work;

/// An open wire as a resistance: beyond all that a read-out tells from none, Ω.
const OPEN_OHM: f64 = 1e15;

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

/// The end of a range against the code of a fault.
#[derive(Clone, Copy, Debug)]
pub struct Parting {
    /// Code of the sensor at that end, with its leads and behind the leakage.
    pub near_code: f64,
    /// How far it may be off, in codes.
    pub error_codes: Option<f64>,
    /// Codes left between both; negative inside the codes of working sensors.
    pub margin_codes: Option<f64>,
    /// The threshold; none when nothing parts them.
    pub threshold_code: Option<f64>,
}

/// What an open wire and a short are parted from: a thermistor has its largest resistance at the cold end, platinum at the
/// hot one. Ends in the order near, far.
const fn ends(input: &ThermistorInput, curve: &Curve, open: bool) -> [f64; 2] {
    if curve.falls() == open { [input.min_degc, input.max_degc] } else { [input.max_degc, input.min_degc] }
}

/// An open wire against the end of the range that it looks like.
pub fn part_open(input: &ThermistorInput, curve: &Curve, share: f64) -> Parting {
    part(input, curve, (open_code(input), OPEN_OHM), ends(input, curve, true), share)
}

/// A shorted sensor against the end of the range that it looks like.
pub fn part_short(input: &ThermistorInput, curve: &Curve, share: f64) -> Parting {
    part(input, curve, (short_code(input), 0.0), ends(input, curve, false), share)
}

fn part(
    input: &ThermistorInput,
    curve: &Curve,
    (fault, fault_ohm): (Option<f64>, f64),
    [near, far]: [f64; 2],
    share: f64,
) -> Parting {
    let read_out = input.read_out();
    let lead = input.wiring.lead_ohm;
    let dry = |degc: f64| curve.ohm(degc).unwrap_or(0.0) + lead;
    let wired = input.leaking(dry(near) - lead) + lead;
    let (dry_code, near_code) = (read_out.code(dry(near)), read_out.code(wired));
    let away = (dry_code - read_out.code(dry(far))).signum();
    let error_codes = error_codes(input, curve, near);
    // The leakage may come and go: the sensor must be parted from the fault with it and without it.
    let outer = if (dry_code - near_code) * away > 0.0 { dry_code } else { near_code };
    let found = fault.zip(error_codes).map(|(fault, error)| {
        let limit = outer + away * error;
        // Of the parts the one whose fault looks most like a sensor; one that stops the count is exact.
        let fault = fault_error_codes(input, curve, near, fault_ohm)
            .map_or(fault, |[code, error]| clipped(input, code - away * error));
        ((fault - limit) * away - 1.0, (limit + (fault - limit) * share).round())
    });
    Parting {
        near_code,
        error_codes,
        margin_codes: found.map(|found| found.0),
        threshold_code: found.filter(|(margin, _)| *margin >= 1.0).map(|found| found.1),
    }
}

/// How far the code of a sensor may be off at a temperature; none where the limits reach a pole of the read-out.
fn error_codes(input: &ThermistorInput, curve: &Curve, degc: f64) -> Option<f64> {
    let ohm = curve.ohm(degc)?;
    let moved = curve.moved(degc, input.curve_tolerance_k(degc))?;
    off_codes(input, degc, (ohm, input.exponent(degc), moved)).map(|[_, error]| error)
}

/// The code of a fault with its leads and behind the leakage, before it meets the ends of the range, and how far that may be off.
fn fault_error_codes(input: &ThermistorInput, curve: &Curve, degc: f64, fault_ohm: f64) -> Option<[f64; 2]> {
    off_codes(input, degc, (fault_ohm, 0.0, curve.moved(degc, 0.0)?))
}

/// The code of a resistance in place of the sensor, and how far it may be off.
fn off_codes(input: &ThermistorInput, degc: f64, (ohm, exponent, moved): (f64, f64, Moved)) -> Option<[f64; 2]> {
    let read_out = input.read_out();
    let leak_s = input.wiring.leakage_ohm.map_or(0.0, |leak| 1.0 / leak);
    let lead_ohm = input.wiring.lead_ohm;
    let undisturbed = read_out.code(input.leaking(ohm) + lead_ohm);
    let model = CodeModel {
        read_out,
        wired: Wired { sensor_ohm: ohm, exponent, moved, leak_s, lead_ohm },
        undisturbed,
        delay_s: input.uncorrected_s(),
    };
    let sources = input.sources(degc, Known::default());
    // A worst case of one reading is over at once.
    let found = propagation::quick(&model, &sources, true, Work::FREE).ok()?;
    let error = found.low.abs().max(found.high.abs());
    (error.is_finite() && undisturbed.is_finite()).then_some([undisturbed, error])
}

/// Every fault of the wires.
pub fn faults(input: &ThermistorInput, curve: &Curve) -> WireFaults {
    let (open, short) = (part_open(input, curve, 0.5), part_short(input, curve, 0.5));
    let open_code = open_code(input);
    let mut found = WireFaults {
        open_looks: if curve.falls() { "cold" } else { "hot" },
        open_code,
        near_open_code: open.near_code,
        near_open_error_codes: open.error_codes,
        open_margin_codes: open.margin_codes,
        open_threshold_code: open.threshold_code,
        open_reads_degc: open_code.and_then(|code| input.read_out().ohm(code)).and_then(|ohm| curve.degc(ohm)),
        short_code: short_code(input),
        near_short_code: short.near_code,
        short_margin_codes: short.margin_codes,
        short_threshold_code: short.threshold_code,
        drifts: Vec::new(),
    };
    found.drifts = slow(input, curve, &found);
    found
}

fn slow(input: &ThermistorInput, curve: &Curve, wire: &WireFaults) -> Vec<SlowFault> {
    let mut found = Vec::new();
    for (fault, series, across) in SLOW {
        for degc in [input.min_degc, input.max_degc] {
            let Some(ohm) = curve.ohm(degc) else { continue };
            let wired = 1.0 / (1.0 / ohm + 1.0 / across) + series;
            let reads_degc = curve.degc(wired);
            let code = clipped(input, input.read_out().code(wired));
            found.push(SlowFault {
                fault,
                degc,
                code: Some(code).filter(|code| code.is_finite()),
                reads_degc,
                error_k: reads_degc.map(|reads| reads - degc),
                seen: wire.sees(code),
            });
        }
    }
    found
}
