//! # The cells: balancing

pub mod balancing;
