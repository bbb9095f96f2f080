//! The description of the API, for people and for programs.

use std::sync::Arc;

use axum::extract::State;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{Html, IntoResponse, Response};

use crate::error::Fault;
use crate::openapi;
use crate::question::Origin;
use crate::site::Site;

/// The reference page.
///
/// # Errors
/// Load.
pub async fn page(State(site): State<Arc<Site>>, Origin(origin): Origin) -> Result<Html<String>, Fault> {
    site.heavy.run(move |_| Html(sensewright_web::api_page(openapi::document(), &origin))).await
}

/// The document itself.
pub async fn openapi() -> Response {
    let headers = [(CONTENT_TYPE, "application/json"), (CACHE_CONTROL, "no-cache")];
    (headers, openapi::text()).into_response()
}
