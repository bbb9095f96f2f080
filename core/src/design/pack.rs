//! # What the parts of a design share
//!
//! Voltages, currents and temperatures of the pack stand once and are handed down to every part that needs them. A source
//! without cells, such as the output of a charger or the link of a drive, stands in its place: its voltages are given
//! directly, it has no capacity, and its resistance may be unknown.
//!
//! ```text
//! Formula    V = N_s V_cell; Q = N_p Q_cell; R_pack = N_s R_cell / N_p + R_busbars
//! Symbols    N_s, N_p [1] cells in series and in parallel, V_cell [V], Q_cell [Ah], R_cell, R_busbars [Ω]
//! Valid      all series groups of equal capacity; resistance for direct current, new and warm for the largest fault current
//! Source     Kirchhoff's laws
//! ```

use serde_json::{Map, Value};

use crate::calc::current::current_channel::Requirement;
use crate::calc::temperature::thermistor::input::TemperatureRequirement;
use crate::calc::voltage::voltage_channel::VoltageRequirement;
use crate::field::tree::take;
use crate::field::{defaulted, group, number, optional, whole};
use crate::input;
use crate::judge::THIN_FROM_PERCENT;
use crate::quantity::Unit;

crate::choice! {
    /// What stands at the beginning of a design.
    pub enum Supply {
        Cells = "cells", "Pack of cells";
        Voltages = "voltages", "Voltages given directly";
    }
}

/// What counts only of a pack of cells.
const OF_CELLS: &[&str] = &[
    "/pack/cells_in_series",
    "/pack/cells_in_parallel",
    "/pack/cell_max_v",
    "/pack/cell_nominal_v",
    "/pack/cell_min_v",
    "/pack/cell_capacity_ah",
    "/pack/cell_resistance_ohm",
    "/pack/busbars_ohm",
];

/// What counts only where there are no cells.
const OF_VOLTAGES: &[&str] = &["/pack/max_v", "/pack/nominal_v", "/pack/min_v", "/pack/resistance_ohm"];

/// What is asked for although it may stay empty: much is not judged without it.
pub const ASKED: &[&str] = &[
    "/pack/resistance_ohm",
    "/requirements/current/gain_percent",
    "/requirements/current/offset_a",
    "/requirements/voltage/gain_percent",
    "/requirements/voltage/offset_v",
    "/requirements/temperature/allowed_k",
];

input! {
    /// The pack.
    pub struct Pack {
        source: Supply = Supply::Cells.chosen(), "", "Source", "Without cells its voltages are given directly; current out of it counts as discharge, into it as charge.";
        cells_in_series: u32 = whole(Unit::One, 1, 500, 198), "Ns", "Cells in series", "Counted, not worked out from the nominal voltage.";
        cells_in_parallel: u32 = whole(Unit::One, 1, 1000, 1), "Np", "Cells in parallel", "In every series group.";
        cell_max_v: f64 = number(Unit::Volt, 0.5, 5.0, 4.2), "", "Cell, highest", "In allowed operation.";
        cell_nominal_v: f64 = number(Unit::Volt, 0.5, 5.0, 3.65), "", "Cell, nominal", "At rest, half charged.";
        cell_min_v: f64 = number(Unit::Volt, 0.1, 5.0, 2.8), "", "Cell, lowest", "In allowed operation.";
        cell_capacity_ah: f64 = number(Unit::AmpereHour, 1e-2, 1e4, 120.0), "", "Cell capacity", "Of one cell, new.";
        cell_resistance_ohm: f64 = number(Unit::Ohm, 1e-6, 1.0, 0.9e-3), "", "Cell resistance", "For direct current, new and warm.";
        busbars_ohm: f64 = defaulted(Unit::Ohm, 0.0, 10.0, 30e-3), "", "Busbars and joints", "Of the whole pack.";
        max_v: Option<f64> = optional(Unit::Volt, 1.0, 5000.0), "", "Highest voltage", "In allowed operation, without ripple.";
        nominal_v: Option<f64> = optional(Unit::Volt, 1.0, 5000.0), "", "Nominal voltage", "At which it mostly works.";
        min_v: Option<f64> = optional(Unit::Volt, 1.0, 5000.0), "", "Lowest voltage", "In allowed operation, with the link charged.";
        resistance_ohm: Option<f64> = optional(Unit::Ohm, 1e-6, 1e3), "", "Source resistance", "Smallest, for direct current, of all that feeds a fault; leave empty where electronics limit the current: what needs it is then not judged.";
        loop_inductance_henry: f64 = defaulted(Unit::Henry, 0.0, 1e-2, 6e-6), "L", "Loop inductance", "Pack, cables and short circuit.";
        continuous_a: f64 = number(Unit::Ampere, 0.0, 1e5, 400.0), "", "Largest continuous current", "Charge or discharge, root mean square.";
        peak_a: f64 = number(Unit::Ampere, 0.0, 1e6, 600.0), "", "Peak current", "From the steady state of the continuous current.";
        peak_duration_s: f64 = number(Unit::Second, 1e-6, 1e5, 10.0), "", "Peak duration", "Of one peak.";
        peak_repeat_s: Option<f64> = optional(Unit::Second, 1e-6, 1e7), "", "Peaks come again after", "From the beginning of one to the next; leave empty for one peak.";
        charge_peak_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Charging peak", "Leave empty when it is as large as in discharge; 0 when nothing flows back.";
        ripple_current_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 30.0), "", "Ripple amplitude", "Half of peak to peak, triangular.";
        ripple_frequency_hz: f64 = defaulted(Unit::Hertz, 1.0, 1e7, 10e3), "", "Ripple frequency", "Of the fundamental.";
        ambient_min_degc: f64 = number(Unit::Celsius, -80.0, 200.0, -30.0), "", "Lowest ambient", "Of the boards.";
        ambient_max_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 85.0), "", "Highest ambient", "Of the boards.";
        calibration_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 25.0), "", "Calibration temperature", "Drift counts from here.";
        life_years: Option<f64> = optional(Unit::Year, 0.1, 100.0), "", "Life", "Every ageing limit is meant over it; an interval of re-calibration counts as a share of it.";
        altitude_m: Option<f64> = optional(Unit::Metre, -500.0, 20e3), "", "Altitude", "Highest of use: above 2000 m the barrier needs longer ways through air.";
        units_in_parallel: u32 = whole(Unit::One, 1, 64, 1), "", "Units on the bus", "All that hang on one bus in parallel: its insulation counts them, and a fault inside one is fed by the others.";
    }
}

input! {
    /// What the channels must hold, and how it is judged.
    pub struct Requirements {
        current: Requirement = group::<Requirement>(), "", "Current", "Of every current channel.";
        voltage: VoltageRequirement = group::<VoltageRequirement>(), "", "Voltage", "Of every voltage channel.";
        temperature: TemperatureRequirement = group::<TemperatureRequirement>(), "", "Temperature", "Of every temperature channel.";
        thin_from_percent: f64 = defaulted(Unit::Percent, 1.0, 100.0, THIN_FROM_PERCENT), "", "Thin from", "Share of an allowance from which a requirement is called thin.";
        test_uncertainty_percent: f64 = defaulted(Unit::Percent, 0.0, 10.0, 0.1), "U", "Uncertainty of the tester", "Expanded, of the reading, at the end of the line.";
    }
}

impl Pack {
    /// Whether there are cells.
    pub const fn has_cells(&self) -> bool {
        matches!(self.source, Supply::Cells)
    }

    /// The other kind of source.
    pub const fn other_source(&self) -> Supply {
        if self.has_cells() { Supply::Voltages } else { Supply::Cells }
    }

    /// Its values that count nowhere as it is chosen, as pointers of the document.
    pub const fn idle(&self) -> &'static [&'static str] {
        if self.has_cells() { OF_VOLTAGES } else { OF_CELLS }
    }

    /// The place of what is said of a cell where there is none: `/pack/cell_max_v` is `/pack/max_v`.
    pub fn place(&self, pointer: &str) -> String {
        if self.has_cells() { pointer.into() } else { pointer.replace("/pack/cell_", "/pack/") }
    }

    /// Leaves of a written head what counts. That there are cells, or one pack on its bus, is not written either: complete documents of packs, and
    /// the fingerprints made of them, stay as they were before there was a choice.
    pub fn leave_what_counts(&self, head: &mut Map<String, Value>) {
        let unsaid: &[&str] = if self.has_cells() { &["/pack/source"] } else { &[] };
        let alone: &[&str] = if self.units_in_parallel == 1 { &["/pack/units_in_parallel"] } else { &[] };
        for pointer in self.idle().iter().chain(unsaid).chain(alone) {
            take(head, pointer);
        }
    }

    fn series(&self) -> f64 {
        f64::from(self.cells_in_series)
    }

    /// A voltage of the cells, or the one given; nothing is judged before it is given (`starts::pack_not_given`).
    fn volts(&self, cell_v: f64, given_v: Option<f64>) -> f64 {
        let of_cells = self.series() * cell_v;
        if self.has_cells() { of_cells } else { given_v.unwrap_or(of_cells) }
    }

    /// Highest voltage, V.
    pub fn max_v(&self) -> f64 {
        self.volts(self.cell_max_v, self.max_v)
    }

    /// Nominal voltage, V.
    pub fn nominal_v(&self) -> f64 {
        self.volts(self.cell_nominal_v, self.nominal_v)
    }

    /// Lowest voltage, V.
    pub fn min_v(&self) -> f64 {
        self.volts(self.cell_min_v, self.min_v)
    }

    /// A value of the cells, where there are any.
    pub fn of_cells(&self, value: f64) -> Option<f64> {
        self.has_cells().then_some(value)
    }

    /// Capacity, Ah; none without cells.
    pub fn capacity_ah(&self) -> Option<f64> {
        self.of_cells(f64::from(self.cells_in_parallel) * self.cell_capacity_ah)
    }

    /// Resistance for direct current, Ω; without cells it may be unknown.
    pub fn resistance_ohm(&self) -> Option<f64> {
        let of_cells = self.series() * self.cell_resistance_ohm / f64::from(self.cells_in_parallel) + self.busbars_ohm;
        if self.has_cells() { Some(of_cells) } else { self.resistance_ohm }
    }

    /// Packs on the bus.
    pub fn units(&self) -> f64 {
        f64::from(self.units_in_parallel)
    }

    /// Largest current either way, A.
    pub fn largest_a(&self) -> f64 {
        self.peak_a.max(self.charge_peak_a.unwrap_or(0.0)).max(self.continuous_a)
    }

    /// Peak in discharge on top of its ripple, A.
    pub fn peak_with_ripple_a(&self) -> f64 {
        self.peak_a + self.ripple_current_a
    }

    /// Peak in charge, A.
    pub fn charge_peak(&self) -> f64 {
        self.charge_peak_a.unwrap_or(self.peak_a)
    }

    /// Peak in charge on top of its ripple, A; nothing when the pack does not charge.
    pub fn charge_peak_with_ripple_a(&self) -> f64 {
        if self.charge_peak_a == Some(0.0) { 0.0 } else { self.charge_peak() + self.ripple_current_a }
    }

    /// Current into a short circuit without resistance of its own, A; unknown where the resistance is.
    pub fn prospective_a(&self) -> Option<f64> {
        self.resistance_ohm().map(|ohm| self.max_v() / ohm)
    }
}
