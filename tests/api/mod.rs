//! # The interface, in memory
//!
//! The whole service as a router, with every layer, asked without a network.

mod address;
mod body;
mod budget;
mod description;
mod design;
mod headers;
mod load;
mod long;
mod network;
mod without_cells;

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes, to_bytes};
use axum::http::{HeaderMap, Method, Request, StatusCode};
use sensewright_core::calculation::Entry;
use sensewright_core::catalogue::CATALOGUE;
use sensewright_server::config::Config;
use sensewright_server::site::Site;
use serde_json::{Value, json};
use tower::ServiceExt;

/// An answer, read to its end.
#[derive(Debug)]
struct Answer {
    status: StatusCode,
    headers: HeaderMap,
    body: Bytes,
}

impl Answer {
    fn header(&self, name: &str) -> &str {
        self.headers.get(name).map(|value| value.to_str().expect("ASCII")).unwrap_or_default()
    }

    fn text(&self) -> &str {
        std::str::from_utf8(&self.body).expect("UTF-8")
    }

    fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|fault| panic!("{fault}: {:?}", self.body))
    }

    /// A problem document of this status.
    #[track_caller]
    fn problem(&self, status: u16) -> Value {
        assert_eq!(
            (self.status.as_u16(), self.header("content-type")),
            (status, "application/problem+json"),
            "{self:?}"
        );
        let problem = self.json();
        assert_eq!(problem["status"], json!(status));
        let code = problem["code"].as_str().unwrap_or_default();
        assert!(sensewright_server::error::CODES.contains(&code), "{problem}");
        assert_eq!(problem["type"], format!("/api/types#problem-{code}"));
        assert_eq!(problem["title"].as_str(), self.status.canonical_reason());
        assert_eq!(problem["instance"], self.header("x-request-id"));
        assert!(problem["detail"].as_str().is_some_and(|detail| detail.len() > 10), "{problem}");
        problem
    }

    /// A page of this status.
    #[track_caller]
    fn page(&self, status: u16) -> &str {
        assert_eq!(
            (self.status.as_u16(), self.header("content-type")),
            (status, "text/html; charset=utf-8"),
            "{self:?}"
        );
        assert!(self.text().contains("<h1"), "{self:?}");
        self.text()
    }
}

async fn ask(app: &Router, request: Request<Body>) -> Answer {
    // A limit that fails to fire must fail the test, not hang it.
    let answered = tokio::time::timeout(Duration::from_mins(2), app.clone().oneshot(request)).await;
    let response = answered.expect("an answer in time").expect("a router always answers");
    let (parts, body) = response.into_parts();
    Answer { status: parts.status, headers: parts.headers, body: to_bytes(body, usize::MAX).await.expect("in memory") }
}

async fn ask_with(app: &Router, method: Method, address: &str, headers: &[(&str, &str)], body: Body) -> Answer {
    let mut request = Request::builder().method(method).uri(address).header("host", "sense.example");
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    ask(app, request.body(body).expect("a request")).await
}

async fn get(app: &Router, address: &str) -> Answer {
    ask_with(app, Method::GET, address, &[], Body::empty()).await
}

async fn get_with(app: &Router, address: &str, headers: &[(&str, &str)]) -> Answer {
    ask_with(app, Method::GET, address, headers, Body::empty()).await
}

async fn post(app: &Router, address: &str, body: impl Into<Body>) -> Answer {
    ask_with(app, Method::POST, address, &[("content-type", "application/json")], body.into()).await
}

/// The settings of a test: as usual, except that a busy machine must not make a correct answer late.
fn config() -> Config {
    Config { timeout_seconds: 300, ..Config::default() }
}

fn app() -> Router {
    sensewright_server::app(&config())
}

/// The service around a site that the test can reach into.
fn app_of(site: &Arc<Site>) -> Router {
    sensewright_server::routes::all(site)
}

fn api(entry: &Entry) -> String {
    sensewright_server::openapi::path(entry)
}

fn shunt() -> &'static Entry {
    sensewright_core::catalogue::find("shunt").expect("the shunt is a calculation")
}

fn example(entry: &Entry) -> Value {
    Value::Object(entry.start().clone())
}

/// Every value of the first fields that a form would send without script: all of them, as typed.
fn typed(entry: &Entry, change: (&str, &str)) -> String {
    let input = entry.start();
    let everything = sensewright_core::field::address_pairs(entry.fields, input, &serde_json::Map::new());
    let mut query = String::new();
    for (key, value) in everything {
        let value = if key == change.0 { change.1.into() } else { value };
        query = format!("{query}&{key}={}", encoded(&value));
    }
    format!("/{}?v=1{query}", entry.meta.slug)
}

fn encoded(text: &str) -> String {
    percent_encoding::utf8_percent_encode(text, percent_encoding::NON_ALPHANUMERIC).to_string()
}

#[test]
fn the_catalogue_is_not_empty() {
    // Most tests here run over the catalogue: an empty one would make them say nothing.
    assert!(CATALOGUE.iter().any(|entry| entry.meta.slug == "shunt"));
}
