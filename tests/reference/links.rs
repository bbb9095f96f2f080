//! What a link holds: links of former versions, what was typed and what was not, parts that others name.

use rayon::prelude::*;
use sensewright_core::calculation::Depth;
use sensewright_core::design::assess::{assess, assess_to};
use sensewright_core::design::section::{self, SECTIONS};
use sensewright_core::design::summary::{Source, origins};
use sensewright_core::design::turning::field_of;
use sensewright_core::design::{Design, Part, link, starts};
use sensewright_core::judge::Verdict;
use sensewright_core::quantity::Unit;
use sensewright_core::work::Work;
use serde_json::{Map, Value, json};

/// The sum of lines, in any order.
fn sum(mut lines: Vec<String>) -> String {
    lines.sort();
    format!("{:08x}", crc32fast::hash(lines.join("\n").as_bytes()))
}

fn leaves(value: &Value, place: &str, to: &mut Vec<String>) {
    match value {
        Value::Object(map) => map.iter().for_each(|(key, value)| leaves(value, &format!("{place}/{key}"), to)),
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(index, value)| leaves(value, &format!("{place}/{index}"), to));
        }
        Value::Number(number) => to.push(format!("{place}={:016x}", number.as_f64().expect("a double").to_bits())),
        Value::String(text) => to.push(format!("{place}={text}")),
        other => to.push(format!("{place}={other}")),
    }
}

/// Values that the version which made the links did not have: section (empty: any), place, and where they stand by themselves.
const ADDED: [(&str, &str, Added); 7] = [
    ("", "/amplifier/supply_change_v", Added::Number(0.0)),
    ("", "/amplifier/supply_rejection_slow_db", Added::Number(80.0)),
    ("", "/amplifier/injected_v", Added::Number(0.0)),
    ("", "/measured_against", Added::Word("pole")),
    ("/precharge", "/units_in_parallel", Added::Count(1)),
    ("/discharge", "/units_in_parallel", Added::Count(1)),
    ("/discharge", "/weld/others", Added::Word("unsaid")),
];

#[derive(Clone, Copy)]
enum Added {
    Number(f64),
    Count(u32),
    Word(&'static str),
}

impl From<Added> for Value {
    fn from(added: Added) -> Self {
        match added {
            Added::Number(number) => json!(number),
            Added::Count(count) => json!(count),
            Added::Word(word) => json!(word),
        }
    }
}

/// Every value of pack, requirements and parts to the last bit, and the verdict of every row.
fn sums(design: &Design) -> [String; 2] {
    let document = design.write();
    let mut values = Vec::new();
    for key in ["pack", "requirements"] {
        leaves(&document[key], &format!("/{key}"), &mut values);
    }
    for part in &design.parts {
        let mut input = Value::Object(part.input.clone());
        for (section, pointer, value) in ADDED {
            if part.pointer().starts_with(section)
                && let Some((group, key)) = pointer.rsplit_once('/')
                && let Some(group) = input.pointer_mut(group).and_then(Value::as_object_mut)
                && let Some(added) = group.remove(key)
            {
                assert_eq!(added, Value::from(value), "{pointer}");
            }
        }
        leaves(&input, &part.pointer(), &mut values);
    }
    let assessed = assess_to(design, Depth::Requirements, Work::FREE).expect("it opened then");
    let verdict = |verdict| serde_json::to_value(verdict).expect("a word").as_str().expect("a word").to_owned();
    let row = |row: &sensewright_core::design::assess::Row| {
        let part = assessed.parts[row.part].part.pointer();
        format!("{part}|{}|{}", row.check.id, verdict(row.check.verdict))
    };
    [sum(values), sum(assessed.requirements.iter().map(row).collect())]
}

/// 500 links of a former version, demos and random designs: beside each stands the sum of the inputs that the version which
/// made it gave to the document itself. The verdicts are those of that document.
#[test]
fn old_links_open_with_their_inputs_and_verdicts() {
    let corpus = include_str!("../golden/tokens.txt");
    let lines: Vec<&str> = corpus.lines().collect();
    assert_eq!(lines.len(), 500);
    lines.par_iter().for_each(|line| {
        let (token, values) = line.split_once(' ').unwrap_or_else(|| panic!("{line}"));
        let design = link::open(token).unwrap_or_else(|faults| panic!("{token}: {faults:#?}")).design;
        assert_eq!(design.starts, starts::FIRST);
        let opened = sums(&design);
        assert_eq!(opened[0], values, "{token}");
        let sent = Design::read(&Value::Object(design.write())).expect("its own document");
        assert_eq!(opened, sums(&sent), "{token}");
        // Given away again in the newest form, it is the same design.
        assert_eq!(link::open(&link::token(&design)).expect("its own").design, design);
    });
}

/// A new design for a pack, with a part of every kind.
fn new_design(pack: &Value) -> Design {
    let mut design = Design::read(&json!({"schema": 2, "pack": pack})).expect("a pack");
    for section in SECTIONS {
        for kind in section.kinds {
            design.add(section, kind);
        }
    }
    design
}

fn packs() -> [Value; 3] {
    let pack = |series: u32, parallel: u32, continuous: f64, peak: f64| {
        json!({
            "cells_in_series": series, "cells_in_parallel": parallel, "cell_max_v": 4.2, "cell_nominal_v": 3.7,
            "cell_min_v": 3.0, "cell_capacity_ah": 50.0, "cell_resistance_ohm": 1e-3, "busbars_ohm": 5e-3,
            "loop_inductance_henry": 2e-6, "continuous_a": continuous, "peak_a": peak, "peak_duration_s": 10.0,
            "ripple_current_a": 5.0, "ripple_frequency_hz": 1e4, "ambient_min_degc": -20.0, "ambient_max_degc": 60.0,
            "calibration_degc": 25.0,
        })
    };
    [pack(12, 2, 30.0, 50.0), pack(95, 3, 300.0, 600.0), pack(357, 1, 140.0, 280.0)]
}

/// Quantities that no pack scales, and why.
const NOT_OF_A_PACK: &[(&str, &str)] = &[
    ("bias_current_a", "of the amplifier"),
    ("rated_power_w", "of the part: its own requirement asks for it"),
    ("heat_flow_w", "of the cell, beside the sensor"),
    ("standby_w", "of the transfer circuit"),
    ("leak_mismatch_a", "of the electronics"),
    ("safe_v", "of a person"),
    ("touch/limit_a", "of a person"),
    ("energy_limit_j", "of a person"),
    ("current/current_a", "of the read-out"),
    ("load/current_a", "of what is not chosen"),
    ("load/power_w", "of what is not chosen"),
    ("active/current_a", "of what is not chosen"),
    ("active/power_w", "of what is not chosen"),
    ("feed/current_a", "of what is not chosen"),
    ("feed/power_w", "of what is not chosen"),
];

/// Whether a value would scale with a pack: a current, a charge, an energy, a power; a voltage beside the channels, whose
/// own volts are those of their electronics.
fn scales(design: &Design, pointer: &str) -> bool {
    let field = field_of(design, pointer);
    let beside =
        ["/protection", "/race", "/precharge", "/discharge"].iter().any(|section| pointer.starts_with(section));
    match field.and_then(|(field, _)| field.unit()) {
        Some(Unit::Ampere | Unit::AmpereHour | Unit::AmpereSquaredSecond | Unit::Joule | Unit::Watt) => true,
        Some(Unit::Volt) => beside,
        _ => false,
    }
}

/// 48 V and 50 A, 400 V and 600 A, 1500 V and 280 A: an untouched number is the pack's, is open, or no pack scales it.
#[test]
fn no_value_of_a_new_design_belongs_to_another_pack() {
    let designs = packs().map(|pack| new_design(&pack));
    let at = |design: &Design, pointer: &str| Value::Object(design.write()).pointer(pointer).and_then(Value::as_f64);
    let [small, ..] = &designs;
    let mut excused = 0;
    for (pointer, from) in origins(small) {
        let of_part = !pointer.starts_with("/pack") && !pointer.starts_with("/requirements");
        if from == Source::Start && of_part && scales(small, &pointer) && at(small, &pointer).is_some_and(|x| x != 0.0)
        {
            let reason = NOT_OF_A_PACK.iter().any(|(end, _)| pointer.ends_with(end));
            assert!(reason, "{pointer} starts at {:?} whatever the pack", at(small, &pointer));
            excused += 1;
        }
    }
    assert!(excused > 5, "{excused}");
    for (pointer, expected) in [
        ("/current/0/load/full_scale_a", [62.5, 750.0, 350.0]),
        ("/voltage/0/calibration/high_v", [50.4, 399.0, 1499.4]),
        ("/voltage/0/upper/count", [2.0, 4.0, 10.0]),
        ("/protection/1/normal_a", [55.0, 605.0, 285.0]),
    ] {
        for (design, expected) in designs.iter().zip(expected) {
            let given = at(design, pointer).unwrap_or_else(|| panic!("{pointer}"));
            assert!((given - expected).abs() < 1e-9, "{pointer}: {given}");
        }
    }
}

/// A design without a typed value beside its pack: what needs a fact is not judged, and nothing of it holds.
#[test]
fn nothing_holds_on_an_open_value() {
    for pack in packs() {
        let design = new_design(&pack);
        let assessed = assess(&design).unwrap_or_else(|faults| panic!("{faults:#?}"));
        let mut waiting = 0;
        for (at, part) in assessed.parts.iter().enumerate() {
            let open = starts::not_given(design.starts, &part.part);
            let rows = assessed.requirements.iter().filter(|row| row.part == at);
            for row in rows.filter(|_| !open.is_empty()) {
                assert_eq!(row.check.verdict, Verdict::NotJudged, "{} {}", part.part.key(), row.check.id);
                waiting += 1;
            }
        }
        assert!(waiting > 20, "{waiting}");
    }
}

/// What a pack is not judged without is asked for: busbars and inductance make its strongest fault, ripple its peaks.
#[test]
fn a_pack_is_not_judged_on_the_values_of_another() {
    let [pack, ..] = packs();
    for missing in ["busbars_ohm", "loop_inductance_henry", "ripple_current_a", "cell_resistance_ohm", "peak_a"] {
        let mut pack = pack.clone();
        pack.as_object_mut().expect("a group").shift_remove(missing);
        let faults = assess(&new_design(&pack)).expect_err("it is not judged");
        let told: Vec<_> = faults.iter().map(|fault| (fault.field.as_str(), fault.code.as_str())).collect();
        assert_eq!(told, [(format!("/pack/{missing}").as_str(), "missing")]);
    }
}

/// What follows from the pack moves with it; what is typed stays, equal to the start or not; an emptied field follows again.
#[test]
fn typed_stays_typed_and_empty_follows() {
    let [pack, ..] = packs();
    let design = new_design(&pack);
    let form = |design: &Design, pairs: Value| design.changed(&pairs).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let of = |design: &Design, pointer: &str| {
        Value::Object(design.part("current.1").expect("there").input.clone()).pointer(pointer).cloned()
    };
    let full_scale = "/load/full_scale_a";
    let moved = form(&design, json!({"pack": {"peak_a": "80"}}));
    assert_eq!(of(&moved, full_scale), Some(json!(100.0)));
    // Typed, it stays when the pack moves, also where it says what the pack would say.
    let typed = form(&design, json!({"current": {"1": {"load": {"full_scale_a": "70"}}}}));
    let typed = form(&typed, json!({"current": {"1": {"load": {"full_scale_a": "62.5"}}}}));
    assert_ne!(typed, design);
    let later = form(&typed, json!({"pack": {"peak_a": "80"}}));
    assert_eq!(of(&later, full_scale), Some(json!(62.5)));
    let opened = link::open(&link::token(&later)).expect("its own").design;
    assert_eq!(opened, later);
    let emptied = form(&opened, json!({"current": {"1": {"load": {"full_scale_a": ""}}}}));
    assert_eq!(emptied, moved);
}

/// A tie is a number: names and places may change, a part that goes leaves its values, assumed; another's marks stay.
#[test]
fn ties_and_marks_outlive_names_places_and_removals() {
    let mut design = sensewright_core::demo::find("island-bakery-van").expect("a demo").design.clone();
    let before = assess(&design).expect("it stands");
    let verdicts = |design: &Design| sums(design)[1].clone();
    let renamed = design.changed(&json!({"current": {"1": {"name": "Another name"}}})).expect("a name");
    assert_eq!(verdicts(&renamed), verdicts(&design));
    design.assume("current.2.shunt.life_drift_percent", Some("estimated"));
    let current = section::find("current").expect("a section");
    design.add(current, &current.kinds[0]);
    design.remove("current.1");
    assert!(design.head.assumed.iter().any(|one| one.value == "current.2.shunt.life_drift_percent"));
    assert!(design.part("current.2").is_some() && design.part("current.1").is_none());
    let lost = before
        .parts
        .iter()
        .find(|one| one.part.section.key == "protection" && one.part.rests_on.first() == Some(&Some(1)));
    if let Some(lost) = lost {
        let now = design.part(&lost.part.key()).expect("still there");
        assert_eq!(now.rests_on[0], None);
        let gone = before.design.part("current.1").expect("it was there").title();
        for carried in lost.carried.iter().filter(|carried| carried.from == gone) {
            let kept = Value::Object(now.typed.clone()).pointer(carried.to).and_then(Value::as_f64);
            assert_eq!(kept, Some(carried.value), "{}", carried.to);
        }
        assert!(design.head.assumed.iter().any(|one| one.value.starts_with(&lost.part.key())));
    }
    let opened = link::open(&link::token(&design)).expect("its own").design;
    assert_eq!(opened, design);
}

/// A part that rests on one that gives nothing keeps nothing of it: what it needs is open again, not at an example.
#[test]
fn a_tie_that_gave_nothing_leaves_nothing() {
    let [pack, ..] = packs();
    let mut design = new_design(&pack);
    let source = design.of("precharge").next().expect("it is there").key();
    let resting = design.of("discharge").next().expect("it is there").key();
    assert_eq!(design.part(&resting).expect("there").rests_on, [Some(1)]);
    design.remove(&source);
    let left = design.part(&resting).expect("still there");
    assert_eq!((left.rests_on.as_slice(), left.typed.is_empty()), ([None].as_slice(), true));
    let open = starts::not_given(design.starts, left);
    assert!(open.iter().any(|(_, pointer)| *pointer == "/capacitance_farad"), "{open:?}");
}

/// A copy is a part of its own; moved, every tie stays.
#[test]
fn a_part_is_copied_and_moved() {
    let demo = sensewright_core::demo::find("mountain-rescue-car").expect("a demo").design.clone();
    let mut design = demo.clone();
    let copy = design.copy("current.1").expect("there is room");
    assert_eq!(design.part(&copy).map(|part| &part.input), demo.part("current.1").map(|part| &part.input));
    let keys = |design: &Design| design.of("current").map(Part::key).collect::<Vec<_>>();
    assert_eq!(keys(&design), ["current.1".to_owned(), copy.clone()]);
    design.shift(&copy, true);
    assert_eq!(keys(&design), [copy.clone(), "current.1".to_owned()]);
    let opened = link::open(&link::token(&design)).expect("its own").design;
    assert_eq!(opened, design);
    assert_eq!(
        design.part("protection.2").map(|part| part.rests_on.clone()),
        demo.part("protection.2").map(|part| part.rests_on.clone())
    );
    design.remove(&copy);
    assert_eq!(design, demo);
}

/// A document of schema 2 may be as short as what somebody knows.
#[test]
fn a_document_holds_what_was_typed() {
    let design = Design::read(&json!({"schema": 2, "current": [{"shunt": {"resistance_ohm": 1e-4}}]})).expect("short");
    let mut expected = Map::new();
    expected.insert("resistance_ohm".into(), json!(1e-4));
    assert_eq!(design.parts[0].typed.get("shunt"), Some(&Value::Object(expected)));
    assert_eq!(design.document()["current"][0], json!({"number": 1, "name": "", "shunt": {"resistance_ohm": 1e-4}}));
    let faults = Design::read(&json!({"schema": 2, "current": [{"shunt": {"resistance_ohm": -1}, "number": 0}]}));
    let fields: Vec<String> = faults.expect_err("two faults").into_iter().map(|fault| fault.field).collect();
    assert_eq!(fields, ["/current/0/number", "/current/0/shunt/resistance_ohm"]);
}
