//! # Ripple into trips and into the mean value
//!
//! An inverter's ripple has steep edges, and the inductance of the shunt turns them into false current. A comparator
//! trips on it at full power, a converter that clips turns it into a wrong mean, and sampling folds it down to a slow
//! beat that looks like charge.
//!
//! ```text
//! Formula    spike L (di/dt)/R: triangle I_pp f/D rising, I_pp f/(1 − D) falling; I_rms = √(I² + I_pp²/12), sine I_pp²/8
//!            wave: exact steady state behind a first-order filter, exact mean after clipping; sampling: every phase
//! Judged     at the worst of the range of the rising part, searched; a comparator at its threshold less its error, and at the
//!            largest mean on its side of zero: the one given or the pack's own peak
//! Symbols    I_pp [A] peak to peak, f [Hz], D rising share of the period, L/R [s] of the shunt
//! Parts      wave, sampling, solve, requirements, view
//! Valid      periodic ripple, linear chain up to the clipping, one pole for each filter
//! Source     closed forms of first-order systems; checked by numerical integration in the tests
//! ```

mod requirements;
mod sampling;
mod solve;
mod view;
mod wave;

use serde::Serialize;
use utoipa::ToSchema;

use crate::calculation::{Calculation, Depth, Meta};
use crate::field::{FieldError, defaulted, group, list, number, optional, text, whole, yes_no};
use crate::input;
use crate::judge::Ledger;
use crate::quantity::{Unit, percent};
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

use solve::MOST_MEETING;
pub use solve::RippleSolved;
pub use wave::Ripple;

crate::choice! {
    /// The shape of the ripple.
    pub enum RippleShape {
        Triangle = "triangle", "Triangle: inverter, chopper";
        Sine = "sine", "Sine: rectifier, resonant";
    }
}

input! {
    /// The shunt as the ripple sees it.
    pub struct RippleShunt {
        resistance_ohm: f64 = number(Unit::Ohm, 1e-7, 1.0, 35e-6), "R", "Shunt", "Between its taps.";
        inductance_henry: f64 = number(Unit::Henry, 0.0, 1e-3, 9e-9), "L", "Inductance", "Element and loop of the sense wires.";
    }
}

input! {
    /// The converter.
    pub struct RippleRange {
        full_scale_v: f64 = number(Unit::Volt, 1e-4, 100.0, 50e-3), "Vfs", "Full scale", "Referred to the shunt: divided by any gain before it.";
        bipolar: bool = yes_no(true), "", "Both signs", "Whether it also reads below zero.";
        filter_s: f64 = defaulted(Unit::Second, 0.0, 10.0, 0.0).like(100e-6), "τ", "Filter time constant", "Before the converter; 0 without one.";
        allowed_error_a: Option<f64> = optional(Unit::Ampere, 1e-9, 1e6), "e", "Allowed error of the mean", "Of shift and of beat; leave empty if none.";
    }
}

input! {
    /// Sampling and averaging.
    pub struct RippleSamples {
        rate_hz: Option<f64> = optional(Unit::Hertz, 1e-3, 1e9), "fs", "Sample rate", "Of short samples; without it the beat is not judged.";
        averages: u32 = whole(Unit::One, 1, 65_536, 1), "n", "Averaged samples", "One word is the mean of so many.";
    }
}

input! {
    /// A comparator.
    pub struct RippleTrip {
        name: String = text(60, "trip"), "", "Name", "Of the trip.";
        threshold_a: f64 = number(Unit::Ampere, -1e6, 1e6, 800.0), "Ith", "Threshold", "Negative on the charging side.";
        filter_s: f64 = defaulted(Unit::Second, 0.0, 10.0, 0.0).like(100e-6), "τ", "Filter time constant", "Before this comparator; 0 without one.";
        tolerance_a: f64 = defaulted(Unit::Ampere, 0.0, 1e6, 0.0).like(5.0), "e", "Error of the threshold", "Half-width: comparator, reference, offset.";
    }
}

input! {
    /// Everything it takes.
    pub struct RippleInput {
        shape: RippleShape = RippleShape::Triangle.chosen(), "", "Shape", "Of the ripple current.";
        mean_a: f64 = number(Unit::Ampere, -1e6, 1e6, 600.0), "I", "Mean current", "At full power for a nuisance trip.";
        pack_peak_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "Ip", "Peak of the pack", "In discharge, without its ripple: no comparator may trip there either.";
        pack_charge_peak_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e7), "Ipc", "Peak of the pack in charge", "As a magnitude, without its ripple: for thresholds below zero.";
        peak_to_peak_a: f64 = number(Unit::Ampere, 0.0, 1e5, 60.0), "Ipp", "Ripple", "Peak to peak, not root-mean-square.";
        frequency_hz: f64 = number(Unit::Hertz, 0.1, 1e7, 10e3), "f", "Ripple frequency", "Its fundamental.";
        duty_percent: f64 = defaulted(Unit::Percent, 1.0, 99.0, 50.0), "D", "Rising part of the period", "Of a triangle; the shorter edge is the steeper one.";
        duty_min_percent: Option<f64> = optional(Unit::Percent, 1.0, 99.0), "Dmin", "Smallest rising part", "Where it moves with the load; leave empty: the same.";
        duty_max_percent: Option<f64> = optional(Unit::Percent, 1.0, 99.0), "Dmax", "Largest rising part", "Where it moves with the load; leave empty: the same.";
        shunt: RippleShunt = group::<RippleShunt>(), "", "Shunt", "Resistance and inductance.";
        trips: Vec<RippleTrip> = list::<RippleTrip>(0, 8, "over-current; 800"), "", "Comparators", "One a line: name; threshold; filter time constant; error of the threshold.";
        converter: RippleRange = group::<RippleRange>(), "", "Converter", "Its range and filter.";
        samples: RippleSamples = group::<RippleSamples>(), "", "Sampling", "After the converter's filter.";
    }
}

impl RippleInput {
    /// The ripple of the input.
    pub fn ripple(&self) -> Ripple {
        self.ripple_at(self.duty_percent / 100.0)
    }

    /// The mean at which a comparator is judged, A: the largest on its side of zero; or what tells it and is not given.
    fn mean_for(&self, threshold_a: f64) -> Result<f64, &'static str> {
        let (mean, sign) = (self.mean_a, solve::side(threshold_a));
        let (peak, at) = if sign < 0.0 {
            (self.pack_charge_peak_a, "/pack_charge_peak_a")
        } else {
            (self.pack_peak_a, "/pack_peak_a")
        };
        match peak {
            Some(peak) if peak > mean * sign => Ok(peak * sign),
            None if mean * sign <= 0.0 => Err(at),
            _ => Ok(mean),
        }
    }

    /// Smallest and largest rising part, as shares of the period; one where it does not move.
    fn duties(&self) -> (f64, f64) {
        let share = |percent: Option<f64>| percent.unwrap_or(self.duty_percent) / 100.0;
        if self.shape == RippleShape::Sine {
            return (0.5, 0.5);
        }
        (share(self.duty_min_percent), share(self.duty_max_percent))
    }

    fn ripple_at(&self, rise: f64) -> Ripple {
        Ripple {
            mean_a: self.mean_a,
            peak_to_peak_a: self.peak_to_peak_a,
            frequency_hz: self.frequency_hz,
            rise: (self.shape == RippleShape::Triangle).then_some(rise),
            shunt_s: self.shunt.inductance_henry / self.shunt.resistance_ohm,
        }
    }

    /// What the converter reads at most and at least, A.
    pub fn range_a(&self) -> (f64, f64) {
        let full = self.converter.full_scale_v / self.shunt.resistance_ohm;
        (if self.converter.bipolar { -full } else { 0.0 }, full)
    }
}

/// What it answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RippleOutput {
    /// The current and the shunt.
    pub sense: RippleSense,
    /// The converter.
    pub converter: RippleConverter,
    /// Each comparator.
    pub trips: Vec<RippleComparator>,
    /// Sampling; absent without a rate.
    pub sampling: Option<RippleSampling>,
    /// One period.
    pub course: Vec<RipplePoint>,
}

/// The current and the shunt.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RippleSense {
    /// Root-mean-square current, A.
    pub rms_a: f64,
    /// Loss in the shunt, W.
    pub loss_w: f64,
    /// Lowest true current, A.
    pub lowest_a: f64,
    /// Highest true current, A.
    pub highest_a: f64,
    /// Steepest rise, A/s.
    pub rise_a_per_s: f64,
    /// Ripple spike: false current while the current rises, A; for a sine its amplitude.
    pub spike_rise_a: f64,
    /// False current while the current falls, as a size, A.
    pub spike_fall_a: f64,
    /// R/(2π L) of the shunt, Hz; absent without an inductance.
    pub corner_hz: Option<f64>,
    /// The filter that takes the spike away exactly, L/R, s.
    pub matched_filter_s: f64,
    /// Gain of the shunt at the ripple frequency against direct current.
    pub gain: f64,
}

/// The converter.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RippleConverter {
    /// Reads at least, A.
    pub range_low_a: f64,
    /// Reads at most, A.
    pub range_high_a: f64,
    /// Lowest signal behind its filter, over the range of the rising part, A.
    pub lowest_a: f64,
    /// Highest signal behind its filter, A.
    pub highest_a: f64,
    /// Whether it clips.
    pub clips: bool,
    /// Mean after clipping, A.
    pub mean_a: f64,
    /// What clipping adds to the mean where it adds most, A.
    pub shift_a: f64,
    /// The same in ampere-hours a day, if it stays.
    pub shift_ah_per_day: f64,
}

/// A comparator.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct RippleComparator {
    /// Its name.
    pub name: String,
    /// Its threshold, A.
    pub threshold_a: f64,
    /// The error of its threshold, A.
    pub tolerance_a: f64,
    /// The mean at which it is judged, A: the one given or the pack's own peak on its side; 0 where that is not known.
    pub mean_a: f64,
    /// The signal's extreme on the side of the threshold, at that mean and over the range of the rising part, A.
    pub peak_a: f64,
    /// What is left to the threshold less its error, A; negative when it may trip.
    pub margin_a: f64,
    /// Whether the ripple alone makes it trip.
    pub trips: bool,
    /// The smallest filter time constant that keeps it from tripping, s; absent when it does not trip or no filter helps.
    pub needed_filter_s: Option<f64>,
}

/// Sampling.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct RippleSampling {
    /// Words a second, Hz.
    pub output_hz: f64,
    /// Gain of the averaging at the ripple frequency.
    pub gain: f64,
    /// Frequency of the beat of the fundamental, Hz.
    pub beat_hz: f64,
    /// Amplitude of the beat of the fundamental, A.
    pub beat_a: f64,
    /// How far a mean of samples can lie below the true mean, over every phase and rising part, A.
    pub low_a: f64,
    /// How far above, A.
    pub high_a: f64,
    /// The larger of both, A.
    pub beat_bound_a: f64,
    /// The harmonics.
    pub harmonics: Vec<RippleBeat>,
    /// Gain of the averaging near the ripple frequency.
    pub response: Vec<[f64; 2]>,
}

/// A harmonic.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RippleBeat {
    /// Its order.
    pub order: u32,
    /// Its frequency, Hz.
    pub frequency_hz: f64,
    /// Its amplitude in the current, A.
    pub current_a: f64,
    /// Its amplitude behind shunt and filter, A.
    pub sensed_a: f64,
    /// Gain of the averaging.
    pub gain: f64,
    /// Where it appears, Hz.
    pub beat_hz: f64,
    /// With what amplitude, A.
    pub beat_a: f64,
}

/// A point of the period.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct RipplePoint {
    /// Time in the period, s.
    pub time_s: f64,
    /// True current, A.
    pub current_a: f64,
    /// What the first comparator sees, or the bare shunt without one, A.
    pub comparator_a: f64,
    /// What the converter reads, clipping included, A.
    pub converter_a: f64,
}

/// The calculation.
#[derive(Debug)]
pub struct RippleEffects;

impl Calculation for RippleEffects {
    const META: Meta = Meta {
        slug: "ripple",
        title: "Ripple into trips and into the mean value",
        job: "What ripple current does through the shunt's inductance: nuisance trips, a mean that clipping shifts, a slow beat of the sampling.",
        short: "ripple, clipping, beat",
        sources: &["First-order linear systems in closed form", "Dirichlet kernel: the mean of equally spaced samples"],
    };
    type Input = RippleInput;
    type Solved = RippleSolved;
    type Output = RippleOutput;

    fn contradictions(input: &RippleInput) -> Vec<FieldError> {
        let (low, high) = (input.duty_min_percent, input.duty_max_percent);
        let least = low.unwrap_or(input.duty_percent);
        let at = if high.is_some() { "/duty_max_percent" } else { "/duty_min_percent" };
        let most = high.unwrap_or(input.duty_percent);
        let fault = FieldError::contradiction(
            at,
            "The largest rising part lies below the smallest.",
            format!("{} or more between them", percent(0.0)),
            format!("{} to {}", percent(least), percent(most)),
        );
        (least > most).then_some(fault).into_iter().collect()
    }

    fn solve(input: &RippleInput, work: Work) -> Result<RippleSolved, Refused> {
        Ok(solve::solve(input, work)?)
    }

    fn cost(input: &RippleInput, _: Depth, _: Work) -> Cost {
        let samples = input.samples.rate_hz.map_or(0, |_| u64::from(input.samples.averages));
        // Over a range of rising parts four more to look at for each sample, as long as these are few.
        let (least, most) = input.duties();
        let few = least < most && samples <= u64::from(MOST_MEETING);
        let each = if few { 800 + 150 * samples } else { 800 };
        Cost::SMALL.and(Cost { units: each * samples, bytes: 192 * samples })
    }

    fn requirements(input: &RippleInput, solved: &RippleSolved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &RippleInput, solved: RippleSolved, _: Work) -> Result<RippleOutput, Refused> {
        Ok(solve::detail(input, solved))
    }

    fn working(input: &RippleInput, output: &RippleOutput) -> Vec<Step> {
        view::working(input, output)
    }

    fn view(input: &RippleInput, output: &RippleOutput, judged: &Ledger) -> View {
        view::view(input, output, judged)
    }
}
