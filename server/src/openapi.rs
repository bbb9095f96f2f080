//! # The published description of the API
//!
//! An `OpenAPI` 3.1 document, made from the catalogue: the input of a calculation from its declared fields, its output from its
//! types, its example from its starting values. Nothing is listed by hand, so nothing can be forgotten.

mod components;
mod design;
mod files;

use sensewright_core::calculation::Entry;
use serde_json::{Map, Value, json};

use crate::error::PROBLEM_JSON;
use crate::media::takes_files;
use components::Components;

/// The path of a calculation.
pub fn path(entry: &Entry) -> String {
    format!("/api/v1/{}", entry.meta.slug)
}

const ABOUT: &str = "\
Error budgets for battery sensing. Every calculation takes one JSON object and answers with the same envelope: the \
version of the calculation core, the complete input with defaults filled in, the result, the working, the findings \
and the address of the page that shows the same numbers.

Numbers are in base units without prefix; the name of a field ends with its unit. Every tolerance or limit is a \
positive half-width. The same input to the same version gives the same bytes.

Errors are problem documents (RFC 9457). A 422 names every bad field at once, each with its JSON Pointer. The same \
calculations answer GET at the address of their page with the query keys of its form, in JSON when asked for it by \
the header `Accept: application/json` or the key `format=json`.";

/// The document.
pub fn document(entries: &[Entry]) -> Value {
    let mut components = Components::new();
    let mut paths: Map<_, _> = entries.iter().map(|entry| (path(entry), calculation(entry, &mut components))).collect();
    paths.extend(design::paths(&mut components));
    paths.extend(around());
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Sensewright",
            "version": env!("CARGO_PKG_VERSION"),
            "summary": "Error budgets for battery sensing",
            "description": ABOUT,
            "license": {"name": "MIT or Apache-2.0", "identifier": "MIT OR Apache-2.0"},
        },
        "tags": [
            {"name": "calculations", "description": "One object in, one envelope out."},
            {"name": "designs", "description": "A whole design: one document in."},
            {"name": "service", "description": "The server about itself."},
        ],
        "paths": paths,
        "components": {"schemas": components.finish()},
    })
}

/// The operation of one calculation.
fn calculation(entry: &Entry, components: &mut Components) -> Value {
    let meta = entry.meta;
    let schemas = components.add_entry(entry);
    let sources: Vec<_> = meta.sources.iter().map(|source| format!("- {source}")).collect();
    let mut responses = Map::new();
    responses.insert(
        "200".into(),
        json!({"description": "The answer.", "content": {"application/json": {"schema": schemas.answer}}}),
    );
    // Written out at every operation: a reader need not follow a reference to see how a request may fail.
    responses.extend(REFUSALS.iter().map(|(status, words)| ((*status).to_owned(), refusal(status, words))));
    let mut operation = json!({"post": {
        "operationId": meta.slug.replace('/', "-"),
        "tags": ["calculations"],
        "summary": meta.title,
        "description": format!("{}\n\nSources:\n{}", meta.job, sources.join("\n")),
        "requestBody": {
            "required": true,
            "content": {"application/json": {"schema": schemas.input, "example": entry.start()}},
        },
        "responses": responses,
    }});
    if takes_files(entry) {
        files::describe(&mut operation["post"], &schemas);
    }
    operation
}

/// What is there besides the calculations.
fn around() -> [(String, Value); 3] {
    let plain = |description: &str| json!({"description": description, "content": {"text/plain": {"schema": {"type": "string"}}}});
    [
        (
            "/api/openapi.json".into(),
            json!({"get": {
                "operationId": "openapi", "tags": ["service"], "summary": "This document",
                "responses": {"200": {
                    "description": "OpenAPI 3.1.", "content": {"application/json": {"schema": {"type": "object"}}},
                }},
            }}),
        ),
        (
            "/healthz".into(),
            json!({"get": {
                "operationId": "alive", "tags": ["service"], "summary": "Whether the process answers",
                "responses": {"200": plain("It does.")},
            }}),
        ),
        (
            "/readyz".into(),
            json!({"get": {
                "operationId": "ready", "tags": ["service"], "summary": "Whether requests are welcome",
                "responses": {
                    "200": plain("They are."), "503": refusal("503", "They are not: the server is about to stop."),
                },
            }}),
        ),
    ]
}

/// How a calculation refuses.
const REFUSALS: [(&str, &str); 10] = [
    ("400", "The body is not JSON that can be read; `line` and `column` say where."),
    ("404", "Nothing has this address."),
    ("405", "The address does not answer that method; the header `Allow` says which it does."),
    ("408", "The body came too slowly: it has five seconds, and one more for each 64 kB that has come."),
    ("413", "The body is larger than accepted."),
    ("414", "The query is longer than accepted."),
    ("415", "The body is not announced as `application/json`, is packed, or is not written in UTF-8."),
    (
        "422",
        "Fields are unknown, missing, of the wrong type, out of range or contradictory: all of them in `errors`. Or it would cost too much (`too-costly`).",
    ),
    ("500", "A mistake of the server; `instance` leads to it in the log."),
    (
        "503",
        "More is asked than can be worked out at once, its time was up (`stopped`), or the server is about to stop.",
    ),
];

fn refusal(status: &str, words: &str) -> Value {
    let schema = json!({"$ref": "#/components/schemas/Problem"});
    let mut response = json!({"description": words, "content": {PROBLEM_JSON: {"schema": schema}}});
    if status == "503" {
        let seconds = json!({"type": "integer", "minimum": 0});
        response["headers"] = json!({"Retry-After": {"description": "Seconds to wait.", "schema": seconds}});
    }
    response
}
