//! JSON Schema as rows of a table.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

/// Deeper than this no schema of the project nests; one that refers to itself ends here.
const DEEPEST: usize = 8;
/// Fields of an input that stand open: of more, those inside others are folded.
const MOST_OPEN: usize = 180;
/// Where the named schemas are.
const AT: &str = "#/components/schemas/";

/// A field as a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldRow {
    /// Dotted name; `[]` stands for each row of a list.
    pub name: String,
    /// Type and range in words.
    pub accepts: String,
    /// The shared type that it is, or that its rows are: told on the page of the types.
    pub shared: Option<String>,
    /// The unit, or nothing.
    pub unit: String,
    /// The default, `required`, or nothing.
    pub start: String,
    /// What it is.
    pub words: String,
}

/// The fields of a schema.
#[derive(Debug, Default)]
pub struct Fields {
    /// The shared type that it is as a whole; its fields are not repeated then.
    pub whole: Option<String>,
    /// The fields that stand open.
    pub rows: Vec<FieldRow>,
    /// The fields that have fields of their own, folded.
    pub groups: Vec<FieldGroup>,
}

impl Fields {
    /// Whether there is nothing to tell.
    pub fn is_empty(&self) -> bool {
        self.whole.is_none() && self.rows.is_empty() && self.groups.is_empty()
    }
}

/// A field with fields of its own.
#[derive(Debug)]
pub struct FieldGroup {
    /// Its name; `[]` stands for each row of a list.
    pub name: String,
    /// What it is.
    pub words: String,
    /// Its fields.
    pub rows: Vec<FieldRow>,
}

impl FieldGroup {
    /// The name of its region among those of `whole`.
    pub fn label(&self, whole: &str) -> String {
        format!("{whole}, {}", self.name)
    }
}

/// The schemas of a document, and which of them several pages share.
pub struct Schemas<'a> {
    document: &'a Value,
    shared: BTreeSet<&'a str>,
}

impl<'a> Schemas<'a> {
    /// The schemas of a document whose operations stand on pages: a type with fields that two pages refer to is shared.
    pub fn new(document: &'a Value, operations: impl Iterator<Item = (String, &'a Value)>) -> Self {
        let mut all = Self { document, shared: BTreeSet::new() };
        let mut pages: BTreeMap<&'a str, BTreeSet<String>> = BTreeMap::new();
        for (page, operation) in operations {
            let mut names = BTreeSet::new();
            all.referred(operation, &mut names);
            for name in names {
                pages.entry(name).or_default().insert(page.clone());
            }
        }
        let shared = pages.into_iter().filter(|(name, pages)| pages.len() > 1 && has_fields(all.named(name)));
        all.shared = shared.map(|(name, _)| name).collect();
        all
    }

    /// The schema of a name.
    pub fn named(&self, name: &str) -> &'a Value {
        &self.document["components"]["schemas"][name]
    }

    /// The names of the shared types.
    pub fn shared(&self) -> impl Iterator<Item = &'a str> {
        self.shared.iter().copied()
    }

    /// Every name that a schema refers to, directly or through others.
    fn referred(&self, schema: &'a Value, names: &mut BTreeSet<&'a str>) {
        match schema {
            Value::Object(map) => {
                for (key, value) in map {
                    let name = value.as_str().filter(|_| key == "$ref").and_then(|to| to.strip_prefix(AT));
                    if let Some(name) = name {
                        if names.insert(name) {
                            self.referred(self.named(name), names);
                        }
                    } else {
                        self.referred(value, names);
                    }
                }
            }
            Value::Array(items) => items.iter().for_each(|item| self.referred(item, names)),
            _ => {}
        }
    }

    /// Follows references within the document.
    pub fn resolve(&self, schema: &'a Value) -> &'a Value {
        let mut schema = schema;
        for _ in 0..DEEPEST {
            let Some(name) = schema["$ref"].as_str().and_then(|to| to.strip_prefix(AT)) else { break };
            schema = self.named(name);
        }
        schema
    }

    /// The shared type that a schema is, may be besides null, or has rows of.
    fn shared_in(&self, schema: &'a Value) -> Option<&'a str> {
        let mut schema = schema;
        for _ in 0..DEEPEST {
            if let Some(name) = schema["$ref"].as_str().and_then(|to| to.strip_prefix(AT)) {
                if let Some(shared) = self.shared.get(name) {
                    return Some(shared);
                }
                schema = self.named(name);
            } else if schema["items"].is_object() {
                schema = &schema["items"];
            } else {
                schema = only(schema)?;
            }
        }
        None
    }

    /// Every field below a schema, all of them open.
    pub fn flat(&self, schema: &'a Value) -> Fields {
        if let Some(name) = self.shared_in(schema) {
            return Fields { whole: Some(name.into()), ..Fields::default() };
        }
        let mut rows = Vec::new();
        self.collect(schema, "", 0, &mut rows);
        if rows.len() > MOST_OPEN { self.inside(schema) } else { Fields { rows, ..Fields::default() } }
    }

    /// The fields of a schema; what is inside them is folded.
    pub fn folded(&self, schema: &'a Value) -> Fields {
        match self.shared_in(schema) {
            Some(name) => Fields { whole: Some(name.into()), ..Fields::default() },
            None => self.inside(schema),
        }
    }

    /// The same of a shared type itself.
    pub fn inside(&self, schema: &'a Value) -> Fields {
        let mut fields = Fields::default();
        self.sort(schema, &mut fields);
        fields
    }

    /// The fields of a schema, without what is inside them.
    pub fn top(&self, schema: &'a Value) -> Fields {
        let schema = self.resolve(schema);
        let rows =
            properties(schema).map(|(name, field, needed)| self.row(name.clone(), field, self.inner(field), needed));
        Fields { rows: rows.collect(), ..Fields::default() }
    }

    /// The names of all fields that an operation takes and gives, each once.
    pub fn names(&self, operation: &'a Value) -> String {
        let body = &operation["requestBody"]["content"]["application/json"]["schema"];
        let answer = self.resolve(&operation["responses"]["200"]["content"]["application/json"]["schema"]);
        let mut rows = Vec::new();
        self.collect(body, "", 0, &mut rows);
        self.collect(&answer["properties"]["result"], "", 0, &mut rows);
        let names: BTreeSet<&str> = rows.iter().filter_map(|row| row.name.rsplit('.').next()).collect();
        names.into_iter().collect::<Vec<_>>().join(" ")
    }

    /// Sorts the fields of a schema into those that stand open and those that are folded.
    fn sort(&self, schema: &'a Value, fields: &mut Fields) {
        let schema = self.resolve(schema);
        for part in alternatives(schema) {
            self.sort(part, fields);
        }
        for (name, field, needed) in properties(schema) {
            let inner = self.inner(field);
            let (below, mark) = self.below(inner);
            let mut told = false;
            for (inside, of) in below.into_iter().filter(|_| self.shared_in(field).is_none()) {
                told = true;
                let mut rows = Vec::new();
                let name = format!("{name}{mark}");
                self.collect(inside, &name, 1, &mut rows);
                let words = self.row(String::new(), field, inner, needed).words;
                fields.groups.push(FieldGroup { name: format!("{name}{of}"), words, rows });
            }
            if !told {
                fields.rows.push(self.row(name.clone(), field, inner, needed));
            }
        }
    }

    /// What is below a field that has fields of its own: itself, or the rows of its list, each kind of them with its word.
    fn below(&self, inner: &'a Value) -> (Vec<(&'a Value, String)>, &'static str) {
        let (schema, mark) = if inner["items"].is_object() { (self.inner(&inner["items"]), "[]") } else { (inner, "") };
        let kinds: Vec<(&'a Value, String)> = ["oneOf", "anyOf"]
            .into_iter()
            .flat_map(|key| schema[key].as_array().into_iter().flatten())
            .map(|kind| self.resolve(kind))
            .filter(|kind| has_fields(kind))
            .map(|kind| {
                let word = kind["properties"]["of"]["const"].as_str();
                (kind, word.map_or_else(String::new, |word| format!(" of {word}")))
            })
            .collect();
        let whole = || {
            let fields = has_fields(schema) || schema["allOf"].is_array();
            if fields { vec![(schema, String::new())] } else { Vec::new() }
        };
        (if kinds.is_empty() { whole() } else { kinds }, mark)
    }

    fn collect(&self, schema: &'a Value, path: &str, depth: usize, rows: &mut Vec<FieldRow>) {
        let schema = self.resolve(schema);
        if depth > DEEPEST {
            return;
        }
        // Several schemas at once (a result that carries a note of its own) and alternatives: all of their fields.
        for part in alternatives(schema) {
            self.collect(part, path, depth + 1, rows);
        }
        for (name, field, needed) in properties(schema) {
            let name = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
            let inner = self.inner(field);
            let row = self.row(name.clone(), field, inner, needed);
            let shared = row.shared.is_some();
            rows.push(row);
            if shared {
                continue;
            }
            if has_fields(inner) {
                self.collect(inner, &name, depth + 1, rows);
            } else if inner["items"].is_object() && has_fields(self.inner(&inner["items"])) {
                self.collect(self.inner(&inner["items"]), &format!("{name}[]"), depth + 1, rows);
            }
        }
    }

    /// What a field is when it is not null.
    fn inner(&self, field: &'a Value) -> &'a Value {
        let field = self.resolve(field);
        only(field).map_or(field, |one| self.resolve(one))
    }

    fn row(&self, name: String, field: &'a Value, inner: &'a Value, needed: bool) -> FieldRow {
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
        let shared = self.shared_in(field).map(str::to_owned);
        FieldRow { name, accepts: self.accepts(inner), shared, unit: text("x-unit").into(), start, words }
    }

    fn accepts(&self, schema: &'a Value) -> String {
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
        if let Some(word) = schema["const"].as_str() {
            return format!("exactly: {word}");
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

/// The schemas that a schema puts together or chooses from.
fn alternatives(schema: &Value) -> impl Iterator<Item = &Value> {
    ["allOf", "oneOf", "anyOf"].into_iter().flat_map(|key| schema[key].as_array().into_iter().flatten())
}

/// The only schema besides null that a schema chooses from.
fn only(schema: &Value) -> Option<&Value> {
    let mut some = alternatives(schema).filter(|one| one["type"] != "null");
    let first = some.next()?;
    some.next().is_none().then_some(first)
}

/// The fields of a schema, and whether each must be there.
fn properties(schema: &Value) -> impl Iterator<Item = (&String, &Value, bool)> {
    let needed =
        move |name: &str| schema["required"].as_array().is_some_and(|names| names.iter().any(|known| known == name));
    schema["properties"].as_object().into_iter().flatten().map(move |(name, field)| (name, field, needed(name)))
}

fn has_fields(schema: &Value) -> bool {
    schema["properties"].as_object().is_some_and(|fields| !fields.is_empty())
}

/// A bound without a needless fraction.
fn plain(number: &Value) -> String {
    number.as_f64().map_or_else(|| number.to_string(), crate::number::exact)
}
