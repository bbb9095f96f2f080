//! # The temperature

pub mod thermistor;
