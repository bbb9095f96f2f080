//! The published schema of a document: the head, and every section with what its calculations take minus what is handed
//! down.

use serde_json::{Map, Value, json};

use super::document::ENGINE_LETTERS;
use super::section::{Kind, SECTIONS};
use super::{Head, NAME_LETTERS};
use crate::field::{self, Group};

/// The JSON Schema of a document.
pub fn schema() -> Value {
    let mut document = field::schema(Head::FIELDS);
    for section in SECTIONS {
        let items: Vec<Value> = section.kinds.iter().map(|kind| part(kind, section.kinds.len() > 1)).collect();
        let items = if items.len() == 1 { items[0].clone() } else { json!({"oneOf": items}) };
        document["properties"][section.key] = json!({
            "type": "array", "maxItems": section.most, "title": section.title, "description": section.absent, "items": items,
        });
    }
    document["properties"]["schema"] = json!({
        "type": "integer", "const": super::SCHEMA,
        "description": "Number of the document's schema: it holds what was typed. Files of the first one, which held every value and may say no number, open for ever.",
    });
    document["properties"]["start_values"] = json!({
        "type": "integer", "minimum": 1, "maximum": super::starts::NEWEST,
        "description": "The set of start values and rules that it counts from; absent means 2.",
    });
    document["properties"]["engine"] = json!({"type": "string", "maxLength": ENGINE_LETTERS, "description": "The engine that wrote the document; it changes nothing."});
    nothing_required(&mut document);
    document["required"] = json!(["schema"]);
    document
}

fn part(kind: &Kind, tagged: bool) -> Value {
    let mut schema = field::schema(kind.entry.fields);
    for pointer in kind.bound.iter().map(|bound| bound.to) {
        remove(&mut schema, pointer);
    }
    let mut own = Map::new();
    let word = |about: &str| json!({"type": "string", "maxLength": NAME_LETTERS, "description": about});
    if tagged {
        own.insert("of".into(), json!({"const": kind.tag, "description": "What the part is about."}));
    }
    let number = json!({"type": "integer", "minimum": 1, "description": "Its own number in the section, by which others name it."});
    own.insert("number".into(), number);
    own.insert("name".into(), word("What the part is called."));
    for rests in kind.rests {
        let section = rests.section;
        let about = format!("The part of the section {section} that it takes values from; without it they are typed.");
        let name = json!({"type": "string", "maxLength": NAME_LETTERS});
        let number = json!({"type": "integer", "minimum": 1});
        own.insert(rests.key().into(), json!({"description": about, "oneOf": [name, number]}));
    }
    if let Some(Value::Object(properties)) = schema.get_mut("properties") {
        own.append(properties);
        *properties = own;
    }
    schema
}

/// Takes a field out of a schema.
fn remove(schema: &mut Value, pointer: &str) {
    let (groups, field) = pointer.rsplit_once('/').unwrap_or(("", pointer));
    let inside = groups
        .split('/')
        .filter(|group| !group.is_empty())
        .try_fold(schema, |schema, group| schema.get_mut("properties")?.get_mut(group));
    if let Some(Value::Object(properties)) = inside.and_then(|schema| schema.get_mut("properties")) {
        properties.shift_remove(field);
    }
}

/// Takes out what must be given: a document of schema 2 holds what was typed.
fn nothing_required(schema: &mut Value) {
    match schema {
        Value::Object(map) => {
            if map.get("required").is_some_and(Value::is_array) {
                map.shift_remove("required");
            }
            map.values_mut().for_each(nothing_required);
        }
        Value::Array(items) => items.iter_mut().for_each(nothing_required),
        _ => {}
    }
}
