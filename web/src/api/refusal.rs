//! How a request is refused, with an example of each.

use serde_json::{Value, json};

use super::example::pretty;

/// One way to be refused.
pub struct Refusal {
    pub status: u16,
    pub words: &'static str,
    pub example: String,
}

/// Every way.
pub fn refusals() -> Vec<Refusal> {
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
    ]
}
