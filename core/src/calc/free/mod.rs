//! # Measurement models of your own

pub mod uncertainty;
