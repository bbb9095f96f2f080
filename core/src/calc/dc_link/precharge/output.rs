//! What a pre-charge answers.

use serde::Serialize;
use utoipa::ToSchema;

use crate::physics::precharge::inrush::Damping;

/// The answer.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct PrechargeOutput {
    /// How the link charges.
    pub charge: PrechargeCourse,
    /// What the load may take.
    pub limits: PrechargeLimits,
    /// Time constant of resistor and capacitance, s.
    pub time_constant_s: f64,
    /// The same with a resistance across the link, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loaded_time_constant_s: Option<f64>,
    /// Where it takes longest, both readings on their bad sides and the resistance at its upper limit.
    pub slowest: PrechargePlace,
    /// Where the load takes most of what the resistor delivers, likewise.
    pub heaviest: PrechargePlace,
    /// Where the resistor loses most while the link never comes to its target, over pack voltage and tolerance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stall: Option<PrechargePlace>,
    /// The attempt that puts most energy in the resistor.
    pub attempt: PrechargeAttempt,
    /// The link shorted for the whole time-out.
    pub short: PrechargeShort,
    /// The resistor over the attempts.
    pub repeated: PrechargeRepeated,
    /// What two channels leave of the target.
    pub difference: PrechargeDifference,
    /// What is left for the main contactor.
    pub inrush: PrechargeInrush,
    /// One of several units that joins the others on the bus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub joining: Option<PrechargeJoining>,
    /// The early check of the course.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub early: Option<PrechargeEarly>,
    /// Resistors for the wanted time.
    pub choice: PrechargeChoice,
    /// Energy that the charged link holds, J.
    pub stored_j: f64,
    /// The course over time.
    pub curve: Vec<PrechargePoint>,
    /// Where the link settles, over the size of the load.
    pub map: Vec<PrechargeMapPoint>,
}

/// A pack voltage at which it is judged.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct PrechargePlace {
    /// The pack voltage, V: searched between the lowest and the highest.
    pub pack_v: f64,
    /// The resistance, Ω.
    pub resistance_ohm: f64,
    /// How the link charges there; its target is the link voltage at which the readings close for certain.
    pub charge: PrechargeCourse,
    /// What the load may take there.
    pub limits: PrechargeLimits,
}

/// The attempt that puts most energy in the resistor.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct PrechargeAttempt {
    /// The pack voltage, V.
    pub pack_v: f64,
    /// The resistance, Ω.
    pub resistance_ohm: f64,
    /// Link voltage at its start, V: of a later attempt where that is worse.
    pub start_v: f64,
    /// How long it lasts, s.
    pub length_s: f64,
    /// The energy, J.
    pub energy_j: f64,
    /// Largest current, A; it flows backwards when the link starts above the pack.
    pub peak_a: f64,
    /// Whether the largest current flows backwards.
    pub backwards: bool,
}

/// How the link charges.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct PrechargeCourse {
    /// Link voltage at the target, V.
    pub target_v: f64,
    /// Whether the target is ever reached.
    pub reaches: bool,
    /// Time to the target, s; absent when it is never reached.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_s: Option<f64>,
    /// Time until the load wakes, s, when it wakes on the way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asleep_s: Option<f64>,
    /// Time from there to the target, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub awake_s: Option<f64>,
    /// Time without any load, s.
    pub unloaded_s: f64,
    /// Where the link settles, V.
    pub settle_v: f64,
    /// The same in percent of the pack voltage.
    pub settle_percent: f64,
    /// Whether it hangs there because the load wakes and pulls it back.
    pub hangs: bool,
    /// Loss in the resistor where the link settles, W.
    pub settle_power_w: f64,
    /// Link voltage at the time-out, V.
    pub time_out_v: f64,
    /// Largest current, A.
    pub peak_a: f64,
    /// Largest power of the resistor, W.
    pub peak_w: f64,
    /// Energy in the resistor of one attempt, J: to the target, or to the time-out when that comes first.
    pub energy_j: f64,
    /// Energy in the resistor without any load until the capacitor is full, J.
    pub unloaded_energy_j: f64,
    /// The same only up to the target, J.
    pub unloaded_to_target_j: f64,
}

impl PrechargeCourse {
    /// The same where it never closes.
    #[must_use]
    pub(super) const fn never(self, energy_j: f64) -> Self {
        Self { reaches: false, time_s: None, awake_s: None, energy_j, ..self }
    }
}

/// What the load may take.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct PrechargeLimits {
    /// Largest constant power that lets the target be reached, W.
    pub largest_power_w: f64,
    /// Largest constant current that lets the target be reached, A.
    pub largest_current_a: f64,
    /// Smallest resistance that lets the target be reached, Ω; absent when none does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub smallest_load_ohm: Option<f64>,
    /// Largest power with any equilibrium, W.
    pub collapse_power_w: f64,
    /// Lower equilibrium of the given power, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower_v: Option<f64>,
    /// Upper equilibrium of the given power, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper_v: Option<f64>,
    /// The same in percent of the pack voltage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper_percent: Option<f64>,
}

/// The link shorted for the whole time-out.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct PrechargeShort {
    /// Power of the resistor, W.
    pub power_w: f64,
    /// Energy until the time-out, J.
    pub energy_j: f64,
    /// Energy until the early check, J.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until_check_j: Option<f64>,
    /// Longest time-out that the rated pulse allows, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub allowed_s: Option<f64>,
    /// Equal elements that share the energy within the rated pulse of each.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub elements: Option<f64>,
}

/// The resistor over the attempts.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct PrechargeRepeated {
    /// Attempts of one series.
    pub attempts: u32,
    /// Energy of one series, J.
    pub series_j: f64,
    /// Mean power during a series, W.
    pub series_w: f64,
    /// Mean power of series after series with the pause, W.
    pub cycle_w: f64,
    /// Mean power during a series against a shorted link, W.
    pub short_w: f64,
    /// Body temperature in the mean over series after series, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean_degc: Option<f64>,
    /// Highest body temperature over series after series, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub body_degc: Option<f64>,
    /// The same against a shorted link, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub short_degc: Option<f64>,
    /// Share of the rated pulse that series after series takes from a resistor that is still warm, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub warm_percent: Option<f64>,
    /// The same against a shorted link, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub short_warm_percent: Option<f64>,
    /// Shortest time from attempt to attempt that keeps the rated power, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shortest_repeat_s: Option<f64>,
}

/// What two channels leave of the target, at the highest pack voltage unless it says otherwise.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct PrechargeDifference {
    /// Difference at the target, percent of the pack voltage.
    pub nominal_percent: f64,
    /// What both errors take of it, percent of the pack voltage.
    pub error_percent: f64,
    /// Smallest true difference, percent; negative: the link would have to stand above the pack.
    pub low_percent: f64,
    /// Largest true difference, percent.
    pub high_percent: f64,
    /// Smallest true difference, V.
    pub low_v: f64,
    /// Largest true difference, V.
    pub high_v: f64,
    /// Largest true difference at any pack voltage, in either direction, V.
    pub largest_v: f64,
    /// The pack voltage at which it is left, V.
    pub largest_at_v: f64,
    /// Whether the link then lies above the pack.
    pub backwards: bool,
}

/// What is left for the main contactor.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct PrechargeInrush {
    /// Largest current at the largest true difference, A.
    pub peak_a: f64,
    /// When, s.
    pub peak_s: f64,
    /// How it is damped.
    pub damping: Damping,
    /// ∫ i² dt, A²s.
    pub a2s: f64,
    /// Largest current without any inductance, A.
    pub bound_a: f64,
    /// Largest difference that the contactor takes, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub allowed_v: Option<f64>,
}

/// One of several units that joins the others on the bus: their batteries, not the link alone, stand behind the contactor.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct PrechargeJoining {
    /// Largest true difference at closing, V.
    pub difference_v: f64,
    /// Whether the bus then lies above this unit.
    pub backwards: bool,
    /// The current that it drives until the units are level, A: the others without resistance of their own.
    pub current_a: f64,
}

/// The early check of the course.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct PrechargeEarly {
    /// When, s.
    pub time_s: f64,
    /// Link voltage of the expected course, V.
    pub expected_v: f64,
    /// Reading below which the link is shorted or overloaded, V.
    pub low_limit_v: f64,
    /// Reading above which the course is too fast: a capacitor is missing, V.
    pub high_limit_v: f64,
    /// Highest reading of a link that does not charge at all, V.
    pub open_reads_v: f64,
    /// Whether that lies below the lower limit.
    pub separates: bool,
    /// Largest short resistance that is seen for certain, Ω.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seen_short_ohm: Option<f64>,
    /// Earliest time at which an open path and a dead short are told from the expected course, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub earliest_s: Option<f64>,
}

/// Resistors for the wanted time.
#[derive(Clone, Debug, Default, Serialize, ToSchema)]
pub struct PrechargeChoice {
    /// The wanted time, s.
    pub wanted_s: f64,
    /// Resistance that reaches the target just then without load, Ω.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub exact_ohm: Option<f64>,
    /// The same with the load, Ω; absent when no resistance does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub exact_loaded_ohm: Option<f64>,
    /// Preferred values around it.
    pub candidates: Vec<PrechargeCandidate>,
}

/// A preferred value.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct PrechargeCandidate {
    /// The series it is in.
    pub series: String,
    /// The value, Ω.
    pub resistance_ohm: f64,
    /// Time with the load, s; absent when the target is never reached.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_s: Option<f64>,
    /// Whether it keeps the wanted time.
    pub keeps: bool,
    /// Largest current, A.
    pub peak_a: f64,
    /// Energy of one attempt, J.
    pub energy_j: f64,
    /// Energy of a shorted link until the time-out, J.
    pub short_j: f64,
}

/// A point of the course.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct PrechargePoint {
    /// Time, s.
    pub time_s: f64,
    /// Link voltage with the load, V.
    pub link_v: f64,
    /// Link voltage without load, V.
    pub unloaded_v: f64,
    /// Current of the resistor with the load, A.
    pub current_a: f64,
    /// The same without load, A.
    pub unloaded_a: f64,
    /// Energy in the resistor with the load, J.
    pub energy_j: f64,
    /// The same without load, J.
    pub unloaded_j: f64,
}

/// A point of the state map.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct PrechargeMapPoint {
    /// Size of the load: Ω, A or W by its kind.
    pub load: f64,
    /// Highest target that is ever reached, percent of the pack voltage.
    pub settle_percent: f64,
    /// Highest target that is reached before the time-out, percent of the pack voltage.
    pub time_out_percent: f64,
}
