//! # The API reference
//!
//! Drawn from the OpenAPI document that the service publishes, so that it cannot say anything else: an index, a page for
//! each operation or the few that belong together, and one for the types that several of them share. Needs no script; with
//! one it can be filtered and its examples copied.

mod example;
mod refusal;
mod schema;

use askama::Template;
use serde_json::Value;

use crate::plot::escape;
use crate::shell::{INDEX, Shell, print};
use example::Example;
use refusal::{Refusal, refusals};
use schema::{Fields, Schemas};

/// What the paths of the interface begin with.
const PATHS: &str = "/api/v1/";
/// The page of what the server says of itself.
const SERVICE: &str = "service";
/// The page of the types that several pages share.
const TYPES: &str = "types";

#[derive(Template)]
#[template(path = "api.html")]
struct Index {
    shell: Shell,
    about: Vec<String>,
    groups: Vec<Group>,
    envelope: Fields,
    refusals: Vec<Refusal>,
}

/// Operations of one kind.
struct Group {
    id: String,
    title: String,
    about: String,
    rows: Vec<Row>,
}

/// An operation in the index.
struct Row {
    id: String,
    method: String,
    path: String,
    href: String,
    summary: String,
    about: String,
    /// The names of its fields: who looks for one finds the operation.
    words: String,
}

#[derive(Template)]
#[template(path = "api_page.html")]
struct Page {
    shell: Shell,
    title: String,
    /// The page of the same calculation, for people.
    calculation: Option<String>,
    operations: Vec<Operation>,
}

/// One operation.
struct Operation {
    id: String,
    method: String,
    path: String,
    summary: String,
    description: Vec<String>,
    input: Fields,
    result: Fields,
    in_envelope: bool,
    statuses: String,
    example: Example,
}

impl Operation {
    /// A name for one of its regions that no other region of the page has.
    fn label(&self, part: &str) -> String {
        format!("{part}: {} {}", self.method, self.path)
    }
}

#[derive(Template)]
#[template(path = "api_types.html")]
struct Types {
    shell: Shell,
    types: Vec<Type>,
}

/// A type that several pages share.
struct Type {
    name: String,
    words: String,
    /// What its description says behind its first paragraph.
    more: Vec<String>,
    fields: Fields,
}

/// An operation as the document has it.
struct Found<'a> {
    method: &'a str,
    path: &'a str,
    operation: &'a Value,
}

impl Found<'_> {
    fn id(&self) -> String {
        format!("op-{}", crate::plot::id(&format!("{}{}", self.method, self.path)))
    }

    fn summary(&self) -> &str {
        self.operation["summary"].as_str().unwrap_or(self.path)
    }

    fn tag(&self) -> &str {
        self.operation["tags"][0].as_str().unwrap_or(SERVICE)
    }

    /// The page that describes it: its path without what varies in it.
    fn page(&self) -> String {
        let Some(path) = self.path.strip_prefix(PATHS) else { return SERVICE.into() };
        path.split('/').filter(|part| !part.starts_with('{')).collect::<Vec<_>>().join("/")
    }
}

fn operations(openapi: &Value) -> impl Iterator<Item = Found<'_>> {
    let paths = openapi["paths"].as_object().into_iter().flatten();
    paths.flat_map(|(path, methods)| {
        let methods = methods.as_object().into_iter().flatten();
        let known = |method: &str| ["get", "post", "put", "delete", "patch"].contains(&method);
        methods.filter(move |(method, _)| known(method)).map(move |(method, operation)| Found {
            method,
            path,
            operation,
        })
    })
}

/// The pages of the reference besides its index, as they stand below `/api/`.
pub fn api_pages(openapi: &Value) -> Vec<String> {
    let mut pages = Vec::new();
    for page in operations(openapi).map(|one| one.page()).chain([TYPES.to_owned()]) {
        if !pages.contains(&page) {
            pages.push(page);
        }
    }
    pages
}

/// A page of the reference, or its index where none is named; nothing where there is no such page. `origin` is scheme and
/// host for the examples.
pub fn api_page(openapi: &Value, page: &str, origin: &str) -> Option<String> {
    let schemas = Schemas::new(openapi, operations(openapi).map(|one| (one.page(), one.operation)));
    match page {
        "" => Some(index(openapi, &schemas)),
        TYPES => Some(types(&schemas)),
        page => described(openapi, &schemas, page, origin),
    }
}

fn index(openapi: &Value, schemas: &Schemas) -> String {
    let group = |tag: &Value| {
        let name = tag["name"].as_str().unwrap_or_default();
        let rows = operations(openapi).filter(|one| one.tag() == name).map(|one| Row {
            id: one.id(),
            method: one.method.to_uppercase(),
            path: one.path.into(),
            href: format!("{INDEX}/{}", one.page()),
            summary: one.summary().into(),
            about: first_sentence(one.operation["description"].as_str().unwrap_or_default()),
            words: schemas.names(one.operation),
        });
        Group { id: crate::plot::id(name), title: capital(name), about: text(tag, "description"), rows: rows.collect() }
    };
    // Every calculation has the same envelope: that of the first is shown.
    let answers = operations(openapi).map(|one| schemas.resolve(answer_of(one.operation)));
    let envelope = answers.into_iter().find(|answer| !answer["properties"]["result"].is_null());
    print(&Index {
        shell: Shell::new("API", INDEX),
        about: paragraphs(&openapi["info"]["description"]),
        groups: openapi["tags"].as_array().into_iter().flatten().map(group).collect(),
        envelope: envelope.map(|answer| schemas.top(answer)).unwrap_or_default(),
        refusals: refusals(),
    })
}

fn described(openapi: &Value, schemas: &Schemas, page: &str, origin: &str) -> Option<String> {
    let found: Vec<Found> = operations(openapi).filter(|one| one.page() == page).collect();
    let first = found.first()?;
    let title = if found.len() == 1 { first.summary().to_owned() } else { capital(page) };
    Some(print(&Page {
        shell: Shell::new(format!("API: {title}"), INDEX),
        calculation: (first.tag() == "calculations").then(|| format!("/{page}")),
        title,
        operations: found.iter().map(|one| read(schemas, one, origin)).collect(),
    }))
}

fn answer_of(operation: &Value) -> &Value {
    &operation["responses"]["200"]["content"]["application/json"]["schema"]
}

fn read(schemas: &Schemas, found: &Found, origin: &str) -> Operation {
    let operation = found.operation;
    let body = &operation["requestBody"]["content"]["application/json"]["schema"];
    let answer = answer_of(operation);
    // The common envelope is described once; an operation shows what is inside `result`.
    let result = &schemas.resolve(answer)["properties"]["result"];
    let in_envelope = !result.is_null();
    let statuses = operation["responses"].as_object().into_iter().flatten().map(|(status, _)| status.as_str());
    Operation {
        id: found.id(),
        method: found.method.to_uppercase(),
        path: found.path.into(),
        summary: found.summary().into(),
        description: paragraphs(&operation["description"]),
        input: schemas.flat(body),
        result: schemas.folded(if in_envelope { result } else { answer }),
        in_envelope,
        statuses: statuses.collect::<Vec<_>>().join(", "),
        example: Example::of(found.method, found.path, operation, origin),
    }
}

fn types(schemas: &Schemas) -> String {
    let mut names: Vec<&str> = schemas.shared().collect();
    names.sort_unstable_by_key(|name| name.to_lowercase());
    let of = |name: &str| {
        let schema = schemas.named(name);
        let about = text(schema, "description");
        let (words, more) = about.split_once("\n\n").unwrap_or((&about, ""));
        // A block of text is set as lines, without the marks around it.
        let lines: Vec<&str> = more.lines().filter(|line| !line.starts_with("```")).collect();
        Type {
            name: name.into(),
            words: words.replace('\n', " "),
            more: paragraphs(&lines.join("\n").into()),
            fields: schemas.inside(schema),
        }
    };
    print(&Types { shell: Shell::new("API: types", INDEX), types: names.into_iter().map(of).collect() })
}

fn text(of: &Value, key: &str) -> String {
    of[key].as_str().unwrap_or_default().to_owned()
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// The first sentence of a description.
fn first_sentence(text: &str) -> String {
    let line = text.lines().next().unwrap_or_default();
    line.split_once(". ").map_or_else(|| line.to_owned(), |(first, _)| format!("{first}."))
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

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::page::tests::assert_clean;

    fn document() -> Value {
        json!({
            "openapi": "3.1.0",
            "info": {"description": "One.\n\nTwo <script> and `a<b`."},
            "tags": [{"name": "calculations", "description": "One object in."}],
            "paths": {"/api/v1/sample": {"post": {
                "tags": ["calculations"],
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
        let page = api_page(&document(), "sample", "https://host.example").expect("a page");
        assert_clean(&page);
        for words in [
            "<code>part.b</code>",
            "<code>rows[].c</code>",
            "0 to 1000000",
            "x, y",
            "curl -sS &#39;https://host.example/api/v1/sample&#39;",
            "urllib.request",
            "it&#39;\\&#39;&#39;s",
            "data-filter",
            "href=\"/sample\"",
        ] {
            assert!(page.contains(words), "{words} in {page}");
        }
        assert!(!page.contains("<b>.") && !page.contains("<script>"));
    }

    #[test]
    fn the_index_leads_to_every_page_and_keeps_former_anchors() {
        let index = api_page(&document(), "", "").expect("an index");
        assert_clean(&index);
        for words in [
            "id=\"op-post-api-v1-sample\"",
            "href=\"/api/sample\"",
            "<td>Works it out.</td>",
            "id=\"refusals\"",
            "Status 413",
            "data-filter",
            "<code>a&lt;b</code>",
        ] {
            assert!(index.contains(words), "{words} in {index}");
        }
        assert_eq!(api_pages(&document()), ["sample", "types"]);
        assert!(api_page(&document(), "none", "").is_none());
    }

    #[test]
    fn an_empty_document_is_no_fault() {
        assert!(api_page(&Value::Null, "shunt", "").is_none());
        assert_clean(&api_page(&Value::Null, "", "").expect("an index"));
    }
}
