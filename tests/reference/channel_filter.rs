//! A threshold that rests on a channel sees what the channel's filter lets through.
//!
//! Source: a first-order low-pass lags a ramp by its time constant, 1/(2π f).

use std::f64::consts::PI;

use sensewright_core::design::Design;
use sensewright_core::design::assess::assess;
use sensewright_core::judge::Verdict;
use serde_json::json;

use super::design::changed;
use super::{at, holds};

/// The reaction of a threshold, s, and the verdict on its side of the hazard.
fn reacts(design: &Design, key: &str) -> (f64, Verdict) {
    let assessed = assess(design).expect("it stands");
    let part = assessed.parts.iter().find(|part| part.part.key() == key).expect("the threshold");
    let harm = part.answer.requirements.iter().find(|row| row.id == "protection.harm-side").expect("a row");
    (at(&part.answer, "/reaction_s"), harm.verdict)
}

/// 5 Hz within 1 % and 10 % lag by up to 35.4 ms, at 500 A/s that is 17.7 A more. A lag that is typed and longer is the whole
/// of it, and one that is shorter does not make the channel faster.
#[test]
fn its_lag_counts_where_it_is_longer() {
    let slow = [("/current/0/filter/capacitance_farad", json!(null)), ("/current/0/filter/corner_hz", json!(5.0))];
    let with = |lag_s: f64, slow_channel: bool| {
        let mut changes = vec![("/protection/1/filter_s", json!(lag_s))];
        changes.extend(slow.iter().filter(|_| slow_channel).cloned());
        let mut document = serde_json::Value::Object(changed("funicular-summit-buffer", &[]).write());
        for (pointer, value) in changes {
            if value.is_null() {
                document["current"][0]["filter"].as_object_mut().expect("a group").shift_remove("capacitance_farad");
            } else {
                sensewright_tests::put(&mut document, pointer, value);
            }
        }
        reacts(&Design::read(&document).unwrap_or_else(|faults| panic!("{faults:#?}")), "protection.2")
    };
    let (quick_s, quick) = with(0.1e-3, false);
    let (slow_s, late) = with(0.1e-3, true);
    holds(slow_s - quick_s, 1.01 * 1.1 / (2.0 * PI * 5.0) - 0.1e-3, 1e-9);
    assert_eq!(late, Verdict::Fails);
    assert!(matches!(quick, Verdict::Holds | Verdict::Thin));
    holds(with(40e-3, true).0, with(40e-3, false).0, 0.0);
}
