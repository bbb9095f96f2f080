//! # What a body is announced as

use axum::extract::Request;
use axum::http::header::CONTENT_TYPE;
use axum::http::{HeaderMap, Method};
use sensewright_core::calc::charge::charge_counting::profile::RecordedProfile;
use sensewright_core::calculation::{Calculation, Entry};

/// The media type with its parameters.
pub fn kind(headers: &HeaderMap) -> &str {
    headers.get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default()
}

/// The media type alone.
pub fn bare_kind(headers: &HeaderMap) -> String {
    kind(headers).split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

/// Whether a body is announced as JSON.
pub fn is_json(headers: &HeaderMap) -> bool {
    bare_kind(headers) == "application/json"
}

/// Whether a calculation takes a file as well.
pub fn takes_files(entry: &Entry) -> bool {
    entry.meta.slug == RecordedProfile::META.slug
}

/// Whether a request sends a file of any length: neither its body nor its time is limited as others are.
pub fn is_file(request: &Request) -> bool {
    let path = request.uri().path();
    let slug = path.strip_prefix("/api/v1").unwrap_or(path).strip_prefix('/');
    request.method() == Method::POST && slug == Some(RecordedProfile::META.slug) && !is_json(request.headers())
}
