//! Comparisons: what gets worse or is no longer assessed is never among what is the same or better, and what one design has
//! goes over into the other.

use std::collections::BTreeMap;

use sensewright_core::demo::DEMOS;
use sensewright_core::design::Design;
use sensewright_core::design::assess::{Assessed, Row};
use sensewright_core::design::compare::{Comparison, Move, compare};
use sensewright_core::design::prepared::NOT_GIVEN;
use sensewright_core::field::form_tree;
use sensewright_core::judge::Verdict;
use sensewright_core::work::Work;
use sensewright_tests::Dice;
use serde_json::Value;

/// Every row by part and label, as the design itself tells it.
fn rows(assessed: &Assessed) -> BTreeMap<String, &Row> {
    let mut found = BTreeMap::new();
    for row in &assessed.requirements {
        let part = assessed.parts[row.part].part.title();
        let key = format!("{part}: {}", sensewright_core::quantity::in_sentence(&row.check.label));
        found.insert(key, row);
    }
    found
}

/// What one told alone says of each row of the other.
fn told_alike(done: &Comparison) {
    let [before, now] = &done.designs[..] else { panic!("two designs") };
    let (before, now) = (rows(before), rows(now));
    let judged =
        |row: &Row| !matches!(row.check.verdict, Verdict::NotJudged | Verdict::NotResolved | Verdict::NoLimitSet);
    let of = |label: &str| {
        let row = done.outcomes.iter().find(|row| row.label == label).unwrap_or_else(|| panic!("{label}"));
        row.moves[0]
    };
    for (label, was) in &before {
        let there = |label: &str| now.keys().any(|other| other.split(": ").next() == label.split(": ").next());
        let bad = match now.get(label) {
            // What was only to be typed is typed, or its part is gone.
            None if was.check.id == NOT_GIVEN => !there(label),
            None => true,
            Some(is) if is.check.verdict != was.check.verdict => {
                is.check.verdict < was.check.verdict
                    || (judged(was) && !judged(is))
                    || is.check.verdict == Verdict::Fails
            }
            // A charge is neither more nor less than a voltage.
            Some(is) => is.check.unit == was.check.unit && is.check.used_percent > was.check.used_percent,
        };
        let found = of(label);
        assert_eq!(bad, matches!(found, Move::Worse | Move::Gone), "{label}: {found:?}");
    }
    for (label, is) in now.iter().filter(|(label, _)| !before.contains_key(*label)) {
        let held = matches!(is.check.verdict, Verdict::Holds | Verdict::Thin | Verdict::NoLimitSet);
        assert_eq!(of(label), if held { Move::New } else { Move::Worse }, "{label}");
    }
}

/// A value that is to be typed has none: it is not told as the one it is drawn with, and goes over to nobody.
#[test]
fn what_is_not_given_has_no_value() {
    let typed = &DEMOS[0].design;
    let mut open = Value::Object(typed.document());
    let at = open["protection"].as_array().expect("thresholds").iter().position(|one| one["of"] == "current");
    let part = open["protection"][at.expect("a threshold of a current")].as_object_mut().expect("a part");
    let hazard = part.shift_remove("hazard_a").expect("it is typed");
    let done = compare(&[Design::read(&open).expect("it is read"), typed.clone()], Work::FREE).expect("it is told");
    let row = done.inputs.iter().find(|row| row.pointer.ends_with("/hazard_a")).expect("it differs");
    assert_eq!(row.values, [None, Some(hazard)]);
    assert!(row.effects.is_empty());
}

/// Each demo with each of its parts taken out.
#[test]
fn a_part_that_goes_hides_nothing() {
    for demo in DEMOS.iter() {
        for part in &demo.design.parts {
            let mut without = demo.design.clone();
            without.remove(&part.key());
            let done = compare(&[demo.design.clone(), without], Work::FREE).expect("both stand");
            told_alike(&done);
            let gone = done.outcomes.iter().filter(|row| row.moves[0] == Move::Gone).count();
            assert!(gone > 0, "{} without {}", demo.slug, part.key());
        }
    }
}

/// A place of a list that has some.
fn below(dice: &mut Dice, length: usize) -> usize {
    usize::try_from(dice.up_to(length as u64 - 1)).expect("a place")
}

/// A demo with some of its values elsewhere.
fn moved(dice: &mut Dice) -> Option<[Design; 2]> {
    let demo = &DEMOS[below(dice, DEMOS.len())].design;
    let mut pairs = Vec::new();
    for _ in 0..4 {
        let part = &demo.parts[below(dice, demo.parts.len())];
        let mut numbers = Vec::new();
        sensewright_core::field::tree::walk(part.entry().fields, &mut |pointer, _| {
            let value = sensewright_core::field::tree::at(&part.input, pointer).and_then(Value::as_f64);
            numbers.extend(value.map(|value| (pointer.replace('/', "."), value)));
        });
        let (pointer, value) = numbers.swap_remove(below(dice, numbers.len()));
        let key = format!("{}{pointer}", part.key());
        if pairs.iter().all(|(other, _)| *other != key) {
            let factor = if value.fract() == 0.0 { 2.0 } else { 1.1 };
            pairs.push((key, (value * factor).to_string()));
        }
    }
    let other = demo.changed(&form_tree(&pairs).ok()?).ok()?;
    Some([demo.clone(), other])
}

/// 50 random pairs: nothing that gets worse is hidden, and all differences taken over give the other design.
#[test]
fn differences_taken_over_give_the_other_design() {
    let mut dice = Dice(7);
    let mut done = 0;
    while done < 50 {
        let Some([a, b]) = moved(&mut dice) else { continue };
        // What was moved may contradict itself.
        let Ok(compared) = compare(&[a.clone(), b.clone()], Work::FREE) else { continue };
        told_alike(&compared);
        let mut pairs = Vec::new();
        for row in &compared.inputs {
            let field = row.field.expect("a value of a field");
            let key = sensewright_web::document_key(&a, row.places[0].as_deref().expect("it is there"));
            pairs.push((key.expect("a control"), field.echo(row.values[1].as_ref(), true)));
        }
        let taken = a.changed(&form_tree(&pairs).expect("each once")).expect("accepted in the other");
        assert_eq!(taken.write(), b.write());
        done += 1;
    }
}

/// The isolator of one charger is asked for a charge of its partial discharges, the other for a voltage.
#[test]
fn a_charge_is_not_compared_with_a_voltage() {
    let of = |slug: &str| sensewright_core::demo::find(slug).expect("a demo").design.clone();
    let done = compare(&[of("vineyard-tractor-charger"), of("night-bus-drive")], Work::FREE).expect("a comparison");
    let two = |row: &&sensewright_core::design::compare::OutcomeRow| match &row.checks[..] {
        [Some(was), Some(is)] => was.unit != is.unit && was.verdict == is.verdict,
        _ => false,
    };
    let rows: Vec<_> = done.outcomes.iter().filter(two).collect();
    assert!(!rows.is_empty() && rows.iter().all(|row| row.moves == [Move::NotComparable]), "{rows:?}");
}
