//! Whether the load profile passes: how far the sum rises with the reading at its high limit.

use serde::Serialize;
use utoipa::ToSchema;

use super::{LoadStep, TripCurveInput, seen};

/// A share of what is added and taken away that is their rounding.
const ROUNDING: f64 = 1e-12;

/// The load profile with the reading at its high limit.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct TripLoad {
    /// Largest sum, A²s; for a profile that gains with every round that of the second round.
    pub peak_a2s: f64,
    /// What one round adds up, A²s; negative when the sum empties.
    pub net_a2s: f64,
    /// When it trips after the start, s; absent when it does not.
    pub trips_after_s: Option<f64>,
    /// The step in which the largest sum occurs, from 1.
    pub step: u32,
}

pub(super) fn load(input: &TripCurveInput) -> TripLoad {
    let slope = |step: &LoadStep| {
        let read = seen(input, step.current_a, 1.0);
        (read - input.pickup_a) * (read + input.pickup_a)
    };
    let adds = || input.load.iter().map(|step| slope(step) * step.duration_s);
    // What is left of gains and losses that make up for each other is rounding.
    let (net, all) = (adds().sum::<f64>(), adds().map(f64::abs).sum::<f64>());
    let net = if net.abs() <= ROUNDING * all { 0.0 } else { net };
    let round: f64 = input.load.iter().map(|step| step.duration_s).sum();
    let (mut sum, mut peak, mut at, mut time, mut trips) = (0.0_f64, 0.0_f64, 1_u32, 0.0_f64, None);
    let mut ends = [0.0_f64; 2];
    for end in ends.iter_mut().take(if input.repeats { 2 } else { 1 }) {
        for (step, load) in (1_u32..).zip(&input.load) {
            let slope = slope(load);
            if trips.is_none() && slope > 0.0 && sum + slope * load.duration_s >= input.trip_a2s {
                trips = Some(time + (input.trip_a2s - sum) / slope);
            }
            sum = (sum + slope * load.duration_s).max(0.0);
            time += load.duration_s;
            if sum > peak {
                (peak, at) = (sum, step);
            }
        }
        *end = sum;
    }
    // With a net gain every further round repeats the second one, higher by the gain.
    if input.repeats && trips.is_none() && net > 0.0 {
        let rounds = ((input.trip_a2s - peak) / net).ceil().max(1.0);
        let mut sum = ends[1] + net * (rounds - 1.0);
        let mut time = round * (rounds + 1.0);
        for load in &input.load {
            let slope = slope(load);
            if slope > 0.0 && sum + slope * load.duration_s >= input.trip_a2s {
                trips = Some(time + (input.trip_a2s - sum).max(0.0) / slope);
                break;
            }
            sum = (sum + slope * load.duration_s).max(0.0);
            time += load.duration_s;
        }
        // Rounding may leave the last step just below the trip value: it trips there.
        trips = trips.or(Some(time));
    }
    TripLoad { peak_a2s: peak, net_a2s: net, trips_after_s: trips.filter(|time| time.is_finite()), step: at }
}
