//! # The API reference
//!
//! Drawn from the OpenAPI document that the service publishes, so that it cannot say anything else. Needs no script;
//! with one it can be filtered and its examples copied.

mod schema;

use askama::Template;
use serde_json::{Value, json};

use crate::plot::escape;
use crate::shell::{Shell, print};
use schema::{FieldRow, Schemas};

#[derive(Template)]
#[template(path = "api.html")]
struct ApiPage {
    shell: Shell,
    about: Vec<String>,
    operations: Vec<Operation>,
    envelope: Vec<FieldRow>,
    refusals: Vec<Refusal>,
}

/// One operation.
struct Operation {
    id: String,
    method: String,
    path: String,
    summary: String,
    description: Vec<String>,
    input: Vec<FieldRow>,
    result: Vec<FieldRow>,
    statuses: String,
    curl: String,
    python: String,
}

impl Operation {
    /// A name for one of its regions that no other region of the page has.
    fn label(&self, part: &str) -> String {
        format!("{part}: {} {}", self.method, self.path)
    }
}

/// One way to be refused.
struct Refusal {
    status: u16,
    words: &'static str,
    example: String,
}

/// The API reference, drawn from the OpenAPI document; `origin` is scheme and host for the examples.
pub fn api_page(openapi: &Value, origin: &str) -> String {
    let schemas = Schemas(openapi);
    let mut envelope = Vec::new();
    let mut operations = Vec::new();
    for (path, methods) in openapi["paths"].as_object().into_iter().flatten() {
        for (method, operation) in methods.as_object().into_iter().flatten() {
            if !["get", "post", "put", "delete", "patch"].contains(&method.as_str()) {
                continue;
            }
            let operation = read(schemas, method, path, operation, origin, &mut envelope);
            operations.push(operation);
        }
    }
    print(&ApiPage {
        shell: Shell::new("API", "/api"),
        about: paragraphs(&openapi["info"]["description"]),
        operations,
        envelope,
        refusals: refusals(),
    })
}

fn read(
    schemas: Schemas,
    method: &str,
    path: &str,
    operation: &Value,
    origin: &str,
    envelope: &mut Vec<FieldRow>,
) -> Operation {
    let body = &operation["requestBody"]["content"]["application/json"];
    let example = example_of(body);
    let answer = schemas.resolve(&operation["responses"]["200"]["content"]["application/json"]["schema"]);
    // The common envelope is described once; an operation shows what is inside `result`.
    let result = &answer["properties"]["result"];
    if envelope.is_empty() && !result.is_null() {
        *envelope = schemas.top(answer);
    }
    let shown = if result.is_null() { answer } else { result };
    let url = format!("{origin}{path}");
    let statuses: Vec<&str> =
        operation["responses"].as_object().into_iter().flatten().map(|(status, _)| status.as_str()).collect();
    Operation {
        id: format!("op-{}", crate::plot::id(&format!("{method}{path}"))),
        method: method.to_uppercase(),
        path: path.into(),
        summary: operation["summary"].as_str().unwrap_or(path).into(),
        description: paragraphs(&operation["description"]),
        input: schemas.rows(&body["schema"]),
        result: schemas.rows(shown),
        statuses: statuses.join(", "),
        curl: curl(method, &url, example),
        python: python(method, &url, example),
    }
}

fn example_of(body: &Value) -> Option<&Value> {
    let named = || body["examples"].as_object()?.values().next().and_then(|example| example.get("value"));
    body.get("example").or_else(named)
}

/// Paragraphs as markup: escaped, with what stands in backticks set as code.
fn paragraphs(text: &Value) -> Vec<String> {
    let text = text.as_str().unwrap_or_default();
    text.split("\n\n").map(str::trim).filter(|part| !part.is_empty()).map(with_code).collect()
}

fn with_code(text: &str) -> String {
    let mut out = String::new();
    for (index, line) in text.lines().enumerate() {
        if index > 0 {
            out.push('\n');
        }
        // A backtick without its partner stays what it is.
        let mut rest = line;
        while let Some((before, code, after)) = rest
            .split_once('`')
            .and_then(|(before, rest)| rest.split_once('`').map(|(code, after)| (before, code, after)))
        {
            out.push_str(&escape(before));
            out.push_str("<code>");
            out.push_str(&escape(code));
            out.push_str("</code>");
            rest = after;
        }
        out.push_str(&escape(rest));
    }
    out
}

fn pretty(value: &Value) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default()
}

fn curl(method: &str, url: &str, example: Option<&Value>) -> String {
    match example {
        // Inside single quotes a shell takes everything as it is, save the quote itself.
        Some(example) => format!(
            "curl -sS '{url}' \\\n  -H 'Content-Type: application/json' \\\n  -d '{}'",
            pretty(example).replace('\'', "'\\''")
        ),
        None if method == "get" => format!("curl -sS '{url}'"),
        None => format!("curl -sS -X {} '{url}'", method.to_uppercase()),
    }
}

fn python(method: &str, url: &str, example: Option<&Value>) -> String {
    let Some(example) = example else {
        let by = if method == "get" { String::new() } else { format!(", method=\"{}\"", method.to_uppercase()) };
        return format!(
            "import urllib.request\n\nrequest = urllib.request.Request(\"{url}\"{by})\nwith urllib.request.urlopen(request) as answer:\n    print(answer.read().decode())\n"
        );
    };
    format!(
        "import json\nimport urllib.error\nimport urllib.request\n\n\
         question = json.loads(r\"\"\"\n{}\n\"\"\")\n\
         request = urllib.request.Request(\n    \"{url}\",\n    data=json.dumps(question).encode(),\n    headers={{\"Content-Type\": \"application/json\"}},\n)\n\
         try:\n    with urllib.request.urlopen(request) as answer:\n        answer = json.load(answer)\n    print(json.dumps(answer.get(\"result\", answer), indent=2))\n    for finding in answer.get(\"findings\", []):\n        print(finding[\"severity\"], finding[\"message\"])\n\
         except urllib.error.HTTPError as refused:\n    print(refused.code, json.load(refused))\n",
        pretty(example)
    )
}

fn refusals() -> Vec<Refusal> {
    let refusal = |status: u16, title: &str, words: &'static str, detail: &str, extra: Value| {
        let mut problem = json!({
            "type": "about:blank", "title": title, "status": status, "detail": detail, "instance": "68f0a1c2-00002a",
        });
        if let (Some(problem), Value::Object(extra)) = (problem.as_object_mut(), extra) {
            problem.extend(extra);
        }
        Refusal { status, words, example: pretty(&problem) }
    };
    let fault = json!({"errors": [{
        "field": "/shunt/resistance_ohm", "code": "above",
        "message": "Resistance must lie between 1 µΩ and 1 Ω; 2 Ω was given.",
        "accepted": "between 1 µΩ and 1 Ω", "got": "2 Ω",
    }]});
    vec![
        refusal(
            400,
            "Bad Request",
            "The body is not JSON that can be read; line and column say where.",
            "The body is not JSON that can be read: expected value, at line 1, column 14.",
            json!({"line": 1, "column": 14}),
        ),
        refusal(404, "Not Found", "Nothing has this address.", "Nothing has this address.", json!({})),
        refusal(
            405,
            "Method Not Allowed",
            "The address does not answer this method; the header Allow says which it does.",
            "This address does not answer that method; the header Allow says which it does.",
            json!({}),
        ),
        refusal(
            413,
            "Payload Too Large",
            "The body is larger than accepted.",
            "The body is larger than the bytes that are accepted.",
            json!({}),
        ),
        refusal(
            415,
            "Unsupported Media Type",
            "The body is not announced as application/json.",
            "The body must be JSON, announced by the header Content-Type: application/json.",
            json!({}),
        ),
        refusal(
            422,
            "Unprocessable Content",
            "Fields are unknown, missing, of the wrong type, out of range or contradictory. All of them are named in one answer, each by its JSON Pointer (RFC 6901).",
            "Resistance must lie between 1 µΩ and 1 Ω; 2 Ω was given.",
            fault,
        ),
        refusal(
            503,
            "Service Unavailable",
            "More is asked than can be worked out at once; the header Retry-After says how many seconds to wait.",
            "More is being asked than can be worked out at once. Try again in a second.",
            json!({}),
        ),
        refusal(
            504,
            "Gateway Timeout",
            "The calculation took longer than a request may.",
            "The calculation took longer than a request may. Ask for fewer points, rows or trials.",
            json!({}),
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::tests::assert_clean;

    fn document() -> Value {
        json!({
            "openapi": "3.1.0",
            "info": {"description": "One.\n\nTwo <script> and `a<b`."},
            "paths": {"/api/v1/sample": {"post": {
                "summary": "Sample", "description": "Works it out.",
                "requestBody": {"content": {"application/json": {
                    "schema": {"$ref": "#/components/schemas/In"}, "example": {"it's": {"a_v": 1}},
                }}},
                "responses": {
                    "200": {"content": {"application/json": {"schema": {"type": "object", "properties": {
                        "result": {"$ref": "#/components/schemas/Loop"}, "engine": {"type": "string"},
                    }}}}},
                    "422": {"description": "No."},
                },
            }}},
            "components": {"schemas": {
                "In": {"type": "object", "required": ["a_v"], "properties": {
                    "a_v": {"type": "number", "minimum": 0, "maximum": 1e6, "x-unit": "V", "title": "A", "description": "Say <b>."},
                    "part": {"type": "object", "properties": {"b": {"type": "string", "enum": ["x", "y"], "default": "x"}}},
                    "rows": {"type": "array", "items": {"type": "object", "properties": {"c": {"type": "boolean", "default": true}}}},
                }},
                "Loop": {"type": "object", "properties": {"again": {"$ref": "#/components/schemas/Loop"}, "n": {"type": ["number", "null"]}}},
            }},
        })
    }

    #[test]
    fn every_operation_is_described() {
        let page = api_page(&document(), "https://host.example");
        assert_clean(&page);
        for words in [
            "<code>part.b</code>",
            "<code>rows[].c</code>",
            "0 to 1000000",
            "x, y",
            "curl -sS &#39;https://host.example/api/v1/sample&#39;",
            "urllib.request",
            "it&#39;\\&#39;&#39;s",
            "Payload Too Large",
            "data-filter",
            "<code>a&lt;b</code>",
        ] {
            assert!(page.contains(words), "{words} in {page}");
        }
        assert!(!page.contains("<b>.") && !page.contains("<script>"));
    }

    #[test]
    fn an_empty_document_is_no_fault() {
        assert_clean(&api_page(&Value::Null, ""));
    }
}
