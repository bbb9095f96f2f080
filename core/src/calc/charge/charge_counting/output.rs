//! What charge counting gives.

use serde::Serialize;
use utoipa::ToSchema;

/// The answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ChargeOutput {
    /// Drift of a day of this use.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub day: Option<ChargeDay>,
    /// The error at the end of one use: of the way, of a cycle, of a day at rest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub end_of_use: Option<ChargeMoment>,
    /// The largest error until the next anchor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub largest: Option<ChargeMoment>,
    /// How long the allowed error lasts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lasts: Option<ChargeLasts>,
    /// The anchor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub anchor: Option<ChargeAnchor>,
    /// The capacity estimate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacity: Option<ChargeCapacity>,
    /// The resistance estimate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance: Option<ChargeResistance>,
    /// The proof of a loss.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trend: Option<ChargeTrend>,
    /// What the error means to who relies on it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub user: Option<ChargeUser>,
    /// What readings do to a mean current.
    pub reading: ChargeReading,
    /// The error from the anchor on, over every case of life and use.
    pub cone: Vec<ChargeConePoint>,
    /// The error after each anchor, where it is largest until the next one, and before that.
    pub sawtooth: Vec<ChargeTooth>,
    /// The ends of the anchor over its places.
    pub places: Vec<ChargePlace>,
}

/// Drift of a day; of one way that of a day of rest after it.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ChargeDay {
    /// As it is judged, of the true capacity where that is smallest in life, points a day.
    pub judged_percent_per_day: f64,
    /// Worst case, new, of the capacity of the estimator, points a day.
    pub worst_percent_per_day: f64,
    /// The same at the end of life, of the capacity that is left, points a day.
    pub end_of_life_percent_per_day: f64,
    /// The first of these as charge, Ah a day.
    pub worst_ah_per_day: f64,
}

/// An error at a moment.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ChargeMoment {
    /// The case of life and use, in words.
    pub state: String,
    /// From the anchor, h.
    pub time_h: f64,
    /// As it is judged, points.
    pub judged_percent: f64,
    /// Worst case, lower end: below zero the gauge promises too little.
    pub low_percent: f64,
    /// Worst case, upper end: above zero it promises too much.
    pub high_percent: f64,
    /// Kept with 95 %, points.
    pub probability_percent: f64,
    /// Of known sign, points.
    pub known_percent: f64,
    /// Random, standard uncertainty, points.
    pub random_percent: f64,
    /// Every source, largest first.
    pub sources: Vec<ChargeSource>,
}

/// A source of the error.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ChargeSource {
    /// What it is.
    pub label: String,
    /// What it is counted as: a limit, known, or three times a standard uncertainty.
    pub kind: String,
    /// Its size, points.
    pub error_percent: f64,
    /// The same as charge of the estimator, Ah.
    pub charge_ah: f64,
}

/// How long the allowed error lasts.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ChargeLasts {
    /// As it is judged, h; absent where it lasts a hundred years.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged_h: Option<f64>,
    /// The same, days.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged_days: Option<f64>,
    /// The case and the leg in which it is passed.
    pub state: String,
    /// Worst case without an error at the beginning: drift alone, h.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drift_alone_h: Option<f64>,
    /// Offset that would do until the next anchor, A; absent where none does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub allowed_offset_a: Option<f64>,
}

/// The anchor at its best place, and at its worst.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ChargeAnchor {
    /// The best allowed place; absent where no place is bounded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place_percent: Option<f64>,
    /// The larger end there, three times the scatter included, points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error_percent: Option<f64>,
    /// The worst allowed place; absent where no place is bounded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_place_percent: Option<f64>,
    /// What it leaves wherever one rests, three times the scatter included, points: what a count begins with.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_percent: Option<f64>,
    /// How far it may read too low, without scatter, points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low_percent: Option<f64>,
    /// How far it may read too high, without scatter, points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub high_percent: Option<f64>,
    /// Error of the reading over the slope, points: to first order, never judged.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first_order_percent: Option<f64>,
    /// What is left of the relaxation, and half of the hysteresis, V.
    pub lag_v: f64,
    /// Places at which the anchor meets its requirement.
    pub ranges: Vec<ChargeRange>,
    /// Largest error at the end of an interval, after many anchors of this weight, points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub top_percent: Option<f64>,
    /// Largest error inside an interval, after many anchors of this weight, points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub peak_percent: Option<f64>,
    /// Offset that two anchors at one place tell, standard uncertainty, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub learned_offset_a: Option<f64>,
}

/// A range of places.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ChargeRange {
    /// From.
    pub from_percent: f64,
    /// Up to.
    pub to_percent: f64,
}

/// The capacity estimate.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ChargeCapacity {
    /// Swing between the anchors.
    pub swing_percent: f64,
    /// Charge between them, Ah.
    pub charge_ah: f64,
    /// Standard uncertainty of the charge, percent of it.
    pub charge_percent: f64,
    /// Standard uncertainty of the swing, points.
    pub swing_standard_percent: f64,
    /// Standard uncertainty of the capacity, percent of it.
    pub standard_percent: f64,
    /// What is known of its error, percent.
    pub bias_percent: f64,
    /// Kept with 95 %, percent.
    pub probability_percent: f64,
    /// Worst case, percent; absent where the anchors are worth nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_percent: Option<f64>,
    /// The smallest swing that meets the requirement; absent where none does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub smallest_swing_percent: Option<f64>,
}

/// The resistance estimate.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ChargeResistance {
    /// Step of the voltage, V.
    pub step_v: f64,
    /// Standard uncertainty, percent.
    pub standard_percent: f64,
    /// Kept with 95 %, percent.
    pub probability_percent: f64,
    /// Worst case, percent; absent where the step is lost in the errors of the current.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_percent: Option<f64>,
}

/// The proof of a loss.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ChargeTrend {
    /// Estimates that prove it; absent where the drift of the channel takes all.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub estimates: Option<f64>,
    /// Standard uncertainty of the loss with so many, points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub standard_percent: Option<f64>,
    /// By the drift of the channel alone, standard, points.
    pub drift_percent: f64,
    /// With one at every anchor, and not before the loss is there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after_years: Option<f64>,
}

/// What the error means to who relies on it.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ChargeUser {
    /// The error that is told, points.
    pub error_percent: f64,
    /// As energy at nominal voltage, Wh.
    pub energy_wh: f64,
    /// As range of a vehicle.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub range_km: Option<f64>,
    /// As time of a load, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_s: Option<f64>,
}

/// What readings do to a mean current.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ChargeReading {
    /// Noise of a reading, A.
    pub noise_a: f64,
    /// Interval of the readings, s.
    pub interval_s: f64,
    /// Largest mean error of rounding, A.
    pub rounding_a: f64,
    /// Charge that noise wanders by in a day, standard, Ah.
    pub walk_ah: f64,
    /// Amplitude of the ripple that is left in the readings, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ripple_a: Option<f64>,
    /// Where it comes back, Hz; absent where it may stand still.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub alias_hz: Option<f64>,
}

/// The error at a time, over every case of life and use; among many repetitions the largest of the one up to it.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ChargeConePoint {
    /// From the anchor, h.
    pub time_h: f64,
    /// Worst case, lower end, points.
    pub low_percent: f64,
    /// Worst case, upper end, points.
    pub high_percent: f64,
    /// Kept with 95 %, points, either way.
    pub probability_percent: f64,
}

/// The error before, after or between anchors.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ChargeTooth {
    /// From the first anchor, h.
    pub time_h: f64,
    /// Worst case, points.
    pub error_percent: f64,
}

/// The anchor at a place.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ChargePlace {
    /// State of charge.
    pub soc_percent: f64,
    /// Too low by, points; absent where it is not bounded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low_percent: Option<f64>,
    /// Too high by, points; absent where it is not bounded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub high_percent: Option<f64>,
}
