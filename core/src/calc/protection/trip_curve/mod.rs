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
//! Range      what the channel cannot read adds up no faster than at its end; a pick-up beyond it never trips
//! Profile    a repeated profile with a net gain of S trips in the end; without one its largest sum occurs in the second
//!            round at the latest
//! Limits     the sum starts empty; between two points the limit is a straight line on logarithmic scales, on which the
//!            latest trip is convex: where both points hold, the line between them holds, too
//! Valid      currents constant in each step; transition from adiabatic to steady heating covered by the limits' points
//! Source     integral of a constant (closed form); the function itself: common practice, no source
//! ```

mod load;
mod requirements;
mod slips;
mod view;

use serde::Serialize;
use utoipa::ToSchema;

use crate::calculation::{Calculation, Depth, Meta, Slip};
use crate::field::{defaulted, list, number, optional, yes_no};
use crate::input;
use crate::judge::{Judged, Ledger};
use crate::quantity::Unit;
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use load::TripLoad;

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
    /// Everything it takes.
    pub struct TripCurveInput {
        pickup_a: f64 = number(Unit::Ampere, 1e-2, 1e6, 450.0), "I_n", "Pick-up", "Below it nothing is added up.";
        trip_a2s: f64 = number(Unit::AmpereSquaredSecond, 1e-6, 1e13, 2.2e6), "K", "Trip value", "Of the integral of I² − I_n².";
        error_percent: f64 = number(Unit::Percent, 0.0, 50.0, 2.0), "e", "Error of the current", "Gain, half-width.";
        error_a: f64 = defaulted(Unit::Ampere, 0.0, 1e5, 0.0).like(5.0), "o", "Fixed error", "Offset, half-width.";
        reads_to_a: Option<f64> = optional(Unit::Ampere, 1e-6, 1e9), "x_c", "Largest reading of its channel", "Larger currents read no more than this.";
        reaction_s: f64 = defaulted(Unit::Second, 0.0, 1e4, 0.02), "t_r", "Reaction", "From the trip value until the current is off.";
        load: Vec<LoadStep> = list::<LoadStep>(1, 200, "600; 10\n200; 60"), "", "Load profile", "One step a line: current, duration. It must not trip.";
        repeats: bool = yes_no(true), "", "The profile repeats", "Without a pause.";
        wire: Vec<LimitPoint> = list::<LimitPoint>(0, 50, "500; 600\n800; 60\n1500; 10"), "", "Limit of the wire", "One point a line: current, time.";
        shunt: Vec<LimitPoint> = list::<LimitPoint>(0, 50, "1000; 20\n3000; 2"), "", "Limit of the shunt", "One point a line: current, time.";
        fuse: Vec<LimitPoint> = list::<LimitPoint>(0, 50, "2000; 5\n4000; 0.5"), "", "Limit of the fuse", "Where it must not be the first: current, time.";
    }
}

/// What it answers.
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
}

/// A point of a limit and the latest trip there.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct TripLimit {
    /// `wire`, `shunt` or `fuse`.
    pub id: &'static str,
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

impl Calculation for TripCurve {
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
    const SLIPS: &'static [Slip<TripCurveInput>] = slips::SLIPS;
    type Input = TripCurveInput;
    type Solved = TripSolved;
    type Output = TripCurveOutput;

    fn cost(input: &TripCurveInput, _: Depth, _: Work) -> Cost {
        let points = [&input.wire, &input.shunt, &input.fuse].map(Vec::len).iter().sum::<usize>();
        Cost::SMALL.and(Cost::rows(input.load.len() + points))
    }

    fn solve(input: &TripCurveInput, _: Work) -> Result<TripSolved, Refused> {
        Ok(TripSolved { load: load::load(input), limits: limit_points(input) })
    }

    fn requirements(input: &TripCurveInput, solved: &TripSolved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &TripCurveInput, solved: TripSolved, _: Work) -> Result<TripCurveOutput, Refused> {
        let (pickup_low_a, pickup_high_a) = pickup(input);
        let gain = 1.0 + input.error_percent / 100.0;
        Ok(TripCurveOutput {
            pickup_low_a,
            pickup_high_a,
            square_error_percent: (gain * gain - 1.0) * 100.0,
            load: solved.load,
            limits: solved.limits,
            curve: curve(input),
        })
    }

    fn working(input: &TripCurveInput, output: &TripCurveOutput) -> Vec<Step> {
        view::working(input, output)
    }

    fn view(input: &TripCurveInput, output: &TripCurveOutput, judged: &Ledger) -> View {
        view::view(input, output, judged)
    }
}

/// The numbers that the verdicts rest on.
#[derive(Debug)]
pub struct TripSolved {
    /// The load profile.
    pub load: TripLoad,
    /// Every point of the limits.
    pub limits: Vec<TripLimit>,
}

impl TripLimit {
    /// Whether it is off before this point of its limit.
    fn judged(&self) -> Judged {
        let (id, pointer) = match self.id {
            "wire" => ("protection.limit-wire", "/wire"),
            "shunt" => ("protection.limit-shunt", "/shunt"),
            _ => ("protection.limit-fuse", "/fuse"),
        };
        Judged::at_most(id, pointer, Unit::Second, self.latest_s, self.limit_s)
    }
}

/// The limits by name.
fn limits(input: &TripCurveInput) -> [(&'static str, &'static str, &[LimitPoint]); 3] {
    [("wire", "Wire", &input.wire), ("shunt", "Shunt", &input.shunt), ("fuse", "Fuse", &input.fuse)]
}

/// Below the first true current it never trips, above the second it always does.
fn pickup(input: &TripCurveInput) -> (f64, f64) {
    let gain = input.error_percent / 100.0;
    let low = ((input.pickup_a - input.error_a) / (1.0 + gain)).max(0.0);
    (low, (input.pickup_a + input.error_a) / (1.0 - gain))
}

/// The reading of a current at its high (+1) or low (−1) limit.
fn reading(input: &TripCurveInput, current: f64, side: f64) -> f64 {
    (current * (1.0 + side * input.error_percent / 100.0) + side * input.error_a).max(0.0)
}

/// The same of a channel that reads so far and no further.
fn seen(input: &TripCurveInput, current: f64, side: f64) -> f64 {
    reading(input, input.reads_to_a.map_or(current, |end| current.min(end)), side)
}

/// Time until a constant reading trips; none when it never does.
pub fn time_to_trip(pickup: f64, trip: f64, reading: f64) -> Option<f64> {
    let excess = (reading - pickup) * (reading + pickup);
    (excess > 0.0).then(|| trip / excess).filter(|time| time.is_finite())
}

/// Latest time until a constant true current is off: beyond its range the channel reads no more than at its end.
fn latest(input: &TripCurveInput, current: f64) -> Option<f64> {
    time_to_trip(input.pickup_a, input.trip_a2s, seen(input, current, -1.0)).map(|time| time + input.reaction_s)
}

/// Every point of the limits; those of one limit by their currents.
fn limit_points(input: &TripCurveInput) -> Vec<TripLimit> {
    let point = |id: &'static str, current_a: f64, limit_s: f64| {
        let latest_s = latest(input, current_a);
        let used_percent = latest_s.map(|time| time / limit_s * 100.0).filter(|used| used.is_finite());
        TripLimit { id, current_a, limit_s, latest_s, used_percent }
    };
    let mut all = Vec::with_capacity(input.wire.len() + input.shunt.len() + input.fuse.len());
    for (id, _, points) in limits(input) {
        let first = all.len();
        all.extend(points.iter().map(|given| point(id, given.current_a, given.time_s)));
        all[first..]
            .sort_by(|a: &TripLimit, b| a.current_a.total_cmp(&b.current_a).then(b.limit_s.total_cmp(&a.limit_s)));
    }
    all
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
                earliest_s: time(seen(input, current, 1.0)),
                nominal_s: time(input.reads_to_a.map_or(current, |end| current.min(end))),
                latest_s: latest(input, current),
            }
        })
        .collect()
}
