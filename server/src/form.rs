//! # Forms
//!
//! The pairs of a form, counted before any is taken apart.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::{FromRequest, Request};
use axum::http::header::CONTENT_TYPE;
use sensewright_core::field::few_enough;

use crate::error::Fault;
use crate::site::Site;

/// A key and a value of a form or a query, decoded.
pub type Pair = (String, String);

/// The pairs of a form.
#[derive(Debug)]
pub struct FormBody(pub Vec<Pair>);

impl FromRequest<Arc<Site>> for FormBody {
    type Rejection = Fault;

    async fn from_request(request: Request, site: &Arc<Site>) -> Result<Self, Fault> {
        let kind = request.headers().get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
        let kind = kind.split(';').next().unwrap_or_default().trim();
        if !kind.eq_ignore_ascii_case("application/x-www-form-urlencoded") {
            return Err(Fault::NotAForm);
        }
        let bytes = Bytes::from_request(request, site).await.map_err(|refused| Fault::Bare(refused.status()))?;
        pairs(&bytes).map(Self)
    }
}

/// The pairs of a body or of a query; a byte that is no UTF-8 becomes a mark that no field accepts.
///
/// # Errors
/// There are too many.
pub fn pairs(text: &[u8]) -> Result<Vec<Pair>, Fault> {
    few_enough(text.split(|byte| *byte == b'&').count()).map_err(|fault| Fault::Invalid(vec![fault]))?;
    Ok(form_urlencoded::parse(text).into_owned().collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pairs_are_counted_before_they_are_taken_apart() {
        let pair = |key: &str, value: &str| (key.to_owned(), value.to_owned());
        assert_eq!(
            pairs(b"a.b=1+%C2%B5&c=&a.b=%ff"),
            Ok(vec![pair("a.b", "1 µ"), pair("c", ""), pair("a.b", "\u{fffd}")])
        );
        assert_eq!(pairs(b""), Ok(Vec::new()));
        assert!(pairs("a=1&".repeat(1_999).as_bytes()).is_ok());
        for many in ["a=1&".repeat(2_000), "&".repeat(150_000)] {
            let Err(Fault::Invalid(faults)) = pairs(many.as_bytes()) else { panic!("they are taken") };
            assert_eq!(faults[0].code, "too-many");
        }
    }
}
