//! An operation asked by curl and by Python, with the example of its description: a test runs what is printed here.

use serde_json::Value;

/// The ways to ask.
pub struct Example {
    pub curl: String,
    pub python: String,
}

impl Example {
    /// The operation at a path as it is asked on a host.
    pub fn of(method: &str, path: &str, operation: &Value, origin: &str) -> Self {
        let url = format!("{origin}{}", filled(path, operation));
        let body = body_of(operation);
        Self { curl: curl(method, &url, body), python: python(method, &url, body) }
    }
}

/// A path with the examples of what stands in it.
fn filled(path: &str, operation: &Value) -> String {
    let parameters = operation["parameters"].as_array().into_iter().flatten();
    parameters.filter(|one| one["in"] == "path").fold(path.to_owned(), |path, one| {
        let (name, example) = (one["name"].as_str().unwrap_or_default(), one["example"].as_str().unwrap_or_default());
        path.replace(&format!("{{{name}}}"), example)
    })
}

fn body_of(operation: &Value) -> Option<&Value> {
    let body = &operation["requestBody"]["content"]["application/json"];
    let named = || body["examples"].as_object()?.values().next().and_then(|example| example.get("value"));
    body.get("example").or_else(named)
}

/// JSON on several lines.
pub fn pretty(value: &Value) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default()
}

fn curl(method: &str, url: &str, example: Option<&Value>) -> String {
    match example {
        // Inside single quotes a shell takes everything as it is, save the quote itself.
        Some(example) => format!(
            "curl -sS '{url}' \\\n  -H 'Content-Type: application/json' \\\n  -d '{}'",
            pretty(example).replace('\'', "'\\''")
        ),
        None if method == "get" => format!("curl -sS '{url}'"),
        None => format!("curl -sS -X {} '{url}'", method.to_uppercase()),
    }
}

fn python(method: &str, url: &str, example: Option<&Value>) -> String {
    let Some(example) = example else {
        let by = if method == "get" { String::new() } else { format!(", method=\"{}\"", method.to_uppercase()) };
        return format!(
            "import urllib.request\n\nrequest = urllib.request.Request(\"{url}\"{by})\nwith urllib.request.urlopen(request) as answer:\n    print(answer.read().decode())\n"
        );
    };
    format!(
        "import json\nimport urllib.error\nimport urllib.request\n\n\
         question = json.loads(r\"\"\"\n{}\n\"\"\")\n\
         request = urllib.request.Request(\n    \"{url}\",\n    data=json.dumps(question).encode(),\n    headers={{\"Content-Type\": \"application/json\"}},\n)\n\
         try:\n    with urllib.request.urlopen(request) as answer:\n        answer = json.load(answer)\n    print(json.dumps(answer.get(\"result\", answer), indent=2))\n    for finding in answer.get(\"findings\", []):\n        print(finding[\"severity\"], finding[\"message\"])\n\
         except urllib.error.HTTPError as refused:\n    print(refused.code, json.load(refused))\n",
        pretty(example)
    )
}
