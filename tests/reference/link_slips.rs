//! Slips of a factor of a thousand in what hangs on the link, in balancing and in the ripple.
//!
//! Source: none is needed; every positive number of a sound design is moved by 1000 both ways, and the answer must refuse
//! it, fail, or ask. The design itself raises nothing.

use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find;
use sensewright_core::field::Notation;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

/// A sound design of each calculation; every group that a choice leaves out is left out of the slips.
fn designs() -> [(&'static str, Vec<(&'static str, Value)>); 4] {
    [
        (
            "precharge",
            vec![
                ("/pack_min_v", json!(554.4)),
                ("/check_s", json!(0.054)),
                ("/wanted_time_s", json!(0.4)),
                ("/link_error_percent", json!(0.5)),
                ("/pack_error_percent", json!(0.5)),
                ("/resistor/pulse_j", json!(12000.0)),
                ("/resistor/power_w", json!(400.0)),
                ("/path/contactor_inrush_a2s", json!(20.0)),
                ("/path/contactor_making_a", json!(500.0)),
            ],
        ),
        (
            "discharge",
            vec![
                ("/start_min_v", json!(554.4)),
                ("/active/pulse_j", json!(900.0)),
                ("/passive/power_w", json!(50.0)),
                ("/weld/reading_error_v", json!(4.0)),
            ],
        ),
        (
            "balancing",
            vec![
                ("/accuracy/error_v", json!(2.5e-3)),
                ("/accuracy/slope_v_per_percent", json!(7e-3)),
                ("/limits/time_h", json!(48.0)),
                ("/limits/board_w", json!(30.0)),
                ("/limits/resistor_w", json!(1.0)),
                ("/limits/limit_degc", json!(125.0)),
                ("/limits/board_k_per_w", json!(1.0)),
                ("/limits/resistor_k_per_w", json!(60.0)),
            ],
        ),
        (
            "ripple",
            vec![
                ("/trips", json!([{"name": "trip", "threshold_a": 1100.0, "filter_s": 1e-6, "tolerance_a": 20.0}])),
                ("/converter/filter_s", json!(2e-6)),
                ("/converter/allowed_error_a", json!(5.0)),
                ("/samples/rate_hz", json!(160e3)),
                ("/samples/averages", json!(160)),
            ],
        ),
    ]
}

/// Numbers that no choice of these designs uses, whole numbers, and shares that have no prefix.
const UNUSED: [&str; 16] = [
    "/load/current_a",
    "/load/power_w",
    "/resistor/ambient_degc",
    "/resistor/retries",
    "/active/current_a",
    "/active/power_w",
    "/feed/current_a",
    "/feed/power_w",
    "/curve/start_soc_percent",
    "/limits/ambient_degc",
    "/active/efficiency_percent",
    "/active/standby_w",
    "/channels_on",
    "/duty_percent",
    "/target_percent",
    "/samples/averages",
];

fn numbers(value: &Value, at: &str, found: &mut Vec<(String, f64)>) {
    match value {
        Value::Object(map) => map.iter().for_each(|(key, value)| numbers(value, &format!("{at}/{key}"), found)),
        Value::Array(list) => {
            list.iter().enumerate().for_each(|(row, value)| numbers(value, &format!("{at}/{row}"), found));
        }
        _ => found.extend(value.as_f64().filter(|value| *value > 0.0).map(|value| (at.to_owned(), value))),
    }
}

/// What an answer raises: questions and failures.
fn raised(answer: &Answer) -> Vec<String> {
    let fails = answer.requirements.iter().filter(|check| check.verdict == Verdict::Fails);
    let codes = answer.findings.iter().map(|finding| finding.code.clone());
    fails.map(|check| check.id.clone()).chain(codes).collect()
}

#[test]
fn a_factor_of_a_thousand_is_refused_fails_or_is_asked_about() {
    let (mut count, mut silent) = (0, Vec::new());
    for (slug, changes) in designs() {
        let sound = super::answer(slug, &changes);
        let usual = raised(&sound);
        assert!(usual.iter().all(|code| !code.contains("implausible")), "{slug}: {usual:?}");
        assert!(sound.requirements.iter().all(|check| check.verdict >= Verdict::Thin), "{slug}: {usual:?}");
        let mut all = Vec::new();
        numbers(&sound.input, "", &mut all);
        for (pointer, value) in all.iter().filter(|(pointer, _)| !UNUSED.contains(&pointer.as_str())) {
            for factor in [1e3, 1e-3] {
                let mut input = sound.input.clone();
                *input.pointer_mut(pointer).expect("it was there") = json!(value * factor);
                let entry = find(slug).expect("a calculation");
                count += 1;
                let heard = match entry.answer(Some(&input), Notation::Json) {
                    Err(_) => true,
                    Ok(answer) => raised(&answer).iter().any(|code| !usual.contains(code)),
                };
                if !heard {
                    silent.push(format!("{slug}{pointer} · {factor}"));
                }
            }
        }
    }
    assert!(count >= 100, "{count}");
    assert!(silent.len() <= 4, "{} of {count} raise nothing: {silent:#?}", silent.len());
}
