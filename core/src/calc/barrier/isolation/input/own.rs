//! Tables of another edition: typed rows replace a table as a whole.

use crate::calc::barrier::isolation::tables::{Line, RowStatus, line};
use crate::field::{list, number, optional, text};
use crate::input;
use crate::quantity::Unit;

const NONE: f64 = f64::NAN;

input! {
    /// A row of the rated impulse voltages.
    #[allow(clippy::struct_field_names, reason = "each ends with its unit")]
    pub struct ImpulseRow {
        system_v: f64 = number(Unit::Volt, 1.0, 1e5, 300.0), "", "Line to neutral", "Up to.";
        i_v: f64 = number(Unit::Volt, 1.0, 1e6, 1500.0), "", "Category I", "Of this row.";
        ii_v: f64 = number(Unit::Volt, 1.0, 1e6, 2500.0), "", "Category II", "Of this row.";
        iii_v: f64 = number(Unit::Volt, 1.0, 1e6, 4000.0), "", "Category III", "Of this row.";
        iv_v: f64 = number(Unit::Volt, 1.0, 1e6, 6000.0), "", "Category IV", "Of this row.";
    }
}

input! {
    /// A row of the clearances by impulse voltage.
    pub struct ClearanceRow {
        impulse_v: f64 = number(Unit::Volt, 1.0, 1e6, 2500.0), "", "Impulse voltage", "Of this row.";
        pd1_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 1.5), "", "Pollution degree 1", "Of this row.";
        pd2_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 1.5), "", "Pollution degree 2", "Of this row.";
        pd3_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 1.5), "", "Pollution degree 3", "Of this row.";
    }
}

input! {
    /// A row of a table of clearances with one column.
    pub struct PeakRow {
        peak_v: f64 = number(Unit::Volt, 1.0, 1e6, 1000.0), "", "Voltage", "Impulse or peak.";
        clearance_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 0.26), "", "Clearance", "Of this row.";
    }
}

input! {
    /// A row of the altitude factors.
    pub struct AltitudeRow {
        altitude_m: f64 = number(Unit::Metre, 0.0, 1e5, 2000.0), "", "Altitude", "Of this row.";
        factor: f64 = number(Unit::One, 1.0, 100.0, 1.0), "", "Factor", "At least 1.";
    }
}

input! {
    /// A row of the creepage distances of basic insulation.
    pub struct CreepageRow {
        working_v: f64 = number(Unit::Volt, 1.0, 1e6, 1000.0), "", "Working voltage", "Of this row.";
        wiring_pd1_mm: Option<f64> = optional(Unit::Millimetre, 1e-4, 1e4), "", "Printed wiring, degree 1", "Of this row.";
        wiring_pd2_mm: Option<f64> = optional(Unit::Millimetre, 1e-4, 1e4), "", "Printed wiring, degree 2", "Of this row.";
        pd1_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 3.2), "", "Degree 1", "Of this row.";
        pd2_i_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 5.0), "", "Degree 2, I", "Of this row.";
        pd2_ii_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 7.1), "", "Degree 2, II", "Of this row.";
        pd2_iii_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 10.0), "", "Degree 2, III", "Of this row.";
        pd3_i_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 12.5), "", "Degree 3, I", "Of this row.";
        pd3_ii_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 14.0), "", "Degree 3, II", "Of this row.";
        pd3_iii_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 16.0), "", "Degree 3, III", "Of this row.";
    }
}

input! {
    /// A row of the creepage distances with a rib.
    pub struct RibRow {
        working_v: f64 = number(Unit::Volt, 1.0, 1e6, 800.0), "", "Working voltage", "Of this row.";
        i_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 9.0), "", "Group I", "Of this row.";
        ii_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 9.6), "", "Group II", "Of this row.";
        iii_mm: f64 = number(Unit::Millimetre, 1e-4, 1e4, 10.2), "", "Group III", "Of this row.";
    }
}

input! {
    /// Tables that replace the built-in ones.
    pub struct OwnTables {
        edition: String = text(80, ""), "", "Edition", "Of the typed rows.";
        impulse: Vec<ImpulseRow> = list::<ImpulseRow>(0, 12, ""), "", "Rated impulse voltages", "Rows replace the whole table.";
        clearance: Vec<ClearanceRow> = list::<ClearanceRow>(0, 32, ""), "", "Clearances by impulse voltage", "Rows replace the whole table.";
        homogeneous: Vec<PeakRow> = list::<PeakRow>(0, 16, ""), "", "Clearances, homogeneous field", "Rows replace the whole table.";
        peak: Vec<PeakRow> = list::<PeakRow>(0, 32, ""), "", "Clearances by peak voltage", "Rows replace the whole table.";
        altitude: Vec<AltitudeRow> = list::<AltitudeRow>(0, 16, ""), "", "Altitude factors", "Rows replace the whole table.";
        creepage: Vec<CreepageRow> = list::<CreepageRow>(0, 32, ""), "", "Creepage distances", "Rows replace the whole table; printed wiring may stay empty.";
        rib: Vec<RibRow> = list::<RibRow>(0, 8, ""), "", "Creepage distances with a rib", "Rows replace the whole table.";
    }
}

const fn typed<const N: usize>(at: f64, values: [f64; N]) -> Line {
    line(at, values, RowStatus::Typed)
}

impl OwnTables {
    /// The typed rows of a table, by the list of the input.
    pub fn lines(&self, own: &str) -> Vec<Line> {
        match own {
            "/tables/impulse" => {
                self.impulse.iter().map(|row| typed(row.system_v, [row.i_v, row.ii_v, row.iii_v, row.iv_v])).collect()
            }
            "/tables/clearance" => {
                self.clearance.iter().map(|row| typed(row.impulse_v, [row.pd1_mm, row.pd2_mm, row.pd3_mm])).collect()
            }
            "/tables/homogeneous" => self.homogeneous.iter().map(|row| typed(row.peak_v, [row.clearance_mm])).collect(),
            "/tables/peak" => self.peak.iter().map(|row| typed(row.peak_v, [row.clearance_mm])).collect(),
            "/tables/altitude" => self.altitude.iter().map(|row| typed(row.altitude_m, [row.factor])).collect(),
            "/tables/creepage" => self.creepage.iter().map(CreepageRow::line).collect(),
            "/tables/rib" => {
                self.rib.iter().map(|row| typed(row.working_v, [row.i_mm, row.ii_mm, row.iii_mm])).collect()
            }
            _ => Vec::new(),
        }
    }
}

impl CreepageRow {
    fn line(&self) -> Line {
        let [one, two] = [self.wiring_pd1_mm, self.wiring_pd2_mm].map(|wiring| wiring.unwrap_or(NONE));
        let rest = [self.pd2_i_mm, self.pd2_ii_mm, self.pd2_iii_mm, self.pd3_i_mm, self.pd3_ii_mm, self.pd3_iii_mm];
        let [a, b, c, d, e, f] = rest;
        typed(self.working_v, [one, two, self.pd1_mm, a, b, c, d, e, f])
    }
}
