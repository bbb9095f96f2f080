//! How an error is judged: what trials can tell, and where a tolerance of the curve stands.

use sensewright_core::judge::Verdict;
use serde_json::json;

use super::super::{answer, at, holds};

/// A thousand trials give the 97.5 % end within some order statistics: a limit among them is neither held nor passed, as for
/// every other channel. JCGM 101:2008 clause 7.7; binomial distribution of ranks.
#[test]
fn few_trials_do_not_resolve_a_limit_beside_the_interval() {
    let judged = |allowed: f64, trials: u32| {
        let sensor = answer(
            "thermistor",
            &[
                ("/beta/curve_k", json!(0)),
                ("/requirement/allowed_k", json!(allowed)),
                ("/requirement/judged_by", json!("probability-95")),
                ("/experiment/trials", json!(trials)),
                ("/experiment/seed", json!(3)),
            ],
        );
        let error = sensor.requirements.iter().find(|row| row.id == "thermistor.error").expect("a row").clone();
        (error.verdict, error.reason.unwrap_or_default())
    };
    let (verdict, reason) = judged(1.5797, 1000);
    assert_eq!(verdict, Verdict::NotResolved);
    assert!(reason.contains("trials would tell"), "{reason}");
    assert_eq!(judged(4.0, 1000).0, Verdict::Holds);
    assert_eq!(judged(0.8, 1000).0, Verdict::Fails);
}

/// By hand at 125 °C: a sensor whose curve is 2 K off has 508.05 Ω there, that of 127 °C; with the resistor 0.2 % high and 2.5
/// codes less the code is 46.915 and reads 129.586 °C: 4.586 K. The tolerance in kelvin moves the sensor before the curve, so
/// that the read-out's own error grows with it.
#[test]
fn a_tolerance_in_kelvin_moves_the_sensor() {
    let sensor = answer(
        "thermistor",
        &[
            ("/curve", json!("steinhart-hart")),
            ("/steinhart_hart/tolerance_percent", json!(0)),
            ("/steinhart_hart/tolerance_k", json!(2)),
            ("/converter/bits", json!(10)),
            ("/body/duty_percent", json!(0)),
            ("/requirement/allowed_k", json!(4.51)),
        ],
    );
    let error = sensor.requirements.iter().find(|row| row.id == "thermistor.error").expect("a row");
    assert_eq!(error.verdict, Verdict::Fails);
    holds(at(&sensor, "/worst/judged_k"), 4.586, 1e-3);
}
