//! # What is asked
//!
//! Takes an address and its headers apart: who asks ([`Audience`]), for which values, and in which form the answer is
//! wanted. Three keys of a query are not values: `v`, the version of the addresses, `format`, and `part`, the table or
//! chart that a file is made of.

use std::sync::Arc;

use axum::extract::{FromRequestParts, Query};
use axum::http::header::{ACCEPT, HOST};
use axum::http::request::Parts;
use axum::http::{HeaderMap, Uri};
use sensewright_core::calculation::ADDRESS_VERSION;
use sensewright_core::field::FieldError;

use crate::error::Fault;
use crate::site::Site;

/// A key and a value of a query, decoded.
pub type Pair = (String, String);

/// Formats of files.
const FILES: [&str; 3] = ["csv", "svg", "h"];

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
        if path.starts_with("/api/") || path == "/healthz" || path == "/readyz" {
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

/// A part of an answer, wanted as a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// `csv` or `svg`.
    pub format: &'static str,
    /// The name of the table or chart.
    pub part: String,
}

/// The design that a calculation was opened from, and the part it is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Carry {
    /// The design's token.
    pub design: String,
    /// The part's key, such as `current.0`.
    pub at: String,
}

impl Carry {
    /// The end of an address that keeps them.
    pub fn query(&self) -> String {
        let plain =
            |text: &str| text.chars().filter(|c| c.is_ascii_alphanumeric() || "-_.".contains(*c)).collect::<String>();
        format!("&design={}&at={}", plain(&self.design), plain(&self.at))
    }
}

/// A question to a calculation, asked by an address.
#[derive(Debug)]
pub struct Question {
    /// The values alone.
    pub pairs: Vec<Pair>,
    /// Who reads the answer.
    pub audience: Audience,
    /// Wanted as a file.
    pub file: Option<File>,
    /// Only the part of the page that follows the values, for the script that keeps it current.
    pub live: bool,
    /// Scheme and host of links; empty when the request names no host.
    pub origin: String,
    /// The design that a calculation was opened from.
    pub carry: Option<Carry>,
    has_version: bool,
}

impl Question {
    /// The values of a key.
    pub fn all<'q>(&'q self, key: &'q str) -> impl Iterator<Item = &'q str> {
        self.pairs.iter().filter(move |(name, _)| name == key).map(|(_, value)| value.as_str())
    }

    /// The first value of a key.
    pub fn one(&self, key: &str) -> Option<&str> {
        self.pairs.iter().find(|(name, _)| name == key).map(|(_, value)| value.as_str())
    }

    /// Whether the address is the short one that an answer is linked with. The bare path counts: it is a short
    /// address, too.
    pub fn is_short(&self, link: &str) -> bool {
        if self.pairs.is_empty() {
            return true;
        }
        let linked = link.parse().ok().and_then(|uri| pairs_of(&uri)).unwrap_or_default();
        self.has_version && linked.iter().filter(|(key, _)| key != "v").eq(&self.pairs)
    }
}

impl FromRequestParts<Arc<Site>> for Question {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, site: &Arc<Site>) -> Result<Self, Fault> {
        let mut pairs = pairs_of(&parts.uri).unwrap_or_default();
        let version = take(&mut pairs, "v");
        let format = take(&mut pairs, "format");
        let carry =
            take(&mut pairs, "design").map(|design| Carry { design, at: take(&mut pairs, "at").unwrap_or_default() });
        let file = FILES.into_iter().find(|known| format.as_deref() == Some(*known));
        let file = file.map(|format| File { format, part: take(&mut pairs, "part").unwrap_or_default() });
        let faults: Vec<_> =
            version.iter().filter_map(version_fault).chain(format.iter().filter_map(format_fault)).collect();
        if !faults.is_empty() {
            return Err(Fault::Invalid(faults));
        }
        Ok(Self {
            pairs,
            audience: Audience::of(&parts.uri, &parts.headers),
            file,
            live: parts.headers.get("x-part").is_some_and(|part| part == "live"),
            origin: origin(site, &parts.headers),
            carry,
            has_version: version.is_some(),
        })
    }
}

/// Scheme and host of the links of a page: as set, or else as the client names this server.
pub struct Origin(pub String);

impl FromRequestParts<Arc<Site>> for Origin {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, site: &Arc<Site>) -> Result<Self, Self::Rejection> {
        Ok(Self(origin(site, &parts.headers)))
    }
}

fn origin(site: &Site, headers: &HeaderMap) -> String {
    if let Some(url) = &site.public_url {
        return url.clone();
    }
    let host = headers.get(HOST).and_then(|host| host.to_str().ok()).filter(|host| is_host(host));
    host.map(|host| format!("http://{host}")).unwrap_or_default()
}

/// Whether `text` is a host name or an IP address, with or without a port. It is printed into pages, so nothing else
/// is let through.
pub fn is_host(text: &str) -> bool {
    let (host, port) = match text.rsplit_once(':') {
        Some((host, port)) if !port.contains(']') => (host, Some(port)),
        _ => (text, None),
    };
    let name = |host: &str| {
        !host.is_empty() && host.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'.')
    };
    let address = |host: &str| {
        let inside = host.strip_prefix('[').and_then(|rest| rest.strip_suffix(']'));
        inside.is_some_and(|inside| inside.parse::<std::net::Ipv6Addr>().is_ok())
    };
    text.len() <= 255 && (name(host) || address(host)) && port.is_none_or(|port| port.parse::<u16>().is_ok())
}

/// The pairs of a query as forms write them; a byte that is no UTF-8 becomes a mark that no field accepts.
pub fn pairs_of(uri: &Uri) -> Option<Vec<Pair>> {
    Query::<Vec<Pair>>::try_from_uri(uri).ok().map(|Query(pairs)| pairs)
}

/// Takes the first pair of a key out. A second one stays, and is refused as a field that does not exist.
fn take(pairs: &mut Vec<Pair>, key: &str) -> Option<String> {
    let at = pairs.iter().position(|(name, _)| name == key)?;
    Some(pairs.remove(at).1)
}

fn version_fault(version: &String) -> Option<FieldError> {
    let got: String = version.chars().take(20).collect();
    (version != ADDRESS_VERSION).then(|| FieldError {
        field: "/v".into(),
        code: "unknown-version".into(),
        message: format!(
            "The address was made for version \u{201c}{got}\u{201d}; this server reads version {ADDRESS_VERSION}."
        ),
        accepted: ADDRESS_VERSION.into(),
        got,
    })
}

fn format_fault(format: &String) -> Option<FieldError> {
    let got: String = format.chars().take(20).collect();
    let known = ["json", "html"].iter().chain(&FILES).any(|known| known == format);
    (!known).then(|| FieldError {
        field: "/format".into(),
        code: "not-a-choice".into(),
        message: format!("There is no format \u{201c}{got}\u{201d}: write json, html, csv, svg or h, or leave it out."),
        accepted: "one of: json, html, csv, svg, h".into(),
        got,
    })
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
            ("/api/v1/shunt", browser, Audience::Program),
            ("/apiary", browser, Audience::Person),
        ] {
            assert_eq!(audience(address, accept), expected, "{address} {accept}");
        }
    }

    #[test]
    fn a_host_is_let_through_and_nothing_else() {
        for good in ["localhost", "sense.example", "sense.example:8080", "192.0.2.7:80", "[::1]", "[2001:db8::7]:8080"]
        {
            assert!(is_host(good), "{good}");
        }
        for bad in
            ["", ":80", "a b", "a/b", "a:b", "a:99999", "\"><script>", "user@host", "[::1", "[x]:80", "a:1:2", "é"]
        {
            assert!(!is_host(bad), "{bad}");
        }
        assert!(!is_host(&"a".repeat(300)));
    }
}
