//! The published description.

use std::collections::HashSet;

use sensewright_core::catalogue::CATALOGUE;
use serde_json::{Value, json};

use super::{api, app, example, get, post};

async fn document() -> Value {
    let answer = get(&app(), "/api/openapi.json").await;
    assert_eq!((answer.status.as_u16(), answer.header("content-type")), (200, "application/json"));
    answer.json()
}

#[tokio::test]
async fn every_calculation_is_described_with_an_example_that_is_answered() {
    let (app, document) = (app(), document().await);
    assert_eq!(document["openapi"], "3.1.0");
    for entry in CATALOGUE {
        let operation = &document["paths"][api(entry)]["post"];
        assert_eq!(operation["summary"], entry.meta.title, "{}", entry.meta.slug);
        let body = &operation["requestBody"]["content"]["application/json"];
        assert_eq!(body["example"], example(entry), "{}", entry.meta.slug);
        assert_eq!(post(&app, &api(entry), body["example"].to_string()).await.status, 200, "{}", entry.meta.slug);
        for status in ["200", "400", "404", "405", "408", "413", "414", "415", "422", "500", "503"] {
            assert!(operation["responses"].get(status).is_some(), "{} {status}", entry.meta.slug);
        }
    }
}

/// Lists and texts without a bound below a schema that is read; a choice is one.
fn unbounded(schema: &Value, at: &str, into: &mut Vec<String>) {
    if let Value::Object(map) = schema {
        let kind = map.get("type").and_then(Value::as_str);
        let bounded = match kind {
            Some("array") => map.contains_key("maxItems"),
            Some("string") => map.contains_key("maxLength") || map.contains_key("enum"),
            _ => true,
        };
        if !bounded {
            into.push(at.into());
        }
        map.iter()
            .filter(|(key, _)| *key != "default")
            .for_each(|(key, inner)| unbounded(inner, &format!("{at}/{key}"), into));
    } else if let Value::Array(items) = schema {
        for inner in items {
            unbounded(inner, at, into);
        }
    }
}

#[tokio::test]
async fn every_list_and_text_that_is_read_has_a_bound() {
    let document = document().await;
    let mut without = Vec::new();
    let mut read = 0;
    for (name, schema) in document["components"]["schemas"].as_object().expect("schemas") {
        if name.ends_with("-input") || name == "design" {
            read += 1;
            unbounded(schema, name, &mut without);
        }
    }
    assert!(read > CATALOGUE.len());
    assert_eq!(without, [""; 0]);
}

/// Every `$ref` of a value.
fn references<'v>(value: &'v Value, into: &mut Vec<&'v str>) {
    match value {
        Value::Array(items) => items.iter().for_each(|item| references(item, into)),
        Value::Object(map) => {
            into.extend(map.get("$ref").and_then(Value::as_str));
            map.values().for_each(|item| references(item, into));
        }
        _ => {}
    }
}

/// What is not there is absent from an answer, so no schema says null; and a document says what it is.
#[tokio::test]
async fn nothing_is_described_as_null() {
    let document = document().await;
    assert!(!document["components"].to_string().contains("\"null\""));
    let design = &document["components"]["schemas"]["design"];
    assert_eq!((&design["required"], &design["properties"]["schema"]["const"]), (&json!(["schema"]), &json!(2)));
}

#[tokio::test]
async fn every_reference_leads_somewhere() {
    let document = document().await;
    let mut all = Vec::new();
    references(&document, &mut all);
    assert!(all.len() > CATALOGUE.len() * 5, "{}", all.len());
    for reference in all {
        let pointer = reference.strip_prefix('#').expect("inside the document");
        assert!(document.pointer(pointer).is_some(), "{reference}");
    }
}

#[tokio::test]
async fn operations_have_names_of_their_own() {
    let document = document().await;
    let mut names = HashSet::new();
    for item in document["paths"].as_object().expect("paths").values() {
        for operation in item.as_object().expect("operations").values() {
            assert!(names.insert(operation["operationId"].as_str().expect("a name")), "{}", operation["operationId"]);
        }
    }
}

#[tokio::test]
async fn the_input_of_a_calculation_is_described_with_its_limits() {
    let document = document().await;
    let body = &document["paths"]["/api/v1/shunt"]["post"]["requestBody"]["content"]["application/json"];
    let schema = body["schema"]["$ref"].as_str().and_then(|name| document.pointer(&name[1..])).expect("a schema");
    let resistance = &schema["properties"]["shunt"]["properties"]["resistance_ohm"];
    assert_eq!((&resistance["minimum"], &resistance["maximum"]), (&1e-6.into(), &1.0.into()), "{resistance}");
    assert_eq!(schema["additionalProperties"], false);
}

#[tokio::test]
async fn every_page_of_the_reference_is_there_and_an_unknown_one_leads_to_the_index() {
    let app = app();
    let index = get(&app, "/api").await;
    let index = index.page(200);
    for entry in CATALOGUE {
        let path = format!("/api/{}", entry.meta.slug);
        assert!(index.contains(&format!("href=\"{path}\"")), "{path}");
        assert!(get(&app, &path).await.page(200).contains(entry.meta.title), "{path}");
        let own = get(&app, &format!("/{}", entry.meta.slug)).await;
        assert!(own.page(200).contains(&format!("href=\"{path}\"")), "{path}");
    }
    for path in ["/api/design/assess", "/api/links", "/api/service", "/api/types"] {
        get(&app, path).await.page(200);
    }
    let lost = get(&app, "/api/%3Cb%3Enone").await;
    let lost = lost.page(404);
    assert!(lost.contains("href=\"/api\"") && !lost.contains("<b>"), "{lost}");
}
