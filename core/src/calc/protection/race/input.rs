//! What the race takes.

use crate::field::{defaulted, group, list, number, optional, text};
use crate::input;
use crate::judge::passes;
use crate::quantity::Unit;

crate::choice! {
    /// The metal of the wiring.
    pub enum Conductor {
        Copper = "copper", "Copper";
        Aluminium = "aluminium", "Aluminium";
    }
}

impl Conductor {
    /// K in A√s/mm² and β in °C of the adiabatic formula (IEC 60949, from memory).
    pub const fn constants(self) -> (f64, f64) {
        match self {
            Self::Copper => (226.0, 234.5),
            Self::Aluminium => (148.0, 228.0),
        }
    }
}

crate::choice! {
    /// The insulation of the wiring, with the temperatures it stands for.
    pub enum Insulation {
        Pvc = "pvc", "PVC: 70 to 160 °C";
        Xlpe = "xlpe", "XLPE or EPR: 90 to 250 °C";
    }
}

crate::choice! {
    /// What is meant to open first at the strongest fault.
    pub enum MeantFirst {
        Any = "any", "No matter";
        Fuse = "fuse", "The fuse";
        Switch = "switch", "The switch";
    }
}

input! {
    /// The fault loop, from its strongest to its weakest fault.
    pub struct FaultSource {
        voltage_v: f64 = number(Unit::Volt, 0.1, 5000.0, 831.6), "V", "Voltage", "At full charge.";
        voltage_min_v: Option<f64> = optional(Unit::Volt, 0.1, 5000.0), "Vmin", "Lowest voltage", "Empty pack, for the weakest fault; leave empty: the same.";
        pack_resistance_ohm: f64 = number(Unit::Ohm, 1e-6, 1e3, 208.2e-3), "Rp", "Pack resistance", "Smallest: hot and new, direct current, busbars included; not a value at 1 kHz.";
        pack_resistance_max_ohm: Option<f64> = optional(Unit::Ohm, 1e-6, 1e3), "Rpmax", "Largest pack resistance", "Cold, aged, nearly empty; leave empty: the same.";
        external_resistance_ohm: f64 = number(Unit::Ohm, 0.0, 1e3, 12e-3), "Rx", "Resistance of the short", "Of the path outside the pack, smallest.";
        external_resistance_max_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e3), "Rxmax", "Resistance of the weakest fault", "Largest that must still be cleared; leave empty: the same.";
        inductance_henry: f64 = number(Unit::Henry, 0.0, 1.0, 6e-6), "L", "Inductance", "Of the whole loop; 0 for a step.";
    }
}

input! {
    /// One stage of the reaction.
    pub struct ReactionStage {
        name: String = text(60, "stage"), "", "Stage", "Filter, sampling, debounce, link, task, driver, opening, arc.";
        longest_s: f64 = number(Unit::Second, 0.0, 1e3, 10e-6), "t", "Longest", "What it takes at most.";
        shortest_s: Option<f64> = optional(Unit::Second, 0.0, 1e3), "tmin", "Shortest", "What it takes at least; leave empty: the same.";
    }
}

input! {
    /// The fuse in the loop.
    pub struct Fuse {
        prearc_a2s: f64 = number(Unit::AmpereSquaredSecond, 0.0, 1e12, 180e3), "W", "Pre-arc I²t", "Melting, adiabatic; 0 without a fuse.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 0.0), "tW", "Tolerance", "Half-width, of the pre-arc value.";
        clearing_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 1e-6, 1e12), "Wc", "Total clearing I²t", "Largest at this direct voltage and time constant, arc included.";
        never_clears_below_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Imin", "Does not clear below", "Smallest current that it melts at and breaks.";
        breaking_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Ibf", "Breaking capacity", "Rated at this direct voltage.";
    }
}

input! {
    /// The switch in the loop: contactor, breaker or semiconductor.
    pub struct Switch {
        breaking_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Ib", "Breaking capacity", "Rated at this direct voltage; a carry rating is none.";
        carry_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Ic", "Carries", "Short-time current with closed contacts.";
        carry_s: Option<f64> = optional(Unit::Second, 1e-6, 1e4), "tc", "For", "The time of that rating.";
        clamp_voltage_v: Option<f64> = optional(Unit::Volt, 0.1, 1e5), "Vc", "Clamp or arc voltage", "That drives the current to zero; leave empty if unknown.";
        clamp_energy_j: Option<f64> = optional(Unit::Joule, 1e-6, 1e9), "Ec", "Clamp takes", "Rated energy of one operation.";
    }
}

input! {
    /// The wiring that must survive.
    pub struct Wiring {
        area_mm2: Option<f64> = optional(Unit::SquareMillimetre, 0.01, 1e4), "S", "Cross-section", "Of one conductor of the loop, smallest.";
        conductor: Conductor = Conductor::Copper.chosen(), "", "Conductor", "Its metal.";
        insulation: Insulation = Insulation::Xlpe.chosen(), "", "Insulation", "Sets both temperatures.";
        start_degc: Option<f64> = optional(Unit::Celsius, -50.0, 250.0), "θi", "Temperature before", "Leave empty: of the insulation.";
        end_degc: Option<f64> = optional(Unit::Celsius, -49.0, 600.0), "θf", "Temperature allowed", "At the end of the fault; leave empty: of the insulation.";
    }
}

input! {
    /// Everything the race takes.
    pub struct RaceInput {
        source: FaultSource = group::<FaultSource>(), "", "Fault loop", "Source and short.";
        before_a: f64 = number(Unit::Ampere, -1e6, 1e6, 200.0), "I0", "Current before the fault", "Discharge is positive.";
        threshold_a: f64 = number(Unit::Ampere, 1e-3, 1e7, 1800.0), "Ith", "Trip threshold", "Of the fast detection.";
        threshold_error_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 0.0), "eth", "Error of the threshold", "Half-width.";
        filter_s: f64 = defaulted(Unit::Second, 0.0, 100.0, 0.0), "τf", "Filter time constant", "First order, before the detection: its delay is worked out on this fault. 0 if its delay is a stage below.";
        filter_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 0.0), "tτ", "Tolerance of the filter", "Half-width.";
        stages: Vec<ReactionStage> = list::<ReactionStage>(1, 16, "filter; 10u\ndetection; 20u\ndriver; 30u\nopening; 3m"), "", "Reaction", "One stage a line: name; longest; shortest.";
        fuse: Fuse = group::<Fuse>(), "", "Fuse", "In the same loop.";
        switch: Switch = group::<Switch>(), "", "Switch", "Contactor, breaker or semiconductor.";
        meant_first: MeantFirst = MeantFirst::Any.chosen(), "", "Meant to open first", "At the strongest fault.";
        shunt_pulse_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 1e-6, 1e12), "Ws", "Pulse limit of the shunt", "Adiabatic I²t of its element.";
        wiring: Wiring = group::<Wiring>(), "", "Wiring", "Adiabatic, up to five seconds.";
    }
}

impl RaceInput {
    /// Voltage and resistance of the weakest fault.
    pub fn weakest(&self) -> (f64, f64) {
        let s = &self.source;
        (
            s.voltage_min_v.unwrap_or(s.voltage_v),
            s.pack_resistance_max_ohm.unwrap_or(s.pack_resistance_ohm)
                + s.external_resistance_max_ohm.unwrap_or(s.external_resistance_ohm),
        )
    }

    /// Threshold with its error: lowest, highest.
    pub fn thresholds(&self) -> (f64, f64) {
        let error = self.threshold_error_percent / 100.0;
        (self.threshold_a * (1.0 - error), self.threshold_a * (1.0 + error))
    }

    /// Whether the clamp stands above the source, so that the current ends; none where no clamp is given.
    pub fn clamp_ends(&self) -> Option<bool> {
        self.switch.clamp_voltage_v.map(|clamp| passes(clamp, self.source.voltage_v))
    }

    /// Threshold and filter with their tolerances: the earliest detection, the latest.
    pub fn detections(&self) -> [(f64, f64); 2] {
        let ((low, high), error) = (self.thresholds(), self.filter_tolerance_percent / 100.0);
        [(low, self.filter_s * (1.0 - error)), (high, self.filter_s * (1.0 + error))]
    }

    /// Sum of the stages: shortest, longest.
    pub fn reaction(&self) -> (f64, f64) {
        self.stages.iter().fold((0.0, 0.0), |(low, high), stage| {
            (low + stage.shortest_s.unwrap_or(stage.longest_s), high + stage.longest_s)
        })
    }

    /// The temperatures of the wiring: before, allowed.
    pub fn wiring_degc(&self) -> (f64, f64) {
        let (start, end) = match self.wiring.insulation {
            Insulation::Pvc => (70.0, 160.0),
            Insulation::Xlpe => (90.0, 250.0),
        };
        (self.wiring.start_degc.unwrap_or(start), self.wiring.end_degc.unwrap_or(end))
    }
}
