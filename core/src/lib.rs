//! # Sensewright core
//!
//! The physics, the budget engine and the declarations of every input, without I/O, clock or global state.
//! Foundations first, then the calculations in the order of the signal.

pub mod address;
pub mod constant;
pub mod quantity;

pub mod field;
pub mod json;
pub mod judge;
pub mod numeric;
pub mod report;
pub mod work;

pub mod propagation;

pub mod physics;

pub mod channel;

pub mod calc;
pub mod calculation;
pub mod catalogue;
pub mod demo;
pub mod design;
pub mod profile;
