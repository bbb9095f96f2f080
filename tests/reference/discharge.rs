//! The discharge against figures that were worked out independently of this code.
//!
//! Sources: printed results of three worked examples, to half a unit of their last digit; a separate script (scipy
//! 1.17.1) of the RC law; hand formulae with the numbers put in.

use sensewright_core::calculation::Answer;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::{answer, at, holds, holds_relative};

fn car(changes: &[(&str, Value)]) -> Answer {
    answer("discharge", changes)
}

fn van() -> Answer {
    answer(
        "discharge",
        &[
            ("/start_v", json!(408.8)),
            ("/capacitance_farad", json!(1500e-6)),
            ("/active/resistance_ohm", json!(470.0)),
            ("/passive/resistance_ohm", json!(47e3)),
        ],
    )
}

fn relay() -> Answer {
    answer(
        "discharge",
        &[
            ("/start_v", json!(56.8)),
            ("/safe_v", json!(10.0)),
            ("/capacitance_farad", json!(22e-3)),
            ("/active/kind", json!("none")),
            ("/passive/resistance_ohm", json!(2200.0)),
            ("/passive/limit_s", json!(300.0)),
        ],
    )
}

fn verdict(answer: &Answer, id: &str) -> Verdict {
    answer.requirements.iter().find(|check| check.id == id).unwrap_or_else(|| panic!("no {id}")).verdict
}

/// Printed results of the worked examples. Car (600 Ω ± 5 %, 25 kΩ): active 1.49 s, 1153 W; passive 59.2 s, 27.66 W.
/// Van (470 Ω ± 5 %, 47 kΩ): 1.42 s, 356 W; 135.3 s of 120 s fails, 3.56 W. Relay station (2.2 kΩ): 84.1 s to 10 V,
/// 1.47 W. The times have the upper limit of the resistor, the powers its nominal value.
#[test]
fn three_packs() {
    for (answer, active, passive) in [
        (car(&[]), Some((1.49, 1153.0)), (59.2, 27.66, 0.05)),
        (van(), Some((1.42, 356.0)), (135.3, 3.56, 0.05)),
        (relay(), None, (84.1, 1.47, 0.05)),
    ] {
        if let Some((seconds, watt)) = active {
            holds(at(&answer, "/active/time_s"), seconds, 0.005);
            holds(at(&answer, "/active/start_w"), watt, 0.5);
            assert_eq!(verdict(&answer, "discharge.active"), Verdict::Holds);
        }
        holds(at(&answer, "/passive/time_s"), passive.0, passive.2);
        holds(at(&answer, "/passive/start_w"), passive.1, 0.005);
    }
    assert_eq!(verdict(&car(&[]), "discharge.passive"), Verdict::Holds);
    assert_eq!(verdict(&relay(), "discharge.passive"), Verdict::Holds);
    let van = van();
    assert_eq!(verdict(&van, "discharge.passive"), Verdict::Fails);
    assert!(van.findings.iter().any(|finding| finding.code == "discharge.passive"));
    // By hand: 408.8 V e^(−120/70.5) = 74.522 V.
    holds(at(&van, "/passive/left_v"), 74.522, 5e-4);
    assert!(van.cautions.iter().any(|care| care.contains("still holds")));
}

/// The script: 400 V, 1 mF, 5 s → 2635.574 Ω; 800 V, 0.5 mF, 1 s → 772.121 Ω, both to 60 V.
#[test]
fn the_resistor_for_a_time() {
    for (volt, farad, seconds, ohm) in [(400.0, 1e-3, 5.0, 2635.574), (800.0, 0.5e-3, 1.0, 772.121)] {
        let answer = car(&[
            ("/start_v", json!(volt)),
            ("/capacitance_farad", json!(farad)),
            ("/active/limit_s", json!(seconds)),
            ("/active/tolerance_percent", json!(0.0)),
        ]);
        holds_relative(at(&answer, "/active/largest_ohm"), ohm, 1e-5);
    }
}

/// By hand, without tolerance: 1 A: 900 µF · 771.6 V/1 A = 694.44 ms; 500 W: 900 µF (831.6² − 60²) V²/1000 W =
/// 619.164 ms. Worst case of ±5 %: divided by 0.95, times 1.1 for a capacitance of ±10 %.
#[test]
fn electronic_loads() {
    for (kind, seconds) in [("constant-current", 0.694_44), ("constant-power", 0.619_164)] {
        let worst = car(&[("/active/kind", json!(kind)), ("/capacitance_tolerance_percent", json!(10.0))]);
        holds_relative(at(&worst, "/active/nominal_s"), seconds, 1e-5);
        holds_relative(at(&worst, "/active/time_s"), seconds / 0.95 * 1.1, 1e-5);
    }
}

/// By hand: 22.5 s · ln(831.6/(831.6 − 10)) = 0.27220 s; after 1 s the drop is 831.6 V (1 − e^(−1/22.5)) = 36.15 V.
#[test]
fn a_weld_shows_once_the_drop_exceeds_two_readings() {
    let car = car(&[("/weld/reading_error_v", json!(5.0))]);
    holds(at(&car, "/weld/error_v"), 10.0, 0.0);
    holds(at(&car, "/weld/drop_v"), 36.15, 0.005);
    holds(at(&car, "/weld/shortest_s"), 0.272_2, 5e-5);
    assert_eq!(verdict(&car, "discharge.weld-check"), Verdict::Holds);
    let early = self::car(&[("/weld/reading_error_v", json!(5.0)), ("/weld/time_s", json!(0.2))]);
    assert_eq!(verdict(&early, "discharge.weld-check"), Verdict::Fails);
    assert!(early.findings.iter().any(|finding| finding.code == "discharge.weld-check"));
}

#[test]
fn nothing_to_discharge_with_and_nothing_to_discharge_have_their_words() {
    let says = |answer: &Answer, code: &str| answer.findings.iter().any(|finding| finding.code == code);
    let none = car(&[
        ("/active/kind", json!("none")),
        ("/passive/fitted", json!(false)),
        ("/weld/reading_error_v", json!(1.0)),
    ]);
    assert!(says(&none, "discharge.no-path") && says(&none, "discharge.weld-check"));
    let below = car(&[("/start_v", json!(48.0))]);
    assert!(says(&below, "discharge.already-below"));
    holds(at(&below, "/active/time_s"), 0.0, 0.0);
    assert!(says(&car(&[("/passive/fitted", json!(false))]), "discharge.no-bleeder"));
}

/// By hand: 831.6² V²/(0.9 · 25 kΩ) = 30.736 W of 29 W; nominal 27.662 W. 831.6² V²/(0.9 · 600 Ω) · 5 s = 6403.3 J.
#[test]
fn power_is_judged_at_the_low_limit_of_the_resistance() {
    let answer = car(&[
        ("/passive/tolerance_percent", json!(10.0)),
        ("/passive/power_w", json!(29.0)),
        ("/active/tolerance_percent", json!(10.0)),
    ]);
    holds(at(&answer, "/passive/start_w"), 27.662, 5e-4);
    holds(at(&answer, "/passive/highest_w"), 30.736, 5e-4);
    assert_eq!(verdict(&answer, "discharge.bleeder-power"), Verdict::Fails);
    holds(at(&answer, "/connected_j"), 6403.3, 0.05);
    // An electronic load of 500 W ± 10 % takes 550 W for 5 s.
    let load = car(&[("/active/kind", json!("constant-power")), ("/active/tolerance_percent", json!(10.0))]);
    holds_relative(at(&load, "/connected_j"), 2750.0, 1e-12);
}
