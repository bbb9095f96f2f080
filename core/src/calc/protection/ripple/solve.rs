//! The numbers of the ripple: what the verdicts rest on, and what is added for a reader.

use std::cell::{Cell, RefCell};
use std::collections::HashMap;

use super::sampling::{average_gain, beat_hz, mean_range, meetings, phases, sine_range, uneven};
use super::wave::Clipped;
use super::{
    Ripple, RippleBeat, RippleComparator, RippleConverter, RippleInput, RippleOutput, RipplePoint, RippleSampling,
    RippleSense, RippleTrip,
};
use crate::judge;
use crate::numeric::{first_where, where_largest};
use crate::work::{Halt, Work};

/// Harmonics that are followed through the sampling.
const HARMONICS: u32 = 15;

/// The numbers that the verdicts rest on.
#[derive(Debug)]
pub struct RippleSolved {
    /// The ripple.
    pub ripple: Ripple,
    /// The converter.
    pub converter: RippleConverter,
    /// What each comparator sees on the side of its threshold, A.
    pub peaks_a: Vec<f64>,
    /// Sampling, without the response; absent without a rate.
    pub sampling: Option<RippleSampling>,
}

pub(super) fn solve(input: &RippleInput, work: Work) -> Result<RippleSolved, Halt> {
    let sampling = match input.samples.rate_hz {
        Some(rate) => Some(sampling(input, rate, work)?),
        None => None,
    };
    Ok(RippleSolved {
        ripple: input.ripple(),
        converter: converter(input),
        peaks_a: input.trips.iter().map(|trip| peak(input, trip.threshold_a, trip.filter_s)).collect(),
        sampling,
    })
}

pub(super) fn detail(input: &RippleInput, solved: RippleSolved) -> RippleOutput {
    let RippleSolved { ripple, converter, peaks_a, mut sampling } = solved;
    let trips = input.trips.iter().zip(peaks_a).map(|(trip, peak_a)| comparator(input, trip, peak_a)).collect();
    if let (Some(sampling), Some(rate)) = (&mut sampling, input.samples.rate_hz) {
        let near = (0..=200).map(|step| ripple.frequency_hz * (0.9 + 1e-3 * f64::from(step)));
        sampling.response = near.map(|f| [f, average_gain(f, rate, input.samples.averages)]).collect();
    }
    RippleOutput { sense: sense(input, &ripple), converter, trips, sampling, course: course(input, &ripple) }
}

/// The largest value over the range of the rising part.
fn largest(input: &RippleInput, of: impl Fn(&Ripple) -> f64) -> f64 {
    largest_of(input, &[], of)
}

/// The same, at given rising parts as well.
fn largest_of(input: &RippleInput, also: &[f64], of: impl Fn(&Ripple) -> f64) -> f64 {
    of(&input.ripple_at(rise_of_largest(input, also, &of)))
}

/// The rising part at which a value is largest.
fn rise_of_largest(input: &RippleInput, also: &[f64], of: impl Fn(&Ripple) -> f64) -> f64 {
    let (low, high) = input.duties();
    where_largest(low, high, also, |rise| of(&input.ripple_at(rise)))
}

/// The rising part at which a comparator sees most.
pub(super) fn worst_rise(input: &RippleInput, threshold_a: f64, filter_s: f64) -> f64 {
    rise_of_largest(input, &[], |ripple| {
        let (low, high) = ripple.behind(filter_s).range_a();
        if threshold_a < 0.0 { -low } else { high }
    })
}

fn sense(input: &RippleInput, ripple: &Ripple) -> RippleSense {
    let (up, down) = ripple.slopes();
    let rms_a = ripple.rms_a();
    let half = ripple.peak_to_peak_a / 2.0;
    RippleSense {
        rms_a,
        loss_w: rms_a * rms_a * input.shunt.resistance_ohm,
        lowest_a: ripple.mean_a - half,
        highest_a: ripple.mean_a + half,
        rise_a_per_s: up,
        spike_rise_a: ripple.shunt_s * up,
        spike_fall_a: -ripple.shunt_s * down,
        corner_hz: ripple.corner_hz(),
        matched_filter_s: ripple.shunt_s,
        gain: ripple.chain_gain(ripple.frequency_hz, 0.0),
    }
}

fn converter(input: &RippleInput) -> RippleConverter {
    let (range_low_a, range_high_a) = input.range_a();
    let filter_s = input.converter.filter_s;
    let lowest_a = -largest(input, |ripple| -ripple.behind(filter_s).range_a().0);
    let highest_a = largest(input, |ripple| ripple.behind(filter_s).range_a().1);
    let shift =
        |sign: f64| largest(input, |ripple| sign * ripple.behind(filter_s).clip_shift_a(range_low_a, range_high_a));
    let (up, down) = (shift(1.0), shift(-1.0));
    let shift_a = if down > up { -down } else { up };
    RippleConverter {
        range_low_a,
        range_high_a,
        lowest_a,
        highest_a,
        clips: lowest_a < range_low_a || highest_a > range_high_a,
        mean_a: input.mean_a + shift_a,
        shift_a,
        shift_ah_per_day: shift_a * crate::constant::DAY_H,
    }
}

/// The signal's extreme on the side of a threshold: highest for a threshold at or above zero, lowest below. The chain is
/// linear up to a comparator: at another mean it lies as far from it.
fn peak(input: &RippleInput, threshold_a: f64, filter_s: f64) -> f64 {
    let other = mean_for(input, threshold_a) - input.mean_a;
    other
        + if threshold_a < 0.0 {
            -largest(input, |ripple| -ripple.behind(filter_s).range_a().0)
        } else {
            largest(input, |ripple| ripple.behind(filter_s).range_a().1)
        }
}

/// The mean at which a comparator is judged; none where that is not known: what flows on its side is no less.
pub(super) fn mean_for(input: &RippleInput, threshold_a: f64) -> f64 {
    input.mean_for(threshold_a).unwrap_or(0.0)
}

/// The side of zero on which a threshold lies.
pub(super) fn side(threshold_a: f64) -> f64 {
    if threshold_a < 0.0 { -1.0 } else { 1.0 }
}

impl RippleTrip {
    /// The smallest size of the threshold, A.
    pub(super) fn earliest_a(&self) -> f64 {
        (self.threshold_a.abs() - self.tolerance_a).max(0.0)
    }

    /// Whether it may trip without a current, or on the other side of zero.
    pub(super) fn may_trip_at_none(&self) -> bool {
        self.tolerance_a > self.threshold_a.abs()
    }
}

/// A comparator that sees this peak.
pub(super) fn comparator(input: &RippleInput, trip: &RippleTrip, peak_a: f64) -> RippleComparator {
    let (earliest, sign, mean_a) = (trip.earliest_a(), side(trip.threshold_a), mean_for(input, trip.threshold_a));
    let hopeless = trip.may_trip_at_none();
    // Judged as the requirement is: a threshold that is just reached is not passed.
    let passed = hopeless || judge::passes(peak_a * sign, earliest);
    let left = trip.threshold_a.abs() - trip.tolerance_a - peak_a * sign;
    // Behind a slow filter only the mean is left: a mean at or beyond the threshold trips for good reason.
    let helps = passed && !hopeless && earliest - mean_a * sign > 0.0;
    let keeps = |filter_s: f64| earliest - peak(input, trip.threshold_a, filter_s) * sign >= 0.0;
    RippleComparator {
        name: trip.name.clone(),
        threshold_a: trip.threshold_a,
        tolerance_a: trip.tolerance_a,
        mean_a,
        peak_a,
        margin_a: if passed { left.min(0.0) } else { left.max(0.0) },
        trips: passed,
        needed_filter_s: helps.then(|| needed_filter(trip.filter_s, 1.0 / input.frequency_hz, keeps)).flatten(),
    }
}

/// The smallest time constant above `from` that keeps it from tripping. The peak falls as the filter slows.
fn needed_filter(from: f64, period_s: f64, keeps: impl Fn(f64) -> bool) -> Option<f64> {
    let first = from.max(period_s * 1e-3);
    let mut slower = std::iter::successors(Some(first), |filter_s| Some(filter_s * 2.0)).take(81);
    let high = slower.find(|filter_s| keeps(*filter_s))?;
    Some(first_where(if high > first { high / 2.0 } else { from }, high, keeps))
}

fn sampling(input: &RippleInput, rate: f64, work: Work) -> Result<RippleSampling, Halt> {
    let (n, ripple) = (input.samples.averages, input.ripple());
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
    let f = ripple.frequency_hz;
    let (low_a, high_a) = samples(input, rate, work)?;
    Ok(RippleSampling {
        output_hz: rate / f64::from(n),
        gain: average_gain(f, rate, n),
        beat_hz: beat_hz(f, rate, n),
        beat_a: harmonics.first().map_or(0.0, |first| first.beat_a),
        low_a,
        high_a,
        beat_bound_a: high_a.max(-low_a),
        response: Vec::new(),
        harmonics,
    })
}

/// Averaged samples up to which each rising part is looked at at which two of them meet the two corners.
pub(super) const MOST_MEETING: u32 = 512;

/// The lowest and the highest mean of samples over every phase and rising part, as deviations from the true mean, A. Each
/// sample is clipped before the mean is taken. Over a range of rising parts the mean jumps where two samples meet the two
/// corners at once; of more samples than are looked at so it is bounded.
fn samples(input: &RippleInput, rate: f64, work: Work) -> Result<(f64, f64), Halt> {
    let (f, n) = (input.frequency_hz, input.samples.averages);
    let phases = phases(f, rate, n);
    let (range_low_a, range_high_a) = input.range_a();
    let (least, most) = input.duties();
    let also =
        if least < most && n <= MOST_MEETING { meetings(f, rate, n, input.converter.filter_s) } else { Vec::new() };
    if least < most && n > MOST_MEETING {
        let spread = uneven(&phases);
        let bound = |sign: f64| {
            largest(input, |ripple| {
                let seen = ripple.behind(input.converter.filter_s);
                let (low, high) = seen.range_a();
                let [low, high] = [low, high].map(|a| a.clamp(range_low_a, range_high_a));
                (high - low) * spread + sign * seen.clip_shift_a(range_low_a, range_high_a)
            })
        };
        return Ok((-bound(-1.0), bound(1.0)));
    }
    let range = |ripple: &Ripple| {
        let seen = ripple.behind(input.converter.filter_s);
        match seen.clipped(range_low_a, range_high_a) {
            Clipped::Pieces(pieces) => mean_range(seen.period_s(), &pieces, &phases),
            Clipped::Sine { amplitude, low, high } if amplitude <= high && -amplitude >= low => {
                let most = amplitude * average_gain(f, rate, n);
                (-most, most)
            }
            Clipped::Sine { amplitude, low, high } => sine_range(amplitude, [low, high], &phases),
        }
    };
    let stopped = Cell::new(false);
    // Both ends come of one look at a rising part.
    let known: RefCell<HashMap<u64, (f64, f64)>> = RefCell::default();
    let watched = |of: &dyn Fn((f64, f64)) -> f64| {
        largest_of(input, &also, |ripple| {
            if stopped.get() || work.go_on().is_err() {
                stopped.set(true);
                return f64::INFINITY;
            }
            let at = ripple.rise.unwrap_or_default().to_bits();
            of(*known.borrow_mut().entry(at).or_insert_with(|| range(ripple)))
        })
    };
    let (low, high) = (-watched(&|(low, _)| -low), watched(&|(_, high)| high));
    if stopped.get() {
        return Err(Halt);
    }
    Ok((low, high))
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
    let point = |share: f64| {
        let time_s = share * period;
        RipplePoint {
            time_s,
            current_a: ripple.current_a(time_s),
            comparator_a: first.at(time_s),
            converter_a: converter.at(time_s).clamp(low, high),
        }
    };
    shares.into_iter().map(point).collect()
}
