//! The published schema of an input, from its declarations.

use serde_json::{Map, Value, json};

use super::{Field, Kind, Start};

/// The JSON Schema (2020-12, as OpenAPI 3.1 uses it) of a group.
pub fn schema(fields: &[Field]) -> Value {
    let mut properties = Map::new();
    let mut required = Vec::new();
    for field in fields {
        let mut row = match field.kind {
            Kind::Number { min, max, start, .. } => {
                let mut row = json!({"type": "number", "minimum": min, "maximum": max});
                match start {
                    Start::Required(value) => {
                        required.push(json!(field.key));
                        row["examples"] = json!([value]);
                    }
                    Start::Default(value) => row["default"] = json!(value),
                    Start::Shown(value) => row["examples"] = json!([value]),
                    Start::Absent => {}
                }
                row
            }
            Kind::Whole { min, max, start, .. } => {
                json!({"type": "integer", "minimum": min, "maximum": max, "default": start})
            }
            Kind::YesNo { start } => json!({"type": "boolean", "default": start}),
            Kind::Choice { options, start } => {
                let words: Vec<_> = options.iter().map(|(key, _)| *key).collect();
                json!({"type": "string", "enum": words, "default": start})
            }
            Kind::Text { most, start } => json!({"type": "string", "maxLength": most, "default": start}),
            Kind::Numbers { min, max, most, start, .. } => json!({
                "type": "array", "minItems": 1, "maxItems": most, "default": start,
                "items": {"type": "number", "minimum": min, "maximum": max},
            }),
            Kind::Group { fields } => schema(fields),
            Kind::List { fields, least, most, .. } => {
                json!({"type": "array", "minItems": least, "maxItems": most, "items": schema(fields)})
            }
        };
        if matches!(field.kind, Kind::Group { .. } | Kind::List { .. }) && needs_value(std::slice::from_ref(field)) {
            required.push(json!(field.key));
        }
        row["title"] = json!(field.label);
        row["description"] = json!(field.help);
        if let Some(unit) = field.unit().filter(|unit| !unit.symbol().is_empty()) {
            row["x-unit"] = json!(unit.symbol());
        }
        properties.insert(field.key.into(), row);
    }
    json!({"type": "object", "additionalProperties": false, "properties": properties, "required": required})
}

fn needs_value(fields: &[Field]) -> bool {
    fields.iter().any(|field| match field.kind {
        Kind::Number { start: Start::Required(_), .. } => true,
        Kind::Group { fields } => needs_value(fields),
        Kind::List { least, .. } => least > 0,
        _ => false,
    })
}
