//! # The page of an error, and the page that leads on
//!
//! The first says what happened and what to do; the number of the request leads to it in the log.

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

#[derive(Template)]
#[template(path = "onward.html")]
struct OnwardPage<'a> {
    shell: Shell,
    to: &'a str,
}

/// A page that leads on by itself, where the address is too long for a header.
pub fn onward_page(to: &str) -> String {
    print(&OnwardPage { shell: Shell::new("Done", ""), to })
}

/// A page for a person whose request could not be answered; `ways` lead to what may have been meant.
pub fn error_page(status: u16, title: &str, message: &str, ways: &[[String; 2]], request_id: &str) -> String {
    let shell = Shell::new(format!("Error: {title}"), "");
    print(&ErrorPage { shell, status, title, message, ways, request: request_id })
}
