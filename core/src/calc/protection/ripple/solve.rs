//! What the room answers, and how it is put together.

use serde::Serialize;
use utoipa::ToSchema;

use super::sampling::{average_gain, beat_hz};
use super::wave::Ripple;
use super::{RippleInput, RippleTrip};
use crate::legacy::exact_limit;
use crate::quantity::{Quantity, Unit, say};
use crate::report::Check;

/// Harmonics that are followed through the sampling.
const HARMONICS: u32 = 15;

/// What the room answers.
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
    /// Requirements.
    pub checks: Vec<Check>,
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
    /// Lowest signal behind its filter, A.
    pub lowest_a: f64,
    /// Highest signal behind its filter, A.
    pub highest_a: f64,
    /// Whether it clips.
    pub clips: bool,
    /// Mean after clipping, A.
    pub mean_a: f64,
    /// What clipping adds to the mean, A.
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
    /// The signal's extreme on the side of the threshold, A.
    pub peak_a: f64,
    /// What is left to the threshold, A; negative when it trips.
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
    /// What all beats together can reach, A: the sum over the harmonics listed, and never more than the largest deviation
    /// of the signal from its mean.
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

pub(super) fn solve(input: &RippleInput) -> RippleOutput {
    let ripple = input.ripple();
    let (up, down) = ripple.slopes();
    let rms_a = ripple.rms_a();
    let half = ripple.peak_to_peak_a / 2.0;
    let sense = RippleSense {
        rms_a,
        loss_w: rms_a * rms_a * input.shunt.resistance_ohm,
        lowest_a: ripple.mean_a - half,
        highest_a: ripple.mean_a + half,
        rise_a_per_s: up,
        spike_rise_a: ripple.shunt_s * up,
        spike_fall_a: -ripple.shunt_s * down,
        corner_hz: (ripple.shunt_s > 0.0)
            .then(|| 1.0 / (2.0 * std::f64::consts::PI * ripple.shunt_s))
            .filter(|corner| corner.is_finite()),
        matched_filter_s: ripple.shunt_s,
        gain: ripple.chain_gain(ripple.frequency_hz, 0.0),
    };
    let converter = converter(input, &ripple);
    let trips: Vec<_> = input.trips.iter().map(|trip| comparator(trip, &ripple)).collect();
    let sampling = input.samples.rate_hz.map(|rate| sampling(input, &ripple, rate));
    let checks = checks(input, &trips, &converter, sampling.as_ref());
    RippleOutput { sense, converter, trips, sampling, course: course(input, &ripple), checks }
}

fn converter(input: &RippleInput, ripple: &Ripple) -> RippleConverter {
    let (range_low_a, range_high_a) = input.range_a();
    let seen = ripple.behind(input.converter.filter_s);
    let (lowest_a, highest_a) = seen.range_a();
    let shift_a = seen.clip_shift_a(range_low_a, range_high_a);
    RippleConverter {
        range_low_a,
        range_high_a,
        lowest_a,
        highest_a,
        clips: lowest_a < range_low_a || highest_a > range_high_a,
        mean_a: ripple.mean_a + shift_a,
        shift_a,
        shift_ah_per_day: shift_a * crate::constant::DAY_H,
    }
}

/// The signal's extreme on the side of a threshold: highest for a threshold at or above zero, lowest below.
fn peak(ripple: &Ripple, threshold_a: f64, filter_s: f64) -> f64 {
    let (low, high) = ripple.behind(filter_s).range_a();
    if threshold_a < 0.0 { low } else { high }
}

/// Whether a peak passes its threshold, judged as the requirement is: one that is just reached is not passed.
fn passes(peak_a: f64, threshold_a: f64) -> bool {
    if threshold_a == 0.0 { peak_a > 0.0 } else { exact_limit(peak_a / threshold_a * 100.0) > 100.0 }
}

fn comparator(trip: &RippleTrip, ripple: &Ripple) -> RippleComparator {
    let threshold = trip.threshold_a;
    let sign = if threshold < 0.0 { -1.0 } else { 1.0 };
    let peak_a = peak(ripple, threshold, trip.filter_s);
    let trips = passes(peak_a, threshold);
    let left = (threshold - peak_a) * sign;
    // Behind a slow filter only the mean is left: a mean at or beyond the threshold trips for good reason.
    let helps = trips && (threshold - ripple.mean_a) * sign > 0.0;
    let keeps = |filter_s: f64| !passes(peak(ripple, threshold, filter_s), threshold);
    RippleComparator {
        name: trip.name.clone(),
        threshold_a: threshold,
        peak_a,
        margin_a: if trips { left } else { left.max(0.0) },
        trips,
        needed_filter_s: helps.then(|| needed_filter(trip.filter_s, ripple, keeps)).flatten(),
    }
}

/// The smallest time constant above `from` that keeps it from tripping. The peak falls as the filter slows.
fn needed_filter(from: f64, ripple: &Ripple, keeps: impl Fn(f64) -> bool) -> Option<f64> {
    let (mut low, mut high) = (from, from.max(ripple.period_s() * 1e-3));
    let mut doublings = 0;
    while !keeps(high) {
        doublings += 1;
        if doublings > 80 {
            return None;
        }
        low = high;
        high *= 2.0;
    }
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if keeps(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(high)
}

fn sampling(input: &RippleInput, ripple: &Ripple, rate: f64) -> RippleSampling {
    let n = input.samples.averages;
    let last = if ripple.rise.is_some() { HARMONICS } else { 1 };
    let harmonics: Vec<RippleBeat> = (1..=last)
        .map(|order| {
            let frequency_hz = ripple.frequency_hz * f64::from(order);
            let current_a = ripple.harmonic_a(order);
            let sensed_a = current_a * ripple.chain_gain(frequency_hz, input.converter.filter_s);
            let gain = average_gain(frequency_hz, rate, n);
            let beat_hz = beat_hz(frequency_hz, rate, n);
            RippleBeat { order, frequency_hz, current_a, sensed_a, gain, beat_hz, beat_a: sensed_a * gain }
        })
        .filter(|harmonic| harmonic.order == 1 || harmonic.current_a > 0.0)
        .collect();
    let (low, high) = ripple.behind(input.converter.filter_s).range_a();
    let deviation = (high - ripple.mean_a).max(ripple.mean_a - low);
    let f = ripple.frequency_hz;
    let response = (0..=200).map(|step| f * (0.9 + 1e-3 * f64::from(step))).map(|f| [f, average_gain(f, rate, n)]);
    RippleSampling {
        output_hz: rate / f64::from(n),
        gain: average_gain(f, rate, n),
        beat_hz: beat_hz(f, rate, n),
        beat_a: harmonics.first().map_or(0.0, |first| first.beat_a),
        beat_bound_a: harmonics.iter().map(|harmonic| harmonic.beat_a).sum::<f64>().min(deviation),
        response: response.collect(),
        harmonics,
    }
}

fn course(input: &RippleInput, ripple: &Ripple) -> Vec<RipplePoint> {
    let period = ripple.period_s();
    let first = ripple.behind(input.trips.first().map_or(0.0, |trip| trip.filter_s));
    let converter = ripple.behind(input.converter.filter_s);
    let (low, high) = input.range_a();
    let mut shares: Vec<f64> = (0..=120).map(|step| f64::from(step) / 120.0).collect();
    if let Some(rise) = ripple.rise {
        // Both sides of the corner, where a bare shunt's signal jumps.
        shares.extend([rise, rise + 1e-6]);
        shares.sort_by(f64::total_cmp);
        shares.dedup();
    }
    shares
        .into_iter()
        .map(|share| {
            let time_s = share * period;
            RipplePoint {
                time_s,
                current_a: ripple.current_a(time_s),
                comparator_a: first.at(time_s),
                converter_a: converter.at(time_s).clamp(low, high),
            }
        })
        .collect()
}

fn checks(
    input: &RippleInput,
    trips: &[RippleComparator],
    converter: &RippleConverter,
    sampling: Option<&RippleSampling>,
) -> Vec<Check> {
    let ampere = |value: f64| Quantity::new(value, Unit::Ampere);
    let mut checks: Vec<Check> = trips
        .iter()
        .enumerate()
        .map(|(index, trip)| {
            // One comparator is the rule; the others are told apart by their line.
            let id = if index == 0 { "ripple.trip".into() } else { format!("ripple.trip-{}", index + 1) };
            let sign = if trip.threshold_a < 0.0 { -1.0 } else { 1.0 };
            let note = format!("peak behind its filter, mean {}", say(input.mean_a, Unit::Ampere));
            let reached = ampere((trip.peak_a * sign).max(0.0));
            let label = format!("No trip by ripple: {}", trip.name);
            // A peak below a threshold of zero takes nothing of it.
            let check = if trip.threshold_a == 0.0 && !trip.trips {
                Check::none_left(&id, &label, note, Unit::Ampere)
            } else {
                Check::at_most(&id, &label, note, reached, Some(trip.threshold_a * sign))
            };
            check.at(&format!("/trips/{index}"))
        })
        .collect();
    let Some(allowed) = input.converter.allowed_error_a else { return checks };
    let limit = Some(allowed);
    let field = "/converter/allowed_error_a";
    let shift = ampere(converter.shift_a.abs());
    checks.push(Check::at_most("ripple.shift", "Shift of the mean", "by clipping", shift, limit).at(field));
    if let Some(sampling) = sampling {
        let note = "amplitude, all harmonics together at most";
        let beat = ampere(sampling.beat_bound_a);
        checks.push(Check::at_most("ripple.beat", "Beat of the sampling", note, beat, limit).at(field));
    }
    checks
}
