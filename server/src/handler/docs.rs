//! The description of the API, for people and for programs.

use std::collections::HashMap;
use std::io::Read;
use std::sync::LazyLock;

use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::http::{HeaderMap, Uri};
use axum::response::{Html, IntoResponse, Response};
use bytes::Bytes;
use flate2::read::GzDecoder;
use sensewright_core::catalogue::CATALOGUE;
use tokio::sync::OnceCell;
use tokio::task::spawn_blocking;

use crate::error::Fault;
use crate::openapi;
use crate::packed::{Packed, gzip};
use crate::question::Origin;

/// Where the reference begins.
pub const REFERENCE: &str = "/api";
/// Its pages besides those of the calculations.
const BESIDE: [&str; 7] =
    ["design/assess", "design/turning", "design/compare", "links", "links/open", "service", "types"];
/// Stands in a page where scheme and host of this server will stand.
const HERE: &str = "https://here.invalid";

/// The description in every form in which it is handed out; the tree that it is drawn from is large, and goes.
struct Reference {
    document: Packed,
    index: Packed,
    /// Packed, by address below the reference.
    pages: HashMap<String, Bytes>,
}

impl Reference {
    fn draw() -> Self {
        let document = openapi::document(CATALOGUE);
        let page = |page: String| {
            let drawn = sensewright_web::api_page(&document, &page, HERE).unwrap_or_default();
            (page, gzip(drawn.as_bytes()).unwrap_or_default())
        };
        Self {
            index: Packed::new(sensewright_web::api_page(&document, "", "").unwrap_or_default()),
            pages: sensewright_web::api_pages(&document).into_iter().map(page).collect(),
            document: Packed::new(document.to_string()),
        }
    }
}

/// Drawn when it is asked for first, on a thread beside; once, even when all who asked have left before it is done.
async fn reference() -> Result<&'static Reference, Fault> {
    static DRAWN: LazyLock<Reference> = LazyLock::new(Reference::draw);
    static AT_HAND: OnceCell<&Reference> = OnceCell::const_new();
    let drawn = AT_HAND.get_or_try_init(|| async { spawn_blocking(|| &*DRAWN).await }).await;
    drawn.copied().map_err(|_| Fault::Leaving)
}

/// The addresses of the reference below its index.
pub fn pages() -> impl Iterator<Item = String> {
    CATALOGUE.iter().map(|entry| entry.meta.slug).chain(BESIDE).map(|page| format!("{REFERENCE}/{page}"))
}

/// The index of the reference.
///
/// # Errors
/// The server is about to stop.
pub async fn index(headers: HeaderMap) -> Result<Response, Fault> {
    let index = reference().await?.index.answer(&headers);
    Ok(([(CONTENT_TYPE, "text/html; charset=utf-8")], index).into_response())
}

/// A page of the reference.
///
/// # Errors
/// No such page, and the server is about to stop.
pub async fn page(Origin(origin): Origin, uri: Uri) -> Result<Response, Fault> {
    let page = uri.path().strip_prefix(REFERENCE).unwrap_or_default().trim_start_matches('/');
    let packed = reference().await?.pages.get(page).ok_or(Fault::NotFound)?;
    let mut text = String::new();
    GzDecoder::new(&packed[..]).read_to_string(&mut text).map_err(|_| Fault::Leaving)?;
    Ok(Html(text.replace(HERE, &sensewright_web::plot::escape(&origin))).into_response())
}

/// Nothing has this address: below the reference, what there is stands in its index.
pub async fn lost(uri: Uri) -> Fault {
    let below = uri.path().strip_prefix(REFERENCE).and_then(|rest| rest.strip_prefix('/'));
    let Some(page) = below else { return Fault::NotFound };
    let page: String = page.chars().take(60).collect();
    Fault::Lost {
        detail: format!(
            "There is no page and no operation \u{201c}{page}\u{201d}. The index of the API names all of them."
        ),
        ways: vec![[REFERENCE.into(), "API: all operations".into()]],
    }
}

/// The document itself.
///
/// # Errors
/// The server is about to stop.
pub async fn openapi(headers: HeaderMap) -> Result<Response, Fault> {
    let common = [(CONTENT_TYPE, "application/json"), (CACHE_CONTROL, "no-cache")];
    Ok((common, reference().await?.document.answer(&headers)).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_page_of_the_description_has_an_address() {
        let mut drawn = sensewright_web::api_pages(&openapi::document(CATALOGUE));
        for page in &mut drawn {
            *page = format!("{REFERENCE}/{page}");
        }
        let mut addresses: Vec<String> = pages().collect();
        drawn.sort();
        addresses.sort();
        assert_eq!(addresses, drawn);
    }
}
