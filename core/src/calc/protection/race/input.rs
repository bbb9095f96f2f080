//! What the race takes.

use crate::field::{defaulted, group, list, number, optional, text, whole};
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

    /// Where it melts, °C (fixed points of the ITS-90 for the pure metals).
    pub const fn melts_degc(self) -> f64 {
        match self {
            Self::Copper => 1084.62,
            Self::Aluminium => 660.323,
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
        pack_min_v: Option<f64> = optional(Unit::Volt, 0.1, 5000.0), "Vpmin", "Lowest voltage of the pack", "In allowed operation; counts where the one above is not lower.";
        pack_resistance_ohm: f64 = number(Unit::Ohm, 1e-6, 1e3, 208.2e-3), "Rp", "Pack resistance", "Smallest: hot and new, direct current, busbars included; not a value at 1 kHz.";
        pack_resistance_max_ohm: Option<f64> = optional(Unit::Ohm, 1e-6, 1e3), "Rpmax", "Largest pack resistance", "Cold, aged, nearly empty; leave empty: the same.";
        external_resistance_ohm: f64 = number(Unit::Ohm, 0.0, 1e3, 12e-3), "Rx", "Resistance of the short", "Of the path outside the pack, smallest.";
        external_resistance_max_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e3), "Rxmax", "Resistance of the weakest fault", "Largest that must still be cleared; leave empty: the same.";
        inductance_henry: f64 = number(Unit::Henry, 0.0, 1.0, 6e-6), "L", "Inductance", "Of the whole loop, smallest; 0 for a step.";
        inductance_max_henry: Option<f64> = optional(Unit::Henry, 0.0, 1.0), "Lmax", "Largest inductance", "Of the whole loop, with the longest way to the short; leave empty: the same.";
        own_inductance_henry: Option<f64> = optional(Unit::Henry, 0.0, 1.0).like(2e-6), "Lo", "Inductance of one string or unit", "Of one alone, up to where the others join it: what a fault inside one of them sees; leave empty: any part of the loop's.";
        link_farad: Option<f64> = optional(Unit::Farad, 1e-12, 10.0).like(500e-6), "C", "Link capacitor", "Into a short on the pack's side, through shunt and closed switch; leave empty: none.";
        precharged_farad: Option<f64> = optional(Unit::Farad, 1e-12, 10.0), "Cp", "Link that is pre-charged", "All that the pre-charge fills; counts where the one above is empty.";
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
    /// A point of the fuse's time-current curve.
    pub struct FusePoint {
        current_a: f64 = number(Unit::Ampere, 1e-3, 1e7, 1200.0), "I", "Current", "Constant from the beginning.";
        pre_arcing_s: f64 = number(Unit::Second, 1e-9, 1e7, 32.0), "ta", "Pre-arcing time", "Until it melts, cold.";
        clearing_s: Option<f64> = optional(Unit::Second, 1e-9, 1e7), "tc", "Total clearing time", "Arc included; leave empty if unknown.";
    }
}

input! {
    /// The fuse in the loop.
    pub struct Fuse {
        prearc_a2s: f64 = number(Unit::AmpereSquaredSecond, 0.0, 1e12, 180e3), "W", "Pre-arc I²t", "Melting, adiabatic; 0 without a fuse. Where points are given, they are judged by.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 0.0).like(10.0), "tW", "Tolerance", "Half-width, of the pre-arc value.";
        clearing_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 1e-6, 1e12), "Wc", "Total clearing I²t", "Largest at this direct voltage and time constant, arc included.";
        adiabatic_from_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Iad", "These hold from", "Smallest prospective current at which both I²t hold; below it the fuse loses heat and only points tell.";
        points: Vec<FusePoint> = list::<FusePoint>(0, 24, ""), "", "Time-current points", "One a line, by rising current: current; pre-arcing time; total clearing time. At least two.";
        current_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.0).like(10.0), "tI", "Tolerance of the points", "Half-width, in current.";
        preload_percent: Option<f64> = optional(Unit::Percent, 1.0, 100.0), "p", "Share left after pre-load", "Share of the cold pre-arcing time that is left after the largest current before the fault.";
        voltage_v: Option<f64> = optional(Unit::Volt, 0.1, 1e5), "Uf", "Rated direct voltage", "Up to which the clearing values hold.";
        time_constant_s: Option<f64> = optional(Unit::Second, 1e-7, 10.0), "L/R", "Largest time constant", "Of the circuit, up to which the clearing values hold.";
        never_clears_below_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Imin", "Does not clear below", "Lowest breaking current: below it the fuse melts and clears nothing.";
        breaking_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Ibf", "Breaking capacity", "Rated at this direct voltage.";
    }
}

input! {
    /// The switch in the loop: contactor, breaker or semiconductor.
    pub struct Switch {
        breaking_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Ib", "Breaking capacity", "Rated at this direct voltage and time constant; a carry rating is none.";
        breaking_reverse_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Ibr", "Breaking capacity backwards", "Of current into the string, from others beside it or from the link.";
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
    /// Parallel strings, each with its own fuse and switch.
    pub struct Strings {
        count: u32 = whole(Unit::One, 1, 32, 1), "n", "Strings", "In parallel. From two on fuse, switch, shunt, wiring, threshold and current before are those of one string; voltage and resistances those of the pack.";
        spread_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.0).like(10.0), "s", "Spread of their resistances", "Half-width: they share the current unequally.";
    }
}

input! {
    /// Everything the race takes.
    pub struct RaceInput {
        source: FaultSource = group::<FaultSource>(), "", "Fault loop", "Source and short.";
        before_a: f64 = number(Unit::Ampere, -1e6, 1e6, 200.0), "I0", "Current before the fault", "Discharge is positive; none at all is judged too.";
        before_min_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "I0min", "Lowest current before", "Charging is negative; leave empty: none, or the one above where that is lower.";
        threshold_a: f64 = number(Unit::Ampere, 1e-3, 1e7, 1800.0), "Ith", "Trip threshold", "Of the fast detection.";
        pack_peak_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "Ip", "Peak of the pack with ripple", "In discharge, of the whole pack: must never trip.";
        pack_charge_peak_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "Ipc", "Peak of the pack in charge", "As a magnitude, of the whole pack, with its ripple: must never trip either.";
        threshold_error_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 0.0).like(5.0), "eth", "Error of the threshold", "Half-width.";
        filter_s: f64 = defaulted(Unit::Second, 0.0, 100.0, 0.0).like(10e-6), "τf", "Filter time constant", "First order, before the detection: its delay is worked out on this fault. 0 if its delay is a stage below.";
        filter_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 0.0).like(20.0), "tτ", "Tolerance of the filter", "Half-width.";
        stages: Vec<ReactionStage> = list::<ReactionStage>(1, 16, "filter; 10u\ndetection; 20u\ndriver; 30u\nopening; 3m"), "", "Reaction", "One stage a line: name; longest; shortest.";
        link_s: Option<f64> = optional(Unit::Second, 0.0, 1e3), "tl", "Latency of the link", "Across an isolation barrier, at most, where it is no stage; leave empty if it is.";
        fuse: Fuse = group::<Fuse>(), "", "Fuse", "In the same loop.";
        switch: Switch = group::<Switch>(), "", "Switch", "Contactor, breaker or semiconductor.";
        meant_first: MeantFirst = MeantFirst::Any.chosen(), "", "Meant to open first", "At the strongest fault.";
        shunt_pulse_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 1e-6, 1e12), "Ws", "Pulse limit of the shunt", "Adiabatic I²t of its element.";
        shunt_shift_percent: Option<f64> = optional(Unit::Percent, 0.0, 50.0), "dRs", "Shift of the shunt after it", "By which its resistance may have moved after one pulse at that limit.";
        wiring: Wiring = group::<Wiring>(), "", "Wiring", "Adiabatic, up to five seconds.";
        strings: Strings = group::<Strings>(), "", "Parallel strings", "One: the loop is the pack's.";
        units_in_parallel: u32 = whole(Unit::One, 1, 64, 1), "N", "Units on the bus", "Packs like this one, each with its own fuse and switch: all others feed a fault inside one of them, and share one on the bus.";
    }
}

impl RaceInput {
    /// The lowest voltage of the source, V.
    pub fn lowest_v(&self) -> f64 {
        let FaultSource { voltage_v, voltage_min_v, pack_min_v, .. } = self.source;
        voltage_min_v.unwrap_or(voltage_v).min(pack_min_v.unwrap_or(voltage_v))
    }

    /// How many strings of all units feed a fault inside one of them.
    pub fn feeding(&self) -> u32 {
        self.strings.count * self.units_in_parallel - 1
    }

    /// What one of them may have of its own, at least and at most, of a loop of the pack, H: n strings side by side have
    /// n times what they make together.
    pub fn own_henry(&self, loop_henry: f64) -> [f64; 2] {
        let most = f64::from(self.strings.count) * loop_henry;
        self.source.own_inductance_henry.map_or([0.0, most], |own| [own.min(most); 2])
    }

    /// What a fault may lie inside of.
    pub fn piece(&self) -> &'static str {
        if self.strings.count > 1 { "string" } else { "unit" }
    }

    /// Threshold with its error: lowest, highest.
    pub fn thresholds(&self) -> (f64, f64) {
        let error = self.threshold_error_percent / 100.0;
        (self.threshold_a * (1.0 - error), self.threshold_a * (1.0 + error))
    }

    /// Whether the clamp stands above a source, so that the current ends; none where no clamp is given.
    pub fn clamp_ends(&self, source_v: f64) -> Option<bool> {
        self.switch.clamp_voltage_v.map(|clamp| passes(clamp, source_v))
    }

    /// Whether there is a fuse.
    pub fn has_fuse(&self) -> bool {
        self.fuse.prearc_a2s > 0.0 || !self.fuse.points.is_empty()
    }

    /// Threshold and filter with their tolerances: the earliest detection, the latest.
    pub fn detections(&self) -> [(f64, f64); 2] {
        let ((low, high), error) = (self.thresholds(), self.filter_tolerance_percent / 100.0);
        [(low, self.filter_s * (1.0 - error)), (high, self.filter_s * (1.0 + error))]
    }

    /// Sum of the stages: shortest, longest.
    pub fn reaction(&self) -> (f64, f64) {
        self.stages.iter().fold((0.0, self.link_s.unwrap_or(0.0)), |(low, high), stage| {
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
