//! What every page has around its content.

use askama::Template;
use sensewright_core::calculation::ENGINE;

use crate::NAME;

/// The frame of a page.
#[derive(Debug)]
pub struct Shell {
    /// The name of the product.
    pub name: &'static str,
    /// The version of the calculation core.
    pub engine: &'static str,
    /// The title of the page, without the name.
    pub title: String,
    /// The path of the page, to mark it in the navigation.
    pub here: &'static str,
}

impl Shell {
    pub fn new(title: impl Into<String>, here: &'static str) -> Self {
        Self { name: NAME, engine: ENGINE, title: title.into(), here }
    }
}

/// Writing into a text cannot fail, and a value that refuses to print itself would be a fault of a template's author.
pub fn print(template: &impl Template) -> String {
    template.render().unwrap_or_else(|fault| format!("<!doctype html><title>{NAME}</title><p>{fault}</p>"))
}
