//! What the voltage channel takes.

use crate::calc::voltage::divider::{LeakagePath, Lower, Upper};
use crate::channel::Allowance;
use crate::channel::{Bench, Experiment, JudgedBy, NoiseCounted};
use crate::field::{defaulted, group, number, numbers, optional, whole, yes_no};
use crate::input;
use crate::physics::front_end::{CalibrationKind, FrontEnd};
use crate::physics::network::Network;
use crate::physics::parts::{Amplifier, Converter};
use crate::quantity::Unit;

crate::choice! {
    /// Where the other end of the divider lies.
    pub enum Against {
        Pole = "pole", "Other pole";
        FromPositive = "chassis-from-positive", "Chassis, from the positive pole";
        FromNegative = "chassis-from-negative", "Chassis, from the negative pole";
    }
}

input! {
    /// What follows the divider, as its load.
    pub struct Following {
        load_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e15).like(100e6), "Rin", "Input resistance", "1/(f C) for a switched capacitor; leave empty if negligible.";
        load_tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 90.0, 20.0), "tin", "Its tolerance", "Half-width.";
        load_drift_ppm_per_k: f64 = defaulted(Unit::PpmPerKelvin, 0.0, 3000.0, 0.0).like(25.0), "ain", "Its drift", "Half-width of the slope: calibration leaves it.";
        factor_includes_load: bool = yes_no(true), "", "Constant includes the load", "Whether the firmware's constant was worked out with the load across the lower part.";
        bias_current_a: f64 = defaulted(Unit::Ampere, 0.0, 1e-3, 20e-9), "Ib", "Bias current", "At the hottest junction, clamps included: it doubles about every 10 K.";
        bias_varying_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 100.0), "", "Part of it that varies", "With temperature: calibration removes only the rest.";
        filter_farad: Option<f64> = optional(Unit::Farad, 1e-15, 1e-2), "C", "Filter capacitance", "Across the lower part, for the noise; leave empty without a filter.";
    }
}

input! {
    /// The surface of the board beside the upper string.
    pub struct Surface {
        leakage_ohm: Option<f64> = optional(Unit::Ohm, 1e3, 1e16).like(1e9), "Rlk", "Surface leakage", "Lowest that humidity and dirt make; leave empty if unknown.";
        leakage_path: LeakagePath = LeakagePath::Whole.chosen(), "", "Leakage runs", "End to end under the coating is the harmful one.";
    }
}

input! {
    /// The converter and its reference. Errors are referred to its own input.
    pub struct VoltageConverter {
        bits: u32 = whole(Unit::Bit, 6, 32, 14), "N", "Resolution", "Of the output code.";
        full_scale_v: f64 = number(Unit::Volt, 1e-3, 1e3, 2.0), "Vfs", "Full scale", "One side of a bipolar range, not the span.";
        bipolar: bool = yes_no(false), "", "Bipolar", "Whether negative voltages are converted.";
        offset_v: f64 = number(Unit::Volt, 0.0, 1.0, 300e-6), "Vo", "Offset", "Half-width.";
        offset_drift_v_per_k: f64 = number(Unit::VoltPerKelvin, 0.0, 1e-2, 3e-6), "dVo", "Offset drift", "Half-width of the slope.";
        gain_error_percent: f64 = number(Unit::Percent, 0.0, 50.0, 0.2), "eg", "Gain error", "Half-width, without the reference.";
        gain_drift_ppm_per_k: f64 = number(Unit::PpmPerKelvin, 0.0, 2000.0, 30.0), "ag", "Gain drift", "Half-width of the slope, without the reference.";
        inl_ppm: Option<f64> = optional(Unit::Ppm, 0.0, 1e5).like(20.0), "INL", "Integral non-linearity", "Of full scale, half-width.";
        peak_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 10.0), "ep", "Peak error", "Instead of the non-linearity: of full scale.";
        noise_v: Option<f64> = optional(Unit::Volt, 0.0, 0.1).like(10e-6), "un", "Noise", "Root mean square of single results.";
        sinad_db: Option<f64> = optional(Unit::Decibel, 1.0, 200.0), "SINAD", "Signal to noise and distortion", "Instead of the noise: with a full-scale sine.";
        reference_v: f64 = defaulted(Unit::Volt, 1e-3, 1e3, 2.5), "Vref", "Reference voltage", "For the record; its error acts as a gain error.";
        reference_error_percent: f64 = number(Unit::Percent, 0.0, 20.0, 0.1), "er", "Reference error", "Half-width.";
        reference_drift_ppm_per_k: f64 = number(Unit::PpmPerKelvin, 0.0, 2000.0, 15.0), "ar", "Reference drift", "Half-width of the slope.";
        reference_life_drift_ppm: f64 = defaulted(Unit::Ppm, 0.0, 1e5, 0.0).like(50.0), "Lr", "Reference ageing", "Half-width over life.";
    }
}

input! {
    /// What calibration removes and leaves.
    pub struct VoltageCalibration {
        kind: CalibrationKind = CalibrationKind::TwoPoint.chosen(), "", "Calibration", "Done once, at the calibration temperature.";
        low_v: f64 = defaulted(Unit::Volt, 0.0, 5000.0, 400.0), "V1", "Lower calibration voltage", "At the pack.";
        high_v: f64 = defaulted(Unit::Volt, 1e-3, 5000.0, 800.0), "V2", "Upper calibration voltage", "At the pack.";
        gain_residual_percent: f64 = defaulted(Unit::Percent, 0.0, 10.0, 0.05), "gr", "Gain error after calibration", "The calibrator's own uncertainty and what repeats badly, half-width.";
        offset_residual_v: f64 = defaulted(Unit::Volt, 0.0, 1.0, 0.0).like(0.2e-3), "or", "Offset after calibration", "Half-width, referred to the output of the divider.";
    }
}

input! {
    /// Where and when the channel is judged.
    pub struct Ambient {
        ambient_min_degc: f64 = number(Unit::Celsius, -80.0, 200.0, -30.0), "Tmin", "Lowest ambient", "Of divider and electronics.";
        ambient_max_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 85.0), "Tmax", "Highest ambient", "Of divider and electronics.";
        calibration_degc: f64 = number(Unit::Celsius, -80.0, 200.0, 25.0), "Tcal", "Calibration temperature", "Drift counts from here.";
        electronics_rise_k: f64 = defaulted(Unit::Kelvin, 0.0, 80.0, 0.0).like(10.0), "ΔTe", "Rise of the electronics, up to", "By their own loss; from nothing at switch-on.";
        life_years: Option<f64> = optional(Unit::Year, 0.1, 100.0), "L", "Life", "Over which the ageing limits hold; needed with an interval of re-calibration.";
    }
}

input! {
    /// What is required: allowed error = part of reading + fixed part, from a share of the highest input up.
    pub struct VoltageRequirement {
        gain_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "g", "Allowed, of reading", "Or of full scale, when written so; leave both parts empty when there is no requirement.";
        offset_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "o", "Allowed, fixed", "Added to the part of reading.";
        form: Allowance = Allowance::Sum.chosen(), "", "Referred to", "Full scale is the highest input.";
        from_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 50.0), "", "Counts from", "Share of the highest input; below it nothing is required.";
        judged_by: JudgedBy = JudgedBy::WorstCase.chosen(), "", "Judged by", "Worst case for every protective function.";
        noise: NoiseCounted = NoiseCounted::None.chosen(), "", "Noise that counts", "In the errors that are judged.";
    }
}

input! {
    /// Everything the voltage channel takes.
    pub struct VoltageInput {
        input_min_v: f64 = defaulted(Unit::Volt, 0.0, 5000.0, 554.4), "Vmin", "Lowest input", "0 for a link that may be discharged.";
        input_max_v: f64 = number(Unit::Volt, 1.0, 5000.0, 831.6), "Vmax", "Highest input", "Continuous.";
        measured_against: Against = Against::Pole.chosen(), "", "Measured against", "To the chassis it loads the bus.";
        upper: Upper = group::<Upper>(), "", "Upper string", "Its elements.";
        lower: Lower = group::<Lower>(), "", "Lower string", "Its elements.";
        following: Following = group::<Following>(), "", "Load", "What follows the divider.";
        surface: Surface = group::<Surface>(), "", "Surface", "Beside the upper string.";
        amplifier: Amplifier = group::<Amplifier>(), "", "Amplifier", "Errors referred to its input; gain 1 without one.";
        converter: VoltageConverter = group::<VoltageConverter>(), "", "Converter and reference", "Errors referred to its input.";
        averaging: u32 = whole(Unit::One, 1, 65_536, 1), "n", "Averaged samples", "In firmware, after the converter.";
        calibration: VoltageCalibration = group::<VoltageCalibration>(), "", "Calibration", "What it leaves.";
        bench: Bench = group::<Bench>(), "", "Calibrating bench", "How the calibration is done.";
        conditions: Ambient = group::<Ambient>(), "", "Conditions", "Ambient and calibration temperature.";
        stress_limit_percent: f64 = defaulted(Unit::Percent, 1.0, 100.0, 80.0), "d", "Derating limit of the stress", "Of what an element may carry, in normal use.";
        voltages_v: Vec<f64> = numbers(Unit::Volt, 1e-2, 5000.0, 12, &[554.4, 722.7, 831.6]), "V", "Judged at", "Pack voltages, parted by spaces.";
        requirement: VoltageRequirement = group::<VoltageRequirement>(), "", "Requirement", "Allowed error = part of reading + fixed part.";
        experiment: Experiment = group::<Experiment>(), "", "Monte Carlo", "Trials and seed.";
    }
}

impl VoltageInput {
    /// Whether noise counts in the error that is judged: by the requirement, or in stored readings.
    pub fn noise_counts(&self) -> bool {
        self.requirement.noise != NoiseCounted::None || self.calibration.kind != CalibrationKind::None
    }

    /// What a wet surface does, where nobody gave it: it moves every reading, and the range.
    pub fn wet_missing(&self) -> Option<&'static str> {
        self.surface.leakage_ohm.is_none().then_some("/surface/leakage_ohm")
    }

    /// Strings and load.
    pub fn network(&self) -> Network {
        Network {
            upper_ohm: self.upper.elements().string_ohm(),
            lower_ohm: self.lower.elements().string_ohm(),
            load_ohm: self.following.load_ohm.unwrap_or(f64::INFINITY),
        }
    }

    /// The lowest resistance of the upper string where it lies between that pole and the chassis, Ω. Tolerance, drift over
    /// life, temperature, voltage coefficient and surface leakage all count on the low side; the lower part is left out,
    /// because its load may be a short.
    pub fn lowest_to_chassis_ohm(&self, pole: Against) -> Option<f64> {
        let (with, upper) = (&self.conditions, &self.upper);
        let [cold, hot] = [with.ambient_min_degc, with.ambient_max_degc].map(|at| (at - with.calibration_degc).abs());
        let (elements, n) = (upper.elements(), f64::from(upper.count));
        let bent = upper.voltage_coefficient_ppm_per_v.min(0.0) * self.input_max_v / n;
        let one = elements.resistance_ohm
            * (1.0 - elements.tolerance)
            * (1.0 - 1e-6 * upper.tcr_ppm_per_k * cold.max(hot))
            * (1.0 + 1e-6 * bent).max(0.0);
        let wet = |ohm: f64| self.surface.leakage_ohm.map_or(ohm, |leak| ohm * leak / (ohm + leak));
        let string = match self.surface.leakage_path {
            LeakagePath::Whole => wet(n * one),
            LeakagePath::Element => (n - 1.0) * one + wet(one),
        };
        (self.measured_against == pole).then_some(string)
    }

    /// The parts in the form that every channel shares.
    pub fn parts(&self) -> Parts<'_> {
        let adc = &self.converter;
        Parts {
            amplifier: &self.amplifier,
            converter: Converter {
                bits: adc.bits,
                full_scale_v: adc.full_scale_v,
                bipolar: adc.bipolar,
                offset_v: adc.offset_v,
                offset_drift_v_per_k: adc.offset_drift_v_per_k,
                gain_error_percent: adc.gain_error_percent,
                gain_drift_ppm_per_k: adc.gain_drift_ppm_per_k,
                inl_ppm: adc.inl_ppm,
                peak_error_percent: adc.peak_error_percent,
                noise_v: adc.noise_v,
                sinad_db: adc.sinad_db,
                // Neither rate nor decimation is part of the error of a mean reading.
                data_rate_hz: 1.0,
                oversampling: 1,
                filter_order: 1,
                reference_v: adc.reference_v,
                reference_error_percent: adc.reference_error_percent,
                reference_drift_ppm_per_k: adc.reference_drift_ppm_per_k,
                reference_life_drift_ppm: adc.reference_life_drift_ppm,
            },
        }
    }

    /// The allowed error at a voltage, V; none below the share of the highest input where the requirement begins.
    pub fn allowed_v(&self, voltage_v: f64) -> Option<f64> {
        if voltage_v < self.requirement.from_percent / 100.0 * self.input_max_v {
            return None;
        }
        let with = &self.requirement;
        with.form.allowed(with.gain_percent, with.offset_v, voltage_v, self.input_max_v)
    }
}

/// Amplifier and converter, ready for a front end.
#[derive(Clone, Debug)]
pub struct Parts<'a> {
    /// The amplifier.
    pub amplifier: &'a Amplifier,
    /// The converter with its reference.
    pub converter: Converter,
}

impl Parts<'_> {
    /// The front end.
    pub fn front_end(&self) -> FrontEnd<'_> {
        FrontEnd { amplifier: self.amplifier, converter: &self.converter }
    }
}
