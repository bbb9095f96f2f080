//! What the evidence of functional safety gives.

use serde::Serialize;
use utoipa::ToSchema;

use super::consequence::SafetyBehaviour;
use super::glance::{SafetyGlance, SafetyWorst};
use super::input::Asil;

/// What it answers.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct SafetyOutput {
    /// Each goal with its metrics.
    pub goals: Vec<SafetyGoal>,
    /// Each mode for each goal that it counts for: what violates most first.
    pub modes: Vec<SafetyMode>,
    /// Each check.
    pub checks: Vec<SafetySeen>,
    /// Two faults that violate a goal together: of each goal the most frequent, those of which nobody is told before all.
    pub pairs: Vec<SafetyPair>,
}

/// A goal with its metrics.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct SafetyGoal {
    /// Its name.
    pub name: String,
    /// Its level.
    pub asil: Asil,
    /// Rate of everything that can touch it, FIT.
    pub rate_fit: f64,
    /// Single-point faults, FIT; left out where some mode is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub single_point_fit: Option<f64>,
    /// Residual faults, FIT.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub residual_fit: Option<f64>,
    /// Latent faults, FIT.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub latent_fit: Option<f64>,
    /// Single-point fault metric, percent; left out without a rate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spfm_percent: Option<f64>,
    /// Latent fault metric, percent; left out where all is residual.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lfm_percent: Option<f64>,
    /// Single-point fault metric of what is not safe, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spfm_without_safe_percent: Option<f64>,
    /// Latent fault metric of what is not safe, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lfm_without_safe_percent: Option<f64>,
    /// Covered faults that meet a lost check, FIT; left out where a loss is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dual_fit: Option<f64>,
    /// Check and what it checks failing of one cause, FIT; left out without β where channels are compared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub common_cause_fit: Option<f64>,
    /// Probabilistic metric with both, FIT: failures in a billion hours.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pmhf_fit: Option<f64>,
    /// What is missing for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pmhf_lacks: Option<String>,
    /// From the fault to the safe state at the latest, over all modes that a named check covers, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub handled_s: Option<f64>,
    /// Pairs of faults that violate it together.
    pub pairs: usize,
    /// Of them those of which nobody is told before the second fault.
    pub unnoticed_pairs: usize,
    /// Pairs that were not followed: those that are rarest.
    pub pairs_left_out: usize,
    /// What is missing to know all pairs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pairs_lack: Option<String>,
    /// The mode that violates most; left out where nothing does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst_mode: Option<String>,
}

/// Two faults that violate a goal together.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct SafetyPair {
    /// The goal.
    pub goal: String,
    /// The first fault.
    pub first: String,
    /// The second.
    pub second: String,
    /// Rate of both, FIT; left out where one is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate_fit: Option<f64>,
    /// Whether nobody is told before the second.
    pub unnoticed: bool,
}

/// Where the coverage of a mode comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SafetyOrigin {
    /// Worked out from deviation and checks.
    Computed,
    /// Typed.
    Claimed,
    /// Something is missing.
    NotKnown,
}

impl SafetyOrigin {
    /// The word on the page.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Computed => "computed",
            Self::Claimed => "claimed",
            Self::NotKnown => "not known",
        }
    }
}

/// A mode for a goal.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct SafetyMode {
    /// Its place in the list, from 0.
    pub row: usize,
    /// The place of its goal, from 0.
    pub of_goal: usize,
    /// What fails.
    pub component: String,
    /// How.
    pub mode: String,
    /// The goal.
    pub goal: String,
    /// Rate of the mode, FIT.
    pub mode_fit: f64,
    /// Safe share, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub safe_percent: Option<f64>,
    /// Direct share, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub direct_percent: Option<f64>,
    /// Share that takes a second fault, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub multi_point_percent: Option<f64>,
    /// Coverage as it is worked out, percent; left out where nothing is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dc_computed_percent: Option<f64>,
    /// Highest ceiling of the checks, or the claim; left out without one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ceiling_percent: Option<f64>,
    /// Coverage that is used, percent; left out without a check.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dc_used_percent: Option<f64>,
    /// Single-point and residual rate, FIT.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub violating_fit: Option<f64>,
    /// Latent rate, FIT.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub latent_fit: Option<f64>,
    /// Checks that it names and that act.
    pub seen_by: Vec<String>,
    /// From which size on a deviation is seen; left out where none is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seen_from: Option<f64>,
    /// Up to which size a dangerous deviation is not seen; left out where none is left, and where no deviation is given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unseen_to: Option<f64>,
    /// From the fault to the alarm at the latest, s; left out where none comes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_s: Option<f64>,
    /// What each check alone sees of it; left out where nothing is dangerous or no deviation is given.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub glances: Vec<SafetyGlance>,
    /// The dangerous deviation that is handled last; left out where nothing is dangerous.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst: Option<SafetyWorst>,
    /// The true value at which it was read, in the unit of the goal's quantity; left out where nothing was inserted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<f64>,
    /// The lowest deviation of all states.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub deviates_from: Option<f64>,
    /// The highest deviation of all states.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub deviates_to: Option<f64>,
    /// The state in which least is covered.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub state: Option<String>,
    /// Whether some reading stands at an end of the range.
    pub beyond_range: bool,
    /// What two channels that are compared differ by at the most, 0 where both share it; left out where none is compared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub comparison_sees: Option<f64>,
    /// What its goal rests on does with it in it, at its worst; left out where that is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub behaviour: Option<SafetyBehaviour>,
    /// The true value at which that trips for certain, of a pre-charge the link voltage from which on it may close; left out
    /// where it does not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trips_at: Option<f64>,
    /// How long after the fault of a race that is, or after the begin of a pre-charge it closes for certain, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trips_after_s: Option<f64>,
    /// How much later than allowed it is off, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub late_by_s: Option<f64>,
    /// Largest current when the contactor of a pre-charge closes, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inrush_a: Option<f64>,
    /// What a count is off, Ah a day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ah_per_day: Option<f64>,
    /// When its budget is used up, days.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub budget_days: Option<f64>,
    /// Where the coverage comes from.
    pub origin: SafetyOrigin,
    /// Whether a deviation was given.
    pub inserted: bool,
    /// Whether its rate has no source that counts.
    pub illustrative: bool,
    /// Why it is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lacks: Option<String>,
}

/// A check with what it sees, in the unit of what it looks at: of an open wire volts, of heat kelvins, of steps ohms, of a clock
/// percent, else that of its quantity.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct SafetySeen {
    /// Its name.
    pub name: String,
    /// Limit of the difference, of a rate over its looks; left out where it has none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
    /// Largest difference without a fault, noise aside.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fault_free: Option<f64>,
    /// The smallest limit that errors and noise leave alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least_limit: Option<f64>,
    /// Size from which on a deviation upwards is surely seen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub certain_high: Option<f64>,
    /// Size from which on a deviation downwards is surely seen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub certain_low: Option<f64>,
    /// Size below which a deviation is surely unseen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unseen: Option<f64>,
    /// What a deviation of current that is just unseen makes of a charge, Ah a day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hides_ah_per_day: Option<f64>,
    /// The largest joint in a sense wire that an open-wire check leaves unseen, Ω.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left_ohm: Option<f64>,
    /// What that joint does to the reading, percent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left_percent: Option<f64>,
    /// The smallest current whose loss the heat of the shunt shows, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lost_from_a: Option<f64>,
    /// False alarms an hour; left out where the noise is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub false_per_hour: Option<f64>,
    /// From a step to the alarm at best, s: for a deviation that is just surely seen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub earliest_s: Option<f64>,
    /// The same at the latest, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub latest_s: Option<f64>,
    /// How long a loss stays hidden, weighted, h.
    pub hidden_h: f64,
    /// Rate of its loss, FIT; left out where it is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loss_fit: Option<f64>,
}
