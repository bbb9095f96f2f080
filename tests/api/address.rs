//! Calculations by their address: pages, live parts, JSON, files.

use sensewright_core::address::MOST_LETTERS;
use sensewright_core::catalogue::{CATALOGUE, find};
use sensewright_core::demo::DEMOS;
use sensewright_core::field::Notation;
use sensewright_core::quantity::Unit;
use sensewright_core::report::{Block, View};
use serde_json::{Value, json};

use super::{api, app, encoded, example, get, get_with, post, shunt, typed};

const SHORT: &str = "/shunt?v=1&shunt.resistance_ohm=50u";

#[tokio::test]
async fn every_calculation_has_a_page_and_its_link_opens_without_a_detour() {
    let app = app();
    for entry in CATALOGUE {
        let answer = get(&app, &format!("/{}", entry.meta.slug)).await;
        answer.page(200);
        let link = post(&app, &api(entry), example(entry).to_string()).await.json()["link"].clone();
        get(&app, link.as_str().expect("text")).await.page(200);
    }
    for demo in DEMOS.iter() {
        get(&app, &demo.address).await.page(200);
        let answer = get(&app, &format!("/demo/{}", demo.slug)).await;
        assert_eq!((answer.status.as_u16(), answer.header("location")), (303, demo.address.as_str()));
    }
}

#[tokio::test]
async fn a_form_that_sends_everything_is_led_to_the_short_address() {
    let app = app();
    let long = typed(shunt(), ("shunt.resistance_ohm", "0R00005"));
    assert!(long.len() > 500, "{long}");
    let answer = get(&app, &long).await;
    assert_eq!((answer.status.as_u16(), answer.header("location")), (303, SHORT));
    get(&app, SHORT).await.page(200);
    // Written differently, missing its version, or with a value that is the starting value: the same short address.
    for address in [
        "/shunt?v=1&shunt.resistance_ohm=5e-5",
        "/shunt?shunt.resistance_ohm=50u",
        "/shunt?v=1&shunt.resistance_ohm=50u&operating.current_a=400",
    ] {
        let answer = get(&app, address).await;
        assert_eq!((answer.status.as_u16(), answer.header("location")), (303, SHORT), "{address}");
    }
    // Encoded differently is no difference, or a client could go round in circles.
    get(&app, "/shunt?v=1&shunt.resistance_ohm=%350u").await.page(200);
    get(&app, "/shunt?v=1&format=html&shunt.resistance_ohm=50u").await.page(200);
    for entry in CATALOGUE {
        let answer = get(&app, &typed(entry, ("", ""))).await;
        let short = format!("/{}?v=1", entry.meta.slug);
        assert_eq!((answer.status.as_u16(), answer.header("location")), (303, short.as_str()));
    }
}

#[tokio::test]
async fn the_script_gets_the_live_part_at_any_address() {
    let app = app();
    let long = typed(shunt(), ("shunt.resistance_ohm", "50u"));
    let (part, page) = (get_with(&app, &long, &[("x-part", "live")]).await, get(&app, SHORT).await);
    assert_eq!((part.status.as_u16(), part.header("content-type")), (200, "text/html; charset=utf-8"));
    assert!(part.body.len() < page.body.len(), "a part is less than the page");
    let refused = get_with(&app, "/shunt?shunt.resistance_ohm=80O", &[("x-part", "live")]).await;
    assert_eq!((refused.status.as_u16(), refused.header("content-type")), (422, "text/html; charset=utf-8"));
}

#[tokio::test]
async fn a_wrong_value_is_422_and_stays_as_typed() {
    let app = app();
    let answer = get(&app, "/shunt?shunt.resistance_ohm=80O&shunt.rated_power_w=1e99&none=1").await;
    let page = answer.page(422);
    assert!(page.contains("80O") && page.contains("1e99"));
    let problem = get(&app, "/shunt?shunt.resistance_ohm=80O&shunt.rated_power_w=1e99&none=1&format=json").await;
    let problem = problem.problem(422);
    let fields: Vec<_> = problem["errors"].as_array().expect("a list").iter().map(|error| &error["field"]).collect();
    assert_eq!(fields, ["/none", "/shunt/resistance_ohm", "/shunt/rated_power_w"]);
}

#[tokio::test]
async fn markup_in_an_address_stays_text() {
    let app = app();
    let markup = encoded("\"><script>alert(1)</script>");
    for address in [
        format!("/shunt?shunt.resistance_ohm={markup}"),
        format!("/shunt?{markup}=1"),
        format!("/shunt?v={markup}"),
        format!("/shunt?format={markup}"),
        format!("/{markup}"),
    ] {
        let answer = get(&app, &address).await;
        assert!(answer.status.is_client_error() && !answer.text().contains("<script>alert"), "{address}");
    }
    // The origin of links comes from a header.
    let answer = get_with(&app, "/shunt", &[("host", "a\"><script>alert(1)</script>")]).await;
    assert!(!answer.page(200).contains("alert(1)"), "a host that is none is not printed at all");
}

#[tokio::test]
async fn another_version_of_the_address_is_refused_by_name() {
    let app = app();
    let answer = get(&app, "/shunt?v=7&shunt.resistance_ohm=50u").await;
    let page = answer.page(422);
    assert!(page.contains("version") && page.contains('7'), "{page}");
    let problem = get(&app, "/shunt?v=7&format=json").await.problem(422);
    assert_eq!((&problem["errors"][0]["field"], &problem["errors"][0]["accepted"]), (&"/v".into(), &"1".into()));
    get(&app, "/shunt?v=1&v=1").await.page(422);
    let problem = get(&app, "/api/openapi.json").await;
    assert_eq!(problem.status, 200);
    assert_eq!(get(&app, "/shunt?format=xml").await.status, 422);
}

#[tokio::test]
async fn an_address_answers_a_program_with_the_envelope_of_the_api() {
    let app = app();
    let mut input = example(shunt());
    input["shunt"]["resistance_ohm"] = 50e-6.into();
    let envelope = post(&app, "/api/v1/shunt", input.to_string()).await;
    assert_eq!(envelope.json()["link"], SHORT);
    for answer in [
        get_with(&app, SHORT, &[("accept", "application/json")]).await,
        get(&app, &format!("{SHORT}&format=json")).await,
        get(&app, &format!("{}&format=json", typed(shunt(), ("shunt.resistance_ohm", "50 µΩ")))).await,
    ] {
        assert_eq!((answer.status.as_u16(), answer.header("content-type")), (200, "application/json"));
        assert_eq!(answer.body, envelope.body);
    }
}

#[tokio::test]
async fn a_query_without_end_is_414() {
    let app = app();
    get(&app, &format!("/shunt?{}", "a".repeat(16_385))).await.page(414);
    get(&app, &format!("/api/v1/shunt?{}", "a".repeat(16_385))).await.problem(414);
    get(&app, &format!("/shunt?{}", "a".repeat(16_384))).await.page(422);
}

#[tokio::test]
async fn tables_and_charts_are_files() {
    let app = app();
    let mut files = 0;
    for entry in CATALOGUE {
        let slug = entry.meta.slug;
        let answer = entry.answer(None, Notation::Form).expect("the starting input is valid");
        for block in &answer.view.blocks {
            let (folder, file, kind) = match block {
                Block::Table(table) => ("table", format!("{}.csv", table.id), "text/csv; charset=utf-8"),
                Block::Chart(chart) => ("chart", format!("{}.svg", chart.id), "image/svg+xml"),
                _ => continue,
            };
            files += 1;
            let (part, format) = file.split_once('.').expect("an ending");
            let answer = get(&app, &format!("/{slug}/{folder}/{file}?v=1")).await;
            assert_eq!((answer.status.as_u16(), answer.header("content-type")), (200, kind), "{slug} {file}");
            let name = answer.header("content-disposition");
            assert!(name.starts_with("attachment; filename=\"") && name.ends_with(&format!(".{format}\"")), "{name}");
            assert!(!answer.body.is_empty());
            let same = get(&app, &format!("/{slug}?v=1&format={format}&part={part}")).await;
            assert_eq!(
                (same.headers.get("content-type"), &same.body),
                (answer.headers.get("content-type"), &answer.body)
            );
        }
    }
    assert!(files > 0, "no calculation has a table or a chart");
    get(&app, "/shunt/table/none.csv").await.page(404);
    get(&app, "/shunt/chart/none.svg").await.page(404);
    get(&app, "/shunt/table/none.svg").await.page(404);
    get(&app, "/shunt?format=csv").await.page(404);
    get(&app, "/shunt?format=svg&part=none").await.page(404);
    get(&app, "/shunt/chart/none.svg?shunt.resistance_ohm=80O").await.page(422);
    get(&app, "/shunt?format=csv&part=none&shunt.resistance_ohm=80O").await.page(422);
}

/// A range that is left is told by what is asked and how far it reaches, in the columns of both.
#[tokio::test]
async fn a_range_that_is_left_is_told_by_its_numbers() {
    let app = app();
    for (address, label, asked) in [
        ("/current-channel?v=1&load.full_scale_a=3k", "Full-scale current inside the range", "3.0<span class=\"u\">kA"),
        ("/voltage-channel?v=1&input_max_v=2k", "Highest input inside the range", "2.00<span class=\"u\">kV"),
    ] {
        let answer = get(&app, address).await;
        let row = answer.page(200).split("<tbody>").find(|row| row.contains(label)).expect("the row").to_owned();
        assert!(row.contains("Fails"), "{row}");
        let cell = |name: &str| row.split(&format!("data-l=\"{name}\">")).nth(1).expect("a cell").to_owned();
        assert!(cell("Required").starts_with(asked), "{row}");
        assert!(cell("Achieved").starts_with(|letter: char| letter.is_ascii_digit()), "{row}");
    }
}

/// Every number of a JSON value.
fn numbers(value: &Value, into: &mut Vec<f64>) {
    match value {
        Value::Number(number) => into.extend(number.as_f64()),
        Value::Array(items) => items.iter().for_each(|item| numbers(item, into)),
        Value::Object(map) => map.values().for_each(|item| numbers(item, into)),
        _ => {}
    }
}

/// A figure may show as a percentage what the API gives as a ratio.
fn figures(view: &View) -> impl Iterator<Item = (&str, f64, f64)> {
    view.blocks
        .iter()
        .filter_map(|block| match block {
            Block::Figures(figures) => Some(figures),
            _ => None,
        })
        .flatten()
        .map(|figure| {
            (figure.label.as_str(), figure.value.value, if figure.value.unit == Unit::Percent { 100.0 } else { 1.0 })
        })
}

#[tokio::test]
async fn a_page_shows_the_numbers_of_the_api() {
    let app = app();
    let mut compared = 0;
    for entry in CATALOGUE {
        let envelope = post(&app, &api(entry), example(entry).to_string()).await.json();
        let mut known = Vec::new();
        numbers(&envelope, &mut known);
        let answer = entry.answer(None, Notation::Form).expect("the starting input is valid");
        assert_eq!(answer.result.tree(), envelope["result"], "{}", entry.meta.slug);
        for (label, value, scale) in figures(&answer.view) {
            let same =
                |number: &f64| [1.0, scale].iter().any(|scale| (number * scale - value).abs() <= 1e-12 * value.abs());
            assert!(known.iter().any(same), "{}: {label} = {value} is on the page only", entry.meta.slug);
            compared += 1;
        }
    }
    assert!(compared > 0, "no calculation has a figure");
}

/// A list that is longer than an address may be: the interface says so, and the page of whoever came through shows it.
#[tokio::test]
async fn values_that_are_too_long_have_no_address() {
    let app = app();
    let entry = find("shunt/fit").expect("a calculation");
    let input = |count: u32| {
        let points = (0..count).map(|at| {
            let x = f64::from(at) / f64::from(count);
            json!({"degc": -40.0 + 190.0 * x, "resistance_ohm": 35e-6 + 1e-7 * x * (1.0 - x)})
        });
        json!({"points": points.collect::<Vec<_>>()})
    };
    let answer = post(&app, &api(entry), input(20).to_string()).await.json();
    assert!(answer["link"].as_str().is_some_and(|link| link.len() + 200 <= MOST_LETTERS));
    let answer = post(&app, &api(entry), input(300).to_string()).await.json();
    assert!(answer.get("link").is_none(), "{}", answer["link"]);
    let findings = answer["findings"].as_array().expect("a list");
    let found = findings.iter().find(|one| one["code"] == "calculation.no-address").expect("it is told");
    assert_eq!(found["limit"].as_f64(), Some(8_000.0));
    assert!(found["value"].as_f64().is_some_and(|letters| letters > 8_000.0), "{found}");
    let read = entry.complete(Some(&input(300)), Notation::Json).expect("in range");
    let page = get(&app, &entry.address(&read)).await;
    assert!(page.page(200).contains("These values have no address"));
}

/// What stands in a path is put into a header as it was written, not as it reads.
#[tokio::test]
async fn a_path_without_its_last_stroke_leads_to_the_whole_one() {
    let app = app();
    for token in ["abc", "a%0D%0Ab", "%F0%9F%92%A9", "a%00", "%2e%2e"] {
        let answer = get(&app, &format!("/worksheet/{token}")).await;
        assert_eq!((answer.status.as_u16(), answer.header("location")), (308, format!("/worksheet/{token}/").as_str()));
        get(&app, answer.header("location")).await.page(400);
    }
}
