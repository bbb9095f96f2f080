//! Ripple against worked examples and closed forms.
//!
//! Sources: printed results of three worked examples (an 800 V car, a 400 V van with two shunts, a 48 V relay shelf) and
//! of two worked questions; "by hand" with the numbers put in.

use sensewright_core::calculation::Answer;
use sensewright_core::demo::find;
use sensewright_core::design::Design;
use sensewright_core::design::assess::assess;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::{answer, at, holds, holds_relative};

fn has(answer: &Answer, code: &str) -> bool {
    answer.findings.iter().any(|finding| finding.code == code)
}

fn shunt(ohm: f64, henry: f64, peak_to_peak_a: f64, frequency_hz: f64, more: &[(&str, Value)]) -> Answer {
    let mut changes = vec![
        ("/shunt/resistance_ohm", json!(ohm)),
        ("/shunt/inductance_henry", json!(henry)),
        ("/peak_to_peak_a", json!(peak_to_peak_a)),
        ("/frequency_hz", json!(frequency_hz)),
    ];
    changes.extend_from_slice(more);
    answer("ripple", &changes)
}

/// Printed: 60 A peak to peak at 10 kHz in 35 µΩ and 9 nH add ±308.6 A, corner 619 Hz (by hand 618.936 Hz), matching time
/// constant 257.1 µs; 30 A at 8 kHz in 50 µΩ and 4 nH ±38.4 A, 1989 Hz, 80.0 µs; in 100 µΩ and 6 nH ±28.8 A, 2653 Hz,
/// 60.0 µs; 6 A at 100 Hz in 500 µΩ and 12 nH ±0.0 A, 6631 Hz, 24.0 µs.
#[test]
fn four_shunts_have_their_printed_spikes() {
    for (ohm, henry, pp, f, spike, corner, matched) in [
        (35e-6, 9e-9, 60.0, 10e3, 308.6, 619.0, 257.1e-6),
        (50e-6, 4e-9, 30.0, 8e3, 38.4, 1989.0, 80.0e-6),
        (100e-6, 6e-9, 30.0, 8e3, 28.8, 2653.0, 60.0e-6),
        (500e-6, 12e-9, 6.0, 100.0, 0.0, 6631.0, 24.0e-6),
    ] {
        let found = shunt(ohm, henry, pp, f, &[]);
        holds(at(&found, "/sense/spike_rise_a"), spike, 0.05);
        holds(at(&found, "/sense/spike_fall_a"), spike, 0.05);
        holds(at(&found, "/sense/corner_hz"), corner, 0.5);
        holds(at(&found, "/sense/matched_filter_s"), matched, 5e-8);
    }
    holds(at(&answer("ripple", &[]), "/sense/corner_hz"), 618.936, 5e-4);
}

/// Worked questions, printed: 320 A with 80 A peak to peak in 60 µΩ: 320.832 A, 6.176 W; 25 µΩ and 6 nH at 12 kHz: corner
/// 663.146 Hz, gain 18.1232 against direct current, matching time constant 240 µs.
#[test]
fn mean_square_and_gain_have_their_printed_answers() {
    let found = shunt(60e-6, 9e-9, 80.0, 10e3, &[("/mean_a", json!(320.0))]);
    holds(at(&found, "/sense/rms_a"), 320.832, 5e-4);
    holds(at(&found, "/sense/loss_w"), 6.176, 5e-4);
    let found = shunt(25e-6, 6e-9, 60.0, 12e3, &[]);
    holds(at(&found, "/sense/corner_hz"), 663.146, 5e-4);
    holds(at(&found, "/sense/gain"), 18.1232, 5e-5);
    holds(at(&found, "/sense/matched_filter_s"), 240e-6, 1e-12);
    // Sine, by hand: √(320² + 80²/8) = 321.248 A.
    let sine = shunt(60e-6, 0.0, 80.0, 10e3, &[("/mean_a", json!(320.0)), ("/shape", json!("sine"))]);
    holds(at(&sine, "/sense/rms_a"), 321.248, 5e-4);
    assert!(has(&sine, "ripple.no-inductance"));
}

/// Printed: 600 A + 309 A exceeds the threshold of 800 A: nuisance trips at full power. By hand with half the ripple:
/// 600 + 30 + 308.571 = 938.571 A. Behind the matched filter of 257.1 µs the comparator sees 630 A.
#[test]
fn the_car_trips_at_full_power_and_the_matched_filter_cures_it() {
    let found = answer("ripple", &[]);
    holds(at(&found, "/trips/0/peak_a"), 938.571, 5e-4);
    assert!(has(&found, "ripple.trip"));
    let check = found.requirements.iter().find(|check| check.id == "ripple.trip").expect("a check");
    assert_eq!((check.verdict, check.field.as_deref()), (Verdict::Fails, Some("/trips/0")));
    let trip =
        |filter: f64, threshold: f64| json!([{"name": "over-current", "threshold_a": threshold, "filter_s": filter}]);
    let matched = answer("ripple", &[("/trips", trip(9e-9 / 35e-6, 800.0))]);
    holds(at(&matched, "/trips/0/peak_a"), 630.0, 1e-6);
    assert!(!has(&matched, "ripple.trip"));
    // The filter that is named is just enough.
    let needed = at(&found, "/trips/0/needed_filter_s");
    holds_relative(at(&answer("ripple", &[("/trips", trip(needed, 800.0))]), "/trips/0/peak_a"), 800.0, 1e-9);
    // On the charging side the lowest value counts: −938.571 A.
    let charging = answer("ripple", &[("/mean_a", json!(-600.0)), ("/trips", trip(0.0, -800.0))]);
    holds(at(&charging, "/trips/0/peak_a"), -938.571, 5e-4);
    assert!(has(&charging, "ripple.trip"));
    let hopeless = answer("ripple", &[("/trips", trip(0.0, 500.0))]);
    assert!(has(&hopeless, "ripple.trip"));
    assert!(hopeless.result.tree().pointer("/trips/0/needed_filter_s").is_none());
}

/// By hand, triangle without inductance: what lies h above the range takes h²/(2 Ipp) from the mean. 50 mV over 35 µΩ are
/// 1428.571 A; 1400 A with 100 A peak to peak lie 21.4286 A above: 2.29592 A. A sine clipped at its mean loses Ipp/(2π).
/// At half the period up and down a spike of ±s clipped at mean + c with c < s: with I_pp = 0.001 A its square wave loses
/// (s − c)/2.
#[test]
fn clipping_shifts_the_mean() {
    let flat = [("/mean_a", json!(1400.0)), ("/converter/allowed_error_a", json!(2.0))];
    let found = shunt(35e-6, 0.0, 100.0, 10e3, &flat);
    holds(at(&found, "/converter/range_high_a"), 1428.571, 5e-4);
    holds(at(&found, "/converter/shift_a"), -2.295_92, 5e-6);
    holds(at(&found, "/converter/shift_ah_per_day"), -2.295_92 * 24.0, 5e-4);
    assert!(has(&found, "ripple.clips"));
    let check = found.requirements.iter().find(|check| check.id == "ripple.shift").expect("a check");
    assert_eq!(check.verdict, Verdict::Fails);
    let sine = shunt(50e-6, 0.0, 100.0, 10e3, &[("/mean_a", json!(1000.0)), ("/shape", json!("sine"))]);
    holds(at(&sine, "/converter/shift_a"), -100.0 / (2.0 * std::f64::consts::PI), 1e-9);
    // 1 mA at 10 kHz, 20 A/s, over L/R = 10 s: ±200 A on 900 A, clipped at 1000 A: (200 − 100)/2, the ramp adds nothing.
    let square = shunt(50e-6, 500e-6, 1e-3, 10e3, &[("/mean_a", json!(900.0))]);
    holds(at(&square, "/sense/spike_rise_a"), 200.0, 1e-9);
    holds(at(&square, "/converter/shift_a"), -50.0, 1e-3);
    let unmoved = answer("ripple", &[]);
    holds(at(&unmoved, "/converter/shift_a"), 0.0, 0.0);
    assert!(has(&answer("ripple", &[("/mean_a", json!(1500.0))]), "ripple.mean-over-range"));
}

/// Printed: 6 A peak to peak at 100 Hz fall on a null of the mean of five samples at 250 per second; at 100.4 Hz the gain is
/// 0.0053, the beat 0.4 Hz with about 16 mA. By hand: sin(0.008 π)/(5 sin(0.4016 π)) = 0.005276. The 16 mA are half of
/// peak to peak (3 A) times the gain, 15.83 mA: a sine's amplitude. A triangle's fundamental is 8/π² of it, 12.8 mA.
#[test]
fn the_mean_of_five_samples_leaves_a_slow_beat() {
    let relay = |frequency: f64, shape: &str| {
        shunt(
            500e-6,
            12e-9,
            6.0,
            frequency,
            &[
                ("/mean_a", json!(60.0)),
                ("/shape", json!(shape)),
                ("/samples/rate_hz", json!(250.0)),
                ("/samples/averages", json!(5)),
                ("/converter/full_scale_v", json!(75e-3)),
            ],
        )
    };
    let null = relay(100.0, "sine");
    holds(at(&null, "/sampling/gain"), 0.0, 1e-15);
    assert!(has(&null, "ripple.on-a-null") && !has(&null, "ripple.slow-beat"));
    let off = relay(100.4, "sine");
    holds(at(&off, "/sampling/gain"), 0.0053, 5e-5);
    holds(at(&off, "/sampling/gain"), 0.005_276, 5e-7);
    holds(at(&off, "/sampling/beat_hz"), 0.4, 1e-9);
    holds(at(&off, "/sampling/beat_a"), 15.83e-3, 1e-5);
    assert!(has(&off, "ripple.slow-beat"));
    let triangle = relay(100.4, "triangle");
    holds(at(&triangle, "/sampling/beat_a"), 15.83e-3 * 8.0 / std::f64::consts::PI.powi(2), 1e-5);
    // The even harmonics of a symmetric triangle are nothing, and are not listed.
    let orders: Vec<u64> = triangle.result.tree()["sampling"]["harmonics"]
        .as_array()
        .expect("rows")
        .iter()
        .filter_map(|row| row["order"].as_u64())
        .collect();
    assert_eq!(orders, [1, 3, 5, 7, 9, 11, 13, 15]);
    // 10 kHz read once a millisecond folds to zero.
    let folded = answer("ripple", &[("/samples/rate_hz", json!(1000.0))]);
    holds(at(&folded, "/sampling/beat_hz"), 0.0, 0.0);
    assert!(has(&folded, "ripple.alias-at-zero"));
    // All of it may fold to zero: at most the largest deviation, half the ripple and the spike, 338.571 A.
    holds(at(&folded, "/sampling/beat_bound_a"), 338.571, 5e-4);
}

/// A separate program (samples of the exact wave, phases in steps of 1/20000, duty in steps): triangle of 60 A peak to peak,
/// 10 kHz, 30 %, 35 µΩ and 9 nH, one pole of 2 µs, 160 kHz, mean of 16: off by −13.1 to +7.4 A; 10 to 90 %: ±37.1 A.
#[test]
fn a_mean_of_samples_is_off_at_the_worst_phase() {
    let of = |more: &[(&str, Value)]| {
        let mut all = vec![
            ("/duty_percent", json!(30.0)),
            ("/converter/filter_s", json!(2e-6)),
            ("/converter/full_scale_v", json!(0.1)),
            ("/samples/rate_hz", json!(160e3)),
            ("/samples/averages", json!(16)),
        ];
        all.extend_from_slice(more);
        shunt(35e-6, 9e-9, 60.0, 10e3, &all)
    };
    let one = of(&[]);
    holds(at(&one, "/sampling/low_a"), -13.1, 0.05);
    holds(at(&one, "/sampling/high_a"), 7.4, 0.05);
    let range = of(&[
        ("/duty_min_percent", json!(10.0)),
        ("/duty_max_percent", json!(90.0)),
        ("/converter/allowed_error_a", json!(30.0)),
    ]);
    holds(at(&range, "/sampling/low_a"), -37.1, 0.05);
    holds(at(&range, "/sampling/high_a"), 37.1, 0.05);
    let check = range.requirements.iter().find(|check| check.id == "ripple.beat").expect("a check");
    assert_eq!(check.verdict, Verdict::Fails);
}

/// By hand: 340 A are reached at half the period up; a comparator of 345 A ± 6 A may trip at 339 A. At a rising part of 30 %
/// the spike is 2 · 12 A/(2 · 0.3) = 20 A: 348 A.
#[test]
fn a_comparator_trips_at_its_earliest_and_over_the_range_of_the_rising_part() {
    let with = |tolerance: f64, more: &[(&str, Value)]| {
        let trips = json!([{"name": "over-current", "threshold_a": 345.0, "tolerance_a": tolerance}]);
        let mut all = vec![("/mean_a", json!(318.0)), ("/trips", trips)];
        all.extend_from_slice(more);
        shunt(100e-6, 3e-9, 20.0, 10e3, &all)
    };
    assert_eq!(with(4.0, &[]).result.tree()["trips"][0]["trips"], json!(false));
    let early = with(6.0, &[]);
    assert_eq!(early.result.tree()["trips"][0]["trips"], json!(true));
    assert!(has(&early, "ripple.trip"));
    let moved = with(0.0, &[("/duty_min_percent", json!(30.0))]);
    holds(at(&moved, "/trips/0/peak_a"), 348.0, 1e-6);
    assert!(has(&moved, "ripple.trip"));
}

/// By hand: 318 A, half of 20 A and a spike of 2 · 20 A · 10 kHz · 3 nH/100 µΩ = 12 A reach 340 A: a threshold of 340 A is
/// reached, not passed, and so say both the requirement and the answer. A peak below a threshold of zero takes nothing.
#[test]
fn a_threshold_that_is_just_reached_is_not_passed() {
    let with = |threshold: f64, mean: f64| {
        let trips = json!([{"name": "over-current", "threshold_a": threshold}]);
        shunt(100e-6, 3e-9, 20.0, 10e3, &[("/mean_a", json!(mean)), ("/trips", trips)])
    };
    for sign in [1.0, -1.0] {
        let alike = with(340.0 * sign, 318.0 * sign);
        holds(at(&alike, "/trips/0/peak_a"), 340.0 * sign, 1e-9);
        let check = alike.requirements.iter().find(|check| check.id == "ripple.trip").expect("a check");
        assert_eq!((check.verdict, check.used_percent), (Verdict::Thin, Some(100.0)));
        assert_eq!(alike.result.tree()["trips"][0]["trips"], json!(false));
        assert!(!has(&alike, "ripple.trip"));
        assert!(alike.result.tree().pointer("/trips/0/needed_filter_s").is_none());
        let passed = with(339.99 * sign, 318.0 * sign);
        assert_eq!(passed.result.tree()["trips"][0]["trips"], json!(true));
        assert!(has(&passed, "ripple.trip"));
    }
    // What flows on the side of a threshold is not known of a mean on the other one; no less than nothing does, and the
    // ripple of 22 A alone passes a threshold at nothing, as it does one that may lie on the other side of zero.
    let verdict = |threshold: f64, tolerance: f64| {
        let trips = json!([{ "name": "over-current", "threshold_a": threshold, "tolerance_a": tolerance }]);
        let answer = shunt(100e-6, 3e-9, 20.0, 10e3, &[("/mean_a", json!(-318.0)), ("/trips", trips)]);
        let check = answer.requirements.iter().find(|check| check.id == "ripple.trip").expect("a check");
        let one = &answer.result.tree()["trips"][0];
        assert_eq!(one["trips"] == json!(true), check.verdict == Verdict::Fails);
        assert_eq!(one["margin_a"].as_f64().expect("a number") < 0.0, check.verdict == Verdict::Fails);
        (check.verdict, one.get("needed_filter_s").is_some())
    };
    assert_eq!(verdict(0.0, 0.0), (Verdict::Fails, false));
    assert_eq!(verdict(21.9, 0.0), (Verdict::Fails, true));
    assert_eq!(verdict(22.1, 0.0), (Verdict::NotJudged, false));
    assert_eq!(verdict(10.0, 75.0), (Verdict::Fails, false));
}

/// Each sample is clipped before the mean is taken. Separate script, 16 samples at 163 kHz clipped one by one and averaged at
/// 20,000 phases: triangle −4.143 A without inductance at 1420 A, −117.63 A with it at 1300 A, 7.673 A of a converter
/// without a sign at 0 A; sine −5.959 A and, 7 samples at 37 kHz with the inductance, −122.32 A.
#[test]
fn samples_are_clipped_before_their_mean() {
    let inductance = ("/shunt/inductance_henry", json!(0.0));
    let with = |mean: f64, rate: f64, count: u32, more: &[(&str, Value)]| {
        let mut changes = vec![
            ("/mean_a", json!(mean)),
            ("/converter/allowed_error_a", json!(20.0)),
            ("/samples/rate_hz", json!(rate)),
            ("/samples/averages", json!(count)),
        ];
        changes.extend_from_slice(more);
        answer("ripple", &changes)
    };
    let bare = with(1420.0, 163e3, 16, std::slice::from_ref(&inductance));
    holds(at(&bare, "/sampling/low_a"), -4.143, 0.01);
    holds(at(&bare, "/sampling/high_a"), -3.342, 0.01);
    let check = bare.requirements.iter().find(|check| check.id == "ripple.beat").expect("a check");
    assert_eq!(check.verdict, Verdict::Holds);
    let inductive = with(1300.0, 163e3, 16, &[]);
    holds(at(&inductive, "/sampling/low_a"), -117.632, 0.05);
    holds(at(&inductive, "/sampling/high_a"), -61.954, 0.05);
    let unsigned = with(0.0, 163e3, 16, &[inductance.clone(), ("/converter/bipolar", json!(false))]);
    holds(at(&unsigned, "/sampling/low_a"), 7.086, 0.01);
    holds(at(&unsigned, "/sampling/high_a"), 7.673, 0.01);
    let sine = ("/shape", json!("sine"));
    let smooth = with(1420.0, 163e3, 16, &[inductance, sine.clone()]);
    holds(at(&smooth, "/sampling/low_a"), -5.959, 0.01);
    holds(at(&smooth, "/sampling/high_a"), -5.161, 0.01);
    let few = with(1300.0, 37e3, 7, &[sine]);
    holds(at(&few, "/sampling/low_a"), -122.321, 0.05);
    holds(at(&few, "/sampling/high_a"), -65.732, 0.05);
}

/// A threshold below zero is judged at the largest current that charges. 75 µΩ, 3 nH, 50 A peak to peak at 20 kHz: L/R =
/// 40 µs, di/dt = 50 A · 20 kHz/0.5 = 2 A/µs, spike 80 A: −(400 + 25 + 80) = −505 A at −400 A, which −440 A do not take.
/// With a mean below the peak of the pack the peak counts: 505 A.
#[test]
fn a_comparator_is_judged_at_the_largest_mean_on_its_side() {
    let ripple = |mean_a: f64, threshold_a: f64, more: &[(&str, Value)]| {
        let trips = json!([{ "name": "trip", "threshold_a": threshold_a, "tolerance_a": 8.0 }]);
        let all = [&[("/mean_a", json!(mean_a)), ("/trips", trips)], more].concat();
        shunt(75e-6, 3e-9, 50.0, 20e3, &all)
    };
    let verdict =
        |answer: &Answer| answer.requirements.iter().find(|one| one.id == "ripple.trip").map(|one| one.verdict);
    // What charges the pack is not known.
    let open = ripple(400.0, -440.0, &[]);
    assert_eq!(verdict(&open), Some(Verdict::NotJudged));
    let braking = ripple(400.0, -440.0, &[("/pack_charge_peak_a", json!(400.0))]);
    assert_eq!(verdict(&braking), Some(Verdict::Fails));
    holds(at(&braking, "/trips/0/peak_a"), -505.0, 1e-9);
    holds(at(&braking, "/trips/0/mean_a"), -400.0, 0.0);
    // The same as its mean.
    holds(at(&ripple(-400.0, -440.0, &[]), "/trips/0/peak_a"), -505.0, 1e-9);
    let below = ripple(250.0, 440.0, &[("/pack_peak_a", json!(400.0))]);
    assert_eq!(verdict(&below), Some(Verdict::Fails));
    holds(at(&below, "/trips/0/peak_a"), 505.0, 1e-9);
    assert_eq!(verdict(&ripple(-250.0, 440.0, &[])), Some(Verdict::NotJudged));
    // Where nothing flows back only the ripple is left: −105 A of −432 A.
    let none = ripple(400.0, -440.0, &[("/pack_charge_peak_a", json!(0.0))]);
    assert_eq!(verdict(&none), Some(Verdict::Holds));
    holds(at(&none, "/trips/0/peak_a"), -105.0, 1e-9);
}

/// In a design the pack tells both peaks: the drive of the demo, with a comparator against braking current; and the car,
/// whose mean is not typed: 600 + 30 + (9 nH/35 µΩ) · 60 A/50 µs = 938.6 A at its peak of 600 A, 800 A are its threshold.
#[test]
fn a_design_judges_its_comparators_at_the_peaks_of_its_pack() {
    let row = |slug: &str, at: &str, value: Value, label: &str| {
        let mut document = Value::Object(find(slug).expect("a demo").design.document());
        sensewright_tests::put(&mut document, at, value);
        let design = Design::read(&document).expect("it reads");
        let assessed = assess(&design).expect("it stands");
        let rows = assessed.parts.iter().flat_map(|part| &part.answer.requirements);
        let mut named = rows.filter(|one| one.id == "ripple.trip" && one.label.ends_with(label));
        let one = named.next().expect("the row");
        (one.verdict, one.achieved.expect("a number"))
    };
    let braking = json!([{ "name": "braking", "threshold_a": -440.0, "tolerance_a": 8.0 }]);
    let (verdict, reached) = row("night-bus-drive", "/ripple/0/trips", braking, "braking");
    assert_eq!(verdict, Verdict::Fails);
    holds(reached, 505.0, 1e-6);
    let (verdict, reached) = row("mountain-rescue-car", "/ripple/0/mean_a", json!(400.0), "over-current");
    assert_eq!(verdict, Verdict::Fails);
    holds(reached, 938.571, 1e-3);
}

/// The mean of a few samples over a range of rising parts is worst where two samples meet the two corners of the triangle at
/// once. Brute force: samples added up one by one, of the triangle and the spikes that its slopes make in a bare shunt, over a
/// grid of rising parts and phases; the first value is −24.375 A at 96.9697 % by hand: one of 20 samples more in the falling
/// part. Of more samples than 512 a bound is told, which is no less than what is found.
#[test]
fn samples_that_meet_both_corners() {
    const PERIOD_S: f64 = 1e-4;
    let told = |rate_hz: f64, averages: u32| {
        let answer = answer(
            "ripple",
            &[
                ("/shape", json!("triangle")),
                ("/mean_a", json!(100.0)),
                ("/peak_to_peak_a", json!(20.0)),
                ("/frequency_hz", json!(1e4)),
                ("/duty_min_percent", json!(5.0)),
                ("/duty_max_percent", json!(97.0)),
                ("/shunt/resistance_ohm", json!(1e-4)),
                ("/shunt/inductance_henry", json!(5e-9)),
                ("/trips", json!([])),
                ("/converter/full_scale_v", json!(0.2)),
                ("/converter/bipolar", json!(true)),
                ("/converter/filter_s", json!(0.0)),
                ("/samples/rate_hz", json!(rate_hz)),
                ("/samples/averages", json!(averages)),
            ],
        );
        at(&answer, "/sampling/beat_bound_a")
    };
    let off = |rise: f64, phase: f64, rate_hz: f64, averages: u32| {
        let sample = |k: u32| {
            let share = (phase + f64::from(k) / (rate_hz * PERIOD_S)).fract();
            let spike = 5e-5 * 20.0 / PERIOD_S;
            if share < rise {
                20.0 * (share / rise - 0.5) + spike / rise
            } else {
                20.0 * (0.5 - (share - rise) / (1.0 - rise)) - spike / (1.0 - rise)
            }
        };
        ((0..averages).map(sample).sum::<f64>() / f64::from(averages)).abs()
    };
    for (rate_hz, averages, most) in
        [(16_500.0, 20, 1.01), (19_390.0, 16, 1.15), (16_500.0, 8, 1.15), (27_183.0, 64, 2.0), (27_183.0, 700, 5.0)]
    {
        let found_a = (0..1200)
            .map(|i| 0.05 + 0.92 * f64::from(i) / 1199.0)
            .chain([0.969_696, 0.9687])
            .flat_map(|rise| (0..30).map(move |j| (rise, f64::from(j) / 30.0 + 1e-6)))
            .chain([(0.969_697 - 1e-7, 0.545_454_5)])
            .map(|(rise, phase)| off(rise, phase, rate_hz, averages))
            .fold(0.0, f64::max);
        let told_a = told(rate_hz, averages);
        assert!(told_a >= found_a, "{rate_hz} {averages}: {told_a} A, {found_a} A");
        assert!(told_a <= most * found_a, "{rate_hz} {averages}: {told_a} A, {found_a} A");
    }
    holds(told(16_500.0, 20), 24.375, 5e-4);
    // 150 samples, each pair of them at both corners, from each side.
    let rate_hz = 1_005_771.0;
    let share = |k: u32| (f64::from(k) / (rate_hz * PERIOD_S)).fract();
    let pairs = (0..150_u32).flat_map(|i| (0..150_u32).map(move |j| (share(i), share(j))));
    let met_a = pairs
        .map(|(first, second)| (1.0 - first, (1.0 + second - first).fract()))
        .flat_map(|(phase, rise)| [-1e-8, 1e-8].map(|by| (phase + by, rise)))
        .flat_map(|(phase, rise)| [-3e-8, 3e-8].map(|by| (phase, rise + by)))
        .filter(|(_, rise)| (0.05..0.97).contains(rise))
        .map(|(phase, rise)| off(rise, phase, rate_hz, 150))
        .fold(0.0, f64::max);
    holds_relative(told(rate_hz, 150), met_a, 1e-4);
    // What lies above is as large as what lies below where the rising parts are as far from both ends; behind a filter that
    // settles within a hundred-thousandth of the period, too. Separate search over phases and rising parts: 47.086 A.
    let both = answer(
        "ripple",
        &[
            ("/mean_a", json!(100.0)),
            ("/peak_to_peak_a", json!(20.0)),
            ("/frequency_hz", json!(66.947_623_770_142_95)),
            ("/duty_percent", json!(23.6)),
            ("/duty_min_percent", json!(8.21)),
            ("/duty_max_percent", json!(92.47)),
            ("/shunt/resistance_ohm", json!(0.001_605_721_694_367_348_2)),
            ("/shunt/inductance_henry", json!(1.353_865_304_571_796_6e-5)),
            ("/trips", json!([])),
            ("/converter/full_scale_v", json!(100.0)),
            ("/converter/filter_s", json!(2.149_302_784_567_647_8e-7)),
            ("/samples/rate_hz", json!(8.412_677_323_190_081)),
            ("/samples/averages", json!(8)),
        ],
    );
    holds(at(&both, "/sampling/low_a"), -47.086, 1e-2);
    holds(at(&both, "/sampling/high_a"), 47.086, 1e-2);
}

/// What is allowed for shift and beat is not judged of a beat whose sample rate nobody told.
#[test]
fn a_beat_without_a_sample_rate_is_not_judged() {
    let verdict = |more: &[(&str, Value)]| {
        let answer = answer("ripple", &[&[("/converter/allowed_error_a", json!(300.0))], more].concat());
        let beat = answer.requirements.iter().find(|one| one.id == "ripple.beat").expect("the row");
        (beat.verdict, beat.missing.clone())
    };
    assert_eq!(verdict(&[]), (Verdict::NotJudged, Some("/samples/rate_hz".into())));
    assert_eq!(verdict(&[("/samples/rate_hz", json!(163e3))]).1, None);
}
