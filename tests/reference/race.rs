//! The reaction race against worked examples and closed forms.
//!
//! Sources: printed results of three worked examples (an 800 V car, a 400 V van, a 48 V relay shelf) and of a worked
//! question; a first-order loop worked out with numpy 2.4.6, scipy 1.17.1 and mpmath (20 mΩ, 5 µH, 400 V); IEC 60364-5-54
//! annex A for k. Conventions of the examples: stages summed as stated, current unopposed during opening, let-through
//! and pre-arc time from zero current.

use sensewright_core::calculation::Answer;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::{answer, at, check, holds, holds_relative};

/// A pack through a short, with the stages of its chain in microseconds.
struct Example {
    voltage_v: f64,
    pack_ohm: f64,
    short_ohm: f64,
    henry: f64,
    before_a: f64,
    threshold_a: f64,
    stages_us: [f64; 4],
    prearc_a2s: f64,
    shunt_a2s: f64,
    carry_a: f64,
}

/// 198 × 4.2 V; 198 × 0.9 mΩ + 30 mΩ.
const CAR: Example = Example {
    voltage_v: 831.6,
    pack_ohm: 0.2082,
    short_ohm: 0.012,
    henry: 6e-6,
    before_a: 200.0,
    threshold_a: 1800.0,
    stages_us: [10.0, 20.0, 30.0, 3000.0],
    prearc_a2s: 180e3,
    shunt_a2s: 9.94e6,
    carry_a: 4000.0,
};

/// 112 × 3.65 V; 112 × 0.6 mΩ + 18 mΩ.
const VAN: Example = Example {
    voltage_v: 408.8,
    pack_ohm: 0.0852,
    short_ohm: 0.010,
    henry: 8e-6,
    before_a: 150.0,
    threshold_a: 1200.0,
    stages_us: [20.0, 50.0, 50.0, 5000.0],
    prearc_a2s: 60e3,
    shunt_a2s: 9.48e6,
    carry_a: 2500.0,
};

/// 16 × 3.55 V; 16 × 0.8 mΩ + 4 mΩ.
const RELAY: Example = Example {
    voltage_v: 56.8,
    pack_ohm: 0.0168,
    short_ohm: 0.005,
    henry: 4e-6,
    before_a: 60.0,
    threshold_a: 400.0,
    stages_us: [50.0, 50.0, 20.0, 2.0],
    prearc_a2s: 25e3,
    shunt_a2s: 2.04e6,
    carry_a: 2000.0,
};

impl Example {
    fn ask(&self, changes: &[(&str, Value)]) -> Answer {
        let names = ["filter", "detection", "driver", "opening"];
        let stages: Vec<Value> =
            names.iter().zip(self.stages_us).map(|(name, us)| json!({"name": name, "longest_s": us * 1e-6})).collect();
        let mut all = vec![
            ("/source/voltage_v", json!(self.voltage_v)),
            ("/source/pack_resistance_ohm", json!(self.pack_ohm)),
            ("/source/external_resistance_ohm", json!(self.short_ohm)),
            ("/source/inductance_henry", json!(self.henry)),
            ("/before_a", json!(self.before_a)),
            ("/threshold_a", json!(self.threshold_a)),
            ("/stages", json!(stages)),
            ("/fuse/prearc_a2s", json!(self.prearc_a2s)),
            ("/fuse/breaking_a", json!(50e3)),
            ("/shunt_pulse_a2s", json!(self.shunt_a2s)),
            ("/switch/carry_a", json!(self.carry_a)),
            ("/switch/carry_s", json!(10e-3)),
        ];
        all.extend_from_slice(changes);
        answer("race", &all)
    }
}

/// A switch that can break the car's strongest fault, with a clamp above the source.
fn able() -> Vec<(&'static str, Value)> {
    vec![("/switch/breaking_a", json!(4500.0)), ("/switch/clamp_voltage_v", json!(1100.0))]
}

/// Changes, and some more.
fn with(changes: &[(&'static str, Value)], more: &[(&'static str, Value)]) -> Vec<(&'static str, Value)> {
    changes.iter().chain(more).cloned().collect()
}

fn has(answer: &Answer, code: &str) -> bool {
    answer.findings.iter().any(|finding| finding.code == code)
}

fn verdict(answer: &Answer, id: &str) -> Option<Verdict> {
    answer.requirements.iter().find(|check| check.id == id).map(|check| check.verdict)
}

/// Printed results of the worked example of the 800 V car: 3777 A, L/R 27.2 µs, 1800 A after 16.16 µs, interrupted at
/// 3076.2 µs with 3777 A, 43291 A²s from zero, 42.8 J, the fuse after 12.66 ms, so the switch opens first and must break
/// 3777 A; 4000 A for 10 ms is a carry value. By hand: 831.6/0.2202 = 3776.567 A, 27.2480 µs, 16.1592 µs.
#[test]
fn the_car_has_its_printed_race_and_the_switch_must_break_all_of_it() {
    let car = CAR.ask(&[]);
    holds(at(&car, "/strongest/prospective_a"), 3776.567, 5e-4);
    holds(at(&car, "/strongest/time_constant_s"), 27.2480e-6, 5e-11);
    holds(at(&car, "/time_to_threshold_s"), 16.1592e-6, 5e-11);
    holds(at(&car, "/interruption_max_s"), 3076.2e-6, 5e-8);
    holds(at(&car, "/opening_current_a"), 3777.0, 0.5);
    holds(at(&car, "/let_through_a2s"), 43291.0, 0.5);
    holds(at(&car, "/stored_energy_j"), 42.8, 0.05);
    holds(at(&car, "/fuse/prearc_s"), 12.66e-3, 5e-6);
    assert_eq!(car.result.tree()["opens_first"], "switch");
    holds(at(&car, "/must_break_a"), 3777.0, 0.5);
    assert!(has(&car, "race.carry-is-not-breaking") && has(&car, "race.fuse-not-adiabatic"));
    // No breaking capacity was given: what rests on the switch is not judged.
    for id in ["race.shunt-pulse", "race.breaking", "race.opens"] {
        assert_eq!(verdict(&car, id), Some(Verdict::NotJudged), "{id}");
    }
    assert_eq!(car.cautions.len(), 2);
    let able = CAR.ask(&able());
    for id in ["race.shunt-pulse", "race.opens"] {
        assert_eq!(verdict(&able, id), Some(Verdict::Holds), "{id}");
    }
    // With the carry rating taken for a breaking capacity of 3000 A it is beyond it.
    let beyond = CAR.ask(&[("/switch/breaking_a", json!(3000.0))]);
    assert_eq!(verdict(&beyond, "race.breaking"), Some(Verdict::Fails));
    assert!(has(&beyond, "race.breaking"));
}

/// Printed results of the worked example of the van: 4294 A, 84.0 µs, 1200 A after 24.55 µs, 5144.6 µs with 4294 A,
/// 92538 A²s, 73.8 J, the fuse after 3.38 ms: the fuse first.
#[test]
fn the_van_has_its_printed_race_and_the_fuse_opens_first() {
    let fuse = [("/fuse/adiabatic_from_a", json!(4000.0)), ("/meant_first", json!("fuse"))];
    let van = VAN.ask(&fuse);
    holds(at(&van, "/strongest/prospective_a"), 4294.0, 0.5);
    holds(at(&van, "/strongest/time_constant_s"), 84.0e-6, 5e-8);
    holds(at(&van, "/time_to_threshold_s"), 24.55e-6, 5e-9);
    holds(at(&van, "/interruption_max_s"), 5144.6e-6, 5e-8);
    holds(at(&van, "/opening_current_a"), 4294.0, 0.5);
    holds(at(&van, "/let_through_a2s"), 92538.0, 0.5);
    holds(at(&van, "/stored_energy_j"), 73.8, 0.05);
    holds(at(&van, "/fuse/prearc_s"), 3.38e-3, 5e-6);
    assert_eq!(van.result.tree()["opens_first"], "fuse");
    assert_eq!(verdict(&van, "race.fuse-first"), Some(Verdict::Holds));
    assert!(has(&van, "race.prearc-is-not-clearing"));
    let meant = VAN.ask(&[("/meant_first", json!("switch"))]);
    assert_eq!(verdict(&meant, "race.switch-first"), Some(Verdict::Fails));
    // Without the current from which on its I²t hold nothing is known of its latest.
    let unknown = VAN.ask(&fuse[1..]);
    assert_eq!(unknown.result.tree()["opens_first"], "either");
    assert_eq!(verdict(&unknown, "race.fuse-first"), Some(Verdict::NotJudged));
}

/// Printed results of the worked example of the relay shelf: 2606 A, 183.5 µs, 400 A after 26.31 µs, 148.3 µs with 1444 A,
/// 125 A²s, 4.2 J, the fuse after 3.96 ms, the switch after 0.148 ms must break 1444 A.
///
/// The example times the threshold from 60 A but counts current and energy at the opening from zero; the question of the
/// 750 V source below counts them from the current before. The 60 A do flow: the switch meets 2605.5 A − 2545.5 A ·
/// e^(−148.31/183.49) = 1471 A and 4.33 J. The answer has both; the switch is judged by the real current.
#[test]
fn the_relay_shelf_has_its_printed_race() {
    let relay = RELAY.ask(&[]);
    holds(at(&relay, "/strongest/prospective_a"), 2606.0, 0.5);
    holds(at(&relay, "/strongest/time_constant_s"), 183.5e-6, 5e-8);
    holds(at(&relay, "/time_to_threshold_s"), 26.31e-6, 5e-9);
    holds(at(&relay, "/interruption_max_s"), 148.3e-6, 5e-8);
    holds(at(&relay, "/opening_current_from_zero_a"), 1444.0, 0.5);
    holds(at(&relay, "/let_through_a2s"), 125.0, 0.5);
    holds(at(&relay, "/stored_energy_from_zero_j"), 4.2, 0.05);
    let (last, tau) = (56.8_f64 / 0.0218, 4e-6_f64 / 0.0218);
    let real = last + (60.0 - last) * (-at(&relay, "/interruption_max_s") / tau).exp();
    holds_relative(at(&relay, "/opening_current_a"), real, 1e-12);
    holds_relative(at(&relay, "/stored_energy_j"), 0.5 * 4e-6 * real * real, 1e-12);
    holds(at(&relay, "/fuse/prearc_s"), 3.96e-3, 5e-6);
    assert_eq!(relay.result.tree()["opens_first"], "switch");
    holds_relative(at(&relay, "/must_break_a"), real, 1e-12);
}

/// Worked question, printed: 750 V, 150 mΩ, 5 µH, 300 A before, 2000 A, then 85 µs: 14.965 µs, 4765.76 A, 56.7811 J, 5000 A.
#[test]
fn a_750_v_source_has_its_printed_answers() {
    let found = Example {
        voltage_v: 750.0,
        pack_ohm: 0.15,
        short_ohm: 0.0,
        henry: 5e-6,
        before_a: 300.0,
        threshold_a: 2000.0,
        stages_us: [85.0, 0.0, 0.0, 0.0],
        ..CAR
    }
    .ask(&[]);
    holds(at(&found, "/strongest/prospective_a"), 5000.0, 1e-9);
    holds(at(&found, "/time_to_threshold_s"), 14.965e-6, 5e-10);
    holds(at(&found, "/opening_current_a"), 4765.76, 5e-3);
    holds(at(&found, "/stored_energy_j"), 56.7811, 5e-5);
}

/// numpy, scipy, mpmath: 400 V, 20 mΩ, 5 µH: 20 kA, 250 µs, 80 A/µs, 2 kA after 26.3401 µs, 1537.673 A and 16.0798 A²s at
/// 20 µs.
#[test]
fn a_400_v_loop_has_its_independent_values() {
    let base = Example {
        voltage_v: 400.0,
        pack_ohm: 0.02,
        short_ohm: 0.0,
        henry: 5e-6,
        before_a: 0.0,
        threshold_a: 2000.0,
        stages_us: [0.0; 4],
        ..CAR
    };
    let found = base.ask(&[]);
    holds_relative(at(&found, "/strongest/prospective_a"), 20e3, 1e-12);
    holds_relative(at(&found, "/strongest/time_constant_s"), 250e-6, 1e-12);
    holds_relative(at(&found, "/strongest/initial_rise_a_per_s"), 80e6, 1e-12);
    holds_relative(at(&found, "/time_to_threshold_s"), 26.3401e-6, 1e-5);
    // 1 mA is reached after 12.5 ps: what follows is 20 µs to a part in a million.
    let later = Example { threshold_a: 1e-3, stages_us: [20.0, 0.0, 0.0, 0.0], ..base }.ask(&[]);
    holds_relative(at(&later, "/opening_current_a"), 1537.673, 1e-5);
    holds_relative(at(&later, "/let_through_a2s"), 16.0798, 1e-5);
}

/// IEC 60364-5-54 annex A: k = 115 (PVC), 143 (XLPE) for copper, 76 and 94 for aluminium, and by the same formula 143 for
/// copper from 30 to 160 °C, 176 from 30 to 250 °C; recomputed 115.00, 142.90, 143.08, 175.83, 76.03, 94.48. Smallest
/// cross-section S = √(I² t)/k: 5 kA for 0.1 s and k = 143 need 11.0569 mm² (with the exact k of 143.08: 11.051).
#[test]
fn wiring_has_the_factors_of_the_standard() {
    for (conductor, insulation, start, end, k) in [
        ("copper", "pvc", None, None, 115.00),
        ("copper", "xlpe", None, None, 143.08),
        ("aluminium", "pvc", None, None, 76.03),
        ("aluminium", "xlpe", None, None, 94.48),
        ("copper", "pvc", Some(30.0), None, 142.90),
        ("copper", "xlpe", Some(30.0), Some(250.0), 175.83),
    ] {
        let mut changes = vec![
            ("/wiring/area_mm2", json!(10.0)),
            ("/wiring/conductor", json!(conductor)),
            ("/wiring/insulation", json!(insulation)),
        ];
        changes.extend(start.map(|start: f64| ("/wiring/start_degc", json!(start))));
        changes.extend(end.map(|end: f64| ("/wiring/end_degc", json!(end))));
        let found = CAR.ask(&changes);
        holds(at(&found, "/wiring/k"), k, 5e-3);
        holds_relative(at(&found, "/wiring/limit_a2s"), k * k * 100.0, 1e-4);
    }
    // A step of 5 kA for 0.1 s without inductance: 2.5 MA²s.
    let step = Example {
        voltage_v: 500.0,
        pack_ohm: 0.1,
        short_ohm: 0.0,
        henry: 0.0,
        before_a: 0.0,
        stages_us: [1e5, 0.0, 0.0, 0.0],
        prearc_a2s: 0.0,
        ..CAR
    }
    .ask(&[("/wiring/area_mm2", json!(10.0)), ("/switch/breaking_a", json!(6000.0))]);
    holds_relative(at(&step, "/worst_let_through_a2s"), 2.5e6, 1e-12);
    holds_relative(at(&step, "/wiring/smallest_mm2"), 11.0569 * 143.0 / 143.08, 5e-5);
    assert_eq!(verdict(&step, "race.wiring"), Some(Verdict::Fails));
    assert!(has(&step, "race.no-inductance") && has(&step, "race.wiring"));
    holds(at(&step, "/time_to_threshold_s"), 0.0, 0.0);
    // Withstand time (k S/I)²: 10 mm², 3 kA, k = 115: 0.146944 s.
    let withstand = Example { voltage_v: 300.0, pack_ohm: 0.1, short_ohm: 0.0, henry: 0.0, ..CAR }
        .ask(&[("/wiring/area_mm2", json!(10.0)), ("/wiring/insulation", json!("pvc"))]);
    let result = withstand.result.tree();
    let points = result["coordination"].as_array().expect("points");
    let point =
        points.iter().find(|point| point["prospective_a"].as_f64() == Some(3000.0)).expect("the strongest fault");
    holds_relative(point["wiring_s"].as_f64().expect("a time"), 0.146_944, 1e-4);
}

/// By hand: a clamp at 1.3 times the source takes 1.3/0.3 = 4.333 times the stored energy, with the resistance neglected;
/// with it t = (L/R) ln(1 + I R/(Vc − V)) and the energies balance.
#[test]
fn a_clamp_takes_more_than_the_stored_energy_and_one_below_the_source_never_ends() {
    let found = CAR.ask(&[("/switch/clamp_voltage_v", json!(1.3 * 831.6))]);
    let stored = at(&found, "/stored_energy_j");
    holds_relative(at(&found, "/clamp/factor"), 13.0 / 3.0, 1e-12);
    holds_relative(at(&found, "/clamp/energy_without_resistance_j"), stored * 13.0 / 3.0, 1e-12);
    let (current, tau) = (at(&found, "/opening_current_a"), 6e-6 / 0.2202);
    let time = tau * (1.0 + current * 0.2202 / (0.3 * 831.6)).ln();
    holds_relative(at(&found, "/clamp/opening_s"), time, 1e-12);
    let charge = (6e-6 * current - 0.3 * 831.6 * time) / 0.2202;
    holds_relative(at(&found, "/clamp/energy_j"), 1.3 * 831.6 * charge, 1e-9);
    holds_relative(at(&found, "/clamp/source_j"), 831.6 * charge, 1e-9);
    let never = CAR.ask(&[("/switch/clamp_voltage_v", json!(800.0))]);
    assert!(has(&never, "race.clamp") && never.result.tree().get("clamp").is_none());
}

/// By hand: the weakest fault of the car with 554.4 V through 1.5 Ω drives 554.4/1.7082 = 324.55 A. The threshold of 1800 A
/// does not see it; a fuse that clears from 900 A on leaves 324.55 to 900 A to nobody. Above 1800 A the switch is first.
#[test]
fn nobodys_interval_lies_below_the_fuse_and_above_the_breaking_capacity() {
    let weak = [
        ("/source/voltage_min_v", json!(554.4)),
        ("/source/external_resistance_max_ohm", json!(1.5)),
        ("/fuse/adiabatic_from_a", json!(300.0)),
        ("/fuse/clearing_a2s", json!(250e3)),
        ("/fuse/never_clears_below_a", json!(900.0)),
        ("/switch/breaking_a", json!(3000.0)),
    ];
    let found = CAR.ask(&weak);
    holds(at(&found, "/weakest/prospective_a"), 554.4 / 1.7082, 1e-9);
    assert_eq!(found.result.tree()["opens_first_weakest"], "nothing");
    let result = found.result.tree();
    let nobody = result["nobody"].as_array().expect("a list");
    assert_eq!(nobody.len(), 2, "{nobody:?}");
    assert_eq!(nobody[0]["reason"], "nothing-opens");
    holds(at(&found, "/nobody/0/from_a"), 554.4 / 1.7082, 1e-9);
    holds(at(&found, "/nobody/0/to_a"), 900.0, 1e-6);
    // After 3 ms the current is at its prospective value: beyond breaking from 3000 A on.
    assert_eq!(nobody[1]["reason"], "beyond-breaking");
    // A limit is passed from a part in 10⁹ on: 3 µA.
    holds(at(&found, "/nobody/1/from_a"), 3000.0, 5e-6);
    holds(at(&found, "/nobody/1/to_a"), 831.6 / 0.2202, 1e-9);
    for code in ["race.opens", "race.breaking", "race.weak-fault-not-seen", "race.fuse-never-clears"] {
        assert!(has(&found, code), "{code}");
    }
    // Without these limits every fault finds somebody; without a breaking capacity nobody knows.
    let open = CAR.ask(&with(&weak[..4], &able()));
    assert_eq!(open.result.tree()["nobody"], json!([]));
    assert_eq!(verdict(&open, "race.opens"), Some(Verdict::Holds));
    let unknown = CAR.ask(&weak[..2]);
    assert_eq!(unknown.result.tree()["nobody"][0]["reason"], "not-judged");
    assert_eq!(verdict(&unknown, "race.opens"), Some(Verdict::NotJudged));
    // A threshold above the strongest fault leaves all of it to the fuse; without one nothing opens at all.
    let high = CAR.ask(&with(&weak[2..3], &[("/threshold_a", json!(5000.0))]));
    assert!(has(&high, "race.threshold-above-prospective") && high.result.tree().get("time_to_threshold_s").is_none());
    assert_eq!(high.result.tree()["opens_first"], "fuse");
    let none = CAR.ask(&[("/threshold_a", json!(5000.0)), ("/fuse/prearc_a2s", json!(0.0))]);
    assert_eq!(none.result.tree()["opens_first"], "nothing");
    assert!(none.result.tree().get("worst_let_through_a2s").is_none());
    assert_eq!(verdict(&none, "race.shunt-pulse"), Some(Verdict::Fails));
    // A threshold below the current before the fault is passed in normal operation.
    assert!(has(&CAR.ask(&[("/threshold_a", json!(150.0))]), "race.threshold"));
}

/// A loop of 1 ms, a chain of 1.2 ms and a small fuse: the current that the switch may meet rises with the fault until the
/// fuse takes over, so a breaking capacity just below the largest leaves a sliver of faults to nobody. By bisection on the
/// answers themselves: at both ends of the sliver the switch meets its breaking capacity, or the fuse is sure to be first.
#[test]
fn a_sliver_below_the_take_over_by_the_fuse_is_found() {
    let base = [
        ("/source/inductance_henry", json!(2e-4)),
        ("/source/external_resistance_max_ohm", json!(1.0)),
        ("/stages", json!([{"name": "all", "longest_s": 1.2e-3}])),
        ("/threshold_a", json!(600.0)),
        // 2500 A²s from 500 A to 50 kA, cleared as it melts.
        (
            "/fuse/points",
            json!([
                {"current_a": 500.0, "pre_arcing_s": 0.01, "clearing_s": 0.01},
                {"current_a": 5e3, "pre_arcing_s": 1e-4, "clearing_s": 1e-4},
                {"current_a": 5e4, "pre_arcing_s": 1e-6, "clearing_s": 1e-6},
            ]),
        ),
        ("/fuse/voltage_v", json!(1000.0)),
        ("/fuse/time_constant_s", json!(0.01)),
        ("/fuse/breaking_a", json!(50e3)),
        ("/switch/clamp_voltage_v", json!(1200.0)),
    ];
    let most = at(&answer("race", &base), "/must_break_a");
    let with = |can: f64| {
        let mut changes = base.to_vec();
        changes.push(("/switch/breaking_a", json!(can)));
        answer("race", &changes)
    };
    assert_eq!(with(most * 1.0001).result.tree()["nobody"], json!([]));
    let sliver = with(most * 0.9999);
    assert_eq!(sliver.result.tree()["nobody"].as_array().map(Vec::len), Some(1));
    let (from, to) = (at(&sliver, "/nobody/0/from_a"), at(&sliver, "/nobody/0/to_a"));
    assert!(to > from && to / from < 1.01, "{from} {to}");
}

/// By hand: the van's switch needs 5144.6 µs; a fuse of 100 kA²s ± 20 % melts between about 80e3/4294² + 0.12 ms = 4.46 ms
/// and 120e3/4294² + 0.13 ms = 6.63 ms: nobody can say who is first.
#[test]
fn overlapping_tolerances_leave_the_order_open() {
    let found = VAN.ask(&[
        ("/fuse/prearc_a2s", json!(100e3)),
        ("/fuse/tolerance_percent", json!(20.0)),
        ("/fuse/adiabatic_from_a", json!(4000.0)),
    ]);
    assert_eq!(found.result.tree()["opens_first"], "either");
    holds(at(&found, "/fuse/prearc_min_s"), 4.46e-3, 1e-5);
    holds(at(&found, "/fuse/prearc_max_s"), 6.63e-3, 1e-5);
    assert!(has(&found, "race.either-first"));
}

/// A filter as a time constant: on a step its delay is τ ln((If − I0)/(If − Ith)), by hand for the car without
/// inductance 10 µs · ln(3576.567/1976.567) = 5.9304 µs.
#[test]
fn a_filter_as_a_time_constant_delays_by_its_logarithm_on_a_step() {
    let found = Example { henry: 0.0, ..CAR }.ask(&[("/filter_s", json!(10e-6))]);
    holds(at(&found, "/filter_delay_s"), 5.9304e-6, 1e-10);
    // On a slow rise the delay goes to the time constant of the filter (lag on a ramp).
    let slow = Example { henry: 600e-6, ..CAR }.ask(&[("/filter_s", json!(10e-6))]);
    holds(at(&slow, "/filter_delay_s"), 10e-6, 1e-7);
}

fn message(answer: &Answer, code: &str) -> String {
    let findings = &answer.findings;
    findings.iter().find(|finding| finding.code == code).unwrap_or_else(|| panic!("no {code}")).message.clone()
}

/// scipy quad over (V/R + (I0 − V/R) e^(−t R/L))², the threshold behind a filter of 10 ms by brentq, from no current before;
/// the fall against a clamp of 100 kV adds 1.08, 0.12 and 0.12 A²s: the car passes 135793.26 A²s at its strongest fault,
/// 168186.93 at 1814.93 A (through 250 mΩ), 253047.98 at 1801 A, and 117812 at 1897.76 A; equal heat in 10 ms is
/// √(168186.81/0.01) = 4101.06 A, more than the peak of 3776.6 A. From 200 A it is less: 128052.8, 164345.9, 249234.6.
#[test]
fn a_weaker_fault_passes_more_when_the_detection_is_slow() {
    let slow = [
        ("/filter_s", json!(10e-3)),
        ("/shunt_pulse_a2s", json!(150e3)),
        ("/wiring/area_mm2", json!(2.8)),
        ("/switch/breaking_a", json!(4500.0)),
        ("/switch/clamp_voltage_v", json!(1e5)),
    ];
    let through = |external: f64| CAR.ask(&with(&slow, &[("/source/external_resistance_max_ohm", json!(external))]));
    let strongest = CAR.ask(&slow);
    holds(at(&strongest, "/worst_let_through_a2s"), 135_793.26, 0.05);
    assert_eq!(verdict(&strongest, "race.shunt-pulse"), Some(Verdict::Thin));
    // Down to 1897.76 A the strongest is still the worst.
    holds(at(&through(0.23), "/worst_let_through_a2s"), 135_793.26, 0.05);
    let weaker = through(0.25);
    holds(at(&weaker, "/worst_let_through_a2s"), 168_186.93, 0.05);
    holds(at(&weaker, "/worst_fault_a"), 1814.928, 5e-4);
    holds(check(&weaker, "race.carry").achieved.expect("a current"), 4101.06, 5e-3);
    for id in ["race.shunt-pulse", "race.wiring", "race.carry"] {
        assert_eq!(verdict(&weaker, id), Some(Verdict::Fails), "{id}");
        assert!(check(&weaker, id).note.contains("1.815\u{202f}kA"), "{}", check(&weaker, id).note);
    }
    for code in ["race.shunt-pulse", "race.wiring"] {
        assert!(message(&weaker, code).contains("1.815\u{202f}kA"), "{}", message(&weaker, code));
    }
    let near = through(831.6 / 1801.0 - 0.2082);
    holds(at(&near, "/worst_let_through_a2s"), 253_047.98, 0.05);
    holds(at(&near, "/worst_fault_a"), 1801.0, 1e-6);
}

/// By hand: through 500 mΩ the car drives 831.6/0.7082 = 1174.2 A, which the threshold of 1800 A does not see: the fuse
/// alone opens it, and what is not known of it leaves open what passes, one fact after the other.
#[test]
fn a_fault_that_only_the_fuse_sees_is_bounded_by_its_clearing_value_alone() {
    let weak =
        with(&able(), &[("/source/external_resistance_max_ohm", json!(0.5)), ("/shunt_pulse_a2s", json!(120e3))]);
    let mut known = weak.clone();
    for (pointer, value) in [("/fuse/adiabatic_from_a", 1000.0), ("/fuse/clearing_a2s", 250e3)] {
        let open = CAR.ask(&known);
        assert!(open.result.tree().get("worst_let_through_a2s").is_none());
        // Every fault up to the threshold: the largest of them is named.
        holds(at(&open, "/worst_fault_a"), 1800.0, 1e-6);
        for id in ["race.shunt-pulse", "race.carry", "race.opens"] {
            let found = check(&open, id);
            assert_eq!(found.verdict, Verdict::NotJudged, "{id}");
            assert_eq!(found.missing.as_deref(), Some(pointer), "{id}");
        }
        known.push((pointer, json!(value)));
    }
    let cleared = CAR.ask(&known);
    holds(at(&cleared, "/worst_let_through_a2s"), 250e3, 1e-6);
    assert_eq!(verdict(&cleared, "race.shunt-pulse"), Some(Verdict::Fails));
    assert_eq!(verdict(&cleared, "race.opens"), Some(Verdict::Holds));
    let never = CAR.ask(&with(&known, &[("/fuse/never_clears_below_a", json!(1500.0))]));
    let said = message(&never, "race.shunt-pulse");
    assert!(said.contains("the fuse clears from 1.5\u{202f}kA on"), "{said}");
    // Below the current from which on its I²t hold only points tell.
    let late = CAR.ask(&with(&known, &[("/fuse/adiabatic_from_a", json!(1500.0))]));
    let open = check(&late, "race.opens");
    assert_eq!(open.missing.as_deref(), Some("/fuse/points"));
    assert_eq!(open.reason.as_deref(), Some("Not judged: Time-current points (Fuse) is not given."));
    assert!(has(&late, "race.fuse-needs-points"));
}

/// By hand: 324.55 to 900 A are left to nobody, 831.6 V stand against a clamp of 800 V, 200 A flow at a threshold of 150 A.
#[test]
fn every_failure_is_a_requirement() {
    let found = CAR.ask(&able());
    for (id, used) in [("race.opens", 0.0), ("race.threshold", 200.0 / 18.0)] {
        let found = check(&found, id);
        assert_eq!(found.verdict, Verdict::Holds, "{id}");
        holds(found.used_percent.expect("a share"), used, 1e-9);
    }
    assert_eq!(verdict(&CAR.ask(&able()[..1]), "race.clamp"), None, "no clamp was given");
    let weak = [
        ("/source/voltage_min_v", json!(554.4)),
        ("/source/external_resistance_max_ohm", json!(1.5)),
        ("/fuse/never_clears_below_a", json!(900.0)),
        ("/switch/breaking_a", json!(3000.0)),
        ("/switch/clamp_voltage_v", json!(800.0)),
        ("/switch/clamp_energy_j", json!(500.0)),
    ];
    let found = CAR.ask(&weak);
    for (id, achieved) in [
        ("race.opens", None),
        ("race.clamp", Some(831.6)),
        ("race.clamp-energy", None),
        ("race.breaking", Some(at(&found, "/must_break_a"))),
    ] {
        let found = check(&found, id);
        assert_eq!((found.verdict, found.achieved), (Verdict::Fails, achieved), "{id}");
    }
    assert!(
        check(&found, "race.opens").note.contains("324.6\u{202f}A to 900\u{202f}A"),
        "{}",
        check(&found, "race.opens").note
    );
    let clamp = |volt: f64| check(&CAR.ask(&[("/switch/clamp_voltage_v", json!(volt))]), "race.clamp");
    holds(clamp(1.3 * 831.6).used_percent.expect("a share"), 100.0 / 1.3, 1e-9);
    assert_eq!((clamp(831.6).verdict, clamp(831.6).achieved), (Verdict::Fails, None));
    let low = CAR.ask(&[("/threshold_a", json!(150.0))]);
    assert_eq!(verdict(&low, "race.threshold"), Some(Verdict::Fails));
    // As high as the current before: reached, not passed.
    let alike = CAR.ask(&[("/threshold_a", json!(200.0))]);
    assert_eq!(verdict(&alike, "race.threshold"), Some(Verdict::Thin));
    assert!(!has(&alike, "race.threshold"));
}

/// Half of a rating judges nothing, and that is said where the other half is missing.
#[test]
fn half_of_a_rating_is_not_passed_over() {
    for (given, value, id, missing) in [
        ("/switch/carry_a", 4000.0, "race.carry", "/switch/carry_s"),
        ("/switch/carry_s", 0.01, "race.carry", "/switch/carry_a"),
        ("/switch/clamp_energy_j", 500.0, "race.clamp-energy", "/switch/clamp_voltage_v"),
    ] {
        let found = check(&answer("race", &[(given, json!(value))]), id);
        assert_eq!(found.verdict, Verdict::NotJudged, "{id}");
        assert_eq!(found.missing.as_deref(), Some(missing));
    }
}

/// Independent simulation (tests/python/race_model.py, steps of a loop with a clamp): 831.6 V, 220.2 mΩ, 20 µH, from 200 A,
/// threshold 1000 A, then 10 µs, clamp 900 V: opens 1289.5 A at 33.0 µs, zero at 181.9 µs, 76.71 A²s.
#[test]
fn a_fast_switch_with_its_clamp_until_the_current_is_zero() {
    let fast = Example { henry: 20e-6, threshold_a: 1000.0, stages_us: [10.0, 0.0, 0.0, 0.0], ..CAR }
        .ask(&[("/switch/clamp_voltage_v", json!(900.0)), ("/switch/breaking_a", json!(2000.0))]);
    holds(at(&fast, "/opening_current_a"), 1289.5, 0.05);
    holds(at(&fast, "/interruption_max_s"), 33.0e-6, 5e-8);
    holds(at(&fast, "/zero_current_s"), 181.9e-6, 5e-8);
    holds(at(&fast, "/let_through_to_zero_a2s"), 76.71, 5e-3);
    // From no current at all the same opening comes later: the worst fault has its rise, too.
    assert!(at(&fast, "/worst_let_through_a2s") > 76.71);
    assert!(at(&fast, "/worst_let_through_a2s") < 80.0);
    assert_eq!(verdict(&fast, "race.shunt-pulse"), Some(Verdict::Holds));
    let ask = |changes: &[(&str, Value)]| {
        Example { henry: 20e-6, threshold_a: 1000.0, stages_us: [10.0, 0.0, 0.0, 0.0], ..CAR }.ask(changes)
    };
    // No clamp: how the current falls is not known. One below the source: it never ends, and no fuse is told to.
    let open = ask(&[("/switch/breaking_a", json!(2000.0))]);
    assert_eq!(verdict(&open, "race.shunt-pulse"), Some(Verdict::NotJudged));
    let never = ask(&[
        ("/switch/breaking_a", json!(2000.0)),
        ("/switch/clamp_voltage_v", json!(800.0)),
        ("/fuse/prearc_a2s", json!(0.0)),
    ]);
    assert_eq!(verdict(&never, "race.opens"), Some(Verdict::Fails));
    assert_eq!(verdict(&never, "race.shunt-pulse"), Some(Verdict::Fails));
}

/// By hand: 400 V, two strings of 160 mΩ, 10 mΩ outside: 400/0.09 = 4444 A, half of it in each; 60 kA²s last
/// 60e3/2222.2² = 12.15 ms, with 8 µH 1.5 · 8 µ/0.09 = 0.133 ms longer; one string alone 400/0.17 = 2353 A. A fault inside a
/// string is fed by the other one without any path outside: 400/0.16 = 2500 A, forwards in one and backwards in the other.
/// Contactors at 8 ms open 2222 A at a fault outside, together, and 2500 A at one inside.
#[test]
fn parallel_strings_share_the_fault_and_the_last_one_carries_on_alone() {
    let two = |henry: f64, more: &[(&'static str, Value)]| {
        let changes = [
            ("/strings/count", json!(2)),
            ("/fuse/adiabatic_from_a", json!(2000.0)),
            ("/switch/breaking_a", json!(3000.0)),
        ];
        Example {
            voltage_v: 400.0,
            pack_ohm: 0.08,
            short_ohm: 0.01,
            henry,
            before_a: 0.0,
            threshold_a: 1000.0,
            stages_us: [8000.0, 0.0, 0.0, 0.0],
            prearc_a2s: 60e3,
            ..CAR
        }
        .ask(&with(&changes, more))
    };
    let found = two(0.0, &[]);
    holds(at(&found, "/strings/highest_a"), 2222.2, 0.05);
    holds(at(&found, "/strings/lowest_a"), 2222.2, 0.05);
    holds(at(&found, "/strings/alone_a"), 2352.9, 0.05);
    holds(at(&found, "/strings/reverse_a"), 2500.0, 0.05);
    holds(at(&found, "/must_break_a"), 2500.0, 0.05);
    holds(at(&found, "/opening_current_a"), 2222.2, 0.05);
    holds(at(&found, "/fuse/prearc_s"), 12.15e-3, 5e-6);
    holds(at(&two(8e-6, &[]), "/fuse/prearc_s"), 12.28e-3, 5e-6);
    assert_eq!(found.result.tree()["opens_first"], "switch");
    // What flows backwards needs a breaking capacity of its own.
    assert_eq!(verdict(&found, "race.breaking-backwards"), Some(Verdict::NotJudged));
    let backwards = two(0.0, &[("/switch/breaking_reverse_a", json!(2000.0))]);
    assert_eq!(verdict(&backwards, "race.breaking-backwards"), Some(Verdict::Fails));
    // One opens at 6 ms, the other at 8 ms: alone. With a path of its own a fault inside would be the stronger one.
    let stages = ("/stages", json!([{"name": "all", "longest_s": 8e-3, "shortest_s": 6e-3}]));
    holds(at(&two(0.0, &[stages]), "/must_break_a"), 2500.0, 0.05);
    // Resistances of ± 20 %: conductances 1/0.128 and 1/0.192 Ω, 60 % and 40 % of 4444 A.
    let unlike = two(0.0, &[("/strings/spread_percent", json!(20.0))]);
    holds(at(&unlike, "/strings/highest_a"), 2666.7, 0.05);
    holds(at(&unlike, "/strings/lowest_a"), 1777.8, 0.05);
    // 80 mΩ/0.6 behind 10 mΩ, and 80 mΩ/(1 − 0.4) behind nothing.
    holds(at(&unlike, "/strings/alone_a"), 400.0 / (0.08 / 0.6 + 0.01), 0.05);
    holds(at(&unlike, "/strings/reverse_a"), 400.0 / (0.08 / 0.6), 0.05);
}

/// 400 V, two strings that make 100 mΩ and differ by 20 %, 50 mΩ outside. By hand: strings of 0.1 · (1/0.8 + 1/1.2) = 208.3 mΩ
/// less and more 20 %, 166.7 mΩ the one that feeds: 2400 A through a fault in the other one, whose switch opens it after
/// 10 ms: 2400² · 10 ms = 57.6 kA²s. Through the path outside it would be 1846 A and 34 kA²s.
#[test]
fn a_fault_inside_a_string_has_no_path_outside() {
    let ask = |backwards: f64, shunt: f64| {
        let changes = [
            ("/strings/count", json!(2)),
            ("/strings/spread_percent", json!(20.0)),
            ("/switch/breaking_a", json!(3000.0)),
            ("/switch/breaking_reverse_a", json!(backwards)),
            ("/shunt_pulse_a2s", json!(shunt)),
        ];
        Example {
            voltage_v: 400.0,
            pack_ohm: 0.1,
            short_ohm: 0.05,
            henry: 0.0,
            before_a: 0.0,
            threshold_a: 1000.0,
            stages_us: [10_000.0, 0.0, 0.0, 0.0],
            prearc_a2s: 0.0,
            ..CAR
        }
        .ask(&changes)
    };
    let narrow = ask(2200.0, 45e3);
    assert_eq!(verdict(&narrow, "race.breaking-backwards"), Some(Verdict::Fails));
    assert_eq!(verdict(&narrow, "race.shunt-pulse"), Some(Verdict::Fails));
    holds(at(&narrow, "/reverse_a"), 2400.0, 0.5);
    holds_relative(at(&narrow, "/worst_let_through_a2s"), 57.6e3, 1e-6);
    let wide = ask(3000.0, 80e3);
    assert_eq!(verdict(&wide, "race.breaking-backwards"), Some(Verdict::Holds));
    assert_eq!(verdict(&wide, "race.shunt-pulse"), Some(Verdict::Holds));
}

/// Points of a fuse of two bodies (60 kA²s, 600 A, 20 ms, 200 s), from its differential equation in
/// tests/python/race_model.py: 833.3 A 120.7 s, 1200 A 32.0 s, 1500 A 9.35 s; at 1350 A 18.50 s. By hand: between 1200 and
/// 1500 A I²t lies between 21.04 and 46.08 MA²s, at 1350 A 11.54 to 25.28 s.
#[test]
fn a_fuse_is_its_points_and_between_them_their_bounds() {
    let ask = |ohm: f64, more: &[(&'static str, Value)]| {
        let points = json!([
            {"current_a": 833.3, "pre_arcing_s": 120.7, "clearing_s": 120.8},
            {"current_a": 1200.0, "pre_arcing_s": 32.0, "clearing_s": 32.1},
            {"current_a": 1500.0, "pre_arcing_s": 9.35, "clearing_s": 9.5},
        ]);
        let changes = [
            ("/fuse/points", points),
            ("/fuse/voltage_v", json!(900.0)),
            ("/fuse/time_constant_s", json!(0.01)),
            ("/wiring/area_mm2", json!(70.0)),
        ];
        Example { pack_ohm: ohm - 0.012, before_a: 0.0, threshold_a: 5000.0, henry: 0.0, ..CAR }
            .ask(&with(&changes, more))
    };
    let between = ask(831.6 / 1350.0, &[]);
    let (earliest, latest) = (at(&between, "/fuse/prearc_min_s"), at(&between, "/fuse/prearc_max_s"));
    holds(earliest, 11.54, 5e-3);
    holds(latest, 25.28, 5e-3);
    assert!(earliest < 18.50 && 18.50 < latest);
    // Total clearing: 1200² · 32.1 = 46.22 MA²s, which a cable of 70 mm² takes; its limit is (143.08 · 70)² = 100.3 MA²s.
    holds(at(&between, "/worst_let_through_a2s"), 46.224e6, 5e2);
    assert_eq!(verdict(&between, "race.wiring"), Some(Verdict::Holds));
    assert!(has(&between, "race.fuse-add-points"));
    assert_eq!(between.result.tree()["opens_first"], "fuse");
    assert_eq!(verdict(&between, "race.opens"), Some(Verdict::Holds));
    // A tolerance of 5 % in current shifts the points first: 1425 A 9.35 s and 1260 A 32.1 s.
    let loose = ask(831.6 / 1350.0, &[("/fuse/current_tolerance_percent", json!(5.0))]);
    holds(at(&loose, "/fuse/prearc_min_s"), 1425.0_f64.powi(2) * 9.35 / 1350.0_f64.powi(2), 1e-6);
    holds(at(&loose, "/worst_let_through_a2s"), 1260.0_f64.powi(2) * 32.1, 1.0);
    // A pre-load shortens the earliest time alone.
    let warm = ask(831.6 / 1350.0, &[("/fuse/preload_percent", json!(60.0))]);
    holds(at(&warm, "/fuse/prearc_min_s"), 0.6 * earliest, 1e-9);
    holds(at(&warm, "/fuse/prearc_max_s"), latest, 1e-9);
    // Below the lowest and above the highest point nothing is told: there the I²t still fall.
    for current in [800.0, 1600.0] {
        let outside = ask(831.6 / current, &[]);
        assert!(outside.result.tree()["fuse"].get("prearc_max_s").is_none(), "{current}");
        for id in ["race.opens", "race.wiring"] {
            let found = check(&outside, id);
            assert_eq!(found.missing.as_deref(), Some("/fuse/points"), "{current} {id}");
        }
    }
    // Below its lowest breaking current it clears nothing; above its voltage neither.
    for (pointer, value) in [("/fuse/never_clears_below_a", 1400.0), ("/fuse/voltage_v", 800.0)] {
        let never = ask(831.6 / 1350.0, &[(pointer, json!(value))]);
        assert_eq!(verdict(&never, "race.opens"), Some(Verdict::Fails), "{pointer}");
        assert_eq!(verdict(&never, "race.wiring"), Some(Verdict::Fails), "{pointer}");
    }
    // The same cable with the fuse taken as its adiabatic 60 kA²s would need 0.03 s: that is not accepted at 1350 A.
    let constant = Example { pack_ohm: 831.6 / 1350.0 - 0.012, threshold_a: 5000.0, prearc_a2s: 60e3, ..CAR }.ask(&[
        ("/fuse/clearing_a2s", json!(90e3)),
        ("/fuse/adiabatic_from_a", json!(20e3)),
        ("/wiring/area_mm2", json!(10.0)),
    ]);
    assert_eq!(verdict(&constant, "race.wiring"), Some(Verdict::NotJudged));
}

/// Where the I²t of the last two points agree within 5 % the fuse is adiabatic above them.
#[test]
fn above_the_highest_point_the_fuse_is_adiabatic_where_the_last_two_agree() {
    let ask = |last_s: f64| {
        CAR.ask(&[
            (
                "/fuse/points",
                json!([
                    {"current_a": 1000.0, "pre_arcing_s": 0.2, "clearing_s": 0.21},
                    {"current_a": 2000.0, "pre_arcing_s": 0.045, "clearing_s": 0.047},
                    {"current_a": 3000.0, "pre_arcing_s": last_s, "clearing_s": 0.0205},
                ]),
            ),
            ("/fuse/voltage_v", json!(900.0)),
            ("/fuse/time_constant_s", json!(0.01)),
        ])
    };
    // 180 and 174.6 kA²s: at 3776.6 A, with 1.5 L/R of the rise, at most 180e3/3776.567² s.
    let flat = ask(0.0194);
    holds(at(&flat, "/fuse/prearc_max_s"), 180e3 / 3776.567_f64.powi(2) + 1.5 * 27.248e-6, 1e-7);
    holds(at(&flat, "/fuse/clearing_a2s"), 188e3, 1e-6);
    // 180 and 162 kA²s: it still falls.
    assert!(ask(0.018).result.tree()["fuse"].get("prearc_max_s").is_none());
}

/// What cannot be points of one fuse is refused at its own field.
#[test]
fn points_that_no_fuse_has_are_refused() {
    let refused = |points: Value| {
        let entry = sensewright_core::catalogue::find("race").expect("it exists");
        let mut input = Value::Object(entry.start().clone());
        input["fuse"]["points"] = points;
        let faults = entry.answer(Some(&input), sensewright_core::field::Notation::Json).expect_err("refused");
        faults.into_iter().map(|fault| fault.field).collect::<Vec<_>>()
    };
    let point = |current: f64, time: f64, clearing: f64| json!({"current_a": current, "pre_arcing_s": time, "clearing_s": clearing});
    assert_eq!(refused(json!([point(1000.0, 1.0, 1.1)])), ["/fuse/points"]);
    assert_eq!(refused(json!([point(1000.0, 1.0, 1.1), point(900.0, 1.0, 1.1)])), ["/fuse/points/1/current_a"]);
    // 1 MA²s and 2000² · 0.27 = 1.08 MA²s: 8 % more; 4 % are rounding.
    assert_eq!(refused(json!([point(1000.0, 1.0, 1.1), point(2000.0, 0.27, 0.3)])), ["/fuse/points/1/pre_arcing_s"]);
    assert_eq!(refused(json!([point(1000.0, 1.0, 0.9), point(2000.0, 0.26, 0.3)])), ["/fuse/points/0/clearing_s"]);
}

/// By hand: k² S² heats to the allowed temperature, by the definition of k; half of it to (θi + β) · √((θf + β)/(θi + β)) − β
/// = 324.5 · √(484.5/324.5) − 234.5 = 162.01 °C for copper from 90 to 250 °C.
#[test]
fn the_conductor_ends_at_its_own_temperature() {
    let step = |time: f64| {
        Example {
            voltage_v: 500.0,
            pack_ohm: 0.1,
            short_ohm: 0.0,
            henry: 0.0,
            before_a: 0.0,
            stages_us: [time * 1e6, 0.0, 0.0, 0.0],
            prearc_a2s: 0.0,
            ..CAR
        }
        .ask(&[("/wiring/area_mm2", json!(10.0)), ("/switch/breaking_a", json!(6000.0))])
    };
    let limit = at(&step(0.1), "/wiring/limit_a2s");
    holds(at(&step(limit / 25e6), "/wiring/end_degc"), 250.0, 1e-9);
    holds(at(&step(limit / 50e6), "/wiring/end_degc"), 162.01, 5e-3);
    let hot = step(0.1);
    assert_eq!(verdict(&hot, "race.wiring"), Some(Verdict::Fails));
    // 226² · 100 = 5.1076 MA²s; 2.5 of it: 324.5 · e^(2.5/5.1076) − 234.5 = 294.90 °C.
    holds(at(&hot, "/wiring/end_degc"), 294.90, 5e-3);
    assert!(message(&hot, "race.wiring").contains("294.9\u{202f}°C"), "{}", message(&hot, "race.wiring"));
    // 10 s of it would be 10⁸ °C: the metal melts long before.
    assert!(step(10.0).result.tree()["wiring"].get("end_degc").is_none());
    assert!(message(&step(10.0), "race.wiring").contains("It melts."));
}

/// A switch must break what flows at any opening, also while the fuse melts or arcs: after 5.145 ms the fuse of the van has
/// melted (3.38 ms) and may still arc, for as long as two I²t do not tell. With its points it has cleared by then or not.
#[test]
fn a_switch_that_opens_into_the_arc_of_the_fuse_must_be_able_to() {
    let ask = |changes: &[(&'static str, Value)]| VAN.ask(&with(&[("/switch/breaking_a", json!(2000.0))], changes));
    let values = [("/fuse/adiabatic_from_a", json!(4000.0)), ("/fuse/clearing_a2s", json!(90e3))];
    let open = check(&ask(&values), "race.breaking");
    assert_eq!(open.missing.as_deref(), Some("/fuse/points"));
    let points = |clearing: f64| {
        vec![
            (
                "/fuse/points",
                json!([
                    {"current_a": 3000.0, "pre_arcing_s": 60e3 / 9e6, "clearing_s": clearing * 16.0 / 9.0},
                    {"current_a": 4000.0, "pre_arcing_s": 60e3 / 16e6, "clearing_s": clearing},
                    {"current_a": 5000.0, "pre_arcing_s": 60e3 / 25e6, "clearing_s": clearing * 16.0 / 25.0},
                ]),
            ),
            ("/fuse/voltage_v", json!(500.0)),
            ("/fuse/time_constant_s", json!(0.01)),
        ]
    };
    // 4.5 ms at 4000 A are 72 kA²s: cleared after some 4 ms. 6.5 ms are 104 kA²s: after 5.8 ms.
    let cleared = ask(&points(4.5e-3));
    assert_eq!(verdict(&cleared, "race.breaking"), Some(Verdict::Holds));
    let arcs = ask(&points(6.5e-3));
    assert_eq!(verdict(&arcs, "race.breaking"), Some(Verdict::Fails));
}

/// Every positive quantity a thousand times larger or smaller fails, is refused or is asked about; where it raises nothing
/// new, the result is not absurd: less external resistance than the pack has, a shorter stage, a finer tolerance.
#[test]
fn a_slip_of_a_thousand_is_asked_about() {
    let full = with(
        &able(),
        &[
            ("/source/pack_resistance_max_ohm", json!(0.3)),
            ("/source/external_resistance_max_ohm", json!(0.05)),
            ("/filter_s", json!(1e-5)),
            ("/fuse/clearing_a2s", json!(250e3)),
            ("/fuse/adiabatic_from_a", json!(5000.0)),
            ("/fuse/never_clears_below_a", json!(900.0)),
            ("/fuse/breaking_a", json!(20e3)),
            ("/fuse/voltage_v", json!(1000.0)),
            ("/fuse/time_constant_s", json!(0.01)),
            ("/switch/clamp_energy_j", json!(500.0)),
            ("/wiring/area_mm2", json!(70.0)),
        ],
    );
    let entry = sensewright_core::catalogue::find("race").expect("it exists");
    let base = CAR.ask(&full);
    let codes = |answer: &Answer| {
        let said = |finding: &sensewright_core::report::Finding| (finding.code.clone(), finding.field.clone());
        answer
            .findings
            .iter()
            .filter(|finding| finding.severity != sensewright_core::report::Severity::Note)
            .map(said)
            .collect::<Vec<_>>()
    };
    let before = codes(&base);
    assert!(!before.iter().any(|(code, _)| code == "race.unusual"), "{:#?}", base.findings);
    let mut silent = Vec::new();
    let (mut count, input) = (0, base.input.clone());
    for leaf in sensewright_tests::leaves(entry.fields, "") {
        let Some(value) = input.pointer(&leaf.pointer).and_then(Value::as_f64).filter(|value| *value > 0.0) else {
            continue;
        };
        if leaf.pointer.ends_with("_percent") || leaf.pointer.ends_with("_degc") || leaf.pointer.ends_with("count") {
            continue;
        }
        for factor in [1e3, 1e-3] {
            count += 1;
            let mut slipped = input.clone();
            *slipped.pointer_mut(&leaf.pointer).expect("it is there") = json!(value * factor);
            if let Ok(answer) = entry.answer(Some(&slipped), sensewright_core::field::Notation::Json)
                && codes(&answer).iter().all(|code| before.contains(code))
            {
                silent.push(format!("{} x {factor}", leaf.pointer));
            }
        }
    }
    assert!(count > 40, "{count}");
    let plausible = [
        "/source/external_resistance_ohm x 0.001",
        "/source/external_resistance_max_ohm x 0.001",
        "/before_a x 0.001",
        "/stages/0/longest_s x 0.001",
        "/stages/0/longest_s x 1000",
        "/filter_s x 0.001",
    ];
    let left: Vec<_> = silent.iter().filter(|one| !plausible.contains(&one.as_str())).collect();
    assert!(left.len() <= 2, "{left:#?} of {count}");
}
