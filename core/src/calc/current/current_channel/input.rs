//! What the current channel takes.

use crate::calc::current::shunt::Shunt;
use crate::channel::{Allowance, Experiment, JudgedBy};
use crate::field::{defaulted, group, number, numbers, optional, whole};
use crate::input;
use crate::physics::front_end::Calibration;
use crate::physics::parts::{Amplifier, Converter, Filter};
use crate::quantity::Unit;

input! {
    /// Where and when the channel is judged.
    pub struct Conditions {
        ambient_min_degc: f64 = number(Unit::Celsius, -80.0, 200.0, -30.0), "Tmin", "Lowest ambient", "Of shunt and electronics.";
        ambient_max_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 85.0), "Tmax", "Highest ambient", "Of shunt and electronics.";
        calibration_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 25.0), "Tcal", "Calibration temperature", "Drift counts from here.";
        shunt_extra_k: f64 = defaulted(Unit::Kelvin, 0.0, 150.0, 0.0), "ΔTs", "Shunt is hotter by", "Its surroundings against the electronics, at the hot end.";
    }
}

input! {
    /// What the pack does.
    pub struct Load {
        continuous_a: f64 = number(Unit::Ampere, 0.0, 1e5, 400.0), "Ic", "Largest continuous current", "Root mean square.";
        peak_a: f64 = number(Unit::Ampere, 0.0, 1e6, 600.0), "Ip", "Peak current", "From the steady state of the continuous current.";
        peak_duration_s: f64 = number(Unit::Second, 1e-6, 1e5, 10.0), "tp", "Peak duration", "Of one peak.";
        full_scale_a: f64 = number(Unit::Ampere, 1e-3, 1e6, 1400.0), "Ifs", "Full-scale current", "The largest current that must be read.";
        ripple_current_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 30.0), "Îr", "Ripple amplitude", "Half of peak to peak, triangular.";
        ripple_frequency_hz: f64 = defaulted(Unit::Hertz, 1.0, 1e7, 10e3), "fr", "Ripple frequency", "Of the fundamental.";
        capacity_ah: Option<f64> = optional(Unit::AmpereHour, 1e-2, 1e5), "Q", "Capacity", "Of the battery, for the daily drift; leave empty if unknown.";
    }
}

input! {
    /// What is required: allowed error = gain part × |current| + offset part.
    pub struct Requirement {
        gain_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "g", "Allowed, of reading", "Or of full scale, when written so; leave both parts empty when there is no requirement.";
        offset_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5), "o", "Allowed, fixed", "Added to the part of reading.";
        form: Allowance = Allowance::Sum.chosen(), "", "Written as", "Full scale is the full-scale current.";
        judged_by: JudgedBy = JudgedBy::WorstCase.chosen(), "", "Judged by", "Worst case for every protective function.";
    }
}

input! {
    /// Everything the current channel takes.
    pub struct ChannelInput {
        shunt: Shunt = group::<Shunt>(), "", "Shunt", "The part.";
        amplifier: Amplifier = group::<Amplifier>(), "", "Amplifier", "Errors referred to its input.";
        filter: Filter = group::<Filter>(), "", "Low-pass", "In front of the converter.";
        converter: Converter = group::<Converter>(), "", "Converter and reference", "Errors referred to its input.";
        averaging: u32 = whole(Unit::One, 1, 65_536, 40), "n", "Averaged samples", "In firmware, after the converter.";
        calibration: Calibration = group::<Calibration>(), "", "Calibration", "What it leaves.";
        conditions: Conditions = group::<Conditions>(), "", "Conditions", "Ambient and calibration temperature.";
        load: Load = group::<Load>(), "", "Load", "What the pack does.";
        currents_a: Vec<f64> = numbers(Unit::Ampere, 1e-6, 1e6, 12, &[5.0, 400.0, 600.0]), "I", "Judged at", "Currents, parted by spaces.";
        requirement: Requirement = group::<Requirement>(), "", "Requirement", "Allowed error = part of reading + fixed part.";
        experiment: Experiment = group::<Experiment>(), "", "Monte Carlo", "Trials and seed.";
    }
}
