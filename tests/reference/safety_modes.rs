//! Modes behind the circuit: amplifier, converter, clock, link, supply, controller, what a capacitor holds, a loose sensor.
//! Each by its definition, with what sees it and what is missing where it cannot be followed.

use sensewright_core::calculation::Answer;
use sensewright_core::demo::find;
use sensewright_core::design::Design;
use sensewright_core::design::assess::assess;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::judge::Verdict;
use sensewright_core::work::Work;
use serde_json::{Value, json};

use super::safety::evidence;
use super::{at, holds, holds_relative};

/// One mode of a voltage of 800 V whose readings are dangerous when low, with parts of the channel and checks.
fn voltage(fault: &Value, parts: &[(&str, Value)], check: &Value) -> Answer {
    let mut mode = json!({"component": "Part", "mode": "one", "rate_fit": 10.0});
    mode.as_object_mut().expect("a mode").extend(fault.as_object().expect("fields").clone());
    let goal = json!([{"name": "G", "asil": "c", "reads": "voltage", "dangerous": "low", "ftti_s": 1.0, "reaction_s": 0.0, "threshold_v": 780.0,
        "error_v": 2.0, "hazard_v": 850.0, "slope_v_per_s": 100.0, "normal_v": 760.0, "delay_s": 0.5}]);
    let mut changes = vec![
        ("/goals", goal),
        ("/voltage/bias_current_a", json!(0.0)),
        ("/voltage/factor", json!(1.0 + 6.0 * 680e3 / 8060.0)),
        ("/faults", json!([mode])),
        ("/checks", if check.is_null() { json!([]) } else { json!([check]) }),
    ];
    changes.extend(parts.iter().cloned());
    evidence(&changes)
}

/// The ends of the deviations in the worst state.
fn ends(done: &Answer) -> [f64; 2] {
    ["deviates_from", "deviates_to"].map(|end| at(done, &format!("/modes/0/{end}")))
}

fn lacks(done: &Answer) -> String {
    done.result.tree().pointer("/modes/0/lacks").and_then(Value::as_str).unwrap_or_default().into()
}

fn covered(done: &Answer) -> f64 {
    done.result.tree().pointer("/modes/0/dc_computed_percent").and_then(Value::as_f64).unwrap_or(0.0)
}

/// By definition: gains of the reading, offsets of the full 1000 V, one that hangs at an end.
#[test]
fn amplifier_and_converter() {
    let of = |insert: &str| {
        ends(&voltage(&json!({"insert": insert, "from_percent": -5.0, "to_percent": 2.0}), &[], &Value::Null))
    };
    for (insert, expected) in [
        ("amplifier-gain", [-40.0, 16.0]),
        ("converter-gain", [-40.0, 16.0]),
        ("controller-constant", [-40.0, 16.0]),
        ("amplifier-offset", [-50.0, 20.0]),
        ("converter-offset", [-50.0, 20.0]),
    ] {
        let [low, high] = of(insert);
        holds(low, expected[0], 1e-6);
        holds(high, expected[1], 1e-6);
    }
    // Either end, whichever it stands at.
    for insert in ["amplifier-rail", "supply-lost"] {
        let done = voltage(&json!({"insert": insert}), &[], &Value::Null);
        assert_eq!(ends(&done), [-800.0, 200.0], "{insert}");
        holds(at(&done, "/goals/0/single_point_fit"), 10.0, 1e-9);
    }
    let any = voltage(&json!({"insert": "converter-input"}), &[], &Value::Null);
    assert_eq!(ends(&any), [-800.0, 200.0]);
}

/// By hand: 800 V in steps of 0.25 V is the code 3200, 110010000000 in binary: bit 7 is set, bit 6 is not. An error of half a
/// step of that bit may have set it.
#[test]
fn a_forced_bit_shows_only_where_it_differs() {
    let of = |bit: f64, error: f64| {
        let parts = [("/voltage/step_v", json!(0.25)), ("/voltage/error_v", json!(error))];
        voltage(&json!({"insert": "converter-bit", "bit": bit}), &parts, &Value::Null)
    };
    holds(ends(&of(7.0, 0.1))[0], -0.25 * 128.0, 1e-9);
    assert_eq!(ends(&of(6.0, 0.0))[0], 0.0);
    holds(at(&of(6.0, 0.0), "/modes/0/safe_percent"), 100.0, 1e-9);
    holds(ends(&of(6.0, 8.0))[0], -16.0, 1e-9);
    // No bit is named: the worst of all, 2048 steps.
    let parts = [("/voltage/step_v", json!(0.25))];
    let any = voltage(&json!({"insert": "converter-bit"}), &parts, &Value::Null);
    holds(at(&any, "/modes/0/unseen_to"), 512.0, 1e-9);
    assert!(lacks(&voltage(&json!({"insert": "converter-bit"}), &[], &Value::Null)).contains("step of the converter"));
}

/// By hand: 100 V/s make 0.2 s of delay 20 V; a clock that is 20 % slow makes 0.5 s 0.625 s, 12.5 V at that slope.
#[test]
fn what_is_late_is_behind() {
    for insert in ["amplifier-slow", "link-late", "controller-late"] {
        let done = voltage(&json!({"insert": insert, "from_s": 0.0, "to_s": 0.2}), &[], &Value::Null);
        assert_eq!(ends(&done), [-20.0, 0.0], "{insert}");
        assert!(lacks(&voltage(&json!({"insert": insert}), &[], &Value::Null)).contains("how late"), "{insert}");
        // No check of a reading at rest sees it.
        let check = json!({"name": "C", "kind": "comparison", "reads": "voltage", "other_full_v": 1e6, "limit_v": 1.0, "error_v": 0.0,
            "other_error_v": 0.0, "noise_v": 0.0, "other_noise_v": 0.0});
        let late = voltage(&json!({"insert": insert, "from_s": 0.2}), &[], &check);
        assert!(covered(&late) == 0.0, "{insert}");
    }
    let slow = voltage(&json!({"insert": "clock-drift", "from_percent": -20.0, "to_percent": 0.0}), &[], &Value::Null);
    holds_relative(ends(&slow)[0], -100.0 * 0.5 * 0.25, 1e-9);
    let clock = json!({"name": "C", "kind": "clock-test", "reads": "voltage", "limit_percent": 5.0, "error_percent": 0.5,
        "other_error_percent": 0.5});
    let seen = voltage(&json!({"insert": "clock-drift", "from_percent": -50.0, "to_percent": -40.0}), &[], &clock);
    holds(covered(&seen), 100.0, 1e-9);
    holds(at(&seen, "/checks/0/certain_low"), 6.0, 1e-9);
}

/// By definition: frames that are lost, repeated, wrong or late are seen by what they carry, and by nothing else.
#[test]
fn frames_are_seen_by_what_they_carry() {
    let link = |insert: &str, extra: Value| {
        let mut check = json!({"name": "Frames", "kind": "communication", "reads": "voltage", "time_out_s": 0.1,
            "interval_s": 0.02, "counter_bits": 4, "crc_bits": 8, "ceiling_percent": 99.9});
        check.as_object_mut().expect("a check").extend(extra.as_object().expect("fields").clone());
        // Only what is late has a time.
        voltage(&json!({"insert": insert, "from_s": 0.8}), &[], &check)
    };
    for insert in ["link-lost", "link-stuck", "link-corrupt", "link-late"] {
        let done = link(insert, json!({}));
        holds(covered(&done), 100.0, 1e-9);
        holds(at(&done, "/modes/0/time_s"), 0.12, 1e-9);
        holds(at(&done, "/modes/0/dc_used_percent"), 100.0 * (1.0 - 1.0 / 256.0), 1e-9);
    }
    assert!(covered(&link("link-stuck", json!({"counter_bits": 0}))) == 0.0);
    assert!(covered(&link("link-corrupt", json!({"crc_bits": 0}))) == 0.0);
    assert!(covered(&link("link-late", json!({"time_out_s": 0.9}))) == 0.0);
    assert!(covered(&link("converter-gain", json!({}))) == 0.0);
}

/// By definition: a supply within what the channel works at moves the reading by its gain, beyond that it may stand at an end.
#[test]
fn a_supply_that_is_off() {
    let of = |gain: f64, from: f64, works: f64| {
        let parts = [("/voltage/supply_gain", json!(gain)), ("/voltage/supply_works_percent", json!(works))];
        voltage(&json!({"insert": "supply-low", "from_percent": from, "to_percent": 0.0}), &parts, &Value::Null)
    };
    holds(ends(&of(0.5, -8.0, 10.0))[0], -32.0, 1e-6);
    holds(at(&of(0.0, -8.0, 10.0), "/modes/0/safe_percent"), 100.0, 1e-9);
    holds(ends(&of(0.0, -12.0, 10.0))[0], -800.0, 1e-6);
    let unknown = |insert: &str| voltage(&json!({"insert": insert}), &[], &Value::Null);
    assert!(lacks(&unknown("supply-low")).contains("follows its supply"));
    assert!(lacks(&unknown("supply-ripple")).contains("not followed"));
    for insert in ["supply-low", "supply-ripple"] {
        assert_eq!(unknown(insert).result.tree().pointer("/goals/0/spfm_percent"), None, "{insert}");
    }
}

/// By definition: a capacitor behind an open tap holds any value of the range; without one the input's own current reads.
#[test]
fn a_capacitor_holds_what_was_read() {
    let open = json!({"insert": "tap-open"});
    holds(ends(&voltage(&open, &[], &Value::Null))[0], -800.0, 1e-9);
    let check =
        json!({"name": "Range", "kind": "range", "reads": "voltage", "low_v": 500.0, "error_v": 1.0, "noise_v": 0.0});
    let bare = voltage(&open, &[("/voltage/load_ohm", json!(10e6))], &check);
    holds(covered(&bare), 100.0, 1e-9);
    let parts = [("/voltage/load_ohm", json!(10e6)), ("/voltage/filter_farad", json!(1e-8))];
    let held = voltage(&open, &parts, &check);
    assert!(covered(&held) == 0.0, "what is held lies in the range");
    let current = |extra: Value| {
        let mut parts = json!({"shunt_ohm": 35e-6, "leg_ohm": 10.0, "bias_current_a": 50e-9, "full_at_a": 1428.0,
            "full_charge_a": 1428.0, "peak_a": 800.0, "charge_peak_a": 400.0});
        parts.as_object_mut().expect("parts").extend(extra.as_object().expect("fields").clone());
        evidence(&[
            (
                "/goals",
                json!([{"name": "G", "asil": "c", "reads": "current", "dangerous": "low", "ftti_s": 1.0, "reaction_s": 0.0,
                        "threshold_a": 680.0, "error_a": 0.0, "hazard_a": 800.0, "slope_a_per_s": 1000.0,
                        "normal_a": 600.0, "delay_s": 0.1}]),
            ),
            ("/current", parts),
            ("/faults", json!([{"component": "Joint", "mode": "open", "rate_fit": 1.0, "insert": "sense-open"}])),
            (
                "/checks",
                json!([{"name": "Range", "kind": "range", "reads": "current", "low_a": -900.0, "high_a": 900.0,
                        "error_a": 1.0, "noise_a": 0.0}]),
            ),
        ])
    };
    // What is held, from −400 to 800 A, no range shows; without a capacitor the reading stands at an end.
    holds(at(&current(json!({"filter_farad": 1e-7})), "/modes/0/direct_percent"), 100.0, 0.1);
    assert!(covered(&current(json!({"filter_farad": 1e-7}))) == 0.0);
    holds(covered(&current(json!({"filter_farad": 0.0}))), 100.0, 1e-9);
}

/// A thermistor of 10 kΩ and 3435 K in a divider of 10 kΩ at 60 °C.
fn temperature(fault: &Value, extra: &Value) -> Answer {
    let mut parts = json!({"r25_ohm": 10e3, "beta_k": 3435.0});
    parts.as_object_mut().expect("parts").extend(extra.as_object().expect("fields").clone());
    let mut mode = json!({"component": "Part", "mode": "one", "rate_fit": 5.0});
    mode.as_object_mut().expect("a mode").extend(fault.as_object().expect("fields").clone());
    evidence(&[
        (
            "/goals",
            json!([{"name": "G", "asil": "b", "reads": "temperature", "dangerous": "low", "harm_k": 5.0, "at_degc": 60.0,
                    "ftti_s": 10.0, "reaction_s": 0.0}]),
        ),
        ("/temperature", parts),
        ("/faults", json!([mode])),
        ("/checks", json!([])),
    ])
}

/// By hand: a sensor that has lost its contact reads Ta + s (60 − Ta) of −30 °C or 50 °C around it; a fixed resistor that is
/// open reads hot, a short one cold; a reference 10 % high reads the share of the supply a tenth smaller, of a ratiometric
/// read-out the same.
#[test]
fn a_temperature_read_out() {
    let loose = json!({"insert": "thermistor-loose"});
    let done = temperature(&loose, &json!({"ambient_low_degc": -30.0, "ambient_high_degc": 50.0}));
    assert_eq!(ends(&done), [-90.0, 0.0]);
    holds(at(&done, "/modes/0/direct_percent"), 100.0 * 85.0 / 90.0, 1e-6);
    assert!(lacks(&temperature(&loose, &json!({}))).contains("ambient"));
    let open = temperature(&json!({"insert": "fixed-open"}), &json!({}));
    assert!(ends(&open)[0] > 400.0);
    holds(at(&temperature(&json!({"insert": "fixed-short"}), &json!({})), "/goals/0/single_point_fit"), 5.0, 1e-9);
    let ohm = |degc: f64| 10e3 * f64::exp(3435.0 * (1.0 / (degc + 273.15) - 1.0 / 298.15));
    let degc = |ohm: f64| 1.0 / (1.0 / 298.15 + (ohm / 10e3).ln() / 3435.0) - 273.15;
    let share = ohm(60.0) / (ohm(60.0) + 10e3);
    let drift =
        |from: f64, extra: Value| temperature(&json!({"insert": "reference-drift", "from_percent": from}), &extra);
    let read = drift(-10.0, json!({"fixed_ohm": 10e3, "reference_gain": 1.0}));
    holds(ends(&read)[0], degc(10e3 * (share / 0.9) / (1.0 - share / 0.9)) - 60.0, 1e-6);
    assert!(ends(&drift(-10.0, json!({"reference_gain": 0.0})))[0].abs() < 1e-9);
    assert!(lacks(&drift(-10.0, json!({}))).contains("ratiometric"));
    assert!(lacks(&drift(-10.0, json!({"reference_gain": 1.0}))).contains("fixed resistor"));
    let gain = temperature(
        &json!({"insert": "converter-gain", "from_percent": 10.0}),
        &json!({"fixed_ohm": 10e3, "sensor_above": 1.0, "reference_gain": 0.0}),
    );
    let above = 1.1 * 10e3 / (ohm(60.0) + 10e3);
    holds(ends(&gain)[0], degc(10e3 * (1.0 - above) / above) - 60.0, 1e-6);
}

/// By definition: a shunt that is open destroys what reads it, and nothing of it is judged; a lost check harms with a second
/// fault alone, and its test finds a part of it.
#[test]
fn what_is_not_read_and_what_is_not_checked() {
    let shunt = evidence(&[
        (
            "/goals",
            json!([{"name": "G", "asil": "c", "reads": "current", "harm_a": 20.0, "at_a": 400.0, "ftti_s": 1.0, "reaction_s": 0.0}]),
        ),
        (
            "/current",
            json!({"shunt_ohm": 35e-6, "leg_ohm": 10.0, "bias_current_a": 0.0, "full_at_a": 1428.0, "full_charge_a": 0.0}),
        ),
        ("/faults", json!([{"component": "Shunt", "mode": "open", "rate_fit": 1.0, "insert": "shunt-open"}])),
        ("/checks", json!([])),
    ]);
    assert!(lacks(&shunt).contains("destroys"));
    assert_eq!(shunt.result.tree().pointer("/goals/0/spfm_percent"), None);
    let of = |needs: &str, interval: f64| {
        let check = json!({"name": "C", "kind": "comparison", "reads": "voltage", "other_full_v": 1e6, "needs": needs, "test_interval_h": interval,
            "test_coverage_percent": 90.0});
        voltage(&json!({"insert": "check-lost"}), &[], &check)
    };
    let tested = of("Part", 10.0);
    holds(at(&tested, "/modes/0/multi_point_percent"), 100.0, 1e-9);
    holds(at(&tested, "/goals/0/latent_fit"), 1.0, 1e-9);
    holds(at(&of("Part", 20.0), "/goals/0/latent_fit"), 10.0, 1e-9);
    assert!(lacks(&of("", 10.0)).contains("which check"));
}

/// By definition: what a check cannot see, what it errs more than it is typed to, and what it rests on is told.
#[test]
fn doubts_of_a_check_are_told() {
    let finds = |check: &Value, code: &str| {
        let done = voltage(&json!({"insert": "lower-short"}), &[("/voltage/error_v", json!(3.0))], check);
        done.findings.iter().any(|finding| finding.code == code)
    };
    let range = |high: f64| json!({"name": "R", "kind": "range", "reads": "voltage", "low_v": 100.0, "high_v": high, "error_v": 5.0, "noise_v": 0.0});
    assert!(finds(&range(1000.0), "safety.limit-outside-range") && !finds(&range(999.0), "safety.limit-outside-range"));
    let comparison = |error: f64, needs: &str| {
        json!({"name": "C", "kind": "comparison", "reads": "voltage", "other_full_v": 1e6, "limit_v": 20.0, "error_v": error, "other_error_v": 1.0,
            "noise_v": 0.0, "other_noise_v": 0.0, "needs": needs})
    };
    assert!(finds(&comparison(1.0, ""), "safety.uncalibrated-comparison"));
    assert!(!finds(&comparison(3.0, ""), "safety.uncalibrated-comparison"));
    assert!(finds(&comparison(3.0, "Part"), "safety.check-rests-on-what-it-checks"));
    assert!(!finds(&comparison(3.0, ""), "safety.check-rests-on-what-it-checks"));
}

/// A temperature channel of a design hands on what it errs over all that it reads, its noise, its divider and its range, so that
/// the rows of its checks are judged: by hand, the noise of one reading is its voltage over the slope of the divider.
#[test]
fn a_design_hands_on_its_temperature_channel() {
    let mut document = Value::Object(find("mountain-rescue-car").expect("a demo").design.document());
    for (pointer, value) in [
        ("/temperatures/0/curve", json!("beta")),
        ("/temperatures/0/beta", json!({"r25_ohm": 10e3, "beta_k": 3435.0})),
        ("/temperatures/0/read_out", json!("divider")),
        ("/temperatures/0/min_degc", json!(-30.0)),
        ("/temperatures/0/max_degc", json!(60.0)),
        ("/temperatures/0/converter/noise_v", json!(1e-3)),
    ] {
        sensewright_tests::put(&mut document, pointer, value);
    }
    let safety = json!([{"number": 1, "temperature_channel": 1,
        "goals": [{"name": "G", "asil": "b", "reads": "temperature", "dangerous": "low", "harm_k": 30.0, "at_degc": 55.0,
            "ftti_s": 100.0, "reaction_s": 0.0}],
        "faults": [{"component": "Thermistor", "mode": "short", "rate_fit": 5.0, "insert": "fixed-short"}],
        "checks": [{"name": "Range", "kind": "range", "reads": "temperature", "low_degc": -80.0, "high_degc": 120.0}]}]);
    sensewright_tests::put(&mut document, "/safety", safety);
    let design = Design::read(&document).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let prepared = Prepared::new(&design, Work::FREE).expect("it stands");
    let place = design.parts.iter().position(|part| part.key() == "safety.1").expect("a part");
    let handed = |pointer: &str| prepared.input(place).number(pointer).unwrap_or_else(|| panic!("no {pointer}"));
    assert!(handed("/temperature/error_k") > 0.1);
    holds(handed("/temperature/coldest_degc"), -30.0, 1e-9);
    let fixed = handed("/temperature/fixed_ohm");
    // At the coldest end the divider is flattest: m = R/(R + Rf), dm/dT = −m (1 − m) B/T².
    let slope = |degc: f64| {
        let (kelvin, ohm) = (degc + 273.15, 10e3 * f64::exp(3435.0 * (1.0 / (degc + 273.15) - 1.0 / 298.15)));
        let share = ohm / (ohm + fixed);
        share * (1.0 - share) * 3435.0 / (kelvin * kelvin)
    };
    let channel = design.parts.iter().position(|part| part.key() == "temperature.1" || part.key() == "temperatures.1");
    let volt = prepared.input(channel.expect("a channel")).number("/divider/supply_v").expect("a supply");
    let flattest = slope(-30.0).min(slope(60.0));
    holds_relative(handed("/temperature/noise_k"), 1e-3 / (volt * flattest), 1e-6);
    let assessed = assess(&design).expect("it stands");
    let part = assessed.parts.iter().find(|part| part.part.key() == "safety.1").expect("a part");
    for id in ["safety.false-alarm", "safety.hole"] {
        let row = part.answer.requirements.iter().find(|row| row.id == id).unwrap_or_else(|| panic!("no {id}"));
        assert_eq!(row.verdict, Verdict::Holds, "{id}");
    }
}
