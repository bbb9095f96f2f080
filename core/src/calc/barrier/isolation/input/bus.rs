//! The insulation of the whole bus: paths, supervision, touch, Y capacitors, the measurement.

use super::any;
use crate::field::{defaulted, list, number, optional, text, whole, yes_no};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// How the bus stands to the chassis.
    pub enum Earthing {
        Floating = "floating", "Floating";
        Negative = "negative-earthed", "Negative pole earthed by design";
        Positive = "positive-earthed", "Positive pole earthed by design";
    }
}

crate::choice! {
    /// What a path to the chassis is.
    pub enum PathKind {
        Insulation = "insulation", "Insulation";
        String = "string", "Measuring string";
        Meter = "meter", "Meter";
        Monitor = "monitor", "Insulation monitoring device";
    }
}

crate::choice! {
    /// Which insulation resistance is required.
    pub enum BusCase {
        Combined = "combined", "Direct and alternating circuits tied together: 500 Ω/V";
        Direct = "dc-separate", "Direct circuits alone: 100 Ω/V";
        Alternating = "ac", "Alternating circuits: 500 Ω/V";
        Protected = "combined-ac-protected", "Tied together, all alternating parts with two layers or robust housings: 100 Ω/V";
        Stated = "stated", "Stated";
    }
}

crate::choice! {
    /// How the insulation is supervised.
    pub enum MonitorKind {
        None = "none", "Not supervised";
        Balance = "balance", "By the balance of the poles";
        Active = "active", "By an injected signal";
        Switched = "switched", "By switched resistors";
    }
}

crate::choice! {
    /// How the uncertainty of a measured value counts.
    pub enum ReadingJudged {
        WorstCase = "worst-case", "Worst case";
        Probability = "probability-95", "Monte Carlo, 95 %";
    }
}

const UNIT_PATHS: &str = "Cells and cooling; 12 MΩ; 0 %; 1; insulation\nString to the negative pole; 10 MΩ; 0 %; 1; string\nString to the positive pole; 10 MΩ; 100 %; 1; string";
const SHARED_PATHS: &str = "Cables and converter; 6 MΩ; 100 %; 1; insulation";

input! {
    /// A path between the bus and the chassis.
    pub struct BusPath {
        name: String = text(60, "Path"), "", "Name", "What it is.";
        resistance_ohm: f64 = number(Unit::Ohm, 1.0, 1e15, 10e6), "R", "Resistance", "Lowest: wet, hot and old.";
        position_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 0.0).like(50.0), "x", "Position", "Where in the pack it begins: 0 at the negative pole, 100 at the positive pole.";
        count: u32 = whole(Unit::One, 1, 1000, 1), "n", "Count", "How many of them.";
        kind: PathKind = PathKind::Insulation.chosen(), "", "Kind", "What it belongs to.";
    }
}

/// A path as it hangs between the bus and the chassis.
#[derive(Clone, Copy, Debug)]
pub struct Hung {
    /// Lowest resistance, Ω.
    pub resistance_ohm: f64,
    /// Where it begins: 0 at the negative pole, 1 at the positive one.
    pub position: f64,
    /// How many of them.
    pub count: u32,
    /// What it belongs to.
    pub kind: PathKind,
}

impl BusPath {
    fn hung(&self) -> Hung {
        let position = self.position_percent / 100.0;
        Hung { resistance_ohm: self.resistance_ohm, position, count: self.count, kind: self.kind }
    }
}

input! {
    /// The paths of the whole bus to the chassis.
    pub struct Bus {
        earthing: Earthing = Earthing::Floating.chosen(), "", "Earthing", "How the bus stands to the chassis by design.";
        units_in_parallel: u32 = whole(Unit::One, 1, 64, 1), "N", "Units on the bus", "All of them: each brings its own paths and capacitors.";
        strings_positive_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e15), "", "Voltage channels, positive pole", "Their strings to the chassis, of one unit, all in parallel, lowest.";
        strings_negative_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e15), "", "Voltage channels, negative pole", "The same of the negative pole.";
        unit_paths: Vec<BusPath> = list::<BusPath>(0, 20, UNIT_PATHS), "", "Paths of one unit", "Insulation, measuring strings, meters.";
        shared_paths: Vec<BusPath> = list::<BusPath>(0, 20, SHARED_PATHS), "", "Paths of the bus", "Cables, loads, converters, the monitoring device.";
        bus_case: BusCase = BusCase::Combined.chosen(), "", "Insulation required", "An inverter is enough to tie the circuits together.";
        ohm_per_v: Option<f64> = optional(Unit::OhmPerVolt, 1.0, 1e6), "r", "Stated requirement", "Where it is stated.";
    }
}

input! {
    /// The current through a body.
    pub struct Touch {
        body_ohm: f64 = defaulted(Unit::Ohm, 500.0, 2000.0, 500.0), "Rb", "Resistance of the body", "Of the test network.";
        limit_a: f64 = defaulted(Unit::Ampere, 1e-6, 1.0, 2e-3), "", "Current allowed", "Direct; the document that applies decides.";
    }
}

input! {
    /// What supervises the insulation.
    pub struct Monitor {
        kind: MonitorKind = MonitorKind::None.chosen(), "", "Supervision", "How it works.";
        alarm_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e12), "", "Alarm at", "Response value.";
        error_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 15.0), "e", "Error of the response", "Of the resistance that is measured; 15 % is from memory of IEC 61557-8. Where it is stated of the response value, type e/(1 − e).";
        internal_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e12), "Ri", "Internal resistance", "To the chassis, of both poles together; at least 30 Ω/V and 15 kΩ, from memory. Leave empty if it is listed as a path.";
        settle_tau: f64 = defaulted(Unit::One, 0.1, 100.0, 5.0), "", "Time constants until it has settled", "5 leave 0.7 % of a step.";
        response_allowed_s: Option<f64> = optional(Unit::Second, 1e-6, 1e5), "", "Response time allowed", "From the fault to the alarm.";
        symmetric_is_seen: bool = yes_no(false), "", "Another diagnosis sees symmetric faults", "A balance sees none.";
    }
}

input! {
    /// The capacitors between the poles and the chassis.
    pub struct YCapacitors {
        unit_positive_farad: Option<f64> = optional(Unit::Farad, 0.0, 1e-3).shown(47e-9), "Cp", "Positive pole, of one unit", "All capacitors and stray capacitances to the chassis.";
        unit_negative_farad: Option<f64> = optional(Unit::Farad, 0.0, 1e-3).shown(47e-9), "Cn", "Negative pole, of one unit", "The same of the negative pole.";
        shared_positive_farad: f64 = defaulted(Unit::Farad, 0.0, 1e-3, 0.0).like(100e-9), "", "Positive pole, of the bus", "Of loads and converters.";
        shared_negative_farad: f64 = defaulted(Unit::Farad, 0.0, 1e-3, 0.0).like(100e-9), "", "Negative pole, of the bus", "The same of the negative pole.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 20.0), "", "Tolerance", "Half-width, of all.";
        energy_limit_j: f64 = defaulted(Unit::Joule, 1e-6, 1e3, 0.2), "E", "Energy allowed", "0.2 J is usual; the document that applies decides.";
        pole_bleeder_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e12).shown(5e6), "", "Bleeder from each pole to the chassis", "Highest, all bleeders of one pole together; they count as paths by themselves.";
        bleeder_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 5.0), "", "Tolerance of the bleeders", "Half-width: as paths they count with the lowest that follows from the highest.";
        discharge_allowed_s: Option<f64> = optional(Unit::Second, 1e-3, 1e5).shown(5.0), "", "Discharge time allowed", "After the link has been discharged.";
        touch_v: f64 = defaulted(Unit::Volt, 1.0, 1500.0, 60.0), "", "Discharged at", "Between a pole and the chassis.";
    }
}

input! {
    /// Readings of the two-measurement method.
    pub struct TwoMeasurement {
        vb_v: Option<f64> = optional(Unit::Volt, 1.0, 5000.0), "Vb", "Voltage between the poles", "Measured; never the sum of the two below.";
        v1_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "V1", "Negative pole to chassis", "As read.";
        v2_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "V2", "Positive pole to chassis", "As read.";
        v_with_r0_v: Option<f64> = optional(Unit::Volt, 1e-3, 5000.0), "V'", "The larger one with the resistor", "Put between that pole and the chassis.";
        r0_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e9), "R0", "Known resistor", "100 to 500 ohms per volt, for a clear change.";
        r0_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 20.0, 0.0).like(0.1), "", "Its tolerance", "Half-width.";
        meter_ohm: Option<f64> = optional(Unit::Ohm, 1e3, 1e15), "Rm", "Resistance of the meter", "10 MΩ or more.";
        reading_limit_v: f64 = defaulted(Unit::Volt, 0.0, 100.0, 0.0).like(0.05), "", "Limit of each reading", "Offset and rounding, half-width.";
        drift_percent: f64 = defaulted(Unit::Percent, 0.0, 20.0, 0.0).like(0.2), "", "Drift of the pack between readings", "Half-width, between the readings without and with the resistor; the pack is read with the first.";
        gain_vb_percent: f64 = defaulted(Unit::Percent, 0.0, 20.0, 0.0).like(0.1), "", "Gain error of the reading between the poles", "Against the other readings, on another range; a gain that all share cancels.";
        judged_by: ReadingJudged = ReadingJudged::WorstCase.chosen(), "", "Judged by", "At the lower end.";
        trials: u32 = whole(Unit::One, 1000, 1_000_000, 100_000), "M", "Trials", "Of Monte Carlo, where it judges.";
        seed: u32 = whole(Unit::One, 0, 2_000_000_000, 1), "", "Seed", "The same seed gives the same numbers.";
    }
}

impl Bus {
    /// The paths of one unit: those that are listed, and the strings of its voltage channels.
    pub fn of_unit(&self) -> impl Iterator<Item = Hung> {
        let strings = [(self.strings_positive_ohm, 1.0), (self.strings_negative_ohm, 0.0)];
        let strings = strings.into_iter().filter_map(|(ohm, position)| {
            ohm.map(|resistance_ohm| Hung { resistance_ohm, position, count: 1, kind: PathKind::String })
        });
        self.unit_paths.iter().map(BusPath::hung).chain(strings)
    }

    /// The paths that the bus has once.
    pub fn shared(&self) -> impl Iterator<Item = Hung> {
        self.shared_paths.iter().map(BusPath::hung)
    }

    /// Whether it is described.
    pub fn is_there(&self) -> bool {
        !self.unit_paths.is_empty() || !self.shared_paths.is_empty()
    }

    /// Whether a pole stands at the chassis by design.
    pub const fn is_earthed(&self) -> bool {
        !matches!(self.earthing, Earthing::Floating)
    }
}

impl Monitor {
    /// Whether there is one.
    pub const fn is_there(&self) -> bool {
        !matches!(self.kind, MonitorKind::None)
    }
}

impl YCapacitors {
    /// The lowest bleeder, from the highest and the tolerance of both: as a path it is the worst.
    pub fn lowest_bleeder_ohm(&self) -> Option<f64> {
        let part = self.bleeder_tolerance_percent / 100.0;
        self.pole_bleeder_ohm.map(|highest| highest * (1.0 - part) / (1.0 + part))
    }

    /// Whether there are any.
    pub fn is_there(&self) -> bool {
        any(&[self.unit_positive_farad, self.unit_negative_farad, self.pole_bleeder_ohm, self.discharge_allowed_s])
            || self.shared_positive_farad > 0.0
            || self.shared_negative_farad > 0.0
    }
}

impl TwoMeasurement {
    /// Whether anything was measured.
    pub fn is_there(&self) -> bool {
        any(&[self.vb_v, self.v1_v, self.v2_v, self.v_with_r0_v, self.r0_ohm])
    }
}
