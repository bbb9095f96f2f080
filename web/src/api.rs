//! API reference.
use serde_json::Value;
/// The API reference, drawn from the OpenAPI document.
pub fn api_page(openapi: &Value, origin: &str) -> String {
    format!("{openapi}{origin}")
}
