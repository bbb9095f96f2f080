//! The current channel against an independent simulation and hand figures.
//!
//! Source of the errors: an independent program that searches every part (each deviation at its limits, the two stored
//! readings of the calibration with the same deviations) in every state of the car, to three decimals; `tests/python`
//! keeps such a program. It leaves the converter's initial offset out of what its drifting gain scales, so that the checks
//! set that offset to nothing; with 50 µV the drift of 45 ppm/K over 55 K adds 3.5 mA.

use serde_json::{Value, json};

use sensewright_core::calculation::{Answer, Ask, Depth};
use sensewright_core::catalogue;
use sensewright_core::demo::find;
use sensewright_core::design::Part;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::field::Notation;
use sensewright_core::judge::Verdict;
use sensewright_core::work::Work;

use super::{answer, at, holds, holds_relative};

fn channel(slug: &str, name: &str) -> Answer {
    let design = &find(slug).expect("the demo").design;
    let found = |part: &Part| part.section.key == "current" && part.name == name;
    let at = design.parts.iter().position(found).expect("its current channel");
    let ready = Prepared::new(design, Work::FREE).expect("it stands");
    design.parts[at].entry().solve(ready.input(at), Ask::to(Depth::Page), Work::FREE).expect("valid")
}

fn car() -> Answer {
    channel("mountain-rescue-car", "Shunt A")
}

/// The car with some values replaced, and without noise: the simulation that its numbers are from reads without any, at the
/// calibrating points as well.
fn car_with(changes: &[(&str, Value)]) -> Answer {
    let design = &find("mountain-rescue-car").expect("the demo").design;
    let at = design.parts.iter().position(|part| part.section.key == "current").expect("its current channel");
    let ready = Prepared::new(design, Work::FREE).expect("it stands");
    let mut input = Value::Object(ready.input(at).written());
    let quiet = [
        ("/converter/offset_v", json!(0.0)),
        ("/amplifier/bias_current_a", json!(0.0)),
        ("/converter/noise_v", json!(0.0)),
        // Nor kT/C of the low-pass.
        ("/filter/capacitance_farad", json!(1e-2)),
    ];
    for (pointer, value) in quiet.iter().chain(changes) {
        sensewright_tests::put(&mut input, pointer, value.clone());
    }
    let entry = design.parts[at].entry();
    entry.answer(Some(&input), Notation::Json).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

/// P = 400² · 35 µΩ coupled: 5.603 W, rise 28.0 K (28.01329 by hand), element 113.0 °C, R changed by 475 ppm (474.745).
#[test]
fn loss_rise_and_element_temperature() {
    let car = car();
    holds(at(&car, "/stress/power_w"), 5.603, 5e-4);
    holds(at(&car, "/stress/rise_k"), 28.01329, 5e-6);
    holds(at(&car, "/stress/element_degc"), 113.0133, 5e-5);
    holds(at(&car, "/stress/change_ppm"), 474.745, 5e-3);
    holds(at(&car, "/stress/derated_power_w"), 36.0, 5e-2);
}

/// R/(2π L) = 618.936 Hz; 60 A peak to peak at 10 kHz: 1.2e6 A/s · 9 nH / 35 µΩ = 308.571 A; L/R = 257.1 µs.
#[test]
fn corner_ripple_spike_and_low_pass() {
    let car = car();
    holds(at(&car, "/ripple/corner_hz"), 618.936, 5e-4);
    holds(at(&car, "/ripple/spike_a"), 308.571, 5e-4);
    holds(at(&car, "/ripple/time_constant_s") * 1e6, 257.1, 5e-2);
}

/// One code 43.5965 mA. The first part is full at 1399.2 A of 1400 A asked, at 85 °C with the element there (independent
/// simulation); without deviations 50 mV/35 µΩ = 1428.6 A.
#[test]
fn the_range_ends_where_the_first_part_is_full() {
    let car = car();
    holds(at(&car, "/range/lsb_a") * 1e3, 43.5965, 5e-5);
    holds(at(&car, "/range/full_at_a"), 1399.2, 5e-2);
    holds(at(&car, "/range/nominal_full_a"), 1428.57, 5e-3);
    let range = car.requirements.iter().find(|check| check.id == "current-channel.range").expect("the check");
    assert_eq!(range.verdict, Verdict::Fails);
}

/// Independent simulation, calibrated pulsed at 25 °C, switched on cold at −30 °C. With 0 and 400 A: 4.516 A of 3.800 A at
/// 400 A (118.9 %), 6.434 A of 5.400 A at 600 A (119.2 %), 4.846 A at −400 A, 6.768 A at −600 A (printed to a milliampere,
/// held to one more: its maxima are searched); with −400 and 400 A: 4.516 and 6.353 A.
#[test]
fn a_car_that_is_switched_on_cold_fails() {
    let errors = |changes: &[(&str, Value)]| {
        let car = car_with(changes);
        [1, 2].map(|point| at(&car, &format!("/points/{point}/judged_a")))
    };
    let [at_400, at_600] = errors(&[("/load/charge_peak_a", json!(0.0))]);
    holds(at_400, 4.516, 5e-4);
    holds(at_600, 6.434, 5e-4);
    let [back_400, back_600] = errors(&[]);
    holds(back_400, 4.846, 1e-3);
    holds(back_600, 6.768, 1.5e-3);
    let [at_400, at_600] = errors(&[("/calibrated_at/low_a", json!(-400.0))]);
    holds(at_400, 4.516, 5e-4);
    holds(at_600, 6.353, 5e-4);
    let car = car();
    let error = car.requirements.iter().find(|check| check.id == "current-channel.error").expect("the check");
    assert_eq!(error.verdict, Verdict::Fails);
    holds(at(&car, "/points/1/worst_corner/element_degc"), -30.0, 1e-9);
}

/// Independent simulation of the 35 µΩ chain, 400 A, 100 ± 25 ppm/K about 20 °C, calibrated settled at 60 °C with 0 and
/// 400 A: 9.727 A switched on cold at −30 °C. A million parts calibrated one by one reach 9.10 A.
#[test]
fn a_settled_calibration_is_spoilt_by_a_cold_start() {
    let car = car_with(&[
        ("/shunt/tcr_ppm_per_k", json!(100.0)),
        ("/shunt/tcr_tolerance_ppm_per_k", json!(25.0)),
        ("/shunt/tcr_quadratic_ppm_per_k2", json!(0.0)),
        ("/shunt/reference_degc", json!(20.0)),
        ("/conditions/calibration_degc", json!(60.0)),
        ("/conditions/ambient_max_degc", json!(60.0)),
        ("/bench/heated", json!("settled")),
        ("/load/charge_peak_a", json!(0.0)),
    ]);
    holds(at(&car, "/points/1/judged_a"), 9.727, 5e-4);
}

/// Closed form: settled 400 A at 85 °C, then 600 A for 10 s as a first-order node: 126.5 °C is the hottest the element
/// gets, 147.9 °C, settled at the peak, is no state.
#[test]
fn the_element_is_no_hotter_than_the_peak_lasts() {
    let car = car();
    // The part that is heated most: 1 % and 0.15 % higher, and its ripple, so that its rises are.
    holds(at(&car, "/stress/after_peak_degc"), 127.03, 1e-1);
    let result = car.result.tree();
    let corners = result["points"].as_array().expect("points").iter();
    for corner in corners.filter_map(|point| point.pointer("/worst_corner/element_degc").and_then(Value::as_f64)) {
        assert!(corner <= 127.13, "{corner}");
    }
}

/// Closed form of two known readings: −9 ppm/K · ΔT of a shunt that is calibrated settled and read settled at the same
/// ambient leaves nothing of its curve; nonlinearity and rounding count once a reading.
#[test]
fn what_has_not_changed_since_the_calibration_is_gone() {
    let car = car_with(&[
        ("/converter/gain_drift_ppm_per_k", json!(0.0)),
        ("/converter/reference_drift_ppm_per_k", json!(0.0)),
        ("/converter/offset_drift_v_per_k", json!(0.0)),
        ("/converter/inl_ppm", json!(0.0)),
        ("/converter/bits", json!(32)),
        ("/shunt/tcr_ppm_per_k", json!(0.0)),
        ("/shunt/tcr_quadratic_ppm_per_k2", json!(0.0)),
        ("/shunt/life_drift_percent", json!(0.0)),
        ("/shunt/emf_v_per_k", json!(0.0)),
        ("/calibration/gain_residual_percent", json!(0.0)),
        ("/calibration/offset_residual_v", json!(0.0)),
    ]);
    assert!(at(&car, "/points/1/judged_a") < 1e-6 * 400.0, "{}", car.result.tree()["points"][1]["judged_a"]);
}

/// The charge of a day follows from the reading at no current; by hand 24 h · I, of 120 Ah.
#[test]
fn offset_in_ampere_hours_a_day() {
    let car = car();
    let offset = at(&car, "/zero/offset_a");
    holds_relative(at(&car, "/zero/charge_ah_per_day"), 24.0 * offset, 1e-12);
    holds_relative(at(&car, "/zero/percent_per_day"), 24.0 * offset / 1.2, 1e-12);
}

/// The range ends where the first part of the chain clips, at either end: 0.5 V at the output of a gain of 20 is 25 mV at
/// the shunt, 10 mV at its input less. By hand, without deviations.
#[test]
fn the_whole_chain_sets_the_range() {
    let range = |name: &str, changes: &[(&str, Value)]| {
        let mut all = vec![("/amplifier/gain", json!(20)), ("/converter/full_scale_v", json!(1.25))];
        all.extend_from_slice(changes);
        let answer = answer("current-channel", &all);
        at(&answer, name) * answer.input["shunt"]["resistance_ohm"].as_f64().expect("a number")
    };
    let nominal = "/range/nominal_full_a";
    holds(range(nominal, &[]), 1.25 / 20.0, 1e-15);
    holds(range(nominal, &[("/amplifier/output_max_v", json!(0.5))]), 0.025, 1e-15);
    holds(
        range(nominal, &[("/amplifier/output_max_v", json!(0.5)), ("/amplifier/input_max_v", json!(0.01))]),
        0.01,
        1e-15,
    );
    let below = range("/range/full_below_a", &[("/amplifier/output_min_v", json!(-0.1))]);
    assert!((-0.005..-0.0048).contains(&below), "{below}");
}

/// A pack that charges needs a channel that reads below zero; one that does not charge, or another channel that reads it,
/// is enough.
#[test]
fn a_direction_that_nobody_reads_is_a_failure() {
    let verdict = |changes: &[(&str, Value)]| {
        let mut all = vec![("/converter/bipolar", json!(false))];
        all.extend_from_slice(changes);
        let answer = answer("current-channel", &all);
        answer.requirements.iter().find(|check| check.id == "current-channel.direction").map(|check| check.verdict)
    };
    assert_eq!(verdict(&[]), Some(Verdict::Fails));
    assert_eq!(verdict(&[("/load/charge_read_elsewhere", json!(true))]), Some(Verdict::Holds));
    assert_eq!(verdict(&[("/load/charge_peak_a", json!(0.0))]), None);
}

/// Shunt, front end and calibration of the start values as the current channel takes them.
fn started(changes: &[(&str, Value)]) -> Answer {
    answer("current-channel", changes)
}

fn started_number(pointer: &str) -> f64 {
    let start = Value::Object(catalogue::find("current-channel").expect("the entry").start().clone());
    start.pointer(pointer).and_then(Value::as_f64).expect("a number")
}

fn row<'a>(answer: &'a Answer, id: &str) -> &'a sensewright_core::judge::Check {
    answer.requirements.iter().find(|row| row.id == id).expect("a row")
}

/// Independent simulation: parts that are calibrated one by one, each with one noisy result at each point that is not
/// averaged; 99.73 % of them lie within 13.5 A, not 5.51 A. Closed form of the part of the noise: with the weights of the points at I,
/// 3 sqrt(w1² + w2²) u/R; of n readings the root of n less.
#[test]
fn a_noisy_calibration_stays_wrong() {
    let changes = |noise: f64, readings: u32| {
        [
            ("/converter/noise_v", json!(noise)),
            ("/converter/full_scale_v", json!(0.06)),
            ("/requirement/gain_percent", json!(1)),
            ("/requirement/offset_a", json!(3)),
            ("/bench/readings", json!(readings)),
            ("/averaging", json!(1)),
        ]
    };
    let error = |noise: f64, readings: u32| {
        let channel = started(&changes(noise, readings));
        let error = row(&channel, "current-channel.error");
        (error.achieved.expect("a number"), error.verdict, at(&channel, "/worst/current_a"), channel)
    };
    let (noisy, verdict, current, channel) = error(5e-5, 1);
    assert_eq!(verdict, Verdict::Fails, "{noisy}");
    assert!(noisy > 13.5, "{noisy}");
    let (still, ..) = error(0.0, 1);
    let high = started_number("/load/continuous_a");
    let (second, averaged) = (current / high, at(&channel, "/noise/averaged_a"));
    let expected = 3.0 * (1.0 - second).hypot(second) * averaged;
    holds_relative(noisy - still, expected, 5e-2);
    // Ten readings: averaged, and still rounded.
    let (ten, ..) = error(5e-5, 10);
    holds_relative(ten - still, expected / 10f64.sqrt(), 5e-2);
}

/// By the shunt's own page with the same part and the current with its ripple: 102.8 % of its power, and 135.08 °C after
/// the peak, 600 A with ±30 A of triangle (135.06 °C without).
#[test]
fn heat_is_that_of_the_part_that_is_heated_most() {
    let power = started(&[
        ("/shunt/tolerance_percent", json!(5)),
        ("/shunt/rated_power_w", json!(5.75)),
        ("/converter/full_scale_v", json!(0.07)),
    ]);
    let power = row(&power, "current-channel.power");
    assert_eq!(power.verdict, Verdict::Fails);
    holds(power.used_percent.expect("a share"), 102.8, 5e-2);
    let hot = started(&[
        ("/shunt/tolerance_percent", json!(20)),
        ("/shunt/max_element_degc", json!(135)),
        ("/converter/full_scale_v", json!(0.07)),
    ]);
    let peak = row(&hot, "current-channel.peak");
    assert_eq!(peak.verdict, Verdict::Fails);
    holds(peak.achieved.expect("a number"), 135.08, 5e-3);
}

/// By hand: 0 A and 400 A of a range of ±600 A count |w1| + |w2| = 4 times at −600 A; the ends of the range count once.
/// Three standard deviations against a third of the smallest allowance.
#[test]
fn far_points_and_noise_that_is_left_out_are_said() {
    let says = |answer: &Answer, code: &str| {
        answer.findings.iter().find(|finding| finding.code == code).map(|finding| finding.message.clone())
    };
    let range = [
        ("/load/peak_a", json!(600)),
        ("/load/continuous_a", json!(400)),
        ("/load/charge_peak_a", json!(600)),
        ("/requirement/gain_percent", json!(1)),
        ("/requirement/offset_a", json!(3)),
    ];
    let with = |changes: &[(&'static str, Value)]| {
        let mut all = range.to_vec();
        all.extend(changes.iter().cloned());
        started(&all)
    };
    let ends = [("/calibrated_at/low_a", json!(-600)), ("/calibrated_at/high_a", json!(600))];
    let far = says(&with(&[]), "current-channel.calibrated-far").expect("it is said");
    assert!(far.contains(" 4 times"), "{far}");
    assert_eq!(says(&with(&ends), "current-channel.calibrated-far"), None);
    let noisy = [("/converter/noise_v", json!(5e-4))];
    assert!(says(&with(&noisy), "current-channel.noise-not-counted").is_some());
    assert_eq!(says(&with(&[("/converter/noise_v", json!(1e-6))]), "current-channel.noise-not-counted"), None);
    let counted = [("/converter/noise_v", json!(5e-4)), ("/requirement/noise", json!("mean"))];
    assert_eq!(says(&with(&counted), "current-channel.noise-not-counted"), None);
}

/// Where a chain is full no calibration counts, so that calibrating again does not move it: by hand 50 mV/(35 µΩ · 1.01 ·
/// 1.2) less gain errors and offsets, some 1,166 A with ageing of 20 % over 15 years.
#[test]
fn an_interval_moves_no_end_of_the_range() {
    let aged = [("/shunt/life_drift_percent", json!(20)), ("/conditions/life_years", json!(15))];
    let often = [aged[0].clone(), aged[1].clone(), ("/bench/interval_years", json!(1))];
    let [once, often] = [started(&aged), started(&often)].map(|answer| at(&answer, "/range/full_at_a"));
    holds(often, once, 1e-9);
    holds(once, 1166.0, 15.0);
    // Without a calibration there is no time since it.
    let raw = [uncalibrated(None), uncalibrated(Some(1.0))].map(|answer| at(&answer, "/points/1/judged_a"));
    holds(raw[1], raw[0], 1e-9);
}

fn uncalibrated(interval: Option<f64>) -> Answer {
    let mut changes = vec![
        ("/shunt/life_drift_percent", json!(20)),
        ("/conditions/life_years", json!(15)),
        ("/converter/full_scale_v", json!(0.08)),
        ("/calibration/kind", json!("none")),
    ];
    changes.extend(interval.map(|interval| ("/bench/interval_years", json!(interval))));
    started(&changes)
}

/// Peaks without a pause are one current: 600 A with ±30 A of triangle settle as a lasting current does, and so does what
/// the rating of the part is held against.
#[test]
fn peaks_without_a_pause_never_cool() {
    let peaks = |repeat: f64| {
        started(&[
            ("/load/peak_repeat_s", json!(repeat)),
            ("/shunt/tcr_ppm_per_k", json!(0)),
            ("/shunt/tcr_tolerance_ppm_per_k", json!(0)),
            ("/shunt/tcr_quadratic_ppm_per_k2", json!(0)),
        ])
    };
    let answer = peaks(10.0);
    let input = &answer.input;
    let of = |pointer: &str| input.pointer(pointer).and_then(Value::as_f64).unwrap_or(0.0);
    let highest = (1.0 + of("/shunt/tolerance_percent") / 100.0) * (1.0 + of("/shunt/life_drift_percent") / 100.0);
    let power = (600.0 * 600.0 + 300.0) * of("/shunt/resistance_ohm") * highest;
    let around = of("/conditions/ambient_max_degc") + of("/conditions/shunt_extra_k");
    holds(at(&answer, "/stress/hottest_power_w"), power, 1e-3 * power);
    let settled = around + power * of("/shunt/thermal_resistance_k_per_w");
    holds(at(&answer, "/stress/after_peak_degc"), settled, 2e-3 * settled);
    assert!(at(&peaks(10.01), "/stress/after_peak_degc") <= at(&answer, "/stress/after_peak_degc"));
}

/// A triangle of ±100 A at 1,390 A of a chain that is full from 1,397 A is clipped: its mean would be 21.5 A low.
#[test]
fn a_ripple_that_clips_fails() {
    let with = |ripple: f64| {
        started(&[
            ("/load/ripple_current_a", json!(ripple)),
            ("/load/peak_a", json!(1300)),
            ("/load/peak_duration_s", json!(0.01)),
            ("/load/full_scale_a", json!(1300)),
            ("/shunt/inductance_henry", json!(0)),
        ])
    };
    let full = at(&with(0.0), "/range/full_at_a");
    assert!(with(0.0).requirements.iter().all(|row| row.id != "current-channel.ripple-clips"));
    assert_ne!(row(&with(full - 1301.0), "current-channel.ripple-clips").verdict, Verdict::Fails);
    assert_eq!(row(&with(full - 1299.0), "current-channel.ripple-clips").verdict, Verdict::Fails);
}

/// What an error rests on and nobody gave is not nothing.
#[test]
fn an_unknown_non_linearity_or_noise_is_not_judged() {
    let error_without = |key: &str, noise: &str, calibrated: &str| {
        let changes = [
            ("/calibration/kind", json!(calibrated)),
            ("/requirement/gain_percent", json!(50)),
            ("/requirement/noise", json!(noise)),
            ("/converter/inl_ppm", json!(20)),
            ("/converter/noise_v", json!(5e-6)),
        ];
        let mut input = started(&changes).input;
        input["converter"].as_object_mut().expect("a group").remove(key);
        let entry = catalogue::find("current-channel").expect("it is listed");
        let answer = entry.answer(Some(&input), Notation::Json).unwrap_or_else(|faults| panic!("{faults:#?}"));
        let error = row(&answer, "current-channel.error");
        (error.verdict, error.missing.clone())
    };
    assert_eq!(error_without("inl_ppm", "none", "none"), (Verdict::NotJudged, Some("/converter/inl_ppm".into())));
    assert_eq!(error_without("noise_v", "single", "none"), (Verdict::NotJudged, Some("/converter/noise_v".into())));
    assert_ne!(error_without("noise_v", "none", "none").0, Verdict::NotJudged);
    // It stands in the stored readings.
    assert_eq!(error_without("noise_v", "none", "two-point").0, Verdict::NotJudged);
}

/// A resistance that falls with the temperature loses most in the cold. By a root of the heat balance: 35 µΩ and −3000 ppm/K at
/// −30 °C with 0.5 K/W settle at −26.8 °C and 6.398 W; at 85 °C they lose 4.479 W of the 5 W.
#[test]
fn power_is_judged_where_most_of_the_allowance_is_used() {
    let answer = answer(
        "current-channel",
        &[
            ("/shunt/resistance_ohm", json!(35e-6)),
            ("/shunt/tolerance_percent", json!(0)),
            ("/shunt/life_drift_percent", json!(0)),
            ("/shunt/tcr_ppm_per_k", json!(-3000)),
            ("/shunt/tcr_tolerance_ppm_per_k", json!(0)),
            ("/shunt/thermal_resistance_k_per_w", json!(0.5)),
            ("/shunt/rated_power_w", json!(5)),
            ("/conditions/ambient_min_degc", json!(-30)),
            ("/conditions/ambient_max_degc", json!(85)),
            ("/conditions/shunt_extra_k", json!(0)),
            ("/load/continuous_a", json!(400)),
        ],
    );
    holds(at(&answer, "/stress/hottest_power_w"), 6.398, 5e-3);
    holds(at(&answer, "/stress/power_ambient_degc"), -30.0, 0.0);
    let row = answer.requirements.iter().find(|row| row.id == "current-channel.power").expect("the row");
    assert_eq!(row.verdict, Verdict::Fails);
}

/// The quickest low-pass within its tolerances leaves most of the ripple. Separate solution of the filter: 100 Ω and 1.59 µF at
/// −1 % and −10 % let it swing by 54.1 A, nominal by 48.3 A; 1393.5 A are read beside a peak of 1343 A.
#[test]
fn ripple_passes_the_quickest_low_pass() {
    let verdict = |percent: [f64; 2]| {
        let answer = answer(
            "current-channel",
            &[
                ("/shunt/resistance_ohm", json!(35e-6)),
                ("/shunt/tolerance_percent", json!(1)),
                ("/shunt/tcr_ppm_per_k", json!(20)),
                ("/shunt/tcr_tolerance_ppm_per_k", json!(5)),
                ("/shunt/inductance_henry", json!(9e-9)),
                ("/shunt/life_drift_percent", json!(0.15)),
                ("/shunt/zero_power_degc", json!(500)),
                ("/shunt/max_element_degc", json!(490)),
                ("/filter/resistance_ohm", json!(100)),
                ("/filter/capacitance_farad", json!(1.591_549_430_9e-6)),
                ("/filter/resistance_tolerance_percent", json!(percent[0])),
                ("/filter/capacitance_tolerance_percent", json!(percent[1])),
                ("/converter/inl_ppm", json!(0)),
                ("/load/peak_a", json!(1343)),
                ("/load/full_scale_a", json!(1343)),
            ],
        );
        answer.requirements.iter().find(|row| row.id == "current-channel.ripple-clips").expect("the row").verdict
    };
    assert_eq!([verdict([0.0, 0.0]), verdict([1.0, 10.0])], [Verdict::Holds, Verdict::Fails]);
}
