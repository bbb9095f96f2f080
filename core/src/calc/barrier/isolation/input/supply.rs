//! The isolated supply.

use super::any;
use crate::field::{defaulted, list, number, optional, text, yes_no};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// What the controller reads when the isolated supply is lost.
    pub enum LostReading {
        Unknown = "unknown", "Not known";
        Flagged = "flagged", "Nothing, and it is flagged";
        Last = "last", "The last value";
        Zero = "zero", "Zero";
        FullScale = "full-scale", "Full scale";
    }
}

const LOADS: &str = "Modulator; 12 mA; 5 V\nConverter; 9 mA; 3.3 V\nReference; 3 mA; 5 V";
const POINTS: &str = "50 mW; 30 %\n250 mW; 55 %\n1 W; 72 %";

input! {
    /// A load of the isolated supply.
    pub struct SupplyLoad {
        name: String = text(60, "Load"), "", "Name", "What it is.";
        current_a: f64 = number(Unit::Ampere, 0.0, 100.0, 12e-3), "I", "Current", "Largest.";
        voltage_v: f64 = number(Unit::Volt, 0.1, 1000.0, 5.0), "V", "Voltage", "Highest, of the isolated rail that feeds it: behind a linear regulator that of its input.";
    }
}

input! {
    /// A point of the efficiency of the isolated supply.
    pub struct EfficiencyPoint {
        output_w: f64 = number(Unit::Watt, 1e-6, 1e4, 0.25), "P", "Output power", "Of the point.";
        efficiency_percent: f64 = number(Unit::Percent, 0.1, 99.99, 55.0), "η", "Efficiency", "There, hot.";
    }
}

input! {
    /// The isolated supply.
    pub struct IsolatedSupply {
        loads: Vec<SupplyLoad> = list::<SupplyLoad>(0, 12, LOADS), "", "Loads", "With their largest currents.";
        efficiency_points: Vec<EfficiencyPoint> = list::<EfficiencyPoint>(0, 8, POINTS), "", "Efficiency", "Points of the data sheet; between them the loss is a straight line.";
        rated_w: Option<f64> = optional(Unit::Watt, 1e-6, 1e4).shown(0.8), "", "Rated power", "Up to the derating temperature.";
        derate_from_degc: Option<f64> = optional(Unit::Celsius, -55.0, 250.0).shown(85.0), "T1", "Derating begins", "Ambient.";
        zero_power_degc: Option<f64> = optional(Unit::Celsius, -54.0, 300.0).shown(125.0), "T0", "Zero power at", "End of the derating line.";
        ambient_degc: Option<f64> = optional(Unit::Celsius, -80.0, 200.0).shown(85.0), "Ta", "Ambient temperature", "Hottest.";
        thermal_resistance_k_per_w: Option<f64> = optional(Unit::KelvinPerWatt, 0.0, 1e4).shown(90.0), "Rth", "Thermal resistance", "Junction to ambient.";
        junction_limit_degc: f64 = defaulted(Unit::Celsius, 25.0, 300.0, 125.0), "", "Highest junction temperature", "Of the data sheet.";
        start_factor: f64 = defaulted(Unit::One, 0.1, 10.0, 1.5), "k", "Current at the start", "As a multiple of the loads' largest currents.";
        current_limit_a: Option<f64> = optional(Unit::Ampere, 1e-6, 100.0).shown(60e-3), "Ilim", "Current limit", "Smallest.";
        output_farad: Option<f64> = optional(Unit::Farad, 1e-12, 1.0).shown(22e-6), "C", "Capacitance of the output", "Largest, of all rails.";
        start_allowed_s: Option<f64> = optional(Unit::Second, 1e-9, 1e4).shown(20e-3), "", "Start-up time allowed", "From switching on to a steady output.";
        ripple_pp_v: Option<f64> = optional(Unit::Volt, 0.0, 100.0).shown(60e-3), "", "Ripple of the output", "Peak to peak, at the channel's supply pin.";
        rejection_at_ripple_db: Option<f64> = optional(Unit::Decibel, 0.0, 200.0).shown(72.0), "", "Supply rejection at the ripple's frequency", "The channel's own; that of direct voltage is larger.";
        regulation_v: Option<f64> = optional(Unit::Volt, 0.0, 100.0).shown(0.15), "", "Regulation of the output", "Over load, line and temperature, half-width.";
        rejection_dc_db: Option<f64> = optional(Unit::Decibel, 0.0, 200.0).shown(90.0), "", "Supply rejection, direct", "The channel's own.";
        offset_allowed_v: Option<f64> = optional(Unit::Volt, 1e-12, 10.0).shown(20e-6), "", "Offset allowed", "At the channel's input; in a design only while no channel is fed across: it judges then.";
        reading_when_lost: LostReading = LostReading::Unknown.chosen(), "", "Reading when the supply is lost", "What the controller then sees.";
        lost_is_seen: bool = yes_no(false), "", "Another diagnosis sees the loss", "Where the reading itself does not tell.";
    }
}

impl IsolatedSupply {
    /// Whether it is described.
    pub fn is_there(&self) -> bool {
        !self.loads.is_empty()
            || !self.efficiency_points.is_empty()
            || any(&[
                self.rated_w,
                self.derate_from_degc,
                self.zero_power_degc,
                self.thermal_resistance_k_per_w,
                self.current_limit_a,
                self.output_farad,
                self.start_allowed_s,
                self.ripple_pp_v,
                self.rejection_at_ripple_db,
                self.regulation_v,
                self.rejection_dc_db,
                self.offset_allowed_v,
            ])
    }
}
