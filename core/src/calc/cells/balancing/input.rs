//! What the balancing room takes.

use crate::field::{defaulted, group, list, number, optional, whole};
use crate::input;
use crate::quantity::Unit;

input! {
    /// One point of the open-circuit voltage.
    pub struct OcvPoint {
        soc_percent: f64 = number(Unit::Percent, 0.0, 100.0, 50.0), "s", "State of charge", "Rising from row to row.";
        ocv_v: f64 = number(Unit::Volt, 0.1, 10.0, 3.65), "Uoc", "Open-circuit voltage", "Rising or level.";
    }
}

input! {
    /// How the cell voltage depends on the charge.
    pub struct CellCurve {
        points: Vec<OcvPoint> = list::<OcvPoint>(0, 200, ""), "", "Open-circuit voltage", "One point a line: state of charge, voltage; leave empty for a constant voltage.";
        start_soc_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 90.0), "s0", "State of charge of the full cell", "Where bleeding starts; used with points.";
    }
}

input! {
    /// What limits the accuracy.
    pub struct BalancingAccuracy {
        error_v: Option<f64> = optional(Unit::Volt, 0.0, 1.0), "e", "Error of the cell voltage", "Half-width, of one cell against another; leave empty if unknown.";
        slope_v_per_percent: Option<f64> = optional(Unit::VoltPerPercent, 0.0, 1.0), "dU/ds", "Slope of the open-circuit voltage", "Where the cells are compared; empty: from the points.";
        leak_mismatch_a: f64 = defaulted(Unit::Ampere, 0.0, 1.0, 120e-6), "dI", "Mismatch of the leakage", "Between two cells, electronics included.";
    }
}

input! {
    /// Heat and time.
    pub struct BalancingLimits {
        time_h: Option<f64> = optional(Unit::Hour, 1e-3, 1e5), "tmax", "Allowed time", "To remove the imbalance; leave empty if none.";
        board_w: Option<f64> = optional(Unit::Watt, 1e-3, 1e5), "Pmax", "Allowed power of the board", "Leave empty if none.";
        limit_degc: Option<f64> = optional(Unit::Celsius, -50.0, 400.0), "Tmax", "Allowed temperature of a resistor", "Leave empty if none.";
        ambient_degc: f64 = defaulted(Unit::Celsius, -80.0, 150.0, 45.0), "Ta", "Ambient temperature", "Hottest while balancing.";
        board_k_per_w: Option<f64> = optional(Unit::KelvinPerWatt, 0.0, 1e3), "Rb", "Thermal resistance of the board", "Board to ambient, all channels on.";
        resistor_k_per_w: Option<f64> = optional(Unit::KelvinPerWatt, 0.0, 1e4), "Rr", "Thermal resistance of a resistor", "Resistor to board.";
    }
}

input! {
    /// Moving the charge instead of burning it.
    pub struct ActiveBalancing {
        current_a: Option<f64> = optional(Unit::Ampere, 1e-6, 1e3), "It", "Transfer current", "Out of the full cell; leave empty to leave it out.";
        efficiency_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 80.0), "η", "Efficiency", "Charge that arrives, in energy.";
        standby_w: f64 = defaulted(Unit::Watt, 0.0, 1e3, 20e-3), "Ps", "Standby power", "Of the whole transfer circuit, all the time.";
    }
}

input! {
    /// Everything the balancing room takes.
    pub struct BalancingInput {
        cell_v: f64 = number(Unit::Volt, 0.1, 10.0, 4.0), "V", "Cell voltage while bleeding", "Taken as constant, unless points are given.";
        capacity_ah: f64 = number(Unit::AmpereHour, 1e-3, 1e5, 120.0), "Q", "Capacity of the cell", "Of the parallel group.";
        imbalance_percent: f64 = number(Unit::Percent, 1e-3, 100.0, 2.0), "ds", "Imbalance to remove", "In state of charge.";
        bleed_ohm: f64 = number(Unit::Ohm, 1e-2, 1e6, 39.0), "R", "Bleed resistor", "Of one channel.";
        switch_ohm: f64 = defaulted(Unit::Ohm, 0.0, 1e5, 0.0), "Rs", "Switch resistance", "In series with it.";
        wire_ohm: f64 = defaulted(Unit::Ohm, 0.0, 1e3, 0.0), "Rw", "Resistance of one sense wire", "When the bleed current flows in it; the wire between two cells serves both.";
        duty_percent: f64 = number(Unit::Percent, 0.1, 100.0, 75.0), "d", "Duty", "Time on; the pauses are for measuring.";
        channels_on: u32 = whole(Unit::One, 1, 10_000, 66), "n", "Channels on at once", "On one board.";
        curve: CellCurve = group::<CellCurve>(), "", "Curve of the cell", "For the falling voltage.";
        accuracy: BalancingAccuracy = group::<BalancingAccuracy>(), "", "Accuracy", "What can be told apart at all.";
        limits: BalancingLimits = group::<BalancingLimits>(), "", "Heat and time", "Limits and thermal resistances.";
        active: ActiveBalancing = group::<ActiveBalancing>(), "", "Active balancing", "For comparison.";
    }
}

impl BalancingInput {
    /// The resistance of the whole bleed path, Ω.
    pub(super) fn path_ohm(&self) -> f64 {
        self.bleed_ohm + self.switch_ohm + 2.0 * self.wire_ohm
    }

    /// Share of the time.
    pub(super) fn duty(&self) -> f64 {
        self.duty_percent / 100.0
    }
}
