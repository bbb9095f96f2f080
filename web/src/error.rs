//! Error page.
/// A page for a person whose request could not be answered.
pub fn error_page(status: u16, title: &str, message: &str, request_id: &str) -> String {
    format!("<h1>{status} {title}</h1>{message}{request_id}")
}
