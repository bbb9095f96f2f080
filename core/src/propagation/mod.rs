//! # Uncertainty: one measurement model, four questions
//!
//! A measurement model maps input quantities to one output quantity, here mostly the error of a reading at one
//! operating point. The model is written once, generic over the number type ([`Number`]), and asked four questions:
//! how far can it go (worst case), what does the trade's root-sum-square say, what is the standard and the expanded
//! uncertainty (GUM), and how is the output really distributed (Monte Carlo).
//!
//! ```text
//! Formula    y = f(x_1 … x_n),  u_c² = Σ_i Σ_j c_i c_j r_ij u_i u_j,  c_i = ∂f/∂x_i,  U = k · u_c
//! Symbols    x_i input quantity [own unit], c_i sensitivity [output unit / own unit], u_i standard uncertainty
//!            [own unit], r_ij correlation coefficient [1], k coverage factor [1], U expanded uncertainty [output unit]
//! Valid      worst case: exact for models that are monotone in each input; GUM: nearly linear models;
//!            Monte Carlo: any model that is finite over the drawn inputs
//! Source     JCGM 100:2008 (GUM), JCGM 101:2008 (propagation of distributions)
//! ```
//!
//! [`assess`] answers all four for one operating point, [`quick`] the cheap ones for a grid of many; a [`Joining`] asks
//! them with another factor of the normal sources or a correlation. What may take long is given a
//! [`Work`](crate::work::Work) and answers whole or [`Fault::Stopped`]; asking moves no bit of an answer.

mod budget;
mod correlation;
mod dual;
mod end;
mod fault;
mod first_order;
mod gum;
mod intervals;
mod joined;
mod model;
mod monte_carlo;
mod normal;
mod number;
mod plan;
mod printed;
mod quantile;
mod random;
mod source;
mod student;
mod worst_case;

pub use budget::{Assessment, Contribution, Quick, Request, WorstCase, assess, quick, trade, worst_case};
pub use correlation::Correlation;
pub use dual::Dual;
pub use end::End;
pub use fault::{Fault, SourceFault, TRIALS, defined};
pub use first_order::{gradient, sensitivities};
pub use gum::{Coverage, Gum, covariance, coverage_factor};
pub use intervals::{Between, Histogram, Interval};
pub use joined::{Joined, Joining};
pub use model::{Linear, Model, Product, SumOfProducts, Term};
pub use monte_carlo::{Beyond, Comparison, CoverageIntervals, MonteCarlo, OfSums, fill, summarise};
pub use normal::{normal_distribution, normal_quantile};
pub use number::{LANES, Lanes, MANY, Number, Numbers, Places};
pub use quantile::{arcsine_quantile, rectangular_quantile, triangular_quantile};
pub use random::{philox4x32, uniform};
pub use source::{Distribution, Group, Kind, Name, Source};
pub use student::student_quantile;

#[cfg(test)]
mod tests;
