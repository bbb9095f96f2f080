//! # Counting charge

pub mod profile;
