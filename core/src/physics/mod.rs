//! # Physics that several calculations share
//!
//! What two groups of calculations use stands here, below both of them.

pub mod beta;
pub mod fault_loop;
pub mod faulty;
pub mod front_end;
pub mod network;
pub mod noise;
pub mod outlier;
pub mod parts;
pub mod precharge;
pub mod preferred;
pub mod thermal;
pub mod timing;
