//! # Constants, each with its source
//!
//! Exact constants come from the definition of the units, reference values from a named standard. Nothing here is
//! measured by us.

/// Boltzmann constant, J/K. Exact since 2019: SI Brochure, 9th edition, section 2.2.
pub const BOLTZMANN: f64 = 1.380_649e-23;

/// 0 °C in kelvin. Exact: SI Brochure, 9th edition, section 2.3.1.
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// The temperature at which a thermistor is named, K.
pub const T25_K: f64 = 298.15;

/// Temperature coefficient of resistance of standard annealed copper at 20 °C, 1/K. IEC 60028:1925.
pub const COPPER_ALPHA_PER_K: f64 = 3.93e-3;

/// The temperature that [`COPPER_ALPHA_PER_K`] refers to, °C. IEC 60028:1925.
pub const COPPER_REFERENCE_DEGC: f64 = 20.0;

/// Freezing point of copper, °C: no joint of a conductor is solid above it. ITS-90 (1990), table 1.
pub const COPPER_FREEZES_DEGC: f64 = 1084.62;

/// Resistivity of standard annealed copper at 20 °C, Ω·m: 1/58 Ω·mm²/m. IEC 60028:1925.
pub const COPPER_RESISTIVITY_OHM_M: f64 = 1e-6 / 58.0;

/// Seconds of an hour, exact.
pub const HOUR_S: f64 = 3600.0;

/// Hours of a day, exact.
pub const DAY_H: f64 = 24.0;
