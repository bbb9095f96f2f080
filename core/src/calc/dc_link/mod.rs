//! # The DC link: pre-charge and discharge

pub mod discharge;
pub mod precharge;
