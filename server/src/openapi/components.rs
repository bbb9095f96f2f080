//! The schemas that the paths refer to.

use sensewright_core::calculation::Entry;
use sensewright_core::field::{self, FieldError};
use sensewright_core::judge::Check;
use sensewright_core::quantity::Unit;
use sensewright_core::report::{Finding, Step};
use serde_json::{Map, Value, json};
use utoipa::ToSchema;
use utoipa::openapi::{RefOr, Schema};

use crate::error::CODES;

const AT: &str = "#/components/schemas/";

/// Collects schemas under names that stay unique.
pub(super) struct Components(Map<String, Value>);

/// Where the schemas of a calculation are.
pub(super) struct Schemas {
    pub input: Value,
    pub answer: Value,
}

impl Components {
    /// What every answer and every refusal is made of.
    pub fn new() -> Self {
        let mut shared = Vec::new();
        for (name, schema, parts) in [of::<Step>(), of::<Finding>(), of::<Check>(), of::<FieldError>()] {
            shared.push((name, schema));
            shared.extend(parts);
        }
        let mut map: Map<_, _> = shared.into_iter().map(|(name, schema)| (name, json!(schema))).collect();
        map.insert("Problem".into(), problem());
        Self(map)
    }

    /// Adds input, result and answer of a calculation.
    pub fn add_entry(&mut self, entry: &Entry) -> Schemas {
        let name = entry.meta.slug.replace('/', "-");
        let mut parts = Vec::new();
        let mut result = json!(entry.output_schema(&mut parts));
        let mut parts: Vec<_> = parts.into_iter().map(|(name, schema)| (name, json!(schema))).collect();
        // Two calculations may each have a type called `Point`. If they differ, this one's types take its own name.
        if parts.iter().any(|(name, schema)| self.0.get(name).is_some_and(|known| known != schema)) {
            let own = format!("{name}.");
            rename(&mut result, &own);
            for (name, schema) in &mut parts {
                name.insert_str(0, &own);
                rename(schema, &own);
            }
        }
        self.0.extend(parts);

        let (input, answer) = (format!("{name}-input"), format!("{name}-answer"));
        self.0.insert(input.clone(), field::schema(entry.fields));
        self.0.insert(answer.clone(), envelope(&reference(&input), &result));
        Schemas { input: reference(&input), answer: reference(&answer) }
    }

    /// Adds a type and those it is made of; gives the way to it.
    pub fn add<T: ToSchema>(&mut self) -> Value {
        let (name, schema, parts) = of::<T>();
        self.0.extend(parts.into_iter().map(|(name, schema)| (name, json!(schema))));
        self.put(&name, json!(schema));
        reference(&name)
    }

    /// Adds a schema.
    pub fn put(&mut self, name: &str, schema: Value) {
        self.0.insert(name.into(), schema);
    }

    /// All of them, every number of a result with the unit that its name ends with.
    pub fn finish(mut self) -> Map<String, Value> {
        self.0.values_mut().for_each(without_null);
        self.0.values_mut().for_each(with_units);
        self.0
    }
}

/// Takes null out: what is not there is absent from an answer.
fn without_null(schema: &mut Value) {
    match schema {
        Value::Object(map) => {
            map.values_mut().for_each(without_null);
            if let Some(kinds) = map.get_mut("type")
                && let Some(mut some) = kinds.as_array().cloned()
            {
                some.retain(|kind| kind != "null");
                *kinds = if some.len() == 1 { some.remove(0) } else { Value::Array(some) };
            }
            if let Some(Value::Array(mut some)) = map.get("oneOf").cloned() {
                some.retain(|one| one["type"] != "null");
                if some.len() == 1
                    && let Some(Value::Object(only)) = some.pop()
                {
                    map.shift_remove("oneOf");
                    for (key, value) in only {
                        map.entry(key).or_insert(value);
                    }
                } else {
                    map["oneOf"] = Value::Array(some);
                }
            }
        }
        Value::Array(items) => items.iter_mut().for_each(without_null),
        _ => {}
    }
}

/// Names the unit of every number whose name ends with one.
fn with_units(schema: &mut Value) {
    if let Some(properties) = schema.get_mut("properties").and_then(Value::as_object_mut) {
        for (key, property) in properties {
            let own = property.as_object_mut().filter(|own| holds_numbers(own) && !own.contains_key("x-unit"));
            if let (Some(own), Some(unit)) = (own, Unit::of_name(key)) {
                own.insert("x-unit".into(), json!(unit.symbol()));
            }
        }
    }
    match schema {
        Value::Object(map) => map.values_mut().for_each(with_units),
        Value::Array(items) => items.iter_mut().for_each(with_units),
        _ => {}
    }
}

/// Whether a schema is of a number, or of a list of numbers.
fn holds_numbers(schema: &Map<String, Value>) -> bool {
    let number =
        |kind: &Value| kind == "number" || kind.as_array().is_some_and(|kinds| kinds.contains(&json!("number")));
    schema.get("type").is_some_and(number)
        || schema.get("items").and_then(|items| items.get("type")).is_some_and(number)
}

type Parts = Vec<(String, RefOr<Schema>)>;

fn of<T: ToSchema>() -> (String, RefOr<Schema>, Parts) {
    let mut parts = Vec::new();
    T::schemas(&mut parts);
    (T::name().into_owned(), T::schema(), parts)
}

/// The way to a schema.
pub(super) fn reference(name: &str) -> Value {
    json!({"$ref": format!("{AT}{name}")})
}

/// Puts `own` in front of every name that a schema refers to.
fn rename(schema: &mut Value, own: &str) {
    match schema {
        Value::Object(map) => {
            for (key, value) in map {
                match value {
                    Value::String(target) if key == "$ref" => {
                        if let Some(name) = target.strip_prefix(AT) {
                            *target = format!("{AT}{own}{name}");
                        }
                    }
                    other => rename(other, own),
                }
            }
        }
        Value::Array(items) => items.iter_mut().for_each(|item| rename(item, own)),
        _ => {}
    }
}

fn envelope(input: &Value, result: &Value) -> Value {
    json!({
        "type": "object",
        "required": ["engine", "input", "result", "requirements", "working", "findings", "cautions"],
        "properties": {
            "engine": {"type": "string", "description": "The version of the calculation core."},
            "input": input,
            "result": result,
            "requirements": {
                "type": "array", "items": reference("Check"),
                "description": "How every requirement stands, worst first.",
            },
            "cautions": {
                "type": "array", "items": {"type": "string"},
                "description": "Cautions that the numbers make real.",
            },
            "working": {
                "type": "array", "items": reference("Step"),
                "description": "The steps that lead to the headline numbers.",
            },
            "findings": {
                "type": "array", "items": reference("Finding"),
                "description": "What the engineer must know, failures first.",
            },
            "link": {
                "type": "string", "format": "uri-reference",
                "description": "The address of the page that shows the same numbers; absent when it would be too long (`calculation.no-address`).",
            },
        },
    })
}

fn problem() -> Value {
    json!({
        "type": "object",
        "description": "A problem document (RFC 9457).",
        "required": ["type", "code", "title", "status", "detail", "instance"],
        "properties": {
            "type": {"type": "string", "format": "uri-reference", "description": "The kind as an address: it ends with the code."},
            "code": {"type": "string", "enum": CODES, "description": "The kind in a word."},
            "title": {"type": "string", "description": "The phrase of the status."},
            "status": {"type": "integer", "minimum": 400, "maximum": 599},
            "detail": {"type": "string", "description": "What is wrong and what to do."},
            "instance": {"type": "string", "description": "Names the request, as the header `X-Request-Id` and the log do."},
            "errors": {
                "type": "array", "items": reference("FieldError"),
                "maxItems": field::MOST_FAULTS,
                "description": "With status 422, and 400 of a link: every bad field, the first hundred of them.",
            },
            "faults_total": {"type": "integer", "minimum": 1, "description": "How many bad fields there are in all."},
            "line": {"type": "integer", "minimum": 0, "description": "With status 400: where reading ended."},
            "column": {"type": "integer", "minimum": 0, "description": "With status 400: where reading ended."},
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_put_in_front_of_references_only() {
        let mut schema = json!({
            "properties": {"$ref": {"type": "string"}, "a": {"$ref": "#/components/schemas/Point"}},
            "oneOf": [{"$ref": "#/components/schemas/Point"}, {"description": "#/components/schemas/Point"}],
        });
        rename(&mut schema, "entry.");
        let expected = json!({
            "properties": {"$ref": {"type": "string"}, "a": {"$ref": "#/components/schemas/entry.Point"}},
            "oneOf": [{"$ref": "#/components/schemas/entry.Point"}, {"description": "#/components/schemas/Point"}],
        });
        assert_eq!(schema, expected);
    }
}
