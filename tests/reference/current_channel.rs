//! The current channels of three invented packs against figures that were worked out independently of this code.
//!
//! Source of the figures: a separate script of hand formulae, printed to three decimals; the fifteen values checked by
//! hand among them are repeated in the comments. Its totals are first-order sums of limits: "sum of limits" here. The
//! tool's "worst case" is the extreme of the measurement model itself; it also holds the products of gain and offset
//! errors, so it differs by up to a percent of the sum and is judged instead of it. Where the nominal curve's change has
//! the sign opposite to the gain errors the products make the worst case smaller than the sum.

use serde_json::{Value, json};

use sensewright_core::calculation::{Answer, Ask, Depth};
use sensewright_core::demo::find;
use sensewright_core::design::Part;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::work::Work;

use super::{at, holds};

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

/// The row of a current (by its place) and a state of life.
fn row(channel: &Answer, point: usize, calibrated: bool) -> Value {
    let grid = channel.result.pointer(&format!("/points/{point}/grid")).and_then(Value::as_array).expect("rows");
    grid.iter().find(|row| row["calibrated"] == calibrated && row["end_of_life"] == true).expect("the state").clone()
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

/// 1400 A · 35 µΩ = 49 mV of ±50 mV; one code 43.5965 mA.
#[test]
fn range_and_one_code() {
    let car = car();
    holds(at(&car, "/range/used_percent"), 98.0, 5e-5);
    holds(at(&car, "/range/lsb_a") * 1e3, 43.5965, 5e-5);
}

/// The printed totals of one channel: before and after calibration, each as sum and root-sum-square, A.
type Totals = ((f64, f64), (f64, f64));

#[track_caller]
fn holds_totals(channel: &Answer, totals: [Totals; 3]) {
    for (point, (before, after)) in totals.into_iter().enumerate() {
        for (calibrated, (sum, root)) in [(false, before), (true, after)] {
            let row = row(channel, point, calibrated);
            // Two of the figures end in a five: the hand figures round them one way, a double the other.
            holds(row["sum_of_limits_a"].as_f64().expect("a number"), sum, 5.5e-4);
            holds(row["root_sum_square_a"].as_f64().expect("a number"), root, 5.5e-4);
        }
    }
}

/// The car at 5, 400, 600 A, end of life.
#[test]
fn the_car_before_and_after_calibration() {
    holds_totals(
        &car(),
        [((2.341, 1.532), (0.905, 0.555)), ((10.011, 4.603), (3.439, 1.308)), ((13.926, 6.693), (4.754, 1.875))],
    );
}

/// The van's two shunts at 5, 150, 350 A; the second one beside a contactor that is 30 K hotter: element 111.8 °C,
/// curve 8041 ppm.
#[test]
fn both_shunts_of_the_van_before_and_after_calibration() {
    let first = channel("island-bakery-van", "Shunt A");
    holds_totals(
        &first,
        [((0.867, 0.531), (0.325, 0.173)), ((3.637, 1.715), (1.282, 0.517)), ((7.068, 3.799), (2.213, 0.992))],
    );
    holds(at(&first, "/ripple/corner_hz"), 1989.0, 0.5);
    holds(at(&first, "/ripple/spike_a"), 38.4, 5e-2);
    holds(at(&first, "/zero/charge_ah_per_day"), 5.05, 5e-3);
    let second = channel("island-bakery-van", "Shunt B");
    holds_totals(
        &second,
        [((0.834, 0.390), (0.339, 0.165)), ((10.522, 7.633), (2.632, 1.388)), ((24.615, 17.930), (6.525, 3.879))],
    );
    holds(at(&second, "/stress/power_w"), 2.268, 5e-4);
    holds(at(&second, "/stress/rise_k"), 6.8, 5e-2);
    holds(at(&second, "/stress/element_degc"), 111.8, 5e-2);
    holds(at(&second, "/stress/change_ppm"), 8041.0, 0.5);
    holds(at(&second, "/zero/charge_ah_per_day"), 5.28, 5e-3);
}

/// The relay at 5, 60, 120 A.
#[test]
fn the_relay_before_and_after_calibration() {
    let relay = channel("lighthouse-relay", "Shunt A");
    holds_totals(
        &relay,
        [((0.137, 0.047), (0.065, 0.023)), ((0.984, 0.432), (0.362, 0.166)), ((2.233, 0.936), (1.011, 0.491))],
    );
    holds(at(&relay, "/stress/power_w"), 1.800, 5e-4);
    holds(at(&relay, "/stress/element_degc"), 76.6, 5e-2);
    holds(at(&relay, "/stress/change_ppm"), -33.0, 0.5);
    holds(at(&relay, "/ripple/corner_hz"), 6631.0, 0.5);
    // The script took the hot end, 32 K from the calibration temperature; the tool takes the cold end, 33 K: one kelvin of
    // 0.08 µV/K on 500 µΩ for 24 h more.
    holds(at(&relay, "/zero/charge_ah_per_day") - 24.0 * 0.08e-6 / 500e-6, 0.37, 5e-3);
}

/// The worst corner at 400 A is the cold one: ambient −30 °C, element −2.0 °C, curve −1546 ppm; at 600 A the hot one.
#[test]
fn the_worst_corner_is_cold_at_400_a_and_hot_at_600_a() {
    let car = car();
    let cold = row(&car, 1, true);
    holds(cold["ambient_degc"].as_f64().expect("a number"), -30.0, 1e-12);
    holds(cold["element_degc"].as_f64().expect("a number"), -2.0, 5e-2);
    holds(cold["change_ppm"].as_f64().expect("a number"), -1546.0, 0.5);
    holds(row(&car, 2, true)["ambient_degc"].as_f64().expect("a number"), 85.0, 1e-12);
}

/// At 5 A offset drift is the largest part after calibration, 0.514 A; before it the offset, 1.429 A. At 400 A gain
/// drift, 0.660 A, at 600 A 1.080 A.
#[test]
fn the_largest_part_is_named() {
    let car = car();
    for (point, id, ampere) in
        [(0, "converter.offset-drift", 0.514), (1, "converter.gain-drift", 0.660), (2, "converter.gain-drift", 1.080)]
    {
        let largest = car.result.pointer(&format!("/points/{point}/assessment/contributions/0")).expect("a term");
        assert_eq!(largest["id"], id);
        holds(largest["contribution"].as_f64().expect("a number"), ampere, 2e-3);
    }
}

/// 24.81 µV / 35 µΩ = 0.708857 A; 17.01257 Ah a day; 14.1771 % of 120 Ah; root-sum-square 535 mA.
#[test]
fn offset_in_ampere_hours_a_day() {
    let car = car();
    holds(at(&car, "/zero/offset_a"), 0.708_857, 5e-7);
    holds(at(&car, "/zero/charge_ah_per_day"), 17.012_57, 5e-6);
    holds(at(&car, "/zero/percent_per_day"), 14.1771, 5e-5);
    holds(at(&car, "/zero/root_sum_square_a"), 0.535, 5e-4);
}

/// 0.6 A + 0.8 %: at 5 A allowed 0.64 A, worst case fails, root-sum-square meets; at 400 A 3.80 A and at 600 A 5.40 A
/// both meet.
#[test]
fn the_requirement_fails_at_5_a_by_worst_case_only() {
    let car = car();
    for (point, allowed, worst_meets) in [(0, 0.64, false), (1, 3.80, true), (2, 5.40, true)] {
        let found = at(&car, &format!("/points/{point}/allowed_a"));
        holds(found, allowed, 5e-4);
        let row = row(&car, point, true);
        for name in ["worst_case_a", "sum_of_limits_a"] {
            assert_eq!(row[name].as_f64().expect("a number") <= found, worst_meets, "{point} {name}");
        }
        assert!(row["root_sum_square_a"].as_f64().expect("a number") <= found);
    }
}

/// A statistical requirement is judged at its own worst corner, which need not be that of the worst case: here drift makes
/// the cold end worst by limits, and the known change of the curve, 105 ppm/K · 115 K · 300 A = 3.62 A, the hot end by
/// probability.
#[test]
fn a_statistical_requirement_takes_its_own_corner() {
    let judged = |ambient_min: f64| {
        let channel = super::answer(
            "current-channel",
            &[
                ("/shunt/tcr_ppm_per_k", json!(-105)),
                ("/shunt/tcr_tolerance_ppm_per_k", json!(0)),
                ("/shunt/reference_degc", json!(-30)),
                ("/shunt/thermal_resistance_k_per_w", json!(0.01)),
                ("/shunt/emf_v_per_k", json!(0)),
                ("/shunt/life_drift_percent", json!(0)),
                ("/calibration/gain_residual_percent", json!(0)),
                ("/calibration/offset_residual_v", json!(0)),
                ("/amplifier/gain_drift_ppm_per_k", json!(40)),
                ("/converter/gain_drift_ppm_per_k", json!(40)),
                ("/converter/reference_drift_ppm_per_k", json!(40)),
                ("/converter/offset_drift_v_per_k", json!(0)),
                ("/conditions/calibration_degc", json!(85)),
                ("/conditions/ambient_min_degc", json!(ambient_min)),
                ("/currents_a", json!([300])),
                ("/requirement/gain_percent", json!(1.1)),
                ("/requirement/judged_by", json!("probability-95")),
            ],
        );
        at(&channel, "/points/0/judged_a")
    };
    // Both runs end within some milliamperes of standard error.
    assert!(judged(-30.0) >= judged(85.0) - 0.02, "{} {}", judged(-30.0), judged(85.0));
    assert!(judged(85.0) > 3.6);
}

/// What is needed of one source is always less than it has now, and it is only named when the requirement fails.
#[test]
fn a_lever_never_asks_for_a_worse_part() {
    for how in ["worst-case", "root-sum-square", "probability-95"] {
        let channel = super::answer(
            "current-channel",
            &[
                ("/currents_a", json!([400])),
                ("/requirement/gain_percent", json!(0.2)),
                ("/requirement/judged_by", json!(how)),
            ],
        );
        assert_eq!(channel.result["points"][0]["verdict"], "fails", "{how}");
        for lever in channel.result["points"][0]["what_it_takes"].as_array().expect("levers") {
            if let Some(needed) = lever["limit_needed"].as_f64() {
                assert!(needed < lever["limit_now"].as_f64().expect("a number"), "{how}: {lever}");
            }
        }
    }
}

/// The range ends where the first part of the chain clips: 0.5 V at the output of a gain of 20 is 25 mV at the shunt, 10 mV
/// at its input less, and of a bipolar range the nearer side counts. By hand.
#[test]
fn the_whole_chain_sets_the_range() {
    let range = |changes: &[(&str, Value)]| {
        let mut all = vec![("/amplifier/gain", json!(20)), ("/converter/full_scale_v", json!(1.25))];
        all.extend_from_slice(changes);
        at(&super::answer("current-channel", &all), "/range/clips_at_v")
    };
    holds(range(&[]), 1.25 / 20.0, 1e-15);
    holds(range(&[("/amplifier/output_max_v", json!(0.5))]), 0.025, 1e-15);
    holds(range(&[("/amplifier/output_max_v", json!(0.5)), ("/amplifier/input_max_v", json!(0.01))]), 0.01, 1e-15);
    holds(range(&[("/amplifier/output_min_v", json!(-0.1))]), 0.005, 1e-15);
}

/// 900 A through 50 µΩ are 45 mV: exactly the full scale of the van's converter. A rounding in the last bit is no failure.
#[test]
fn a_limit_that_is_just_reached_is_not_passed() {
    let van = channel("island-bakery-van", "Shunt A");
    holds(at(&van, "/range/used_percent"), 100.0, 0.0);
    assert!(van.findings.iter().all(|finding| finding.code != "current-channel.range"));
    let range = van.requirements.iter().find(|check| check.id == "current-channel.range").expect("the check");
    assert_eq!(range.verdict, sensewright_core::judge::Verdict::Thin);
}
