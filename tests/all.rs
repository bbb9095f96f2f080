//! Every test outside the crates, in one binary: it links once and shares its helpers.

mod api;
mod contract;
mod property;
mod reference;
