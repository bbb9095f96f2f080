//! Stub.
#![allow(missing_docs, unused, clippy::pedantic)]
use sensewright_core::calculation::{Answer, Room};
use sensewright_core::field::FieldError;
use sensewright_core::report::{Chart, Table};
use serde_json::Value;
pub enum Outcome<'a> {
    Solved(&'a Answer),
    Refused { faults: &'a [FieldError], last: Option<&'a Answer> },
}
pub struct Asset {
    pub bytes: &'static [u8],
    pub content_type: &'static str,
    pub etag: &'static str,
}
pub fn room_page(room: &Room, typed: &[(String, String)], outcome: Outcome, origin: &str) -> String {
    format!("<h1>{} {typed:?} {origin}", room.meta.title)
}
pub fn live_part(room: &Room, outcome: Outcome, origin: &str) -> String {
    "part".into()
}
pub fn start_page(demos: &[sensewright_core::demo::Demo], catalogue: &[Room]) -> String {
    "<h1>start</h1>".into()
}
pub fn api_page(openapi: &Value, origin: &str) -> String {
    "<h1>api</h1>".into()
}
pub fn error_page(status: u16, title: &str, message: &str, id: &str) -> String {
    format!("<h1>{status} {title}</h1>{message} {id}")
}
pub fn asset(path: &str) -> Option<Asset> {
    (path == "icon.svg").then_some(Asset { bytes: b"<svg/>", content_type: "image/svg+xml", etag: "\"1\"" })
}
pub fn chart_svg(chart: &Chart) -> String {
    "<svg/>".into()
}
pub fn table_csv(table: &Table) -> String {
    "a,b".into()
}
