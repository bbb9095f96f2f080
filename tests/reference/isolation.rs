//! The barrier against figures that were worked out independently of this code: distances, isolator, injection, supply.
//!
//! Sources: rows of IEC 60664-1 Annex F as read in a public transcription; an independent model of the fifteen numbered
//! cases ("case n"), which prints its results to the digits used here; arithmetic by hand with the numbers put in.

use sensewright_core::calc::barrier::isolation::tables::{
    ALTITUDE, Between, CLEARANCE, CREEPAGE, IMPULSE, PEAK, RowStatus, look,
};
use sensewright_core::calculation::Answer;
use sensewright_core::catalogue::find;
use sensewright_core::field::{FieldError, Notation};
use sensewright_core::judge::{Check, Verdict};
use sensewright_tests::put;
use serde_json::{Value, json};

use super::{at, holds};

/// A barrier with one crossing, and nothing else in the design.
pub(super) fn bare(changes: &[(&str, Value)]) -> Value {
    let mut input = json!({
        "barrier": {"pack_v": 500.0, "recurring_peak_v": 500.0, "altitude_m": 0.0},
        "crossings": [{"name": "Board", "clearance_mm": 100.0, "creepage_mm": 100.0, "material_group": "group-i"}]
    });
    for (pointer, value) in changes {
        put(&mut input, pointer, value.clone());
    }
    // Where nothing lasts longer than the peak of use, that is it.
    let (barrier, told) = (&input["barrier"], "temporary_overvoltage_v");
    if barrier.get(told).is_none() {
        let of = |key: &str| barrier[key].as_f64().unwrap_or(0.0);
        let peak = of("recurring_peak_v").max(of("working_v")).max(of("pack_v"));
        input["barrier"][told] = json!(peak);
    }
    input
}

pub(super) fn ask(input: &Value) -> Result<Answer, Vec<FieldError>> {
    find("isolation").expect("it is in the catalogue").answer(Some(input), Notation::Json)
}

pub(super) fn solved(changes: &[(&str, Value)]) -> Answer {
    ask(&bare(changes)).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

pub(super) fn refused(changes: &[(&str, Value)]) -> Vec<FieldError> {
    ask(&bare(changes)).expect_err("it is refused")
}

pub(super) fn row<'a>(answer: &'a Answer, id: &str) -> &'a Check {
    let id = format!("isolation.{id}");
    let found = answer.requirements.iter().find(|check| check.id == id);
    found.unwrap_or_else(|| panic!("no {id} in {:?}", answer.requirements.iter().map(|c| &c.id).collect::<Vec<_>>()))
}

pub(super) fn finds(answer: &Answer, code: &str) -> bool {
    let code = format!("isolation.{code}");
    answer.findings.iter().any(|finding| finding.code == code)
}

/// A stated impulse voltage at a height, and the class.
fn stated(kilovolt: f64, peak: f64, degree: u32, class: &str, altitude: f64) -> Vec<(&'static str, Value)> {
    vec![
        ("/barrier/impulse_by", json!("stated")),
        ("/barrier/rated_impulse_v", json!(kilovolt * 1e3)),
        ("/barrier/recurring_peak_v", json!(peak)),
        ("/barrier/pack_v", json!(peak.min(500.0))),
        ("/barrier/pollution_degree", json!(degree)),
        ("/barrier/insulation", json!(class)),
        ("/barrier/altitude_m", json!(altitude)),
    ]
}

fn clearance(kilovolt: f64, peak: f64, degree: u32, class: &str, altitude: f64) -> f64 {
    at(&solved(&stated(kilovolt, peak, degree, class, altitude)), "/clearance/required_mm")
}

/// Cases 1 to 3 of the independent model; 0.568 and 5.12 kV are its printed parts.
#[test]
fn three_clearances() {
    let one = solved(&stated(2.5, 831.6, 2, "reinforced", 1870.0));
    holds(at(&one, "/clearance/required_mm"), 3.0, 1e-9);
    holds(at(&one, "/clearance/by_peak_mm"), 0.568, 5e-4);
    holds(at(&one, "/stress/impulse_v"), 4000.0, 1e-9);
    let two = solved(&stated(3.2, 900.0, 2, "reinforced", 2600.0));
    holds(at(&two, "/stress/impulse_v"), 5120.0, 1e-9);
    holds(at(&two, "/clearance/by_impulse_mm"), 4.18, 5e-4);
    holds(at(&two, "/stress/altitude_factor"), 1.084, 1e-9);
    holds(at(&two, "/clearance/required_mm"), 4.531, 5e-4);
    // 160 % is a rule from memory: the row says so.
    assert!(row(&two, "clearance").note.contains("from memory") && finds(&two, "row-from-memory"));
    assert!(!row(&one, "clearance").note.contains("from memory") && !finds(&one, "row-from-memory"));
    let three = solved(&stated(1.5, 2400.0, 2, "basic", 4300.0));
    holds(at(&three, "/clearance/by_peak_mm"), 1.694, 5e-4);
    holds(at(&three, "/stress/altitude_factor"), 1.347, 1e-9);
    holds(at(&three, "/clearance/required_mm"), 2.282, 5e-4);
    assert_eq!(three.result.tree().pointer("/clearance/by"), Some(&json!("peak")));
}

/// The next preferred value of the series, and 160 % of 3 kV and 4.8 kV between rows (3.8 mm); 12 kV has no next value.
/// A public table of check values: 1.5, 2.5, 4, 6, 8 kV need 1.5, 3, 5.5, 8, 14 mm.
#[test]
fn reinforced_is_the_next_preferred_value_and_never_double() {
    for (kilovolt, mm) in [(1.5, 1.5), (2.5, 3.0), (4.0, 5.5), (6.0, 8.0), (8.0, 14.0)] {
        holds(clearance(kilovolt, 100.0, 2, "reinforced", 0.0), mm, 1e-9);
    }
    holds(clearance(3.0, 100.0, 2, "reinforced", 0.0), 3.8, 1e-9);
    // 12 kV: 19.2 kV lie between 18 mm at 15 kV and 25 mm at 20 kV: 18 + 7 · 4.2/5.
    holds(clearance(12.0, 100.0, 2, "reinforced", 0.0), 23.88, 1e-9);
    holds(clearance(4.0, 100.0, 2, "basic", 0.0), 3.0, 1e-9);
    holds(clearance(4.0, 100.0, 2, "supplementary", 0.0), 3.0, 1e-9);
}

/// Products of the tables: 4 kV basic at 3000 m, 8 kV at 4000 m, 6 kV at 5000 m; at 1870 and 2000 m no factor, at 2001 m
/// 1.00014 on the straight line and 1.14 by the next row; below the sea never less than 1.
#[test]
fn altitude() {
    for (kilovolt, altitude, mm) in [
        (4.0, 3000.0, 3.42),
        (8.0, 4000.0, 10.32),
        (6.0, 5000.0, 8.14),
        (4.0, 1870.0, 3.0),
        (4.0, 2000.0, 3.0),
        (4.0, 2001.0, 3.00042),
        (4.0, -500.0, 3.0),
        (4.0, 0.0, 3.0),
    ] {
        holds(clearance(kilovolt, 100.0, 2, "basic", altitude), mm, 1e-9);
    }
    let mut next = stated(4.0, 100.0, 2, "basic", 2001.0);
    next.push(("/barrier/altitude_between_rows", json!("next-row")));
    holds(at(&solved(&next), "/clearance/required_mm"), 3.42, 1e-9);
    // Above 5000 m the rows are from memory, and somebody may have typed feet.
    let high = solved(&stated(4.0, 100.0, 2, "basic", 6562.0));
    assert!(row(&high, "clearance").note.contains("from memory") && finds(&high, "altitude-feet"));
    assert_eq!(look(ALTITUDE.lines, 0, 5000.0, Between::Linear).map(|found| found.status), Some(RowStatus::Read));
}

/// Table F.2 by hand: a row, between rows, below the first, the floors, the last; above it there is nothing.
#[test]
fn rows_ends_and_beyond() {
    let of = |volt: f64, column: usize| look(CLEARANCE.lines, column, volt, Between::Linear).map(|found| found.value);
    assert_eq!(of(2500.0, 1), Some(1.5));
    holds(of(2250.0, 1).expect("inside"), 1.25, 1e-12);
    assert_eq!(look(CLEARANCE.lines, 1, 2250.0, Between::NextRow).map(|found| found.value), Some(1.5));
    assert_eq!([of(50.0, 0), of(50.0, 1), of(50.0, 2)], [Some(0.01), Some(0.2), Some(0.8)]);
    assert_eq!([of(100e3, 1), of(100_001.0, 1)], [Some(170.0), None]);
    let peak = |volt: f64| look(PEAK.lines, 0, volt, Between::Linear).map(|found| found.value);
    assert_eq!([peak(10.0), peak(800.0), peak(10e3), peak(10_001.0)], [Some(0.001), Some(0.13), Some(15.2), None]);
    // 500 V line to neutral takes the row of 600 V, which is never interpolated.
    assert_eq!(look(IMPULSE.lines, 1, 301.0, Between::NextRow).map(|found| found.value), Some(4000.0));
    holds(clearance(0.33, 10.0, 3, "basic", 0.0), 0.8, 1e-12);
    holds(clearance(0.33, 10.0, 2, "basic", 0.0), 0.2, 1e-12);
    // Beyond the table by peak: 160 % of 6.5 kV.
    let faults = refused(&stated(4.0, 6500.0, 2, "reinforced", 0.0));
    assert!(faults.iter().any(|fault| fault.message.contains("ends at 10\u{202f}kV")), "{faults:?}");
}

/// Cases 4 to 6: 23.088 mm; 2.823 mm on a board and an error beyond 1000 V; the clearance of 5.5 mm sets the creepage.
#[test]
fn creepage() {
    let one = solved(&[
        ("/barrier/pack_v", json!(735.0)),
        ("/barrier/recurring_peak_v", json!(735.0)),
        ("/barrier/pollution_degree", json!(3)),
        ("/crossings/0/material_group", json!("group-iiia")),
    ]);
    holds(at(&one, "/crossings/0/creepage_basic_mm"), 11.544, 5e-4);
    holds(at(&one, "/crossings/0/creepage_required_mm"), 23.088, 5e-4);
    let board = |volt: f64| {
        bare(&[
            ("/barrier/pack_v", json!(volt)),
            ("/barrier/recurring_peak_v", json!(volt)),
            ("/barrier/insulation", json!("basic")),
            ("/barrier/system_v", json!(50.0)),
            ("/crossings/0/printed_wiring", json!(true)),
        ])
    };
    holds(at(&ask(&board(560.0)).expect("inside"), "/crossings/0/creepage_required_mm"), 2.823, 5e-4);
    let faults = ask(&board(1001.0)).expect_err("beyond the columns of boards");
    assert_eq!(faults[0].field, "/crossings/0/printed_wiring");
    assert!(faults[0].message.contains("ends at 1\u{202f}kV") && faults[0].message.contains("general columns"));
    let mut changes = stated(6.0, 150.0, 1, "basic", 0.0);
    changes[3] = ("/barrier/pack_v", json!(150.0));
    let six = solved(&changes);
    holds(at(&six, "/crossings/0/creepage_basic_mm"), 0.3086, 5e-5);
    holds(at(&six, "/crossings/0/creepage_required_mm"), 5.5, 1e-9);
    assert_eq!(six.result.tree().pointer("/crossings/0/creepage_by"), Some(&json!("clearance")));
    assert!(finds(&six, "creepage-set-by-clearance"));
    // A public check value: 100 V, degree 2, group I, 4 kV: the table asks for 0.71 mm, the clearance for 3 mm.
    let mut changes = stated(4.0, 100.0, 2, "basic", 0.0);
    changes[3] = ("/barrier/pack_v", json!(100.0));
    let low = solved(&changes);
    holds(at(&low, "/crossings/0/creepage_basic_mm"), 0.71, 1e-9);
    holds(at(&low, "/crossings/0/creepage_required_mm"), 3.0, 1e-9);
}

/// Groups by the tracking index, at 500 V and pollution degree 2: I 2.5, II 3.6, III 5.0 mm. At 399 V and at 380 it is IIIa.
#[test]
fn groups_by_the_tracking_index() {
    for (cti, group, mm) in
        [(380.0, "IIIa", 5.0), (399.0, "IIIa", 5.0), (400.0, "II", 3.6), (599.0, "II", 3.6), (600.0, "I", 2.5)]
    {
        let answer = solved(&[
            ("/crossings/0/material_group", json!("not-given")),
            ("/crossings/0/cti_v", json!(cti)),
            ("/barrier/insulation", json!("basic")),
        ]);
        assert_eq!(answer.result.tree().pointer("/crossings/0/group"), Some(&json!(group)), "{cti}");
        holds(at(&answer, "/crossings/0/creepage_required_mm"), mm, 1e-9);
    }
    let faults = refused(&[("/crossings/0/cti_v", json!(600.0))]);
    assert_eq!(faults[0].field, "/crossings/0/material_group");
    // IIIb: not above 630 V at degree 3, not on a board at degree 2.
    let at_degree_3 = |volt: f64| {
        ask(&bare(&[
            ("/barrier/pack_v", json!(volt)),
            ("/barrier/recurring_peak_v", json!(volt)),
            ("/barrier/pollution_degree", json!(3)),
            ("/crossings/0/material_group", json!("group-iiib")),
        ]))
    };
    assert!(at_degree_3(630.0).is_ok() && at_degree_3(631.0).is_err());
    let board = [("/crossings/0/material_group", json!("group-iiib")), ("/crossings/0/printed_wiring", json!(true))];
    assert!(!refused(&board).is_empty());
    let rows =
        |column: usize| [10.0, 3200.0].map(|volt| look(CREEPAGE.lines, column, volt, Between::Linear).map(|f| f.value));
    assert_eq!(rows(5), [Some(0.4), Some(32.0)]);
    assert_eq!(look(CREEPAGE.lines, 0, 1001.0, Between::Linear), None);
}

/// Ribs and grooves by hand. 800 V, degree 3, group II, basic: 11 mm, 9.6 mm with a rib of at least 2.2 mm by 2.75 mm.
#[test]
fn ribs_and_grooves() {
    let rib = |width: f64, height: f64| {
        solved(&[
            ("/barrier/pack_v", json!(800.0)),
            ("/barrier/recurring_peak_v", json!(800.0)),
            ("/barrier/pollution_degree", json!(3)),
            ("/barrier/insulation", json!("basic")),
            ("/crossings/0/material_group", json!("group-ii")),
            ("/crossings/0/rib_width_mm", json!(width)),
            ("/crossings/0/rib_height_mm", json!(height)),
        ])
    };
    holds(at(&rib(2.3, 2.8), "/crossings/0/creepage_required_mm"), 9.6, 1e-9);
    assert!(row(&rib(2.3, 2.8), "creepage").note.contains("from memory"));
    holds(at(&rib(2.1, 2.8), "/crossings/0/creepage_required_mm"), 11.0, 1e-9);
    holds(at(&rib(2.3, 2.7), "/crossings/0/creepage_required_mm"), 11.0, 1e-9);
    assert!(finds(&rib(2.3, 2.7), "rib-does-not-count"));
    let groove = |width: f64| solved(&[("/crossings/0/groove_width_mm", json!(width))]);
    assert_eq!(row(&groove(1.0), "creepage").verdict, Verdict::Holds);
    let bridged = groove(0.9);
    assert_eq!(row(&bridged, "creepage").verdict, Verdict::NotJudged);
    assert!(finds(&bridged, "groove-bridged"));
}

/// What is not given keeps a distance from holding, and not from failing.
#[test]
fn unknown_is_not_holds() {
    let without = |key: &str, mm: f64| {
        let mut input = bare(&[("/crossings/0/clearance_mm", json!(mm)), ("/crossings/0/creepage_mm", json!(mm))]);
        let (group, key) = key.split_once('/').expect("a group");
        input[group].as_object_mut().expect("a group").remove(key);
        ask(&input).expect("it stands without")
    };
    for key in ["barrier/altitude_m", "barrier/recurring_peak_v"] {
        assert_eq!(row(&without(key, 50.0), "clearance").verdict, Verdict::NotJudged, "{key}");
        assert_eq!(row(&without(key, 50.0), "creepage").verdict, Verdict::NotJudged, "{key}");
        assert_eq!(row(&without(key, 0.5), "clearance").verdict, Verdict::Fails, "{key}");
    }
    let unknown = solved(&[("/crossings/0/material_group", json!("not-given"))]);
    assert_eq!(row(&unknown, "creepage").verdict, Verdict::NotJudged);
    let mut input = bare(&[]);
    input["crossings"][0].as_object_mut().expect("a row").remove("creepage_mm");
    assert_eq!(row(&ask(&input).expect("an answer"), "creepage").verdict, Verdict::NotJudged);
    // The half of the pack is no working voltage of a barrier: one pole may stand at the chassis.
    let half = solved(&[("/barrier/working_v", json!(250.0))]);
    assert_eq!(row(&half, "barrier.voltage").verdict, Verdict::Fails);
    let basic =
        |bonded: bool| solved(&[("/barrier/insulation", json!("basic")), ("/barrier/lv_side_bonded", json!(bonded))]);
    assert_eq!(row(&basic(false), "barrier.class").verdict, Verdict::Fails);
    assert_eq!(row(&basic(true), "barrier.class").verdict, Verdict::Holds);
    // Supplementary insulation alone is one layer; insulation for the function is none.
    let class = |insulation: &str, bonded: bool| {
        let with = [("/barrier/insulation", json!(insulation)), ("/barrier/lv_side_bonded", json!(bonded))];
        row(&solved(&with), "barrier.class").verdict
    };
    assert_eq!(class("supplementary", false), Verdict::Fails);
    assert_eq!(class("functional", true), Verdict::Fails);
    let low = [("/barrier/recurring_peak_v", json!(400.0))];
    assert_eq!(refused(&low)[0].field, "/barrier/recurring_peak_v");
    let low = [("/barrier/temporary_overvoltage_v", json!(1.2))];
    assert_eq!(refused(&low)[0].field, "/barrier/temporary_overvoltage_v");
    let mut input = bare(&[]);
    input["barrier"].as_object_mut().expect("a group").remove("temporary_overvoltage_v");
    let lasting = ask(&input).expect("an answer");
    assert_eq!(row(&lasting, "clearance").missing.as_deref(), Some("/barrier/temporary_overvoltage_v"));
    // A direct voltage above the recurring peak is that of a minute.
    let minute = [("/isolator/recurring_peak_v", json!(1414.0)), ("/isolator/working_dc_v", json!(5000.0))];
    assert_eq!(refused(&minute)[0].field, "/isolator/working_dc_v");
    assert_eq!(refused(&[("/crossings/0/creepage_mm", json!(50.0))])[0].field, "/crossings/0/creepage_mm");
    assert_eq!(refused(&[("/barrier/pollution_degree", json!(4))])[0].field, "/barrier/pollution_degree");
}

/// One open element by hand: 500 V across 0.1 mm, table F.8 asks for 0.04 mm, degree 2 for 0.2 mm; creepage 2.5 mm in
/// group I unless it is detected.
#[test]
fn an_open_element() {
    let open = |gap: f64, detected: bool| {
        solved(&[
            ("/open_element/gap_mm", json!(gap)),
            ("/open_element/material_group", json!("group-i")),
            ("/open_element/detected", json!(detected)),
        ])
    };
    assert_eq!(row(&open(0.1, true), "chain.open").verdict, Verdict::Fails);
    assert_eq!(row(&open(1.0, true), "chain.open").verdict, Verdict::Holds);
    let unseen = open(1.0, false);
    assert_eq!(row(&unseen, "chain.open").verdict, Verdict::Fails);
    holds(at(&unseen, "/open_element/creepage_required_mm"), 2.5, 1e-9);
    holds(at(&unseen, "/open_element/gap_required_mm"), 0.2, 1e-9);
}

/// The estate car of the worked examples: 831.6 V, group II, degree 2, reinforced: 11.674 mm of 10.5 mm fails; the bakery
/// van, 408.8 V, IIIa, degree 3: 2 · (6.3 + 1.7 · 8.8/100) = 12.899 mm of 12.0 mm fails narrowly; the lighthouse relay
/// has 60 V and stays far inside.
#[test]
fn headlines_of_three_packs() {
    let pack = |volt: f64, degree: u32, group: &str, mm: f64| {
        solved(&[
            ("/barrier/pack_v", json!(volt)),
            ("/barrier/recurring_peak_v", json!(volt)),
            ("/barrier/pollution_degree", json!(degree)),
            ("/crossings/0/material_group", json!(group)),
            ("/crossings/0/clearance_mm", json!(mm)),
            ("/crossings/0/creepage_mm", json!(mm)),
        ])
    };
    let car = pack(831.6, 2, "group-ii", 10.5);
    holds(at(&car, "/crossings/0/creepage_required_mm"), 11.674, 5e-4);
    holds(at(&car, "/crossings/0/creepage_basic_mm"), 5.8, 0.05);
    assert_eq!(row(&car, "creepage").verdict, Verdict::Fails);
    assert!(car.cautions.iter().any(|care| care.contains("certification body prevail")));
    let van = pack(408.8, 3, "group-iiia", 12.0);
    holds(at(&van, "/crossings/0/creepage_required_mm"), 12.9, 0.05);
    assert_eq!(row(&van, "creepage").verdict, Verdict::Fails);
    let relay = pack(60.0, 3, "group-iiia", 5.5);
    assert_eq!(row(&relay, "creepage").verdict, Verdict::Holds);
}

/// The isolator by hand: reinforced asks 1.875 · 900 V = 1687.5 V and 5 pC; 1000 V and 20 years; 50 V/ns.
#[test]
fn the_isolator() {
    let isolator = |changes: &[(&str, Value)]| {
        let mut all = vec![
            ("/barrier/recurring_peak_v", json!(900.0)),
            ("/barrier/temporary_overvoltage_v", json!(1200.0)),
            ("/isolator/working_dc_v", json!(500.0)),
            ("/isolator/recurring_peak_v", json!(900.0)),
            ("/isolator/impulse_v", json!(4000.0)),
            ("/isolator/temporary_v", json!(1200.0)),
            ("/isolator/pd_test_v", json!(1687.5)),
            ("/isolator/pd_charge_coulomb", json!(5e-12)),
            ("/isolator/life_years", json!(20.0)),
            ("/isolator/life_v", json!(500.0)),
            ("/isolator/required_life_years", json!(20.0)),
            ("/isolator/immunity_v_per_s", json!(5e10)),
            ("/common_mode/node_slew_v_per_s", json!(5e10)),
        ];
        all.extend(changes.iter().cloned());
        solved(&all)
    };
    let ids = ["working", "peak", "impulse", "temporary", "discharge", "life", "immunity"];
    let exact = isolator(&[]);
    for id in ids {
        assert_eq!(row(&exact, &format!("isolator.{id}")).verdict, Verdict::Thin, "{id}");
    }
    for (id, pointer, value) in [
        ("working", "/isolator/working_dc_v", 499.0),
        ("peak", "/isolator/recurring_peak_v", 899.0),
        ("impulse", "/isolator/impulse_v", 3999.0),
        ("temporary", "/isolator/temporary_v", 1199.0),
        ("discharge", "/isolator/pd_test_v", 1687.0),
        ("discharge", "/isolator/pd_charge_coulomb", 5.1e-12),
        ("life", "/isolator/life_v", 499.0),
        ("life", "/isolator/life_years", 19.9),
        ("immunity", "/isolator/immunity_v_per_s", 4.99e10),
    ] {
        let worse = isolator(&[(pointer, json!(value))]);
        assert_eq!(row(&worse, &format!("isolator.{id}")).verdict, Verdict::Fails, "{pointer}");
    }
    let typical = isolator(&[("/isolator/immunity_is", json!("typical"))]);
    assert_eq!(row(&typical, "isolator.immunity").verdict, Verdict::NotJudged);
    assert!(finds(&exact, "immunity-thin"));
}

/// Case 14: 0.776 A, 18.75 ns, 14.55 nC; behind the filter 43.45 µV, mean 3.492 µV; without inductance the peak is
/// 4.656 mV. And C · dv/dt by hand: 1 pF at 50 V/ns is 50 mA, 1.5 pF at 20 V/ns 30 mA, 2 pF at 1 V/ns 2 mA.
#[test]
fn injection() {
    let answer = solved(&[
        ("/barrier/pack_v", json!(750.0)),
        ("/barrier/recurring_peak_v", json!(750.0)),
        (
            "/common_mode",
            json!({
                "node_slew_v_per_s": 40e9, "edge_rate_hz": 40e3, "injected_share_percent": 30.0,
                "shared_resistance_ohm": 20e-3, "shared_inductance_henry": 0.0, "channel_filter_s": 2e-6,
                "couplings": [
                    {"name": "isolators", "capacitance_farad": 1.2e-12, "count": 2},
                    {"name": "supply", "capacitance_farad": 14e-12},
                    {"name": "layout", "capacitance_farad": 3e-12}
                ]
            }),
        ),
    ]);
    holds(at(&answer, "/injection/current_a"), 0.776, 5e-4);
    holds(at(&answer, "/injection/edge_s"), 18.75e-9, 5e-12);
    holds(at(&answer, "/injection/charge_coulomb"), 14.55e-9, 5e-12);
    holds(at(&answer, "/injection/peak_v"), 4.656e-3, 5e-7);
    holds(at(&answer, "/injection/filtered_v"), 43.45e-6, 5e-9);
    holds(at(&answer, "/injection/mean_v"), 3.492e-6, 5e-10);
    // No allowance is given: nothing of it holds.
    for id in ["common-mode.current", "common-mode.voltage", "common-mode.comparator"] {
        assert_eq!(row(&answer, id).verdict, Verdict::NotJudged, "{id}");
    }
    for (farad, slew, ampere) in [(1e-12, 50e9, 50e-3), (1.5e-12, 20e9, 30e-3), (2e-12, 1e9, 2e-3)] {
        let one = solved(&[(
            "/common_mode",
            json!({"node_slew_v_per_s": slew, "couplings": [{"name": "data", "capacitance_farad": farad}]}),
        )]);
        holds(at(&one, "/injection/current_a"), ampere, 1e-12);
        assert!(one.result.tree().pointer("/injection/mean_v").is_none(), "no resistance: not zero");
    }
}

/// Points of 0.1 W at 12 % and 1 W at 85 %: 0.7333 W are lost at the first, 0.1765 W at the second. Drawn at most are 0.9 W, at
/// which 0.2383 W are lost; at 0.1 W it is 85 °C + 90 K/W · 0.7333 W = 151 °C, and that load occurs as well.
#[test]
fn a_supply_that_loses_most_at_a_light_load() {
    let of = |full_w: f64| {
        let supply = json!({
            "loads": [{"name": "all", "current_a": full_w / 5.0, "voltage_v": 5.0}],
            "efficiency_points": [
                {"output_w": 0.1, "efficiency_percent": 12.0}, {"output_w": 1.0, "efficiency_percent": 85.0}
            ],
            "ambient_degc": 85.0, "thermal_resistance_k_per_w": 90.0
        });
        solved(&[("/supply", supply)])
    };
    let light = of(0.9);
    holds(at(&light, "/supply/loss_w"), 0.2383, 5e-5);
    holds(at(&light, "/supply/junction_degc"), 151.0, 1e-9);
    assert_eq!(row(&light, "supply.junction").verdict, Verdict::Fails);
    // Above the highest point nothing is known of the load that is asked for.
    assert_eq!(row(&of(1.1), "supply.junction").verdict, Verdict::NotJudged);
}

/// Case 13: 104.7 mW, loss 140.7, taken 245.4 mW (42.66 %), 107.66 °C, 533.3 mW; case 15: 4.889 ms or never, 75.36 µV,
/// 24.96 %, 1.12486 ms.
#[test]
fn supply_and_data() {
    let supply = json!({
        "loads": [
            {"name": "a", "current_a": 12e-3, "voltage_v": 5.0},
            {"name": "b", "current_a": 9e-3, "voltage_v": 3.3},
            {"name": "c", "current_a": 3e-3, "voltage_v": 5.0}
        ],
        "efficiency_points": [
            {"output_w": 0.05, "efficiency_percent": 30.0},
            {"output_w": 0.25, "efficiency_percent": 55.0},
            {"output_w": 1.0, "efficiency_percent": 72.0}
        ],
        "ambient_degc": 95.0, "thermal_resistance_k_per_w": 90.0,
        "rated_w": 0.8, "derate_from_degc": 85.0, "zero_power_degc": 115.0
    });
    let one = solved(&[("/supply", supply)]);
    holds(at(&one, "/supply/output_w"), 0.1047, 5e-5);
    holds(at(&one, "/supply/loss_w"), 0.1407, 5e-5);
    holds(at(&one, "/supply/input_w"), 0.2454, 5e-5);
    holds(at(&one, "/supply/efficiency_percent"), 42.66, 5e-3);
    holds(at(&one, "/supply/junction_degc"), 107.66, 5e-3);
    holds(at(&one, "/supply/allowed_w"), 0.5333, 5e-5);
    assert_eq!(row(&one, "supply.power").verdict, Verdict::Holds);
    assert_eq!(row(&one, "supply.lost").verdict, Verdict::Fails);
    let start = |limit: f64| {
        solved(&[
            (
                "/supply",
                json!({
                    "loads": [{"name": "all", "current_a": 45e-3, "voltage_v": 5.0}],
                    "current_limit_a": limit, "output_farad": 22e-6, "start_allowed_s": 5e-3,
                    "ripple_pp_v": 60e-3, "rejection_at_ripple_db": 52.0, "regulation_v": 0.0, "rejection_dc_db": 80.0
                }),
            ),
            (
                "/data",
                json!({
                    "frame_bits": 96.0, "frame_rate_hz": 2000.0, "rate_bit_per_s": 1e6, "delay_max_s": 60e-9
                }),
            ),
        ])
    };
    let (starts, never) = (start(90e-3), start(65e-3));
    holds(at(&starts, "/supply/start_s"), 4.889e-3, 5e-7);
    holds(at(&starts, "/supply/ripple_offset_v"), 75.36e-6, 5e-9);
    // Through 50 µΩ that is 1.507 A.
    holds(at(&starts, "/supply/ripple_offset_v") / 50e-6, 1.507, 5e-4);
    holds(at(&starts, "/data/utilisation_percent"), 24.96, 5e-3);
    holds(at(&starts, "/data/latency_s"), 1.12486e-3, 5e-9);
    assert_eq!(row(&starts, "supply.start").verdict, Verdict::Thin);
    assert_eq!(row(&never, "supply.start").verdict, Verdict::Fails);
    assert!(finds(&never, "never-starts"));
    // The estate car: 60 + 29.7 + 15 mW at 55 % take 190 mW; the van 180 mW at 60 % 300 mW; the relay 132 mW at 75 % 176 mW.
    for (watt, percent, taken) in [(0.1047, 55.0, 0.190), (0.18, 60.0, 0.300), (0.132, 75.0, 0.176)] {
        let one = solved(&[(
            "/supply",
            json!({
                "loads": [{"name": "all", "current_a": watt / 5.0, "voltage_v": 5.0}],
                "efficiency_points": [{"output_w": watt, "efficiency_percent": percent}]
            }),
        )]);
        holds(at(&one, "/supply/input_w"), taken, 5e-4);
        assert!(finds(&one, "one-point-efficiency"));
    }
}
