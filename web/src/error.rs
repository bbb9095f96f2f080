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
    ways: &'a [[String; 2]],
    request: &'a str,
}

/// A page for a person whose request could not be answered; `ways` lead to what may have been meant.
pub fn error_page(status: u16, title: &str, message: &str, ways: &[[String; 2]], request_id: &str) -> String {
    let shell = Shell::new(format!("Error: {title}"), "");
    print(&ErrorPage { shell, status, title, message, ways, request: request_id })
}
