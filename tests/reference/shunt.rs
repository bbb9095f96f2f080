//! The shunt against closed forms, IEC 60028, and cases worked by hand.

use serde_json::json;

use super::{answer, at, holds, holds_relative};

/// Triangular ripple: I_rms² = I² + I_pp²/12. 60 µΩ under 320 A with 80 A peak to peak: 320.832 A and 6.176 W, by hand.
/// With a coefficient of zero the resistance does not move.
#[test]
fn ripple_adds_to_the_loss() {
    let shunt = answer(
        "shunt",
        &[
            ("/shunt/resistance_ohm", json!(60e-6)),
            ("/shunt/tcr_ppm_per_k", json!(0)),
            ("/operating/current_a", json!(320)),
            ("/operating/ripple_current_a", json!(40)),
        ],
    );
    holds(at(&shunt, "/rms_current_a"), 320.832, 5e-4);
    holds(at(&shunt, "/power_w"), 6.176, 5e-4);
}

/// Offset of 3.2 µV, 8 A within 1 %: 3.2 µV/(0.01 · 8 A) = 40 µΩ, by hand.
#[test]
fn the_offset_sets_the_smallest_resistance() {
    let shunt = answer(
        "shunt",
        &[
            ("/readout/offset_v", json!(3.2e-6)),
            ("/readout/allowed_percent", json!(1)),
            ("/operating/smallest_current_a", json!(8)),
        ],
    );
    holds_relative(at(&shunt, "/smallest_resistance_ohm"), 40e-6, 1e-12);
    assert!(shunt.findings.iter().any(|finding| finding.code == "shunt.too-small-for-offset"));
}

/// A parabola with its maximum at 42 °C and −0.48 ppm/K² there, in the coefficients about 25 °C: a = 2 b_v (T0 − T_v)/n,
/// b = b_v/n, n = 1 + b_v (T0 − T_v)²: 16.3223 ppm/K and −0.480067 ppm/K²; R(110)/R(25) − 1 = −2081.09 ppm. By hand.
#[test]
fn a_parabola_is_found_from_three_of_its_points() {
    let vertex = |degc: f64| 50e-6 * (1.0 - 0.48e-6 * (degc - 42.0_f64).powi(2));
    let points: Vec<_> =
        [-20.0, 42.0, 110.0].map(|degc| json!({"degc": degc, "resistance_ohm": vertex(degc)})).to_vec();
    let fit = answer("shunt/fit", &[("/points", json!(points)), ("/reference_degc", json!(25))]);
    holds(at(&fit, "/tcr_ppm_per_k/value"), 16.3223, 5e-5);
    holds(at(&fit, "/tcr_quadratic_ppm_per_k2/value"), -0.480_067, 5e-7);
    holds(at(&fit, "/vertex_degc"), 42.0, 1e-6);
    let r0 = at(&fit, "/resistance_ohm/value");
    holds((vertex(110.0) / r0 - 1.0) * 1e6, -2081.09, 5e-3);
    let result = fit.result.tree();
    let carried = result["carry_link"].as_str().expect("an address");
    assert!(carried.starts_with("/shunt?v=1&shunt.resistance_ohm="), "{carried}");
}

/// 15 ppm/K with 3 % of copper at 3930 ppm/K (IEC 60028): 15 · 0.97 + 3930 · 0.03 = 132.45 ppm/K.
#[test]
fn copper_in_the_tap_moves_the_coefficient() {
    let shunt = answer("shunt", &[("/shunt/tcr_ppm_per_k", json!(15)), ("/shunt/copper_share_percent", json!(3))]);
    holds(at(&shunt, "/effective_tcr_ppm_per_k"), 132.45, 5e-3);
}

/// Copper's own coefficient at 25 °C is 3930/(1 + 3930 · 10⁻⁶ · 5) = 3854.26 ppm/K; 3 % of it and 97 % of 15 ppm/K are
/// 130.18 ppm/K. By hand.
#[test]
fn copper_has_its_own_coefficient_at_the_reference_temperature() {
    let given = [
        ("/shunt/tcr_ppm_per_k", json!(15)),
        ("/shunt/copper_share_percent", json!(3)),
        ("/shunt/reference_degc", json!(25)),
    ];
    holds(at(&answer("shunt", &given), "/effective_tcr_ppm_per_k"), 130.178, 5e-4);
}

/// Copper, 100 µΩ, 5 J/K, 9 kA for 0.1 s from 20 °C: the rise is (exp(α I² R0 t/C) − 1)/α = 226.5 K (closed form of
/// C dT/dt = I² R(T)), not the 162 K of the first power.
#[test]
fn an_adiabatic_pulse_follows_the_resistance() {
    let shunt = answer(
        "shunt",
        &[
            ("/shunt/resistance_ohm", json!(100e-6)),
            ("/shunt/tcr_ppm_per_k", json!(3930)),
            ("/shunt/heat_capacity_j_per_k", json!(5)),
            ("/operating/ambient_degc", json!(20)),
            ("/operating/current_a", json!(0)),
            ("/operating/ripple_current_a", json!(0)),
            ("/operating/pulse_current_a", json!(9000)),
            ("/operating/pulse_duration_s", json!(0.1)),
        ],
    );
    holds(at(&shunt, "/pulse/adiabatic_rise_k"), 226.5, 0.05);
    // The closed form the other way round: C/(R0 α) ln(1 + α 150 K).
    holds_relative(
        at(&shunt, "/pulse/adiabatic_limit_a2s"),
        5.0 / 100e-6 / 3.93e-3 * (3.93e-3 * 150.0_f64).ln_1p(),
        1e-12,
    );
}

/// A part at the upper ends of tolerance and drift loses more than the nominal one: 60 µΩ, 2 % and 0.5 %, no coefficient,
/// 320 A: 6.144 W, and 6.144 · 1.02 · 1.005 = 6.2982 W. By hand. What holds must hold for it.
#[test]
fn heat_is_judged_with_the_part_that_is_heated_most() {
    let given = |rated: f64| {
        [
            ("/shunt/resistance_ohm", json!(60e-6)),
            ("/shunt/tolerance_percent", json!(2)),
            ("/shunt/life_drift_percent", json!(0.5)),
            ("/shunt/tcr_ppm_per_k", json!(0)),
            ("/shunt/tcr_tolerance_ppm_per_k", json!(0)),
            ("/shunt/rated_power_w", json!(rated)),
            ("/operating/current_a", json!(320)),
            ("/operating/ripple_current_a", json!(0)),
        ]
    };
    let shunt = answer("shunt", &given(6.2));
    holds(at(&shunt, "/power_w"), 6.144, 5e-7);
    holds(at(&shunt, "/hottest/power_w"), 6.298_214, 5e-7);
    assert!(shunt.findings.iter().any(|finding| finding.code == "shunt.power"));
    assert!(answer("shunt", &given(6.3)).findings.iter().all(|finding| finding.code != "shunt.power"));
}

/// 25 µΩ with 6 nH at 12 kHz: f_c = R/(2π L) = 663.146 Hz, √(1 + (f/f_c)²) = 18.1232, L/R = 240 µs, by hand.
/// 100 µΩ with 1 nH at 10 kHz: f_c = 15915.494 Hz, gain 1.1810098 (numpy 2.4.6).
#[test]
fn inductance_has_its_corner_its_gain_and_its_low_pass() {
    let with = |r: f64, l: f64, f: f64| {
        answer(
            "shunt",
            &[
                ("/shunt/resistance_ohm", json!(r)),
                ("/shunt/inductance_henry", json!(l)),
                ("/operating/ripple_frequency_hz", json!(f)),
            ],
        )
    };
    let shunt = with(25e-6, 6e-9, 12e3);
    holds(at(&shunt, "/inductance/corner_hz"), 663.146, 5e-4);
    holds(at(&shunt, "/inductance/ripple_gain"), 18.1232, 5e-5);
    holds(at(&shunt, "/inductance/time_constant_s"), 240e-6, 5e-10);
    let shunt = with(1e-4, 1e-9, 10e3);
    holds(at(&shunt, "/inductance/corner_hz"), 15915.494, 5e-4);
    holds(at(&shunt, "/inductance/ripple_gain"), 1.181_009_8, 5e-8);
}

/// 1.2 µV/K over 7 K on 50 µΩ: 168 mA; 3 µV/K over 2 K on 100 µΩ: 6 µV, 60 mA. By hand.
#[test]
fn thermal_emf_is_a_false_current() {
    for (s, k, r, ampere) in [(1.2e-6, 7.0, 50e-6, 0.168), (3e-6, 2.0, 1e-4, 0.06)] {
        let shunt = answer(
            "shunt",
            &[
                ("/shunt/emf_v_per_k", json!(s)),
                ("/shunt/end_temperature_difference_k", json!(k)),
                ("/shunt/resistance_ohm", json!(r)),
            ],
        );
        holds_relative(at(&shunt, "/emf/current_a"), ampere, 1e-12);
    }
}

/// Linear curve in closed form: 100 µΩ at 25 °C, 50 ppm/K, 5 K/W, 85 °C, 300 A: 130.236783 °C, 100.5261839 µΩ,
/// 9.047357 W, 30.1578552 mV.
#[test]
fn self_heating_is_coupled_with_the_curve() {
    let shunt = answer(
        "shunt",
        &[
            ("/shunt/resistance_ohm", json!(1e-4)),
            ("/shunt/tcr_ppm_per_k", json!(50)),
            ("/shunt/reference_degc", json!(25)),
            ("/operating/current_a", json!(300)),
            ("/operating/ripple_current_a", json!(0)),
        ],
    );
    holds(at(&shunt, "/element_degc"), 130.236_783, 5e-7);
    holds(at(&shunt, "/resistance_ohm") * 1e6, 100.526_183_9, 5e-8);
    holds(at(&shunt, "/power_w"), 9.047_357, 5e-7);
    holds(at(&shunt, "/signal_v") * 1e3, 30.157_855_2, 5e-8);
}

/// The rating of a bar shunt fixes its current, I = √(P/R): 15 µΩ at 1825 A lose 49.96 W (common practice, no source).
#[test]
fn a_rating_fixes_the_continuous_current() {
    let shunt = answer(
        "shunt",
        &[
            ("/shunt/resistance_ohm", json!(15e-6)),
            ("/shunt/tcr_ppm_per_k", json!(0)),
            ("/shunt/tcr_tolerance_ppm_per_k", json!(0)),
            ("/shunt/tolerance_percent", json!(0)),
            ("/shunt/life_drift_percent", json!(0)),
            ("/shunt/thermal_resistance_k_per_w", json!(0.5)),
            ("/shunt/rated_power_w", json!(49.96)),
            ("/operating/current_a", json!(1825)),
            ("/operating/ripple_current_a", json!(0)),
        ],
    );
    holds(at(&shunt, "/power_w"), 49.96, 5e-3);
    holds(at(&shunt, "/largest_current_a"), 1825.0, 0.5);
    assert_eq!(shunt.result.tree()["largest_current_limited_by"], "rated-power");
}

/// Linear derating from 70 °C to zero at 155 °C: 1, 0.823529, 0.647059, 0.352941, 0 of the rating (numpy 2.4.6; the shape
/// is that of IEC 60115-1, from memory).
#[test]
fn power_derates_on_a_line() {
    for (ambient, share) in [(70.0, 1.0), (85.0, 0.823_529), (100.0, 0.647_059), (125.0, 0.352_941), (155.0, 0.0)] {
        let shunt = answer(
            "shunt",
            &[
                ("/shunt/rated_power_w", json!(1)),
                ("/shunt/derate_from_degc", json!(70)),
                ("/shunt/zero_power_degc", json!(155)),
                ("/operating/ambient_degc", json!(ambient)),
            ],
        );
        holds(at(&shunt, "/derated_power_w"), share, 5e-7);
    }
}

/// IEC 60028:1925: copper moves by 3930 ppm/K at 20 °C, so by 0.393 between 20 °C and 120 °C.
#[test]
fn copper_is_shown_for_comparison() {
    let shunt = answer(
        "shunt",
        &[
            ("/shunt/max_element_degc", json!(170)),
            ("/operating/ambient_degc", json!(-40)),
            ("/shunt/reference_degc", json!(20)),
        ],
    );
    for point in shunt.result.tree()["curve"].as_array().expect("points") {
        let degc = point["degc"].as_f64().expect("a number");
        holds(point["copper_change_ppm"].as_f64().expect("a number"), 3930.0 * (degc - 20.0), 1e-6);
    }
}

/// Two joints of 5 µΩ and 8 µΩ under 100 µΩ elements: I_1 = I · 108/(105 + 108), by hand.
#[test]
fn parallel_elements_share_by_their_whole_branch() {
    let shunts = answer("shunt/parallel", &[]);
    holds_relative(at(&shunts, "/elements/0/current_a"), 1000.0 * 108.0 / 213.0, 1e-12);
    holds_relative(at(&shunts, "/resistance_ohm"), 105e-6 * 108e-6 / 213e-6, 1e-12);
    holds_relative(at(&shunts, "/elements/0/share_error_percent"), (2.0 * 108.0 / 213.0 - 1.0) * 100.0, 1e-9);
}

/// Two measurements of one quantity with limits of 0.26 A and 0.74 A: the weights go as the inverse squares
/// (Gauss-Markov), the step at the change of range is their sum.
#[test]
fn two_ranges_meet_at_a_seam() {
    let ranges = answer("shunt/two-range", &[]);
    holds_relative(at(&ranges, "/seam_step_a"), 0.003 * 80.0 + 0.02 + 0.003 * 80.0 + 0.5, 1e-12);
    holds_relative(
        at(&ranges, "/fine_weight"),
        (1.0 / 0.26_f64.powi(2)) / (1.0 / 0.26_f64.powi(2) + 1.0 / 0.74_f64.powi(2)),
        1e-12,
    );
    holds_relative(
        at(&ranges, "/fused_standard_a"),
        1.0 / (3.0 / 0.26_f64.powi(2) + 3.0 / 0.74_f64.powi(2)).sqrt(),
        1e-12,
    );
}

/// Above a loop gain of one there is no steady state: I² = 1/(a Rth R0) for a straight curve with a = 3930 ppm/K.
#[test]
fn runaway_is_said_and_nothing_is_invented() {
    let shunt = answer(
        "shunt",
        &[
            ("/shunt/tcr_ppm_per_k", json!(3930)),
            ("/shunt/resistance_ohm", json!(1e-3)),
            ("/operating/current_a", json!(260)),
            ("/operating/ambient_degc", json!(20)),
        ],
    );
    assert_eq!(shunt.findings[0].code, "shunt.thermal-runaway");
    holds_relative(at(&shunt, "/runaway_current_a"), (1.0 / (3.93e-3 * 5.0 * 1e-3_f64)).sqrt(), 1e-12);
    assert!(shunt.result.tree().get("element_degc").is_none() && shunt.result.tree().get("power_w").is_none());
}

/// Just below the runaway current of copper the balance lies at thousands of degrees, where no copper is left (1084.62 °C,
/// ITS-90): such a state is none, and neither is one of an alloy under 100 kA.
#[test]
fn nothing_settles_above_the_melting_point() {
    for (tcr, ohm, current) in [(3930, 1e-3, 222.0), (-20, 35e-6, 1e5)] {
        let shunt = answer(
            "shunt",
            &[
                ("/shunt/tcr_ppm_per_k", json!(tcr)),
                ("/shunt/resistance_ohm", json!(ohm)),
                ("/operating/current_a", json!(current)),
                ("/operating/ambient_degc", json!(20)),
            ],
        );
        assert_eq!(shunt.findings[0].code, "shunt.thermal-runaway");
        assert!(shunt.findings[0].message.contains("copper melts"), "{}", shunt.findings[0].message);
        assert!(
            shunt.result.tree().get("element_degc").is_none()
                && shunt.result.tree()["hottest"].get("power_w").is_none()
        );
    }
}

/// Resistance that rises with the square: I² = 1/(Rth R0 (s + 2 √(b c))), the double root of the heat balance; by hand
/// 5 K/W, 100 µΩ, 1000 ppm/K, 4 ppm/K² from 20 °C: 1/(5 · 10⁻⁴ · (0.001 + 0.004)) = 400,000 A², 632.456 A.
#[test]
fn the_runaway_current_is_the_double_root_of_the_balance() {
    let shunt = answer(
        "shunt",
        &[
            ("/shunt/resistance_ohm", json!(1e-4)),
            ("/shunt/tcr_ppm_per_k", json!(1000)),
            ("/shunt/tcr_quadratic_ppm_per_k2", json!(4)),
            ("/operating/ambient_degc", json!(20)),
        ],
    );
    holds(at(&shunt, "/runaway_current_a"), 632.456, 5e-4);
    let alloy = answer("shunt", &[("/shunt/tcr_ppm_per_k", json!(-20))]);
    assert!(alloy.result.tree().get("runaway_current_a").is_none());
}
