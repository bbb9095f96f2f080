//! What a pre-charge takes.

use super::course::{Circuit, Draw};
use crate::field::{defaulted, group, number, optional, whole};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// What hangs on the link while it charges.
    pub enum LoadKind {
        None = "none", "Nothing";
        Resistive = "resistive", "A resistance";
        Current = "constant-current", "A constant current";
        Power = "constant-power", "A constant power";
    }
}

input! {
    /// The load on the link.
    pub struct LinkLoad {
        kind: LoadKind = LoadKind::Resistive.chosen(), "", "Load while charging", "What draws current before the main contactor closes.";
        resistance_ohm: f64 = defaulted(Unit::Ohm, 1e-3, 1e15, 25e3), "RL", "Load resistance", "Bleeders and everything else that draws in proportion.";
        current_a: f64 = defaulted(Unit::Ampere, 0.0, 1e4, 0.25), "IL", "Load current", "Of a load of constant current.";
        power_w: f64 = defaulted(Unit::Watt, 0.0, 1e6, 1500.0), "P", "Load power", "Of a converter that holds its output.";
        enable_v: f64 = defaulted(Unit::Volt, 0.0, 5000.0, 0.0), "Ve", "Draws from", "Link voltage at which a load of constant current or power wakes; 0: always.";
    }
}

input! {
    /// The path that the main contactor closes.
    pub struct ClosingPath {
        resistance_ohm: f64 = defaulted(Unit::Ohm, 1e-6, 1e3, 0.2482), "Rp", "Resistance of the path", "Cells, busbars, contactors and the capacitor's own together.";
        inductance_henry: f64 = defaulted(Unit::Henry, 0.0, 1.0, 2e-6), "Lp", "Inductance of the path", "0 if unknown: the peak is then the upper bound.";
        contactor_inrush_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 1e-9, 1e12), "I2t", "Contactor making I²t", "What its contacts take when they close; leave empty if unknown.";
    }
}

input! {
    /// What is known of the resistor.
    pub struct PrechargeResistor {
        pulse_j: Option<f64> = optional(Unit::Joule, 1e-6, 1e9), "Ep", "Rated pulse energy", "Of one pulse from the ambient temperature; leave empty if unknown.";
        power_w: Option<f64> = optional(Unit::Watt, 1e-6, 1e7), "Pr", "Rated power", "Continuous, at the ambient temperature.";
        k_per_w: Option<f64> = optional(Unit::KelvinPerWatt, 1e-6, 1e4), "Rth", "Thermal resistance", "Body to ambient.";
        limit_degc: Option<f64> = optional(Unit::Celsius, -50.0, 1000.0), "Tmax", "Highest body temperature", "Leave empty if none.";
        ambient_degc: f64 = defaulted(Unit::Celsius, -80.0, 250.0, 85.0), "Ta", "Ambient temperature", "Hottest.";
        retries: u32 = whole(Unit::One, 0, 1000, 2), "n", "Retries", "Attempts after the first one.";
        repeat_s: f64 = defaulted(Unit::Second, 1e-6, 1e6, 30.0), "Trep", "Time from attempt to attempt", "Start to start.";
        cool_down_s: f64 = defaulted(Unit::Second, 0.0, 1e7, 0.0), "Tcd", "Pause after the last attempt", "Before a new series may begin.";
    }
}

input! {
    /// Everything a pre-charge takes.
    pub struct PrechargeInput {
        pack_v: f64 = number(Unit::Volt, 1.0, 5000.0, 831.6), "V", "Pack voltage", "Highest.";
        pack_min_v: Option<f64> = optional(Unit::Volt, 1.0, 5000.0), "Vmin", "Lowest pack voltage", "At which it is pre-charged; a load of constant power or current weighs most there. Leave empty: the same.";
        start_v: f64 = defaulted(Unit::Volt, 0.0, 5000.0, 0.0), "V0", "Link voltage at the start", "0 for a discharged link.";
        capacitance_farad: f64 = number(Unit::Farad, 1e-9, 10.0, 900e-6), "C", "Link capacitance", "Of everything on the link, at the upper tolerance.";
        resistance_ohm: f64 = number(Unit::Ohm, 1e-2, 1e6, 60.0), "R", "Pre-charge resistor", "All elements together.";
        target_percent: f64 = number(Unit::Percent, 10.0, 99.999, 95.0), "x", "Target", "Link voltage in percent of the pack voltage at which the main contactor may close.";
        max_time_s: f64 = number(Unit::Second, 1e-6, 1e5, 0.5), "tmax", "Time-out", "The attempt is given up after it.";
        wanted_time_s: Option<f64> = optional(Unit::Second, 1e-6, 1e5), "tw", "Wanted time", "For the choice of a resistor; empty: the time-out.";
        load: LinkLoad = group::<LinkLoad>(), "", "Load on the link", "What draws current meanwhile.";
        link_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 50.0), "e1", "Error of the link's channel", "Half-width, in percent of the pack voltage.";
        pack_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 50.0), "e2", "Error of the pack's channel", "Half-width, in percent of the pack voltage; 0 if one channel reads the difference itself.";
        check_s: Option<f64> = optional(Unit::Second, 1e-6, 1e5), "tc", "Time of the early check", "When the link voltage is compared with its course; leave empty without one.";
        path: ClosingPath = group::<ClosingPath>(), "", "Path of the main contactor", "For the inrush that is left.";
        resistor: PrechargeResistor = group::<PrechargeResistor>(), "", "Resistor", "Ratings and use.";
    }
}

impl PrechargeInput {
    /// The link with its load at the highest pack voltage.
    pub(super) fn circuit(&self) -> Circuit {
        self.circuit_at(self.pack_v)
    }

    /// The same at the lowest pack voltage at which the load weighs, when one is given. A load that sleeps until the target
    /// is reached there weighs most where it wakes just before the target.
    pub(super) fn lowest_circuit(&self) -> Option<Circuit> {
        let lowest = self.pack_min_v?;
        let circuit = self.circuit_at(lowest);
        let woken = circuit.wake_v() / self.target_share() * (1.0 + 1e-12);
        Some(if woken > lowest && woken < self.pack_v { self.circuit_at(woken) } else { circuit })
    }

    fn circuit_at(&self, pack_v: f64) -> Circuit {
        let load = &self.load;
        let draw = match load.kind {
            LoadKind::Resistive => Draw::Resistance(load.resistance_ohm),
            LoadKind::Current if load.current_a > 0.0 => Draw::Current(load.current_a),
            LoadKind::Power if load.power_w > 0.0 => Draw::Power(load.power_w),
            _ => Draw::Nothing,
        };
        Circuit {
            pack_v,
            // A link above this pack is taken as level with it.
            start_v: self.start_v.min(pack_v),
            resistance_ohm: self.resistance_ohm,
            capacitance_farad: self.capacitance_farad,
            draw,
            enable_v: load.enable_v,
        }
    }

    fn target_share(&self) -> f64 {
        self.target_percent / 100.0
    }

    /// The link voltage at which the main contactor may close at a pack voltage.
    pub(super) fn target_v(&self, pack_v: f64) -> f64 {
        pack_v * self.target_percent / 100.0
    }
}
