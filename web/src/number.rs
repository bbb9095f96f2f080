//! number
