//! # Charge: counting it, anchoring it, what it tells of the health

pub mod charge_counting;
