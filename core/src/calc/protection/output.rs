//! What a threshold answers. Values are in `unit`, differences in the same unit (kelvin for °C).

use serde::Serialize;
use utoipa::ToSchema;

use crate::quantity::Unit;

/// What a threshold answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ThresholdOutput {
    /// The unit of every value below that names no other; differences of temperatures are in K.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// Whether the function trips above its threshold.
    pub trips_above: bool,
    /// The threshold must lie at or above this.
    pub low_edge: f64,
    /// The threshold must lie at or below this.
    pub high_edge: f64,
    /// The edge towards allowed operation: beyond it no nuisance trip.
    pub nuisance_edge: f64,
    /// The edge towards the hazard: before it no missed trip.
    pub harm_edge: f64,
    /// Room between the edges; negative when there is none.
    pub width: f64,
    /// Whether any threshold holds both sides.
    pub has_room: bool,
    /// Distance from normal to hazard.
    pub available: f64,
    /// What takes it.
    pub consumed: ThresholdConsumed,
    /// Consumed over available, percent.
    pub used_percent: f64,
    /// Time of the samples in a row, s.
    pub debounce_s: f64,
    /// All times that delay the trip, lag of the sensor included, s.
    pub reaction_s: f64,
    /// The middle of the room; absent when there is none.
    pub suggested: Option<f64>,
    /// Where both sides have the same standardised margin; absent without error and noise.
    pub balanced: Option<ThresholdBalance>,
    /// The threshold that is judged: the given one, or the middle between the edges.
    pub judged: ThresholdJudged,
    /// Both risks for thresholds from normal to hazard.
    pub curve: Vec<ThresholdRisk>,
    /// Where the function is released.
    pub release: ThresholdRelease,
    /// What takes the room and what would open it, the smallest change first.
    pub levers: Vec<ThresholdLever>,
    /// The limit under load, for under-voltage.
    pub sag: Option<VoltageSag>,
    /// What the worst fault lets through, for currents; absent where the fault is not given or never trips.
    pub let_through: Option<LetThrough>,
}

/// What takes the distance from normal to hazard.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ThresholdConsumed {
    /// Error limit at the normal extreme.
    pub error_normal: f64,
    /// Error limit at the hazard.
    pub error_hazard: f64,
    /// Kept noise on the side of allowed operation.
    pub noise: f64,
    /// Sigma that are kept there: those asked for, or those for the allowed nuisance rate.
    pub noise_sigma: f64,
    /// Slope times all times.
    pub reaction: f64,
    /// By how much more noise delays the first complete row, in all but the allowed share of cases.
    pub noise_hazard: f64,
    /// By how much the sensor is colder than the cell, K.
    pub gradient: Option<f64>,
    /// Of a voltage under load, on the side of allowed operation.
    pub sag_normal: Option<f64>,
    /// Of a voltage under load, on the side of the hazard.
    pub sag_hazard: Option<f64>,
    /// All on the side of allowed operation.
    pub nuisance_side: f64,
    /// All on the side of the hazard.
    pub harm_side: f64,
    /// All together.
    pub total: f64,
}

/// A threshold with the same standardised margin on both sides.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ThresholdBalance {
    /// The threshold.
    pub threshold: f64,
    /// The margin of each side in combined standard uncertainties.
    pub sigmas: f64,
}

/// One threshold on both sides.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ThresholdJudged {
    /// The threshold.
    pub threshold: f64,
    /// Whether it was given.
    pub given: bool,
    /// Distance to the edge of allowed operation; negative beyond it.
    pub nuisance_margin: f64,
    /// Distance to the edge of the hazard; negative beyond it.
    pub harm_margin: f64,
    /// Noise that is left between normal extreme with full error and threshold, in sigma.
    pub noise_sigma: Option<f64>,
    /// Probability that one sample at the normal extreme passes the threshold.
    pub nuisance_per_sample: f64,
    /// Nuisance trips an hour while the quantity stands at the normal extreme.
    pub nuisance_per_hour: f64,
    /// Mean time between two nuisance trips, s.
    pub mean_time_between_s: Option<f64>,
    /// Probability that the reading is still before the threshold at the last moment that leaves the time to react.
    pub missed_probability: f64,
    /// The same with a normal distribution of the same standard uncertainty (JCGM 106:2012 clause 7.3).
    pub missed_probability_normal: f64,
    /// Combined standard uncertainty of error and noise at the hazard.
    pub standard_uncertainty: f64,
    /// Share of cases in which the hazard is passed at opening, error at its limit, percent.
    pub late_percent: f64,
    /// The same without an error, percent.
    pub late_without_error_percent: f64,
}

/// Both risks of a threshold.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ThresholdRisk {
    /// The threshold.
    pub threshold: f64,
    /// Probability that a row of samples that pass it begins at one sample, at the normal extreme, error at its limit.
    pub nuisance: f64,
    /// Probability of a missed trip.
    pub missed: f64,
}

/// The release after a trip.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ThresholdRelease {
    /// Threshold less hysteresis; absent without one.
    pub value: Option<f64>,
    /// Smallest hysteresis that noise does not bridge.
    pub least_hysteresis: f64,
    /// Largest hysteresis that is released at the normal extreme whatever the error.
    pub most_hysteresis: f64,
    /// What is left of it; negative when the function may stay tripped at the normal extreme.
    pub margin: Option<f64>,
}

/// The limit under load: V_th(I) = V_th − I R, with the resistance that it follows with, or the largest.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct VoltageSag {
    /// I R, V.
    pub sag_v: f64,
    /// Judged threshold at rest, V.
    pub at_rest_v: f64,
    /// The same under this current, V.
    pub under_load_v: f64,
    /// The voltage at rest at which a threshold that does not follow the current trips under it, V.
    pub fixed_trips_at_v: f64,
    /// Whether that is allowed operation.
    pub fixed_trips_in_operation: bool,
}

/// A term and what changing it would do.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ThresholdLever {
    /// Its field.
    pub id: String,
    /// What it is.
    pub label: String,
    /// The unit of its value.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// Its value now.
    pub value: f64,
    /// What it takes of the room; absent for the normal extreme.
    pub takes: Option<f64>,
    /// Change of the width for one unit more of it.
    pub width_per_unit: f64,
    /// What halving it gives; for a rate of samples, doubling it.
    pub halved_gives: Option<f64>,
    /// The value at which it alone is enough; absent when nothing is missing or it cannot be enough.
    pub enough_at: Option<f64>,
    /// That change, relative, percent.
    pub change_percent: Option<f64>,
    /// JSON Pointer to its field.
    pub field: String,
}

/// What the worst step lets through.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct LetThrough {
    /// The current of that step, A.
    pub step_a: f64,
    /// When it is off, s, in all but the allowed share of late trips.
    pub off_after_s: f64,
    /// ∫i² dt until then, A²s.
    pub let_through_a2s: f64,
    /// The largest current at opening of all steps, A.
    pub opening_a: f64,
    /// By how much that passes the threshold, A.
    pub overshoot_a: f64,
}
