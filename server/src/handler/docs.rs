//! The description of the API, for people and for programs.

use std::sync::LazyLock;

use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::http::{HeaderMap, Uri};
use axum::response::{Html, IntoResponse, Response};
use sensewright_core::work::Work;

use crate::desk::Desk;
use crate::error::Fault;
use crate::gate::Job;
use crate::openapi;
use crate::packed::Packed;
use crate::question::Origin;

/// Where the reference begins.
pub const REFERENCE: &str = "/api";

/// The addresses of the reference below its index.
pub fn pages() -> Vec<String> {
    sensewright_web::api_pages(openapi::document()).iter().map(|page| format!("{REFERENCE}/{page}")).collect()
}

/// The index of the reference: the same for everybody, so it is drawn once.
pub async fn index(headers: HeaderMap) -> Response {
    static PAGE: LazyLock<Packed> =
        LazyLock::new(|| Packed::new(sensewright_web::api_page(openapi::document(), "", "").unwrap_or_default()));
    ([(CONTENT_TYPE, "text/html; charset=utf-8")], PAGE.answer(&headers)).into_response()
}

/// A page of the reference.
///
/// # Errors
/// No such page, and load.
pub async fn page(desk: Desk, Origin(origin): Origin, uri: Uri) -> Result<Response, Fault> {
    let work = move |_: Work| {
        let page = uri.path().strip_prefix(REFERENCE).unwrap_or_default().trim_start_matches('/');
        let page = sensewright_web::api_page(openapi::document(), page, &origin).ok_or(Fault::NotFound)?;
        Ok(Html(page).into_response())
    };
    desk.run(|_| Ok(Job::light(work))).await
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
pub async fn openapi(headers: HeaderMap) -> Response {
    static TEXT: LazyLock<Packed> = LazyLock::new(|| Packed::new(openapi::document().to_string()));
    let common = [(CONTENT_TYPE, "application/json"), (CACHE_CONTROL, "no-cache")];
    (common, TEXT.answer(&headers)).into_response()
}
