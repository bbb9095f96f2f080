//! The circuits into which faults are inserted.

use crate::field::{defaulted, optional};
use crate::input;
use crate::quantity::Unit;

input! {
    /// The circuit of a voltage channel.
    pub struct VoltageParts {
        upper_count: Option<f64> = optional(Unit::One, 1.0, 100.0).shown(6.0), "n", "Upper elements", "In series.";
        upper_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e12).shown(680e3), "R", "Upper element", "One of them.";
        lower_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e12).shown(8060.0), "Rl", "Lower string", "All its elements.";
        load_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e15), "Rin", "Input resistance", "Of what follows; leave empty if negligible.";
        bias_current_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e-3).shown(20e-9), "Ib", "Bias current", "Into or out of the tap.";
        factor: Option<f64> = optional(Unit::One, 1.0, 1e6).shown(507.2035), "K", "Constant of the firmware", "Voltage of the pack over that of the tap.";
        full_at_v: Option<f64> = optional(Unit::Volt, 1e-3, 1e6).shown(1000.0), "", "Full at", "From here the converter stands at its end.";
        lowest_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6).shown(554.4), "", "Lowest voltage", "Of the pack: a stuck code stands between both.";
        highest_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6).shown(831.6), "", "Highest voltage", "Of the pack.";
        filter_farad: Option<f64> = optional(Unit::Farad, 0.0, 1.0), "C", "Capacitance at the input", "What an open tap holds; leave empty without one.";
        step_v: Option<f64> = optional(Unit::Volt, 1e-9, 1e6), "", "Step of the converter", "Referred to the reading.";
        supply_gain: Option<f64> = optional(Unit::One, 0.0, 1.0), "", "Follows its supply", "0 of a channel with a reference of its own, 1 in proportion; leave empty if unknown.";
        supply_works_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "", "Supply may be off by", "And the channel still works; leave empty if unknown.";
        cells: Option<f64> = optional(Unit::One, 1.0, 1e4), "", "Cells in series", "Whose voltages a sum adds.";
        error_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6).shown(8.98), "e", "Error of the healthy channel", "Half-width: no check of its reading counts with less; leave empty if unknown.";
        decided_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "", "Its threshold is decided at", "The last true value at which the threshold is in time: goals of voltage that say nothing else are decided there.";
        harm_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "", "Its threshold is late from", "The deviation there that makes it late.";
        late_sign: Option<f64> = optional(Unit::One, -1.0, 1.0), "", "Sign of that deviation", "−1: readings that are too low make it late, as of an over-voltage; 1: too high. Leave empty if either does.";
        noise_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "", "Noise of the healthy channel", "Standard deviation of an averaged reading: no check of it counts with less; leave empty if unknown.";
    }
}

input! {
    /// The circuit of a current channel.
    pub struct CurrentParts {
        shunt_ohm: Option<f64> = optional(Unit::Ohm, 1e-9, 1e3), "R", "Shunt", "Between its taps.";
        leg_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e7), "Rf", "One leg of the filter", "In series with one input.";
        input_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e12), "Rd", "Across the input", "What holds an open input; leave empty without one.";
        filter_farad: Option<f64> = optional(Unit::Farad, 0.0, 1.0), "C", "Capacitance across the input", "What a test current must charge and an open input holds.";
        bias_current_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e-3), "Ib", "Bias current", "Of the input, of either sign.";
        full_at_a: Option<f64> = optional(Unit::Ampere, 1e-6, 1e7), "", "Full at, in discharge", "From here the converter stands at its end.";
        full_charge_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "", "Full at, in charge", "A magnitude; 0 when charging is not read.";
        step_a: Option<f64> = optional(Unit::Ampere, 1e-9, 1e6), "", "Step of the converter", "Referred to the reading.";
        supply_gain: Option<f64> = optional(Unit::One, 0.0, 1.0), "", "Follows its supply", "0 of a channel with a reference of its own, 1 in proportion; leave empty if unknown.";
        supply_works_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "", "Supply may be off by", "And the channel still works; leave empty if unknown.";
        peak_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "", "Peak current", "A stuck code stands between both peaks.";
        charge_peak_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "", "Charging peak", "A magnitude.";
        error_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "e", "Error of the healthy channel", "Half-width: no check of its reading counts with less; leave empty if unknown.";
        decided_a: Option<f64> = optional(Unit::Ampere, -1e7, 1e7), "", "Its threshold is decided at", "The last true value at which the threshold is in time: goals of current that say nothing else are decided there.";
        harm_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Its threshold is late from", "The deviation there that makes it late.";
        late_sign: Option<f64> = optional(Unit::One, -1.0, 1.0), "", "Sign of that deviation", "−1: readings that are too low make it late; 1: too high, as of a charging current below zero. Leave empty if either does.";
        noise_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Noise of the healthy channel", "Standard deviation of an averaged reading: no check of it counts with less; leave empty if unknown.";
    }
}

input! {
    /// The circuit of a temperature channel: a thermistor by its beta.
    pub struct TemperatureParts {
        r25_ohm: Option<f64> = optional(Unit::Ohm, 10.0, 1e7), "R25", "Resistance at 25 °C", "Of the thermistor.";
        beta_k: Option<f64> = optional(Unit::Kelvin, 500.0, 8000.0), "B", "Beta", "Of the thermistor.";
        fixed_ohm: Option<f64> = optional(Unit::Ohm, 1.0, 1e9), "Rf", "Fixed resistor", "Of the read-out, in series with the sensor.";
        sensor_above: f64 = defaulted(Unit::One, 0.0, 1.0, 0.0).like(1.0), "", "Sensor above", "1: between supply and converter, the fixed resistor below it; 0: the other way round.";
        reference_gain: Option<f64> = optional(Unit::One, 0.0, 1.0), "", "Reads its reference", "0 of a ratiometric read-out: a drift of the reference divides out; else 1; leave empty if unknown.";
        supply_gain: Option<f64> = optional(Unit::One, 0.0, 1.0), "", "Follows its supply", "0 of a channel with a reference of its own, 1 in proportion; leave empty if unknown.";
        supply_works_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "", "Supply may be off by", "And the channel still works; leave empty if unknown.";
        ambient_low_degc: Option<f64> = optional(Unit::Celsius, -80.0, 300.0), "", "Lowest ambient", "That a sensor without contact sees.";
        ambient_high_degc: Option<f64> = optional(Unit::Celsius, -80.0, 300.0), "", "Highest ambient", "That a sensor without contact sees.";
        lowest_degc: Option<f64> = optional(Unit::Celsius, -80.0, 300.0), "", "Lowest temperature read", "Where the converter ends; leave empty where it reads every resistance.";
        highest_degc: Option<f64> = optional(Unit::Celsius, -80.0, 300.0), "", "Highest temperature read", "Where the converter ends; leave empty where it reads every resistance.";
        coldest_degc: Option<f64> = optional(Unit::Celsius, -80.0, 300.0), "", "Coldest in use", "What it measures never gets colder; leave empty where that is where the converter ends.";
        hottest_degc: Option<f64> = optional(Unit::Celsius, -80.0, 300.0), "", "Hottest in use", "What it measures never gets hotter; leave empty where that is where the converter ends.";
        error_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "e", "Error of the healthy channel", "Half-width: no check of its reading counts with less; leave empty if unknown.";
        noise_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "", "Noise of the healthy channel", "Standard deviation of a reading: no check of it counts with less; leave empty if unknown.";
        decided_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "", "Its threshold is decided at", "The last true value at which the threshold is in time: goals of temperature that say nothing else are decided there.";
        harm_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "", "Its threshold is late from", "The deviation there that makes it late.";
        late_sign: Option<f64> = optional(Unit::One, -1.0, 1.0), "", "Sign of that deviation", "−1: readings that are too low make it late, as of an over-temperature; 1: too high. Leave empty if either does.";
    }
}
