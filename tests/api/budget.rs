//! What costs too much: a program is refused, a page is drawn with fewer trials.

use sensewright_core::calculation::Depth;
use sensewright_core::catalogue::{CATALOGUE, find};
use sensewright_core::demo::DEMOS;
use sensewright_core::design::cost::{Parts, Questions};
use sensewright_core::design::link;
use sensewright_core::field::Notation;
use sensewright_core::work::Work;
use serde_json::{Value, json};

use super::{app, example, get, post};

/// The first demo with so many trials in every channel.
fn design_of(trials: u32) -> Value {
    let mut document = Value::Object(DEMOS[0].design.document());
    for section in ["current", "voltage"] {
        for part in document[section].as_array_mut().into_iter().flatten() {
            part["experiment"] = json!({"trials": trials, "seed": 1});
        }
    }
    document
}

#[tokio::test]
async fn a_program_is_told_which_trials_cost_too_much() {
    let app = app();
    let mut body = example(find("current-channel").expect("a calculation"));
    body["experiment"]["trials"] = json!(10_000_000);
    let refused = post(&app, "/api/v1/current-channel", body.to_string()).await.problem(422);
    let fault = &refused["errors"][0];
    assert_eq!((&fault["code"], &fault["field"]), (&json!("too-costly"), &json!("/experiment/trials")), "{fault}");
    assert_eq!(fault["got"], "10,000,000");
    // What is named as accepted is accepted.
    let accepted = fault["accepted"].as_str().expect("a text");
    let digits: String = accepted.chars().filter(char::is_ascii_digit).collect();
    let most: u32 = digits.parse().expect("a number");
    assert!((1_000..10_000_000).contains(&most), "{accepted}");
    let input = {
        body["experiment"]["trials"] = json!(most);
        find("current-channel").expect("a calculation").read(Some(&body), Notation::Json).expect("it is in range")
    };
    let units = find("current-channel").expect("a calculation").cost(&*input, Depth::Whole, Work::FREE).units;
    assert!(units < 1_200_000_000, "{units}");

    let refused = post(&app, "/api/v1/design/assess?include=parts", design_of(10_000_000).to_string()).await;
    let fault = refused.problem(422)["errors"][0].clone();
    assert_eq!(fault["code"], "too-costly");
    assert!(fault["field"].as_str().is_some_and(|field| field.ends_with("/experiment/trials")), "{fault}");
    // Verdicts alone draw no trials.
    assert_eq!(post(&app, "/api/v1/design/assess", design_of(10_000_000).to_string()).await.status, 200);
}

#[tokio::test]
async fn a_page_of_an_old_link_is_drawn_with_fewer_trials_and_says_so() {
    let app = app();
    let mut page = String::new();
    for (trials, said) in [(10_000_000, true), (200_000, false)] {
        let body = design_of(trials).to_string();
        let made = post(&app, "/api/v1/links", body).await.json();
        let address = made["link"].as_str().expect("a link").to_owned();
        let text = get(&app, &address).await.page(200).to_owned();
        assert_eq!(text.contains("instead of 10,000,000"), said, "{trials}");
        // The link still says what was typed.
        let opened = link::open(link::token_in(&address)).expect("a link");
        assert_eq!(opened.design.parts[0].input["experiment"]["trials"], json!(trials));
        page = text;
    }
    assert!(!page.is_empty());
    let address = "/current-channel?v=1&experiment.trials=10000000";
    let page = get(&app, address).await;
    assert!(page.page(200).contains("instead of 10,000,000"));
    assert!(page.text().contains("10000000") || page.text().contains("10M"), "the form shows what was typed");
}

/// Nothing that a form starts with, and no demo, is lowered or refused.
#[test]
fn what_is_usual_fits() {
    for entry in CATALOGUE {
        let input = entry.read(Some(&example(entry)), Notation::Json).expect("an example");
        let cost = entry.cost(&*input, Depth::Page, Work::FREE);
        assert!(cost.units < 300_000_000 && cost.bytes < 64 << 20, "{}: {cost:?}", entry.meta.slug);
    }
    for demo in DEMOS.iter() {
        let parts = Parts::of(&demo.design);
        for (depth, questions) in [(Depth::Page, Questions::OVERVIEW), (Depth::Requirements, Questions::TURNING)] {
            let cost = parts.cost(depth, questions, Work::FREE);
            assert!(cost.units < 900_000_000 && cost.bytes < 64 << 20, "{}: {cost:?}", demo.slug);
        }
    }
}

/// The cost never falls when a list or the trials grow.
#[test]
fn the_cost_never_falls_as_more_is_asked() {
    for entry in CATALOGUE {
        let start = example(entry);
        let cost = |input: &Value| {
            let input = entry.read(Some(input), Notation::Json).ok()?;
            Some(entry.cost(&*input, Depth::Page, Work::FREE))
        };
        let base = cost(&start).expect("an example");
        let mut places = Vec::new();
        grown(&start, String::new(), &mut places);
        for (place, more) in places {
            let mut input = start.clone();
            *input.pointer_mut(&place).expect("it is there") = more;
            if let Some(cost) = cost(&input) {
                assert!(cost.units >= base.units && cost.bytes >= base.bytes, "{}{place}", entry.meta.slug);
            }
        }
    }
    let units = |slug: &str, place: &str, more: &dyn Fn(&Value) -> Value| {
        let entry = find(slug).expect("a calculation");
        let mut input = example(entry);
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

/// Every list twice as long, and every number of trials tenfold.
fn grown(value: &Value, place: String, to: &mut Vec<(String, Value)>) {
    match value {
        Value::Object(map) => map.iter().for_each(|(key, value)| grown(value, format!("{place}/{key}"), to)),
        Value::Array(rows) => to.push((place, json!(rows.iter().chain(rows).collect::<Vec<_>>()))),
        Value::Number(count) if place.ends_with("/trials") => {
            to.push((place, json!(count.as_u64().unwrap_or_default() * 10)));
        }
        _ => {}
    }
}
