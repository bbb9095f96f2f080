//! The cost never falls when more is asked: a list grows, trials are added, a design has one more part, a search more
//! questions.

use sensewright_core::calculation::{Depth, Entry};
use sensewright_core::catalogue::{CATALOGUE, find};
use sensewright_core::demo::DEMOS;
use sensewright_core::design::Design;
use sensewright_core::design::cost::{Parts, Questions};
use sensewright_core::field::Notation;
use sensewright_core::work::{Cost, Work};
use sensewright_tests::Dice;
use serde_json::{Value, json};

const DEPTHS: [Depth; 3] = [Depth::Requirements, Depth::Whole, Depth::Page];

/// Every list with some of its rows once more, and every number of trials some times as large; with its place.
fn grown(value: &Value, place: &str, dice: &mut Dice, to: &mut Vec<(String, Value)>) {
    match value {
        Value::Object(map) => map.iter().for_each(|(key, value)| grown(value, &format!("{place}/{key}"), dice, to)),
        Value::Array(rows) if !rows.is_empty() => {
            let more = 1 + usize::try_from(dice.up_to(2 * rows.len() as u64)).expect("small");
            to.push((place.to_owned(), json!(rows.iter().cycle().take(rows.len() + more).collect::<Vec<_>>())));
            rows.iter().enumerate().for_each(|(at, row)| grown(row, &format!("{place}/{at}"), dice, to));
        }
        Value::Number(count) if place.ends_with("/trials") => {
            to.push((place.to_owned(), json!(count.as_u64().unwrap_or_default() * (1 + dice.up_to(20)) + 1)));
        }
        _ => {}
    }
}

fn costs(entry: &Entry, input: &Value) -> Option<[Cost; 3]> {
    let input = entry.read(Some(input), Notation::Json).ok()?;
    Some(DEPTHS.map(|depth| entry.cost(&*input, depth, Work::FREE)))
}

#[track_caller]
fn no_less(what: &str, more: Cost, than: Cost) {
    assert!(more.units >= than.units && more.bytes >= than.bytes, "{what}: {more:?} is less than {than:?}");
}

#[test]
fn of_a_calculation() {
    let mut compared = 0;
    for entry in CATALOGUE {
        for seed in 0..40 {
            let mut dice = Dice(seed * 31 + 7);
            let start = Value::Object(entry.start().clone());
            let input = if seed == 0 { start } else { dice.vary(&start, entry.fields) };
            let Some(base) = costs(entry, &input) else { continue };
            no_less(entry.meta.slug, base[1], base[0]);
            no_less(entry.meta.slug, base[2], base[1]);
            let mut places = Vec::new();
            grown(&input, "", &mut dice, &mut places);
            for (place, value) in places {
                let mut input = input.clone();
                *input.pointer_mut(&place).expect("it is there") = value;
                let Some(more) = costs(entry, &input) else { continue };
                more.into_iter()
                    .zip(base)
                    .for_each(|(more, base)| no_less(&format!("{}{place}", entry.meta.slug), more, base));
                compared += 1;
            }
        }
    }
    assert!(compared > 500, "only {compared} were compared");
}

#[test]
fn of_a_design() {
    let searched = [Questions::NONE, Questions::COMPARISON, Questions::OVERVIEW, Questions::TURNING];
    let of = |document: &Value| {
        let design = Design::read(document).ok()?;
        let parts = Parts::of(&design);
        let of_depth = |depth| searched.map(|questions| parts.cost(depth, questions, Work::FREE));
        Some(DEPTHS.map(of_depth))
    };
    let mut compared = 0;
    for (seed, demo) in DEMOS.iter().enumerate() {
        let mut dice = Dice(seed as u64 + 3);
        let document = Value::Object(demo.design.write());
        let base = of(&document).expect("a demo");
        for depth in base {
            no_less(demo.slug, depth[2], depth[0]);
            no_less(demo.slug, depth[3], depth[2]);
        }
        let mut places = Vec::new();
        grown(&document, "", &mut dice, &mut places);
        for (place, value) in places {
            let mut document = document.clone();
            *document.pointer_mut(&place).expect("it is there") = value;
            let Some(more) = of(&document) else { continue };
            for (more, base) in more.into_iter().flatten().zip(base.into_iter().flatten()) {
                no_less(&format!("{}{place}", demo.slug), more, base);
            }
            compared += 1;
        }
    }
    assert!(compared > 60, "only {compared} were compared");
}

/// What is drawn, and what is gone through, costs more the more there is of it.
#[test]
fn more_rows_and_trials_cost_more() {
    let units = |slug: &str, place: &str, more: &dyn Fn(&Value) -> Value| {
        let entry = find(slug).expect("a calculation");
        let mut input = Value::Object(entry.start().clone());
        let cost = |input: &Value| {
            let input = entry.read(Some(input), Notation::Json).expect("it is in range");
            entry.cost(&*input, Depth::Page, Work::FREE).units
        };
        let before = cost(&input);
        let value = input.pointer_mut(place).expect("it is there");
        *value = more(value);
        assert!(cost(&input) > before, "{slug}{place}");
    };
    let tenfold = |value: &Value| json!(value.as_u64().expect("a count") * 10);
    let twice = |value: &Value| {
        let rows = value.as_array().expect("a list");
        json!(rows.iter().chain(rows).collect::<Vec<_>>())
    };
    for (slug, place) in [
        ("current-channel", "/experiment/trials"),
        ("voltage-channel", "/experiment/trials"),
        ("thermistor", "/experiment/trials"),
        ("uncertainty", "/trials"),
    ] {
        units(slug, place, &tenfold);
    }
    for (slug, place) in [
        ("current-channel", "/currents_a"),
        ("voltage-channel", "/voltages_v"),
        ("thermistor", "/points/rows"),
        ("thermistor/fit", "/points"),
        ("thermistor/table", "/points/rows"),
        ("shunt/fit", "/points"),
        ("protection/trip-curve", "/load"),
        ("protection/trip-curve", "/wire"),
        ("converter", "/signal_v"),
    ] {
        units(slug, place, &twice);
    }
}
