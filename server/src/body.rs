//! # Bodies and answers
//!
//! A body is read before its request takes a place, and an answer is kept until its client has read it: both count against
//! what the service holds for all, and whoever is too slow is told so, or cut off.

use std::error::Error;
use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::Extension;
use axum::body::{Body, HttpBody};
use axum::extract::{Request, State};
use axum::http::header::{CONTENT_ENCODING, CONTENT_LENGTH, CONTENT_TYPE};
use axum::http::{HeaderMap, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use bytes::{Bytes, BytesMut};
use http_body::{Frame, SizeHint};
use http_body_util::BodyExt;
use tokio::time::{Instant, timeout_at};

use crate::client::Client;
use crate::error::Fault;
use crate::limits::time_for;
use crate::media::is_file;
use crate::site::Site;
use crate::stock::Held;

/// For a body of no length.
const FIRST: Duration = Duration::from_secs(5);

/// Marks the answer to a body that broke off: whoever sent it has left, and nothing is written (RFC 9112, 8: an answer MAY be sent).
#[derive(Clone, Copy, Debug)]
pub struct BrokenOff;

/// Reads the body of a request before anything else is done for it.
pub async fn read(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    if request.method() != Method::POST || is_file(&request) {
        return next.run(request).await;
    }
    let (parts, body) = request.into_parts();
    match whole(&site, &parts.headers, Client::in_extensions(&parts.extensions), body).await {
        Ok((bytes, _held)) => next.run(Request::from_parts(parts, Body::from(bytes))).await,
        Err(Unread::BrokenOff) => (StatusCode::BAD_REQUEST, Extension(BrokenOff)).into_response(),
        Err(Unread::Refused(fault)) => fault.into_response(),
    }
}

/// Why there is no body.
enum Unread {
    BrokenOff,
    Refused(Fault),
}

impl From<Fault> for Unread {
    fn from(fault: Fault) -> Self {
        Self::Refused(fault)
    }
}

impl From<axum::Error> for Unread {
    fn from(fault: axum::Error) -> Self {
        let mut cause = fault.source();
        while let Some(one) = cause {
            if one.downcast_ref::<io::Error>().is_some_and(|fault| fault.kind() == io::ErrorKind::UnexpectedEof) {
                return Self::BrokenOff;
            }
            cause = one.source();
        }
        Self::Refused(Fault::Broken)
    }
}

async fn whole(site: &Site, headers: &HeaderMap, client: Client, mut body: Body) -> Result<(Bytes, Held), Unread> {
    readable(headers)?;
    let most = site.max_body_bytes;
    // What is announced as too large need not be read to be refused.
    if announced(headers).is_some_and(|bytes| bytes > most) {
        return Err(Fault::TooLarge { most }.into());
    }
    let mut held = site.bodies.take(client, 0).ok_or(Fault::Busy { seconds: 1 })?;
    let mut bytes = BytesMut::new();
    let began = Instant::now();
    loop {
        // What is announced says nothing of what comes: only that buys time.
        let until = began + time_for(FIRST, bytes.len() as u64);
        let Some(frame) = timeout_at(until, body.frame()).await.map_err(|_| Fault::Slow)? else { break };
        let Ok(data) = frame?.into_data() else { continue };
        if bytes.len() + data.len() > most {
            return Err(Fault::TooLarge { most }.into());
        }
        if !held.more(data.len()) {
            return Err(Fault::Busy { seconds: 1 }.into());
        }
        bytes.extend_from_slice(&data);
    }
    Ok((bytes.freeze(), held))
}

/// Packed bodies, and letters other than UTF-8, are not read.
pub(crate) fn readable(headers: &HeaderMap) -> Result<(), Fault> {
    let codings = headers.get_all(CONTENT_ENCODING).iter().map(|coding| coding.to_str().unwrap_or("?"));
    let mut codings = codings.flat_map(|line| line.split(',')).map(str::trim);
    if codings.any(|coding| !coding.is_empty() && !coding.eq_ignore_ascii_case("identity")) {
        return Err(Fault::Coded);
    }
    let kind = headers.get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let letters =
        kind.split(';').skip(1).filter_map(|parameter| parameter.split_once('=')).find_map(|(name, value)| {
            name.trim().eq_ignore_ascii_case("charset").then(|| value.trim().trim_matches('"').to_ascii_lowercase())
        });
    match letters.as_deref() {
        None | Some("utf-8" | "utf8" | "us-ascii") => Ok(()),
        Some(_) => Err(Fault::Letters),
    }
}

fn announced(headers: &HeaderMap) -> Option<usize> {
    headers.get(CONTENT_LENGTH)?.to_str().ok()?.parse().ok()
}

/// Keeps count of an answer until it is written.
pub async fn keep(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    let client = Client::in_extensions(request.extensions());
    let response = next.run(request).await;
    let length = usize::try_from(response.body().size_hint().lower()).unwrap_or(usize::MAX);
    match site.answers.take(client, length) {
        Some(held) => response.map(|body| Body::new(Kept { body, held: Arc::new(held) })),
        None => Fault::Busy { seconds: 1 }.into_response(),
    }
}

/// A body whose bytes count for as long as somebody has them.
struct Kept {
    body: Body,
    held: Arc<Held>,
}

struct Piece {
    bytes: Bytes,
    _held: Arc<Held>,
}

impl AsRef<[u8]> for Piece {
    fn as_ref(&self) -> &[u8] {
        &self.bytes
    }
}

impl HttpBody for Kept {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let held = Arc::clone(&self.held);
        Pin::new(&mut self.body)
            .poll_frame(cx)
            .map_ok(|frame| frame.map_data(|bytes| Bytes::from_owner(Piece { bytes, _held: held })))
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}

#[cfg(test)]
mod tests {
    use axum::http::{HeaderName, HeaderValue};

    use super::*;

    #[test]
    fn what_is_packed_or_in_other_letters_is_not_read() {
        let read = |name: HeaderName, value: &'static str| {
            readable(&HeaderMap::from_iter([(name, HeaderValue::from_static(value))]))
        };
        for coding in ["gzip", "identity, br", "x"] {
            assert_eq!(read(CONTENT_ENCODING, coding), Err(Fault::Coded), "{coding}");
        }
        assert_eq!(read(CONTENT_ENCODING, "Identity"), Ok(()));
        for kind in ["application/json; charset=latin1", "application/json;a=b; Charset=\"utf-16\""] {
            assert_eq!(read(CONTENT_TYPE, kind), Err(Fault::Letters), "{kind}");
        }
        for kind in
            ["application/json", "application/json; charset=UTF-8", "text/plain; charset=\"us-ascii\"", "charset"]
        {
            assert_eq!(read(CONTENT_TYPE, kind), Ok(()), "{kind}");
        }
    }
}
