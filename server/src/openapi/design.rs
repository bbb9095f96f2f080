//! The operations on whole designs.

use sensewright_core::demo::DEMOS;
use sensewright_core::design::answer::{DesignResult, Member, TurningResult};
use sensewright_core::design::comparison::ComparisonResult;
use sensewright_core::design::{compare, link, schema};
use serde_json::{Map, Value, json};

use super::components::{Components, reference};
use super::{REFUSALS, refusal};

/// The paths.
pub(super) fn paths(components: &mut Components) -> Vec<(String, Value)> {
    let result = components.add::<DesignResult>();
    let comparison = components.add::<ComparisonResult>();
    let turning = components.add::<TurningResult>();
    let text = json!({"type": "string"});
    let mut design = schema::schema();
    design["description"] =
        json!("A design as a document: what was typed of the pack, the requirements and the parts.");
    components.put("design", design);
    components.put(
        "design-answer",
        json!({
            "type": "object", "required": ["engine", "result", "findings", "fingerprint"],
            "properties": {
                "engine": text, "result": result,
                "input": {"allOf": [reference("design")], "description": "The complete document; with include=input."},
                "findings": {"type": "array", "items": reference("Finding")},
                "link": {"type": "string", "format": "uri-reference", "description": "The address of the worksheet; absent when it would be too long (`design.no-address`)."},
                "fingerprint": {"type": "string", "description": "Changes with any input."},
            },
        }),
    );
    let designs = json!({
        "type": "array", "items": reference("design"),
        "minItems": compare::COUNT.start(), "maxItems": compare::COUNT.end(),
    });
    let documents: Vec<Value> = DEMOS.iter().take(2).map(|demo| Value::Object(demo.design.write())).collect();
    let one = documents.first().cloned().unwrap_or_default();
    let made = json!({
        "type": "object", "required": ["engine", "token"],
        "properties": {"engine": text, "token": text, "link": {"type": "string", "format": "uri-reference"}},
    });
    let asked = |id: &str, summary: &str, about: &str, schema: Value, example: &Value, answer: Value| {
        json!({"post": {
            "operationId": id, "tags": ["designs"], "summary": summary, "description": about,
            "requestBody": {"required": true, "content": {"application/json": {"schema": schema, "example": example}}},
            "responses": responses(&answer),
        }})
    };
    let members: Vec<&str> = Member::ALL.iter().map(|(_, word)| *word).chain(["all"]).collect();
    let mut assess = asked(
        "design-assess",
        "Assess a design",
        "A whole design in, every requirement of every part out, worst first. A failed requirement is an answer, not an error: see `result.verdict.fail`. The rest of the answer is absent unless `include` names it.",
        reference("design"),
        &one,
        reference("design-answer"),
    );
    assess["post"]["parameters"] = json!([{
        "name": "include", "in": "query", "required": false, "style": "form", "explode": false,
        "description": "What the answer holds besides verdict, requirements, findings and link.",
        "schema": {"type": "array", "items": {"type": "string", "enum": members}},
    }]);
    let token = DEMOS.first().map(|demo| link::token(&demo.design)).unwrap_or_default();
    vec![
        ("/api/v1/design/assess".into(), assess),
        (
            "/api/v1/design/turning".into(),
            asked(
                "design-turning",
                "Values nearest to turning a verdict",
                "A whole design in; the values at which a requirement that holds fails, or one that fails holds, the nearest first.",
                reference("design"),
                &one,
                json!({
                    "type": "object", "required": ["engine", "result"],
                    "properties": {"engine": text, "result": turning, "link": {"type": "string", "format": "uri-reference"}},
                }),
            ),
        ),
        (
            "/api/v1/design/compare".into(),
            asked(
                "design-compare",
                "Compare designs",
                "Two to five designs in; the inputs and outcomes that differ out, and which input is behind which outcome.",
                json!({"type": "object", "required": ["designs"], "additionalProperties": false, "properties": {"designs": designs}}),
                &json!({"designs": documents}),
                json!({
                    "type": "object", "required": ["engine", "result"],
                    "properties": {"engine": text, "result": comparison, "link": {"type": "string", "format": "uri-reference"}},
                }),
            ),
        ),
        (
            "/api/v1/links".into(),
            asked(
                "link-make",
                "Make a link",
                "A design in, its token and address out.",
                reference("design"),
                &one,
                made,
            ),
        ),
        (
            "/api/v1/links/open".into(),
            asked(
                "link-open-long",
                "Open a link of any length",
                "A token in, its design out: for one that is too long for an address.",
                json!({"type": "object", "required": ["token"], "additionalProperties": false, "properties": {"token": {"type": "string", "maxLength": link::MOST_LETTERS}}}),
                &json!({"token": token}),
                reference("design"),
            ),
        ),
        (
            "/api/v1/links/{token}".into(),
            json!({"get": {
                "operationId": "link-open", "tags": ["designs"], "summary": "Open a link",
                "description": "A token in, its design out. A damaged one is a 400 that says what is wrong.",
                "parameters": [{"name": "token", "in": "path", "required": true, "schema": text, "example": token}],
                "responses": responses(&reference("design")),
            }}),
        ),
    ]
}

fn responses(answer: &Value) -> Map<String, Value> {
    let mut responses = Map::new();
    responses.insert(
        "200".into(),
        json!({"description": "The answer.", "content": {"application/json": {"schema": answer}}}),
    );
    responses.extend(REFUSALS.iter().map(|(status, words)| ((*status).to_owned(), refusal(status, words))));
    responses
}
