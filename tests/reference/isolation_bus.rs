//! The insulation of the whole bus against figures that were worked out independently of this code.
//!
//! Sources: an independent model of the fifteen numbered cases ("case n"); check values of the two-measurement method from
//! a nodal solution; printed results of worked examples; arithmetic by hand with the numbers put in.

use sensewright_core::calc::barrier::isolation::{Node, readings};
use sensewright_core::calculation::Answer;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::isolation::{finds, row, solved};
use super::{at, holds, holds_relative};

fn pack(volt: f64, more: &[(&str, Value)]) -> Answer {
    let mut changes = vec![("/barrier/pack_v", json!(volt)), ("/barrier/recurring_peak_v", json!(volt.max(1.0)))];
    changes.extend(more.iter().cloned());
    solved(&changes)
}

fn path(ohm: f64, percent: f64, count: u32) -> Value {
    json!({"name": "path", "resistance_ohm": ohm, "position_percent": percent, "count": count})
}

/// A bus of two poles as the readings of a nodal solution see it.
fn node(paths: &[(f64, f64)]) -> Node {
    paths.iter().fold(Node::default(), |node, (ohm, position)| node.with(1.0 / ohm, *position))
}

/// Case 7: paths between 0 and 100 %, the meter in every reading; it cancels in the method and not in the parallel value.
#[test]
fn the_method_with_a_meter() {
    let paths = [(3e6, 0.0), (900e3, 1.0), (2e6, 0.4)];
    let [v1, v2, with] = readings(node(&paths), 500.0, Some(10e6), 250e3);
    holds(v1, 320.652, 5e-4);
    holds(v2, 154.891, 5e-4);
    holds(with, 108.456, 5e-4);
    let answer = pack(
        500.0,
        &[
            ("/bus", json!({"shared_paths": [path(3e6, 0.0, 1), path(900e3, 100.0, 1), path(2e6, 40.0, 1)]})),
            (
                "/two_measurement",
                json!({"vb_v": 500.0, "v1_v": v1, "v2_v": v2, "v_with_r0_v": with, "r0_ohm": 250e3, "meter_ohm": 10e6}),
            ),
        ],
    );
    holds(at(&answer, "/measured/method_ohm"), 762.71e3, 5.0);
    holds(at(&answer, "/measured/parallel_ohm"), 514.29e3, 5.0);
    holds_relative(at(&answer, "/bus/method_ohm"), at(&answer, "/measured/method_ohm"), 1e-9);
    holds_relative(at(&answer, "/bus/parallel_ohm"), at(&answer, "/measured/parallel_ohm"), 1e-9);
    assert!(!finds(&answer, "path-missing"));
}

/// Three check values of a nodal solution: 150, 60 and, with a meter, 150 kΩ.
#[test]
fn the_method_on_two_paths() {
    for (vb, negative, positive, r0, meter, v1, with, method) in [
        (400.0, 600e3, 150e3, 200e3, None, 320.0, 200.0, 150e3),
        (800.0, 2e6, 60e3, 400e3, None, 776.699_029, 677.966_102, 60e3),
        (400.0, 600e3, 150e3, 200e3, Some(10e6), 316.205_53, 198.511_17, 150e3),
    ] {
        let [one, two, three] = readings(node(&[(negative, 0.0), (positive, 1.0)]), vb, meter, r0);
        holds_relative(one, v1, 1e-6);
        holds_relative(three, with, 1e-6);
        let mut given = json!({"vb_v": vb, "v1_v": one, "v2_v": two, "v_with_r0_v": three, "r0_ohm": r0});
        if let Some(meter) = meter {
            given["meter_ohm"] = json!(meter);
        }
        let answer = pack(vb, &[("/two_measurement", given)]);
        holds_relative(at(&answer, "/measured/method_ohm"), method, 1e-6);
    }
}

/// Case 8: 260 kΩ, u 667.0 Ω, of drift 644.6, resistor 150.1, the reading with it 78.1, the larger one 22.3 and the one
/// between the poles 15.6; together ± 1577 Ω.
#[test]
fn what_a_measurement_is_worth() {
    let [v1, v2, with] = readings(node(&[(1.2e6, 0.0), (260e3, 1.0)]), 480.0, Some(10e6), 240e3);
    let answer = pack(
        480.0,
        &[
            (
                "/two_measurement",
                json!({
                    "vb_v": 480.0, "v1_v": v1, "v2_v": v2, "v_with_r0_v": with, "r0_ohm": 240e3, "meter_ohm": 10e6,
                    "r0_tolerance_percent": 0.1, "reading_limit_v": 0.05, "drift_percent": 0.2
                }),
            ),
            ("/bus", json!({"bus_case": "stated", "ohm_per_v": 500.0})),
        ],
    );
    let root = 3f64.sqrt();
    holds(at(&answer, "/measured/method_ohm"), 260e3, 5.0);
    holds(at(&answer, "/measured/standard_ohm"), 667.0, 0.05);
    holds(at(&answer, "/measured/drift_ohm") / root, 644.6, 0.05);
    holds(at(&answer, "/measured/resistor_ohm") / root, 150.1, 0.05);
    holds(at(&answer, "/measured/with_resistor_ohm") / root, 78.1, 0.05);
    holds(at(&answer, "/measured/larger_ohm") / root, 22.3, 0.05);
    holds(at(&answer, "/measured/between_ohm") / root, 15.6, 0.05);
    holds(at(&answer, "/measured/limit_ohm"), 1577.0, 0.5);
    // 500 Ω/V of 480 V are 240 kΩ: judged at the lower end.
    let judged = row(&answer, "bus.measured");
    holds(judged.achieved.expect("a number"), 260e3 - 1577.0, 5.0);
    assert_eq!(judged.verdict, Verdict::Thin);
    let near = pack(
        480.0,
        &[(
            "/two_measurement",
            json!({"vb_v": 480.0, "v1_v": 300.0, "v2_v": 100.0, "v_with_r0_v": 299.6, "r0_ohm": 240e3, "reading_limit_v": 0.05}),
        )],
    );
    assert_eq!(row(&near, "bus.measured").verdict, Verdict::NotJudged);
    let refused = super::isolation::refused(&[(
        "/two_measurement",
        json!({"vb_v": 480.0, "v1_v": 300.0, "v2_v": 100.0, "v_with_r0_v": 300.0, "r0_ohm": 240e3}),
    )]);
    assert_eq!(refused[0].field, "/two_measurement/v_with_r0_v");
}

/// Three readings of which one is over, by hand: V1 + V2 = Vb (1 − R/Rm), R all paths and the meter. One pole cannot stand
/// higher than both together; a voltage that slipped does not fit; a list that the readings prove too short holds nothing;
/// and without a bus nobody knows what it must have.
#[test]
fn readings_that_do_not_fit() {
    let [v1, v2, with] = readings(node(&[(800e3, 0.0), (800e3, 1.0)]), 800.0, Some(10e6), 400e3);
    let given = |vb: f64, v1: f64, v2: f64| json!({"vb_v": vb, "v1_v": v1, "v2_v": v2, "v_with_r0_v": with, "r0_ohm": 400e3, "meter_ohm": 10e6});
    let impossible = super::isolation::refused(&[("/two_measurement", given(800.0, 700.0, 700.0))]);
    assert_eq!(impossible[0].field, "/two_measurement/vb_v");
    let stated = ("/bus", json!({"bus_case": "stated", "ohm_per_v": 100.0}));
    let fits = pack(800.0, &[("/two_measurement", given(800.0, v1, v2)), stated.clone()]);
    holds(at(&fits, "/measured/sum_v"), v1 + v2, 1e-6);
    assert_eq!(row(&fits, "bus.measured").verdict, Verdict::Holds);
    let slipped = pack(800.0, &[("/two_measurement", given(5000.0, v1, v2)), stated]);
    assert_eq!(row(&slipped, "bus.measured").verdict, Verdict::NotJudged);
    let alone = pack(800.0, &[("/two_measurement", given(800.0, v1, v2))]);
    assert_eq!(row(&alone, "bus.measured").verdict, Verdict::NotJudged);
    let listed = json!({"bus_case": "dc-separate", "shared_paths": [path(3e6, 0.0, 1), path(3e6, 100.0, 1)]});
    let short = pack(800.0, &[("/two_measurement", given(800.0, v1, v2)), ("/bus", listed)]);
    for id in ["bus.resistance", "bus.method", "touch.positive", "touch.negative"] {
        assert_eq!(row(&short, id).verdict, Verdict::NotJudged, "{id}");
    }
    assert!(finds(&short, "path-missing"));
}

/// Case 8 by trials: 95 % from 258.85 to 261.15 kΩ. A limit between where the lower end may lie is not resolved.
#[test]
fn what_a_measurement_is_worth_by_trials() {
    let [v1, v2, with] = readings(node(&[(1.2e6, 0.0), (260e3, 1.0)]), 480.0, Some(10e6), 240e3);
    let with_limit = |ohm_per_v: f64, trials: u32| {
        let given = json!({
            "vb_v": 480.0, "v1_v": v1, "v2_v": v2, "v_with_r0_v": with, "r0_ohm": 240e3, "meter_ohm": 10e6,
            "r0_tolerance_percent": 0.1, "reading_limit_v": 0.05, "drift_percent": 0.2,
            "judged_by": "probability-95", "trials": trials
        });
        let bus = json!({"bus_case": "stated", "ohm_per_v": ohm_per_v});
        pack(480.0, &[("/two_measurement", given), ("/bus", bus)])
    };
    let answer = with_limit(500.0, 1_000_000);
    holds(at(&answer, "/measured/drawn/low_ohm"), 258.85e3, 10.0);
    holds(at(&answer, "/measured/drawn/high_ohm"), 261.15e3, 10.0);
    assert_eq!(row(&answer, "bus.measured").verdict, Verdict::Thin);
    let low = at(&answer, "/measured/drawn/low_ohm");
    assert_eq!(row(&with_limit(low / 480.0, 1000), "bus.measured").verdict, Verdict::NotResolved);
    assert_eq!(row(&with_limit(low / 480.0 + 5.0, 1_000_000), "bus.measured").verdict, Verdict::Fails);
}

fn six_units(more: &[(&str, Value)]) -> Answer {
    let mut changes = vec![(
        "/bus",
        json!({
            "units_in_parallel": 6,
            "unit_paths": [path(12e6, 0.0, 1), path(12e6, 100.0, 1), path(8e6, 100.0, 1)],
            "shared_paths": [path(6e6, 0.0, 1)]
        }),
    )];
    changes.extend(more.iter().cloned());
    pack(700.0, &changes)
}

/// Case 9: 521.74 kΩ, 745.3 Ω/V; nine units at 500 Ω/V, 48 at 100; alarm from 402.5 to 443.5 kΩ; at 420 kΩ a one-sided
/// fault of 2.1538 MΩ alarms.
#[test]
fn six_units_on_a_bus() {
    // A device that takes next to nothing: its own resistance is a test of its own.
    let answer = six_units(&[("/monitor", json!({"kind": "active", "alarm_ohm": 420e3, "internal_ohm": 1e12}))]);
    holds(at(&answer, "/bus/parallel_ohm"), 521.74e3, 5.0);
    holds(at(&answer, "/bus/parallel_ohm_per_v"), 745.3, 0.05);
    holds(at(&answer, "/bus/units_allowed"), 9.0, 0.0);
    holds(at(&answer, "/monitor/alarm_from_ohm"), 402.5e3, 1e-6);
    holds(at(&answer, "/monitor/alarm_to_ohm"), 443.5e3, 50.0);
    holds(at(&answer, "/monitor/one_sided_ohm"), 2.1538e6, 60.0);
    assert_eq!(row(&answer, "monitor.window").verdict, Verdict::Thin);
    let separate = six_units(&[("/bus/bus_case", json!("dc-separate"))]);
    holds(at(&separate, "/bus/units_allowed"), 48.0, 0.0);
    // Nine hold, ten fail; one alone would have held.
    let of = |units: u32| six_units(&[("/bus/units_in_parallel", json!(units))]);
    let verdicts =
        |answer: &Answer| ["bus.resistance", "bus.units"].map(|id| row(answer, id).verdict == Verdict::Fails);
    assert_eq!(verdicts(&of(9)), [false, false]);
    assert_eq!(verdicts(&of(10)), [true, true]);
    assert!(finds(&of(10), "counts-one-unit"));
    // The alarm outside its room, and a room that is none.
    let alarm = |ohm: f64, error: f64| {
        let monitor = json!({"kind": "active", "alarm_ohm": ohm, "error_percent": error, "internal_ohm": 1e12});
        row(&six_units(&[("/monitor", monitor)]), "monitor.window").verdict
    };
    assert_eq!([alarm(400e3, 15.0), alarm(450e3, 15.0), alarm(420e3, 25.0)], [Verdict::Fails; 3]);
    let balance = six_units(&[("/monitor", json!({"kind": "balance", "alarm_ohm": 420e3}))]);
    assert_eq!(row(&balance, "monitor.symmetric").verdict, Verdict::Fails);
}

/// A supervision whose resistance nobody gives is a path that nobody listed, not one that is infinite: 521.74 kΩ with 1 MΩ
/// beside them are 342.86 kΩ of the 350 kΩ required. Listed as a path it is known; what fails without it fails.
#[test]
fn a_supervision_of_unknown_resistance() {
    let rows = ["bus.resistance", "bus.method", "bus.units", "monitor.window", "touch.positive", "touch.negative"];
    let with = |more: Value| {
        let mut monitor = json!({"kind": "active", "alarm_ohm": 420e3});
        monitor.as_object_mut().expect("an object").extend(more.as_object().cloned().expect("an object"));
        six_units(&[("/monitor", monitor)])
    };
    let unknown = with(json!({}));
    for id in rows {
        assert_eq!(row(&unknown, id).verdict, Verdict::NotJudged, "{id}");
    }
    let known = with(json!({"internal_ohm": 1e6}));
    holds(at(&known, "/bus/parallel_ohm"), 342.857e3, 1.0);
    assert_eq!(row(&known, "bus.resistance").verdict, Verdict::Fails);
    let mut listed = path(6e6, 50.0, 1);
    listed["kind"] = json!("monitor");
    let listed = six_units(&[
        ("/monitor", json!({"kind": "active", "alarm_ohm": 410e3})),
        ("/bus/shared_paths", json!([path(6e6, 0.0, 1), listed])),
    ]);
    assert_eq!(row(&listed, "bus.resistance").verdict, Verdict::Holds);
    assert_eq!(row(&with(json!({"alarm_ohm": 450e3})), "monitor.window").verdict, Verdict::Fails);
    assert_eq!(row(&six_units(&[]), "bus.resistance").verdict, Verdict::Holds);
}

/// A bus without a listed path is not infinite; 60 V ask for nothing; a pole that is earthed by design
/// leaves it to what opens the first fault.
#[test]
fn no_path_and_no_requirement() {
    let none = pack(700.0, &[("/bus", json!({"bus_case": "stated", "ohm_per_v": 500.0}))]);
    assert_eq!(row(&none, "bus.resistance").verdict, Verdict::NotJudged);
    let rows =
        |answer: &Answer| answer.requirements.iter().filter(|check| check.id.starts_with("isolation.bus")).count();
    let earthed = six_units(&[("/bus/earthing", json!("negative-earthed"))]);
    assert_eq!(rows(&earthed), 1);
    assert_eq!(row(&earthed, "bus.resistance").verdict, Verdict::NotJudged);
    let bus = json!({"unit_paths": [path(10e3, 0.0, 1)]});
    assert_eq!(rows(&pack(60.0, &[("/bus", bus.clone())])), 0);
    assert!(rows(&pack(61.0, &[("/bus", bus)])) > 0);
    let stated = json!({"bus_case": "stated", "unit_paths": [path(1e6, 0.0, 1)]});
    assert_eq!(row(&pack(60.0, &[("/bus", stated)]), "bus.resistance").verdict, Verdict::NotJudged);
}

/// The method of the regulation gives up to twice the parallel value: two equal paths of 1 MΩ are 500 kΩ in parallel, and
/// 1 MΩ by the method (largest current: V/1 MΩ).
#[test]
fn the_method_flatters() {
    let answer = pack(1500.0, &[("/bus", json!({"shared_paths": [path(1e6, 0.0, 1), path(1e6, 100.0, 1)]}))]);
    holds(at(&answer, "/bus/method_ohm"), 1e6, 1e-3);
    holds(at(&answer, "/bus/parallel_ohm"), 500e3, 1e-3);
    assert_eq!(row(&answer, "bus.method").verdict, Verdict::Holds);
    assert_eq!(row(&answer, "bus.resistance").verdict, Verdict::Fails);
    assert!(finds(&answer, "method-flatters"));
}

/// Case 10: 0.81189 mA from the positive pole, 0.37891 mA from the negative one.
#[test]
fn touch_current() {
    let bus = json!({"shared_paths": [path(2e6, 0.0, 1), path(3e6, 100.0, 1), path(1e6, 25.0, 1)]});
    let answer = pack(650.0, &[("/bus", bus)]);
    holds(at(&answer, "/bus/touch_positive_a"), 0.81189e-3, 5e-9);
    holds(at(&answer, "/bus/touch_negative_a"), 0.37891e-3, 5e-9);
    assert_eq!(row(&answer, "touch.positive").verdict, Verdict::Holds);
}

/// 120 V on a body of 2 kΩ, 20 kΩ at the other pole: 120/22 kΩ = 5.4545 mA. 30 kΩ at 2 % of the pole that is touched take some
/// of it away, 120 · (1/20 + 0.02/30)/(1 + 2/20 + 2/30) mA = 5.2114 mA, and need not be there: resistances are the lowest. A
/// limit of 5.3 mA fails.
#[test]
fn a_path_near_the_touched_pole_need_not_be_there() {
    let of = |beside: Value| {
        let touch = json!({"body_ohm": 2000.0, "limit_a": 5.3e-3});
        pack(120.0, &[("/bus", json!({"shared_paths": [path(20e3, 100.0, 1), beside]})), ("/touch", touch)])
    };
    let beside = of(path(30e3, 2.0, 1));
    holds(at(&beside, "/bus/touch_negative_a"), 120.0 / 22e3, 1e-9);
    assert_eq!(row(&beside, "touch.negative").verdict, Verdict::Fails);
    // What stands further off than the body above the pole drives it: 0.1 of the voltage against 0.0909.
    let drives = of(path(30e3, 10.0, 1));
    holds(
        at(&drives, "/bus/touch_negative_a"),
        0.12 * (1.0 / 20.0 + 0.1 / 30.0) / (1.0 + 2.0 / 20.0 + 2.0 / 30.0),
        1e-9,
    );
}

/// Cases 11 and 12: 968 nF; 45.02, 155.5 and 180.1 mJ; at most 1.0750 µF; 305 V left, 1.0164 s, 60 V after 1.653 s.
#[test]
fn y_capacitors() {
    let answer = pack(
        610.0,
        &[
            ("/bus", json!({"shared_paths": [path(4e6, 100.0, 1), path(305e3, 0.0, 1)]})),
            ("/y", json!({"unit_positive_farad": 440e-9, "unit_negative_farad": 440e-9, "tolerance_percent": 10.0})),
        ],
    );
    holds(at(&answer, "/y/total_farad"), 968e-9, 5e-13);
    holds(at(&answer, "/y/balanced_j"), 45.02e-3, 5e-6);
    holds(at(&answer, "/y/divided_v"), 566.78, 5e-3);
    holds(at(&answer, "/y/divided_j"), 155.5e-3, 5e-5);
    holds(at(&answer, "/y/one_sided_j"), 180.1e-3, 5e-5);
    holds(at(&answer, "/y/largest_farad"), 1.0750e-6, 5e-11);
    let answer = pack(
        610.0,
        &[(
            "/y",
            json!({
                "unit_positive_farad": 440e-9, "unit_negative_farad": 440e-9, "tolerance_percent": 10.0,
                "pole_bleeder_ohm": 2.1e6, "discharge_allowed_s": 2.0
            }),
        )],
    );
    holds(at(&answer, "/y/left_v"), 305.0, 1e-9);
    holds(at(&answer, "/y/bleed_tau_s"), 1.0164, 5e-5);
    holds(at(&answer, "/y/bleed_s"), 1.653, 5e-4);
    assert_eq!(row(&answer, "y.bleed").verdict, Verdict::Holds);
    // Independent simulation (`worst_bleed` of tests/python/isolation_model.py): at a low voltage a small capacitor beside a
    // large one starts higher. 200 V, equal, 20 %, both below 60 V: 0.640 s and not 0.566 s with both large.
    let low = pack(
        200.0,
        &[("/y", json!({"unit_positive_farad": 1e-6, "unit_negative_farad": 1e-6, "pole_bleeder_ohm": 0.923e6}))],
    );
    let large = 0.923e6 / 2.0 * 2.4e-6 * f64::ln(100.0 / 60.0);
    holds(large, 0.566, 5e-4);
    holds(at(&low, "/y/bleed_s"), 0.640, 5e-4);
    // As paths the bleeders count with their lowest value: 2.1 MΩ within 5 % are 1.9 MΩ, two of them beside 1 MΩ 487.18 kΩ.
    let beside = pack(
        610.0,
        &[
            ("/bus", json!({"shared_paths": [path(1e6, 0.0, 1)]})),
            ("/y", json!({"pole_bleeder_ohm": 2.1e6, "bleeder_tolerance_percent": 5.0})),
        ],
    );
    holds(at(&beside, "/bus/parallel_ohm"), 487.18e3, 5.0);
    // Strings of voltage channels are paths of each unit: 3 · 2.5 µS and 3 · 2.5 µS beside 1 µS at the negative pole.
    let strings = pack(
        600.0,
        &[(
            "/bus",
            json!({"units_in_parallel": 3, "strings_positive_ohm": 400e3, "strings_negative_ohm": 400e3, "shared_paths": [path(1e6, 0.0, 1)]}),
        )],
    );
    holds(at(&strings, "/bus/parallel_ohm"), 1e6 / 16.0, 1e-6);
    holds(at(&strings, "/bus/positive_v"), 600.0 * 8.5 / 16.0, 1e-9);
    // Touched, the positive pole has the paths of the other one: 8.5 µS into 500 Ω.
    holds(at(&strings, "/bus/touch_positive_a"), 600.0 * 8.5e-6 / (1.0 + 500.0 * 8.5e-6), 1e-12);
    // Unequal capacitors: 3/4 of the voltage stays on both poles; without a bleeder nothing takes it away.
    let unequal = pack(600.0, &[("/y", json!({"unit_positive_farad": 300e-9, "unit_negative_farad": 100e-9}))]);
    holds(at(&unequal, "/y/left_v"), 450.0, 1e-9);
    assert!(finds(&unequal, "no-pole-bleeder"));
    assert_eq!(row(&unequal, "y.bleed").verdict, Verdict::NotJudged);
}

/// Worked examples, nominal capacitors: 831.6 V and 2 · 470 nF 0.0813 and 0.3250 J (fails at 0.2 J); 408.8 V and 2 · 1 µF
/// 0.0418 and 0.1671 J; 60 V class, 56.8 V and 2 · 100 nF 0.0001 and 0.0003 J. Required: 83.2 and 415.8, 40.9 and 204.4,
/// 5.7 and 28.4 kΩ.
#[test]
fn headlines_of_three_packs() {
    for (volt, farad, balanced, one_sided, verdict) in [
        (831.6, 470e-9, 0.0813, 0.3250, Verdict::Fails),
        (408.8, 1e-6, 0.0418, 0.1671, Verdict::Holds),
        (56.8, 100e-9, 0.0001, 0.0003, Verdict::Holds),
    ] {
        let y = json!({"unit_positive_farad": farad, "unit_negative_farad": farad, "tolerance_percent": 0.0});
        let answer = pack(volt, &[("/y", y)]);
        holds(at(&answer, "/y/balanced_j"), balanced, 5e-5);
        holds(at(&answer, "/y/one_sided_j"), one_sided, 5e-5);
        assert_eq!(row(&answer, "y.energy").verdict, verdict, "{volt} V");
    }
    for (volt, per_volt, kiloohm) in
        [(831.6, 100.0, 83.2), (831.6, 500.0, 415.8), (408.8, 100.0, 40.9), (408.8, 500.0, 204.4), (56.8, 500.0, 28.4)]
    {
        let bus = json!({"bus_case": "stated", "ohm_per_v": per_volt, "unit_paths": [path(2.5e6, 0.0, 1)]});
        let answer = pack(volt, &[("/bus", bus)]);
        holds(at(&answer, "/bus/required_ohm") / 1e3, kiloohm, 0.051);
        assert_eq!(row(&answer, "bus.resistance").verdict, Verdict::Holds);
    }
}

/// A question of the trade: 900 V, two strings of 5 MΩ and 4 MΩ of cabling: 1.53846 MΩ, 1709.4 Ω/V; at 0.2 J at most
/// 0.493827 µF with one pole at the chassis, 1.97531 µF balanced.
#[test]
fn a_question_of_the_trade() {
    let bus = json!({"unit_paths": [path(5e6, 0.0, 2)], "shared_paths": [path(4e6, 100.0, 1)]});
    let y = json!({"unit_positive_farad": 100e-9, "unit_negative_farad": 100e-9});
    let answer = pack(900.0, &[("/bus", bus), ("/y", y)]);
    holds_relative(at(&answer, "/bus/parallel_ohm"), 1.53846e6, 2e-6);
    holds(at(&answer, "/bus/parallel_ohm_per_v"), 1709.4, 0.05);
    holds_relative(at(&answer, "/y/largest_farad"), 0.493_827e-6, 2e-6);
    holds_relative(at(&answer, "/y/largest_balanced_farad"), 1.97531e-6, 2e-6);
}

/// Settling by hand: 500 Ω/V of 700 V are 350 kΩ; 6 · 2 · 47 nF · 1.2 are 676.8 nF; 5 · 350 kΩ · 676.8 nF = 1.1844 s, on
/// the healthy 521.74 kΩ 1.7656 s. An internal resistance of 350 kΩ halves the first.
#[test]
fn settling_of_the_supervision() {
    let y = json!({"unit_positive_farad": 47e-9, "unit_negative_farad": 47e-9});
    let monitor = json!({"kind": "active", "alarm_ohm": 420e3, "response_allowed_s": 1.5});
    let answer = six_units(&[("/y", y.clone()), ("/monitor", monitor)]);
    holds(at(&answer, "/monitor/detects_s"), 1.1844, 5e-5);
    holds(at(&answer, "/monitor/release_s"), 1.7656, 5e-5);
    assert_eq!(row(&answer, "monitor.detects").verdict, Verdict::Holds);
    assert_eq!(row(&answer, "monitor.release").verdict, Verdict::Fails);
    let own = json!({"kind": "active", "alarm_ohm": 420e3, "internal_ohm": 350e3, "response_allowed_s": 1.5});
    let answer = six_units(&[("/y", y), ("/monitor", own)]);
    holds(at(&answer, "/monitor/detects_s"), 0.5922, 5e-5);
    // 521.74 kΩ and 350 kΩ in parallel.
    holds(at(&answer, "/bus/parallel_ohm"), 209.476e3, 5.0);
}
