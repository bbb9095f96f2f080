//! # The page of an error
//!
//! Says what happened and what to do; the number of the request leads to it in the log.

use askama::Template;

use crate::shell::{Shell, print};

#[derive(Template)]
#[template(path = "error.html")]
struct ErrorPage<'a> {
    shell: Shell,
    status: u16,
    title: &'a str,
    message: &'a str,
    request: &'a str,
}

/// A page for a person whose request could not be answered.
pub fn error_page(status: u16, title: &str, message: &str, request_id: &str) -> String {
    print(&ErrorPage { shell: Shell::new(format!("Error: {title}"), ""), status, title, message, request: request_id })
}
