//! The error over the whole range and in every state, against an independent simulation of single parts
//! (`tests/python/thermistor_states.py`: random parts and a walk from the worst) and closed forms.

use sensewright_core::calculation::Answer;
use sensewright_core::judge::{Check, Verdict};
use serde_json::{Value, json};

use super::super::{answer, at, holds, holds_relative};

/// A pack between −30 °C and 85 °C, 2 K allowed.
fn pack(changes: &[(&str, Value)]) -> Answer {
    let mut all = vec![("/min_degc", json!(-30)), ("/max_degc", json!(85)), ("/requirement/allowed_k", json!(2))];
    all.push(("/beta/curve_k", json!(0)));
    all.extend(changes.iter().cloned());
    answer("thermistor", &all)
}

fn row<'a>(answer: &'a Answer, id: &str) -> &'a Check {
    let mut rows = answer.requirements.iter().filter(|row| row.id == id);
    let row = rows.next().expect("a row");
    assert!(rows.next().is_none(), "one row of {id}");
    row
}

/// The simulation's worst part at 85 °C, no point of interest, settled in its own heat: 1.46934 K; root-sum-square with what
/// is known outside the root 0.91234 K.
#[test]
fn the_worst_temperature_is_judged_and_named() {
    let sensor = pack(&[]);
    let error = row(&sensor, "thermistor.error");
    holds(error.achieved.expect("a number"), 1.469_34, 2e-5);
    assert_eq!(error.verdict, Verdict::Holds);
    assert!(error.label.contains("85"), "{}", error.label);
    assert!(error.note.contains("settled in its own heat"), "{}", error.note);
    holds(at(&sensor, "/worst/at/degc"), 85.0, 0.0);
    let root = pack(&[("/requirement/judged_by", json!("root-sum-square"))]);
    holds(row(&root, "thermistor.error").achieved.expect("a number"), 0.912_34, 2e-5);
}

/// How far one beta is off the part's own curve is given by nobody: the error is not judged, what fails without it fails. With
/// 0.3 K the simulation's worst part is 1.77297 K off.
#[test]
fn a_curve_of_one_beta_is_not_judged_without_how_far_it_is_off() {
    let unknown = |allowed: f64| {
        let range = [("/min_degc", json!(-30)), ("/max_degc", json!(85)), ("/requirement/allowed_k", json!(allowed))];
        answer("thermistor", &range)
    };
    for id in ["thermistor.error", "thermistor.open-looks-like-a-cell", "thermistor.saturates"] {
        let (told, missing) = (unknown(2.0), Some("/beta/curve_k"));
        assert_eq!((row(&told, id).verdict, row(&told, id).missing.as_deref()), (Verdict::NotJudged, missing), "{id}");
    }
    assert_eq!(row(&unknown(1.4), "thermistor.error").verdict, Verdict::Fails);
    let known = pack(&[("/beta/curve_k", json!(0.3))]);
    holds(row(&known, "thermistor.error").achieved.expect("a number"), 1.772_97, 1e-5);
}

/// A requirement from −20 °C to 60 °C: 1.02627 K at 60 °C (simulation). A point outside has figures and no verdict.
#[test]
fn a_requirement_counts_over_its_own_range() {
    let sensor = pack(&[
        ("/requirement/from_degc", json!(-20)),
        ("/requirement/to_degc", json!(60)),
        ("/points_degc", json!([-30, 25])),
    ]);
    let error = row(&sensor, "thermistor.error");
    holds(error.achieved.expect("a number"), 1.026_27, 2e-5);
    assert_eq!(sensor.result.tree()["points"][0]["verdict"], json!("no-limit-set"));
    assert_eq!(sensor.result.tree()["points"][1]["verdict"], json!("holds"));
    assert!(sensor.findings.iter().any(|finding| finding.code == "thermistor.partly-required"));
}

/// Against the cell, −40 °C to 125 °C: getting warmer with heat from the cell and just switched on, 9.21560 K (simulation);
/// the heat of the read-out may not make up for lag and gradient.
#[test]
fn what_comes_and_goes_takes_nothing_off() {
    let sensor = answer(
        "thermistor",
        &[("/requirement/with_lag_and_gradient", json!(true)), ("/requirement/allowed_k", json!(10))],
    );
    let error = row(&sensor, "thermistor.error");
    holds(error.achieved.expect("a number"), 9.215_60, 2e-5);
    for words in ["just switched on", "getting warmer", "with heat from the cell"] {
        assert!(error.note.contains(words), "{}", error.note);
    }
    // A leak of 10 MΩ moves the largest error at 85 °C to 1.47465 K, one of 1 MΩ makes it 2.98874 K at −30 °C (simulation).
    let leaking = |ohm: f64| pack(&[("/wiring/leakage_ohm", json!(ohm))]);
    holds(row(&leaking(1e7), "thermistor.error").achieved.expect("a number"), 1.474_65, 2e-5);
    let wet = leaking(1e6);
    holds(row(&wet, "thermistor.error").achieved.expect("a number"), 2.988_74, 2e-5);
    assert!(row(&wet, "thermistor.error").note.contains("leaking"));
}

/// Half-widths of 1 % and 0.5 % over life: 2.03885 K instead of 1.46934 K (simulation). By hand, first order at 85 °C:
/// (358.15²/3435) 0.015 = 0.5601 K.
#[test]
fn ageing_counts_at_the_end_of_life() {
    let aged = pack(&[("/ageing/sensor_percent", json!(1)), ("/ageing/part_percent", json!(0.5))]);
    let error = row(&aged, "thermistor.error");
    holds(error.achieved.expect("a number"), 2.038_85, 2e-5);
    assert_eq!(error.verdict, Verdict::Fails);
    holds_relative(at(&aged, "/worst/at/error/ageing_k"), 358.15 * 358.15 / 3435.0 * 0.015, 1e-9);
}

/// The read-out's ambient is its own: 25 ppm/K from −20 °C to 95 °C count over 70 K, those about 25 °C over 40 K. By hand, at
/// 25 °C 25e-6 · 70 · 298.15²/3435 K.
#[test]
fn the_ambient_of_the_read_out_is_its_own() {
    let sensor = pack(&[
        ("/electronics_min_degc", json!(-20)),
        ("/electronics_max_degc", json!(95)),
        ("/points_degc", json!([25])),
    ]);
    holds_relative(at(&sensor, "/points/0/at/error/part_drift_k"), 25e-6 * 70.0 * 298.15 * 298.15 / 3435.0, 1e-9);
}

/// R25 100 kΩ with 3 %, B 2 %, 10 kΩ ± 0.1 % ± 1000 ppm to supply, 16 steps of non-linearity: the highest code,
/// 4096 R/(R + Rf) + 16.5, is 4095 at −37.50585 °C (scipy brentq on the closed form). Colder than that nothing is judged.
#[test]
fn a_range_has_tolerances() {
    let changes = [
        ("/beta/r25_ohm", json!(100e3)),
        ("/beta/r25_tolerance_percent", json!(3)),
        ("/beta/beta_tolerance_percent", json!(2)),
        ("/converter/inl_lsb", json!(16)),
        ("/requirement/allowed_k", json!(50)),
        ("/points_degc", json!([-39, 25])),
    ];
    let sensor = answer("thermistor", &changes);
    holds(at(&sensor, "/range/full_below_degc"), -37.505_854, 1e-5);
    assert_eq!(row(&sensor, "thermistor.saturates").verdict, Verdict::Fails);
    let error = row(&sensor, "thermistor.error");
    assert_eq!((error.verdict, error.achieved), (Verdict::NotJudged, None));
    assert!(error.reason.as_ref().is_some_and(|reason| reason.contains("full below")), "{:?}", error.reason);
    assert_eq!(sensor.result.tree()["points"][0]["beyond_range"], json!(true));
    assert_eq!(sensor.result.tree().pointer("/points/0/judged_k"), None);
    assert_eq!(sensor.result.tree()["points"][0]["verdict"], json!("not-judged"));
    // From −30 °C on the requirement is judged, and the sensor's range still fails.
    let mut warmer = changes.to_vec();
    warmer.push(("/requirement/from_degc", json!(-30)));
    let warmer = answer("thermistor", &warmer);
    assert!(row(&warmer, "thermistor.error").achieved.is_some());
    assert_eq!(row(&warmer, "thermistor.saturates").verdict, Verdict::Fails);
}

/// Where a class is not stated and where a table is not measured, nothing is known and nothing holds. IEC 60751: class AA of
/// a film sensor from 0 °C to 150 °C.
#[test]
fn what_is_not_known_is_not_judged() {
    let platinum = |from: f64| {
        answer(
            "thermistor",
            &[
                ("/curve", json!("platinum")),
                ("/platinum/class", json!("aa")),
                ("/read_out", json!("current")),
                ("/converter/bits", json!(16)),
                ("/current/current_a", json!(1e-3)),
                ("/body/dissipation_w_per_k", json!(1e-2)),
                ("/min_degc", json!(from)),
                ("/requirement/allowed_k", json!(20)),
            ],
        )
    };
    assert_eq!(row(&platinum(0.0), "thermistor.error").verdict, Verdict::Holds);
    let cold = platinum(-20.0);
    let error = row(&cold, "thermistor.error");
    assert_eq!(error.verdict, Verdict::NotJudged);
    assert!(error.reason.as_ref().is_some_and(|reason| reason.contains("not stated below 0")), "{:?}", error.reason);
    let table = answer(
        "thermistor",
        &[("/curve", json!("points")), ("/min_degc", json!(-60)), ("/requirement/allowed_k", json!(50))],
    );
    assert_eq!(row(&table, "thermistor.error").verdict, Verdict::NotJudged);
}
