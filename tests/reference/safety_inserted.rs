//! Faults inserted into channels: readings of faulty circuits by nodal analysis, coverage over magnitudes, shared references,
//! and the circuits of a design.

use sensewright_core::calc::voltage::voltage_channel::{Channel, VoltageInput};
use sensewright_core::calculation::Answer;
use sensewright_core::channel::chain::{Around, Chain};
use sensewright_core::demo::{DEMOS, find};
use sensewright_core::design::Design;
use sensewright_core::design::assess::{Assessed, assess};
use sensewright_core::design::prepared::Prepared;
use sensewright_core::physics::faulty::{DividerChain, DividerChange};
use sensewright_core::work::Work;
use serde_json::{Value, json};

use super::safety::evidence;
use super::{at, holds, holds_relative};

/// One mode against one goal of a voltage of 831.6 V, with the changes.
fn voltage(fault: &Value, harm_v: f64, check: &Value) -> Answer {
    let mut mode = json!({"component": "Divider", "mode": "one", "rate_fit": 6.0});
    mode.as_object_mut().expect("a mode").extend(fault.as_object().expect("fields").clone());
    evidence(&[
        (
            "/goals",
            json!([{"name": "Over-voltage", "asil": "c", "reads": "voltage", "dangerous": "low", "harm_v": harm_v,
                    "at_v": 831.6, "ftti_s": 1.0, "reaction_s": 0.0, "share_of_item_percent": 10.0}]),
        ),
        ("/voltage/load_ohm", json!(10e6)),
        ("/faults", json!([mode])),
        ("/checks", if check.is_null() { json!([]) } else { json!([check]) }),
    ])
}

fn comparison(limit_v: f64) -> Value {
    json!({"name": "Comparison", "kind": "comparison", "reads": "voltage", "other_full_v": 1e6, "limit_v": limit_v, "error_v": 0.0,
        "other_error_v": 0.0, "noise_v": 0.0, "other_noise_v": 0.0})
}

/// Closed form: of six elements one drifts by 0 to 50 %; 2 % low do harm, from d/6 = 0.02/0.98 (1 + b/Ru), and 2.9 % are seen.
#[test]
fn the_dangerous_part_of_a_drift_is_covered() {
    let fault = json!({"insert": "upper-drift", "from_percent": 0.0, "to_percent": 50.0});
    let mut check = comparison(0.029 * 831.6);
    let unloaded = |check: &Value| {
        let goal = json!([{"name": "G", "asil": "c", "reads": "voltage", "dangerous": "low", "harm_v": 0.02 * 831.6,
            "at_v": 831.6, "ftti_s": 1.0, "reaction_s": 0.0}]);
        let mode = json!([{"component": "Divider", "mode": "drift", "rate_fit": 6.0, "insert": "upper-drift",
            "from_percent": 0.0, "to_percent": 50.0}]);
        let changes = [
            ("/voltage/factor", json!(1.0 + 6.0 * 680e3 / 8060.0)),
            ("/voltage/bias_current_a", json!(0.0)),
            ("/goals", goal),
            ("/checks", json!([check])),
            ("/faults", mode),
        ];
        evidence(&changes)
    };
    let done = unloaded(&check);
    holds(at(&done, "/modes/0/dc_computed_percent"), 84.93, 0.005);
    holds(at(&done, "/modes/0/direct_percent"), 100.0 - 12.27 / 0.5, 0.02);
    // Of a check that alarms before harm nothing is left; a wider one covers less.
    check["limit_v"] = json!(0.05 * 831.6);
    assert!(at(&unloaded(&check), "/modes/0/dc_computed_percent") < 60.0);
    let loaded = voltage(&fault, 0.02 * 831.6, &comparison(0.029 * 831.6));
    assert!(at(&loaded, "/modes/0/dc_computed_percent") > 80.0);
}

/// Nodal analysis of the faulty circuit, solved by an independent program: one of six elements short; 2.2 MΩ in place of one.
#[test]
fn an_element_short_or_cracked() {
    let short = voltage(&json!({"insert": "upper-short"}), 10.0, &Value::Null);
    holds_relative(at(&short, "/modes/0/deviates_to") + 831.6, 996.807, 2e-4);
    // It reads high: over-voltage does not mind.
    holds(at(&short, "/modes/0/safe_percent"), 100.0, 1e-9);
    let crack = voltage(&json!({"insert": "upper-open", "from_ohm": 2.2e6}), 10.0, &Value::Null);
    holds_relative(at(&crack, "/modes/0/deviates_from") + 831.6, 605.80, 4e-4);
    holds(at(&crack, "/goals/0/single_point_fit"), 6.0, 1e-9);
    assert!(crack.findings.iter().any(|finding| finding.code == "safety.plausible-reading"));
    // Anything from nothing to nearly true.
    let any = voltage(&json!({"insert": "upper-open"}), 10.0, &Value::Null);
    assert!(at(&any, "/modes/0/deviates_from") < -825.0 && at(&any, "/modes/0/deviates_to") > 60.0);
}

/// Closed form: a reference that is 2 % low reads 2.0408 % high; two channels with one reference see nothing of it, with
/// separate ones from 11.25 + 8.72 A of 350 A on, which is −5.398 %.
#[test]
fn a_shared_reference_hides_its_drift() {
    let of = |one_reference: bool, from: f64| {
        evidence(&[
            (
                "/goals",
                json!([{"name": "G", "asil": "c", "reads": "current", "dangerous": "high", "harm_a": 7.0, "at_a": 350.0,
                        "ftti_s": 1.0, "reaction_s": 0.0}]),
            ),
            (
                "/current",
                json!({"shunt_ohm": 50e-6, "leg_ohm": 0.0, "bias_current_a": 0.0, "full_at_a": 2000.0, "full_charge_a": 2000.0}),
            ),
            (
                "/faults",
                json!([{"component": "Reference", "mode": "drift", "rate_fit": 8.0, "insert": "reference-drift",
                        "from_percent": from, "to_percent": -2.0}]),
            ),
            (
                "/checks",
                json!([{"name": "Comparison", "kind": "comparison", "reads": "current", "other_full_a": 1e6, "limit_a": 11.25, "error_a": 4.36,
                        "other_error_a": 4.36, "noise_a": 0.0, "other_noise_a": 0.0, "one_reference": one_reference}]),
            ),
        ])
    };
    let one = of(false, -2.0);
    holds(at(&one, "/modes/0/deviates_to"), 350.0 * 0.020_408_16, 1e-4);
    let separate = of(false, -10.0);
    holds(at(&separate, "/modes/0/dc_computed_percent"), 100.0 * (10.0 - 5.398) / 8.0, 0.02);
    let shared = of(true, -10.0);
    assert_eq!(shared.result.tree().pointer("/modes/0/dc_computed_percent"), None);
    holds(at(&shared, "/goals/0/single_point_fit"), 8.0, 1e-9);
    assert!(shared.findings.iter().any(|finding| finding.code == "safety.blind-to-shared"));
}

/// Nodal analysis: an open sense wire reads a plausible constant, whatever flows; 71.43 A of 400 A. A comparison sees it.
#[test]
fn an_open_sense_wire_reads_a_constant() {
    let of = |checks: Value| {
        evidence(&[
            (
                "/goals",
                json!([{"name": "G", "asil": "c", "reads": "current", "dangerous": "low", "harm_a": 20.0, "at_a": 400.0,
                        "ftti_s": 1.0, "reaction_s": 0.0}]),
            ),
            (
                "/current",
                json!({"shunt_ohm": 35e-6, "leg_ohm": 10.0, "input_ohm": 50e3, "bias_current_a": 50e-9, "full_at_a": 1428.0,
                        "full_charge_a": 1428.0}),
            ),
            ("/faults", json!([{"component": "Joint", "mode": "open", "rate_fit": 1.0, "insert": "sense-open"}])),
            ("/checks", checks),
        ])
    };
    let unseen = of(json!([]));
    let deviates = at(&unseen, "/modes/0/deviates_from");
    assert!([71.43, -71.43].iter().any(|reads| (deviates + 400.0 - reads).abs() < 0.01), "{deviates}");
    holds(at(&unseen, "/goals/0/single_point_fit"), 1.0, 1e-9);
    assert!(unseen.findings.iter().any(|finding| finding.code == "safety.plausible-reading"));
    let seen = of(
        json!([{"name": "Comparison", "kind": "comparison", "reads": "current", "other_full_a": 1e6, "limit_a": 11.25, "error_a": 4.36,
        "other_error_a": 4.36, "noise_a": 0.0, "other_noise_a": 0.0}]),
    );
    holds(at(&seen, "/modes/0/dc_computed_percent"), 100.0, 1e-9);
}

/// Beta equation by hand: an open thermistor reads the leakage of its wiring, −38.07 °C at 220 kΩ and warmer when it is wet.
/// A range check sees what reads below its lowest value less its error, and no more.
#[test]
fn an_open_thermistor_reads_its_leakage() {
    let of = |from_ohm: f64, to_ohm: f64| {
        evidence(&[
            (
                "/goals",
                json!([{"name": "G", "asil": "b", "reads": "temperature", "dangerous": "low", "harm_k": 5.0, "at_degc": 60.0,
                        "ftti_s": 10.0, "reaction_s": 0.0}]),
            ),
            ("/temperature", json!({"r25_ohm": 10e3, "beta_k": 3435.0, "lowest_degc": -60.0, "highest_degc": 150.0})),
            (
                "/faults",
                json!([{"component": "Thermistor", "mode": "open", "rate_fit": 5.0, "insert": "thermistor-open",
                        "from_ohm": from_ohm, "to_ohm": to_ohm, "law": "log-uniform"}]),
            ),
            (
                "/checks",
                json!([{"name": "Range", "kind": "range", "reads": "temperature", "low_degc": -35.0, "error_k": 1.0,
                        "noise_k": 0.0}]),
            ),
        ])
    };
    let dry = of(220e3, 220e3);
    holds(at(&dry, "/modes/0/deviates_from") + 60.0, -38.071, 1e-3);
    holds(at(&dry, "/modes/0/dc_computed_percent"), 100.0, 1e-9);
    holds(at(&dry, "/modes/0/dc_used_percent"), 60.0, 1e-9);
    // From 10 kΩ (25 °C) to 10 MΩ: seen from the resistance of −36 °C on.
    let ohm = 10e3 * f64::exp(3435.0 * (1.0 / 237.15 - 1.0 / 298.15));
    let wet = of(10e3, 10e6);
    holds(at(&wet, "/modes/0/dc_computed_percent"), 100.0 * (10e6 / ohm).ln() / 1e3_f64.ln(), 0.05);
}

/// The healthy circuit is that of the channel: of every voltage channel of the demos, without its deviations and what is known
/// of its surface and its elements, over the whole range.
#[test]
fn the_healthy_circuit_reads_what_the_channel_reads() {
    let mut looked_at = 0;
    for demo in DEMOS.iter() {
        let ready = Prepared::new(&demo.design, Work::FREE).expect("it stands");
        for at in 0..demo.design.parts.len() {
            let Some(input) = ready.input(at).any().downcast_ref::<VoltageInput>() else { continue };
            let mut input = input.clone();
            input.surface.leakage_ohm = None;
            (input.upper.voltage_coefficient_ppm_per_v, input.lower.voltage_coefficient_ppm_per_v) = (0.0, 0.0);
            let channel = Channel::new(&input);
            let chain = DividerChain {
                elements: f64::from(input.upper.count),
                element_ohm: input.upper.resistance_ohm,
                lower_ohm: channel.net.lower_ohm,
                load_ohm: channel.net.load_ohm,
                bias_a: 0.0,
                factor: channel.factor(),
            };
            let mut states = Vec::new();
            let around = Around {
                ambient_degc: input.conditions.calibration_degc,
                aged: false,
                calibrated: false,
                bench: &[0.0],
            };
            channel.states(&around, &mut states);
            let state = states.into_iter().flatten().flatten().next().expect("a state");
            let deviations: Vec<f64> = channel.sources().iter().map(|source| source.estimate).collect();
            for step in 1..=20 {
                let volt = input.input_max_v * f64::from(step) / 20.0;
                let own = channel.reading(volt, &state, &deviations);
                let told = chain.reading(volt, &[DividerChange::Nothing]);
                assert!((own - told).abs() <= 1e-9 * volt, "{}: {own} is not {told}", demo.slug);
                looked_at += 1;
            }
        }
    }
    assert!(looked_at > 60, "only {looked_at}");
}

fn with_safety(slug: &str, changes: &[(&str, Value)]) -> Assessed {
    let mut document = Value::Object(find(slug).expect("a demo").design.document());
    let part = json!([{"number": 1, "voltage_channel": 1,
        "goals": [{"name": "Over-voltage", "asil": "c", "reads": "voltage", "dangerous": "low", "harm_v": 10.0, "at_v": 831.6,
            "ftti_s": 1.0, "reaction_s": 0.0, "share_of_item_percent": 10.0}],
        "faults": [{"component": "Divider", "mode": "cracked", "rate_fit": 6.0, "insert": "upper-open", "from_ohm": 2.2e6}]}]);
    sensewright_tests::put(&mut document, "/safety", part);
    for (pointer, value) in changes {
        sensewright_tests::put(&mut document, pointer, value.clone());
    }
    let design = Design::read(&document).unwrap_or_else(|faults| panic!("{slug}: {faults:#?}"));
    assess(&design).expect("it stands")
}

fn deviates(assessed: &Assessed) -> f64 {
    let part = assessed.parts.iter().find(|part| part.part.key() == "safety.1").expect("a part");
    let value = part.answer.result.tree().pointer("/modes/0/deviates_from").and_then(Value::as_f64);
    value.unwrap_or_else(|| panic!("{}", part.answer.result.tree()))
}

/// The circuit of a design is that of its channel: another element, another reading of the fault.
#[test]
fn a_design_hands_its_channels_down() {
    let as_it_is = deviates(&with_safety("mountain-rescue-car", &[]));
    holds(as_it_is, 605.8 - 831.6, 3.0);
    let other = deviates(&with_safety("mountain-rescue-car", &[("/voltage/0/upper/resistance_ohm", json!(1e6))]));
    assert!(other - as_it_is > 20.0, "{as_it_is} and {other}");
}

/// By hand, a threshold of 4 V per thousand less than the hazard: what the protection section calls the edge towards the hazard
/// less the threshold is what may be misread, and the goal is decided where the reading must have reached it.
#[test]
fn a_threshold_of_the_design_decides_a_goal() {
    let mut document = Value::Object(find("mountain-rescue-car").expect("a demo").design.document());
    let threshold = json!([{"number": 1, "of": "voltage", "kind": "pack-over-voltage", "normal_v": 831.6, "hazard_v": 851.4,
        "error_normal_v": 2.0, "noise_v": 0.0, "samples_in_a_row": 10, "sample_rate_hz": 100.0, "rate_v_per_s": 10.0,
        "filter_s": 0.0, "processing_s": 0.0, "opening_s": 0.1, "threshold_v": 836.0, "reads_to_v": 1000.0}]);
    sensewright_tests::put(&mut document, "/protection", threshold);
    let part = json!([{"number": 1, "voltage_channel": 1, "voltage_threshold": 1,
        "goals": [{"name": "Over-voltage", "asil": "c", "reads": "voltage", "dangerous": "low", "ftti_s": 1.0, "reaction_s": 0.0}],
        "faults": [{"component": "Divider", "mode": "cracked", "rate_fit": 6.0, "insert": "upper-open", "from_ohm": 2.2e6}]}]);
    sensewright_tests::put(&mut document, "/safety", part);
    let design = Design::read(&document).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let prepared = Prepared::new(&design, Work::FREE).expect("it stands");
    let place = design.parts.iter().position(|part| part.key() == "safety.1").expect("a part");
    // 851.4 − 10 · (0.1 + 0.1) = 849.4 V is the last moment; 849.4 − 2 − 836 may be misread.
    holds(prepared.input(place).number("/voltage/decided_v").expect("handed on"), 849.4, 1e-9);
    holds(prepared.input(place).number("/voltage/harm_v").expect("handed on"), 11.4, 1e-9);
    let assessed = assess(&design).expect("it stands");
    let part = assessed.parts.iter().find(|part| part.part.key() == "safety.1").expect("a part");
    assert_eq!(part.answer.result.tree().pointer("/modes/0/direct_percent"), Some(&json!(100.0)));
}

/// Nothing typed: every mode of the channel of the goal is inserted, and none of another one; what nothing is inserted into
/// blocks the metrics until somebody claims its shares.
#[test]
fn without_a_list_the_whole_catalogue_is_followed() {
    let goal = json!([{"name": "Over-voltage", "asil": "c", "reads": "voltage", "dangerous": "low", "harm_v": 10.0, "at_v": 831.6,
        "ftti_s": 1.0, "reaction_s": 0.0, "share_of_item_percent": 10.0}]);
    let current = json!({"shunt_ohm": 50e-6, "leg_ohm": 0.0, "bias_current_a": 0.0, "full_at_a": 2000.0, "full_charge_a": 2000.0});
    let done = evidence(&[("/goals", goal), ("/current", current), ("/faults", json!([])), ("/checks", json!([]))]);
    let result = done.result.tree();
    let modes = result["modes"].as_array().expect("modes");
    assert_eq!(modes.len(), 28, "{modes:#?}");
    let of = |component: &str| modes.iter().filter(|mode| mode["component"] == json!(component)).count();
    assert_eq!((of("Divider string"), of("Voltage converter"), of("Shunt"), of("Controller")), (10, 5, 0, 4));
    holds(at(&done, "/goals/0/rate_fit"), 6.0 + 25.0 + 8.0 + 20.0 + 10.0 + 50.0, 1e-9);
    assert_eq!(done.result.tree().pointer("/goals/0/spfm_percent"), None);
}
