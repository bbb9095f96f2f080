//! # The voltage: divider and channel

pub mod divider;
pub mod voltage_channel;
