//! What counts the charge: the errors of the current channel, and what is made of its readings.

use crate::field::{defaulted, number, optional, whole, yes_no};
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// How a code is rounded.
    pub enum Rounding {
        Nearest = "nearest", "To the nearest";
        Floor = "floor", "Downward";
        TowardZero = "toward-zero", "Toward zero";
    }
}

crate::choice! {
    /// What stands for a reading that is missed.
    pub enum MissedReading {
        Zero = "zero", "Nothing is counted";
        Hold = "hold", "The reading before it";
        Timed = "timed", "The next reading over the elapsed time";
    }
}

input! {
    /// The current channel as it counts.
    pub struct Counter {
        offset_a: f64 = number(Unit::Ampere, 0.0, 1e5, 0.12), "o", "Offset that is left", "After calibration, ageing included.";
        drift_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0).like(0.1), "od", "Drift of the offset", "At the temperature farthest from calibration; 0 where the offset holds it.";
        gain_percent: f64 = number(Unit::Percent, 0.0, 100.0, 0.5), "g", "Gain error that is left", "The same in both directions; reference, drift and ageing included.";
        asymmetry_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 0.0).like(0.1), "gd − gc", "Unequal gains", "Of discharge against charge.";
        bend_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0).like(0.05), "", "Non-linearity", "One value for each direction, and one at rest, where it counts beside the offset.";
        emf_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0).like(0.05), "", "Thermal EMF", "As a current; taken as always there, as at a warm busbar.";
        noise_a: f64 = number(Unit::Ampere, 0.0, 1e5, 0.1), "s", "Noise of a sample", "Root mean square.";
        sample_s: f64 = number(Unit::Second, 1e-9, 3600.0, 0.01), "Ts", "Sample interval", "Of the converter.";
        noise_correlation_s: f64 = defaulted(Unit::Second, 0.0, 1e8, 0.0).like(0.02), "τn", "Correlation time of the noise", "0: white.";
        flicker_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0).like(1e-3), "", "Slow noise", "1/f noise as a standard uncertainty; never averages.";
        averaging: u32 = whole(Unit::One, 1, 65_536, 40), "na", "Averaged samples", "To one reading.";
        full_at_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Full at, in discharge", "From here some part clips; leave empty if unknown.";
        full_charge_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "", "Full at, in charge", "A magnitude; 0 when charging is not read.";
    }
}

input! {
    /// How readings become charge.
    pub struct Counting {
        period_s: Option<f64> = optional(Unit::Second, 1e-9, 1e5), "T", "Interval of the readings", "Leave empty for all averaged samples, one after the other.";
        aperture_s: Option<f64> = optional(Unit::Second, 0.0, 1e5), "", "Time that a reading sees", "Leave empty where nothing is unseen; 0 for spot samples.";
        step_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0).like(0.01), "q", "Step", "One code of a sample.";
        rounding: Rounding = Rounding::Nearest.chosen(), "", "Rounding", "Of a sample to its code.";
        dead_band_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0).like(0.02), "b", "Dead band", "Readings below it count as nothing.";
        clock_ppm: f64 = defaulted(Unit::Ppm, 0.0, 1e5, 100.0), "", "Clock", "Of the time base, half-width.";
        missed_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.0).like(0.1), "m", "Missed readings", "Up to this part of all.";
        missed_reading: MissedReading = MissedReading::Zero.chosen(), "", "Instead of them", "What is counted.";
        longest_gap_s: f64 = defaulted(Unit::Second, 0.0, 1e8, 0.0).like(10.0), "", "Longest gap", "Without any reading, once between two anchors.";
        zeroed_at_rest: bool = yes_no(false), "", "Zeroed at rest", "The reading at rest is taken for no current.";
        zero_left_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e5), "", "Offset left by zeroing", "Half-width, the drift until the next zero included; needed where it is zeroed.";
        ripple_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0).like(5.0), "Â", "Ripple amplitude", "Of a wave that comes with the current.";
        ripple_hz: f64 = defaulted(Unit::Hertz, 1e-3, 1e7, 1e4), "f", "Ripple frequency", "Of its fundamental.";
        ripple_within_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 1.0), "", "Frequency within", "Half-width.";
    }
}

impl Counter {
    /// Factor of the noise of a mean, or of a sum, over white noise of the same size.
    pub fn correlated(&self) -> f64 {
        if self.noise_correlation_s <= 0.0 {
            return 1.0;
        }
        let phi = libm::exp(-self.sample_s / self.noise_correlation_s);
        ((1.0 + phi) / (1.0 - phi)).sqrt()
    }

    /// Samples of a reading.
    pub fn samples(&self) -> f64 {
        f64::from(self.averaging)
    }

    /// Time of the samples of a reading, s.
    pub fn busy_s(&self) -> f64 {
        self.sample_s * self.samples()
    }

    /// Standard deviation of a reading, A.
    pub fn reading_a(&self) -> f64 {
        (self.noise_a * self.correlated() / self.samples().sqrt()).min(self.noise_a)
    }
}

impl Counting {
    /// Interval of the readings, s.
    pub fn interval_s(&self, counter: &Counter) -> f64 {
        self.period_s.unwrap_or_else(|| counter.busy_s())
    }

    /// Time of a reading that nothing sees, s.
    pub fn unseen_s(&self, counter: &Counter) -> f64 {
        let interval = self.interval_s(counter);
        self.aperture_s.map_or(0.0, |seen| (interval - seen).max(0.0))
    }
}
