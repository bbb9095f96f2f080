//! # The barrier between the battery and the controller

pub mod isolation;
