//! Whole designs over the interface: worksheet, link, comparison, report.

use axum::body::Body;
use axum::http::{Method, Request};
use sensewright_core::demo::{DEMOS, find};
use sensewright_core::design::link;
use sensewright_tests::with_few_trials;
use serde_json::{Value, json};

use super::{Answer, app, ask, encoded, get, post};

pub(super) async fn form(app: &axum::Router, path: &str, body: &str, live: bool) -> Answer {
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
    Value::Object(find(slug).expect("the demo").design.document())
}

/// Start page, demo, one change, link, fresh browser: the same bytes of result, and the same through the interface.
#[tokio::test]
async fn a_changed_demo_travels_in_its_link() {
    let app = app();
    let start = get(&app, "/").await;
    let demo = find("mountain-rescue-car").expect("the demo");
    assert!(start.page(200).contains(&format!("href=\"{}\"", demo.address)));
    let part = format!("{}current.1", demo.address);
    let answer = form(&app, &part, "current.1.shunt.resistance_ohm=70u", false).await;
    assert_eq!(answer.status.as_u16(), 303);
    let led = answer.header("location").to_owned();
    let page = get(&app, &led).await;
    // Old next to new: the loss was 5.603 W; what changed stands on the page with the way back.
    assert!(page.page(200).contains("data-was=\"was 5.603\u{202f}W\""), "no former value");
    assert!(page.text().contains("Changed since you began: 1 value"));
    let back =
        page.text().split("href=\"set?").nth(1).and_then(|rest| rest.split('"').next()).expect("a way back").to_owned();
    let (path, _) = led.rsplit_once('/').expect("a path");
    let undone = get(&app, &format!("{path}/set?{}", back.replace("&#38;", "&"))).await;
    assert_eq!((undone.status.as_u16(), undone.header("location")), (303, part.as_str()));
    let address = format!("{}/", path.split('~').next().expect("a token"));
    assert!(address.len() <= 2_000);
    let fresh = get(&app, &format!("{address}?format=json")).await;
    assert_eq!(fresh.status.as_u16(), 200);
    let mut changed = document("mountain-rescue-car");
    changed["current"][0]["shunt"]["resistance_ohm"] = json!(70e-6);
    let asked = post(&app, "/api/v1/design/assess", changed.to_string()).await;
    assert_eq!(fresh.text(), asked.text());
    assert_eq!(fresh.json()["link"], address);
    let opened = get(&app, &format!("/api/v1/links/{}", link::token_in(&address))).await.json();
    assert_eq!(opened["current"][0]["shunt"]["resistance_ohm"], json!(70e-6));
    assert_eq!(get(&app, &format!("{address}document.json")).await.json()["current"], opened["current"]);
}

/// Addresses of former versions lead to the path of the same design, for ever.
#[tokio::test]
async fn former_addresses_lead_to_the_path() {
    let app = app();
    let demo = &DEMOS[2];
    let token = link::token(&demo.design);
    for (old, new) in [
        (format!("/worksheet?d={token}&was=AQ"), format!("/worksheet/{token}/")),
        (format!("/worksheet?d={token}&format=json"), format!("/worksheet/{token}/?format=json")),
        (format!("/report?d={token}"), format!("/worksheet/{token}/report")),
        (format!("/worksheet/{token}"), format!("/worksheet/{token}/")),
    ] {
        let moved = get(&app, &old).await;
        assert_eq!((moved.status.as_u16(), moved.header("location")), (308, new.as_str()), "{old}");
        assert_eq!(get(&app, &new).await.status.as_u16(), 200, "{new}");
    }
    for unknown in ["current.9", "nothing", "pack.1", "set/x"] {
        assert_eq!(get(&app, &format!("/worksheet/{token}/{unknown}")).await.status.as_u16(), 404, "{unknown}");
    }
}

#[tokio::test]
async fn a_value_that_is_refused_stays_as_typed_beside_the_last_results() {
    let app = app();
    let address = &DEMOS[0].address;
    let body = "current.1.shunt.resistance_ohm=80O&pack.cell_max_v=4%2C2";
    let page = form(&app, &format!("{address}current.1"), body, false).await;
    let text = page.page(422);
    assert!(text.contains("<title>Error: ") && text.contains("2 values need a correction"));
    assert!(text.contains("value=\"80O\"") && text.contains("4.2"));
    assert!(
        text.contains("href=\"#current.1.shunt.resistance_ohm\"") && text.contains("href=\"pack#pack.cell_max_v\"")
    );
    assert!(text.contains("from the last complete set"));
    let live = form(&app, &format!("{address}current.1"), body, true).await;
    assert_eq!(live.status.as_u16(), 422);
    assert!(live.text().contains("data-key=\"current.1.shunt.resistance_ohm\" data-error="));
    let live = form(&app, &format!("{address}current.1"), "current.1.shunt.resistance_ohm=70u", true).await;
    assert_eq!(live.status.as_u16(), 200);
    assert!(live.text().contains("data-live=\"out\"") && live.text().contains("data-link=\"/worksheet/"));
}

/// A design from nothing: the pack, ticks, a part more, a copy, a removal.
#[tokio::test]
async fn a_design_starts_from_its_pack() {
    let app = app();
    get(&app, "/worksheet").await.page(200);
    let pack = "title=Ferry&pack.cells_in_series=96&pack_v.max_v=403.2&pack_v.nominal_v=355.2&pack_v.min_v=288\
        &pack.cell_capacity_ah=50&pack.cell_resistance_ohm=1m&pack.continuous_a=300&pack.peak_a=600\
        &pack.peak_duration_s=10&pack.busbars_ohm=5m&pack.loop_inductance_henry=2u&pack.ripple_current_a=10&pack.ambient_min_degc=-20&pack.ambient_max_degc=60";
    let led =
        form(&app, "/worksheet", &format!("{pack}&add=current:&add=voltage:&add=protection:current"), false).await;
    assert_eq!(led.status.as_u16(), 303, "{}", led.text());
    let address = led.header("location").to_owned();
    let document = get(&app, &format!("{address}document.json")).await.json();
    assert_eq!(document["pack"]["cell_max_v"], json!(403.2 / 96.0));
    assert_eq!(document["protection"][0]["rests_on"], 1);
    assert_eq!(document["current"], json!([{"number": 1, "name": ""}]));
    let page = get(&app, &address).await;
    assert!(page.page(200).contains("Not judged"), "an open hazard");
    let act = async |address: &str, body: &str| form(&app, address, body, false).await;
    let more = act(&address, "action=add&add=race:&add=precharge:").await;
    let more = more.header("location").split('#').next().expect("an address").to_owned();
    let copied = act(&more, "action=copy&part=current.1").await;
    assert!(copied.header("location").ends_with("/current.2"));
    let (path, _) = copied.header("location").rsplit_once('/').expect("a path");
    let gone = act(&format!("{path}/"), "action=remove&part=current.1").await;
    let document = get(&app, &format!("{}document.json", gone.header("location"))).await.json();
    assert_eq!(document["current"][0]["number"], 2);
    assert!(document["protection"][0].get("rests_on").is_none());
    assert_eq!(act(&address, "action=fly").await.status.as_u16(), 422);
    // What is missing or contradicts itself is named, and what was typed stays.
    let short =
        form(&app, "/worksheet", "title=Ferry&pack.cells_in_series=96&pack.cell_max_v=4.2&pack_v.max_v=500", false)
            .await;
    let text = short.page(422);
    assert!(text.contains("value=\"Ferry\"") && text.contains("value=\"500\"") && text.contains("need a correction"));
    let without = pack.replace("&pack_v.nominal_v=355.2", "");
    let asked = form(&app, "/worksheet", &without, false).await;
    let text = asked.page(422);
    assert!(
        text.contains("href=\"#pack_v.nominal_v\"") && text.contains("The nominal voltage of the pack is not given")
    );
    assert!(!text.contains("href=\"#pack.cell_nominal_v\""));
}

/// What an offer does is a link; a value that is not accepted is refused in words.
#[tokio::test]
async fn an_offered_change_is_a_link() {
    let app = app();
    let address = &DEMOS[0].address;
    let led = get(&app, &format!("{address}set?at=current.1&current.1.shunt.resistance_ohm=34u")).await;
    assert_eq!(led.status.as_u16(), 303);
    assert!(led.header("location").ends_with("/current.1") && led.header("location").contains('~'));
    let from = get(&app, led.header("location")).await;
    assert!(from.page(200).contains("was 35 µ"), "what it was");
    let refused = get(&app, &format!("{address}set?current.1.shunt.resistance_ohm=34x")).await;
    assert_eq!(refused.status.as_u16(), 422);
    // Letters that this design cannot read: the page opens without them and says so.
    let (path, _) = led.header("location").rsplit_once('/').expect("a path");
    let token = path.split('~').next().expect("a token");
    let lost = get(&app, &format!("{token}~AAAA/")).await;
    assert!(lost.page(200).contains("Where this visit began cannot be read"));
}

/// A sign with the verdict in words, never good where something is not judged.
#[tokio::test]
async fn the_badge_says_the_verdict() {
    let app = app();
    for demo in DEMOS.iter() {
        let badge = get(&app, &format!("{}badge.svg", demo.address)).await;
        assert_eq!(badge.status.as_u16(), 200);
        let told = get(&app, &format!("{}?format=json", demo.address)).await.json();
        let count = |key: &str| told["result"]["verdict"][key].as_u64().expect("a count");
        assert_eq!(badge.text().contains("fails"), count("fail") > 0, "{}", demo.slug);
        assert!(!badge.text().contains(">holds") || count("not_judged") == 0, "{}", demo.slug);
    }
}

#[tokio::test]
async fn a_link_that_cannot_be_opened_is_a_clear_400() {
    let app = app();
    let good = link::token(&DEMOS[1].design);
    for (token, words) in [
        (&good[..good.len() / 2], "cut off"),
        (&format!("{}{}{}", &good[..40], if &good[40..41] == "B" { "C" } else { "B" }, &good[41..]), "damaged"),
        ("%F0%9F%92%A9", "is no link of a design"),
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
        assert!(page.page(400).contains("Design B: "), "{token}");
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
    // What goes into a review ticket: how both stand, what differs, the link.
    let block =
        page.text().split("<pre id=\"ticket\"").nth(1).and_then(|rest| rest.split("</pre>").next()).unwrap_or_default();
    for words in ["Compared: One value differs", "- A: ", "- B: ", "- differs: ", "- link: &#60;http", "/compare?d="] {
        assert!(block.contains(words), "{words}: {block}");
    }
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
        let address = link::address(&with_few_trials(&demo.design)).expect("a short one");
        let report = get(&app, &format!("{address}report")).await;
        let text = report.page(200);
        for words in
            ["Reviewed by", "Fingerprint", "Sources", "How it is worked out", "Limits for the end-of-line tester"]
        {
            assert!(text.contains(words), "{}: {words}", demo.slug);
        }
        // What only another choice would ask for is no value of this design: no demo feeds its link.
        let (_, starts) = text.split_once("id=\"a-starts\"").expect("values that nobody typed");
        assert!(!starts.contains("Its power"), "{}", demo.slug);
        let page = get(&app, &address).await;
        if index > 0 {
            page.page(200);
            continue;
        }
        let files: Vec<String> = page
            .page(200)
            .split("href=\"")
            .filter_map(|rest| rest.split('"').next())
            .filter(|href| href.contains("part="))
            .map(|href| format!("{address}{}", href.replace("&#38;", "&")))
            .collect();
        assert!(files.len() > 2, "{}: {files:?}", demo.slug);
        for file in files {
            assert_eq!(get(&app, &file).await.status.as_u16(), 200, "{file}");
        }
    }
    assert_eq!(get(&app, &format!("{}?format=csv&part=none", DEMOS[0].address)).await.status.as_u16(), 404);
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
    for bad in ["%7B", "%7B%7D", "hello"] {
        let page = form(&app, "/worksheet/open", &format!("document={bad}"), false).await;
        assert!(page.page(422).contains("needs a correction") || page.text().contains("need a correction"), "{bad}");
    }
    let link = post(&app, "/api/v1/links", text).await.json();
    assert_eq!(link["link"], find("lighthouse-relay").expect("it").address.as_str());
    post(&app, "/api/v1/design/assess", "{}").await.problem(422);
    post(&app, "/api/v1/design/assess", "{").await.problem(400);
    let mut future = document("lighthouse-relay");
    future["schema"] = json!(99);
    let problem = post(&app, "/api/v1/design/assess", future.to_string()).await.problem(422);
    assert_eq!(problem["errors"][0]["code"], "schema-of-the-future");
}

/// A part that gets another name keeps what rests on it; two values rest on the car's first shunt.
#[tokio::test]
async fn what_rests_on_a_part_follows_its_name() {
    let app = app();
    let address = &find("mountain-rescue-car").expect("the demo").address;
    let led = form(&app, &format!("{address}current.1"), "current.1.name=Main+shunt", false).await;
    assert_eq!(led.status.as_u16(), 303, "{}", led.text());
    let page = get(&app, &led.header("location").replace("current.1", "protection.2")).await;
    assert!(page.page(200).contains("<h3>from Main shunt</h3>"));
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

#[tokio::test]
async fn an_unknown_part_is_told_with_the_parts_that_exist() {
    let app = app();
    let address = &find("mountain-rescue-car").expect("the demo").address;
    let path = format!("{address}current.9");
    for answer in [get(&app, &path).await, form(&app, &path, "current.9.shunt.resistance_ohm=1u", false).await] {
        let page = answer.page(404);
        assert!(page.contains("no part \u{201c}current.9\u{201d}") && page.contains("current.1: Shunt A"), "{page}");
        for place in ["", "pack", "current.1", "balancing.1"] {
            assert!(page.contains(&format!("href=\"{address}{place}\"")), "{place}");
        }
    }
    let problem = get(&app, &format!("{path}?format=json")).await.problem(404);
    assert!(problem["detail"].as_str().is_some_and(|detail| detail.contains("current.1: Shunt A")), "{problem}");
    let hostile = get(&app, &format!("{address}{}", encoded("<b>"))).await;
    assert!(!hostile.page(404).contains("<b>"));
}

/// The running head is a style sheet of the design's own: the name is text there, whatever it holds.
#[tokio::test]
async fn the_running_head_of_a_report_names_design_and_fingerprint() {
    let app = app();
    let mut changed = document("lighthouse-relay");
    changed["title"] = json!("\"} body { display: none } /*");
    let made = post(&app, "/api/v1/links", changed.to_string()).await.json();
    let link = made["link"].as_str().expect("a link");
    let report = get(&app, &format!("{link}report")).await;
    assert!(report.page(200).contains(&format!("<link rel=\"stylesheet\" href=\"{link}running.css\">")));
    let sheet = get(&app, &format!("{link}running.css")).await;
    assert_eq!((sheet.status.as_u16(), sheet.header("content-type")), (200, "text/css; charset=utf-8"));
    let answer = post(&app, "/api/v1/design/assess", changed.to_string()).await.json();
    assert!(sheet.text().contains(answer["fingerprint"].as_str().expect("a fingerprint")), "{}", sheet.text());
    assert!(sheet.text().contains("counter(page)") && !sheet.text().contains("body {"), "{}", sheet.text());
}

#[tokio::test]
async fn the_badge_may_stand_in_another_page() {
    let app = app();
    let badge = get(&app, &format!("{}badge.svg", DEMOS[0].address)).await;
    assert_eq!(badge.header("cross-origin-resource-policy"), "cross-origin");
    assert_eq!(get(&app, &DEMOS[0].address).await.header("cross-origin-resource-policy"), "same-origin");
}
