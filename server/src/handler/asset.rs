//! Style sheets, scripts and pictures; all of them are in the binary.

use std::collections::HashMap;
use std::sync::LazyLock;

use axum::extract::Path;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use sensewright_web::Asset;

use crate::error::Fault;
use crate::packed::Packed;

static FILES: LazyLock<HashMap<&'static str, (Asset, Packed)>> = LazyLock::new(|| {
    let file = |name: &&'static str| {
        let asset = sensewright_web::asset(name)?;
        let packed = Packed::new(asset.bytes);
        Some((*name, (asset, packed)))
    };
    sensewright_web::asset::NAMES.iter().filter_map(file).collect()
});

/// A file by its name.
///
/// # Errors
/// No such file.
pub async fn file(Path(path): Path<String>, headers: HeaderMap) -> Result<Response, Fault> {
    serve(&path, &headers)
}

/// The icon, where browsers look for it unasked.
///
/// # Errors
/// None as long as the icon is in the binary.
pub async fn icon(headers: HeaderMap) -> Result<Response, Fault> {
    serve("icon.svg", &headers)
}

/// What crawlers may read: the pages, not the endless addresses of their values.
pub async fn robots() -> Response {
    "User-agent: *\nDisallow: /*?\nDisallow: /worksheet/\nDisallow: /api/v1/\n".into_response()
}

fn serve(path: &str, headers: &HeaderMap) -> Result<Response, Fault> {
    let (asset, packed) = FILES.get(path).ok_or(Fault::NotFound)?;
    // Weak, because it names the file and not the bytes on the way, which may be packed.
    let tag = format!("W/{}", asset.etag);
    let known = headers.get(IF_NONE_MATCH).and_then(|tags| tags.to_str().ok()).is_some_and(|tags| {
        tags.split(',').map(str::trim).any(|known| known == "*" || known.trim_start_matches("W/") == asset.etag)
    });
    // "no-cache" means: keep it, and ask each time whether it still holds. A page and its style sheet always match.
    let common = [(CACHE_CONTROL, "no-cache".to_owned()), (ETAG, tag)];
    if known {
        return Ok((StatusCode::NOT_MODIFIED, common).into_response());
    }
    Ok((common, [(CONTENT_TYPE, asset.content_type)], packed.answer(headers)).into_response())
}
