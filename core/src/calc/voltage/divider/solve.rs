//! The divider's numbers.

use std::f64::consts::{FRAC_PI_2, PI};

use super::chain::Fold;
use super::fault::{DividerFault, Watch, faults};
use super::input::{DividerInput, DriftBy, LeakagePath, Lower, Upper};
use super::output::{
    DividerBend, DividerBendPoint, DividerDrain, DividerDrift, DividerDynamics, DividerError, DividerErrorTerm,
    DividerHeating, DividerInsulation, DividerLeakage, DividerLoad, DividerOutput, DividerRatio, DividerStress,
    DividerTolerance,
};
use super::stress::{Around, ElementCount, Elements, MOST_APART, ladder};
use crate::constant::{DAY_H, HOUR_S};
use crate::judge::passes;
use crate::physics::network::{Network, loading, parallel, string_limit};
use crate::physics::noise;

/// q of the error q V², 1/V: the voltage coefficient of each element times its share of the input, to first order.
pub fn bend(net: Network, upper: &Upper, lower: &Lower) -> f64 {
    let k = net.ratio();
    let on_upper = upper.voltage_coefficient_ppm_per_v * 1e-6 * (1.0 - k) / f64::from(upper.count);
    let on_lower = lower.voltage_coefficient_ppm_per_v * 1e-6 * k / f64::from(lower.count);
    net.to_lower() * on_lower + net.to_upper() * on_upper
}

/// Upper and lower elements over a distance of temperature, which widens tolerance and drift over life: by tracking any two
/// of them part by no more than the limit, half of it each way, and what is left of their coefficients they share.
pub fn at_distance(upper: &Upper, lower: &Lower, distance_k: f64, leak: Leak) -> [Elements; 2] {
    let (absolute, half) = ([upper.tcr_ppm_per_k, lower.tcr_ppm_per_k], tracking(upper, lower) / 2.0);
    let ppm = match upper.drift_by {
        DriftBy::Tracking => absolute.map(|ppm| [half, (ppm - half).max(0.0)]),
        DriftBy::Absolute => absolute.map(|ppm| [ppm, 0.0]),
    };
    let wider = |elements: Elements, ppm: [f64; 2]| {
        let [apart, common] = ppm.map(|ppm| ppm * 1e-6 * distance_k);
        let tolerance = (elements.tolerance + apart).min(MOST_APART);
        Elements { tolerance, common: common.min(MOST_APART), ..elements }
    };
    let leak_ohm = leak.over(LeakagePath::Element);
    [Elements { leak_ohm, ..wider(upper.elements(), ppm[0]) }, wider(lower.elements(), ppm[1])]
}

/// A surface leakage beside the upper string: its least, and where it runs.
#[derive(Clone, Copy, Debug)]
pub struct Leak(pub Option<f64>, pub LeakagePath);

impl Leak {
    /// Its resistance over that path, Ω; infinite where it runs elsewhere, or nobody gave it.
    pub fn over(self, path: LeakagePath) -> f64 {
        self.0.filter(|_| self.1 == path).unwrap_or(f64::INFINITY)
    }
}

/// The elements as they share the voltage.
pub(super) fn stressed(input: &DividerInput) -> [Elements; 2] {
    let distance_k = (input.ambient_degc - input.calibration_degc).abs();
    at_distance(&input.upper, &input.lower, distance_k, leak(input))
}

const fn leak(input: &DividerInput) -> Leak {
    Leak(input.leakage_ohm, input.leakage_path)
}

fn around(input: &DividerInput, net: Network) -> Around {
    Around {
        net,
        load_tolerance: input.load_tolerance_percent / 100.0,
        bias_a: input.bias_current_a,
        leak_ohm: leak(input).over(LeakagePath::Whole),
    }
}

/// Half-widths of the changes of upper and lower string with temperature, relative per kelvin: by tracking the whole
/// difference is put on the upper string.
pub fn temperature_error(upper: &Upper, lower: &Lower) -> (f64, f64) {
    match upper.drift_by {
        DriftBy::Tracking => (tracking(upper, lower) * 1e-6, 0.0),
        DriftBy::Absolute => (upper.tcr_ppm_per_k * 1e-6, lower.tcr_ppm_per_k * 1e-6),
    }
}

/// The answer without its error and its curve, which no verdict rests on.
pub(super) fn solve(input: &DividerInput) -> DividerOutput {
    let net = input.network();
    let (heating, stress, n) = (heating(input, net), stress(input, net), f64::from(input.upper.count));
    let ratio = ratio(input, net, heating);
    let watch = Watch {
        input_min_v: input.input_min_v,
        input_max_v: input.input_max_v,
        over_range_v: ratio.over_range_v,
        comparison: input.comparison_error_percent / 100.0,
        limit_v: stress.limit_v,
        bias_a: input.bias_current_a,
        leakage_ohm: input.leakage_ohm.unwrap_or(f64::INFINITY),
        leakage_over_string: input.leakage_path == LeakagePath::Whole,
    };
    let faults = faults(net, n, f64::from(input.lower.count), watch);
    let unseen = |row: &&DividerFault| row.id == "upper-open" && !row.seen_by_range && !row.seen_by_comparison;
    let open_v = faults.iter().find(unseen).and_then(|row| row.gap_v);
    DividerOutput {
        ratio,
        stress,
        tolerance: tolerance(input, net),
        drift: drift(input, net),
        heating,
        bend: bend_output(input, net),
        load: load(input, net),
        leakage: leakage(input, net),
        dynamics: dynamics(input, net),
        drain: drain(input, net),
        insulation: insulation(input, net),
        faults,
        smallest_seen_drift_percent: input.comparison_error_percent * n / -net.to_upper(),
        creepage: fold(input, net, open_v).paths(),
        error: DividerError::default(),
        curve: Vec::new(),
    }
}

/// By the loss of each element at the highest input; the error is the larger of both signs of the coefficients, which by
/// tracking may differ by no more than that.
fn heating(input: &DividerInput, net: Network) -> DividerHeating {
    let (upper, lower) = (input.upper.elements(), input.lower.elements());
    // The most that flows within tolerance and drift of the upper string.
    let current_a = input.input_max_v / (net.upper_ohm * (1.0 - upper.tolerance) + net.lower_loaded_ohm());
    let through_lower = current_a * net.lower_loaded_ohm() / net.lower_ohm;
    let upper_k = current_a * current_a * upper.resistance_ohm * upper.thermal_resistance_k_per_w();
    let lower_k = through_lower * through_lower * lower.resistance_ohm * lower.thermal_resistance_k_per_w();
    let (a_upper, a_lower) = (input.upper.tcr_ppm_per_k, input.lower.tcr_ppm_per_k);
    let absolute = -net.to_upper() * a_upper * upper_k + net.to_lower() * a_lower * lower_k;
    let ppm = match input.upper.drift_by {
        DriftBy::Tracking => {
            let apart = a_upper.max(a_lower) * (upper_k - lower_k).abs();
            (-net.to_upper() * (apart + tracking(&input.upper, &input.lower) * lower_k)).min(absolute)
        }
        DriftBy::Absolute => absolute,
    };
    DividerHeating { upper_k, lower_k, error_percent: ppm * 1e-4 }
}

/// The tracking limit, ppm/K: the larger of both where both state one.
fn tracking(upper: &Upper, lower: &Lower) -> f64 {
    upper.tcr_tracking_ppm_per_k.max(lower.tcr_tracking_ppm_per_k.unwrap_or(0.0))
}

/// The largest ratio error over tolerance, temperature, life, self-heating, voltage, load and leakage, relative: factors
/// at their ends, bias current included.
fn highest_error(input: &DividerInput, net: Network, heating: DividerHeating) -> f64 {
    let (upper, lower) = (&input.upper, &input.lower);
    let distance_k = (input.ambient_degc - input.calibration_degc).abs();
    let (t_upper, t_lower) = temperature_error(upper, lower);
    let low = (1.0 - upper.tolerance_percent / 100.0)
        * (1.0 - upper.life_drift_percent / 100.0)
        * (1.0 - t_upper * distance_k);
    let high = (1.0 + lower.tolerance_percent / 100.0)
        * (1.0 + lower.life_drift_percent / 100.0)
        * (1.0 + t_lower * distance_k);
    let n = f64::from(upper.count);
    let ohm = net.upper_ohm * low;
    let leaking = match (input.leakage_ohm, input.leakage_path) {
        (None, _) => ohm,
        (Some(leak), LeakagePath::Whole) => parallel(ohm, leak),
        (Some(leak), LeakagePath::Element) => ohm * (n - 1.0) / n + parallel(ohm / n, leak),
    };
    let load_ohm = net.load_ohm * (1.0 + input.load_tolerance_percent / 100.0);
    let moved = Network { upper_ohm: leaking, lower_ohm: net.lower_ohm * high, load_ohm };
    let bent = 1.0 + (bend(net, upper, lower) * input.input_max_v).max(0.0);
    let heated = 1.0 + heating.error_percent / 100.0;
    let biased = input.bias_current_a * moved.source_loaded_ohm() / (net.ratio() * input.input_max_v);
    moved.ratio() / net.ratio() * bent * heated + biased - 1.0
}

fn ratio(input: &DividerInput, net: Network, heating: DividerHeating) -> DividerRatio {
    let k = net.ratio();
    let output_v = k * input.input_max_v;
    DividerRatio {
        ratio: k,
        unloaded_ratio: net.unloaded().ratio(),
        factor: 1.0 / k,
        unloaded_factor: 1.0 / net.unloaded().ratio(),
        output_v,
        output_min_v: k * input.input_min_v,
        transient_output_v: input.transient_v.map(|transient| k * transient),
        over_range_v: input.converter_full_scale_v / k,
        full_from_v: input.converter_full_scale_v / k / (1.0 + highest_error(input, net, heating)),
        range_used_percent: output_v / input.converter_full_scale_v * 100.0,
    }
}

fn stress(input: &DividerInput, net: Network) -> DividerStress {
    let [upper, lower] = stressed(input);
    let (ambient, v) = (input.ambient_degc, input.input_max_v);
    let limit_v = upper.limit_v(ambient);
    let surge = input.transient_v.map(|transient| (transient, upper.overload_v));
    DividerStress {
        ladder: ladder(&upper, &lower, &around(input, net), v, input.transient_v, ambient),
        limit_v,
        power_limited_v: upper.power_limited_v(ambient),
        derated_power_w: upper.derated_power_w(ambient),
        critical_ohm: upper.critical_ohm(ambient),
        // The rule takes the full input voltage: the lower part carries almost none of it.
        count: ElementCount::new(v, surge, limit_v, input.stress_limit_percent),
    }
}

fn tolerance(input: &DividerInput, net: Network) -> DividerTolerance {
    let (t, b) = (input.upper.tolerance_percent, input.lower.tolerance_percent);
    let (n, nb) = (f64::from(input.upper.count), f64::from(input.lower.count));
    let (to_upper, to_lower) = (net.to_upper(), net.to_lower());
    let root = |upper: f64, lower: f64| {
        libm::hypot(to_upper * string_limit(t, n, upper), to_lower * string_limit(b, nb, lower))
    };
    let root_3 = 3f64.sqrt();
    DividerTolerance {
        sensitivity_upper: to_upper,
        sensitivity_lower: to_lower,
        upper_worst_percent: t,
        upper_independent_percent: string_limit(t, n, 0.0),
        upper_correlated_percent: string_limit(t, n, input.upper.correlation),
        upper_standard_independent_percent: string_limit(t, n, 0.0) / root_3,
        upper_standard_common_percent: t / root_3,
        ratio_high_percent: net.ratio_error(-t / 100.0, b / 100.0) * 100.0,
        ratio_low_percent: net.ratio_error(t / 100.0, -b / 100.0) * 100.0,
        worst_case_percent: -to_upper * t + to_lower * b,
        independent_percent: root(0.0, 0.0),
        correlated_percent: root(input.upper.correlation, input.lower.correlation),
        standard_percent: root(0.0, 0.0) / root_3,
    }
}

fn drift(input: &DividerInput, net: Network) -> DividerDrift {
    let (upper, lower) = (&input.upper, &input.lower);
    let distance_k = (input.ambient_degc - input.calibration_degc).abs();
    let (to_upper, to_lower) = (-net.to_upper(), net.to_lower());
    let tracking_percent = to_upper * tracking(upper, lower) * 1e-4 * distance_k;
    let absolute_percent = (to_upper * upper.tcr_ppm_per_k + to_lower * lower.tcr_ppm_per_k) * 1e-4 * distance_k;
    DividerDrift {
        distance_k,
        tracking_percent,
        absolute_percent,
        counted_percent: match upper.drift_by {
            DriftBy::Tracking => tracking_percent,
            DriftBy::Absolute => absolute_percent,
        },
        upper_life_percent: to_upper * upper.life_drift_percent,
        lower_life_percent: to_lower * lower.life_drift_percent,
    }
}

fn bend_output(input: &DividerInput, net: Network) -> DividerBend {
    let q = bend(net, &input.upper, &input.lower);
    let (low, high) = input.calibration_v();
    let left = |v: f64| q * (v - low) * (v - high);
    let v = input.input_max_v;
    DividerBend {
        coefficient_ppm_per_v: q * 1e6,
        at_max_v: q * v * v,
        at_max_percent: q * v * 100.0,
        calibration_low_v: low,
        calibration_high_v: high,
        left_between_v: q.abs() * (high - low) * (high - low) / 4.0,
        left_at_max_v: left(v),
        left_at_min_v: left(input.input_min_v),
    }
}

fn load(input: &DividerInput, net: Network) -> DividerLoad {
    let source = net.source_ohm();
    let nominal = loading(source, net.load_ohm);
    let t = input.load_tolerance_percent / 100.0;
    let off = |part: f64| ((1.0 + loading(source, net.load_ohm * part)) / (1.0 + nominal) - 1.0).abs();
    let bias_output_v = input.bias_current_a * net.source_loaded_ohm();
    DividerLoad {
        loading_percent: nominal * 100.0,
        spread_percent: off(1.0 - t).max(off(1.0 + t)) * 100.0,
        bias_output_v,
        bias_v: bias_output_v / net.ratio(),
        bias_percent: bias_output_v / net.ratio() / input.input_max_v * 100.0,
    }
}

fn leakage(input: &DividerInput, net: Network) -> DividerLeakage {
    let n = f64::from(input.upper.count);
    let budget = input.leakage_budget_percent / 100.0;
    let whole = input.leakage_ohm.map(|ohm| net.leakage_over_string(ohm) * 100.0);
    let element = input.leakage_ohm.map(|ohm| net.leakage_over_element(n, ohm) * 100.0);
    DividerLeakage {
        whole_percent: whole,
        element_percent: element,
        lower_percent: input
            .leakage_ohm
            .map(|ohm| net.ratio_error(0.0, parallel(net.lower_ohm, ohm) / net.lower_ohm - 1.0) * 100.0),
        counted_percent: match input.leakage_path {
            LeakagePath::Whole => whole,
            LeakagePath::Element => element,
        },
        smallest_ohm: net.smallest_leakage_ohm(budget),
        smallest_element_ohm: net.smallest_element_leakage_ohm(n, budget),
    }
}

fn dynamics(input: &DividerInput, net: Network) -> DividerDynamics {
    let loaded = net.source_loaded_ohm();
    let tau = input.filter_farad.map(|farad| loaded * farad);
    let corner = tau.map(|tau| 1.0 / (2.0 * PI * tau));
    let noise = corner.map(|corner| noise::johnson_v(loaded, input.ambient_degc, FRAC_PI_2 * corner));
    DividerDynamics {
        source_ohm: net.source_ohm(),
        source_loaded_ohm: loaded,
        corner_hz: corner,
        time_constant_s: tau,
        settling_1000_s: tau.map(|tau| tau * libm::log(1e3)),
        settling_10000_s: tau.map(|tau| tau * libm::log(1e4)),
        ramp_lag_v: tau.map(|tau| tau * input.ramp_v_per_s),
        noise_output_v: noise,
        noise_v: noise.map(|noise| noise / net.ratio()),
    }
}

fn drain(input: &DividerInput, net: Network) -> DividerDrain {
    let current_a = input.input_max_v / (net.upper_ohm + net.lower_loaded_ohm());
    let all = current_a * f64::from(input.strings);
    let power_w = all * input.input_max_v;
    DividerDrain {
        current_a,
        power_w,
        charge_ah_per_year: all * DAY_H * 365.0,
        energy_j_per_day: power_w * DAY_H * HOUR_S,
    }
}

fn insulation(input: &DividerInput, net: Network) -> DividerInsulation {
    let strings_ohm = (net.upper_ohm + net.lower_loaded_ohm()) / f64::from(input.strings);
    let pack_ohm = input.pack_insulation_ohm.unwrap_or(f64::INFINITY);
    let together_ohm = parallel(strings_ohm, pack_ohm);
    let (low, lower) = (1.0 - input.upper.elements().tolerance, 1.0 - input.lower.elements().tolerance);
    let least = net.upper_ohm * low + parallel(net.lower_ohm * lower, net.load_ohm);
    let ohm_per_v = together_ohm / input.input_max_v;
    let least_ohm = parallel(least / f64::from(input.strings), pack_ohm);
    // What the strings alone do not keep no pack mends; what they keep says nothing without it.
    let keeps = |wanted: f64| {
        let kept = !passes(wanted, least_ohm / input.input_max_v);
        (!kept || input.pack_insulation_ohm.is_some()).then_some(kept)
    };
    DividerInsulation {
        counts: input.chassis_referenced,
        strings_ohm,
        together_ohm,
        least_ohm,
        ohm_per_v,
        strings_ohm_per_v: strings_ohm / input.input_max_v,
        keeps_100: keeps(100.0),
        keeps_500: keeps(500.0),
    }
}

fn fold(input: &DividerInput, net: Network, open_v: Option<f64>) -> Fold {
    let [upper, lower] = stressed(input);
    let around = around(input, net);
    let most = |around: Around| around.most_on_upper(&upper, &lower, input.input_max_v);
    Fold {
        elements: upper,
        per_row: input.layout.elements_per_row,
        gap_mm: input.upper.case_creepage_mm.min(input.upper.pad_gap_mm),
        row_gap_mm: input.layout.row_gap_mm,
        bypass_mm: input.layout.bypass_mm,
        mm_per_v: input.layout.creepage_mm_per_v,
        string_v: most(around),
        one_short_v: most(around.one_short(&upper)),
        open_v,
    }
}

pub(super) fn own_error(result: &DividerOutput) -> DividerError {
    let (tolerance, drift) = (&result.tolerance, &result.drift);
    let upper = -tolerance.sensitivity_upper * tolerance.upper_worst_percent;
    let terms: Vec<DividerErrorTerm> = [
        ("Upper tolerance, one block", upper, false),
        ("Lower tolerance", tolerance.worst_case_percent - upper, false),
        ("Drift with temperature", drift.counted_percent, false),
        ("Upper drift over life", drift.upper_life_percent, false),
        ("Lower drift over life", drift.lower_life_percent, false),
        ("Self-heating", result.heating.error_percent, false),
        ("Voltage coefficient", result.bend.at_max_percent.abs(), false),
        ("Spread of the load", result.load.spread_percent, false),
        ("Bias current", result.load.bias_percent, true),
        ("Surface leakage", result.leakage.counted_percent.unwrap_or(0.0), false),
    ]
    .into_iter()
    .map(|(label, percent, fixed)| DividerErrorTerm { label, percent: percent.max(0.0), fixed })
    .collect();
    DividerError {
        worst_case_percent: terms.iter().map(|term| term.percent).sum(),
        root_sum_square_percent: terms.iter().fold(0.0, |root, term| libm::hypot(root, term.percent)),
        terms,
    }
}

pub(super) fn curve(input: &DividerInput) -> Vec<DividerBendPoint> {
    let q = bend(input.network(), &input.upper, &input.lower);
    let (low, high) = input.calibration_v();
    let top = input.input_max_v.max(high);
    (0..=48)
        .map(|step| top * f64::from(step) / 48.0)
        .map(|v| DividerBendPoint { input_v: v, before_v: q * v * v, after_v: q * (v - low) * (v - high) })
        .collect()
}
