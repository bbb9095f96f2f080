//! A file of any length instead of a question.

use serde_json::{Value, json};

use super::components::Schemas;

const ABOUT: &str = "\
Instead of JSON, which asks for a profile that is built in, the body may be a profile itself: CSV or columns of any length, \
as it is or as the part `file` of a form, behind a part `options`. Options are the same object; as a body of its own a \
profile has them in the query, in either case also as the values of the page's link (`chain.offset_a=50m`), which mean what \
the page shows. How the text is written is recognised, told in `result.recognised`, and can be typed. \
A file has no limit on its length: 64 kB must come in each 20 seconds, and few files are taken at once. With \
`Accept: application/x-ndjson` the answer is lines of JSON: `progress` each half second, then `answer` or `problem`. \
A row that cannot be read is named below `/file` by line and column.";

/// Adds the other bodies, options and answers to an operation.
pub(super) fn describe(operation: &mut Value, schemas: &Schemas) {
    let about = operation["description"].as_str().unwrap_or_default();
    operation["description"] = json!(format!("{about}\n\n{ABOUT}"));
    let text = json!({"type": "string", "description": "Rows of numbers in UTF-8, of any length."});
    let bodies = &mut operation["requestBody"]["content"];
    for kind in ["text/csv", "text/plain", "application/octet-stream"] {
        bodies[kind] = json!({"schema": text});
    }
    bodies["multipart/form-data"] = json!({
        "schema": {
            "type": "object",
            "required": ["file"],
            "properties": {"options": schemas.input, "file": text},
        },
        "encoding": {"options": {"contentType": "application/json"}, "file": {"contentType": "text/csv"}},
    });
    operation["parameters"] = json!([{
        "name": "options",
        "in": "query",
        "description": "Of a profile that is the body itself.",
        "content": {"application/json": {"schema": schemas.input}},
    }]);
    let line = json!({"type": "object", "description": "A line: `progress`, `answer` or `problem`."});
    operation["responses"]["200"]["content"]["application/x-ndjson"] = json!({"schema": line});
}
