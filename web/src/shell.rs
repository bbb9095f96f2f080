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
    /// Where the navigation leads, in order.
    pub pages: &'static [[&'static str; 2]],
    /// Where it leads at its end: to the reference of what the page shows.
    pub reference: String,
}

/// The pages that stand for themselves.
const PAGES: &[[&str; 2]] = &[["/", "Start"], ["/worksheet", "New design"], ["/compare", "Compare"]];

/// The pages of a design: they keep it.
const PAGES_OF_A_DESIGN: &[[&str; 2]] =
    &[["/", "Start"], ["./", "This design"], ["compare", "Compare"], ["report", "Report"]];

/// The index of the reference.
pub const INDEX: &str = "/api";

impl Shell {
    pub fn new(title: impl Into<String>, here: &'static str) -> Self {
        Self { name: NAME, engine: ENGINE, title: title.into(), here, pages: PAGES, reference: INDEX.into() }
    }

    /// The same of a page that shows a calculation: its reference is the calculation's.
    pub fn of_calculation(self, slug: &str) -> Self {
        Self { reference: format!("{INDEX}/{slug}"), ..self }
    }

    /// Whether a page of the navigation is this one.
    pub fn is_here(&self, page: &[&str; 2]) -> bool {
        self.here == page[0]
    }

    /// Whether the page is one of the reference.
    pub fn in_reference(&self) -> bool {
        self.here == INDEX
    }

    /// The frame of a page of a design.
    pub fn of_design(title: impl Into<String>, here: &'static str) -> Self {
        Self { pages: PAGES_OF_A_DESIGN, ..Self::new(title, here) }
    }
}

/// Writing into a text cannot fail, and a value that refuses to print itself would be a fault of a template's author.
pub fn print(template: &impl Template) -> String {
    template.render().unwrap_or_else(|fault| format!("<!doctype html><title>{NAME}</title><p>{fault}</p>"))
}
