//! # The pre-charge of a link
//!
//! How the link voltage rises, when readings close the main contactor, and what flows then.

pub mod closing;
pub mod course;
pub mod inrush;
