//! A calculation by JSON.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::{FromRequest, Request};
use axum::response::Response;
use sensewright_core::calculation::{Ask, Depth, Entry};
use sensewright_core::field::Notation;

use crate::budget::{Asked, Budget};
use crate::desk::Desk;
use crate::error::Fault;
use crate::gate::Job;
use crate::json;
use crate::media::is_json;
use crate::site::Site;

/// Answers a JSON question with the common envelope.
///
/// # Errors
/// A body that is not JSON, faults of the input, and load.
pub async fn calculate(desk: Desk, JsonBody(body): JsonBody, entry: &'static Entry) -> Result<Response, Fault> {
    // Reading waits its turn, too: a body of the largest size grows twentyfold as a tree.
    let plan = move |budget: Budget| {
        let input = json::read(&body)?;
        let input = entry.read(Some(&input), Notation::Json).map_err(Fault::Invalid)?;
        let cost = budget.allow(&Asked::One(entry, &*input, Depth::Whole))?;
        Ok(Job::new(cost, move |work| json::answer(&entry.solve(&*input, Ask::to(Depth::Whole), work)?)))
    };
    desk.run(plan).await
}

/// The bytes of a body that is announced as JSON.
#[derive(Debug)]
pub struct JsonBody(pub Bytes);

impl FromRequest<Arc<Site>> for JsonBody {
    type Rejection = Fault;

    async fn from_request(request: Request, site: &Arc<Site>) -> Result<Self, Fault> {
        if !is_json(request.headers()) {
            return Err(Fault::NotJsonType);
        }
        Bytes::from_request(request, site).await.map(Self).map_err(|refused| Fault::Bare(refused.status()))
    }
}
