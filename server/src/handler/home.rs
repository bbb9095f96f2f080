//! The start page and the demos.

use std::sync::OnceLock;

use axum::extract::Path;
use axum::response::{Html, Redirect};
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::demo::{self, DEMOS};

use crate::error::Fault;

/// The start page: the same for everybody, so it is drawn once.
pub async fn page() -> Html<&'static str> {
    static PAGE: OnceLock<String> = OnceLock::new();
    Html(PAGE.get_or_init(|| sensewright_web::start_page(&DEMOS, CATALOGUE)))
}

/// The address of a demo.
///
/// # Errors
/// No such demo.
pub async fn demo(Path(slug): Path<String>) -> Result<Redirect, Fault> {
    let demo = demo::find(&slug).ok_or(Fault::NotFound)?;
    Ok(Redirect::to(&demo.address))
}
