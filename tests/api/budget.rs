//! What costs too much: a program is refused, a page is drawn with fewer trials.

use axum::body::Body;
use axum::http::Method;
use sensewright_core::calculation::Depth;
use sensewright_core::catalogue::{CATALOGUE, find};
use sensewright_core::demo::DEMOS;
use sensewright_core::design::Design;
use sensewright_core::design::cost::{Parts, Questions};
use sensewright_core::design::link;
use sensewright_core::field::Notation;
use sensewright_core::work::Work;
use serde_json::{Value, json};

use super::{app, ask_with, example, get, get_with, post};

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

/// The parts that a script asks for, and a comparison of designs whose verdicts rest on trials.
#[tokio::test]
async fn every_page_that_lowers_trials_says_so() {
    let app = app();
    let live = [("x-part", "live")];
    let part = get_with(&app, "/current-channel?v=1&experiment.trials=10000000", &live).await;
    assert!(part.text().contains("instead of 10,000,000"));
    let form = [("x-part", "live"), ("content-type", "application/x-www-form-urlencoded")];
    let changed = "current.1.experiment.trials=10000000";
    let path = format!("{}current.1", DEMOS[0].address);
    let part = ask_with(&app, Method::POST, &path, &form, Body::from(changed)).await;
    assert!(
        part.text().contains("<div data-live=\"notice\"><p class=\"care\"")
            && part.text().contains("instead of 10,000,000")
    );
    let part = ask_with(&app, Method::POST, &path, &form, Body::from("current.1.experiment.trials=1000")).await;
    assert!(part.text().contains("<div data-live=\"notice\"></div>"));
    for (trials, said) in [(10_000_000, true), (20_000, false)] {
        let designs = ["a", "b"].map(|title| {
            let mut document = design_of(trials);
            document["requirements"]["current"]["judged_by"] = json!("probability-95");
            document["title"] = json!(title);
            format!("d={}", link::token(&Design::read(&document).expect("a design")))
        });
        let page = get(&app, &format!("/compare?{}", designs.join("&"))).await;
        assert_eq!(page.page(200).contains("instead of 10,000,000"), said, "{trials}");
    }
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
            let [all, alone] = [questions, Questions::NONE].map(|asked| parts.cost(depth, asked, Work::FREE));
            assert!(alone.units < 300_000_000 && all.bytes < 64 << 20, "{}: {all:?}", demo.slug);
            // A search has a limit of its own, 20 s as they are told.
            assert!(all.units - alone.units < 5_800_000_000, "{}: {all:?}", demo.slug);
        }
    }
}
