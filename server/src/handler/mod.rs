//! # The handlers
//!
//! Each takes a question apart, asks the core and hands the answer to a page or to JSON. None of them calculates.

pub mod api;
pub mod asset;
pub mod carried;
pub mod common;
pub mod design;
pub mod docs;
pub mod download;
pub mod entry;
pub mod health;
pub mod home;
pub mod profile;
pub mod sheet;
pub mod visit;
pub mod worksheet;
