//! Alive and ready.

use std::sync::Arc;

use axum::extract::State;

use crate::error::Fault;
use crate::site::Site;

/// The process answers.
pub async fn alive() -> &'static str {
    "alive\n"
}

/// Requests are welcome.
///
/// # Errors
/// The server is about to end.
pub async fn ready(State(site): State<Arc<Site>>) -> Result<&'static str, Fault> {
    if site.is_leaving() { Err(Fault::Leaving) } else { Ok("ready\n") }
}
