//! What the divider takes. The two strings are shared with the voltage channel.

use super::stress::Elements;
use crate::field::{defaulted, group, number, optional, whole, yes_no};
use crate::input;
use crate::physics::network::Network;
use crate::quantity::Unit;

crate::choice! {
    /// What the drift with temperature is taken from.
    pub enum DriftBy {
        Tracking = "tracking", "Tracking limit: parts of one network or lot";
        Absolute = "absolute", "Absolute coefficients: different parts";
    }
}

crate::choice! {
    /// Where the surface leakage runs.
    pub enum LeakagePath {
        Whole = "whole", "Across the whole upper string";
        Element = "element", "Across one element";
    }
}

input! {
    /// The upper string: equal elements in series.
    pub struct Upper {
        count: u32 = whole(Unit::One, 1, 60, 6), "n", "Elements in series", "One shorted part of one element connects the pack to the electronics.";
        resistance_ohm: f64 = number(Unit::Ohm, 1.0, 1e9, 680e3), "Re", "Resistance of each", "At the calibration temperature and low voltage.";
        tolerance_percent: f64 = number(Unit::Percent, 0.0, 20.0, 0.5), "tu", "Tolerance", "Half-width, of each.";
        tcr_ppm_per_k: f64 = number(Unit::PpmPerKelvin, 0.0, 2000.0, 50.0), "au", "Temperature coefficient", "Half-width, absolute.";
        tcr_tracking_ppm_per_k: f64 = number(Unit::PpmPerKelvin, 0.0, 2000.0, 40.0), "s", "Tracking", "Difference between any two parts of the divider, half-width.";
        drift_by: DriftBy = DriftBy::Tracking.chosen(), "", "Drift counts by", "Tracking holds only between parts of one network or lot.";
        voltage_coefficient_ppm_per_v: f64 = defaulted(Unit::PpmPerVolt, -100.0, 100.0, -5.0), "vu", "Voltage coefficient", "Per volt on one element, signed; thick film is negative.";
        max_working_v: f64 = number(Unit::Volt, 1.0, 1e5, 200.0), "Vw", "Rated working voltage", "Of each element.";
        overload_v: Option<f64> = optional(Unit::Volt, 1.0, 1e5), "Vo", "Overload voltage", "Of each element, for the transient; empty: the working voltage.";
        rated_power_w: f64 = number(Unit::Watt, 1e-3, 1e3, 0.25), "Pr", "Rated power", "Of each, up to the derating temperature.";
        derate_from_degc: f64 = number(Unit::Celsius, -55.0, 400.0, 70.0), "T1", "Derating begins", "Ambient.";
        zero_power_degc: f64 = number(Unit::Celsius, -54.0, 500.0, 155.0), "T0", "Zero power at", "End of the derating line.";
        life_drift_percent: f64 = number(Unit::Percent, 0.0, 20.0, 0.3), "du", "Drift over life", "Half-width; the upper parts age under voltage, so nothing cancels.";
        case_creepage_mm: f64 = defaulted(Unit::Millimetre, 0.05, 500.0, 3.2), "lc", "Creepage of the body", "Over one element, end to end.";
        pad_gap_mm: f64 = defaulted(Unit::Millimetre, 0.05, 500.0, 1.9), "lp", "Gap between its pads", "On the board under the element.";
        correlation: f64 = defaulted(Unit::One, 0.0, 1.0, 1.0), "r", "Correlation of the elements", "1 for one reel, 0 when each is independent of the others.";
    }
}

input! {
    /// The lower string, most often one element.
    pub struct Lower {
        count: u32 = whole(Unit::One, 1, 60, 1), "nl", "Elements in series", "Most often one.";
        resistance_ohm: f64 = number(Unit::Ohm, 1.0, 1e7, 8060.0), "Rl", "Resistance of each", "At the calibration temperature.";
        tolerance_percent: f64 = number(Unit::Percent, 0.0, 20.0, 0.1), "tl", "Tolerance", "Half-width, of each.";
        tcr_ppm_per_k: f64 = number(Unit::PpmPerKelvin, 0.0, 2000.0, 25.0), "al", "Temperature coefficient", "Half-width, absolute.";
        tcr_tracking_ppm_per_k: Option<f64> = optional(Unit::PpmPerKelvin, 0.0, 2000.0), "sl", "Tracking", "If stated with this part: the larger of both counts.";
        voltage_coefficient_ppm_per_v: f64 = defaulted(Unit::PpmPerVolt, -100.0, 100.0, 0.0).like(1.0), "vl", "Voltage coefficient", "Per volt on one element, signed.";
        max_working_v: f64 = defaulted(Unit::Volt, 1e-2, 1e5, 100.0), "Vwl", "Rated working voltage", "Of each element.";
        rated_power_w: f64 = defaulted(Unit::Watt, 1e-3, 1e3, 0.1), "Prl", "Rated power", "Of each.";
        derate_from_degc: f64 = defaulted(Unit::Celsius, -55.0, 400.0, 70.0), "T1l", "Derating begins", "Ambient.";
        zero_power_degc: f64 = defaulted(Unit::Celsius, -54.0, 500.0, 155.0), "T0l", "Zero power at", "End of the derating line.";
        life_drift_percent: f64 = number(Unit::Percent, 0.0, 20.0, 0.1), "dl", "Drift over life", "Half-width.";
        case_creepage_mm: Option<f64> = optional(Unit::Millimetre, 0.05, 500.0), "lcl", "Creepage of the body", "For the record: the lower part carries little voltage.";
        correlation: f64 = defaulted(Unit::One, 0.0, 1.0, 1.0), "rl", "Correlation of the elements", "1 for one reel, 0 when each is independent of the others.";
    }
}

input! {
    /// How the upper string lies on the board.
    pub struct Layout {
        elements_per_row: u32 = whole(Unit::One, 1, 60, 6), "m", "Elements in a row", "The next row runs back beside it.";
        row_gap_mm: f64 = defaulted(Unit::Millimetre, 0.05, 500.0, 4.0), "lr", "Distance of two rows", "Copper to copper.";
        bypass_mm: Option<f64> = optional(Unit::Millimetre, 0.05, 500.0), "lb", "Shortest way past the chain", "From end to end: board edge, a trace, a hole. Leave empty if the chain is the shortest.";
        creepage_mm_per_v: f64 = defaulted(Unit::MillimetrePerVolt, 1e-5, 1.0, 0.01), "c", "Creepage per volt", "Of the pollution degree and material that apply; 0.01 is from memory.";
    }
}

input! {
    /// Everything the divider takes.
    pub struct DividerInput {
        input_min_v: f64 = defaulted(Unit::Volt, 0.0, 5000.0, 554.4), "Vmin", "Lowest input", "0 for a link that may be discharged.";
        input_max_v: f64 = number(Unit::Volt, 1.0, 5000.0, 831.6), "Vmax", "Highest input", "Continuous.";
        transient_v: Option<f64> = optional(Unit::Volt, 1.0, 20e3), "Vt", "Transient", "Shorter than the elements' thermal time; leave empty if none.";
        upper: Upper = group::<Upper>(), "", "Upper string", "Its elements.";
        lower: Lower = group::<Lower>(), "", "Lower string", "Its elements.";
        load_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e15), "Rin", "Input resistance of what follows", "1/(f C) for a switched capacitor; leave empty if negligible.";
        load_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 20.0), "tin", "Its tolerance", "Half-width.";
        bias_current_a: f64 = defaulted(Unit::Ampere, 0.0, 1e-3, 20e-9), "Ib", "Bias current", "At the hottest junction, clamps included: it doubles about every 10 K.";
        filter_farad: Option<f64> = optional(Unit::Farad, 1e-15, 1e-2), "C", "Filter capacitance", "Across the lower part; leave empty without a filter.";
        leakage_ohm: Option<f64> = optional(Unit::Ohm, 1e3, 1e16), "Rlk", "Surface leakage", "Lowest that humidity and dirt make; leave empty if unknown.";
        leakage_path: LeakagePath = LeakagePath::Whole.chosen(), "", "Leakage runs", "End to end under the coating is the harmful one.";
        leakage_budget_percent: f64 = defaulted(Unit::Percent, 1e-4, 50.0, 0.1), "el", "Allowed from leakage", "Sets the smallest leakage resistance.";
        ambient_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 85.0), "Ta", "Ambient temperature", "Hottest, or the one farthest from the calibration.";
        calibration_degc: f64 = defaulted(Unit::Celsius, -80.0, 200.0, 25.0), "Tcal", "Calibration temperature", "Drift counts from here.";
        calibration_low_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "V1", "Lower calibration voltage", "Empty: the lowest input.";
        calibration_high_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "V2", "Upper calibration voltage", "Empty: the highest input.";
        stress_limit_percent: f64 = defaulted(Unit::Percent, 1.0, 100.0, 80.0), "d", "Derating limit of the stress", "Of what an element may carry, in normal use.";
        converter_full_scale_v: f64 = defaulted(Unit::Volt, 1e-3, 1e3, 2.0), "Vfs", "Full scale of the converter", "Referred to the output of the divider.";
        comparison_error_percent: f64 = defaulted(Unit::Percent, 1e-3, 100.0, 2.0), "ec", "Comparison with the sum of the cells", "Disagreement that is not yet called a fault.";
        ramp_v_per_s: f64 = defaulted(Unit::VoltPerSecond, 0.0, 1e12, 20e3), "dV/dt", "Fastest ramp of the input", "Of a pre-charge or a load step.";
        chassis_referenced: bool = yes_no(false), "", "Referred to the chassis", "Whether the string loads the insulation.";
        strings: u32 = whole(Unit::One, 1, 64, 1), "", "Strings in parallel", "On the same pole, for drain and insulation.";
        pack_insulation_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e15), "Riso", "Insulation without the divider", "Of the pack and everything on it.";
        insulation_requirement_ohm_per_v: f64 = defaulted(Unit::OhmPerVolt, 1.0, 1e6, 500.0), "", "Insulation required", "100 or 500 are usual.";
        layout: Layout = group::<Layout>(), "", "Layout", "For the creepage between any two points.";
    }
}

impl Upper {
    /// Its elements and their ratings.
    pub fn elements(&self) -> Elements {
        Elements {
            count: self.count,
            resistance_ohm: self.resistance_ohm,
            tolerance: (self.tolerance_percent + self.life_drift_percent) / 100.0,
            common: 0.0,
            tcr_per_k: self.tcr_ppm_per_k * 1e-6,
            bend_per_v: self.voltage_coefficient_ppm_per_v.abs() * 1e-6,
            leak_ohm: f64::INFINITY,
            max_working_v: self.max_working_v,
            overload_v: self.overload_v.unwrap_or(self.max_working_v),
            rated_power_w: self.rated_power_w,
            derate_from_degc: self.derate_from_degc,
            zero_power_degc: self.zero_power_degc,
        }
    }
}

impl Lower {
    /// Its elements and their ratings.
    pub fn elements(&self) -> Elements {
        Elements {
            count: self.count,
            resistance_ohm: self.resistance_ohm,
            tolerance: (self.tolerance_percent + self.life_drift_percent) / 100.0,
            common: 0.0,
            tcr_per_k: self.tcr_ppm_per_k * 1e-6,
            bend_per_v: self.voltage_coefficient_ppm_per_v.abs() * 1e-6,
            leak_ohm: f64::INFINITY,
            max_working_v: self.max_working_v,
            overload_v: self.max_working_v,
            rated_power_w: self.rated_power_w,
            derate_from_degc: self.derate_from_degc,
            zero_power_degc: self.zero_power_degc,
        }
    }
}

impl DividerInput {
    /// Strings and load.
    pub fn network(&self) -> Network {
        Network {
            upper_ohm: self.upper.elements().string_ohm(),
            lower_ohm: self.lower.elements().string_ohm(),
            load_ohm: self.load_ohm.unwrap_or(f64::INFINITY),
        }
    }

    /// The two calibration voltages, V.
    pub fn calibration_v(&self) -> (f64, f64) {
        (self.calibration_low_v.unwrap_or(self.input_min_v), self.calibration_high_v.unwrap_or(self.input_max_v))
    }
}
