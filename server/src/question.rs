//! # What is asked
//!
//! Takes an address and its headers apart: who asks ([`Audience`]), for which values, and in which form the answer is
//! wanted. Three keys of a query are not values: `v`, the version of the addresses, `format`, and `part`, the table or
//! chart that a file is made of.

use std::sync::Arc;

use axum::extract::FromRequestParts;
use axum::http::header::HOST;
use axum::http::request::Parts;
use axum::http::{HeaderMap, Uri};
use sensewright_core::calculation::ADDRESS_VERSION;
use sensewright_core::field::FieldError;

use crate::audience::Audience;
use crate::error::Fault;
use crate::form::{self, Pair};
use crate::host::is_host;
use crate::site::Site;

/// Formats of files.
const FILES: [&str; 3] = ["csv", "svg", "h"];

/// A part of an answer, wanted as a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// `csv` or `svg`.
    pub format: &'static str,
    /// The name of the table or chart.
    pub part: String,
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
        let linked = link.parse().ok().and_then(|uri| pairs_of(&uri).ok()).unwrap_or_default();
        self.has_version && linked.iter().filter(|(key, _)| key != "v").eq(&self.pairs)
    }
}

impl FromRequestParts<Arc<Site>> for Question {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, site: &Arc<Site>) -> Result<Self, Fault> {
        let mut pairs = pairs_of(&parts.uri)?;
        let version = take(&mut pairs, "v");
        let format = take(&mut pairs, "format");
        // A file that was chosen in a form which is sent without it.
        take(&mut pairs, "file");
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

/// Scheme and host of links: as set, or else as the client names this server.
pub fn origin(site: &Site, headers: &HeaderMap) -> String {
    if let Some(url) = &site.public_url {
        return url.clone();
    }
    let host = headers.get(HOST).and_then(|host| host.to_str().ok()).filter(|host| is_host(host));
    host.map(|host| format!("http://{host}")).unwrap_or_default()
}

/// The pairs of a query as forms write them.
///
/// # Errors
/// There are too many.
pub fn pairs_of(uri: &Uri) -> Result<Vec<Pair>, Fault> {
    form::pairs(uri.query().unwrap_or_default().as_bytes())
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
