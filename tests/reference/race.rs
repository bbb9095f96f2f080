//! The reaction race against worked examples and closed forms.
//!
//! Sources: printed results of three worked examples (an 800 V car, a 400 V van, a 48 V relay shelf) and of a worked
//! question; a first-order loop worked out with numpy 2.4.6, scipy 1.17.1 and mpmath (20 mΩ, 5 µH, 400 V); IEC 60364-5-54
//! annex A for k. Conventions of the examples: stages summed as stated, current unopposed during opening, let-through
//! and pre-arc time from zero current.

use sensewright_core::calculation::Answer;
use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::{answer, at, holds, holds_relative};

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
            ("/shunt_pulse_a2s", json!(self.shunt_a2s)),
            ("/switch/carry_a", json!(self.carry_a)),
            ("/switch/carry_s", json!(10e-3)),
        ];
        all.extend_from_slice(changes);
        answer("race", &all)
    }
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
    assert_eq!(car.result["opens_first"], "switch");
    holds(at(&car, "/must_break_a"), 3777.0, 0.5);
    assert!(has(&car, "race.carry-is-not-breaking") && has(&car, "race.fuse-not-adiabatic"));
    assert_eq!(verdict(&car, "race.shunt-pulse"), Some(Verdict::Holds));
    assert_eq!(verdict(&car, "race.breaking"), None, "no breaking capacity was given");
    assert_eq!(car.cautions.len(), 2);
    // With the carry rating taken for a breaking capacity of 3000 A it is beyond it.
    let beyond = CAR.ask(&[("/switch/breaking_a", json!(3000.0))]);
    assert_eq!(verdict(&beyond, "race.breaking"), Some(Verdict::Fails));
    assert!(has(&beyond, "race.breaking"));
}

/// Printed results of the worked example of the van: 4294 A, 84.0 µs, 1200 A after 24.55 µs, 5144.6 µs with 4294 A,
/// 92538 A²s, 73.8 J, the fuse after 3.38 ms: the fuse first.
#[test]
fn the_van_has_its_printed_race_and_the_fuse_opens_first() {
    let van = VAN.ask(&[("/meant_first", json!("fuse"))]);
    holds(at(&van, "/strongest/prospective_a"), 4294.0, 0.5);
    holds(at(&van, "/strongest/time_constant_s"), 84.0e-6, 5e-8);
    holds(at(&van, "/time_to_threshold_s"), 24.55e-6, 5e-9);
    holds(at(&van, "/interruption_max_s"), 5144.6e-6, 5e-8);
    holds(at(&van, "/opening_current_a"), 4294.0, 0.5);
    holds(at(&van, "/let_through_a2s"), 92538.0, 0.5);
    holds(at(&van, "/stored_energy_j"), 73.8, 0.05);
    holds(at(&van, "/fuse/prearc_s"), 3.38e-3, 5e-6);
    assert_eq!(van.result["opens_first"], "fuse");
    assert_eq!(verdict(&van, "race.fuse-first"), Some(Verdict::Holds));
    assert!(has(&van, "race.prearc-is-not-clearing"));
    let meant = VAN.ask(&[("/meant_first", json!("switch"))]);
    assert_eq!(verdict(&meant, "race.switch-first"), Some(Verdict::Fails));
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
    assert_eq!(relay.result["opens_first"], "switch");
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
    .ask(&[("/wiring/area_mm2", json!(10.0))]);
    holds_relative(at(&step, "/worst_let_through_a2s"), 2.5e6, 1e-12);
    holds_relative(at(&step, "/wiring/smallest_mm2"), 11.0569 * 143.0 / 143.08, 5e-5);
    assert_eq!(verdict(&step, "race.wiring"), Some(Verdict::Fails));
    assert!(has(&step, "race.no-inductance") && has(&step, "race.wiring"));
    holds(at(&step, "/time_to_threshold_s"), 0.0, 0.0);
    // Withstand time (k S/I)²: 10 mm², 3 kA, k = 115: 0.146944 s.
    let withstand = Example { voltage_v: 300.0, pack_ohm: 0.1, short_ohm: 0.0, henry: 0.0, ..CAR }
        .ask(&[("/wiring/area_mm2", json!(10.0)), ("/wiring/insulation", json!("pvc"))]);
    let points = withstand.result["coordination"].as_array().expect("points");
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
    assert!(has(&never, "race.clamp") && never.result.get("clamp").is_none());
}

/// By hand: the weakest fault of the car with 554.4 V through 1.5 Ω drives 554.4/1.7082 = 324.55 A. The threshold of 1800 A
/// does not see it; a fuse that clears from 900 A on leaves 324.55 to 900 A to nobody. Above 1800 A the switch is first.
#[test]
fn nobodys_interval_lies_below_the_fuse_and_above_the_breaking_capacity() {
    let weak = [
        ("/source/voltage_min_v", json!(554.4)),
        ("/source/external_resistance_max_ohm", json!(1.5)),
        ("/fuse/never_clears_below_a", json!(900.0)),
        ("/switch/breaking_a", json!(3000.0)),
    ];
    let found = CAR.ask(&weak);
    holds(at(&found, "/weakest/prospective_a"), 554.4 / 1.7082, 1e-9);
    assert_eq!(found.result["opens_first_weakest"], "nothing");
    let nobody = found.result["nobody"].as_array().expect("a list");
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
    // Without these limits every fault finds somebody.
    let open = CAR.ask(&weak[..2]);
    assert_eq!(open.result["nobody"], json!([]));
    assert!(has(&open, "race.fuse-limit-unknown"));
    // A threshold above the strongest fault leaves all of it to the fuse; without one nothing opens at all.
    let high = CAR.ask(&[("/threshold_a", json!(5000.0))]);
    assert!(has(&high, "race.threshold-above-prospective") && high.result.get("time_to_threshold_s").is_none());
    assert_eq!(high.result["opens_first"], "fuse");
    let none = CAR.ask(&[("/threshold_a", json!(5000.0)), ("/fuse/prearc_a2s", json!(0.0))]);
    assert_eq!(none.result["opens_first"], "nothing");
    assert!(none.result.get("worst_let_through_a2s").is_none());
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
        ("/fuse/prearc_a2s", json!(2500.0)),
    ];
    let most = at(&answer("race", &base), "/must_break_a");
    let with = |can: f64| {
        let mut changes = base.to_vec();
        changes.push(("/switch/breaking_a", json!(can)));
        answer("race", &changes)
    };
    assert_eq!(with(most * 1.0001).result["nobody"], json!([]));
    let sliver = with(most * 0.9999);
    assert_eq!(sliver.result["nobody"].as_array().map(Vec::len), Some(1));
    let (from, to) = (at(&sliver, "/nobody/0/from_a"), at(&sliver, "/nobody/0/to_a"));
    assert!(to > from && to / from < 1.01, "{from} {to}");
}

/// By hand: the van's switch needs 5144.6 µs; a fuse of 100 kA²s ± 20 % melts between about 80e3/4294² + 0.12 ms = 4.46 ms
/// and 120e3/4294² + 0.13 ms = 6.63 ms: nobody can say who is first.
#[test]
fn overlapping_tolerances_leave_the_order_open() {
    let found = VAN.ask(&[("/fuse/prearc_a2s", json!(100e3)), ("/fuse/tolerance_percent", json!(20.0))]);
    assert_eq!(found.result["opens_first"], "either");
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

fn check(answer: &Answer, id: &str) -> sensewright_core::judge::Check {
    let checks = &answer.requirements;
    checks.iter().find(|check| check.id == id).unwrap_or_else(|| panic!("no {id} in {checks:#?}")).clone()
}

fn message(answer: &Answer, code: &str) -> String {
    let findings = &answer.findings;
    findings.iter().find(|finding| finding.code == code).unwrap_or_else(|| panic!("no {code}")).message.clone()
}

/// Simpson's rule over (V/R + (I0 − V/R) e^(−t R/L))², the threshold behind a filter of 10 ms by bisection: the car passes
/// 128052.8 A²s at its strongest fault, 113807.0 at 1897.76 A, 164345.9 at 1814.93 A (through 250 mΩ), 249234.6 at 1801 A;
/// equal heat in 10 ms is √(164345.9/0.01) = 4053.96 A, more than the peak of 3776.6 A.
#[test]
fn a_weaker_fault_passes_more_when_the_detection_is_slow() {
    let slow = [("/filter_s", json!(10e-3)), ("/shunt_pulse_a2s", json!(150e3)), ("/wiring/area_mm2", json!(2.8))];
    let with = |external: f64| {
        let mut changes = slow.to_vec();
        changes.push(("/source/external_resistance_max_ohm", json!(external)));
        CAR.ask(&changes)
    };
    let strongest = CAR.ask(&slow);
    holds(at(&strongest, "/worst_let_through_a2s"), 128_052.8, 0.05);
    assert_eq!(verdict(&strongest, "race.shunt-pulse"), Some(Verdict::Thin));
    // Down to 1897.76 A the strongest is still the worst.
    holds(at(&with(0.23), "/worst_let_through_a2s"), 128_052.8, 0.05);
    let weaker = with(0.25);
    holds(at(&weaker, "/worst_let_through_a2s"), 164_345.9, 0.05);
    holds(at(&weaker, "/worst_fault_a"), 1814.928, 5e-4);
    holds(check(&weaker, "race.carry").achieved.expect("a current"), 4053.96, 5e-3);
    for id in ["race.shunt-pulse", "race.wiring", "race.carry"] {
        assert_eq!(verdict(&weaker, id), Some(Verdict::Fails), "{id}");
        assert!(check(&weaker, id).note.contains("1.815\u{202f}kA"), "{}", check(&weaker, id).note);
    }
    for code in ["race.shunt-pulse", "race.wiring"] {
        assert!(message(&weaker, code).contains("1.815\u{202f}kA"), "{}", message(&weaker, code));
    }
    let near = with(831.6 / 1801.0 - 0.2082);
    holds(at(&near, "/worst_let_through_a2s"), 249_234.6, 0.05);
    holds(at(&near, "/worst_fault_a"), 1801.0, 1e-6);
}

/// By hand: through 500 mΩ the car drives 831.6/0.7082 = 1174.2 A, which the threshold of 1800 A does not see: the fuse
/// alone opens it, after 180 kA²s and the arc, and only a total clearing value bounds what passes.
#[test]
fn a_fault_that_only_the_fuse_sees_is_bounded_by_its_clearing_value_alone() {
    let weak = vec![("/source/external_resistance_max_ohm", json!(0.5)), ("/shunt_pulse_a2s", json!(120e3))];
    let unbounded = CAR.ask(&weak);
    assert!(unbounded.result.get("worst_let_through_a2s").is_none());
    // Every fault up to the threshold: the largest of them is named.
    holds(at(&unbounded, "/worst_fault_a"), 1800.0, 1e-6);
    for id in ["race.shunt-pulse", "race.carry"] {
        let found = check(&unbounded, id);
        assert_eq!((found.verdict, found.achieved), (Verdict::Fails, None), "{id}");
        assert!(found.note.contains("1.8\u{202f}kA"), "{}", found.note);
    }
    let said = message(&unbounded, "race.shunt-pulse");
    assert!(said.contains("1.8\u{202f}kA") && said.contains("no total clearing value of the fuse"), "{said}");
    assert!(has(&unbounded, "race.prearc-is-not-clearing"));
    let with = |more: (&'static str, Value)| {
        let mut changes = weak.clone();
        changes.push(more);
        changes
    };
    let cleared = CAR.ask(&with(("/fuse/clearing_a2s", json!(250e3))));
    holds(at(&cleared, "/worst_let_through_a2s"), 250e3, 1e-6);
    assert_eq!(verdict(&cleared, "race.shunt-pulse"), Some(Verdict::Fails));
    let mut never = with(("/fuse/clearing_a2s", json!(250e3)));
    never.push(("/fuse/never_clears_below_a", json!(1500.0)));
    let never = CAR.ask(&never);
    let said = message(&never, "race.shunt-pulse");
    assert!(said.contains("the fuse clears from 1.5\u{202f}kA on"), "{said}");
}

/// By hand: 324.55 to 900 A are left to nobody, 831.6 V stand against a clamp of 800 V, 200 A flow at a threshold of 150 A.
#[test]
fn every_failure_is_a_requirement() {
    let found = CAR.ask(&[]);
    for (id, used) in [("race.opens", 0.0), ("race.threshold", 200.0 / 18.0)] {
        let found = check(&found, id);
        assert_eq!(found.verdict, Verdict::Holds, "{id}");
        holds(found.used_percent.expect("a share"), used, 1e-9);
    }
    assert_eq!(verdict(&found, "race.clamp"), None, "no clamp was given");
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
    for (given, value, code, missing) in [
        ("/switch/carry_a", 4000.0, "race.carry-without-time", "/switch/carry_s"),
        ("/switch/carry_s", 0.01, "race.carry-without-current", "/switch/carry_a"),
        ("/switch/clamp_energy_j", 500.0, "race.clamp-energy-without-voltage", "/switch/clamp_voltage_v"),
    ] {
        let found = answer("race", &[(given, json!(value))]);
        let finding = found.findings.iter().find(|finding| finding.code == code).unwrap_or_else(|| panic!("no {code}"));
        assert_eq!(finding.field.as_deref(), Some(missing));
        assert_eq!(finding.severity, sensewright_core::report::Severity::Warn);
    }
}
