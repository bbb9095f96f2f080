//! # The calculations, in the order of the signal

pub mod budget_view;

pub mod channel;

pub mod shunt;

pub mod converter;

pub mod divider;

pub mod current_channel;

pub mod voltage_channel;

pub mod thermistor;

pub mod precharge;

pub mod discharge;

pub mod balancing;

pub mod free_model;

pub mod protection;

pub mod race;

pub mod ripple;
