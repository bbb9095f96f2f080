//! # Channels with a fault
//!
//! A fault replaces a part of a channel's circuit or adds one. The circuits are those of the healthy channels: the same
//! functions divide, sense and turn a resistance into a temperature; firmware keeps the constants of the healthy parts.

mod divider;
mod sense;
mod sensor;

pub use divider::{DividerChain, DividerChange};
pub use sense::{SenseChain, SenseChange};
pub use sensor::{SensorChain, SensorChange};
