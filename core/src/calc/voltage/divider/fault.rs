//! # One element open or short
//!
//! A divider fails quietly: one short of six reads a fifth too high and stays inside the range. Each fault is judged by
//! two checks: the range (a reading below the lowest pack voltage or beyond the converter) and the sum of the cells.
//!
//! ```text
//! Formula    reading = output · 1/k; upper short: Ru (n − 1)/n; upper open: output = I_b (Rl ∥ Rload);
//!            lower open: output = V Rload/(Ru + Rload) + I_b (Ru ∥ Rload), clamped by what follows with V/Ru at most;
//!            the upper elements then carry V/n each
//!            upper open with leakage across it: output = V Rp/(R_leak + Ru (n − 1)/n + Rp), across the string V Rp/(R_leak + Rp);
//!            leakage comes and goes, so the reading lies anywhere from the bias level to this one, and a check must see all
//!            of them; the open element stands at the whole voltage over its gap
//!            range check sees f V when f V < V_min or f V > V_fs/k; comparison sees |f − 1| > e
//! Valid      the other parts unchanged by the failure: the stress on them is shown for that reason
//! Source     Kirchhoff's laws; kinds of failure open and short: common practice, no source
//! ```

use serde::Serialize;
use utoipa::ToSchema;

use crate::physics::network::{Network, parallel};

/// One fault and how it shows.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct DividerFault {
    /// A stable word: `upper-open`, `upper-short`, `lower-open`, `lower-short`.
    pub id: &'static str,
    /// The fault in words.
    pub label: &'static str,
    /// Output at the highest input, V, before anything clamps it.
    pub output_v: f64,
    /// What would be read there with no end of the range and no clamp, V: above the converter's full scale it is only
    /// "over range".
    pub reading_v: f64,
    /// That reading over true voltage.
    pub factor: f64,
    /// Whether the range check sees it at every voltage of the pack.
    pub seen_by_range: bool,
    /// Lowest voltage at which the range check misses it, V.
    pub missed_from_v: Option<f64>,
    /// Highest voltage at which the range check misses it, V.
    pub missed_to_v: Option<f64>,
    /// Whether the comparison with the sum of the cells sees it at every voltage of the pack.
    pub seen_by_comparison: bool,
    /// Voltage on each upper element that is left, V.
    pub survivor_v: Option<f64>,
    /// Share of what it may carry, percent.
    pub survivor_stress_percent: Option<f64>,
    /// Largest voltage over the gap of the open element, V.
    pub gap_v: Option<f64>,
    /// Largest current into what follows when it clamps the output, A.
    pub clamp_a: Option<f64>,
}

/// What the checks know.
#[derive(Clone, Copy, Debug)]
pub struct Watch {
    /// Lowest pack voltage, V.
    pub input_min_v: f64,
    /// Highest pack voltage, V.
    pub input_max_v: f64,
    /// The reading at which the converter is full, V.
    pub over_range_v: f64,
    /// Disagreement with the sum of the cells that is still taken for an error of measurement, relative.
    pub comparison: f64,
    /// What one upper element may carry, V.
    pub limit_v: f64,
    /// Current out of the input of what follows, A.
    pub bias_a: f64,
    /// Lowest surface leakage, Ω; infinite when none is known.
    pub leakage_ohm: f64,
    /// Whether it runs across the whole upper string.
    pub leakage_over_string: bool,
}

/// A faulty divider: output = gain · V + offset, where leakage may take the gain from the least to this one.
struct Faulty {
    least_gain: f64,
    gain: f64,
    offset_v: f64,
    survivor_v: Option<f64>,
    gap_v: Option<f64>,
    clamp_a: Option<f64>,
}

/// Every single fault of a divider with `upper` and `lower` elements.
pub fn faults(net: Network, upper: f64, lower: f64, watch: Watch) -> Vec<DividerFault> {
    let v = watch.input_max_v;
    let divided = |upper_ohm: f64, lower_ohm: f64| {
        let part = parallel(lower_ohm, net.load_ohm);
        (part / (upper_ohm + part), watch.bias_a * parallel(upper_ohm, part))
    };
    let on_upper = |gain: f64, left: f64| (left >= 1.0).then(|| v * (1.0 - gain) / left);
    let left = upper - 1.0;
    let (short_gain, short_bias) =
        if left >= 1.0 { divided(net.upper_ohm * left / upper, net.lower_ohm) } else { (1.0, 0.0) };
    let (low_gain, low_bias) =
        if lower > 1.0 { divided(net.upper_ohm, net.lower_ohm * (lower - 1.0) / lower) } else { (0.0, 0.0) };
    let (open_gain, open_bias) = if net.load_ohm.is_infinite() {
        (1.0, 0.0)
    } else {
        (net.load_ohm / (net.upper_ohm + net.load_ohm), watch.bias_a * parallel(net.upper_ohm, net.load_ohm))
    };
    let part = net.lower_loaded_ohm();
    let rest = if watch.leakage_over_string { 0.0 } else { net.upper_ohm * left / upper };
    let leak_gain = part / (watch.leakage_ohm + rest + part);
    [
        (
            "upper-short",
            "One upper element short",
            Faulty {
                least_gain: short_gain,
                gain: short_gain,
                offset_v: short_bias,
                survivor_v: on_upper(short_gain, left),
                gap_v: None,
                // A single element leaves nothing to limit the current.
                clamp_a: None,
            },
        ),
        (
            "upper-open",
            "One upper element open",
            Faulty {
                least_gain: 0.0,
                gain: leak_gain,
                offset_v: watch.bias_a * part,
                survivor_v: None,
                gap_v: Some(v),
                clamp_a: None,
            },
        ),
        (
            "lower-open",
            "One lower element open",
            Faulty {
                least_gain: open_gain,
                gain: open_gain,
                offset_v: open_bias,
                gap_v: Some(open_gain * v + open_bias),
                // Beyond the range something clamps the output near zero: the upper string carries it all.
                survivor_v: if open_gain * v + open_bias > watch.over_range_v * net.ratio() {
                    Some(v / upper)
                } else {
                    on_upper(open_gain, upper)
                },
                clamp_a: Some(v / net.upper_ohm),
            },
        ),
        (
            "lower-short",
            "One lower element short",
            Faulty {
                least_gain: low_gain,
                gain: low_gain,
                offset_v: low_bias,
                survivor_v: on_upper(low_gain, upper),
                gap_v: None,
                clamp_a: None,
            },
        ),
    ]
    .into_iter()
    .map(|(id, label, faulty)| row(id, label, &faulty, net.ratio(), watch))
    .collect()
}

fn row(id: &'static str, label: &'static str, faulty: &Faulty, ratio: f64, watch: Watch) -> DividerFault {
    let (low, high) = (watch.input_min_v, watch.input_max_v);
    let read = |gain: f64, v: f64| (gain * v + faulty.offset_v) / ratio;
    let reading = |v: f64| read(faulty.gain, v);
    // The reading rises with the true voltage, so what the range check misses is one interval: from where the highest
    // reading enters the range to where the lowest one leaves it.
    let at = |gain: f64, wanted: f64| (wanted - faulty.offset_v / ratio) / (gain / ratio);
    let from = match faulty.gain > 0.0 {
        true => at(faulty.gain, low).max(low),
        false if reading(low) >= low => low,
        false => f64::INFINITY,
    };
    let to = match faulty.least_gain > 0.0 {
        true => at(faulty.least_gain, watch.over_range_v).min(high),
        false if read(0.0, low) <= watch.over_range_v => high,
        false => f64::NEG_INFINITY,
    };
    let missed = Some((from, to)).filter(|(from, to)| from <= to);
    // Anything between two readings of one side is on that side.
    let off = |v: f64| {
        let [least, most] = [faulty.least_gain, faulty.gain].map(|gain| read(gain, v) - v);
        let allowed = watch.comparison * v;
        most < -allowed || least > allowed
    };
    DividerFault {
        id,
        label,
        output_v: faulty.gain * high + faulty.offset_v,
        reading_v: reading(high),
        factor: reading(high) / high,
        seen_by_range: missed.is_none(),
        missed_from_v: missed.map(|(from, _)| from),
        missed_to_v: missed.map(|(_, to)| to),
        seen_by_comparison: off(high) && (low <= 0.0 || off(low)),
        survivor_v: faulty.survivor_v,
        survivor_stress_percent: faulty
            .survivor_v
            .map(|v| if v > 0.0 { v / watch.limit_v.max(v * 1e-9) * 100.0 } else { 0.0 }),
        gap_v: faulty.gap_v,
        clamp_a: faulty.clamp_a,
    }
}
