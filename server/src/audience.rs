//! Who reads an answer: a program or a person.

use axum::http::header::ACCEPT;
use axum::http::{HeaderMap, Uri};

/// Who reads the answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Audience {
    /// A program: JSON, and problem documents.
    Program,
    /// A person with a browser: pages.
    Person,
}

impl Audience {
    /// Paths of programs, then the wish in the address, then the wish of the client.
    pub fn of(uri: &Uri, headers: &HeaderMap) -> Self {
        let path = uri.path();
        if path.starts_with("/api/v1/") || ["/api/openapi.json", "/healthz", "/readyz"].contains(&path) {
            return Self::Program;
        }
        let wish = uri.query().and_then(|query| query.split('&').find_map(|pair| pair.strip_prefix("format=")));
        match wish {
            Some("json") => Self::Program,
            Some("html") => Self::Person,
            _ if prefers_json(headers) => Self::Program,
            _ => Self::Person,
        }
    }
}

/// Whether JSON is named with more weight than pages. A wildcard, which clients send by habit, is no wish.
fn prefers_json(headers: &HeaderMap) -> bool {
    let (mut json, mut html) = (0.0_f32, 0.0_f32);
    for wish in headers.get_all(ACCEPT).iter().filter_map(|value| value.to_str().ok()).flat_map(|text| text.split(','))
    {
        let mut parts = wish.split(';').map(str::trim);
        let kind = parts.next().unwrap_or_default().to_ascii_lowercase();
        let weight = parts.find_map(|part| part.strip_prefix("q=")).and_then(|q| q.parse().ok()).unwrap_or(1.0);
        match kind.as_str() {
            "application/json" | "application/problem+json" => json = json.max(weight),
            "text/html" | "application/xhtml+xml" => html = html.max(weight),
            _ => {}
        }
    }
    json > html
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    fn audience(address: &'static str, accept: &'static str) -> Audience {
        let headers = HeaderMap::from_iter([(ACCEPT, HeaderValue::from_static(accept))]);
        Audience::of(&Uri::from_static(address), &headers)
    }

    #[test]
    fn a_program_is_told_from_a_person() {
        let browser = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8";
        for (address, accept, expected) in [
            ("/shunt", browser, Audience::Person),
            ("/shunt", "*/*", Audience::Person),
            ("/shunt", "", Audience::Person),
            ("/shunt", "application/json", Audience::Program),
            ("/shunt", "application/json, text/plain, */*", Audience::Program),
            ("/shunt", "text/html;q=0.5, Application/JSON", Audience::Program),
            ("/shunt", "application/json;q=0.5, text/html", Audience::Person),
            ("/shunt?format=json", browser, Audience::Program),
            ("/shunt?v=1&format=html", "application/json", Audience::Person),
            ("/shunt?shape.format=json", browser, Audience::Person),
            ("/api", browser, Audience::Person),
            ("/api/shunt", browser, Audience::Person),
            ("/api/v1/shunt", browser, Audience::Program),
            ("/api/openapi.json", browser, Audience::Program),
            ("/apiary", browser, Audience::Person),
        ] {
            assert_eq!(audience(address, accept), expected, "{address} {accept}");
        }
    }
}
