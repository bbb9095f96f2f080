//! What a discharge takes.

use super::decay::Path;
use crate::field::{defaulted, group, number, optional, yes_no};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// What discharges the link on demand.
    pub enum ActiveKind {
        None = "none", "Nothing";
        Resistor = "resistor", "A switched resistor";
        Current = "constant-current", "A constant current";
        Power = "constant-power", "A constant power";
    }
}

input! {
    /// The discharge on demand.
    pub struct ActiveDischarge {
        kind: ActiveKind = ActiveKind::Resistor.chosen(), "", "Active discharge", "What is switched on to discharge the link.";
        resistance_ohm: f64 = defaulted(Unit::Ohm, 1e-2, 1e9, 600.0), "Ra", "Resistor", "Nominal.";
        current_a: f64 = defaulted(Unit::Ampere, 1e-6, 1e4, 1.0), "Ia", "Current", "Of an electronic load, nominal.";
        power_w: f64 = defaulted(Unit::Watt, 1e-6, 1e7, 500.0), "Pa", "Power", "Of an electronic load, nominal.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 5.0), "ta", "Tolerance", "Half-width, of the value above.";
        limit_s: f64 = defaulted(Unit::Second, 1e-6, 1e6, 5.0), "tla", "Allowed time", "To the voltage that must be reached; 5 s is from memory.";
        pulse_j: Option<f64> = optional(Unit::Joule, 1e-6, 1e9), "Ep", "Rated pulse energy", "Of the resistor; leave empty if unknown.";
    }
}

input! {
    /// The bleeder, which is always there.
    pub struct PassiveDischarge {
        fitted: bool = yes_no(true), "", "Bleeder fitted", "Whether a resistance is always across the link.";
        resistance_ohm: f64 = defaulted(Unit::Ohm, 1.0, 1e12, 25e3), "Rb", "Bleeder", "Nominal.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 0.0), "tb", "Tolerance", "Half-width.";
        limit_s: f64 = defaulted(Unit::Second, 1e-6, 1e7, 120.0), "tlb", "Allowed time", "To the voltage that must be reached; 120 s is from memory.";
        power_w: Option<f64> = optional(Unit::Watt, 1e-6, 1e6), "Pb", "Rated power", "Of the bleeder, at its ambient; leave empty if unknown.";
    }
}

input! {
    /// The test of a welded contactor by the decay of the link.
    pub struct WeldCheck {
        reading_error_v: Option<f64> = optional(Unit::Volt, 0.0, 1e3), "e", "Error of one reading", "Half-width, at the link voltage; leave empty without this test.";
        time_s: f64 = defaulted(Unit::Second, 1e-6, 1e6, 1.0), "tw", "Time of the test", "From the opening to the second reading.";
    }
}

input! {
    /// Everything a discharge takes.
    pub struct DischargeInput {
        start_v: f64 = number(Unit::Volt, 1e-2, 5000.0, 831.6), "V0", "Link voltage at the start", "Highest.";
        safe_v: f64 = number(Unit::Volt, 1e-3, 1500.0, 60.0), "Vs", "Voltage to be reached", "60 V is from memory: check the document that applies.";
        capacitance_farad: f64 = number(Unit::Farad, 1e-9, 10.0, 900e-6), "C", "Link capacitance", "Nominal, of everything on the link.";
        capacitance_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 0.0), "tC", "Tolerance of the capacitance", "Half-width; 0 if the value above is the upper limit.";
        active: ActiveDischarge = group::<ActiveDischarge>(), "", "Active discharge", "Switched on to discharge.";
        passive: PassiveDischarge = group::<PassiveDischarge>(), "", "Passive discharge", "Always connected.";
        weld: WeldCheck = group::<WeldCheck>(), "", "Test for a welded contactor", "The link must decay when the contactor has opened.";
    }
}

impl DischargeInput {
    /// The largest capacitance, F.
    pub(super) fn largest_farad(&self) -> f64 {
        self.capacitance_farad * (1.0 + self.capacitance_tolerance_percent / 100.0)
    }

    /// The active discharge with its value changed by a share towards slower.
    fn active_slower(&self, by: f64) -> Option<Path> {
        match self.active.kind {
            ActiveKind::None => None,
            ActiveKind::Resistor => Some(Path { ohm: Some(self.active.resistance_ohm * (1.0 + by)), ..Path::NONE }),
            ActiveKind::Current => Some(Path { ampere: self.active.current_a * (1.0 - by), ..Path::NONE }),
            ActiveKind::Power => Some(Path { watt: self.active.power_w * (1.0 - by), ..Path::NONE }),
        }
    }

    /// The active discharge at its nominal value.
    pub(super) fn active_nominal(&self) -> Option<Path> {
        self.active_slower(0.0)
    }

    /// The active discharge at its slowest.
    pub(super) fn active_slowest(&self) -> Option<Path> {
        self.active_slower(self.active.tolerance_percent / 100.0)
    }

    /// The active discharge at its fastest, where it takes most power.
    pub(super) fn active_fastest(&self) -> Option<Path> {
        self.active_slower(-self.active.tolerance_percent / 100.0)
    }

    fn bleeder(&self, factor: f64) -> Option<Path> {
        self.passive.fitted.then_some(Path { ohm: Some(self.passive.resistance_ohm * factor), ..Path::NONE })
    }

    /// The bleeder at its nominal value.
    pub(super) fn passive_nominal(&self) -> Option<Path> {
        self.bleeder(1.0)
    }

    /// The bleeder at its lowest resistance, where it takes most power.
    pub(super) fn passive_fastest(&self) -> Option<Path> {
        self.bleeder(1.0 - self.passive.tolerance_percent / 100.0)
    }

    /// The bleeder at its slowest.
    pub(super) fn passive_slowest(&self) -> Option<Path> {
        self.bleeder(1.0 + self.passive.tolerance_percent / 100.0)
    }
}
