//! # The edge
//!
//! What every answer gets, whatever made it: the name of the request, a body if it is an error, the headers that keep
//! a browser from doing more than it should, and a line in the log.

use std::sync::Arc;
use std::time::Instant;

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::{CONTENT_SECURITY_POLICY, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tokio::time::timeout;

use crate::audience::Audience;
use crate::error::{self, Fault};
use crate::limits::MOST_QUERY_BYTES;
use crate::site::Site;

/// Everything comes from this server, nothing from elsewhere, nothing inline; no page of ours inside another's.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

const SAFETY: [(HeaderName, HeaderValue); 6] = [
    (CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY)),
    (X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff")),
    // An address carries the design: it stays here.
    (REFERRER_POLICY, HeaderValue::from_static("no-referrer")),
    (HeaderName::from_static("cross-origin-opener-policy"), HeaderValue::from_static("same-origin")),
    (HeaderName::from_static("cross-origin-resource-policy"), HeaderValue::from_static("same-origin")),
    (
        HeaderName::from_static("permissions-policy"),
        HeaderValue::from_static("camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
    ),
];

const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Runs a request and dresses its answer.
pub async fn edge(State(site): State<Arc<Site>>, mut request: Request, next: Next) -> Response {
    let began = Instant::now();
    let id = site.next_id();
    let audience = Audience::of(request.uri(), request.headers());
    let (method, uri) = (request.method().clone(), request.uri().clone());
    request.extensions_mut().insert(audience);

    let answered = if uri.query().is_some_and(|query| query.len() > MOST_QUERY_BYTES) {
        Fault::TooLong { most: MOST_QUERY_BYTES }.into_response()
    } else {
        next.run(request).await
    };
    let mut response = error::dress(answered, audience, &id);
    if method == Method::HEAD {
        *response.body_mut() = Body::empty();
    }
    secure(response.headers_mut(), &id);
    log(&site, &id, &method, &uri, response.status(), began);
    response
}

fn secure(headers: &mut HeaderMap, id: &str) {
    for (name, value) in SAFETY {
        // What is made to stand in another's page has said so.
        headers.entry(name).or_insert(value);
    }
    if let Ok(id) = HeaderValue::from_str(id) {
        headers.insert(REQUEST_ID, id);
    }
}

/// One line a request. The query stays out: it is the user's design.
fn log(site: &Site, id: &str, method: &Method, uri: &Uri, status: StatusCode, began: Instant) {
    if status == StatusCode::SERVICE_UNAVAILABLE {
        if let Some(count) = site.refusals.add() {
            tracing::warn!(count, "refused for load");
        }
        return;
    }
    // An address is ASCII, so any byte is a boundary; a line of the log stays a line.
    let path = uri.path();
    let path = path.get(..200).unwrap_or(path);
    let (status, micros) = (status.as_u16(), u64::try_from(began.elapsed().as_micros()).unwrap_or(u64::MAX));
    match status {
        500 => tracing::error!(id, %method, path, status, micros, "answered"),
        501.. => tracing::warn!(id, %method, path, status, micros, "answered"),
        _ => tracing::info!(id, %method, path, status, micros, "answered"),
    }
}

/// Refuses a request when too many are in work.
pub async fn in_flight(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    // The layers of a router are made once a route, so a limit of the layer would be a limit a route: this one is not.
    let Ok(_place) = site.in_flight.try_acquire() else { return Fault::Busy { seconds: 1 }.into_response() };
    next.run(request).await
}

/// Ends a request when its time is up: what it has begun is told so as it is dropped.
pub async fn in_time(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    timeout(site.timeout, next.run(request)).await.unwrap_or_else(|_| Fault::Stopped.into_response())
}
