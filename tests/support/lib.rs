//! Shared helpers.
