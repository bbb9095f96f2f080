//! # JSON: read strictly, written once
//!
//! As the JSON library reads it, except that a name given twice in one object is refused: the library would keep the
//! last, and a value that somebody typed would silently not count.

use std::fmt;

use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use sensewright_core::json::text;
use serde::Serialize;
use serde::de::{Deserialize, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Value};

use crate::error::Fault;

/// An answer as a response.
///
/// # Errors
/// It cannot be written: a mistake of ours.
pub fn answer<T: Serialize>(answer: &T) -> Result<Response, Fault> {
    let text = text(answer).map_err(|_| Fault::Bare(StatusCode::INTERNAL_SERVER_ERROR))?;
    Ok(([(CONTENT_TYPE, "application/json")], text).into_response())
}

/// The value of a body. Depth is limited by the JSON library, size by the limit on the body.
///
/// # Errors
/// [`Fault::NotJson`] with the place.
pub fn read(body: &[u8]) -> Result<Value, Fault> {
    match serde_json::from_slice::<Strict>(body) {
        Ok(Strict(value)) => Ok(value),
        Err(fault) => {
            // The library's words end with the place, which is given apart.
            let words = fault.to_string();
            let reason = words.split(" at line ").next().unwrap_or(&words).to_owned();
            Err(Fault::NotJson { reason, line: fault.line(), column: fault.column() })
        }
    }
}

struct Strict(Value);

impl<'de> Deserialize<'de> for Strict {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(StrictVisitor).map(Self)
    }
}

struct StrictVisitor;

impl<'de> Visitor<'de> for StrictVisitor {
    type Value = Value;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, yes: bool) -> Result<Value, E> {
        Ok(Value::Bool(yes))
    }

    fn visit_i64<E>(self, number: i64) -> Result<Value, E> {
        Ok(number.into())
    }

    fn visit_u64<E>(self, number: u64) -> Result<Value, E> {
        Ok(number.into())
    }

    fn visit_f64<E>(self, number: f64) -> Result<Value, E> {
        Ok(number.into())
    }

    fn visit_str<E>(self, text: &str) -> Result<Value, E> {
        Ok(text.into())
    }

    fn visit_string<E>(self, text: String) -> Result<Value, E> {
        Ok(text.into())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Value, A::Error> {
        let mut items = Vec::new();
        while let Some(Strict(item)) = seq.next_element()? {
            items.push(item);
        }
        Ok(Value::Array(items))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Value, A::Error> {
        let mut map = Map::new();
        while let Some(key) = access.next_key::<String>()? {
            if map.contains_key(&key) {
                let shown: String = key.chars().take(60).collect();
                return Err(A::Error::custom(format!("the name \u{201c}{shown}\u{201d} is given twice")));
            }
            let Strict(value) = access.next_value()?;
            map.insert(key, value);
        }
        Ok(Value::Object(map))
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn what_the_library_reads_is_read_alike() {
        let text = r#"{"a": [1, -2, 3.5e-7, 18446744073709551615, 1e300], "b": {"c": null, "d": true}, "e": "µ\n"}"#;
        let same: Value = serde_json::from_str(text).expect("JSON");
        assert_eq!(read(text.as_bytes()), Ok(same));
        assert_eq!(read(b"7"), Ok(json!(7)));
    }

    #[test]
    fn what_is_not_json_is_refused_with_the_place() {
        let refused = |body: &[u8]| match read(body) {
            Err(Fault::NotJson { reason, line, column }) => (reason, line, column),
            other => panic!("{other:?}"),
        };
        assert_eq!(refused(b"{\n  \"a\": ohm}"), ("expected value".into(), 2, 8));
        assert_eq!(refused(br#"{"a": 1, "b": {"a": 1}, "a": 2}"#).0, "the name \u{201c}a\u{201d} is given twice");
        assert_eq!(refused(&b"[".repeat(100_000)).0, "recursion limit exceeded");
        for body in [&b""[..], b"{} {}", br#"{"a": NaN}"#, br#"{"a": 1e999}"#, b"{\"a\": \"\xff\"}", b"{\"a\": 1,}"] {
            refused(body);
        }
    }
}
