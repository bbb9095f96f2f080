//! What a noisy calibration leaves in the voltage reading, and what is said about points and noise.

use sensewright_core::calculation::Answer;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::{answer, at, holds_relative};

fn channel(changes: &[(&str, Value)]) -> Answer {
    let points = [("/calibration/low_v", json!(750)), ("/calibration/high_v", json!(800))];
    let wanted = [("/requirement/gain_percent", json!(1.2)), ("/requirement/offset_v", json!(2))];
    let all: Vec<(&str, Value)> = points.into_iter().chain(wanted).chain(changes.iter().cloned()).collect();
    answer("voltage-channel", &all)
}

fn says(answer: &Answer, code: &str) -> Option<String> {
    answer.findings.iter().find(|finding| finding.code == code).map(|finding| finding.message.clone())
}

/// Independent simulation: of parts that are calibrated one by one at 750 V and 800 V with one noisy reading each, 18.4 % are
/// beyond the allowance. Closed form of what the noise adds: 3 sqrt(w1² + w2²) u; of nine readings a third.
#[test]
fn a_noisy_calibration_stays_wrong() {
    let error = |noise: f64, readings: u32| {
        let answer = channel(&[("/converter/noise_v", json!(noise)), ("/bench/readings", json!(readings))]);
        let row = answer.requirements.iter().find(|row| row.id == "voltage-channel.error").expect("a row").clone();
        (row.achieved.expect("a number"), row.verdict)
    };
    let (noisy, verdict) = error(0.002, 1);
    assert_eq!(verdict, Verdict::Fails, "{noisy}");
    // So little that it does not bend the line through the points.
    let little = |readings: u32| {
        let changes = [("/converter/noise_v", json!(1e-4)), ("/bench/readings", json!(readings))];
        channel(&[&changes[..], &[("/voltages_v", json!([554.4]))]].concat())
    };
    let (one, nine) = (little(1), little(9));
    let second: f64 = (554.4 - 750.0) / 50.0;
    let line = 3.0 * (1.0 - second).hypot(second) * at(&one, "/noise/averaged_v");
    let judged = |answer: &Answer| at(answer, "/points/0/judged_v");
    holds_relative(judged(&one) - judged(&nine), line * 2.0 / 3.0, 5e-2);
}

/// By hand: of the range up to 831.6 V the lowest voltage lies farthest from 750 V and 800 V. Points at the ends of the range
/// and readings without noise say nothing.
#[test]
fn far_points_and_noise_that_is_left_out_are_said() {
    let far = "voltage-channel.calibrated-far";
    let noise = "voltage-channel.noise-not-counted";
    let noisy = channel(&[("/converter/noise_v", json!(0.05))]);
    assert!(says(&noisy, far).is_some_and(|message| message.contains("750\u{202f}V and 800\u{202f}V")));
    assert!(says(&noisy, noise).is_some());
    let quiet = channel(&[("/converter/noise_v", json!(1e-5)), ("/calibration/low_v", json!(100))]);
    assert_eq!((says(&quiet, far), says(&quiet, noise)), (None, None));
}
