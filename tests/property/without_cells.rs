//! Designs without cells: a source of the voltages and the resistance of a pack is judged as that pack is.

use rayon::prelude::*;
use sensewright_core::calculation::Depth;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::Design;
use sensewright_core::design::assess::{Row, assess, assess_to};
use sensewright_core::design::prepared::Prepared;
use sensewright_core::work::Work;
use sensewright_tests::Dice;
use serde_json::{Map, Value, json};

/// A demo of cells with numbers of its pack moved by up to a fifth, and without what only cells have: balancing, counting
/// of their charge and thresholds of a cell.
fn of_cells(seed: u64) -> Option<Design> {
    let mut dice = Dice(seed.wrapping_mul(0x9e37_79b9) + 5);
    let packs: Vec<&Design> = DEMOS.iter().map(|demo| &demo.design).filter(|one| one.head.pack.has_cells()).collect();
    let one = packs[usize::try_from(seed).ok()? % packs.len()];
    let mut document = one.document();
    let pack = document.get_mut("pack")?.as_object_mut()?;
    for (key, value) in pack.iter_mut().filter(|(key, _)| !key.ends_with("degc") && !key.starts_with("cells_in")) {
        let factor = if key.ends_with("_v") { 0.98 + 0.04 * dice.share() } else { 0.8 + 0.4 * dice.share() };
        *value = json!(value.as_f64()? * factor);
    }
    for of_cells in ["balancing", "charge_counting"] {
        document.shift_remove(of_cells);
    }
    let of_a_cell = |part: &Value| part["kind"].as_str().is_some_and(|kind| kind.starts_with("cell-"));
    if let Some(Value::Array(thresholds)) = document.get_mut("protection") {
        thresholds.retain(|part| !of_a_cell(part));
    }
    Design::read(&Value::Object(document)).ok()
}

/// The same with its voltages and its resistance given.
fn given(design: &Design) -> Design {
    let pack = &design.head.pack;
    let mut document = design.document();
    let own = document["pack"].as_object().cloned().unwrap_or_default();
    let shared = own.into_iter().filter(|(key, _)| !key.starts_with("cell") && key != "busbars_ohm");
    let mut source: Map<String, Value> = shared.collect();
    source.insert("source".into(), json!("voltages"));
    for (key, value) in [("max_v", pack.max_v()), ("nominal_v", pack.nominal_v()), ("min_v", pack.min_v())] {
        source.insert(key.into(), json!(value));
    }
    source.insert("resistance_ohm".into(), json!(pack.resistance_ohm().expect("of cells")));
    document.insert("pack".into(), Value::Object(source));
    Design::read(&Value::Object(document)).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

/// What a row says, to the last bit.
fn told(row: &Row) -> (usize, String, String) {
    let check = &row.check;
    (row.part, check.id.clone(), format!("{:?} {:?} {:?}", check.verdict, check.achieved, check.required))
}

/// Every row but what the cells themselves must take.
fn rows(design: &Design) -> Option<Vec<(usize, String, String)>> {
    let assessed = assess_to(design, Depth::Requirements, Work::FREE).ok()?;
    let asked = assessed.requirements.iter().filter(|row| row.check.id != "protection.let-through-cells");
    let mut rows: Vec<_> = asked.map(told).collect();
    rows.sort();
    Some(rows)
}

#[test]
fn a_source_is_judged_as_the_pack_of_its_voltages() {
    let compared = (0..20u64).into_par_iter().filter_map(|seed| {
        let cells = of_cells(seed)?;
        let before = rows(&cells)?;
        let now = rows(&given(&cells)).expect("it stands as the pack does");
        assert_eq!(before, now, "seed {seed}");
        Some(before.len())
    });
    let compared: Vec<usize> = compared.collect();
    assert!(compared.len() >= 15 && compared.iter().sum::<usize>() > 500, "{compared:?}");
}

/// What cells alone take is not asked, neither in the whole answer nor in verdicts, turning values and levers.
#[test]
fn what_only_cells_take_is_not_asked() {
    let mut left_out = 0;
    for seed in 0..5 {
        let Some(cells) = of_cells(seed) else { continue };
        let design = given(&cells);
        let ready = Prepared::new(&design, Work::FREE).expect("it stands");
        let numbers = ready.verdicts(Work::FREE).expect("nobody stops it");
        let assessed = assess(&design).expect("it stands");
        for (part, judged) in assessed.parts.iter().zip(&numbers) {
            let judged: Vec<&str> = judged.iter().flatten().map(|one| one.id).collect();
            assert!(!judged.contains(&"protection.let-through-cells"), "seed {seed}");
            let mut told: Vec<&str> = part.answer.requirements.iter().map(|check| check.id.as_str()).collect();
            let mut judged = judged;
            told.sort_unstable();
            judged.sort_unstable();
            if judged.iter().all(|id| *id != "design.not-given") && !told.contains(&"design.not-assessed") {
                assert_eq!(told, judged, "seed {seed}");
            }
        }
        let asked = |design: &Design| {
            let assessed = assess(design).expect("it stands");
            assessed.requirements.iter().filter(|row| row.check.id == "protection.let-through-cells").count()
        };
        left_out += asked(&cells) - asked(&design);
    }
    assert!(left_out > 0);
}

/// Nothing that depends on a resistance or a capacity holds where it is not given.
#[test]
fn nothing_holds_on_a_resistance_that_is_not_given() {
    use sensewright_core::judge::Verdict;
    let mut waiting = 0;
    for seed in 0..5 {
        let Some(cells) = of_cells(seed) else { continue };
        let known = given(&cells);
        let mut document = known.document();
        document.get_mut("pack").and_then(Value::as_object_mut).expect("a pack").shift_remove("resistance_ohm");
        for part in document.get_mut("precharge").and_then(Value::as_array_mut).into_iter().flatten() {
            if let Some(path) = part.get_mut("path").and_then(Value::as_object_mut) {
                path.shift_remove("resistance_ohm");
            }
        }
        let design = Design::read(&Value::Object(document)).expect("it is read");
        let assessed = assess(&design).expect("it stands");
        for row in &assessed.requirements {
            let part = &assessed.parts[row.part].part;
            let whole = ["race", "precharge"].contains(&part.section.key);
            if whole || row.check.id.starts_with("protection.let-through") {
                assert_eq!(row.check.verdict, Verdict::NotJudged, "seed {seed} {} {}", part.key(), row.check.id);
                waiting += 1;
            }
            let missing = row.check.missing.as_ref().map(|pointer| design.origin(part, pointer));
            if row.check.missing.as_deref() == Some("/source/pack_resistance_ohm") {
                assert_eq!(missing.as_deref(), Some("/pack/resistance_ohm"));
            }
        }
    }
    assert!(waiting > 5, "{waiting}");
}
