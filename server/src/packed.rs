//! # What never changes while the server runs
//!
//! Kept as it is and packed, so that it costs nothing to hand out and stands outside of all limits.

use std::io::Write;

use axum::http::header::{ACCEPT_ENCODING, CONTENT_ENCODING, VARY};
use axum::http::{HeaderMap, HeaderValue};
use axum::response::{IntoResponse, Response};
use bytes::Bytes;
use flate2::Compression;
use flate2::write::GzEncoder;

/// Less is not worth it.
const LEAST_BYTES: usize = 1_024;

/// Bytes, and the same packed where that is less.
#[derive(Debug)]
pub struct Packed {
    plain: Bytes,
    gzip: Option<Bytes>,
}

impl Packed {
    /// Keeps bytes in both forms.
    pub fn new(plain: impl Into<Bytes>) -> Self {
        let plain = plain.into();
        let gzip = gzip(&plain).filter(|gzip| plain.len() >= LEAST_BYTES && gzip.len() < plain.len());
        Self { plain, gzip }
    }

    /// In the form that the client takes.
    pub fn answer(&self, headers: &HeaderMap) -> Response {
        let mut response = match &self.gzip {
            Some(gzip) if takes_gzip(headers) => {
                ([(CONTENT_ENCODING, HeaderValue::from_static("gzip"))], gzip.clone()).into_response()
            }
            _ => self.plain.clone().into_response(),
        };
        response.headers_mut().insert(VARY, HeaderValue::from_static("accept-encoding"));
        response
    }
}

/// Packed as small as it gets.
pub fn gzip(plain: &[u8]) -> Option<Bytes> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(plain).ok()?;
    encoder.finish().ok().map(Bytes::from)
}

/// Whether gzip is named with a weight above nothing.
fn takes_gzip(headers: &HeaderMap) -> bool {
    let lines = headers.get_all(ACCEPT_ENCODING).iter().filter_map(|line| line.to_str().ok());
    lines.flat_map(|line| line.split(',')).any(|wish| {
        let mut parts = wish.split(';').map(str::trim);
        let named = parts.next().is_some_and(|coding| coding.eq_ignore_ascii_case("gzip"));
        let weight = parts.find_map(|part| part.strip_prefix("q=")).map_or(Some(1.0), |q| q.parse().ok());
        named && weight.is_some_and(|weight: f32| weight > 0.0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_takes_gzip_has_said_so() {
        for (wish, taken) in [
            ("gzip", true),
            ("br, GZIP;q=0.5", true),
            ("gzip;q=0", false),
            ("gzip; q=0.0", false),
            ("gzip;q=x", false),
            ("br", false),
            ("", false),
        ] {
            let headers = HeaderMap::from_iter([(ACCEPT_ENCODING, HeaderValue::from_static(wish))]);
            assert_eq!(takes_gzip(&headers), taken, "{wish}");
        }
    }

    #[test]
    fn what_is_short_or_packed_already_stays_as_it_is() {
        assert!(Packed::new("short").gzip.is_none());
        assert!(Packed::new("a".repeat(2_000)).gzip.is_some_and(|gzip| gzip.len() < 100));
    }
}
