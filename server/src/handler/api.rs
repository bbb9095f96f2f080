//! A calculation by JSON.

use std::sync::Arc;

use axum::Json;
use axum::body::Bytes;
use axum::extract::{FromRequest, Request};
use axum::http::header::{CONTENT_LENGTH, CONTENT_TYPE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use sensewright_core::calculation::{Ask, Depth, Entry};
use sensewright_core::field::Notation;
use sensewright_core::work::Work;

use crate::error::Fault;
use crate::json;
use crate::site::Site;

/// Answers a JSON question with the common envelope.
///
/// # Errors
/// A body that is not JSON, faults of the input, and load.
pub async fn calculate(site: Arc<Site>, JsonBody(body): JsonBody, entry: &'static Entry) -> Result<Response, Fault> {
    // Reading belongs to the work: a body of the largest size grows twentyfold as a tree.
    let work = move |work: Work| {
        let input = json::read(&body)?;
        let input = entry.read(Some(&input), Notation::Json).map_err(Fault::Invalid)?;
        let answer = entry.solve(&*input, Ask::to(Depth::Whole), work)?;
        Ok(Json(answer).into_response())
    };
    site.heavy.run(work).await?
}

/// The bytes of a body that is announced as JSON and not too large.
#[derive(Debug)]
pub struct JsonBody(pub Bytes);

impl FromRequest<Arc<Site>> for JsonBody {
    type Rejection = Fault;

    async fn from_request(request: Request, site: &Arc<Site>) -> Result<Self, Fault> {
        if !is_json(request.headers()) {
            return Err(Fault::NotJsonType);
        }
        let too_large = Fault::TooLarge { most: site.max_body_bytes };
        // What is announced as too large need not be read to be refused.
        if announced(request.headers()).is_some_and(|bytes| bytes > site.max_body_bytes) {
            return Err(too_large);
        }
        match Bytes::from_request(request, site).await {
            Ok(body) => Ok(Self(body)),
            Err(refused) if refused.status() == StatusCode::PAYLOAD_TOO_LARGE => Err(too_large),
            Err(refused) => Err(Fault::Bare(refused.status())),
        }
    }
}

fn is_json(headers: &HeaderMap) -> bool {
    let kind = headers.get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    kind.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/json"))
}

fn announced(headers: &HeaderMap) -> Option<usize> {
    headers.get(CONTENT_LENGTH)?.to_str().ok()?.parse().ok()
}
