//! What a pre-charge takes.

use crate::field::{defaulted, group, number, optional, whole, yes_no};
use crate::input;
use crate::physics::precharge::closing::{Closing, Rule};
use crate::physics::precharge::course::{Circuit, Draw};
use crate::quantity::{Unit, percent, volt};

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
        resistance_ohm: f64 = defaulted(Unit::Ohm, 1e-3, 1e15, 25e3), "RL", "Load resistance", "Bleeders and everything else that draws in proportion, lowest.";
        current_a: f64 = defaulted(Unit::Ampere, 0.0, 1e4, 0.25), "IL", "Load current", "Of a load of constant current.";
        power_w: f64 = defaulted(Unit::Watt, 0.0, 1e6, 1500.0), "P", "Load power", "Of a converter that holds its output.";
        enable_v: f64 = defaulted(Unit::Volt, 0.0, 5000.0, 0.0).like(100.0), "Ve", "Draws from", "Link voltage at which a load of constant current or power wakes; 0: always.";
        bleeder_ohm: Option<f64> = optional(Unit::Ohm, 1e-2, 1e15), "Rb", "Bleeder", "A resistance that is always across the link, lowest: it counts beside a load of constant current or power, and alone without one. Leave empty without a bleeder.";
    }
}

input! {
    /// The path that the main contactor closes.
    pub struct ClosingPath {
        resistance_ohm: f64 = defaulted(Unit::Ohm, 1e-6, 1e3, 0.2482), "Rp", "Resistance of the path", "Cells, busbars, contactors and the capacitor's own together.";
        inductance_henry: f64 = defaulted(Unit::Henry, 0.0, 1.0, 2e-6), "Lp", "Inductance of the path", "0 if unknown: the peak is then the upper bound.";
        contactor_inrush_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 1e-9, 1e12), "I2t", "Contactor making I²t", "What its contacts take when they close; leave empty if unknown.";
        contactor_making_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Imk", "Contactor making current", "Largest current its contacts may close on; leave empty if unknown.";
    }
}

input! {
    /// What is known of the resistor.
    pub struct PrechargeResistor {
        pulse_j: Option<f64> = optional(Unit::Joule, 1e-6, 1e9), "Ep", "Rated pulse energy", "Of one pulse from the ambient temperature; leave empty if unknown.";
        power_w: Option<f64> = optional(Unit::Watt, 1e-6, 1e7), "Pr", "Rated power", "Continuous, at the ambient temperature; leave empty if unknown.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.0).like(5.0), "tR", "Tolerance of the resistance", "Half-width, warm and aged.";
        heat_j_per_k: Option<f64> = optional(Unit::JoulePerKelvin, 1e-6, 1e7), "Cth", "Heat capacity", "Of the body that the pulse warms; leave empty if unknown.";
        k_per_w: Option<f64> = optional(Unit::KelvinPerWatt, 1e-6, 1e4), "Rth", "Thermal resistance", "Body to ambient.";
        limit_degc: Option<f64> = optional(Unit::Celsius, -50.0, 1000.0), "Tmax", "Highest body temperature", "Leave empty if none.";
        ambient_degc: f64 = defaulted(Unit::Celsius, -80.0, 250.0, 85.0), "Ta", "Ambient temperature", "Hottest.";
        retries: u32 = whole(Unit::One, 0, 1000, 2), "n", "Retries", "Attempts after the first one.";
        repeat_s: f64 = defaulted(Unit::Second, 1e-6, 1e6, 30.0), "Trep", "Time from attempt to attempt", "Start to start.";
        cool_down_s: f64 = defaulted(Unit::Second, 0.0, 1e7, 0.0).like(10.0), "Tcd", "Pause after the last attempt", "From its end until a new series may begin; 0: as from attempt to attempt.";
    }
}

input! {
    /// Everything a pre-charge takes.
    pub struct PrechargeInput {
        pack_v: f64 = number(Unit::Volt, 1.0, 5000.0, 831.6), "V", "Pack voltage", "Highest.";
        pack_min_v: Option<f64> = optional(Unit::Volt, 1.0, 5000.0), "Vmin", "Lowest pack voltage", "At which it is pre-charged; a load of constant power or current weighs most there. Leave empty: the same.";
        start_v: f64 = defaulted(Unit::Volt, 0.0, 5000.0, 0.0).like(10.0), "V0", "Link voltage at the start", "Of the first attempt; 0 for a discharged link.";
        capacitance_farad: f64 = number(Unit::Farad, 1e-9, 10.0, 900e-6), "C", "Link capacitance", "Of everything on the link, at the upper tolerance.";
        resistance_ohm: f64 = number(Unit::Ohm, 1e-2, 1e6, 60.0), "R", "Pre-charge resistor", "All elements together.";
        target_percent: f64 = number(Unit::Percent, 10.0, 99.999, 95.0), "x", "Target", "Link voltage in percent of the pack voltage at which the main contactor may close.";
        closing_difference_v: Option<f64> = optional(Unit::Volt, 1e-3, 1000.0), "dVc", "Closing difference", "The main contactor closes when the readings of pack and link differ by no more; leave empty to close at the target.";
        waits_above: bool = yes_no(false), "", "Waits while the link is above", "Whether the main contactor also stays open while the link reads above the pack by more than the same distance.";
        max_time_s: f64 = number(Unit::Second, 1e-6, 1e5, 0.5), "tmax", "Time-out", "The attempt is given up after it.";
        wanted_time_s: Option<f64> = optional(Unit::Second, 1e-6, 1e5), "tw", "Wanted time", "For the choice of a resistor; empty: the time-out.";
        load: LinkLoad = group::<LinkLoad>(), "", "Load on the link", "What draws current meanwhile.";
        link_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 50.0).like(1.0), "e1", "Error of the link's channel", "Half-width, in percent of the highest pack voltage; the same volts count at every pack voltage.";
        link_error_v: Option<f64> = optional(Unit::Volt, 0.0, 1000.0), "e1", "Error of the link's channel, in volts", "The larger of both counts.";
        pack_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 50.0).like(1.0), "e2", "Error of the pack's channel", "Half-width, in percent of the highest pack voltage; 0 if one channel reads the difference itself.";
        pack_error_v: Option<f64> = optional(Unit::Volt, 0.0, 1000.0), "e2", "Error of the pack's channel, in volts", "The larger of both counts.";
        check_s: Option<f64> = optional(Unit::Second, 1e-6, 1e5), "tc", "Time of the early check", "When the link voltage is compared with its course; leave empty without one.";
        units_in_parallel: u32 = whole(Unit::One, 1, 64, 1), "N", "Units on the bus", "All that feed this link: one that joins the others meets it at their voltage.";
        units_apart_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0).like(10.0), "dVu", "Units apart when one joins", "Largest difference of their voltages then; leave empty if unknown: what does not hold over the whole range of the pack is then not judged.";
        path: ClosingPath = group::<ClosingPath>(), "", "Path of the main contactor", "For the inrush that is left.";
        resistor: PrechargeResistor = group::<PrechargeResistor>(), "", "Resistor", "Ratings and use.";
    }
}

impl PrechargeInput {
    /// The link with all that draws at the highest pack voltage, the resistor as marked.
    pub(super) fn circuit(&self) -> Circuit {
        self.circuit_at(self.pack_v, self.resistance_ohm)
    }

    pub(super) fn circuit_at(&self, pack_v: f64, resistance_ohm: f64) -> Circuit {
        let load = &self.load;
        let bleeder_ohm = load.bleeder_ohm.unwrap_or(f64::INFINITY);
        let (draw, bleeder_ohm) = match load.kind {
            LoadKind::Current if load.current_a > 0.0 => (Draw::Current(load.current_a), bleeder_ohm),
            LoadKind::Power if load.power_w > 0.0 => (Draw::Power(load.power_w), bleeder_ohm),
            // The load resistance is everything that draws in proportion: a bleeder is part of it.
            LoadKind::Resistive => (Draw::Resistance(load.resistance_ohm.min(bleeder_ohm)), f64::INFINITY),
            _ if bleeder_ohm.is_finite() => (Draw::Resistance(bleeder_ohm), f64::INFINITY),
            _ => (Draw::Nothing, f64::INFINITY),
        };
        Circuit {
            pack_v,
            start_v: self.start_v,
            resistance_ohm,
            capacitance_farad: self.capacitance_farad,
            draw,
            bleeder_ohm,
            enable_v: load.enable_v,
        }
    }

    /// The lowest link voltage at which an attempt may begin: what draws takes the link down before a later one.
    pub(super) fn later_v(&self) -> f64 {
        let circuit = self.circuit();
        let draws = circuit.draw != Draw::Nothing || circuit.bleeder_ohm.is_finite();
        if draws && self.resistor.retries > 0 { 0.0 } else { self.start_v }
    }

    /// Where the resistance stands that draws in proportion.
    pub(super) fn resistance_at(&self) -> &'static str {
        let load = &self.load;
        let typed = load.kind == LoadKind::Resistive && load.bleeder_ohm.is_none_or(|ohm| ohm >= load.resistance_ohm);
        if typed { "/load/resistance_ohm" } else { "/load/bleeder_ohm" }
    }

    /// The lowest pack voltage; the highest when none is given.
    pub(super) fn lowest_v(&self) -> f64 {
        self.pack_min_v.unwrap_or(self.pack_v)
    }

    /// Lowest and highest resistance.
    pub(super) fn resistances(&self) -> [f64; 2] {
        let part = self.resistor.tolerance_percent / 100.0;
        [self.resistance_ohm * (1.0 - part), self.resistance_ohm * (1.0 + part)]
    }

    /// Errors of link and pack readings, V, the same at every pack voltage; none when none is given.
    pub(super) fn errors_v(&self) -> [Option<f64>; 2] {
        let volt = |v: Option<f64>, percent: Option<f64>| {
            let of = percent.map(|share| share / 100.0 * self.pack_v);
            v.map(|v| of.map_or(v, |of| v.max(of))).or(of)
        };
        [volt(self.link_error_v, self.link_error_percent), volt(self.pack_error_v, self.pack_error_percent)]
    }

    /// The error that a verdict on the closing needs and that is not given.
    pub(super) fn unknown_error(&self) -> Option<&'static str> {
        match self.errors_v() {
            [None, _] => Some("/link_error_v"),
            [_, None] => Some("/pack_error_v"),
            _ => None,
        }
    }

    /// When the main contactor closes.
    pub(super) fn closing(&self) -> Closing {
        let [link_v, pack_v] = self.errors_v().map(|error| error.unwrap_or(0.0));
        let rule = self.closing_difference_v.map_or(Rule::Share(self.target_percent / 100.0), Rule::Difference);
        Closing { rule, waits_above: self.waits_above, link_v, pack_v }
    }

    /// How far the others' voltage may lie from the pack's when this unit joins them, V, and whether somebody said so: two
    /// units in use are at most the whole range apart.
    pub(super) fn apart_v(&self) -> (f64, bool) {
        let range = self.pack_v - self.lowest_v();
        self.units_apart_v.map_or((range, false), |apart| (apart, true))
    }

    /// What the main contactor waits for, in words.
    pub(super) fn rule(&self) -> String {
        match self.closing_difference_v {
            Some(difference) => format!("a difference of {}", volt(difference)),
            None => percent(self.target_percent).to_string(),
        }
    }
}

/// Where a number belongs to, in words.
pub(super) fn at_pack(pack_v: f64) -> String {
    format!("at a pack voltage of {}", volt(pack_v))
}
