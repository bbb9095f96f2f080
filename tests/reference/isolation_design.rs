//! The barrier in a design: what is handed down to it, what it hands on, and what one part alone describes.

use sensewright_core::demo::{DEMOS, find};
use sensewright_core::design::Design;
use sensewright_core::design::assess::{Assessed, assess};
use sensewright_core::design::prepared::Prepared;
use sensewright_core::field::FieldError;
use sensewright_core::judge::{Check, Verdict};
use sensewright_core::work::Work;
use serde_json::{Value, json};

use super::holds;

fn document(slug: &str, changes: &[(&str, Value)]) -> Value {
    let demo = find(slug).unwrap_or_else(|| panic!("no demo {slug}"));
    let mut document = Value::Object(demo.design.document());
    for (pointer, value) in changes {
        sensewright_tests::put(&mut document, pointer, value.clone());
    }
    document
}

fn changed(slug: &str, changes: &[(&str, Value)]) -> Design {
    Design::read(&document(slug, changes)).unwrap_or_else(|faults| panic!("{slug}: {faults:#?}"))
}

fn refused(document: &Value) -> Vec<FieldError> {
    Design::read(document).expect_err("it is refused")
}

/// The rows of the barrier of an assessed design.
fn rows(assessed: &Assessed) -> Vec<&Check> {
    let barriers = assessed.parts.iter().filter(|part| part.part.section.key == "isolation");
    barriers.flat_map(|part| &part.answer.requirements).collect()
}

fn row<'a>(rows: &[&'a Check], id: &str) -> &'a Check {
    rows.iter().find(|check| check.id == id).unwrap_or_else(|| panic!("no {id}"))
}

/// Worked examples: the estate car fails by its creepage (11.674 mm of 10.5 mm) and its Y capacitors (0.3250 J), the van by
/// its creepage (12.899 mm of 12.0 mm) while 0.1671 J hold; funicular and night bus hold in every row.
#[test]
fn the_demos_stand_as_they_should() {
    let failing = |slug: &str| -> Vec<String> {
        let assessed = assess(&find(slug).expect("a demo").design).expect("it stands");
        let rows = rows(&assessed);
        assert!(!rows.is_empty(), "{slug} has a barrier");
        rows.iter()
            .filter(|check| !matches!(check.verdict, Verdict::Holds | Verdict::Thin))
            .map(|check| format!("{} {:?}", check.id, check.verdict))
            .collect()
    };
    assert_eq!(failing("mountain-rescue-car"), ["isolation.y.energy Fails", "isolation.creepage Fails"]);
    assert_eq!(failing("island-bakery-van"), ["isolation.creepage Fails"]);
    for slug in ["funicular-summit-buffer", "night-bus-drive", "lighthouse-relay", "canal-library-bike"] {
        assert_eq!(failing(slug), Vec::<String>::new(), "{slug}");
    }
    let car = assess(&find("mountain-rescue-car").expect("a demo").design).expect("it stands");
    holds(row(&rows(&car), "isolation.y.energy").achieved.expect("a number"), 0.3250, 5e-5);
    // Paths of 5 MΩ, two bleeders of 10 MΩ at most, within 5 %, and a supervision of 5 MΩ: 1/(0.4 µS + 0.2 µS · 1.05/0.95).
    let bus = 1e6 / (0.4 + 0.2 * 1.05 / 0.95);
    holds(row(&rows(&car), "isolation.bus.resistance").achieved.expect("a number"), bus, 1e-3);
}

/// A voltage channel that measures to the chassis brings its string to the bus of each unit, lowest: 12 · 820 kΩ within
/// 0.75 % over life, 50 ppm/K over 28 K, −10 ppm/V on 122.4 V of an element, surfaces of 1 TΩ. The nodes: eight racks of 0.325 µS and that
/// string, two bleeders, a supervision of 10 MΩ. What moves the string moves the bus.
#[test]
fn strings_of_the_channels_hang_on_the_bus() {
    let to_chassis = ("/voltage/0/measured_against", json!("chassis-from-positive"));
    let bus = |element_ohm: f64| {
        let dry = 12.0 * element_ohm * 0.9925 * (1.0 - 28.0 * 50e-6) * (1.0 - 122.4 * 10e-6);
        let string = 1.0 / (1.0 / dry + 1e-12);
        1e6 / (8.0 * (0.325 + 1e6 / string) + 2.0 / 6.8 * 1.05 / 0.95 + 0.1)
    };
    let design = changed("funicular-summit-buffer", &[to_chassis]);
    let assessed = assess(&design).expect("it stands");
    holds(row(&rows(&assessed), "isolation.bus.resistance").achieved.expect("a number"), bus(820e3), 0.1);
    let part = assessed.parts.iter().find(|part| part.part.key() == "isolation.1").expect("the part");
    assert!(part.answer.findings.iter().any(|finding| finding.code == "isolation.string-twice"));
    let mut prepared = Prepared::new(&design, Work::FREE).expect("it stands");
    let moved = prepared.rejudge("/voltage/0/upper/resistance_ohm", 410e3, Work::FREE).expect("it is not stopped");
    let moved = moved.expect("a number of the design");
    let place = assessed.parts.iter().position(|part| part.part.key() == "isolation.1").expect("the part");
    let (_, rows_then) = moved.iter().find(|(at, _)| *at == place).expect("the bus moves with the string");
    let then = rows_then.as_ref().expect("it stands").iter().find(|row| row.id == "isolation.bus.resistance");
    holds(then.and_then(|row| row.achieved).expect("a number"), bus(410e3), 0.1);
}

/// Pack voltage, altitude, units and life stand in the pack: eight racks count, and the altitude moves the clearance.
#[test]
fn the_pack_hands_down() {
    let of = |changes: &[(&str, Value)], id: &str| {
        let assessed = assess(&changed("funicular-summit-buffer", changes)).expect("it stands");
        let rows = rows(&assessed);
        let check = row(&rows, id);
        (check.required, check.achieved)
    };
    // Two strings of 10 MΩ and 8 MΩ a rack, two bleeders of 6.8 MΩ at most, within 5 %, a supervision of 10 MΩ: 1/(8 · 0.325 µS
    // + 0.294118 µS · 1.05/0.95 + 0.1 µS) = 330.57 kΩ; nineteen racks at 100 Ω/V.
    holds(of(&[], "isolation.bus.resistance").1.expect("a number"), 330_570.1, 0.1);
    assert_eq!(of(&[], "isolation.bus.units"), (Some(19.0), Some(8.0)));
    let one = of(&[("/pack/units_in_parallel", json!(1))], "isolation.bus.resistance").1.expect("a number");
    holds(one, 1e6 / (0.425 + 2.0 / 6.8 * 1.05 / 0.95), 1.0);
    // 6 kV basic: 5.5 mm times 1.133 at 2950 m, times 1.29 at 4000 m.
    holds(of(&[], "isolation.clearance").0.expect("a number"), 5.5 * 1.133, 1e-9);
    holds(of(&[("/pack/altitude_m", json!(4000))], "isolation.clearance").0.expect("a number"), 5.5 * 1.29, 1e-9);
    for pointer in
        ["/isolation/0/barrier/pack_v", "/isolation/0/barrier/altitude_m", "/isolation/0/bus/units_in_parallel"]
    {
        let faults = refused(&document("funicular-summit-buffer", &[(pointer, json!(7))]));
        assert_eq!((faults[0].field.as_str(), faults[0].code.as_str()), (pointer, "handed-down"));
    }
    // Without an altitude nothing holds for the distances, and nobody says that it does.
    let mut document = document("funicular-summit-buffer", &[]);
    document["pack"].as_object_mut().expect("the pack").remove("altitude_m");
    let assessed = assess(&Design::read(&document).expect("it stands")).expect("it stands");
    assert_eq!(row(&rows(&assessed), "isolation.clearance").verdict, Verdict::NotJudged);
}

/// One part alone describes bus, supervision, touch and Y capacitors; a copy leaves them to the first.
#[test]
fn what_one_part_alone_describes() {
    let mut twice = document("mountain-rescue-car", &[]);
    let mut second = twice["isolation"][0].clone();
    second["number"] = json!(2);
    second["name"] = json!("Second barrier");
    twice["isolation"].as_array_mut().expect("parts").push(second);
    let faults = refused(&twice);
    let places: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
    assert_eq!(places, ["/isolation/1/bus", "/isolation/1/monitor", "/isolation/1/y"]);
    let mut design = changed("mountain-rescue-car", &[]);
    assert_eq!(design.copy("isolation.1").as_deref(), Some("isolation.2"));
    let copied = Design::read(&Value::Object(design.document())).expect("the copy leaves them out");
    let assessed = assess(&copied).expect("it stands");
    let of = |id: &str| rows(&assessed).iter().filter(|check| check.id == id).count();
    assert_eq!([of("isolation.y.energy"), of("isolation.barrier.class")], [1, 2]);
    let five: Vec<Value> = (1..=5).map(|number| json!({"number": number})).collect();
    assert_eq!(refused(&document("mountain-rescue-car", &[("/isolation", json!(five))]))[0].code, "too-many");
}

/// The latency goes to race and thresholds, the ripple to a channel, each once; what the barrier does not give is no zero.
#[test]
fn the_barrier_hands_on() {
    let number = |design: &Design, key: &str, pointer: &str| {
        let prepared = Prepared::new(design, Work::FREE).expect("it stands");
        let place = design.parts.iter().position(|part| part.key() == key).expect("a part");
        prepared.input(place).number(pointer)
    };
    // By hand: two frames of 1 kHz, 64 bits and 30 % at 1 Mbit/s, 30 ns.
    let latency = 2e-3 + 64.0 * 1.3 / 1e6 + 30e-9;
    let tied = changed(
        "mountain-rescue-car",
        &[("/race/0/linked_by", json!(1)), ("/protection/0/linked_by", json!(1)), ("/current/0/rests_on", json!(1))],
    );
    holds(number(&tied, "race.1", "/link_s").expect("handed on"), latency, 1e-12);
    holds(number(&tied, "protection.1", "/link_s").expect("handed on"), latency, 1e-12);
    // 40 mV peak to peak.
    holds(number(&tied, "current.1", "/amplifier/supply_ripple_v").expect("handed on"), 20e-3, 1e-15);
    let reaction = |design: &Design| {
        let assessed = assess(design).expect("it stands");
        let race = assessed.parts.iter().find(|part| part.part.key() == "race.1").expect("the race");
        race.answer.result.tree()["reaction_max_s"].as_f64().expect("a time")
    };
    holds(reaction(&tied) - reaction(&changed("mountain-rescue-car", &[])), latency, 1e-12);
    // By hand: 5 % of (2 · 1 + 12 + 2) pF times the step, 1 mΩ, 20000 edges a second; the supply as typed.
    let step = tied.head.pack.max_v();
    holds(
        number(&tied, "current.1", "/amplifier/injected_v").expect("handed on"),
        0.05 * 16e-12 * step * 1e-3 * 2e4,
        1e-12,
    );
    let typed = document("mountain-rescue-car", &[])["isolation"][0]["supply"]["regulation_v"].as_f64().expect("typed");
    holds(number(&tied, "current.1", "/amplifier/supply_change_v").expect("handed on"), typed, 1e-15);
    // What the channel judges as part of its error is no row of the barrier.
    let counted = |design: &Design| {
        let assessed = assess(design).expect("it stands");
        let of = |id: &str| rows(&assessed).iter().filter(|check| check.id == id).count();
        ["isolation.supply.offset", "isolation.common-mode.voltage", "isolation.common-mode.comparator"].map(of)
    };
    let both = [("/current/0/rests_on", json!(1)), ("/voltage/0/rests_on", json!(1))];
    assert_eq!(counted(&changed("mountain-rescue-car", &both)), [0, 0, 1]);
    // While one channel counts neither, the barrier answers for it.
    assert_eq!(counted(&tied), [1, 1, 1]);
    assert_eq!(counted(&changed("mountain-rescue-car", &[])), [1, 1, 1]);
    // Without a ripple the channel rests on something that gives nothing: it is not judged.
    let mut silent = document("mountain-rescue-car", &[("/current/0/rests_on", json!(1))]);
    silent["isolation"][0]["supply"].as_object_mut().expect("a supply").remove("ripple_pp_v");
    let assessed = assess(&Design::read(&silent).expect("it reads")).expect("it stands");
    let channel = assessed.parts.iter().find(|part| part.part.key() == "current.1").expect("the channel");
    assert!(channel.answer.requirements.iter().all(|check| check.verdict == Verdict::NotJudged));
}

/// A design without the section says so, and no demo that is opened from a document without it changes by it.
#[test]
fn an_absent_section_is_not_in_the_design() {
    for demo in DEMOS.iter() {
        let mut document = Value::Object(demo.design.document());
        document.as_object_mut().expect("a document").remove("isolation");
        let without = assess(&Design::read(&document).expect("it reads")).expect("it stands");
        let with = assess(&demo.design).expect("it stands");
        assert!(rows(&without).is_empty());
        let others = |assessed: &Assessed| {
            let parts = assessed.parts.iter().filter(|part| part.part.section.key != "isolation");
            parts.map(|part| part.answer.result.tree()).collect::<Vec<_>>()
        };
        assert_eq!(others(&without), others(&with), "{}", demo.slug);
    }
}
