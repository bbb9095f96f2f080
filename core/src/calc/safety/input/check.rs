//! A check: what it compares, from which difference on it alarms, how often it looks, and what becomes of its alarm.

use super::goal::Reads;
use crate::field::{defaulted, optional, text, whole, yes_no};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// What a check does.
    pub enum CheckKind {
        Comparison = "comparison", "Two channels of one quantity";
        SumOfCells = "sum-of-cells", "The pack against the sum of its cells";
        Range = "range", "The reading against the range that it can have";
        ReferenceTest = "reference-test", "A known value through the converter";
        Communication = "communication", "Age, counter and check sum of frames";
        StuckCode = "stuck-code", "Equal codes one after the other";
        Rate = "rate", "The step from one reading to the next";
        OpenWire = "open-wire", "A test current through the sense wires";
        CurrentHeat = "current-heat", "The heat of the shunt against the current that is read";
        StepResistance = "step-resistance", "The step of voltage over the step of current";
        Closure = "closure", "The charge that was counted between two anchors";
        ClockTest = "clock-test", "A second clock";
    }
}

crate::choice! {
    /// Which reading a rate is taken against.
    pub enum HeldAgainst {
        LastSample = "last-sample", "The sample before";
        LastAccepted = "last-accepted", "The last one that was accepted, which is held";
    }
}

crate::choice! {
    /// What becomes of an alarm.
    pub enum Acts {
        SafeState = "safe-state", "The safe state is entered";
        Substitute = "substitute", "Another reading is used";
        Warn = "warn", "A warning only";
        Record = "record", "A record only";
    }
}

crate::choice! {
    /// Which reading goals use of two that are compared.
    pub enum Used {
        Own = "a", "The one that is checked";
        Other = "b", "The other";
        Mean = "mean", "Their mean";
        Larger = "larger", "The larger, whatever the sign";
        Smaller = "smaller", "The smaller, whatever the sign";
    }
}

input! {
    /// A check.
    pub struct SafetyCheck {
        name: String = text(60, "Check"), "", "Name", "Fault modes name it.";
        kind: CheckKind = CheckKind::Comparison.chosen(), "", "Kind", "What it does.";
        reads: Reads = Reads::Voltage.chosen(), "", "Quantity", "Limits and errors of another one do not count.";
        acts: Acts = Acts::SafeState.chosen(), "", "Acts", "Only the safe state and a substitute give coverage.";
        signals: bool = yes_no(true), "", "Somebody is told", "Otherwise what it covers stays hidden.";
        interval_s: f64 = defaulted(Unit::Second, 1e-6, 1e6, 0.02), "T", "Interval", "Between two looks; twice the period where tasks are not synchronised.";
        in_a_row: u32 = whole(Unit::One, 1, 1000, 3), "n", "In a row", "Looks beyond the limit to an alarm.";
        noise_sigma: f64 = defaulted(Unit::One, 0.0, 10.0, 4.5), "z", "Noise counts with", "Standard deviations, for what is surely seen.";
        processing_s: f64 = defaulted(Unit::Second, 0.0, 60.0, 0.0).like(0.01), "", "Processing", "After the last look.";
        averaging_s: f64 = defaulted(Unit::Second, 0.0, 1e5, 0.0).like(0.04), "W", "Averaged over", "Of the readings in front of the check; 0 for none.";
        test_interval_h: Option<f64> = optional(Unit::Hour, 1e-4, 1e6), "", "Tested every", "Leave empty where it is never tested: a loss stays for life.";
        test_coverage_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 90.0), "C", "Coverage of the test", "Losses of the check that its test finds.";
        loss_fit: Option<f64> = optional(Unit::Fit, 0.0, 1e5), "", "Rate of loss", "Empty: the rates of what it needs.";
        needs: String = text(160, ""), "", "Needs", "Components without which it does not work, parted by commas.";
        ceiling_percent: Option<f64> = optional(Unit::Percent, 0.0, 99.9), "", "Ceiling of coverage", "Empty: 99 % of a comparison and a sum, 60 % of a range, else 90 %.";
        allowed_false_per_hour: f64 = defaulted(Unit::One, 1e-12, 1e6, 1e-3), "", "Allowed false alarms", "An hour.";
        time_out_s: Option<f64> = optional(Unit::Second, 1e-6, 1e5), "", "Time-out", "Of communication: the oldest frame that is used.";
        counter_bits: u32 = whole(Unit::Bit, 0, 32, 0), "w", "Counter of frames", "Its bits; 0 for none.";
        crc_bits: u32 = whole(Unit::Bit, 0, 64, 0), "c", "Check sum", "Its bits; 0 for none.";
        one_reference: bool = yes_no(false), "", "One reference for both", "Of two channels that are compared: a drift of it shows in neither difference.";
        one_converter: bool = yes_no(false), "", "One converter for both", "Of two channels that are compared: neither its gain nor a stuck code shows in their difference.";
        equal_codes: u32 = whole(Unit::One, 2, 100_000, 100), "m", "Equal codes", "Of a stuck-code check, to an alarm.";
        noise_steps: Option<f64> = optional(Unit::One, 0.0, 1e6), "", "Noise in steps", "Standard deviation of a code, for a stuck-code check.";
        low_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "", "Lowest, current", "Of a range: a reading below it alarms.";
        high_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "", "Highest, current", "Of a range: a reading above it alarms.";
        low_v: Option<f64> = optional(Unit::Volt, -1e6, 1e6), "", "Lowest, voltage", "Of a range: a reading below it alarms.";
        high_v: Option<f64> = optional(Unit::Volt, -1e6, 1e6), "", "Highest, voltage", "Of a range: a reading above it alarms.";
        low_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "", "Lowest, temperature", "Of a range: a reading below it alarms.";
        high_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "", "Highest, temperature", "Of a range: a reading above it alarms.";
        limit_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "L", "Limit, current", "Of the difference; of a reference test, referred to the reading.";
        limit_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "L", "Limit, voltage", "Of the difference; of a reference test, referred to the reading.";
        error_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "", "Error, voltage", "Of the reading that is checked, half-width; empty: that of the channel.";
        other_error_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "", "Error of the other, voltage", "That it is compared with; of many cells the sum.";
        known_low_v: f64 = defaulted(Unit::Volt, -1e6, 0.0, 0.0).like(-1.0), "", "Known difference from, voltage", "At its lowest, below zero; a drop on the way counts here.";
        known_high_v: f64 = defaulted(Unit::Volt, 0.0, 1e6, 0.0).like(1.0), "", "Known difference to, voltage", "At its highest.";
        noise_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "", "Noise, voltage", "Standard deviation of the reading that is checked; empty: that of the channel.";
        other_noise_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "", "Noise of the other, voltage", "Standard deviation.";
        error_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Error, current", "Of the reading that is checked, half-width; empty: that of the channel.";
        other_error_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Error of the other, current", "That it is compared with.";
        known_low_a: f64 = defaulted(Unit::Ampere, -1e6, 0.0, 0.0).like(-1.0), "", "Known difference from, current", "At its lowest, below zero; a skew in time counts here.";
        known_high_a: f64 = defaulted(Unit::Ampere, 0.0, 1e6, 0.0).like(1.0), "", "Known difference to, current", "At its highest.";
        noise_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Noise, current", "Standard deviation of the reading that is checked; empty: that of the channel.";
        other_noise_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Noise of the other, current", "Standard deviation.";
        limit_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "L", "Limit, temperature", "Of the difference; of a reference test, referred to the reading.";
        error_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "", "Error, temperature", "Of the reading that is checked, half-width; empty: that of the channel.";
        other_error_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "", "Error of the other, temperature", "That it is compared with.";
        known_low_k: f64 = defaulted(Unit::Kelvin, -1e3, 0.0, 0.0).like(-1.0), "", "Known difference from, temperature", "At its lowest, below zero.";
        known_high_k: f64 = defaulted(Unit::Kelvin, 0.0, 1e3, 0.0).like(1.0), "", "Known difference to, temperature", "At its highest.";
        noise_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "", "Noise, temperature", "Standard deviation of the reading that is checked; empty: that of the channel.";
        other_noise_k: Option<f64> = optional(Unit::Kelvin, 0.0, 1e3), "", "Noise of the other, temperature", "Standard deviation.";
        other_full_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "", "Other reads up to, current", "Beyond it the other channel of a comparison stands at its end, and shows nothing; leave empty if unknown.";
        other_full_v: Option<f64> = optional(Unit::Volt, 0.0, 1e6), "", "Other reads up to, voltage", "Beyond it the other channel of a comparison stands at its end, and shows nothing; leave empty if unknown.";
        other_full_degc: Option<f64> = optional(Unit::Celsius, -200.0, 500.0), "", "Other reads up to, temperature", "Beyond it the other channel of a comparison stands at its end, and shows nothing; leave empty if unknown.";
        limit_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "", "Limit, share", "Of the other reading, beside a fixed limit; of a clock test, of the frequency.";
        low_pass_s: f64 = defaulted(Unit::Second, 0.0, 1e5, 0.0).like(0.01), "τ", "Time constant in front", "Of a filter; of a check by heat that of the shunt; 0 for none.";
        slope_a_per_s: Option<f64> = optional(Unit::AmperePerSecond, 0.0, 1e9), "", "Largest slope, current", "In normal use.";
        slope_v_per_s: Option<f64> = optional(Unit::VoltPerSecond, 0.0, 1e9), "", "Largest slope, voltage", "In normal use.";
        slope_k_per_s: Option<f64> = optional(Unit::KelvinPerSecond, 0.0, 1e6), "", "Largest slope, temperature", "In normal use.";
        rate_a_per_s: Option<f64> = optional(Unit::AmperePerSecond, 0.0, 1e9), "", "Limit of a rate, current", "Of a check by rate.";
        rate_v_per_s: Option<f64> = optional(Unit::VoltPerSecond, 0.0, 1e9), "", "Limit of a rate, voltage", "Of a check by rate.";
        rate_k_per_s: Option<f64> = optional(Unit::KelvinPerSecond, 0.0, 1e6), "", "Limit of a rate, temperature", "Of a check by rate.";
        held_against: HeldAgainst = HeldAgainst::LastSample.chosen(), "", "A rate is taken against", "After the first sample beyond the limit the sample before is beyond it, too: several in a row need the last accepted one.";
        used: Used = Used::Own.chosen(), "", "Goals use", "Of two channels that are compared: what is typed as a deviation is one of the first.";
        skew_s: f64 = defaulted(Unit::Second, 0.0, 1e3, 0.0).like(0.001), "", "Skew", "In time, between two readings that are compared: the largest slope times it counts as a difference.";
        cell_error_v: Option<f64> = optional(Unit::Volt, 0.0, 10.0), "", "Error of a cell", "Half-width; all cells count with it at once, for they have one reference.";
        drop_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e3), "", "Resistance on the way", "Between the taps of the cells and those of the pack, for a sum of cells.";
        drop_left_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 100.0), "", "Left of its drop", "Where it is corrected with the current: what is not known of it.";
        test_current_a: Option<f64> = optional(Unit::Ampere, 1e-12, 1.0), "It", "Test current", "Of an open-wire check; its limit, error and noise are voltages at the input.";
        heat_k_per_w: Option<f64> = optional(Unit::KelvinPerWatt, 1e-6, 1e6), "Rth", "Thermal resistance", "Of the shunt, for a check by heat; its limit, error and noise are temperatures.";
        resistance_low_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e6), "", "Lowest resistance", "Of the pack, over temperature, age and charge, for a check by steps.";
        resistance_high_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e6), "", "Highest resistance", "The same.";
        low_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e6), "", "Lowest, resistance", "Of a check by steps: a resistance below it alarms.";
        high_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e6), "", "Highest, resistance", "Of a check by steps: a resistance above it alarms.";
        error_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e6), "", "Error, resistance", "Of what is worked out from a step, half-width.";
        step_a: Option<f64> = optional(Unit::Ampere, 1e-6, 1e6), "", "Step of current", "Comes at least once an interval.";
        step_from_a: f64 = defaulted(Unit::Ampere, 0.0, 1e6, 0.0).like(10.0), "", "Least step", "From which step that is read a resistance is worked out.";
        limit_ah: Option<f64> = optional(Unit::AmpereHour, 0.0, 1e6), "L", "Limit, charge", "Of what does not close between two anchors; they are an interval apart.";
        capacity_ah: Option<f64> = optional(Unit::AmpereHour, 1e-3, 1e6), "Q", "Capacity", "Of the pack, for a closure.";
        anchor_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "", "Error of an anchor", "Of the state of charge, in points, half-width.";
        error_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "", "Error of the clock", "Half-width.";
        other_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 100.0), "", "Error of the second clock", "Half-width.";
    }
}
