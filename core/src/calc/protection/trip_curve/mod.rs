//! # Trip curve of an inverse-time over-current function
//!
//! The function adds up how far the square of the current lies above a pick-up and trips at a fixed sum: a large current
//! trips soon, a small one late, below the pick-up none. It must let the load profile pass with the reading at its high
//! limit, and trip before every point of wire, shunt and fuse with the reading at its low limit.
//!
//! ```text
//! Formula    trip when S = K, dS/dt = I_m² − I_n², S ≥ 0;  constant current: t = K/(I_m² − I_n²)
//!            reading I_m = I (1 ± e) ± o;  earliest trip with +, latest with −;  never below (I_n ∓ o)/(1 ± e)
//!            2 % of the current are 4.04 % of its square
//! Symbols    I_n [A] pick-up, K [A²s] trip value, e [1] gain error, o [A] offset error, S [A²s] sum
//! Profile    a repeated profile with a net gain of S trips in the end; without one its largest sum occurs in the second
//!            round at the latest
//! Limits     the sum starts empty; between two points the limit is a straight line on logarithmic scales, on which the
//!            latest trip is convex: where both points hold, the line between them holds, too
//! Valid      currents constant in each step; transition from adiabatic to steady heating covered by the limits' points
//! Source     integral of a constant (closed form); the function itself: common practice, no source
//! ```

mod findings;
mod view;
mod working;

use serde::Serialize;
use utoipa::ToSchema;

use crate::calculation::Meta;
use crate::field::{FieldError, defaulted, list, number, yes_no};
use crate::input;
use crate::legacy::Whole;
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Check, Report};

input! {
    /// A step of the load.
    pub struct LoadStep {
        current_a: f64 = number(Unit::Ampere, 0.0, 1e6, 600.0), "I", "Current", "Magnitude.";
        duration_s: f64 = number(Unit::Second, 1e-6, 1e7, 10.0), "t", "Duration", "Of this step.";
    }
}

input! {
    /// A point of a limit.
    pub struct LimitPoint {
        current_a: f64 = number(Unit::Ampere, 1e-3, 1e7, 1000.0), "I", "Current", "Constant.";
        time_s: f64 = number(Unit::Second, 1e-6, 1e7, 20.0), "t", "Time", "Must be off before.";
    }
}

input! {
    /// Everything the room takes.
    pub struct TripCurveInput {
        pickup_a: f64 = number(Unit::Ampere, 1e-2, 1e6, 450.0), "I_n", "Pick-up", "Below it nothing is added up.";
        trip_a2s: f64 = number(Unit::AmpereSquaredSecond, 1e-6, 1e13, 2.2e6), "K", "Trip value", "Of the integral of I² − I_n².";
        error_percent: f64 = number(Unit::Percent, 0.0, 50.0, 2.0), "e", "Error of the current", "Gain, half-width.";
        error_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0), "o", "Fixed error", "Offset, half-width.";
        reaction_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.02), "t_r", "Reaction", "From the trip value until the current is off.";
        load: Vec<LoadStep> = list::<LoadStep>(1, 200, "600; 10\n200; 60"), "", "Load profile", "One step a line: current, duration. It must not trip.";
        repeats: bool = yes_no(true), "", "The profile repeats", "Without a pause.";
        wire: Vec<LimitPoint> = list::<LimitPoint>(0, 50, "500; 600\n800; 60\n1500; 10"), "", "Limit of the wire", "One point a line: current, time.";
        shunt: Vec<LimitPoint> = list::<LimitPoint>(0, 50, "1000; 20\n3000; 2"), "", "Limit of the shunt", "One point a line: current, time.";
        fuse: Vec<LimitPoint> = list::<LimitPoint>(0, 50, "2000; 5\n4000; 0.5"), "", "Limit of the fuse", "Where it must not be the first: current, time.";
    }
}

/// What the room answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TripCurveOutput {
    /// Below this true current it never trips, whatever the error, A.
    pub pickup_low_a: f64,
    /// Up to this true current it may never trip, A; above it always does.
    pub pickup_high_a: f64,
    /// Error of the square of the current by the gain error, percent.
    pub square_error_percent: f64,
    /// The load profile.
    pub load: TripLoad,
    /// Every point of the limits.
    pub limits: Vec<TripLimit>,
    /// The curve.
    pub curve: Vec<TripPoint>,
    /// Requirements.
    pub checks: Vec<Check>,
}

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

/// A point of a limit and the latest trip there.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TripLimit {
    /// `wire`, `shunt` or `fuse`.
    pub id: String,
    /// Current, A.
    pub current_a: f64,
    /// Must be off before, s.
    pub limit_s: f64,
    /// Latest, with the reaction, s; absent when it may never trip.
    pub latest_s: Option<f64>,
    /// Share of the time, percent.
    pub used_percent: Option<f64>,
}

/// Times of a constant current; absent where it never trips.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct TripPoint {
    /// True current, A.
    pub current_a: f64,
    /// Reading high, without the reaction, s.
    pub earliest_s: Option<f64>,
    /// Without error and reaction, s.
    pub nominal_s: Option<f64>,
    /// Reading low, with the reaction, s.
    pub latest_s: Option<f64>,
}

/// The calculation.
#[derive(Debug)]
pub struct TripCurve;

impl Whole for TripCurve {
    const META: Meta = Meta {
        slug: "protection/trip-curve",
        title: "Trip curve",
        job: "Inverse-time over-current: whether the load passes and every limit is met, with the error of the current.",
        short: "time to trip against current",
        sources: &[
            "Integral of a constant (closed form)",
            "Trip by the integral of the square of the current above a pick-up: common practice, no source",
        ],
    };
    type Input = TripCurveInput;
    type Output = TripCurveOutput;

    fn calculate(input: &TripCurveInput) -> Result<Report<TripCurveOutput>, Vec<FieldError>> {
        let result = solve(input);
        let findings = findings::findings(input, &result);
        Ok(Report { working: working::working(input, &result), view: view::view(input, &result), result, findings })
    }
}

/// The limits by name.
fn limits(input: &TripCurveInput) -> [(&'static str, &'static str, &[LimitPoint]); 3] {
    [("wire", "Wire", &input.wire), ("shunt", "Shunt", &input.shunt), ("fuse", "Fuse", &input.fuse)]
}

/// The reading of a current at its high (+1) or low (−1) limit.
fn reading(input: &TripCurveInput, current: f64, side: f64) -> f64 {
    (current * (1.0 + side * input.error_percent / 100.0) + side * input.error_a).max(0.0)
}

/// Time until a constant reading trips; none when it never does.
pub fn time_to_trip(pickup: f64, trip: f64, reading: f64) -> Option<f64> {
    let excess = (reading - pickup) * (reading + pickup);
    (excess > 0.0).then(|| trip / excess).filter(|time| time.is_finite())
}

/// Latest time until a constant true current is off.
fn latest(input: &TripCurveInput, current: f64) -> Option<f64> {
    time_to_trip(input.pickup_a, input.trip_a2s, reading(input, current, -1.0)).map(|time| time + input.reaction_s)
}

fn solve(input: &TripCurveInput) -> TripCurveOutput {
    let gain = input.error_percent / 100.0;
    let load = load(input);
    let limit_points: Vec<TripLimit> =
        limits(input).iter().flat_map(|(id, _, points)| limit(input, id, points)).collect();
    let mut checks = vec![
        Check::at_most(
            "protection.load-profile",
            "The load profile passes",
            if load.net_a2s > 0.0 && input.repeats {
                "reading high; every round adds up more".to_owned()
            } else {
                format!("reading high, largest sum in step {}", load.step)
            },
            Quantity::new(
                if load.trips_after_s.is_some() {
                    load.peak_a2s.max(input.trip_a2s * (1.0 + 1e-9))
                } else {
                    load.peak_a2s
                },
                Unit::AmpereSquaredSecond,
            ),
            Some(input.trip_a2s),
        )
        .at("/trip_a2s"),
    ];
    for (id, label, points) in limits(input) {
        if points.is_empty() {
            continue;
        }
        let name = format!("protection.limit-{id}");
        let title = format!("{label}: off before its limit");
        let own = || limit_points.iter().filter(|point| point.id == id);
        let at = |point: &TripLimit| format!("latest, at {}", say(point.current_a, Unit::Ampere));
        let check = match own().find(|point| point.latest_s.is_none()) {
            Some(never) => Check::undefined(
                &name,
                &title,
                format!("may never trip at {}", say(never.current_a, Unit::Ampere)),
                Quantity::new(never.limit_s, Unit::Second),
            ),
            None => {
                match own().max_by(|a, b| a.used_percent.unwrap_or(0.0).total_cmp(&b.used_percent.unwrap_or(0.0))) {
                    Some(worst) => Check::at_most(
                        &name,
                        &title,
                        at(worst),
                        Quantity::new(worst.latest_s.unwrap_or(0.0), Unit::Second),
                        Some(worst.limit_s),
                    ),
                    None => continue,
                }
            }
        };
        checks.push(check.at(&format!("/{id}")));
    }
    TripCurveOutput {
        pickup_low_a: ((input.pickup_a - input.error_a) / (1.0 + gain)).max(0.0),
        pickup_high_a: (input.pickup_a + input.error_a) / (1.0 - gain),
        square_error_percent: ((1.0 + gain) * (1.0 + gain) - 1.0) * 100.0,
        load,
        curve: curve(input),
        limits: limit_points,
        checks,
    }
}

fn load(input: &TripCurveInput) -> TripLoad {
    let slopes: Vec<f64> = input
        .load
        .iter()
        .map(|step| {
            let read = reading(input, step.current_a, 1.0);
            (read - input.pickup_a) * (read + input.pickup_a)
        })
        .collect();
    let net: f64 = slopes.iter().zip(&input.load).map(|(slope, step)| slope * step.duration_s).sum();
    let round: f64 = input.load.iter().map(|step| step.duration_s).sum();
    let (mut sum, mut peak, mut at, mut time, mut trips) = (0.0_f64, 0.0_f64, 1_u32, 0.0_f64, None);
    let mut ends = [0.0_f64; 2];
    for end in ends.iter_mut().take(if input.repeats { 2 } else { 1 }) {
        for (step, (slope, load)) in (1_u32..).zip(slopes.iter().zip(&input.load)) {
            if trips.is_none() && *slope > 0.0 && sum + slope * load.duration_s >= input.trip_a2s {
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
        for (slope, load) in slopes.iter().zip(&input.load) {
            if *slope > 0.0 && sum + slope * load.duration_s >= input.trip_a2s {
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

fn limit(input: &TripCurveInput, id: &str, points: &[LimitPoint]) -> Vec<TripLimit> {
    let mut sorted: Vec<&LimitPoint> = points.iter().collect();
    sorted.sort_by(|a, b| a.current_a.total_cmp(&b.current_a).then(b.time_s.total_cmp(&a.time_s)));
    sorted
        .into_iter()
        .map(|point| {
            let latest = latest(input, point.current_a);
            TripLimit {
                id: id.into(),
                current_a: point.current_a,
                limit_s: point.time_s,
                latest_s: latest,
                used_percent: latest.map(|time| time / point.time_s * 100.0).filter(|used| used.is_finite()),
            }
        })
        .collect()
}

/// Points of the curve.
const POINTS: u32 = 60;

fn curve(input: &TripCurveInput) -> Vec<TripPoint> {
    let largest = limits(input)
        .iter()
        .flat_map(|(_, _, points)| points.iter().map(|point| point.current_a))
        .chain(input.load.iter().map(|step| step.current_a))
        .fold(4.0 * input.pickup_a, f64::max);
    let first = input.pickup_a * 1.02;
    (0..=POINTS)
        .map(|step| {
            let current = first * libm::pow(largest * 1.1 / first, f64::from(step) / f64::from(POINTS));
            let time = |read: f64| time_to_trip(input.pickup_a, input.trip_a2s, read);
            TripPoint {
                current_a: current,
                earliest_s: time(reading(input, current, 1.0)),
                nominal_s: time(current),
                latest_s: latest(input, current),
            }
        })
        .collect()
}
