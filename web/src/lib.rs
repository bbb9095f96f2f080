//! # The pages of Sensewright
//!
//! Every public function takes what the core answered and gives back text: no I/O, no clock, no state.
//! [`page`] puts a calculation's page together from the rows of [`form`] and the parts of [`result`]; [`plot`] draws;
//! [`number`] prints; [`start`], [`api`] and [`error`] are the other pages; [`mod@export`] writes files to keep;
//! [`mod@asset`] holds style sheets and scripts. Templates hold no arithmetic.

pub mod api;
pub mod asset;
pub mod design;
pub mod error;
pub mod export;
pub mod form;
pub mod number;
pub mod page;
pub mod plot;
pub mod result;
pub mod start;

mod shell;

use sensewright_core::calculation::Answer;
use sensewright_core::field::FieldError;

pub use api::{api_page, api_pages};
pub use asset::{Asset, asset};
pub use design::alone::{nearest_of_design_page, nearest_page, nearest_part, turns_page, turns_part};
pub use design::badge::badge_svg;
pub use design::compare::compare_page;
pub use design::focus::{focus_live, focus_page};
pub use design::fresh::fresh_page;
pub use design::overview::overview_page;
pub use design::report::{report_page, running_head};
pub use design::{ALL, Began, PACK, Sheet, document_key, typed_pairs};
pub use error::{error_page, onward_page};
pub use export::{Export, budget_csv, chart_svg, design_export, export, part_export, table_csv};
pub use page::{entry_page, live_part};
pub use start::start_page;

/// The name of the product: the one place that says it.
pub const NAME: &str = "Sensewright";

/// What became of the values of a calculation's page.
#[derive(Clone, Copy, Debug)]
pub enum Outcome<'a> {
    /// They were complete, and this is the answer.
    Solved(&'a Answer),
    /// Some were refused. Everything typed stays as typed.
    Refused {
        /// What is wrong, each fault at its field.
        faults: &'a [FieldError],
        /// The answer to the last complete set of values, when there is one.
        last: Option<&'a Answer>,
    },
}

impl<'a> Outcome<'a> {
    /// The answer to show.
    pub const fn answer(self) -> Option<&'a Answer> {
        match self {
            Self::Solved(answer) => Some(answer),
            Self::Refused { last, .. } => last,
        }
    }

    /// The faults to show.
    pub const fn faults(self) -> &'a [FieldError] {
        match self {
            Self::Solved(_) => &[],
            Self::Refused { faults, .. } => faults,
        }
    }
}
