//! What the current channel takes.

use crate::calc::current::shunt::Shunt;
use crate::channel::{Allowance, Bench, Experiment, JudgedBy, NoiseCounted};
use crate::field::{defaulted, group, number, numbers, optional, whole, yes_no};
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
        shunt_extra_k: f64 = defaulted(Unit::Kelvin, 0.0, 150.0, 0.0).like(20.0), "ΔTs", "Rise of the shunt's surroundings", "Against the electronics, at the hot end.";
        electronics_rise_k: f64 = defaulted(Unit::Kelvin, 0.0, 80.0, 0.0).like(10.0), "ΔTe", "Rise of the electronics, up to", "By their own loss; from nothing at switch-on.";
        life_years: Option<f64> = optional(Unit::Year, 0.1, 100.0), "L", "Life", "Over which the ageing limits hold; needed with an interval of re-calibration.";
    }
}

input! {
    /// What the pack does.
    pub struct Load {
        continuous_a: f64 = number(Unit::Ampere, 0.0, 1e5, 400.0), "Ic", "Largest continuous current", "Root mean square, either way.";
        peak_a: f64 = number(Unit::Ampere, 0.0, 1e6, 600.0), "Ip", "Peak current", "From the steady state of the continuous current.";
        peak_duration_s: f64 = number(Unit::Second, 1e-6, 1e5, 10.0), "tp", "Peak duration", "Of one peak.";
        peak_repeat_s: Option<f64> = optional(Unit::Second, 1e-6, 1e7), "Tp", "Peaks come again after", "From the beginning of one to the next; leave empty for one peak.";
        charge_peak_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "Ich", "Charging peak", "Leave empty when it is as large as in discharge; 0 when the pack does not charge.";
        charge_read_elsewhere: bool = yes_no(false), "", "Charging is read by another channel", "This one then need not read below zero.";
        peak_read_elsewhere: bool = yes_no(false), "", "Peaks are read by another channel", "This one then need not reach them.";
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
        form: Allowance = Allowance::Sum.chosen(), "", "Referred to", "Full scale is the full-scale current.";
        judged_by: JudgedBy = JudgedBy::WorstCase.chosen(), "", "Judged by", "Worst case for every protective function.";
        from_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Counts from", "Leave empty for the smallest listed current.";
        to_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Counts up to", "Leave empty for the peak current.";
        noise: NoiseCounted = NoiseCounted::None.chosen(), "", "Noise that counts", "In the errors that are judged.";
    }
}

input! {
    /// The currents at which it is calibrated.
    pub struct CurrentPoints {
        low_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "I1", "First current", "Leave empty for no current.";
        high_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "I2", "Second current", "Leave empty for the largest continuous current.";
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
        calibrated_at: CurrentPoints = group::<CurrentPoints>(), "", "Calibrating currents", "Where the firmware stores its readings.";
        bench: Bench = group::<Bench>(), "", "Calibrating bench", "How the calibration is done.";
        conditions: Conditions = group::<Conditions>(), "", "Conditions", "Ambient and calibration temperature.";
        load: Load = group::<Load>(), "", "Load", "What the pack does.";
        currents_a: Vec<f64> = numbers(Unit::Ampere, 1e-6, 1e6, 12, &[5.0, 400.0, 600.0]), "I", "Judged at", "Currents, parted by spaces.";
        requirement: Requirement = group::<Requirement>(), "", "Requirement", "Allowed error = part of reading + fixed part.";
        experiment: Experiment = group::<Experiment>(), "", "Monte Carlo", "Trials and seed.";
    }
}
