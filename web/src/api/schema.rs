//! JSON Schema as rows of a table.

use serde_json::Value;

/// Deeper than this no schema of the project nests; one that refers to itself ends here.
const DEEPEST: usize = 8;

/// A field as a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldRow {
    /// Dotted name; `[]` stands for each row of a list.
    pub name: String,
    /// Type and range in words.
    pub accepts: String,
    /// The unit, or nothing.
    pub unit: String,
    /// The default, `required`, or nothing.
    pub start: String,
    /// What it is.
    pub words: String,
}

/// The schemas of a document.
#[derive(Clone, Copy)]
pub struct Schemas<'a>(pub &'a Value);

impl<'a> Schemas<'a> {
    /// Follows references within the document.
    pub fn resolve(self, schema: &'a Value) -> &'a Value {
        let mut schema = schema;
        for _ in 0..DEEPEST {
            let Some(pointer) = schema["$ref"].as_str().and_then(|to| to.strip_prefix('#')) else { break };
            schema = self.0.pointer(pointer).unwrap_or(&Value::Null);
        }
        schema
    }

    /// Every field below a schema.
    pub fn rows(self, schema: &'a Value) -> Vec<FieldRow> {
        let mut rows = Vec::new();
        self.collect(schema, "", 0, &mut rows);
        rows
    }

    /// The fields of a schema, without what is inside them.
    pub fn top(self, schema: &'a Value) -> Vec<FieldRow> {
        let schema = self.resolve(schema);
        Self::properties(schema)
            .map(|(name, field, needed)| self.row(name.clone(), field, self.resolve(field), needed))
            .collect()
    }

    fn properties(schema: &'a Value) -> impl Iterator<Item = (&'a String, &'a Value, bool)> {
        let needed = move |name: &str| {
            schema["required"].as_array().is_some_and(|names| names.iter().any(|known| known == name))
        };
        schema["properties"].as_object().into_iter().flatten().map(move |(name, field)| (name, field, needed(name)))
    }

    fn collect(self, schema: &'a Value, path: &str, depth: usize, rows: &mut Vec<FieldRow>) {
        let schema = self.resolve(schema);
        if depth > DEEPEST {
            return;
        }
        // Several schemas at once (a result that carries a note of its own) and alternatives: all of their fields.
        for key in ["allOf", "oneOf", "anyOf"] {
            for part in schema[key].as_array().into_iter().flatten() {
                self.collect(part, path, depth + 1, rows);
            }
        }
        for (name, field, needed) in Self::properties(schema) {
            let name = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
            let inner = self.inner(field);
            let row = self.row(name.clone(), field, inner, needed);
            rows.push(row);
            if has_fields(inner) {
                self.collect(inner, &name, depth + 1, rows);
            } else if inner["items"].is_object() && has_fields(self.inner(&inner["items"])) {
                self.collect(self.inner(&inner["items"]), &format!("{name}[]"), depth + 1, rows);
            }
        }
    }

    /// What a field is when it is not null.
    fn inner(self, field: &'a Value) -> &'a Value {
        let field = self.resolve(field);
        let choices = field["oneOf"].as_array().or_else(|| field["anyOf"].as_array());
        match choices {
            Some(choices) if choices.iter().any(|choice| choice["type"] == "null") => {
                choices.iter().find(|choice| choice["type"] != "null").map_or(field, |choice| self.resolve(choice))
            }
            _ => match field["allOf"].as_array().map(Vec::as_slice) {
                Some([only]) => self.resolve(only),
                _ => field,
            },
        }
    }

    fn row(self, name: String, field: &Value, inner: &'a Value, needed: bool) -> FieldRow {
        let text = |key: &str| field[key].as_str().or_else(|| inner[key].as_str()).unwrap_or_default();
        let (title, description) = (text("title"), text("description").replace('\n', " "));
        let words = match (title, description.as_str()) {
            ("", words) => words.to_owned(),
            (title, "") => format!("{title}."),
            (title, words) if words.starts_with(title) => words.to_owned(),
            (title, words) => format!("{title}. {words}"),
        };
        let start = match &inner["default"] {
            Value::Null if needed => "required".into(),
            Value::Null => String::new(),
            Value::String(text) if text.is_empty() => "empty".into(),
            Value::String(text) => text.clone(),
            Value::Number(_) => plain(&inner["default"]),
            other => other.to_string(),
        };
        FieldRow { name, accepts: self.accepts(inner), unit: text("x-unit").into(), start, words }
    }

    fn accepts(self, schema: &'a Value) -> String {
        let kind = match &schema["type"] {
            Value::String(kind) => kind.clone(),
            Value::Array(kinds) => {
                let kinds: Vec<_> = kinds.iter().filter_map(Value::as_str).filter(|kind| *kind != "null").collect();
                kinds.join(" or ")
            }
            _ if has_fields(schema) => "object".into(),
            _ => String::new(),
        };
        if let Some(words) = schema["enum"].as_array() {
            let words: Vec<String> =
                words.iter().map(|word| word.as_str().map_or_else(|| word.to_string(), str::to_owned)).collect();
            return format!("one of: {}", words.join(", "));
        }
        let mut text = kind;
        let mut add = |part: String| {
            if !text.is_empty() {
                text.push_str(", ");
            }
            text.push_str(&part);
        };
        match (&schema["minimum"], &schema["maximum"]) {
            (Value::Null, Value::Null) => {}
            (low, Value::Null) => add(format!("from {}", plain(low))),
            (Value::Null, high) => add(format!("up to {}", plain(high))),
            (low, high) => add(format!("{} to {}", plain(low), plain(high))),
        }
        if let Some(most) = schema["maxLength"].as_u64() {
            add(format!("at most {most} characters"));
        }
        if schema["items"].is_object() {
            match (schema["minItems"].as_u64(), schema["maxItems"].as_u64()) {
                (Some(least), Some(most)) => add(format!("{least} to {most} items")),
                (None, Some(most)) => add(format!("at most {most} items")),
                _ => {}
            }
            let inner = self.accepts(self.inner(&schema["items"]));
            if !inner.is_empty() {
                add(format!("each: {inner}"));
            }
        }
        text
    }
}

fn has_fields(schema: &Value) -> bool {
    schema["properties"].as_object().is_some_and(|fields| !fields.is_empty())
}

/// A bound without a needless fraction.
fn plain(number: &Value) -> String {
    number.as_f64().map_or_else(|| number.to_string(), crate::number::exact)
}
