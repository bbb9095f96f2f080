//! # Amplifier and converter

pub mod converter;
