//! # Measurement models of your own, and what is decided on a measured value

pub mod conformity;
pub mod uncertainty;
