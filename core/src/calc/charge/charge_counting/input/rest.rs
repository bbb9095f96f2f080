//! The anchor: the state of charge from a rest voltage.

use crate::field::{defaulted, list, optional, whole};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// Which voltage is read.
    pub enum AnchorReads {
        Cell = "cell", "A cell";
        Pack = "pack", "The pack: the mean cell";
    }
}

crate::choice! {
    /// What went before the rest.
    pub enum After {
        Charge = "charge", "Charging";
        Discharge = "discharge", "Discharging";
        Either = "either", "Either";
    }
}

input! {
    /// A point of the rest voltage.
    pub struct AnchorPoint {
        soc_percent: f64 = crate::field::number(Unit::Percent, 0.0, 100.0, 50.0), "s", "State of charge", "Rising from row to row.";
        ocv_v: f64 = crate::field::number(Unit::Volt, 0.1, 5.0, 3.65), "Uoc", "Open-circuit voltage", "Of a cell, rising.";
    }
}

input! {
    /// How the state of charge is read from a rest voltage.
    pub struct Anchor {
        curve: Vec<AnchorPoint> = list::<AnchorPoint>(0, 64, "0; 3.3\n100; 4.0"), "", "Open-circuit voltage", "One point a line: state of charge, voltage of a cell; empty in a design: that of its balancing.";
        reads: AnchorReads = AnchorReads::Cell.chosen(), "", "Reads", "Which voltage.";
        cell_error_v: Option<f64> = optional(Unit::Volt, 0.0, 1.0).shown(8e-3), "", "Error of a cell's reading", "Half-width.";
        pack_error_v: Option<f64> = optional(Unit::Volt, 0.0, 1e3), "", "Error of the pack's reading", "Half-width, of the whole voltage.";
        gain_percent: f64 = defaulted(Unit::Percent, 0.0, 10.0, 0.0).like(0.1), "gv", "Gain error of the reading", "Beside the error above; the same in every reading.";
        random_v: f64 = defaulted(Unit::Volt, 0.0, 1.0, 0.0).like(1e-3), "", "Scatter of the reading", "Of a cell, a standard uncertainty, new each time.";
        curve_error_v: f64 = defaulted(Unit::Volt, 0.0, 1.0, 0.0).like(2e-3), "", "Error of the curve", "Half-width, ageing included.";
        hysteresis_v: f64 = defaulted(Unit::Volt, 0.0, 1.0, 0.0).like(0.01), "", "Hysteresis", "Between the branch of charging and that of discharging.";
        relax_v: Option<f64> = optional(Unit::Volt, 0.0, 1.0).shown(4e-3), "", "Relaxation", "From the end of the current to full rest; the anchor is not judged without.";
        relax_tau_s: f64 = defaulted(Unit::Second, 1.0, 1e8, 1800.0), "τ", "Its time constant", "Of the slowest part.";
        rest_s: f64 = defaulted(Unit::Second, 0.0, 1e8, 7200.0), "", "Rest before the reading", "Without current.";
        after: After = After::Either.chosen(), "", "The rest comes after", "A cell reads low after discharging, high after charging.";
        entropy_v_per_k: f64 = defaulted(Unit::VoltPerKelvin, 0.0, 1.0, 0.0).like(2e-4), "", "Temperature coefficient", "Of the open-circuit voltage, its size.";
        temperature_error_k: f64 = defaulted(Unit::Kelvin, 0.0, 50.0, 2.0), "", "Error of the cell temperature", "Half-width.";
        rest_current_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0).like(0.1), "", "Current at rest", "Of either sign, largest.";
        cell_resistance_ohm: f64 = defaulted(Unit::Ohm, 0.0, 10.0, 0.0009), "", "Resistance of a cell", "Cells in parallel together; with the current at rest.";
        place_min_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 0.0).like(10.0), "", "Anchored from", "Lowest state of charge at which a rest is taken for an anchor; a count begins at the worst place.";
        place_max_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 100.0), "", "Anchored up to", "Highest.";
        weight: f64 = defaulted(Unit::One, 0.01, 1.0, 1.0), "K", "Weight of an anchor", "1: the anchor replaces the count; less leaves a part of every time before it.";
        interval_h: Option<f64> = optional(Unit::Hour, 1e-2, 1e6), "", "Anchor comes again after", "Leave empty if it is not known.";
        count: u32 = whole(Unit::One, 1, 200, 30), "", "Anchors shown", "In the saw-tooth.";
    }
}

impl Anchor {
    /// Error of the voltage that stands for a cell, V; the pointer of what is missing.
    pub fn reading_v(&self, cells: u32) -> Result<f64, &'static str> {
        match self.reads {
            AnchorReads::Cell => self.cell_error_v.ok_or("/anchor/cell_error_v"),
            AnchorReads::Pack => self.pack_error_v.map(|error| error / f64::from(cells)).ok_or("/anchor/pack_error_v"),
        }
    }

    /// What is left of relaxation when it is read, and half of the hysteresis, V; nothing while the relaxation is unknown.
    pub fn lag_v(&self) -> Option<f64> {
        let left = libm::exp(-self.rest_s / self.relax_tau_s);
        self.relax_v.map(|relax| relax * left + self.hysteresis_v / 2.0)
    }

    /// Whether a reading may follow discharge, and whether it may follow charge.
    pub fn may_follow(&self) -> [bool; 2] {
        [self.after != After::Charge, self.after != After::Discharge]
    }
}
