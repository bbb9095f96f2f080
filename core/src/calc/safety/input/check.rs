//! A check: what it compares, from which difference on it alarms, how often it looks, and what becomes of its alarm.

use super::fault::Insert;
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
    }
}

impl CheckKind {
    /// Whether two readings are held against each other.
    pub const fn has_partner(self) -> bool {
        matches!(self, Self::Comparison | Self::SumOfCells)
    }

    /// Whether it can see such a fault at all.
    const fn looks_at(self, insert: Insert) -> bool {
        match self {
            Self::Comparison | Self::SumOfCells | Self::Range => true,
            // What stands before the converter is not in the test.
            Self::ReferenceTest => {
                matches!(insert, Insert::ReferenceDrift | Insert::ConverterGain | Insert::ConverterStuck | Insert::None)
            }
            Self::Communication | Self::StuckCode => false,
        }
    }

    /// Whether it looks at a difference against a limit.
    pub const fn has_limit(self) -> bool {
        !matches!(self, Self::Communication | Self::StuckCode)
    }

    /// Whether one side of it is the reading of the channel, with the errors and the noise of that; a test of the reference
    /// has its own.
    pub const fn reads_the_channel(self) -> bool {
        matches!(self, Self::Range | Self::Comparison | Self::SumOfCells)
    }

    /// The coverage that is claimed for such checks at most, percent: classes of ISO 26262-5:2018 annex D, from memory.
    const fn usual_ceiling_percent(self) -> f64 {
        match self {
            Self::Comparison | Self::SumOfCells => 99.0,
            Self::Range => 60.0,
            Self::ReferenceTest | Self::Communication | Self::StuckCode => 90.0,
        }
    }
}

impl SafetyCheck {
    /// Whether it can see such a fault at all: what both of its channels share shows in no difference.
    pub const fn looks_at(&self, insert: Insert) -> bool {
        let shared = match insert {
            Insert::ReferenceDrift => self.one_reference,
            Insert::ConverterGain | Insert::ConverterStuck => self.one_converter,
            _ => false,
        };
        self.kind.looks_at(insert) && !(self.kind.has_partner() && shared)
    }

    /// Whether it gives coverage.
    pub const fn covers(&self) -> bool {
        matches!(self.acts, Acts::SafeState | Acts::Substitute)
    }

    /// The coverage that is used at most, percent: of frames that are corrupted some pass their check sum.
    pub fn most_percent(&self) -> f64 {
        let class = self.ceiling_percent.unwrap_or_else(|| self.kind.usual_ceiling_percent());
        if self.kind == CheckKind::Communication { class.min(100.0 * (1.0 - self.passing())) } else { class }
    }

    /// Share of corrupted frames that pass the check sum.
    pub fn passing(&self) -> f64 {
        libm::exp2(-f64::from(self.crc_bits))
    }

    /// Limit of the difference.
    pub fn limit(&self) -> Option<f64> {
        self.reads.pick([self.limit_a, self.limit_v, self.limit_k])
    }

    /// The ends of a range, the lower first.
    pub fn range(&self) -> [Option<f64>; 2] {
        self.reads.pick([[self.low_a, self.high_a], [self.low_v, self.high_v], [self.low_degc, self.high_degc]])
    }

    /// Errors of the reading that is checked and of the other.
    pub fn errors(&self) -> [Option<f64>; 2] {
        self.reads.pick([
            [self.error_a, self.other_error_a],
            [self.error_v, self.other_error_v],
            [self.error_k, self.other_error_k],
        ])
    }

    /// The same check with error and noise of the channel that it reads where they are larger than what is typed.
    #[must_use]
    pub fn of_channel(&self, error: Option<f64>, noise: Option<f64>) -> Self {
        let mut own = self.clone();
        let [errs, is_noisy] = match self.reads {
            Reads::Current => [&mut own.error_a, &mut own.noise_a],
            Reads::Voltage => [&mut own.error_v, &mut own.noise_v],
            Reads::Temperature => [&mut own.error_k, &mut own.noise_k],
        };
        *errs = error.into_iter().chain(*errs).reduce(f64::max);
        *is_noisy = noise.into_iter().chain(*is_noisy).reduce(f64::max);
        own
    }

    /// The known difference at its lowest and highest.
    pub fn known(&self) -> [f64; 2] {
        self.reads.pick([
            [self.known_low_a, self.known_high_a],
            [self.known_low_v, self.known_high_v],
            [self.known_low_k, self.known_high_k],
        ])
    }

    /// Noise of the reading that is checked and of the other.
    pub fn noises(&self) -> [Option<f64>; 2] {
        self.reads.pick([
            [self.noise_a, self.other_noise_a],
            [self.noise_v, self.other_noise_v],
            [self.noise_k, self.other_noise_k],
        ])
    }
}
