//! # The current: shunt and channel

pub mod current_channel;
pub mod shunt;
