//! # The calculations, by the job that they are part of
//!
//! A path ends with the slug of its calculation: `shunt/fit` is `calc::current::shunt::fit`. A group never uses another:
//! what two of them need stands in [`physics`](crate::physics) or [`channel`](crate::channel).

pub mod current;

pub mod voltage;

pub mod temperature;

pub mod conversion;

pub mod barrier;

pub mod protection;

pub mod dc_link;

pub mod cells;

pub mod charge;

pub mod safety;

pub mod free;
