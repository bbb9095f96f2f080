//! Designs that are too long for an address, and those that are too long for a header: all of them open, by every way.

use axum::Router;
use axum::body::Body;
use axum::http::Method;
use percent_encoding::percent_decode_str;
use sensewright_core::address;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::link;
use sensewright_core::design::section::SECTIONS;
use sensewright_core::design::{Design, Part, assess::assess};
use sensewright_core::field::{Field, Kind};
use sensewright_tests::{Dice, with_few_trials};
use serde_json::{Value, json};

use super::{Answer, app, ask_with, encoded, get, post};

/// A demo with so many notes of letters that nothing makes shorter.
fn noted(demo: usize, notes: usize, seed: u64) -> Design {
    let mut state = seed | 1;
    let mut letter = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        char::from(b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"[(state >> 58) as usize])
    };
    let assumed: Vec<Value> = (0..notes)
        .map(|_| json!({"value": "pack.cell_max_v", "why": (0..150).map(|_| letter()).collect::<String>()}))
        .collect();
    let mut document = Value::Object(with_few_trials(&DEMOS[demo].design).document());
    document["assumed"] = json!(assumed);
    Design::read(&document).expect("a design")
}

async fn sent(app: &Router, path: &str, pairs: &[(&str, &str)]) -> Answer {
    let body: Vec<String> = pairs.iter().map(|(key, value)| format!("{}={}", encoded(key), encoded(value))).collect();
    let kind = [("content-type", "application/x-www-form-urlencoded")];
    ask_with(app, Method::POST, path, &kind, Body::from(body.join("&"))).await
}

/// The token in the form of a page.
fn token_in(page: &str) -> &str {
    let (_, rest) = page.split_once("name=\"token\" value=\"").expect("the form that the design travels in");
    rest.split_once('"').expect("its end").0
}

#[tokio::test]
async fn a_design_without_an_address_opens_by_every_other_way() {
    let app = app();
    let design = noted(0, 60, 7);
    let text = Value::Object(design.document()).to_string();
    assert_eq!(link::address(&design), None);
    let answer = post(&app, "/api/v1/design/assess?include=input", text.clone()).await.json();
    assert!(answer.get("link").is_none());
    assert_eq!(answer["input"].to_string(), text);
    let findings = answer["findings"].as_array().expect("a list");
    let found = findings.iter().find(|one| one["code"] == "design.no-address").expect("it is told");
    assert_eq!(
        (found["limit"].as_f64(), found["value"].as_f64().map(|letters| letters > 8_000.0)),
        (Some(8_000.0), Some(true))
    );
    assert_eq!(found["message"].as_str().map(|words| words.matches(" kB)").count()), Some(3), "{found}");
    // As a token, by the interface.
    let made = post(&app, "/api/v1/links", text.clone()).await.json();
    assert!(made.get("link").is_none());
    let token = made["token"].as_str().expect("a token");
    let opened = post(&app, "/api/v1/links/open", json!({"token": token}).to_string()).await.json();
    assert_eq!(Design::read(&opened).as_ref(), Ok(&design));
    for bad in ["{}", "[]", "{\"token\": 7}", "{\"token\": \"a\", \"b\": 1}"] {
        post(&app, "/api/v1/links/open", bad).await.problem(422);
    }
    // By the pages: from a file, from its token, and from one page to the next.
    let opened = sent(&app, "/worksheet/open", &[("document", &text)]).await;
    let page = opened.page(200);
    assert_eq!(token_in(page), token);
    assert!(page.contains("it would be too long") && !page.contains("href=\"pack\""));
    assert_eq!(sent(&app, "/worksheet/open", &[("document", token)]).await.text(), page);
    assert_eq!(sent(&app, "/worksheet/-/", &[("token", token)]).await.text(), page);
    for place in ["pack", "current.1", "report", "compare", "set?at=pack&pack.cells_in_series=90"] {
        let answer = sent(&app, &format!("/worksheet/-/{place}"), &[("token", token)]).await;
        assert!(place == "compare" || answer.page(200).contains("formaction=\"/worksheet/-/"), "{place}");
        answer.page(200);
    }
    let file = sent(&app, "/worksheet/-/document.json", &[("token", token)]).await;
    assert_eq!(file.text(), text);
    let json = sent(&app, "/worksheet/-/?format=json&include=input", &[("token", token)]).await;
    assert_eq!(json.json(), answer);
    // A change keeps what the visit began with.
    let pack = sent(&app, "/worksheet/-/pack", &[("token", token), ("pack.cells_in_series", "90")]).await;
    let (changed, began) = token_in(pack.page(200)).split_once('~').expect("where it began");
    let changed = link::open(changed).expect("a token").design;
    assert_eq!(changed.document()["pack"]["cells_in_series"], 90);
    assert_eq!(link::begun(&changed, began).as_ref(), Some(&design));
    let copied = sent(&app, "/worksheet/-/", &[("token", token), ("action", "copy"), ("part", "current.1")]).await;
    let copied = link::open(token_in(copied.page(200)).split('~').next().expect("a token")).expect("a token").design;
    assert_eq!(copied.parts.len(), design.parts.len() + 1);
    let live = [("content-type", "application/x-www-form-urlencoded"), ("x-part", "live")];
    let form = format!("token={token}&pack.cells_in_series=91");
    let live = ask_with(&app, Method::POST, "/worksheet/-/pack", &live, Body::from(form)).await;
    assert!(live.text().contains("<p data-token=\"") && live.text().contains("data-link=\"/worksheet/-/pack\""));
    let refused = sent(&app, "/worksheet/-/pack", &[("token", token), ("pack.cells_in_series", "x")]).await;
    assert_eq!(token_in(refused.page(422)), token);
    // What fits an address again has one.
    let short = sent(&app, "/worksheet/-/", &[("token", &link::token(&DEMOS[0].design))]).await;
    assert_eq!((short.status.as_u16(), short.header("location")), (303, DEMOS[0].address.as_str()));
    assert!(get(&app, "/worksheet/-/current.1").await.page(404).contains("travels in the form"));
}

#[tokio::test]
async fn three_full_designs_are_compared_by_a_form() {
    let app = app();
    let tokens: Vec<String> = (0..3).map(|seed| link::token(&noted(0, 60, 10 + seed))).collect();
    let pairs: Vec<(&str, &str)> = tokens.iter().map(|token| ("d", token.as_str())).collect();
    let answer = sent(&app, "/compare", &pairs).await;
    assert!(tokens.iter().all(|token| answer.page(200).contains(token.as_str())), "they stand in the page");
    let bad = [("d", tokens[0].as_str()), ("d", "what was pasted")];
    let page = sent(&app, "/compare", &bad).await;
    assert!(page.page(400).contains("what was pasted") && page.text().contains(&tokens[0]));
    // Each box says what is wrong with it: an empty one, too, and what is filled stays where it is.
    for (bad, told) in [
        (["", ""], ["Design A: Nothing stands here", "Design B: Nothing stands here"]),
        (["", tokens[0].as_str()], ["Design A: Nothing stands here", tokens[0].as_str()]),
        (
            ["hello, nobody", &DEMOS[0].address[..60]],
            ["Design A: This is no link of a design", "Design B: The link is cut off"],
        ),
    ] {
        let page = sent(&app, "/compare", &bad.map(|text| ("d", text))).await;
        assert!(told.iter().all(|words| page.page(400).contains(words)), "{bad:?}");
        assert!(page.text().contains("Accepted: the link of a design") && page.text().contains(bad[1]));
    }
    let third = [("d", ""), ("d", ""), ("d", "the third")];
    assert!(sent(&app, "/compare", &third).await.page(400).contains("the third"));
    let short = [("d", DEMOS[0].address.as_str()), ("d", DEMOS[1].address.as_str())];
    let page = sent(&app, "/compare", &short).await;
    let to = leads_to(&page);
    assert!(to.starts_with("/compare?d="), "{to}");
    let page = get(&app, &to).await;
    let block = page.page(200).split("<pre id=\"ticket\"").nth(1).unwrap_or_default();
    assert!(block.contains("- differs: Pack: ") && !block.contains("- differs: Title"), "values alone: {block}");
}

/// Where a redirection leads, by a header or by a page.
fn leads_to(answer: &Answer) -> String {
    let total: usize = answer.headers.iter().map(|(name, value)| name.as_str().len() + value.len() + 4).sum();
    assert!(total < 3_700, "{total} bytes of headers, and some are added on the way");
    if answer.status == 303 || answer.status == 308 {
        return answer.header("location").into();
    }
    let (_, rest) = answer.page(200).split_once("content=\"0; url=").expect("it leads on");
    rest.split_once('"').expect("its end").0.replace("&#38;", "&")
}

/// Each design that is assessed opens to the same bytes by its token, its file, a form, and its link when it has one; no
/// header is longer than servers on the way take.
#[tokio::test]
async fn every_design_that_is_assessed_opens_by_every_way() {
    let app = app();
    let (mut with, mut without, mut by_page) = (0, 0, 0);
    for (seed, notes) in
        (0..20_u64).flat_map(|seed| [0, 3, 9, 16, 25, 34, 40, 60].map(|notes| (seed, notes))).step_by(7)
    {
        let design = noted(usize::try_from(seed).expect("small") % DEMOS.len(), notes, 1 + seed);
        assess(&design).expect("it is assessed");
        let text = Value::Object(design.document()).to_string();
        let token = link::token(&design);
        assert_eq!(link::open(&token).map(|opened| opened.design).as_ref(), Ok(&design));
        let answer = sent(&app, "/worksheet/open", &[("document", &text)]).await;
        if let Some(address) = link::address(&design) {
            with += 1;
            by_page += u32::from(answer.status == 200);
            assert_eq!(leads_to(&answer), address);
            assert!(address.len() <= address::MOST_LETTERS);
            assert_eq!(get(&app, &format!("{address}document.json")).await.text(), text);
            let changed = sent(&app, &format!("{address}pack"), &[("pack.cells_in_series", "90")]).await;
            if !changed.text().contains("name=\"token\"") && changed.status != 422 {
                let to = leads_to(&changed);
                assert!(to.len() <= address::MOST_LETTERS, "{}", to.len());
                get(&app, &to).await.page(200);
            }
        } else {
            without += 1;
            assert_eq!(token_in(answer.page(200)), token);
        }
        let file = sent(&app, "/worksheet/-/document.json", &[("token", &token)]).await;
        assert_eq!(file.text(), text);
    }
    assert!(
        with > 5 && without > 2 && by_page > 2,
        "{with} with an address, {by_page} of them by a page, {without} without"
    );
}

/// A title of any letters leads to the same design as a file does.
#[test]
fn an_address_holds_only_letters_of_an_address() {
    let design = noted(1, 20, 3);
    let address = link::address(&design).expect("it fits");
    assert_eq!(percent_decode_str(&address).decode_utf8().expect("text"), address);
}

/// Every list as long as it may be and every number with all digits, in each part that a demo has.
fn filled(value: &mut Value, fields: &'static [Field], place: &mut u64) {
    for field in fields {
        let Some(value) = value.get_mut(field.key) else { continue };
        match (field.kind, value) {
            (Kind::Group { fields }, value) => filled(value, fields, place),
            (Kind::List { fields, most, .. }, Value::Array(rows)) => {
                if rows.is_empty() {
                    rows.push(Dice(*place).input(fields));
                }
                *rows = rows.iter().cycle().take(most).cloned().collect();
                for row in rows {
                    filled(row, fields, place);
                }
            }
            (Kind::Numbers { most, min, max, .. }, Value::Array(numbers)) if !numbers.is_empty() => {
                *numbers = numbers.iter().cycle().take(most).cloned().collect();
                for number in numbers {
                    digits(number, [min, max], place);
                }
            }
            (Kind::Number { min, max, .. }, value) => digits(value, [min, max], place),
            _ => {}
        }
    }
}

/// A number that needs all its digits, in its range.
fn digits(value: &mut Value, [min, max]: [f64; 2], place: &mut u64) {
    *place += 1;
    if let Some(number) = value.as_f64() {
        *value = json!((number * (1.0 - 1e-13 * (*place % 97) as f64)).clamp(min, max));
    }
}

/// What the schema allows is taken by every way that a design comes in: by JSON, as a file in a form, as a token in one.
#[tokio::test]
async fn the_largest_design_comes_in_by_every_way() {
    let app = app();
    let mut place = 0;
    let mut document = Value::Object(noted(0, 60, 3).write());
    let all = DEMOS.iter().map(|demo| &demo.design);
    for section in SECTIONS {
        let parts = all.clone().flat_map(|design| design.of(section.key).map(move |part| (design, part)));
        let mut parts: Vec<(Value, &Part)> = parts.map(|(design, part)| (design.write_part(part), part)).collect();
        parts.sort_by_key(|(part, _)| std::cmp::Reverse(part.to_string().len()));
        if parts.is_empty() {
            continue;
        }
        let most: Vec<Value> = (1..=section.most)
            .zip(parts.iter().cycle())
            .map(|(number, (part, of))| {
                let mut part = part.clone();
                filled(&mut part, of.entry().fields, &mut place);
                part["number"] = json!(number);
                let ties = part.as_object_mut().expect("a part");
                let once =
                    |key: &str| number > 1 && of.kind.once.iter().any(|group| group.strip_prefix('/') == Some(key));
                let tie = |key: &str| of.kind.rests.iter().any(|rests| rests.named_at.strip_prefix('/') == Some(key));
                ties.retain(|key, _| !tie(key) && !once(key));
                part
            })
            .collect();
        document[section.key] = json!(most);
    }
    let text = document.to_string();
    assert!(text.len() > 200_000, "{}", text.len());
    let made = post(&app, "/api/v1/links", text.clone()).await;
    let token = made.json()["token"].as_str().unwrap_or_else(|| panic!("{}", made.text())).to_owned();
    for pasted in [&text, &token] {
        let sent = sent(&app, "/worksheet/open", &[("document", pasted)]).await;
        assert!(matches!(sent.status.as_u16(), 200 | 422), "{} letters: {}", pasted.len(), sent.status);
        assert!(sent.text().contains("name=\"token\""), "{}", sent.text());
    }
}
