//! result
