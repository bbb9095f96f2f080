//! Whole designs over the interface: worksheet, link, comparison, report.

use axum::body::Body;
use axum::http::{Method, Request};
use sensewright_core::demo::{DEMOS, find};
use sensewright_core::design::link;
use serde_json::{Value, json};

use super::{Answer, app, ask, encoded, get, post};

async fn form(app: &axum::Router, path: &str, body: &str, live: bool) -> Answer {
    let mut request = Request::builder()
        .method(Method::POST)
        .uri(path)
        .header("host", "sense.example")
        .header("content-type", "application/x-www-form-urlencoded");
    if live {
        request = request.header("x-part", "live");
    }
    ask(app, request.body(Body::from(body.to_owned())).expect("a request")).await
}

fn document(slug: &str) -> Value {
    Value::Object(find(slug).expect("the demo").design.write())
}

/// Start page, demo, one change, link, fresh browser: the same bytes of result, and the same through the interface.
#[tokio::test]
async fn a_changed_demo_travels_in_its_link() {
    let app = app();
    let start = get(&app, "/").await;
    let demo = find("mountain-rescue-car").expect("the demo");
    assert!(start.page(200).contains(&format!("href=\"{}\"", demo.address)));
    let base = link::token(&demo.design);
    let answer = form(&app, "/worksheet", &format!("base={base}&current.1.shunt.resistance_ohm=70u"), false).await;
    assert_eq!(answer.status.as_u16(), 303);
    let led = answer.header("location").to_owned();
    let page = get(&app, &led).await;
    // Old next to new: the loss was 5.603 W.
    assert!(page.page(200).contains("data-was=\"was 5.603\u{202f}W\""), "no former value");
    let address = led.split("&was=").next().expect("an address");
    assert!(address.len() <= 2_000);
    let fresh = get(&app, &format!("{address}&format=json")).await;
    assert_eq!(fresh.status.as_u16(), 200);
    let mut changed = document("mountain-rescue-car");
    changed["current"][0]["shunt"]["resistance_ohm"] = json!(70e-6);
    let asked = post(&app, "/api/v1/design/assess", changed.to_string()).await;
    assert_eq!(fresh.text(), asked.text());
    assert_eq!(fresh.json()["link"], address);
    let opened = get(&app, &format!("/api/v1/links/{}", link::token_in(address))).await.json();
    assert_eq!(opened["current"][0]["shunt"]["resistance_ohm"], json!(70e-6));
}

#[tokio::test]
async fn a_value_that_is_refused_stays_as_typed_beside_the_last_results() {
    let app = app();
    let base = link::token(&DEMOS[0].design);
    let body = format!("base={base}&current.1.shunt.resistance_ohm=80O&pack.cell_max_v=4%2C2");
    let page = form(&app, "/worksheet", &body, false).await;
    let text = page.page(422);
    assert!(text.contains("<title>Error: ") && text.contains("2 values need a correction"));
    assert!(text.contains("value=\"80O\"") && text.contains("value=\"4,2\"") && text.contains("4.2"));
    assert!(text.contains("href=\"#current.1.shunt.resistance_ohm\"") && text.contains("href=\"#pack.cell_max_v\""));
    assert!(text.contains("from the last complete set"));
    let live = form(&app, "/worksheet", &body, true).await;
    assert_eq!(live.status.as_u16(), 422);
    assert!(live.text().contains("data-key=\"current.1.shunt.resistance_ohm\" data-error="));
    let live = form(&app, "/worksheet", &format!("base={base}&current.1.shunt.resistance_ohm=70u"), true).await;
    assert_eq!(live.status.as_u16(), 200);
    assert!(live.text().contains("data-live=\"out-current.1\"") && live.text().contains("data-link=\"/worksheet?d="));
}

#[tokio::test]
async fn parts_are_added_and_removed_by_buttons() {
    let app = app();
    let led = form(&app, "/worksheet", "action=add:voltage:", false).await;
    assert_eq!(led.status.as_u16(), 303);
    let address = led.header("location").split(['&', '#']).next().expect("an address").to_owned();
    let opened = get(&app, &format!("/api/v1/links/{}", link::token_in(&address))).await.json();
    assert_eq!(opened["voltage"].as_array().map(Vec::len), Some(1));
    let body = format!("base={}&action=remove:voltage.0", link::token_in(&address));
    let led = form(&app, "/worksheet", &body, false).await;
    let opened = get(&app, &format!("/api/v1/links/{}", link::token_in(led.header("location")))).await.json();
    assert!(opened.get("voltage").is_none());
    assert_eq!(form(&app, "/worksheet", "action=fly", false).await.status.as_u16(), 422);
    get(&app, "/worksheet").await.page(200);
}

#[tokio::test]
async fn a_link_that_cannot_be_opened_is_a_clear_400() {
    let app = app();
    let good = link::token(&DEMOS[1].design);
    for (token, words) in [
        (&good[..good.len() / 2], "cut off"),
        (&format!("{}{}{}", &good[..40], if &good[40..41] == "B" { "C" } else { "B" }, &good[41..]), "damaged"),
        ("%F0%9F%92%A9", "damaged"),
        ("", "cut off"),
    ] {
        for path in ["/worksheet", "/report"] {
            let page = get(&app, &format!("{path}?d={token}")).await;
            assert!(page.page(400).contains(words), "{path} {token}");
        }
        if !token.is_empty() {
            let problem = get(&app, &format!("/api/v1/links/{token}")).await.problem(400);
            assert_eq!(problem["errors"][0]["field"], "/d");
        }
        let page = get(&app, &format!("/compare?d={good}&d=x{token}")).await;
        assert!(page.page(400).contains("Design 2"), "{token}");
    }
    assert_eq!(get(&app, &format!("/worksheet?d={}", "A".repeat(9_000))).await.status.as_u16(), 400);
}

#[tokio::test]
async fn designs_are_compared_by_their_links_and_by_json() {
    let app = app();
    let (a, b) = (document("mountain-rescue-car"), {
        let mut b = document("mountain-rescue-car");
        b["current"][0]["converter"]["offset_drift_v_per_k"] = json!(1e-7);
        b
    });
    let by_json = post(&app, "/api/v1/design/compare", json!({"designs": [a, b]}).to_string()).await;
    assert_eq!(by_json.status.as_u16(), 200);
    let result = by_json.json();
    let fields: Vec<_> =
        result["result"]["inputs"].as_array().expect("a list").iter().map(|row| &row["field"]).collect();
    assert_eq!(fields, ["/current/0/converter/offset_drift_v_per_k"]);
    let page = get(&app, result["link"].as_str().expect("a link")).await;
    assert!(page.page(200).contains("One value differs") && page.text().contains("Which value is behind it"));
    for bad in [json!({"designs": []}), json!({"designs": [{}]}), json!({}), json!([1])] {
        post(&app, "/api/v1/design/compare", bad.to_string()).await.problem(422);
    }
    let problem =
        post(&app, "/api/v1/design/compare", json!({"designs": [document("lighthouse-relay"), {}]}).to_string())
            .await
            .problem(422);
    assert!(problem["errors"][0]["field"].as_str().is_some_and(|field| field.starts_with("/designs/1/")), "{problem}");
    get(&app, "/compare").await.page(200);
    get(&app, &format!("/compare?d={}", link::token(&DEMOS[0].design))).await.page(200);
}

#[tokio::test]
async fn a_design_gives_its_report_its_tables_and_its_drawings() {
    let app = app();
    for (index, demo) in DEMOS.iter().enumerate() {
        let report = get(&app, &demo.address.replace("/worksheet", "/report")).await;
        let text = report.page(200);
        for words in
            ["Reviewed by", "Fingerprint", "Sources", "How it is worked out", "Limits for the end-of-line tester"]
        {
            assert!(text.contains(words), "{}: {words}", demo.slug);
        }
        let page = get(&app, &demo.address).await;
        if index > 0 {
            page.page(200);
            continue;
        }
        let files: Vec<String> = page
            .page(200)
            .split("href=\"")
            .filter_map(|rest| rest.split('"').next())
            .filter(|href| href.contains("part="))
            .map(|href| href.replace("&#38;", "&"))
            .collect();
        assert!(files.len() > 5, "{}: {files:?}", demo.slug);
        for file in files {
            assert_eq!(get(&app, &file).await.status.as_u16(), 200, "{file}");
        }
    }
    assert_eq!(get(&app, &format!("{}&format=csv&part=none", DEMOS[0].address)).await.status.as_u16(), 404);
}

#[tokio::test]
async fn a_document_is_opened_from_its_text() {
    let app = app();
    let text: String = document("lighthouse-relay").to_string();
    let body = format!("document={}", encoded(&text));
    let led = form(&app, "/worksheet/open", &body, false).await;
    assert_eq!(
        (led.status.as_u16(), led.header("location")),
        (303, find("lighthouse-relay").expect("it").address.as_str())
    );
    assert_eq!(form(&app, "/worksheet/open", "document=%7B", false).await.status.as_u16(), 400);
    assert_eq!(form(&app, "/worksheet/open", "document=%7B%7D", false).await.status.as_u16(), 422);
    let link = post(&app, "/api/v1/links", text).await.json();
    assert_eq!(link["link"], find("lighthouse-relay").expect("it").address.as_str());
    post(&app, "/api/v1/design/assess", "{}").await.problem(422);
    post(&app, "/api/v1/design/assess", "{").await.problem(400);
    let mut future = document("lighthouse-relay");
    future["schema"] = json!(99);
    let problem = post(&app, "/api/v1/design/assess", future.to_string()).await.problem(422);
    assert_eq!(problem["errors"][0]["code"], "schema-of-the-future");
}

/// A part's own page, opened from the design, gives its values back to it.
#[tokio::test]
async fn a_part_is_worked_on_its_own_page_and_taken_back() {
    let app = app();
    let demo = find("mountain-rescue-car").expect("the demo");
    let page = get(&app, &demo.address).await;
    let own = page
        .page(200)
        .split("href=\"")
        .filter_map(|rest| rest.split('"').next())
        .find(|href| href.contains("at=current.1"));
    let own = own.expect("a way to its own page").replace("&#38;", "&");
    let page = get(&app, &own).await;
    assert!(page.page(200).contains("Take these values back"));
    let changed = format!("{}&shunt.resistance_ohm=70u", own.split("&design=").next().expect("an address"));
    let changed = changed.replace("shunt.resistance_ohm=35u&", "");
    let body = format!("base={}&at=current.1&values={}", link::token(&demo.design), encoded(&changed));
    let led = form(&app, "/worksheet/put", &body, false).await;
    assert_eq!(led.status.as_u16(), 303, "{}", led.text());
    let token = link::token_in(led.header("location")).to_owned();
    let document = get(&app, &format!("/api/v1/links/{token}")).await.json();
    assert_eq!(document["current"][0]["shunt"]["resistance_ohm"], json!(70e-6));
    let mut expected = self::document("mountain-rescue-car");
    expected["current"][0]["shunt"]["resistance_ohm"] = json!(70e-6);
    assert_eq!(document["current"][0]["converter"], expected["current"][0]["converter"]);
}

/// A part that gets another name keeps what rests on it; two values rest on the car's first shunt.
#[tokio::test]
async fn what_rests_on_a_part_follows_its_name() {
    let app = app();
    let base = link::token(&find("mountain-rescue-car").expect("the demo").design);
    let led = form(&app, "/worksheet", &format!("base={base}&current.1.name=Main+shunt"), false).await;
    assert_eq!(led.status.as_u16(), 303, "{}", led.text());
    let document = get(&app, &format!("/api/v1/links/{}", link::token_in(led.header("location")))).await.json();
    assert_eq!(document["protection"][1]["rests_on"], "Main shunt");
    assert_eq!(document["ripple"][0]["rests_on"], "Main shunt");
}

/// What nobody asks for is not sent: 4 kB, and 600 bytes a requirement.
#[tokio::test]
async fn an_answer_without_wishes_is_slim() {
    let app = app();
    for demo in DEMOS.iter() {
        let answer = post(&app, "/api/v1/design/assess", document(demo.slug).to_string()).await;
        assert_eq!(answer.status.as_u16(), 200, "{}", demo.slug);
        let requirements = answer.json()["result"]["requirements"].as_array().map_or(0, Vec::len);
        let most = 4_096 + 600 * requirements;
        assert!(answer.body.len() <= most, "{}: {} bytes, at most {most}", demo.slug, answer.body.len());
        println!("{}: {} bytes for {requirements} requirements", demo.slug, answer.body.len());
    }
}
