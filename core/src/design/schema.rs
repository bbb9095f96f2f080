//! The published schema of a document: the head, and every section with what its calculations take minus what is handed
//! down.

use serde_json::{Map, Value, json};

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
    document["properties"]["engine"] =
        json!({"type": "string", "description": "The engine that wrote the document; not read."});
    document
}

fn part(kind: &Kind, tagged: bool) -> Value {
    let mut schema = field::schema(kind.entry.fields);
    for pointer in kind.bound.iter().map(|bound| bound.to) {
        remove(&mut schema, pointer, true);
    }
    // What another part hands on may be left out.
    for carried in kind.rests.iter().flat_map(|rests| rests.carried) {
        remove(&mut schema, carried.to, false);
    }
    let mut own = Map::new();
    let word = |about: &str| json!({"type": "string", "maxLength": NAME_LETTERS, "description": about});
    if tagged {
        own.insert("of".into(), json!({"const": kind.tag, "description": "What the part is about."}));
    }
    own.insert("name".into(), word("What the part is called."));
    for rests in kind.rests {
        let section = rests.section;
        let about = format!("The part of the section {section} that it takes values from; without it they are typed.");
        own.insert(rests.key().into(), word(&about));
    }
    if let Some(Value::Object(properties)) = schema.get_mut("properties") {
        own.append(properties);
        *properties = own;
    }
    schema
}

/// Takes a field out of a schema, or only out of what is required. A group in which nothing is required any more may be
/// left out itself.
fn remove(schema: &mut Value, pointer: &str, whole: bool) {
    let pointer = pointer.trim_start_matches('/');
    let (group, rest) = pointer.split_once('/').map_or((pointer, None), |(group, rest)| (group, Some(rest)));
    let mut needless = true;
    if let Some(rest) = rest {
        let inner = &mut schema["properties"][group];
        remove(inner, rest, whole);
        needless = inner.get("required").and_then(Value::as_array).is_none_or(Vec::is_empty);
    } else if let Some(Value::Object(properties)) = schema.get_mut("properties").filter(|_| whole) {
        properties.shift_remove(group);
    }
    if let Some(Value::Array(required)) = schema.get_mut("required").filter(|_| needless) {
        required.retain(|name| name != group);
    }
}
