//! JSON in, JSON out, and every way to get it wrong.

use axum::body::Body;
use axum::http::Method;
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::design::link::MOST_BYTES;
use serde_json::{Value, json};

use super::{api, app, ask_with, example, get, post, shunt};

#[tokio::test]
async fn every_example_is_answered_with_the_common_envelope() {
    let app = app();
    for entry in CATALOGUE {
        let answer = post(&app, &api(entry), example(entry).to_string()).await;
        assert_eq!((answer.status.as_u16(), answer.header("content-type")), (200, "application/json"), "{answer:?}");
        let envelope = answer.json();
        let names: Vec<_> = envelope.as_object().expect("an object").keys().collect();
        assert_eq!(names, ["engine", "input", "result", "requirements", "working", "findings", "cautions", "link"]);
        assert_eq!(envelope["input"], example(entry), "{}: the starting input comes back complete", entry.meta.slug);
        assert!(envelope["result"].as_object().is_some_and(|result| !result.is_empty()), "{}", entry.meta.slug);
    }
}

#[tokio::test]
async fn the_same_question_has_the_same_bytes() {
    let (one, other) = (app(), app());
    for entry in CATALOGUE {
        let first = post(&one, &api(entry), example(entry).to_string()).await;
        for app in [&one, &other] {
            assert_eq!(
                post(app, &api(entry), example(entry).to_string()).await.body,
                first.body,
                "{}",
                entry.meta.slug
            );
        }
        let (page, again) =
            (get(&one, &format!("/{}", entry.meta.slug)).await, get(&other, &format!("/{}", entry.meta.slug)).await);
        assert_eq!(page.body, again.body, "{}", entry.meta.slug);
    }
}

#[tokio::test]
async fn what_is_not_json_is_400_with_the_place() {
    let app = app();
    let problem = post(&app, "/api/v1/shunt", "{\n  \"shunt\": ohm}").await.problem(400);
    assert_eq!((&problem["line"], &problem["column"]), (&json!(2), &json!(12)));
    let problem = post(&app, "/api/v1/shunt", r#"{"shunt": {}, "shunt": {}}"#).await.problem(400);
    assert!(problem["detail"].as_str().is_some_and(|detail| detail.contains("“shunt” is given twice")), "{problem}");
    for body in [&b""[..], b"{", b"{} {}", b"{\"a\": NaN}", b"{\"a\": \"\xff\"}", &b"[".repeat(100_000)] {
        post(&app, "/api/v1/shunt", body.to_vec()).await.problem(400);
    }
}

#[tokio::test]
async fn all_faults_come_in_one_answer_at_their_pointers() {
    let mut input = example(shunt());
    let part = input["shunt"].as_object_mut().expect("a group");
    part.insert("resistance_ohm".into(), json!(-1.0));
    part.insert("tolerance_percent".into(), json!("1 %"));
    part.insert("rated_power_w".into(), Value::Null);
    part.remove("inductance_henry");
    part.insert("and/another~one".into(), json!(1));
    let problem = post(&app(), "/api/v1/shunt", input.to_string()).await.problem(422);
    let mut found: Vec<_> = problem["errors"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|error| (error["field"].as_str().unwrap_or_default(), error["code"].as_str().unwrap_or_default()))
        .collect();
    found.sort_unstable();
    let expected = [
        ("/shunt/and~1another~0one", "unknown-field"),
        ("/shunt/inductance_henry", "missing"),
        ("/shunt/rated_power_w", "wrong-type"),
        ("/shunt/resistance_ohm", "below"),
        ("/shunt/tolerance_percent", "wrong-type"),
    ];
    assert_eq!(found, expected);
    for error in problem["errors"].as_array().expect("a list") {
        for name in ["message", "accepted", "got"] {
            assert!(error[name].as_str().is_some_and(|words| !words.is_empty()), "{error}");
        }
    }
}

#[tokio::test]
async fn json_of_another_shape_is_422() {
    let app = app();
    for body in ["null", "[]", "1", "\"text\"", "true"] {
        let problem = post(&app, "/api/v1/shunt", body).await.problem(422);
        assert_eq!(problem["errors"][0]["field"], "", "{problem}");
    }
}

#[tokio::test]
async fn a_hundred_faults_are_told_and_all_are_counted() {
    let app = app();
    let many: Vec<String> = (0..50_000).map(|number| format!("\"n{number}\":1")).collect();
    let many = format!("{{{}}}", many.join(","));
    for path in ["/api/v1/shunt", "/api/v1/design/assess", "/api/v1/design/compare", "/api/v1/links"] {
        let answer = post(&app, path, many.clone()).await;
        let problem = answer.problem(422);
        assert_eq!(problem["errors"].as_array().map(Vec::len), Some(100), "{path}");
        assert!(problem["faults_total"].as_u64().is_some_and(|all| (50_000..50_100).contains(&all)), "{path}");
        assert!(answer.body.len() < 300_000, "{path}: {}", answer.body.len());
        let told = |error: &Value| error["message"].as_str().is_some_and(|words| !words.is_empty());
        assert!(problem["errors"].as_array().expect("a list").iter().all(told), "{path}");
    }
}

#[tokio::test]
async fn a_form_of_very_many_pairs_is_refused_by_their_number() {
    let app = app();
    let kind = [("content-type", "application/x-www-form-urlencoded")];
    for path in ["/worksheet", "/worksheet/open", "/worksheet/use", "/worksheet/x/", "/worksheet/x/current.1"] {
        let form = "why:a=1&".repeat(70_000);
        let answer = ask_with(&app, Method::POST, path, &kind, Body::from(form)).await;
        assert!(answer.page(422).contains("70001 fields were sent"), "{path}");
        ask_with(&app, Method::POST, path, &[("content-type", "text/plain")], Body::from("a=1")).await.page(415);
    }
}

#[tokio::test]
async fn a_body_that_is_packed_or_in_other_letters_is_415() {
    let app = app();
    for (name, value, code) in [
        ("content-encoding", "gzip", "content-coding"),
        ("content-encoding", "identity, br", "content-coding"),
        ("content-type", "application/json; charset=latin1", "character-set"),
    ] {
        let mut headers = vec![("content-type", "application/json"), (name, value)];
        headers.dedup_by_key(|(name, _)| *name);
        let headers = if name == "content-type" { vec![(name, value)] } else { headers };
        let answer = ask_with(&app, Method::POST, "/api/v1/shunt", &headers, Body::from("{}")).await;
        assert_eq!(answer.problem(415)["code"], code, "{value}");
        assert_eq!(answer.header("accept-encoding"), if code == "content-coding" { "identity" } else { "" });
    }
}

#[tokio::test]
async fn no_number_is_told_in_hundreds_of_digits() {
    let app = app();
    for given in [json!("1e308"), json!(1e308), json!(-1e308), json!("9".repeat(300))] {
        for pointer in ["/operating/current_a", "/shunt/rated_power_w"] {
            let mut input = example(shunt());
            *input.pointer_mut(pointer).expect("a field") = given.clone();
            let answer = post(&app, "/api/v1/shunt", input.to_string()).await;
            answer.problem(422);
            let longest = answer.text().split(|letter: char| !letter.is_ascii_digit()).map(str::len).max();
            assert!(longest.is_some_and(|digits| digits <= 60), "{given}: {}", answer.text());
        }
    }
}

#[tokio::test]
async fn what_a_document_says_of_itself_has_its_types() {
    let app = app();
    let document = |key: &str, value: Value| {
        let mut document = Value::Object(sensewright_core::demo::DEMOS[0].design.document());
        document[key] = value;
        document.to_string()
    };
    for (key, value) in [
        ("engine", json!(7)),
        ("engine", json!("x".repeat(201))),
        ("engine", Value::Null),
        ("schema", json!("2")),
        ("schema", json!(1.5)),
    ] {
        let problem = post(&app, "/api/v1/links", document(key, value)).await.problem(422);
        assert_eq!(problem["errors"][0]["field"], format!("/{key}"), "{problem}");
        assert_eq!(problem["errors"][0]["code"], "wrong-type", "{problem}");
    }
    assert_eq!(post(&app, "/api/v1/links", document("engine", json!("another 7"))).await.status, 200);
}

#[tokio::test]
async fn another_media_type_is_415() {
    let app = app();
    for kind in ["text/plain", "application/x-www-form-urlencoded", "application/jsonx", ""] {
        let answer = ask_with(&app, Method::POST, "/api/v1/shunt", &[("content-type", kind)], Body::from("{}")).await;
        answer.problem(415);
        assert_eq!(answer.header("accept-post"), "application/json");
    }
    ask_with(&app, Method::POST, "/api/v1/shunt", &[], Body::from("{}")).await.problem(415);
    for kind in ["application/json; charset=utf-8", "Application/JSON"] {
        let body = Body::from(example(shunt()).to_string());
        let answer = ask_with(&app, Method::POST, "/api/v1/shunt", &[("content-type", kind)], body).await;
        assert_eq!(answer.status, 200, "{kind}");
    }
}

#[tokio::test]
async fn a_body_that_is_too_large_is_413_announced_or_not() {
    let app = app();
    let large = " ".repeat(MOST_BYTES + 1);
    // `Body::from` states a length that the router sees only while it reads; the header announces it.
    post(&app, "/api/v1/shunt", large.clone()).await.problem(413);
    let announced = large.len().to_string();
    let headers = [("content-type", "application/json"), ("content-length", announced.as_str())];
    ask_with(&app, Method::POST, "/api/v1/shunt", &headers, Body::empty()).await.problem(413);
    let fits = format!("{}{}", &large[..1_000_000], example(shunt()));
    assert_eq!(post(&app, "/api/v1/shunt", fits).await.status, 200);
}

#[tokio::test]
async fn another_method_is_405_and_says_which() {
    let app = app();
    let answer = get(&app, "/api/v1/shunt").await;
    answer.problem(405);
    assert_eq!(answer.header("allow"), "POST");
    let answer = ask_with(&app, Method::DELETE, "/shunt", &[], Body::empty()).await;
    answer.page(405);
    assert_eq!(answer.header("allow"), "GET,HEAD");
}

#[tokio::test]
async fn an_unknown_address_is_404_in_the_language_of_who_asks() {
    let app = app();
    get(&app, "/api/v1/no-such-thing").await.problem(404);
    post(&app, "/api/v1/no-such-thing", "{}").await.problem(404);
    super::get_with(&app, "/no-such-page", &[("accept", "application/json")]).await.problem(404);
    for address in ["/no-such-page", "/shunt/", "/static/../Cargo.toml", "/static/..%2f..%2fCargo.toml", "/demo/none"] {
        get(&app, address).await.page(404);
    }
}
