//! form
