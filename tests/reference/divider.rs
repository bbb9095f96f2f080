//! The divider against figures that were worked out independently of this code.
//!
//! Sources: "by hand" with the numbers put in; a separate script of hand formulae, printed to the digits shown; IEC
//! 60063:2015 for preferred values. Three invented packs: an 831.6 V car, a 408.8 V van, a 56.8 V telecom shelf.
//!
//! The script shares the pack voltage as V/n, without the lower part; the tool shares V R_i/ΣR. The test multiplies by
//! 1 − k where that shows.

use sensewright_core::calculation::Answer;
use sensewright_core::judge::Verdict;
use sensewright_core::physics::preferred::Series;
use sensewright_core::report::Severity;
use serde_json::{Value, json};

use super::{answer, at, holds, holds_relative};

/// 6 × 680 kΩ over 8.06 kΩ, 831.6 V.
fn car(changes: &[(&str, Value)]) -> Answer {
    answer("divider", changes)
}

/// 4 × 499 kΩ over 7.5 kΩ, 408.8 V.
fn van() -> Answer {
    answer(
        "divider",
        &[
            ("/input_min_v", json!(280.0)),
            ("/input_max_v", json!(408.8)),
            ("/upper/count", json!(4)),
            ("/upper/resistance_ohm", json!(499e3)),
            ("/upper/max_working_v", json!(150.0)),
            ("/upper/rated_power_w", json!(0.125)),
            ("/upper/zero_power_degc", json!(125.0)),
            ("/lower/resistance_ohm", json!(7500.0)),
            ("/filter_farad", json!(22e-9)),
            ("/ambient_degc", json!(75.0)),
        ],
    )
}

/// 1 × 300 kΩ over 10 kΩ, 56.8 V.
fn shelf() -> Answer {
    answer(
        "divider",
        &[
            ("/input_min_v", json!(43.2)),
            ("/input_max_v", json!(56.8)),
            ("/upper/count", json!(1)),
            ("/upper/resistance_ohm", json!(300e3)),
            ("/lower/resistance_ohm", json!(10e3)),
            ("/filter_farad", json!(100e-9)),
            ("/converter_full_scale_v", json!(2.5)),
            ("/leakage_ohm", json!(80e6)),
            ("/ambient_degc", json!(55.0)),
            ("/calibration_degc", json!(23.0)),
        ],
    )
}

fn rung(answer: &Answer, id: &str, field: &str) -> f64 {
    let result = answer.result.tree();
    let ladder = result.pointer("/stress/ladder").and_then(Value::as_array).expect("the ladder");
    ladder.iter().find(|rung| rung["id"] == id).expect("the rung")[field].as_f64().expect("a number")
}

fn fault(answer: &Answer, id: &str) -> Value {
    let result = answer.result.tree();
    let rows = result.pointer("/faults").and_then(Value::as_array).expect("faults");
    rows.iter().find(|row| row["id"] == id).expect("the fault").clone()
}

fn number(value: &Value, field: &str) -> f64 {
    value[field].as_f64().unwrap_or_else(|| panic!("no {field} in {value}"))
}

/// By hand: 8060/(4080000 + 8060) = 0.001971595; 1/k = 507.2035; 831.6 V · k = 1.639579 V; 2 V/k = 1014.407 V.
/// Script: k = 0.0037434, 1/k = 267.133, 1.5303 V, 534.3 V; k = 0.0322581, 1/k = 31.000, 1.8323 V, 77.5 V.
#[test]
fn ratio_output_and_range_of_three_packs() {
    let car = car(&[]);
    holds(at(&car, "/ratio/ratio"), 0.001_971_595, 5e-10);
    holds(at(&car, "/ratio/factor"), 507.2035, 5e-5);
    holds(at(&car, "/ratio/output_v"), 1.639_579, 5e-7);
    holds(at(&car, "/ratio/over_range_v"), 1014.407, 5e-4);
    let van = van();
    holds(at(&van, "/ratio/ratio"), 0.003_743_4, 5e-8);
    holds(at(&van, "/ratio/factor"), 267.133, 5e-4);
    holds(at(&van, "/ratio/output_v"), 1.5303, 5e-5);
    holds(at(&van, "/ratio/over_range_v"), 534.3, 5e-2);
    let shelf = shelf();
    holds(at(&shelf, "/ratio/ratio"), 0.032_258_1, 5e-8);
    holds(at(&shelf, "/ratio/factor"), 31.0, 5e-4);
    holds(at(&shelf, "/ratio/output_v"), 1.8323, 5e-5);
    holds(at(&shelf, "/ratio/over_range_v"), 77.5, 5e-2);
}

/// Script: 138.6, 102.2, 56.8 V an element as V/n; 69, 68, 28 % of the rating; power-limited 374, 238, 274 V; one short
/// 166.3, 136.3 V. By hand 138.6000 V = 69.300 % of 200 V and 166.3200 V.
#[test]
fn stress_of_the_elements() {
    for (answer, per_element, power_limited, one_short, k) in [
        (car(&[]), 138.6, 374.0, Some((166.32, 5.0)), 0.001_971_595),
        (van(), 102.2, 238.0, Some((136.267, 3.0)), 0.003_743_4),
        (shelf(), 56.8, 274.0, None, 0.032_258_1),
    ] {
        holds_relative(rung(&answer, "normal", "element_v"), per_element * (1.0 - k), 1e-6);
        holds(at(&answer, "/stress/power_limited_v"), power_limited, 0.5);
        if let Some((one_short, left)) = one_short {
            // Of the rest one may be high by tolerance and drift t, the others low: V/(n − 1) times (1 + t)/(1 − t (n − 3)/(n − 1)).
            // The lower part keeps a little more than k of it.
            let upper = &answer.input["upper"];
            let t = (number(upper, "tolerance_percent") + number(upper, "life_drift_percent")) / 100.0;
            let share = one_short * (1.0 + t) / (1.0 - t * (left - 2.0) / left);
            holds_relative(rung(&answer, "one-short", "element_v"), share, 5e-3);
        }
    }
    holds(rung(&car(&[]), "normal", "stress_percent"), 69.3 * (1.0 - 0.001_971_595), 5e-4);
}

/// 1 + t against 1 − t, by hand: with a tolerance of 0.5 % and a drift of 0.3 % 831.6 V · (1 − k) · 1.008/(1.008 + 5 · 0.992),
/// 140.18 V; the upper string takes most of the voltage with its 0.8 % up and the 0.2 % of the lower part down.
#[test]
fn unequal_sharing_of_one_high_element() {
    // Own heat and voltage move each string besides: 138.33 V and 340 K/W are 9.567 K of an upper element, 1.64 V and 850 K/W
    // 0.283 K of the lower one. The bias current of 20 nA takes a little off the output, through 8060 Ω and the share of the
    // drift that both strings have in common.
    let on_string = |upper_ppm: f64, up: f64, down: f64, shared: f64| {
        let (on, below) = (831.6 * 4.08e6 / 4_088_060.0 / 6.0, 831.6 * 8060.0 / 4_088_060.0);
        let up = up + 1e-6 * (upper_ppm * 340.0 * on * on / 680e3 + 5.0 * on);
        let down = down - 25e-6 * 850.0 * below * below / 8060.0;
        let (upper, lower) = (4.08e6 * up, 8060.0 * down);
        831.6 * upper / (upper + lower) + 20e-9 * upper * lower / (upper + lower) * (1.0 + shared)
    };
    // Over the 60 K to its ambient any two parts drift apart by 40 ppm/K at most: 1,200 ppm each way; 30 ppm/K they may share.
    let on_string_v = on_string(50.0, 1.0092, 0.9968, 1.8e-3);
    holds(rung(&car(&[]), "unequal", "element_v"), on_string_v * 1.0092 / (1.0092 + 5.0 * 0.9908), 1e-9);
    // A leakage of 1 MΩ over one of the others takes the more of it the more its resistance has drifted up with all.
    let leaking = car(&[("/leakage_ohm", json!(1e6)), ("/leakage_path", json!("element"))]);
    let low = 680e3 * 0.9908 * 1.0018;
    let rest = 4.0 * 0.9908 + 0.9908 * 1e6 / (1e6 + low);
    holds(rung(&leaking, "unequal", "element_v"), on_string_v * 1.0092 / (1.0092 + rest), 1e-9);
    // By coefficients of 100 ppm/K each: 6,000 ppm each way, of the lower part 25 ppm/K.
    let apart = car(&[
        ("/upper/drift_by", json!("absolute")),
        ("/upper/tcr_ppm_per_k", json!(100.0)),
        ("/lower/tcr_ppm_per_k", json!(25.0)),
    ]);
    let on_string_v = on_string(100.0, 1.014, 0.9965, 0.0);
    holds(rung(&apart, "unequal", "element_v"), on_string_v * 1.014 / (1.014 + 5.0 * 0.986), 1e-9);
}

/// By hand: a load as low as the lower part takes half of it, and with 20 % less 4/9 are left; a load of 90 % and a drift of 3,000
/// ppm/K over 110 K may be nothing, and then the upper string has all of the voltage; none is ever negative.
#[test]
fn stress_at_the_ends_of_the_load() {
    let channel = |changes: &[(&str, Value)]| {
        let rows = answer("voltage-channel", changes).requirements;
        let of = |id: &str| rows.iter().find(|row| row.id == id).and_then(|row| row.achieved).expect("a voltage");
        [of("voltage-channel.stress-unequal"), of("voltage-channel.stress-lower")]
    };
    let load = |ohm: f64, percent: f64, ppm: f64| {
        channel(&[
            ("/following/load_ohm", json!(ohm)),
            ("/following/load_tolerance_percent", json!(percent)),
            ("/following/load_drift_ppm_per_k", json!(ppm)),
        ])
    };
    let [[_, alone], [_, exact], [_, wide]] = [load(1e15, 0.0, 0.0), load(8060.0, 0.0, 0.0), load(8060.0, 20.0, 0.0)];
    // 1/(1 + 1) and 1.2/(1.2 + 1) of the lower part, beside 4.08 MΩ: a thousandth of the rest.
    holds_relative(exact / alone, 0.5, 3e-3);
    holds_relative(wide / exact, 12.0 / 11.0, 3e-3);
    let [upper, lower] = load(8060.0, 90.0, 3000.0);
    assert!(upper > load(8060.0, 20.0, 0.0)[0] && upper < 831.6, "{upper}");
    assert!(lower > wide && lower < alone, "{lower}");
}

/// By hand: one short reads × 4088060/3408060 = 1.199527. Script: × 1.3317 for four elements; one element: nothing left.
#[test]
fn one_element_short() {
    let quiet = car(&[("/bias_current_a", json!(0.0))]);
    holds(number(&fault(&quiet, "upper-short"), "factor"), 1.199_527, 5e-7);
    let van = van();
    holds(number(&fault(&van, "upper-short"), "factor"), 1.3317, 1e-4);
    let shelf = shelf();
    let short = fault(&shelf, "upper-short");
    holds(number(&short, "output_v"), 56.8, 1e-9);
    assert!(short.get("survivor_v").is_none(), "a single element leaves none");
    let single = |answer: &Answer| {
        let found = answer.findings.iter().find(|finding| finding.code == "divider.single-element");
        found.expect("one element is told").severity
    };
    assert_eq!(single(&shelf), Severity::Note, "56.8 V is below 60 V");
    assert!(shelf.cautions.iter().all(|care| !care.contains("rated barrier") && !care.contains("touch-safe")));
    let high = car(&[("/upper/count", json!(1))]);
    assert_eq!(single(&high), Severity::Fail);
    for wanted in ["Use more than one element in series or a rated barrier.", "touch-safe", "Treat every point"] {
        assert!(high.cautions.iter().any(|care| care.contains(wanted)), "{wanted}");
    }
}

/// By hand: 722.7 V reads 867 V, inside the 1014 V of the range: the range check misses it up to 1014.407/1.199527 =
/// 845.7 V, which is above the highest input; the sum of the cells sees 20 %.
#[test]
fn a_short_is_inside_the_range_and_the_cells_see_it() {
    let car = car(&[("/bias_current_a", json!(0.0))]);
    let short = fault(&car, "upper-short");
    holds(number(&short, "missed_from_v"), 554.4, 1e-9);
    holds(number(&short, "missed_to_v"), 831.6, 1e-9);
    assert_eq!(short["seen_by_comparison"], true);
    assert_eq!(fault(&car, "upper-open")["seen_by_range"], true, "0 V is below the lowest pack voltage");
    let link = self::car(&[("/input_min_v", json!(0.0))]);
    assert_eq!(fault(&link, "upper-open")["seen_by_range"], false, "0 V looks like a discharged link");
}

/// By hand: 820 V reads 983.612 V after one short, 163.612 V on each of the rest.
#[test]
fn one_short_at_820_v() {
    let answer = car(&[("/input_max_v", json!(820.0)), ("/bias_current_a", json!(0.0))]);
    let short = fault(&answer, "upper-short");
    holds(number(&short, "reading_v"), 983.612, 5e-4);
    holds(number(&short, "survivor_v"), 163.612, 5e-4);
}

/// Script: source 8044, 7472, 9677 Ω; corner 1979, 968, 164 Hz; drain 203.4, 204.0, 183.2 µA. By hand 8044.1089 Ω.
#[test]
fn source_resistance_corner_and_drain() {
    let car = car(&[("/filter_farad", json!(10e-9))]);
    holds(at(&car, "/dynamics/source_ohm"), 8044.1089, 5e-5);
    for (answer, source, corner, drain) in
        [(car, 8044.0, 1979.0, 203.4), (van(), 7472.0, 968.0, 204.0), (shelf(), 9677.0, 164.0, 183.2)]
    {
        holds(at(&answer, "/dynamics/source_ohm"), source, 0.5);
        holds(at(&answer, "/dynamics/corner_hz"), corner, 0.55);
        holds(at(&answer, "/drain/current_a") * 1e6, drain, 5e-2);
    }
}

/// By hand: bias 20 nA · 4.08 MΩ = 81.6 mV; loading by 10 MΩ −8044.11/10008044.11 = −0.080376 %.
#[test]
fn bias_current_and_loading_of_the_car() {
    let answer = car(&[("/load_ohm", json!(10e6)), ("/bias_current_a", json!(20e-9))]);
    holds(at(&answer, "/load/bias_v"), 81.6e-3, 1e-12);
    holds(at(&answer, "/load/loading_percent"), -0.080_376, 5e-7);
    // The capacitor sees the source with the load across it, 0.08 % less.
    let filtered = car(&[("/load_ohm", json!(10e6)), ("/filter_farad", json!(10e-9))]);
    holds(at(&filtered, "/dynamics/corner_hz"), 1978.53 * (1.0 + 8044.11 / 10e6), 0.05);
}

/// By hand: a source of 9.6 kΩ on 1.5 MΩ with 40 nA and 3.3 MΩ above: −0.63593 %, 132 mV.
#[test]
fn loading_and_bias_of_a_source() {
    let lower = 1.0 / (1.0 / 9600.0 - 1.0 / 3.3e6);
    let answer = car(&[
        ("/upper/resistance_ohm", json!(550e3)),
        ("/lower/resistance_ohm", json!(lower)),
        ("/load_ohm", json!(1.5e6)),
        ("/bias_current_a", json!(40e-9)),
    ]);
    holds(at(&answer, "/dynamics/source_ohm"), 9600.0, 1e-6);
    holds(at(&answer, "/load/loading_percent"), -0.635_93, 5e-6);
    holds(at(&answer, "/load/bias_v"), 0.132, 1e-12);
}

/// By hand: 8.2 kΩ with 22 nF: 882.234 Hz, 0.1 % after 1.24616 ms, 3.608 V behind a ramp of 20 V/ms.
#[test]
fn corner_settling_and_lag() {
    let lower = 1.0 / (1.0 / 8200.0 - 1.0 / 4.08e6);
    let answer = car(&[
        ("/lower/resistance_ohm", json!(lower)),
        ("/filter_farad", json!(22e-9)),
        ("/ramp_v_per_s", json!(20e3)),
    ]);
    holds(at(&answer, "/dynamics/corner_hz"), 882.234, 5e-4);
    holds(at(&answer, "/dynamics/settling_1000_s") * 1e3, 1.246_16, 5e-6);
    holds(at(&answer, "/dynamics/settling_10000_s") * 1e3, 1.246_16 * 4.0 / 3.0, 1e-5);
    holds(at(&answer, "/dynamics/ramp_lag_v"), 3.608, 5e-7);
}

/// By hand: 1500 V, 200 V elements, 80 % in normal use and 100 % after one short: ten elements.
#[test]
fn the_count_rule() {
    let answer = car(&[("/input_max_v", json!(1500.0)), ("/upper/resistance_ohm", json!(1e6))]);
    holds(at(&answer, "/stress/count/needed"), 10.0, 0.0);
    holds(at(&answer, "/stress/count/normal"), 10.0, 0.0);
    holds(at(&answer, "/stress/count/one_short"), 9.0, 0.0);
    // 1600 V is exactly ten times 160 V: rounding must not ask for an eleventh.
    let whole = car(&[("/input_max_v", json!(1600.0)), ("/upper/resistance_ohm", json!(1e6))]);
    holds(at(&whole, "/stress/count/normal"), 10.0, 0.0);
}

/// By hand: 8 × 470 kΩ at 1 % over 5.1 kΩ at 0.5 %, independent: k = 0.00135455, worst case 1.49797 %, root-sum-square
/// 0.611543 %, standard uncertainty 0.353074 %.
#[test]
fn eight_independent_elements() {
    let answer = car(&[
        ("/upper/count", json!(8)),
        ("/upper/resistance_ohm", json!(470e3)),
        ("/upper/tolerance_percent", json!(1.0)),
        ("/upper/correlation", json!(0.0)),
        ("/lower/resistance_ohm", json!(5100.0)),
        ("/lower/tolerance_percent", json!(0.5)),
    ]);
    holds(at(&answer, "/ratio/ratio"), 0.001_354_55, 5e-9);
    holds(at(&answer, "/tolerance/worst_case_percent"), 1.497_97, 5e-6);
    holds(at(&answer, "/tolerance/independent_percent"), 0.611_543, 5e-7);
    holds(at(&answer, "/tolerance/correlated_percent"), 0.611_543, 5e-7);
    holds(at(&answer, "/tolerance/standard_percent"), 0.353_074, 5e-7);
}

/// By hand: 1 − k = 0.9980284; worst case 0.598817 %; root-sum-square 0.226855 %; "one resistor of 0.5 %" 0.508897 %.
/// Six elements of one reel with r = 0.8: 0.913 of one resistor.
#[test]
fn tolerance_of_the_car() {
    let answer = car(&[("/upper/correlation", json!(0.8))]);
    holds(at(&answer, "/tolerance/worst_case_percent"), 0.598_817, 5e-7);
    holds(at(&answer, "/tolerance/independent_percent"), 0.226_855, 5e-7);
    holds(at(&answer, "/tolerance/upper_correlated_percent") / 0.5, 0.913, 5e-4);
    let block = car(&[]);
    holds(at(&block, "/tolerance/correlated_percent"), 0.508_897, 5e-7);
}

/// Closed form, computed with Python: 990 kΩ over 10 kΩ, 0.1 % each: +0.19819423 %, −0.19780615 %, first order 0.198 %,
/// root-sum-square 0.14000714 %, standard 0.08083316 %; 10 nA reads 9.9 mV.
#[test]
fn a_hundred_to_one_divider() {
    let answer = car(&[
        ("/upper/count", json!(1)),
        ("/upper/resistance_ohm", json!(990e3)),
        ("/upper/tolerance_percent", json!(0.1)),
        ("/lower/resistance_ohm", json!(10e3)),
        ("/lower/tolerance_percent", json!(0.1)),
        ("/bias_current_a", json!(10e-9)),
    ]);
    for (pointer, percent) in [
        ("/tolerance/ratio_high_percent", 0.198_194_23),
        ("/tolerance/ratio_low_percent", -0.197_806_15),
        ("/tolerance/worst_case_percent", 0.198),
        ("/tolerance/independent_percent", 0.140_007_14),
        ("/tolerance/standard_percent", 0.080_833_16),
    ] {
        holds_relative(at(&answer, pointer), percent, 1e-7);
    }
    holds(at(&answer, "/load/bias_v"), 9.9e-3, 1e-15);
}

/// JCGM 100:2008 clause 5.2.2: ten equal resistors of 0.1 %: u = 0.01825742 % when independent, 0.05773503 % together.
#[test]
fn ten_resistors_in_series() {
    let answer = car(&[("/upper/count", json!(10)), ("/upper/tolerance_percent", json!(0.1))]);
    holds_relative(at(&answer, "/tolerance/upper_standard_independent_percent"), 0.018_257_42, 1e-7);
    holds_relative(at(&answer, "/tolerance/upper_standard_common_percent"), 0.057_735_03, 1e-7);
}

/// Script: surface leakage of 80 MΩ over 300 kΩ: +0.363 % of the reading.
/// By hand: (1 − k) Ru/Rlk = 0.967742 · 0.00375 = 0.362903 %.
#[test]
fn surface_leakage_of_the_shelf() {
    let shelf = shelf();
    holds(at(&shelf, "/leakage/whole_percent"), 0.363, 5e-4);
    let exact = 10e3 / (300e3 * 80e6 / 80.3e6 + 10e3) / (10.0 / 310.0) - 1.0;
    holds_relative(at(&shelf, "/leakage/whole_percent"), exact * 100.0, 1e-9);
    // Over one element of six it is 36 times less than over the string.
    let car = car(&[("/leakage_ohm", json!(1e9))]);
    holds_relative(at(&car, "/leakage/whole_percent") / at(&car, "/leakage/element_percent"), 36.0, 5e-3);
}

/// By hand: −5 ppm/V on 138.33 V is 691.6 ppm of the string: 831.6 V reads 0.0690 % high; calibration at 400 and 800 V
/// leaves q · 431.6 · 31.6 V² there and q · 400²/4 between.
#[test]
fn the_voltage_coefficient_is_a_bend() {
    let answer = car(&[("/calibration_low_v", json!(400.0)), ("/calibration_high_v", json!(800.0))]);
    let k = 8060.0 / 4_088_060.0;
    let q = 5e-6 * (1.0 - k) * (1.0 - k) / 6.0;
    holds_relative(at(&answer, "/bend/at_max_v"), q * 831.6 * 831.6, 1e-12);
    holds_relative(at(&answer, "/bend/left_at_max_v"), q * 431.6 * 31.6, 1e-9);
    holds_relative(at(&answer, "/bend/left_between_v"), q * 40_000.0, 1e-12);
}

/// By hand: two 5 MΩ strings and 4 MΩ at 900 V: 1/(2/5 + 1/4) = 1.53846 MΩ, 1709.4 Ω/V.
#[test]
fn strings_load_the_insulation() {
    let answer = car(&[
        ("/input_max_v", json!(900.0)),
        ("/upper/count", json!(5)),
        ("/upper/resistance_ohm", json!(998e3)),
        ("/lower/resistance_ohm", json!(10e3)),
        ("/strings", json!(2)),
        ("/chassis_referenced", json!(true)),
        ("/pack_insulation_ohm", json!(4e6)),
    ]);
    holds_relative(at(&answer, "/insulation/together_ohm"), 1.538_46e6, 1e-5);
    holds_relative(at(&answer, "/insulation/ohm_per_v"), 1709.4, 1e-5);
}

/// By hand: 203.42 µA for 8760 h are 1.782 Ah; √(4 k_B T R B)/k of 8044 Ω at 85 °C with the corner of 10 nF, 1978.5 Hz:
/// √(k_B T/C)/k = √(1.380649e-23 · 358.15/10e-9) · 507.2 = 0.357 mV.
#[test]
fn charge_a_year_and_thermal_noise() {
    let answer = car(&[("/filter_farad", json!(10e-9))]);
    holds(at(&answer, "/drain/charge_ah_per_year"), 203.42e-6 * 8760.0, 1e-4);
    holds_relative(at(&answer, "/dynamics/noise_v"), (1.380_649e-23 * 358.15 / 10e-9f64).sqrt() * 507.2035, 1e-6);
}

/// IEC 60063:2015: counts and sums of the lists, and nearest values by hand.
#[test]
fn preferred_values() {
    for (series, count, sum) in [(Series::E24, 24, 901), (Series::E96, 96, 37_070), (Series::E192, 192, 74_599)] {
        assert_eq!(series.values().count(), count);
        assert_eq!(series.values().map(u32::from).sum::<u32>(), sum);
    }
    for (target, series, nearest) in
        [(4990.0, Series::E24, 5100.0), (5000.0, Series::E96, 4990.0), (1.37e6, Series::E24, 1.3e6)]
    {
        assert_eq!(series.nearest(target), Some(nearest));
    }
}

/// By trying every pair of E96 with the lower value from 4 to 20 kΩ and the upper from 10 kΩ to 10 MΩ: none is nearer.
#[test]
fn the_best_pair_is_the_best_of_all() {
    let answer = answer("divider/choice", &[]);
    let target = 1.64 / 831.6;
    let mut least = f64::INFINITY;
    for lower in Series::E96.between(4e3, 20e3) {
        for upper in Series::E96.between(1e4, 1e7) {
            let ratio = lower / (6.0 * upper + lower);
            least = least.min((ratio / target - 1.0).abs());
        }
    }
    holds(at(&answer, "/pairs/0/error_percent").abs(), least * 100.0, 1e-12);
    let result = answer.result.tree();
    let pairs = result["pairs"].as_array().expect("pairs");
    assert!(
        pairs
            .windows(2)
            .all(|pair| { number(&pair[0], "error_percent").abs() <= number(&pair[1], "error_percent").abs() })
    );
}

/// By hand: with the only lower element open and no load the whole input stands at the output, 831.6 V · 507.2 = 421.8 kV,
/// which no converter reads; clamped near zero, each of six elements carries 138.6 V.
#[test]
fn an_open_lower_element_is_over_range_and_clamped() {
    let car = car(&[("/bias_current_a", json!(0.0))]);
    let open = fault(&car, "lower-open");
    holds(number(&open, "reading_v"), 831.6 * 507.2035, 0.1);
    holds(number(&open, "survivor_v"), 138.6, 1e-9);
    assert!(
        car.cautions.iter().any(|care| care.contains("An open lower element") && care.contains("831.6")),
        "{:?}",
        car.cautions
    );
}

/// Available over required is a floor: half of what is required uses 200 % and fails.
#[test]
fn creepage_and_insulation_are_floors() {
    let answer = car(&[("/chassis_referenced", json!(true)), ("/insulation_requirement_ohm_per_v", json!(9830.0))]);
    let check = |id: &str| answer.requirements.iter().find(|check| check.id == id).expect("the check");
    let insulation = check("divider.insulation");
    // Strings at the lower end of tolerance and drift: 0.8 % and 0.2 %.
    let reached = 4.08e6 * 0.992 + 8060.0 * 0.998;
    holds_relative(insulation.achieved.expect("defined"), reached, 1e-9);
    holds_relative(insulation.required.expect("set"), 9830.0 * 831.6, 1e-12);
    holds_relative(insulation.used_percent.expect("finite"), 9830.0 * 831.6 / reached * 100.0, 1e-9);
    assert_eq!(insulation.verdict, Verdict::Fails);
    for path in answer.requirements.iter().filter(|check| check.id == "divider.creepage") {
        let (required, achieved) = (path.required.expect("set"), path.achieved.expect("defined"));
        holds_relative(path.used_percent.expect("finite"), required / achieved * 100.0, 1e-12);
        assert_eq!(path.verdict == Verdict::Fails, required > achieved);
    }
}

/// By hand: 10 MΩ across the open one of six leaves 8060/(10 MΩ + 3.4 MΩ + 8060) of the voltage, 0.304896 of what a whole
/// string reads; across the whole string 8060/(10 MΩ + 8060), 0.408477. Without leakage only the bias current is left.
/// The gap stands at the whole voltage.
#[test]
fn an_open_element_stands_at_the_whole_voltage_and_leaks() {
    for (leakage, path, factor) in
        [(Some(10e6), "element", 0.304_896), (Some(10e6), "whole", 0.408_477), (None, "whole", 0.0)]
    {
        let mut given = vec![("/bias_current_a", json!(0.0)), ("/leakage_path", json!(path))];
        given.extend(leakage.map(|ohm| ("/leakage_ohm", json!(ohm))));
        let answer = car(&given);
        let open = fault(&answer, "upper-open");
        holds(number(&open, "factor"), factor, 5e-7);
        holds_relative(number(&open, "gap_v"), 831.6, 1e-12);
        assert_eq!(open["seen_by_range"], true, "{path}");
    }
}

/// 600 kΩ of dirt across one of six 680 kΩ elements hides that it is open: 4088060/4008060 reads 2.0 % high, inside what the
/// cells are trusted to. Then its gap must stand the whole voltage for good.
#[test]
fn an_open_element_that_nobody_sees_needs_creepage_for_all_of_the_voltage() {
    let open = |given: &[(&str, Value)]| {
        let answer = car(given);
        let paths = answer.result.tree()["creepage"].as_array().expect("paths").clone();
        paths.into_iter().find(|path| path["label"] == "over one element, open and unseen")
    };
    let hidden = open(&[("/leakage_path", json!("element")), ("/leakage_ohm", json!(600e3))]).expect("judged");
    holds_relative(number(&hidden, "voltage_v"), 831.6, 1e-12);
    holds_relative(number(&hidden, "required_mm"), 8.316, 1e-12);
    assert!(open(&[("/leakage_path", json!("element")), ("/leakage_ohm", json!(600e6))]).is_none());
}

/// Derated: 0.25 W from 70 °C to nothing at 155 °C leaves 0.205882 W at 85 °C; 200²/0.205882 = 194.286 kΩ. By hand.
#[test]
fn the_critical_resistance_is_that_of_the_derated_power() {
    holds(at(&car(&[]), "/stress/critical_ohm"), 194_285.7, 0.05);
    assert!(car(&[("/ambient_degc", json!(160.0))]).result.tree()["stress"]["critical_ohm"].is_null());
}

/// An element at its rated power is at the end of its derating line: 85 K over 0.25 W are 340 K/W. 831.6 V on six elements of
/// 680 kΩ, 0.8 % low, lose 28.7 mW each, 9.75 K; by hand, with 50 ppm/K absolute against the lower part's 0.04 K:
/// 50 ppm/K · (9.75 K − 0.3 K) and 40 ppm/K of tracking on the lower part's own rise.
#[test]
fn elements_heat_themselves() {
    let answer = car(&[]);
    let current = 831.6 / (4.08e6 * 0.992 + 8060.0);
    let upper = current * current * 680e3 * 340.0;
    let lower = current * current * 8060.0 * 850.0;
    holds_relative(at(&answer, "/heating/upper_k"), upper, 1e-9);
    holds_relative(at(&answer, "/heating/lower_k"), lower, 1e-9);
    let k = 8060.0 / 4_088_060.0;
    let error = (1.0 - k) * (50.0 * (upper - lower) + 40.0 * lower);
    let absolute = (1.0 - k) * (50.0 * upper + 25.0 * lower);
    holds_relative(at(&answer, "/heating/error_percent"), error.min(absolute) * 1e-4, 1e-9);
}

/// What was not given is not judged; what the strings alone fail is.
#[test]
fn what_is_not_known_does_not_hold() {
    let verdict = |given: &[(&str, Value)], id: &str| {
        car(given).requirements.iter().find(|check| check.id == id).map(|check| check.verdict)
    };
    assert_eq!(verdict(&[], "divider.leakage"), Some(Verdict::NotJudged));
    assert_eq!(verdict(&[], "divider.insulation"), None, "not referred to the chassis");
    let referred = ("/chassis_referenced", json!(true));
    assert_eq!(verdict(std::slice::from_ref(&referred), "divider.insulation"), Some(Verdict::NotJudged));
    let known = [referred.clone(), ("/pack_insulation_ohm", json!(10e6))];
    assert_eq!(verdict(&known, "divider.insulation"), Some(Verdict::Holds));
    let fails = [referred, ("/insulation_requirement_ohm_per_v", json!(9830.0))];
    assert_eq!(verdict(&fails, "divider.insulation"), Some(Verdict::Fails));
}

/// The range is that of the divider whose ratio is highest: 831.6 V fill 1.6396 V of 1.642 V nominally, and 1.1 % more with
/// tolerance, drift and life at their ends.
#[test]
fn the_range_is_that_of_the_highest_ratio() {
    let answer = car(&[("/converter_full_scale_v", json!(1.642))]);
    let (nominal, first) = (at(&answer, "/ratio/over_range_v"), at(&answer, "/ratio/full_from_v"));
    assert!(nominal > 831.6 && first < 831.6, "{nominal} {first}");
    let range = answer.requirements.iter().find(|check| check.id == "divider.range").expect("judged");
    assert_eq!(range.verdict, Verdict::Fails);
}
