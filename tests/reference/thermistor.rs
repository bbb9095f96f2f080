//! Thermistor and platinum read-outs against closed forms and cases worked by hand.

mod curves;
mod judged;
mod states;

use sensewright_core::calculation::Answer;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::{answer, at, holds, holds_relative};

/// R25 10 kΩ, B 3435 K (numpy 2.4.6), and −B/T² in percent.
#[test]
fn the_beta_model_has_its_resistances_and_slopes() {
    let degc = [-40.0, -20.0, 0.0, 25.0, 50.0, 85.0, 105.0, 125.0];
    let sensor = answer("thermistor", &[("/points_degc", json!(degc))]);
    let expected = [
        248_276.524_566,
        77_522.549_793,
        28_704.290_39,
        10_000.0,
        4_101.189_901,
        1_451.347_087,
        873.921_771,
        553.740_216,
    ];
    for (index, ohm) in expected.iter().enumerate() {
        holds_relative(at(&sensor, &format!("/points/{index}/at/resistance_ohm")), *ohm, 1e-9);
    }
    for (index, percent) in [(1, -5.3601), (2, -4.6039), (3, -3.8642), (5, -2.6779)] {
        holds(at(&sensor, &format!("/points/{index}/at/alpha_percent_per_k")), percent, 5e-5);
    }
}

/// 5 V over 10 kΩ and the thermistor, 2 mW/K: 0.2408 K, 0.31249 K, 0.22031 K at 0, 25 and 60 °C, the equilibrium and not the
/// first estimate of 0.3125 K at 25 °C (scipy brentq).
#[test]
fn self_heating_is_an_equilibrium() {
    let sensor = answer(
        "thermistor",
        &[
            ("/divider/supply_v", json!(5)),
            ("/body/dissipation_w_per_k", json!(2e-3)),
            ("/points_degc", json!([0, 25, 60])),
        ],
    );
    for (index, kelvin, digit) in [(0, 0.2408, 5e-5), (1, 0.312_49, 5e-6), (2, 0.220_31, 5e-6)] {
        holds(at(&sensor, &format!("/points/{index}/at/self_heating_k")), kelvin, digit);
    }
}

/// A thermistor with its read-out as three packs have it.
struct Pack {
    beta: f64,
    fixed_tolerance: f64,
    supply: f64,
    dissipation: f64,
    time_constant: f64,
    ramp: f64,
    path: f64,
    heat: f64,
}

fn pack(with: &Pack, degc: [f64; 3]) -> Answer {
    answer(
        "thermistor",
        &[
            ("/beta/beta_k", json!(with.beta)),
            ("/divider/fixed_tolerance_percent", json!(with.fixed_tolerance)),
            ("/divider/supply_v", json!(with.supply)),
            ("/body/dissipation_w_per_k", json!(with.dissipation)),
            ("/body/time_constant_s", json!(with.time_constant)),
            ("/body/ramp_k_per_s", json!(with.ramp)),
            ("/cell/thermal_resistance_k_per_w", json!(with.path)),
            ("/cell/heat_flow_w", json!(with.heat)),
            ("/points_degc", json!(degc)),
        ],
    )
}

/// Three packs, 10 kΩ and 1 %/1 % each, 12 bit: resistance, one code, tolerance of sensor and fixed resistor (without
/// non-linearity), self-heating, lag, cell to sensor. By hand, to the printed digits.
#[test]
fn three_packs_have_the_figures_of_the_hand() {
    let cases = [
        (
            Pack {
                beta: 3435.0,
                fixed_tolerance: 0.1,
                supply: 3.3,
                dissipation: 1.5e-3,
                time_constant: 12.0,
                ramp: 0.3,
                path: 0.8,
                heat: 4.0,
            },
            [-30.0, 25.0, 60.0],
            [(135_452.0, 66.0, 0.64, 0.05), (10_000.0, 25.0, 0.28, 0.18), (2981.0, 45.0, 0.75, 0.13)],
            (3.60, 3.20),
        ),
        (
            Pack {
                beta: 3950.0,
                fixed_tolerance: 1.0,
                supply: 5.0,
                dissipation: 2e-3,
                time_constant: 18.0,
                ramp: 0.15,
                path: 1.0,
                heat: 3.0,
            },
            [-15.0, 25.0, 60.0],
            [(77_898.0, 41.0, 0.68, 0.13), (10_000.0, 22.0, 0.45, 0.31), (2486.0, 43.0, 0.95, 0.20)],
            (2.70, 3.00),
        ),
        (
            Pack {
                beta: 3380.0,
                fixed_tolerance: 1.0,
                supply: 3.3,
                dissipation: 2.5e-3,
                time_constant: 25.0,
                ramp: 0.02,
                path: 1.5,
                heat: 1.2,
            },
            [-10.0, 25.0, 60.0],
            [(45_168.0, 34.0, 0.72, 0.06), (10_000.0, 26.0, 0.53, 0.11), (3039.0, 45.0, 1.05, 0.08)],
            (0.50, 1.80),
        ),
    ];
    for (with, degc, rows, (lag, path)) in cases {
        let sensor = pack(&with, degc);
        for (index, (ohm, milli, tolerance, heat)) in rows.into_iter().enumerate() {
            let found = |name: &str| at(&sensor, &format!("/points/{index}/at/{name}"));
            holds(found("resistance_ohm"), ohm, 0.5);
            holds(found("step_k") * 1e3, milli, 0.5);
            holds(found("error/tolerance_k"), tolerance, 5e-3);
            holds(found("self_heating_k"), heat, 5e-3);
        }
        holds(at(&sensor, "/lag_k"), lag, 5e-3);
        holds(at(&sensor, "/gradient_k"), path, 5e-3);
    }
}

/// R = 10 kΩ exp(3435 (1/333.15 − 1/298.15)) = 2980.853 Ω, α = −3.09490 %/K, one of 4096 codes 44.5922 mK; 1 %, 1 % and 0.1 %
/// give 0.74651 K. By hand.
#[test]
fn one_code_and_the_tolerance_at_60_degrees() {
    let sensor = answer("thermistor", &[("/points_degc", json!([60]))]);
    holds(at(&sensor, "/points/0/at/resistance_ohm"), 2980.853, 5e-4);
    holds(at(&sensor, "/points/0/at/alpha_percent_per_k"), -3.094_90, 5e-6);
    holds(at(&sensor, "/points/0/at/step_k") * 1e3, 44.5922, 5e-5);
    holds(at(&sensor, "/points/0/at/error/tolerance_k"), 0.746_51, 5e-6);
}

/// An ideal fixed resistor, 1 %/1 %, B 3435: 0.26 K at 25 °C, 0.71 K at 60 °C, 1.09 K at 85 °C, 0.57 K at −20 °C. By hand.
#[test]
fn the_band_grows_away_from_25_degrees() {
    let sensor = answer(
        "thermistor",
        &[("/divider/fixed_tolerance_percent", json!(0)), ("/points_degc", json!([25, 60, 85, -20]))],
    );
    for (index, kelvin) in [0.26, 0.71, 1.09, 0.57].into_iter().enumerate() {
        holds(at(&sensor, &format!("/points/{index}/at/error/tolerance_k")), kelvin, 5.5e-3);
    }
}

/// B 3950: 5301.47 Ω at 40 °C; straightest with R (B − 2T)/(B + 2T) = 3850.38 Ω. One of 4096 codes 80.6493 mK at −30 °C, 21.9772 mK
/// at 25 °C, 89.6762 mK at 85 °C with 10 kΩ. By hand.
#[test]
fn the_straightest_resistor_and_the_codes_of_another_beta() {
    let sensor = answer(
        "thermistor",
        &[("/beta/beta_k", json!(3950)), ("/centre_degc", json!(40)), ("/points_degc", json!([-30, 25, 85]))],
    );
    holds(at(&sensor, "/fixed_resistor/sensor_ohm"), 5301.47, 5e-3);
    holds(at(&sensor, "/fixed_resistor/choices/1/ohm"), 5301.47, 5e-3);
    holds(at(&sensor, "/fixed_resistor/choices/2/ohm"), 3850.38, 5e-3);
    holds(at(&sensor, "/fixed_resistor/choices/2/e24_ohm"), 3900.0, 1e-9);
    for (index, milli) in [80.6493, 21.9772, 89.6762].into_iter().enumerate() {
        holds(at(&sensor, &format!("/points/{index}/at/step_k")) * 1e3, milli, 5e-5);
    }
}

/// f = 1/(2 ln 2 · R · 10 nF) at 10 °C with B 3435: 3918.14 Hz, 391.814 counts in 100 ms, one of them 59.5698 mK; +1 % of
/// capacitance is 0.233403 K. By hand, first order.
#[test]
fn an_oscillator_counts_and_its_capacitor_errs() {
    let sensor = answer(
        "thermistor",
        &[
            ("/read_out", json!("oscillator")),
            ("/oscillator/comparator_delay_s", json!(0)),
            ("/oscillator/capacitance_tolerance_percent", json!(1)),
            ("/points_degc", json!([10])),
        ],
    );
    holds(at(&sensor, "/points/0/at/output_hz"), 3918.14, 5e-3);
    holds(at(&sensor, "/points/0/at/code"), 391.814, 5e-4);
    holds(at(&sensor, "/points/0/at/step_k") * 1e3, 59.5698, 5e-5);
    holds(at(&sensor, "/points/0/at/error/part_k"), 0.233_403, 5e-7);
}

/// B 3380, 10 nF with 5 %: 1.0 K at −10 °C, 1.6 K at 60 °C; about 160 counts of 128 mK at −10 °C in 100 ms; with a reference
/// resistor of 0.1 % in the same oscillator a fiftieth of it is left. By hand.
#[test]
fn a_reference_resistor_cancels_the_capacitor() {
    let with = |reference: Value| {
        let mut changes = vec![
            ("/beta/beta_k", json!(3380)),
            ("/read_out", json!("oscillator")),
            ("/oscillator/comparator_delay_s", json!(0)),
            ("/min_degc", json!(-10)),
            ("/max_degc", json!(60)),
            ("/points_degc", json!([-10, 60])),
        ];
        if !reference.is_null() {
            changes.push(("/oscillator/reference_ohm", reference));
        }
        answer("thermistor", &changes)
    };
    let without = with(Value::Null);
    holds(at(&without, "/points/0/at/error/part_k"), 1.0, 0.05);
    holds(at(&without, "/points/1/at/error/part_k"), 1.6, 0.05);
    holds(at(&without, "/points/0/at/code"), 160.0, 0.5);
    holds(at(&without, "/points/0/at/step_k") * 1e3, 128.0, 0.5);
    assert!(without.findings.iter().any(|finding| finding.code == "thermistor.capacitor-decides"));
    let beside = with(json!(10e3));
    for point in 0..2 {
        let part = format!("/points/{point}/at/error/part_k");
        holds_relative(at(&beside, &part), at(&without, &part) / 50.0, 1e-9);
        holds(at(&beside, &format!("/points/{point}/at/error/reference_k")), 0.0, 1e-12);
    }
}

/// 10 MΩ across 135.452 kΩ at −30 °C: 1.35 % of resistance, 0.23 K warm. A lead of 1 Ω at 100 °C with R25 10 kΩ reads cold by
/// (1/R)/|α|. By hand.
#[test]
fn a_leak_reads_warm_and_a_lead_reads_cold() {
    let sensor = answer(
        "thermistor",
        &[("/wiring/leakage_ohm", json!(10e6)), ("/wiring/lead_ohm", json!(1)), ("/points_degc", json!([-30, 100]))],
    );
    holds(at(&sensor, "/points/0/at/error/leakage_k"), 0.23, 5e-3);
    let (ohm, alpha) =
        (at(&sensor, "/points/1/at/resistance_ohm"), at(&sensor, "/points/1/at/alpha_percent_per_k") / 100.0);
    holds_relative(at(&sensor, "/points/1/at/error/lead_k"), 1.0 / ohm / alpha, 1e-9);
    assert!(at(&sensor, "/points/1/at/error/lead_k") < 0.0);
}

/// A platinum sensor errs the other way: a lead of 1 Ω in front of a Pt1000 reads warm by 1/3.9083 K at 0 °C. By hand.
#[test]
fn a_lead_of_a_platinum_sensor_reads_warm() {
    let sensor = answer(
        "thermistor",
        &[
            ("/curve", json!("platinum")),
            ("/read_out", json!("current")),
            ("/wiring/lead_ohm", json!(1)),
            ("/points_degc", json!([0])),
        ],
    );
    holds_relative(at(&sensor, "/points/0/at/error/lead_k"), 1.0 / 3.9083, 1e-9);
    assert_eq!(sensor.result.tree()["wire"]["open_looks"], "hot");
}

/// R25 100 kΩ with 10 kΩ to supply: at −40 °C the sensor has 2.48 MΩ, code 4079.6 of 4095. An open wire lies 15 codes above: less
/// than a sensor of 3 %, B 2 % and 4 steps of non-linearity can be off there. By hand.
#[test]
fn an_open_wire_may_look_like_a_cold_cell() {
    let sensor = answer(
        "thermistor",
        &[
            ("/beta/r25_ohm", json!(100e3)),
            ("/beta/r25_tolerance_percent", json!(3)),
            ("/beta/beta_tolerance_percent", json!(2)),
            ("/converter/inl_lsb", json!(16)),
        ],
    );
    holds(at(&sensor, "/wire/open_code"), 4095.0, 0.0);
    holds(at(&sensor, "/wire/near_open_code"), 4096.0 * 2_482_765.245_66 / 2_492_765.245_66, 1e-3);
    assert!(
        sensor
            .result
            .tree()
            .pointer("/wire/open_margin_codes")
            .and_then(Value::as_f64)
            .is_none_or(|margin| margin < 0.0)
    );
    let plain = answer("thermistor", &[]);
    assert!(at(&plain, "/wire/open_margin_codes") > 100.0);
    assert!(plain.findings.iter().any(|finding| finding.code == "thermistor.open-wire"));
}

/// Supply and reference apart by 1 %: the share m errs by 1 %, so the resistance by 1 %/(1 − m) and the reading by that over
/// |α|. By hand, first order at 25 °C: m = 1/2, 0.02/0.038642 K.
#[test]
fn a_reference_of_its_own_costs_kelvins() {
    let sensor = answer("thermistor", &[("/divider/ratiometric", json!(false)), ("/points_degc", json!([25]))]);
    holds_relative(at(&sensor, "/points/0/at/error/reference_k"), 0.02 * 298.15 * 298.15 / 3435.0, 1e-9);
    assert!(sensor.findings.iter().any(|finding| finding.code == "thermistor.not-ratiometric"));
}

/// A rectangle alone: with only the tolerance of the resistance the 95 % interval of Monte Carlo is 0.95 of the limit.
#[test]
fn one_rectangle_keeps_its_coverage() {
    let sensor = answer(
        "thermistor",
        &[
            ("/beta/beta_tolerance_percent", json!(0)),
            ("/divider/fixed_tolerance_percent", json!(0)),
            ("/divider/fixed_tcr_ppm_per_k", json!(0)),
            ("/converter/inl_lsb", json!(0)),
            ("/converter/bits", json!(24)),
            ("/body/duty_percent", json!(0)),
            ("/points_degc", json!([25])),
        ],
    );
    let limit = 0.01 * 298.15 * 298.15 / 3435.0;
    holds_relative(at(&sensor, "/points/0/at/error/sum_of_limits_k"), limit, 1e-4);
    holds_relative(at(&sensor, "/points/0/assessment/monte_carlo/p95/symmetric/high"), 0.95 * limit, 1.5e-2);
}

/// 10 kΩ across the sensor: an open wire reads code 4096 · 10/20 = 2048, as a sound sensor at 25 °C does. No threshold parts
/// them. At −40 °C 248.277 kΩ and 10 kΩ in parallel are 9.6128 kΩ, which reads 26.02 °C: 66.0 K warm. By hand.
#[test]
fn an_open_wire_behind_a_leak_is_no_cold_cell() {
    let sensor = answer("thermistor", &[("/wiring/leakage_ohm", json!(10e3))]);
    holds(at(&sensor, "/wire/open_code"), 2048.0, 1e-9);
    holds(at(&sensor, "/wire/open_reads_degc"), 25.0, 1e-6);
    holds(at(&sensor, "/wire/near_open_code"), 4096.0 * 9612.81 / 19_612.81, 5e-2);
    assert!(at(&sensor, "/wire/open_margin_codes") < 0.0);
    assert_eq!(sensor.result.tree().pointer("/wire/open_threshold_code"), None);
    let said = |code: &str| sensor.findings.iter().find(|finding| finding.code == code);
    let open = said("thermistor.open-looks-like-a-cell").expect("a finding");
    assert!(open.message.contains("looks like 25"), "{}", open.message);
    assert!(said("thermistor.open-wire").is_none());
    let leak = said("thermistor.leak-moves-reading").expect("a finding");
    assert!(leak.message.contains("by 66.0") && leak.message.contains("no range check"), "{}", leak.message);
    // The standard fault of a wet connector is named without any leak in the wiring.
    let plain = answer("thermistor", &[]);
    assert!(plain.findings.iter().any(|finding| finding.code == "thermistor.cold-reads-warm"));
}

/// One sensor has one threshold for an open wire, on the page and in the header for firmware.
#[test]
fn the_channel_and_the_table_part_an_open_wire_alike() {
    let (sensor, table) = (answer("thermistor", &[]), answer("thermistor/table", &[]));
    holds(at(&sensor, "/wire/open_threshold_code"), at(&table, "/open/threshold_code"), 0.0);
    holds(at(&sensor, "/wire/short_threshold_code"), at(&table, "/short/threshold_code"), 0.0);
}

/// A large delay that is not subtracted is a known difference: no root-sum-square exceeds the worst case by it.
#[test]
fn a_delay_that_is_not_subtracted_is_no_first_order_matter() {
    let sensor = answer(
        "thermistor",
        &[
            ("/read_out", json!("oscillator")),
            ("/oscillator/comparator_delay_s", json!(5e-6)),
            ("/oscillator/delay_corrected", json!(false)),
            ("/points_degc", json!([100])),
        ],
    );
    let error = |name: &str| at(&sensor, &format!("/points/0/at/error/{name}"));
    assert!(error("root_sum_square_k") <= error("worst_case_k"));
    assert!(error("reference_k") > 5.0, "{}", error("reference_k"));
}

/// One threshold serves every part: the code of an open wire has errors, too. By hand: behind a supply that is 1 % off the
/// reference an open wire of some part reads 4096 · 0.99 less non-linearity and offset, some 40 codes below the coldest sensor;
/// behind 450 Ω to the low side up to 4 LSB of non-linearity and ½, where a sensor reads 1.58 codes above nothing.
#[test]
fn an_open_wire_has_the_errors_of_its_read_out() {
    let margin = |changes: &[(&str, Value)]| {
        let own = [("/beta/curve_k", json!(0.0)), ("/min_degc", json!(-40))];
        let answer = answer("thermistor", &[&own, changes].concat());
        let row =
            answer.requirements.iter().find(|row| row.id == "thermistor.open-looks-like-a-cell").expect("the row");
        (at(&answer, "/wire/open_margin_codes"), row.verdict)
    };
    let off = [("/divider/fixed_ohm", json!(3000)), ("/divider/ratiometric", json!(false)), ("/max_degc", json!(125))];
    let (codes, verdict) = margin(&off);
    holds(codes, -40.0, 2.5);
    assert_eq!(verdict, Verdict::Fails);
    let low = [
        ("/divider/fixed_ohm", json!(450)),
        ("/divider/side", json!("high")),
        ("/converter/inl_lsb", json!(4)),
        ("/max_degc", json!(60)),
    ];
    let (codes, verdict) = margin(&low);
    holds(codes, -2.9, 0.1);
    assert_eq!(verdict, Verdict::Fails);
}
