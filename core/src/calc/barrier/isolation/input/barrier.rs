//! The barrier itself: stress, crossings, the isolator's ratings.

use super::any;
use crate::field::{defaulted, number, optional, text, whole, yes_no};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// Where the rated impulse voltage comes from.
    pub enum ImpulseBy {
        Category = "category", "From overvoltage category and supply voltage";
        Stated = "stated", "Stated";
    }
}

crate::choice! {
    /// Overvoltage category.
    pub enum Category {
        I = "i", "I";
        II = "ii", "II";
        III = "iii", "III";
        IV = "iv", "IV";
    }
}

crate::choice! {
    /// What the insulation is there for.
    pub enum Insulation {
        Functional = "functional", "Functional";
        Basic = "basic", "Basic";
        Supplementary = "supplementary", "Supplementary";
        Reinforced = "reinforced", "Reinforced";
    }
}

crate::choice! {
    /// What stands between two rows of a table of distances.
    pub enum BetweenRows {
        Linear = "linear", "Straight line between them";
        NextRow = "next-row", "Next row";
    }
}

crate::choice! {
    /// What stands between two rows of the altitude factors.
    pub enum AltitudeRows {
        Linear = "linear", "Straight line between them";
        NextRow = "next-row", "Next row";
    }
}

crate::choice! {
    /// The shape of the electric field.
    pub enum FieldShape {
        Inhomogeneous = "inhomogeneous", "Inhomogeneous";
        Homogeneous = "homogeneous-tested", "Homogeneous, shown by a withstand test";
    }
}

crate::choice! {
    /// Material group of a surface.
    pub enum MaterialGroup {
        Unknown = "not-given", "Not given, or by the tracking index";
        I = "group-i", "I";
        II = "group-ii", "II";
        IIIa = "group-iiia", "IIIa";
        IIIb = "group-iiib", "IIIb";
    }
}

crate::choice! {
    /// What a stated immunity is.
    pub enum IsolatorImmunity {
        Minimum = "minimum", "Guaranteed minimum";
        Typical = "typical", "Typical value";
    }
}

input! {
    /// What the insulation must stand.
    pub struct Barrier {
        pack_v: f64 = number(Unit::Volt, 1.0, 3200.0, 831.6), "V", "Pack voltage", "Highest.";
        working_v: Option<f64> = optional(Unit::Volt, 1.0, 3200.0), "Vw", "Working voltage", "Root mean square or direct voltage across the barrier; empty: the pack voltage, because one pole at the chassis puts the whole pack on it.";
        recurring_peak_v: Option<f64> = optional(Unit::Volt, 1.0, 10e3).shown(846.0), "Vrp", "Recurring peak", "In volts: highest voltage, half the ripple and the ringing of switching.";
        temporary_overvoltage_v: Option<f64> = optional(Unit::Volt, 1.0, 20e3).shown(1200.0), "Vt", "Temporary overvoltage", "Highest peak that lasts for a while, of load dump or supply fault; the working peak where there is none.";
        impulse_by: ImpulseBy = ImpulseBy::Category.chosen(), "", "Rated impulse voltage", "How it is given.";
        system_v: f64 = defaulted(Unit::Volt, 1.0, 1500.0, 300.0), "Vs", "Supply while charging, line to neutral", "Of the supply that the circuit is conductively tied to while it charges, not of the pack.";
        overvoltage_category: Category = Category::II.chosen(), "", "Overvoltage category", "Of that supply.";
        rated_impulse_v: Option<f64> = optional(Unit::Volt, 330.0, 15e3), "Vimp", "Stated impulse voltage", "Where it is stated.";
        insulation: Insulation = Insulation::Reinforced.chosen(), "", "Insulation", "Against touch from the battery side, reinforced stands alone.";
        lv_side_bonded: bool = yes_no(false), "", "Low-voltage side bonded to the chassis", "A low-impedance connection that stays when the barrier fails.";
        altitude_m: Option<f64> = optional(Unit::Metre, -500.0, 20e3).shown(1870.0), "h", "Altitude", "Highest of use; air insulates less above 2000 m.";
        pollution_degree: u32 = whole(Unit::One, 1, 3, 2), "", "Pollution degree", "At the barrier: 1 none, 2 dry dust, at times damp, 3 conductive when damp. Degree 4 needs another construction.";
        coating_tested: bool = yes_no(false), "", "Tested coating on the board", "Counts as pollution degree 1 on printed wiring only with the test of IEC 60664-3.";
        between_rows: BetweenRows = BetweenRows::Linear.chosen(), "", "Between rows of the distances", "The standard allows the straight line.";
        altitude_between_rows: AltitudeRows = AltitudeRows::Linear.chosen(), "", "Between rows of the altitude", "The straight line lies up to 0.6 % above the standard atmosphere: the safe side.";
        field: FieldShape = FieldShape::Inhomogeneous.chosen(), "", "Electric field", "Homogeneous only with a withstand test.";
    }
}

input! {
    /// A place where the barrier is crossed.
    pub struct Crossing {
        name: String = text(60, "Crossing"), "", "Name", "What crosses the barrier there.";
        clearance_mm: Option<f64> = optional(Unit::Millimetre, 1e-3, 1000.0), "d", "Clearance", "Shortest way through air, as soldered.";
        creepage_mm: Option<f64> = optional(Unit::Millimetre, 1e-3, 1000.0), "c", "Creepage", "Shortest way along the surface, as soldered; never shorter than through air.";
        cti_v: Option<f64> = optional(Unit::Volt, 100.0, 1000.0), "CTI", "Tracking index", "Of the surface, in volts; or the group, not both.";
        material_group: MaterialGroup = MaterialGroup::Unknown.chosen(), "", "Material group", "Where the tracking index is not known.";
        printed_wiring: bool = yes_no(false), "", "Printed wiring", "Conductors on a board, which have columns of their own.";
        rib_width_mm: Option<f64> = optional(Unit::Millimetre, 0.05, 100.0), "", "Width of a rib", "Leave empty without one.";
        rib_height_mm: Option<f64> = optional(Unit::Millimetre, 0.05, 100.0), "", "Height of a rib", "Leave empty without one.";
        groove_width_mm: Option<f64> = optional(Unit::Millimetre, 0.01, 100.0), "X", "Narrowest groove or slot", "Whose contour was counted in the creepage; leave empty without one.";
    }
}

input! {
    /// One element of a divider chain that crosses the barrier, when it is open.
    pub struct OpenElement {
        gap_mm: Option<f64> = optional(Unit::Millimetre, 1e-3, 1000.0), "", "Gap between the pads of one element", "Copper to copper; leave empty if no chain crosses the barrier.";
        creepage_mm: Option<f64> = optional(Unit::Millimetre, 1e-3, 1000.0), "", "Creepage over one element", "Along the body or the board; empty: the gap.";
        cti_v: Option<f64> = optional(Unit::Volt, 100.0, 1000.0), "CTI", "Tracking index there", "Or the group, not both.";
        material_group: MaterialGroup = MaterialGroup::Unknown.chosen(), "", "Material group there", "Where the tracking index is not known.";
        detected: bool = yes_no(false), "", "An open element is detected", "And the voltage taken off soon: creepage then need not stand it.";
    }
}

input! {
    /// Ratings of the isolator.
    pub struct Isolator {
        working_dc_v: Option<f64> = optional(Unit::Volt, 1.0, 10e3).shown(1000.0), "", "Working voltage, direct", "A rating in root mean square alternating volts is none, nor is that of one minute.";
        recurring_peak_v: Option<f64> = optional(Unit::Volt, 1.0, 20e3).shown(1414.0), "VIORM", "Recurring peak voltage", "Of its data sheet.";
        impulse_v: Option<f64> = optional(Unit::Volt, 330.0, 30e3).shown(6000.0), "VIMP", "Impulse voltage", "In air.";
        temporary_v: Option<f64> = optional(Unit::Volt, 1.0, 30e3).shown(7070.0), "VIOTM", "Temporary overvoltage", "Peak.";
        pd_test_v: Option<f64> = optional(Unit::Volt, 1.0, 30e3).shown(2651.0), "", "Partial discharge test voltage", "Peak, of the routine test.";
        pd_charge_coulomb: Option<f64> = optional(Unit::Coulomb, 0.0, 1e-9).shown(3e-12), "q", "Charge of partial discharge", "Largest, at that voltage.";
        life_years: Option<f64> = optional(Unit::Year, 0.1, 1000.0).shown(25.0), "", "Life", "Calendar years at the voltage below.";
        life_v: Option<f64> = optional(Unit::Volt, 1.0, 10e3).shown(1000.0), "", "Voltage of that life", "No law for other voltages is assumed.";
        required_life_years: Option<f64> = optional(Unit::Year, 0.1, 100.0).shown(15.0), "", "Life required", "Calendar years when the battery side lies before the contactors.";
        immunity_v_per_s: Option<f64> = optional(Unit::VoltPerSecond, 1e6, 1e13).shown(1e11), "", "Common-mode transient immunity", "50 V/ns is 50e9 V/s.";
        immunity_is: IsolatorImmunity = IsolatorImmunity::Minimum.chosen(), "", "That immunity is", "A typical value judges nothing.";
    }
}

impl Barrier {
    /// The voltage across the barrier, V.
    pub fn working(&self) -> f64 {
        self.working_v.unwrap_or(self.pack_v)
    }

    /// The voltage across the barrier, V: with one pole at the chassis all of the pack, whatever was typed.
    pub fn stressed(&self) -> f64 {
        self.working().max(self.pack_v)
    }

    /// The recurring peak, V: at least the working voltage.
    pub fn peak(&self) -> f64 {
        self.recurring_peak_v.unwrap_or(0.0).max(self.working())
    }
}

impl Isolator {
    /// Whether one is described.
    pub fn is_there(&self) -> bool {
        any(&[
            self.working_dc_v,
            self.recurring_peak_v,
            self.impulse_v,
            self.temporary_v,
            self.pd_test_v,
            self.pd_charge_coulomb,
            self.life_years,
            self.life_v,
            self.immunity_v_per_s,
        ])
    }
}

impl MaterialGroup {
    /// The group of a tracking index: I from 600, II from 400, IIIa from 175, IIIb below.
    pub fn of_cti(cti_v: f64) -> Self {
        match cti_v {
            600.0.. => Self::I,
            400.0.. => Self::II,
            175.0.. => Self::IIIa,
            _ => Self::IIIb,
        }
    }
}
