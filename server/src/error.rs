//! # Errors
//!
//! The one place that turns what went wrong into a status, a problem document (RFC 9457) or an error page. Handlers
//! return a [`Fault`]; [`crate::edge`] calls [`dress`], which knows by then who asks and under which name.

use axum::body::Body;
use axum::http::header::{ACCEPT_ENCODING, CACHE_CONTROL, CONNECTION, CONTENT_TYPE, RETRY_AFTER};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use sensewright_core::field::{self, FieldError};
use sensewright_core::work::Refused;
use serde::Serialize;

use crate::audience::Audience;

/// The media type of a problem document.
pub const PROBLEM_JSON: &str = "application/problem+json";

const ACCEPT_POST: HeaderName = HeaderName::from_static("accept-post");

/// Where the kinds of problems are told.
const TYPES: &str = "/api/types#problem-";

/// The words for all kinds.
pub const CODES: [&str; 17] = [
    "not-json",
    "invalid",
    "bad-link",
    "not-found",
    "method",
    "body-too-slow",
    "body-broken",
    "body-too-large",
    "address-too-long",
    "media-type",
    "content-coding",
    "character-set",
    "mistake",
    "busy",
    "stopped",
    "leaving",
    "other",
];

/// Room for the headers of a problem document.
const MOST_HEADERS: usize = 16;

/// What went wrong.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// The body is not JSON.
    NotJson {
        /// What is wrong at that place.
        reason: String,
        /// Counted from 1.
        line: usize,
        /// Counted from 1, in bytes.
        column: usize,
    },
    /// Fields that are unknown, missing, of the wrong type, out of range or contradictory.
    Invalid(Vec<FieldError>),
    /// A file that cannot be read: the first faults, and how many there are.
    Unread {
        /// The first of them.
        faults: Vec<FieldError>,
        /// All.
        count: u64,
    },
    /// Values of a link on a page that are not accepted.
    NotTaken {
        /// What is wrong with them.
        faults: Vec<FieldError>,
        /// Back to where they were offered: addresses with their words.
        ways: Vec<[String; 2]>,
    },
    /// A link that cannot be opened: damaged, cut off, too long or of a later version.
    BadLink(Vec<FieldError>),
    /// Nothing has this address.
    NotFound,
    /// Nothing has this address, but what was looked for may be near.
    Lost {
        /// What there is instead.
        detail: String,
        /// Where it is: addresses with their words.
        ways: Vec<[String; 2]>,
    },
    /// The body is larger than accepted.
    TooLarge {
        /// The limit in bytes.
        most: usize,
    },
    /// The query is longer than accepted.
    TooLong {
        /// The limit in bytes.
        most: usize,
    },
    /// The body is of another media type than JSON.
    NotJsonType,
    /// The body is neither text nor a form with a file.
    NotAProfile,
    /// The body is of another media type than a form.
    NotAForm,
    /// The body is packed.
    Coded,
    /// The body is written in other letters than UTF-8.
    Letters,
    /// The body came too slowly.
    Slow,
    /// The body ended before it was whole.
    Broken,
    /// More is asked than the server can do at once.
    Busy {
        /// When to come back.
        seconds: u64,
    },
    /// Its time was up before the answer was whole.
    Stopped,
    /// The server is about to end.
    Leaving,
    /// Anything else, of which only the status is known.
    Bare(StatusCode),
}

impl From<Refused> for Fault {
    fn from(refused: Refused) -> Self {
        match refused {
            Refused::Faults(faults) => Self::Invalid(faults),
            Refused::Stopped => Self::Stopped,
        }
    }
}

impl Fault {
    /// The status.
    pub const fn status(&self) -> StatusCode {
        match self {
            Self::NotJson { .. } | Self::BadLink(_) | Self::Broken => StatusCode::BAD_REQUEST,
            Self::Slow => StatusCode::REQUEST_TIMEOUT,
            Self::Invalid(_) | Self::Unread { .. } | Self::NotTaken { .. } => StatusCode::UNPROCESSABLE_ENTITY,
            Self::NotFound | Self::Lost { .. } => StatusCode::NOT_FOUND,
            Self::TooLarge { .. } => StatusCode::PAYLOAD_TOO_LARGE,
            Self::TooLong { .. } => StatusCode::URI_TOO_LONG,
            Self::NotJsonType | Self::NotAProfile | Self::NotAForm | Self::Coded | Self::Letters => {
                StatusCode::UNSUPPORTED_MEDIA_TYPE
            }
            Self::Busy { .. } | Self::Stopped | Self::Leaving => StatusCode::SERVICE_UNAVAILABLE,
            Self::Bare(status) => *status,
        }
    }

    /// The word for its kind, one of [`CODES`].
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NotJson { .. } => "not-json",
            Self::Invalid(_) | Self::Unread { .. } | Self::NotTaken { .. } => "invalid",
            Self::BadLink(_) => "bad-link",
            Self::NotFound | Self::Lost { .. } | Self::Bare(StatusCode::NOT_FOUND) => "not-found",
            Self::TooLarge { .. } => "body-too-large",
            Self::TooLong { .. } => "address-too-long",
            Self::NotJsonType | Self::NotAProfile | Self::NotAForm => "media-type",
            Self::Coded => "content-coding",
            Self::Letters => "character-set",
            Self::Slow => "body-too-slow",
            Self::Broken => "body-broken",
            Self::Busy { .. } => "busy",
            Self::Stopped => "stopped",
            Self::Leaving => "leaving",
            Self::Bare(StatusCode::METHOD_NOT_ALLOWED) => "method",
            Self::Bare(StatusCode::INTERNAL_SERVER_ERROR) => "mistake",
            Self::Bare(_) => "other",
        }
    }

    /// What is wrong and what to do, in a sentence or two.
    fn detail(&self) -> String {
        match self {
            Self::NotJson { reason, line, column } => {
                format!("The body is not JSON that can be read: {reason}, at line {line}, column {column}.")
            }
            Self::Invalid(faults)
            | Self::Unread { faults, .. }
            | Self::BadLink(faults)
            | Self::NotTaken { faults, .. } => {
                let messages: Vec<_> = faults.iter().map(|fault| fault.message.as_str()).take(5).collect();
                messages.join(" ")
            }
            Self::NotFound => "Nothing has this address. The start page lists every calculation.".into(),
            Self::Lost { detail, .. } => detail.clone(),
            Self::TooLarge { most } => format!("The body is larger than the {most} bytes that are accepted."),
            Self::TooLong { most } => {
                format!("The query of the address is longer than the {most} bytes that are accepted.")
            }
            Self::NotJsonType => {
                "The body must be JSON, announced by the header Content-Type: application/json.".into()
            }
            Self::NotAProfile => "The body must be text (text/csv, text/plain or application/octet-stream), a form with a file (multipart/form-data), or JSON for a profile that is built in.".into(),
            Self::NotAForm => "The body must be a form, as a page sends it.".into(),
            Self::Coded => "The body is packed. Send it as it is, without the header Content-Encoding.".into(),
            Self::Letters => "The body must be written in UTF-8, and say no other character set.".into(),
            Self::Slow => "The body came too slowly to wait for it. Send it again, whole.".into(),
            Self::Broken => "The body ended before it was whole. Send it again.".into(),
            Self::Busy { seconds: 1 } => {
                "More is being asked than can be worked out at once. Try again in a second.".into()
            }
            Self::Busy { seconds } => {
                format!("More is being asked than can be worked out at once. Try again in {seconds} seconds.")
            }
            Self::Stopped => {
                "It was stopped before it was finished: its time was up. Ask for less at once, or try again later."
                    .into()
            }
            Self::Leaving => "The server is about to stop. Try again in a few seconds.".into(),
            Self::Bare(status) => bare_words(*status).into(),
        }
    }

    /// The faults of values; of another fault its words, at the place that it is told at.
    pub fn faults(&self, place: &str) -> Vec<FieldError> {
        match self {
            Self::Invalid(faults)
            | Self::Unread { faults, .. }
            | Self::BadLink(faults)
            | Self::NotTaken { faults, .. } => faults.clone(),
            other => vec![FieldError {
                field: place.into(),
                code: "not-a-document".into(),
                message: other.detail(),
                accepted: "a JSON document".into(),
                got: String::new(),
            }],
        }
    }

    /// The problem document; `id` names the request, as the log does.
    pub fn problem<'a>(&'a self, id: &'a str) -> Problem<'a> {
        let (status, code) = (self.status(), self.code());
        let (errors, faults_total) = match self {
            Self::Invalid(faults) | Self::BadLink(faults) | Self::NotTaken { faults, .. } => {
                (Some(field::told(faults)), Some(faults.len() as u64))
            }
            Self::Unread { faults, count } => (Some(field::told(faults)), Some(*count)),
            _ => (None, None),
        };
        let (line, column) = match self {
            Self::NotJson { line, column, .. } => (Some(*line), Some(*column)),
            _ => (None, None),
        };
        Problem {
            // Each kind has an address, below that of the page which tells them all.
            kind: format!("{TYPES}{code}"),
            code,
            title: phrase(status),
            status: status.as_u16(),
            detail: self.detail(),
            instance: id,
            errors,
            faults_total,
            line,
            column,
        }
    }
}

/// A fault as a program reads it.
#[derive(Debug, Serialize)]
pub struct Problem<'a> {
    #[serde(rename = "type")]
    kind: String,
    code: &'static str,
    title: &'static str,
    status: u16,
    detail: String,
    instance: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    errors: Option<&'a [FieldError]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    faults_total: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    line: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    column: Option<usize>,
}

fn phrase(status: StatusCode) -> &'static str {
    status.canonical_reason().unwrap_or("Error")
}

/// Words for the errors that the framework makes.
fn bare_words(status: StatusCode) -> &'static str {
    match status {
        StatusCode::NOT_FOUND => "Nothing has this address. The start page lists every calculation.",
        StatusCode::METHOD_NOT_ALLOWED => {
            "This address does not answer that method; the header Allow says which it does."
        }
        StatusCode::INTERNAL_SERVER_ERROR => {
            "The server made a mistake of its own. The number of the request leads to it in the log."
        }
        status if status.is_client_error() => "The request could not be understood.",
        _ => "The server could not answer.",
    }
}

impl IntoResponse for Fault {
    /// Only the status and the fault itself: [`dress`] adds the words.
    fn into_response(self) -> Response {
        let mut response = self.status().into_response();
        response.extensions_mut().insert(self);
        response
    }
}

/// Gives an error its body: a problem document for a program, a page for a person. Anything else passes unchanged.
/// The header `Allow` of a 405 is not lost by that: the router adds it outside of all layers.
pub fn dress(response: Response, audience: Audience, id: &str) -> Response {
    let Some(fault) = fault_of(&response) else { return response };
    let mut dressed = match audience {
        Audience::Program => {
            let mut dressed = Response::new(Body::from(serde_json::to_vec(&fault.problem(id)).unwrap_or_default()));
            // Those of every answer come, too.
            *dressed.headers_mut() = HeaderMap::with_capacity(MOST_HEADERS);
            dressed.headers_mut().insert(CONTENT_TYPE, HeaderValue::from_static(PROBLEM_JSON));
            dressed
        }
        Audience::Person => {
            let status = fault.status();
            let title = match fault {
                Fault::BadLink(_) => "This link cannot be opened",
                Fault::NotTaken { .. } => "This value is not taken over",
                _ => phrase(status),
            };
            let ways: &[_] = match &fault {
                Fault::Lost { ways, .. } | Fault::NotTaken { ways, .. } => ways,
                _ => &[],
            };
            Html(sensewright_web::error_page(status.as_u16(), title, &fault.detail(), ways, id)).into_response()
        }
    };
    *dressed.status_mut() = fault.status();
    let headers = dressed.headers_mut();
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    match fault {
        Fault::Busy { seconds } => drop(headers.insert(RETRY_AFTER, HeaderValue::from(seconds))),
        Fault::Stopped => drop(headers.insert(RETRY_AFTER, HeaderValue::from_static("1"))),
        Fault::Leaving => drop(headers.insert(RETRY_AFTER, HeaderValue::from_static("5"))),
        Fault::Coded => drop(headers.insert(ACCEPT_ENCODING, HeaderValue::from_static("identity"))),
        // What is left of it would be taken for the next request.
        Fault::Slow => drop(headers.insert(CONNECTION, HeaderValue::from_static("close"))),
        Fault::NotJsonType => drop(headers.insert(ACCEPT_POST, HeaderValue::from_static("application/json"))),
        _ => {}
    }
    dressed
}

/// The fault of a response that still lacks its body. The framework writes its own errors empty or as plain text.
fn fault_of(response: &Response) -> Option<Fault> {
    if let Some(fault) = response.extensions().get::<Fault>() {
        return Some(fault.clone());
    }
    let status = response.status();
    let kind = response.headers().get(CONTENT_TYPE).map(HeaderValue::as_bytes);
    let bodiless = kind.is_none_or(|kind| kind.starts_with(b"text/plain"));
    (bodiless && (status.is_client_error() || status.is_server_error())).then_some(Fault::Bare(status))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_its_word() {
        let faults = || vec![FieldError::default(); 300];
        let all = [
            Fault::NotJson { reason: String::new(), line: 1, column: 1 },
            Fault::Invalid(faults()),
            Fault::BadLink(faults()),
            Fault::NotFound,
            Fault::Bare(StatusCode::METHOD_NOT_ALLOWED),
            Fault::Slow,
            Fault::Broken,
            Fault::TooLarge { most: 1 },
            Fault::TooLong { most: 1 },
            Fault::NotJsonType,
            Fault::Coded,
            Fault::Letters,
            Fault::Bare(StatusCode::INTERNAL_SERVER_ERROR),
            Fault::Busy { seconds: 2 },
            Fault::Stopped,
            Fault::Leaving,
            Fault::Bare(StatusCode::IM_A_TEAPOT),
        ];
        assert_eq!(all.each_ref().map(Fault::code), CODES);
        let problem = all[1].problem("a");
        assert_eq!((problem.errors.map(<[_]>::len), problem.faults_total), (Some(100), Some(300)));
    }
}
