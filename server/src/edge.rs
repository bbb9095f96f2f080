//! # The edge
//!
//! What every answer gets, whatever made it: the name of the request, a body if it is an error, the headers that keep
//! a browser from doing more than it should, and a line in the log.

use std::sync::Arc;
use std::time::Instant;

use axum::body::{HttpBody, to_bytes};
use axum::extract::{MatchedPath, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_LENGTH, CONTENT_SECURITY_POLICY, CONTENT_TYPE, LOCATION, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tokio::time::timeout;

use crate::audience::Audience;
use crate::body::BrokenOff;
use crate::client::{Client, Peer};
use crate::connections::Line;
use crate::error::{self, Fault};
use crate::handler::common::today;
use crate::kept::MOST_BYTES;
use crate::limits::MOST_QUERY_BYTES;
use crate::media::is_file;
use crate::question::origin;
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
    let seen = Seen::new(site, &request);
    let audience = Audience::of(request.uri(), request.headers());
    let peer = request.extensions().get::<Peer>().copied();
    let client = Client::of(peer, request.headers(), &seen.site.trusted);
    request.extensions_mut().insert(audience);
    request.extensions_mut().insert(client);

    let answered = if request.uri().query().is_some_and(|query| query.len() > MOST_QUERY_BYTES) {
        Fault::TooLong { most: MOST_QUERY_BYTES }.into_response()
    } else {
        next.run(request).await
    };
    // Nothing is written: the log tells that its client has left.
    if answered.extensions().get::<BrokenOff>().is_some() {
        return answered;
    }
    let refused = answered.extensions().get::<Fault>().map(Fault::code);
    let mut response = error::dress(answered, audience, &seen.id);
    secure(response.headers_mut(), &seen.id);
    let response = onward(response);
    seen.answered(response.status(), refused.unwrap_or_default());
    response
}

/// The most bytes of all headers of an answer: servers on the way keep a page of memory for them.
const MOST_HEADERS: usize = 3_800;
/// What is added on the way out: length, date, coding, kind of connection.
const ADDED: usize = 300;

/// Where headers would be too long for an address, a page leads to it.
fn onward(response: Response) -> Response {
    let length: usize = response.headers().iter().map(|(name, value)| name.as_str().len() + value.len() + 4).sum();
    let to = response.headers().get(LOCATION).and_then(|to| to.to_str().ok());
    let Some(to) = to.filter(|_| length + ADDED > MOST_HEADERS) else { return response };
    let page = sensewright_web::onward_page(to);
    let mut headers = response.headers().clone();
    headers.remove(LOCATION);
    headers.remove(CONTENT_LENGTH);
    headers.insert(CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8"));
    (headers, page).into_response()
}

fn secure(headers: &mut HeaderMap, id: &str) {
    headers.reserve(SAFETY.len() + 1);
    for (name, value) in SAFETY {
        // What is made to stand in another's page has said so.
        headers.entry(name).or_insert(value);
    }
    if let Ok(id) = HeaderValue::from_str(id) {
        headers.insert(REQUEST_ID, id);
    }
}

/// A request that the log tells of: once, however it ends. Neither its query nor its path is told, which hold the user's
/// design, but the route that it took.
struct Seen {
    site: Arc<Site>,
    id: String,
    method: Method,
    route: Option<MatchedPath>,
    began: Instant,
    told: bool,
}

impl Seen {
    fn new(site: Arc<Site>, request: &Request) -> Self {
        Self {
            id: site.next_id(),
            site,
            method: request.method().clone(),
            route: request.extensions().get::<MatchedPath>().cloned(),
            began: Instant::now(),
            told: false,
        }
    }

    fn route(&self) -> &str {
        self.route.as_ref().map_or("none", MatchedPath::as_str)
    }

    fn micros(&self) -> u64 {
        u64::try_from(self.began.elapsed().as_micros()).unwrap_or(u64::MAX)
    }

    fn answered(mut self, status: StatusCode, refused: &'static str) {
        self.told = true;
        self.site.metrics.answered(&self.method, self.route(), status, self.began.elapsed());
        if status == StatusCode::SERVICE_UNAVAILABLE {
            self.site.metrics.refused(refused, self.began.elapsed());
            if let Some(count) = self.site.refusals.add() {
                tracing::warn!(count, "refused for load");
            }
            return;
        }
        let (id, method, route, status, micros) =
            (&self.id, &self.method, self.route(), status.as_u16(), self.micros());
        match status {
            500 => tracing::error!(id, %method, route, status, micros, "answered"),
            501.. => tracing::warn!(id, %method, route, status, micros, "answered"),
            _ => tracing::info!(id, %method, route, status, micros, "answered"),
        }
    }
}

impl Drop for Seen {
    /// Dropped before it was answered: whoever asked has left.
    fn drop(&mut self) {
        if !self.told {
            self.site.metrics.left();
            let (id, method, route, micros) = (&self.id, &self.method, self.route(), self.micros());
            tracing::info!(id, %method, route, micros, "left");
        }
    }
}

/// Refuses a request when too many are in work.
pub async fn in_flight(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    // The layers of a router are made once a route, so a limit of the layer would be a limit a route: this one is not.
    let client = Client::in_extensions(request.extensions());
    if is_file(&request) {
        return next.run(request).await;
    }
    let Some(_place) = site.in_flight.take(client, 1) else { return Fault::Busy { seconds: 1 }.into_response() };
    let _working = request.extensions().get::<Arc<Line>>().map(Line::work);
    next.run(request).await
}

/// Ends a request when its time is up: what it has begun is told so as it is dropped.
pub async fn in_time(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    if is_file(&request) {
        return next.run(request).await;
    }
    timeout(site.timeout, next.run(request)).await.unwrap_or_else(|_| Fault::Stopped.into_response())
}

/// Answers with a page that was drawn already for an earlier request, or keeps the one that is drawn now.
pub async fn drawn_once(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    let Some(of) = all_of(&site, &request) else { return next.run(request).await };
    let anew = request.headers().get(CACHE_CONTROL).is_some_and(|wish| {
        let wish = wish.to_str().unwrap_or_default();
        wish.split(',').any(|one| one.trim().eq_ignore_ascii_case("no-cache"))
    });
    if let Some((headers, page)) = site.kept.page(&of).filter(|_| !anew) {
        site.metrics.kept();
        return (headers, page).into_response();
    }
    let (head, body) = next.run(request).await.into_parts();
    let is_page = head.headers.get(CONTENT_TYPE).is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"));
    let fits = body.size_hint().exact().is_some_and(|bytes| bytes <= MOST_BYTES as u64);
    if head.status != StatusCode::OK || !is_page || !fits {
        return Response::from_parts(head, body);
    }
    // All of it is there: nothing is waited for.
    match to_bytes(body, MOST_BYTES).await {
        Ok(page) => {
            site.kept.keep(of, (head.headers.clone(), page.clone()));
            Response::from_parts(head, page.into())
        }
        Err(_) => Fault::Stopped.into_response(),
    }
}

/// All that a page follows from, the day that a report bears among it; nothing where a program asks, or for a part of a page.
fn all_of(site: &Site, request: &Request) -> Option<String> {
    let (uri, headers) = (request.uri(), request.headers());
    let whole = !headers.contains_key("x-part") && Audience::of(uri, headers) == Audience::Person;
    let address = uri.path_and_query()?;
    (request.method() == Method::GET && whole).then(|| format!("{} {} {address}", today(), origin(site, headers)))
}
