//! The start page and the demos.

use std::sync::LazyLock;

use axum::extract::Path;
use axum::http::HeaderMap;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Redirect, Response};
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::demo::{self, DEMOS};

use crate::error::Fault;
use crate::packed::Packed;

/// The start page: the same for everybody, so it is drawn once.
pub async fn page(headers: HeaderMap) -> Response {
    static PAGE: LazyLock<Packed> = LazyLock::new(|| Packed::new(sensewright_web::start_page(&DEMOS, CATALOGUE)));
    ([(CONTENT_TYPE, "text/html; charset=utf-8")], PAGE.answer(&headers)).into_response()
}

/// The address of a demo.
///
/// # Errors
/// No such demo.
pub async fn demo(Path(slug): Path<String>) -> Result<Redirect, Fault> {
    let demo = demo::find(&slug).ok_or(Fault::NotFound)?;
    Ok(Redirect::to(&demo.address))
}
