//! Who interrupts a fault, what passes until then, and what nobody interrupts.

use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::super::{answer, at, check, holds, holds_relative};
use super::{CAR, Example, VAN, able, has, message, verdict, with};

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
