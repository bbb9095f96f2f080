//! A value that is held while the true one moves on: the difference has to grow until a check can see it; figures by hand.

use sensewright_core::calculation::Answer;
use sensewright_core::demo::find;
use sensewright_core::design::assess::assess;
use serde_json::{Value, json};

use super::safety::{evidence, verdict};
use super::{at, holds};

/// From 280 A on a current may run at 500 A/s, is decided at 390 A and harms from 60 A less on; a comparison of 50 A looks once
/// each 20 ms.
fn ramp(ftti_s: f64, current: &Value, insert: &str, check: &Value) -> Answer {
    let mut circuit = json!({"shunt_ohm": 100e-6, "leg_ohm": 10.0, "bias_current_a": 20e-9, "full_at_a": 1000.0,
        "full_charge_a": 1000.0, "peak_a": 290.0, "charge_peak_a": 290.0, "error_a": 0.0});
    let mut one = json!({"name": "One", "kind": "comparison", "reads": "current", "other_full_a": 1000.0, "limit_a": 50.0,
        "error_a": 0.0, "other_error_a": 0.0, "noise_a": 0.0, "other_noise_a": 0.0, "interval_s": 0.02, "in_a_row": 1,
        "loss_fit": 1.0, "test_interval_h": 10.0});
    for (to, more) in [(&mut circuit, current), (&mut one, check)] {
        to.as_object_mut().expect("fields").extend(more.as_object().expect("fields").clone());
    }
    evidence(&[
        (
            "/goals",
            json!([{"name": "G", "asil": "b", "reads": "current", "dangerous": "low", "ftti_s": ftti_s, "reaction_s": 0.0,
                "threshold_a": 330.0, "error_a": 0.0, "hazard_a": 400.0, "slope_a_per_s": 500.0, "delay_s": 0.02,
                "normal_a": 280.0}]),
        ),
        ("/current", circuit),
        ("/faults", json!([{"component": "Part", "mode": "held", "rate_fit": 10.0, "insert": insert}])),
        ("/checks", json!([one])),
    ])
}

/// 50 A have grown 0.1 s after the code hung, a look later it is seen: 0.12 s, whatever value was held. Behind an average over
/// 40 ms the ramp is there 20 ms later, 0.14 s, behind a low-pass of 20 ms at 0.1398 s; what is said is no less. A current that
/// may not run on shows with equal codes as before.
#[test]
fn a_held_code_shows_when_the_true_value_has_moved() {
    let of = |ftti: f64, check: Value| ramp(ftti, &json!({}), "converter-stuck", &check);
    let plain = of(0.2, json!({}));
    holds(at(&plain, "/modes/0/time_s"), 0.12, 1e-9);
    holds(at(&plain, "/modes/0/dc_computed_percent"), 100.0, 1e-9);
    assert_eq!(
        (verdict(&plain, "safety.handling-time").as_str(), verdict(&plain, "safety.hole").as_str()),
        ("holds", "holds")
    );
    let short = of(0.11, json!({}));
    holds(at(&short, "/modes/0/dc_computed_percent"), 0.0, 1e-9);
    assert_eq!(
        (verdict(&short, "safety.handling-time").as_str(), verdict(&short, "safety.hole").as_str()),
        ("fails", "fails")
    );
    for (filter, seen_s) in [(json!({"averaging_s": 0.04}), 0.14), (json!({"low_pass_s": 0.02}), 0.1398)] {
        let time = at(&of(0.2, filter), "/modes/0/time_s");
        assert!((seen_s..seen_s + 0.05).contains(&time), "{time}");
    }
    let equal = of(0.11, json!({"kind": "stuck-code", "equal_codes": 4, "noise_steps": 1.0}));
    holds(at(&equal, "/modes/0/time_s"), 0.08, 1e-9);
}

/// Without a slope nobody knows when the true value has moved away.
#[test]
fn a_held_code_without_a_slope_is_not_judged() {
    let done = evidence(&[
        (
            "/goals",
            json!([{"name": "G", "asil": "b", "reads": "voltage", "dangerous": "low", "at_v": 849.0, "harm_v": 10.0,
                "ftti_s": 1.0, "reaction_s": 0.0}]),
        ),
        ("/faults", json!([{"component": "Part", "mode": "held", "rate_fit": 10.0, "insert": "converter-stuck"}])),
    ]);
    assert_eq!(verdict(&done, "safety.handling-time"), "not-judged");
}

/// An open input that nothing loads. 20 nA on 2.2 µF are 90.909 A/s of 100 µΩ: taken along with the ramp of 500 A/s, 50 A
/// have grown after 50/409.09 = 0.12222 s. On 0.1 µF they would be 2000 A/s, of which at most 500 (1 − 60/110) = 227.27 A/s leave
/// the 60 A that harm: 50/272.73 = 0.18333 s. Without a capacitance it goes to an end at once.
#[test]
fn an_open_input_holds_until_its_bias_current_has_moved_it() {
    let of = |farad: f64, ftti: f64| ramp(ftti, &json!({"filter_farad": farad}), "sense-open", &json!({}));
    for (farad, time) in [(2.2e-6, 0.122_222 + 0.02), (0.1e-6, 0.183_333 + 0.02), (0.0, 0.02)] {
        holds(at(&of(farad, 0.22), "/modes/0/time_s"), time, 1e-5);
        assert_eq!(verdict(&of(farad, time + 1e-3), "safety.hole"), "holds", "{farad}");
        assert_eq!(verdict(&of(farad, time - 1e-3), "safety.hole"), "fails", "{farad}");
    }
}

/// The capacitor of the channel's own filter is what an open input holds: 100 nF of the demo.
#[test]
fn the_filter_of_a_current_channel_is_handed_down() {
    let assessed = assess(&find("mountain-rescue-car").expect("a demo").design).expect("it stands");
    let part = assessed.parts.iter().find(|part| part.part.key() == "safety.1").expect("a part");
    assert_eq!(part.answer.input.pointer("/current/filter_farad"), Some(&json!(1e-7)));
}
